"""The compressor room: what its physics must bring out by itself, limits and refusals.

The independent 192 kHz integration stands in test_compressor_oracle.py, the measuring functions in
test_compressor_timing.py, sound files in test_compressor_sound.py. Here the asymmetry of series and shunt cells is held
to a maker's note; the rest are limits, and agreement of one part of the room with another. All of them, the oracle too,
use cell and coupler records set from makers' sheets: none compares with a measured compressor.
"""

from __future__ import annotations

import dataclasses
import tempfile
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from pedalcalc import compressor as room
from pedalcalc import laws as device_laws
from pedalcalc._result import ModelRangeWarning
from pedalcalc.compressor import SETTLE_2DB, Compressor, example, laws, measure_step, response, sound
from pedalcalc.opto import cell_gain

CHANGE = dataclasses.replace
EXAMPLE = example()
TONE = 0.2 * np.sin(2 * np.pi * 440 * np.arange(9600) / 48_000)
FILES = Path(tempfile.mkdtemp(prefix="compressor-"))
sound.write_wav(FILES / "tone.wav", signal=TONE, sample_rate=48_000.0, voltage_full_scale=1.0)
room.write_bursts(FILES / "bursts.wav", definition=SETTLE_2DB)

CALLS = {
    "attack_release": {"compressor": EXAMPLE, "definition": SETTLE_2DB},
    "example": {},
    "static_curve": {"level_in_dbv": np.linspace(-50.0, 0.0, 11), "compressor": EXAMPLE, "frequency": 1000.0},
    "gain_for_threshold": {"threshold_dbv": -25.0, "compressor": EXAMPLE, "reduction_db": 1.0, "frequency": 1000.0},
    "step_response": {
        "compressor": EXAMPLE,
        "level_low_dbv": -30.0,
        "level_high_dbv": -10.0,
        "frequency": 1000.0,
        "time_before": 0.02,
        "time_high": 0.05,
        "time_after": 0.05,
    },
    "ripple_distortion": {"compressor": EXAMPLE, "level_in_dbv": -10.0, "frequency": 220.0},
    "render": {"signal": TONE, "sample_rate": 48_000.0, "compressor": EXAMPLE},
    "measure_step": {
        "time": np.arange(0.0, 2.0, 1e-3),
        "level_dbv": np.where(np.abs(np.arange(0.0, 2.0, 1e-3) - 0.75) < 0.25, -10.0, -30.0),
        "time_up": 0.5,
        "time_down": 1.0,
        "definition": SETTLE_2DB,
    },
    "curve_features": {"level_in_dbv": np.linspace(-50.0, 0.0, 51), "level_out_dbv": np.linspace(-50.0, -25.0, 51)},
    "plucked_string": {
        "frequency": 110.0,
        "time_start": 0.01,
        "voltage_peak": 0.2,
        "duration": 0.05,
        "sample_rate": 48_000.0,
    },
    "render_file": {
        "path": FILES / "tone.wav",
        "path_out": FILES / "rendered.wav",
        "compressor": EXAMPLE,
        "voltage_full_scale": 1.0,
        "channel": 0,
        "replace": True,
    },
    "write_bursts": {
        "path": FILES / "written.wav",
        "definition": SETTLE_2DB,
        "sample_rate": 48_000.0,
        "replace": True,
    },
    "measure_recording": {"path": FILES / "bursts.wav", "definition": SETTLE_2DB, "channel": 0},
}


def _attack(circuit, *, low=-30.0, high=-10.0, time_high=1.0, time_after=2.0, definition=SETTLE_2DB):
    step = room.step_response(
        circuit, level_low_dbv=low, level_high_dbv=high, time_high=time_high, time_after=time_after
    )
    return measure_step(
        step.time, level_dbv=step.level_out_dbv, time_up=step.time_up, time_down=step.time_down, definition=definition
    )


@pytest.mark.parametrize("floor", [0.0, 60.0])
@pytest.mark.parametrize("resistance_output", [10e3, 1e6, np.inf])
@pytest.mark.parametrize("placement", ["shunt", "series", "feedback"])
def test_gain_law_is_the_divider_of_the_opto_room(placement, resistance_output, floor):
    cell = CHANGE(EXAMPLE.coupler.cell, resistance_floor=floor)
    circuit = CHANGE(
        EXAMPLE,
        placement=placement,
        resistance_output=resistance_output,
        coupler=CHANGE(EXAMPLE.coupler, cell=cell),
    )
    conductance = np.geomspace(1e-6, 1e-2, 9)
    resistance = 1 / conductance + floor
    expected = cell_gain(resistance, placement=placement, resistance_arm=47e3, resistance_load=resistance_output)
    np.testing.assert_allclose(laws.gain_law(circuit).at(conductance), 4.0 * expected, rtol=1e-12)


@pytest.mark.parametrize("sense", ["after", "before"])
@pytest.mark.parametrize("drive", ["direct", "capacitor", "buffered"])
@pytest.mark.parametrize("placement", ["shunt", "feedback"])
def test_static_curve_is_where_a_long_tone_settles(placement, drive, sense):
    circuit = CHANGE(EXAMPLE, placement=placement, drive=drive, sense=sense)
    level = np.array([-35.0, -25.0, -15.0, -5.0])
    curve = room.static_curve(level, compressor=circuit)
    for given, expected in zip(level, curve.level_out_dbv, strict=True):
        held = response.level_response(circuit, time=[0.0], level_in_dbv=[given], duration=1.5, frequency=1000.0)
        assert held.level_out_dbv[-500:].mean() == pytest.approx(expected, abs=0.03)


def test_static_curve_does_not_depend_on_how_many_levels_are_asked():
    few = room.static_curve([-20.0, -10.0], compressor=EXAMPLE)
    many = room.static_curve(np.linspace(-45.0, 5.0, 101), compressor=EXAMPLE)
    np.testing.assert_allclose(
        few.level_out_dbv, np.interp([-20.0, -10.0], many.level_in_dbv, many.level_out_dbv), atol=0.005
    )


def test_series_cell_sensed_after_itself_latches_and_both_branches_are_told():
    latch = CHANGE(
        EXAMPLE,
        placement="series",
        resistance_input=1e3,
        resistance_output=10e3,
        gain_makeup=1.0,
        gain_sidechain=100.0,
    )
    curve = room.static_curve(np.array([-40.0, -10.0, 9.0]), compressor=latch)
    assert list(curve.equilibria) == [1, 3, 1]
    assert curve.level_out_falling_dbv[1] > curve.level_out_dbv[1] + 20
    # The engine, started on either side, ends on the branch that the curve names.
    quiet = response.level_response(latch, time=[0.0], level_in_dbv=[-10.0], duration=1.0, frequency=1000.0)
    assert quiet.level_out_dbv[-1] == pytest.approx(curve.level_out_dbv[1], abs=0.1)
    loud = response.level_response(latch, time=[0.0, 1.0], level_in_dbv=[9.0, -10.0], duration=3.0, frequency=1000.0)
    assert loud.level_out_dbv[-1] == pytest.approx(curve.level_out_falling_dbv[1], abs=0.1)


def test_series_and_shunt_cells_have_opposite_asymmetry():
    """A lit cell shunts at once and lets go slowly; as a series arm it opens at once, closes slowly (COUPLER-LEVEL-NOTE)."""
    forward = CHANGE(EXAMPLE, sense="before", resistance_attack=100.0, resistance_release=22e3)
    shunt = room.step_response(forward, level_low_dbv=-40.0, level_high_dbv=-10.0, time_after=1.0)
    series = room.step_response(
        CHANGE(forward, placement="series"), level_low_dbv=-40.0, level_high_dbv=-10.0, time_after=1.0
    )
    assert np.ptp(shunt.gain_db) > 5
    assert np.ptp(series.gain_db) > 5

    def fall_and_rise(step):
        half = 0.5 * (step.gain_db.max() + step.gain_db.min())
        crossings = step.time[1:][np.diff(np.sign(step.gain_db - half)) != 0]
        return crossings[0] - step.time_up, crossings[-1] - step.time_down

    quick, slow = fall_and_rise(shunt)
    assert slow > 3 * quick
    opens, closes = fall_and_rise(series)
    assert closes > 3 * opens
    assert shunt.gain_db[-1] > shunt.gain_db.min()  # loud: shunt turns down
    assert series.gain_db.max() > series.gain_db[0]  # loud: series turns up


def test_feedback_shortens_attack():
    """The loop speeds a settling up by one plus its gain; here the loop gain at the loud level is the local ratio less one."""
    slow_charge = CHANGE(EXAMPLE, resistance_attack=100e3, resistance_release=1e6, drive="buffered")
    small = {"level_low_dbv": -10.5, "level_high_dbv": -10.0, "time_high": 2.0}  # the loop gain is a slope
    behind = room.step_response(slow_charge, **small)
    curve = room.static_curve(np.linspace(-40.0, 5.0, 91), compressor=slow_charge)
    level_out = np.interp(-10.0, curve.level_in_dbv, curve.level_out_dbv)
    # The same side-chain fed from the input, with its gain set so that it settles at the same reduction.
    ahead_gain = slow_charge.gain_sidechain * 10 ** ((level_out + 10.0) / 20)
    ahead = CHANGE(slow_charge, sense="before", gain_sidechain=ahead_gain)
    before = room.step_response(ahead, **small)

    def to_63(step):
        loud = (step.time > step.time_up + 0.002) & (step.time < step.time_down - 0.002)
        time, gain = step.time[loud] - step.time_up, step.gain_db[loud]
        start, end = step.gain_db[step.time < step.time_up - 0.002][-1], gain[-1]
        return np.interp(1 - np.exp(-1), (gain - start) / (end - start), time)

    ratio = np.interp(-10.0, curve.level_in_dbv, curve.ratio_local)
    assert ratio > 1.8
    assert to_63(before) / to_63(behind) == pytest.approx(ratio, rel=0.1)


def test_fast_detector_ahead_of_a_slow_cell_overshoots_and_takes_longer():
    fast, medium = (_attack(CHANGE(EXAMPLE, resistance_attack=value)) for value in (100.0, 4.7e3))
    assert fast.overshoot_attack_db > medium.overshoot_attack_db > 0.5
    assert fast.time_attack > medium.time_attack
    assert fast.time_attack_first < medium.time_attack_first


def test_slow_cell_tail_gives_a_two_stage_release():
    """With no hold capacitor the cell alone times the release: quick at first, then ever slower."""
    step = room.step_response(CHANGE(EXAMPLE, drive="direct"), level_low_dbv=-60.0, level_high_dbv=-5.0, time_after=8.0)
    after = step.time > step.time_down + 0.002
    conductance = 1 / step.resistance_cell[after]
    left = conductance - conductance[-1]
    time = step.time[after] - step.time_down
    early = np.interp(-np.exp(-1) * left[0], -left, time)  # one time constant, were it one
    late = np.interp(-np.exp(-4) * left[0], -left, time)
    assert late > 1.4 * 4 * early


def test_attack_differs_between_definitions_by_two_or_more():
    times = [
        _attack(
            EXAMPLE,
            low=definition.level_low_dbv,
            high=definition.level_low_dbv + definition.level_step_db,
            definition=definition,
        ).time_attack
        for definition in room.DEFINITIONS
    ]
    assert max(times) > 2 * min(times)


def test_silence_leaves_the_cell_dark_and_adds_no_gain():
    played = room.render(np.zeros(4800), sample_rate=48_000, compressor=EXAMPLE)
    np.testing.assert_array_equal(played.signal, 0.0)
    assert played.gain_db[-1] == pytest.approx(played.gain_db[0], abs=1e-9)


def test_render_in_pieces_is_render_in_one(monkeypatch):
    signal = np.tile(TONE, 4)
    whole = room.render(signal, sample_rate=48_000, compressor=EXAMPLE)
    monkeypatch.setattr("pedalcalc.compressor.playing._CHUNK_SECONDS", 0.1)
    done: list[float] = []
    pieces = room.render(signal, sample_rate=48_000, compressor=EXAMPLE, progress=done.append)
    np.testing.assert_allclose(pieces.gain_db, whole.gain_db, atol=1e-3)  # each piece has a table of its own
    assert done == sorted(done) and done[-1] == 1.0 and len(done) in (8, 9)  # pieces are whole steps of the cell


def test_a_lamp_that_was_too_bright_in_an_early_piece_is_told(monkeypatch):
    monkeypatch.setattr("pedalcalc.compressor.playing._CHUNK_SECONDS", 0.1)
    harsh = CHANGE(EXAMPLE, resistance_led=10.0, sense="before", gain_sidechain=100.0, voltage_rail=9.0)
    loud = np.concatenate([TONE[:4800], np.zeros(48_000)])
    told = [room.render(one, sample_rate=48_000, compressor=harsh).cautions for one in (loud, 0 * loud)]
    assert [any("LED" in one.what or "lamp" in one.what for one in each) for each in told] == [True, False]


def test_render_agrees_with_the_level_response_of_the_same_tone():
    time = (np.arange(48_000) + 1) / 48_000
    tone = np.sqrt(2) * 10 ** (-12 / 20) * np.sin(2 * np.pi * 500 * time)
    played = room.render(tone, sample_rate=48_000, compressor=EXAMPLE)
    level = response.level_response(EXAMPLE, time=[0.0], level_in_dbv=[-12.0], duration=1.0, frequency=500.0)
    # The response's first sample is one sub-step after 0, as the tone's is here.
    got = np.interp(level.time, time, played.gain_db)
    assert np.sqrt(np.mean((got - level.gain_db)[100:] ** 2)) < 0.02


def test_fast_release_bends_a_low_note_more_than_a_high_one():
    quick = CHANGE(EXAMPLE, resistance_release=22e3, capacitance_hold=0.47e-6, resistance_attack=470.0)
    low, high = (room.ripple_distortion(quick, level_in_dbv=-10.0, frequency=f) for f in (82.4, 1000.0))
    slow = room.ripple_distortion(CHANGE(quick, resistance_release=1e6), level_in_dbv=-10.0, frequency=82.4)
    assert low.distortion > 3 * high.distortion
    assert low.distortion > 2 * slow.distortion
    assert low.harmonic_third == pytest.approx(low.distortion, rel=0.2)  # gain ripple at 2f makes mostly 3f


@pytest.mark.parametrize("sense", ["after", "before"])
@pytest.mark.parametrize("drive", ["direct", "capacitor", "buffered"])
def test_gain_for_threshold_puts_the_threshold_there(drive, sense):
    circuit = CHANGE(EXAMPLE, drive=drive, sense=sense)
    gain = room.gain_for_threshold(-22.0, compressor=circuit, reduction_db=2.0)
    curve = room.static_curve([-23.0, -22.0, -21.0], compressor=CHANGE(circuit, gain_sidechain=gain))
    assert curve.gain_reduction_db[1] == pytest.approx(2.0, abs=0.01)


def test_threshold_out_of_reach_is_refused_with_what_can_be_reached():
    weak = CHANGE(EXAMPLE, voltage_rail=2.0)
    with pytest.raises(ValueError, match="reduction_db must be below"):
        room.gain_for_threshold(-22.0, compressor=weak, reduction_db=20.0)


def test_too_much_led_current_is_a_caution():
    harsh = CHANGE(EXAMPLE, resistance_led=10.0, sense="before", gain_sidechain=100.0, voltage_rail=9.0)
    curve = room.static_curve([0.0], compressor=harsh)
    assert [caution.what for caution in curve.cautions] == ["LED current in the coupler above its rating"]
    assert room.static_curve([-60.0], compressor=harsh).cautions == ()
    # On both sides of the lamp's rating: the average current that a quieter tone drives, as the curve gives it.
    calm = CHANGE(harsh, resistance_led=1e3)
    (current,) = room.static_curve([0.0], compressor=calm).current_led
    for share, told in ((1.01, False), (0.99, True)):
        led = CHANGE(calm.coupler.led, current_max=share * current)
        rated = CHANGE(calm, coupler=CHANGE(calm.coupler, led=led))
        assert bool(room.static_curve([0.0], compressor=rated).cautions) == told


def test_attack_resistance_of_nothing_is_a_peak_detector():
    peak = CHANGE(EXAMPLE, resistance_attack=0.0, sense="before", resistance_release=np.inf, gain_sidechain=3.0)
    held = response.level_response(peak, time=[0.0], level_in_dbv=[-6.0], duration=0.1, frequency=1000.0)
    assert held.voltage_hold[-1] == pytest.approx(3.0 * np.sqrt(2) * 10 ** (-6 / 20), rel=1e-3)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("placement", "across"),
        ("sense", "both"),
        ("rectifier", "quarter"),
        ("drive", "spring"),
        ("resistance_input", 0.0),
        ("resistance_led", -1.0),
        ("capacitance_hold", np.nan),
        ("gain_makeup", 0.0),
        ("voltage_rail", 0.0),
        ("resistance_attack", np.inf),
        ("resistance_release", 0.0),
        ("current_leakage", -1e-9),
        ("resistance_output", np.array([[1e5, 1e6]])),
        ("resistance_led", np.array([])),
        ("resistance_led", np.array([1e3, np.nan])),
    ],
)
def test_impossible_circuits_are_refused_by_name(field, value):
    with pytest.raises(ValueError, match=field):
        CHANGE(EXAMPLE, **{field: value})


def test_wrong_records_are_refused():
    with pytest.raises(TypeError, match="coupler"):
        CHANGE(EXAMPLE, coupler="green LED")
    with pytest.raises(TypeError, match="compressor"):
        room.static_curve([-10.0], compressor="mine")
    assert isinstance(EXAMPLE, Compressor)


@pytest.mark.parametrize(
    ("levels", "times", "end", "message"),
    [
        ([-10.0, -20.0], [0.0, 0.0], 1.0, "time"),
        ([-10.0], [0.1], 1.0, "time"),
        ([-10.0, -20.0], [0.0, 1.0], 1.0, "time"),
        ([-10.0, np.nan], [0.0, 0.5], 1.0, "level_in_dbv"),
        ([-10.0], [0.0, 0.5], 1.0, "level_in_dbv"),
    ],
)
def test_level_histories_out_of_order_are_refused(levels, times, end, message):
    with pytest.raises(ValueError, match=message):
        response.level_response(EXAMPLE, time=times, level_in_dbv=levels, duration=end, frequency=1000.0)


def test_unlimited_gain_is_refused_not_silent():
    open_when_dark = CHANGE(EXAMPLE.coupler, cell=CHANGE(EXAMPLE.coupler.cell, resistance_dark=np.inf))
    with pytest.raises(ValueError, match="resistance_output must be finite"):
        CHANGE(EXAMPLE, placement="feedback", resistance_output=np.inf, coupler=open_when_dark)
    limited = CHANGE(EXAMPLE, placement="feedback", resistance_output=np.inf, voltage_rail=np.inf)
    held = response.level_response(limited, time=[0.0], level_in_dbv=[-60.0], duration=0.1, frequency=1000.0)
    assert np.all(np.isfinite(held.level_out_dbv))


def test_side_chain_without_a_rail_has_its_limit_named():
    loud = CHANGE(EXAMPLE, voltage_rail=np.inf, gain_sidechain=1e4, sense="before")
    with pytest.raises(ValueError, match="voltage_rail must be at most 1 kV"):
        room.static_curve([0.0], compressor=loud)
    with pytest.raises(ValueError, match="voltage_rail must be at most 1 kV"):
        room.render(TONE, sample_rate=48_000, compressor=loud)
    assert room.gain_for_threshold(-25.0, compressor=CHANGE(EXAMPLE, voltage_rail=np.inf)) > 1


def test_open_series_cell_stays_dark_from_silence():
    open_when_dark = CHANGE(EXAMPLE.coupler, cell=CHANGE(EXAMPLE.coupler.cell, resistance_dark=np.inf))
    dark = CHANGE(EXAMPLE, placement="series", resistance_output=10e3, coupler=open_when_dark)
    step = room.step_response(dark, level_low_dbv=-40.0, level_high_dbv=-10.0, time_high=0.05, time_after=0.05)
    assert np.all(step.gain_db == -np.inf)
    with pytest.raises(ValueError, match="resistance_dark"):
        room.static_curve([-20.0], compressor=dark)


def test_steps_out_of_order_are_refused():
    with pytest.raises(ValueError, match="level_low_dbv"):
        room.step_response(EXAMPLE, level_low_dbv=-10.0, level_high_dbv=-20.0)
    with pytest.raises(ValueError, match="level_in_dbv"):
        room.static_curve([-10.0, -20.0], compressor=EXAMPLE)
    with pytest.raises(ValueError, match="signal"):
        room.render([[0.0], [0.1]], sample_rate=48_000, compressor=EXAMPLE)


@pytest.mark.parametrize("value", [np.nan, [-30.0, -20.0]])
def test_single_numbers_that_are_unknown_or_several_are_refused_by_name(value):
    step = {"level_low_dbv": -30.0, "level_high_dbv": -10.0}
    for name in ("level_low_dbv", "level_high_dbv", "frequency", "time_before", "time_high", "time_after"):
        with pytest.raises(ValueError, match=f"^{name} must be one known number"):
            room.step_response(EXAMPLE, **(step | {name: np.abs(value) if "dbv" not in name else value}))
    with pytest.raises(ValueError, match=r"^level_in_dbv must be one known number"):
        room.ripple_distortion(EXAMPLE, level_in_dbv=value)
    with pytest.raises(ValueError, match=r"^frequency must be one known number"):
        room.static_curve([-10.0, 0.0], compressor=EXAMPLE, frequency=np.abs(value))
    with pytest.raises(ValueError, match=r"^threshold_dbv must be one known number"):
        room.gain_for_threshold(value, compressor=EXAMPLE)


def test_a_step_shorter_than_half_a_period_is_refused_by_its_tone():
    step = {"level_low_dbv": -30.0, "level_high_dbv": -10.0, "time_before": 0.02, "time_high": 0.05, "time_after": 0.05}
    with pytest.raises(ValueError, match=r"^frequency must be at least 4.17 Hz, half a period within .* got 4.16 Hz"):
        room.step_response(EXAMPLE, frequency=4.16, **step)
    assert np.all(np.isfinite(room.step_response(EXAMPLE, frequency=4.17, **step).gain_db))
    step |= {"time_before": 0.01, "time_after": 0.09}  # 3.333... Hz
    with pytest.raises(ValueError, match=r"^frequency must be at least 3.34 Hz, .* got 3.33 Hz"):
        room.step_response(EXAMPLE, frequency=3.33, **step)


def test_a_static_curve_of_no_levels_is_refused():
    with pytest.raises(ValueError, match="level_in_dbv"):
        room.static_curve([], compressor=EXAMPLE)


# --- temperature


def test_a_warmer_lamp_takes_the_current_of_the_law_at_its_temperature():
    """V = n kT/q ln(1 + I/Is(T)) + I R by bracketing, Is(T) = Is (T/T0)^(3/n) exp((T/T0 - 1) Eg q/(n k T)) of circuit simulators."""
    usual = room.example()
    led = usual.coupler.led
    for kelvin in (280.0, 320.0):
        nvt, ratio = led.ideality * 1.380649e-23 * kelvin / 1.602176634e-19, kelvin / 300
        i_s = led.current_saturation * ratio ** (3 / led.ideality) * np.exp((ratio - 1) * led.energy_gap / nvt)
        ohms = usual.resistance_led + led.resistance_series
        expected = brentq(
            lambda i, s=(nvt, i_s, ohms): s[0] * np.log1p(i / s[1]) + i * s[2] - 3.4, 0.0, 1e-2, xtol=1e-15
        )
        warm = dataclasses.replace(usual, temperature=kelvin)
        assert laws.led_current(warm, 4.0) == pytest.approx(expected, rel=1e-9)  # 0.6 V stay in the buffer


def test_a_warmer_circuit_has_the_coupler_of_that_temperature():
    usual, level = room.example(), np.linspace(-40.0, 0.0, 9)
    warm = dataclasses.replace(usual, temperature=315.0)
    moved = dataclasses.replace(usual, coupler=device_laws.at_temperature(usual.coupler, temperature=315.0))
    curves = [room.static_curve(level, compressor=one).level_out_dbv for one in (usual, warm, moved)]
    np.testing.assert_allclose(curves[1], curves[2], rtol=1e-12)
    assert np.max(np.abs(curves[1] - curves[0])) > 0.05
    timed = [room.attack_release(one, definition=room.SETTLE_2DB).time_release for one in (warm, moved)]
    assert timed[0] == timed[1]
    many = dataclasses.replace(usual, temperature=np.array([300.0, 315.0]))
    np.testing.assert_allclose(room.static_curve(level, compressor=many).level_out_dbv, curves[:2], rtol=1e-9)


def test_a_temperature_is_meant_in_kelvin_and_needs_a_law():
    with pytest.warns(ModelRangeWarning, match="degrees Celsius"):
        dataclasses.replace(room.example(), temperature=220.0)
    with pytest.warns(ModelRangeWarning, match="degrees Celsius"), pytest.raises(ValueError, match="got 25 K"):
        dataclasses.replace(room.example(), temperature=25.0)
    with pytest.raises(ValueError, match="temperature"):
        dataclasses.replace(room.example(), temperature=0.0)
    coupler = room.example().coupler
    for part, name in (("led", "light_temperature_coefficient"), ("cell", "resistance_temperature_coefficient")):
        bare = dataclasses.replace(getattr(coupler, part), **{name: np.nan})
        unknown = dataclasses.replace(coupler, **{part: bare})
        dataclasses.replace(room.example(), coupler=unknown)
        with pytest.raises(ValueError, match=name):
            dataclasses.replace(room.example(), coupler=unknown, temperature=310.0)
