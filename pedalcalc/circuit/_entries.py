"""The linear part by its entries that are not nought, and the room for what each of Newton's steps makes.

Few nets meet few others: a matrix of a board is mostly noughts. Units lie side by side in memory here, as laws see them,
so that a board of few parts makes long loops too.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit._system import System

Array = NDArray[np.float64]

#: Numbers that one line of a processor's cache holds, and those of the matrices that are made and solved at a time.
_LINE, _TILE = 8, 50_000


class Rows:
    """Some entries of matrices, row by row."""

    def __init__(self, at: Any, n: int) -> None:
        self.columns = at % n
        self._parts = tuple(slice(*ends) for ends in itertools.pairwise(np.searchsorted(at, n * np.arange(n + 1))))

    def flows(self, siemens: Array, volts: Array) -> Array:
        """Return the sums (places, units) of entries times volts (places, units)."""
        each = siemens * volts.take(self.columns, axis=0)
        found = np.empty((len(self._parts), each.shape[1]))
        for row, part in enumerate(self._parts):
            np.add.reduce(each[part], axis=0, out=found[row])
        return found


class Entries:
    """What of the equations no law changes, for the units still on their way; arrays (entries or places, 1 or units).

    `at` are all entries of the slopes: first those that laws touch.
    """

    def __init__(self, system: System, anchor: Any = None) -> None:
        n = system.size
        flat = system.matrix.reshape(len(system.matrix), n * n)
        self.to = system.contributions
        touched = self.to.slopes.at
        own = flat.any(axis=0)
        linear = np.flatnonzero(own)
        if anchor is not None:
            own[: n * len(system.places) : n + 1] = True
        own[touched] = False
        self.at, self.touched = np.concatenate([touched, np.flatnonzero(own)]), len(touched)
        self.rows, self.order = Rows(linear, n), np.argsort(self.at)
        self.every = Rows(self.at[self.order], n)
        self.siemens = np.ascontiguousarray(flat[:, linear].T)
        self.driven = np.ascontiguousarray(system.driven.T)
        self.fixed = np.ascontiguousarray(flat[:, self.at].T)
        if anchor is not None:  # what ties places to where they start
            diagonal = np.isin(self.at, (n + 1) * np.arange(len(system.places)))
            self.fixed = np.repeat(self.fixed, len(anchor) // self.fixed.shape[1], axis=1)
            self.fixed[diagonal] += anchor

    def keep(self, which: Any) -> None:
        """Leave some units."""
        self.siemens, self.driven, self.fixed = (some(one, which) for one in (self.siemens, self.driven, self.fixed))


def some(array: Array, which: Any) -> Array:
    """Return some units of an array (anything, 1 or units)."""
    return array.take(which, axis=1) if array.shape[1] > 1 else array


class Work:
    """Arrays that every step of a set of units fills anew."""

    def __init__(self, system: System, units: int) -> None:
        n = self._side = system.size
        self._shapes = [group.at.shape for group in system.groups]
        self._flows = sum(terminals * parts for terminals, parts in self._shapes)
        self._slopes = sum(terminals**2 * parts for terminals, parts in self._shapes)
        self._flow, self._slope = np.empty(self._flows * units), np.empty(self._slopes * units)
        # An odd number of lines from row to row: by a power of two a whole matrix would go to one corner of the cache.
        self._tile = min(units, -(-_TILE // n**2)) if n else units
        self._whole = np.zeros((n * n, _LINE * (-(-self._tile // _LINE) | 1)))

    def begin(self, units: int) -> None:
        """Make room for so many units: lists (entries, units) of the laws."""
        self.flow = self._flow[: self._flows * units].reshape(self._flows, units)
        self.slope = self._slope[: self._slopes * units].reshape(self._slopes, units)
        self.rooms, first, second = [], 0, 0
        for terminals, parts in self._shapes:
            last, end = first + terminals * parts, second + terminals**2 * parts
            flow = self.flow[first:last].reshape(terminals, parts, units)
            slope = self.slope[second:end].reshape(terminals, terminals, parts, units)
            self.rooms.append((flow.transpose(2, 0, 1), slope.transpose(3, 0, 1, 2)))
            first, second = last, end

    def matrices(self, at: Any, slopes: Array) -> Iterator[tuple[slice, Array]]:
        """Yield some units and their matrices (units, places, places), in the same room: what of them is at hand is fast."""
        whole = self._whole.reshape(self._side, self._side, self._whole.shape[1])
        for first in range(0, slopes.shape[1], max(self._tile, 1)):
            part = slice(first, min(first + self._tile, slopes.shape[1]))
            count = part.stop - first
            self._whole[at, :count] = slopes[:, part]
            yield part, whole[:, :, :count].transpose(2, 0, 1)
