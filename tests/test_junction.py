"""The diode law and its exact solution with a resistance, against outside solvers."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from pedalcalc import devices, junction

CALLS = {
    "thermal_voltage": {"temperature": 300.0, "boltzmann": 1.380649e-23, "charge_elementary": 1.602176634e-19},
    "junction_current": {"voltage": 0.6, "current_saturation": 1e-12, "ideality": 1.2, "voltage_thermal": 0.025},
    "junction_voltage": {
        "current": 0.002,
        "current_saturation": 1e-12,
        "ideality": 1.2,
        "resistance_series": 3.0,
        "voltage_thermal": 0.025,
    },
    "dynamic_resistance": {
        "current": 0.002,
        "ideality": 1.2,
        "current_saturation": 1e-5,
        "voltage_thermal": 0.025,
    },
    "saturation_current": {
        "voltage": 0.7,
        "current": 0.002,
        "ideality": 1.2,
        "resistance_series": 3.0,
        "voltage_thermal": 0.025,
    },
    "voltage_change": {"current_ratio": 100, "ideality": 1.5, "voltage_thermal": 0.025},
    "voltage_from_reference": {
        "current": 1e-4,
        "voltage_reference": 0.7,
        "current_reference": 1e-3,
        "ideality": 1.0,
        "voltage_thermal": 0.025,
    },
    "current_from_reference": {
        "voltage": 0.65,
        "voltage_reference": 0.7,
        "current_reference": 1e-3,
        "ideality": 1.0,
        "voltage_thermal": 0.025,
    },
    "saturation_current_at": {
        "temperature": 320,
        "current_saturation": 1e-14,
        "temperature_reference": 300,
        "ideality": 1.1,
        "energy_gap": 1.12,
        "saturation_exponent": 3,
    },
    "saturation_current_doubling": {
        "current_saturation": 5e-9,
        "temperature_change": 75,
        "temperature_doubling": 10,
    },
    "voltage_at_temperature": {"voltage": 0.7, "temperature_change": 75, "voltage_slope": -0.002},
    "clipped_voltage": {
        "voltage": 3.0,
        "resistance": 1e3,
        "voltage_clip_high": 2.9,
        "voltage_clip_low": -0.7,
        "resistance_load": 10e3,
    },
    "series_current": {
        "voltage": 9,
        "resistance": 3300,
        "current_saturation": 1e-18,
        "ideality": 2,
        "voltage_thermal": 0.025,
    },
    "series_point": {
        "voltage": 9,
        "resistance": 3300,
        "current_saturation": 1e-18,
        "ideality": 2,
        "voltage_thermal": 0.025,
    },
    "load_line": {
        "voltage": 5,
        "resistance": 1000,
        "voltage_reference": 0.7,
        "current_reference": 1e-3,
        "voltage_decade": 0.1,
    },
    "constant_drop": {"voltage": 9, "resistance": 1000, "voltage_forward": 2},
    "piecewise_linear": {"voltage": 5, "resistance": 1000, "voltage_knee": 0.65, "resistance_forward": 20},
    "small_signal_point": {
        "voltage": 10,
        "voltage_signal": 1,
        "resistance": 10_000,
        "voltage_forward": 0.7,
        "ideality": 2,
        "voltage_thermal": 0.025,
    },
    "zener_voltage": {"voltage_zener": 8.2, "temperature_coefficient": 0.0005, "temperature_change": 35},
}


# --- the exact solve against arbitrary precision -------------------------------------------------


def _precise(v, r, i_s, nvt):
    """Solve V = nvt ln(1 + I/Is) + I R with 60 digits: Newton on y = Vj/nvt from a float start."""
    with mpmath.workdps(60):
        v, r, i_s, nvt = (mpmath.mpf(float(x)) for x in (v, r, i_s, nvt))
        u, slope = v / nvt, r * i_s / nvt
        if slope == 0:
            return i_s * mpmath.expm1(u), v
        # u = y + slope expm1(y) is convex and increasing in y: Newton from the right is monotone.
        y = u if u < 0 else min(u, mpmath.log1p(u / slope))
        if u < 0:  # the root lies right of u; start where the tangent at 0 or u is surely right of it
            y = mpmath.mpf(0)
        for _ in range(400):
            step = (y + slope * mpmath.expm1(y) - u) / (1 + slope * mpmath.exp(y))
            y -= step
            if abs(step) <= abs(y) * mpmath.mpf(10) ** -50:
                break
        else:
            raise AssertionError("the reference did not converge")
        return i_s * mpmath.expm1(y), y * nvt


def _error(got, expected):
    with mpmath.workdps(60):
        return float(abs((mpmath.mpf(float(got)) - expected) / expected)) if expected else abs(float(got))


def _whole_range(count, seed):
    random = np.random.default_rng(seed)
    i_s = 10.0 ** random.uniform(-60, -3, count)
    r = 10.0 ** random.uniform(-20, 15, count)
    r[::25] = 0.0
    nvt = random.uniform(0.8, 5, count) * 0.02585
    v = random.choice([-1.0, 1.0], count) * 10.0 ** random.uniform(-30, np.log10(2000), count)
    v[::3] = random.uniform(-1, 3, v[::3].size)
    return v, r, i_s, nvt


def test_series_current_has_twelve_digits_over_the_whole_range():
    v, r, i_s, nvt = _whole_range(1500, 7)
    got = junction.series_current(v, resistance=r, current_saturation=i_s, voltage_thermal=nvt)
    for k in range(v.size):
        expected, _ = _precise(v[k], r[k], i_s[k], nvt[k])
        if abs(expected) > 1e308:
            assert got[k] == np.inf
        else:
            assert _error(got[k], expected) < 1e-12, (v[k], r[k], i_s[k], nvt[k])


@pytest.mark.parametrize("diode", ["LED_RED_GAASP", "LED_WHITE", "DIODE_1N4148", "DIODE_1N5817"])
@pytest.mark.parametrize("extra", [0.0, 1e-6, 1.0, 470.0, 1e4, 1e7, 1e12])
def test_series_current_has_twelve_digits_for_real_parts(diode, extra):
    part = devices.typical(getattr(devices, diode))
    size = 10.0 ** np.arange(-18.0, 3.4, 0.7)
    v = np.concatenate([-size[::-1], size, np.arange(-0.2, 4, 0.13)])
    r = part.resistance_series + extra
    nvt = part.ideality * 0.02585
    got = junction.series_current(v, resistance=r, current_saturation=part.current_saturation, voltage_thermal=nvt)
    worst = max(_error(i, _precise(x, r, part.current_saturation, nvt)[0]) for i, x in zip(got, v, strict=True))
    assert worst < 1e-12


def test_series_point_has_twelve_digits_in_every_field():
    v, r, i_s, nvt = _whole_range(600, 11)
    point = junction.series_point(v, resistance=r, current_saturation=i_s, voltage_thermal=nvt)
    with mpmath.workdps(60):
        for k in range(v.size):
            current, across = _precise(v[k], r[k], i_s[k], nvt[k])
            if abs(current) > 1e300:
                continue
            assert _error(point.voltage_junction[k], across) < 1e-12
            # Slope from the junction voltage, as 1 + I/Is has no digits in deep reverse even at 60.
            slope = mpmath.mpf(nvt[k]) / mpmath.mpf(i_s[k]) * mpmath.exp(-across / mpmath.mpf(nvt[k]))
            if slope < 1e308:
                assert _error(point.resistance_dynamic[k], slope) < 1e-12
            else:
                assert point.resistance_dynamic[k] == np.inf
            assert _error(point.voltage_resistor[k], current * mpmath.mpf(r[k])) < 1e-12
            if 1e-300 < abs(current * across) < 1e300:
                assert _error(point.power_junction[k], current * across) < 1e-12


def test_limits_of_the_series_solve():
    law = {"current_saturation": 1e-12, "voltage_thermal": 0.025}
    bare = junction.junction_current([-5, 0, 0.5], **law)
    np.testing.assert_array_equal(junction.series_current([-5, 0, 0.5], resistance=0, **law), bare)
    np.testing.assert_array_equal(junction.series_current([-5, 0, 9, 2000], resistance=np.inf, **law), 0)
    np.testing.assert_allclose(junction.series_current(0.5, resistance=1e-9, **law), bare[2], rtol=1e-8)
    assert junction.series_current(0.0, resistance=100, **law) == 0
    assert junction.series_current(2000, resistance=0, **law) == np.inf
    # With much over the resistance the junction hardly counts, and nothing overflows.
    assert junction.series_current(1e300, resistance=1e3, **law) == pytest.approx(1e297, rel=1e-12)
    assert junction.series_current(1e308, resistance=1e3, **law) == pytest.approx(1e305, rel=1e-12)
    assert junction.series_current(-1e308, resistance=1e3, **law) == -1e-12
    # A leakage beyond what the resistance lets through: the resistance alone decides.
    assert junction.series_current(-1.0, resistance=1e308, current_saturation=1e3) == pytest.approx(-1e-308)
    assert junction.series_current(2.0, resistance=1e3, current_saturation=1e-300) == pytest.approx(
        float(_precise(2.0, 1e3, 1e-300, junction.VOLTAGE_THERMAL_300K)[0]), rel=1e-12
    )
    open_end = junction.series_point([9, -9], resistance=np.inf, **law)
    np.testing.assert_array_equal(open_end.voltage_resistor, [9, -9])
    np.testing.assert_array_equal(open_end.voltage_junction, 0)
    assert np.isfinite(junction.series_point(0.5, resistance=0, **law).power_junction)


@settings(max_examples=200, deadline=None)
@given(
    st.floats(-50, 50).filter(lambda v: v == 0 or abs(v) > 1e-100),
    st.floats(1e-3, 1e7),
    st.floats(-30, -4).map(lambda p: 10.0**p),
    st.floats(0.02, 0.15),
)
def test_series_current_is_the_inverse_of_the_voltage(v, r, i_s, nvt):
    i = junction.series_current(v, resistance=r, current_saturation=i_s, voltage_thermal=nvt)
    if i > -0.5 * i_s:
        back = junction.junction_voltage(i, current_saturation=i_s, resistance_series=r, voltage_thermal=nvt)
        assert back == pytest.approx(v, rel=1e-12, abs=1e-300)
    assert np.sign(i) == np.sign(v)
    # N parts in series are one part with N times the voltage, ideality and resistance.
    triple = junction.series_current(3 * v, resistance=3 * r, current_saturation=i_s, voltage_thermal=3 * nvt)
    assert triple == pytest.approx(i, rel=1e-11)


# --- against independent solvers -----------------------------------------------------------------


def test_series_current_matches_an_independent_photovoltaic_solver():
    """pvlib (BSD-3-Clause), single-diode model with the light switched off and no shunt."""
    from pvlib import pvsystem

    v = np.linspace(0.3, 5, 95)
    for r in (0.05, 4.0, 330.0):
        for i_s, nvt in ((1e-9, 0.045), (3e-18, 0.0517), (3e-5, 0.0355)):
            ours = junction.series_current(v, resistance=r, current_saturation=i_s, voltage_thermal=nvt)
            theirs = -pvsystem.i_from_v(v, 0.0, i_s, r, np.inf, nvt, method="lambertw")
            # The other solver subtracts to reach the current: absolute digits of v/r are what it has.
            np.testing.assert_allclose(ours, theirs, rtol=1e-9, atol=1e-13 * v.max() / r + 1e-15)


def test_series_current_matches_a_bracketing_root_finder():
    part, r = devices.typical(devices.LED_BLUE), 1000.0
    total = r + part.resistance_series
    for v in (2.0, 3.0, 5.0, 9.0, 18.0):
        i = brentq(
            lambda i, v=v: (
                junction.junction_voltage(
                    i, current_saturation=part.current_saturation, ideality=part.ideality, resistance_series=total
                )
                - v
            ),
            0,
            v / r,
            xtol=1e-300,
            rtol=1e-14,
        )
        got = junction.series_current(
            v, resistance=total, current_saturation=part.current_saturation, ideality=part.ideality
        )
        assert got == pytest.approx(i, rel=1e-11)


def test_the_closed_form_solves_the_circuit_equation():
    """Put the Lambert form of Banwell and Jayakumar into Kirchhoff's law with sympy."""
    import sympy

    v, r, i_s, nvt = sympy.symbols("V R I_s nvt", positive=True)
    w = sympy.LambertW(i_s * r / nvt * sympy.exp((v + i_s * r) / nvt))
    i = nvt / r * w - i_s
    # exp of the circuit equation, so that W e^W can be replaced by its argument
    law = sympy.simplify(i_s * sympy.exp((v - i * r) / nvt) - i_s - i)
    assert sympy.simplify(law.rewrite(sympy.LambertW)) == 0 or abs(
        law.subs({v: 3, r: 70, i_s: sympy.Rational(1, 10**9), nvt: sympy.Rational(1, 20)}).evalf(40)
    ) < sympy.Float("1e-35")


# --- the law by itself ---------------------------------------------------------------------------


def test_law_both_ways():
    law = {"current_saturation": 2.52e-9, "ideality": 1.752}
    v = np.array([-0.3, -1e-3, 0, 1e-12, 0.3, 0.7])
    back = junction.junction_voltage(junction.junction_current(v, **law), **law)
    np.testing.assert_allclose(back, v, rtol=1e-9)
    assert junction.junction_voltage(-2.52e-9, **law) == -np.inf
    assert junction.junction_current(-2000, **law) == -2.52e-9
    assert junction.junction_current(2000, **law) == np.inf
    assert junction.junction_voltage(1.0, current_saturation=5e-324, voltage_thermal=1.0) == pytest.approx(744.44, 1e-5)
    # tiny saturation current: the product is in range though the exponential alone is not
    big = junction.junction_current(20.0, current_saturation=1e-60, voltage_thermal=0.025)
    assert big == pytest.approx(float(mpmath.mpf(10) ** -60 * mpmath.exp(800)), rel=1e-10)
    with pytest.raises(ValueError, match="current must be at least"):
        junction.junction_voltage([1e-3, -1e-3], **law)


def test_saturation_current_puts_the_law_through_the_point():
    law = {"ideality": 1.7, "voltage_thermal": 0.0257}
    i_s = junction.saturation_current(voltage=1.8, current=0.002, resistance_series=5, **law)
    back = junction.junction_voltage(0.002, current_saturation=i_s, resistance_series=5, **law)
    assert back == pytest.approx(1.8, rel=1e-13)
    with pytest.raises(ValueError, match="voltage must be above what resistance_series drops"):
        junction.saturation_current(voltage=0.01, current=0.002, resistance_series=5)


def test_slope_is_the_derivative():
    law = {"current_saturation": 1e-6, "ideality": 1.3, "voltage_thermal": 0.026}
    h = 1e-9
    numeric = (junction.junction_voltage(1e-5 + h, **law) - junction.junction_voltage(1e-5 - h, **law)) / (2 * h)
    assert junction.dynamic_resistance(1e-5, **law) == pytest.approx(numeric, rel=1e-6)
    assert junction.dynamic_resistance(0.0, **law) == pytest.approx(1.3 * 0.026 / 1e-6)
    assert junction.dynamic_resistance(0.0) == np.inf


def test_reference_forms_agree_with_the_law_far_above_saturation():
    law = {"ideality": 1.5, "voltage_thermal": 0.0255}
    i_s = junction.saturation_current(voltage=0.7, current=1e-3, **law)
    at = {"voltage_reference": 0.7, "current_reference": 1e-3, **law}
    v = junction.voltage_from_reference(0.05, **at)
    assert v == pytest.approx(junction.junction_voltage(0.05, current_saturation=i_s, **law), rel=1e-9)
    assert v - 0.7 == pytest.approx(junction.voltage_change(50, **law), rel=1e-12)
    assert junction.current_from_reference(v, **at) == pytest.approx(0.05, rel=1e-12)
    assert junction.current_from_reference(2000.0, **at) == np.inf
    assert junction.voltage_change(1) == 0


def test_a_warm_silicon_junction_drops_two_millivolts_less_for_each_kelvin():
    """-2 mV/K: common practice, in every text on silicon diodes."""
    t = np.array([300.0, 301.0])
    i_s = junction.saturation_current_at(t, current_saturation=1e-14)
    v = junction.junction_voltage(1e-3, current_saturation=i_s, voltage_thermal=junction.thermal_voltage(t))
    assert v[1] - v[0] == pytest.approx(-2e-3, abs=0.3e-3)
    assert junction.saturation_current_at(300, current_saturation=1e-14) == pytest.approx(1e-14, rel=1e-12)


def test_records_reproduce_their_sheets():
    """1N5817 sheet PD-20646 (2002): 0.42 V typical, 0.45 V highest at 1 A."""
    part = devices.typical(devices.DIODE_1N5817)
    v = junction.junction_voltage(
        1.0,
        current_saturation=part.current_saturation,
        ideality=part.ideality,
        resistance_series=part.resistance_series,
    )
    assert v == pytest.approx(0.42, rel=1e-12)
    assert devices.DIODE_1N5817.voltage_forward == (pytest.approx(np.nan, nan_ok=True), 0.42, 0.45)


@pytest.mark.parametrize(
    ("name", "current", "low", "high"),
    [
        # lowest and highest forward voltage of makers' sheets; see reference/sources.csv for each
        ("LED_RED_GAASP", 0.002, 1.6, 2.0),  # LOWCURRENT-LAMPS: 1.8 typical, 2.0 highest
        ("LED_RED_ALINGAP", 0.020, 1.7, 2.4),  # RGB-LAMP: 1.80 typical, 2.40 highest
        ("LED_YELLOW", 0.002, 1.5, 2.1),  # YELLOW-LAMP: 1.5 to 2.1, typical 1.85
        ("LED_GREEN_GAP", 0.002, 1.6, 2.2),  # LOWCURRENT-LAMPS: 1.8 typical, 2.2 highest
        ("LED_GREEN_INGAN", 0.020, 2.8, 3.6),  # RGB-LAMP: 3.20 typical, 3.60 highest
        ("LED_BLUE", 0.020, 2.8, 3.6),  # RGB-LAMP: 3.20 typical, 3.60 highest
        ("LED_WHITE", 0.020, 2.6, 3.4),  # WHITE-LAMP: 2.60 to 3.40
    ],
)
def test_led_classes_lie_within_the_sheets(name, current, low, high):
    led = devices.typical(getattr(devices, name))
    v = junction.junction_voltage(
        current,
        current_saturation=led.current_saturation,
        ideality=led.ideality,
        resistance_series=led.resistance_series,
    )
    assert low < v < high


# --- simple models -------------------------------------------------------------------------------


def test_load_line_meets_its_reference_and_the_exact_law():
    point = junction.load_line(5, resistance=1000, voltage_reference=0.7, current_reference=1e-3, voltage_decade=0.1)
    assert point.current * 1000 + point.voltage_junction == pytest.approx(5, rel=1e-14)
    assert point.voltage_junction == pytest.approx(0.7 + 0.1 * np.log10(point.current / 1e-3), rel=1e-6)
    with pytest.raises(ValueError, match="voltage_decade is too small"):
        junction.load_line(5, resistance=1000, voltage_reference=7, current_reference=1e-3, voltage_decade=0.01)


def test_straight_models_at_their_edges():
    point = junction.constant_drop([-9, 0, 2, 9], resistance=1000, voltage_forward=2)
    np.testing.assert_allclose(point.current, [0, 0, 0, 7e-3])
    np.testing.assert_allclose(point.voltage_junction, [-9, 0, 2, 2])
    np.testing.assert_array_equal(point.conducts, [False, False, False, True])
    short = junction.constant_drop(9, resistance=0, voltage_forward=2)
    assert short.current == np.inf
    assert short.voltage_junction == 9
    open_end = junction.constant_drop(9, resistance=np.inf, voltage_forward=2)
    assert (open_end.current, open_end.voltage_resistor, open_end.conducts) == (0, 7, False)
    same = junction.piecewise_linear(9, resistance=1000, voltage_knee=2, resistance_forward=0)
    assert same.current == 7e-3
    bare = junction.piecewise_linear(9, resistance=0, voltage_knee=2, resistance_forward=10)
    assert (bare.current, bare.voltage_junction) == (0.7, 9)


def test_small_signal_at_its_edges():
    point = junction.small_signal_point(
        0.5, voltage_signal=0.01, resistance=1000, voltage_forward=0.7, voltage_thermal=0.025
    )
    assert (point.current, point.resistance_dynamic, point.current_signal) == (0, np.inf, 0)
    assert point.voltage_signal_diode == 0.01


def test_small_signal_follows_the_exact_law():
    law = {"resistance": 10e3, "current_saturation": 1e-12, "voltage_thermal": 0.026}
    point = junction.series_point(10, **law)
    h = 1e-4
    moved = junction.series_point([10 - h, 10 + h], **law).voltage_junction
    approximate = junction.small_signal_point(
        10, voltage_signal=2 * h, resistance=10e3, voltage_forward=point.voltage_junction, voltage_thermal=0.026
    )
    assert approximate.voltage_signal_diode == pytest.approx(np.diff(moved)[0], rel=1e-5)


def test_doubling_rule_is_an_exponential():
    same = junction.saturation_current_doubling(1e-9, temperature_change=0)
    assert same == 1e-9
    steps = junction.saturation_current_doubling(1e-9, temperature_change=[-10, 10, 20, 25])
    np.testing.assert_allclose(steps, 1e-9 * np.array([0.5, 2, 4, 2**2.5]))
    back = junction.saturation_current_doubling(steps[3], temperature_change=-25)
    assert back == pytest.approx(1e-9)
    assert junction.saturation_current_doubling(1e-9, temperature_change=10, temperature_doubling=5) == pytest.approx(
        4e-9
    )


def test_two_millivolt_rule_against_the_diode_law():
    # The rule of thumb against the drop at 1 mA that law and saturation current give 10 K higher.
    cold, warm = 300.0, 310.0
    law = {}
    for t in (cold, warm):
        i_s = junction.saturation_current_at(t, current_saturation=1e-14)
        law[t] = junction.junction_voltage(1e-3, current_saturation=i_s, voltage_thermal=junction.thermal_voltage(t))
    rule = junction.voltage_at_temperature(law[cold], temperature_change=warm - cold)
    assert rule - law[cold] == pytest.approx(-0.020)
    assert law[warm] - law[cold] == pytest.approx(-0.020, rel=0.2)
    # The slope that the docstring states.
    slope = (law[cold] - 1.12) / cold - 3 * 1.380649e-23 / 1.602176634e-19
    assert (law[warm] - law[cold]) / 10 == pytest.approx(slope, rel=0.01)


def test_clipped_voltage_in_each_state_against_two_constant_drops():
    levels = {"resistance": 1e3, "voltage_clip_high": 0.7, "voltage_clip_low": -1.4}
    v = np.array([-9.0, -1.4, -0.5, 0.0, 0.7, 5.0])
    held = junction.clipped_voltage(v, **levels)
    up = junction.constant_drop(v, resistance=1e3, voltage_forward=0.7)
    down = junction.constant_drop(-v, resistance=1e3, voltage_forward=1.4)
    np.testing.assert_allclose(held, np.where(v > 0, up.voltage_junction, -down.voltage_junction), atol=1e-15)
    # Open diodes leave the divider; a branch that is not there never holds.
    assert junction.clipped_voltage(
        3.0, resistance=1e3, voltage_clip_high=np.inf, voltage_clip_low=-np.inf, resistance_load=2e3
    ) == pytest.approx(2.0)
    # A bias in series with the upper diode moves its level: 5 V and 0.7 V.
    assert junction.clipped_voltage(18.0, resistance=1e3, voltage_clip_high=5.7, voltage_clip_low=-0.7) == 5.7
    with pytest.raises(ValueError, match="voltage_clip_low"):
        junction.clipped_voltage(1.0, resistance=1e3, voltage_clip_high=-1.0, voltage_clip_low=1.0)
