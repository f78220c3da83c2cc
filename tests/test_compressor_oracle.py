"""The engine against the circuit's differential equations, integrated at audio rate (oracle_compressor)."""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from pedalcalc.compressor import example, plucked_string, render
from pedalcalc.compressor.response import level_response
from pedalcalc.devices import (
    COUPLER_GREEN_GAP_GL5528,
    COUPLER_GREEN_GL5528,
    COUPLER_NSL28,
    COUPLER_WHITE_GL5528,
    typical,
)
from tests.oracle_compressor import KEEP, RATE, Run, Track, integrate, integrate_averaged, solve_audio_rate, tone_steps
from tests.oracle_grid import REGIONS, Region, Setting, compare, draw, missed, stepped

TIME_UP, TIME_DOWN, TIME_END = 0.2, 0.6, 1.5
LOW, HIGH = -30.0, -10.0
COUPLERS = tuple(map(typical, (COUPLER_GREEN_GAP_GL5528, COUPLER_GREEN_GL5528, COUPLER_WHITE_GL5528, COUPLER_NSL28)))
DRIVES = ("direct", "capacitor", "buffered")
PLACEMENTS = ("shunt", "series", "feedback")
SENSES = ("after", "before")
ATTACKS = (0.5e-3, 1.6e-3, 5e-3, 16e-3, 50e-3)
RELEASES = (0.05, 0.2, 0.6, 2.0)
TONES = (82.0, 220.0, 997.0, 1993.0)  # no small fraction of any sample rate

# What each placement needs so that the loud level lights its LED and the quiet one does not.
CELL = {
    ("shunt", "after"): (47e3, 1e6, 4.0, 8.0),
    ("shunt", "before"): (47e3, 1e6, 4.0, 16.0),
    ("series", "after"): (1e3, 1e6, 4.0, 8.0),  # positive feedback: latches up at the loud level, lets go at the quiet
    ("series", "before"): (1e3, 10e3, 4.0, 16.0),
    ("feedback", "after"): (22e3, 100e3, 1.0, 8.0),
    ("feedback", "before"): (22e3, 100e3, 1.0, 16.0),
}


def _setting(number, drive, placement, sense, attack, release, tone) -> Setting:
    hold = 1e-6
    resistance_input, resistance_output, gain_makeup, gain_sidechain = CELL[placement, sense]
    compressor = replace(
        example(),
        placement=placement,
        sense=sense,
        drive=drive,
        resistance_input=resistance_input,
        resistance_output=resistance_output,
        gain_makeup=gain_makeup,
        gain_sidechain=gain_sidechain,
        rectifier=("full", "half")[number % 3 == 2],
        voltage_diode=(0.0, 0.3)[number % 5 == 4],
        voltage_rail=(7.0, 3.8)[number % 7 == 6],
        resistance_led=(4.7e3, 47e3, 100e3, 2.2e3)[number % 4],
        capacitance_hold=hold,
        resistance_attack=attack / hold,
        resistance_release=release / hold,
        illuminance_ambient=(0.0, 0.02)[number % 6 == 3],
        coupler=COUPLERS[number % len(COUPLERS)],
    )
    label = f"{number}: {drive} {placement} {sense} Ra·C {attack * 1e3:g} ms Rr·C {release * 1e3:g} ms {tone:g} Hz"
    return Setting(compressor, tone, LOW, HIGH, label)


def grid() -> list[Setting]:
    """Return every combination once (the attack and release of a direct drive do not matter)."""
    points = [("direct", *rest, 5e-3, 0.2, tone) for rest in itertools.product(PLACEMENTS, SENSES) for tone in TONES]
    points += itertools.product(DRIVES[1:], PLACEMENTS, SENSES, ATTACKS, RELEASES, TONES)
    return [_setting(number, *point) for number, point in enumerate(points)]


GRID = Region("grid", RATE, TIME_DOWN - TIME_UP, TIME_END - TIME_DOWN, TIME_UP)


def sample() -> list[Setting]:
    """Return part of the grid in which every pair of circuit and attack, release or tone occurs."""
    whole = grid()
    circuits: dict[tuple[str, str, str], list[Setting]] = {}
    for setting in whole:
        c = setting.compressor
        circuits.setdefault((c.drive, c.placement, c.sense), []).append(setting)
    chosen = []
    for row, settings in enumerate(circuits.values()):
        if len(settings) == len(TONES):
            chosen += [settings[row % 4], settings[(row + 2) % 4]]
            continue
        for column, attack in enumerate(range(len(ATTACKS))):
            release, tone = (column + row) % len(RELEASES), (column + row // 4 + row) % len(TONES)
            chosen.append(settings[(attack * len(RELEASES) + release) * len(TONES) + tone])
    return chosen


@pytest.fixture(scope="module")
def comparisons():
    """Compare once for all tests here."""
    return compare(GRID, sample(), _tracks()["grid"])


def test_envelope_of_the_engine_is_within_two_hundredths_of_a_db_rms(comparisons):
    too_far = {c.setting.label: round(c.rms_db, 4) for c in comparisons if not c.rms_db <= 0.02}
    assert not too_far


def test_times_of_the_engine_are_within_two_percent_or_half_a_millisecond(comparisons):
    """First entries and last exits by every definition, and overshoots within 0.1 dB."""
    assert {c.setting.label: missed(c) for c in comparisons if missed(c)} == {}


def _short(region: Region) -> Region:
    """Return how a region is run here: all take about as many steps, and the finest outlast their own ringing."""
    if region.rate < 1_000_000:
        return replace(region, high=0.3, after=0.4)
    return replace(region, high=0.4 * region.high, after=0.4 * region.after)


@cache
def _drawn(name: str) -> list[Setting]:
    """Return three circuits of a region."""
    random = np.random.default_rng([7, list(REGIONS).index(name)])
    return [draw(name, random) for _ in range(3)]


@cache
def _tracks() -> dict[str, Track]:
    """Integrate once, and all at once, what the tests here compare the engine with."""
    runs = {name: stepped(_short(region), _drawn(name)) for name, region in REGIONS.items()}
    runs["grid"] = stepped(GRID, sample())
    sounds = np.repeat([_plucked(), _burst()], len(HEARING), axis=0).T  # a column for each sound and circuit
    runs["sound"] = Run(2 * HEARING, lambda time: sounds[np.round(time * RATE).astype(int)], duration=0.89)
    return dict(zip(runs, integrate(*runs.values()), strict=True))


@pytest.mark.parametrize("name", REGIONS)
def test_engine_follows_the_equations_where_loops_are_fast_and_notes_low(name):
    """A sample of what ``python -m tests.oracle_grid`` draws in each region."""
    done = compare(_short(REGIONS[name]), _drawn(name), _tracks()[name])
    assert {k: round(c.rms_db, 4) for k, c in enumerate(done) if not c.rms_db <= 0.02} == {}
    out = {k: missed(c) for k, c in enumerate(done)}
    if name == "55 Hz":  # the stopwatch takes part of so deep a ripple on the oracle's even track for noise
        out = {k: [line for line in lines if "overshoot" not in line] for k, lines in out.items()}
    assert {k: lines for k, lines in out.items() if lines} == {}
    assert any(np.ptp([c.oracle[0].level_out_low_dbv, c.oracle[0].level_out_high_dbv]) > 1 for c in done)


def test_sample_covers_the_grid_and_moves_the_gain(comparisons):
    """Every drive, placement, sense, attack, release and tone occurs, and nearly all of them compress or expand."""
    circuits = {
        (c.setting.compressor.drive, c.setting.compressor.placement, c.setting.compressor.sense) for c in comparisons
    }
    assert len(circuits) == 18 and 40 <= len(comparisons) <= 80
    held = [c.setting for c in comparisons if c.setting.compressor.drive != "direct"]
    assert {round(s.compressor.resistance_attack * s.compressor.capacitance_hold, 6) for s in held} == set(ATTACKS)
    assert {round(s.compressor.resistance_release * s.compressor.capacitance_hold, 6) for s in held} == set(RELEASES)
    assert {s.frequency for s in held} == set(TONES)
    first = [c.oracle[0] for c in comparisons]
    changes = [HIGH - LOW - (found.level_out_high_dbv - found.level_out_low_dbv) for found in first]
    assert np.mean(np.abs(changes) > 3) > 0.9
    assert max(found.overshoot_attack_db for found in first) > 5


def _plucked():
    notes = {"time_start": [0.05, 0.4], "voltage_peak": [0.8, 0.25], "duration": 0.9}
    return plucked_string([82.4, 330.0], sample_rate=RATE, **notes)


def _burst():
    time = np.arange(round(0.9 * RATE)) / RATE
    loud = ((time > 0.100001) & (time < 0.400001)) | ((time > 0.600001) & (time < 0.650001))
    return np.where(loud, 0.45, 0.02) * np.sin(2 * np.pi * 196.0 * time)


HEARING = [
    example(),
    replace(example(), drive="capacitor", resistance_release=1e6, resistance_led=10e3),
    replace(example(), drive="direct", resistance_led=10e3),
    replace(example(), placement="feedback", resistance_input=22e3, resistance_output=100e3, gain_makeup=1.0),
    replace(example(), sense="before", gain_sidechain=12.0, coupler=typical(COUPLER_NSL28), resistance_led=22e3),
]


def test_render_follows_the_equations_on_sound():
    """Gain track of `render` at 48 kHz against the equations, fed with the same sound at their own rate."""
    heard = [(sound, circuit) for sound in (_plucked(), _burst()) for circuit in HEARING]
    for (sound, circuit), exact in zip(heard, _tracks()["sound"].gain, strict=True):
        rendered = render(sound[::KEEP], sample_rate=RATE / KEEP, compressor=circuit)
        found = rendered.gain_db[1 : exact.size + 1]  # the oracle keeps the end of each interval
        error = found - 20 * np.log10(exact)
        assert np.ptp(found) > 3
        assert np.sqrt(np.mean(error**2)) <= 0.02


def _periods(setting: Setting) -> float:
    """Return how many full-wave periods the fastest way into or out of the hold capacitor spans.

    A half-wave pulse comes half as often, and always in the same half of the period.
    """
    c = setting.compressor
    fastest = c.resistance_attack
    if c.drive == "capacitor":  # then the LED discharges it
        fastest = min(fastest, c.resistance_led + c.coupler.led.resistance_series)
    return fastest * c.capacitance_hold * setting.frequency * (1 if c.rectifier == "full" else 1 / 3)


def test_averaged_law_agrees_where_the_attack_spans_several_periods():
    """Cycle-averaged charging against the engine, where R C f is 5 or more (full wave) for attack and LED."""
    points = itertools.product(DRIVES[1:], ("shunt", "feedback"), SENSES, ATTACKS[2:], (0.2,), TONES[1:])
    settings = [_setting(number, *point) for number, point in enumerate(points)]
    settings = [replace(s, compressor=replace(s.compressor, voltage_rail=40.0)) for s in settings if _periods(s) >= 5]
    assert len(settings) >= 25
    low, high = (np.sqrt(2) * 10 ** (level / 20) for level in (LOW, HIGH))
    up, down = 0.2, 0.6

    def amplitude(time):
        return np.full(len(settings), high if up <= time < down else low)

    track = integrate_averaged([s.compressor for s in settings], amplitude=amplitude, duration=1.2, rate=10_000)
    errors = {}
    for setting, averaged in zip(settings, track.gain, strict=True):
        response = level_response(
            setting.compressor,
            time=[0.0, up, down],
            level_in_dbv=[LOW, HIGH, LOW],
            duration=1.2,
            frequency=setting.frequency,
        )
        # Averaged over the ripple of one period; the points of the response thin out, so all is weighted by time.
        area = np.concatenate(
            [[0.0], np.cumsum(np.diff(response.time) * 0.5 * (response.gain_db[1:] + response.gain_db[:-1]))]
        )
        half = 0.5 / setting.frequency
        middle = response.time[(response.time > response.time[0] + half) & (response.time < response.time[-1] - half)]
        smooth = (np.interp(middle + half, response.time, area) - np.interp(middle - half, response.time, area)) / (
            2 * half
        )
        error = smooth - np.interp(middle, track.time, 20 * np.log10(averaged))
        errors[setting.label] = float(np.sqrt(np.average(error**2, weights=np.gradient(middle))))
    assert {label: round(error, 4) for label, error in errors.items() if not error <= 0.02} == {}


@pytest.mark.parametrize("drive", DRIVES)
@pytest.mark.parametrize("clipped", [False, True])
def test_oracle_agrees_with_a_general_purpose_integrator(drive, clipped):
    """scipy.integrate.solve_ivp (LSODA, small tolerances) on the same equations, 40 ms through a step."""
    circuit = replace(example(), drive=drive, resistance_attack=1e3, resistance_led=10e3)
    if clipped:
        circuit = replace(circuit, voltage_rail=3.0, rectifier="half", voltage_diode=0.3)
    step = {"amplitude_low": 0.02, "amplitude_high": 0.3, "time_up": 0.010001, "time_down": 1.0}
    signal = tone_steps(frequency=[997.0], **step)
    (track,) = integrate(Run([circuit], signal, duration=0.04))
    exact = solve_audio_rate(circuit, signal=lambda time: signal(time)[:, 0], times=track.time, longest_step=2.5e-6)
    assert np.ptp(20 * np.log10(exact)) > 1
    np.testing.assert_allclose(20 * np.log10(track.gain[0]), 20 * np.log10(exact), atol=2e-3)
