"""Switching and jacks: limits, Kirchhoff's laws, inverse pairs, cautions, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sympy as sp
from scipy.optimize import brentq

from pedalcalc import switching
from pedalcalc.devices import LED_RED_ALINGAP, typical

INF = float("inf")
VT = 1.380649e-23 * 300 / 1.602176634e-19

LAMP = typical(LED_RED_ALINGAP)

CALLS = {
    "indicator_states": {
        "voltage_supply": 9.0,
        "resistance_led": 4.7e3,
        "led": LAMP,
        "wiring": "grounded",
        "resistance_meter": 10e6,
    },
    "current_states": {
        "current_circuit": 1.2e-3,
        "current_led": 1.5e-3,
        "power_source": "battery",
        "jack": "stereo",
        "plug": "mono",
    },
    "pulldown_thump": {
        "voltage_across": 4.5,
        "current_leakage": 50e-9,
        "resistance_pulldown": 1e6,
        "resistance_load": 500e3,
        "capacitance": 1e-6,
        "gain": 3.0,
        "resistance_meter": 10e6,
    },
    "pulldown_for_step": {"voltage_step": 0.01, "voltage_across": 4.5, "current_leakage": 50e-9, "gain": 3.0},
    "indicator_thump": {
        "current_led": 1.5e-3,
        "resistance_supply": 100.0,
        "capacitance": 100e-6,
        "fraction_coupled": 0.5,
        "gain": 3.0,
    },
}


def _indicator(**changes):
    return switching.indicator_states(**(CALLS["indicator_states"] | changes))


def test_indicator_against_a_bracketing_root_finder():
    led = LAMP
    for supply in (6.0, 9.0, 9.6):
        for series, name in ((4.7e3, "current_engaged"), (4.7e3 + 10e6, "voltage_cathode_bypassed")):
            total = series + led.resistance_series
            expected = brentq(
                lambda i, v=supply, r=total: led.ideality * VT * np.log1p(i / led.current_saturation) + i * r - v,
                0.0,
                supply / total,
                xtol=1e-20,
                rtol=1e-15,
            )
            got = getattr(_indicator(voltage_supply=supply), name)
            assert got == pytest.approx(expected if name.startswith("current") else expected * 10e6, rel=1e-9)


def test_both_wirings_are_dark_in_bypass_and_differ_at_the_meter():
    grounded, fed = _indicator(), _indicator(wiring="fed")
    assert grounded.current_engaged == fed.current_engaged > 0
    assert grounded.current_bypassed == fed.current_bypassed == 0
    assert fed.voltage_anode_bypassed == fed.voltage_cathode_bypassed == 0
    assert grounded.voltage_anode_bypassed == pytest.approx(9 / (1 + 4.7e3 / 10e6))
    assert 7 < grounded.voltage_cathode_bypassed < 8.5
    assert _indicator(resistance_meter=INF).voltage_cathode_bypassed == 9
    assert grounded.voltage_anode_engaged == pytest.approx(9 - grounded.current_engaged * 4.7e3)


def test_indicator_limits_and_cautions():
    missing = _indicator(resistance_led=INF)
    assert missing.current_engaged == missing.voltage_anode_engaged == missing.voltage_cathode_bypassed == 0
    assert _indicator(resistance_led=INF, resistance_meter=INF).voltage_cathode_bypassed == 0
    assert _indicator(voltage_supply=0.0).current_engaged == 0
    assert any("more current" in caution.what for caution in _indicator(resistance_led=10.0).cautions)
    assert not _indicator().cautions


@pytest.mark.parametrize(("step", "heard"), [(9.9e-3, False), (10.1e-3, True)])
def test_a_thump_is_told_from_ten_millivolts(step, heard):
    """10 mV at the output are heard over a quiet amplifier (common practice)."""
    still = switching.indicator_thump(
        10e-3, resistance_supply=1.0, capacitance=1e-6, fraction_coupled=1.0, gain=step / 10e-3
    )
    assert still.voltage_step == pytest.approx(step) and bool(still.cautions) == heard
    plate = switching.pulldown_thump(**(CALLS["pulldown_thump"] | {"gain": 1.0})).voltage_step
    louder = switching.pulldown_thump(**(CALLS["pulldown_thump"] | {"gain": step / plate}))
    assert louder.voltage_step == pytest.approx(step) and bool(louder.cautions) == heard


@pytest.mark.parametrize(
    ("power_source", "jack", "plug", "expected", "words"),
    [
        ("battery", "stereo", "mono", (2.7e-3, 1.2e-3, 0.0), ""),
        ("battery", "stereo", "stereo", (0.0, 0.0, 0.0), "stereo plug"),
        ("battery", "mono", "mono", (2.7e-3, 1.2e-3, 1.2e-3), "stays on"),
        ("adaptor", "stereo", "mono", (2.7e-3, 1.2e-3, 1.2e-3), ""),
        ("adaptor", "stereo", "stereo", (2.7e-3, 1.2e-3, 1.2e-3), ""),
    ],
)
def test_current_in_each_state(power_source, jack, plug, expected, words):
    states = switching.current_states(1.2e-3, current_led=1.5e-3, power_source=power_source, jack=jack, plug=plug)
    assert (states.current_engaged, states.current_bypassed, states.current_unplugged) == pytest.approx(expected)
    assert bool(states.cautions) == bool(words)
    assert all(words in caution.what for caution in states.cautions)


def _thump(**changes):
    return switching.pulldown_thump(**(CALLS["pulldown_thump"] | changes))


def test_plate_against_sympy():
    v, leak, r, plate = sp.symbols("V R_leak R V_p", positive=True)
    solved = sp.solve((v - plate) / leak - plate / r, plate)[0]
    numbers = {v: sp.Rational(9, 2), leak: 90_000_000, r: 1_000_000}
    thump = _thump()
    assert thump.voltage_plate == pytest.approx(float(solved.subs(numbers)), rel=1e-12)
    after = float(solved.subs(numbers | {r: sp.Rational(1_000_000, 3)}))
    assert thump.voltage_step == pytest.approx(3 * (thump.voltage_plate - after), rel=1e-9)
    read = float(solved.subs(numbers | {r: sp.Rational(10_000_000, 11)}))
    assert thump.voltage_read == pytest.approx(read, rel=1e-9)
    # Close to the rule leakage times pull-down.
    assert thump.voltage_plate == pytest.approx(50e-9 * 1e6, rel=0.02)


def test_steps_of_a_leaking_capacitor_by_its_nodes():
    """The dielectric leaks as a resistor of its volts over its leakage: what a jack's load moves, with and without R."""
    found = switching.pulldown_thump(**CALLS["pulldown_thump"])
    leak = 4.5 / 50e-9

    def plate(ohms):
        return 4.5 * ohms / (ohms + leak)

    both = 1 / (1 / 1e6 + 1 / 500e3)
    assert found.voltage_step == pytest.approx(3.0 * (plate(1e6) - plate(both)), rel=1e-12)
    assert found.voltage_step_open == pytest.approx(3.0 * (4.5 - plate(500e3)), rel=1e-12)


def test_thump_limits():
    none = _thump(resistance_pulldown=INF)
    assert none.voltage_plate == none.voltage_plate_open == 4.5
    assert none.voltage_step == pytest.approx(none.voltage_step_open)
    assert none.time_discharge == INF and none.time_constant == pytest.approx(1e-6 * 500e3)
    assert _thump(current_leakage=0.0).voltage_step == 0
    assert _thump(voltage_across=0.0).voltage_step_open == 0
    assert _thump(resistance_pulldown=0.0).voltage_step == 0
    assert _thump(voltage_across=-4.5).voltage_plate == -_thump().voltage_plate
    assert _thump(gain=6.0).voltage_step == pytest.approx(2 * _thump().voltage_step)
    assert _thump(gain=10.0).cautions and not _thump(current_leakage=1e-10).cautions


def test_pulldown_for_a_step_is_the_inverse():
    r = switching.pulldown_for_step(0.01, voltage_across=4.5, current_leakage=50e-9, gain=3.0)
    back = _thump(resistance_pulldown=r, resistance_load=0.0)
    assert back.voltage_step == pytest.approx(0.01, rel=1e-9)
    assert switching.pulldown_for_step(1.0, voltage_across=4.5, current_leakage=0.0, gain=1.0) == INF
    assert switching.pulldown_for_step(5.0, voltage_across=4.5, current_leakage=1e-9, gain=1.0) == INF
    assert switching.pulldown_for_step(5.0, voltage_across=4.5, current_leakage=1e-9, gain=0.0) == INF


def test_indicator_thump_scales():
    base = switching.indicator_thump(**CALLS["indicator_thump"])
    assert base.voltage_step == pytest.approx(1.5e-3 * 100 * 0.5 * 3)
    assert base.cautions
    quiet = switching.indicator_thump(**(CALLS["indicator_thump"] | {"resistance_supply": 0.0}))
    assert quiet.voltage_step == 0 and not quiet.cautions


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: _indicator(wiring="switched"), "wiring must be one of"),
        (lambda: _indicator(led="red"), "led must be"),
        (
            lambda: _indicator(led=replace(LAMP, resistance_series=0.0), resistance_led=0.0),
            "nothing limits",
        ),
        (lambda: _thump(gain=INF), "gain must be at least 0 and finite"),
        (
            lambda: switching.indicator_thump(**(CALLS["indicator_thump"] | {"gain": INF})),
            "gain must be at least 0 and finite",
        ),
        (
            lambda: switching.indicator_thump(**(CALLS["indicator_thump"] | {"fraction_coupled": 1.5})),
            "fraction_coupled",
        ),
        (
            lambda: switching.current_states(1e-3, current_led=0.0, power_source="mains", jack="mono", plug="mono"),
            "power_source must be one of",
        ),
    ],
)
def test_refusals(call, words):
    with pytest.raises((ValueError, TypeError), match=words):
        call()
