"""Normal random numbers as parts have them: none beyond three deviations."""

from __future__ import annotations

from typing import Any

import numpy as np


def scores(count: int, rng: np.random.Generator) -> Any:
    """Return standard normal numbers, those beyond three deviations drawn again, as shares of three deviations."""
    scores = rng.standard_normal(count)
    while np.any(out := np.abs(scores) > 3):
        scores[out] = rng.standard_normal(np.count_nonzero(out))
    return scores / 3
