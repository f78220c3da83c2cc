"""Where the currents and slopes of all laws go in the equations: for Newton's steps sorted once, so that each sums them in one sweep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc.circuit import _groups


@dataclass(frozen=True, slots=True)
class Targets:
    """Where entries of a list are summed: targets of one entry, of two, and of more, `at` in this order."""

    at: Any
    alone: Any  # entries
    pairs: Any  # two rows of entries
    runs: tuple[Any, ...]  # entries

    def summed(self, what: Any, found: Any = None) -> Any:
        """Return the sums (targets, units) of entries (entries, units), in `found` where room is given."""
        found = np.empty((len(self.at), what.shape[1])) if found is None else found
        one, two = len(self.alone), len(self.alone) + self.pairs.shape[1]
        what.take(self.alone, axis=0, out=found[:one], mode="clip")  # raising would cost a copy
        what.take(self.pairs[0], axis=0, out=found[one:two], mode="clip")
        found[one:two] += what.take(self.pairs[1], axis=0)
        for k, entries in enumerate(self.runs, two):
            np.add.reduce(what.take(entries, axis=0), axis=0, out=found[k])
        return found


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
    one, two, more = (np.flatnonzero(which) for which in (count == 1, count == 2, count > 2))
    return Targets(
        at=target[np.concatenate([one, two, more])],
        alone=order[starts[one]],
        pairs=np.stack([order[starts[two]], order[starts[two] + 1]]),
        runs=tuple(order[starts[k] : starts[k] + count[k]] for k in more),
    )


def stamp(matrix: Any, at: Any, slopes: Any) -> None:
    """Add slopes (units, terminals, terminals, parts) at the places (terminals, parts) of a matrix with ground in it."""
    terminals, parts = at.shape
    for part in range(parts):
        for row in range(terminals):
            for column in range(terminals):
                matrix[:, at[row, part], at[column, part]] += slopes[:, row, column, part]
