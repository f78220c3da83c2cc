"""The law of a potentiometer's track, and its inverse."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pedalcalc._record import specimen
from pedalcalc.devices import Taper

Array = NDArray[np.float64]


def track_law(taper: Taper) -> tuple[Array, Array]:
    """Return a specimen's share at mid rotation (at the knee, of a bent track) and its knee, NaN if smooth."""
    specimen("taper", taper, Taper)
    return np.asarray(taper.fraction_middle, float), np.asarray(taper.rotation_knee, float)


def fraction_at(rotation: Array, middle: Array, knee: Array) -> Array:
    """Return the share of the track below the wiper.

    Smooth: f(x) = (b^x − 1)/(b − 1), b = ((1 − m)/m)², so that f(1/2) = m. Two pieces: straight from 0 to m at the
    knee, and on to 1.
    """
    rotation, middle, knee = np.broadcast_arrays(rotation, middle, knee)
    growth = 2 * np.log((1 - middle) / middle)
    with np.errstate(invalid="ignore", divide="ignore"):
        smooth = np.where(growth == 0, rotation, np.expm1(rotation * growth) / np.expm1(growth))
        bent = np.where(rotation <= knee, middle * rotation / knee, 1 - (1 - middle) * (1 - rotation) / (1 - knee))
    return np.asarray(np.where(np.isnan(knee), smooth, bent))


def rotation_at(fraction: Array, middle: Array, knee: Array) -> Array:
    """Return the rotation that puts a share of the track below the wiper, x = ln(1 + f (b − 1))/ln b."""
    fraction, middle, knee = np.broadcast_arrays(fraction, middle, knee)
    growth = 2 * np.log((1 - middle) / middle)
    with np.errstate(invalid="ignore", divide="ignore"):
        smooth = np.where(growth == 0, fraction, np.log1p(fraction * np.expm1(growth)) / growth)
        bent = np.where(fraction <= middle, knee * fraction / middle, 1 - (1 - knee) * (1 - fraction) / (1 - middle))
    found = np.where(np.isnan(knee), smooth, bent)
    return np.asarray(np.where(np.isnan(fraction + middle), np.nan, found))
