"""The detector of a side-chain against quadrature, time stepping and differential-equation solvers."""

from __future__ import annotations

import warnings

import mpmath
import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from pedalcalc import sidechain, values
from pedalcalc._result import ModelRangeWarning
from pedalcalc.sidechain._cycle import _second
from pedalcalc.sidechain.charging import charging_current_average

DETECTOR = {
    "voltage_peak": 2.0,
    "resistance_attack": 10e3,
    "resistance_release": 220e3,
    "rectifier": "full",
    "voltage_diode": 0.3,
    "resistance_load": 10e6,
    "current_leakage": 1e-7,
}
TIMED = {**DETECTOR, "frequency": 1000.0, "capacitance_hold": 1e-6}
PLAIN = {"voltage_peak": 1.0, "frequency": 1000.0, "capacitance_hold": 1e-6, "rectifier": "full"}
inf = np.inf

CALLS = {
    "detector_timing": TIMED,
    "detector_ripple": {**TIMED, "frequency": 82.4},
    "hold_droop": {
        "time": 0.1,
        "voltage_hold": 1.5,
        "capacitance_hold": 1e-6,
        "resistance_release": 220e3,
        "resistance_load": 10e6,
        "current_capacitor": 1e-8,
        "current_diode": 2e-9,
        "current_bias": 1e-9,
    },
    "choose_detector_parts": {
        "time_attack_wanted": 0.01,
        "time_release_wanted": 0.2,
        "rectifier": "full",
        "voltage_peak": 1.0,
        "stock_resistance": "E24",
        "stock_capacitance": values.stock_values("E6", value_min=100e-9, value_max=2.2e-6),
        "voltage_diode": 0.0,
        "resistance_load": 10e6,
    },
    "tone_burst": {**TIMED, "time": np.linspace(0, 0.3, 11), "time_burst": 0.1},
}


def _held(*peak, **parts):
    """Return what `detector_timing` says of the steadily held voltage; how fast it is reached does not matter."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ModelRangeWarning)
        return sidechain.detector_timing(*peak, capacitance_hold=1e-6, **parts)


# Averaged charge


@pytest.mark.parametrize("rectifier", ["full", "half"])
@pytest.mark.parametrize("hold", [0.0, 0.3, 1.0, 1.9, 2 - 1e-6, 2 - 1e-12])
def test_average_charge_against_mpmath(rectifier, hold):
    with mpmath.workdps(60):
        peak, held = mpmath.mpf(2), mpmath.mpf(hold)
        exact = (mpmath.sqrt(peak**2 - held**2) - held * mpmath.acos(held / peak)) / mpmath.pi / 47
        exact *= 2 if rectifier == "full" else 1
        got = charging_current_average(2.0, voltage_hold=hold, resistance_attack=47.0, rectifier=rectifier)
        assert abs(got / exact - 1) < 1e-14


@pytest.mark.parametrize("rectifier", ["full", "half"])
def test_average_charge_against_quadrature(rectifier):
    def flow(angle):
        offered = abs(np.sin(angle)) if rectifier == "full" else max(np.sin(angle), 0)
        return max(2.0 * offered - 0.7, 0) / 1e3

    corners = [np.arcsin(0.35), np.pi - np.arcsin(0.35), np.pi + np.arcsin(0.35), 2 * np.pi - np.arcsin(0.35)]
    mean = quad(flow, 0, 2 * np.pi, points=corners, epsabs=1e-14, limit=200)[0] / (2 * np.pi)
    found = charging_current_average(2.0, voltage_hold=0.7, resistance_attack=1e3, rectifier=rectifier)
    assert found == pytest.approx(mean, rel=1e-10)


def test_average_charge_limits():
    def law(peak, hold, attack):
        return charging_current_average(peak, voltage_hold=hold, resistance_attack=attack, rectifier="full")

    assert law(1.0, 2.0, 1e3) == 0
    assert law(1.0, 0.5, inf) == 0
    assert law(1.0, 0.5, 0.0) == inf
    assert law(1.0, 1.0, 0.0) == 0
    assert law(0.0, 0.0, 0.0) == 0
    np.testing.assert_array_equal(np.isnan(law([1.0, np.nan, 2.0], 0.5, 1e3)), [False, True, False])
    np.testing.assert_allclose(law(3e3, 1e3, 1e3), 1e3 * law(3.0, 1.0, 1e3), rtol=1e-14)


@pytest.mark.parametrize("name", [name for name, call in CALLS.items() if "rectifier" in call])
def test_rectifier_is_a_known_word(name):
    with pytest.raises(ValueError, match="rectifier must be one of full, half"):
        getattr(sidechain, name)(**CALLS[name] | {"rectifier": "bridge"})


# Equilibrium


@given(st.floats(1e-9, 1e9), st.sampled_from(["full", "half"]))
def test_equilibrium_solves_the_angle_equation(ratio, rectifier):
    """Terman's balance of the diode detector (from memory): tan θ − θ = (π/2) R_a/R_r, half wave twice that."""
    level = _held(3.0, resistance_attack=ratio * 1e3, resistance_release=1e3, rectifier=rectifier)
    with mpmath.workdps(60):
        held = mpmath.mpf(float(level.share_peak))
        angle = mpmath.acos(held)
        wanted = mpmath.mpf(ratio) * mpmath.pi / (2 if rectifier == "full" else 1)
        slope = mpmath.tan(angle) ** 2 / mpmath.sqrt(1 - held**2)  # of tan θ − θ against the held share
        missed = (mpmath.tan(angle) - angle - wanted) / slope
    assert abs(float(missed / held)) < 4e-15


def test_equilibrium_against_time_stepping():
    """Step sixteen detectors side by side until they are steady; C R_r is 40 periods of the tone."""
    ratio = np.array([0.03, 0.1, 0.3, 1.0])[:, None]
    threshold, leakage = np.array([0.0, 0.0, 0.2, 0.2]), np.array([0.0, 0.0, 0.05, 0.05])
    rectifiers = ["full", "half", "full", "half"]
    steps, periods = 360, 250
    swing = np.sin(2 * np.pi * (np.arange(steps) + 0.5) / steps)
    wave = np.stack([np.abs(swing) if word == "full" else np.maximum(swing, 0) for word in rectifiers], 1) - threshold
    held, mean = np.full((4, 4), 0.5), None
    for _ in range(periods):
        mean = np.zeros_like(held)
        for offered in wave:
            held = held + (np.maximum(offered - held, 0) / ratio - held - leakage) / (steps * 40)
            mean += held / steps
    for column, word in enumerate(rectifiers):
        level = _held(
            1.0,
            resistance_attack=ratio[:, 0],
            resistance_release=1.0,
            rectifier=word,
            voltage_diode=threshold[column],
            current_leakage=leakage[column],
        )
        np.testing.assert_allclose(level.voltage_hold, mean[:, column], rtol=2e-3)


def test_equilibrium_balances_charge():
    level = _held(**DETECTOR)
    charge = charging_current_average(
        2.0, voltage_hold=level.voltage_hold + 0.3, resistance_attack=10e3, rectifier="full"
    )
    drain = level.voltage_hold * (1 / 220e3 + 1 / 10e6) + 1e-7
    assert charge == pytest.approx(drain, rel=1e-12)
    assert level.current_release == pytest.approx(drain, rel=1e-12)
    assert np.cos(np.radians(level.conduction_degrees)) == pytest.approx((level.voltage_hold + 0.3) / 2)
    assert level.loss_db == pytest.approx(20 * np.log10(level.voltage_hold / 2))
    assert level.conducts


def test_equilibrium_limits():
    def hold(attack, release, peak=1.0, **more):
        return _held(peak, resistance_attack=attack, resistance_release=release, rectifier="full", **more)

    assert hold(0.0, 1e5).voltage_hold == 1
    assert hold(1e3, inf).voltage_hold == 1
    assert hold(1e3, inf, voltage_diode=0.25).voltage_hold == 0.75
    assert hold(inf, 1e5).voltage_hold == 0 and not hold(inf, 1e5).conducts
    shorted = hold(1e3, 0.0)
    assert (shorted.voltage_hold, shorted.conducts, shorted.conduction_degrees) == (0, True, 90)
    assert shorted.current_release == pytest.approx(2 / np.pi / 1e3)
    below = hold(1e3, 1e5, voltage_diode=1.5)
    assert (below.voltage_hold, below.conducts, below.current_release) == (0, False, 0)
    assert hold(1e3, 1e5, peak=0.0).loss_db == -inf
    drained = hold(1e3, 1e5, current_leakage=1.0)
    assert drained.voltage_hold == 0 and drained.conducts
    # Almost shorted: the average of |sin| through R_a into R_r.
    assert hold(1e9, 1.0).voltage_hold == pytest.approx(2 / np.pi * 1e-9, rel=1e-8)
    with pytest.raises(ValueError, match="must not both be 0"):
        hold(0.0, 0.0)
    with pytest.raises(ValueError, match="must not both be open"):
        hold(inf, inf)


def test_a_meter_lowers_the_held_voltage_like_any_load():
    loaded = _held(1.0, resistance_attack=47e3, resistance_release=10e6, resistance_load=10e6, rectifier="half")
    single = _held(1.0, resistance_attack=47e3, resistance_release=5e6, rectifier="half")
    assert loaded.voltage_hold == pytest.approx(single.voltage_hold, rel=1e-13)


# Attack and release


def test_the_peak_is_asked_for_where_it_matters():
    parts = {"resistance_attack": 4.7e3, "resistance_release": 220e3, "capacitance_hold": 1e-6, "rectifier": "full"}
    usual = sidechain.detector_timing(**parts)
    loud = sidechain.detector_timing(4.0, frequency=1000.0, **parts)
    assert usual.time_attack_63 == pytest.approx(loud.time_attack_63, rel=1e-12)
    assert usual.time_release_63 == pytest.approx(loud.time_release_63, rel=1e-12)
    with pytest.raises(ValueError, match="voltage_peak must be stated behind a plain diode"):
        sidechain.detector_timing(**parts, voltage_diode=0.3)
    with pytest.raises(ValueError, match="voltage_peak must be stated where leakage flows"):
        sidechain.detector_timing(**parts, current_leakage=1e-6)
    wanted = {"time_attack_wanted": 0.01, "time_release_wanted": 0.2, "rectifier": "full"}
    stock = {"stock_resistance": "E12", "stock_capacitance": "E3"}
    with pytest.raises(ValueError, match="voltage_peak must be stated behind a plain diode"):
        sidechain.choose_detector_parts(**wanted, **stock, voltage_diode=0.3)


@pytest.mark.parametrize("rectifier", ["full", "half"])
@pytest.mark.parametrize(("attack", "drop", "leakage"), [(10e3, 0.0, 0.0), (47e3, 0.5, 1e-6), (200e3, 0.0, 1e-7)])
def test_timing_against_the_averaged_differential_equation(rectifier, attack, drop, leakage):
    timing = sidechain.detector_timing(
        2.0,
        frequency=1000,
        resistance_attack=attack,
        resistance_release=330e3,
        capacitance_hold=1e-6,
        rectifier=rectifier,
        voltage_diode=drop,
        current_leakage=leakage,
    )

    def slope(_, held):
        charge = charging_current_average(
            2.0, voltage_hold=held[0] + drop, resistance_attack=attack, rectifier=rectifier
        )
        return [(charge - held[0] / 330e3 - leakage) / 1e-6]

    events = [lambda _, y, part=part: y[0] - part * timing.voltage_hold for part in (1 - np.exp(-1), 0.1, 0.9)]
    events[2].terminal = True
    up = solve_ivp(slope, (0, 10), [0.0], rtol=1e-11, atol=1e-13, events=events)
    reached = [float(times[0]) for times in up.t_events]
    assert timing.time_attack_63 == pytest.approx(reached[0], rel=1e-8)
    assert timing.time_attack_10_90 == pytest.approx(reached[2] - reached[1], rel=1e-8)

    events = [lambda _, y, part=part: y[0] - part * timing.voltage_hold for part in (np.exp(-1), 0.9, 0.1)]
    events[2].terminal = True
    down = solve_ivp(
        lambda _, y: [-(y[0] / 330e3 + leakage) / 1e-6],
        (0, 10),
        [timing.voltage_hold],
        rtol=1e-11,
        atol=1e-13,
        events=events,
    )
    reached = [float(times[0]) for times in down.t_events]
    assert timing.time_release_63 == pytest.approx(reached[0], rel=1e-8)
    assert timing.time_release_10_90 == pytest.approx(reached[2] - reached[1], rel=1e-8)


def test_release_without_leakage_is_the_time_constant():
    timing = sidechain.detector_timing(**PLAIN, resistance_attack=10e3, resistance_release=470e3)
    assert timing.time_release_63 == pytest.approx(0.47, rel=1e-14)
    assert timing.time_release_10_90 == pytest.approx(0.47 * np.log(9), rel=1e-14)
    # The first instants rise at the average rectified current; so R_a C alone is too quick by far.
    assert timing.time_attack_63 > 10e-3


def test_timing_scales_with_the_capacitor_and_not_with_the_level():
    def timing(scale, peak):
        call = {**PLAIN, "voltage_peak": peak, "capacitance_hold": scale * 1e-6}
        return sidechain.detector_timing(**call, resistance_attack=10e3, resistance_release=470e3)

    assert timing(3, 1).time_attack_63 == pytest.approx(3 * timing(1, 1).time_attack_63)
    assert timing(1, 50).time_attack_10_90 == pytest.approx(timing(1, 1).time_attack_10_90)
    assert timing(1, 50).voltage_hold == pytest.approx(50 * timing(1, 1).voltage_hold)


def test_timing_limits():
    def timing(attack, release, **more):
        return sidechain.detector_timing(**PLAIN | more, resistance_attack=attack, resistance_release=release)

    assert timing(10e3, inf).time_release_63 == inf
    leaking = timing(10e3, inf, current_leakage=1e-8)
    assert leaking.time_release_63 == pytest.approx(1e-6 * leaking.voltage_hold * (1 - np.exp(-1)) / 1e-8)
    for silent in (timing(10e3, 1e6, voltage_diode=2.0), timing(10e3, 0.0), timing(inf, 1e6)):
        assert (silent.voltage_hold, silent.time_attack_63, silent.time_release_63) == (0, 0, 0)
    with pytest.warns(ModelRangeWarning, match="R_a C f is 0, below 4"):
        assert timing(0.0, 1e6).time_attack_63 == 0


def test_few_cycles_are_warned_of():
    with pytest.warns(ModelRangeWarning, match=r"R_a C f is 3\.9"):
        sidechain.detector_timing(**PLAIN, resistance_attack=3.9e3, resistance_release=1e6)


# Ripple


@pytest.mark.parametrize("rectifier", ["full", "half"])
@pytest.mark.parametrize(
    ("attack", "release", "drop", "leakage"),
    [(1e3, 50e3, 0.0, 0.0), (10e3, 20e3, 0.0, 0.0), (200.0, 100e3, 0.3, 2e-6), (30.0, 1e6, 0.0, 0.0)],
)
def test_ripple_against_a_differential_equation_solver(rectifier, attack, release, drop, leakage):
    """Follow one period from the trough's conduction start with solve_ivp at tight tolerance."""
    ripple = sidechain.detector_ripple(
        1.0,
        frequency=82.4,
        resistance_attack=attack,
        resistance_release=release,
        capacitance_hold=1e-6,
        rectifier=rectifier,
        voltage_diode=drop,
        current_leakage=leakage,
    )
    turn = 2 * np.pi * 82.4
    span = np.pi if rectifier == "full" else 2 * np.pi
    start = np.radians(ripple.conduction_start_degrees)
    held = np.sin(start) - drop

    def slope(angle, state):
        offered = abs(np.sin(angle)) if rectifier == "full" else max(np.sin(angle), 0)
        flow = max(offered - drop - state[0], 0) / attack
        return [(flow - state[0] / release - leakage) / (1e-6 * turn), state[0]]

    solved = solve_ivp(
        slope, (start, start + span), [held, 0.0], method="LSODA", rtol=1e-10, atol=1e-12, max_step=span / 2000
    )
    voltage = solved.y[0]
    assert voltage[-1] == pytest.approx(held, abs=1e-7)
    assert voltage.max() == pytest.approx(ripple.voltage_crest, abs=2e-6)
    assert voltage.min() == pytest.approx(ripple.voltage_trough, abs=2e-6)
    assert solved.y[1, -1] / span == pytest.approx(ripple.voltage_average, abs=1e-6)


@pytest.mark.parametrize(
    ("attack", "release", "farads", "drop", "leakage", "rectifier"),
    [
        (10e3, 220e3, 1e-6, 0.0, 0.0, "full"),
        (470e3, 10e6, 22e-6, 0.3, 1e-8, "half"),
        (100.0, 1e3, 10e-9, 0.1, 0.0, "full"),
        (0.0, 47e3, 100e-9, 0.2, 2e-6, "half"),
    ],
)
def test_ripple_against_mpmath(attack, release, farads, drop, leakage, rectifier):
    """Solve the periodic state in 40 digits, from the circuit's equation while conducting and while blocking."""
    call = {"resistance_attack": attack, "resistance_release": release, "capacitance_hold": farads}
    ripple = sidechain.detector_ripple(
        1.0, frequency=440.0, rectifier=rectifier, voltage_diode=drop, current_leakage=leakage, **call
    )
    with mpmath.workdps(40):
        turn, g = 2 * mpmath.pi * 440, 1 / mpmath.mpf(release)
        span = mpmath.pi if rectifier == "full" else 2 * mpmath.pi
        a, c, d, i = (mpmath.mpf(x) for x in (attack, farads, drop, leakage))
        node = g + 1j * turn * c
        through = node / (1 + a * node)  # admittance of R_a in series with C and R

        def push(x):
            return mpmath.im(through * mpmath.expj(x)) + (i - d * g) / (1 + a * g)

        def flow(start, x):
            fading = mpmath.exp(-(x - start) * (1 + a * g) / (turn * a * c)) if attack else 0
            return push(x) - push(start) * fading

        def lost(start, end):
            time = (span - (end - start)) / turn
            left = (mpmath.sin(end) - d + i / g) * mpmath.exp(-time * g / c) - i / g
            return left - (mpmath.sin(start) - d)

        guess = [mpmath.radians(float(x)) for x in (ripple.conduction_start_degrees, ripple.conduction_end_degrees)]
        start, end = mpmath.findroot(lambda s, e: (flow(s, e), lost(s, e)), guess)
        charge = mpmath.quad(lambda x: flow(start, x), [start, end]) if attack else None
        assert abs(float(start) - np.radians(ripple.conduction_start_degrees)) < 1e-9
        assert abs(float(end) - np.radians(ripple.conduction_end_degrees)) < 1e-9
        if attack:  # what comes in over a period goes out through the release and the leakage
            average = (charge / span - i) / g
            assert abs(float(average / ripple.voltage_average) - 1) < 1e-9


def test_ripple_of_an_ideal_rectifier():
    """Without R_a the capacitor follows the crest and then discharges: two exponentials and a sine."""
    ripple = sidechain.detector_ripple(
        1.0,
        frequency=82.4,
        resistance_attack=0.0,
        resistance_release=50e3,
        capacitance_hold=1e-6,
        rectifier="half",
    )
    turn_time = 2 * np.pi * 82.4 * 50e-3
    leaves = np.pi - np.arctan(turn_time)
    meets = np.radians(ripple.conduction_start_degrees)
    assert np.radians(ripple.conduction_end_degrees) == pytest.approx(leaves, rel=1e-12)
    left = np.sin(leaves) * np.exp(-(2 * np.pi + meets - leaves) / turn_time)
    assert np.sin(meets) == pytest.approx(left, rel=1e-12)
    assert ripple.voltage_crest == pytest.approx(1, rel=1e-14)
    assert ripple.voltage_trough == pytest.approx(left, rel=1e-12)


def test_average_of_the_ripple_tends_to_the_averaged_law():
    call = {**TIMED, "capacitance_hold": 1e-3}
    ripple = sidechain.detector_ripple(**call)
    level = _held(**DETECTOR)
    assert ripple.voltage_average == pytest.approx(level.voltage_hold, rel=1e-7)
    assert ripple.voltage_ripple < ripple.voltage_ripple_linear
    assert ripple.ripple_share == pytest.approx(ripple.voltage_ripple / ripple.voltage_average)


@pytest.mark.parametrize(("rectifier", "rests"), [("full", 0.5), ("half", 1.0)])
def test_the_straight_line_rule_counts_all_that_is_drawn(rectifier, rests):
    """dV = I dt/C with all that flows off, release, load and leakage, over the time between two crests."""
    ripple = sidechain.detector_ripple(
        2.0, frequency=200.0, resistance_attack=10.0, resistance_release=470e3, resistance_load=10e6,
        capacitance_hold=10e-6, current_leakage=2e-6, voltage_diode=0.3, rectifier=rectifier,
    )  # fmt: skip
    drawn = ripple.voltage_average * (1 / 470e3 + 1 / 10e6) + 2e-6
    assert ripple.voltage_ripple_linear == pytest.approx(drawn * rests / 200.0 / 10e-6, rel=1e-12)
    assert ripple.voltage_ripple == pytest.approx(ripple.voltage_ripple_linear, rel=0.05)


def test_ripple_limits():
    def ripple(attack=1e3, release=50e3, **more):
        return sidechain.detector_ripple(**PLAIN | more, resistance_attack=attack, resistance_release=release)

    still = ripple(release=inf)
    assert (still.voltage_average, still.voltage_ripple, still.voltage_trough) == (1, 0, 1)
    for silent in (ripple(release=0.0), ripple(attack=inf), ripple(voltage_diode=1.0)):
        assert (silent.voltage_average, silent.voltage_ripple, silent.conduction_end_degrees) == (0, 0, 0)
    bare = ripple(attack=1e-3, release=100.0, capacitance_hold=1e-12)
    assert bare.voltage_average == pytest.approx(2 / np.pi, rel=1e-4)
    for leakage in (1e-3, 1e-4):
        with pytest.raises(ValueError, match="current_leakage must be small enough to leave some voltage"):
            ripple(release=1e5, capacitance_hold=1e-8, current_leakage=leakage)


@settings(max_examples=20)
@given(
    st.floats(10, 1e5),
    st.floats(1e3, 1e7),
    st.floats(1e-8, 1e-5),
    st.floats(20, 5e3),
    st.sampled_from(["full", "half"]),
)
def test_ripple_keeps_its_order(attack, release, capacitance, frequency, rectifier):
    ripple = sidechain.detector_ripple(
        1.0,
        frequency=frequency,
        resistance_attack=attack,
        resistance_release=release,
        capacitance_hold=capacitance,
        rectifier=rectifier,
    )
    assert 0 <= ripple.voltage_trough <= ripple.voltage_average <= ripple.voltage_crest <= 1
    assert 0 <= ripple.conduction_start_degrees <= 90 <= ripple.conduction_end_degrees <= 180


# Tone burst


@pytest.mark.parametrize("rectifier", ["full", "half"])
def test_burst_against_fine_steps(rectifier):
    time = np.linspace(0, 0.12, 241)
    call = {**TIMED, "frequency": 220.0, "rectifier": rectifier, "resistance_attack": 4.7e3}
    burst = sidechain.tone_burst(time, **call, time_burst=0.05)
    step, held, track = 1e-6, 0.0, [0.0]
    for count in range(120_000):
        now = (count + 0.5) * step
        swing = np.sin(2 * np.pi * 220 * now) if now < 0.05 else 0.0
        offered = 2 * (abs(swing) if rectifier == "full" else max(swing, 0)) - 0.3
        flow = max(offered - held, 0) / 4.7e3
        held = max(held + step / 1e-6 * (flow - held / 220e3 - held / 10e6 - 1e-7), 0)
        track.append(held)
    np.testing.assert_allclose(burst.voltage_hold, track[::500], atol=3e-4)
    assert burst.voltage_rectified.max() <= 2


BURSTS = [
    # attack, release, hold capacitor, tone, half-waves, diode drop, leakage
    (4.7e3, 220e3, 1e-6, 220.0, 40, 0.0, 0.0),
    (100.0, 1e6, 220e-9, 82.4, 30, 0.3, 2e-7),
    (47e3, 47e3, 100e-9, 1000.0, 60, 0.2, 0.0),
    (10e3, np.inf, 470e-9, 440.0, 50, 0.0, 0.0),
    (1e3, 10e3, 1e-6, 60.0, 12, 0.5, 1e-7),
]


@pytest.mark.parametrize("rectifier", ["full", "half"])
@pytest.mark.parametrize(("attack", "release", "farads", "tone", "count", "drop", "leakage"), BURSTS)
def test_burst_against_a_differential_equation_solver(rectifier, attack, release, farads, tone, count, drop, leakage):
    """Integrate the circuit itself through the burst and the silence after it."""
    length = (count + 0.37) / (2 * tone)
    time = np.linspace(0, 1.5 * length, 302)
    burst = sidechain.tone_burst(
        time,
        time_burst=length,
        voltage_peak=1.0,
        frequency=tone,
        resistance_attack=attack,
        resistance_release=release,
        capacitance_hold=farads,
        rectifier=rectifier,
        voltage_diode=drop,
        current_leakage=leakage,
    )

    def slope(now, held, sounds):
        swing = sounds * np.sin(2 * np.pi * tone * now)
        offered = (abs(swing) if rectifier == "full" else max(swing, 0.0)) - drop
        leaks = leakage * min(max(held[0], 0.0) / 1e-7, 1.0)  # an empty capacitor leaks nothing
        return [(max(offered - held[0], 0) / attack - held[0] / release - leaks) / farads]

    def solved(begin, end, held, sounds, times):
        exact = {"method": "LSODA", "rtol": 1e-10, "atol": 1e-12, "max_step": 1 / (100 * tone)}
        return solve_ivp(slope, (begin, end), [held], t_eval=times, args=(sounds,), **exact).y[0]

    before = time <= length
    during = solved(0.0, length, 0.0, 1.0, np.append(time[before], length))
    after = solved(length, time[-1], during[-1], 0.0, time[~before])
    np.testing.assert_allclose(burst.voltage_hold, np.append(during[:-1], after), atol=2e-7)
    reached = during >= (1 - np.exp(-1)) * burst.voltage_average
    first = int(np.argmax(reached))
    assert reached[first] and time[first - 1] < burst.time_attack_63 <= time[first]


@pytest.mark.parametrize("rectifier", ["full", "half"])
@pytest.mark.parametrize(("attack", "release", "drop"), [(220e3, 1e6, 0.0), (1e6, 470e3, 0.2), (330e3, np.inf, 0.0)])
def test_a_burst_of_thousands_of_waves_against_fine_steps(rectifier, attack, release, drop):
    """Step the circuit through 4000 half-waves with two sizes of step, and let the step go to zero."""
    tone, farads, count = 5000.0, 1e-6, 4000 if rectifier == "full" else 2000
    span = 0.5 if rectifier == "full" else 1.0
    length = count * span / tone
    burst = sidechain.tone_burst(
        np.linspace(0, length, 9)[1:],
        time_burst=length,
        voltage_peak=1.0,
        frequency=tone,
        resistance_attack=attack,
        resistance_release=release,
        capacitance_hold=farads,
        rectifier=rectifier,
        voltage_diode=drop,
    )

    def stepped(parts):
        """Midpoint steps; `parts` of them to a half-wave."""
        step = 0.5 / tone / parts
        offered = np.sin(np.pi * (np.arange(parts) + 0.5) / parts) - drop
        wave = offered if rectifier == "full" else np.concatenate((offered, np.full(parts, -1.0)))
        held, track, up, down = 0.0, [], step / (attack * farads), step / (release * farads)
        wave = wave.tolist()
        for half_wave in range(count):
            for u in wave:
                charge = u - held
                held += (charge * up * (1 - 0.5 * up) if charge > 0 else 0.0) - held * down * (1 - 0.5 * down)
            if (half_wave + 1) % (count // 8) == 0:
                track.append(held)
        return np.array(track)

    coarse, fine = stepped(40), stepped(80)
    np.testing.assert_allclose(burst.voltage_hold, fine + (fine - coarse) / 3, atol=2e-5)


def test_half_waves_one_by_one_and_by_their_smooth_course(monkeypatch):
    """The course of a long burst is that of a walk through all its half-waves."""
    time = np.linspace(0, 4.0, 500)
    for rectifier, release in (("full", 1e6), ("half", 47e3), ("full", np.inf)):
        call = {**PLAIN, "rectifier": rectifier, "resistance_attack": 220e3, "resistance_release": release}
        swift = sidechain.tone_burst(time, **call, time_burst=4.0)
        monkeypatch.setattr("pedalcalc.sidechain.burst.MOST_WALKED", 10**9)
        walked = sidechain.tone_burst(time, **call, time_burst=4.0)
        monkeypatch.undo()
        np.testing.assert_allclose(swift.voltage_hold, walked.voltage_hold, atol=1e-10)
        assert swift.time_attack_63 == pytest.approx(walked.time_attack_63, rel=1e-10)


@pytest.mark.parametrize(
    ("attack", "release", "farads"), [(1e6, 10e6, 100e-6), (100e3, 1e6, 10e-6), (1e6, 100e3, 1e-6)]
)
def test_no_time_constant_is_too_long_for_a_burst(attack, release, farads):
    """Billions of half-waves at 20 kHz end in the exact ripple, and rise as the averaged law says."""
    call = {"frequency": 20e3, "resistance_attack": attack, "resistance_release": release, "capacitance_hold": farads}
    length = 100 * (attack + release) * farads
    # A clock of 1e5 seconds ticks in steps of 1.5e-11, which is a 3e-7th of a wave.
    last = length - np.linspace(0, 1 / 20e3, 400)
    burst = sidechain.tone_burst(last, **call, time_burst=length, voltage_peak=1.0, rectifier="half")
    ripple = sidechain.detector_ripple(1.0, **call, rectifier="half")
    timing = sidechain.detector_timing(1.0, **call, rectifier="half")
    assert burst.voltage_hold.max() == pytest.approx(ripple.voltage_crest, abs=1e-8)
    assert burst.voltage_hold.min() == pytest.approx(ripple.voltage_trough, abs=1e-8)
    assert burst.time_attack_63 == pytest.approx(timing.time_attack_63, rel=1e-4, abs=1 / 20e3)


def test_a_burst_that_moves_by_rounding_only_is_refused():
    with pytest.raises(RuntimeError, match="moves too little"):
        sidechain.tone_burst(
            [1.0], **PLAIN | {"capacitance_hold": 10.0}, resistance_attack=1e12, resistance_release=1e12, time_burst=9.0
        )


def test_burst_attack_agrees_with_the_averaged_law_on_many_cycles():
    call = {**TIMED, "resistance_attack": 100e3}
    burst = sidechain.tone_burst(np.linspace(0, 3, 7), **call, time_burst=2.0)
    timing = sidechain.detector_timing(**call)
    assert burst.time_attack_63 == pytest.approx(timing.time_attack_63, rel=2e-3)
    assert burst.time_release_63 == pytest.approx(timing.time_release_63, rel=1e-5)
    assert burst.voltage_average == pytest.approx(timing.voltage_hold, rel=1e-4)


def test_burst_settles_into_the_exact_ripple():
    call = {**TIMED, "frequency": 82.4}
    last = 1.0 + np.linspace(0, 1 / 82.4, 2001)
    burst = sidechain.tone_burst(last, **call, time_burst=2.0)
    ripple = sidechain.detector_ripple(**call)
    assert burst.voltage_hold.max() == pytest.approx(ripple.voltage_crest, rel=1e-6)
    assert burst.voltage_hold.min() == pytest.approx(ripple.voltage_trough, rel=1e-6)


def test_burst_limits():
    def burst(time, **more):
        call = {**PLAIN, "resistance_attack": 10e3, "resistance_release": 1e6, "time_burst": 0.005} | more
        return sidechain.tone_burst(time, **call)

    assert burst([0.0, 0.001]).time_attack_63 == inf
    silent = burst([0.0, 0.001, 0.01], voltage_diode=1.5)
    assert not silent.voltage_hold.any() and silent.time_release_63 == 0
    kept = burst([0.004, 0.005, 1.0], resistance_release=inf)
    assert kept.voltage_hold[1] == pytest.approx(kept.voltage_hold[2]) and kept.time_release_63 == inf
    full = burst([0.005, 1.0], resistance_attack=0.0, resistance_release=inf)
    np.testing.assert_allclose(full.voltage_hold, 1.0)
    np.testing.assert_array_equal(np.isnan(burst([0.001, np.nan]).voltage_hold), [False, True])
    drained = burst([0.001, 0.1], resistance_release=inf, current_leakage=1e-5)
    assert drained.voltage_hold[1] == 0
    with pytest.raises(ValueError, match="voltage_peak must be one known number"):
        burst([0.0], voltage_peak=[1.0, 2.0])


# Droop


def test_droop_against_the_differential_equation():
    t = sympy.symbols("t", positive=True)
    v = sympy.Function("v")
    r, c, leak = 220e3 * 10e6 / (220e3 + 10e6), 1e-6, 1.3e-8
    solved = sympy.dsolve(sympy.Eq(c * v(t).diff(t), -v(t) / r - leak), v(t), ics={v(0): 1.5}).rhs
    droop = sidechain.hold_droop(**CALLS["hold_droop"])
    assert droop.voltage == pytest.approx(float(solved.subs(t, 0.1)), rel=1e-10)
    assert droop.voltage_lost == pytest.approx(1.5 - droop.voltage)
    assert droop.current_away == pytest.approx(1.3e-8)
    assert droop.leakage_ratio == pytest.approx(1.3e-8 * r / 1.5)
    assert droop.cautions == ()


def test_droop_limits_and_cautions():
    def droop(time=1.0, release=1e6, **more):
        return sidechain.hold_droop(time, voltage_hold=2.0, capacitance_hold=1e-6, resistance_release=release, **more)

    assert droop(release=inf).voltage == 2 and droop(release=inf).cautions == ()
    assert droop(release=inf, current_diode=1e-6).voltage == pytest.approx(1)
    assert droop(release=inf, current_diode=1e-6).leakage_ratio == inf
    assert droop(release=inf, current_diode=1e-6).cautions[0].limit == 0.1
    assert droop(release=inf, current_bias=-1e-6).voltage == pytest.approx(3)
    assert droop(current_bias=-1e-6).voltage == pytest.approx(2 / np.e + 1 - 1 / np.e)
    assert droop(10.0, current_capacitor=3e-6).voltage == 0
    assert droop(release=0.0).voltage == 0 and droop(0.0, release=0.0).voltage == 2
    assert droop(current_capacitor=0.19e-6).cautions == ()
    caution = droop(current_capacitor=0.15e-6, current_diode=0.06e-6).cautions[0]
    assert caution.value == pytest.approx(0.105) and "film capacitor" in caution.action
    assert droop(current_bias=-0.3e-6).cautions[0].value == pytest.approx(0.15)


# Stock parts


def test_choice_gives_what_the_timing_says():
    call = CALLS["choose_detector_parts"]
    found = sidechain.choose_detector_parts(**call)
    timing = sidechain.detector_timing(
        1.0,
        frequency=1e6,
        resistance_attack=found.resistance_attack,
        resistance_release=found.resistance_release,
        capacitance_hold=found.capacitance_hold,
        rectifier="full",
        resistance_load=10e6,
    )
    np.testing.assert_allclose(found.time_attack_63, timing.time_attack_63, rtol=1e-12)
    np.testing.assert_allclose(found.time_release_63, timing.time_release_63, rtol=1e-12)
    np.testing.assert_allclose(found.error_attack, found.time_attack_63 / 0.01 - 1, atol=1e-12)
    np.testing.assert_allclose(found.error_release, found.time_release_63 / 0.2 - 1, atol=1e-12)
    np.testing.assert_allclose(found.loss_db, 20 * np.log10(timing.voltage_hold), rtol=1e-10)
    assert max(abs(found.error_attack[0]), abs(found.error_release[0])) < 0.05
    total = abs(np.log1p(found.error_attack)) + abs(np.log1p(found.error_release))
    assert (np.diff(total) >= 0).all()
    # What no resistor in stock comes near to is not listed: E24 steps by at most 27/24 (IEC 60063).
    quick = sidechain.choose_detector_parts(**(call | {"time_attack_wanted": 1e-3}))
    assert quick.capacitance_hold.size < found.capacitance_hold.size
    for error in (found.error_attack, found.error_release, quick.error_attack, quick.error_release):
        assert np.all(np.abs(np.log1p(error)) <= np.log(27 / 24) * (1 + 1e-9))
    # No other stock attack resistor comes nearer with the chosen capacitor and release.
    for other in (0.91, 1.1):
        moved = sidechain.detector_timing(
            1.0,
            frequency=1e6,
            resistance_attack=found.resistance_attack[0] * other,
            resistance_release=found.resistance_release[0],
            capacitance_hold=found.capacitance_hold[0],
            rectifier="full",
            resistance_load=10e6,
        )
        assert abs(np.log(moved.time_attack_63 / 0.01)) >= abs(np.log(found.time_attack_63[0] / 0.01))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"time_attack_wanted": 100.0}, "must be within reach of the parts"),
        ({"voltage_diode": 1.2}, "voltage_peak must be above voltage_diode"),
        ({"time_release_wanted": float("nan")}, "time_release_wanted must be one known number"),
        ({"stock_resistance": "E7"}, "stock_resistance must be one of"),
    ],
)
def test_choice_refusals(change, message):
    with pytest.raises(ValueError, match=message):
        sidechain.choose_detector_parts(**CALLS["choose_detector_parts"] | change)


@pytest.mark.parametrize("x", [1e-9, 1e-4, 3e-3, 0.0099999, 0.0100001, 0.3, 5.0])
def test_area_of_a_decay_against_mpmath(x):
    """(x - 1 + e^-x)/x^2, by its series where the difference would lose its digits."""
    with mpmath.workdps(40):
        exact = float((mpmath.mpf(x) - 1 + mpmath.exp(-mpmath.mpf(x))) / mpmath.mpf(x) ** 2)
    assert _second(np.array(x)) == pytest.approx(exact, rel=2e-12)


def test_a_burst_of_days_holds_what_one_of_minutes_does():
    """Where the held voltage has settled, a longer burst changes nothing (it came out as never reaching 63 %)."""
    short, long = (sidechain.tone_burst(**(CALLS["tone_burst"] | {"time_burst": span})) for span in (1e3, 1e6))
    assert long.time_attack_63 == short.time_attack_63 == pytest.approx(0.0167, rel=0.01)
    assert long.voltage_average == short.voltage_average
