"""Reading a long parts list against reading it as a bare table, and the records of all tables."""

from __future__ import annotations

import csv
import tempfile
from pathlib import Path
from statistics import median
from time import process_time

from pedalcalc import parts
from pedalcalc.devices import _tables

ROWS = 100_000


def _time(function):
    start = process_time()
    function()
    return process_time() - start


def _bare(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _records():
    _tables._raw.cache_clear()
    return [list(_tables._entries(kind, *_tables._raw(kind), {})) for kind in _tables.CLASSES]


def rows() -> list[tuple[str, float, str]]:
    """Return (claim, measured figure, budget) for each claim."""
    path = Path(tempfile.mkdtemp(), "parts.csv")
    lines = (f'R{i},resistor,{100 + i % 900}k,,1%,0.25 W,"1: net {i}, 2: net {i + 1}",' for i in range(ROWS))
    path.write_text(",".join(parts.COLUMNS) + "\n" + "\n".join(lines) + "\n", encoding="utf-8")
    whole, bare = (
        median(_time(read) for _ in range(3)) for read in (lambda: parts.read_parts(path), lambda: _bare(path))
    )
    return [
        ("a list of 100 000 parts, read and checked: seconds", whole, "at most 2"),
        ("the same over reading the bare table", whole / bare, "at most 10"),
        ("all records of all tables, read and checked: milliseconds", 1e3 * _time(_records), "at most 50"),
    ]
