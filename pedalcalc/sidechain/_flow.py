"""A long burst without a walk through each half-wave: how many of them lie between two voltages.

After many half-waves the voltage before each one moves little from one to the next, and does so smoothly. Let v(k) pass
smoothly through all of them. Its rate is ln(1 + Δ) v, Δ the step from one to the next (the forward-difference rule for a
derivative), so that k = ∫ dv / rate. With v = v_end − gap e^−s the integrand is smooth all the way up to the steady
voltage, and Chebyshev sums over pieces of s give k(s) to the last digits.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.polynomial import chebyshev

from pedalcalc._refusal import Unsolved
from pedalcalc.sidechain._newton import Array

NODES = 16  # of a piece
WIDE = 2.0  # a piece, in s
PIECES = 14  # to e^-28 of the gap
DIFFERENCES = 4
NOISE = 3e-13  # a rate below this share of the peak is rounding


class Flow(NamedTuple):
    """The course k(s) from one voltage to the steady one, in pieces; beyond the last the rate goes on by a power law."""

    end: float
    gap: float
    before: Array  # half-waves at the beginning of each piece, and at the end of the last
    sums: Array  # Chebyshev coefficients of the half-waves within each piece, one column a piece
    slopes: Array  # and of their slope over the local variable, -1 to 1
    slowing: float  # d ln(dk/ds)/ds beyond the last piece


def follow_flow(step: Callable[[Array], Array], start: float, end: float, peak: float) -> Flow:
    """Return the course from `start` to the steady voltage `end`; `step` takes each voltage one half-wave on."""
    nodes = np.cos((np.arange(NODES) + 0.5) * np.pi / NODES)
    gap = end - start
    away = gap * np.exp(-(np.arange(PIECES) + (nodes[:, None] + 1) / 2) * WIDE)
    differences = [end - away]
    for _ in range(DIFFERENCES):
        differences.append(step(differences[-1]))
    rate, row = np.zeros_like(away), np.array(differences)
    for order in range(1, DIFFERENCES + 1):
        row = np.diff(row, axis=0)
        rate += (-1) ** (order + 1) / order * row[0]
    sound = np.all(rate > NOISE * peak, axis=0)
    count = PIECES if sound.all() else int(np.argmin(sound))
    if count < 2:
        if abs(gap) > 1e-9 * peak:
            raise Unsolved("the held voltage moves too little within a half-wave to be followed")
        return Flow(end, gap, np.zeros(1), np.zeros((1, 0)), np.zeros((1, 0)), 0.0)  # the way left is rounding
    slope = away[:, :count] / rate[:, :count] * WIDE / 2
    slopes = np.asarray(np.linalg.solve(chebyshev.chebvander(nodes, NODES - 1), slope), float)
    sums = chebyshev.chebint(slopes, lbnd=-1)
    each = sums.sum(axis=0)  # every Chebyshev polynomial is 1 at the upper end
    before = np.concatenate(([0.0], np.cumsum(each)))
    return Flow(end, gap, before, sums, slopes, float(np.log(each[-1] / each[-2]) / WIDE))


def voltage_after(flow: Flow, count: Array) -> Array:
    """Return the voltage after `count` half-waves from the beginning of a flow."""
    if len(flow.before) == 1:
        return np.full(count.shape, flow.end)
    pieces = len(flow.before) - 1
    piece = np.clip(np.searchsorted(flow.before, count, side="right") - 1, 0, pieces - 1)
    wanted = np.minimum(count, flow.before[-1]) - flow.before[piece]
    sums, slopes = flow.sums[:, piece], flow.slopes[:, piece]
    x = 2 * wanted / np.diff(flow.before)[piece] - 1
    for _ in range(8):  # the slope of a piece is nearly even, so these are more than enough
        x = np.clip(
            x - (chebyshev.chebval(x, sums, tensor=False) - wanted) / chebyshev.chebval(x, slopes, tensor=False), -1, 1
        )
    s = (piece + (x + 1) / 2) * WIDE
    last, slowing = np.diff(flow.before)[-1] / WIDE, flow.slowing
    beyond = np.maximum(count - flow.before[-1], 0.0)
    if abs(slowing) > 1e-9:
        rate = last * slowing * WIDE / -np.expm1(-slowing * WIDE)
        with np.errstate(divide="ignore"):  # by a slowing below 0, rounding, the end is reached after all
            s = s + np.log1p(np.maximum(slowing * beyond / rate, -1.0)) / slowing
    else:
        s = s + beyond / last
    return np.asarray(flow.end - flow.gap * np.exp(-s))
