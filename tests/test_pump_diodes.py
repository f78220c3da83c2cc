"""The settled two-diode doubler against exponential diodes stepped in time, its closed form and its limits."""

from __future__ import annotations

import dataclasses

import mpmath as mp
import numpy as np
import pytest
import sympy as sp
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from pedalcalc import devices
from pedalcalc.laws import junction_voltage
from pedalcalc.pump import _overlap
from pedalcalc.pump._pulse import Circuit, settle_pulses
from tests.oracle_pump import SCHOTTKY, SILICON, Doublers, compare_settled, draw
from tests.test_pump import call

INF = float("inf")


def test_the_stepped_circuits_against_an_ode_solver():
    """One period of the plain stepping against `solve_ivp`, which finds node A by bracketing: one loaded, one overloaded."""
    for supply, load, c1, c2, diode in ((9.0, 0.01, 2e-6, 10e-6, SILICON), (3.0, 0.03, 1e-6, 1.5e-6, SCHOTTKY)):
        i_s, nvt, r_s = diode
        f, r1, esr = 5e3, 8.0, 1.5

        def current(u, i_s=i_s, nvt=nvt):
            return i_s * np.expm1(u / nvt)

        def through(volts, resistance, i_s=i_s, nvt=nvt):
            if volts <= 0:
                return current(brentq(lambda u: u + current(u) * resistance - volts, volts - 1, 1e-12, xtol=1e-15))
            return brentq(lambda i: nvt * np.log1p(i / i_s) + i * resistance - volts, 0, volts / resistance, xtol=1e-18)

        def slope(_, x, e, supply=supply, load=load, c1=c1, c2=c2, r_s=r_s, r1=r1, esr=esr):
            def excess(a):
                return through(supply - a, r_s) - through(a - x[1] + esr * load, r_s + esr) - (a - e - x[0]) / r1

            a = brentq(excess, -20, 40, xtol=1e-13)
            out = through(a - x[1] + esr * load, r_s + esr)
            return [(a - e - x[0]) / r1 / c1, (out - load) / c2]

        x = np.array([supply - 0.7, supply + 0.5])
        for e in (0.0, supply):
            x = solve_ivp(slope, (0, 0.5 / f), x, args=(e,), method="Radau", rtol=1e-8, atol=1e-10).y[:, -1]
        one = [np.array([value]) for value in (supply, load, f, c1, c2, r1, 0.0, esr, *diode)]
        found = Doublers(*one, steps=400).period(np.array([supply - 0.7]), np.array([supply + 0.5]))
        assert np.ravel(found) == pytest.approx(x, abs=2e-5)


def test_settled_state_against_diodes_stepped_in_time():
    """A sample; `python -m tests.oracle_pump` runs a wide grid. What is left is the error of the stepping."""
    pairs = compare_settled(draw(30, 11, steps=60))
    allowed = {"output": 1e-3, "ripple": 2e-3, "tone": 1e-3, "drawn": 2e-6, "diodes": 1e-3, "resistance": 0.02}
    for name, (ours, theirs) in pairs.items():
        np.testing.assert_allclose(ours, theirs, rtol=0.01, atol=allowed[name], err_msg=name)
    np.testing.assert_allclose(*pairs["output"], rtol=0, atol=1e-3)


def test_overloaded_state_against_diodes_stepped_in_time():
    """Small flying capacitors, low supplies and loads to 60 mA: the supply comes straight through for part of the time."""
    hard = dataclasses.replace(draw(24, 5, load=(5e-3, 60e-3), c1=(2e-7, 2e-6)), supply=np.linspace(0.5, 7, 24))
    pairs = compare_settled(hard)
    circuit = Circuit(
        hard.supply, hard.load, 1 / hard.frequency, hard.c1, hard.c2, hard.r1, hard.esr, hard.r_s, hard.i_s, hard.nvt
    )
    with np.errstate(all="ignore"):
        closed = settle_pulses(circuit)
    assert 6 < np.sum(~closed.alone) < 24
    np.testing.assert_allclose(*pairs["output"], rtol=0, atol=1e-3)
    np.testing.assert_allclose(*pairs["drawn"], rtol=1e-3, atol=1e-6)
    np.testing.assert_allclose(*pairs["resistance"], rtol=0.02)
    np.testing.assert_allclose(*pairs["tone"], rtol=0.01)
    np.testing.assert_allclose(*pairs["ripple"], rtol=0.02, atol=5e-3)


# The closed form ---------------------------------------------------------------


def test_time_and_voltage_of_a_pulse_are_integrals_of_its_equation():
    a, r, n, j0, j1, k, rho = sp.symbols("a r n j0 j1 k rho", positive=True)
    x, y = sp.log(j0 / j1), sp.log((j0 - a) / (j1 - a))
    # dt = -C (r + n/j)/(j - a) dj, and the voltage over the loop falls by r dj + n dj/j.
    time = (r + n / a) * y - n / a * x
    assert sp.simplify(sp.diff(time, j0) - (r + n / j0) / (j0 - a)) == 0
    assert sp.simplify(sp.diff(r * (j0 - j1) + n * x, j0) - (r + n / j0)) == 0
    # In units of the load's current both together are the one equation in u = (x + Y)/2 with h = (Y - x)/2.
    y0, y1 = sp.symbols("y0 y1", positive=True)
    x, y = sp.log(y0 / y1), sp.log((y0 - k) / (y1 - k))
    volts, room = rho * (y0 - y1) + x, (rho + 1 / k) * y - x / k
    u, h = (x + y) / 2, (y - x) / 2
    equation = 4 * sp.sinh(u / 2) ** 2 - 4 * sp.sinh(h / 2) ** 2 - (volts - u + h) * 2 * sp.sinh(h) / (k * rho)
    numbers = {y0: sp.Rational(37, 10), y1: sp.Rational(3, 2), k: sp.Rational(4, 5), rho: sp.Rational(7, 3)}
    assert abs(sp.N(equation.subs(numbers), 40)) < 1e-35
    assert abs(sp.N((h - k * (room - rho * u) / (2 + k * rho)).subs(numbers), 40)) < 1e-35


@pytest.mark.parametrize(
    ("load", "f", "c1", "c2", "r1", "esr", "diode"),
    [
        (0.005, 22.5e3, 10e-6, 47e-6, 8.2, 0.5, SCHOTTKY),
        (0.020, 5e3, 10e-6, 4.7e-6, 12.0, 3.0, SILICON),
        (0.0, 5e3, 1e-6, 10e-6, 8.0, 0.0, SILICON),
        (0.010, 45e3, 100e-6, 1e-6, 4.0, 0.1, SCHOTTKY),
        (0.002, 10e3, 2e-6, INF, 0.0, 0.0, (*SCHOTTKY[:2], 0.0)),
    ],
)
def test_settled_state_against_its_equations_in_many_digits(load, f, c1, c2, r1, esr, diode):
    """Both pulses found by mpmath from time and charge alone, the mean output by its quadrature."""
    mp.mp.dps = 30
    i_s, n, r_s = (mp.mpf(value) for value in diode)
    supply, half, j = mp.mpf(9), mp.mpf(1) / (2 * mp.mpf(f)), mp.mpf(load) + i_s

    def pulse(elastance, r, a):
        """Return first and last current of a pulse that carries 2 half j."""
        fall = (2 * j - a) * half * elastance

        def miss(logs):
            last = a + mp.exp(logs)
            first = (
                n / r * mp.lambertw(r / n * last * mp.exp((r * last + fall) / n)).real if r else last * mp.exp(fall / n)
            )
            time = mp.quad(
                lambda z: r * mp.exp(z) / (mp.exp(z) - a) + n / (mp.exp(z) - a), [mp.log(last), mp.log(first)]
            )
            return time / elastance - half

        low, high = mp.log(j) - 60, mp.log(2 * j - a)
        last = a + mp.exp(
            mp.findroot(miss, (low + (high - low) / 2, high - 0.01), solver="anderson", tol=1e-24, maxsteps=200)
        )
        return (
            n / r * mp.lambertw(r / n * last * mp.exp((r * last + fall) / n)).real if r else last * mp.exp(fall / n)
        ), last

    s1, s2 = 1 / mp.mpf(c1), mp.mpf(0) if c2 == INF else 1 / mp.mpf(c2)
    _, last1 = pulse(s1, mp.mpf(r1) + r_s, mp.mpf(0))
    loop, a = mp.mpf(r1) + r_s + mp.mpf(esr), j * s2 / (s1 + s2)
    first2, last2 = pulse(s1 + s2, loop, a)
    pumped = supply - (last1 - i_s) * r_s - last1 * mp.mpf(r1) - n * mp.log(last1 / i_s)
    low = supply + pumped + i_s * r_s + j * mp.mpf(esr) - first2 * loop - n * mp.log(first2 / i_s)

    def passed(current):  # charge of the pulse when it has fallen to `current`
        return mp.quad(lambda z: (loop * z + n) / (z - a), [current, first2]) / (s1 + s2)

    inner = mp.quad(lambda z: passed(z) * (loop + n / z) / (z - a), [last2, first2]) / (s1 + s2) if s2 else 0
    mean = low + s2 * inner / (2 * half)  # output above its lowest: up by the charge, down by the load
    one = [np.asarray(float(value)) for value in (9, load, 1 / f, c1, c2, r1, esr, r_s, i_s, n)]
    with np.errstate(all="ignore"):
        found = settle_pulses(Circuit(*one))
    assert found.alone
    assert float(found.output) == pytest.approx(float(mean), abs=1e-10)


def test_the_stepping_method_is_of_order_four():
    """Conditions of HAIRER-WANNER, section II.2, on the method's table."""
    table = np.zeros((5, 5))
    for row, known in zip(table, _overlap.STAGES, strict=True):
        row[: len(known)] = known
    table += np.eye(5) * _overlap.GAMMA
    weights, places = np.array(_overlap.SHARES), np.array(_overlap.PLACES)
    np.testing.assert_allclose(table.sum(axis=1), places, atol=1e-15)
    np.testing.assert_array_equal(table[-1], weights)  # stiffly accurate, hence L-stable with equal diagonal
    sums = [weights.sum(), weights @ places, weights @ places**2, weights @ table @ places]
    sums += [
        weights @ places**3,
        weights * places @ table @ places,
        weights @ table @ places**2,
        weights @ table @ table @ places,
    ]
    np.testing.assert_allclose(sums, [1, 1 / 2, 1 / 3, 1 / 6, 1 / 4, 1 / 8, 1 / 12, 1 / 24], atol=1e-14)


# Limits ------------------------------------------------------------------------


def test_doubler_without_load_keeps_what_the_diodes_leak():
    """Each diode passes Is back while the other conducts, so that either carries 2 Is forward: n VT ln 2 each."""
    for diode in (devices.typical(devices.DIODE_1N5817), devices.typical(devices.DIODE_1N4148)):
        idle = call("doubler", current_load=0.0, diode=diode)
        nvt = diode.ideality * 1.380649e-23 * 300 / 1.602176634e-19
        assert idle.efficiency == 0
        assert idle.voltage_ideal - idle.voltage_output == pytest.approx(2 * nvt * np.log(2), abs=2e-3)
        assert idle.current_supply == pytest.approx(80e-6 + diode.current_saturation, rel=1e-9)


@pytest.mark.parametrize("diode", [devices.typical(devices.DIODE_1N5817), devices.typical(devices.DIODE_1N4148)])
def test_missing_flying_capacitor_leaves_the_supply_less_two_diodes(diode):
    loads = np.array([0.0, 1e-4, 5e-3, 30e-3])
    bare = call("doubler", capacitance_pump=0.0, current_load=loads, diode=diode)
    drops = 2 * junction_voltage(loads, junction=diode)
    np.testing.assert_allclose(bare.voltage_output, 9.0 - 2.0 * (loads + 80e-6) - drops, rtol=1e-12)
    np.testing.assert_allclose(bare.current_supply, loads + 80e-6, rtol=1e-12)
    assert np.all(bare.voltage_ripple == 0) and np.all(bare.resistance_slow == INF)
    tiny = call("doubler", capacitance_pump=1e-12, current_load=loads[1:], diode=diode)
    np.testing.assert_allclose(tiny.voltage_output, bare.voltage_output[1:], atol=1e-3)
    np.testing.assert_allclose(tiny.current_supply, bare.current_supply[1:], rtol=1e-3)


def test_output_falls_no_lower_than_the_supply_through_both_diodes():
    loads = np.linspace(0, 0.4, 81)
    stiff = call("doubler", current_load=loads, resistance_feed=0.0, capacitance_pump=1e-6)
    floor = 9.0 - 2 * junction_voltage(loads, junction=devices.typical(devices.DIODE_1N5817))
    assert np.all(stiff.voltage_output >= floor - 1e-6) and np.all(np.diff(stiff.voltage_output) < 0)
    assert stiff.voltage_output[-1] - floor[-1] < 0.3
    assert stiff.resistance_thevenin[-1] < 5 < stiff.resistance_thevenin[5]
    # The supply gives twice the load while it is doubled, and only once what comes straight through.
    assert stiff.current_supply[4] == pytest.approx(2 * loads[4] + 80e-6 + SCHOTTKY[0])
    assert loads[-1] < stiff.current_supply[-1] < 1.2 * loads[-1]


def test_pin_voltage_agrees_with_what_an_overloaded_doubler_draws():
    found = call("doubler", current_load=np.array([0.005, 0.05, 0.1]), resistance_feed=30.0, capacitance_pump=2e-6)
    np.testing.assert_allclose(found.voltage_pin, 9.0 - 30.0 * found.current_supply, rtol=1e-6)
    at_pin = call(
        "doubler", current_load=0.1, resistance_feed=0.0, capacitance_pump=2e-6, voltage_supply=found.voltage_pin[2]
    )
    assert at_pin.voltage_output == pytest.approx(found.voltage_output[2], abs=1e-4)


def test_dead_supply_gives_nothing():
    dead = call("doubler", voltage_supply=0.0, current_load=0.0, resistance_feed=0.0)
    assert dead.voltage_output == pytest.approx(0, abs=1e-9)
    # A load that insists on its current pulls the output below ground by the two diodes.
    pulled = call("doubler", voltage_supply=0.0, resistance_feed=0.0, current_idle=0.0)
    drops = 2 * junction_voltage(0.005, junction=devices.typical(devices.DIODE_1N5817))
    assert pulled.voltage_output == pytest.approx(-drops, abs=0.05) and pulled.efficiency == 0
    resistive = call(
        "doubler",
        current_load=0.0,
        diode=devices.typical(devices.DIODE_1N4148),
        voltage_supply=0.0,
        resistance_feed=0.0,
    )
    assert resistive.voltage_output == pytest.approx(0, abs=1e-9) and resistive.efficiency == 0


def test_overloaded_elements_are_the_same_alone_and_in_an_array():
    loads = np.array([[0.0, 0.005], [0.05, np.nan], [0.12, 0.2]])
    whole = call("doubler", current_load=loads, capacitance_pump=3e-6)
    for place in np.ndindex(loads.shape):
        single = call("doubler", current_load=float(loads[place]), capacitance_pump=3e-6)
        for field in dataclasses.fields(single):
            if field.name != "cautions":
                got = np.broadcast_to(getattr(whole, field.name), loads.shape)[place]
                assert got == pytest.approx(getattr(single, field.name), rel=1e-5, abs=1e-7, nan_ok=True), field.name


def test_doubler_into_a_small_resistor_is_overloaded_and_consistent():
    loads = np.array([5.0, 20.0, 100.0])
    found = call(
        "doubler",
        current_load=0.0,
        diode=devices.typical(devices.DIODE_1N4148),
        resistance_load=loads,
        capacitance_pump=2e-6,
        resistance_feed=0.0,
    )
    current = found.voltage_output / loads
    floor = 9.0 - 2 * junction_voltage(current, junction=devices.typical(devices.DIODE_1N4148))
    assert np.all(found.voltage_output > floor)
    assert found.voltage_output[0] == pytest.approx(floor[0], abs=0.05)


def test_many_parallel_converters_share_load_and_output():
    one = call("doubler", current_load=0.005, capacitance_output=10e-6, resistance_esr_output=0.6)
    three = call(
        "doubler",
        current_load=0.015,
        count=3,
        capacitance_output=30e-6,
        resistance_esr_output=0.2,
        resistance_feed=2 / 3,
    )
    assert three.voltage_output == pytest.approx(one.voltage_output, rel=1e-12)
    assert three.resistance_thevenin == pytest.approx(one.resistance_thevenin / 3, rel=1e-12)
    assert three.current_supply == pytest.approx(3 * one.current_supply, rel=1e-12)


def test_caution_about_too_much_load_still_comes():
    heavy = call("doubler", current_load=0.3, capacitance_pump=2e-6, diode=devices.typical(devices.DIODE_1N4148))
    told = " ".join(caution.what for caution in heavy.cautions)
    assert "too much load" in told and "more than it is made for" in told
