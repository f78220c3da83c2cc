"""The solve of one transistor of constant base-emitter drop (ideality 0) between three resistors.

Both junctions are straight lines over their knee, so that both loops are linear in e1 and e2::

    Vbb - Vee = knee + s e1 + Ib Rb + Ie Re        Vbb - Vcc = knee + s e2 + Ib Rb - Ic Rc
    Ib = e1/beta + r e2                            Ic = e1 - (1 + r) e2

The collector junction conducts where the collector would fall below the base by more than the knee.
"""

from __future__ import annotations

import numpy as np

from pedalcalc._base import any_open
from pedalcalc._refusal import must
from pedalcalc.bjt._junctions import Array, Solution, closed


def solve(
    vbb: Array,
    rb: Array,
    vcc: Array,
    rc: Array,
    vee: Array,
    re: Array,
    beta: Array,
    r: Array,
    knee: Array,
    series: Array,
) -> Solution:
    """Solve for checked arrays; infinite resistances and gains are legal."""
    open_b, open_e, open_c = (np.isinf(part) for part in (rb, re, rc))
    ends = any_open(rb) or any_open(rc) or any_open(re)
    rb, rc, re = closed(rb), closed(rc), closed(re)
    base, across = vbb - vee - knee, vbb - vcc - knee
    a1, b1 = rb / beta + re * (1 + 1 / beta) + series, rb * r - re
    a2, b2 = rb / beta - rc, rb * r + rc * (1 + r) + series
    e1 = np.where(base > 0, base, 0.0 * np.abs(base)) / a1
    slack = 1e-12 * (np.abs(vbb) + np.abs(vcc) + knee)
    saturated = np.asarray(across - a2 * e1 > slack)
    e1, e2 = e1 + 0.0 * np.abs(across), 0.0 * np.abs(e1 + across)
    if saturated.any():
        determinant = a1 * b2 - a2 * b1
        if np.any(bad := saturated & (determinant <= 0)):
            raise must(
                "resistance_collector must be above 0 where the transistor saturates, since nothing limits the current",
                bad,
            )
        with np.errstate(divide="ignore", invalid="ignore"):
            both1, both2 = (base * b2 - across * b1) / determinant, (a1 * across - a2 * base) / determinant
            reverse = both1 <= 0
            both1, both2 = np.where(reverse, 0.0, both1), np.where(reverse, across / b2, both2)
        e1, e2 = np.where(saturated, both1, e1), np.where(saturated, both2, e2)
    ib, ic = e1 / beta + r * e2, e1 - (1 + r) * e2
    ie = ib + ic
    vb, vc, ve = vbb - rb * ib, vcc - rc * ic, vee + re * ie
    vc = np.where(saturated, vb - knee - series * e2, vc)
    if ends:
        # Where nothing can flow a junction stands at 0 V.
        ve = np.where(open_e, vb, ve)
        vb = np.where(open_b, np.where(open_e, vc, vee), vb)
        ve = np.where(open_b, vb, ve)
        vc = np.where(np.asarray(open_c) & ~saturated, vb, vc)
        e1 = np.where(np.asarray(open_b) | open_e, 0.0 * e1, e1)
        ib, ic, ie = (
            np.where(np.asarray(open_here) | (np.asarray(open_b) | open_e) & (e2 <= 0), 0.0 * np.abs(part), part)
            for open_here, part in ((open_b, ib), (open_c, ic), (open_e, ie))
        )
    return Solution(e1, e2, ib, ic, ie, vb, vc, ve, vb - ve)
