"""The gain after a step of the input, read from a level track whose edge may be smeared.

The level out is the level in plus the gain. The input leaps by a known step; the gain does not leap, for what
sets it is a cell and a capacitor. So at the step itself the deviation from the steady level to come is
known without looking: the step less what the level has moved in the end. What comes after is read off::

    deviation
      |. known at the step
      | `.
      |   `o  first sure reading        bare track: the first point after the leap
      |     `o.                         smeared track: half a period after the step
      |________`o--o---o---o___ 0 = steady level
      0

A **bare** track (computed, or read off a gain) leaps between two points: all its points are gain.

A **smeared** track comes from `envelope`, which averages over half a period, a quarter before and a quarter
after. Within a quarter period of the step its points are mostly the leap of the input and say little of the
gain, so none of them counts. After that they are averages of the gain, with two flaws. The average has a weight that
swings with the tone, so that a gain on the move ripples at twice the tone, by up to a third of a
quarter period to and fro; averaging over half a period once more takes that out. And both averages
together blur the gain; so the same is done to the gain so found, and what it loses by that is given back (once;
statisticians call it twicing). From half a period on, every reading then rests on gain alone. Between the step and there
the gain is taken to move in a constant proportion, as first-order gains in dB do: a time that falls in there is
known to lie there, and not much better.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._units import shown
from pedalcalc.compressor.crossings import SURE, noise_of

Array = NDArray[np.float64]

# A track is bare if so much of the input's step lies between two neighbouring points, or if in the quarter period before
# it the level moves by no more than this share of the step, and that many dB.
LEAP_SHARE = 0.75
STILL_SHARE, STILL_MOST, STILL_POINTS = 0.05, 0.5, 6
_NEAR = 50.0  # quarter periods: later on, a third of one is less than a hundredth of the time
_EDGE_POINTS = 60
_RATIO_LEAST = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class GainTrack:
    """Deviation from the steady level against time since the step; the first point is the step itself.

    `seen_...` are the readings that count, as they were read; `time_sure` is when they begin to be gain
    alone, 0 on a bare track.
    """

    time: Array
    deviation: Array
    seen_time: Array
    seen_deviation: Array
    time_sure: float
    noise: float


def gain_track(
    time: Array, level: Array, *, at: float, quarter: float, step: float, steady: float, change: float
) -> GainTrack:
    """Return the gain from the step `at` to the end of the points given, which begin before the step.

    `step` is how far the input leaps (negative: down), `steady` the level that comes in the end, and `change` the
    deviation from it right at the step.
    """
    first = _leap(time, level, at, quarter, step)
    if first is None:
        return _smeared(time - at, level - steady, change, quarter)
    since, deviation = time[first:] - at, level[first:] - steady
    noise = noise_of(since, deviation, 4 * quarter)
    if since[0] > 0:
        since, deviation = np.append(0.0, since), np.append(change, deviation)
    return GainTrack(since, deviation, since, deviation, 0.0, noise)


def _smeared(since: Array, deviation: Array, change: float, quarter: float) -> GainTrack:
    """Return the gain behind a smeared edge; an overshoot is sharpened only where it was seen before."""
    sure = since >= quarter + min(_spacing(since, 0.0), quarter / 2)
    if np.count_nonzero(sure) < 2 or since[-1] < 4 * quarter:
        raise ValueError(
            "time must cover at least a period of the tone after each step, "
            f"{shown(4 * quarter, 's')}, got {shown(max(float(since[-1]), 0.0), 's')}"
        )
    times, seen = since[sure], deviation[sure]
    noise = noise_of(times, seen, 4 * quarter)
    gain_time, gain = _sharpened(times, seen, change, quarter)
    beyond = (times >= 2 * quarter) & (np.copysign(1.0, change) * seen < -SURE * noise)
    return GainTrack(
        gain_time, gain, times, np.where(beyond, np.interp(times, gain_time, gain), seen), 2 * quarter, noise
    )


def _spacing(time: Array, at: float) -> float:
    after = min(max(int(np.searchsorted(time, at)), 1), time.size - 1)
    return float(time[after] - time[after - 1])


def _leap(time: Array, level: Array, at: float, quarter: float, step: float) -> int | None:
    """Return the first point after a leap between neighbours at the step; None if the edge is smeared.

    Either most of the input's step shows between two points, or the gain is so quick that it hides the leap; but then
    nothing has moved in the quarter period before the step, where a smeared edge rises or falls.
    """
    slack = 1e-3 * _spacing(time, at)
    first = max(int(np.searchsorted(time, at - slack)), 1)
    last = min(int(np.searchsorted(time, at + slack, side="right")), time.size - 1)
    jumps = np.diff(level[first - 1 : last + 1]) / step
    leap = first + int(np.argmax(np.abs(jumps)))
    if np.max(jumps) >= LEAP_SHARE:
        return first + int(np.argmax(jumps))
    eve = level[int(np.searchsorted(time, at - quarter)) : leap]
    still = eve.size >= STILL_POINTS and np.ptp(eve) <= min(STILL_SHARE * abs(step), STILL_MOST)
    return leap if still and at - time[leap - 1] <= quarter / 8 else None


def _sharpened(time: Array, deviation: Array, change: float, quarter: float) -> tuple[Array, Array]:
    """Return a smeared track from the step on: ripple out, blur undone once, and the edge bridged."""
    near = int(np.searchsorted(time, _NEAR * quarter))
    reach = int(np.searchsorted(time, (_NEAR + 4) * quarter))
    edge = np.linspace(0.0, time[0], _EDGE_POINTS, endpoint=False)
    times = np.concatenate([edge, time[:reach]])
    sure = min(int(np.searchsorted(times, 2 * quarter)), times.size - 1)

    def straight(readings: Array) -> Array:
        return np.concatenate([np.interp(edge, [0.0, time[0]], [change, readings[0]]), readings])

    def bridged(gain: Array) -> Array:
        part, reached = times[:sure] / times[sure], gain[sure]
        ratio = max(reached / change, _RATIO_LEAST) if change else 1.0
        gain[:sure] = change * ratio**part + (reached - change * ratio) * part
        return gain

    seen = _half_period(times, straight(deviation[:reach]), change, quarter)
    gain = bridged(seen.copy())
    blurred = 20 * np.log10(_half_period(times, 10 ** (gain / 20), 10 ** (change / 20), quarter))
    gain = bridged(gain + seen - _half_period(times, straight(blurred[edge.size :]), change, quarter))
    kept = edge.size + near
    return np.concatenate([times[:kept], time[near:]]), np.concatenate([gain[:kept], deviation[near:]])


def _half_period(time: Array, value: Array, before: float, quarter: float) -> Array:
    """Average the line through the points over half a period around each; it stood at `before` before time 0."""
    times, values = np.append(-2 * quarter, time), np.append(before, value)
    area = np.append(0.0, np.cumsum(np.diff(times) * (values[1:] + values[:-1]) / 2))

    def up_to(moment: Array) -> Array:
        place = np.clip(np.searchsorted(times, moment) - 1, 0, times.size - 2)
        on = moment - times[place]
        slope = (values[place + 1] - values[place]) / (times[place + 1] - times[place])
        return np.asarray(area[place] + on * (values[place] + slope * on / 2))

    start, stop = time - quarter, np.minimum(time + quarter, time[-1])
    return np.asarray((up_to(stop) - up_to(start)) / (stop - start))
