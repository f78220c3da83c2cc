"""Currents on which a supply and what hangs on it agree."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pedalcalc._refusal import Unsolved

Array = NDArray[np.float64]

#: Agreement: a part in a thousand million, and what one rounding of a build's currents makes [A].
NEAR, LEAST = 1e-9, 1e-14
#: The same where the pump's own search leaves no more.
NEAR_ENOUGH, LEAST_ENOUGH = 1e-6, 1e-10


def agreed(wanted: Callable[[Array], Array], start: Array, *, what: str, least: float = 0.0) -> Array:
    """Return currents that are what is wanted at the voltages which they leave, in each case (the last axis) by itself.

    More current leaves less voltage, and less voltage asks for less current: there is one such state. Newton's steps by
    differences, halved where one leads further away, also out of what the supply can give, where nothing is wanted. No current
    is below the `least`: a supply's are never negative, a leaking base's is.
    """
    for share in (1.0, 0.0):
        x, away = _searched(wanted, share * np.asarray(start, float), least)
        if np.all(np.abs(away) <= NEAR_ENOUGH * np.abs(x) + LEAST_ENOUGH):
            return x
    raise Unsolved(what)


def _searched(wanted: Callable[[Array], Array], x: Array, least: float) -> tuple[Array, Array]:
    """Return currents as near agreement as Newton comes from these, and how far they are from it."""
    away = wanted(x) - x
    for _ in range(80):
        if np.all(np.abs(away) <= NEAR * np.abs(x) + LEAST):
            break
        step = _newton(wanted, x, away)
        far, share = np.abs(away).sum(0), np.ones(x.shape[1])
        for _ in range(60):
            trial = np.maximum(x + share * step, least)
            left = wanted(trial) - trial
            nearer = np.abs(left).sum(0) < (1 - 1e-4 * share) * far
            if np.all(nearer | (far <= LEAST)):
                break
            share = np.where(nearer, share, share / 2)
        else:
            break
        x, away = trial, left
    return x, away


def _newton(wanted: Callable[[Array], Array], x: Array, away: Array) -> Array:
    """Return the step to where straight lines through here agree."""
    many = len(x)
    slopes = np.zeros((x.shape[1], many, many))
    for k in range(many):
        beside = x.copy()
        apart = 1e-4 * x[k] + 1e-13
        beside[k] += apart
        slopes[:, :, k] = ((wanted(beside) - beside - away) / apart).T
    return np.asarray(np.linalg.solve(slopes, -away.T[..., None])[..., 0].T)
