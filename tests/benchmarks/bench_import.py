"""What `import pedalcalc` costs beside `import numpy`, each in a fresh process."""

from __future__ import annotations

import subprocess
import sys
from statistics import median
from time import perf_counter

PAIRS = 15


def _time(statement: str) -> float:
    start = perf_counter()
    subprocess.run([sys.executable, "-c", statement], check=True, timeout=60)
    return perf_counter() - start


def rows() -> list[tuple[str, float, str]]:
    """Return the median ratio of paired runs, interpreter start included."""
    _time("import pedalcalc"), _time("import numpy")
    ratio = median(_time("import pedalcalc") / _time("import numpy") for _ in range(PAIRS))
    return [("import pedalcalc over import numpy", ratio, "at most 1.15")]
