"""The junction of a diode, LED, Zener diode, transistor or gate, for whoever calls it often.

::

    a --->|----[Rs]--- c         I = Is (exp((V - I Rs)/(n Vt)) - 1)
       junction

A record states one point of the curve, the drop `voltage_forward` at `current_reference`; with ideality and series
resistance the saturation current Is follows. The law is explicit in the Wright omega function: straight at large
drive, where the series resistance rules. Ideality 0 is the textbook's diode of one or two straight lines: no current
up to the knee, then the series resistance alone. A Zener diode has a second such line in reverse, beside the junction.

`figures` reads a record once, then `branch` turns volts of any shape into amperes and slopes, without checks.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from scipy.special import wrightomega

from pedalcalc._figure import figure, known
from pedalcalc._junction import BOLTZMANN, CHARGE
from pedalcalc._ranges import TEMPERATURE_RECORD
from pedalcalc._refusal import refused
from pedalcalc._result import Array
from pedalcalc.devices import Zener
from pedalcalc.laws._wright import solve_series

#: Current [A] beyond which a junction without series resistance goes on straight: no part is there, but a solver may be.
CURRENT_STRAIGHT = 1e6
#: Power of the temperature in the saturation current, silicon's as circuit simulators take it.
SATURATION_EXPONENT = 3.0


class Figures(NamedTuple):
    """One junction at one temperature; all arrays, `slope` [V] is n Vt and 0 for straight lines.

    `offset` is what the argument of omega (of exp, where no part has a series resistance) holds besides V/(n Vt);
    `form` is "omega", "exp", or "mixed"; `breakdown` the reverse knee [V] and the slope resistance [Ω] behind it, None
    where the record has no breakdown.
    """

    saturation: Array
    slope: Array
    resistance: Array
    knee: Array
    offset: Array
    form: str
    breakdown: tuple[Array, Array] | None


def saturation(record: Any, temperature: Array) -> tuple[Array, Array]:
    """Return saturation current [A] and n Vt [V] of a record's junction at a temperature.

    ln Is(T) = ln Is(T0) + (x/n) ln(T/T0) + (T/T0 - 1) Eg/(n Vt).
    """
    forward, reference, n, series = (
        figure(record, name) for name in ("voltage_forward", "current_reference", "ideality", "resistance_series")
    )
    vt = BOLTZMANN / CHARGE
    with np.errstate(all="ignore"):
        power = (forward - reference * series) / (n * vt * TEMPERATURE_RECORD)
        logarithm = np.log(reference) - power - np.log1p(-np.exp(-power))
        if np.any(temperature != TEMPERATURE_RECORD):
            gap = known(record, "energy_gap", "another temperature than 300 K")
            ratio = temperature / TEMPERATURE_RECORD
            warmer = SATURATION_EXPONENT * np.log(ratio) + (ratio - 1) * gap / (vt * temperature)
            logarithm = logarithm + np.where(n == 0, 0.0, warmer / n)
        i_s = np.asarray(np.where(n == 0, 0.0, np.exp(logarithm)))
    if np.any(bad := (i_s == 0) & (n > 0) & (temperature != TEMPERATURE_RECORD)):
        allowed = f"high enough that the saturation current of {record.name!r} is above what a float holds"
        raise refused("temperature", allowed, temperature, bad)
    if np.any((i_s == 0) & (n > 0)):
        raise ValueError(
            f"ideality of {record.name!r} is too small for a junction: its saturation current is below what a float "
            "holds; 0 is the constant drop"
        )
    return i_s, np.asarray(n * vt * temperature)


def figures(record: Any, temperature: Array) -> Figures:
    """Return the numbers of a specimen's junction at a checked temperature."""
    i_s, nvt = saturation(record, temperature)
    series = figure(record, "resistance_series")
    knee = figure(record, "voltage_forward") - figure(record, "current_reference") * series
    breakdown = None
    if isinstance(record, Zener):
        behind = figure(record, "resistance_slope")
        at_test = figure(record, "voltage_zener")
        if np.any(temperature != TEMPERATURE_RECORD):
            drift = known(record, "temperature_coefficient", "another temperature than 300 K")
            at_test = at_test * (1 + drift * (temperature - TEMPERATURE_RECORD))
        breakdown = (at_test - figure(record, "current_test") * behind, behind)
    return of_law(i_s, nvt, series, knee, breakdown)


def of_law(
    i_s: Array, nvt: Array, series: Array, knee: Array | float, breakdown: tuple[Array, Array] | None = None
) -> Figures:
    """Return the numbers of a junction that is given by its law."""
    with np.errstate(all="ignore"):
        offset = np.log(i_s)
        form = "mixed" if np.any(nvt == 0) else "omega" if np.all(series > 0) else "mixed" if np.any(series) else "exp"
        if form != "exp":
            offset = offset + np.log(series) - np.log(nvt) + series * (i_s / nvt)
    return Figures(i_s, nvt, series, np.asarray(knee), np.asarray(offset), form, breakdown)


def branch(voltage: Array, law: Figures) -> tuple[Array, Array]:
    """Return current [A] and slope [S]; exact to the last digits of the saturation current."""
    with np.errstate(all="ignore"):
        if law.form == "omega":
            omega = wrightomega(law.offset + voltage / law.slope)
            current = omega * (law.slope / law.resistance) - law.saturation
            slope = omega / (law.resistance * (1 + omega))
        elif law.form == "exp":
            plus, slope = _exponential(law.offset + voltage / law.slope, law.slope)
            current = plus - law.saturation
        else:
            current, slope = _any_junction(voltage, law)
        if law.breakdown is not None:
            knee, behind = law.breakdown
            over = np.maximum(-voltage - knee, 0.0)
            current = current - _line(over, behind)
            slope = slope + _line_slope(over, behind)
    return current, slope


def _any_junction(voltage: Array, law: Figures) -> tuple[Array, Array]:
    """Return current and slope where some junctions have no series resistance, or are straight lines."""
    i_s, nvt, series = law.saturation, law.slope, law.resistance
    omega = wrightomega(law.offset + voltage / nvt)
    bare, bare_slope = _exponential(np.log(i_s) + voltage / nvt, nvt)
    plus = np.where(series > 0, omega * (nvt / series), bare)
    slope = np.where(series > 0, omega / (series * (1 + omega)), bare_slope)
    over = np.maximum(voltage - law.knee, 0.0)
    return (
        np.where(nvt == 0, _line(over, series), plus - i_s),
        np.where(nvt == 0, _line_slope(over, series), slope),
    )


def _exponential(logarithm: Array, nvt: Array) -> tuple[Array, Array]:
    """Return I + Is from its logarithm, and the slope; beyond `CURRENT_STRAIGHT` along the tangent."""
    curved = np.minimum(logarithm, np.log(CURRENT_STRAIGHT))
    plus = np.exp(curved)
    return plus * (1 + (logarithm - curved)), plus / nvt


def _line(over: Array, resistance: Array) -> Array:
    """Return the current of a straight line `over` its knee; without resistance it has no limit."""
    return np.where(over == 0, 0.0, over / resistance)


def _line_slope(over: Array, resistance: Array) -> Array:
    """Return the slope of that line; NaN stays NaN."""
    return np.where(over == 0, 0.0, 1 / resistance + 0.0 * over)


def settled_current(v: Array, r: Array, n: Array, law: Figures, *, out: Array | None = None) -> Array:
    """Return the current of `n` junctions behind a resistor, to full relative precision; in `out` where it fits there."""
    i_s, nvt, series = law.saturation, law.slope, law.resistance
    total = np.asarray(r + n * series)
    with np.errstate(all="ignore"):
        if np.all(nvt > 0):
            current = solve_series(v, total, i_s, np.asarray(n * nvt), out=out)
        else:
            line = _line(np.maximum(v - n * law.knee, 0.0), total)
            safe = np.where(nvt == 0, 1.0, nvt)
            curve = solve_series(v, total, np.where(nvt == 0, 1.0, i_s), np.asarray(n * safe))
            current = np.where(nvt == 0, line, curve)
        if law.breakdown is None:
            return np.asarray(current)
        knee, behind = law.breakdown
        across = v - np.where(current == 0, 0.0, r * current)
        over = np.where(np.isinf(r), 0.0, -across - n * knee)
        back = -(-v - n * knee + n * behind * i_s) / (r + n * behind)
        back = np.where(np.isnan(back) & ~np.isnan(v + r + knee + behind), -np.inf, back)
        return np.where(over > 0, back, current)
