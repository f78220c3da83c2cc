"""Every single fault of both builds, at several draws: solved, and the power that goes in comes out as heat.

The sum of volts times amperes over all branches vanishes only where Kirchhoff's laws hold (B. D. H. Tellegen, 1952).
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pedalcalc.board import assemble
from pedalcalc.circuit.operating import currents, solved_board, told
from pedalcalc.tolerance.draws import drawn_units
from tests.conftest import ROOT
from tests.test_circuit import BOARDS

DRAWS = 4
UNITS = {name: drawn_units(board, count=DRAWS, seed=5) for name, board in BOARDS.items()}


def _faults(board):
    for found in board.parts:
        part = found.part
        yield part.reference, "open"
        if part.kind not in ("jack", "connector", "switch", "battery"):
            yield part.reference, "reversed"
        if len(found.pins) == 2 and part.kind not in ("battery", "connector"):  # a shorted clip heats the battery alone
            yield part.reference, "shorted"
        if part.unit in ("Ω", "F"):
            yield part.reference, 10.0
            yield part.reference, 0.1


FAULTS = [(name, *fault) for name, board in BOARDS.items() for fault in _faults(board)]


@pytest.mark.parametrize(("name", "reference", "fault"), FAULTS)
def test_a_single_fault_is_solved_and_its_power_balances(name, reference, fault):
    board, values, faults = BOARDS[name], dict(UNITS[name]), {}
    if isinstance(fault, float):
        values[reference] = fault * np.asarray(values.get(reference, board.part(reference).value))
    else:
        faults[reference] = fault
    found, system, solved = solved_board(board, values=values, faults=faults)
    assert solved.good.all()
    _, powers, fed = currents(found, system, solved.voltages)
    heat = sum(powers.values())
    np.testing.assert_allclose(heat, 9.0 * fed, rtol=1e-6, atol=1e-9)


def test_bridges_between_neighbours_are_solved():
    for name, board in BOARDS.items():
        nets = sorted({pin.net for part in board.parts for pin in part.pins} - {"not connected"})
        pairs = list(itertools.combinations(nets, 2))
        np.random.default_rng(8).shuffle(pairs)
        failed = 0
        for first, second in pairs[:60]:
            _, _, solved = solved_board(board, values=UNITS[name], bridges={(first, second): 0.1})
            failed += int((~solved.good).sum())
        assert failed <= 0.005 * 60 * DRAWS, name


def test_an_input_that_hangs_on_a_capacitor_stops_no_unit():
    """A bias current of 185 nA leads 7 GOhm of insulation, on paper, to a thousand volts (Ohm's law): no way is too long."""
    board = assemble(ROOT / "tests" / "builds" / "hard-clipping" / "parts.csv", supply=9.0)
    values = {name: value for name, value in drawn_units(board, count=200, seed=1).items() if name != "R4"}
    found, system, solved = solved_board(board, values=values, faults={"R4": "open"})
    assert solved.good.all()
    named = told(found, system, solved)
    assert "plus in" in named["floating"] and np.isnan(named["voltages"]["plus in"]).all()
    assert np.all(np.abs(named["voltages"]["half"] - 2.5) < 0.15)  # half of the regulator's 5 V, by hand
