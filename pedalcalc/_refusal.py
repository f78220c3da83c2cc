"""Errors that name an argument, the value with its unit and what is allowed, and the element by the caller's own index."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

import numpy as np

from pedalcalc._units import shown, told, unit_of


def at_index(bad: Any) -> str:
    """Return the words that say where `bad` first holds, by its index in the caller's array; none of a single number."""
    bad = np.asarray(bad)
    return f" at index {tuple(int(i) for i in np.argwhere(bad)[0])}" if bad.ndim else ""


def refused(name: str, allowed: str, value: Any, bad: Any = True, unit: str | None = None) -> ValueError:
    """Return the error of the first value that is not what is `allowed`: its name, the value with its unit, its index.

    The name tells the unit where none is given.
    """
    value, bad = np.broadcast_arrays(value, bad)
    got = shown(float(value[bad].flat[0]), unit_of(name) if unit is None else unit)
    return ValueError(f"{name} must be {allowed}, got {got}{at_index(bad)}")


def no_record(name: str, value: Any, *kinds: type) -> TypeError:
    """Return the error of what is no record of a kind: its name, what is allowed and where such records come from."""
    if kinds == (str,):
        return TypeError(f"{name} must be text, not {told(value)}")
    wanted = f"{name} must be a {' or '.join(kind.__name__ for kind in kinds)} record"
    if value is not None:
        return TypeError(f"{wanted}, not {type(value).__name__}: {told(value)}")
    parts = any(base.__name__ == "Device" for kind in kinds for base in kind.__mro__)
    where = "; pedalcalc.devices has them, and pedalcalc.catalogue.find_device finds one by its type" if parts else ""
    return TypeError(f"{wanted}, not None: nothing was given{where}")


def must(words: str, bad: Any) -> ValueError:
    """Return the error of what several arguments must not be together, and the index where they first are."""
    return ValueError(f"{words}{at_index(bad)}")


class OtherKind(ValueError):
    """A part of a list is of another kind than its place in a circuit asks for: the list can be read, the circuit is another."""


class Unsolved(RuntimeError):
    """An iteration that found no end: of what, and which of the caller's elements have none."""

    def __init__(self, what: str, failed: Any = True) -> None:
        """Say it with the index of the first that failed."""
        super().__init__(f"{what}{at_index(failed)}")
        self.what, self.failed = what, np.asarray(failed)


@contextlib.contextmanager
def among(shape: tuple[int, ...] = (), places: Any = None) -> Iterator[None]:
    """Say an element that an iteration inside did not solve by its index in the caller's array of this shape.

    `places` are the elements that the iteration works on, by their flat number there; none where its arrays are not the
    caller's at all, as half-waves of one tone.
    """
    try:
        yield
    except Unsolved as error:
        if places is None:
            raise Unsolved(error.what) from None
        whole = np.zeros(shape, bool)
        whole.flat[places] = error.failed
        raise Unsolved(error.what, whole) from None
