"""Operating points of many units beside bare LAPACK solves, and beside one unit at a time.

Bare solves are of the sizes and counts that the solver asks for, which leaves out the places that no law touches; and as
many of the whole circuit's size, as somebody would write who does not leave these out. Both are taken in turn with the
solver, three times, and the median counts: the machine may be busy.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from statistics import median

import numpy as np

from pedalcalc import tolerance
from pedalcalc.board import assemble
from pedalcalc.circuit import _newton, _ways
from pedalcalc.circuit._assembly import system_of
from pedalcalc.circuit._system import System
from pedalcalc.circuit.elements import elements_of
from pedalcalc.tolerance.draws import drawn_units
from tests.conftest import ROOT


def _solved(system: System, count: int) -> float:
    """Return the seconds of all operating points."""
    begin = time.process_time()
    solved = _ways.solve(system, units=count)
    taken = time.process_time() - begin
    if not solved.good.all():
        raise RuntimeError(f"{np.count_nonzero(~solved.good)} units were not solved")
    return taken


def _calls(system: System, count: int) -> list[tuple[int, int]]:
    """Return units and unknowns of every solve that the operating points take."""
    calls: list[tuple[int, int]] = []
    whole = _newton.solve_each

    def counted(matrix, right):
        calls.append((len(matrix), matrix.shape[-1]))
        return whole(matrix, right)

    _newton.solve_each = counted
    _ways.solve(system, units=count)
    _newton.solve_each = whole
    return calls


def _bare(calls: list[tuple[int, int]]) -> float:
    """Return the seconds of bare solves."""
    rng = np.random.default_rng(0)
    seconds = 0.0
    for units, size in calls:
        matrix, right = rng.normal(size=(units, size, size)) + 40 * np.eye(size), rng.normal(size=(units, size, 1))
        begin = time.process_time()
        np.linalg.solve(matrix, right)
        seconds += time.process_time() - begin
    return seconds


def rows() -> Iterator[tuple[str, float, str]]:
    """Yield claim, figure and budget."""
    for build, least in (("jfet-booster", "at least 50"), ("optical-compressor", "at least 20")):
        board = assemble(ROOT / "notebooks" / "builds" / build / "parts.csv", supply=9.0)
        count = 10_000
        values = drawn_units(board, count=count, seed=1)
        system = system_of(elements_of(board, values=values))
        _ways.solve(system.take(np.arange(10)), units=10)
        calls = _calls(system, count)
        own, small, whole = zip(
            *(
                (_solved(system, count), _bare(calls), _bare([(units, system.size) for units, _ in calls]))
                for _ in range(3)
            ),
            strict=True,
        )
        mine = median(own)
        sizes = "/".join(str(size) for size in sorted({size for _, size in calls}))
        for figure, text in ((small, f"{sizes} unknowns, as asked for"), (whole, f"all {system.size} unknowns")):
            yield (
                f"{build}: 10,000 operating points over as many bare solves of {text}",
                median(one / other for one, other in zip(own, figure, strict=True)),
                "at most 3",
            )
        some = 30
        begin = time.process_time()
        for k in range(some):
            _ways.solve(system.take(np.array([k])), units=1)
        alone = (time.process_time() - begin) / some
        yield f"{build}: one unit at a time over a unit of the batch", alone / (mine / count), least
        yield f"{build}: microseconds a unit", 1e6 * mine / count, "of 10,000"
        begin = time.process_time()
        tolerance.bands(board, count=1000)
        yield f"{build}: seconds for the bands of all volts, 1,000 draws", time.process_time() - begin, "at most 4"
