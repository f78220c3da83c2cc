"""Operating points of many units beside bare LAPACK solves of the same sizes and counts, and beside one unit at a time."""

from __future__ import annotations

import time
from collections.abc import Iterator

import numpy as np

from pedalcalc import tolerance
from pedalcalc.board import assemble
from pedalcalc.circuit import _newton
from pedalcalc.circuit._elements import elements_of
from pedalcalc.circuit._system import system_of
from pedalcalc.tolerance._draws import drawn_units
from tests.conftest import ROOT


def rows() -> Iterator[tuple[str, float, str]]:
    """Yield claim, figure and budget."""
    for build, least in (("jfet-booster", "at least 50"), ("optical-compressor", "at least 20")):
        board = assemble(ROOT / "notebooks" / "builds" / build / "parts.csv", supply=9.0)
        count = 10_000
        values = drawn_units(board, count=count, seed=1)
        system = system_of(elements_of(board, values=values))
        _newton.solve(system.take(np.arange(10)), units=10)
        calls: list[tuple[int, int]] = []
        whole = _newton.solve_each

        def counted(matrix, right, whole=whole, calls=calls):
            calls.append((len(matrix), matrix.shape[-1]))
            return whole(matrix, right)

        _newton.solve_each = counted
        begin = time.process_time()
        solved = _newton.solve(system, units=count)
        mine = time.process_time() - begin
        _newton.solve_each = whole
        rng = np.random.default_rng(0)
        bare = 0.0
        for units, size in calls:
            matrix, right = rng.normal(size=(units, size, size)) + 40 * np.eye(size), rng.normal(size=(units, size, 1))
            begin = time.process_time()
            np.linalg.solve(matrix, right)
            bare += time.process_time() - begin
        if not solved.good.all():
            raise RuntimeError(f"{build}: {np.count_nonzero(~solved.good)} units were not solved")
        yield (
            f"{build}: 10,000 operating points over bare solves of the same sizes and counts",
            mine / bare,
            "at most 3",
        )
        some = 30
        begin = time.process_time()
        for k in range(some):
            _newton.solve(system.take(np.array([k])), units=1)
        alone = (time.process_time() - begin) / some
        yield f"{build}: one unit at a time over a unit of the batch", alone / (mine / count), least
        yield f"{build}: microseconds a unit", 1e6 * mine / count, "of 10,000"
        begin = time.process_time()
        tolerance.bands(board, count=1000)
        yield f"{build}: seconds for the bands of all volts, 1,000 draws", time.process_time() - begin, "at most 4"
