"""Stages with several inputs, Miller's theorem, and the FET figures that invert one another."""

from __future__ import annotations

import numpy as np
import pytest
import sympy as sp

from pedalcalc import bias

INF = float("inf")


def test_miller_capacitance_takes_the_same_current():
    # The admittance s C between a node at v and one at A v, against one to ground from each.
    s, c, a, v = sp.symbols("s C A v")
    into_input, into_output = s * c * (v - a * v) / (s * v), s * c * (a * v - v) / (s * a * v)
    numbers = {c: 4e-12, a: -90}
    found = bias.miller_capacitance(4e-12, gain_signed=-90.0)
    assert found.capacitance_miller_input == pytest.approx(float(into_input.subs(numbers)))
    assert found.capacitance_miller_output == pytest.approx(float(into_output.subs(numbers)))
    follower = bias.miller_capacitance(4e-12, gain_signed=1.0)
    assert follower.capacitance_miller_input == 0.0 == follower.capacitance_miller_output
    with pytest.raises(ValueError, match="gain_signed"):
        bias.miller_capacitance(4e-12, gain_signed=0.0)


def test_follower_with_output_resistance_against_sympy():
    # Base, emitter and collector (at ground for signals): rπ, beta i_b, ro and RE || RL.
    beta, r_pi, r_o, r_e, r_l, r_b, r_s = 150, 151 * 26.0, 75e3, 4.7e3, 10e3, 50e3, 600.0
    v_e, v_b = sp.symbols("v_e v_b")
    emitter = (v_b - v_e) / r_pi * (beta + 1) - v_e * (1 / r_o + 1 / r_e + 1 / r_l)
    gain = sp.solve(emitter.subs(v_b, 1), v_e)[0]
    stage = bias.emitter_follower(
        resistance_emitter_dynamic=26.0,
        current_gain=beta,
        resistance_emitter=r_e,
        resistance_load=r_l,
        resistance_bias=r_b,
        resistance_source=r_s,
        resistance_transistor=r_o,
    )
    assert stage.gain_signed == pytest.approx(float(gain), rel=1e-12)
    assert stage.impedance_device == pytest.approx(float(r_pi / (1 - gain)), rel=1e-9)
    v_out = sp.symbols("v_out")
    drive = 1 / (1 / r_b + 1 / r_s)
    back = sp.solve(v_out * (1 / r_o + 1 / r_e) + v_out / (r_pi + drive) * (beta + 1) - 1, v_out)[0]
    assert stage.impedance_output == pytest.approx(float(back), rel=1e-12)


def test_drain_feedback_stage_is_the_one_whose_gate_takes_nothing():
    parts = {"resistance_feedback": 10e6, "resistance_collector": 2e3, "resistance_transistor": 50e3}
    stage = bias.collector_feedback_stage(transconductance=1.63e-3, resistance_base_emitter=INF, **parts)
    nearly = bias.collector_feedback_stage(transconductance=1.63e-3, resistance_base_emitter=1e15, **parts)
    assert stage.gain_signed == pytest.approx(nearly.gain_signed)
    assert stage.impedance_input == pytest.approx(nearly.impedance_input)
    load = 1 / (1 / 2e3 + 1 / 50e3)
    # Zin = (RF + rd || RD)/(1 + gm (rd || RD)), Kirchhoff's current law at gate and drain.
    assert stage.impedance_input == pytest.approx((10e6 + load) / (1 + 1.63e-3 * load))
    driven = bias.collector_feedback_stage(
        transconductance=1.63e-3, resistance_base_emitter=INF, resistance_source=1e3, **parts
    )
    assert driven.impedance_output == pytest.approx(load, rel=1e-3)


def test_power_gain_counts_volts_times_amperes():
    volts_in, gain, z_in, load = 0.1, -5.0, 2e3, 470.0
    current_in, volts_out = volts_in / z_in, gain * volts_in
    found = bias.power_gain(gain, impedance_input=z_in, resistance_load=load)
    assert found.gain_current == pytest.approx(volts_out / load / current_in)
    assert found.gain_power == pytest.approx(volts_out**2 / load / (volts_in * current_in))
    assert found.gain_power_db == pytest.approx(10 * np.log10(found.gain_power))
    assert bias.power_gain(gain, impedance_input=z_in, resistance_load=INF).gain_power == 0.0
    assert bias.power_gain(gain, impedance_input=INF, resistance_load=load).gain_power == INF
    nothing = bias.power_gain(0.0, impedance_input=INF, resistance_load=load)
    assert (nothing.gain_current, nothing.gain_power, nothing.gain_power_db) == (0.0, 0.0, -INF)
    with pytest.raises(ValueError, match="impedance_input"):
        bias.power_gain(gain, impedance_input=INF, resistance_load=INF)


def test_small_signal_against_sympy():
    g, r_o, r_d, r_s = sp.symbols("g r_o R_D R_S", positive=True)
    vg, vs, vd, i = sp.symbols("v_g v_s v_d i")
    source = sp.solve(
        [vd / r_d + g * (vg - vs) + (vd - vs) / r_o, vs / r_s - g * (vg - vs) - (vd - vs) / r_o], [vd, vs], dict=True
    )[0]
    out = sp.solve([g * -vs + (vd - vs) / r_o - 1, vs / r_s + g * vs - (vd - vs) / r_o], [vd, vs], dict=True)[0][vd]
    follow = sp.solve(vs / r_s - g * (vg - vs) + vs / r_o, vs)[0]
    gate = sp.solve([vd / r_d - g * vs + (vd - vs) / r_o, i - g * vs - (vs - vd) / r_o], [vd, i], dict=True)[0]
    numbers = {g: 4e-3, r_o: 40e3, r_d: 4.7e3, r_s: 220.0}
    stage = bias.common_source(4e-3, resistance_drain=4.7e3, resistance_source_pin=220.0, resistance_transistor=40e3)
    assert stage.gain_signed == pytest.approx(float((source[vd] / vg).subs(numbers)), rel=1e-12)
    z = float(out.subs(numbers))
    assert stage.impedance_output == pytest.approx(4.7e3 * z / (4.7e3 + z), rel=1e-12)
    follower = bias.source_follower(4e-3, resistance_source_pin=220.0, resistance_transistor=40e3)
    assert follower.gain_signed == pytest.approx(float((follow / vg).subs(numbers)), rel=1e-12)
    common = bias.common_gate(4e-3, resistance_drain=4.7e3, resistance_transistor=40e3)
    assert common.gain_signed == pytest.approx(float((gate[vd] / vs).subs(numbers)), rel=1e-12)
    assert common.impedance_input == pytest.approx(float((vs / gate[i]).subs(numbers)), rel=1e-12)
    assert bias.common_source(4e-3, resistance_drain=0.0).gain == 0
    assert bias.common_source(4e-3, resistance_drain=1e3, resistance_source_pin=INF).gain == 0
    assert bias.common_source(4e-3, resistance_drain=INF, resistance_transistor=40e3).gain == pytest.approx(160)
    assert bias.source_follower(4e-3, resistance_source_pin=0.0).gain == 0
