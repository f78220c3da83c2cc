"""The whole board: operating points against hand-worked circuits, laws' residuals and the energy that goes round."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import circuit, devices, laws
from pedalcalc.board import assemble
from pedalcalc.circuit._outputs import Amplifiers
from pedalcalc.laws.amplifiers import amplifier_figures
from pedalcalc.parts import Connection, Part
from tests.circuit_parts import NAN, board, clip, diode, part, resistor
from tests.conftest import ROOT
from tests.oracle_circuit import left_over, random_board, rounded

DIVIDER = assemble([clip(), resistor("R1", 10e3, "rail", "half"), resistor("R2", 20e3, "half", "ground")], supply=9.0)
LADDER = assemble([clip(), resistor("R1", 10e3, "in", "half"), resistor("R2", 20e3, "half", "ground")], supply=9.0)
BOARDS = {
    name: assemble(ROOT / "notebooks" / "builds" / name / "parts.csv", supply=9.0)
    for name in ("jfet-booster", "optical-compressor")
}

CALLS = {
    "corners": {"board": DIVIDER, "net_in": "half", "net_out": "half"},
    "impedance": {"board": DIVIDER, "frequency": 1e3, "net": "half", "net_in": "half", "net_out": "half"},
    "operating_point": {"board": DIVIDER},
    "transfer_function": {"board": LADDER, "net_in": "in", "net_out": "half"},
    "response": {"board": DIVIDER, "frequency": 1e3, "net_in": "half", "net_out": "half"},
    "waveform": {"board": DIVIDER, "time": np.array([0.0, 1e-3, 2e-3]), "net_in": "half", "net_out": "half"},
}


def test_a_divider_is_the_divider():
    point = circuit.operating_point(DIVIDER, values={"R2": np.array([10e3, 20e3, 0.0, np.inf])})
    np.testing.assert_allclose(point.voltages["half"], [4.5, 6.0, 0.0, 9.0], rtol=1e-12)


def test_next_to_no_current_is_no_answer_by_itself():
    """Less than a picoampere flows: wherever the net stood, all currents would cancel."""
    by_hand = 9.0 * np.array([1e13 / 2e13, 1e13 / 4e13, 1e13 / 1.1e14, 1e13 / (1e13 + 1e3)])
    ohms = np.array([1e13, 3e13, 1e14, 1e3])
    found = circuit.operating_point(DIVIDER, values={"R1": ohms, "R2": 1e13}).voltages["half"]
    np.testing.assert_allclose(found, by_hand, rtol=1e-9)


@pytest.mark.parametrize("name", BOARDS)
def test_a_lamp_that_nothing_leads_on_has_one_state(name):
    """Bypassed, the indicator's cathode hangs on the lamp alone, which then drops nothing."""
    point = circuit.operating_point(replace(BOARDS[name], bypassed=True))
    assert point.others == ()


@pytest.mark.parametrize("ohms", [22e3, 1e6])
def test_a_latch_has_both_its_states(ohms):
    """An op-amp that feeds its output back to its non-inverting input stays at either limit, by little feedback too."""
    latch = assemble(
        [
            clip(), resistor("R1", 10e3, "rail", "half"), resistor("R2", 10e3, "half", "ground"),
            resistor("R3", 10e3, "half", "plus"), resistor("R4", ohms, "plus", "out"),
            part("IC1", "integrated circuit", NAN, "", "TL071", _1="not connected", _2="half", _3="plus", _4="ground",
                 _5="not connected", _6="out", _7="rail", _8="not connected"),
        ],
        supply=9.0,
    )  # fmt: skip
    point, record = circuit.operating_point(latch), devices.typical(devices.OPAMP_TL071)
    (other,) = point.others
    ends = (record.headroom_bottom, 9.0 - record.headroom_top)
    assert sorted([point.voltages["out"], other["out"]]) == pytest.approx(ends, abs=0.02)


@pytest.mark.parametrize("number", [179, 2774, 3737])
def test_outputs_that_fight_each_other_come_to_rest(number):
    """Boards of several op-amp outputs on few nets, whose one stable state neither the supply's rise nor power-up meets."""
    board = random_board(np.random.default_rng([20261126, number]))
    point = circuit.operating_point(board)
    for net, (total, size) in left_over(board, dict(point.voltages)).items():
        assert np.isnan(total) or abs(total) <= 1e-7 * size + 1e-9, net


@pytest.mark.parametrize("number", range(60))
def test_random_boards_are_solved_and_their_currents_cancel(number):
    board = random_board(np.random.default_rng([3, number]))
    point = circuit.operating_point(board)
    if point.unpredictable:
        return
    _cancels_to_the_last_rounding(board, dict(point.voltages))


@pytest.mark.parametrize("number", [21, 1028, 1154, 1191])
def test_sums_that_stand_out_are_roundings_of_the_volts(number):
    """Boards whose sums were up to 4e-4 of their sizes: bases driven by the rail, and inputs within a rounding."""
    board = random_board(np.random.default_rng([777, number]))
    point = circuit.operating_point(board)
    assert not point.unpredictable
    sums = left_over(board, volts := dict(point.voltages))
    assert max(abs(total) / size for total, size in sums.values() if size > 1e-9) > 1e-9
    _cancels_to_the_last_rounding(board, volts)


def _cancels_to_the_last_rounding(board, volts):
    sums = left_over(board, volts)
    allowed = rounded(board, volts, sums)
    for net, (total, _) in sums.items():
        assert abs(total) <= allowed[net], net


@pytest.mark.parametrize("name", BOARDS)
def test_power_in_is_power_out(name):
    point = circuit.operating_point(BOARDS[name])
    assert sum(point.powers.values()) == pytest.approx(9.0 * point.current_supply, rel=1e-8)


def test_both_pins_on_one_net_are_refused_with_part_and_net():
    with pytest.raises(ValueError, match="R2: both its pins are on the net 'half'"):
        circuit.operating_point(assemble([clip(), resistor("R2", 1e3, "half", "half")], supply=9.0))


def test_a_drop_that_nothing_limits_is_refused_by_name():
    upright = replace(devices.typical(devices.DIODE_1N4148), ideality=0.0, resistance_series=0.0)
    built = assemble(
        [
            clip(),
            resistor("R1", 1e3, "rail", "out"),
            part("D1", "diode", NAN, "", "1N4148", anode="out", cathode="ground"),
        ],
        supply=9.0,
    )
    with pytest.raises(ValueError, match="D1: ideality 0 with resistance_series 0"):
        circuit.operating_point(built, values={"D1": upright})
    kinked = replace(upright, resistance_series=1e-3, voltage_forward=0.7)
    assert circuit.operating_point(built, values={"D1": kinked}).voltages["out"] == pytest.approx(0.7, abs=1e-4)


def test_a_part_turned_round_is_warned_of_where_it_stands():
    # at 9 V: a tantalum bead against the rail, and a BC549C whose emitter meets the rail (its sheet: 5 to 8 V)
    bead = Part("C1", "tantalum capacitor", 1e-6, "F", "1u", NAN, NAN, 16.0, NAN, NAN,
                (Connection("plus", "rail"), Connection("minus", "ground")), "")  # fmt: skip
    npn = part("Q1", "transistor", NAN, "", "BC549C", collector="rail", base="base", emitter="ground")
    built = assemble([clip(), resistor("R1", 1e6, "base", "ground"), bead, npn], supply=9.0)
    assert not circuit.operating_point(built).cautions
    (told,) = circuit.operating_point(built, faults={"C1": "reversed"}).cautions
    assert "C1 (1u) is reversed" in told.what and told.value == pytest.approx(-9.0)
    whats = [one.what for one in circuit.operating_point(built, faults={"Q1": "reversed"}).cautions]
    assert any("base-emitter junction of Q1 (BC549C) is in reverse breakdown" in what for what in whats)


def test_many_supplies_are_many_units():
    dual = {"1": "a", "2": "a", "3": "half", "4": "ground", "5": "half", "6": "b", "7": "b", "8": "rail"}
    parts = [clip(), resistor("R1", 1e4, "rail", "half"), resistor("R2", 1e4, "half", "ground")]
    built = assemble([*parts, part("IC1", "integrated circuit", NAN, "", "TL072", **dual)], supply=9.0)
    point = circuit.operating_point(built, values={"supply": np.array([9.0, 12.0, 18.0])})
    np.testing.assert_allclose(point.voltages["a"], [4.5, 6.0, 9.0], atol=1e-3)


def test_what_is_not_there_is_named():
    with pytest.raises(ValueError, match="has no R9"):
        circuit.operating_point(DIVIDER, values={"R9": 1e3})
    with pytest.raises(ValueError, match="faults: R1 must be one of"):
        circuit.operating_point(DIVIDER, faults={"R1": "melted"})
    with pytest.raises(ValueError, match="there is no net 'haf'"):
        circuit.operating_point(DIVIDER, bridges={("haf", "rail"): 1e3})
    with pytest.raises(ValueError, match="shorts the supply"):
        circuit.operating_point(DIVIDER, bridges={("rail", "ground"): 0.0})


def test_a_phase_shift_loop_is_told_to_swing():
    """Three buffered RC sections in an inverting loop swing from a gain of 8 at 1.73/(2 pi R C) (textbook, from memory)."""

    def loop(gain):
        def dual(reference, one, two):
            pins = {
                "1": one[2],
                "2": one[1],
                "3": one[0],
                "4": "ground",
                "5": two[0],
                "6": two[1],
                "7": two[2],
                "8": "rail",
            }
            return part(reference, "integrated circuit", NAN, "", "TL072", **pins)

        def section(k, fed, out):
            pins = (Connection("1", out), Connection("2", "half"))
            shunt = Part(f"C{k}", "film capacitor", 10e-9, "F", "10n", NAN, NAN, NAN, NAN, NAN, pins, "")
            return [resistor(f"R{k}", 10e3, fed, out), shunt]

        return assemble(
            [
                clip(), resistor("R11", 1e3, "rail", "half"), resistor("R12", 1e3, "half", "ground"),
                *section(1, "loop", "a"), *section(2, "a2", "b"), *section(3, "b2", "c"),
                dual("IC1", ("a", "a2", "a2"), ("b", "b2", "b2")),
                dual("IC2", ("c", "c2", "c2"), ("half", "minus", "loop")),
                resistor("R4", 10e3, "c2", "minus"), resistor("R5", gain * 10e3, "minus", "loop"),
            ],
            supply=18.0,
        )  # fmt: skip

    def swings(gain):
        return [one for one in circuit.operating_point(loop(gain)).cautions if "swing" in one.what]

    assert not swings(7.5)
    (one,) = swings(8.5)
    assert one.value == pytest.approx(np.sqrt(3) / (2 * np.pi * 10e3 * 10e-9), rel=0.05)


def test_an_op_amp_thrown_from_limit_to_limit_is_met_where_its_gain_is_at_work():
    """A straight line between the limits: met anywhere on it, slope and current are those of the whole line."""
    from pedalcalc.circuit._assembly import system_of
    from pedalcalc.circuit.elements import elements_of

    group = system_of(elements_of(BOARDS["optical-compressor"])).amplifiers
    low = np.array([0.0, 1.0, 1.6, 16.0, 0.0])[None, :, None] * np.ones((1, 5, len(group.names)))
    high = low.copy()
    high[:, :2] = high[:, 1::-1]  # inputs exchanged, output still low
    met = group.limited(high, low, None)
    _, slopes = group.branch(met, None)
    law, _ = group.figures
    np.testing.assert_allclose(slopes[:, 2, 2], 1 / law.resistance * np.ones_like(slopes[:, 2, 2]), rtol=1e-9)
    np.testing.assert_allclose(slopes[:, 2, 0], -law.gain / law.resistance * np.ones_like(slopes[:, 2, 0]), rtol=1e-9)


@pytest.mark.parametrize(
    ("kind", "net", "paid"),
    [("NE5532", "rail", 4), ("NE5532", "half", 3), ("LM358", "ground", 4), ("LM358", "half", 3)],
)
def test_bias_currents_pass_through_the_part_from_rail_to_rail(kind, net, paid):
    """KIRCHHOFF by hand: what flows into an input leaves by the negative pin, what flows out came in by the positive one.

    So a follower's inverting input costs the supply its bias current, one at the rail that feeds or takes it as much, and one
    amid a divider of equal resistors half as much.
    """
    record, pins = (
        devices.typical(getattr(devices, f"OPAMP_{kind}")),
        {"_1": "out", "_2": "out", "_3": net, "_4": "ground"},
    )
    built = board(
        part("IC1", "integrated circuit", NAN, "", kind, **pins, _5=net, _6="spare", _7="spare", _8="rail"),
        resistor("R1", 1e3, "rail", "half"), resistor("R2", 1e3, "half", "ground"),
    )  # fmt: skip
    over = circuit.operating_point(built).current_supply - 2 * record.current_quiescent - 9.0 / 2e3
    assert over == pytest.approx(paid * record.current_bias, abs=1e-10)


@pytest.mark.parametrize("kind", ["NE5532", "LM358", "TL072"])
def test_an_op_amp_s_slopes_are_the_differences_of_its_currents(kind):
    """Inputs within and beyond the rails, supplies above and below the lowest; central differences of a microvolt."""
    record, place = devices.typical(getattr(devices, f"OPAMP_{kind}")), np.arange(5)
    law = amplifier_figures(record)
    law = type(law)(*(np.reshape(np.asarray(one, float), 1) for one in law))
    one = Amplifiers(
        names=("IC1",), nets=(("plus", "minus", "out", "rail", "ground"),), at=place, above=None, weight=None, pinned=None,
        figures=(law, np.array([record.voltage_supply_min])),
    )  # fmt: skip
    random, units = np.random.default_rng(4), 500
    volts = random.uniform(-2.0, 12.0, (units, 5, 1))
    volts[:, 3], volts[:, 4] = random.uniform(3.0, 9.0, (units, 1)), random.uniform(-3.0, 1.0, (units, 1))

    def law_of(shift):
        flows, slopes = one.branch(volts + shift, None, (np.zeros((units, 5, 1)), np.zeros((units, 5, 5, 1))))
        return flows[..., 0], slopes[..., 0]

    apart = 1e-6 * np.eye(5)[:, :, None]
    seen = np.stack([(law_of(d)[0] - law_of(-d)[0]) / 2e-6 for d in apart], axis=2)
    told = law_of(0.0)[1]
    # An output current of amperes leaves the supplies' own slopes in the rounding of its differences.
    noise = 1e-10 * (1 + np.abs(law_of(0.0)[0]).max())
    np.testing.assert_allclose(told[:, :2], seen[:, :2], atol=max(1e-6 * record.current_bias, 1e-15), rtol=1e-5)
    np.testing.assert_allclose(told[:, 3:, 3:], seen[:, 3:, 3:], atol=50 * noise, rtol=1e-5)
    flows, slopes = one.branch(volts, None, (np.zeros((units, 5, 1)), np.zeros((units, 5, 5, 1))))
    starved = volts[:, 3, 0] - volts[:, 4, 0] < record.voltage_supply_min
    inside = ((volts[:, :2, 0] >= volts[:, 4]) & (volts[:, :2, 0] <= volts[:, 3])).all(axis=1)
    for k in np.flatnonzero(inside):  # one alone may take the short way of what is not starved, beside others none does
        alone, own = one.branch(volts[k : k + 1], None, (np.zeros((1, 5, 1)), np.zeros((1, 5, 5, 1))))
        np.testing.assert_allclose(alone[0], flows[k], rtol=1e-9, atol=1e-18)
        np.testing.assert_allclose(own[0], slopes[k], rtol=1e-9, atol=1e-18)
    assert (inside & ~starved).any()


def test_an_input_that_a_blocking_diode_holds_stands_beyond_the_rail():
    """45 nA out of an LM358's input and no way but a diode's leakage: what is left of them is what that takes, by the law's line."""
    spare = {"_5": "in", "_6": "spare", "_7": "spare"}
    pins = {"_1": "out", "_2": "out", "_3": "in", "_4": "ground", "_8": "rail", **spare}
    built = board(
        part("IC1", "integrated circuit", NAN, "", "LM358", **pins), diode("D1", "ground", "in"),
        resistor("R1", 10e3, "out", "ground"),
    )  # fmt: skip
    bias = 2 * devices.typical(devices.OPAMP_LM358).current_bias
    leak = -float(laws.junction(-9.8, junction=devices.typical(devices.DIODE_1N4148)).current)
    volts = circuit.operating_point(built).voltages["in"]
    assert volts == pytest.approx(9.0 + 0.3 + 0.6 * (1 - leak / bias), abs=1e-6)
