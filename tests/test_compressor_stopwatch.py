"""Attack and release on tracks whose times and overshoots are known in closed form, bare and through `envelope`.

A gain that is first order in dB enters a band of d dB around its end after tau ln(D/d); one that is second order,
D exp(-t/tau) (cos wt + sin(wt)/(w tau)), overshoots by D exp(-pi/(w tau)), half a period after the step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from pedalcalc.compressor.crossings import entries, noise_of
from pedalcalc.compressor.timing import (
    ANSI_S3_22_STYLE,
    DEFINITIONS,
    PART_10_90,
    PART_63,
    SETTLE_2DB,
    AttackRelease,
    TimingDefinition,
    envelope,
    measure_step,
)

CHANGES = (3.0, 5.0, 6.5, 8.0, 12.0, 18.0, 25.0)
STEPS = (10.0, 20.0, 35.0)
TONES = (82.0, 220.0, 1000.0)
QUARTERS = (0.33, 1.0, 2.0, 6.0, 40.0)  # time constants, in quarter periods of the tone
UP = 0.1


@dataclass(frozen=True)
class Case:
    """One synthetic step: a gain that moves by `change` dB, first order or (with `swing` in rad/s) second order."""

    definition: TimingDefinition
    change: float
    attack: float
    release: float
    swing_attack: float = 0.0
    swing_release: float = 0.0

    @property
    def quarter(self) -> float:
        return 0.25 / self.definition.frequency

    def left(self, leg: str, since: Any) -> Any:
        """Return how much of the change is still left [dB], negative where it overshoots."""
        tau, swing = getattr(self, leg), getattr(self, f"swing_{leg}")
        turn = np.cos(swing * since) + (np.sin(swing * since) / (swing * tau) if swing else 0.0)
        return self.change * np.exp(-since / tau) * turn

    def length(self, leg: str) -> float:
        return max(0.08, 14 * getattr(self, leg), 16 * self.quarter)

    def level(self, time: Any) -> Any:
        """Return the level out, its leaps ideal."""
        down = UP + self.length("attack")
        loud = (time >= UP) & (time < down)
        gain = np.select(
            [time < UP, loud],
            [0.0, self.left("attack", np.maximum(time - UP, 0)) - self.change],
            -self.left("release", np.maximum(time - down, 0)),
        )
        return self.definition.level_low_dbv + self.definition.level_step_db * loud + gain

    def dense_then_sparse(self) -> Any:
        """Return times that are close after each step, then one for each 0.2 % of the time gone by."""
        down = UP + self.length("attack")
        parts = [np.arange(0.0, UP, 1e-3)]
        for at, leg in ((UP, "attack"), (down, "release")):
            fine = min(4 * self.quarter, 2 * getattr(self, leg))
            far = fine * np.exp(np.arange(0.0, np.log(self.length(leg) / fine), 0.002))
            parts.append(at + np.concatenate([np.linspace(0, fine, 400, endpoint=False), far]))
        return np.concatenate(parts)

    def even(self, rate: float) -> Any:
        return np.arange(0.0, UP + self.length("attack") + self.length("release"), 1 / rate)

    def bare(self, time: Any, noise: Any = 0.0) -> AttackRelease:
        return self.timed(time, self.level(time) + noise)

    def through_envelope(self, rate: float, phase: float, noise: Any = None) -> AttackRelease:
        time = self.even(rate)
        tone = np.sqrt(2) * 10 ** (self.level(time) / 20) * np.sin(2 * np.pi * self.definition.frequency * time + phase)
        track = envelope(tone, sample_rate=rate, frequency=self.definition.frequency)
        level = track.level_dbv if noise is None else track.level_dbv + noise.normal(0, 0.05, track.time.size)
        return self.timed(track.time, level)

    def timed(self, time: Any, level: Any) -> AttackRelease:
        down = UP + self.length("attack")
        return measure_step(time, level_dbv=level, time_up=UP, time_down=down, definition=self.definition)

    def bands(self, leg: str) -> tuple[float, float]:
        """Return the band where the clock stops, and that where it starts; infinite: at the step."""
        part = self.definition.part_left
        band = getattr(self.definition, f"band_{leg}_db") if np.isnan(part) else part * self.change
        start = self.definition.part_start * self.change
        return band, start if self.definition.part_start < 1 else np.inf

    def truth(self, leg: str) -> tuple[float, float, float]:
        """Return first entry, last entry and overshoot."""
        tau, swing = getattr(self, leg), getattr(self, f"swing_{leg}")
        band, start = self.bands(leg)
        if not swing:
            clock = tau * np.log(self.change / start) if start < np.inf else 0.0
            time = tau * np.log(self.change / band) if band < self.change else 0.0
            return time - clock, time - clock, 0.0
        since = np.linspace(0, 14 * tau, 400_001)
        left = np.abs(self.left(leg, since))
        clock = since[np.argmax(left < start)] if start < np.inf else 0.0
        overshoot = self.change * np.exp(-np.pi / (swing * tau))
        return since[np.argmax(left < band)] - clock, since[np.flatnonzero(left > band)[-1]] - clock, overshoot

    def ring_near_band(self, leg: str, within: float) -> bool:
        """Tell whether a peak of the ringing lies so close to the edge of a band that noise or blur decides."""
        tau, swing = getattr(self, leg), getattr(self, f"swing_{leg}")
        peaks = self.change * np.exp(-np.pi * np.arange(1, 40) / (swing * tau))
        return bool(np.any(np.abs(peaks - self.bands(leg)[0]) < within))


def _cases(definition, tone, *, every=1, seed=0):
    """Yield first-order cases over changes, steps and time constants; attack and release differ."""
    places = [(change, step, a) for change in CHANGES for step in STEPS if change <= step for a in range(len(QUARTERS))]
    rng = np.random.default_rng(seed)
    for change, step, a in places[::every]:
        release = QUARTERS[int(rng.integers(len(QUARTERS)))]
        asked = replace(definition, frequency=tone, level_step_db=step)
        yield Case(asked, change, QUARTERS[a] * 0.25 / tone, release * 0.25 / tone)


def _wrong(case, found, *, least=0.5e-3, blurred=0.0, overshoot=0.1):
    """Return what lies beyond 2 % or `least` seconds, or `overshoot` dB; nothing if all is right.

    A gain quicker than half a period of the tone may be off by `blurred` quarter periods as well.
    """
    wrong = []
    for leg in ("attack", "release"):
        first, last, over = case.truth(leg)
        blur = blurred * case.quarter if getattr(case, leg) < 2 * case.quarter else 0.0
        for name, true in (("_first", first), ("", last)):
            time = getattr(found, f"time_{leg}{name}")
            if not abs(time - true) <= max(0.02 * true, least, blur):
                wrong.append(f"{case}: {leg}{name} {1e3 * time:.3f} ms, true {1e3 * true:.3f} ms")
        if not abs(getattr(found, f"overshoot_{leg}_db") - over) <= overshoot:
            wrong.append(f"{case}: overshoot {leg} {getattr(found, f'overshoot_{leg}_db'):.3f} dB, true {over:.3f} dB")
    return wrong


# ------------------------------------------------------------ bare tracks


@pytest.mark.parametrize("tone", TONES)
@pytest.mark.parametrize("definition", DEFINITIONS, ids=lambda d: d.name)
def test_first_order_gains_of_every_size_on_a_bare_track(definition, tone):
    """Every change, step and time constant, on records that are dense near the steps and sparse later."""
    wrong = []
    for case in _cases(definition, tone):
        found = case.bare(case.dense_then_sparse())
        wrong += _wrong(case, found, least=2e-5, overshoot=5e-3)
        assert found.settled_attack and found.settled_release
    assert not wrong


def test_a_small_change_under_a_large_step_is_not_taken_for_its_own_edge():
    """5 dB under 20 dB: the level leaps over the band on its way up, which is no entry; 100 ms x ln(5/2) = 91.6 ms."""
    case = Case(SETTLE_2DB, 5.0, 0.1, 0.1)
    for found in (case.bare(case.even(48000.0)), case.through_envelope(48000.0, 0.3)):
        assert found.time_release_first == pytest.approx(91.6e-3, abs=0.1e-3)
        assert found.time_attack_first == pytest.approx(91.6e-3, abs=0.1e-3)
        assert found.overshoot_release_db == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("definition", DEFINITIONS, ids=lambda d: d.name)
def test_noise_of_a_twentieth_of_a_db_moves_no_time_on_a_bare_track(definition):
    """Noise of 0.05 dB rms; a reading that is beyond the band by chance is neither an entry nor an exit."""
    rng = np.random.default_rng(1)
    wrong = []
    for case in _cases(definition, 220.0, every=5, seed=1):
        time = case.even(24000.0)
        wrong += _wrong(case, case.bare(time, rng.normal(0, 0.05, time.size)))
    assert not wrong


def _swinging(definition, rng, *, periods, tone):
    """Return a second-order case whose period of ringing lies in `periods` quarter periods of the tone."""
    while True:
        change, quarter = float(rng.choice(CHANGES[2:])), 0.25 / tone
        swings = 2 * np.pi / (quarter * rng.uniform(*periods, 2))
        taus = -np.pi / swings / np.log(rng.uniform(0.05, 0.5, 2))
        step = float(rng.choice([s for s in STEPS if s >= change]))
        asked = replace(definition, frequency=tone, level_step_db=step)
        case = Case(asked, change, float(taus[0]), float(taus[1]), float(swings[0]), float(swings[1]))
        if not any(case.ring_near_band(leg, 0.3) for leg in ("attack", "release")):
            return case


@pytest.mark.parametrize("noise", [0.0, 0.05])
@pytest.mark.parametrize("definition", DEFINITIONS, ids=lambda d: d.name)
def test_overshoots_slow_and_quicker_than_a_quarter_period_on_a_bare_track(definition, noise):
    """From eight periods of the tone down to a half: at the quick end the peak lies within a quarter period."""
    rng = np.random.default_rng(2)
    wrong = []
    for periods in ((1.5, 2.0), (2.0, 8.0), (8.0, 32.0)):
        for tone in (82.0, 220.0):
            case = _swinging(definition, rng, periods=periods, tone=tone)
            time = case.even(48000.0)
            wrong += _wrong(case, case.bare(time, rng.normal(0, noise, time.size) if noise else 0.0))
    assert not wrong


def test_an_overshoot_of_20_db_that_is_over_within_a_quarter_period_is_not_the_band():
    """A gain that falls by 35.5 dB in half a millisecond and comes back up to 15 dB, at 82 Hz: a quarter period is 3 ms."""
    time = np.arange(0.0, 0.6, 1 / 48000)
    since = np.maximum(time - 0.1, 0)
    gain = -15 + 15 * np.exp(-since / 0.1e-3) - 22 * (np.exp(-since / 1e-3) - np.exp(-since / 0.05e-3))
    after = -15 * np.exp(-np.maximum(time - 0.3, 0) / 0.02)
    level = np.select([time < 0.1, time < 0.3], [-30.0, -10.0 + gain], -30 + after)
    definition = replace(SETTLE_2DB, frequency=82.0)
    found = measure_step(time, level_dbv=level, time_up=0.1, time_down=0.3, definition=definition)
    fine = np.linspace(0, 5e-3, 500_001)
    left = 15 * np.exp(-fine / 0.1e-3) - 22 * (np.exp(-fine / 1e-3) - np.exp(-fine / 0.05e-3))
    assert found.overshoot_attack_db == pytest.approx(-left.min(), abs=0.1)
    assert found.overshoot_attack_db > 10
    assert found.time_attack_first == pytest.approx(fine[np.argmax(left < 2)], abs=2e-5)
    assert found.time_attack == pytest.approx(fine[np.flatnonzero(left < -2)[-1]], abs=2e-5)
    assert found.cautions == ()


# ------------------------------------------------------------ tones through `envelope`


@pytest.mark.parametrize("tone", TONES)
@pytest.mark.parametrize("definition", DEFINITIONS, ids=lambda d: d.name)
def test_first_order_gains_of_every_size_on_a_tone(definition, tone):
    """Sampled at several phases of the tone; 2 % or 0.5 ms, save for gains quicker than half a period of 82 Hz.

    Those are good to four tenths of a quarter period, 1.2 ms. At the higher tones that is within 0.5 ms.
    """
    wrong, rng = [], np.random.default_rng(3)
    for case in _cases(definition, tone, every=3, seed=3):
        rate = 24000.0 + rng.uniform(0, 500)  # so that the steps fall between samples
        found = case.through_envelope(rate, rng.uniform(0, 2 * np.pi))
        wrong += _wrong(case, found, blurred=0.4)
    assert not wrong


@pytest.mark.parametrize("noise", [False, True])
@pytest.mark.parametrize("definition", [SETTLE_2DB, PART_63, ANSI_S3_22_STYLE, PART_10_90], ids=lambda d: d.name)
def test_overshoots_slower_than_eight_periods_on_a_tone(definition, noise):
    rng = np.random.default_rng(4)
    wrong = []
    for tone in TONES:
        case = _swinging(definition, rng, periods=(32.0, 64.0), tone=tone)
        found = case.through_envelope(24007.0, rng.uniform(0, 2 * np.pi), rng if noise else None)
        wrong += _wrong(case, found)
    assert not wrong


@pytest.mark.parametrize("tone", TONES)
def test_noise_on_the_level_of_a_tone_moves_no_time(tone):
    rng, wrong = np.random.default_rng(5), []
    for definition in DEFINITIONS:
        for case in _cases(definition, tone, every=17, seed=5):
            found = case.through_envelope(24007.0, rng.uniform(0, 2 * np.pi), rng)
            wrong += _wrong(case, found, blurred=0.4)
    assert not wrong


def test_10_to_90_percent_does_not_depend_on_where_the_step_meets_the_tone():
    """One gain, 24 phases of an 82 Hz tone: 10 % are done within the smeared edge."""
    case = Case(replace(PART_10_90, frequency=82.0), 15.0, 0.02, 0.1)
    found = [case.through_envelope(48000.0, phase) for phase in np.linspace(0, 2 * np.pi, 24, endpoint=False)]
    for leg, tau in (("attack", 0.02), ("release", 0.1)):
        times = [getattr(result, f"time_{leg}") for result in found]
        np.testing.assert_allclose(times, tau * np.log(9), rtol=0.02)


def test_what_the_tone_hides_is_said_and_bounded():
    """At 82 Hz an attack of 0.3 ms is over before the first sure reading; its 20 dB of overshoot is partly gone."""
    time = np.arange(0.0, 0.9, 1 / 24000)
    since = np.maximum(time - 0.1, 0)
    gain = -12 * (1 - np.exp(-since / 0.3e-3)) - 20 * (np.exp(-since / 0.02) - np.exp(-since / 0.3e-3))
    level = np.select([time < 0.1, time < 0.4], [-30.0, -10.0 + gain], -30 - 12 * np.exp(-(time - 0.4) / 0.03))
    tone = np.sqrt(2) * 10 ** (level / 20) * np.sin(2 * np.pi * 82 * time + 1)
    track = envelope(tone, sample_rate=24000, frequency=82)
    definition = replace(SETTLE_2DB, frequency=82.0)
    found = measure_step(track.time, level_dbv=track.level_dbv, time_up=0.1, time_down=0.4, definition=definition)
    assert 0 < found.time_attack_first < 0.5 / 82
    assert 15 < found.overshoot_attack_db < 20
    said = [caution.what for caution in found.cautions]
    assert said[0].startswith("attack within half a period of the 82 Hz tone") and said[0].endswith("known to 3 ms")
    assert said[1].startswith("overshoot (attack) within a period of the 82 Hz tone") and len(said) == 2
    # The end of the overshoot lies outside and is measured: 20 dB falls to 2 dB in 20 ms x ln 10.
    assert found.time_attack == pytest.approx(0.02 * np.log(10), rel=0.02)


# ------------------------------------------------------------ little to time, and not settled


@pytest.mark.parametrize("smeared", [False, True])
@pytest.mark.parametrize("definition", DEFINITIONS, ids=lambda d: d.name)
@pytest.mark.parametrize("change", [0.0, 1e-3, 0.3])
def test_no_compression_takes_no_time_and_says_so(definition, smeared, change):
    case = Case(replace(definition, frequency=220.0), change, 0.01, 0.05)
    found = case.through_envelope(24000.0, 1.0) if smeared else case.bare(case.even(24000.0))
    for leg in ("attack", "release"):
        assert getattr(found, f"time_{leg}") == getattr(found, f"time_{leg}_first") == 0
        assert getattr(found, f"settled_{leg}")
        assert getattr(found, f"overshoot_{leg}_db") < 1e-3
    assert [caution.what for caution in found.cautions] == [
        f"hardly any level change to time ({leg}): the gain moves by less than 0.5 dB, so the times say nothing"
        for leg in ("attack", "release")
    ]
    assert found.cautions[0].value == pytest.approx(change, abs=1e-4)


def test_a_large_excursion_that_comes_back_to_where_it_began_is_timed():
    """The gain ends where it was, but dips by 10 dB on the way: 0 dB of change, and yet something to time."""
    time = np.arange(0.0, 1.0, 1 / 24000)
    since = np.maximum(time - 0.1, 0)
    dip = -40 * (np.exp(-since / 0.02) - np.exp(-since / 0.01)) * (time < 0.5)
    level = np.where((time >= 0.1) & (time < 0.5), -10.0, -30.0) + dip
    found = measure_step(time, level_dbv=level, time_up=0.1, time_down=0.5, definition=SETTLE_2DB)
    assert found.time_attack_first == 0
    assert found.time_attack == pytest.approx(0.1 + since[np.flatnonzero(dip < -2)[-1]] - 0.1, abs=1e-4)
    assert "hardly any" in found.cautions[0].what


def test_not_settled_tells_how_long_was_watched():
    case = Case(SETTLE_2DB, 12.0, 0.01, 3.0)
    time = np.arange(0.0, 5.24, 1e-3)
    found = case.timed(time, case.level(time))
    assert found.settled_attack and not found.settled_release
    (caution,) = found.cautions
    assert caution.what == ("release not settled within 5 s: the level was still moving, so its time is a lower bound")
    assert caution.value > caution.limit


def test_noise_close_to_the_band_is_said():
    case = Case(replace(SETTLE_2DB, band_attack_db=0.3, band_release_db=2.0), 6.0, 0.01, 0.05)
    time = case.even(24000.0)
    found = case.bare(time, np.random.default_rng(6).normal(0, 0.1, time.size))
    assert [caution.what for caution in found.cautions] == ["noise close to the band (attack)"]
    assert found.time_attack == pytest.approx(0.01 * np.log(6 / 0.3), rel=0.05)


# ------------------------------------------------------------ records of every kind


@pytest.mark.parametrize("definition", DEFINITIONS, ids=lambda d: d.name)
def test_an_uneven_record_is_read_as_an_even_one(definition):
    """Averages go by time: a hundred points crowded into one moment must not outvote the rest."""
    case = Case(replace(definition, frequency=220.0), 12.0, 0.01, 0.08)
    even = case.even(24000.0)
    crowd = np.sort(np.random.default_rng(7).uniform(1.1, 1.1001, 3000))  # in the last tenth, 0.02 dB off the rest
    uneven = np.unique(np.concatenate([case.dense_then_sparse(), crowd]))
    off = np.where((uneven > 1.1) & (uneven < 1.1001), 0.5, 0.0)
    one, other = case.bare(even), case.bare(uneven, off)
    for field in ("time_attack", "time_attack_first", "time_release", "time_release_first", "level_out_after_dbv"):
        assert getattr(one, field) == pytest.approx(getattr(other, field), rel=2e-3, abs=1e-5)


def test_a_thinned_envelope_is_read_as_the_whole():
    case = Case(replace(PART_10_90, frequency=82.0), 12.0, 0.02, 0.15)
    time = case.even(48000.0)
    tone = np.sqrt(2) * 10 ** (case.level(time) / 20) * np.sin(2 * np.pi * 82 * time)
    track = envelope(tone, sample_rate=48000, frequency=82)
    picked = np.unique(np.searchsorted(track.time, case.dense_then_sparse()[1:-20]))
    whole, thin = (case.timed(track.time[k], track.level_dbv[k]) for k in (slice(None), picked))
    for field in ("time_attack", "time_release"):
        assert getattr(thin, field) == pytest.approx(getattr(whole, field), rel=2e-3)


def test_a_gain_that_rises_with_the_level_is_timed_alike():
    """An expander: the level leaps too low and creeps up."""
    time = np.arange(0.0, 1.2, 1 / 24000)
    up, down = 8 * (1 - np.exp(-(time - 0.1) / 0.02)), 8 * np.exp(-(time - 0.4) / 0.05)
    level = np.select([time < 0.1, time < 0.4], [-30.0, -15.0 + up], -30.0 + down)
    definition = replace(SETTLE_2DB, level_step_db=15.0)
    found = measure_step(time, level_dbv=level, time_up=0.1, time_down=0.4, definition=definition)
    assert found.time_attack == pytest.approx(0.02 * np.log(4), rel=1e-3)
    assert found.time_release == pytest.approx(0.05 * np.log(4), rel=1e-3)


def test_a_smeared_record_must_cover_a_period_after_each_step():
    case = Case(replace(SETTLE_2DB, frequency=82.0), 8.0, 2e-3, 2e-3)
    time = np.arange(0.0, 0.4, 1 / 24000)
    tone = np.where((time >= 0.1) & (time < 0.11), 1.0, 0.1) * np.sin(2 * np.pi * 82 * time)
    track = envelope(tone, sample_rate=24000, frequency=82)
    with pytest.raises(ValueError, match="at least a period of the tone after each step"):
        measure_step(track.time, level_dbv=track.level_dbv, time_up=0.1, time_down=0.11, definition=case.definition)


# ------------------------------------------------------------ crossings by themselves


def test_noise_is_told_from_drift_ripple_and_clicks():
    rng = np.random.default_rng(8)
    time = np.arange(40_000) / 24000
    noise = rng.normal(0, 0.05, time.size)
    moving = 3 * np.exp(-time) + 0.4 * np.sin(2 * np.pi * 200 * time)
    moving[-100:] += 5
    assert noise_of(time, moving, 1 / 200) < 1e-3
    assert noise_of(time, moving + noise, 1 / 200) == pytest.approx(0.05, rel=0.05)


def test_crossings_of_a_straight_line_with_and_without_noise():
    time = np.linspace(0, 10, 50_001)
    line = 10.0 - time
    assert entries(time, line, 2.5, 0.0) == pytest.approx((7.5, 7.5))
    noisy = line + np.random.default_rng(9).normal(0, 0.2, time.size)
    noisy[0] = 10.0
    assert entries(time, noisy, 2.5, 0.2) == pytest.approx((7.5, 7.5), abs=0.05)  # 4 of its standard deviations
    assert entries(time, line, 12.0, 0.0) == (0.0, 0.0)
    assert entries(time, line + 10, 2.5, 0.0) == (10.0, 10.0)
