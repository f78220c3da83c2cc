"""Voltage at which charge and discharge of the hold capacitor balance."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import decibels, elementwise_root
from pedalcalc.sidechain._detector import Array, Detector, inverse
from pedalcalc.sidechain.charging import SHARES, charging_shape


class Held(NamedTuple):
    """A steadily held voltage: share of the peak, volts, decibels, half the conduction angle, current drawn."""

    share: Array
    voltage: Array
    loss_db: Array
    conduction_degrees: Array
    current: Array
    conducts: NDArray[np.bool_]


def balance(values: Detector, rectifier: str) -> Array:
    """Return held voltage over peak, 0 where the signal or what is left of it stays under the threshold."""
    unknown = values.unknown
    live = values.peak > values.diode
    peak = np.where(live, values.peak, 1.0)
    threshold = np.where(live, values.diode / peak, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        charge = np.where(values.release == 0, 0.0, 1 / (1 + values.attack / values.release))
        charge = np.where(np.isinf(values.attack), 0.0, np.where(np.isinf(values.release), 1.0, charge))
        drain = np.where(np.isinf(values.attack) | (values.release == 0), 1.0, 1 / (1 + values.release / values.attack))
        both = inverse(inverse(values.attack) + inverse(values.release))
        leak = np.where(values.leakage == 0, 0.0, values.leakage * both / peak)

    def surplus(share: Array, threshold: Array, charge: Array, drain: Array, leak: Array) -> Array:
        current = charging_shape(np.ones_like(share), share + threshold)
        return np.asarray(SHARES[rectifier] * charge * current - drain * share - leak)

    nothing = np.zeros_like(threshold)
    live = live & (unknown | (surplus(nothing, threshold, charge, drain, leak) > 0))
    leak = np.where(live, leak, 0.0)
    share = elementwise_root(surplus, nothing, 1 - threshold, threshold, charge, drain, leak)
    return np.where(unknown, np.nan, np.where(live, share, 0.0))


def held(values: Detector, rectifier: str) -> Held:
    """Return the voltage that a steady sine keeps on the hold capacitor, for checked values.

    Charge in equals charge out over a cycle: k A (sin θ − θ cos θ)/R_a = v/R + I, A cos θ = v + V_D.
    """
    share = balance(values, rectifier)
    hold = share * values.peak
    conducts = (values.peak > values.diode) & np.isfinite(values.attack) & ~values.unknown
    with np.errstate(divide="ignore", invalid="ignore"):
        angle = np.arccos(np.where(conducts, np.minimum(share + values.diode / values.peak, 1), 1))
        charged = SHARES[rectifier] * charging_shape(values.peak, values.diode) / values.attack
        drawn = np.where(hold > 0, hold / values.release + values.leakage, np.where(conducts, charged, 0.0))
    angle, drawn = (np.where(values.unknown, np.nan, x) for x in (angle, drawn))
    return Held(
        share=share,
        voltage=hold,
        loss_db=decibels(share),
        conduction_degrees=np.degrees(angle),
        current=drawn,
        conducts=conducts,
    )
