"""The side-chain's peak at which each of many units reduces the gain by a wanted amount.

A first guess comes from the settled laws, turned round: the reduction wants a conductance, that wants light, the light a
current, the current a voltage, and the detector's average charging a peak. From there on the periods
themselves are asked, by secants that bring most units home in a handful of steps; the others are searched between the ends.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc._refusal import Unsolved
from pedalcalc._units import shown
from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.many import Many, Places
from pedalcalc.compressor.many_settle import SweepMany

CLOSE = 1e-9  # in the logarithm of the side-chain's peak
_CLOSE_PERIOD = 1e-6  # ln conductance by which the last step of a period may still correct it
_CLOSE_SECANT = 1e-6  # the last step of a secant, after which it is closer by far
_SECANTS = 12
_STEP_MOST = 0.4  # in one step


def peaks_for_reduction(compressor: Compressor, dark: Floats, wanted: float, tone: float, start: int) -> Floats:
    """Return the logarithm of the peak of each unit; the first of them stands at index `start`."""
    least, most = (np.broadcast_to(end, dark.shape) for end in range_of_peaks(compressor))
    many = Many(compressor, len(dark), most, frequency=tone)
    found = np.full(len(dark), np.nan)
    left = _secants(many, dark, wanted, start, found, np.log(least), np.log(most))
    if len(left):
        found[left] = _bracketed(many, dark, wanted, start, left, np.log(least[left]), np.log(most[left]))
    return found


def _secants(many: Many, dark: Floats, wanted: float, start: int, found: Floats, least: Floats, most: Floats) -> Places:
    """Fill in the peaks that secants find, and return the units that they do not."""
    sweep = SweepMany(many, index=start + np.arange(many.count), close=_CLOSE_PERIOD)
    begin, v, w = _guess(many, dark, wanted)
    rise = (_guess(many, dark, 1.02 * wanted)[0] - _guess(many, dark, 0.98 * wanted)[0]) / 0.04
    u = np.flatnonzero(np.isfinite(begin) & np.isfinite(rise) & (begin > least) & (begin < most))
    x, rise = begin[u], rise[u]  # rise: of ln peak with ln reduction
    sweep.begin(np.exp(x), v[u], w[u], u)
    x_before = short_before = np.zeros(0)
    for n in range(_SECANTS):
        if not len(u):
            break
        try:
            reduction = 20 * np.log10(dark[u] / sweep.at(np.exp(x), u).gain)
        except Unsolved:  # the other way tells which unit has no periodic state, if one is left without
            break
        short = np.log(wanted / np.maximum(reduction, 1e-3 * wanted))
        if n:
            moved = short_before - short
            with np.errstate(divide="ignore", invalid="ignore"):
                seen = (x - x_before) / moved
            rise = np.where(np.isfinite(seen) & (seen > 0), seen, rise)
        step = np.clip(rise * short, -_STEP_MOST, _STEP_MOST)
        x_before, short_before, x = x, short, x + step
        home, lost = np.abs(step) < _CLOSE_SECANT, ~((x > least[u]) & (x < most[u]))
        found[u[home & ~lost]] = x[home & ~lost]
        on = ~(home | lost)
        u, x, rise, x_before, short_before = u[on], x[on], rise[on], x_before[on], short_before[on]
    return np.flatnonzero(np.isnan(found))


def _bracketed(
    many: Many, dark: Floats, wanted: float, start: int, units: Places, least: Floats, most: Floats
) -> Floats:
    from scipy.optimize.elementwise import find_root

    sweep = SweepMany(many, index=start + np.arange(many.count), close=_CLOSE_PERIOD)

    def beyond(log_peak: Floats, unit: Floats) -> Floats:
        which = unit.astype(np.intp)
        return np.asarray(20 * np.log10(dark[which] / sweep.at(np.exp(log_peak), which).gain) - wanted)

    unit = units.astype(float)
    reached = beyond(most, unit)
    if not np.all(reached > 0):
        short = int(np.argmin(reached > 0))
        rail = np.broadcast_to(many.compressor.voltage_rail, dark.shape)[units[short]]
        raise out_of_reach(float(reached[short]) + wanted, rail, wanted, f" at index ({start + units[short]},)")
    root = find_root(beyond, (least, most), args=(unit,), tolerances={"xatol": CLOSE, "xrtol": 0.0})
    if not np.all(root.success):
        failed = start + units[int(np.argmin(root.success))]
        raise Unsolved(f"no side-chain peak found for that reduction at index ({failed},)")
    return np.asarray(root.x)


def _guess(many: Many, dark: Floats, wanted: float) -> tuple[Floats, Floats, Floats]:
    """Return the logarithm of about the peak of each unit, its held voltage and its ln conductance; NaN where there is none."""
    every = np.arange(many.count)
    f = many.of(every)
    gain = dark * 10 ** (-wanted / 20)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        g = (gain * f.d0 - f.n0) / (f.n1 - gain * f.d1)
        current, v = many.rows.voltage_for(g, every)
        if many.direct:
            return np.log(1.2 * v + f.diode), v, many.log_of(g, every)
        drawn = v / f.ohms_release + f.leak + np.where(f.drain > 0, current, 0.0)
        # The tone charges while it is above v = A cos(t): (2/pi)(A sin(t) - v t)/R on average, half of it by half waves.
        share = drawn * f.attack / f.farads / v * (np.pi / 2) * many.halves
        turn = np.minimum(np.cbrt(3 * share), 1.3)
        for _ in range(8):
            turn = np.clip(turn - (np.tan(turn) - turn - share) / np.tan(turn) ** 2, 1e-6, 1.55)
        return np.log(v / np.cos(turn) + f.diode), v, many.log_of(g, every)


def range_of_peaks(compressor: Compressor) -> tuple[Any, Any]:
    """Return the side-chain peaks between which a reduction is sought, least and most."""
    rail = np.asarray(compressor.voltage_rail, float)
    most = np.where(np.isinf(rail), 0.9 * laws.VOLTAGE_MOST, 30 * rail)
    return np.maximum(compressor.voltage_diode, 1e-3), most


def out_of_reach(reached: float, rail: float, wanted: float, where: str = "") -> ValueError:
    most = f"{float(f'{reached:.3g}'):g} dB"
    return ValueError(
        f"reduction_db must be below {most}, which is all the side-chain reaches at its rail of {shown(float(rail), 'V')}, "
        f"got {wanted:g} dB{where}"
    )
