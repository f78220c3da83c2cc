"""A board in time against hand-written differential equations, solved by scipy's implicit Runge-Kutta method."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from pedalcalc import circuit, devices, laws
from pedalcalc.board import assemble
from tests.circuit_parts import LOSSLESS, NAN, board, capacitor, clip, diode, junction_by_hand, lossless, part, resistor
from tests.test_circuit import BOARDS

CLIPPER = assemble(
    [
        clip(),
        resistor("R1", 4.7e3, "in", "out"),
        capacitor("C1", 10e-9, "out", "ground"),
        diode("D1", "out", "ground"),
        diode("D2", "ground", "out"),
        resistor("R2", 10e3, "rail", "ground"),
    ],
    supply=9.0,
)


def test_two_diodes_and_a_capacitor_follow_their_equation():
    law = junction_by_hand(devices.typical(devices.DIODE_1N4148))
    time = np.linspace(0.0, 2e-3, 2001)
    seen = circuit.waveform(
        CLIPPER, time=time, voltage_input=3 * np.sin(2e3 * np.pi * time), net_in="in", net_out="out",
        resistance_generator=100.0, resistance_load=np.inf,
    )  # fmt: skip

    def slope(t, v):
        fed = (3 * np.sin(2e3 * np.pi * t) - v[0]) / 4.8e3
        return [(fed - law(v[0])[0] + law(-v[0])[0]) / 10e-9]

    exact = solve_ivp(slope, (0.0, 2e-3), [0.0], t_eval=time, method="Radau", rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(seen.voltages["out"], exact.y[0], atol=2e-4)


def test_the_supply_filter_charges_as_its_equation_says():
    """A diode, 100 ohm and 100 µF ahead of a load; the diode with its resistor is the closed form of its own law."""
    law = junction_by_hand(devices.typical(devices.DIODE_1N5817), resistance=100.0)
    built = board(
        diode("D1", "rail", "fed", "1N5817"), resistor("R1", 100.0, "fed", "held"),
        capacitor("C1", 100e-6, "held", "ground"), resistor("R2", 2.2e3, "held", "ground"), supply=9.0,
    )  # fmt: skip
    time = np.concatenate([[0.0], np.geomspace(1e-5, 0.2, 1200)])
    seen = circuit.waveform(
        built, time=time, start="off", net_in="held", net_out="held", resistance_generator=1e12, resistance_load=np.inf,
        values=lossless(built),
    )  # fmt: skip

    def slope(_, v):
        return [(law(9.0 - v[0])[0] - v[0] / 2.2e3) / 100e-6]

    exact = solve_ivp(slope, (0.0, 0.2), [0.0], t_eval=time, method="Radau", rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(seen.voltages["held"], exact.y[0], atol=2e-3)
    assert 4.0 < np.interp(0.01, time, exact.y[0]) < 6.5, "on its way after one time constant"


def test_a_whole_board_switched_on_ends_where_it_rests():
    built = BOARDS["jfet-booster"]
    time = np.concatenate([[0.0], np.geomspace(1e-5, 1.0, 600)])
    seen = circuit.waveform(built, time=time, start="off")
    rest = circuit.operating_point(built)
    assert seen.voltages["rail"][0] == pytest.approx(0.0, abs=0.2)
    assert seen.voltages["rail"][-1] == pytest.approx(rest.voltages["rail"], abs=5e-3)


def test_a_board_at_rest_stays_at_rest():
    built = BOARDS["jfet-booster"]
    seen = circuit.waveform(built, time=np.linspace(0, 0.1, 50))
    for net, volts in seen.voltages.items():
        np.testing.assert_allclose(volts, volts[0], atol=1e-7, err_msg=net)


def test_levels_are_units_and_the_first_to_clip_is_named():
    time = np.linspace(0.0, 5e-3, 200)
    levels = np.array([0.05, 2.0])
    seen = circuit.waveform(
        BOARDS["jfet-booster"], time=time, voltage_input=levels[:, None] * np.sin(2 * np.pi * 400 * time)
    )
    assert seen.voltages["output"].shape == (2, 200)
    assert np.isinf(seen.left["Q1"][0])
    assert np.isfinite(seen.left["Q1"][1])


def test_steps_that_do_not_rise_are_refused():
    with pytest.raises(ValueError, match="time must be instants that rise"):
        circuit.waveform(CLIPPER, time=[0.0, 0.0], net_in="in", net_out="out")
    with pytest.raises(ValueError, match="voltage_input must have a value for each"):
        circuit.waveform(CLIPPER, time=[0.0, 1e-3], voltage_input=[1.0, 2.0, 3.0], net_in="in", net_out="out")


@pytest.mark.parametrize("pulldown", [1e6, 10e6, 100e6])
def test_the_switched_start_is_the_thump(pulldown):
    """A leaky capacitor at half supply charges its open end up to a share of 4.5 V; the switch puts that on 10 kΩ."""
    farads, leak, load = 1e-6, 10e6, 10e3
    contacts = {"pole 1 common": "out", "pole 1 effect": "open end", "pole 1 bypass": "idle"}
    built = board(
        resistor("R1", 20e3, "rail", "half"), resistor("R2", 20e3, "half", "ground"),
        capacitor("C1", farads, "half", "open end"), resistor("R3", pulldown, "open end", "ground"),
        resistor("R4", load, "out", "ground"), resistor("R5", 1e3, "idle", "ground"), resistor("R6", 1e3, "in", "ground"),
        part("S1", "switch", NAN, "", "SPDT toggle", **contacts), supply=9.0,
    )  # fmt: skip
    leaky = replace(LOSSLESS, capacitance=farads, time_insulation=leak * farads)
    time = np.concatenate([[0.0], np.geomspace(1e-6, 0.1, 1500)])
    seen = circuit.waveform(
        built, time=time, start="switched", net_in="in", net_out="out", resistance_load=np.inf, values={"C1": leaky}
    ).voltages["out"]
    ahead, behind = 10e3, 1 / (1 / load + 1 / pulldown)
    before = 4.5 * leak / (ahead + leak + pulldown)  # volts across the capacitor at rest

    def rate(_, v):
        return [((4.5 - v[0]) / (ahead + behind) - v[0] / leak) / farads]

    exact = solve_ivp(rate, (0.0, 0.1), [before], t_eval=time, method="Radau", rtol=1e-9, atol=1e-12)
    thump = (4.5 - exact.y[0]) * behind / (ahead + behind)
    np.testing.assert_allclose(seen[1:], thump[1:], atol=2e-3)
    assert thump[0] == pytest.approx(4.5 * pulldown / (pulldown + leak) / 2, rel=0.02)


def test_a_good_pull_down_leaves_no_thump():
    built = replace(BOARDS["jfet-booster"], bypassed=False)
    seen = circuit.waveform(built, time=np.linspace(0, 0.05, 200), start="switched")
    assert np.abs(seen.voltages["output"]).max() < 0.1


def _leaves(built, levels, name):
    """Return of which levels of a tone, from a source without resistance, a part leaves its region."""
    time = np.linspace(0.0, 2e-3, 201)
    seen = circuit.waveform(
        built, time=time, voltage_input=levels[:, None] * np.sin(2e3 * np.pi * time), net_in="in", net_out="out",
        resistance_generator=0.0, resistance_load=np.inf,
    )  # fmt: skip
    return np.isfinite(seen.left[name]).tolist()


@pytest.mark.parametrize("ohms", [1e3, 47e3])
def test_a_diode_clips_where_it_takes_as_much_as_all_that_lies_beside_it(ohms):
    # by hand, n Vt/I = R: a silicon diode to ground behind R, its slope against the straight part's
    built = assemble([clip(), resistor("R1", ohms, "in", "out"), diode("D1", "out", "ground"),
                      resistor("R2", 10e3, "rail", "ground")], supply=9.0)  # fmt: skip
    record = devices.typical(devices.DIODE_1N4148)
    slope = record.ideality * 0.02585
    current = slope / ohms
    across = float(laws.junction_voltage(current, junction=record))
    wanted = across + current * ohms
    assert _leaves(built, wanted * np.array([0.95, 1.05]), "D1") == [False, True]


def test_a_follower_is_cut_off_where_its_load_line_ends():
    # by hand: the signal's current through what the emitter sees, at most the resting current (common practice)
    built = assemble(
        [
            clip(), resistor("R1", 100e3, "rail", "base"), resistor("R2", 100e3, "base", "ground"),
            resistor("R3", 10e3, "emitter", "ground"), resistor("R4", 2.2e3, "out", "ground"),
            capacitor("C1", 1e-6, "in", "base"), capacitor("C2", 100e-6, "emitter", "out"),
            part("Q1", "transistor", NAN, "", "2N3904", base="base", collector="rail", emitter="emitter"),
        ],
        supply=9.0,
    )  # fmt: skip
    rest = circuit.operating_point(built, values={"R4": 2.2e3}).voltages["emitter"]
    most = rest / 10e3 * (10e3 * 2.2e3 / 12.2e3)
    assert _leaves(built, most * np.array([0.9, 1.15]), "Q1") == [False, True]


def test_one_diode_to_ground_makes_all_that_the_output_departs():
    """R and a diode, no memory: what is missing of a straight line is solved for by scipy's brentq."""
    built = assemble(
        [
            clip(),
            resistor("R1", 4.7e3, "in", "out"),
            diode("D1", "out", "ground"),
            resistor("R2", 10e3, "rail", "ground"),
        ],
        supply=9.0,
    )
    part = devices.typical(devices.DIODE_1N4148)
    time = np.linspace(0.0, 1e-3, 101)  # the peak is among the instants
    levels = np.array([0.6, 1.0, 3.0])
    seen = circuit.waveform(
        built, time=time, voltage_input=levels[:, None] * np.sin(2e3 * np.pi * time), net_in="in", net_out="out",
        resistance_generator=0.0, resistance_load=np.inf,
    )  # fmt: skip
    still = float(laws.junction(0.0, junction=part).conductance_dynamic)
    for level, share in zip(levels, seen.heard["D1"], strict=True):
        out, other = (
            brentq(
                lambda v, peak=peak: (peak - v) / 4.7e3 - float(laws.junction(v, junction=part).current), -level, level
            )
            for peak in (level, -level)
        )
        straight = level / (1 + 4.7e3 * still)
        assert share == pytest.approx((straight - out) / max(straight, -other), rel=1e-6)


def test_the_level_at_which_a_diode_clips_does_not_hang_on_the_steps_in_time():
    # by hand: 10 nF are 63 µS at 1 kHz, beside 213 µS; the diode is as steep where it carries n Vt times both
    record = devices.typical(devices.DIODE_1N4148)
    current = record.ideality * 0.02585 * (1 / 4.7e3 + 2 * np.pi * 1e3 * 10e-9)
    level = float(laws.junction_voltage(current, junction=record)) * (1 + 4.8e3 * 2e3 * np.pi * 10e-9) + 4.8e3 * current
    for steps in (60, 600):
        time = np.linspace(0.0, 1e-3, steps + 1)
        seen = circuit.waveform(
            CLIPPER, time=time, voltage_input=np.array([[0.7], [1.2]]) * level * np.sin(2e3 * np.pi * time), net_in="in",
            net_out="out", resistance_generator=100.0, resistance_load=np.inf,
        )  # fmt: skip
        assert np.isfinite(seen.left["D1"]).tolist() == [False, True]


def test_each_diode_of_two_has_its_own_share():
    """Both diodes' currents put into the straight equation, one at a time, by scipy's implicit Runge-Kutta method."""
    law = junction_by_hand(devices.typical(devices.DIODE_1N4148))
    time = np.linspace(0.0, 1e-3, 1001)
    seen = circuit.waveform(
        CLIPPER, time=time, voltage_input=3 * np.sin(2e3 * np.pi * time), net_in="in", net_out="out",
        resistance_generator=100.0, resistance_load=np.inf,
    )  # fmt: skip
    _, slope = law(0.0)

    def flow(volts):
        return law(volts)[0]

    def rates(t, y):
        out, straight, first, second = y
        fed = 3 * np.sin(2e3 * np.pi * t)
        held = 1 / 4.8e3 + 2 * slope
        return [
            ((fed - out) / 4.8e3 - flow(out) + flow(-out)) / 10e-9, (fed / 4.8e3 - held * straight) / 10e-9,
            (-held * first - (flow(out) - slope * out)) / 10e-9, (-held * second + (flow(-out) + slope * out)) / 10e-9,
        ]  # fmt: skip

    exact = solve_ivp(rates, (0.0, 1e-3), np.zeros(4), t_eval=time, method="Radau", rtol=1e-8, atol=1e-10).y
    np.testing.assert_allclose(exact[1] + exact[2] + exact[3], exact[0], atol=1e-5)  # the split leaves nothing over
    most = np.abs(exact[1]).max()
    assert seen.heard["D1"] == pytest.approx(np.abs(exact[2]).max() / most, rel=1e-3)
    assert seen.heard["D2"] == pytest.approx(np.abs(exact[3]).max() / most, rel=1e-3)


def test_a_part_that_stays_is_not_heard_and_a_start_that_is_not_settled_tells_nothing():
    time = np.linspace(0.0, 1e-3, 101)
    quiet = circuit.waveform(
        CLIPPER, time=time, voltage_input=np.array([[1e-3], [3.0]]) * np.sin(2e3 * np.pi * time), net_in="in", net_out="out",
    )  # fmt: skip
    assert quiet.heard["D1"][0] == 0.0
    assert quiet.heard["D1"][1] > 0.1
    assert circuit.waveform(CLIPPER, time=time, start="off", net_in="in", net_out="out").heard == {}


def test_units_that_rest_alike_are_heard_as_one_is():
    time = np.linspace(0.0, 1e-3, 101)
    asked = {"time": time, "voltage_input": np.sin(2e3 * np.pi * time), "net_in": "in", "net_out": "out"}
    record = devices.typical(devices.DIODE_1N4148)
    twice = replace(record, ideality=np.full(2, record.ideality))
    one = circuit.waveform(CLIPPER, values={"D1": record}, **asked).heard["D1"]
    assert circuit.waveform(CLIPPER, values={"D1": twice}, **asked).heard["D1"] == pytest.approx([one, one], rel=1e-9)


@pytest.mark.parametrize(("hertz", "told"), [(1e3, False), (50e3, True)])
def test_an_output_that_is_too_slow_for_its_signal_is_told(hertz, told):
    """A sine needs 2 pi f A; the LM358 of the tables does some 0.5 V/µs."""
    follower = board(
        resistor("R1", 10e3, "rail", "in"), resistor("R2", 10e3, "in", "ground"), resistor("R3", 10e3, "out", "ground"),
        part("IC1", "integrated circuit", NAN, "", "LM358", _1="out", _2="out", _3="in", _4="ground", _5="in", _6="spare",
             _7="spare", _8="rail"),
    )  # fmt: skip
    time = np.linspace(0.0, 2 / hertz, 401)
    seen = circuit.waveform(
        follower, time=time, voltage_input=3.0 * np.sin(2 * np.pi * hertz * time), net_in="in", net_out="out",
        resistance_generator=1e-3,
    )  # fmt: skip
    names = [one.what for one in seen.cautions]
    assert any("IC1 unit 1" in name for name in names) == told
    if told:
        rate = devices.typical(devices.OPAMP_LM358).slew_rate
        assert seen.cautions[0].limit == pytest.approx(float(rate))
        # the sine's own, held from 3 V down by the output's resistance by far less than this
        assert seen.cautions[0].value == pytest.approx(2 * np.pi * hertz * 3.0, rel=0.02)
