"""Settled tones: starts of a step, the static curve, loops that hunt, and sound against the equations up to 8 kHz."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from pedalcalc import devices
from pedalcalc.compressor import (
    example,
    gain_for_threshold,
    laws,
    render,
    ripple_distortion,
    static_curve,
    step_response,
)
from pedalcalc.compressor.response import level_response
from tests.oracle_compressor import Run, integrate, tone_steps

COUPLER_GREEN_GL5528, COUPLER_NSL28, COUPLER_STEEP, COUPLER_WHITE_GL5528 = (
    devices.typical(coupler)
    for coupler in (
        devices.COUPLER_GREEN_GL5528,
        devices.COUPLER_NSL28,
        devices.COUPLER_STEEP,
        devices.COUPLER_WHITE_GL5528,
    )
)
EXAMPLE = example()
LEVELS = np.linspace(-60.0, 0.0, 61)


def _steady(circuits, *, level, frequency, **rest):
    """Return what the equations are integrated for: a steady tone into each circuit."""
    amplitude = np.sqrt(2) * 10 ** (np.broadcast_to(level, len(circuits)) / 20)
    tones = np.broadcast_to(frequency, len(circuits))
    signal = tone_steps(frequency=tones, amplitude_low=amplitude, amplitude_high=amplitude, time_up=0.0, time_down=0.0)
    return Run(circuits, signal, **rest)


@cache
def _tracks():
    """Integrate once, and all at once, what the tests here compare with: a step takes all circuits for the price of one."""
    runs = {
        "start": _steady([STARTED], level=-30.0, frequency=1000.0, duration=0.3, keep=8),
        "curve": _steady(SETTLED, level=SETTLED_LEVELS, frequency=SETTLED_TONES, duration=0.8, rate=384_000, keep=8),
        "hunts": _steady([hunting()], level=-10.0, frequency=83.0, duration=1.5),
        "distorted": _steady(DISTORTED, level=-10.0, frequency=80.0, duration=0.75),
        # All circuits with all tones.
        "heard": Run(
            HEARING * len(HEARD), lambda time: np.repeat(_louder_for_40_ms(time), len(HEARING), axis=1),
            duration=0.1, rate=1_536_000, keep=32,
        ),
    }  # fmt: skip
    return dict(zip(runs, integrate(*runs.values()), strict=True))


def _met(track, tones):
    """Return the gain as a quadrature meter sees it over the last 20 periods, in decibels."""
    met = []
    for gain, tone in zip(track.gain, tones, strict=True):
        last = slice(-round(20 / (tone * track.time[0])), None)  # the first time is the spacing of all
        met.append(np.mean(gain[last] * (1 - np.exp(-4j * np.pi * tone * track.time[last]))))
    return 20 * np.log10(np.abs(met))


@pytest.mark.parametrize("frequency", [55.0, 89.0, 433.0])
@pytest.mark.parametrize("drive", ["buffered", "capacitor", "direct"])
def test_a_step_begins_settled(drive, frequency):
    """Before the step nothing drifts, also where the low level compresses and the ripple is deep."""
    for rectifier, coupler in (("full", COUPLER_WHITE_GL5528), ("half", COUPLER_STEEP), ("full", COUPLER_NSL28)):
        circuit = replace(
            EXAMPLE, drive=drive, rectifier=rectifier, coupler=coupler, resistance_release=47e3, resistance_attack=10e3
        )
        step = step_response(
            circuit, level_low_dbv=-14.0, level_high_dbv=-4.0, frequency=frequency,
            time_before=0.5, time_high=0.01, time_after=0.01,
        )  # fmt: skip
        dark = 20 * np.log10(laws.gain_law(circuit).at(laws.conductance_dark(circuit)))
        assert step.gain_db[0] < dark - 0.3
        first, last = (_average(step, period / frequency, 1 / frequency) for period in (1, round(0.5 * frequency) - 5))
        assert last == pytest.approx(first, abs=2e-3)


def _average(step, start, span):
    """Return the average level out over a time: a period of the tone may hold ripple, but no drift."""
    level = step.level_out_dbv
    area = np.concatenate([[0.0], np.cumsum(np.diff(step.time) * 0.5 * (level[1:] + level[:-1]))])
    return float(np.diff(np.interp([start, start + span], step.time, area))[0] / span)


STARTED = replace(
    EXAMPLE,
    coupler=COUPLER_NSL28,
    resistance_attack=390.0,
    resistance_release=22e3,
    capacitance_hold=0.47e-6,
    gain_sidechain=30.0,
)


def test_the_search_for_the_settled_start_may_try_more_than_the_circuit_delivers():
    """On its way it tries a bright cell that lets go within a period: louder than the tone ever is."""
    step = step_response(STARTED, level_low_dbv=-30, level_high_dbv=-20, time_before=0.05, time_high=0.05)
    before = np.mean(step.gain_db[step.time < step.time_up - 0.002])
    assert before == pytest.approx(_met(_tracks()["start"], [1000.0])[0], abs=0.01)


CLIPPED_AND_LEAKY = [
    replace(EXAMPLE, drive="direct", voltage_rail=3.0),
    replace(EXAMPLE, drive="direct", rectifier="half", voltage_diode=0.3),
    replace(EXAMPLE, drive="direct", coupler=COUPLER_STEEP, rectifier="half"),
    replace(EXAMPLE, voltage_rail=3.5, resistance_release=47e3),
    replace(EXAMPLE, current_leakage=3e-6),
    replace(EXAMPLE, current_leakage=3e-6, rectifier="half", voltage_diode=0.4),
    replace(EXAMPLE, voltage_base_emitter=0.6),
    replace(EXAMPLE, drive="capacitor", resistance_led=1e3, coupler=COUPLER_NSL28),
    replace(EXAMPLE, placement="feedback", resistance_input=22e3, resistance_output=100e3, gain_makeup=1.0),
    replace(EXAMPLE, sense="before", rectifier="half", resistance_release=100e3),
]
SETTLED, SETTLED_TONES, SETTLED_LEVELS = zip(
    *(
        (replace(circuit, resistance_release=min(circuit.resistance_release, 100e3)), *tone)
        for tone in ((1000.0, -16.0), (55.0, -6.0))
        for circuit in CLIPPED_AND_LEAKY
    ),
    strict=True,
)


def test_static_curve_is_where_the_equations_settle():
    """Direct drive, clipped side-chains, leakage, drops of diode and buffer, half waves, 55 Hz and 1 kHz, against a long tone."""
    # After 0.6 s the equations are within 0.0003 dB of where they stand after 2 s.
    exact = _met(_tracks()["curve"], SETTLED_TONES)
    found = [
        static_curve([level - 1, level, level + 1], compressor=c, frequency=frequency).level_out_dbv[1] - level
        for c, frequency, level in zip(SETTLED, SETTLED_TONES, SETTLED_LEVELS, strict=True)
    ]
    np.testing.assert_allclose(found, exact, atol=0.01)


@pytest.mark.parametrize("rectifier", ["full", "half"])
@pytest.mark.parametrize("voltage_diode", [0.0, 0.3])
def test_leaking_capacitors_and_cells_open_in_the_dark_have_a_static_curve(rectifier, voltage_diode):
    """3 µA is what an electrolytic of 1 µF and 16 V may leak (0.01 CV or 3 µA, the larger)."""
    ways = {"rectifier": rectifier, "voltage_diode": voltage_diode}
    for circuit in (
        replace(EXAMPLE, current_leakage=3e-6, **ways),
        replace(EXAMPLE, coupler=COUPLER_STEEP, drive="direct", **ways),
    ):
        curve = static_curve(LEVELS, compressor=circuit)
        assert np.all(np.isfinite(curve.level_out_dbv)) and np.all(np.diff(curve.gain_reduction_db) >= -1e-3)
        assert curve.gain_reduction_db[0] == pytest.approx(0.0, abs=1e-6) and curve.gain_reduction_db[-1] > 3


HUNTING = replace(
    EXAMPLE,
    placement="feedback",
    rectifier="half",
    coupler=COUPLER_WHITE_GL5528,
    resistance_attack=430.0,
    resistance_release=460e3,
    resistance_led=2.3e3,
    resistance_input=25.8e3,
)


def hunting():
    """Return a circuit that finds no rest at 83 Hz."""
    return replace(HUNTING, gain_sidechain=gain_for_threshold(-28.0, compressor=HUNTING))


@pytest.mark.parametrize("gain", [5.0, 6.24])
def test_a_loop_that_overshoots_once_and_settles_does_not_hunt(gain):
    """Told by the response itself: its gain holds to a thousandth of a decibel at the end of each level."""
    optical = replace(
        EXAMPLE,
        resistance_input=39e3,
        gain_makeup=4.3,
        gain_sidechain=gain,
        voltage_rail=6.606,
        voltage_diode=0.407,
        resistance_attack=11.5e3,
        resistance_release=197e3,
        capacitance_hold=0.8e-6,
        voltage_base_emitter=0.0,
        resistance_led=2.2e3,
    )
    step = step_response(optical, level_low_dbv=-30.0, level_high_dbv=-10.0, time_high=0.7, time_after=2.0)
    for end in (step.time_up, step.time_down, step.time[-1]):
        last = step.gain_db[(step.time < end) & (step.time > end - 0.02)]
        assert np.ptp(last) < 2e-3
    assert not [caution for caution in step.cautions if "hunts" in caution.what]


def test_a_loop_that_hunts_is_told_of():
    """Half-wave feedback with a fast attack at 83 Hz: each pulse turns the gain down for the next one, by more than it needs."""
    circuit, track = hunting(), _tracks()["hunts"]
    each = 20 * np.log10(np.interp(1.5 - (np.arange(40) + 0.5) / 83, track.time, track.gain[0]))
    assert np.ptp(each) > 1  # the equations themselves find no rest
    curve = static_curve(np.linspace(-30.0, -10.0, 11), compressor=circuit, frequency=83.0)
    held = level_response(circuit, time=[0.0], level_in_dbv=[-10.0], duration=600.0, frequency=83.0)
    (told,) = [caution for caution in held.cautions if "hunts" in caution.what]
    assert 0.3 * np.ptp(each) < told.value < 2 * np.ptp(each)
    assert any("hunts" in caution.what for caution in curve.cautions)
    with pytest.raises(RuntimeError, match="hunts"):
        ripple_distortion(circuit, level_in_dbv=-10.0, frequency=83.0)
    calm = replace(circuit, rectifier="full")
    assert not static_curve(np.linspace(-30.0, -10.0, 11), compressor=calm, frequency=83.0).cautions


QUICK = replace(EXAMPLE, resistance_release=22e3, capacitance_hold=0.47e-6, resistance_attack=2.2e3)
DISTORTED = [QUICK, replace(QUICK, rectifier="half")]


def test_distortion_against_the_equations():
    """All harmonics of the settled tone, by the Fourier sum over twenty periods of the integrated equations.

    A half-wave rectifier lets the gain move with the tone itself, so that the second harmonic leads.
    """
    track = _tracks()["distorted"]
    last = slice(track.time.size - 20 * 600, None)  # 48 kHz over 80 Hz are 600 samples a period
    bins = np.abs(np.fft.rfft(track.gain[:, last] * np.sin(2 * np.pi * 80.0 * track.time[last])))
    for circuit, row in zip(DISTORTED, bins, strict=True):
        harmonics = row[20 : 20 * 200 : 20] / row[20]
        found = ripple_distortion(circuit, level_in_dbv=-10.0, frequency=80.0)
        assert found.distortion == pytest.approx(np.sqrt(np.sum(harmonics[1:] ** 2)), rel=0.02)
        assert found.harmonic_third == pytest.approx(harmonics[2], rel=0.02)
        assert (harmonics[1] > harmonics[2]) == (circuit.rectifier == "half")


HEARD = (997.0, 6007.0, 7993.0)
HEARING = [
    EXAMPLE,
    replace(EXAMPLE, drive="capacitor", resistance_led=330.0, capacitance_hold=1e-8),
    replace(EXAMPLE, drive="direct", coupler=COUPLER_GREEN_GL5528, resistance_led=470.0, resistance_input=220e3),
    replace(EXAMPLE, rectifier="half", voltage_diode=0.3, resistance_attack=1e3),
    replace(EXAMPLE, sense="before", voltage_rail=2.9),
]


def _louder_for_40_ms(time):
    """Return a tone of each frequency heard, with edges of 2 ms, so that 48 kHz hold all of it."""
    time = np.asarray(time)[:, None]
    rise, fall = (np.clip((time - edge) / 2e-3, 0, 1) for edge in (0.02, 0.06))
    loud = np.sin(np.pi / 2 * rise) ** 2 * np.cos(np.pi / 2 * fall) ** 2
    return np.sqrt(2) * 10 ** (-8.0 / 20) * (0.05 + 0.95 * loud) * np.sin(2 * np.pi * np.array(HEARD) * time)


@pytest.mark.parametrize("frequency", HEARD)
def test_render_hears_what_the_equations_hear_up_to_8_khz(frequency):
    place = HEARD.index(frequency)
    samples = _louder_for_40_ms(np.arange(4801) / 48_000)[:, place]
    gains = _tracks()["heard"].gain.reshape(len(HEARD), len(HEARING), -1)
    for circuit, exact in zip(HEARING, gains[place], strict=True):
        found = render(samples, sample_rate=48_000, compressor=circuit).gain_db
        assert np.ptp(found) > 1
        assert np.sqrt(np.mean((found[1:4801] - 20 * np.log10(exact)) ** 2)) <= 0.02


@pytest.mark.parametrize("time", [1.0, 600.0])
def test_a_long_time_costs_and_changes_nothing(time):
    """Slowest parts: what was reached after a second is reached, whatever is watched afterwards."""
    slow = replace(EXAMPLE, capacitance_hold=22e-6, resistance_attack=100e3, resistance_release=4.7e6)
    step = step_response(slow, level_low_dbv=-30.0, level_high_dbv=-10.0, time_high=time, time_after=time)
    reference = step_response(slow, level_low_dbv=-30.0, level_high_dbv=-10.0, time_high=1.0, time_after=0.1)
    watched = reference.time < 1.05
    np.testing.assert_allclose(
        np.interp(reference.time[watched], step.time, step.gain_db), reference.gain_db[watched], atol=0.01
    )
    assert step.time.size < 40_000


def test_a_tone_far_above_hearing_is_ordinary():
    high = step_response(EXAMPLE, level_low_dbv=-30.0, level_high_dbv=-10.0, frequency=1e5)
    usual = step_response(EXAMPLE, level_low_dbv=-30.0, level_high_dbv=-10.0, frequency=4e3)
    later = usual.time > usual.time_up + 0.01
    np.testing.assert_allclose(np.interp(usual.time[later], high.time, high.gain_db), usual.gain_db[later], atol=0.15)
