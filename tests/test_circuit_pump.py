"""A charge pump in a circuit against its own differential equations, solved exactly over a whole period (scipy's expm)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from pedalcalc import circuit, devices
from tests.circuit_parts import NAN, board, capacitor, lossless, part, resistor

VOLTS, LOAD = 6.0, 2.2e3
PUMP = devices.typical(devices.CONVERTER_7660)


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


def test_the_ripple_that_is_left_out_is_small():
    """Two equal capacitors of the usual size: 3 % of the source resistance, 4 mV here."""
    seen = circuit.operating_point(built := _inverter(10e-6, 10e-6), values=lossless(built)).voltages["out"]
    assert seen == pytest.approx(_mean(10e-6, 10e-6), abs=5e-3)


def test_shorts_where_the_pump_moves_are_shorts_in_every_part_of_its_period():
    chip = part(
        "IC1", "integrated circuit", NAN, "", "7660", _1="not connected", _2="plus", _3="ground", _4="not connected",
        _5="not connected", _6="not connected", _7="not connected", _8="rail",
    )  # fmt: skip
    parts = [
        chip, capacitor("C1", 10e-6, "plus", "far"), resistor("R2", 1.0, "far", "x"),
        capacitor("C2", 10e-6, "out", "ground"), resistor("R1", 4.7e3, "out", "ground"),
        part("D1", "diode", NAN, "", "1N4148", anode="rail", cathode="x"),
        part("D2", "diode", NAN, "", "1N4148", anode="x", cathode="out"),
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
