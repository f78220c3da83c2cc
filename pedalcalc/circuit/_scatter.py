"""Where the currents and slopes of all laws go in the equations: sorted once, so that each step sums them in one sweep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc.circuit import _groups


@dataclass(frozen=True, slots=True)
class Contributions:
    """Where slopes and currents of the groups go: sorted, so that what meets is summed in one sweep."""

    pick: Any  # entries of all slopes, in the order of their targets
    starts: Any
    target: Any  # flat place in the matrix
    pick_flow: Any
    starts_flow: Any
    target_flow: Any


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
    return Contributions(*_sorted(row * side + column, inside), *_sorted(flow, flow < side))


def _sorted(flat: Any, inside: Any) -> tuple[Any, Any, Any]:
    order = np.flatnonzero(inside)
    order = order[np.argsort(flat[order], kind="stable")]
    target, starts = np.unique(flat[order], return_index=True)
    return order, starts, target
