"""Op-amp stages and what all stages share: sympy, limits, scaling, cautions, refusals."""

from __future__ import annotations

import dataclasses
from dataclasses import replace

import numpy as np
import pytest
import sympy as sp

from pedalcalc import bias
from pedalcalc.devices import OPAMP_4558, OPAMP_NE5532, OPAMP_TL072
from tests.test_bias import CALLS

INF = float("inf")


def test_gains_with_finite_open_loop_against_sympy():
    a, rf, ri, vin, vo, vm = sp.symbols("A R_f R_i v_in v_o v_m")
    inverting = sp.solve([(vin - vm) / ri - (vm - vo) / rf, vo + a * vm], [vo, vm], dict=True)[0][vo] / vin
    straight = sp.solve([vm / ri - (vo - vm) / rf, vo - a * (vin - vm)], [vo, vm], dict=True)[0][vo] / vin
    numbers = {a: 1000, rf: 47e3, ri: 3.3e3}
    common = {"resistance_feedback": 47e3, "resistance_input": 3.3e3, "gain_open_loop": 1000.0}
    assert bias.inverting_gain(**common) == pytest.approx(float(inverting.subs(numbers)), rel=1e-12)
    assert bias.noninverting_gain(**common) == pytest.approx(float(straight.subs(numbers)), rel=1e-12)
    ideal = {key: value for key, value in common.items() if key != "gain_open_loop"}
    assert bias.inverting_gain(**ideal) == pytest.approx(-47 / 3.3)
    assert bias.noninverting_gain(**ideal) == pytest.approx(bias.noise_gain(**ideal))


def test_open_and_shorted_feedback():
    assert bias.noninverting_gain(resistance_feedback=0.0, resistance_input=1e3) == 1
    assert bias.noninverting_gain(resistance_feedback=1e3, resistance_input=INF) == 1
    assert bias.noninverting_gain(resistance_feedback=INF, resistance_input=1e3, gain_open_loop=2e5) == 2e5
    assert bias.inverting_gain(resistance_feedback=1e3, resistance_input=0.0, gain_open_loop=2e5) == -2e5
    assert bias.inverting_gain(resistance_feedback=0.0, resistance_input=1e3) == 0
    assert bias.closed_loop_output_resistance(75.0, gain_open_loop=2e5, noise_gain=INF) == 75
    assert bias.closed_loop_input_resistance(2e6, gain_open_loop=INF, noise_gain=10.0) == INF
    assert bias.full_power_bandwidth(1e6, voltage_peak=0.0) == INF
    assert bias.slew_limited_peak(1e6, frequency=0.0) == INF


def test_output_resistance_against_sympy():
    # Test current into the output, no input: Zo in series with A (0 - v-) against the divider's share of the output.
    a, n, zo, v = sp.symbols("A N Z_o v", positive=True)
    current = (v + a * v / n) / zo  # the feedback network itself draws nothing to speak of
    formula = sp.simplify(v / current)
    got = bias.closed_loop_output_resistance(75.0, gain_open_loop=1e4, noise_gain=11.0)
    assert got == pytest.approx(float(formula.subs({a: 1e4, n: 11, zo: 75})), rel=1e-12)


def test_slew_pair_and_cascade():
    f = bias.full_power_bandwidth(13e6, voltage_peak=3.0)
    assert bias.slew_limited_peak(13e6, frequency=f) == pytest.approx(3.0)
    f2 = bias.cascade_bandwidth(10e3, count=3)
    assert (1 + (f2 / 10e3) ** 2) ** 1.5 == pytest.approx(2**0.5, rel=1e-12)
    assert bias.cascade_bandwidth(10e3, count=1) == pytest.approx(10e3)


def test_compensation_cancels_equal_bias_currents():
    network = {"resistance_feedback": 100e3, "resistance_input": 10e3}
    rc = bias.compensation_resistor(**network)
    flat = bias.output_offset(
        voltage_offset=0.0, current_bias=500e-9, current_offset=0.0, resistance_compensation=rc, **network
    )
    assert flat == pytest.approx(0.0, abs=1e-12)
    assert bias.compensation_resistor(resistance_feedback=100e3, resistance_input=INF) == pytest.approx(100e3)


NONINVERTING = CALLS["opamp_noninverting"]
INVERTING = CALLS["opamp_inverting"]


def test_dc_at_each_pin():
    point = bias.opamp_noninverting(**NONINVERTING)
    i_b = -OPAMP_4558.current_bias.typical  # flows out of its PNP inputs
    path = 5e3 + 470e3
    assert point.voltage_noninverting == pytest.approx(4.5 - i_b * path)
    assert point.voltage_output == pytest.approx(point.voltage_inverting + i_b * 100e3)
    assert point.voltage_noninverting_read == pytest.approx(point.voltage_noninverting * 10e6 / (10e6 + path))
    assert point.voltage_half_supply == pytest.approx(4.5 - i_b * 5e3)
    assert point.voltage_half_supply_read == pytest.approx(point.voltage_half_supply * 10e6 / 10.005e6)
    high = OPAMP_4558.current_bias.high
    assert point.voltage_error == pytest.approx(6e-3 + high * (path + 100e3))
    into = bias.opamp_noninverting(**(NONINVERTING | {"op_amp": OPAMP_NE5532}))
    assert into.voltage_noninverting < 4.5 < point.voltage_noninverting
    matched = bias.opamp_inverting(**(INVERTING | {"resistance_half_supply": 0.0}))
    assert matched.voltage_output == pytest.approx(4.5, rel=1e-12)
    direct = bias.opamp_noninverting(**(NONINVERTING | {"capacitance_gain": INF}))
    assert direct.frequency_low_gain == 0
    # The leg carries what the bias resistor drops over it, and both come out of the reference.
    leg = i_b * 470e3 / 10e3
    assert direct.voltage_half_supply == pytest.approx(4.5 - 5e3 * (i_b + leg))
    assert direct.voltage_noninverting == pytest.approx(direct.voltage_half_supply - i_b * 470e3)
    assert direct.voltage_output == pytest.approx(direct.voltage_noninverting + 100e3 * (i_b - leg))


def nodes(point, bias_current, v_ref, r_ref, r_pin, r_f, r_leg, at_ref=INF, at_pin=INF):
    """Solve reference, both inputs and output by Kirchhoff's current law, a meter's resistance at one of them if given.

    The op-amp holds its inputs equal, or where that takes its output beyond a rail, its output there.
    """

    def kcl(last_row, last_side):
        g = [[1 / r_ref + 1 / r_pin + 1 / r_leg + 1 / at_ref, -1 / r_pin, -1 / r_leg, 0.0]]
        g.append([-1 / r_pin, 1 / r_pin + 1 / at_pin, 0.0, 0.0])
        g.append([-1 / r_leg, 0.0, 1 / r_leg + 1 / r_f, -1 / r_f])
        return np.linalg.solve([*g, last_row], [v_ref / r_ref, -bias_current, -bias_current, last_side])

    found = kcl([0.0, 1.0, -1.0, 0.0], 0.0)
    if not 0 <= found[3] <= 9:
        found = kcl([0.0, 0.0, 0.0, 1.0], 0.0 if found[3] < 0 else 9.0)
    return found


def test_gain_resistor_on_an_unbuffered_reference_against_a_nodal_solve():
    """NE5532, 50 kΩ reference, 1 MΩ to the pin: the leg's current takes the output from 2.21 V to 1.31 V."""
    known = {"resistance_half_supply": 50e3, "resistance_bias": 1e6, "resistance_feedback": 100e3}
    point = bias.opamp_noninverting(
        **(NONINVERTING | known | {"resistance_input": 10e3, "capacitance_gain": INF, "op_amp": OPAMP_NE5532})
    )
    assert point.voltage_output == pytest.approx(1.31, abs=0.005)
    assert point.voltage_error > 100e3 * OPAMP_NE5532.current_bias.high
    rng = np.random.default_rng(4)
    for op_amp in (OPAMP_NE5532, OPAMP_4558, OPAMP_TL072):
        sign = 1 if op_amp.bias_direction == "in" else -1
        railed = 0
        for _ in range(40):
            v_ref = rng.uniform(1, 8)
            r_ref, r_pin, r_f, r_leg = 10 ** rng.uniform((3, 4, 3, 3), (5.5, 6.5, 6, 5))
            point = bias.opamp_noninverting(
                9.0,
                voltage_half_supply=v_ref,
                resistance_half_supply=r_ref,
                resistance_bias=r_pin,
                resistance_feedback=r_f,
                resistance_input=r_leg,
                capacitance_input=1e-6,
                capacitance_gain=INF,
                op_amp=op_amp,
            )
            parts = (point, sign * op_amp.current_bias.typical, v_ref, r_ref, r_pin, r_f, r_leg)
            expected = nodes(*parts)
            railed += expected[3] in (0.0, 9.0)
            got = (point.voltage_half_supply, point.voltage_noninverting, point.voltage_inverting, point.voltage_output)
            np.testing.assert_allclose(got, expected, rtol=1e-9, atol=1e-9)
            assert point.voltage_half_supply_read == pytest.approx(nodes(*parts, at_ref=10e6)[0], rel=1e-9, abs=1e-9)
            assert point.voltage_noninverting_read == pytest.approx(nodes(*parts, at_pin=10e6)[1], rel=1e-9, abs=1e-9)
        assert railed < 35


def test_dc_error_of_a_leg_on_the_reference_is_what_offset_and_bias_do():
    """Sum of the output's shifts by offset and by each input's bias current, found from the circuit by sympy."""
    n, p, m, o, v, rt, rb, rf, rl, ip, im, vos = sp.symbols("n p m o v rt rb rf rl ip im vos")
    circuit = [
        (v - n) / rt - (n - p) / rb - (n - m) / rl,
        (n - p) / rb - ip,
        (n - m) / rl + (o - m) / rf - im,
        m - p - vos,
    ]
    out = sp.solve(circuit, [n, p, m, o], dict=True)[0][o]
    numbers = {rt: 50e3, rb: 470e3, rf: 100e3, rl: 10e3}
    by_offset, by_pin, by_other = (abs(float(sp.diff(out, x).subs(numbers))) for x in (vos, ip, im))
    point = bias.opamp_noninverting(
        **(NONINVERTING | {"resistance_half_supply": 50e3, "capacitance_gain": INF, "op_amp": OPAMP_NE5532})
    )
    worst = by_offset * OPAMP_NE5532.voltage_offset.high + (by_pin + by_other) * OPAMP_NE5532.current_bias.high
    assert point.voltage_error == pytest.approx(worst, rel=1e-9)


def test_opens_and_shorts_of_a_leg_on_the_reference():
    direct = NONINVERTING | {"capacitance_gain": INF, "op_amp": OPAMP_NE5532}
    shorted = bias.opamp_noninverting(**(direct | {"resistance_input": 0.0}))
    assert shorted.voltage_output == 0.0 and shorted.voltage_inverting == pytest.approx(shorted.voltage_half_supply)
    free = bias.opamp_noninverting(**(direct | {"resistance_input": INF}))
    blocked = bias.opamp_noninverting(**(direct | {"capacitance_gain": 1e-6}))
    assert free.voltage_output == pytest.approx(blocked.voltage_output, rel=1e-12)
    lost = bias.opamp_noninverting(**(direct | {"resistance_bias": INF}))
    assert lost.voltage_noninverting == 0 and lost.voltage_output == 0
    # With the output at ground the reference feeds leg and feedback resistor.
    assert lost.voltage_half_supply == pytest.approx(4.5 - 5e3 * (lost.voltage_half_supply + 0.02) / 110e3, rel=1e-3)
    unfed = bias.opamp_noninverting(**(direct | {"resistance_half_supply": INF}))
    assert unfed.voltage_half_supply == 0 and unfed.voltage_output == pytest.approx(200e-9 * 100e3)
    no_feedback = bias.opamp_noninverting(**(direct | {"resistance_feedback": INF}))
    i_b = OPAMP_NE5532.current_bias.typical
    assert no_feedback.voltage_half_supply == pytest.approx(4.5 - 2 * i_b * 5e3)
    assert no_feedback.voltage_inverting == pytest.approx(no_feedback.voltage_half_supply - i_b * 10e3)


def test_ac_of_the_stages():
    point = bias.opamp_noninverting(**NONINVERTING)
    assert point.gain == pytest.approx(11 / (1 + 11 / 2e5))
    assert point.frequency_low == pytest.approx(1 / (2 * np.pi * 22e-9 * 480e3))
    assert point.frequency_low_gain == pytest.approx(1 / (2 * np.pi * 2.2e-6 * 10e3))
    assert point.frequency_high == pytest.approx(3e6 / 11)
    inverted = bias.opamp_inverting(**INVERTING)
    assert inverted.gain_signed == pytest.approx(-10 / (1 + (1 + 100 / 11) / 2e5), rel=1e-9)
    assert inverted.frequency_high == pytest.approx(3e6 / (1 + 100 / 11))
    assert inverted.frequency_low == pytest.approx(1 / (2 * np.pi * 1e-6 * 11e3))
    follower = bias.opamp_follower(**CALLS["opamp_follower"])
    assert follower.noise_gain == 1 and follower.frequency_high == pytest.approx(3e6)
    buffer = bias.opamp_buffer(**CALLS["opamp_buffer"])
    # The 4558's bias current comes out of its pin through the divider.
    raised = 4.5 + OPAMP_4558.current_bias.typical * 23.5e3
    assert buffer.voltage_half_supply_read == pytest.approx(raised * 10e6 / (10e6 + 23.5e3))
    assert buffer.frequency_low == 0 and buffer.impedance_input == 0


def test_swing_from_the_rails():
    # Headroom of the TL072 scaled from its ±15 V sheet: 1.5 V typical, 3 V worst (SHEET-TL072).
    tl = CALLS["opamp_follower"] | {"op_amp": OPAMP_TL072}
    point = bias.opamp_follower(**tl)
    assert 2 * point.voltage_peak == pytest.approx(6.0, abs=1e-3)
    assert 2 * point.voltage_peak_worst == pytest.approx(3.0, abs=1e-3)
    assert not point.cautions


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"voltage_supply": 40.0}, "above its rating"),
        ({"voltage_supply": 6.0, "voltage_half_supply": 3.1}, "below what the maker promises"),
        ({"voltage_half_supply": 2.0}, "negative rail"),
        ({"voltage_half_supply": 9.5}, "positive rail"),
        ({"voltage_half_supply": 1.0}, "no room left"),
    ],
)
def test_cautions(changes, words):
    point = bias.opamp_follower(**(CALLS["opamp_follower"] | {"op_amp": OPAMP_TL072} | changes))
    assert any(words in caution.what for caution in point.cautions)


def test_open_parts_send_the_output_to_a_rail():
    lost = bias.opamp_follower(**(CALLS["opamp_follower"] | {"resistance_bias": INF}))
    assert lost.voltage_output == 9.0 and lost.swing_up == 0 and lost.voltage_noninverting_read == 0
    lost = bias.opamp_follower(**(CALLS["opamp_follower"] | {"resistance_bias": INF, "op_amp": OPAMP_NE5532}))
    assert lost.voltage_output == 0.0
    no_feedback = bias.opamp_noninverting(**(NONINVERTING | {"resistance_feedback": INF}))
    assert no_feedback.voltage_output == 9.0 and no_feedback.gain == 2e5
    assert no_feedback.frequency_high == 0
    no_reference = bias.opamp_follower(**(CALLS["opamp_follower"] | {"resistance_half_supply": INF}))
    assert no_reference.voltage_half_supply_read == 0
    no_input = bias.opamp_inverting(**(INVERTING | {"resistance_input": INF}))
    assert no_input.gain == 0 and no_input.frequency_low == 0


def test_loading_and_corners():
    common = {"impedance_input": 100e3, "impedance_output": 1e3}
    assert bias.loaded_gain(10.0, resistance_source=0.0, resistance_load=INF, **common) == 10
    assert bias.loaded_gain(10.0, resistance_source=INF, resistance_load=1e3, **common) == 0
    assert bias.loaded_gain(10.0, resistance_source=0.0, resistance_load=0.0, **common) == 0
    assert bias.output_voltage(0.2, gain_signed=10.0, resistance_source=100e3, resistance_load=1e3, **common) == 0.5
    assert np.isnan(
        bias.loaded_gain(1.0, resistance_source=INF, resistance_load=INF, impedance_input=INF, impedance_output=0.0)
    )
    assert bias.coupling_corner(1e-6, resistance_before=0.0, resistance_after=0.0) == INF
    assert bias.coupling_corner(1e-6, resistance_before=1e3, resistance_after=INF) == 0
    assert bias.bypass_corner(1e-6, resistance_bypassed=0.0, resistance_dynamic=26.0) == INF
    assert bias.bypass_corner(1e-6, resistance_bypassed=INF, resistance_dynamic=INF) == 0
    assert bias.bypass_corner(2e-6, resistance_bypassed=1e3, resistance_dynamic=500.0) == pytest.approx(
        bias.bypass_corner(1e-6, resistance_bypassed=1e3, resistance_dynamic=500.0) / 2
    )


def test_bypass_corner_is_where_the_gain_falls_three_decibels():
    # Emitter impedance RE || 1/(jwC) in the gain RC/(re + ZE), RE much larger than re.
    c, r_e, dynamic = 22e-6, 1e6, 26.0
    f = bias.bypass_corner(c, resistance_bypassed=r_e, resistance_dynamic=dynamic)
    z = 1 / (1 / r_e + 2j * np.pi * f * c)
    assert abs(dynamic / (dynamic + z)) == pytest.approx(0.5**0.5, rel=1e-3)


def test_symmetrical_swing():
    swing = bias.symmetrical_swing(1e-3, voltage_headroom=4.0, resistance_output_dc=4.7e3, resistance_load=10e3)
    more = swing.current_centred - 1e-3
    even = bias.symmetrical_swing(
        swing.current_centred,
        voltage_headroom=4.0 - more * 4.7e3,
        resistance_output_dc=4.7e3,
        resistance_load=10e3,
    )
    assert even.swing_up == pytest.approx(even.swing_down)
    assert swing.clips_first == "cut-off"
    deep = bias.symmetrical_swing(3e-3, voltage_headroom=1.0, resistance_output_dc=4.7e3, resistance_load=INF)
    assert deep.clips_first == "saturation" and deep.voltage_peak == 1.0
    equal = bias.symmetrical_swing(1e-3, voltage_headroom=1.0, resistance_output_dc=1e3, resistance_load=INF)
    assert equal.clips_first == "both"


def test_results_share_no_memory_with_their_inputs():
    for name, call in CALLS.items():
        arrays = {key: np.full(3, value) for key, value in call.items() if isinstance(value, (int, float))}
        result = getattr(bias, name)(**(call | arrays))
        found = (
            [result]
            if isinstance(result, np.ndarray)
            else [getattr(result, f.name) for f in dataclasses.fields(result)]
        )
        for value in found:
            if isinstance(value, np.ndarray):
                assert not any(np.shares_memory(value, array) for array in arrays.values()), name


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: bias.noise_gain(resistance_feedback=0.0, resistance_input=0.0), "both be 0"),
        (lambda: bias.noise_gain(resistance_feedback=INF, resistance_input=INF), "both open"),
        (lambda: bias.closed_loop_bandwidth(1e6, noise_gain=0.5), "noise_gain must be at least 1"),
        (
            lambda: bias.output_offset(
                voltage_offset=1e-3,
                current_bias=0.0,
                current_offset=0.0,
                resistance_feedback=INF,
                resistance_input=1e3,
            ),
            "must be finite",
        ),
        (lambda: bias.opamp_follower(**(CALLS["opamp_follower"] | {"op_amp": "TL072"})), "op_amp must be"),
        (
            lambda: bias.opamp_buffer(**(CALLS["opamp_buffer"] | {"resistance_top": 0.0, "resistance_bottom": 0.0})),
            "shorts the supply",
        ),
    ],
)
def test_refusals(call, words):
    with pytest.raises((ValueError, TypeError), match=words):
        call()


def test_every_bias_direction_is_known():
    assert {replace(part).bias_direction for part in (OPAMP_4558, OPAMP_NE5532, OPAMP_TL072)} == {"in", "out"}


def test_output_stays_between_its_rails_and_the_loop_lets_go():
    point = bias.opamp_follower(
        np.array([0.0, 3.0, 9.0]),
        voltage_half_supply=4.5,
        resistance_half_supply=5e3,
        resistance_bias=1e6,
        capacitance_input=22e-9,
        op_amp=OPAMP_TL072,
    )
    np.testing.assert_allclose(point.voltage_output[:2], [0.0, 3.0])
    np.testing.assert_allclose(point.voltage_inverting, point.voltage_output)
    assert np.all(point.voltage_noninverting > 4.5) and np.all(point.voltage_peak[:2] == 0)
    assert "no room left to swing" in " ".join(caution.what for caution in point.cautions)
