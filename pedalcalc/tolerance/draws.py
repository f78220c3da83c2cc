"""Units of a board as a drawer of parts would make them."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import devices
from pedalcalc._arguments import list_of, words
from pedalcalc._record import spreads
from pedalcalc.board import Board
from pedalcalc.devices import Device, Taper

Array = NDArray[np.float64]

#: Kinds that are no source of variation of the board itself.
FIXED = ("battery", "connector", "jack", "switch")


def drawn_units(board: Board, *, count: int, seed: int, reels: Sequence[Sequence[str]] = ()) -> dict[str, Any]:
    """Return other values for every part that varies: numbers within the printed tolerance, records between their ends.

    Parts of one reel share their deviation. A part without a tolerance in the list is taken at its value.
    """
    units: dict[str, Any] = {}
    of_reel: dict[str, int] = {}
    for k, reel in enumerate(list_of("reels", reels, "lists of references")):
        for reference in list_of("reels", reel, "references"):
            part = board.part(words("reels", reference))
            if part.unit not in ("Ω", "F", "H"):
                raise ValueError(f"reels must name resistors, capacitors or coils; {reference} is a {part.kind}")
            if of_reel.setdefault(reference, k) != k:
                raise ValueError(f"reels must not share a part: {reference} is on two of them")
    seeds = np.random.SeedSequence(seed).generate_state(len(board.parts) + len(reels))
    reel_share = [np.random.default_rng(one).uniform(size=count) for one in seeds[len(board.parts) :]]
    for k, resolved in enumerate(board.parts):
        part, own = resolved.part, int(seeds[k])
        record = board.record(part.reference)
        if part.unit in ("Ω", "F", "H"):
            low, high = part.tolerance_low, part.tolerance_high
            if np.isnan(low) and isinstance(record, Taper):
                high = float(devices.typical(record).tolerance)
                low = -high
            if not np.isnan(low) and (low or high):
                share = (
                    reel_share[of_reel[part.reference]]
                    if part.reference in of_reel
                    else np.random.default_rng(own).uniform(size=count)
                )
                units[part.reference] = part.value * (1 + low + (high - low) * share)
        elif isinstance(record, Device) and part.kind not in FIXED and any(True for _ in spreads(record)):
            units[part.reference] = devices.drawn(record, count=count, seed=own)
    return units


def figures_of(units: Mapping[str, Any], count: int) -> dict[str, Array]:
    """Return for each part the figures that were drawn, as columns centred on nothing and of unit size."""
    columns: dict[str, Array] = {}
    for reference, value in units.items():
        arrays = list(_arrays(value)) if isinstance(value, Device) else [np.asarray(value, float)]
        spread = [(one - one.mean()) / one.std() for one in arrays if one.shape == (count,) and one.std() > 0]
        if spread:
            columns[reference] = np.stack(spread, axis=1)
    return columns


def _arrays(record: Device) -> Any:
    for field in dataclasses.fields(record):  # type: ignore[arg-type]
        value = getattr(record, field.name)
        if isinstance(value, Device):
            yield from _arrays(value)
        elif isinstance(value, np.ndarray) and value.ndim == 1 and value.dtype.kind == "f":
            yield value
