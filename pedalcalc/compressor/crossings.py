"""When a deviation enters a band, when it leaves it for the last time, and how far it overshoots.

A deviation is a line through points (time, dB), evenly spaced or not; between two points it is
straight. Where the points carry noise, a crossing is not the first point that happens to lie
beyond the edge: the level counts as outside, or as inside, once it is so by more than the noise, and
in the stretch between, the time that the line spends on the far side of the edge is added up. With no
noise that is the crossing of the straight line itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SURE = 4.0  # standard deviations of the noise by which a point must lie clear of an edge
QUIET = 1e-3  # noise below this many dB is none
_MEDIAN_TO_DEVIATION = 1.4826  # for normal noise
_POINTS_OF_A_PEAK = 8
_EVEN = 1.01


def average(time: Array, level: Array, start: float, stop: float) -> float:
    """Return the average over time of the line through the points, by trapezoids."""
    inside = (time > start) & (time < stop)
    times = np.concatenate([[start], time[inside], [stop]])
    return float(np.trapezoid(np.interp(times, time, level), times) / (stop - start))


def noise_of(time: Array, level: Array, apart: float) -> float:
    """Return the standard deviation of what changes from point to point over the latter half of a part.

    It is read from second differences, `apart` seconds wide, so that neither a level still moving nor a
    ripple of that period counts; of their sizes the median is taken, so that a single click does not either.
    A track that is not evenly spaced was computed, not recorded, and carries no noise.
    """
    gaps = np.diff(time)
    if gaps.max() > _EVEN * gaps.min():
        return 0.0
    late = level[np.searchsorted(time, (time[0] + time[-1]) / 2) :]
    lags = max(1.0, apart / gaps.mean()) * np.arange(3)
    if late.size < lags[2] + 1 + _POINTS_OF_A_PEAK:
        return 0.0
    whole, share = lags.astype(int), lags % 1  # a lag need not be a whole number of points
    count = late.size - int(whole[2]) - 1
    now, before, earlier = (
        (1 - f) * late[late.size - n - count :][:count] + f * late[late.size - n - 1 - count :][:count]
        for n, f in zip(whole, share, strict=True)
    )
    spread = np.sqrt(np.sum(np.array([1, 4, 1]) * ((1 - share) ** 2 + share**2)))
    return float(_MEDIAN_TO_DEVIATION * np.median(np.abs(now - 2 * before + earlier)) / spread)


def margin_of(band: float, noise: float) -> float:
    """Return by how much a level must lie clear of the edge of a band to be sure of the side."""
    return min(SURE * noise, band / 2) if noise > QUIET else 0.0


def entries(time: Array, deviation: Array, band: float, noise: float) -> tuple[float, float]:
    """Return the first entry of the band and the last; 0 if it is never left, the end if it is never reached.

    The first point is where the deviation starts, at time 0, and it is not negative there.
    """
    margin = margin_of(band, noise)
    if SURE * noise > band / 2:
        deviation = _evened(deviation, int(np.ceil((4 * SURE * noise / band) ** 2 / 2)))
    inside = np.abs(deviation) < band - margin if margin else np.abs(deviation) <= band
    above, below = deviation > band + margin, deviation < -band - margin
    starts_outside = bool(deviation[0] > band)
    above[0], below[0], inside[0] = starts_outside, False, not starts_outside
    outside = np.flatnonzero(above | below)
    if outside.size == 0:
        return 0.0, 0.0
    back = np.flatnonzero(inside[outside[-1] :])
    last = float(time[-1])
    if back.size:
        last = _cross(time, np.abs(deviation), band, int(outside[-1]), int(outside[-1] + back[0]))
    if not starts_outside:
        return 0.0, last
    # Straight through the band from one point to the next is an entry too.
    entered = np.flatnonzero(inside | below)
    if entered.size == 0:
        return float(time[-1]), last
    end = int(entered[0])
    return _cross(time, deviation, band, int(np.flatnonzero(above[:end])[-1]), end), last


def _evened(values: Array, reach: int) -> Array:
    """Average each value with up to `reach` neighbours on either side, fewer near the ends, the ends alone."""
    place = np.arange(values.size)
    wide = np.minimum(np.minimum(place, place[::-1]), reach)
    total = np.append(0.0, np.cumsum(values))
    return np.asarray((total[place + wide + 1] - total[place - wide]) / (2 * wide + 1))


def _cross(time: Array, height: Array, edge: float, start: int, end: int) -> float:
    """Return when the line falls below an edge, having been above it at point `start` and below it at `end`."""
    before, after = height[start:end], height[start + 1 : end + 1]
    top, bottom = np.maximum(before, after), np.minimum(before, after)
    flat = top == bottom
    share = np.where(flat, before > edge, np.clip((top - edge) / np.where(flat, 1.0, top - bottom), 0, 1))
    return float(time[start] + np.sum(share * np.diff(time[start : end + 1])))


def overshoot_after(time: Array, over: Array, first: float, noise: float) -> float:
    """Return how far beyond the steady level a level goes from its first entry of the band on, 0 if it does not.

    With noise the highest point lies above the peak, so a parabola is laid through all points that
    cannot be told from it, each counting by the time that it stands for.
    """
    after = time >= first
    times, over = time[after], over[after]
    if over.size == 0:
        return 0.0
    peak = int(np.argmax(over))
    highest = max(0.0, float(over[peak]))
    if noise <= QUIET:
        return highest
    lower = np.flatnonzero(over < highest - 2 * SURE * noise)
    start = int(lower[lower < peak][-1]) + 1 if np.any(lower < peak) else 0
    stop = int(lower[lower > peak][0]) if np.any(lower > peak) else over.size
    if stop - start < _POINTS_OF_A_PEAK:
        return highest
    across = 2 * (times[start:stop] - times[start]) / (times[stop - 1] - times[start]) - 1
    bend, slope, middle = np.polyfit(across, over[start:stop], 2, w=np.sqrt(np.gradient(across)))
    tops = np.array([-1.0, 1.0, np.clip(-slope / (2 * bend), -1, 1) if bend < 0 else 1.0])
    return max(0.0, float(np.max(bend * tops**2 + slope * tops + middle)))
