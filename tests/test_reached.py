"""Every public function of a room has a caller: a notebook, a panel or another function.

A function that nobody calls answers nobody's question. Read from the source: `room.name(...)` and
`from pedalcalc.room... import name`, followed by a call of the name.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import json

import pytest

from tests.conftest import ROOT

ROOMS = ["bjt", "fet", "opamp", "stage"]

# Single questions of one textbook circuit each, kept until a solver for whole circuits answers them.
WAITING = {
    "bjt.divider_readings",
    "fet.drain_feedback",
    "fet.drain_voltage_linear",
    "fet.from_drain_voltage",
    "fet.load_line_voltage",
    "opamp.buffer",
    "opamp.closed_loop",
    "opamp.difference_output",
    "opamp.output_offset",
    "opamp.summing_output",
    "stage.collector_feedback_stage",
    "stage.common_base",
    "stage.common_gate",
}


def _functions():
    for room in ROOMS:
        module = importlib.import_module(f"pedalcalc.{room}")
        yield from (f"{room}.{name}" for name in module.__all__ if inspect.isfunction(getattr(module, name)))


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
    for path in sorted((ROOT / "pedalcalc").rglob("*.py")):
        yield path.read_text(encoding="utf-8")
    for path in sorted((ROOT / "notebooks").rglob("*.ipynb")):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        yield "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")


CALLED = {name for source in _sources() for name in _called(ast.parse(source))}


@pytest.mark.parametrize("name", sorted(set(_functions()) - WAITING))
def test_function_has_a_caller(name):
    assert name in CALLED, f"no notebook, panel or function calls {name}: give it a caller, or let it go"


def test_what_waits_is_there():
    assert set(_functions()) >= WAITING
