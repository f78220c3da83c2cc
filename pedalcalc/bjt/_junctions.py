"""The exact solve of one transistor between three resistors.

Transport form of J. J. Ebers and J. L. Moll, npn signs::

    e1 = Is (exp(Vbe/Vt) - 1)        e2 = Is (exp(Vbc/Vt) - 1)
    Ic = e1 - (1 + r) e2             Ib = e1/beta + r e2
    r  = 1/beta_reverse, in germanium Icbo/Is - 1/(beta + 1) where that is more

This is the law of `pedalcalc.laws.bipolar`: where the record has a series resistance Rs, the pins show e1 Rs and
e2 Rs more than Vbe and Vbc. Base, collector and emitter each hang on their own source through their own
resistor. With the collector junction reverse biased e2 = -Is, and the base loop

    Vbb - Vee = Vbe + Ib Rb + Ie Re

has the Wright omega function for its solution. Where that junction conducts,
the collector loop is solved as well, by bracketing; its error falls
monotonically with e2 because both remaining loops are passive. A base that hangs
free has a loop of its own, since no digit survives an open resistor in the base loop.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import wrightomega

from pedalcalc._base import any_open, elementwise_root
from pedalcalc._refusal import Unsolved, among

Array = NDArray[np.float64]

#: What stands for an open circuit: its current is beyond the last digit of any other.
OPEN = 1e20
#: Collector junctions whose current differs from -Is by more than this share of what it moves get the full solve.
_EXACT = 1e-12
#: How many Vt in reverse such a junction can be at most.
_DEEPEST = 80.0


class Solution(NamedTuple):
    """Currents [A] and node voltages [V] in npn signs; `transport` is e1, `transport_reverse` e2."""

    transport: Array
    transport_reverse: Array
    current_base: Array
    current_collector: Array
    current_emitter: Array
    voltage_base: Array
    voltage_collector: Array
    voltage_emitter: Array
    voltage_base_emitter: Array


def closed(resistance: Array) -> Array:
    """Replace infinity by a resistance no current to speak of gets through."""
    return np.where(np.isinf(resistance), OPEN, resistance) if any_open(resistance) else resistance


def solve(
    vbb: Array,
    rb: Array,
    vcc: Array,
    rc: Array,
    vee: Array,
    re: Array,
    beta: Array,
    r: Array,
    i_s: Array,
    vt: Array,
    series: Array,
) -> Solution:
    """Solve the three loops for checked arrays; infinite resistances and gains are legal."""
    ends = any_open(rb) or any_open(rc) or any_open(re)
    open_b, open_c, open_e = (np.isinf(resistance) for resistance in (rb, rc, re)) if ends else (False, False, False)
    rb, rc, re = closed(rb), closed(rc), closed(re)
    across, part = vbb - vee if np.any(vee) else vbb, (rb + re) / beta
    k, e2 = part + re + series, -i_s
    total = _total(across + i_s * (part + series + r * rb), k, i_s, vt)
    e1 = total - i_s
    ib, ic = e1 / beta + r * e2, e1 - (1 + r) * e2
    vb, vc = vbb - rb * ib, vcc - rc * ic
    conducts = _conducts(np.asarray(vb - vc), total, rb, re, beta, r, i_s, vt)
    if np.any(conducts):
        parts = np.broadcast_arrays(vbb, rb, vcc, rc, vee, re, beta, r, i_s, vt, series, conducts)
        conducts = parts[-1]
        e2 = np.array(np.broadcast_to(e2, conducts.shape))
        with among(conducts.shape, np.flatnonzero(conducts)):
            y = _collector_junction(*(each[conducts] for each in parts[:-1]))
        e2[conducts] = parts[8][conducts] * np.expm1(y / parts[9][conducts])
        total = _total(vbb - vee - e2 * (r * rb - re) + k * i_s, k, i_s, vt)
        e1 = total - i_s
        ib, ic = e1 / beta + r * e2, e1 - (1 + r) * e2
        vb, vc = vbb - rb * ib, np.array(np.broadcast_to(vcc - rc * ic, conducts.shape))
        # The drop of a large collector resistor has fewer digits than the junction that holds the pin.
        vc[conducts] = np.broadcast_to(vb, conducts.shape)[conducts] - y - e2[conducts] * parts[10][conducts]
    ie = ib + ic
    ve = vee + re * ie
    x = vb - ve
    if ends:
        # Through an open circuit the loops lose their digits, but the junction laws do not.
        with np.errstate(divide="ignore", invalid="ignore"):
            y = vt * np.log1p(np.maximum(e2 / i_s, -1.0)) + e2 * series
            x = vt * np.log(total / i_s) + e1 * series
            x = np.where(total > 1e-300, x, across + i_s * (r * rb - re) - (k - series) * e1)
            vc = np.where(open_c, vb - y, vc)
            vb = np.where(open_b, np.where(open_e, vc + y, vee + re * ie + x), vb)
        vc = np.where(np.asarray(open_c) & ~np.asarray(open_b), vb - y, vc)
        ve = vb - x
        ib = np.where(open_b, 0.0, ib)
        ic = np.where(open_c, 0.0, ic)
        ie = np.where(open_e, 0.0, ie)
        lone = np.asarray(open_b) & ~np.asarray(open_c) & ~np.asarray(open_e)
        if lone.any():
            parts = np.broadcast_arrays(e1, e2, ib, ic, ie, vb, vc, ve, x)
            arrays = [np.array(part) for part in parts]
            known = np.broadcast_arrays(vcc, rc, vee, re, beta, r, i_s, vt, series, lone, *parts)[:10]
            where = known[-1]
            with among(where.shape, np.flatnonzero(where)):
                alone = _base_open(*(each[where] for each in known[:-1]))
            for array, part in zip(arrays, alone, strict=True):
                array[where] = part
            return Solution(*arrays)
    return Solution(e1, e2, ib, ic, ie, vb, vc, ve, x)


def _base_open(
    vcc: Array,
    rc: Array,
    vee: Array,
    re: Array,
    beta: Array,
    r: Array,
    i_s: Array,
    vt: Array,
    series: Array,
) -> Solution:
    """Solve a transistor whose base hangs free: its leakage, amplified, until the resistors hold it.

    Without base current e1 = -beta r e2, so that with e2 = Is (exp(y/Vt) - 1) the one remaining loop,

        Vcc - Vee = Vbe - y + (e1 - e2) Rs + (Rc + Re) Ic,    Ic = -(beta r + 1 + r) e2,

    falls from y = 0, no current at all, to a collector junction in full reverse.
    """
    span, load = vcc - vee, rc + re
    endless = np.isinf(beta)
    leak = np.where(endless, 0.0, beta) * r

    def excess(
        y: Array, span: Array, load: Array, leak: Array, r: Array, i_s: Array, vt: Array, series: Array
    ) -> Array:
        passed = -np.expm1(y / vt)
        held = load * (leak + 1 + r) + series * (leak + 1)
        return np.asarray(span - held * i_s * passed - vt * np.log1p(leak * passed) + y)

    y = elementwise_root(excess, -span - vt, 0 * span, span, load, leak, r, i_s, vt, series)
    e2 = i_s * np.expm1(y / vt)
    e1 = -leak * e2
    if endless.any():  # no gain limits it then: the base sits where the collector junction is idle
        y, e2 = np.where(endless, 0.0, y), np.where(endless, 0.0, e2)
        whole = load + series
        e1 = np.where(endless, _total(span + whole * i_s, whole, i_s, vt) - i_s, e1)
    current, x = e1 - (1 + r) * e2 + 0.0, vt * np.log1p(e1 / i_s) + e1 * series + 0.0
    ve, vc = vee + re * current, vcc - rc * current
    return Solution(e1, e2, 0 * current, current, current, ve + x, vc, ve, x)


def _conducts(forward: Array, total: Array, rb: Array, re: Array, beta: Array, r: Array, i_s: Array, vt: Array) -> Any:
    """Return where the collector junction passes another current than -Is to speak of.

    The difference steals (1 + r) of itself from the collector and drives the base by r of itself, which moves the
    transport current by at most beta r, or less where the base loop's resistance is low.
    """
    if not forward.size:
        return False
    with np.errstate(over="ignore", under="ignore", invalid="ignore", divide="ignore"):
        # By the extremes first: that needs no exponential of every element.
        extremes = (forward.max(), total.min(), rb.max(), re.max(), beta.max(), r.max(), i_s.max())
        if np.all(_missed(*extremes, vt.min(), vt.max()) <= _EXACT):
            return False
        return _missed(forward, total, rb, re, beta, r, i_s, vt, vt) > _EXACT


def _missed(
    forward: Any, total: Any, rb: Any, re: Any, beta: Any, r: Any, i_s: Any, vt_least: Any, vt_most: Any
) -> Any:
    """Return what share of the currents e2 + Is moves; the thermal voltage by its ends, for a bound over many elements."""
    vt = np.where(forward < 0, vt_most, vt_least)
    moved = np.minimum((r * rb + re) / vt_least, beta * r / total)
    return i_s * np.exp(np.minimum(forward / vt, 700.0)) * ((1 + r) / total + moved)


def _total(drive: Array, k: Array, i_s: Array, vt: Array) -> Array:
    """Return e1 + Is of the base loop drive = Vbe + k (e1 + Is)."""
    with np.errstate(over="ignore", under="ignore", divide="ignore", invalid="ignore"):
        return np.asarray(wrightomega(np.log(k * (i_s / vt)) + drive / vt) * (vt / k))


def _collector_junction(
    vbb: Array,
    rb: Array,
    vcc: Array,
    rc: Array,
    vee: Array,
    re: Array,
    beta: Array,
    r: Array,
    i_s: Array,
    vt: Array,
    series: Array,
) -> Array:
    """Return the voltage of a collector junction that conducts or nearly so."""
    from scipy.optimize.elementwise import find_root

    def excess(
        y: Array,
        vbb: Array,
        rb: Array,
        vcc: Array,
        rc: Array,
        vee: Array,
        re: Array,
        beta: Array,
        r: Array,
        i_s: Array,
        vt: Array,
        series: Array,
    ) -> Array:
        e2 = i_s * np.expm1(y / vt)
        k = (rb + re) / beta + re + series
        e1 = _total(vbb - vee - e2 * (r * rb - re) + k * i_s, k, i_s, vt) - i_s
        across = y + e2 * series
        return np.asarray(vbb - rb * (e1 / beta + r * e2) - across - vcc + rc * (e1 - (1 + r) * e2))

    span = np.maximum(np.maximum(vbb, vcc), vee) - np.minimum(np.minimum(vbb, vcc), vee)
    high = np.minimum(span + vt, 600 * vt)
    arguments = (vbb, rb, vcc, rc, vee, re, beta, r, i_s, vt, series)
    with np.errstate(all="ignore"):
        found = find_root(excess, (-_DEEPEST * vt, high), args=arguments)
    if not np.all(found.success):
        raise Unsolved("the collector junction did not converge", ~found.success)
    return np.asarray(found.x)
