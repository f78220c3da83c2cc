"""Run every benchmark beside this file and print one table: ``python -m tests.benchmarks``.

Each module ``bench_*.py`` gives rows of claim, measured figure and budget. Figures are ratios taken
side by side wherever one can be had; milliseconds are for the machine at hand. Nothing is asserted.
"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path


def main(wanted: list[str]) -> None:
    """Print the table of all benchmarks, or of those whose names are given."""
    for path in sorted(Path(__file__).parent.glob("bench_*.py")):
        if wanted and path.stem.removeprefix("bench_") not in wanted:
            continue
        for claim, figure, budget in importlib.import_module(f"tests.benchmarks.{path.stem}").rows():
            print(f"{path.stem.removeprefix('bench_'):12} {claim:78} {figure:>10.3g}   {budget}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
