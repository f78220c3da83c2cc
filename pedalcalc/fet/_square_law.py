"""The square-law field-effect transistor between its resistors.

With u = VGS - Vt (Vt the cut-off or threshold voltage) and v = VDS, n-channel::

    constant current, v >= u:  I = k u²            ohmic, v < u:  I = k v (2 u - v)

k = IDSS/VGS(off)² for a JFET and K for an enhancement MOSFET. The source
resistor makes u = a - I Rs, a quadratic with one root of u >= 0; in the ohmic
region v = d - I (Rd + Rs) gives a second quadratic. H. Shichman and
D. A. Hodges's law without channel-length modulation.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class Channel(NamedTuple):
    """Drain current [A], u = VGS - Vt and VDS [V], and whether the channel is ohmic."""

    current: Array
    overdrive: Array
    voltage_drain_source: Array
    ohmic: NDArray[np.bool_]


def solve(a: Array, d: Array, r_d: Array, r_s: Array, k: Array) -> Channel:
    """Solve gate drive `a` = VG - VS0 - Vt and supply `d` for checked arrays; open and short are legal."""
    a, d, r_d, r_s, k = np.broadcast_arrays(a, d, r_d, r_s, k)
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        on = a > 0
        u0 = np.where(on, a, 0.0)
        root = 2 / (1 + np.sqrt(1 + 4 * k * np.where(on, u0 * r_s, 0.0)))
        u = np.where(on, u0 * root, a)
        current = k * (u0 * root) ** 2
        drop = current * (r_d + r_s)
        v = d - np.where(current == 0, 0.0, drop)
        ohmic = np.asarray(on & (v < u0 * root))
        # An open source floats up until the channel pinches off, or to the drain if that comes first.
        floats = on & np.isinf(r_s)
        u, v = np.where(floats, np.maximum(a - d, 0.0), u), np.where(floats, np.maximum(d - a, 0.0), v)
        ohmic = ohmic & ~floats
        # An open drain ends at the potential of the source.
        v = np.where(np.isinf(r_d) & ~on, 0.0, v)
    if ohmic.any():
        current, u, v = (np.array(part) for part in (current, u, v))
        current[ohmic], u[ohmic], v[ohmic] = _ohmic(a[ohmic], d[ohmic], r_d[ohmic], r_s[ohmic], k[ohmic])
    missing = np.isnan(a) | np.isnan(d) | np.isnan(r_d) | np.isnan(r_s) | np.isnan(k)
    if missing.any():
        current, u, v = (np.where(missing, np.nan, part) for part in (current, u, v))
    return Channel(current, u, v, ohmic & ~missing)


def _ohmic(a: Array, d: Array, r_d: Array, r_s: Array, k: Array) -> tuple[Array, Array, Array]:
    """Solve I = k (d - I R)(2 a - d + I (Rd - Rs)), R = Rd + Rs: the root on the rising side."""
    open_any = np.isinf(r_d)
    r_d = np.where(open_any, 0.0, r_d)
    total, e, s = r_d + r_s, 2 * a - d, r_d - r_s
    # q(I) = qa I² + qb I - qc rises through its root: q' = +sqrt(discriminant) > 0 there.
    qa, qb, qc = k * total * s, 1 + k * (total * e - d * s), k * d * e
    size = np.maximum(np.abs(qb), 1.0)  # whose square may be beyond what a float holds
    root = size * np.sqrt((qb / size) ** 2 + 4 * (qa / size) * (qc / size))
    with np.errstate(divide="ignore", invalid="ignore"):
        current = np.where(qb >= 0, 2 * qc / (qb + root), (root - qb) / (2 * qa))
    current = np.where(open_any, 0.0, current)
    return current, np.where(open_any, a, a - current * r_s), np.where(open_any, 0.0, d - current * total)
