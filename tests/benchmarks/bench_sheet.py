"""A whole sheet from a list, its bands, and a swap in the panel."""

from __future__ import annotations

from dataclasses import replace
from statistics import median
from time import process_time

import numpy as np

from pedalcalc import bench, devices, explore, sheet, tolerance
from pedalcalc.board import assemble
from pedalcalc.circuit import response
from pedalcalc.tolerance.draws import drawn_units
from tests.conftest import ROOT

BUILDS = {
    "boost, 24 parts": ROOT / "notebooks" / "builds" / "your-build" / "parts.csv",
    "compressor, 48 parts": ROOT / "notebooks" / "builds" / "optical-compressor" / "parts.csv",
}
HERTZ = np.geomspace(10.0, 50e3, 50)


def _seconds(function, repeats=3):
    """Return the median processor time of a call, after one to warm up."""
    function()
    times = []
    for _ in range(repeats):
        start = process_time()
        function()
        times.append(process_time() - start)
    return median(times)


def rows() -> list[tuple[str, float, str]]:
    """Return claim, measured figure and budget."""
    found = []
    for name, path in BUILDS.items():
        board = assemble(path, supply="9V")
        pointed = replace(board, meter=devices.METER_POINTER)
        units = drawn_units(board, count=200, seed=1)
        direct = _seconds(lambda board=board: tolerance.bands(board, count=1000))
        sound = _seconds(lambda board=board, units=units: response(board, frequency=HERTZ, values=units))
        panel = explore.swap(board, fitted={"C1": ["10n"]})
        found += [
            (f"{name}: bands of 1,000 draws and response of 200 at 50 frequencies (s)", direct + sound, "at most 4"),
            (
                f"{name}: readings on the meter, both states (s)",
                _seconds(lambda board=board: bench.expected_readings(board)),
                "reported",
            ),
            (
                f"{name}: readings on a pointer of 20 kΩ/V, over those on a digital meter",
                _seconds(lambda board=pointed: bench.expected_readings(board), 1)
                / _seconds(lambda board=board: bench.expected_readings(board), 1),
                "at most 4",
            ),
            (
                f"{name}: a whole sheet without the notebook's kernel (s)",
                _seconds(lambda path=path: sheet.build_sheet(path), 1),
                "at most 15",
            ),
            (
                f"{name}: a swap in the panel (ms)",
                1e3 * _seconds(lambda panel=panel: panel._draw(C1="10n"), 5),
                "at most 300",
            ),
        ]
    return found


if __name__ == "__main__":
    for claim, figure, budget in rows():
        print(f"{claim}: {figure:.3g} ({budget})")
