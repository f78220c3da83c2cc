"""Circuits of textbook examples by their own loop equations, where the book takes a shortcut.

The books' printed answers are rows of reference/published. Here the same circuits are solved as they stand, by
Kirchhoff's laws written out, so that no shortcut of a book becomes ours.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import bjt, devices, fet, stage, supply


def _constant_drop(current_gain):
    """A transistor of 0.7 V between base and emitter, whatever it carries."""
    part = devices.typical(devices.BJT_2N3904)
    return replace(part, ideality=0, voltage_forward=0.7, current_gain=current_gain)


def _jfet(current, off):
    part = devices.typical(devices.JFET_2N5457)
    return replace(part, current_drain_zero_bias=current, voltage_gate_source_off=off)


def _parallel(*resistances):
    return 1 / sum(1 / r for r in resistances)


@pytest.mark.parametrize(
    ("base_supply", "base", "emitter", "gain"),
    [  # KUPHALDT-3, ch. 4, BJT biasing calculations: the book takes β for β + 1
        (10, 910e3, 0, 300),
        (10, 870e3, 470, 100),
        (2, 82e3, 470, 100),
        (2, 82e3, 470, 300),
        (2, 39e3, 910, 300),
    ],
)
def test_base_resistor_counts_one_more_than_the_gain(base_supply, base, emitter, gain):
    point = bjt.base_bias(
        voltage_supply=10,
        voltage_base_supply=base_supply,
        resistance_base=base,
        resistance_collector=0,
        resistance_emitter=emitter,
        transistor=_constant_drop(gain),
    )
    expected = (base_supply - 0.7) / (base / (gain + 1) + emitter)
    assert point.current_emitter == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("feedback", "collector"), [(470e3, 4.7e3), (100e3, 10e3)])  # KUPHALDT-3 ch. 4; FLOYD-DEVICES
def test_collector_resistor_of_a_feedback_stage_carries_the_emitter_current(feedback, collector):
    point = bjt.collector_feedback_bias(
        voltage_supply=10,
        resistance_feedback=feedback,
        resistance_collector=collector,
        resistance_emitter=0,
        transistor=_constant_drop(100),
    )
    current = (10 - 0.7) / (collector + feedback / 101)
    assert point.current_emitter == pytest.approx(current, rel=1e-9)
    assert point.voltage_collector_emitter == pytest.approx(10 - current * collector, rel=1e-9)


def test_divider_is_loaded_by_the_base():
    """MALVINO-BATES, example 8-3, takes the divider as unloaded."""
    point = bjt.divider_bias(
        voltage_supply=10,
        resistance_top=10e3,
        resistance_bottom=2.2e3,
        resistance_collector=3.6e3,
        resistance_emitter=1e3,
        transistor=_constant_drop(200),
    )
    open_voltage = 10 * 2.2 / 12.2
    expected = (open_voltage - 0.7) / (1e3 + _parallel(10e3, 2.2e3) / 201)
    assert point.current_emitter == pytest.approx(expected, rel=1e-9)


def test_source_resistor_of_a_midpoint_bias():
    """FLOYD-DEVICES, example 7.9, takes V_off/3.4 for the gate's voltage at half the zero-bias current."""
    parts = fet.resistors_for_current(
        current_wanted=6e-3, voltage_supply=12, voltage_drain_source=6, fet=_jfet(12e-3, -3)
    )
    assert parts.resistance_source_pin == pytest.approx(3 * (1 - np.sqrt(0.5)) / 6e-3, rel=1e-9)


def test_ohmic_jfet_follows_the_parabola():
    """MALVINO-BATES, example 13-5, takes the channel as a resistor: I = I_DSS (2 x - x²), x = V_DS/4 V, on 10 kΩ."""
    point = fet.self_bias(voltage_supply=10, resistance_drain=10e3, resistance_source_pin=0, fet=_jfet(10e-3, -4))
    share = min(np.roots([100, -204, 10]).real)  # 10 mA · 10 kΩ (2 x - x²) = 10 V - 4 V x
    assert point.voltage_drain == pytest.approx(4 * share, rel=1e-9)


def test_transistor_below_pinch_off_follows_the_parabola():
    """NEAMEN, example 5.4, takes the square law below pinch-off and prints 0.67 V: I = 0.2 mA/V² (2 · 1.7 V V_DS - V_DS²)."""
    part = replace(devices.typical(devices.MOSFET_2N7000), voltage_threshold=0.8, transconductance_parameter=0.2e-3)
    point = fet.self_bias(voltage_supply=5, resistance_drain=7.5e3, resistance_source_pin=0, voltage_gate=2.5, fet=part)
    assert point.voltage_drain == pytest.approx(min(np.roots([1.5, -6.1, 5.0])), rel=1e-9)
    assert point.voltage_drain == pytest.approx(1.14, abs=0.005)


def test_input_of_a_stage_with_an_open_emitter_resistor():
    """MALVINO-BATES, example 10-6, and BOYLESTAD-NASHELSKY, example 5.3, leave rπ or the 1 of β + 1 out."""
    for r_pi, beta, emitter, collector, bias in [(4540, 199, 180, 3.6e3, _parallel(10e3, 2.2e3)),
                                                 (718.45638673, 120, 560, 2.2e3, 470e3)]:  # fmt: skip
        amp = stage.common_emitter(
            transconductance=beta / r_pi,
            resistance_base_emitter=r_pi,
            resistance_collector=collector,
            resistance_emitter=emitter,
            resistance_bias=bias,
        )
        base = r_pi + (beta + 1) * emitter
        assert amp.impedance_input == pytest.approx(_parallel(base, bias), rel=1e-9)
        assert amp.gain_signed == pytest.approx(-beta * collector / base, rel=1e-9)


def test_follower_divides_twice():
    """MALVINO-BATES, example 11-3: generator against the input, dynamic resistance against the load."""
    r_pi, beta = 1213.2352941, 149
    amp = stage.emitter_follower(
        transconductance=beta / r_pi,
        resistance_base_emitter=r_pi,
        resistance_emitter=2.2e3,
        resistance_load=6.8e3,
        resistance_bias=2350.0,
        resistance_generator=600,
    )
    lifted = (beta + 1) * _parallel(2.2e3, 6.8e3)
    source = _parallel(r_pi + lifted, 2350)
    expected = source / (600 + source) * lifted / (r_pi + lifted)
    assert amp.gain_overall == pytest.approx(expected, rel=1e-9)


def test_ripple_filter_is_a_divider_of_phasors():
    """BOYLESTAD-NASHELSKY, example 15.7, takes X_C/R for the gain and prints 3.9 V and 2.86 %."""
    ideal = {"capacitance": 10e-6, "voltage_max": 250, "loss_tangent": 0, "resistance_lead": 0}
    got = supply.supply_filter(
        voltage_supply=150,
        resistance_series=500,
        resistance_load=5e3,
        voltage_ripple=15,
        frequency=120,
        capacitor=replace(devices.typical(devices.CAPACITOR_ELECTROLYTIC), **ideal),
        power_rating=10,
    )
    shunt = _parallel(5e3, 1 / (2j * np.pi * 120 * 10e-6))
    ripple = 15 * abs(shunt / (500 + shunt))
    assert got.voltage_ripple == pytest.approx(ripple, rel=1e-9)
    assert got.ripple_ratio == pytest.approx(ripple / (150 * 5e3 / 5.5e3), rel=1e-9)
