"""How far readings scatter, where a tolerance was told and the readings themselves show something else.

What was told is a guess by habit; what was found from few readings is a guess too. So the scatter is
taken as unknown: every size is as likely as any other on a log scale (Jeffreys), down to a small share of what was
told, and the readings decide as far as they can. With many spare readings this is the scatter found; with few it
is Student's t (for n spare readings its half-width is t(n) times the scatter found, 12.7 times for one, W. S. Gosset
1908); where readings lie on the curve by luck, the share of what was told keeps the band from vanishing.
The share is chosen so that a 95 % band holds the truth in 95 to 98 % of cases whether readings scatter as told,
twice or three times as much (`python -m tests.coverage_of_fits`). Without spare readings only what was told is left.

Near relations, from memory: the Birge ratio, by which a scatter found larger than told widens every error (R. T. Birge,
1932), and the effective degrees of freedom of JCGM 100:2008, annex G.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

#: Less than this share of the tolerance told is not believed, however well a few readings agree.
LEAST_SHARE = 0.07
_TINY = 1e-10  # of a sum of squares in units of the least scatter: as good as none


def scatter_at(chance: ArrayLike, *, squares: ArrayLike, spare: int, least: float) -> Array:
    """Return the scatter that is exceeded with a chance between 0 and 1, given the sum of squared misses.

    The density is s^(-spare-1) exp(-squares/(2 s^2)) above `least`.
    """
    from scipy.special import gammainc, gammaincinv

    whole = np.asarray(squares) / (2 * least**2)
    some = np.maximum(whole, _TINY)
    found = np.sqrt(some / gammaincinv(spare / 2, np.asarray(chance) * gammainc(spare / 2, some)))
    none = np.asarray(chance, float) ** (-1 / spare)
    return np.asarray(least * np.where(whole > _TINY, found, none))


def log_evidence(squares: ArrayLike, *, spare: int, least: float) -> Array:
    """Return the logarithm of the integral of the density of `scatter_at` over all scatters above `least`."""
    from scipy.special import gammainc, gammaln

    half, some = spare / 2, np.maximum(np.asarray(squares) / (2 * least**2), _TINY)
    return np.asarray(gammaln(half) + np.log(gammainc(half, some)) - half * np.log(some) - np.log(2 * least**spare))


def band_width(squares: float, *, spare: int, told: float) -> float:
    """Return the half-width that holds 95 % of what scatters like one reading, given the misses of a fit."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    if spare == 0:
        return float(told * 1.959963984540054)
    edges = np.append(0.0, np.geomspace(1e-7, 1.0, 2000))  # fine where the scatter is large
    chances, shares = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    scatters = scatter_at(chances, squares=squares, spare=spare, least=LEAST_SHARE * told)

    def outside(width: float) -> float:
        return float(2 * np.sum(shares * ndtr(-width / scatters)) - 0.05)

    return float(brentq(outside, 0.0, 10 * float(np.max(scatters)), xtol=1e-12 * told))
