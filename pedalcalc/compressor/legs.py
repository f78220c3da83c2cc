"""What happens after one step of the input: entries, overshoot, whether it settled, and what to be wary of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._result import Caution, caution_above, caution_below
from pedalcalc.compressor.crossings import SURE, average, entries, margin_of, overshoot_after
from pedalcalc.compressor.definitions import TimingDefinition
from pedalcalc.compressor.gain_track import gain_track

Array = NDArray[np.float64]

# A level counts as settled when its average over the last tenth of a step differs from
# the tenth before by less than this share of the band. For a level that approaches
# exponentially the time then read is within about 6 % of the time to the true level.
DRIFT_SHARE = 0.05
CHANGE_LEAST = 0.5  # a gain that moves by less than this many dB is not timed by parts of its change
SMEAR_SMALL = 0.5e-3  # a quarter period shorter than this needs no caution
OVERSHOOT_SMALL = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """One step timed: `clock` is when the clock starts, `change` how far the gain moves, all in s and dB.

    `drift` and `ended` are how far the level moved over the last tenth and where it ended, each with what is
    still settled; `smear` is until when the tone blurs the level, 0 where it does not.
    """

    first: float
    last: float
    clock: float
    overshoot: float
    overshoot_cut: bool
    band: float
    change: float
    drift: float
    drift_most: float
    ended: float
    ended_most: float
    settled: bool
    watched: float
    frequency: float
    smear: float
    noise: float


def steady_level(time: Array, level: Array, start: float, stop: float, *, tenths_back: int = 0) -> float:
    """Average the level over the last tenth of a part, or over one of the tenths before."""
    tenth = (stop - start) / 10
    until = np.searchsorted(time, stop, side="right")  # what comes next may have leapt away
    stop -= tenths_back * tenth
    return average(time[:until], level[:until], stop - tenth, stop)


def time_leg(
    time: Array,
    level: Array,
    span: tuple[float, float],
    *,
    step: float,
    steady: float,
    change: float,
    definition: TimingDefinition,
) -> Leg:
    """Time what follows a step of the input at the start of `span`.

    `change` is the deviation of the level from `steady`, the level that comes in the end, right after the step.
    """
    start, stop = span
    quarter = 0.25 / definition.frequency
    until = int(np.searchsorted(time, stop, side="right"))
    track = gain_track(time[:until], level[:until], at=start, quarter=quarter, step=step, steady=steady, change=change)
    sign = np.copysign(1.0, change)
    deviation, over = sign * track.deviation, -sign * track.seen_deviation
    band = definition.band_attack_db if step > 0 else definition.band_release_db
    by_parts = bool(np.isnan(band))
    band = definition.part_left * abs(change) if by_parts else band
    timed = not by_parts or abs(change) >= CHANGE_LEAST
    first, last = entries(track.time, deviation, band, track.noise) if timed else (0.0, 0.0)
    clock = 0.0
    if timed and by_parts and definition.part_start < 1:
        clock = entries(track.time, deviation, definition.part_start * abs(change), track.noise)[0]
    held = band if timed else CHANGE_LEAST
    drift = abs(steady - steady_level(time, level, start, stop, tenths_back=1))
    drift_most = DRIFT_SHARE * held + _unsure(track.seen_time, track.noise, 2 * quarter if track.time_sure else 0.0)
    ended, ended_most = abs(float(track.deviation[-1])), held + margin_of(held, track.noise)
    return Leg(
        first=first,
        last=last,
        clock=clock,
        overshoot=overshoot_after(track.seen_time, over, first, track.noise),
        overshoot_cut=bool(track.seen_time[np.argmax(over)] < 2 * track.time_sure),
        band=band,
        change=change,
        drift=drift,
        drift_most=drift_most,
        ended=ended,
        ended_most=ended_most,
        settled=drift <= drift_most and ended <= ended_most,
        watched=stop - start,
        frequency=definition.frequency,
        smear=track.time_sure,
        noise=track.noise,
    )


def _unsure(time: Array, noise: float, apart: float) -> float:
    """Return by how much noise alone may set two averages over a tenth of a part off against each other.

    Readings closer together than `apart` share their noise.
    """
    tenth = float(time[-1] - time[0]) / 10
    count = float(np.count_nonzero(time > time[-1] - tenth))
    if apart > 0:
        count = min(count, max(1.0, tenth / apart))
    return float(SURE * noise * np.sqrt(2 / max(count, 1.0)))


def cautions_of_leg(which: str, leg: Leg) -> tuple[Caution, ...]:
    """Return what to be wary of in the times of an attack or a release."""
    found = caution_below(
        f"hardly any level change to time ({which}): the gain moves by less than {CHANGE_LEAST:g} dB, "
        "so the times say nothing",
        "play a larger step, or one that crosses the threshold",
        abs(leg.change),
        CHANGE_LEAST,
        "dB",
    )
    if not leg.settled:
        moved = (leg.drift, leg.drift_most) if leg.drift > leg.drift_most else (leg.ended, leg.ended_most)
        found += caution_above(
            f"{which} not settled within {leg.watched:.3g} s: the level was still moving, so its time is a lower bound",
            "hold that part of the step longer",
            *moved,
            "dB",
        )
    if 0 < leg.first < leg.smear and leg.smear > 2 * SMEAR_SMALL:
        found += caution_below(
            f"{which} within half a period of the {leg.frequency:.4g} Hz tone, which blurs it: the time is known to "
            f"{500 * leg.smear:.2g} ms",
            "time it with a higher tone",
            leg.first,
            leg.smear,
            "s",
        )
    if leg.overshoot_cut:
        found += caution_above(
            f"overshoot ({which}) within a period of the {leg.frequency:.4g} Hz tone, which blurs it: "
            "it may have been larger",
            "measure it with a higher tone",
            leg.overshoot,
            OVERSHOOT_SMALL,
            "dB",
        )
    if leg.first > 0:
        found += caution_above(
            f"noise close to the band ({which})", "raise the level, or look for hum", SURE * leg.noise, leg.band, "dB"
        )
    return found
