"""Photocells and couplers: laws, gain, kinetics, histories.

Independent: solve_ivp, mpmath, sympy, Kirchhoff. Set from the same figures, so only there and back: the published
coupler law, the times of the NSL-28 sheet, and the rows of reference/published/opto.csv.
"""

from __future__ import annotations

import dataclasses

import mpmath
import numpy as np
import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from pedalcalc import devices, laws, opto
from pedalcalc._result import ModelRangeWarning
from pedalcalc.opto.coupler_draws import log_resistance, log_slopes
from pedalcalc.opto.kinetics import _tail

CELL = devices.LDR_NORP12
GL5528 = devices.typical(devices.LDR_GL5528)
COUPLER = devices.typical(devices.COUPLER_GREEN_GAP_GL5528)
STEEP, NSL28 = devices.typical(devices.COUPLER_STEEP), devices.typical(devices.COUPLER_NSL28)
CURRENTS = np.array([1e-4, 3e-4, 1e-3, 3e-3, 1e-2])
READINGS = {"current": CURRENTS, "resistance_cell": np.array([33e3, 13.5e3, 5.6e3, 2.4e3, 1.05e3]), "coupler": COUPLER}
FIT = opto.fit_coupler(**READINGS)

CALLS = {
    "make_coupler": {
        "led": devices.typical(devices.LED_GREEN_INGAN),
        "cell": CELL,
        "distance": 0.05,
        "diameter_lamp": 0.005,
    },
    "coupler_current": {"resistance_cell": 2e3, "coupler": COUPLER, "illuminance_ambient": 1.0},
    "coupler_point": {"current": 0.002, "coupler": COUPLER, "voltage_cell": 0.1, "illuminance_ambient": 1.0},
    "coupler_band": {"current": 0.002, "coupler": COUPLER, "light_factor": 3.0},
    "cell_gain": {"resistance_cell": 2e3, "placement": "shunt", "resistance_arm": 10e3, "resistance_load": 1e6},
    "cell_for_reduction": {"reduction_db": 10.0, "placement": "shunt", "resistance_arm": 10e3, "resistance_load": 1e6},
    "gain_curve": {
        "current": 0.002,
        "coupler": COUPLER,
        "placement": "shunt",
        "resistance_arm": 10e3,
        "resistance_load": 1e6,
        "illuminance_ambient": 1.0,
    },
    "time_to_rise": {"fraction": 0.63, "illuminance": 100.0, "cell": CELL},
    "time_to_fall": {"fraction": 0.37, "illuminance": 100.0, "cell": CELL},
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


def _conductance(light, *, cell):
    return laws.cell(light, cell=cell).conductance


def _resistance(light, *, cell):
    return laws.cell(light, cell=cell).resistance_cell


def _light(current, *, coupler):
    return opto.coupler_point(current, coupler=coupler).illuminance


def _settled(current, *, coupler, **ambient):
    return opto.coupler_point(current, coupler=coupler, **ambient).resistance_cell


def _follow(light, *, time, cell, illuminance_start):
    """Return a history of light itself: through a coupler of 1 lx at 1 A."""
    unit = dataclasses.replace(COUPLER, cell=cell, illuminance_reference=1.0, current_reference=1.0, light_exponent=1.0)
    return opto.coupler_response(light, time=time, coupler=unit, current_start=illuminance_start)


def test_records_stand_for_many_cells():
    many = dataclasses.replace(CELL, resistance_10lx=np.array([5e3, 9e3, 15e3]))
    each = [_resistance(50.0, cell=dataclasses.replace(CELL, resistance_10lx=r)) for r in many.resistance_10lx]
    np.testing.assert_array_equal(_resistance(50.0, cell=many), each)


@given(st.floats(1e-3, 1e5), st.sampled_from(CELLS))
def test_light_and_resistance_are_inverse(light, cell):
    resistance = _resistance(light, cell=cell)
    assert laws.cell(resistance_cell=resistance, cell=cell).illuminance == pytest.approx(light, rel=1e-6)


def test_limits_of_the_static_law():
    assert _resistance(0.0, cell=CELL) == CELL.resistance_dark
    open_cell = STEEP.cell
    assert _resistance(0.0, cell=open_cell) == np.inf
    assert laws.cell(resistance_cell=np.inf, cell=open_cell).illuminance == 0
    assert laws.cell(resistance_cell=2e6, cell=CELL).illuminance == 0  # darker than dark
    assert laws.cell(resistance_cell=50.0, cell=GL5528).illuminance == np.inf  # under the floor
    assert opto.coupler_current(2e6, coupler=COUPLER) == 0
    assert opto.coupler_current(50.0, coupler=COUPLER) == np.inf
    np.testing.assert_array_equal(_light([-0.01, 0.0], coupler=COUPLER), [0, 0])


def test_a_fit_brings_its_own_band():
    own, unmeasured = opto.coupler_band(0.002, coupler=FIT), opto.coupler_band(0.002, coupler=FIT.coupler)
    assert unmeasured.resistance_low < own.resistance_low < own.resistance_cell < own.resistance_high
    assert own.resistance_high < unmeasured.resistance_high
    assert own.resistance_cell == pytest.approx(unmeasured.resistance_cell, rel=1e-9)
    with pytest.raises(TypeError, match="coupler must be a Coupler record"):
        opto.coupler_band(0.002, coupler=GL5528)


def test_published_coupler_law():
    """R = 1136 + 3.4646 / I^1.4, as read in an open implementation of the DAFx-13 model (PARKER-DANGELO)."""
    current = np.geomspace(10e-6, 40e-3, 50)
    law = 1136 + 3.4646 / current**1.4
    np.testing.assert_allclose(_settled(current, coupler=STEEP), law, rtol=1e-12)


def test_scaling_of_the_coupler_law():
    bare = dataclasses.replace(STEEP.cell, resistance_floor=0.0)
    coupler = dataclasses.replace(STEEP, cell=bare)
    twice = _settled(2e-3, coupler=coupler) / _settled(1e-3, coupler=coupler)
    assert twice == pytest.approx(2**-1.4, rel=1e-12)


@pytest.mark.parametrize(
    ("mcd", "millimetres", "lux"), [(10, 5, 400), (100, 5, 4000), (100, 10, 1000), (1000, 10, 10000)]
)
def test_inverse_square_law_and_its_warning(mcd, millimetres, lux):
    lamp = dataclasses.replace(devices.typical(devices.LED_GREEN_INGAN), luminous_intensity=mcd / 1e3)
    with pytest.warns(ModelRangeWarning, match="five lamp diameters"):
        got = opto.make_coupler(lamp, cell=GL5528, distance=millimetres / 1e3, diameter_lamp=0.005)
    assert got.illuminance_reference == pytest.approx(lux, rel=1e-12)
    assert _light(lamp.current_for_light, coupler=got) == pytest.approx(lux, rel=1e-12)
    double = _light(2 * lamp.current_for_light, coupler=got) / lux
    assert double == pytest.approx(2**lamp.light_exponent)
    assert (got.led, got.cell) == (lamp, GL5528)


def test_a_lamp_of_unknown_light_makes_no_coupler():
    unknown = dataclasses.replace(devices.typical(devices.LED_GREEN_INGAN), luminous_intensity=float("nan"))
    with pytest.raises(ValueError, match="led must be a lamp whose luminous_intensity is known"):
        opto.make_coupler(unknown, cell=GL5528, distance=0.05, diameter_lamp=0.005)
    with pytest.raises(TypeError, match=r"cell must be one part .*devices\.typical\(cell\)"):
        opto.make_coupler(
            devices.typical(devices.LED_GREEN_INGAN), cell=devices.LDR_GL5528, distance=0.05, diameter_lamp=0.005
        )


def test_ambient_light_adds_to_the_lamps():
    lit = _light(1e-3, coupler=COUPLER) + 50.0
    got = _settled(1e-3, coupler=COUPLER, illuminance_ambient=50.0)
    assert got == _resistance(lit, cell=COUPLER.cell)
    assert opto.coupler_current(got, coupler=COUPLER, illuminance_ambient=50.0) == pytest.approx(1e-3, rel=1e-9)
    assert opto.coupler_current(got * 10, coupler=COUPLER, illuminance_ambient=50.0) == 0


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


@pytest.mark.parametrize(("volts", "told"), [(0.49, False), (0.51, True)])
def test_a_cell_is_said_to_distort_from_half_a_volt(volts, told):
    """Half a volt for about 0.1 % (common practice)."""
    lit = opto.coupler_point(1e-3, coupler=devices.typical(devices.COUPLER_GREEN_GAP_GL5528), voltage_cell=volts)
    assert any("distorts" in caution.what for caution in lit.cautions) == told


@pytest.mark.parametrize(("share", "leaks"), [(0.099, False), (0.101, True)])
def test_light_leaking_in_is_told_from_a_tenth_of_the_lamp_s(share, leaks):
    coupler = devices.typical(devices.COUPLER_GREEN_GAP_GL5528)
    alone = opto.coupler_point(1e-3, coupler=coupler).illuminance
    lit = opto.coupler_point(1e-3, coupler=coupler, illuminance_ambient=share * alone)
    assert any("leaking" in caution.what for caution in lit.cautions) == leaks


def test_band_encloses_and_narrows():
    current = np.geomspace(1e-5, 0.02, 30)
    wide = opto.coupler_band(current, coupler=devices.COUPLER_GREEN_GAP_GL5528)
    narrow = opto.coupler_band(current, coupler=devices.COUPLER_GREEN_GAP_GL5528, light_factor=1.0)
    assert np.all(wide.resistance_low < narrow.resistance_low)
    assert np.all(narrow.resistance_low < narrow.resistance_cell)
    assert np.all(narrow.resistance_cell < narrow.resistance_high)
    assert np.all(narrow.resistance_high < wide.resistance_high)
    # In light without end only the floor is left, known by its class to a factor of three (common practice).
    end = opto.coupler_band(1e12, coupler=devices.COUPLER_GREEN_GAP_GL5528)
    floor = devices.COUPLER_GREEN_GAP_GL5528.cell.resistance_floor
    assert (end.resistance_low, end.resistance_high) == pytest.approx((floor / 3, 3 * floor), rel=1e-3)


def test_band_widens_with_the_distance_from_the_current_of_the_light():
    """By (I/I_ref)^0.15 either way (common practice): a hundred times less or more, a factor of two in light."""
    part = devices.typical(devices.COUPLER_GREEN_GAP_GL5528)
    cell = dataclasses.replace(part.cell, resistance_dark=np.inf, resistance_floor=0.0)
    part = dataclasses.replace(part, cell=cell)
    at = part.current_reference * np.array([0.01, 1.0, 100.0])
    band = opto.coupler_band(at, coupler=part, light_factor=3.0)
    lux = opto.coupler_point(at, coupler=part).illuminance
    for side, unsure, ten in (
        (band.resistance_high, 1 / (3 * 100 ** np.array([0.15, 0.0, 0.15])), 3**0.5),
        (band.resistance_low, 3 * 100 ** np.array([0.15, 0.0, 0.15]), 3**-0.5),
    ):
        ends = [cell.resistance_10lx * ten * (lux * unsure / 10) ** -(cell.gamma + off) for off in (-0.1, 0.1)]
        np.testing.assert_allclose(side, np.max(ends, axis=0) if ten > 1 else np.min(ends, axis=0), rtol=1e-12)


# --- gain -------------------------------------------------------------------------------------


def test_gains_follow_from_kirchhoff():
    cell, source, load, signal, out = sympy.symbols("R_cell R_source R_load v_in v_out", nonzero=True)
    shunt = sympy.solve(sympy.Eq((signal - out) / source, out / cell + out / load), out)[0] / signal
    series = sympy.solve(sympy.Eq((signal - out) / (source + cell), out / load), out)[0] / signal
    feedback = -sympy.solve(sympy.Eq(signal / source, -out / cell - out / load), out)[0] / signal
    values = {cell: 2200, source: 10000, load: 470000}
    r = {"resistance_arm": 10e3, "resistance_load": 470e3}
    for placement, exact in (("shunt", shunt), ("series", series), ("feedback", feedback)):
        got = opto.cell_gain(2.2e3, placement=placement, **r)
        assert got == pytest.approx(float(exact.subs(values)), rel=1e-14)


def _gain(cell, placement, arm, load):
    return opto.cell_gain(cell, placement=placement, resistance_arm=arm, resistance_load=load)


def test_gain_limits():
    assert _gain(0.0, "shunt", 10e3, np.inf) == 0
    assert _gain(np.inf, "shunt", 10e3, np.inf) == 1
    assert _gain(np.inf, "shunt", np.inf, 1e3) == 0
    assert _gain(np.inf, "series", 0.0, 1e3) == 0
    assert _gain(1e3, "series", 10e3, np.inf) == 1
    assert _gain(0.0, "feedback", 1e3, np.inf) == 0
    assert _gain(np.inf, "feedback", 1e3, np.inf) == np.inf
    assert _gain(1e3, "feedback", 0.0, np.inf) == np.inf
    cut = {"coupler": COUPLER, "placement": "feedback", "resistance_arm": np.inf, "resistance_load": 1e3}
    assert opto.gain_curve(0.0, **cut).gain_db == -np.inf
    with pytest.raises(ValueError, match="all be 0"):
        _gain(0.0, "shunt", 0.0, 1e3)
    with pytest.raises(ValueError, match="all be open"):
        _gain(np.inf, "series", 0.0, np.inf)
    with pytest.raises(ValueError, match="both be 0"):
        _gain(0.0, "feedback", 0.0, 1e3)
    with pytest.raises(ValueError, match="placement must be one of shunt, series, feedback"):
        _gain(1e3, "parallel", 1e3, 1e3)


def test_a_shorted_input_resistor_has_infinite_gain_at_the_current_given():
    short = {"coupler": COUPLER, "placement": "feedback", "resistance_arm": 0.0, "resistance_load": 1e3}
    curve = opto.gain_curve([0.0, 1e-3], **short)
    np.testing.assert_array_equal(curve.current, [0.0, 1e-3])
    np.testing.assert_array_equal(curve.gain, [np.inf, np.inf])
    np.testing.assert_array_equal(curve.gain_db, [np.inf, np.inf])


@given(st.floats(0.01, 80), st.floats(1, 1e6), st.floats(1, 1e7))
def test_cell_for_a_wanted_reduction(reduction_db, arm, load):
    lost = 10 ** (-reduction_db / 20)
    for placement, untouched in (("shunt", np.inf), ("series", 0.0), ("feedback", np.inf)):
        cell = opto.cell_for_reduction(reduction_db, placement=placement, resistance_arm=arm, resistance_load=load)
        assert _gain(cell, placement, arm, load) == pytest.approx(
            lost * _gain(untouched, placement, arm, load), rel=1e-9
        )


def test_reduction_limits():
    def cell(reduction_db, placement, arm, load):
        return opto.cell_for_reduction(reduction_db, placement=placement, resistance_arm=arm, resistance_load=load)

    assert cell(0.0, "shunt", 1e3, np.inf) == np.inf
    assert cell(0.0, "series", 1e3, 1e3) == 0
    assert cell(0.0, "feedback", np.inf, 1e3) == np.inf
    assert np.isnan(cell(6.0, "feedback", np.nan, 1e3))
    with pytest.raises(ValueError, match="resistance_arm and resistance_load"):
        cell(6.0, "shunt", np.inf, np.inf)
    with pytest.raises(ValueError, match="resistance_arm and resistance_load"):
        cell(6.0, "series", 1e3, np.inf)
    with pytest.raises(ValueError, match="resistance_load"):
        cell(6.0, "feedback", 1e3, np.inf)


def test_more_light_turns_shunt_and_feedback_down_and_series_up():
    current = np.geomspace(1e-6, 0.02, 40)
    rest = {key: value for key, value in CALLS["gain_curve"].items() if key not in ("current", "placement")}
    for placement, way in (("shunt", -1), ("series", 1), ("feedback", -1)):
        assert np.all(way * np.diff(opto.gain_curve(current, placement=placement, **rest).gain_db) > 0)


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
            assert got == pytest.approx(exact, rel=1e-12 if rest < 1e-8 else 1e-9)


@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize("light", [0.5, 10.0, 3000.0])
def test_times_against_an_independent_integrator(cell, light):
    dark, lit = (float(_conductance(e, cell=cell)) for e in (0.0, light))
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
    got = _follow(light, time=time, cell=cell, illuminance_start=5.0)
    g = [float(_conductance(5.0, cell=cell))]
    for width, lux in zip(np.diff(time), light[:-1], strict=True):
        g.append(solve_ivp(_rate(cell, lux), (0, width), [g[-1]], rtol=1e-11, atol=1e-18, method="LSODA").y[0, -1])
    np.testing.assert_allclose(got.conductance, g, rtol=1e-8)
    np.testing.assert_allclose(got.resistance_cell, 1 / np.array(g) + cell.resistance_floor, rtol=1e-8)


@given(st.lists(st.floats(0, 1e4), min_size=2, max_size=6), st.floats(1e-4, 10))
def test_steps_may_be_cut(light, width):
    """Light held over two short steps does what it does over one long step."""
    time = width * np.arange(len(light) + 1)
    light = [*light, 0.0]
    long = _follow(light, time=time, cell=CELL, illuminance_start=1.0)
    short = _follow(
        np.repeat(light, 2)[:-1], time=np.linspace(0, time[-1], 2 * len(light) - 1), cell=CELL, illuminance_start=1.0
    )
    np.testing.assert_allclose(short.conductance[::2], long.conductance, rtol=1e-9)


def test_many_histories_and_cells_at_once():
    many = dataclasses.replace(CELL, resistance_10lx=np.array([5e3, 9e3]), fall_exponent=np.array([0.0, 0.3]))
    light, time = np.array([[100.0, 1.0, 0.0], [5.0, 0.0, np.nan]]), [0, 0.01, 0.1]
    got = _follow(light, time=time, cell=many, illuminance_start=[0.0, 50.0])
    for i in range(2):
        one = dataclasses.replace(CELL, resistance_10lx=many.resistance_10lx[i], fall_exponent=many.fall_exponent[i])
        single = _follow(light[i], time=time, cell=one, illuminance_start=[0.0, 50.0][i])
        np.testing.assert_allclose(got.resistance_cell[i], single.resistance_cell, rtol=1e-13)


def test_nan_stays_in_its_history_from_its_time_on():
    light = np.array([[100.0, np.nan, 1.0, 1.0], [100.0, 1.0, 1.0, 1.0]])
    got = _follow(light, time=[0, 0.01, 0.02, 0.03], cell=CELL, illuminance_start=0.0)
    np.testing.assert_array_equal(np.isnan(got.resistance_cell), [[False, False, True, True], [False] * 4])


def test_a_long_rest_settles():
    got = _follow([1.0, 1.0], time=[0, 1e6], cell=CELL, illuminance_start=1e5)
    assert got.resistance_cell[1] == pytest.approx(_resistance(1.0, cell=CELL), rel=1e-12)


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
    light = _light(0.016, coupler=coupler)
    rise = opto.time_to_rise(1 - np.exp(-1), illuminance=light, cell=coupler.cell)
    assert rise == pytest.approx(5e-3, rel=1e-9)
    lit = _settled(0.016, coupler=coupler)
    assert opto.time_to_fall(lit / 100e3, illuminance=light, cell=coupler.cell) == pytest.approx(80e-3, rel=1e-9)
    drive = {"time": [0, 0.08], "coupler": coupler, "current_start": 0.016}
    assert opto.coupler_response([0.0, 0.0], **drive).resistance_cell[1] == pytest.approx(100e3, rel=1e-9)


def test_limits_of_the_times():
    rates = laws.cell_rates(1e-6, illuminance=0.0, cell=CELL)
    assert (rates.time_constant_rise, rates.time_constant_fall) == (np.inf, np.inf)
    assert opto.time_to_rise(0.001, illuminance=10.0, cell=CELL) == 0  # the dark cell does that
    assert opto.time_to_fall(0.001, illuminance=10.0, cell=CELL) == np.inf  # the dark cell never does
    assert opto.time_to_fall(1.0, illuminance=10.0, cell=CELL) == 0


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"time": [0.0, 0.1, 0.1]}, "time"),
        ({"time": [0.0, np.nan, 0.1]}, "time"),
        ({"time": [0.0, 0.1]}, "current"),
        ({"time": 0.0}, "time"),
    ],
)
def test_histories_that_do_not_fit(change, name):
    with pytest.raises(ValueError, match=name):
        opto.coupler_response(**(CALLS["coupler_response"] | change))


def test_slopes_of_the_fitted_law_are_its_difference_quotients():
    logs, over = (
        np.log([900.0, 2.0, 60.0, 2e6]),
        np.log([0.003, 0.05, 1.0, 8.0]),
    )  # the slope is no logarithm, but any number
    for column, slope in enumerate(log_slopes(logs, over)):
        step = 1e-6 * (np.arange(4) == column)
        up, down = (log_resistance(logs + side * step, over)[0] for side in (1, -1))
        np.testing.assert_allclose(slope, (up - down) / 2e-6, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("name", ["coupler_band", "coupler_point", "gain_curve"])
def test_a_current_that_no_light_answers_to_is_named(name):
    with pytest.raises(ValueError, match="current must be small enough for a light"):
        getattr(opto, name)(**(CALLS[name] | {"current": 1e99}))
