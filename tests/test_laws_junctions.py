"""The exact solution of a junction behind a resistance: sixty digits, other solvers, limits, rules of thumb."""

from __future__ import annotations

from dataclasses import replace

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from pedalcalc import devices, laws
from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc.laws._plain import junction_voltage, series_current
from pedalcalc.laws._wright import solve_series

DIODE = devices.typical(devices.DIODE_1N4148)
INF = np.inf


def _solved(v, r, i_s, nvt):
    """Ask the kernel, which takes the figures one by one."""
    return solve_series(*(np.asarray(figure, float) for figure in (v, r, i_s, nvt)))


def _written(i_s, nvt):
    """Return the diode of that law, written in its point at 1 mA."""
    return replace(
        DIODE,
        voltage_forward=nvt * np.log1p(1e-3 / i_s),
        current_reference=1e-3,
        ideality=nvt / VOLTAGE_THERMAL_300K,
        resistance_series=0.0,
    )


# --- against arbitrary precision -----------------------------------------------------------------


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
    got = _solved(v, r, i_s, nvt)
    for k in range(v.size):
        expected, _ = _precise(v[k], r[k], i_s[k], nvt[k])
        if abs(expected) > 1e308:
            assert got[k] == np.inf
        else:
            assert _error(got[k], expected) < 1e-12, (v[k], r[k], i_s[k], nvt[k])


@pytest.mark.parametrize("diode", ["LED_RED_GAASP", "LED_WHITE", "DIODE_1N4148", "DIODE_1N5817"])
@pytest.mark.parametrize("extra", [0.0, 1e-6, 1.0, 470.0, 1e4, 1e7, 1e12])
def test_real_parts_have_twelve_digits(diode, extra):
    part = devices.typical(getattr(devices, diode))
    size = 10.0 ** np.arange(-18.0, 3.4, 0.7)
    v = np.concatenate([-size[::-1], size, np.arange(-0.2, 4, 0.13)])
    r, i_s, nvt = part.resistance_series + extra, part.current_saturation, part.ideality * VOLTAGE_THERMAL_300K
    exact = [_precise(x, r, i_s, nvt)[0] for x in v]
    kernel = series_current(v, resistance=r, current_saturation=i_s, ideality=part.ideality)
    point = laws.junction_in_series(v, resistance=extra, junction=part)
    for got in (kernel, point.current):
        assert max(_error(i, x) for i, x in zip(got, exact, strict=True)) < 1e-12


def test_every_field_of_a_point_has_twelve_digits():
    v, r, i_s, nvt = _whole_range(600, 11)
    part = _written(i_s, nvt)
    i_s, nvt = part.current_saturation, part.ideality * VOLTAGE_THERMAL_300K
    point = laws.junction_in_series(v, resistance=r, junction=part)
    with mpmath.workdps(60):
        for k in range(v.size):
            current, across = _precise(v[k], r[k], i_s[k], nvt[k])
            if abs(current) > 1e300:
                continue
            assert _error(point.current[k], current) < 1e-12
            assert _error(point.voltage_junction[k], across) < 1e-12
            # Slope from the junction voltage, as 1 + I/Is has no digits in deep reverse even at 60.
            slope = mpmath.mpf(nvt[k]) / mpmath.mpf(i_s[k]) * mpmath.exp(-across / mpmath.mpf(nvt[k]))
            # Beyond a million amperes the slope goes on straight, as the docstring of `laws.junction` says.
            if slope < 1e300 and current < 1e6:
                assert _error(point.resistance_dynamic[k], slope) < 1e-12
            assert _error(point.voltage_resistor[k], current * mpmath.mpf(r[k])) < 1e-12
            if 1e-300 < abs(current * across) < 1e300:
                assert _error(point.power_junction[k], current * across) < 1e-12


@settings(max_examples=200)
@given(
    st.floats(-50, 50).filter(lambda v: v == 0 or abs(v) > 1e-100),
    st.floats(1e-3, 1e7),
    st.floats(-30, -4).map(lambda p: 10.0**p),
    st.floats(0.02, 0.15),
)
def test_current_is_the_inverse_of_the_voltage(v, r, i_s, nvt):
    i = _solved(v, r, i_s, nvt)
    if i >= 0:
        back = junction_voltage(i, current_saturation=i_s, ideality=nvt / VOLTAGE_THERMAL_300K, resistance_series=r)
        assert back == pytest.approx(v, rel=1e-12, abs=1e-300)
    assert np.sign(i) == np.sign(v)
    # N parts in series are one part with N times the voltage, ideality and resistance.
    assert _solved(3 * v, 3 * r, i_s, 3 * nvt) == pytest.approx(i, rel=1e-11)


def test_limits_of_the_solution():
    law = (1e-12, 0.025)
    bare = 1e-12 * np.expm1(np.array([-5, 0, 0.5]) / 0.025)
    np.testing.assert_allclose(_solved([-5, 0, 0.5], 0, *law), bare, rtol=1e-15)
    np.testing.assert_array_equal(_solved([-5, 0, 9, 2000], INF, *law), 0)
    np.testing.assert_allclose(_solved(0.5, 1e-9, *law), bare[2], rtol=1e-8)
    assert _solved(0.0, 100, *law) == 0
    assert _solved(2000, 0, *law) == INF
    # With much over the resistance the junction hardly counts, and nothing overflows.
    assert _solved(1e98, 1e3, *law) == pytest.approx(1e95, rel=1e-12)
    assert _solved(1e100, 1e3, *law) == pytest.approx(1e97, rel=1e-12)
    assert _solved(-1e100, 1e3, *law) == -1e-12
    # A leakage beyond what the resistance lets through: the resistance alone decides.
    assert _solved(-1.0, 1e100, 1e3, 0.025) == pytest.approx(-1e-100)
    assert _solved(2.0, 1e3, 1e-100, 0.026) == pytest.approx(float(_precise(2.0, 1e3, 1e-100, 0.026)[0]), rel=1e-12)
    # A tiny saturation current: the product is in range though the exponential alone is not.
    big = _solved(20.0, 0, 1e-60, 0.025)
    assert big == pytest.approx(float(mpmath.mpf(10) ** -60 * mpmath.exp(800)), rel=1e-10)
    with pytest.raises(ValueError, match="current_saturation must be above 0"):
        series_current(1.0, resistance=1e3, current_saturation=0.0, ideality=1.0)


# --- against independent solvers -----------------------------------------------------------------


def test_series_current_matches_an_independent_photovoltaic_solver():
    """pvlib (BSD-3-Clause), single-diode model with the light switched off and no shunt."""
    from pvlib import pvsystem

    v = np.linspace(0.3, 5, 95)
    for r in (0.05, 4.0, 330.0):
        for i_s, nvt in ((1e-9, 0.045), (3e-18, 0.0517), (3e-5, 0.0355)):
            ours = _solved(v, r, i_s, nvt)
            theirs = -pvsystem.i_from_v(v, 0.0, i_s, r, np.inf, nvt, method="lambertw")
            # The other solver subtracts to reach the current: absolute digits of v/r are what it has.
            np.testing.assert_allclose(ours, theirs, rtol=1e-9, atol=1e-13 * v.max() / r + 1e-15)


def test_current_matches_a_bracketing_root_finder():
    part, r = devices.typical(devices.LED_BLUE), 1000.0
    nvt, total = part.ideality * VOLTAGE_THERMAL_300K, r + part.resistance_series
    for v in (2.0, 3.0, 5.0, 9.0, 18.0):
        i = brentq(
            lambda i, v=v: nvt * np.log1p(i / part.current_saturation) + i * total - v,
            0,
            v / r,
            xtol=1e-300,
            rtol=1e-14,
        )
        assert laws.junction_in_series(v, resistance=r, junction=part).current == pytest.approx(i, rel=1e-11)


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


def test_far_above_saturation_the_voltage_moves_with_the_logarithm_of_the_current():
    part = replace(DIODE, voltage_forward=0.7, current_reference=1e-3, ideality=1.5, resistance_series=0.0)
    moved = 1.5 * VOLTAGE_THERMAL_300K * np.log(50)
    assert laws.junction_voltage(0.05, junction=part) - 0.7 == pytest.approx(moved, rel=1e-8)
    assert laws.junction(0.7 + moved, junction=part).current == pytest.approx(0.05, rel=1e-7)


def test_a_warm_silicon_junction_drops_two_millivolts_less_for_each_kelvin():
    """-2 mV/K: common practice, in every text on silicon diodes; the law's slope is (V - Eg)/T - 3 k/q."""
    part = replace(
        DIODE, voltage_forward=0.65, current_reference=1e-3, ideality=1.0, resistance_series=0.0, energy_gap=1.12
    )
    cold, warm = (laws.junction_voltage(1e-3, junction=part, temperature=t) for t in (300.0, 310.0))
    assert warm - cold == pytest.approx(-0.020, rel=0.1)
    assert (warm - cold) / 10 == pytest.approx((cold - 1.12) / 300 - 3 * 1.380649e-23 / 1.602176634e-19, rel=0.01)


@pytest.mark.parametrize("name", [name for name in devices.__all__ if name.startswith("LED_")])
def test_a_lamp_drops_as_many_millivolts_less_for_each_kelvin_as_its_record_says(name):
    # Common practice: about 2 mV/K at the rated current, 3 mV/K for blue, white and pure green.
    lamp = devices.typical(getattr(devices, name))
    cold, warm = (
        laws.junction_voltage(lamp.current_reference, junction=lamp, temperature=kelvin) for kelvin in (299.5, 300.5)
    )
    assert warm - cold == pytest.approx(-3e-3 if lamp.voltage_forward > 2.8 else -2e-3, abs=0.03e-3)


def test_leakage_doubles_every_ten_kelvin():
    """Common practice for silicon."""
    part = replace(DIODE, current_leakage=1e-9)
    for kelvin, times in ((290.0, 0.5), (310.0, 2.0), (320.0, 4.0), (325.0, 2**2.5)):
        moved = laws.at_temperature(part, temperature=kelvin)
        assert moved.current_leakage == pytest.approx(1e-9 * times, rel=1e-12)


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
        ("DIODE_1N5817", 1.0, 0.4199999, 0.4200001),  # sheet PD-20646 (2002): 0.42 V typical at 1 A
    ],
)
def test_parts_lie_within_their_sheets(name, current, low, high):
    assert low < laws.junction_voltage(current, junction=devices.typical(getattr(devices, name))) < high


def test_a_resistor_of_nothing_drops_nothing_of_a_negative_voltage():
    found = laws.junction_in_series([-1.0, -1e30], resistance=0.0, junction=devices.typical(devices.DIODE_1N4148))
    assert np.all(found.voltage_resistor == 0) and not np.any(np.signbit(found.voltage_resistor))


def test_a_temperature_at_which_a_part_leaks_beyond_all_numbers_is_refused_by_its_name():
    """27 °C up to 4,600 K doubles what leaks 430 times, by the rule of ten kelvin (common practice)."""
    with (
        pytest.warns(match="outside the 230 to 400 K"),
        pytest.raises(ValueError, match=r"^temperature must be low enough that '1N4148' leaks"),
    ):
        laws.at_temperature(devices.typical(devices.DIODE_1N4148), temperature=4600.0)
