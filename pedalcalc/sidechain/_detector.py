"""Values that every detector function shares, broadcast together."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._refusal import must

Array = NDArray[np.float64]


class Detector(NamedTuple):
    """Checked values of a detector, all of one shape."""

    peak: Array
    attack: Array
    release: Array
    diode: Array
    leakage: Array
    extra: tuple[Array, ...]

    @property
    def unknown(self) -> NDArray[np.bool_]:
        """Tell where some value is NaN."""
        known = [self.peak, self.attack, self.release, self.diode, self.leakage, *self.extra]
        return np.asarray(np.isnan(known).any(axis=0))


def inverse(values: ArrayLike) -> Array:
    """Return 1/x, infinite at 0."""
    with np.errstate(divide="ignore"):
        return 1 / np.asarray(values, float)


def detector(
    peak: ArrayLike,
    attack: ArrayLike,
    release: ArrayLike,
    load: ArrayLike,
    diode: ArrayLike,
    leakage: ArrayLike,
    *extra: Array,
) -> Detector:
    """Stretch a detector's checked values; the release and the load are two resistors in parallel to ground."""
    discharge = inverse(inverse(release) + inverse(load))
    peak, attack, discharge, diode, leakage, *others = np.broadcast_arrays(
        peak, attack, discharge, diode, leakage, *extra
    )
    if np.any(bad := (attack == 0) & (discharge == 0)):
        raise must("resistance_attack and resistance_release (with resistance_load) must not both be 0", bad)
    if np.any(bad := np.isinf(attack) & np.isinf(discharge) & (leakage == 0)):
        raise must(
            "resistance_attack and resistance_release must not both be open, or nothing sets the capacitor's voltage",
            bad,
        )
    return Detector(peak, attack, discharge, diode, leakage, tuple(others))
