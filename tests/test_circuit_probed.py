"""A meter put on a board that is solved already: against a bisection of the law itself, and the board solved anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from pedalcalc import bench, devices
from pedalcalc._meter import loading
from pedalcalc.board import assemble
from pedalcalc.circuit import operating_point
from pedalcalc.circuit.operating import solved_board
from pedalcalc.circuit.probed import probed
from pedalcalc.laws import junction
from pedalcalc.tolerance.draws import drawn_units
from tests.circuit_parts import board, capacitor, clip, lossless, part, resistor
from tests.conftest import ROOT

BUILDS = ROOT / "notebooks" / "builds"
COMPRESSOR = assemble(BUILDS / "optical-compressor" / "parts.csv", supply=9.0)
HEAD = "reference,kind,value,fitted,tolerance,rating,connections,note\n"
LAMP = (
    'X1,connector,battery clip,,,,"plus: rail, minus: ground",\n'
    'R1,resistor,47k,,,,"1: rail, 2: lamp",\n'
    'D1,diode,1N4148,,,,"anode: lamp, cathode: ground",\n'
)


@pytest.mark.parametrize("ohms", [1e6, 50e3, 5e3, 200.0])
def test_a_diode_under_a_meter_obeys_its_law(tmp_path, ohms):
    # Kirchhoff at the anode, the law's current by its own public function, the root by Brent's method
    (tmp_path / "parts.csv").write_text(HEAD + LAMP)
    board = assemble(tmp_path / "parts.csv", supply=9.0)
    diode = devices.typical(board.record("D1"))
    given = np.array([20e3, 47e3, 100e3])
    _, system, solved = solved_board(board, values={"R1": given})
    volts, good = probed(system, solved, "lamp", ohms)
    assert good.all()
    for seen, source in zip(volts, given, strict=True):
        by_hand = brentq(
            lambda v, source=source: (9.0 - v) / source - v / ohms - junction(v, junction=diode).current,
            0.0,
            5.0,
            xtol=1e-13,
        )
        assert seen == pytest.approx(by_hand, abs=1e-9)


@pytest.mark.parametrize("net", ["half supply", "threshold", "hold", "flying", "LED drive", "make-up feedback"])
def test_drawn_units_under_a_meter_stand_where_the_whole_board_puts_them(net):
    units = drawn_units(COMPRESSOR, count=20, seed=3)
    _, system, solved = solved_board(COMPRESSOR, values=units)
    volts, good = probed(system, solved, net, 200e3)
    anew = operating_point(COMPRESSOR, values=units, bridges={(net, "ground"): 200e3}).voltages[net]
    assert good.all()
    assert np.abs(volts - solved.voltages[:, system.where(net)[0]]).max() > 1e-4
    assert volts == pytest.approx(np.asarray(anew), abs=1e-9)


def test_a_pointer_s_readings_are_those_of_the_board_with_its_resistance_on_the_net():
    board = replace(COMPRESSOR, meter=devices.METER_POINTER)
    shown = bench.expected_readings(board, count=20).rows
    rows = [row for row in shown if row.place in ("rail", "half supply", "buffered", "threshold", "hold")]
    assert len(rows) >= 5
    for row in rows:
        here = replace(board, bypassed=row.state == "bypassed")
        ohms = loading(float(operating_point(here).voltages[row.place]), board.meter)
        loaded = operating_point(here, bridges={(row.place, "ground"): ohms}).voltages[row.place]
        # a pull of less than half a millivolt is left out; an op-amp's output gives more away than its slope at rest says
        assert row.reading_typical == pytest.approx(loaded, abs=0.5e-3)


def test_a_pointer_on_one_net_is_read_on_the_range_of_the_supply():
    # by hand: 20 kΩ/V on the range of 10 V are 200 kΩ beside the lower 100 kΩ; 9 V * 66.7/(100 + 66.7)
    divider = [clip(), resistor("R1", 100e3, "rail", "half"), resistor("R2", 100e3, "half", "ground")]
    read = operating_point(assemble(divider, supply=9.0, meter=devices.METER_POINTER), probe="half")
    assert read.voltages["half"] == pytest.approx(3.6, rel=1e-9)


@pytest.mark.parametrize("net", ["rail", "low", "half"])
def test_a_net_that_a_battery_lifts_above_another_is_read_with_the_meter_s_pull(net):
    # by hand, superposed: 9 V between 'rail' and 'low', 1 kΩ from 'low' and 10 kΩ from 'rail' to ground, a divider between
    lifted = assemble(
        [
            clip(minus="low"), resistor("R1", 1e3, "low", "ground"), resistor("R2", 10e3, "rail", "ground"),
            resistor("R3", 10e3, "rail", "half"), resistor("R4", 20e3, "half", "low"),
        ],
        supply=9.0,
    )  # fmt: skip
    _, system, solved = solved_board(lifted, values={"R1": np.array([1e3, 2e3])})
    volts, good = probed(system, solved, net, 5e3)
    assert good.all()
    ends = {"low": 0, "half": 1}
    for seen, ohms in zip(volts, (1e3, 2e3), strict=True):
        g = np.array([[1 / ohms + 1e-4 + 1e-4 + 5e-5, -1.5e-4], [-1.5e-4, 1.5e-4]])
        push = np.array([-9 * 2e-4, 9e-4])  # what the rail, 9 V above 'low', takes and gives
        if net == "rail":
            g[0, 0] += 1 / 5e3
            push[0] -= 9 / 5e3
        else:
            g[ends[net], ends[net]] += 1 / 5e3
        low, half = np.linalg.solve(g, push)
        assert seen == pytest.approx({"rail": low + 9.0, "low": low, "half": half}[net], abs=1e-9)


def test_an_output_that_nobody_can_foresee_has_no_reading_in_the_units_where_it_is_so():
    # its input 0.9 V above its lower rail, where the TL072 has lost its way, or at half of the supply
    follower = board(
        resistor("R1", 10e3, "rail", "in"), resistor("R2", 10e3, "in", "ground"), resistor("R3", 10e3, "out", "ground"),
        part("IC1", "integrated circuit", float("nan"), "", "TL071", _1="not connected", _2="out", _3="in", _4="ground",
             _5="not connected", _6="out", _7="rail", _8="not connected"),
    )  # fmt: skip
    _, system, solved = solved_board(follower, values={"R1": np.array([90e3, 10e3])})
    volts, _ = probed(system, solved, "out", 10e6)
    assert volts == pytest.approx([np.nan, 4.5], abs=1e-3, nan_ok=True)


def test_a_meter_pulls_to_ground_what_hangs_on_nothing_else():
    """10 MΩ hold the net in the units in which R1 is open: at 0 V, and at what an input's bias current makes across them."""
    lone = board(
        resistor("R1", 10e3, "rail", "out"),
        resistor("R2", 20e3, "rail", "ground"),
        capacitor("C1", 1e-6, "out", "ground"),
    )
    _, system, solved = solved_board(lone, values={"R1": np.array([10e3, np.inf])} | lossless(lone))
    volts, good = probed(system, solved, "out", 10e6)
    assert good.all()
    assert volts == pytest.approx([9.0 * 10e6 / 10.01e6, 0.0], abs=1e-9)
    one = board(
        resistor("R1", 10e3, "rail", "in"), resistor("R3", 10e3, "out", "ground"), resistor("R4", 30e3, "rail", "ground"),
        part("IC1", "integrated circuit", float("nan"), "", "LM358", _1="out", _2="out", _3="in", _4="ground",
             _5="ground", _6="spare", _7="spare", _8="rail"),
    )  # fmt: skip
    chip = replace(devices.typical(devices.OPAMP_LM358), current_bias=45e-9)  # out of its inputs
    _, system, solved = solved_board(one, values={"R1": np.array([10e3, np.inf]), "IC1": chip})
    volts, good = probed(system, solved, "in", 10e6)
    assert good.all()
    assert volts[1] == pytest.approx(45e-9 * 10e6, rel=1e-6)
