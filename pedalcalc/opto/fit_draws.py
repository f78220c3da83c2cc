"""Couplers that fit the readings of one that was measured, as records."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pedalcalc.devices import Coupler

if TYPE_CHECKING:
    from pedalcalc.opto.fits import CouplerFit


def with_figures(coupler: Coupler, logs: Any, current_reference: float) -> Coupler:
    """Return a coupler with other ln R_ref, slope, ln floor and ln dark, which stand along the last axis of `logs`."""
    reference, floor, dark = (np.exp(logs[..., column]) for column in (0, 2, 3))
    cell = replace(coupler.cell, resistance_floor=floor[()], resistance_dark=dark[()])
    return replace(
        coupler,
        cell=cell,
        illuminance_reference=(10 * (cell.resistance_10lx / reference) ** (1 / cell.gamma))[()],
        current_reference=current_reference,
        light_exponent=(logs[..., 1] / cell.gamma)[()],
    )


def drawn_of_fit(coupler_fit: CouplerFit, *, coupler: Coupler, count: int, seed: int) -> Coupler:
    """Return so many of the couplers that may have given the readings as one record of arrays, each as likely as the next.

    `coupler` gives what the readings do not tell: the fitted record, or one with times of its own.
    """
    logs = np.asarray(coupler_fit.couplers_drawn.logs)
    rows = np.random.default_rng([seed, 2]).choice(len(logs), size=count, replace=count > len(logs))
    return with_figures(coupler, logs[rows], coupler_fit.current_reference)
