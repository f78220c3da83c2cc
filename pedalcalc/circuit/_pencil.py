"""Poles and zeros of a linearised board, and how each moves with the parts.

With each op-amp's pole as one more unknown x, (1 + s t) x = V+ - V-, a board is (G + s E) v = b with two plain
matrices, and E = P P'. A pole is an s at which G + s E is singular, a zero one at which it is with drive and output as one
more row and column. About a point c at which nothing is singular, with A = G + c E::

    P' A^-1 P z = k z,    s = c - 1/k,    right vectors X = A^-1 P Z, left ones Y = A'^-1 P W

which has as many rows as there are capacitors, coils and op-amps. For a group of s, S the small matrix that has
them as eigenvalues and M = Y' E X, whatever the parts move gives::

    d ln det S = -tr(dG X S^-1 M^-1 Y') - tr(dE X M^-1 Y')

This holds for one s, for a complex pair and for several that lie so close that each alone has no derivative. dG
holds the part itself and what its change does to the operating point: dv = -J^-1 dF, with the laws' slopes taken a
little to both sides of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._refusal import Unsolved
from pedalcalc.circuit import _groups, _newton, _outputs, _pumped
from pedalcalc.circuit._scatter import stamp
from pedalcalc.circuit.signals import Signal

Array = NDArray[np.float64]

#: Where the pencil is opened up [1/s]: among the corners that are heard, on the side where a stable board has none.
CENTRE = 2 * np.pi * 331.0
#: What is faster than this [1/s] is the rounding of a root that does not exist.
FASTEST = 2 * np.pi * 1e9
#: Roundings of the matrix that may have made an eigenvalue of nothing.
ROUNDINGS = 100.0
#: Size of the step in voltage with which slopes are differenced [V], and of that in the logarithm of a flying capacitor.
STEP, RATIO = 1e-5, 1e-5


@dataclass(frozen=True, slots=True)
class Pencil:
    """G and E of one unit, with P; the rows behind `places` are the op-amps'."""

    static: Array  # (N, N)
    moving: Array  # (N, N)
    factor: Array  # (N, states)
    drive: Array  # (N,)
    read: Array  # (N,)


@dataclass(frozen=True, slots=True)
class Roots:
    """Poles or zeros [1/s] with what is needed for their derivatives."""

    values: Any  # (states,), inf where there is none
    opened: Any  # (states,), eigenvalues of the next
    small: Any  # P' A^-1 P
    right: Any  # A^-1 P
    left: Any
    moving: Any


def pencil_of(signal: Signal, drive: int) -> Pencil:
    """Return the matrices of a board of one unit."""
    size = signal.size + len(signal.gains)
    static = _slopes(signal, signal.solved.voltages)[0, :size, :size]
    n = signal.size
    static[:n, :n] += signal.system.matrix[0, :n, :n]
    for k, gain in enumerate(signal.gains):
        row = n + k
        static[row, row] += 1.0
        for place, sign in ((gain.plus, -1.0), (gain.minus, 1.0)):
            if place < n:
                static[row, place] += sign
    columns = [np.sqrt(float(one.size[0])) * _ends(one.first, one.second, n, size) for one in signal.stores]
    columns += [np.sqrt(float(gain.time[0])) * np.eye(size)[n + k] for k, gain in enumerate(signal.gains)]
    factor = np.array([column for column in columns if column.any()]).reshape(-1, size).T
    read = np.zeros(size)
    read[:n] = signal.reads(signal.net_out)
    entry = np.zeros(size)
    entry[drive] = -1.0
    return Pencil(static, factor @ factor.T, factor, entry, read)


def _ends(first: int, second: int, n: int, size: int) -> Array:
    column = np.zeros(size)
    if first < n:
        column[first] += 1.0
    if second < n:
        column[second] -= 1.0
    return column


def _slopes(signal: Signal, voltages: Array) -> Array:
    """Return what the laws add to G at these voltages (units, N + 1, N + 1), ground standing last."""
    n, units = signal.size, len(voltages)
    size = n + len(signal.gains)
    matrix = np.zeros((units, size + 1, size + 1))
    for group in signal.system.groups:
        _, slopes = group.branch(group.volts(voltages, 1.0), None)
        slopes = slopes * group.weight
        at = np.where(group.at == n, size, group.at)
        if isinstance(group, _groups.Couplers):
            slopes[:, 2:, :2] = 0.0
        if isinstance(group, _outputs.Amplifiers):
            for k in range(at.shape[1]):
                for row in (2, 3, 4):
                    matrix[:, at[row, k], n + k] += slopes[:, row, 0, k]
            slopes[:, :, :2] = 0.0
        stamp(matrix, at, slopes)
    return matrix


def poles(pencil: Pencil) -> Roots:
    """Return the poles."""
    return _roots(pencil.static, pencil.moving, pencil.factor)


def grows(s: Any) -> Any:
    """Return which roots grow; those that neither grow nor fall within a rounding are none."""
    with np.errstate(invalid="ignore"):
        return np.isfinite(s) & (s.real > 1e-7 * np.abs(s) + 1e-7)


def swing(signal: Signal) -> float | None:
    """Return the frequency [Hz] at which a board of one unit leaves its operating point, None where it stays there."""
    if not signal.size:  # sources hold every net
        return None
    pencil = pencil_of(signal, 0)
    if not pencil.factor.shape[1]:
        return None
    try:
        values = poles(pencil).values
    except Unsolved:  # some net hangs on nothing: nothing can be told
        return None
    growing = values[grows(values)]
    return float(np.abs(growing).max() / (2 * np.pi)) if len(growing) else None


def passes(pencil: Pencil) -> bool:
    """Tell whether anything reaches the output at all, more than a rounding of the drive."""
    whole = pencil.static + CENTRE * pencil.moving
    answer = np.linalg.solve(whole, pencil.drive)
    return bool(abs(pencil.read @ answer) > np.finfo(float).eps * np.abs(answer).max())


def zeros(pencil: Pencil) -> Roots:
    """Return the zeros from drive to output."""
    size = len(pencil.static)
    static, moving = np.zeros((2, size + 1, size + 1))
    static[:size, :size], moving[:size, :size] = pencil.static, pencil.moving
    static[:size, size], static[size, :size] = -pencil.drive, pencil.read
    if not passes(pencil):
        raise ValueError("net_out: nothing passes from net_in to it: the way is open, or held by ground or a supply")
    factor = np.concatenate([pencil.factor, np.zeros((1, pencil.factor.shape[1]))])
    return _roots(static, moving, factor)


def _roots(static: Array, moving: Array, factor: Array) -> Roots:
    from scipy.linalg import lu_factor, lu_solve

    whole = static + CENTRE * moving
    factored = lu_factor(whole, check_finite=True)
    right, left = lu_solve(factored, factor), lu_solve(factored, factor, trans=1)
    small = factor.T @ right
    if not np.isfinite(small).all():
        raise Unsolved("this board's small signals have no answer: some net hangs on nothing")
    opened, sure = _opened(small)
    with np.errstate(divide="ignore", invalid="ignore"):
        values = np.where(sure, CENTRE - 1 / opened, np.inf)
    values = np.where(np.abs(values) < FASTEST, values, np.inf)  # NaN, too: a root at infinity
    return Roots(values, opened, small, right, left, moving)


def _opened(small: Array) -> tuple[Any, Any]:
    """Return the eigenvalues of P' A^-1 P, and which are more than a rounding of it may make of 0.

    A low-pass of order k has k zeros at infinity, whose eigenvalue 0 shows as a circle of the size of the k-th root of a
    rounding. An entry is known to a rounding of what is largest at its two states; an eigenvalue is then as uncertain as
    its left and right vectors make of that.
    """
    from scipy.linalg import eig

    even, scale = _balanced(small)
    found, left, right = eig(even, left=True, right=True)
    size = np.maximum(np.abs(small).max(axis=1), np.abs(small).max(axis=0))
    rounding = ROUNDINGS * np.finfo(float).eps * np.sqrt(np.outer(size, size))
    doubt = np.einsum("ik,ij,jk->k", np.abs(left) / scale[:, None], rounding, np.abs(right) * scale[:, None])
    sure = np.abs(found) * np.abs((left.conj() * right).sum(axis=0)) > doubt
    return found, sure


def moved_by(roots: Roots, group: Any, parameters: Parameters) -> Array:
    """Return d ln |s| / d ln p, the mean over a group of roots (indices), for every parameter; NaN where it has none."""
    basis, turned = _subspace(roots.small, roots.opened, group), _subspace(roots.small.T, roots.opened, group)
    if basis is None or turned is None:
        return np.full(len(parameters.names), np.nan)
    (z, t), (w, _) = basis, turned
    x, y = roots.right @ z, roots.left @ w
    s = CENTRE * np.eye(len(group)) - np.linalg.inv(t)
    middle = np.linalg.inv(y.T @ roots.moving @ x)
    of_moving = x @ middle @ y.T
    of_static = x @ np.linalg.solve(s, middle @ y.T)
    size = parameters.static.shape[-1]
    total = np.einsum("pij,ji->p", parameters.static, of_static[:size, :size])
    total = total + np.einsum("pij,ji->p", parameters.moving, of_moving[:size, :size])
    return np.asarray(-total.real / len(group))


def _balanced(small: Array) -> tuple[Array, Array]:
    """Return D^-1 K D with rows and columns of like size, and the diagonal of D."""
    from scipy.linalg import matrix_balance

    with np.errstate(invalid="ignore"):  # an unused permutation is made of the scale, which may be too large for it
        _, (scale, _) = matrix_balance(small, permute=False, separate=True)
    return small * scale / scale[:, None], scale


def _subspace(small: Array, opened: Any, group: Any) -> tuple[Any, Any] | None:
    """Return a basis of the invariant subspace of some roots and the matrix there; None where others lie on them."""
    from scipy.linalg import schur

    even, scale = _balanced(small)
    inside = np.zeros(len(opened), bool)
    inside[group] = True

    def wanted(one: complex) -> bool:
        return bool(inside[np.argmin(np.abs(opened - one))])

    t, z, count = schur(even, output="complex", sort=wanted)
    if count != len(group):
        return None
    return scale[:, None] * z[:, :count], t[:count, :count]


@dataclass(frozen=True, slots=True)
class Parameters:
    """Names of what can be changed, and the derivatives of G and E by the logarithm of each (parameters, N, N)."""

    names: tuple[str, ...]
    static: Array
    moving: Array


def parameters_of(signal: Signal) -> Parameters:
    """Return all parts of a board of one unit with what a change of each does to its matrices."""
    n, size = signal.size, signal.size + len(signal.gains)
    voltages = signal.solved.voltages[0]
    names: list[str] = []
    static: list[Array] = []  # with ground in its last row and column
    moving: list[Array] = []
    pushes: list[Array] = []  # dF of each, 0 where the operating point stays

    def add(name: str, of_static: Array | None, of_moving: Array | None = None, push: Array | None = None) -> None:
        names.append(name)
        static.append(np.zeros((size + 1, size + 1)) if of_static is None else of_static)
        moving.append(np.zeros((size + 1, size + 1)) if of_moving is None else of_moving)
        pushes.append(np.zeros(n) if push is None else push)

    table = signal.system.linear
    for name in dict.fromkeys(table.names):
        if name.endswith(" leakage"):
            continue
        matrix, push = np.zeros((size + 1, size + 1)), np.zeros(n + 1)
        for k in (k for k, other in enumerate(table.names) if other == name):
            a, b = int(table.first[k]), int(table.second[k])
            flow = float(table.siemens[0, k] * table.weight[k])
            amps = flow * (voltages[a] - voltages[b] + float(table.above[0, k]))
            _stamp_two(matrix, a if a < n else size, b if b < n else size, -flow)
            push[a] -= amps
            push[b] += amps
        add(name, matrix, push=push[:n])
    for k, rod in enumerate(signal.system.rods):
        place, ohms = len(signal.system.places) + k, float(np.asarray(rod.law[0]))
        if 0 < ohms < np.inf:
            matrix, push = np.zeros((size + 1, size + 1)), np.zeros(n)
            matrix[place, place] = ohms
            push[place] = ohms * voltages[place]
            add(rod.name, matrix, push=push)
    for store in signal.stores:
        ends = np.append(_ends(store.first, store.second, n, size), 0.0)
        add(store.name, None, float(store.size[0]) * np.outer(ends, ends))
    for one, places, _ in signal.system.flying:
        matrix = _flying(signal, one, np.where(places == n, size, places), size)
        to_rest = np.delete(np.delete(matrix, np.s_[n:size], 0), np.s_[n:size], 1)
        add(one.name, matrix, push=(to_rest @ voltages)[:n])
    _add_devices(signal, add)
    whole = np.array(static)
    whole[:, :size, :size] += _shifts(signal, np.array(pushes))
    return Parameters(tuple(names), whole[:, :size, :size], np.array(moving)[:, :size, :size])


def _stamp_two(matrix: Array, a: int, b: int, flow: float) -> None:
    matrix[a, a] += flow
    matrix[b, b] += flow
    matrix[a, b] -= flow
    matrix[b, a] -= flow


def _flying(signal: Signal, one: Any, places: Any, size: int) -> Array:
    """Return the derivative of G by the logarithm of a flying capacitor."""
    half = signal.system.elements.pumps[0].law[1]
    up, down = (
        _pumped.carried(np.asarray(one.law[0]) * np.exp(step), one.law[2], half)[0] * _pumped.SHARES[:, None]
        for step in (RATIO, -RATIO)
    )
    flow = (up - down) / (2 * RATIO)
    matrix = np.zeros((size + 1, size + 1))
    for k, sign in ((0, 1.0), (1, -1.0)):
        for j, other in ((0, 1.0), (1, -1.0)):
            np.add.at(matrix, (places[k][:, None], places[j][None, :]), sign * other * flow)
    return matrix


def _add_devices(signal: Signal, add: Any) -> None:
    """Add what is told of devices: slopes as they stand at the operating point, cells, gain-bandwidth products."""
    n, size = signal.size, signal.size + len(signal.gains)
    for group in signal.system.groups:
        if isinstance(group, _outputs.Amplifiers):
            for k, gain in enumerate(signal.gains):
                if gain.time[0] > 0:
                    matrix = np.zeros((size + 1, size + 1))
                    matrix[n + k, n + k] = -float(gain.time[0])
                    add(f"{gain.name} gain-bandwidth", None, matrix)
            continue
        _, slopes = group.branch(group.volts(signal.solved.voltages, 1.0), None)
        at = np.where(group.at == n, size, group.at)
        word = " gm" if isinstance(group, (_groups.Bipolars, _groups.Channels)) else " slope"
        blocks: tuple[tuple[str, slice], ...] = ((word, slice(None)),)
        if isinstance(group, _groups.Couplers):
            blocks = ((" LED slope", slice(0, 2)), (" cell", slice(2, 4)))
        for name in dict.fromkeys(group.names):
            parts = [k for k, other in enumerate(group.names) if other == name]
            for told, block in blocks:
                matrix = np.zeros((1, size + 1, size + 1))
                some = slopes[:, block, block][..., parts] * group.weight[parts]
                stamp(matrix, at[block][:, parts], some * (-1.0 if told == " cell" else 1.0))
                add(f"{name}{told}", matrix[0])


def _shifts(signal: Signal, pushes: Array) -> Array:
    """Return how G changes because the operating point does (parameters, N, N), for the dF of each parameter."""
    size = signal.size + len(signal.gains)
    found = np.zeros((len(pushes), size, size))
    which = np.flatnonzero(pushes.any(axis=1))
    if not len(which):
        return found
    moved = -np.linalg.solve(_newton.jacobian(signal.system, signal.solved.voltages)[0], pushes[which].T).T
    reach = np.abs(moved[:, : len(signal.system.places)]).max(axis=1)
    step = STEP / np.where(reach > 0, reach, 1.0)
    aside = np.concatenate([step[:, None] * moved, np.zeros((len(which), 1))], axis=1)
    middle = signal.solved.voltages[0]
    up, down = _slopes(signal, middle + aside), _slopes(signal, middle - aside)
    found[which] = (up - down)[:, :size, :size] / (2 * step[:, None, None])
    return found
