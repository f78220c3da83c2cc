"""Settled law of an LED facing a photocell: current, light, resistance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._arguments import LARGEST
from pedalcalc._base import formula
from pedalcalc._ranges import AnyNumber, AtLeastZero, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc._refusal import refused
from pedalcalc._result import Caution, Number, Result, caution_above, quantity
from pedalcalc.devices import Coupler
from pedalcalc.opto.cell import cell_illuminance, cell_resistance


@dataclass(frozen=True, slots=True, eq=False)
class CouplerPoint(Result):
    """Result of `coupler_point`."""

    illuminance: Number = quantity("lx", "light on the cell")
    resistance_cell: Number = quantity("Ω", "cell resistance")
    current_cell: Number = quantity("A", "current through the cell")
    power_cell: Number = quantity("W", "power in the cell")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def coupler_illuminance(current: AnyNumber, *, coupler: Coupler) -> Number:
    """Return the light [lx] of the LED on a coupler's cell, E = E_ref (I/I_ref)^p; none for 0 and reverse currents."""
    specimen("coupler", coupler, Coupler)
    share = np.maximum(current, 0) / np.asarray(coupler.current_reference)
    light = coupler.illuminance_reference * share ** np.asarray(coupler.light_exponent)
    if np.max(light, initial=0.0) > LARGEST:
        raise refused("current", f"small enough for a light of at most {LARGEST:g} lx", current, light > LARGEST)
    return light


@formula
def coupler_resistance(current: AnyNumber, *, coupler: Coupler, illuminance_ambient: AtLeastZero = 0.0) -> Number:
    """Return the settled cell resistance [Ω] of a coupler for a steady LED current."""
    light = np.asarray(coupler_illuminance(current, coupler=coupler))
    return cell_resistance(light + illuminance_ambient, cell=coupler.cell)


@formula
def coupler_current(
    resistance_cell: ZeroToInfinity, *, coupler: Coupler, illuminance_ambient: AtLeastZero = 0.0
) -> Number:
    """Return the LED current for a wanted settled cell resistance.

    The inverse of `coupler_point`.

    Parameters
    ----------
    resistance_cell : array_like
        Wanted resistance [Ω], at least 0; may be infinite.
    coupler : Coupler
        The coupler.
    illuminance_ambient : array_like
        Light that leaks in from outside [lx], at least 0.

    Returns
    -------
    float or ndarray
        LED current [A]: 0 where the cell is no higher with the LED out, infinite
        where no light takes it that low.

    Raises
    ------
    ValueError
        If the resistance or the ambient light is negative.

    References
    ----------
    DERIVED, the inverse of the law of `coupler_point`.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> f"{1e3 * coupler_current(56e3, coupler=devices.typical(devices.COUPLER_STEEP)):.2f} mA"
    '1.00 mA'
    """
    specimen("coupler", coupler, Coupler)
    wanted = np.asarray(cell_illuminance(resistance_cell, cell=coupler.cell))
    share = np.maximum(wanted - illuminance_ambient, 0) / np.asarray(coupler.illuminance_reference)
    return coupler.current_reference * share ** (1 / np.asarray(coupler.light_exponent))


@formula
def coupler_point(
    current: AnyNumber, *, coupler: Coupler, voltage_cell: AtLeastZero = 0.0, illuminance_ambient: AtLeastZero = 0.0
) -> CouplerPoint:
    """Return what a coupler does at one steady LED current, with cautions.

    Parameters
    ----------
    current : array_like
        LED current [A].
    coupler : Coupler
        The coupler.
    voltage_cell : array_like
        Effective voltage across the cell [V], at least 0; 0, no signal, unless stated.
    illuminance_ambient : array_like
        Light that leaks in from outside [lx], at least 0.

    Returns
    -------
    CouplerPoint
        Light, resistance, current and power of the cell; cautions for the ratings of
        LED and cell, for distortion, and for leaking light.

    Raises
    ------
    ValueError
        If a value is impossible.

    Notes
    -----
    E = E_ref (I / I_ref)^p + E_ambient and R = 1 / (1/R_d + (E / 10 lx)^gamma / R_10) + R_floor: an exponent of gamma
    times light exponent against current, between dark and floor. Light is nearly proportional to current from about
    1 to 20 mA (p from 0.85 to 1.3 by kind of LED); below, some lamps fall off faster. 0 and reverse currents give no
    light. P = V^2 / R. A cell distorts by about 0.1 % for less than 0.5 V across it, and more above.

    References
    ----------
    LDR-232-3816 (law of the cell); PARKER-DANGELO (same form: 1136 Ω + 3.4646 / I^1.4); OPTO-ISOLATOR (distortion);
    MEMORY: range of exponents by kind of LED; DERIVED (power).

    Examples
    --------
    >>> from pedalcalc import devices
    >>> point = coupler_point(0.020, coupler=devices.typical(devices.COUPLER_NSL28), voltage_cell=0.1)
    >>> f"{point.resistance_cell:.0f} Ω, {1e6 * point.power_cell:.0f} µW", len(point.cautions)
    ('400 Ω, 25 µW', 0)
    """
    volts, ambient = voltage_cell, illuminance_ambient
    light = np.asarray(coupler_illuminance(current, coupler=coupler))
    resistance = np.asarray(cell_resistance(light + ambient, cell=coupler.cell))
    with np.errstate(divide="ignore", invalid="ignore"):
        amps = np.where((volts == 0) & (resistance == 0), 0.0, volts / resistance)
    power = volts * amps
    cautions = (
        caution_above(
            "LED current above its rating", "raise the LED's series resistor", current, coupler.led.current_max, "A"
        )
        + caution_above(
            "voltage across the cell above its rating",
            "choose another cell or lower the signal",
            volts,
            coupler.cell.voltage_max,
            "V",
        )
        + caution_above(
            "power in the cell above its rating", "put a resistor in series", power, coupler.cell.power_max, "W"
        )
        + caution_above(
            "voltage across the cell at which it distorts by more than about 0.1 %",
            "put the cell where the signal is smaller",
            volts,
            0.5,
            "V",
        )
        + caution_above(
            "light leaking in is more than a tenth of the LED's",
            "make the coupler light-tight, ends and leads included",
            ambient,
            np.where(light > 0, 0.1 * light, np.inf),
            "lx",
        )
    )
    return CouplerPoint(
        illuminance=light + ambient,
        resistance_cell=resistance,
        current_cell=amps,
        power_cell=power,
        cautions=cautions,
    )
