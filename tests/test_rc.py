"""Resistors and capacitors against scipy.signal, sympy and Kirchhoff's laws solved as matrices."""

from __future__ import annotations

import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from pedalcalc import rc, values

PARTS = {"resistance": 4.7e3, "capacitance": 22e-9}
LOADED = {**PARTS, "resistance_source": 1.5e3, "resistance_load": 33e3}
LADDER = {
    "resistance_first": 4.7e3,
    "capacitance_first": 22e-9,
    "resistance_second": 12e3,
    "capacitance_second": 6.8e-9,
}
LADDER_LOADED = {**LADDER, "resistance_source": 1.5e3, "resistance_load": 33e3}
FREQUENCIES = np.geomspace(1, 1e6, 121)

CALLS = {
    "resistor_rating": {"power_resistor": 0.088},
    "corner_frequency": PARTS,
    "corner_resistance": {"frequency_corner": 720.0, "capacitance": 22e-9},
    "corner_capacitance": {"frequency_corner": 720.0, "resistance": 10e3},
    "rise_time": {"frequency_corner": 720.0},
    "divider_parts": {"voltage_thevenin": 2.0, "voltage_supply": 9.0, "resistance_thevenin": 83e3},
    "reactance": {"frequency": 82.0, "capacitance": 22e-9},
    "bypass_capacitance": {"frequency": 20.0, "resistance": 5e3, "reactance_ratio": 0.1},
    "time_constant": PARTS,
    "step_voltage": {"time": 0.5, "voltage_start": 1.0, "voltage_final": 9.0, "time_constant": 0.3},
    "step_response": {"time": 1e-4, "voltage_start": 1.0, "voltage_final": 9.0, **PARTS},
    "time_between_levels": {
        "voltage_start": 1.0,
        "voltage_level": 4.5,
        "voltage_final": 9.0,
        "time_constant": 0.3,
    },
    "lowpass_response": {"frequency": 1000.0, **LOADED, "voltage_input": 2.0},
    "highpass_response": {"frequency": 1000.0, **LOADED, "voltage_input": 2.0},
    "lag_response": {"frequency": 1000.0, "frequency_corner": 720.0, "voltage_input": 2.0},
    "lead_response": {"frequency": 1000.0, "frequency_corner": 720.0, "voltage_input": 2.0},
    "chain_response": {
        "responses": (
            rc.lead_response(100.0, frequency_corner=30.0),
            rc.lag_response(100.0, frequency_corner=5e3),
        )
    },
    "chain_band": {"frequency_corners_highpass": (20.0, 35.0), "frequency_corners_lowpass": (5e3, 9e3)},
    "equal_lowpass_corner": {"frequency_corner": 720.0, "count": 3},
    "equal_highpass_corner": {"frequency_corner": 720.0, "count": 3},
    "two_section_lowpass": {"frequency": 1000.0, **LADDER_LOADED, "voltage_input": 2.0},
    "two_section_highpass": {"frequency": 1000.0, **LADDER_LOADED, "voltage_input": 2.0},
    "parallel_resistance": {"resistances": (10e3, 22e3, 47e3)},
    "loaded_divider": {
        "voltage_supply": 9.0,
        "resistance_top": 22e3,
        "resistance_bottom": 10e3,
        "resistance_load": 47e3,
    },
    "divider_string": {"resistances": (2e3, 500.0, 3e3), "voltage_supply": 20.0},
    "meter_reading": {
        "voltage_supply": 9.0,
        "resistance_top": 2.2e6,
        "resistance_bottom": 1e6,
        "resistance_meter": 10e6,
    },
    "lowpass_then_highpass": {"frequency": 1000.0, **LADDER_LOADED, "voltage_input": 2.0},
    "highpass_then_lowpass": {"frequency": 1000.0, **LADDER_LOADED, "voltage_input": 2.0},
    "pointer_meter_resistance": {"voltage_range": 10.0, "resistance_per_volt": 20e3},
    "ammeter_reading": {"voltage_supply": 9.0, "resistance": 1e3, "resistance_ammeter": 20.0},
    "metered_resistance": {"voltage": 40.0, "current": 0.8, "resistance_meter": 150e3},
    "choose_corner_parts": {
        "frequency_corner": 720.0,
        "series_resistance": "E24",
        "resistance_min": 1e3,
        "resistance_max": 100e3,
        "series_capacitance": "E6",
        "capacitance_min": 1e-9,
        "capacitance_max": 1e-6,
    },
}

ohms = st.floats(1e-2, 1e8)
farads = st.floats(1e-13, 1e-1)
hertz = st.floats(1e-3, 1e8)
inf = np.inf


# Corners


@settings(deadline=None)
@given(ohms, farads)
def test_corner_inverse_pairs(resistance, capacitance):
    corner = rc.corner_frequency(resistance=resistance, capacitance=capacitance)
    assert rc.corner_resistance(corner, capacitance=capacitance) == pytest.approx(resistance, rel=1e-14)
    assert rc.corner_capacitance(corner, resistance=resistance) == pytest.approx(capacitance, rel=1e-14)
    assert rc.reactance(corner, capacitance=capacitance) == pytest.approx(resistance, rel=1e-14)
    tau = rc.time_constant(resistance=resistance, capacitance=capacitance)
    assert 2 * np.pi * corner * tau == pytest.approx(1, rel=1e-14)


def test_corner_of_open_and_shorted_parts():
    assert rc.corner_frequency(resistance=0, capacitance=1e-9) == inf
    assert rc.corner_frequency(resistance=inf, capacitance=1e-9) == 0
    assert rc.corner_frequency(resistance=1e3, capacitance=0) == inf
    assert rc.corner_resistance(0, capacitance=1e-9) == inf
    assert rc.corner_resistance(inf, capacitance=1e-9) == 0
    assert rc.corner_capacitance(100, resistance=inf) == 0
    assert rc.corner_capacitance(100, resistance=0) == inf
    assert rc.reactance(0, capacitance=1e-9) == inf
    assert rc.reactance(inf, capacitance=1e-9) == 0
    assert rc.time_constant(resistance=inf, capacitance=1e-9) == inf


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (rc.corner_frequency, {"resistance": inf, "capacitance": 0}),
        (rc.time_constant, {"resistance": inf, "capacitance": 0}),
        (rc.corner_resistance, {"frequency_corner": inf, "capacitance": 0}),
        (rc.corner_capacitance, {"frequency_corner": inf, "resistance": 0}),
        (rc.reactance, {"frequency": inf, "capacitance": 0}),
        (rc.step_response, {"time": 1, "voltage_start": 0, "voltage_final": 1, "resistance": inf, "capacitance": 0}),
    ],
)
def test_zero_times_infinity_is_refused(function, arguments):
    with pytest.raises(ValueError, match="must not be zero and infinite together"):
        function(**arguments)


def test_bypass_capacitor_has_the_wanted_reactance():
    found = rc.bypass_capacitance(20.0, resistance=5e3, reactance_ratio=0.05)
    assert rc.reactance(20.0, capacitance=found) == pytest.approx(250)


# Charge and discharge


def test_step_solves_the_differential_equation():
    t, start, final, r, c = sympy.symbols("t V_0 V_inf R C", positive=True)
    v = sympy.Function("v")
    equation = sympy.Eq((final - v(t)) / r, c * v(t).diff(t))
    solved = sympy.dsolve(equation, v(t), ics={v(0): start}).rhs
    values = {start: 1.5, final: -4.0, r: 4.7e3, c: 22e-9, t: 7e-5}
    point = rc.step_response(7e-5, voltage_start=1.5, voltage_final=-4.0, resistance=4.7e3, capacitance=22e-9)
    assert point.voltage == pytest.approx(float(solved.subs(values)), rel=1e-13)
    assert point.current == pytest.approx(float((c * solved.diff(t)).subs(values)), rel=1e-13)


def test_step_against_lsim():
    time = np.linspace(0, 1e-3, 500)
    drive = np.full_like(time, 9.0)
    _, expected, _ = signal.lsim(signal.TransferFunction([1], [4.7e3 * 22e-9, 1]), drive, time)
    got = rc.step_response(time, voltage_start=0, voltage_final=9, resistance=4.7e3, capacitance=22e-9).voltage
    np.testing.assert_allclose(got, expected, rtol=1e-10, atol=1e-12)


def test_discharge_keeps_its_digits():
    late = rc.step_voltage(50.0, voltage_start=1.0, voltage_final=0.0, time_constant=1.0)
    assert late == pytest.approx(np.exp(-50), rel=1e-14)
    assert rc.step_voltage(2000.0, voltage_start=1.0, voltage_final=0.0, time_constant=1.0) == 0


def test_step_limits():
    def step(time, resistance, capacitance=1e-6):
        point = rc.step_response(
            time, voltage_start=2.0, voltage_final=5.0, resistance=resistance, capacitance=capacitance
        )
        return point.voltage, point.current

    assert step(0.0, 0.0) == (2.0, inf)
    assert step(1.0, 0.0) == (5.0, 0.0)
    assert step(1.0, inf) == (2.0, 0.0)
    assert step(0.0, 1e3, 0.0) == (2.0, pytest.approx(3e-3))
    assert step(1.0, 1e3, 0.0) == (5.0, 0.0)
    still = rc.step_response(0.0, voltage_start=2.0, voltage_final=2.0, resistance=0.0, capacitance=1e-6)
    assert (still.voltage, still.current) == (2.0, 0.0)


@settings(deadline=None)
@given(st.floats(0.001, 0.999), st.floats(-50, 50), st.floats(-50, 50), st.floats(1e-6, 1e3))
def test_time_between_levels_undoes_the_step(done, start, final, tau):
    level = start + (final - start) * done
    if not min(start, final) < level < max(start, final) or abs(final - start) < 1e-6:
        return
    time = rc.time_between_levels(voltage_start=start, voltage_level=level, voltage_final=final, time_constant=tau)
    back = rc.step_voltage(time, voltage_start=start, voltage_final=final, time_constant=tau)
    assert back == pytest.approx(level, rel=1e-9, abs=1e-11 * max(abs(start), abs(final)))


def test_time_between_levels_limits():
    falling = rc.time_between_levels(voltage_start=1.0, voltage_level=0.0, voltage_final=0.0, time_constant=1.0)
    assert falling == np.inf, "the end itself is never reached"

    def time(start, level, final, tau=1.0):
        return rc.time_between_levels(voltage_start=start, voltage_level=level, voltage_final=final, time_constant=tau)

    assert time(0, 1 - np.exp(-1), 1) == pytest.approx(1)
    assert time(0, 1, 1) == inf
    assert time(0, 1, 1, 0.0) == 0
    assert time(2, 2, 5) == 0
    assert time(2, 2, 2) == 0
    assert time(2, 2, 5, inf) == 0
    assert time(2, 3, 5, inf) == inf
    assert time(0, 1e-14, 1) == pytest.approx(1e-14, rel=1e-12)


@pytest.mark.parametrize(("start", "level", "final"), [(0, 10, 9), (0, -1, 9), (9, 10, 0), (9, -1, 0), (3, 4, 3)])
def test_unreachable_level_is_named(start, level, final):
    with pytest.raises(ValueError, match=rf"voltage_level must lie between .*never reached: got {level}"):
        rc.time_between_levels(
            voltage_start=[start, 0], voltage_level=[level, 0], voltage_final=[final, 1], time_constant=1
        )


# Filters


def _check_response(result, numerator, denominator, voltage_input=1.0):
    _, expected = signal.freqs(numerator, denominator, 2 * np.pi * FREQUENCIES)
    np.testing.assert_allclose(result.response, expected, rtol=1e-11)
    np.testing.assert_allclose(result.gain, abs(expected), rtol=1e-11)
    np.testing.assert_allclose(result.gain_db, 20 * np.log10(abs(expected)), rtol=1e-10, atol=1e-10)
    turns = (result.phase_degrees - np.degrees(np.angle(expected))) / 360
    np.testing.assert_allclose(turns, np.round(turns), atol=1e-12)
    np.testing.assert_allclose(result.voltage_output, voltage_input * abs(expected), rtol=1e-11)


def test_lowpass_against_freqs():
    r, c, source, load = (LOADED[k] for k in ("resistance", "capacitance", "resistance_source", "resistance_load"))
    result = rc.lowpass_response(FREQUENCIES, **LOADED, voltage_input=3.0)
    _check_response(result, [load], [c * load * (r + source), r + source + load], 3.0)
    bare = rc.lowpass_response(FREQUENCIES, **PARTS)
    _check_response(bare, [1], [r * c, 1])
    assert bare.frequency_corner[0] == pytest.approx(rc.corner_frequency(**PARTS))


def test_highpass_against_freqs():
    r, c, source, load = (LOADED[k] for k in ("resistance", "capacitance", "resistance_source", "resistance_load"))
    shunt = r * load / (r + load)
    result = rc.highpass_response(FREQUENCIES, **LOADED, voltage_input=3.0)
    _check_response(result, [c * shunt, 0], [c * (shunt + source), 1], 3.0)
    bare = rc.highpass_response(FREQUENCIES, **PARTS)
    _check_response(bare, [r * c, 0], [r * c, 1])


@settings(deadline=None)
@given(hertz, hertz)
def test_lag_and_lead_share_the_input(frequency, corner):
    lag = rc.lag_response(frequency, frequency_corner=corner)
    lead = rc.lead_response(frequency, frequency_corner=corner)
    assert lag.response + lead.response == pytest.approx(1, rel=1e-12)
    assert lag.gain**2 + lead.gain**2 == pytest.approx(1, rel=1e-12)
    assert lead.phase_degrees - lag.phase_degrees == pytest.approx(90)


@pytest.mark.parametrize("response", [rc.lowpass_response, rc.highpass_response])
def test_response_is_three_decibels_down_at_its_corner(response):
    corner = response(1.0, **LOADED).frequency_corner
    passband = response(0.0 if response is rc.lowpass_response else inf, **LOADED).gain
    at_corner = response(corner, **LOADED)
    assert at_corner.gain == pytest.approx(passband / np.sqrt(2), rel=1e-13)
    assert abs(at_corner.phase_degrees) == pytest.approx(45)


def test_lowpass_limits():
    def gain(frequency=1e3, resistance=1e3, capacitance=1e-7, source=0.0, load=inf):
        found = rc.lowpass_response(
            frequency,
            resistance=resistance,
            capacitance=capacitance,
            resistance_source=source,
            resistance_load=load,
        )
        return found.gain

    assert gain(resistance=0) == 1
    assert gain(frequency=inf, resistance=0) == 1
    assert gain(resistance=inf) == 0
    assert gain(resistance=inf, load=1e3) == 0
    assert gain(source=inf) == 0
    assert gain(load=0) == 0
    assert gain(capacitance=0, load=1e3) == 0.5
    assert gain(frequency=inf, capacitance=0, load=1e3) == 0.5
    assert gain(frequency=0, load=1e3) == 0.5
    assert gain(frequency=inf) == 0
    assert rc.lowpass_response(inf, **PARTS).gain_db == -inf
    assert rc.lowpass_response(inf, **PARTS).phase_degrees == -90
    assert rc.lowpass_response(1.0, resistance=0, capacitance=1e-7).frequency_corner == inf
    with pytest.raises(ValueError, match="resistance_load must be above 0"):
        gain(resistance=0, load=0)


def test_highpass_limits():
    def gain(frequency=1e3, resistance=1e3, capacitance=1e-7, source=0.0, load=inf):
        found = rc.highpass_response(
            frequency,
            resistance=resistance,
            capacitance=capacitance,
            resistance_source=source,
            resistance_load=load,
        )
        return found.gain

    assert gain(resistance=inf) == 1
    assert gain(resistance=0) == 0
    assert gain(load=0) == 0
    assert gain(source=inf) == 0
    assert gain(capacitance=0) == 0
    assert gain(frequency=inf, source=1e3) == 0.5
    assert gain(frequency=0) == 0
    assert rc.highpass_response(0.0, **PARTS).phase_degrees == 90
    with pytest.raises(ValueError, match="resistance_source must be finite"):
        gain(resistance=inf, source=inf)


def test_stated_corner_limits():
    assert rc.lag_response(10.0, frequency_corner=inf).gain == 1
    assert rc.lag_response(10.0, frequency_corner=0).gain == 0
    assert rc.lead_response(10.0, frequency_corner=inf).gain == 0
    assert rc.lead_response(10.0, frequency_corner=0).gain == 1


@settings(deadline=None)
@given(st.floats(-300, 300))
def test_decibels_inverse_pair(gain_db):
    assert values.decibels_from_gain(values.gain_from_decibels(gain_db)) == pytest.approx(gain_db, abs=1e-11)


def test_decibel_limits():
    assert values.decibels_from_gain(0) == -inf
    assert values.gain_from_decibels(-inf) == 0
    with pytest.raises(ValueError, match="gain must be at least 0"):
        values.decibels_from_gain(-1)


# Chains


def test_chain_response_against_freqs():
    sections = tuple(
        [rc.lead_response(FREQUENCIES, frequency_corner=f, voltage_input=0.5) for f in (20.0, 35.0)]
        + [rc.lag_response(FREQUENCIES, frequency_corner=f) for f in (5e3, 9e3)]
    )
    turn = 2 * np.pi
    poles = [-turn * f for f in (20.0, 35.0, 5e3, 9e3)]
    _, expected = signal.freqs_zpk([0, 0], poles, turn * 5e3 * turn * 9e3, turn * FREQUENCIES)
    whole = rc.chain_response(sections)
    np.testing.assert_allclose(whole.response, expected, rtol=1e-11)
    np.testing.assert_allclose(whole.voltage_output, 0.5 * abs(expected), rtol=1e-11)
    assert np.isnan(whole.frequency_corner).all()


def test_chain_refusals():
    with pytest.raises(ValueError, match="responses must hold at least one"):
        rc.chain_response(())
    with pytest.raises(TypeError, match=r"responses\[0\] must be a FilterResponse"):
        rc.chain_response((0.5,))
    with pytest.raises(ValueError, match="must not both be empty"):
        rc.chain_band(frequency_corners_highpass=(), frequency_corners_lowpass=())
    with pytest.raises(TypeError, match="frequency_corners_lowpass must be a tuple"):
        rc.chain_band(frequency_corners_highpass=(), frequency_corners_lowpass=100.0)
    with pytest.raises(ValueError, match=r"frequency_corners_highpass\[1\] must be above 0"):
        rc.chain_band(frequency_corners_highpass=(1.0, 0.0), frequency_corners_lowpass=())


@settings(deadline=None)
@given(st.lists(st.floats(0.1, 1e6), min_size=0, max_size=4), st.lists(st.floats(0.1, 1e6), min_size=0, max_size=4))
def test_chain_band_edges_hold_half_the_peak_power(high, low):
    if not high and not low:
        return
    band = rc.chain_band(frequency_corners_highpass=tuple(high), frequency_corners_lowpass=tuple(low))

    def gain(frequency):
        up = [frequency / np.hypot(frequency, f) for f in high]
        down = [f / np.hypot(frequency, f) for f in low]
        return np.prod(up + down)

    if high:
        assert gain(band.frequency_low) == pytest.approx(band.gain / np.sqrt(2), rel=1e-11)
    else:
        assert band.frequency_low == band.frequency_peak == 0
    if low:
        assert gain(band.frequency_high) == pytest.approx(band.gain / np.sqrt(2), rel=1e-11)
    else:
        assert band.frequency_high == band.frequency_peak == inf
    if high and low:
        around = gain(band.frequency_peak * np.array([[0.99], [1.0], [1.01]])[:, 0][1])
        assert around == pytest.approx(band.gain, rel=1e-12)
        assert gain(band.frequency_peak * 1.05) < band.gain > gain(band.frequency_peak / 1.05)
    assert band.frequency_low < band.frequency_high


@pytest.mark.parametrize("count", [1, 2, 3, 7])
def test_equal_sections_against_the_search(count):
    low = rc.chain_band(frequency_corners_highpass=(), frequency_corners_lowpass=(720.0,) * count)
    assert low.frequency_high == pytest.approx(rc.equal_lowpass_corner(720.0, count=count), rel=1e-12)
    high = rc.chain_band(frequency_corners_highpass=(720.0,) * count, frequency_corners_lowpass=())
    assert high.frequency_low == pytest.approx(rc.equal_highpass_corner(720.0, count=count), rel=1e-12)


def test_chain_band_takes_arrays_and_keeps_nan_in_its_place():
    band = rc.chain_band(frequency_corners_highpass=([10.0, np.nan, 30.0],), frequency_corners_lowpass=(5e3,))
    np.testing.assert_array_equal(np.isnan(band.frequency_low), [False, True, False])
    alone = rc.chain_band(frequency_corners_highpass=(30.0,), frequency_corners_lowpass=(5e3,))
    assert band.frequency_low[2] == pytest.approx(alone.frequency_low, rel=1e-13)


def test_count_is_at_least_one():
    with pytest.raises(ValueError, match="count must be at least 1"):
        rc.equal_lowpass_corner(100.0, count=0)


def _ladder_nodes(first_kind, second_kind):
    """Return H(s) of the loaded two-section ladder from its node equations, by sympy."""
    s, r1, c1, r2, c2, source, load, a, b, out = sympy.symbols("s R1 C1 R2 C2 Rs RL a b out")
    arms = []
    for kind, resistance, capacitance in ((first_kind, r1, c1), (second_kind, r2, c2)):
        ohms, reactive = resistance, 1 / (s * capacitance)
        arms.append((ohms, 1 / reactive) if kind == "lowpass" else (reactive, 1 / ohms))
    (first, shunt_first), (second, shunt_second) = arms
    solved = sympy.solve(
        [
            (1 - a) / source - (a - b) / first,
            (a - b) / first - b * shunt_first - (b - out) / second,
            (b - out) / second - out * (shunt_second + 1 / load),
        ],
        [a, b, out],
        dict=True,
    )[0][out]
    values = dict(zip((r1, c1, r2, c2, source, load), LADDER_LOADED.values(), strict=True))
    return sympy.lambdify(s, solved.subs(values), "numpy")


@pytest.mark.parametrize(
    ("function", "kinds"),
    [
        (rc.lowpass_then_highpass, ("lowpass", "highpass")),
        (rc.highpass_then_lowpass, ("highpass", "lowpass")),
    ],
)
def test_band_of_two_sections_against_node_equations(function, kinds):
    result = function(FREQUENCIES, **LADDER_LOADED, voltage_input=3.0)
    expected = _ladder_nodes(*kinds)(2j * np.pi * FREQUENCIES)
    np.testing.assert_allclose(result.response, expected, rtol=1e-10)
    np.testing.assert_allclose(result.voltage_output, 3 * abs(expected), rtol=1e-10)
    np.testing.assert_allclose(result.phase_degrees, np.degrees(np.angle(expected)), rtol=1e-9, atol=1e-9)
    low, high, peak = result.frequency_low[0], result.frequency_high[0], result.frequency_peak[0]
    most = function(peak, **LADDER_LOADED).gain
    assert most > function(peak * 1.01, **LADDER_LOADED).gain
    assert most > function(peak / 1.01, **LADDER_LOADED).gain
    for edge in (low, high):
        assert function(edge, **LADDER_LOADED).gain == pytest.approx(most / np.sqrt(2), rel=1e-12)
    assert low < peak < high


def test_band_without_its_low_pass_part():
    open_above = {**LADDER, "resistance_first": 0.0}
    found = rc.lowpass_then_highpass(1e3, **open_above)
    assert found.frequency_high == found.frequency_peak == inf
    alone = rc.highpass_response(1e3, resistance=12e3, capacitance=6.8e-9)
    assert found.response == pytest.approx(alone.response, rel=1e-13)
    assert found.frequency_low == pytest.approx(alone.frequency_corner, rel=1e-13)


@pytest.mark.parametrize("kind", ["lowpass", "highpass"])
def test_two_sections_against_node_equations(kind):
    function = rc.two_section_lowpass if kind == "lowpass" else rc.two_section_highpass
    result = function(FREQUENCIES, **LADDER_LOADED)
    exact = _ladder_nodes(kind, kind)
    expected = exact(2j * np.pi * FREQUENCIES)
    np.testing.assert_allclose(result.response, expected, rtol=1e-10)
    np.testing.assert_allclose(np.exp(1j * np.radians(result.phase_degrees)), expected / abs(expected), rtol=1e-10)
    corner = result.frequency_corner[0]
    passband = abs(exact(2j * np.pi * (1e-6 if kind == "lowpass" else 1e12)))
    assert function(corner, **LADDER_LOADED).gain == pytest.approx(passband / np.sqrt(2), rel=1e-9)


def test_two_sections_far_apart_act_as_if_buffered():
    parts = {
        "resistance_first": 1e3,
        "capacitance_first": 1e-7,
        "resistance_second": 1e7,
        "capacitance_second": 1e-11,
    }
    whole = rc.two_section_lowpass(1e3, **parts)
    buffered = rc.equal_lowpass_corner(rc.corner_frequency(resistance=1e3, capacitance=1e-7), count=2)
    assert whole.frequency_corner == pytest.approx(buffered, rel=2e-4)


def test_two_section_limits():
    shorted = {**LADDER, "resistance_first": 0.0, "resistance_second": 0.0}
    assert rc.two_section_lowpass(1e3, **shorted).gain == 1
    assert rc.two_section_lowpass(1e3, **shorted).frequency_corner == inf
    one = {**LADDER, "resistance_second": 0.0, "capacitance_second": 0.0}
    alone = rc.lowpass_response(1e3, resistance=4.7e3, capacitance=22e-9)
    assert rc.two_section_lowpass(1e3, **one).response == pytest.approx(alone.response, rel=1e-13)
    assert rc.two_section_lowpass(1e3, **one).frequency_corner == pytest.approx(alone.frequency_corner, rel=1e-13)
    assert rc.two_section_lowpass(0.0, **LADDER).gain == 1


# Dividers and meters


@settings(deadline=None)
@given(ohms, ohms, ohms)
def test_divider_against_the_node_equation(top, bottom, load):
    found = rc.loaded_divider(voltage_supply=9.0, resistance_top=top, resistance_bottom=bottom, resistance_load=load)
    expected = np.linalg.solve([[1 / top + 1 / bottom + 1 / load]], [9.0 / top])[0]
    assert found.voltage_output == pytest.approx(expected, rel=1e-12)
    assert found.voltage_top + found.voltage_output == pytest.approx(9.0)
    assert found.current == pytest.approx(found.voltage_top / top)
    assert found.current_load == pytest.approx(found.voltage_output / load)
    sag = found.voltage_thevenin * load / (load + found.resistance_thevenin)
    assert found.voltage_output == pytest.approx(sag)


def test_divider_limits():
    def divider(top, bottom, load=inf):
        return rc.loaded_divider(voltage_supply=9.0, resistance_top=top, resistance_bottom=bottom, resistance_load=load)

    assert divider(inf, 1e3).voltage_output == 0
    assert divider(0, 1e3).voltage_output == 9
    assert divider(0, inf).voltage_output == 9
    assert divider(1e3, inf).voltage_output == 9
    assert divider(1e3, inf).resistance_thevenin == 1e3
    assert divider(1e3, 0).voltage_output == 0
    assert divider(1e3, 1e3, 0).voltage_output == 0
    assert divider(1e3, 1e3, 0).current_load == 9e-3
    assert divider(1e3, 1e3).current_load == 0
    for top, bottom, load, word in [(0, 0, inf, "shorted"), (inf, inf, inf, "floating"), (0, 1e3, 0, "shorted")]:
        with pytest.raises(ValueError, match=word):
            divider(top, bottom, load)


def test_string_against_the_two_resistor_divider():
    parts = (2e3, 500.0, 3e3, 1.5e3)
    string = rc.divider_string(parts, voltage_supply=20.0)
    assert sum(string.voltages) == pytest.approx(20)
    for place in range(3):
        pair = rc.loaded_divider(
            voltage_supply=20.0, resistance_top=sum(parts[: place + 1]), resistance_bottom=sum(parts[place + 1 :])
        )
        assert string.voltages_tap[place] == pytest.approx(pair.voltage_output)
        assert string.resistances_thevenin[place] == pytest.approx(pair.resistance_thevenin)


def test_resistor_lists_are_checked():
    with pytest.raises(ValueError, match="at least two"):
        rc.divider_string((1e3,), voltage_supply=9)
    with pytest.raises(ValueError, match="must not all be 0"):
        rc.divider_string((0.0, 0.0), voltage_supply=9)
    with pytest.raises(TypeError, match="must be a tuple"):
        rc.parallel_resistance(100.0)
    with pytest.raises(TypeError, match="must be a tuple"):
        rc.parallel_resistance("4k7")
    with pytest.raises(ValueError, match="at least one"):
        rc.parallel_resistance(())
    with pytest.raises(ValueError, match=r"resistances\[1\] must be at least 0"):
        rc.parallel_resistance((1e3, -1.0))
    assert rc.parallel_resistance((1e3, 0.0)) == 0
    assert rc.parallel_resistance((1e3, inf)) == 1e3
    assert rc.parallel_resistance((inf, inf)) == inf
    np.testing.assert_allclose(rc.parallel_resistance(([1e3, 2e3], 2e3)), [2e3 / 3, 1e3])


@settings(deadline=None)
@given(ohms, ohms, st.floats(1e5, 1e9))
def test_meter_shortfall_is_what_is_missing(top, bottom, meter):
    found = rc.meter_reading(voltage_supply=9.0, resistance_top=top, resistance_bottom=bottom, resistance_meter=meter)
    assert found.voltage_read == pytest.approx(found.voltage_thevenin * (1 - found.shortfall), rel=1e-9)


def test_ideal_meter_reads_the_truth():
    found = rc.meter_reading(voltage_supply=9, resistance_top=1e6, resistance_bottom=1e6, resistance_meter=inf)
    assert (found.voltage_read, found.shortfall) == (4.5, 0)


@settings(deadline=None)
@given(ohms, st.floats(1e4, 1e9), st.floats(1e-3, 100))
def test_metered_resistance_undoes_the_meter(resistance, meter, volts):
    amps = volts / resistance + volts / meter
    found = rc.metered_resistance(voltage=volts, current=amps, resistance_meter=meter)
    assert found.resistance == pytest.approx(resistance, rel=1e-10 * (1 + resistance / meter))
    assert found.shortfall == pytest.approx(1 - found.resistance_apparent / resistance, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("amps", [1e-6, 0.5e-6, -1e-3])
def test_meter_that_takes_all_the_current_is_refused(amps):
    with pytest.raises(ValueError, match="current must exceed"):
        rc.metered_resistance(voltage=10.0, current=amps, resistance_meter=10e6)


# Stock parts


def test_choice_is_the_best_of_all_pairs():
    call = CALLS["choose_corner_parts"]
    found = rc.choose_corner_parts(**call)
    e24 = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91".split()
    resistors = [int(x) * 10.0**k for k in range(2, 5) for x in e24] + [1e5]
    capacitors = [float(x) * 10.0**k for k in (-9, -8, -7) for x in "1.0 1.5 2.2 3.3 4.7 6.8".split()] + [1e-6]
    every = [(1 / (2 * np.pi * r * c), r, c) for r in resistors for c in capacitors]
    best = min(every, key=lambda pair: abs(np.log(pair[0] / 720)))
    assert found.frequency_corner[0] == pytest.approx(best[0])
    assert found.resistance[0] == pytest.approx(best[1])
    assert found.capacitance[0] == pytest.approx(best[2])
    off = abs(np.log1p(found.error))
    assert (np.diff(off) >= 0).all()
    assert len(set(found.capacitance)) == len(found.capacitance)
    np.testing.assert_allclose(
        rc.corner_frequency(resistance=found.resistance, capacitance=found.capacitance), found.frequency_corner
    )


def test_choice_keeps_to_its_ranges():
    call = CALLS["choose_corner_parts"]
    found = rc.choose_corner_parts(**call | {"resistance_max": 10e3})
    assert found.resistance.max() <= 10e3 and found.resistance.min() >= 1e3
    one = rc.choose_corner_parts(**call | {"capacitance_min": 22e-9, "capacitance_max": 22e-9})
    assert one.capacitance.tolist() == [22e-9] and one.resistance.tolist() == [10e3]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"frequency_corner": 1e9}, "frequency_corner must be within reach"),
        ({"frequency_corner": float("nan")}, "frequency_corner must be known"),
        ({"frequency_corner": [1.0, 2.0]}, "frequency_corner must be a single number"),
        ({"resistance_min": 1e6}, "resistance_min must be at most resistance_max"),
        ({"capacitance_min": 1.1e-9, "capacitance_max": 1.2e-9}, "capacitance_min to capacitance_max must hold"),
        ({"series_resistance": "E7"}, "stock must be one of"),
    ],
)
def test_choice_refusals(change, message):
    with pytest.raises(ValueError, match=message):
        rc.choose_corner_parts(**CALLS["choose_corner_parts"] | change)


# Pointer meters and ammeters


@settings(deadline=None)
@given(ohms, st.floats(0, 1e3))
def test_ammeter_is_a_resistor_in_series(resistance, meter):
    found = rc.ammeter_reading(voltage_supply=9.0, resistance=resistance, resistance_ammeter=meter)
    assert found.current_read * resistance + found.voltage_burden == pytest.approx(9)
    assert found.current_read == pytest.approx(found.current * (1 - found.shortfall), rel=1e-9, abs=1e-12)


def test_meter_limits():
    assert rc.ammeter_reading(voltage_supply=9, resistance=inf, resistance_ammeter=1).current_read == 0
    with pytest.raises(ValueError, match="resistance must be above 0"):
        rc.ammeter_reading(voltage_supply=9, resistance=0, resistance_ammeter=1)
    loaded = rc.meter_reading(
        voltage_supply=9,
        resistance_top=200e3,
        resistance_bottom=200e3,
        resistance_meter=rc.pointer_meter_resistance(10, resistance_per_volt=20e3),
    )
    assert loaded.voltage_read == pytest.approx(3)


def test_rise_time_between_ten_and_ninety_per_cent():
    # Against the step response of the same corner from scipy.signal.
    corner = 720.0
    when = np.linspace(0, 1e-3, 200001)
    _, out = signal.step(([1.0], [1 / (2 * np.pi * corner), 1.0]), T=when)
    found = np.interp(0.9, out, when) - np.interp(0.1, out, when)
    assert rc.rise_time(corner) == pytest.approx(found, rel=1e-6)
    assert rc.rise_time(corner) == pytest.approx(0.35 / corner, rel=1e-3)  # as texts write it
    assert rc.rise_time(0.0) == np.inf
    assert rc.rise_time(np.inf) == 0.0


def test_divider_parts_look_like_the_wanted_source():
    wanted = np.array([0.5, 2.0, 4.5, 8.9])
    parts = rc.divider_parts(wanted, voltage_supply=9.0, resistance_thevenin=83e3)
    seen = rc.loaded_divider(
        voltage_supply=9.0, resistance_top=parts.resistance_top, resistance_bottom=parts.resistance_bottom
    )
    np.testing.assert_allclose(seen.voltage_thevenin, wanted)
    np.testing.assert_allclose(seen.resistance_thevenin, 83e3)
    full = rc.divider_parts(9.0, voltage_supply=9.0, resistance_thevenin=1e3)
    assert (full.resistance_top, full.resistance_bottom) == (1e3, np.inf)
    none = rc.divider_parts(0.0, voltage_supply=9.0, resistance_thevenin=1e3)
    assert (none.resistance_top, none.resistance_bottom) == (np.inf, 1e3)
    with pytest.raises(ValueError, match="voltage_thevenin"):
        rc.divider_parts(10.0, voltage_supply=9.0, resistance_thevenin=1e3)


# Rating to buy


def test_rating_is_at_least_twice_the_power():
    power = np.array([0, 0.0625, 0.063, 0.125, 0.2, 0.25, 0.5, 0.51])
    np.testing.assert_array_equal(rc.resistor_rating(power), [0.125, 0.125, 0.25, 0.25, 0.5, 0.5, 1, 2])
    assert np.isnan(rc.resistor_rating(np.nan))
    with pytest.raises(ValueError, match="power_resistor must be at least 0 and at most 5"):
        rc.resistor_rating(6)
