"""Three-pin regulators in a circuit against their equations, written here once more and solved by scipy and sympy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sympy as sp
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from pedalcalc import bench, circuit, devices
from pedalcalc.board import assemble
from pedalcalc.laws import regulators
from tests.circuit_parts import NAN, board, capacitor, clip, lossless, part, resistor

INF = float("inf")
FIXED = devices.typical(devices.REGULATOR_78L05)
SET = devices.typical(devices.REGULATOR_LM317L)
CAPS = (capacitor("C1", 330e-9, "rail", "ground"), capacitor("C2", 100e-9, "out", "ground"))


def chip(text, ground="ground", into="rail", out="out"):
    ends = {"output": out, "adjust" if text == "LM317L" else "ground": ground, "input": into}
    return part("IC1", "regulator", NAN, "", text, **ends)


BUILT = board(chip("78L05"), *CAPS, resistor("R1", 1e3, "out", "ground"), supply=9.0)
ADJUSTED = board(
    chip("LM317L", "set"), *CAPS, resistor("R1", 240.0, "out", "set"), resistor("R2", 720.0, "set", "ground"),
    resistor("R3", 1e4, "out", "ground"), supply=12.0,
)  # fmt: skip


def by_hand(law, fed, out):
    """Current given, current of the middle pin: the law in words, one case after the other."""
    follows = 0.0 if np.isnan(law.ripple_rejection_db) else 10 ** (-law.ripple_rejection_db / 20)
    behind = law.voltage_output + follows * (fed - law.voltage_input_test)
    behind = min(behind, fed - law.voltage_dropout)
    given = (behind - out) / law.resistance_output_closed
    least = law.current_load_min * min(max((fed - out) / law.voltage_dropout, 0.0), 1.0)
    given = max(given, least)
    given = min(given, law.current_output_max)
    return given, law.current_ground * min(max(fed / (law.voltage_output + law.voltage_dropout), 0.0), 1.0)


@pytest.mark.parametrize("supply", [1.0, 3.0, 6.6, 6.8, 9.0, 30.0])
@pytest.mark.parametrize("load", [1.0, 30.0, 36.0, 1e3, 1e6])
def test_a_fixed_type_regulates_drops_out_and_limits(supply, load):
    """Both sides of each corner: 6.7 V to hold 5 V, 140 mA at 35.7 ohm."""
    exact = brentq(lambda out: by_hand(FIXED, supply, out)[0] - out / load, 0.0, supply, xtol=1e-13)
    built, values = BUILT, {"supply": supply, "R1": load}
    seen = circuit.operating_point(built, values=values | lossless(built))
    assert seen.voltages["out"] == pytest.approx(exact, abs=1e-8)  # femtoamperes of its diodes
    given, taken = by_hand(FIXED, supply, exact)
    assert seen.currents["IC1 input"] == pytest.approx(given + taken, rel=1e-6)
    assert seen.current_supply == pytest.approx(given + taken, rel=1e-6)
    heat = (supply - exact) * given + supply * taken
    assert seen.powers["IC1"] == pytest.approx(heat, rel=1e-6, abs=1e-12)


def test_an_adjustable_type_is_its_reference_raised_by_two_resistors():
    """Kirchhoff at both nets with the output resistance, by sympy; the sheet's V = Vref (1 + R2/R1) + R2 Iadj is near."""
    out, at = sp.symbols("out at")
    follows = 10 ** (-SET.ripple_rejection_db / 20)
    behind = 1.25 + follows * (12 - at - SET.voltage_input_test)
    given = (behind - (out - at)) / SET.resistance_output_closed
    law = [given - (out - at) / 240 - out / 1e4, (out - at) / 240 + SET.current_ground - at / 720]
    exact = sp.solve(law, [out, at])
    seen = circuit.operating_point(ADJUSTED, values=lossless(ADJUSTED)).voltages
    assert seen["out"] == pytest.approx(float(exact[out]), abs=1e-9)
    assert seen["set"] == pytest.approx(float(exact[at]), abs=1e-9)
    assert seen["out"] == pytest.approx(1.25 * 4 + 720 * SET.current_ground, abs=2e-3)


@pytest.mark.parametrize(("top", "load"), [(2400.0, 1e4), (INF, 1e4), (2400.0, 1e5), (INF, 1e6)])
def test_too_little_load_lets_an_adjustable_type_rise(top, load):
    """What its own supply sends out of the output must go somewhere; at the input's own volts it ends."""
    bottom = 7200.0

    def left(out):
        at = (out / top + SET.current_ground) / (1 / top + 1 / bottom)
        return by_hand(SET, 12.0 - at, out - at)[0] - (out - at) / top - out / load

    exact = brentq(left, 0.0, 12.0, xtol=1e-12)
    values = {"R1": top, "R2": bottom, "R3": load} | lossless(ADJUSTED)
    seen = circuit.operating_point(ADJUSTED, values=values)
    assert seen.voltages["out"] == pytest.approx(exact, abs=1e-7)
    held = 1.25 * (1 + bottom / top) + bottom * SET.current_ground
    assert exact > held + 0.5
    assert any("loaded too little" in one.what for one in seen.cautions)


def test_a_negative_type_is_the_mirror_image():
    nets = part("X1", "connector", NAN, "", "battery clip", plus="ground", minus="rail")
    turned = assemble([nets, chip("79L05"), *CAPS, resistor("R1", 1e3, "out", "ground")], supply=9.0)
    alike = replace(FIXED, polarity="negative")
    for supply, load in ((9.0, 1e3), (5.0, 1e3), (9.0, 10.0), (-9.0, 1e3)):
        values = {"supply": supply, "R1": load}
        there = circuit.operating_point(turned, values=values | {"IC1": alike})
        here = circuit.operating_point(BUILT, values=values)
        assert there.voltages["out"] == pytest.approx(-here.voltages["out"], abs=1e-9)
        assert there.powers["IC1"] == pytest.approx(here.powers["IC1"], rel=1e-9)
        assert [one.what[12:] for one in there.cautions] == [one.what[12:] for one in here.cautions]


def test_slopes_are_those_of_the_law():
    rng = np.random.default_rng(3)
    for law in (FIXED, SET):
        fed, out = rng.uniform(-3, 15, 400), rng.uniform(-3, 15, 400)
        out[:200] = np.clip(law.voltage_output + rng.uniform(-0.03, 0.03, 200), -3, fed[:200] - 1.0)
        figures = regulators.regulator_figures(law)
        core = regulators.regulator_branch(fed, out, figures)
        hand = np.array([by_hand(law, *at) for at in zip(fed, out, strict=True)])
        np.testing.assert_allclose(np.stack([core.given, core.taken], axis=1), hand, atol=1e-15)
        step = 1e-7
        for shift, slope, taken in ((np.array([1, 0]), core.given_by_input, core.taken_by_input),
                                    (np.array([0, 1]), core.given_by_output, 0.0 * core.given)):  # fmt: skip
            up, down = (
                np.array([by_hand(law, f + s * shift[0], o + s * shift[1]) for f, o in zip(fed, out, strict=True)])
                for s in (step, -step)
            )
            rise = (up - down) / (2 * step)
            np.testing.assert_allclose(rise[:, 0], slope, rtol=1e-5, atol=1e-6)
            np.testing.assert_allclose(rise[:, 1], taken, rtol=1e-5, atol=1e-8)


def test_nothing_at_its_output_a_short_and_leads_turned_round_are_answered():
    free = circuit.operating_point(BUILT, values={"R1": INF} | lossless(BUILT))
    assert free.voltages["out"] == pytest.approx(5 - 10 ** (-49 / 20), abs=1e-9), "9 V is 1 V below the test's input"
    assert circuit.operating_point(BUILT, values={"R1": 0.0}).currents["IC1 output"] == -FIXED.current_output_max
    turned = circuit.operating_point(BUILT, faults={"IC1": "reversed"})
    assert 8.0 < turned.voltages["out"] < 8.5, "the supply comes through from output to input"
    assert any("output above its input" in one.what for one in turned.cautions)
    many = devices.drawn(devices.REGULATOR_78L05, count=500, seed=2)
    values = {"IC1": many, "R1": np.geomspace(1, 1e6, 500), "supply": np.linspace(-5, 25, 500)}
    seen = circuit.operating_point(BUILT, values=values)
    assert np.isfinite(seen.voltages["out"]).all()


def test_what_an_output_capacitor_is_charged_by_is_the_limit():
    """Switched on with 100 µF at the output: 140 mA less the load until the capacitor is full."""
    built = board(
        chip("78L05"), capacitor("C1", 330e-9, "rail", "ground"), capacitor("C2", 100e-6, "out", "ground"),
        resistor("R1", 100.0, "out", "ground"), supply=9.0,
    )  # fmt: skip
    time = np.linspace(0.0, 10e-3, 501)
    seen = circuit.waveform(
        built, time=time, start="off", net_in="out", net_out="out", resistance_generator=1e12, resistance_load=INF,
        values=lossless(built),
    ).voltages["out"]  # fmt: skip

    def rate(_, v):
        return [(by_hand(FIXED, 9.0, v[0])[0] - v[0] / 100.0) / 100e-6]

    exact = solve_ivp(rate, (0.0, 10e-3), [0.0], t_eval=time, method="Radau", rtol=1e-9, atol=1e-9, max_step=1e-5)
    np.testing.assert_allclose(seen, exact.y[0], atol=3e-3)
    assert 2.0 < seen[100] < 2.8, "on its way at 2 ms: 140 mA less 20"


def test_source_resistance_and_ripple_at_the_output():
    """Small signals by hand: G v = i with the slopes 1/Ro and k/Ro."""
    free = {"net_in": "out", "net_out": "out", "resistance_generator": 1e12, "resistance_load": INF, "frequency": 0.0}
    seen = circuit.impedance(ADJUSTED, net="out", values=lossless(ADJUSTED), **free).impedance_size
    ro, k = SET.resistance_output_closed, 10 ** (-SET.ripple_rejection_db / 20)
    conductances = np.array([[1 / ro + 1 / 240 + 1e-4, -1 / 240 - (1 - k) / ro], [-1 / 240, 1 / 240 + 1 / 720]])
    assert seen == pytest.approx(np.linalg.inv(conductances)[0, 0], rel=1e-6)
    fed = board(
        resistor("R9", 1.0, "rail", "fed"), chip("78L05", into="fed"), capacitor("C1", 1e-12, "fed", "ground"),
        resistor("R1", 1e3, "out", "ground"), supply=9.0,
    )  # fmt: skip
    # a generator without resistance would take the supply away: its 10 kΩ stays, and the net that it feeds is read too
    both = [
        circuit.response(fed, frequency=100.0, net_in="fed", net_out=net, resistance_load=INF).response.real
        for net in ("fed", "out")
    ]
    by = 10 ** (-FIXED.ripple_rejection_db / 20) * 1e3 / (1e3 + FIXED.resistance_output_closed)
    assert both[1] / both[0] == pytest.approx(by, rel=1e-6)


def test_its_cautions_say_what_is_wrong():
    def told(built=BUILT, **values):
        return " / ".join(one.what for one in circuit.operating_point(built, values=values).cautions)

    assert told() == ""
    assert "needs to hold its voltage" in told(supply=6.6)
    assert "needs to hold its voltage" not in told(supply=6.8)
    assert "more at its input than it stands" in told(supply=31.0)
    assert "gives more than it is made for" in told(R1=45.0)
    assert "burns more" in told(R1=60.0, supply=12.0)
    assert "capacitor of 100 nF at its output" in told(C2=47e-9)
    assert "capacitor" not in told(C2=80e-9)  # 100 nF of 20 %
    assert "capacitor of 100 nF at its input" in told(C1=0.0)
    assert "more across it" in told(ADJUSTED, supply=41.0)


def test_a_list_may_call_it_what_it_is():
    for kind in ("regulator", "integrated circuit"):
        named = assemble(
            [clip(), part("IC1", kind, NAN, "", "LM78L05ACZ", _1="out", _2="ground", _3="rail"), *CAPS], supply=9.0
        )
        assert circuit.operating_point(named).voltages["out"] == pytest.approx(5.0, abs=0.01)
    wrong = {"_1": "out", "_2": "ground", "plus": "rail"}
    with pytest.raises(ValueError, match="the pins are 1, 2, 3"):
        assemble([clip(), part("IC1", "regulator", NAN, "", "78L05", **wrong), *CAPS], supply=9.0)
    with pytest.raises(ValueError, match="fits several parts: REGULATOR_78L05"):
        assemble([clip(), part("IC1", "regulator", NAN, "", "78L", _1="out", _2="ground", _3="rail")], supply=9.0)


def test_its_output_is_a_supply_net_to_the_bench():
    rows = bench.expected_readings(BUILT, count=50).rows
    assert [row.place for row in rows if row.unit == "V"] == ["rail", "out"]
    (out,) = (row for row in rows if row.place == "out")
    assert out.probe == "output of IC1"
    assert 4.7 < out.reading_low < 4.9
    assert 5.1 < out.reading_high < 5.3


def test_where_sources_hold_every_net_there_is_nothing_to_solve():
    alone = circuit.operating_point(board(part("D1", "diode", NAN, "", "1N4148", anode="ground", cathode="rail")))
    assert alone.voltages["rail"] == 9.0
    assert -1e-8 < alone.currents["D1"] < 0.0
