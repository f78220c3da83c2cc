"""Resistors and capacitors against scipy.signal, sympy and Kirchhoff's laws solved as matrices."""

from __future__ import annotations

import numpy as np
import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from pedalcalc import rc, values

PARTS = {"resistance": 4.7e3, "capacitance": 22e-9}
LOADED = {**PARTS, "resistance_generator": 1.5e3, "resistance_load": 33e3}
FREQUENCIES = np.geomspace(1, 1e6, 121)

CALLS = {
    "resistor_rating": {"power_resistor": 0.088},
    "corner_frequency": PARTS,
    "corner_resistance": {"frequency_corner": 720.0, "capacitance": 22e-9},
    "corner_capacitance": {"frequency_corner": 720.0, "resistance": 10e3},
    "choose_divider": {"voltage_thevenin": 2.0, "voltage_supply": 9.0, "resistance_thevenin": 83e3, "stock": "E12"},
    "charging": {"time": 1e-4, "voltage_start": 1.0, "voltage_final": 9.0, **PARTS},
    "time_between_levels": {
        "voltage_start": 1.0,
        "voltage_level": 4.5,
        "voltage_final": 9.0,
        **PARTS,
    },
    "lowpass_response": {"frequency": 1000.0, **LOADED, "resistance_esr": 10.0, "voltage_input": 2.0},
    "highpass_response": {"frequency": 1000.0, **LOADED, "voltage_input": 2.0},
    "chain_band": {"frequency_corners_highpass": (20.0, 35.0), "frequency_corners_lowpass": (5e3, 9e3)},
    "parallel_resistance": {"resistances": (10e3, 22e3, 47e3)},
    "divider": {
        "voltage_supply": 9.0,
        "resistance_top": 22e3,
        "resistance_bottom": 10e3,
        "resistance_load": 47e3,
    },
    "choose_corner_parts": {
        "frequency_corner": 720.0,
        "stock_resistance": values.stock_values("E24", value_min=1e3, value_max=100e3),
        "stock_capacitance": values.stock_values("E6", value_min=1e-9, value_max=1e-6),
    },
}

ohms = st.floats(1e-2, 1e8)
farads = st.floats(1e-13, 1e-1)
hertz = st.floats(1e-3, 1e8)
inf = np.inf


# Corners


@given(ohms, farads)
def test_corner_inverse_pairs(resistance, capacitance):
    corner = rc.corner_frequency(resistance=resistance, capacitance=capacitance)
    assert rc.corner_resistance(corner, capacitance=capacitance) == pytest.approx(resistance, rel=1e-14)
    assert rc.corner_capacitance(corner, resistance=resistance) == pytest.approx(capacitance, rel=1e-14)
    assert 2 * np.pi * corner * resistance * capacitance == pytest.approx(1, rel=1e-14)


def test_corner_of_open_and_shorted_parts():
    assert rc.corner_frequency(resistance=0, capacitance=1e-9) == inf
    assert rc.corner_frequency(resistance=inf, capacitance=1e-9) == 0
    assert rc.corner_frequency(resistance=1e3, capacitance=0) == inf
    assert rc.corner_resistance(0, capacitance=1e-9) == inf
    assert rc.corner_resistance(inf, capacitance=1e-9) == 0
    assert rc.corner_capacitance(100, resistance=inf) == 0
    assert rc.corner_capacitance(100, resistance=0) == inf


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (rc.corner_frequency, {"resistance": inf, "capacitance": 0}),
        (rc.corner_resistance, {"frequency_corner": inf, "capacitance": 0}),
        (rc.corner_capacitance, {"frequency_corner": inf, "resistance": 0}),
        (rc.charging, {"time": 1, "voltage_start": 0, "voltage_final": 1, "resistance": inf, "capacitance": 0}),
    ],
)
def test_zero_times_infinity_is_refused(function, arguments):
    with pytest.raises(ValueError, match="must not be zero and infinite together"):
        function(**arguments)


# Charge and discharge


def test_step_solves_the_differential_equation():
    t, start, final, r, c = sympy.symbols("t V_0 V_inf R C", positive=True)
    v = sympy.Function("v")
    equation = sympy.Eq((final - v(t)) / r, c * v(t).diff(t))
    solved = sympy.dsolve(equation, v(t), ics={v(0): start}).rhs
    values = {start: 1.5, final: -4.0, r: 4.7e3, c: 22e-9, t: 7e-5}
    point = rc.charging(7e-5, voltage_start=1.5, voltage_final=-4.0, resistance=4.7e3, capacitance=22e-9)
    assert point.voltage == pytest.approx(float(solved.subs(values)), rel=1e-13)
    assert point.current == pytest.approx(float((c * solved.diff(t)).subs(values)), rel=1e-13)


def test_step_against_lsim():
    time = np.linspace(0, 1e-3, 500)
    drive = np.full_like(time, 9.0)
    _, expected, _ = signal.lsim(signal.TransferFunction([1], [4.7e3 * 22e-9, 1]), drive, time)
    got = rc.charging(time, voltage_start=0, voltage_final=9, resistance=4.7e3, capacitance=22e-9).voltage
    np.testing.assert_allclose(got, expected, rtol=1e-10, atol=1e-12)


def test_discharge_keeps_its_digits():
    falling = {"voltage_start": 1.0, "voltage_final": 0.0, "resistance": 1.0, "capacitance": 1.0}
    assert rc.charging(50.0, **falling).voltage == pytest.approx(np.exp(-50), rel=1e-14)
    assert rc.charging(2000.0, **falling).voltage == 0


def test_step_limits():
    def step(time, resistance, capacitance=1e-6):
        point = rc.charging(time, voltage_start=2.0, voltage_final=5.0, resistance=resistance, capacitance=capacitance)
        return point.voltage, point.current

    assert step(0.0, 0.0) == (2.0, inf)
    assert step(1.0, 0.0) == (5.0, 0.0)
    assert step(1.0, inf) == (2.0, 0.0)
    assert step(0.0, 1e3, 0.0) == (2.0, pytest.approx(3e-3))
    assert step(1.0, 1e3, 0.0) == (5.0, 0.0)
    still = rc.charging(0.0, voltage_start=2.0, voltage_final=2.0, resistance=0.0, capacitance=1e-6)
    assert (still.voltage, still.current) == (2.0, 0.0)


@given(st.floats(0.001, 0.999), st.floats(-50, 50), st.floats(-50, 50), st.floats(1e-6, 1e3))
def test_time_between_levels_undoes_the_step(done, start, final, tau):
    level = start + (final - start) * done
    if not min(start, final) < level < max(start, final) or abs(final - start) < 1e-6:
        return
    ends = {"voltage_start": start, "voltage_final": final, "resistance": tau, "capacitance": 1.0}
    back = rc.charging(rc.time_between_levels(voltage_level=level, **ends), **ends).voltage
    assert back == pytest.approx(level, rel=1e-9, abs=1e-11 * max(abs(start), abs(final)))


def test_time_between_levels_limits():
    falling = rc.time_between_levels(
        voltage_start=1.0, voltage_level=0.0, voltage_final=0.0, resistance=1, capacitance=1
    )
    assert falling == np.inf, "the end itself is never reached"

    def time(start, level, final, tau=1.0):
        ends = {"voltage_start": start, "voltage_final": final}
        return rc.time_between_levels(voltage_level=level, **ends, resistance=tau, capacitance=1.0)

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
    with pytest.raises(
        ValueError, match=rf"voltage_level must be between .*never reached, got {level} V at index \(0,\)"
    ):
        rc.time_between_levels(
            voltage_start=[start, 0], voltage_level=[level, 0], voltage_final=[final, 1], resistance=1, capacitance=1
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
    r, c, source, load = (LOADED[k] for k in ("resistance", "capacitance", "resistance_generator", "resistance_load"))
    result = rc.lowpass_response(FREQUENCIES, **LOADED, voltage_input=3.0)
    _check_response(result, [load], [c * load * (r + source), r + source + load], 3.0)
    bare = rc.lowpass_response(FREQUENCIES, **PARTS)
    _check_response(bare, [1], [r * c, 1])
    assert bare.frequency_corner[0] == pytest.approx(rc.corner_frequency(**PARTS))


def test_highpass_against_freqs():
    r, c, source, load = (LOADED[k] for k in ("resistance", "capacitance", "resistance_generator", "resistance_load"))
    shunt = r * load / (r + load)
    result = rc.highpass_response(FREQUENCIES, **LOADED, voltage_input=3.0)
    _check_response(result, [c * shunt, 0], [c * (shunt + source), 1], 3.0)
    bare = rc.highpass_response(FREQUENCIES, **PARTS)
    _check_response(bare, [r * c, 0], [r * c, 1])


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
            resistance_generator=source,
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
            resistance_generator=source,
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
    with pytest.raises(ValueError, match="resistance_generator must be finite"):
        gain(resistance=inf, source=inf)


@given(st.floats(-300, 300))
def test_decibels_inverse_pair(gain_db):
    assert values.decibels_from_gain(values.gain_from_decibels(gain_db)) == pytest.approx(gain_db, abs=1e-11)


def test_decibel_limits():
    assert values.decibels_from_gain(0) == -inf
    assert values.gain_from_decibels(-inf) == 0
    with pytest.raises(ValueError, match="gain must be at least 0"):
        values.decibels_from_gain(-1)


# Chains


def _of_corner(frequency):
    return {"resistance": rc.corner_resistance(frequency, capacitance=10e-9), "capacitance": 10e-9}


def test_responses_behind_buffers_multiply():
    sections = [rc.highpass_response(FREQUENCIES, **_of_corner(f)) for f in (20.0, 35.0)]
    sections += [rc.lowpass_response(FREQUENCIES, **_of_corner(f)) for f in (5e3, 9e3)]
    turn = 2 * np.pi
    poles = [-turn * f for f in (20.0, 35.0, 5e3, 9e3)]
    _, expected = signal.freqs_zpk([0, 0], poles, turn * 5e3 * turn * 9e3, turn * FREQUENCIES)
    np.testing.assert_allclose(np.prod([one.response for one in sections], axis=0), expected, rtol=1e-11)


def test_chain_refusals():
    with pytest.raises(ValueError, match="must not both be empty"):
        rc.chain_band(frequency_corners_highpass=(), frequency_corners_lowpass=())
    with pytest.raises(TypeError, match="frequency_corners_lowpass must be a tuple"):
        rc.chain_band(frequency_corners_highpass=(), frequency_corners_lowpass=100.0)
    with pytest.raises(ValueError, match=r"frequency_corners_highpass\[1\] must be above 0"):
        rc.chain_band(frequency_corners_highpass=(1.0, 0.0), frequency_corners_lowpass=())
    ragged = [[1.0, 2.0], [1.0, 2.0, 3.0]]
    with pytest.raises(
        ValueError, match=r"^arrays must have shapes .* got frequency_corners_highpass\[0\] \(2,\), freq"
    ):
        rc.chain_band(frequency_corners_highpass=ragged, frequency_corners_lowpass=())
    with pytest.raises(
        ValueError, match=r"^arrays .* got frequency_corners_highpass \(2,\), frequency_corners_lowpass \(3,"
    ):
        rc.chain_band(frequency_corners_highpass=ragged[:1], frequency_corners_lowpass=ragged[1:])
    with pytest.raises(
        ValueError, match=r"^arrays must have shapes .* got resistances\[0\] \(2,\), resistances\[1\] \(3,\)"
    ):
        rc.parallel_resistance(ragged)
    with pytest.raises(ValueError, match=r"^resistances\[1\] must be at least 0, got -2 Ω"):
        rc.parallel_resistance([1e3, -2.0])


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
    narrowing = np.sqrt(2 ** (1 / count) - 1)  # (1 + (f/f_2)²)^n = 2
    assert low.frequency_high == pytest.approx(720.0 * narrowing, rel=1e-12)
    high = rc.chain_band(frequency_corners_highpass=(720.0,) * count, frequency_corners_lowpass=())
    assert high.frequency_low == pytest.approx(720.0 / narrowing, rel=1e-12)


def test_chain_band_takes_arrays_and_keeps_nan_in_its_place():
    band = rc.chain_band(frequency_corners_highpass=([10.0, np.nan, 30.0],), frequency_corners_lowpass=(5e3,))
    np.testing.assert_array_equal(np.isnan(band.frequency_low), [False, True, False])
    alone = rc.chain_band(frequency_corners_highpass=(30.0,), frequency_corners_lowpass=(5e3,))
    assert band.frequency_low[2] == pytest.approx(alone.frequency_low, rel=1e-13)


# Dividers and meters


@given(ohms, ohms, ohms)
def test_divider_against_the_node_equation(top, bottom, load):
    found = rc.divider(voltage_supply=9.0, resistance_top=top, resistance_bottom=bottom, resistance_load=load)
    expected = np.linalg.solve([[1 / top + 1 / bottom + 1 / load]], [9.0 / top])[0]
    assert found.voltage_output == pytest.approx(expected, rel=1e-12)
    assert found.voltage_top + found.voltage_output == pytest.approx(9.0)
    assert found.current == pytest.approx(found.voltage_top / top)
    assert found.current_load == pytest.approx(found.voltage_output / load)
    sag = found.voltage_thevenin * load / (load + found.resistance_thevenin)
    assert found.voltage_output == pytest.approx(sag)


def test_divider_limits():
    def divider(top, bottom, load=inf):
        return rc.divider(voltage_supply=9.0, resistance_top=top, resistance_bottom=bottom, resistance_load=load)

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


def test_resistor_lists_are_checked():
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


@given(ohms, ohms, st.floats(1e5, 1e9))
def test_meter_shortfall_is_what_is_missing(top, bottom, meter):
    found = rc.divider(voltage_supply=9.0, resistance_top=top, resistance_bottom=bottom, resistance_load=meter)
    assert found.voltage_output == pytest.approx(found.voltage_thevenin * (1 - found.shortfall), rel=1e-9)


def test_ideal_meter_reads_the_truth():
    found = rc.divider(voltage_supply=9, resistance_top=1e6, resistance_bottom=1e6, resistance_load=inf)
    assert (found.voltage_output, found.shortfall) == (4.5, 0)


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
    found = rc.choose_corner_parts(
        **call | {"stock_resistance": values.stock_values("E24", value_min=1e3, value_max=10e3)}
    )
    assert found.resistance.max() <= 10e3 and found.resistance.min() >= 1e3
    one = rc.choose_corner_parts(**call | {"stock_capacitance": ["22n"]})
    assert one.capacitance.tolist() == [22e-9] and one.resistance.tolist() == [10e3]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"frequency_corner": 1e9}, "frequency_corner must be within reach"),
        ({"frequency_corner": float("nan")}, "frequency_corner must be one known number"),
        ({"frequency_corner": [1.0, 2.0]}, "frequency_corner must be one known number"),
        ({"stock_resistance": "E7"}, "stock"),
        ({"stock_capacitance": [0.0]}, "stock_capacitance must be above 0"),
    ],
)
def test_choice_refusals(change, message):
    with pytest.raises(ValueError, match=message):
        rc.choose_corner_parts(**CALLS["choose_corner_parts"] | change)


def test_a_drawer_serves_for_a_corner():
    """Three resistors, two capacitors: each capacitor with its best resistor, only where the stock comes near."""
    found = rc.choose_corner_parts(720, stock_resistance=["1k", "4k7", "10k"], stock_capacitance=["22n", "47n"])
    assert sorted(found.capacitance) == [22e-9, 47e-9]
    assert (found.resistance[0], found.capacitance[0]) == (4.7e3, 47e-9)
    np.testing.assert_allclose(found.frequency_corner, 1 / (2 * np.pi * found.resistance * found.capacitance))
    whole = rc.choose_corner_parts(720, stock_resistance="E12", stock_capacitance="E6")
    assert whole.resistance.min() >= 1e3 and whole.resistance.max() <= 1e6


@pytest.mark.parametrize("wanted", [0.5, 2.0, 4.5, 8.5])
def test_divider_is_the_best_of_all_pairs(wanted):
    found = rc.choose_divider(wanted, voltage_supply=9.0, resistance_thevenin=83e3, stock="E12")
    every = [float(f"{n}e{k}") for k in range(3, 7) for n in "1.0 1.2 1.5 1.8 2.2 2.7 3.3 3.9 4.7 5.6 6.8 8.2".split()]
    pairs = [(a, b) for a in every for b in every if 83e3 / 2 <= a * b / (a + b) <= 2 * 83e3]
    best = min(abs(np.log((a / b) / (9.0 / wanted - 1))) for a, b in pairs)
    off = abs(np.log(found.resistance_top / found.resistance_bottom / (9.0 / wanted - 1)))
    assert off.min() == pytest.approx(best, abs=1e-12)
    seen = rc.divider(
        voltage_supply=9.0, resistance_top=found.resistance_top, resistance_bottom=found.resistance_bottom
    )
    np.testing.assert_allclose(found.voltage_thevenin, seen.voltage_thevenin)
    np.testing.assert_allclose(found.resistance_thevenin, seen.resistance_thevenin)
    assert (np.diff(np.abs(found.error)) >= -1e-9).all()


def test_divider_from_a_drawer_that_has_none():
    at = {"voltage_supply": 9.0, "resistance_thevenin": 83e3}
    # by hand: 374 over 107 kΩ give 9 V x 107/481 = 2.00 V with 374 x 107/481 = 83.2 kΩ
    with pytest.raises(ValueError, match="near 2 V with 83 kΩ, such as 374 kΩ over 107 kΩ, got none"):
        rc.choose_divider(2.0, **at, stock=["1k", "10k"])
    with pytest.raises(ValueError, match="voltage_thevenin must be above 0 and below 9"):
        rc.choose_divider(10.0, **at, stock="E12")
    found = rc.choose_divider(4.5, voltage_supply=9.0, resistance_thevenin=5e3, stock=["1k", "10k"])
    assert (found.resistance_top[0], found.resistance_bottom[0]) == (10e3, 10e3)


def test_series_resistance_of_the_capacitor_against_freqs():
    r, c, generator, load = (
        LOADED[k] for k in ("resistance", "capacitance", "resistance_generator", "resistance_load")
    )
    esr, ahead = 220.0, LOADED["resistance"] + LOADED["resistance_generator"]
    result = rc.lowpass_response(FREQUENCIES, **LOADED, resistance_esr=esr, voltage_input=3.0)
    _check_response(result, [load * esr * c, load], [c * (ahead * load + esr * (ahead + load)), ahead + load], 3.0)
    assert r + generator == ahead
    end = rc.lowpass_response(inf, **LOADED, resistance_esr=esr)
    both = esr * load / (esr + load)
    assert end.gain == pytest.approx(both / (both + ahead), rel=1e-12)
    assert rc.lowpass_response(inf, resistance=inf, capacitance=1e-7, resistance_esr=1.0).gain == 0


# Rating to buy


def test_rating_is_at_least_twice_the_power():
    power = np.array([0, 0.0625, 0.063, 0.125, 0.2, 0.25, 0.5, 0.51])
    np.testing.assert_array_equal(rc.resistor_rating(power), [0.125, 0.125, 0.25, 0.25, 0.5, 0.5, 1, 2])
    assert np.isnan(rc.resistor_rating(np.nan))
    with pytest.raises(ValueError, match="power_resistor must be at least 0 and at most 5"):
        rc.resistor_rating(6)


@pytest.mark.parametrize("filtered", [rc.lowpass_response, rc.highpass_response])
def test_nothing_of_a_negative_voltage_is_nothing(filtered):
    """No volts have no sign, whichever way those in front of a short had theirs."""
    found = filtered(1000.0, resistance=0.0, capacitance=1e-6, resistance_generator=10.0, resistance_load=0.0,
                     voltage_input=-2.0, **({"resistance_esr": 0.0} if filtered is rc.lowpass_response else {}))  # fmt: skip
    assert found.voltage_output == 0 and not np.signbit(found.voltage_output)
