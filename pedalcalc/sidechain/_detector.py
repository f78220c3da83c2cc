"""Inputs that every detector function shares, checked and broadcast together."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import numeric

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


def inverse(values: Array) -> Array:
    """Return 1/x, infinite at 0."""
    with np.errstate(divide="ignore"):
        return np.asarray(1 / values)


def detector(
    voltage_peak: ArrayLike,
    resistance_attack: ArrayLike,
    resistance_release: ArrayLike,
    resistance_load: ArrayLike,
    voltage_diode: ArrayLike,
    current_leakage: ArrayLike,
    *extra: Array,
) -> Detector:
    """Check a detector's values; the release and the load are two resistors in parallel to ground."""
    release = numeric("resistance_release", resistance_release, least=0, infinity=True)
    load = numeric("resistance_load", resistance_load, least=0, infinity=True)
    peak, attack, discharge, diode, leakage, *others = np.broadcast_arrays(
        numeric("voltage_peak", voltage_peak, least=0),
        numeric("resistance_attack", resistance_attack, least=0, infinity=True),
        inverse(inverse(release) + inverse(load)),
        numeric("voltage_diode", voltage_diode, least=0),
        numeric("current_leakage", current_leakage, least=0),
        *extra,
    )
    if np.any((attack == 0) & (discharge == 0)):
        raise ValueError("resistance_attack and resistance_release (with resistance_load) must not both be 0")
    if np.any(np.isinf(attack) & np.isinf(discharge) & (leakage == 0)):
        raise ValueError(
            "resistance_attack and resistance_release must not both be open: nothing sets the voltage of the capacitor"
        )
    return Detector(peak, attack, discharge, diode, leakage, tuple(others))
