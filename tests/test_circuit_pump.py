"""A charge pump in a circuit against its own differential equations: over a whole period (scipy's expm), and in time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from pedalcalc import circuit, devices
from pedalcalc.board import assemble, changed
from tests.circuit_parts import NAN, board, capacitor, diode, junction_by_hand, lossless, part, resistor
from tests.conftest import ROOT
from tests.test_circuit_regulator import by_hand

VOLTS, LOAD = 6.0, 2.2e3
PUMP = devices.typical(devices.CONVERTER_7660)
SWITCH = float(PUMP.resistance_switch)


def _inverter(flying, reservoir):
    chip = part(
        "IC1", "integrated circuit", NAN, "", "7660", _1="not connected", _2="plus", _3="ground", _4="minus", _5="out",
        _6="not connected", _7="not connected", _8="rail",
    )  # fmt: skip
    return board(
        chip, capacitor("C1", flying, "plus", "minus"), capacitor("C2", reservoir, "out", "ground"),
        resistor("R1", LOAD, "out", "ground"), supply=VOLTS,
    )  # fmt: skip


def _mean(flying, reservoir):
    """Return the mean of the output over a period: volts of both capacitors, one, and the integral of the output."""
    two = 2 * PUMP.resistance_switch
    charge, give = np.zeros((4, 4)), np.zeros((4, 4))
    charge[0, 0], charge[0, 2] = -1 / (two * flying), VOLTS / (two * flying)
    give[0, :2] = -1 / (two * flying)
    give[1, :2] = -1 / (two * reservoir)
    for half in (charge, give):
        half[1, 1] -= 1 / (LOAD * reservoir)
        half[3, 1] = 1.0
    half_period = 0.5 / PUMP.frequency_pump
    whole = expm(give * half_period) @ expm(charge * half_period)
    start = np.linalg.solve(np.eye(2) - whole[:2, :2], whole[:2, 2])
    return (whole @ [*start, 1.0, 0.0])[3] / (2 * half_period)


@pytest.mark.parametrize("flying", [1e-7, 2.2e-7, 4.7e-7, 1e-6, 2.2e-6, 1e-5, 4.7e-5])
def test_an_inverter_has_the_source_resistance_of_its_equations(flying):
    """A small flying capacitor is empty long before its half period is over, a large one never is."""
    seen = circuit.operating_point(built := _inverter(flying, 1000 * flying), values=lossless(built)).voltages["out"]
    exact = _mean(flying, 1000 * flying)
    behind, ours = (LOAD * (-VOLTS - volts) / volts for volts in (exact, seen))
    assert ours == pytest.approx(behind, rel=7e-3)


@pytest.mark.parametrize("share", [0.1, 1.0, 2.4, 2.6, 10.0])
@pytest.mark.parametrize("flying", [1e-7, 1e-6, 1e-5, 1e-4])
def test_the_ripple_of_an_inverter_is_in_its_mean(flying, share):
    """From 25 µF up it is left out: some parts in a thousand of the drop."""
    seen = circuit.operating_point(built := _inverter(flying, share * flying), values=lossless(built)).voltages["out"]
    assert seen == pytest.approx(_mean(flying, share * flying), abs=7e-3)


def _driver():
    """Return a converter of which only the switched pin is used."""
    return part(
        "IC1", "integrated circuit", NAN, "", "7660", _1="not connected", _2="plus", _3="ground", _4="not connected",
        _5="not connected", _6="not connected", _7="not connected", _8="rail",
    )  # fmt: skip


def _doubler(reservoir, *behind, flying=10e-6, load=4.7e3):
    return board(
        _driver(), capacitor("C1", flying, "plus", "x"), diode("D1", "rail", "x"), diode("D2", "x", "out"),
        capacitor("C2", reservoir, "out", "ground"), resistor("R1", load, "out", "ground"), *behind,
        supply=9.0,
    )  # fmt: skip


class _Diodes:
    """Two 1N4148 behind the switched pin: the first from the rail, the second to the output."""

    law = staticmethod(junction_by_hand(devices.typical(devices.DIODE_1N4148)))
    between = 9.0

    def currents(self, pin, flying, output):
        """Return both currents; the net between them by Newton's method, from where it was."""
        switch, x = SWITCH, self.between
        for _ in range(60):
            (first, g1), (second, g2) = self.law(9.0 - x), self.law(x - output)
            fed = (pin - flying - x) / switch
            step = min(max((fed + first - second) / (1 / switch + g1 + g2), -0.5), 0.5)
            x += step
            if abs(step) < 1e-13:
                break
        self.between = x
        return first, second


def _period(flying, reservoir, load, start):
    """Follow a doubler over one period: volts of both capacitors at its end, and the means of output and net between the diodes."""
    half, diodes = 0.5 / PUMP.frequency_pump, _Diodes()

    def rate(_, state, pin):
        first, second = diodes.currents(pin, *state[:2])
        return [(second - first) / flying, (second - state[1] / load) / reservoir, state[1], diodes.between]

    state = np.array([*start, 0.0, 0.0])
    for pin in (0.0, 9.0):
        state = solve_ivp(rate, (0.0, half), state, args=(pin,), method="LSODA", rtol=1e-9, atol=1e-11).y[:, -1]
    return state[:2], state[2:] / (2 * half)


@pytest.mark.parametrize(
    ("flying", "share", "load"), [(1e-7, 1.0, 4.7e3), (1e-6, 1.0, 4.7e3), (1e-6, 4.7, 1e3), (1e-5, 1.0, 1e3)]
)
def test_a_doubler_is_where_its_equations_settle(flying, share, load):
    """Pulses of a few microseconds and an output that ripples by volts at 0.1 µF; shooting for the settled period."""
    built = _doubler(share * flying, flying=flying, load=load)
    seen = circuit.operating_point(built, values=lossless(built)).voltages
    start = np.array([-8.4, seen["out"]])
    for _ in range(8):
        left = _period(flying, share * flying, load, start)[0] - start
        slope = np.stack(
            [_period(flying, share * flying, load, start + d)[0] - start - left for d in 1e-3 * np.eye(2)], 1
        )
        step = np.linalg.solve(slope / 1e-3 - np.eye(2), -left)
        start = start + np.clip(step, -2.0, 2.0)
        if np.abs(step).max() < 1e-5:
            break
    assert [seen["out"], seen["x"]] == pytest.approx(_period(flying, share * flying, load, start)[1], abs=20e-3)


def test_shorts_where_the_pump_moves_are_shorts_in_every_part_of_its_period():
    parts = [
        _driver(), capacitor("C1", 10e-6, "plus", "far"), resistor("R2", 1.0, "far", "x"),
        capacitor("C2", 10e-6, "out", "ground"), resistor("R1", 4.7e3, "out", "ground"),
        diode("D1", "rail", "x"), diode("D2", "x", "out"),
    ]  # fmt: skip
    built = board(*parts, supply=VOLTS)
    short = circuit.operating_point(built, values={"R2": 0.0}).voltages["out"]
    for ohms in (1e-9, [0.0, 1e-3], [1e-3, 0.0]):
        many = circuit.operating_point(built, values={"R2": ohms}).voltages["out"]
        np.testing.assert_allclose(many, short, atol=1e-4)
    coiled = board(*parts[:2], part("L1", "inductor", 1e-3, "H", "1m", _1="far", _2="x"), *parts[3:], supply=VOLTS)
    with pytest.raises(ValueError, match="L1: a coil at a net that moves"):
        circuit.operating_point(coiled)
    with pytest.raises(ValueError, match="net_out: 'x' moves with a charge pump"):
        circuit.response(built, frequency=1e3, net_in="out", net_out="x")


def test_each_unit_of_a_batch_stands_where_it_stands_alone():
    """Capacitors on both sides of what counts as without ripple, by their size and by the converter's speed."""
    built = _doubler(10e-6)
    farads = np.array([1e-8, 1e-6, 2.4e-5, 2.6e-5, 1e-4, 1e-2])
    together = circuit.operating_point(built, values={"C2": farads})
    for k, one in enumerate(farads):
        alone = circuit.operating_point(built, values={"C2": one})
        assert together.voltages["out"][k] == pytest.approx(alone.voltages["out"], abs=1e-5)
        assert together.currents["D2"][k] == pytest.approx(alone.currents["D2"], abs=1e-7)
    built, hertz = _doubler(20e-6), np.array([8e3, 10e3, 15e3, 30e3])  # of the oscillator; it ripples below 12.5 kHz
    together = circuit.operating_point(built, values={"IC1": replace(PUMP, frequency_oscillator=hertz)}).voltages["out"]
    for one, seen in zip(hertz, together, strict=True):
        alone = circuit.operating_point(built, values={"IC1": replace(PUMP, frequency_oscillator=one)}).voltages["out"]
        assert seen == pytest.approx(alone, abs=1e-5)


def test_a_unit_without_its_capacitor_moves_in_a_batch_too():
    """Without a capacitor the output follows the pump's halves; with one it is held, with or without its ripple."""
    farads = np.array([0.0, 1e-6, 47e-6])
    together = circuit.operating_point(_doubler(10e-6), values={"C2": farads}).voltages["out"]
    for one, seen in zip(farads, together, strict=True):
        assert seen == pytest.approx(
            circuit.operating_point(_doubler(10e-6), values={"C2": one}).voltages["out"], abs=3e-3
        )


def _regulated(reservoir, load):
    """Follow a doubler with a 78L09 behind it for 120 periods from near its rest; return means of input and output, and the trough."""
    record, half, diodes = devices.typical(devices.REGULATOR_78L09), 0.5 / PUMP.frequency_pump, _Diodes()

    def rate(_, state, pin):
        first, second = diodes.currents(pin, *state[:2])
        given, taken = by_hand(record, state[1], state[2])
        return [
            (second - first) / 10e-6, (second - given - taken) / reservoir, (given - state[2] / load) / 1e-6,
            state[1], state[2],
        ]  # fmt: skip

    state, low = np.array([-8.0, 14.0, 9.0, 0.0, 0.0]), 0.0
    for _ in range(120):
        state[3:] = 0.0
        for pin in (0.0, 9.0):
            seen = solve_ivp(rate, (0.0, half), state, args=(pin,), method="LSODA", rtol=1e-7, atol=1e-9).y
            low, state = (seen[1].min() if pin == 0.0 else min(low, seen[1].min())), seen[:, -1]
    return state[3] / (2 * half), state[4] / (2 * half), low


@pytest.mark.parametrize(("reservoir", "load"), [(10e-6, 4.7e3), (10e-6, 150.0), (1e-6, 150.0)])
def test_a_regulator_behind_a_doubler(reservoir, load):
    """Its input within 30 mV, and its output where the troughs of the ripple leave it no room."""
    built = board(
        _driver(), capacitor("C1", 10e-6, "plus", "x"), diode("D1", "rail", "x"), diode("D2", "x", "in"),
        capacitor("C2", reservoir, "in", "ground"),
        part("IC2", "regulator", NAN, "", "78L09", output="out", ground="ground", input="in"),
        capacitor("C3", 1e-6, "out", "ground"), resistor("R1", load, "out", "ground"), supply=9.0,
    )  # fmt: skip
    seen = circuit.operating_point(built, values=lossless(built))
    fed, out, low = _regulated(reservoir, load)
    (told,) = [one for one in seen.cautions if "needs to hold its voltage" in one.what] or [None]
    if low > 10.7:  # 9 V and its dropout of 1.7 V
        assert seen.voltages["in"] == pytest.approx(fed, abs=30e-3)
        assert seen.voltages["out"] == pytest.approx(out, abs=1e-3)
        assert told is None
    else:
        assert told.value == pytest.approx(low, abs=0.05)
        assert seen.voltages["in"] == pytest.approx(fed, abs=30e-3)
        assert seen.voltages["out"] == pytest.approx(out, abs=10e-3)


def test_a_negative_regulator_behind_an_inverter_is_told_of_its_crests():
    """Its input falls short where it stands nearest to 0 V; by the equations, followed for 150 periods to their rest."""
    reservoir, load, record = 1e-6, 400.0, devices.typical(devices.REGULATOR_79L05)
    chip = part(
        "IC1", "integrated circuit", NAN, "", "7660", _1="not connected", _2="plus", _3="ground", _4="minus", _5="in",
        _6="not connected", _7="not connected", _8="rail",
    )  # fmt: skip
    built = board(
        chip, capacitor("C1", 10e-6, "plus", "minus"), capacitor("C2", reservoir, "in", "ground"), resistor("R1", load, "out", "ground"),
        capacitor("C3", 1e-6, "out", "ground"), part("IC2", "regulator", NAN, "", "79L05", output="out", ground="ground", input="in"),
        supply=9.0,
    )  # fmt: skip

    def rate(_, state, charging):
        given, taken = by_hand(record, -state[1], -state[2])
        flow = (9.0 - state[0] if charging else state[0] + state[1]) / (2 * PUMP.resistance_switch)
        return [
            (flow if charging else -flow) / 10e-6, (given + taken - (0.0 if charging else flow)) / reservoir,
            -(given + state[2] / load) / 1e-6,
        ]  # fmt: skip

    state, crest = np.array([9.0, -7.5, -5.0]), -9.0
    for period in range(150):
        for charging in (True, False):
            seen = solve_ivp(
                rate, (0.0, 0.5 / PUMP.frequency_pump), state, args=(charging,), method="LSODA", rtol=1e-7, atol=1e-9
            ).y
            crest, state = max(crest, seen[1].max()) if period == 149 else crest, seen[:, -1]
    point = circuit.operating_point(built, values=lossless(built))
    (told,) = [one for one in point.cautions if "needs to hold its voltage" in one.what]
    assert told.value == pytest.approx(-crest, abs=0.05) and told.limit == pytest.approx(6.7)


@pytest.mark.parametrize(("flying", "load"), [(1e-7, 4.7e3), (1e-6, 1e3)])
def test_a_reservoir_of_a_tenth_is_told(flying, load):
    """Within 1 % of what the pump drops of its 18 V, as the caution says; by the equations, settled from near the rest."""
    built = _doubler(0.1 * flying, flying=flying, load=load)
    point = circuit.operating_point(built, values=lossless(built))
    state = np.array([-8.4, point.voltages["out"]])
    for _ in range(60):
        state, (mean, _) = _period(flying, 0.1 * flying, load, state)
    assert point.voltages["out"] == pytest.approx(mean, abs=0.01 * (18.0 - mean))
    (told,) = [one for one in point.cautions if "less holds it than C1" in one.what]
    assert (told.value, told.limit) == pytest.approx((0.1 * flying, flying))
    assert not any("hands over" in one.what for one in circuit.operating_point(_doubler(10e-6)).cautions)


@pytest.mark.parametrize("ohms", [10.0, 100.0, 1e3, 10e3])
def test_a_filter_of_small_capacitors_ripples_too(ohms):
    """A doubler with 0.19 µF, a resistor and 0.13 µF behind it: within 1 % of the drop or 30 mV of its equations, 60 periods on."""
    flying, first, last, load, half = 0.32e-6, 0.19e-6, 0.13e-6, 4.7e3, 0.5 / PUMP.frequency_pump
    built = board(
        _driver(), capacitor("C1", flying, "plus", "x"), diode("D1", "rail", "x"), diode("D2", "x", "in"),
        capacitor("C2", first, "in", "ground"), resistor("R2", ohms, "in", "out"), capacitor("C3", last, "out", "ground"),
        resistor("R1", load, "out", "ground"), supply=9.0,
    )  # fmt: skip
    seen, diodes = circuit.operating_point(built, values=lossless(built)).voltages, _Diodes()

    def rate(_, state, pin):
        one, two = diodes.currents(pin, *state[:2])
        through = (state[1] - state[2]) / ohms
        return [(two - one) / flying, (two - through) / first, (through - state[2] / load) / last, state[2]]

    state = np.array([-8.4, seen["in"], seen["out"], 0.0])
    for _ in range(60):
        state[3] = 0.0
        for pin in (0.0, 9.0):
            state = solve_ivp(rate, (0.0, half), state, args=(pin,), method="LSODA", rtol=1e-7, atol=1e-9).y[:, -1]
    mean = state[3] / (2 * half)
    drop = 18.0 - mean * (load + ohms) / load
    assert seen["out"] == pytest.approx(mean, abs=max(30e-3, 0.01 * drop))


def test_what_ripples_only_while_cells_are_held_begins_at_its_mean():
    """A converter where an op-amp belongs: the lamp of the coupler behind it is a plain junction in time, and hands the ripple on."""
    build = changed(assemble(ROOT / "notebooks/builds/optical-compressor/parts.csv", supply=9.0), IC2="7660")
    seen = circuit.waveform(build, time=[0.0, 1e-5, 2e-5], voltage_input=0.0)
    rest = circuit.operating_point(build).voltages["LED drive"]
    np.testing.assert_allclose(seen.voltages["LED drive"][0], rest, atol=1e-6)


def test_only_what_a_capacitor_hands_its_charge_to_must_be_as_large():
    """Not a regulator's own microfarad, nor what a second converter with a smaller pair charges; its own pair counts."""
    behind = [
        part("IC2", "regulator", NAN, "", "78L09", output="low", ground="ground", input="out"),
        capacitor("C3", 1e-6, "low", "ground"), resistor("R2", 10e3, "low", "ground"),
        part("IC3", "integrated circuit", NAN, "", "7660", _1="not connected", _2="second", _3="ground", _4="minus",
             _5="below", _6="not connected", _7="not connected", _8="rail"),
        capacitor("C4", 1e-6, "second", "minus"), capacitor("C5", 1e-6, "below", "ground"),
        resistor("R3", 10e3, "below", "ground"),
    ]  # fmt: skip
    built = _doubler(10e-6, *behind)
    told = lambda **given: [
        one.what for one in circuit.operating_point(built, values=given).cautions if "hands over" in one.what
    ]
    assert told() == []
    (own,) = told(C5=0.5e-6)
    assert own.startswith("below ripples") and "than C4 hands over" in own
    (first,) = told(C2=5e-6)
    assert first.startswith("out ripples") and "than C1 hands over" in first


@pytest.mark.parametrize(("reservoir", "ripples"), [(20e-6, True), (24e-6, True), (26e-6, False)])
def test_what_ripples_is_told_by_the_pump_s_whole_period(reservoir, ripples):
    """A period of 0.2 ms at 5 kHz over 8 Ω, as the law's words say: 25 µF, of the 47 µF that fly to it."""
    told = circuit.operating_point(_inverter(47e-6, reservoir)).cautions
    assert any("less holds it than C1" in one.what for one in told) == ripples


def test_a_cell_hands_on_what_moves():
    """A steadily lit cell from the switched pin to a diode and a capacitor: that holds the crest, not the mean of 0 and 9 V."""
    built = board(
        _driver(), part("U1", "coupler", NAN, "", "NSL-28", LED_anode="led", LED_cathode="ground", cell_a="plus", cell_b="far"),
        resistor("R1", 680.0, "rail", "led"), resistor("R2", 1e6, "far", "ground"), capacitor("C2", 10e-6, "held", "ground"),
        resistor("R3", 10e6, "held", "ground"), diode("D1", "far", "held"), supply=9.0,
    )  # fmt: skip
    assert 8.0 < circuit.operating_point(built, values=lossless(built)).voltages["held"] < 9.0


def test_a_lamp_at_what_moves_is_told():
    lit = part("U1", "coupler", NAN, "", "NSL-28", LED_anode="led", LED_cathode="ground", cell_a="rail", cell_b="b")
    built = board(_driver(), lit, resistor("R1", 1e3, "plus", "led"), resistor("R2", 10e3, "b", "ground"), supply=9.0)
    assert any("the LED of U1 moves" in one.what for one in circuit.operating_point(built).cautions)
