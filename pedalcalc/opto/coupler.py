"""Settled law of an LED facing a photocell: current, light, resistance."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import (
    Caution,
    ModelRangeWarning,
    Number,
    Result,
    caution_above,
    formula,
    numeric,
    quantity,
)
from pedalcalc.devices import Coupler
from pedalcalc.devices._record import specimen
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
def coupler_illuminance(current: ArrayLike, *, coupler: Coupler) -> Number:
    """Return the light on a coupler's cell for an LED current.

    Parameters
    ----------
    current : array_like
        LED current [A]; 0 and reverse currents give no light.
    coupler : Coupler
        The coupler.

    Returns
    -------
    float or ndarray
        Light on the cell [lx], of the shape of `current`.

    Raises
    ------
    ValueError
        If the current is infinite.

    Notes
    -----
    E = E_ref (I / I_ref)^p. Light is nearly proportional to current from about
    1 to 20 mA (p from 0.85 to 1.3 by kind of LED); below, some lamps fall off faster.

    References
    ----------
    MEMORY: range of exponents by kind of LED; PARKER-DANGELO: a coupler whose
    resistance falls as current to the power 1.4.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> f"{coupler_illuminance(0.002, coupler=devices.typical(devices.COUPLER_STEEP)):.0f} lx"
    '40 lx'
    """
    specimen("coupler", coupler, Coupler)
    reference = numeric("illuminance_reference", coupler.illuminance_reference, above=0)
    at = numeric("current_reference", coupler.current_reference, above=0)
    power = numeric("light_exponent", coupler.light_exponent, above=0)
    amps = numeric("current", current)
    return (reference * (np.maximum(amps, 0) / at) ** power)[()]


@formula
def coupler_resistance(current: ArrayLike, *, coupler: Coupler, illuminance_ambient: ArrayLike = 0.0) -> Number:
    """Return the settled cell resistance of a coupler for a steady LED current.

    Parameters
    ----------
    current : array_like
        LED current [A]; 0 and reverse currents give no light.
    coupler : Coupler
        The coupler.
    illuminance_ambient : array_like
        Light that leaks in from outside [lx], at least 0; 0 means light-tight.

    Returns
    -------
    float or ndarray
        Settled resistance of the cell [Ω], of the broadcast shape.

    Raises
    ------
    ValueError
        If the current is infinite or the ambient light negative.

    Notes
    -----
    R = 1 / (1/R_d + ((E_LED + E_ambient) / 10 lx)^gamma / R_10) + R_floor: an
    exponent of gamma times light exponent against current, between dark and floor.

    References
    ----------
    LDR-232-3816 (law of the cell); PARKER-DANGELO (same form: 1136 Ω + 3.4646 / I^1.4).

    Examples
    --------
    >>> from pedalcalc import devices
    >>> f"{coupler_resistance(0.001, coupler=devices.typical(devices.COUPLER_STEEP)) / 1e3:.1f} kΩ"
    '56.0 kΩ'
    """
    light = np.asarray(coupler_illuminance(current, coupler=coupler))
    return cell_resistance(light + numeric("illuminance_ambient", illuminance_ambient, least=0), cell=coupler.cell)


@formula
def coupler_current(resistance_cell: ArrayLike, *, coupler: Coupler, illuminance_ambient: ArrayLike = 0.0) -> Number:
    """Return the LED current for a wanted settled cell resistance.

    The inverse of `coupler_resistance`.

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
    DERIVED, the inverse of the law of `coupler_resistance`.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> f"{1e3 * coupler_current(56e3, coupler=devices.typical(devices.COUPLER_STEEP)):.2f} mA"
    '1.00 mA'
    """
    specimen("coupler", coupler, Coupler)
    wanted = np.asarray(cell_illuminance(resistance_cell, cell=coupler.cell))
    ambient = numeric("illuminance_ambient", illuminance_ambient, least=0)
    share = np.maximum(wanted - ambient, 0) / numeric("illuminance_reference", coupler.illuminance_reference, above=0)
    at = numeric("current_reference", coupler.current_reference, above=0)
    return (at * share ** (1 / numeric("light_exponent", coupler.light_exponent, above=0)))[()]


@formula
def coupler_resistance_warm(
    current: ArrayLike,
    *,
    coupler: Coupler,
    temperature_celsius: ArrayLike,
    resistance_temperature_coefficient: ArrayLike,
    light_temperature_coefficient: ArrayLike = 0.0,
    temperature_reference_celsius: ArrayLike = 25.0,
) -> Number:
    """Return the settled cell resistance of a coupler that is warmer or colder.

    Parameters
    ----------
    current : array_like
        LED current [A].
    coupler : Coupler
        The coupler, stated at the reference temperature.
    temperature_celsius : array_like
        Temperature of LED and cell [°C].
    resistance_temperature_coefficient : array_like
        Relative change of resistance per degree [1/K]: 0.007 (slow, high-range
        cell) or 0.010 (fast cell) for a coupled cell with the LED above 5 mA.
    light_temperature_coefficient : array_like
        Relative change of the LED's light per degree [1/K], negative: about -0.005
        to -0.010 (AlGaInP), -0.001 to -0.003 (InGaN). Leave 0 where the first
        coefficient was measured on the whole coupler, as on the sheets.
    temperature_reference_celsius : array_like
        Temperature at which the record holds [°C]; sheets take 25.

    Returns
    -------
    float or ndarray
        Settled resistance of the cell [Ω].

    Raises
    ------
    ValueError
        If a coefficient times the change of temperature is -1 or below.

    Warns
    -----
    ModelRangeWarning
        Outside -40 to 75 °C, the range of coupler sheets.

    Notes
    -----
    R(T) = R(E (1 + c_E dT)) (1 + c_R dT), straight lines through the reference
    temperature. The coefficient grows as light falls, so dim settings drift more.
    Below -25 °C the cell also slows down steeply.

    References
    ----------
    SHEET-NSL28 (0.7 and 1.0 %/°C); MEMORY: coefficients of the LED's light.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> warm = coupler_resistance_warm(
    ...     0.020, coupler=devices.typical(devices.COUPLER_NSL28), temperature_celsius=45.0, resistance_temperature_coefficient=0.007
    ... )
    >>> f"{warm:.0f} Ω"
    '456 Ω'
    """
    warm = numeric("temperature_celsius", temperature_celsius, least=-273.15)
    reference = numeric("temperature_reference_celsius", temperature_reference_celsius, least=-273.15)
    change = warm - reference
    scale = 1 + numeric("resistance_temperature_coefficient", resistance_temperature_coefficient) * change
    light = 1 + numeric("light_temperature_coefficient", light_temperature_coefficient) * change
    if np.any(scale <= 0):
        raise ValueError("resistance_temperature_coefficient times the change of temperature must be above -1")
    if np.any(light <= 0):
        raise ValueError("light_temperature_coefficient times the change of temperature must be above -1")
    if np.any((warm < -40) | (warm > 75)):
        warnings.warn("temperature_celsius lies outside -40 to 75 °C", ModelRangeWarning, stacklevel=2)
    lit = np.asarray(coupler_illuminance(current, coupler=coupler)) * light
    return (np.asarray(cell_resistance(lit, cell=coupler.cell)) * scale)[()]


@formula
def coupler_point(
    current: ArrayLike, *, coupler: Coupler, voltage_cell: ArrayLike, illuminance_ambient: ArrayLike = 0.0
) -> CouplerPoint:
    """Return what a coupler does at one steady LED current, with cautions.

    Parameters
    ----------
    current : array_like
        LED current [A].
    coupler : Coupler
        The coupler.
    voltage_cell : array_like
        Effective voltage across the cell [V], at least 0.
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
    P = V^2 / R. A cell distorts by about 0.1 % for less than 0.5 V across it, and more above.

    References
    ----------
    OPTO-ISOLATOR (distortion); DERIVED (power).

    Examples
    --------
    >>> from pedalcalc import devices
    >>> point = coupler_point(0.020, coupler=devices.typical(devices.COUPLER_NSL28), voltage_cell=0.1)
    >>> f"{point.resistance_cell:.0f} Ω, {1e6 * point.power_cell:.0f} µW", len(point.cautions)
    ('400 Ω, 25 µW', 0)
    """
    volts = numeric("voltage_cell", voltage_cell, least=0)
    ambient = numeric("illuminance_ambient", illuminance_ambient, least=0)
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
    return CouplerPoint((light + ambient)[()], resistance[()], amps[()], power[()], cautions)
