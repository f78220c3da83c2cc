"""Every public function has a caller: a notebook, a panel, or a function of another module.

A function that nobody calls answers nobody's question. Read from the source: `room.name(...)` and
`from pedalcalc.room... import name`, followed by a call of the name; the file that holds a function is
not asked about it.
"""

from __future__ import annotations

import ast
import inspect
import json
import re
from functools import cache

import pytest

from tests.conftest import REFERENCE, ROOT
from tests.test_contract import FUNCTIONS

# A board is what these are asked about; no sheet asks them yet.
COMING: set[str] = set()
MOST = 190  # public functions; the rooms that ask a whole board count apart

HOMES = {f"{room}.{name}": inspect.getsourcefile(function) for room, name, function in (p.values for p in FUNCTIONS)}


def _called(tree):
    """Names of `room.function` that a piece of source calls."""
    local = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pedalcalc."):
            room = node.module.split(".")[1]
            local |= {alias.asname or alias.name: f"{room}.{alias.name}" for alias in node.names}
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name) and node.func.id in local:
                yield local[node.func.id]
            elif isinstance(node.func, ast.Attribute) and isinstance(node.func.value, ast.Name):
                yield f"{node.func.value.id}.{node.func.attr}"


def _sources():
    """Yield where a piece of source stands, and the piece."""
    for path in sorted((ROOT / "pedalcalc").rglob("*.py")):
        yield str(path), path.read_text(encoding="utf-8")
    for path in sorted((ROOT / "notebooks").rglob("*.ipynb")):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        yield str(path), "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")


@cache
def called():
    return {name for place, source in _sources() for name in _called(ast.parse(source)) if HOMES.get(name) != place}


@pytest.mark.parametrize("name", sorted(HOMES.keys() - COMING))
def test_function_has_a_caller(name):
    assert name in called(), f"no notebook, panel or other function calls {name}: give it a caller, or let it go"


def test_what_waits_is_there_and_has_no_caller():
    assert HOMES.keys() >= COMING
    assert not COMING & called(), "these have a caller now: they wait no longer"


def test_the_library_stays_small():
    assert len([name for name in HOMES if name.split(".")[0] not in {"circuit", "tolerance", "bench", "sheet"}]) <= MOST


def test_the_index_by_question_holds_every_function_once():
    page = (REFERENCE / "functions.md").read_text(encoding="utf-8")
    listed = []
    for line in page.splitlines():
        if line.startswith("| ") and not line.startswith(("| question", "| ---")):
            question, answers = (cell.strip() for cell in line.strip("| ").split(" | "))
            names = re.findall(r"`([a-z_]+\.[a-z_0-9]+)`", answers)
            assert question and answers == ", ".join(f"`{name}`" for name in names), line
            listed += names
    assert sorted(listed) == sorted(HOMES)
