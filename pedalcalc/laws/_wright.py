"""The exact current through a junction in series with a resistance, by the Wright omega function.

With r = Is R/(n Vt) the solution of V = n Vt ln(1 + I/Is) + I R is
I = n Vt/R omega(ln r + r + V/(n Vt)) - Is. For large arguments omega(x) is nearly x, so the current ends as the
straight line of the resistance, and nothing overflows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import wrightomega

Floats = NDArray[np.float64]


def bare_current(u: Floats, i_s: Floats) -> Floats:
    """Return i_s (exp(u) - 1) without overflow before the product does."""
    return np.where(u < 700, i_s * np.expm1(np.minimum(u, 700)), np.exp(u + np.log(i_s)))


def log_current(i: Floats, i_s: Floats) -> Floats:
    """Return ln(1 + i/i_s), also where the ratio is beyond a float."""
    ratio = np.asarray(i / i_s)
    beyond = np.isposinf(ratio)
    if beyond.any():
        return np.where(beyond, np.log(np.where(beyond, i, 1.0)) - np.log(i_s), np.log1p(np.where(beyond, 0.0, ratio)))
    return np.asarray(np.log1p(ratio))


#: Below this argument omega(x) < 1e-17: the drop over the resistance is under half a digit of a float.
_RESISTANCE_NEGLIGIBLE = -40.0


#: Elements solved at a time: what a processor core keeps at hand, so that ten passes cost little more than one.
BLOCK = 131_072


def blocks(*parts: Floats) -> Iterator[tuple[slice, tuple[Floats, ...]]]:
    """Cut arrays that broadcast together along their first axis into pieces of about `BLOCK` elements.

    A part that varies along that axis is cut; one that does not serves every piece whole.
    """
    shape = np.broadcast_shapes(*(part.shape for part in parts))
    step = max(BLOCK // max(math.prod(shape[1:]), 1), 1)
    for start in range(0, shape[0], step):
        rows = slice(start, start + step)
        yield rows, tuple(part[rows] if part.ndim == len(shape) and part.shape[0] > 1 else part for part in parts)


def solve_series(v: Floats, r: Floats, i_s: Floats, nvt: Floats, *, out: Floats | None = None) -> Floats:
    """Solve v = nvt ln(1 + i/i_s) + i r for checked arrays, to full relative precision down to zero current.

    The answer stands in `out`, or in an array of its own; `out` has the shape of all four together.
    """
    current = np.empty(np.broadcast_shapes(v.shape, r.shape, i_s.shape, nvt.shape)) if out is None else out
    if current.size <= BLOCK:
        solve_block(v, r, i_s, nvt, out=current)
    else:
        for rows, piece in blocks(v, r, i_s, nvt):
            solve_block(*piece, out=current[rows])
    return current


def solve_block(v: Floats, r: Floats, i_s: Floats, nvt: Floats, *, out: Floats) -> None:
    """Solve v = nvt ln(1 + i/i_s) + i r into `out`, which has the shape of all four together."""
    with np.errstate(all="ignore"):
        # Logarithms are summed so that neither a tiny nor a huge Is R leaves the float range.
        x = np.asarray(np.log(r))
        for part in map(np.asarray, (np.log(i_s) - np.log(nvt), r * (i_s / nvt), v / nvt)):
            spare = _spare(x, part)
            x = np.asarray(np.add(x, part, out=_spare(part, x) if spare is None else spare))
        wrightomega(x, out=out)
        out *= nvt / r
        out -= i_s
        if out.size == 0 or (x.min() >= _RESISTANCE_NEGLIGIBLE and x.max() < np.inf and out.min() > 0.5 * i_s.max()):
            return
        bare = x < _RESISTANCE_NEGLIGIBLE
        if bare.any():
            v_b, i_s_b, nvt_b = _pick(bare, v, i_s, nvt)
            out[bare] = bare_current(v_b / nvt_b, i_s_b)
        near = np.abs(out) < 0.5 * i_s
        near &= ~bare
        if near.any():
            out[near] = _polished(out[near], *_pick(near, v, r, i_s, nvt))
        if not np.all(x < np.inf):
            _limit_beyond(out, x, v, r, i_s, nvt)


def _spare(array: Floats, *others: Floats) -> Floats | None:
    """Return an array that may be overwritten by its result with `others`, or None if the result is larger."""
    shape = np.broadcast_shapes(array.shape, *(other.shape for other in others))
    return array if array.ndim and array.shape == shape else None


def _pick(where: NDArray[np.bool_], *parts: Floats) -> list[Floats]:
    """Return the marked elements of each part; what is one number for all stays one."""
    return [part if part.ndim == 0 else np.broadcast_to(part, where.shape)[where] for part in parts]


def _limit_beyond(current: Floats, x: Floats, v: Floats, r: Floats, i_s: Floats, nvt: Floats) -> None:
    """Fill in what an open circuit or a huge voltage passes: the junction's own drop counts no more."""
    known = ~(np.isnan(v) | np.isnan(r) | np.isnan(i_s) | np.isnan(nvt))
    beyond = ~(x < np.inf) & known
    if beyond.any():
        v, r, i_s = _pick(beyond, v, r, i_s)
        current[beyond] = np.maximum(v / r, -i_s)


def _polished(rough: Floats, v: Floats, r: Floats, i_s: Floats, nvt: Floats) -> Floats:
    """Restore the digits that the subtraction of Is costs near zero, by one Newton step on the circuit equation.

    The start has eight digits: the rough value itself, or nearer to zero the series of ln(1 + i/i_s).
    """
    slope = nvt / i_s
    linear = v / (r + slope)
    start = linear * (1 + linear * slope / (2 * i_s * (r + slope)))
    i = np.where(np.abs(rough) > 1e-4 * i_s, rough, start)
    return np.asarray(i - (nvt * np.log1p(i / i_s) + i * r - v) / (nvt / (i_s + i) + r))
