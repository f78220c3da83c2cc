"""Where the currents and slopes of all laws go in the equations: for Newton's steps sorted once, so that each sums them in one sweep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc.circuit import _groups


@dataclass(frozen=True, slots=True)
class Targets:
    """Where some entries of a list are added: those that stand alone at their target, pairs, and runs of more."""

    alone: Any  # entries
    alone_at: Any  # targets
    pairs: Any  # two rows of entries
    pairs_at: Any
    runs: tuple[tuple[int, Any], ...]  # target, entries

    def add(self, to: Any, what: Any) -> None:
        """Add entries (entries, units) where they belong (units, targets)."""
        if len(self.alone):
            to[:, self.alone_at] += what.take(self.alone, axis=0).T
        if len(self.pairs_at):
            to[:, self.pairs_at] += (what.take(self.pairs[0], axis=0) + what.take(self.pairs[1], axis=0)).T
        for target, entries in self.runs:
            to[:, target] += what.take(entries, axis=0).sum(axis=0)


@dataclass(frozen=True, slots=True)
class Contributions:
    """Where slopes of the groups go in the matrix, laid out flat, and their currents in the list of places."""

    slopes: Targets
    flows: Targets


def contributions(groups: tuple[_groups.Group, ...], side: int) -> Contributions:
    """Return where the groups' slopes and currents go; what goes to ground, the place `side`, is left out."""
    rows, columns, flows = [np.zeros(0, int)], [np.zeros(0, int)], [np.zeros(0, int)]
    for group in groups:
        terminals, parts = group.at.shape
        rows.append(np.broadcast_to(group.at[:, None, :], (terminals, terminals, parts)).ravel())
        columns.append(np.broadcast_to(group.at[None, :, :], (terminals, terminals, parts)).ravel())
        flows.append(group.at.ravel())
    row, column, flow = (np.concatenate(part) for part in (rows, columns, flows))
    inside = (row < side) & (column < side)
    return Contributions(_sorted(row * side + column, inside), _sorted(flow, flow < side))


def _sorted(flat: Any, inside: Any) -> Targets:
    order = np.flatnonzero(inside)
    order = order[np.argsort(flat[order], kind="stable")]
    target, starts, count = np.unique(flat[order], return_index=True, return_counts=True)
    one, two = starts[count == 1], starts[count == 2]
    return Targets(
        alone=order[one],
        alone_at=target[count == 1],
        pairs=np.stack([order[two], order[two + 1]]),
        pairs_at=target[count == 2],
        runs=tuple((int(target[k]), order[starts[k] : starts[k] + count[k]]) for k in np.flatnonzero(count > 2)),
    )


def stamp(matrix: Any, at: Any, slopes: Any) -> None:
    """Add slopes (units, terminals, terminals, parts) at the places (terminals, parts) of a matrix with ground in it."""
    terminals, parts = at.shape
    for part in range(parts):
        for row in range(terminals):
            for column in range(terminals):
                matrix[:, at[row, part], at[column, part]] += slopes[:, row, column, part]
