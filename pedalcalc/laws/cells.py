"""A light-dependent resistor: what it conducts in steady light, and how fast it follows.

The photo layer settles at g = 1/R_dark + (E/10 lx)^gamma/R_10lx; a floor resistance stands in series with it. It rises
in the light's time and falls in its own, slower and slower as it gets darker (`pedalcalc.opto.kinetics`).

For a solver: `cell_figures` once, then `layer`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from pedalcalc._base import formula
from pedalcalc._figure import figure, known
from pedalcalc._ranges import TEMPERATURE_RECORD, AtLeastZero, Kelvin, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc._refusal import refused
from pedalcalc._result import Array, Number, Result, quantity
from pedalcalc.devices import Ldr


@dataclass(frozen=True, slots=True, eq=False)
class CellPoint(Result):
    """A cell that has settled in steady light."""

    illuminance: Number = quantity("lx", "light on the cell")
    conductance: Number = quantity("S", "conductance of the photo layer")
    resistance_cell: Number = quantity("Ω", "resistance of the cell")
    conductance_slope_light: Number = quantity("S/lx", "slope of that conductance against the light")


@dataclass(frozen=True, slots=True, eq=False)
class CellRates(Result):
    """How fast a cell moves at one instant."""

    time_constant_rise: Number = quantity("s", "time constant of a rise in this light")
    time_constant_fall: Number = quantity("s", "time constant of a fall at this conductance")
    conductance_rate: Number = quantity("S/s", "rate at which the photo layer's conductance moves")


class CellFigures(NamedTuple):
    """One cell at one temperature: light [Ω at 10 lx, slope], dark conductance [S], floor [Ω], and its four times."""

    resistance_10lx: Array
    gamma: Array
    dark: Array
    floor: Array
    time_rise: Array
    rise_exponent: Array
    time_fall: Array
    fall_exponent: Array


def cell_figures(record: Ldr, temperature: Array) -> CellFigures:
    """Return the numbers of a specimen at a checked temperature; all its resistances drift alike."""
    scale = np.ones_like(temperature)
    if np.any(temperature != TEMPERATURE_RECORD):
        drift = known(record, "resistance_temperature_coefficient", "another temperature than 300 K")
        scale = 1 + drift * (temperature - TEMPERATURE_RECORD)
        if np.any(bad := scale <= 0):
            allowed = f"where {record.name!r} has any resistance by its resistance_temperature_coefficient"
            raise refused("temperature", allowed, temperature, bad)
    return CellFigures(
        figure(record, "resistance_10lx") * scale,
        figure(record, "gamma"),
        1 / (figure(record, "resistance_dark") * scale),
        figure(record, "resistance_floor") * scale,
        figure(record, "time_rise_10lx"),
        figure(record, "rise_exponent"),
        figure(record, "time_fall_10lx"),
        figure(record, "fall_exponent"),
    )


def layer(light: Array, law: CellFigures) -> tuple[Array, Array]:
    """Return conductance [S] of the photo layer in steady light and its slope [S/lx]; infinite at 0 lx below gamma 1."""
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        lit = (light / 10) ** law.gamma / law.resistance_10lx
        slope = np.where(light == 0, np.where(law.gamma < 1, np.inf, 0.0), law.gamma * lit / light)
    slope = np.where((light == 0) & (law.gamma == 1), 1 / (10 * law.resistance_10lx), slope)
    return law.dark + lit, np.where(np.isnan(lit), np.nan, slope)


def light_for(resistance: Array, law: CellFigures) -> Array:
    """Return the light [lx] of a resistance: 0 where even the dark cell is no higher, inf at or below the floor."""
    with np.errstate(divide="ignore", over="ignore"):
        photo = np.maximum(1 / np.maximum(resistance - law.floor, 0) - law.dark, 0)
        return np.asarray(10 * (photo * law.resistance_10lx) ** (1 / law.gamma))


def rise(light: Array, law: CellFigures) -> Array:
    """Return the time constant [s] of a rise in this light."""
    with np.errstate(divide="ignore"):
        return np.asarray(law.time_rise * (light / 10) ** -law.rise_exponent)


def fall(conductance: Array, law: CellFigures) -> Array:
    """Return the time constant [s] of a fall at this conductance of the photo layer."""
    with np.errstate(divide="ignore"):
        return np.asarray(
            law.time_fall * (np.maximum(conductance - law.dark, 0) * law.resistance_10lx) ** -law.fall_exponent
        )


@formula
def cell(
    illuminance: AtLeastZero | None = None,
    *,
    cell: Ldr,
    resistance_cell: ZeroToInfinity | None = None,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> CellPoint:
    """Find where a photocell settles in steady light, or the light in which it settles at a resistance.

    Give the light or the resistance, one of both.

    Parameters
    ----------
    illuminance : array_like, optional
        Steady light on the cell [lx], at least 0; 0 gives the dark resistance.
    cell : Ldr
        One cell (`devices.typical` makes one of a type).
    resistance_cell : array_like, optional
        Resistance that is wanted [Ω], at least 0; may be infinite.
    temperature : array_like
        Absolute temperature of the cell [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    CellPoint
        Light [lx], conductance of the photo layer [S] with its slope [S/lx], and resistance of the whole cell [Ω]. For a
        wanted resistance the light is 0 where even the dark cell is no higher, and infinite where no light takes the cell that
        low; the resistance is then the one that it does settle at.

    Raises
    ------
    ValueError
        If both or neither are given, a value is outside its range, or the record lacks what another temperature needs.
    TypeError
        If `cell` is not a photocell record, or is a type.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    g = 1/R_d + (E/10 lx)^gamma/R_10 and R = 1/g + R_floor. Makers measure gamma between 10 and 100 lx only; slopes of
    0.53 to 0.62 were seen on unmarked cells between 1 and 100 lx. All resistances drift by the record's coefficient.

    References
    ----------
    CDS-RESIN and LDR-232-3816 (definitions of R10 and gamma); the power law and the floor from MEMORY.

    Examples
    --------
    The two levels of the sheet, and the way back:

    >>> from pedalcalc import devices
    >>> part = devices.typical(devices.LDR_NORP12)
    >>> [f"{cell(light, cell=part).resistance_cell:.0f}" for light in (10.0, 1000.0)]
    ['8920', '400']
    >>> f"{cell(resistance_cell=1000.0, cell=part).illuminance:.0f} lx"
    '257 lx'
    """
    law = cell_figures(specimen("cell", cell, Ldr), temperature)
    if (illuminance is None) == (resistance_cell is None):
        raise ValueError("illuminance or resistance_cell must be given, and not both")
    light: Any = illuminance if resistance_cell is None else light_for(resistance_cell, law)
    conductance, slope = layer(light, law)
    with np.errstate(divide="ignore"):
        whole = 1 / conductance + law.floor
    return CellPoint(illuminance=light, conductance=conductance, resistance_cell=whole, conductance_slope_light=slope)


@formula
def cell_rates(
    conductance: AtLeastZero, *, illuminance: AtLeastZero, cell: Ldr, temperature: Kelvin = TEMPERATURE_RECORD
) -> CellRates:
    """Find how fast a photocell moves at one instant, from what it conducts and the light on it.

    Parameters
    ----------
    conductance : array_like
        Present conductance of the photo layer [S], at least 0.
    illuminance : array_like
        Light on the cell [lx], at least 0.
    cell : Ldr
        One cell (`devices.typical` makes one of a type).
    temperature : array_like
        Absolute temperature of the cell [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    CellRates
        Time constants of rise and fall [s], and the rate at which the conductance moves now [S/s], falling negative. A rise
        takes for ever in the dark, and so does a fall at or below the dark conductance, unless the exponent is 0.

    Raises
    ------
    ValueError
        If a value is outside its range, or the record lacks what another temperature needs.
    TypeError
        If `cell` is not a photocell record, or is a type.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    tau_rise = t_rise_10lx (E/10 lx)^-a and tau_fall = t_fall_10lx ((g - 1/R_d) R_10)^-b; dg/dt is the distance to the settled
    conductance over the one that applies. a = 0.40 and b = 0.28 follow from a cell that was timed at 10 and at 1000 lx;
    times of a cell that was not timed are good to a factor of two. Cold cells are slower still, which is not modelled.

    References
    ----------
    LDR-232-3816 for the two levels; the form DERIVED as the simplest that meets them.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> rates = cell_rates(1 / 400.0, illuminance=1000.0, cell=devices.typical(devices.LDR_NORP12))
    >>> f"{1e3 * rates.time_constant_rise:.2f} ms, {1e3 * rates.time_constant_fall:.1f} ms"
    '1.17 ms, 14.8 ms'
    """
    law = cell_figures(specimen("cell", cell, Ldr), temperature)
    up, down = rise(illuminance, law), fall(conductance, law)
    settled, _ = layer(illuminance, law)
    rate = (settled - conductance) / np.where(conductance < settled, up, down)
    return CellRates(time_constant_rise=up, time_constant_fall=down, conductance_rate=rate + 0.0)
