"""Couplers that all fit the readings, drawn so that each is as likely as the next.

A band from derivatives at the best fit is too narrow here: floor and dark resistance are known to a factor, the
readings are bent by them, and how far the readings scatter is itself found from a few. So the band is counted
over draws of all of these. What is known before the readings:

- floor and dark resistance: a factor either way of what the class has, normal in the logarithm;
- slope and scale at a given floor and darkness: nothing (Jeffreys' prior, flat in what is read);
- scatter: see `pedalcalc.opto.scatter`.

Floor and darkness are laid out half by what is known, half by the best fit; for each, slope and scale follow by least
squares, then a scatter by chance, then slope and scale by chance around theirs. Each draw then weighs as
much as its true probability exceeds that with which it was laid out (importance sampling). The chances are
evenly spread points (the digits of 1, 2, 3, ... mirrored at the point, to a prime base for each dimension; J. H. Halton
1960, from memory), not random numbers, so that the same readings always give the same band. Against Student's t, where
that is exact, bands come out within 3 %.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from pedalcalc.opto.scatter import LEAST_SHARE, log_evidence, scatter_at

Array = NDArray[np.float64]

_LAID_OUT = 4096
_BASES = (2, 3, 5, 7, 11, 13, 17)  # floor, darkness, by class or by fit, how far, scatter, scale, slope
_TAIL = 4  # degrees of freedom of the layout around the best fit
_WIDER = 1.3
_STEPS = 12
_FAINT = 1e-12


@cache
def _chances() -> Array:
    """Return points that fill the unit cube evenly, a row each."""
    columns = []
    for base in _BASES:
        left, share, mirrored = np.arange(1, _LAID_OUT + 1), 1.0, np.zeros(_LAID_OUT)
        while np.any(left):
            left, digit = np.divmod(left, base)
            share /= base
            mirrored += share * digit
        columns.append(mirrored)
    points = np.stack(columns, axis=-1)
    points.flags.writeable = False  # shared by all fits
    return points


def log_resistance(logs: Array, log_over: Array) -> tuple[Array, Array]:
    """Return ln R and its derivative by ln R_ref; a row of `logs` is ln R_ref, slope, ln floor and ln dark.

    `log_over` is the logarithm of the current over the reference current. The derivative by the slope is the
    other times minus `log_over`.
    """
    _, _, photo, layer, whole = _parts(logs, log_over)
    return np.log(whole), layer * (layer * photo / whole)


def log_slopes(logs: Array, log_over: Array) -> tuple[Array, Array, Array, Array]:
    """Return the derivatives of ln R by ln R_ref, slope, ln floor and ln dark."""
    floor, closed, photo, layer, whole = _parts(logs, log_over)
    by_scale = layer * (layer * photo / whole)
    return by_scale, -by_scale * log_over, floor / whole, layer * (layer * closed / whole)


def _parts(logs: Array, log_over: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Return the floor [Ω], the conductance in the dark and of the light, the layer's resistance, and the whole."""
    reference, slope, floor, dark = (logs[..., column, None] for column in range(4))
    with np.errstate(over="ignore", divide="ignore"):
        photo = np.exp(np.clip(slope * log_over - reference, -300, 300))
        closed, bare = np.exp(-dark), np.exp(floor)
        layer = 1 / (closed + photo)
        return bare, closed, photo, layer, bare + layer


def draw_couplers(
    fitted: Array, covariance: Array, *, known: Array, width: Array, log_over: Array, log_ohms: Array, told: float
) -> tuple[Array, Array]:
    """Return equally likely draws, a row each of ln R_ref, slope, ln floor and ln dark, and of the scatter.

    `fitted` is the best fit in the same order, `known` and `width` are what the class says of the last two and how
    well, with a width of 0 where one is not in doubt (no floor, an open dark resistance); `covariance` is that
    of the fit for those in doubt.
    """
    chance = _chances()
    spare = max(log_ohms.size - 2, 0)
    logs, log_odds = _lay_out(fitted, covariance, known, width, chance)
    squares = _settle(logs, log_over, log_ohms)
    least = LEAST_SHARE * told
    if spare:
        scatter = scatter_at(chance[:, 4], squares=squares, spare=spare, least=least)
        log_odds += log_evidence(squares, spare=spare, least=least) + squares / (2 * scatter**2)
    else:
        scatter = np.full(_LAID_OUT, told)
    # The density of the scatter as drawn, and that of the readings, share the factor scatter^(-readings+2).
    log_odds += _spread(logs, scatter, log_over, chance[:, 5:])
    missed = log_ohms - log_resistance(logs, log_over)[0]
    log_odds -= np.sum(missed**2, axis=-1) / (2 * scatter**2)
    log_odds += 0.5 * np.log(np.maximum(_information(logs, log_over)[3], 1e-300))
    odds = np.exp(log_odds - np.max(log_odds))
    reached = np.cumsum(odds) / np.sum(odds)
    picked = np.minimum(np.searchsorted(reached, (np.arange(_LAID_OUT) + 0.5) / _LAID_OUT), _LAID_OUT - 1)
    return logs[picked], scatter[picked]


def _lay_out(fitted: Array, covariance: Array, known: Array, width: Array, chance: Array) -> tuple[Array, Array]:
    """Return rows whose floor and darkness are laid out, and the logarithm of what they are over- or underdone by."""
    from scipy.special import gammaincinv, gammaln, ndtri

    logs = np.tile(fitted, (_LAID_OUT, 1))
    doubt = np.flatnonzero(width > 0)
    if doubt.size == 0:
        return logs, np.zeros(_LAID_OUT)
    normal = ndtri(chance[:, :2][:, : doubt.size])
    by_class = known[doubt] + normal * width[doubt]
    root = np.linalg.cholesky(_WIDER * covariance)
    stretch = np.sqrt(_TAIL / (2 * gammaincinv(_TAIL / 2, chance[:, 3])))
    around_fit = fitted[2 + doubt] + (normal @ root.T) * stretch[:, None]
    logs[:, 2 + doubt] = np.where(chance[:, 2:3] < 0.5, by_class, around_fit)
    count = doubt.size
    prior = -0.5 * np.sum(((logs[:, 2 + doubt] - known[doubt]) / width[doubt]) ** 2, axis=1)
    prior -= np.sum(np.log(width[doubt])) + count / 2 * np.log(2 * np.pi)
    far = np.sum(np.linalg.solve(root, (logs[:, 2 + doubt] - fitted[2 + doubt]).T) ** 2, axis=0)
    around = gammaln((_TAIL + count) / 2) - gammaln(_TAIL / 2) - count / 2 * np.log(_TAIL * np.pi)
    around = around - np.sum(np.log(np.diag(root))) - (_TAIL + count) / 2 * np.log1p(far / _TAIL)
    return logs, prior - np.logaddexp(prior, around)


def _information(logs: Array, log_over: Array) -> tuple[Array, Array, Array, Array]:
    """Return the information on ln R_ref and slope, its entries 11, 12, 22 and determinant, at unit scatter."""
    by_scale = log_resistance(logs, log_over)[1]
    by_slope = -by_scale * log_over
    one, both, two = np.sum(by_scale**2, -1), np.sum(by_scale * by_slope, -1), np.sum(by_slope**2, -1)
    return one, both, two, one * two - both**2


def _settle(logs: Array, log_over: Array, log_ohms: Array) -> Array:
    """Move ln R_ref and slope of every row to least squares, floor and darkness held; return the squares left."""
    for _ in range(_STEPS):
        level, by_scale = log_resistance(logs, log_over)
        missed, by_slope = log_ohms - level, -by_scale * log_over
        one, two = np.sum(by_scale**2, -1) + _FAINT, np.sum(by_slope**2, -1) + _FAINT
        both = np.sum(by_scale * by_slope, -1)
        pull_one, pull_two = np.sum(by_scale * missed, -1), np.sum(by_slope * missed, -1)
        whole = np.maximum(one * two - both**2, _FAINT**2)
        scale, slope = (two * pull_one - both * pull_two) / whole, (one * pull_two - both * pull_one) / whole
        short = np.minimum(1.0, 1.0 / np.maximum(np.maximum(np.abs(scale), 3 * np.abs(slope)), 1.0))
        logs[:, 0] += short * scale
        logs[:, 1] += short * slope
    return np.asarray(np.sum((log_ohms - log_resistance(logs, log_over)[0]) ** 2, axis=-1))


def _spread(logs: Array, scatter: Array, log_over: Array, chance: Array) -> Array:
    """Move ln R_ref and slope of every row by chance; return minus the logarithm of the density of where they went.

    The density is that of unit scatter: its factor scatter^-2 is left to the caller.
    """
    from scipy.special import ndtri

    _, both, two, whole = _information(logs, log_over)
    whole = np.maximum(whole, _FAINT)
    normal = ndtri(chance)
    scale = np.sqrt((two + _FAINT) / whole) * normal[:, 0]
    slope = -both / (two + _FAINT) * scale + normal[:, 1] / np.sqrt(two + _FAINT)
    logs[:, 0] += scatter * scale
    logs[:, 1] += scatter * slope
    return np.asarray(0.5 * np.sum(normal**2, axis=1) - 0.5 * np.log(whole))
