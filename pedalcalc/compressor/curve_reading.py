"""Read a static curve off settled periods, each at its own side-chain peak: what level in they belong to, and what comes out."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.laws import Floats

SPACING_DB = 0.5  # between the side-chain peaks that are settled
SPACING_E_FOLD = 0.7  # of the LED's exponential between them, where it turns on
_DENSE = 16  # points in each interval when the parametric curve is read back
_WATCHED = 10  # of the settled peaks, to see whether the loop hunts there
_NONE = 1e-15  # A, a LED that is out, in the logarithm


class Swept(NamedTuple):
    """Settled periods of one unit, from quiet to loud."""

    side_db: Floats  # level of the side-chain, in its peak
    level_in_dbv: Floats
    gain: Floats
    current_led: Floats
    conductance: Floats


class Curve(NamedTuple):
    """A static curve at the levels asked for, one unit's, or with an axis of units ahead of the levels."""

    level_out_dbv: Floats
    level_out_falling_dbv: Floats
    equilibria: Any
    current_led: Floats
    conductance: Floats


def read_curve(level: Floats, swept: Swept, offset: float) -> Curve:
    """Read the curve of one unit; `offset` is small against every conductance that its gain answers to."""
    from scipy.interpolate import CubicSpline, PchipInterpolator

    side, known = swept.side_db, swept.level_in_dbv
    levels = CubicSpline(side, np.stack([known, known + 20 * np.log10(swept.gain)], axis=1))
    lights = PchipInterpolator(side, np.log(np.stack([swept.current_led + _NONE, swept.conductance + offset], axis=1)))
    fine = np.interp(np.arange((side.size - 1) * _DENSE + 1) / _DENSE, np.arange(side.size), side)
    level_of = levels(fine)[:, 0]  # level in that belongs to each side-chain peak
    from_below = _first_crossing(level, level_of, fine)
    out = levels(from_below)[:, 1]
    if np.all(level_of[1:] > level_of[:-1]):
        falling, count = out, ((level > level_of[0]) & (level <= level_of[-1])).astype(int)
    else:
        from_above = -_first_crossing(-level[::-1], -level_of[::-1], -fine[::-1])[::-1]
        above = level_of[None, :] >= level[:, None]
        falling, count = levels(from_above)[:, 1], np.count_nonzero(above[:, 1:] != above[:, :-1], axis=1)
    log_current, log_conductance = lights(from_below).T
    current = np.maximum(np.exp(log_current) - _NONE, 0.0)
    return Curve(out, falling, count, current, np.exp(log_conductance) - offset)


def _first_crossing(level: Floats, level_of: Floats, side: Floats) -> Floats:
    """Return the side-chain level at which the input level first reaches each wanted `level`."""
    reached = np.maximum.accumulate(level_of)
    after = np.clip(np.searchsorted(reached, level), 1, level_of.size - 1)
    rise = level_of[after] - level_of[after - 1]
    part = np.clip((level - level_of[after - 1]) / np.where(rise == 0, 1.0, rise), 0.0, 1.0)
    found: Floats = side[after - 1] + part * (side[after] - side[after - 1])
    return found


def lit_from(compressor: Compressor) -> tuple[Any, Any]:
    """Return the junction's e-fold, and the side-chain peak from which the LED begins to light."""
    led = compressor.coupler_at_temperature.led
    e_fold = np.multiply(led.ideality, VOLTAGE_THERMAL_300K)
    drop = compressor.voltage_base_emitter if compressor.drive == "buffered" else 0.0
    begins = np.maximum(e_fold * np.log(1e-9 / np.asarray(led.current_saturation)), e_fold)
    return e_fold, compressor.voltage_diode + drop + begins


def watch_every(count: int) -> int:
    """Return how many of so many settled periods lie between those that are asked whether the loop hunts there."""
    return max(1, count // _WATCHED)
