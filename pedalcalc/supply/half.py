"""Half-supply reference: two resistors, what hangs on them, and a capacitor to ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import fit_together
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AtLeastZero, ZeroToInfinity
from pedalcalc._refusal import must, refused
from pedalcalc._result import Caution, Number, Result, caution_above, quantity

__all__ = ["HalfSupply", "half_supply"]

Array = NDArray[np.float64]


def _divider(top: Array, bottom: Array, load: Array) -> tuple[Array, Array]:
    """Return the share of the supply and the output resistance of a loaded divider, shorts and opens included."""
    if np.any(bad := (top == 0) & ((bottom == 0) | (load == 0))):
        allowed = "above 0 where resistance_bottom or resistance_load is 0, a dead short"
        raise refused("resistance_top", allowed, top, bad)
    if np.any(bad := np.isinf(top) & np.isinf(bottom) & np.isinf(load)):
        raise must("resistance_top and resistance_bottom must not both be open, or the node floats", bad)
    with np.errstate(divide="ignore", invalid="ignore"):
        below = 1 / (1 / bottom + 1 / load)
        share = 1 / (1 + top / below)
        return np.asarray(share), np.asarray(1 / (1 / top + 1 / below))


@dataclass(frozen=True, slots=True, eq=False)
class HalfSupply(Result):
    """A half-supply reference at rest and at switch-on."""

    voltage_output: Number = quantity("V", "reference voltage")
    voltage_shift: Number = quantity("V", "departure from half the supply")
    resistance_thevenin: Number = quantity("Ω", "output resistance")
    current: Number = quantity("A", "current through the upper resistor")
    time_constant: Number = quantity("s", "time constant")
    time_settle: Number = quantity("s", "time from switch-on into the stated band")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def half_supply(
    *,
    voltage_supply: AtLeastZero,
    resistance_top: ZeroToInfinity,
    resistance_bottom: ZeroToInfinity,
    resistance_load: ZeroToInfinity,
    current_load: AtLeastZero,
    capacitance: AtLeastZero,
    tolerance: AboveZero,
) -> HalfSupply:
    """Find the voltage of a half-supply reference under load and when it has settled.

    Two resistors across the supply, a load resistance and a constant current
    (bias currents, summed) from the node to ground, a capacitor to ground.
    What the node is off half the supply tilts the headroom: one half-wave clips first.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0.
    resistance_top : array_like
        Resistor to the supply [Ω], 0 to inf.
    resistance_bottom : array_like
        Resistor to ground [Ω], 0 to inf.
    resistance_load : array_like
        Everything resistive from the node to ground [Ω], 0 to inf.
    current_load : array_like
        Direct current drawn from the node [A], at least 0.
    capacitance : array_like
        Capacitor from the node to ground [F], at least 0.
    tolerance : array_like
        Band to settle into, as a share of the final voltage [1], above 0, such as 0.05.

    Returns
    -------
    HalfSupply
        Voltage [V], shift from half the supply [V], output resistance [Ω],
        current [A], time constant [s], settling time [s] and cautions.

    Raises
    ------
    ValueError
        If a value is out of range, or the node is shorted on both sides or floats.

    Notes
    -----
    R_out = R_top || R_bottom || R_L, V = V_S (R_bottom || R_L)/(R_top + R_bottom || R_L) - I R_out.
    What of the supply's ripple reaches the node is `rc.lowpass_response`, with R_top as its resistor and R_bottom beside
    R_L as its load. From an empty capacitor and a supply that steps up, the band is reached after R_out C ln(1/band).

    References
    ----------
    DERIVED; KUPHALDT-1 chapter 6 for loaded dividers; PRACTICE for the tenth of the divider's current.

    Examples
    --------
    >>> half = half_supply(
    ...     voltage_supply=9.0, resistance_top=10e3, resistance_bottom=10e3, resistance_load=float("inf"),
    ...     current_load=0.0, capacitance=47e-6, tolerance=0.01,
    ... )
    >>> print(f"{half.voltage_output:g}, {half.resistance_thevenin:g}, {half.time_settle:.2f}")
    4.5, 5000, 1.08
    """
    supply, top, bottom, load = voltage_supply, resistance_top, resistance_bottom, resistance_load
    drawn, c, band = current_load, capacitance, tolerance
    fit_together(
        voltage_supply=supply,
        resistance_top=top,
        resistance_bottom=bottom,
        resistance_load=load,
        current_load=drawn,
        capacitance=c,
        tolerance=band,
    )
    share, out = _divider(top, bottom, load)
    # A load current through an open upper arm is carried by the lower ones alone.
    voltage = supply * share - drawn * out
    with np.errstate(divide="ignore", invalid="ignore"):
        through = np.where(top == 0, drawn + voltage / bottom + voltage / load, (supply - voltage) / top)
        from_bottom = np.where(bottom == 0, np.inf, voltage / bottom)
    tau = out * c
    wait = np.where(band < 1, tau * -np.log(band), 0.0 * (tau + band))
    cautions = caution_above(
        "what is drawn from the reference exceeds a tenth of the divider's own current: it tilts and follows the load",
        "use smaller divider resistors, or a follower behind the divider",
        drawn,
        np.where(np.isfinite(from_bottom), np.abs(from_bottom) / 10, np.inf),
        "A",
    ) + caution_above(
        "the reference needs more than two seconds to settle: the pedal is silent or distorts until then",
        "use a smaller capacitor or smaller resistors",
        wait,
        2.0,
        "s",
    )
    return HalfSupply(
        voltage_output=voltage[()],
        voltage_shift=(voltage - supply / 2)[()],
        resistance_thevenin=out[()],
        current=through[()],
        time_constant=tau[()],
        time_settle=wait[()],
        cautions=cautions,
    )
