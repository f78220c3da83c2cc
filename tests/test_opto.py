"""Photocells and couplers: laws, gain, kinetics, histories."""

from __future__ import annotations

import dataclasses

import mpmath
import numpy as np
import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from pedalcalc import devices, opto
from pedalcalc._base import ModelRangeWarning
from pedalcalc.opto.kinetics import _tail

CELL = devices.LDR_NORP12
GL5528 = devices.typical(devices.LDR_GL5528)
COUPLER = devices.typical(devices.COUPLER_GREEN_GAP_GL5528)
STEEP, NSL28 = devices.typical(devices.COUPLER_STEEP), devices.typical(devices.COUPLER_NSL28)
CURRENTS = np.array([1e-4, 3e-4, 1e-3, 3e-3, 1e-2])
READINGS = {"current": CURRENTS, "resistance_cell": np.array([33e3, 13.5e3, 5.6e3, 2.4e3, 1.05e3]), "coupler": COUPLER}
FIT = opto.fit_coupler(**READINGS)

CALLS = {
    "cell_conductance": {"illuminance": 100.0, "cell": CELL},
    "cell_resistance": {"illuminance": 100.0, "cell": CELL},
    "cell_illuminance": {"resistance_cell": 2e3, "cell": CELL},
    "gamma_between": {
        "resistance_dim": 9e3,
        "resistance_bright": 400.0,
        "illuminance_dim": 10.0,
        "illuminance_bright": 1000.0,
    },
    "illuminance_at_distance": {"luminous_intensity": 0.1, "distance": 0.1, "diameter_lamp": 0.005},
    "coupler_illuminance": {"current": 0.002, "coupler": COUPLER},
    "coupler_resistance": {"current": 0.002, "coupler": COUPLER, "illuminance_ambient": 1.0},
    "coupler_current": {"resistance_cell": 2e3, "coupler": COUPLER, "illuminance_ambient": 1.0},
    "coupler_resistance_warm": {
        "current": 0.002,
        "coupler": COUPLER,
        "temperature_celsius": 40.0,
        "resistance_temperature_coefficient": 0.007,
        "light_temperature_coefficient": -0.005,
        "temperature_reference_celsius": 25.0,
    },
    "coupler_point": {"current": 0.002, "coupler": COUPLER, "voltage_cell": 0.1, "illuminance_ambient": 1.0},
    "coupler_band": {"current": 0.002, "coupler": COUPLER, "light_factor": 3.0},
    "fitted_band": {"current": 0.002, "coupler_fit": FIT},
    "gain_shunt": {"resistance_cell": 2e3, "resistance_source": 10e3, "resistance_load": 1e6},
    "gain_series": {"resistance_cell": 2e3, "resistance_source": 1e3, "resistance_load": 10e3},
    "gain_feedback": {"resistance_cell": 2e3, "resistance_input": 10e3, "resistance_feedback": 100e3},
    "shunt_for_reduction": {"reduction_db": 10.0, "resistance_source": 10e3, "resistance_load": 1e6},
    "series_for_reduction": {"reduction_db": 10.0, "resistance_source": 1e3, "resistance_load": 10e3},
    "feedback_for_reduction": {"reduction_db": 10.0, "resistance_feedback": 100e3},
    "shunt_curve": {
        "current": 0.002,
        "coupler": COUPLER,
        "resistance_source": 10e3,
        "resistance_load": 1e6,
        "illuminance_ambient": 1.0,
    },
    "series_curve": {
        "current": 0.002,
        "coupler": COUPLER,
        "resistance_source": 1e3,
        "resistance_load": 10e3,
        "illuminance_ambient": 1.0,
    },
    "feedback_curve": {
        "current": 0.002,
        "coupler": COUPLER,
        "resistance_input": 10e3,
        "resistance_feedback": 100e3,
        "illuminance_ambient": 1.0,
    },
    "rise_time_constant": {"illuminance": 100.0, "cell": CELL},
    "fall_time_constant": {"conductance": 1e-4, "cell": CELL},
    "time_to_rise": {"fraction": 0.63, "illuminance": 100.0, "cell": CELL},
    "time_to_fall": {"fraction": 0.37, "illuminance": 100.0, "cell": CELL},
    "time_between": {"resistance_start": 1e3, "resistance_end": 5e3, "illuminance": 10.0, "cell": CELL},
    "cell_response": {
        "illuminance": np.array([100.0, 0.0, 3.0]),
        "time": np.array([0.0, 0.01, 0.2]),
        "cell": CELL,
        "illuminance_start": 1.0,
    },
    "coupler_response": {
        "current": np.array([1e-3, 0.0, 1e-4]),
        "time": np.array([0.0, 0.01, 0.2]),
        "coupler": COUPLER,
        "current_start": 0.0,
        "illuminance_ambient": 0.0,
    },
    "fit_coupler": READINGS | {"resistance_dark": 2e6, "tolerance": 0.05},
    "fit_timing": {
        "cell": CELL,
        "illuminance_rise": 10.0,
        "fraction_rise": 0.63,
        "time_rise": 0.008,
        "illuminance_fall": 10.0,
        "fraction_fall": 0.37,
        "time_fall": 0.04,
        "tolerance": 0.1,
    },
}
CELLS = [CELL, GL5528, STEEP.cell, dataclasses.replace(CELL, fall_exponent=0.0)]


def test_records_stand_for_many_cells():
    many = dataclasses.replace(CELL, resistance_10lx=np.array([5e3, 9e3, 15e3]))
    each = [opto.cell_resistance(50.0, cell=dataclasses.replace(CELL, resistance_10lx=r)) for r in many.resistance_10lx]
    np.testing.assert_array_equal(opto.cell_resistance(50.0, cell=many), each)


@given(st.floats(1e-3, 1e5), st.sampled_from(CELLS))
def test_light_and_resistance_are_inverse(light, cell):
    resistance = opto.cell_resistance(light, cell=cell)
    assert opto.cell_illuminance(resistance, cell=cell) == pytest.approx(light, rel=1e-6)


def test_limits_of_the_static_law():
    assert opto.cell_resistance(0.0, cell=CELL) == CELL.resistance_dark
    open_cell = STEEP.cell
    assert opto.cell_resistance(0.0, cell=open_cell) == np.inf
    assert opto.cell_illuminance(np.inf, cell=open_cell) == 0
    assert opto.cell_illuminance(2e6, cell=CELL) == 0  # darker than dark
    assert opto.cell_illuminance(50.0, cell=GL5528) == np.inf  # under the floor
    assert opto.coupler_current(2e6, coupler=COUPLER) == 0
    assert opto.coupler_current(50.0, coupler=COUPLER) == np.inf
    np.testing.assert_array_equal(opto.coupler_illuminance([-0.01, 0.0], coupler=COUPLER), [0, 0])


def test_published_coupler_law():
    """R = 1136 + 3.4646 / I^1.4, as read in an open implementation of the DAFx-13 model (PARKER-DANGELO)."""
    current = np.geomspace(10e-6, 40e-3, 50)
    law = 1136 + 3.4646 / current**1.4
    np.testing.assert_allclose(opto.coupler_resistance(current, coupler=STEEP), law, rtol=1e-12)


def test_scaling_of_the_coupler_law():
    bare = dataclasses.replace(STEEP.cell, resistance_floor=0.0)
    coupler = dataclasses.replace(STEEP, cell=bare)
    twice = opto.coupler_resistance(2e-3, coupler=coupler) / opto.coupler_resistance(1e-3, coupler=coupler)
    assert twice == pytest.approx(2**-1.4, rel=1e-12)


@pytest.mark.parametrize(
    ("mcd", "millimetres", "lux"), [(10, 5, 400), (100, 5, 4000), (100, 10, 1000), (1000, 10, 10000)]
)
def test_inverse_square_law_and_its_warning(mcd, millimetres, lux):
    with pytest.warns(ModelRangeWarning, match="five lamp diameters"):
        got = opto.illuminance_at_distance(mcd / 1e3, distance=millimetres / 1e3, diameter_lamp=0.005)
    assert got == pytest.approx(lux, rel=1e-12)


def test_ambient_light_adds_to_the_lamps():
    lit = opto.coupler_illuminance(1e-3, coupler=COUPLER) + 50.0
    got = opto.coupler_resistance(1e-3, coupler=COUPLER, illuminance_ambient=50.0)
    assert got == opto.cell_resistance(lit, cell=COUPLER.cell)
    assert opto.coupler_current(got, coupler=COUPLER, illuminance_ambient=50.0) == pytest.approx(1e-3, rel=1e-9)
    assert opto.coupler_current(got * 10, coupler=COUPLER, illuminance_ambient=50.0) == 0


def test_warm_coupler():
    call = {"current": 0.001, "coupler": COUPLER, "temperature_celsius": 45.0}
    cold = opto.coupler_resistance(0.001, coupler=COUPLER)
    assert opto.coupler_resistance_warm(**call, resistance_temperature_coefficient=0.01) == pytest.approx(1.2 * cold)
    dimmer = opto.coupler_resistance_warm(
        **call, resistance_temperature_coefficient=0.0, light_temperature_coefficient=-0.01
    )
    light = 0.8 * opto.coupler_illuminance(0.001, coupler=COUPLER)
    assert dimmer == pytest.approx(opto.cell_resistance(light, cell=COUPLER.cell))
    for name in ("resistance_temperature_coefficient", "light_temperature_coefficient"):
        with pytest.raises(ValueError, match=name):
            opto.coupler_resistance_warm(**(call | {"resistance_temperature_coefficient": 0.0} | {name: -0.05}))
    with pytest.warns(ModelRangeWarning, match="temperature"):
        opto.coupler_resistance_warm(**(call | {"temperature_celsius": 80.0}), resistance_temperature_coefficient=0.0)


def test_gamma_between_refuses_what_no_cell_does():
    call = CALLS["gamma_between"]
    with pytest.raises(ValueError, match="illuminance_bright"):
        opto.gamma_between(**(call | {"illuminance_bright": 10.0}))
    with pytest.raises(ValueError, match="resistance_bright"):
        opto.gamma_between(**(call | {"resistance_bright": 10e3}))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"current": 0.03}, "LED current"),
        ({"voltage_cell": 200.0}, "voltage across the cell above"),
        ({"voltage_cell": 25.0}, "power"),
        ({"voltage_cell": 1.0}, "distorts"),
        ({"illuminance_ambient": 20.0}, "leaking"),
    ],
)
def test_cautions_of_a_coupler(change, words):
    calm = {"current": 0.002, "coupler": COUPLER, "voltage_cell": 0.1}
    assert opto.coupler_point(**calm).cautions == ()
    found = opto.coupler_point(**(calm | change)).cautions
    assert any(words in caution.what for caution in found)


def test_band_encloses_and_narrows():
    current = np.geomspace(1e-5, 0.02, 30)
    wide = opto.coupler_band(current, coupler=devices.COUPLER_GREEN_GAP_GL5528)
    narrow = opto.coupler_band(current, coupler=devices.COUPLER_GREEN_GAP_GL5528, light_factor=1.0)
    assert np.all(wide.resistance_low < narrow.resistance_low)
    assert np.all(narrow.resistance_low < narrow.resistance_cell)
    assert np.all(narrow.resistance_cell < narrow.resistance_high)
    assert np.all(narrow.resistance_high < wide.resistance_high)


# --- gain -------------------------------------------------------------------------------------


def test_gains_follow_from_kirchhoff():
    cell, source, load, signal, out = sympy.symbols("R_cell R_source R_load v_in v_out", nonzero=True)
    shunt = sympy.solve(sympy.Eq((signal - out) / source, out / cell + out / load), out)[0] / signal
    series = sympy.solve(sympy.Eq((signal - out) / (source + cell), out / load), out)[0] / signal
    feedback = -sympy.solve(sympy.Eq(signal / source, -out / cell - out / load), out)[0] / signal
    values = {cell: 2200, source: 10000, load: 470000}
    r = {"resistance_source": 10e3, "resistance_load": 470e3}
    assert opto.gain_shunt(2.2e3, **r) == pytest.approx(float(shunt.subs(values)), rel=1e-14)
    assert opto.gain_series(2.2e3, **r) == pytest.approx(float(series.subs(values)), rel=1e-14)
    got = opto.gain_feedback(2.2e3, resistance_input=10e3, resistance_feedback=470e3)
    assert got == pytest.approx(float(feedback.subs(values)), rel=1e-14)


def test_gain_limits():
    wide = {"resistance_source": 10e3, "resistance_load": np.inf}
    assert opto.gain_shunt(0.0, **wide) == 0
    assert opto.gain_shunt(np.inf, **wide) == 1
    assert opto.gain_shunt(np.inf, resistance_source=np.inf, resistance_load=1e3) == 0
    assert opto.gain_series(np.inf, resistance_source=0.0, resistance_load=1e3) == 0
    assert opto.gain_series(1e3, **wide) == 1
    assert opto.gain_feedback(0.0, resistance_input=1e3, resistance_feedback=np.inf) == 0
    assert opto.gain_feedback(np.inf, resistance_input=1e3, resistance_feedback=np.inf) == np.inf
    assert opto.gain_feedback(1e3, resistance_input=0.0, resistance_feedback=np.inf) == np.inf
    assert (
        opto.feedback_curve(0.0, coupler=COUPLER, resistance_input=np.inf, resistance_feedback=1e3).gain_db == -np.inf
    )
    with pytest.raises(ValueError, match="all be 0"):
        opto.gain_shunt(0.0, resistance_source=0.0, resistance_load=1e3)
    with pytest.raises(ValueError, match="all be open"):
        opto.gain_series(np.inf, resistance_source=0.0, resistance_load=np.inf)
    with pytest.raises(ValueError, match="both be 0"):
        opto.gain_feedback(0.0, resistance_input=0.0, resistance_feedback=1e3)


def test_a_shorted_input_resistor_has_infinite_gain_at_the_current_given():
    curve = opto.feedback_curve([0.0, 1e-3], coupler=COUPLER, resistance_input=0.0, resistance_feedback=1e3)
    np.testing.assert_array_equal(curve.current, [0.0, 1e-3])
    np.testing.assert_array_equal(curve.gain, [np.inf, np.inf])
    np.testing.assert_array_equal(curve.gain_db, [np.inf, np.inf])


@given(st.floats(0.01, 80), st.floats(1, 1e6), st.floats(1, 1e7))
def test_cell_for_a_wanted_reduction(reduction_db, first, second):
    r = {"resistance_source": first, "resistance_load": second}
    lost = 10 ** (-reduction_db / 20)
    cell = opto.shunt_for_reduction(reduction_db, **r)
    assert opto.gain_shunt(cell, **r) == pytest.approx(lost * opto.gain_shunt(np.inf, **r), rel=1e-9)
    cell = opto.series_for_reduction(reduction_db, **r)
    assert opto.gain_series(cell, **r) == pytest.approx(lost * opto.gain_series(0.0, **r), rel=1e-9)
    cell = opto.feedback_for_reduction(reduction_db, resistance_feedback=second)
    stage = {"resistance_input": first, "resistance_feedback": second}
    assert opto.gain_feedback(cell, **stage) == pytest.approx(lost * opto.gain_feedback(np.inf, **stage), rel=1e-9)


def test_reduction_limits():
    assert opto.shunt_for_reduction(0.0, resistance_source=1e3, resistance_load=np.inf) == np.inf
    assert opto.series_for_reduction(0.0, resistance_source=1e3, resistance_load=1e3) == 0
    assert opto.feedback_for_reduction(0.0, resistance_feedback=1e3) == np.inf
    with pytest.raises(ValueError, match="resistance_source and resistance_load"):
        opto.shunt_for_reduction(6.0, resistance_source=np.inf, resistance_load=np.inf)
    with pytest.raises(ValueError, match="resistance_source and resistance_load"):
        opto.series_for_reduction(6.0, resistance_source=1e3, resistance_load=np.inf)
    with pytest.raises(ValueError, match="resistance_feedback"):
        opto.feedback_for_reduction(6.0, resistance_feedback=np.inf)


def test_more_light_turns_shunt_and_feedback_down_and_series_up():
    current = np.geomspace(1e-6, 0.02, 40)
    assert np.all(np.diff(opto.shunt_curve(current, **_rest("shunt_curve")).gain_db) < 0)
    assert np.all(np.diff(opto.series_curve(current, **_rest("series_curve")).gain_db) > 0)
    assert np.all(np.diff(opto.feedback_curve(current, **_rest("feedback_curve")).gain_db) < 0)


def _rest(name):
    return {key: value for key, value in CALLS[name].items() if key != "current"}


# --- kinetics ---------------------------------------------------------------------------------


def test_closed_forms_follow_from_the_law():
    """The rise and the fall in darkness solve the two differential equations."""
    t, tau, start, goal, level, b = sympy.symbols("t tau start goal y b", positive=True)
    rise = goal + (start - goal) * sympy.exp(-t / tau)
    assert sympy.simplify(sympy.diff(rise, t) - (goal - rise) / tau) == 0
    clock = tau / b * (level**-b - start**-b)  # time to fall from start to level
    assert sympy.simplify(sympy.diff(clock, level) - 1 / (-level / (tau * level**-b))) == 0
    k = sympy.symbols("k", positive=True)
    # towards a settled level: dt/dy = -tau y^-b / (y - goal), term by term in goal/y
    term = level**-b * (goal / level) ** k / (k + b)
    assert sympy.simplify(sympy.diff(term, level) + level ** (-b - 1) * (goal / level) ** k) == 0


@pytest.mark.parametrize("exponent", [0.0, 0.0505, 0.2792, 0.29, 0.923, 1.3])
def test_tail_sum_against_mpmath(exponent):
    with mpmath.workdps(40):
        for rest in (0.99, 0.5, 0.1, 1e-2, 1.78e-3, 1e-4, 1e-6, 1.1e-8, 0.9e-8, 1e-12):
            b, u = mpmath.mpf(exponent), 1 - mpmath.mpf(rest)
            exact = float(u / (1 + b) * mpmath.hyp2f1(1, 1 + b, 2 + b, u))
            got = float(_tail(np.array(1 - rest), np.array(rest), np.array(exponent)))
            assert got == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("cell", CELLS)
def test_fall_time_towards_light_against_quadrature(cell):
    ends = {"resistance_start": 2e3, "resistance_end": 8e3, "illuminance": 1.5, "cell": cell}
    settled = float(opto.cell_conductance(1.5, cell=cell))

    def slowness(g):
        return float(opto.fall_time_constant(g, cell=cell)) / (g - settled)

    floor = cell.resistance_floor
    exact, _ = quad(slowness, 1 / (8e3 - floor), 1 / (2e3 - floor), epsabs=0, epsrel=1e-12)
    assert opto.time_between(**ends) == pytest.approx(exact, rel=1e-10)


@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize("light", [0.5, 10.0, 3000.0])
def test_times_against_an_independent_integrator(cell, light):
    dark, lit = (float(opto.cell_conductance(e, cell=cell)) for e in (0.0, light))
    rise, fall = _stop(0.63, cell, dark, lit, light), _stop(0.37, cell, lit, dark, 0.0)
    assert opto.time_to_rise(0.63, illuminance=light, cell=cell) == pytest.approx(rise, rel=1e-7)
    assert opto.time_to_fall(0.37, illuminance=light, cell=cell) == pytest.approx(fall, rel=1e-7)


def _rate(cell, light):
    dark = 1 / cell.resistance_dark
    settled = dark + (light / 10) ** cell.gamma / cell.resistance_10lx

    def rate(_, g):
        if g[0] < settled:
            tau = cell.time_rise_10lx * (light / 10) ** -cell.rise_exponent
        else:
            tau = cell.time_fall_10lx * max((g[0] - dark) * cell.resistance_10lx, 1e-30) ** -cell.fall_exponent
        return [(settled - g[0]) / tau]

    return rate


def _stop(fraction, cell, start, settled, light):
    lit = max(start, settled)
    level = 1 / ((1 / lit + cell.resistance_floor) / fraction - cell.resistance_floor)

    def reached(_, g):
        return (g[0] - level) / level

    reached.terminal = True
    done = solve_ivp(_rate(cell, light), (0, 100), [start], events=reached, rtol=1e-11, atol=1e-18, method="LSODA")
    return done.t_events[0][0]


@pytest.mark.parametrize("cell", CELLS)
def test_history_against_an_independent_integrator(cell):
    random = np.random.default_rng(7)
    time = np.concatenate([[0], np.cumsum(10 ** random.uniform(-4, 0, 25))])
    light = np.where(random.random(26) < 0.2, 0.0, 10 ** random.uniform(-2, 4, 26))
    got = opto.cell_response(light, time=time, cell=cell, illuminance_start=5.0)
    g = [float(opto.cell_conductance(5.0, cell=cell))]
    for width, lux in zip(np.diff(time), light[:-1], strict=True):
        g.append(solve_ivp(_rate(cell, lux), (0, width), [g[-1]], rtol=1e-11, atol=1e-18, method="LSODA").y[0, -1])
    np.testing.assert_allclose(got.conductance, g, rtol=1e-8)
    np.testing.assert_allclose(got.resistance_cell, 1 / np.array(g) + cell.resistance_floor, rtol=1e-8)


@given(st.lists(st.floats(0, 1e4), min_size=2, max_size=6), st.floats(1e-4, 10))
def test_steps_may_be_cut(light, width):
    """Light held over two short steps does what it does over one long step."""
    time = width * np.arange(len(light) + 1)
    light = [*light, 0.0]
    long = opto.cell_response(light, time=time, cell=CELL, illuminance_start=1.0)
    short = opto.cell_response(
        np.repeat(light, 2)[:-1], time=np.linspace(0, time[-1], 2 * len(light) - 1), cell=CELL, illuminance_start=1.0
    )
    np.testing.assert_allclose(short.conductance[::2], long.conductance, rtol=1e-9)


def test_many_histories_and_cells_at_once():
    many = dataclasses.replace(CELL, resistance_10lx=np.array([5e3, 9e3]), fall_exponent=np.array([0.0, 0.3]))
    light, time = np.array([[100.0, 1.0, 0.0], [5.0, 0.0, np.nan]]), [0, 0.01, 0.1]
    got = opto.cell_response(light, time=time, cell=many, illuminance_start=[0.0, 50.0])
    for i in range(2):
        one = dataclasses.replace(CELL, resistance_10lx=many.resistance_10lx[i], fall_exponent=many.fall_exponent[i])
        single = opto.cell_response(light[i], time=time, cell=one, illuminance_start=[0.0, 50.0][i])
        np.testing.assert_allclose(got.resistance_cell[i], single.resistance_cell, rtol=1e-13)


def test_nan_stays_in_its_history_from_its_time_on():
    light = np.array([[100.0, np.nan, 1.0, 1.0], [100.0, 1.0, 1.0, 1.0]])
    got = opto.cell_response(light, time=[0, 0.01, 0.02, 0.03], cell=CELL, illuminance_start=0.0)
    np.testing.assert_array_equal(np.isnan(got.resistance_cell), [[False, False, True, True], [False] * 4])


def test_a_long_rest_settles():
    got = opto.cell_response([1.0, 1.0], time=[0, 1e6], cell=CELL, illuminance_start=1e5)
    assert got.resistance_cell[1] == pytest.approx(opto.cell_resistance(1.0, cell=CELL), rel=1e-12)


def test_release_has_two_stages():
    """Each tenfold rise of resistance in darkness takes longer than the one before."""
    for cell in (CELL, GL5528):
        first = opto.time_to_fall(0.1, illuminance=1000.0, cell=cell)
        second = opto.time_to_fall(0.01, illuminance=1000.0, cell=cell) - first
        assert second > 1.5 * first


def test_rise_is_far_quicker_than_fall_in_bright_light():
    rise = opto.time_to_rise(1 / 1.1, illuminance=1000.0, cell=CELL)
    assert opto.time_to_fall(0.1, illuminance=1000.0, cell=CELL) == pytest.approx(17 * rise, rel=0.02)


def test_coupler_sheet_times():
    """NSL-28 sheet: 5 ms to 63 % at 16 mA, 80 ms down to 100 kΩ after 16 mA."""
    coupler = NSL28
    light = opto.coupler_illuminance(0.016, coupler=coupler)
    rise = opto.time_to_rise(1 - np.exp(-1), illuminance=light, cell=coupler.cell)
    assert rise == pytest.approx(5e-3, rel=1e-9)
    lit = opto.coupler_resistance(0.016, coupler=coupler)
    fall = opto.time_between(resistance_start=lit, resistance_end=100e3, illuminance=0.0, cell=coupler.cell)
    assert fall == pytest.approx(80e-3, rel=1e-9)
    drive = {"time": [0, 0.08], "coupler": coupler, "current_start": 0.016}
    assert opto.coupler_response([0.0, 0.0], **drive).resistance_cell[1] == pytest.approx(100e3, rel=1e-9)


def test_limits_of_the_times():
    assert opto.rise_time_constant(0.0, cell=CELL) == np.inf
    assert opto.fall_time_constant(1e-6, cell=CELL) == np.inf
    assert opto.time_to_rise(0.001, illuminance=10.0, cell=CELL) == 0  # the dark cell does that
    assert opto.time_to_fall(0.001, illuminance=10.0, cell=CELL) == np.inf  # the dark cell never does
    assert opto.time_to_fall(1.0, illuminance=10.0, cell=CELL) == 0
    pair = {"illuminance": 10.0, "cell": CELL}
    assert opto.time_between(resistance_start=5e3, resistance_end=5e3, **pair) == 0
    assert opto.time_between(resistance_start=1e3, resistance_end=50e3, **pair) == np.inf
    assert opto.time_between(resistance_start=50e3, resistance_end=1e3, **pair) == np.inf
    with pytest.raises(ValueError, match="resistance_end"):
        opto.time_between(resistance_start=1e3, resistance_end=50.0, illuminance=10.0, cell=NSL28.cell)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"time": [0.0, 0.1, 0.1]}, "time"),
        ({"time": [0.0, np.nan, 0.1]}, "time"),
        ({"time": [0.0, 0.1]}, "illuminance"),
        ({"time": 0.0}, "time"),
    ],
)
def test_histories_that_do_not_fit(change, name):
    with pytest.raises(ValueError, match=name):
        opto.cell_response(**(CALLS["cell_response"] | change))
    with pytest.raises(ValueError, match="current" if name == "illuminance" else name):
        opto.coupler_response(**(CALLS["coupler_response"] | change))
