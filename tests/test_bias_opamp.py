"""Op-amp stages and what all stages share: sympy, limits, scaling, cautions, refusals."""

from __future__ import annotations

import dataclasses
from dataclasses import replace

import numpy as np
import pytest
import sympy as sp

from pedalcalc import bias, devices, laws
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
    assert point.voltage_half_supply_read == pytest.approx(4.5 * 10e6 / 10.005e6)
    high = OPAMP_4558.current_bias.high
    assert point.voltage_error == pytest.approx(6e-3 + high * (path + 100e3))
    into = bias.opamp_noninverting(**(NONINVERTING | {"op_amp": OPAMP_NE5532}))
    assert into.voltage_noninverting < 4.5 < point.voltage_noninverting
    matched = bias.opamp_inverting(**(INVERTING | {"resistance_half_supply": 0.0}))
    assert matched.voltage_output == pytest.approx(4.5, rel=1e-10)
    direct = bias.opamp_noninverting(**(NONINVERTING | {"capacitance_gain": INF}))
    assert direct.frequency_low_gain == 0
    assert direct.voltage_output == pytest.approx(
        direct.voltage_noninverting + (direct.voltage_noninverting - 4.5) * 10 + i_b * 100e3,
        rel=11 * 1.5 / 2e5,  # the loop gain leaves so much
    )


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
    assert buffer.voltage_half_supply_read == pytest.approx(4.5 * 10e6 / (10e6 + 23.5e3))
    assert buffer.frequency_low == 0 and buffer.impedance_input == 0


def test_swing_from_the_rails():
    # Headroom of the TL072 scaled from its ±15 V sheet: 1.5 V typical, 3 V worst (SHEET-TL072). At a gain of 11 the
    # input hardly moves, so that the output's headroom decides.
    point = bias.opamp_noninverting(**(NONINVERTING | {"op_amp": OPAMP_TL072}))
    assert 2 * point.voltage_peak == pytest.approx(6.0, abs=1e-2)
    assert 2 * point.voltage_peak_worst == pytest.approx(3.0, abs=1e-2)
    assert not point.cautions


@pytest.mark.parametrize("volts", [7.0, 8.4, 9.0, 9.6])
@pytest.mark.parametrize("op_amp", [OPAMP_TL072, OPAMP_NE5532, devices.OPAMP_LM358], ids=lambda record: record.name)
def test_the_swing_of_a_follower_ends_where_its_input_leaves_the_law(volts, op_amp):
    # A follower's inputs swing as far as its output: the TL072's reach down to 3 V above the negative rail only.
    point = bias.opamp_follower(
        **(CALLS["opamp_follower"] | {"voltage_supply": volts, "voltage_half_supply": volts / 2, "op_amp": op_amp})
    )
    part = devices.typical(op_amp)

    def works(peak):
        for moved in (peak, -peak):
            pin = point.voltage_noninverting + moved
            flow = laws.amplifier(
                voltage_noninverting=pin,
                voltage_inverting=pin,
                voltage_output=pin,
                voltage_positive=volts,
                voltage_negative=0.0,
                op_amp=replace(part, below_input_range="turns phase", above_input_range="turns phase"),
            )
            reached = part.headroom_bottom < pin < volts - part.headroom_top
            if not (flow.predictable and reached):
                return False
        return True

    assert works(point.voltage_peak - 1e-6) and not works(point.voltage_peak + 1e-6)
    folds = any("fold over" in caution.what for caution in point.cautions)
    assert folds == (op_amp is not devices.OPAMP_LM358), "the LM358's inputs reach as far as its output"
    if op_amp is OPAMP_TL072:
        assert point.voltage_peak == pytest.approx(volts / 2 - 3.0, abs=1e-3)


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
    assert lost.voltage_output == pytest.approx(9.0 - 1.0) and lost.voltage_noninverting_read == 0
    assert lost.swing_up == 0
    lost = bias.opamp_follower(**(CALLS["opamp_follower"] | {"resistance_bias": INF, "op_amp": OPAMP_NE5532}))
    assert lost.voltage_output == pytest.approx(1.5, rel=1e-4)
    # The 4558's bias current flows out and lifts the inverting pin, which nothing holds: the output goes down, but not
    # beyond the record's headroom. With the gain resistor straight on the reference the pin stays, and the drop of the
    # larger bias resistor decides.
    no_feedback = bias.opamp_noninverting(**(NONINVERTING | {"resistance_feedback": INF}))
    assert no_feedback.voltage_output == 1.5 and no_feedback.voltage_inverting == 9.0 and no_feedback.gain == 2e5
    assert no_feedback.frequency_high == 0
    straight = bias.opamp_noninverting(**(NONINVERTING | {"resistance_feedback": INF, "capacitance_gain": INF}))
    assert straight.voltage_output == 9.0 - 1.0
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
    assert (
        bias.loaded_gain(1.0, resistance_source=INF, resistance_load=INF, impedance_input=INF, impedance_output=0.0)
        == 0
    ), "an open source gives nothing, whatever it meets"
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
    none = bias.symmetrical_swing(1e-3, voltage_headroom=0.0, resistance_output_dc=0.0, resistance_load=1e3)
    assert none.voltage_peak == 0 and none.current_centred == 1e-3 and none.clips_first == "both"


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
            lambda: bias.opamp_inverting(
                **(CALLS["opamp_inverting"] | {"resistance_feedback": INF, "resistance_source": INF})
            ),
            "must not both be open",
        ),
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
    np.testing.assert_allclose(point.voltage_output[:2], [0.0, 1.5], atol=1e-6)
    np.testing.assert_allclose(point.voltage_inverting, point.voltage_output)
    assert np.all(point.voltage_noninverting > 4.5) and np.all(point.voltage_peak[:2] == 0)
    assert "no room left to swing" in " ".join(caution.what for caution in point.cautions)
