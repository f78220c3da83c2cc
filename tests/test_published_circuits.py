"""Published examples as circuits: every row of reference/published/circuits.csv against the solver.

Each example is a parts list in reference/published/circuits with some values changed, its devices specimens with the
figures that the source states. A row whose id stands in another table has its printed figure there: that one is judged
both ways, by the function and by the circuit.
"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import circuit
from pedalcalc.board import assemble
from tests.circuit_parts import LOSSLESS, lossless
from tests.conftest import REFERENCE
from tests.test_published import CIRCUITS, ROWS, _allowed_error, _argument

FIGURES = {row["id"]: row for row in ROWS}
LISTS = REFERENCE / "published" / "circuits"
BOTH_WAYS = [row for row in CIRCUITS if row["id"] in FIGURES]


def _volts(voltages, nets):
    """Volts of a net, or of one net above another."""
    net, other = nets if isinstance(nets, list) else (nets, "ground")
    return voltages[net] - voltages[other]


def _asked(board, values, question):
    """Answer one question: its first key says which; the others are conditions of it."""
    (what, where), *conditions = question.items()
    given = dict(conditions)
    times, probe, net = (given.pop(key, usual) for key, usual in (("times", 1.0), ("probe", ""), ("net", "")))
    if what in ("voltage", "current"):
        point = circuit.operating_point(board, values=values, probe=probe)
        return times * (_volts(point.voltages, where) if what == "voltage" else point.currents[where])
    given = {"net_in": "in", "net_out": "out", "resistance_generator": 0.0, "resistance_load": 1e12} | given
    if what == "impedance":
        return times * circuit.impedance(board, net=where, values=values, **given).impedance_size
    if what == "corner":
        (frequency,) = (
            one.frequency for one in circuit.corners(board, values=values, **given).corners if one.kind == where
        )
        return times * frequency
    if what == "volts after":
        seen = circuit.waveform(board, time=np.linspace(0, where, 1001), start="off", values=values, **given)
        return times * _volts(seen.voltages, net)[-1]
    seen = circuit.response(board, values=values, **given)
    fields = {
        "gain": seen.gain,
        "gain_signed": seen.response.real,
        "gain_db": seen.gain_db,
        "phase": seen.phase_degrees,
    }
    return times * fields[what]


@pytest.mark.parametrize("row", CIRCUITS, ids=lambda row: row["id"])
def test_published_circuit(row):
    figure = FIGURES.get(row["id"], row)
    inputs = json.loads(row["inputs"])
    board = assemble(LISTS / f"{row['list']}.csv", supply=float(inputs.pop("supply", 9.0)))
    values = lossless(board)
    for name, given in inputs.items():
        values[name] = replace(LOSSLESS, capacitance=given) if name in values else _argument(given)
    found = _asked(board, values, json.loads(row["asked"]))
    assert np.ndim(found) == 0
    assert abs(float(found) - float(figure["printed"])) <= _allowed_error(figure)


def test_a_figure_stands_in_one_place():
    for row in BOTH_WAYS:
        assert not any(row[key] for key in ("printed", "unit", "kind", "tol", "source", "where")), row["id"]


def test_every_list_is_asked():
    assert {path.stem for path in LISTS.glob("*.csv")} == {row["list"] for row in CIRCUITS}
