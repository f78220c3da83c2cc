"""Lists with slips in them: solved, or refused with a documented error, never anything else."""

from __future__ import annotations

import csv
import io
import traceback

import numpy as np
import pytest

from pedalcalc import circuit
from pedalcalc.board import assemble
from tests.conftest import ROOT

TEXT = (ROOT / "notebooks" / "builds" / "jfet-booster" / "parts.csv").read_text(encoding="utf-8")
ROWS = list(csv.reader(io.StringIO(TEXT)))


def _slip(rng, rows):
    """Make one slip of the kinds that a spreadsheet sees."""
    rows = [list(row) for row in rows]
    k, j = int(rng.integers(1, len(rows))), int(rng.integers(0, len(rows[0])))
    kind = int(rng.integers(0, 7))
    if kind == 0:
        rows[k][j] = ""
    elif kind == 1:
        rows[k][j] = rows[int(rng.integers(1, len(rows)))][j]
    elif kind == 2:
        del rows[k]
    elif kind == 3:
        rows[k][2] = str(rng.choice(["0", "1p", "999M", "4k7k", "TL072", "-3", "BC549C", "1e99"]))
    elif kind == 4:
        pins = rows[k][6].split(", ")
        place = int(rng.integers(0, len(pins)))
        pins[place] = (
            pins[place].split(": ")[0] + ": " + str(rng.choice(["ground", "rail", "nowhere", "not connected"]))
        )
        rows[k][6] = ", ".join(pins)
    elif kind == 5:
        text = rows[k][j]
        if text:
            at = int(rng.integers(0, len(text)))
            rows[k][j] = text[:at] + text[at + 1 :]
    else:
        rows.append(rows[k])
    return rows


@pytest.mark.parametrize("seed", range(150))
def test_a_list_with_slips_is_solved_or_refused_in_words(seed, tmp_path):
    rng = np.random.default_rng([9, seed])
    rows = ROWS
    for _ in range(int(rng.integers(1, 4))):
        rows = _slip(rng, rows)
    path = tmp_path / "parts.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    said, where, point = "", "", None
    try:
        point = circuit.operating_point(assemble(path, supply=9.0))
    except (ValueError, RuntimeError) as error:
        said = str(error)
        where = traceback.extract_tb(error.__traceback__)[-1].filename
    if point is None:
        assert said
        assert "pedalcalc" in where, "refused by a library, not in words"
        assert "object at" not in said
        return
    assert np.isfinite(
        [volts for net, volts in point.voltages.items() if net not in (*point.floating, *point.unpredictable)]
    ).all()
