"""The equations of a board: places of nets, the linear part as matrices, the laws as groups.

One place for each group of joined nets at rest, `COPIES` places for each that moves with a pump, and these besides the one
for a net at rest that ripples. The last place is ground, and every other part of the circuit that no direct current can
reach is left out: its nets float. Units in which other nets float than in the rest have equations of their own, the
`pieces`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit import _apart, _groups, _outputs, _pumped
from pedalcalc.circuit._scatter import Contributions, contributions
from pedalcalc.circuit.elements import Branch, Elements, of_units
from pedalcalc.circuit.joints import GROUND

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Linear:
    """Resistors and the like as one table: current from `first` to `second` is (V1 - V2 + above) times `siemens`."""

    names: tuple[str, ...]
    nets: tuple[tuple[str, str], ...]
    first: Any  # places
    second: Any
    above: Any  # (1 or units, branches)
    siemens: Any  # (1 or units, branches)
    weight: Any  # (branches,)


@dataclass(frozen=True, slots=True)
class System:
    """Everything that the solver needs; voltages have shape (units, places), ground last and always 0."""

    places: tuple[tuple[str, int], ...]  # group of nets and copy, without ground
    at: dict[tuple[str, int], int]
    rods: tuple[Branch, ...]  # their currents are unknowns behind the places, then those from ripples to their means
    matrix: Any  # (1 or units, n, n)
    driven: Any  # (1 or units, n), what known volts push into each place, at full supply
    groups: tuple[_groups.Group, ...]
    linear: Linear
    flying: tuple[tuple[Branch, Any, Any], ...]  # capacitors that fly or ripple, their volts' places, their matrix
    floating: frozenset[str]
    moves: frozenset[str]
    elements: Elements
    contributions: Contributions
    pieces: tuple[_apart.Apart, ...] = ()  # units with equations of their own; none where these serve all units
    chosen: Any = None  # the units that are left of those of `elements`, None for all
    untold: frozenset[str] = frozenset()  # shorts in a ring: their currents have no number

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return int(self.matrix.shape[-1])

    @property
    def units(self) -> int:
        """Number of units at once: those that the board's figures make, or those of a step in time, of a meter."""
        named = self.elements.units if self.chosen is None else len(self.chosen)
        return max(len(self.matrix), len(self.driven), named)

    @property
    def amplifiers(self) -> _outputs.Amplifiers | None:
        """The op-amps, None if there are none."""
        return next((group for group in self.groups if isinstance(group, _outputs.Amplifiers)), None)

    def take(self, units: Any) -> System:
        """Return the same for some units only, by their indices or a slice."""

        chosen = np.arange(units.start, units.stop) if isinstance(units, slice) else np.asarray(units)
        return replace(
            self,
            matrix=of_units(self.matrix, units),
            driven=of_units(self.driven, units),
            groups=tuple(group.take(units) for group in self.groups),
            chosen=chosen if self.chosen is None else self.chosen[chosen],
            pieces=(),
        )

    def mine(self, array: Any) -> Any:
        """Return what the chosen units have of figures in `elements`."""
        return array if self.chosen is None else of_units(array, self.chosen)

    def split(self, kept_too: Any = ()) -> Split | None:
        """Return which places no law touches, None where there are none; `kept_too` are places to keep all the same."""
        n = self.size
        touched = np.zeros(n + 1, bool)
        touched[list(kept_too)] = True
        for group in self.groups:
            touched[group.at] = True
        touched[len(self.places) : n] = True  # currents that are unknowns: alone they may be singular, or nearly
        kept, gone = np.flatnonzero(touched[:n]), np.flatnonzero(~touched[:n])
        if not len(gone) or not len(kept):
            return None
        place = np.full(n + 1, len(kept))
        place[kept] = np.arange(len(kept))
        groups = tuple(replace(group, at=place[group.at]) for group in self.groups)
        return Split(
            np.append(kept, n),
            gone,
            (kept[:, None] * n + kept).ravel(),
            tuple(group.at for group in groups),
            contributions(groups, len(kept)),
        )

    def reduced(self, split: Split) -> Reduced | None:
        """Return the same without the places that no law touches; None where these do not stand alone."""
        kept, n = split.kept[:-1], self.size
        units, count = max(len(self.matrix), len(self.driven)), len(kept)
        place = np.zeros(n, int)
        place[kept] = np.arange(count)
        flat = self.matrix.reshape(len(self.matrix), n * n)
        met = flat.any(axis=0).reshape(n, n)
        met |= met.T
        matrix = np.empty((units, count, count))
        matrix.reshape(units, -1)[...] = flat.take(split.entries, axis=1)
        driven = np.repeat(self.driven[:, kept], units // len(self.driven), axis=0)
        sign, hidden = np.ones(units), []
        for inner in _together(met, split.gone):
            near = kept[met[inner][:, kept].any(axis=0)]
            found = _hidden(self, inner, near, units)
            if found is None:
                return None
            one, pushed, own = found
            sign *= own
            at = place[near]
            matrix[:, at[:, None], at] -= pushed[:, :, :-1]
            driven[:, at] -= pushed[:, :, -1]
            hidden.append(replace(one, near=at))
        small = replace(
            self,
            places=tuple(self.places[k] for k in kept if k < len(self.places)),
            matrix=matrix,
            driven=driven,
            groups=tuple(replace(group, at=at) for group, at in zip(self.groups, split.at, strict=True)),
            contributions=split.contributions,
        )
        return Reduced(small, split, tuple(hidden), sign)

    def where(self, net: str) -> tuple[int, Any] | None:
        """Return the place of a net at rest and the volts of the net above it; None where it floats."""
        root, above = self.elements.joints.root(net)
        if root == GROUND:
            return self.size, above
        if (root, 0) not in self.at:
            return None
        return self.at[root, 0], above

    def volts(self, voltages: Array, net: str) -> Array:
        """Return the mean volts of a net over the pump's period, NaN where it floats."""
        root, above = self.elements.joints.root(net)
        if root == GROUND:
            return np.asarray(np.zeros(len(voltages)) + above)
        if (root, 0) not in self.at or root in self.floating:
            return np.full(len(voltages), np.nan)
        if root in self.moves:
            places = [self.at[root, k] for k in range(_pumped.COPIES)]
            return np.asarray(voltages[:, places] @ _pumped.SHARES + above)
        return np.asarray(voltages[:, self.at[root, 0]] + above)

    def ripple(self, voltages: Array, net: str) -> tuple[Array, Array] | None:
        """Return how far a net at rest goes below and above its mean in a pump's period; None where it does not ripple."""
        root, _ = self.elements.joints.root(net)
        if (root, _pumped.COPIES) not in self.at:
            return None
        each = voltages[:, [self.at[root, k + 1] for k in range(_pumped.COPIES)]] - voltages[:, [self.at[root, 0]]]
        return each.min(axis=1), each.max(axis=1)


@dataclass(frozen=True, slots=True)
class Split:
    """The places of a system that a law touches or whose current is an unknown, and the others."""

    kept: Any  # ground behind them
    gone: Any
    entries: Any  # of the flat matrix, between those that are kept
    at: tuple[Any, ...]  # places of the groups' terminals among those that are kept
    contributions: Contributions


@dataclass(frozen=True, slots=True)
class Hidden:
    """Places that no law touches and that meet each other, and what gives their volts back from places they meet."""

    places: Any
    near: Any  # among those that are kept
    follow: Array  # (1 or units, places, near and what is pushed in)


def _together(met: Any, gone: Any) -> list[Any]:
    """Return places that are left out in sets that meet each other."""
    left, found = set(gone.tolist()), []
    while left:
        one, fresh = [], [left.pop()]
        while fresh:
            one.append(fresh.pop())
            reached = left & set(np.flatnonzero(met[one[-1]]).tolist())
            left -= reached
            fresh += reached
        found.append(np.sort(one))
    return found


def _hidden(system: System, inner: Any, near: Any, units: int) -> tuple[Hidden, Array, Any] | None:
    """Return how some places follow those they meet, what they push there, and the sign of their determinant.

    None where they do not stand alone.
    """
    count = len(inner)
    own, back = system.matrix[:, inner[:, None], inner], system.matrix[:, near[:, None], inner]
    right = np.empty((units, count, len(near) + 1))
    right[:, :, :-1], right[:, :, -1] = system.matrix[:, inner[:, None], near], system.driven[:, inner]
    if count == 1:
        if not own.all():
            return None
        right /= own
        return Hidden(inner, near, right), back * right, np.sign(own[:, 0, 0])
    try:
        follow = np.linalg.solve(own, right)
    except np.linalg.LinAlgError:
        return None
    return Hidden(inner, near, follow), back @ follow, np.linalg.slogdet(own)[0]


@dataclass(frozen=True, slots=True)
class Reduced:
    """Equations without the places that no law touches, what gives these back, and the sign of what was left out."""

    system: System
    split: Split
    hidden: tuple[Hidden, ...]
    sign: Any  # (units,), of the determinant

    def expand(self, voltages: Array, units: Any) -> Array:
        """Return all places of some units from those that were kept."""
        kept = self.split.kept
        found = np.zeros((len(voltages), len(kept) + len(self.split.gone)))
        found[:, kept] = voltages
        for one in self.hidden:
            follow = one.follow[units] if 1 < len(one.follow) != len(units) else one.follow
            met = follow[:, :, :-1] * voltages[:, None, one.near]
            found[:, one.places] = follow[:, :, -1] - met.sum(axis=2)
        return found
