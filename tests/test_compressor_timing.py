"""The measuring functions, fed with responses whose times are known in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pedalcalc.compressor import example, static_curve
from pedalcalc.compressor.features import curve_features
from pedalcalc.compressor.timing import (
    ANSI_S3_22_STYLE,
    DEFINITIONS,
    IEC_60118_2_STYLE,
    PART_10_90,
    PART_63,
    SETTLE_2DB,
    TimingDefinition,
    envelope,
    measure_step,
)

TAU_ATTACK, TAU_RELEASE = 0.02, 0.15


def _first_order(definition, ratio, *, rate=20000.0, up=0.2, down=0.8, end=3.2):
    """Return the level track of a compressor whose gain moves first order in dB, all above its threshold."""
    time = np.arange(0.0, end, 1 / rate)
    change = definition.level_step_db * (1 - 1 / ratio)
    reached = change * (1 - np.exp(-(down - up) / TAU_ATTACK))
    gain = np.select(
        [time < up, time < down],
        [0.0, -change * (1 - np.exp(-(time - up) / TAU_ATTACK))],
        -reached * np.exp(-(time - down) / TAU_RELEASE),
    )
    loud = (time >= up) & (time < down)
    return time, definition.level_low_dbv + definition.level_step_db * loud + gain, up, down, change


def _measure(definition, ratio, **how):
    time, level, up, down, change = _first_order(definition, ratio, **how)
    return measure_step(time, level_dbv=level, time_up=up, time_down=down, definition=definition), change


# ------------------------------------------------------------ settle times of a first-order response


@pytest.mark.parametrize("definition", [SETTLE_2DB, IEC_60118_2_STYLE, ANSI_S3_22_STYLE], ids=lambda d: d.name)
@pytest.mark.parametrize("ratio", [2.0, 4.0, 10.0, np.inf])
def test_settling_of_a_first_order_response_is_tau_ln_change_over_band(definition, ratio):
    result, change = _measure(definition, ratio)
    for found in (result.time_attack, result.time_attack_first):
        assert found == pytest.approx(TAU_ATTACK * np.log(change / definition.band_attack_db), rel=1e-4)
    for found in (result.time_release, result.time_release_first):
        assert found == pytest.approx(TAU_RELEASE * np.log(change / definition.band_release_db), rel=1e-4)
    assert result.settled_attack and result.settled_release
    assert result.overshoot_attack_db < 0.01 and result.overshoot_release_db < 0.01


@pytest.mark.parametrize(
    ("ratio", "iec", "ansi_attack", "ansi_release"),
    [(2.0, 1.83, 1.76, 1.48), (4.0, 2.24, 2.17, 1.88), (10.0, 2.42, 2.35, 2.06), (np.inf, 2.53, 2.46, 2.17)],
)
def test_settle_times_in_time_constants(ratio, iec, ansi_attack, ansi_release):
    """ln(D/d) worked out by hand for the steps and bands of the two standards' style."""
    iec_style, _ = _measure(IEC_60118_2_STYLE, ratio)
    ansi_style, _ = _measure(ANSI_S3_22_STYLE, ratio)
    assert iec_style.time_attack / TAU_ATTACK == pytest.approx(iec, abs=0.005)
    assert iec_style.time_release / TAU_RELEASE == pytest.approx(iec, abs=0.005)
    assert ansi_style.time_attack / TAU_ATTACK == pytest.approx(ansi_attack, abs=0.005)
    assert ansi_style.time_release / TAU_RELEASE == pytest.approx(ansi_release, abs=0.005)


def test_63_percent_is_one_time_constant_and_10_to_90_is_ln_9():
    result, change = _measure(PART_63, 4.0)
    assert result.time_attack == pytest.approx(TAU_ATTACK, rel=1e-4)
    assert result.time_release == pytest.approx(TAU_RELEASE, rel=1e-3)
    assert result.band_attack_db == pytest.approx(change / np.e, rel=1e-4)
    result, _ = _measure(PART_10_90, 4.0)
    assert result.time_attack == pytest.approx(TAU_ATTACK * np.log(9), rel=1e-4)
    assert result.time_release == pytest.approx(TAU_RELEASE * np.log(9), rel=1e-3)


def test_one_response_has_attack_times_that_differ_by_a_factor_of_two():
    times = [_measure(definition, 4.0)[0].time_attack for definition in DEFINITIONS]
    assert max(times) / min(times) > 2


def test_every_number_carries_its_definition():
    for definition in DEFINITIONS:
        result, _ = _measure(definition, 4.0)
        assert (result.name, result.frequency) == (definition.name, definition.frequency)
        assert (result.level_low_dbv, result.level_step_db) == (definition.level_low_dbv, definition.level_step_db)
        assert result.band_attack_db > 0 and result.band_release_db > 0


# ------------------------------------------------------------ overshoot, two-stage, unsettled


def _ring(decay, swing, *, change=12.0, up=0.2, down=1.2):
    """Return a track whose gain swings through its final value during the attack."""
    time = np.arange(0.0, 2.2, 1e-5)
    since = time - up
    left = change * np.exp(-since / decay) * np.cos(swing * since)
    gain = np.select([time < up, time < down], [0.0, left - change], -change * np.exp(-(time - down) / 0.05))
    return time, -30.0 + 20.0 * ((time >= up) & (time < down)) + gain, up, down


def test_first_entry_last_entry_and_overshoot_of_a_swinging_attack():
    decay, swing = 0.05, 60.0
    time, level, up, down = _ring(decay, swing)
    result = measure_step(time, level_dbv=level, time_up=up, time_down=down, definition=SETTLE_2DB)
    since = np.linspace(0, 1, 1_000_001)
    left = 12 * np.exp(-since / decay) * np.cos(swing * since)
    outside = np.abs(left) > 2
    assert result.time_attack_first == pytest.approx(since[np.argmin(outside)], abs=2e-5)
    assert result.time_attack == pytest.approx(since[np.flatnonzero(outside)[-1]], abs=2e-5)
    assert result.overshoot_attack_db == pytest.approx(-left.min(), rel=1e-4)
    assert result.time_attack > 2 * result.time_attack_first


def test_a_track_too_coarse_for_the_band_still_shows_the_passage():
    """Two samples on opposite sides of the band: the level went through, and the entry lies between them."""
    time = np.arange(0.0, 3.0, 0.01)
    level = np.where((time >= 1) & (time < 2), -10.0, -30.0)
    dip = np.round((time - 1.0) * 100)
    level = level - np.where((time >= 1) & (time < 2), 10.0, 0.0) + 8.0 * (dip == 0) - 6.0 * (dip == 1)
    result = measure_step(time, level_dbv=level, time_up=1.0, time_down=2.0, definition=SETTLE_2DB)
    assert result.time_attack_first == pytest.approx(0.01 * (8 - 2) / (8 + 6))
    assert result.time_attack == pytest.approx(0.01 + 0.01 * (6 - 2) / 6)
    assert result.overshoot_attack_db == pytest.approx(6.0)


def test_a_level_that_never_leaves_the_band_takes_no_time():
    time = np.arange(0.0, 3.0, 1e-3)
    level = np.where((time >= 1) & (time < 2), -10.0, -30.0)
    result = measure_step(time, level_dbv=level, time_up=1.0, time_down=2.0, definition=SETTLE_2DB)
    assert result.time_attack == result.time_attack_first == result.time_release == 0
    assert result.settled_attack and result.settled_release
    assert [caution.what for caution in result.cautions] == [
        "hardly any level change to time (attack): the gain moves by less than 0.5 dB, so the times say nothing",
        "hardly any level change to time (release): the gain moves by less than 0.5 dB, so the times say nothing",
    ]


def test_a_limiter_that_returns_to_where_it_was_is_timed_from_its_leap():
    result, change = _measure(replace(SETTLE_2DB, level_step_db=24.0), np.inf)
    assert result.level_out_high_dbv == pytest.approx(result.level_out_low_dbv, abs=1e-6)
    assert result.time_attack_first == pytest.approx(TAU_ATTACK * np.log(change / 2), rel=1e-4)


def test_a_record_too_short_is_called_unsettled_with_a_lower_bound():
    result, change = _measure(SETTLE_2DB, 4.0, end=0.8 + 0.25)
    assert not result.settled_release and result.settled_attack
    assert result.time_release < TAU_RELEASE * np.log(change / 2)
    (caution,) = result.cautions
    assert "release" in caution.what and "lower bound" in caution.what
    assert caution.value > caution.limit


def test_a_level_that_ends_outside_the_band_lasts_to_the_end_and_is_unsettled():
    time, level, up, down, _ = _first_order(SETTLE_2DB, 4.0)
    level = level + 5.0 * (time >= time[-1] - 1e-3)
    result = measure_step(time, level_dbv=level, time_up=up, time_down=down, definition=SETTLE_2DB)
    assert not result.settled_release
    assert result.time_release == pytest.approx(time[-1] - down)


def test_two_stage_release_is_seen_by_the_definitions_that_wait_for_the_tail():
    time = np.arange(0.0, 8.0, 1e-3)
    since = time - 1.0
    tail = -10 * (0.8 * np.exp(-since / 0.02) + 0.2 * np.exp(-since / 1.0))
    level = np.select([time < 0.5, time < 1.0], [-30.0, -20.0], -30.0 + np.where(since < 0, 0, tail))
    results = [
        measure_step(time, level_dbv=level, time_up=0.5, time_down=1.0, definition=definition)
        for definition in (PART_63, replace(SETTLE_2DB, band_release_db=1.0))
    ]
    assert results[0].time_release < 0.05
    assert results[1].time_release > 0.5


# ------------------------------------------------------------ the whole chain, from a tone


@pytest.mark.parametrize("frequency", [82.0, 220.0, 1000.0])
def test_envelope_then_times_on_a_tone_with_a_known_gain(frequency):
    definition = replace(SETTLE_2DB, frequency=frequency)
    rate = 48000.0
    time, level, up, down, change = _first_order(definition, 4.0, rate=rate)
    tone = np.sqrt(2) * 10 ** (level / 20) * np.sin(2 * np.pi * frequency * time)
    track = envelope(tone, sample_rate=rate, frequency=frequency)
    result = measure_step(track.time, level_dbv=track.level_dbv, time_up=up, time_down=down, definition=definition)
    smear = 0.25 / frequency
    assert result.time_attack == pytest.approx(TAU_ATTACK * np.log(change / 2), rel=0.01, abs=0.3 * smear)
    assert result.time_release == pytest.approx(TAU_RELEASE * np.log(change / 2), rel=0.01)
    assert result.overshoot_attack_db < 0.02
    assert result.settled_attack and result.settled_release


@pytest.mark.parametrize("frequency", [82.0, 82.41, 220.0, 997.0, 1999.5, 5400.0])
@pytest.mark.parametrize("rate", [44100.0, 48000.0, 192000.0])
@pytest.mark.parametrize("phase", [0.0, 1.0])
def test_envelope_of_a_steady_sine_is_exact(frequency, rate, phase):
    time = np.arange(int(rate * 0.05)) / rate
    track = envelope(0.37 * np.sin(2 * np.pi * frequency * time + phase), sample_rate=rate, frequency=frequency)
    np.testing.assert_allclose(track.amplitude, 0.37, rtol=1e-9)
    np.testing.assert_allclose(track.level_dbv, 20 * np.log10(0.37 / np.sqrt(2)), atol=1e-8)
    edge = 0.25 / frequency
    assert edge - 1 / rate <= track.time[0] <= edge + 1 / rate
    assert edge - 1 / rate <= time[-1] - track.time[-1] <= edge + 1 / rate


def test_envelope_ignores_odd_harmonics_and_keeps_leading_axes():
    time = np.arange(4800) / 48000
    clean = np.sin(2 * np.pi * 100 * time)
    dirty = clean + 0.3 * np.sin(2 * np.pi * 300 * time + 0.5) + 0.2 * np.sin(2 * np.pi * 500 * time)
    track = envelope(np.stack([clean, 2 * dirty]), sample_rate=48000, frequency=100)
    np.testing.assert_allclose(track.amplitude, np.array([[1.0], [2.0]]) * np.ones(track.time.size), rtol=1e-3)


def test_envelope_of_silence_is_zero_and_minus_infinity():
    track = envelope(np.zeros(4800), sample_rate=48000, frequency=100)
    assert np.all(track.amplitude == 0) and np.all(track.level_dbv == -np.inf)


def test_envelope_smears_a_jump_over_half_a_period_and_no_more():
    rate, tone = 48000.0, 100.0
    time = np.arange(9600) / rate
    signal = np.where(time < 0.1, 0.1, 1.0) * np.sin(2 * np.pi * tone * time)
    track = envelope(signal, sample_rate=rate, frequency=tone)
    away = np.abs(track.time - 0.1) > 0.25 / tone + 1 / rate
    np.testing.assert_allclose(track.amplitude[away], np.where(track.time[away] < 0.1, 0.1, 1.0), rtol=1e-9)


# ------------------------------------------------------------ static curve


def _soft(level, threshold, ratio, knee):
    over = level - threshold
    inside = level + (1 / ratio - 1) * (over + knee / 2) ** 2 / (2 * knee)
    return np.select([2 * over <= -knee, 2 * over >= knee], [level, threshold + over / ratio], inside)


def test_soft_knee_law_has_the_values_worked_out_by_hand():
    """Threshold -20, ratio 4, knee 10 in the law of Giannoulis, Massberg and Reiss (2012)."""
    level = np.array([-30, -25, -22.5, -20, -17.5, -15, -10, 0])
    expected = [-30, -25, -22.734375, -20.9375, -19.609375, -18.75, -17.5, -15]
    np.testing.assert_allclose(_soft(level, -20, 4, 10), expected)


@pytest.mark.parametrize("threshold", [-30.0, -20.0])
@pytest.mark.parametrize("ratio", [1.5, 4.0, 20.0])
@pytest.mark.parametrize("knee", [0.0, 4.0, 10.0])
@pytest.mark.parametrize("makeup", [0.0, 12.0])
def test_curve_features_reads_the_soft_knee_law_back(threshold, ratio, knee, makeup):
    level = np.linspace(-60, 0, 121)
    with np.errstate(divide="ignore", invalid="ignore"):
        features = curve_features(level, level_out_dbv=_soft(level, threshold, ratio, knee) + makeup)
    assert features.compresses and features.cautions == ()
    assert features.threshold_dbv == pytest.approx(threshold, abs=1e-9)
    assert features.ratio == pytest.approx(ratio, rel=1e-9)
    assert features.knee_db == pytest.approx(knee, abs=1e-6)
    assert features.gain_quiet_db == pytest.approx(makeup)
    assert features.misfit_db < 1e-6


def test_curve_that_meets_its_rail_is_read_where_it_is_flattest():
    level = np.linspace(-60, 10, 141)
    out = np.where(level > -5, _soft(level, -30, 8, 6) + (level + 5) * 0.875, _soft(level, -30, 8, 6))
    features = curve_features(level, level_out_dbv=out)
    assert features.ratio == pytest.approx(8) and features.threshold_dbv == pytest.approx(-30)
    assert features.level_ratio_dbv < -8
    assert features.misfit_db > 10


def test_curve_limits():
    level = np.linspace(-60, 0, 61)
    straight = curve_features(level, level_out_dbv=level + 3)
    assert (straight.threshold_dbv, straight.ratio, straight.knee_db) == (np.inf, 1.0, 0.0)
    assert not straight.compresses and straight.gain_quiet_db == pytest.approx(3)
    # A gain that jumps up, as behind a series cell that latches, is no ratio of 1 : 1.
    rising = curve_features(level, level_out_dbv=level + np.where(level > -20, 17.0, 0.0))
    assert (rising.compresses, rising.ratio, rising.knee_db, rising.threshold_dbv) == (False, 1, 0, np.inf)
    assert [caution.value for caution in rising.cautions] == [17] and "expands" in rising.cautions[0].what
    # But one that rises and then falls by more than a hair still compresses.
    assert curve_features(level, level_out_dbv=level + np.interp(level, [-40, -35, -20], [0, 3, 0])).compresses
    flat = curve_features(level, level_out_dbv=np.minimum(level, -20))
    assert flat.ratio == np.inf and flat.threshold_dbv == pytest.approx(-20)
    falling = curve_features(level, level_out_dbv=np.where(level > -20, -20 - 0.5 * (level + 20), level))
    assert falling.ratio == pytest.approx(-2)
    bent = curve_features(level, level_out_dbv=level / 2)
    assert bent.cautions and "quiet end" in bent.cautions[0].what
    for slope, told in ((0.91, False), (0.89, True)):
        assert bool(curve_features(level, level_out_dbv=slope * level).cautions) == told


# ------------------------------------------------------------ refusals


def test_definitions_are_checked():
    for field, value in [("level_step_db", 0.0), ("frequency", -1.0), ("band_attack_db", 0.0), ("part_start", 2.0)]:
        with pytest.raises(ValueError, match=field):
            replace(SETTLE_2DB, **{field: value})
    for wrong in (
        {"part_left": 0.1},
        {"band_attack_db": np.nan, "band_release_db": np.nan},
        {"band_attack_db": np.nan},
    ):
        with pytest.raises(ValueError, match="either both bands"):
            replace(SETTLE_2DB, **wrong)
    with pytest.raises(ValueError, match="part_start"):
        replace(PART_63, part_start=0.2)
    with pytest.raises(ValueError, match="level_low_dbv"):
        replace(SETTLE_2DB, level_low_dbv=np.nan)
    with pytest.raises(ValueError, match="one number"):
        replace(SETTLE_2DB, frequency=np.array([100.0, 200.0]))
    assert all(isinstance(definition, TimingDefinition) for definition in DEFINITIONS)


def test_tracks_that_cannot_be_measured_are_refused():
    time, level, up, down, _ = _first_order(SETTLE_2DB, 4.0, rate=1000.0)
    good = {"time": time, "level_dbv": level, "time_up": up, "time_down": down, "definition": SETTLE_2DB}
    measure_step(**good)
    hole = level.copy()
    hole[10] = np.nan
    for changed, words in [
        ({"level_dbv": hole}, "gap"),
        ({"level_dbv": level[:-1]}, "same length"),
        ({"level_dbv": np.where(time < 0.1, -np.inf, level)}, "level_dbv"),
        ({"time": time[::-1]}, "rise"),
        ({"time_down": up}, "time_down"),
        ({"time_up": 0.005}, "20 points"),
        ({"time_down": time[-1]}, "20 points"),
    ]:
        with pytest.raises(ValueError, match=words):
            measure_step(**(good | changed))
    with pytest.raises(TypeError, match="TimingDefinition"):
        measure_step(**(good | {"definition": "63 %"}))


def test_envelope_refusals():
    signal = np.zeros(480)
    with pytest.raises(ValueError, match="eighth of the sample rate"):
        envelope(signal, sample_rate=48000, frequency=6000)
    with pytest.raises(ValueError, match="at least"):
        envelope(signal[:100], sample_rate=48000, frequency=20)
    with pytest.raises(ValueError, match="NaN"):
        envelope(np.array([0.0, np.nan] * 200), sample_rate=48000, frequency=1000)


def test_curve_refusals():
    level = np.linspace(-60, 0, 61)
    for changed, words in [
        ({"level_out_dbv": level[:-1]}, "same length"),
        ({"level_out_dbv": np.where(level > -1, np.nan, level)}, "gap"),
        ({"level_in_dbv": level[::-1]}, "rise"),
        ({"level_in_dbv": level / 10}, "12 dB"),
    ]:
        with pytest.raises(ValueError, match=words):
            curve_features(**({"level_in_dbv": level, "level_out_dbv": level} | changed))


def test_levels_and_times_that_do_not_do_are_told_with_what_was_given():
    with pytest.raises(ValueError, match=r"known, rising levels, got \[nan, -20\.0\]$"):
        static_curve([np.nan, -20.0], compressor=example())
    with pytest.raises(ValueError, match=r"no gap \(NaN\) at index \(2,\)$"):
        measure_step(
            [0.0, 1.0, 2.0, 3.0], level_dbv=[0.0, 0.0, np.nan, 0.0], time_up=1.0, time_down=2.0, definition=SETTLE_2DB
        )
