"""Responses of many units beside the bare solves of the same size, and what the corners of one board take.

Run with ``python -m tests.benchmarks circuit_response``; not collected by pytest.
"""

from __future__ import annotations

from statistics import median
from time import process_time

import numpy as np

from pedalcalc import circuit
from pedalcalc.board import assemble
from pedalcalc.circuit.signals import signal_of
from tests.conftest import ROOT

UNITS, FREQUENCIES = 1_000, np.geomspace(20, 20e3, 200)
REPEATS = 3
PLAIN = {"net_in": "", "net_out": "", "resistance_generator": 10e3, "resistance_load": 1e6}


def _seconds(call):
    start = process_time()
    call()
    return process_time() - start


def _bare(size):
    """Solve as many systems of that size as there are units and frequencies, those in sight of the processor at once."""
    random = np.random.default_rng(1)
    at_once = max(1, 4_000_000 // (16 * size**2))
    matrix = random.normal(size=(at_once, size, size)) + 1j * random.normal(size=(at_once, size, size))
    right = np.ones((1, size, 1), complex)
    for _ in range(UNITS * len(FREQUENCIES) // at_once):
        np.linalg.solve(matrix, right)


def _drawn(board):
    random = np.random.default_rng(2)
    kinds = ("resistor", "film capacitor", "ceramic capacitor", "electrolytic capacitor")
    parts = [one.part for one in board.parts if one.part.kind in kinds]
    return {part.reference: part.value * random.uniform(0.95, 1.05, UNITS) for part in parts}


def rows() -> list[tuple[str, float, str]]:
    """Return (claim, measured figure, budget) for both builds."""
    found = []
    for build in ("jfet-booster", "optical-compressor"):
        board = assemble(ROOT / "notebooks" / "builds" / build / "parts.csv", supply=9.0)
        values = _drawn(board)
        plain = signal_of(board, **PLAIN, values=None, faults=None, bridges=None)
        bare = median(_seconds(lambda size=plain.size: _bare(size)) for _ in range(REPEATS))
        whole, still = (
            median(
                _seconds(lambda f=f: circuit.response(board, frequency=f, values=values))  # noqa: B023
                for _ in range(REPEATS)
            )
            for f in (FREQUENCIES, FREQUENCIES[:1])
        )
        points = UNITS * len(FREQUENCIES)
        told = f"{build}, {UNITS} units at {len(FREQUENCIES)} frequencies"
        found += [
            (
                f"{told}: over bare solves of {plain.size} unknowns, operating points included",
                whole / bare,
                "at most 1.5",
            ),
            (f"{told}: the same without operating points and one frequency", (whole - still) / bare, "reported"),
            (f"{told}: microseconds a point", 1e6 * whole / points, "reported"),
            (
                f"{build}: milliseconds for all corners with their sensitivities",
                1e3 * median(_seconds(lambda: circuit.corners(board)) for _ in range(9)),  # noqa: B023
                "reported",
            ),
        ]
    return found


if __name__ == "__main__":
    for claim, figure, budget in rows():
        print(f"{claim}: {figure:.3g} ({budget})")
