"""Op-amp stages, gain resistors and speed: sympy, limits, scaling, cautions, refusals."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import sympy as sp

from pedalcalc import devices, laws, opamp
from pedalcalc.devices import METER_DIGITAL, METER_POINTER

INF = float("inf")
OPAMP_4558, OPAMP_NE5532, OPAMP_TL072, OPAMP_LM358 = (
    devices.typical(kind)
    for kind in (devices.OPAMP_4558, devices.OPAMP_NE5532, devices.OPAMP_TL072, devices.OPAMP_LM358)
)
_REFERENCE = {
    "voltage_half_supply": 4.5,
    "resistance_half_supply": 5e3,
    "op_amp": OPAMP_4558,
    "meter": METER_DIGITAL,
}

CALLS = {
    "noninverting": {
        "voltage_supply": 9.0,
        "resistance_bias": 470e3,
        "resistance_feedback": 100e3,
        "resistance_ground": 10e3,
        "capacitance_input": 22e-9,
        "capacitance_gain": 2.2e-6,
        "resistance_generator": 10e3,
        **_REFERENCE,
    },
    "follower": {
        "voltage_supply": 9.0,
        "resistance_bias": 470e3,
        "capacitance_input": 22e-9,
        "resistance_generator": 10e3,
        **_REFERENCE,
    },
    "inverting": {
        "voltage_supply": 9.0,
        "resistance_feedback": 100e3,
        "resistance_input": 10e3,
        "capacitance_input": 1e-6,
        "resistance_compensation": 100e3,
        "resistance_generator": 1e3,
        **_REFERENCE,
    },
    "choose_gain_resistors": {
        "gain_signed": 11.0,
        "stock": "E12",
        "resistance_min": 1e3,
        "resistance_max": 1e6,
        "resistance_feedback": 100e3,
    },
    "speed": {"frequency": 20e3, "voltage_peak": 3.0, "noise_gain": 11.0, "op_amp": OPAMP_4558},
}

NONINVERTING = CALLS["noninverting"]
INVERTING = CALLS["inverting"]


def _network(**changes):
    """A stage that is nothing but its feedback network: a stiff reference, large capacitors, nothing ahead."""
    return {
        "voltage_supply": 9.0,
        "voltage_half_supply": 4.5,
        "resistance_half_supply": 0.0,
        "capacitance_input": INF,
        "op_amp": OPAMP_TL072,
        "meter": METER_DIGITAL,
    } | changes


def test_gains_with_finite_open_loop_against_sympy():
    a, rf, ri, vin, vo, vm = sp.symbols("A R_f R_i v_in v_o v_m")
    inverting = sp.solve([(vin - vm) / ri - (vm - vo) / rf, vo + a * vm], [vo, vm], dict=True)[0][vo] / vin
    straight = sp.solve([vm / ri - (vo - vm) / rf, vo - a * (vin - vm)], [vo, vm], dict=True)[0][vo] / vin
    numbers = {a: 1000, rf: 47e3, ri: 3.3e3}
    weak = replace(OPAMP_TL072, gain_open_loop=1000.0)
    down = opamp.inverting(**_network(resistance_feedback=47e3, resistance_input=3.3e3, op_amp=weak))
    up = opamp.noninverting(
        **_network(
            resistance_feedback=47e3, resistance_ground=3.3e3, op_amp=weak, resistance_bias=1e6, capacitance_gain=1.0
        )
    )
    assert down.gain_signed == pytest.approx(float(inverting.subs(numbers)), rel=1e-12)
    assert up.gain_signed == pytest.approx(float(straight.subs(numbers)), rel=1e-12)
    assert down.gain_ideal == pytest.approx(-47 / 3.3)
    assert up.gain_ideal == pytest.approx(1 + 47 / 3.3) == up.noise_gain == pytest.approx(down.noise_gain)


def test_open_and_shorted_feedback():
    def up(feedback, ground):
        return opamp.noninverting(
            **_network(
                resistance_feedback=feedback, resistance_ground=ground, resistance_bias=1e6, capacitance_gain=1.0
            )
        )

    assert up(0.0, 1e3).gain_ideal == 1 == up(1e3, INF).gain_ideal
    assert up(INF, 1e3).gain == 2e5
    assert opamp.inverting(**_network(resistance_feedback=1e3, resistance_input=0.0)).gain_signed == -2e5
    assert opamp.inverting(**_network(resistance_feedback=0.0, resistance_input=1e3)).gain_signed == 0


def test_output_impedance_of_a_stage_is_that_of_its_noise_gain():
    point = opamp.noninverting(**NONINVERTING)
    part = NONINVERTING["op_amp"]
    expected = part.resistance_output_open / (1 + part.gain_open_loop / 11)
    assert point.impedance_output == pytest.approx(expected, rel=1e-12)
    # An inverting stage is fed back through what drives it too, which lowers its noise gain.
    behind = opamp.inverting(
        **_network(resistance_feedback=100e3, resistance_input=10e3, resistance_generator=15e3, op_amp=part)
    )
    expected = part.resistance_output_open / (1 + part.gain_open_loop / 5)
    assert behind.impedance_output == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("margin", "told"), [(1.5, False), (1.6, True), (2.4, True)])
def test_an_input_range_that_ends_the_swing_is_told(margin, told):
    """Half of 9 V less 1.5 V of headroom leaves 3 V; an input that works down to a higher margin leaves 4.5 V less that."""
    part = replace(
        OPAMP_TL072, headroom_top=1.5, headroom_bottom=1.5, input_margin_top=0.0, input_margin_bottom=margin, current_bias=0.0
    )  # fmt: skip
    point = opamp.follower(**(CALLS["follower"] | {"op_amp": part}))
    assert point.voltage_peak == pytest.approx(4.5 - max(margin, 1.5))
    assert any("out of range" in caution.what for caution in point.cautions) == told


def test_speed_pairs_are_inverse():
    found = opamp.speed(**CALLS["speed"])
    just = replace(OPAMP_4558, gain_bandwidth=found.gain_bandwidth_needed, slew_rate=found.slew_rate_needed)
    limit = opamp.speed(20e3, voltage_peak=3.0, noise_gain=11.0, op_amp=just)
    assert (limit.frequency_high, limit.frequency_full_power) == pytest.approx((20e3, 20e3))
    assert limit.voltage_peak_slew == pytest.approx(3.0)
    # The steepest place of a sine, by differences: half a microsecond either side of its zero.
    step = 5e-7
    steep = 3.0 * (np.sin(2 * np.pi * 20e3 * step) - np.sin(-2 * np.pi * 20e3 * step)) / (2 * step)
    assert found.slew_rate_needed == pytest.approx(steep, rel=1e-3)
    silent = opamp.speed(0.0, voltage_peak=0.0, noise_gain=1.0, op_amp=OPAMP_4558)
    assert silent.frequency_full_power == INF == silent.voltage_peak_slew and not silent.cautions
    point = opamp.noninverting(**NONINVERTING)
    assert point.frequency_high == pytest.approx(found.frequency_high)
    # A stage at its full swing is just as steep as its op-amp at the frequency it gives.
    full = opamp.speed(point.frequency_full_power, voltage_peak=point.voltage_peak, noise_gain=11.0, op_amp=OPAMP_4558)
    assert full.slew_rate_needed == pytest.approx(OPAMP_4558.slew_rate)


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"voltage_peak": 30.0}, "sine becomes a triangle"), ({"noise_gain": 200.0}, "own corner lies below")],
)
def test_slow_parts_are_cautioned(changes, words):
    found = opamp.speed(**(CALLS["speed"] | changes))
    assert [words in caution.what for caution in found.cautions] == [True]
    assert not opamp.speed(**CALLS["speed"]).cautions


def _worst_shift(behind, path, feedback, leg, offset, current):
    """The largest departure of the output from 0, over all signs of offset and of both bias currents: Kirchhoff."""
    vo, vm, n = sp.symbols("v_o v_m n")
    found = []
    for s_v, s_p, s_m in itertools.product((-1, 1), repeat=3):
        plus = n - s_p * current * path + s_v * offset
        to_leg = 0 if leg == INF else (n - vm) / leg
        circuit = [(vo - vm) / feedback + to_leg - s_m * current, vm - plus, n + behind * (s_p * current + to_leg)]
        found.append(sp.solve(circuit, [vo, vm, n])[vo])
    return float(max(abs(one) for one in found))


@pytest.mark.parametrize("straight", [False, True], ids=["capacitor in the gain leg", "gain leg on the reference"])
@pytest.mark.parametrize(("offset", "current"), [(3e-3, 60e-9), (6e-3, 0.0), (0.0, 500e-9)])
def test_dc_error_is_the_worst_of_all_signs(straight, offset, current):
    part = replace(OPAMP_4558, voltage_offset=offset, current_bias=current)
    point = opamp.noninverting(**(NONINVERTING | {"op_amp": part, "capacitance_gain": INF if straight else 2.2e-6}))
    expected = _worst_shift(5e3, 470e3, 100e3, 10e3 if straight else INF, offset, current)
    assert point.voltage_error == pytest.approx(expected, rel=1e-12)
    turned = opamp.inverting(**(INVERTING | {"op_amp": part}))
    assert turned.voltage_error == pytest.approx(_worst_shift(5e3, 100e3, 100e3, INF, offset, current), rel=1e-12)
    follower = opamp.follower(**(CALLS["follower"] | {"op_amp": part}))
    assert follower.voltage_error == pytest.approx(offset + current * 475e3, rel=1e-12)


def test_dc_error_of_an_ideal_part_is_what_the_point_itself_shows():
    """Without bias current and offset the output stands on the reference, straight gain leg or not."""
    clean = replace(OPAMP_4558, voltage_offset=0.0, current_bias=0.0)
    for capacitance in (2.2e-6, INF):
        point = opamp.noninverting(**(NONINVERTING | {"op_amp": clean, "capacitance_gain": capacitance}))
        assert point.voltage_error == 0.0
        assert point.voltage_output == pytest.approx(4.5, rel=1e-12)


def test_gain_resistors_are_the_nearest_pair_of_all():
    for wanted in (-33.0, -2.7, -0.4, 1.3, 2.0, 5.0, 11.0, 47.0):
        found = opamp.choose_gain_resistors(wanted, stock="E12", resistance_min=4.7e3, resistance_max=220e3)
        stock = [v * 10**d for d in (3, 4, 5) for v in (1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)]
        stock = [v for v in stock if 4.6e3 < v < 221e3]
        ratio = wanted - 1 if wanted > 0 else -wanted
        best = min(abs(np.log(f / g / ratio)) for f in stock for g in stock)
        assert abs(np.log(found.resistance_feedback / found.resistance_ground / ratio)) == pytest.approx(best, abs=1e-9)
        assert found.error == pytest.approx(found.gain_signed / wanted - 1)
        rest = {"capacitance_gain": 1.0, "resistance_bias": 1e6} if wanted > 0 else {}
        leg = {"resistance_ground" if wanted > 0 else "resistance_input": found.resistance_ground}
        built = (opamp.noninverting if wanted > 0 else opamp.inverting)(
            **_network(resistance_feedback=found.resistance_feedback, **leg, **rest)
        )
        assert built.gain_ideal == pytest.approx(found.gain_signed)
    low = opamp.choose_gain_resistors(2.0, stock="E12")
    assert (low.resistance_feedback, low.resistance_ground) == (1e3, 1e3), "of equals the lowest"
    one = opamp.choose_gain_resistors(11.0, stock=["9k1", "12k"], resistance_feedback=100e3)
    assert one.resistance_ground == 9100.0 and one.error == pytest.approx((1 + 100 / 9.1) / 11 - 1)


@pytest.mark.parametrize("wanted", [0.0, 0.5, 1.0, float("nan"), [2.0, 3.0]])
def test_gains_of_neither_stage_are_refused(wanted):
    with pytest.raises(ValueError, match="gain_signed"):
        opamp.choose_gain_resistors(wanted, stock="E12")


def test_dc_at_each_pin():
    point = opamp.noninverting(**NONINVERTING)
    i_b = -OPAMP_4558.current_bias  # flows out of its PNP inputs
    path = 5e3 + 470e3
    assert point.voltage_noninverting == pytest.approx(4.5 - i_b * path)
    assert point.voltage_output == pytest.approx(point.voltage_inverting + i_b * 100e3)
    assert point.voltage_noninverting_read == pytest.approx(point.voltage_noninverting * 10e6 / (10e6 + path))
    assert point.voltage_half_supply == pytest.approx(4.5 - i_b * 5e3)
    assert point.voltage_half_supply_read == pytest.approx(point.voltage_half_supply * 10e6 / 10.005e6)
    assert point.voltage_error == pytest.approx(0.5e-3 - i_b * (path + 100e3))
    into = opamp.noninverting(**(NONINVERTING | {"op_amp": OPAMP_NE5532}))
    assert into.voltage_noninverting < 4.5 < point.voltage_noninverting
    matched = opamp.inverting(**(INVERTING | {"resistance_half_supply": 0.0}))
    assert matched.voltage_output == pytest.approx(4.5, rel=1e-10)
    direct = opamp.noninverting(**(NONINVERTING | {"capacitance_gain": INF}))
    assert direct.frequency_low_gain == 0
    # The leg carries what the bias resistor drops over it, and both come out of the reference.
    leg, left = i_b * 470e3 / 10e3, 11 * 1.5 / 2e5  # the loop gain leaves so much
    assert direct.voltage_half_supply == pytest.approx(4.5 - 5e3 * (i_b + leg), rel=left)
    assert direct.voltage_noninverting == pytest.approx(direct.voltage_half_supply - i_b * 470e3)
    assert direct.voltage_output == pytest.approx(direct.voltage_noninverting + 100e3 * (i_b - leg), rel=left)


def _nodes(op_amp, v_ref, r_ref, r_pin, r_f, r_leg, at_ref=INF, at_pin=INF):
    """Solve reference, both inputs and output by Kirchhoff's current law, a meter's resistance at one of them if given.

    Behind its output resistance the op-amp gives its gain times the input difference above the middle of 9 V, or where
    that is beyond a limit, the limit.
    """
    bias = op_amp.current_bias * (1 if op_amp.bias_direction == "in" else -1)
    gain, r_o = op_amp.gain_open_loop, op_amp.resistance_output_open

    def kcl(amplified, internal):
        g = [[1 / r_ref + 1 / r_pin + 1 / r_leg + 1 / at_ref, -1 / r_pin, -1 / r_leg, 0.0]]
        g.append([-1 / r_pin, 1 / r_pin + 1 / at_pin, 0.0, 0.0])
        g.append([-1 / r_leg, 0.0, 1 / r_leg + 1 / r_f, -1 / r_f])
        g.append([0.0, -amplified / r_o, amplified / r_o - 1 / r_f, 1 / r_f + 1 / r_o])
        found = np.linalg.solve(g, [v_ref / r_ref, -bias, -bias, internal / r_o])
        return found, internal + amplified * (found[1] - found[2])

    found, internal = kcl(gain, 4.5)
    low, high = op_amp.headroom_bottom, 9.0 - op_amp.headroom_top
    if not low <= internal <= high:
        found, _ = kcl(0.0, low if internal < low else high)
    return found


def test_gain_resistor_on_an_unbuffered_reference_against_a_nodal_solve():
    """NE5532, 50 kΩ reference, 1 MΩ to the pin: the leg's current takes the output from 2.21 V to 1.31 V, if it gets there."""
    known = {"resistance_half_supply": 50e3, "resistance_bias": 1e6, "resistance_feedback": 100e3}
    known |= {"resistance_ground": 10e3, "capacitance_gain": INF}
    free = replace(OPAMP_NE5532, headroom_bottom=0.0)
    assert opamp.noninverting(**(NONINVERTING | known | {"op_amp": free})).voltage_output == pytest.approx(
        1.31, abs=5e-3
    )
    held = opamp.noninverting(**(NONINVERTING | known | {"op_amp": OPAMP_NE5532}))
    assert held.voltage_output == pytest.approx(1.5, abs=2e-3) and held.swing_down < 2e-3
    rng = np.random.default_rng(4)
    for op_amp in (OPAMP_NE5532, OPAMP_4558, OPAMP_TL072, free):
        railed = 0
        for _ in range(40):
            v_ref = rng.uniform(1, 8)
            r_ref, r_pin, r_f, r_leg = 10 ** rng.uniform((3, 4, 3, 3), (5.5, 6.5, 6, 5))
            point = opamp.noninverting(
                9.0,
                voltage_half_supply=v_ref,
                resistance_half_supply=r_ref,
                resistance_bias=r_pin,
                resistance_feedback=r_f,
                resistance_ground=r_leg,
                capacitance_input=1e-6,
                capacitance_gain=INF,
                op_amp=op_amp,
                meter=METER_DIGITAL,
            )
            parts = (op_amp, v_ref, r_ref, r_pin, r_f, r_leg)
            railed += point.swing_up < 2e-3 or point.swing_down < 2e-3
            got = (point.voltage_half_supply, point.voltage_noninverting, point.voltage_inverting, point.voltage_output)
            np.testing.assert_allclose(got, _nodes(*parts), rtol=1e-8, atol=1e-8)
            assert point.voltage_half_supply_read == pytest.approx(_nodes(*parts, at_ref=10e6)[0], rel=1e-8, abs=1e-8)
            assert point.voltage_noninverting_read == pytest.approx(_nodes(*parts, at_pin=10e6)[1], rel=1e-8, abs=1e-8)
        assert railed < 38


def test_opens_and_shorts_of_a_leg_on_the_reference():
    direct = NONINVERTING | {"capacitance_gain": INF, "op_amp": OPAMP_NE5532}
    shorted = opamp.noninverting(**(direct | {"resistance_ground": 0.0}))
    assert shorted.voltage_output == pytest.approx(1.5, abs=0.01)
    assert shorted.voltage_inverting == pytest.approx(shorted.voltage_half_supply)
    free = opamp.noninverting(**(direct | {"resistance_ground": INF}))
    blocked = opamp.noninverting(**(direct | {"capacitance_gain": 1e-6}))
    assert free.voltage_output == pytest.approx(blocked.voltage_output, rel=1e-12)
    lost = opamp.noninverting(**(direct | {"resistance_bias": INF}))
    assert lost.voltage_noninverting == 0 and lost.voltage_output == pytest.approx(1.5, rel=1e-2)
    # With the output at its limit the reference feeds leg and feedback resistor.
    i_b = OPAMP_NE5532.current_bias
    across = lost.voltage_half_supply - lost.voltage_output + i_b * 100e3
    assert lost.voltage_half_supply == pytest.approx(4.5 - 5e3 * across / 110e3, rel=1e-9)
    no_feedback = opamp.noninverting(**(direct | {"resistance_feedback": INF}))
    assert no_feedback.voltage_half_supply == pytest.approx(4.5 - 2 * i_b * 5e3)
    assert no_feedback.voltage_inverting == pytest.approx(no_feedback.voltage_half_supply - i_b * 10e3)


def test_ac_of_the_stages():
    point = opamp.noninverting(**NONINVERTING)
    assert point.gain == pytest.approx(11 / (1 + 11 / 2e5))
    assert point.frequency_low == pytest.approx(1 / (2 * np.pi * 22e-9 * 480e3))
    assert point.frequency_low_gain == pytest.approx(1 / (2 * np.pi * 2.2e-6 * 10e3))
    assert point.frequency_high == pytest.approx(3e6 / 11)
    inverted = opamp.inverting(**INVERTING)
    assert inverted.gain_signed == pytest.approx(-10 / (1 + (1 + 100 / 11) / 2e5), rel=1e-9)
    assert inverted.frequency_high == pytest.approx(3e6 / (1 + 100 / 11))
    assert inverted.frequency_low == pytest.approx(1 / (2 * np.pi * 1e-6 * 11e3))
    follower = opamp.follower(**CALLS["follower"])
    assert follower.noise_gain == 1 and follower.frequency_high == pytest.approx(3e6)


def test_swing_from_the_rails():
    # Headroom of the TL072 scaled from its ±15 V sheet: 1.5 V typical, 3 V worst (SHEET-TL072). At a gain of 11 the
    # input hardly moves, so that the output's headroom decides.
    point = opamp.noninverting(**(NONINVERTING | {"op_amp": OPAMP_TL072}))
    worst = opamp.noninverting(**(NONINVERTING | {"op_amp": devices.low(devices.OPAMP_TL072)}))
    assert 2 * point.voltage_peak == pytest.approx(6.0, abs=1e-2)
    assert 2 * worst.voltage_peak == pytest.approx(3.0, abs=1e-2)
    assert not point.cautions


@pytest.mark.parametrize("volts", [7.0, 8.4, 9.0, 9.6])
@pytest.mark.parametrize("op_amp", [OPAMP_TL072, OPAMP_NE5532, OPAMP_LM358], ids=lambda record: record.name)
def test_the_swing_of_a_follower_ends_where_its_input_leaves_the_law(volts, op_amp):
    # A follower's inputs swing as far as its output: the TL072's reach down to 3 V above the negative rail only.
    point = opamp.follower(
        **(CALLS["follower"] | {"voltage_supply": volts, "voltage_half_supply": volts / 2, "op_amp": op_amp})
    )
    part = op_amp

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
    assert folds == (op_amp is not OPAMP_LM358), "the LM358's inputs reach as far as its output"
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
    point = opamp.follower(**(CALLS["follower"] | {"op_amp": OPAMP_TL072} | changes))
    assert any(words in caution.what for caution in point.cautions)


def test_open_parts_send_the_output_to_a_rail():
    lost = opamp.follower(**(CALLS["follower"] | {"resistance_bias": INF}))
    assert lost.voltage_output == pytest.approx(9.0 - 1.0) and lost.voltage_noninverting_read == 0
    assert lost.swing_up == 0
    lost = opamp.follower(**(CALLS["follower"] | {"resistance_bias": INF, "op_amp": OPAMP_NE5532}))
    assert lost.voltage_output == pytest.approx(1.5, rel=1e-4)
    # The 4558's bias current flows out and lifts the inverting pin, which nothing holds: the output goes down, but not
    # beyond the record's headroom. With the gain resistor straight on the reference the pin stays, and the drop of the
    # larger bias resistor decides.
    no_feedback = opamp.noninverting(**(NONINVERTING | {"resistance_feedback": INF}))
    assert no_feedback.voltage_output == 1.5 and no_feedback.voltage_inverting == 9.0 and no_feedback.gain == 2e5
    assert no_feedback.frequency_high == 0
    straight = opamp.noninverting(**(NONINVERTING | {"resistance_feedback": INF, "capacitance_gain": INF}))
    assert straight.voltage_output == 9.0 - 1.0
    no_reference = opamp.follower(**(CALLS["follower"] | {"resistance_half_supply": INF}))
    assert no_reference.voltage_half_supply_read == 0
    no_input = opamp.inverting(**(INVERTING | {"resistance_input": INF}))
    assert no_input.gain == 0 and no_input.frequency_low == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: opamp.inverting(**(INVERTING | {"resistance_feedback": 0.0, "resistance_input": 0.0})), "both be 0"),
        (
            lambda: opamp.noninverting(**(NONINVERTING | {"resistance_feedback": INF, "resistance_ground": INF})),
            "resistance_ground must not both be 0 or both open",
        ),
        (
            lambda: opamp.speed(1e3, voltage_peak=1.0, noise_gain=0.5, op_amp=OPAMP_TL072),
            "noise_gain must be at least 1",
        ),
        (lambda: opamp.follower(**(CALLS["follower"] | {"op_amp": "TL072"})), "op_amp must be"),
        (lambda: opamp.follower(**(CALLS["follower"] | {"op_amp": devices.OPAMP_TL072})), "devices.typical"),
        (lambda: opamp.speed(**(CALLS["speed"] | {"op_amp": devices.OPAMP_TL072})), "devices.typical"),
        (lambda: opamp.follower(**(CALLS["follower"] | {"meter": 10e6})), "meter must be a Meter"),
        (
            lambda: opamp.follower(**(CALLS["follower"] | {"meter": METER_POINTER})),
            "resistance_per_volt times the range",
        ),
        (
            lambda: opamp.inverting(**(INVERTING | {"resistance_feedback": INF, "resistance_generator": INF})),
            "must not both be open",
        ),
        (lambda: opamp.choose_gain_resistors(300.0, stock=["10k", "100k"]), "within reach"),
        (
            lambda: opamp.choose_gain_resistors(3.0, stock="E12", resistance_min=1e6, resistance_max=1e3),
            "resistance_min must be at most",
        ),
    ],
)
def test_refusals(call, words):
    with pytest.raises((ValueError, TypeError), match=words):
        call()


def test_every_bias_direction_is_known():
    assert {replace(part).bias_direction for part in (OPAMP_4558, OPAMP_NE5532, OPAMP_TL072)} == {"in", "out"}


def test_output_stays_between_its_rails_and_the_loop_lets_go():
    point = opamp.follower(
        np.array([0.0, 3.0, 9.0]),
        voltage_half_supply=4.5,
        resistance_half_supply=5e3,
        resistance_bias=1e6,
        capacitance_input=22e-9,
        op_amp=OPAMP_TL072,
        meter=METER_DIGITAL,
    )
    np.testing.assert_allclose(point.voltage_output[:2], [0.0, 1.5], atol=1e-6)
    np.testing.assert_allclose(point.voltage_inverting, point.voltage_output)
    assert np.all(point.voltage_noninverting > 4.5) and np.all(point.voltage_peak[:2] == 0)
    assert "no room left to swing" in " ".join(caution.what for caution in point.cautions)
