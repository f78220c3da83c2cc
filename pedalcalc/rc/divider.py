"""Resistors as dividers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import formula, parallel
from pedalcalc._ranges import AtLeastZero, ZeroToInfinity
from pedalcalc._refusal import must
from pedalcalc._result import Number, Result, quantity
from pedalcalc.rc.corner import several


@dataclass(frozen=True, slots=True, eq=False)
class Divider(Result):
    """Result of `divider`; every field has the broadcast shape of the inputs."""

    voltage_output: Number = quantity("V", "output with the load")
    voltage_thevenin: Number = quantity("V", "output with nothing connected")
    resistance_thevenin: Number = quantity("Ω", "resistance seen from the output")
    shortfall: Number = quantity("1", "fraction that the load takes off", percent=True)
    voltage_top: Number = quantity("V", "voltage across the upper resistor")
    resistance_loaded: Number = quantity("Ω", "lower resistor in parallel with the load")
    current: Number = quantity("A", "current from the supply")
    current_load: Number = quantity("A", "current into the load")


@formula
def parallel_resistance(resistances: Sequence[ArrayLike]) -> Number:
    """Find the resistance of several resistors in parallel.

    Parameters
    ----------
    resistances : sequence of array_like
        Resistances [Ω], each 0 to infinity.

    Returns
    -------
    float or ndarray
        Resistance of all together [Ω].

    Raises
    ------
    ValueError
        If a value is out of range, or there is none.
    TypeError
        If `resistances` is not a sequence.

    Notes
    -----
    1/R = Σ 1/R_i.

    References
    ----------
    KUPHALDT-1, ch. 5, parallel circuits.

    Examples
    --------
    A 100 kΩ resistor with a 10 MΩ meter across it:

    >>> print(f"{parallel_resistance((100e3, 10e6)) / 1e3:.2f} kilohm")
    99.01 kilohm
    """
    each = several("resistances", resistances, least=0, infinity=True)
    if not each:
        raise ValueError("resistances must hold at least one value, got none")
    return parallel(*each)


@formula
def divider(
    *,
    voltage_supply: AtLeastZero,
    resistance_top: ZeroToInfinity,
    resistance_bottom: ZeroToInfinity,
    resistance_load: ZeroToInfinity = np.inf,
) -> Divider:
    """Find what a two-resistor divider gives, with and without what hangs on it: a next stage, or a meter.

    Several resistors between supply and output, or output and ground, count as their sum.

    Parameters
    ----------
    voltage_supply : array_like
        Voltage across the divider [V], at least 0.
    resistance_top : array_like
        Resistor between supply and output [Ω], 0 to infinity.
    resistance_bottom : array_like
        Resistor between output and ground [Ω], 0 to infinity.
    resistance_load : array_like
        Load from output to ground [Ω], 0 to infinity; open unless stated. A digital meter is a load of
        10 MΩ mostly, a pointer meter one of its ohms per volt times its range.

    Returns
    -------
    Divider
        Output with and without load, resistance seen from the output, the fraction by which the load lowers it (by
        which a meter reads low), voltage across
        the upper resistor, lower resistor with the load, both currents.

    Raises
    ------
    ValueError
        If a value is out of range, both resistors are 0 (a shorted supply) or both are open
        (a floating output), or a load of 0 Ω shorts the supply through a top of 0 Ω.

    Notes
    -----
    V_th = V_S R_2/(R_1 + R_2), R_th = R_1 || R_2, V_out = V_th R_L/(R_L + R_th); shortfall R_th/(R_L + R_th).

    References
    ----------
    KUPHALDT-1, ch. 6 dividers ch. 10 Thevenin's theorem, and ch. 8 voltmeter impact on measured circuit.

    Examples
    --------
    >>> half = divider(voltage_supply=9, resistance_top=10e3, resistance_bottom=10e3, resistance_load=10e3)
    >>> print(f"{half.voltage_thevenin} V falls to {half.voltage_output} V")
    4.5 V falls to 3.0 V
    """
    supply, top, bottom, load = voltage_supply, resistance_top, resistance_bottom, resistance_load
    for name, other, hit, why in (
        ("resistance_bottom", "resistance_top", (top == 0) & (bottom == 0), "are 0: a shorted supply"),
        ("resistance_bottom", "resistance_top", np.isinf(top) & np.isinf(bottom), "are open: a floating output"),
        ("resistance_load", "resistance_top", (top == 0) & (load == 0), "are 0: a shorted supply"),
    ):
        if np.any(hit):
            raise must(f"{name} and {other} must not both be what they are: both {why}", hit)
    loaded = parallel(bottom, load)
    thevenin = parallel(top, bottom)
    part, part_open = share(top, loaded), share(top, bottom)
    with np.errstate(divide="ignore", invalid="ignore"):
        total = supply / (top + loaded)
        into_load = np.where(load == 0, total, supply * part / load)
        lost = np.where(thevenin == 0, 0.0, share(load, thevenin))
    return Divider(
        voltage_output=supply * part,
        voltage_thevenin=supply * part_open,
        resistance_thevenin=thevenin,
        shortfall=np.where(np.isnan(supply + top + bottom + load), np.nan, lost),
        voltage_top=supply * share(loaded, top),
        resistance_loaded=loaded,
        current=total,
        current_load=into_load,
    )


def share(above: NDArray[np.float64], below: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return below/(above + below), for open and shorted parts too (but not both alike)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(below == 0, 0.0, 1 / (1 + above / below))
    part = np.where(np.isinf(above), 0.0, part)
    return np.where(np.isnan(above + below), np.nan, part)
