"""What feedback makes of an op-amp's gain, shared by the stages."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pedalcalc._refusal import must

Array = NDArray[np.float64]


def ratio(r_f: Array, r: Array, leg: str) -> Array:
    """Return RF/R with opens and shorts in their limits; `leg` names the resistor at the inverting input."""
    if np.any(bad := ((r_f == 0) & (r == 0)) | (np.isinf(r_f) & np.isinf(r))):
        raise must(f"resistance_feedback and {leg} must not both be 0 or both open", bad)
    with np.errstate(divide="ignore"):
        return np.asarray(r_f / r)


def closed(target: Array, noise: Array, a_ol: Array) -> Array:
    """Return target/(1 + noise/Aol), in the limits of an open loop and of an ideal op-amp."""
    with np.errstate(invalid="ignore", divide="ignore"):
        found = target / (1 + noise / a_ol)
        return np.where(np.isinf(target), np.sign(target) * a_ol, found)
