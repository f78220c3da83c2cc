"""Small-signal stages, stages in a row, swing and bypass corner: sympy, limits, scaling, refusals."""

from __future__ import annotations

import numpy as np
import pytest
import sympy as sp

from pedalcalc import devices, opamp, stage

INF = float("inf")
_BIPOLAR = {"transconductance": 0.0385, "resistance_base_emitter": 3.9e3}
_LOADS = {"resistance_load": 10e3, "resistance_generator": 600.0}


def _by_re(dynamic, beta):
    """The emitter resistance re and the current gain as gm and rπ."""
    return {"transconductance": 1 / (1 + 1 / beta) / dynamic, "resistance_base_emitter": (beta + 1) * dynamic}


CALLS = {
    "common_emitter": {
        **_BIPOLAR,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 100.0,
        "resistance_bias": 12e3,
        "resistance_transistor": 75e3,
        **_LOADS,
    },
    "emitter_follower": {
        **_BIPOLAR,
        "resistance_emitter": 4.7e3,
        "resistance_bias": 50e3,
        "resistance_transistor": 75e3,
        **_LOADS,
    },
    "common_source": {
        "transconductance": 4e-3,
        "resistance_drain": 4.7e3,
        "resistance_source_pin": 100.0,
        "resistance_bias": 1e6,
        "resistance_transistor": 50e3,
        **_LOADS,
    },
    "source_follower": {
        "transconductance": 4e-3,
        "resistance_source_pin": 4.7e3,
        "resistance_bias": 1e6,
        "resistance_transistor": 50e3,
        **_LOADS,
    },
    "cascade": {
        "stages": [
            stage.common_source(4e-3, resistance_drain=4.7e3, resistance_bias=1e6),
            stage.common_emitter(**_BIPOLAR, resistance_collector=4.7e3, resistance_bias=12e3),
        ],
        "voltage_input": 0.1,
        **_LOADS,
    },
    "bypass_corner": {
        "capacitance": 22e-6,
        "resistance_bypassed": 1e3,
        "resistance_dynamic": 26.0,
        "resistance_drive": 600.0,
        "current_gain": 150,
        "resistance_unbypassed": 100.0,
    },
    "swing": {
        "current": 1e-3,
        "voltage_headroom": 3.5,
        "resistance_output_dc": 4.7e3,
        "resistance_load": 10e3,
    },
}


def _common_emitter_by_sympy():
    """Solve the four-node hybrid-pi stage from Kirchhoff's current law."""
    gm, rpi, ro, re, load, rs = sp.symbols("g_m r_pi r_o R_E R_L R_s", positive=True)
    vb, ve, vc, i = sp.symbols("v_b v_e v_c i")
    nodes = [
        ve / re - (vb - ve) / rpi - gm * (vb - ve) - (vc - ve) / ro,
        vc / load + gm * (vb - ve) + (vc - ve) / ro,
        i - (vb - ve) / rpi,
    ]
    found = sp.solve(nodes, [ve, vc, i], dict=True)[0]
    gain, z_base = sp.simplify(found[vc] / vb), sp.simplify(vb / found[i])
    # Output: a test current into the collector, base through the generator to ground.
    out = [
        ve / re + (ve - vb) / rpi - gm * (vb - ve) - (vc - ve) / ro,
        gm * (vb - ve) + (vc - ve) / ro - 1,
        vb / rs + (vb - ve) / rpi,
    ]
    z_out = sp.solve(out, [vb, ve, vc], dict=True)[0][vc]
    return (gm, rpi, ro, re, load, rs), gain, z_base, z_out


def test_common_emitter_against_sympy():
    symbols, gain, z_base, z_out = _common_emitter_by_sympy()
    numbers = sp.lambdify(symbols, [gain, z_base, z_out])
    random = np.random.default_rng(6)
    for _ in range(20):
        gm, rpi, ro, re, rc, rs = 10 ** random.uniform([-3, 3, 4, 1, 3, 2], [-1, 4, 5.5, 3.5, 4.5, 4.5])
        expected = numbers(gm, rpi, ro, re, rc, rs)
        amp = stage.common_emitter(
            transconductance=gm,
            resistance_base_emitter=rpi,
            resistance_collector=rc,
            resistance_emitter=re,
            resistance_generator=rs,
            resistance_transistor=ro,
        )
        assert amp.gain_signed == pytest.approx(expected[0], rel=1e-9)
        assert amp.impedance_device == pytest.approx(expected[1], rel=1e-9)
        assert amp.impedance_output == pytest.approx(rc * expected[2] / (rc + expected[2]), rel=1e-9)
        assert amp.gain_overall == pytest.approx(expected[0] * expected[1] / (expected[1] + rs), rel=1e-9)


def test_open_emitter_with_a_finite_transistor_resistance_against_sympy():
    symbols, gain, z_base, z_out = _common_emitter_by_sympy()
    r_e, load = symbols[3], symbols[4]
    open_emitter = [sp.limit(each, r_e, sp.oo) for each in (gain, z_base, z_out)]
    numbers = sp.lambdify([each for each in symbols if each != r_e], open_emitter)
    gm, rpi, ro, rc, rs = 0.0385, 7.5e3, 20e3, 4.7e3, 1e3
    expected = numbers(gm, rpi, ro, rc, rs)
    common = {"resistance_collector": rc, "resistance_emitter": INF, "resistance_transistor": ro}
    device = {"transconductance": gm, "resistance_base_emitter": rpi}
    amp = stage.common_emitter(**device, resistance_generator=rs, **common)
    assert amp.gain_signed == pytest.approx(expected[0], rel=1e-9)
    assert amp.impedance_device == pytest.approx(expected[1], rel=1e-9)
    assert amp.impedance_output == pytest.approx(rc * expected[2] / (rc + expected[2]), rel=1e-9)
    # Nothing at the collector either: no current anywhere, the whole transistor follows its base.
    floating = stage.common_emitter(**device, **(common | {"resistance_collector": INF}))
    assert floating.gain_signed == 1 and floating.impedance_device == INF
    assert sp.limit(sp.limit(gain, r_e, sp.oo), load, sp.oo) == 1
    # Without that way through, an open emitter leaves the collector without any signal, whatever hangs on it.
    silent = stage.common_emitter(**device, resistance_collector=INF, resistance_emitter=INF)
    assert silent.gain_signed == 0 and silent.impedance_output == INF


def test_common_emitter_limits():
    common = {**_by_re(26.0, 100), "resistance_collector": 4.7e3}
    assert stage.common_emitter(**common, resistance_load=0.0).gain == 0
    assert stage.common_emitter(**common, resistance_emitter=INF).gain == 0
    assert stage.common_emitter(**common, resistance_generator=INF).gain_overall == 0
    own = stage.common_emitter(**(common | {"resistance_collector": INF}), resistance_transistor=75e3)
    assert own.gain_signed == pytest.approx(-75e3 / 26 * 100 / 101)
    lifted = stage.common_emitter(
        **(common | {"resistance_collector": INF}), resistance_transistor=75e3, resistance_emitter=100.0
    )
    near = stage.common_emitter(
        **(common | {"resistance_collector": 1e13}), resistance_transistor=75e3, resistance_emitter=100.0
    )
    assert lifted.gain_signed == pytest.approx(near.gain_signed, rel=1e-6)
    follower = stage.emitter_follower(**_by_re(26.0, INF), resistance_emitter=1e3, resistance_generator=INF)
    assert follower.impedance_output == 1e3, "an open base drives nothing at any gain"
    textbook = stage.common_emitter(**_by_re(26.0, INF), resistance_collector=4.7e3)
    assert textbook.gain_signed == pytest.approx(-4.7e3 / 26) and textbook.impedance_device == INF


def test_follower_against_sympy():
    gm, rpi, re, rs = sp.symbols("g_m r_pi R_E R_s", positive=True)
    vb, ve = sp.symbols("v_b v_e")
    gain = sp.solve(ve / re - (vb - ve) / rpi - gm * (vb - ve), ve)[0] / vb
    out = sp.solve([ve / re - (vb - ve) / rpi - gm * (vb - ve) - 1, vb / rs + (vb - ve) / rpi], [vb, ve], dict=True)[0][
        ve
    ]
    numbers = {gm: 0.0385, rpi: 3.9e3, re: 2.2e3, rs: 10e3}
    amp = stage.emitter_follower(
        transconductance=0.0385,
        resistance_base_emitter=3.9e3,
        resistance_emitter=2.2e3,
        resistance_generator=10e3,
    )
    assert amp.gain == pytest.approx(float(gain.subs(numbers)), rel=1e-12)
    assert amp.impedance_output == pytest.approx(float(out.subs(numbers)), rel=1e-12)
    assert stage.emitter_follower(**_by_re(26.0, 100), resistance_emitter=0.0).gain == 0


def test_follower_with_output_resistance_against_sympy():
    # Base, emitter and collector (at ground for signals): rπ, beta i_b, ro and RE || RL.
    beta, r_pi, r_o, r_e, r_l, r_b, r_s = 150, 151 * 26.0, 75e3, 4.7e3, 10e3, 50e3, 600.0
    v_e, v_b = sp.symbols("v_e v_b")
    emitter = (v_b - v_e) / r_pi * (beta + 1) - v_e * (1 / r_o + 1 / r_e + 1 / r_l)
    gain = sp.solve(emitter.subs(v_b, 1), v_e)[0]
    amp = stage.emitter_follower(
        **_by_re(26.0, beta),
        resistance_emitter=r_e,
        resistance_load=r_l,
        resistance_bias=r_b,
        resistance_generator=r_s,
        resistance_transistor=r_o,
    )
    assert amp.gain_signed == pytest.approx(float(gain), rel=1e-12)
    assert amp.impedance_device == pytest.approx(float(r_pi / (1 - gain)), rel=1e-9)
    v_out = sp.symbols("v_out")
    drive = 1 / (1 / r_b + 1 / r_s)
    back = sp.solve(v_out * (1 / r_o + 1 / r_e) + v_out / (r_pi + drive) * (beta + 1) - 1, v_out)[0]
    assert amp.impedance_output == pytest.approx(float(back), rel=1e-12)


def test_small_signal_against_sympy():
    g, r_o, r_d, r_s = sp.symbols("g r_o R_D R_S", positive=True)
    vg, vs, vd = sp.symbols("v_g v_s v_d")
    source = sp.solve(
        [vd / r_d + g * (vg - vs) + (vd - vs) / r_o, vs / r_s - g * (vg - vs) - (vd - vs) / r_o], [vd, vs], dict=True
    )[0]
    out = sp.solve([g * -vs + (vd - vs) / r_o - 1, vs / r_s + g * vs - (vd - vs) / r_o], [vd, vs], dict=True)[0][vd]
    follow = sp.solve(vs / r_s - g * (vg - vs) + vs / r_o, vs)[0]
    numbers = {g: 4e-3, r_o: 40e3, r_d: 4.7e3, r_s: 220.0}
    amp = stage.common_source(4e-3, resistance_drain=4.7e3, resistance_source_pin=220.0, resistance_transistor=40e3)
    assert amp.gain_signed == pytest.approx(float((source[vd] / vg).subs(numbers)), rel=1e-12)
    z = float(out.subs(numbers))
    assert amp.impedance_output == pytest.approx(4.7e3 * z / (4.7e3 + z), rel=1e-12)
    follower = stage.source_follower(4e-3, resistance_source_pin=220.0, resistance_transistor=40e3)
    assert follower.gain_signed == pytest.approx(float((follow / vg).subs(numbers)), rel=1e-12)
    assert stage.common_source(4e-3, resistance_drain=0.0).gain == 0
    assert stage.common_source(4e-3, resistance_drain=1e3, resistance_source_pin=INF).gain == 0
    assert stage.common_source(4e-3, resistance_drain=INF, resistance_transistor=40e3).gain == pytest.approx(160)
    assert stage.source_follower(4e-3, resistance_source_pin=0.0).gain == 0


def test_bypass_corner_is_where_the_gain_falls_three_decibels():
    # Emitter impedance RE || 1/(jwC) in the gain RC/(re + ZE), RE much larger than re.
    c, r_e, dynamic = 22e-6, 1e6, 26.0
    f = stage.bypass_corner(c, resistance_bypassed=r_e, resistance_dynamic=dynamic)
    z = 1 / (1 / r_e + 2j * np.pi * f * c)
    assert abs(dynamic / (dynamic + z)) == pytest.approx(0.5**0.5, rel=1e-3)


def test_symmetrical_swing():
    found = stage.swing(1e-3, voltage_headroom=4.0, resistance_output_dc=4.7e3, resistance_load=10e3)
    more = found.current_centred - 1e-3
    even = stage.swing(
        found.current_centred,
        voltage_headroom=4.0 - more * 4.7e3,
        resistance_output_dc=4.7e3,
        resistance_load=10e3,
    )
    assert even.swing_up == pytest.approx(even.swing_down)
    assert found.clips_first == "cut-off"
    deep = stage.swing(3e-3, voltage_headroom=1.0, resistance_output_dc=4.7e3, resistance_load=INF)
    assert deep.clips_first == "saturation" and deep.voltage_peak == 1.0
    equal = stage.swing(1e-3, voltage_headroom=1.0, resistance_output_dc=1e3, resistance_load=INF)
    assert equal.clips_first == "both"
    none = stage.swing(1e-3, voltage_headroom=0.0, resistance_output_dc=0.0, resistance_load=1e3)
    assert none.voltage_peak == 0 and none.current_centred == 1e-3 and none.clips_first == "both"


def _one(gain, z_in, z_out):
    nothing = {name: float("nan") for name in ("gain", "gain_db", "gain_overall", "impedance_device")}
    return stage.Stage(gain_signed=gain, impedance_input=z_in, impedance_output=z_out, **nothing)


def _row(stages, generator, load, volts=1.0):
    return stage.cascade(stages, voltage_input=volts, resistance_generator=generator, resistance_load=load)


def test_loading_in_its_limits():
    amp = [_one(10.0, 100e3, 1e3)]
    assert _row(amp, 0.0, INF).gain_signed == 10
    assert _row(amp, INF, 1e3).gain_signed == 0
    assert _row(amp, 0.0, 0.0).gain_signed == 0 and _row(amp, 0.0, 0.0).gain_db == -INF
    assert _row(amp, 100e3, 1e3, 0.2).voltage_output == pytest.approx(0.5)
    assert _row([_one(1.0, INF, 0.0)], INF, INF).gain_signed == 0, "an open source gives nothing, whatever it meets"


def test_stages_in_a_row_against_the_nodes_of_their_network():
    # Two controlled sources behind their resistances, solved for the node voltages by Kirchhoff's current law.
    random = np.random.default_rng(8)
    for _ in range(20):
        a1, a2 = random.uniform(-50, 50, 2)
        rg, zi1, zo1, zi2, zo2, rl = 10 ** random.uniform(2, 6, 6)
        v1, v2, v3 = sp.symbols("v1 v2 v3")
        nodes = [
            (1 - v1) / rg - v1 / zi1,
            (a1 * v1 - v2) / zo1 - v2 / zi2,
            (a2 * v2 - v3) / zo2 - v3 / rl,
        ]
        out = float(sp.solve(nodes, [v1, v2, v3])[v3])
        found = _row([_one(a1, zi1, zo1), _one(a2, zi2, zo2)], rg, rl)
        assert found.gain_signed == pytest.approx(out, rel=1e-9) and found.gain == abs(found.gain_signed)
        assert found.gain_db == pytest.approx(20 * np.log10(abs(out)))
        assert (found.impedance_input, found.impedance_output) == (zi1, zo2)


def test_a_row_of_one_is_the_stage_itself():
    parts = {**_BIPOLAR, "resistance_collector": 4.7e3, "resistance_bias": 12e3}
    bare, whole = stage.common_emitter(**parts), stage.common_emitter(**parts, **_LOADS)
    found = _row([bare], 600.0, 10e3)
    assert found.gain_signed == pytest.approx(whole.gain_overall, rel=1e-12)


def test_op_amp_points_and_anything_with_gain_and_impedances_stand_in_a_row():
    amp = opamp.noninverting(
        9.0,
        voltage_half_supply=4.5,
        resistance_half_supply=0.0,
        resistance_bias=1e6,
        resistance_feedback=100e3,
        resistance_ground=10e3,
        capacitance_input=1e-6,
        capacitance_gain=1e-6,
        op_amp=devices.typical(devices.OPAMP_TL072),
        meter=devices.METER_DIGITAL,
    )
    found = _row([stage.common_source(4e-3, resistance_drain=4.7e3), amp], 0.0, INF)
    assert found.gain_signed == pytest.approx(-18.8 * amp.gain_signed * 1e6 / 1.0047e6)


def test_bypass_corner_in_its_limits():
    assert stage.bypass_corner(1e-6, resistance_bypassed=0.0, resistance_dynamic=26.0) == INF
    assert stage.bypass_corner(1e-6, resistance_bypassed=INF, resistance_dynamic=INF) == 0
    assert stage.bypass_corner(2e-6, resistance_bypassed=1e3, resistance_dynamic=500.0) == pytest.approx(
        stage.bypass_corner(1e-6, resistance_bypassed=1e3, resistance_dynamic=500.0) / 2
    )


@pytest.mark.parametrize(
    ("call", "kind", "words"),
    [
        (lambda: _row([], 0.0, INF), ValueError, "at least one stage"),
        (lambda: _row([10.0], 0.0, INF), TypeError, r"stages\[0\] must have gain_signed"),
        (lambda: _row([_one(1.0, -1.0, 0.0)], 0.0, INF), ValueError, r"stages\[0\].impedance_input"),
        (
            lambda: stage.common_emitter(transconductance=0.0, resistance_base_emitter=1e3, resistance_collector=1e3),
            ValueError,
            "transconductance",
        ),
        (
            lambda: stage.swing(1e-3, voltage_headroom=1.0, resistance_output_dc=INF, resistance_load=1e3),
            ValueError,
            "resistance_output_dc",
        ),
    ],
)
def test_refusals(call, kind, words):
    with pytest.raises(kind, match=words):
        call()
