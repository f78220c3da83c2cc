"""Pairs of LED current and cell resistance as a meter shows them: checked, and slips of the pen refused."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import numeric
from pedalcalc._units import said, shown

Array = NDArray[np.float64]


def checked_pairs(current: ArrayLike, resistance_cell: ArrayLike, tolerance: Array) -> tuple[Array, Array]:
    """Return checked pairs in the order taken, or refuse them by name and place."""
    amps = np.atleast_1d(numeric("current", current))
    ohms = np.atleast_1d(numeric("resistance_cell", resistance_cell, least=0, infinity=True))
    if amps.ndim != 1 or amps.shape != ohms.shape:
        raise ValueError(
            f"current and resistance_cell must be two lists of one length, got {amps.size} and {ohms.size}"
        )
    if amps.size < 2:
        raise ValueError("current and resistance_cell must hold at least two readings: one does not tell a slope")
    for name, row, bad, why in (
        ("current", amps, np.isnan(amps), "not a reading (NaN); leave the pair out"),
        ("current", amps, amps <= 0, "not above 0; give the reading with the LED out as resistance_dark"),
        ("resistance_cell", ohms, np.isnan(ohms), "not a reading (NaN); leave the pair out"),
        ("resistance_cell", ohms, ohms == 0, "0; a lit cell is no short, look at the meter leads"),
        ("resistance_cell", ohms, np.isinf(ohms), "open; leave the pair out or take a higher current"),
    ):
        if np.any(bad):
            place = int(np.argmax(bad))
            raise ValueError(f"{name}: reading {place + 1} ({said(name, row[place])}) is {why}")
    _refuse_contradiction(amps, ohms, 3 * float(tolerance))
    return amps, ohms


def _refuse_contradiction(amps: Array, ohms: Array, slack: float) -> None:
    run, rise = np.log(amps)[:, None] - np.log(amps), np.log(ohms)[:, None] - np.log(ohms)
    pairs = run > np.log(1.2)
    if not np.any(pairs):
        raise ValueError("current must hold at least two currents that differ by a fifth or more")
    # Two or three pairs cannot outvote a bad one; more can.
    wrong = pairs & (rise > (0.0 if amps.size == 2 else slack))
    level = amps.size == 2 and np.any(pairs & (rise == 0))
    if level or (np.any(wrong) and (amps.size < 4 or np.count_nonzero(wrong) > np.count_nonzero(pairs) / 3)):
        high, low = np.unravel_index(int(np.argmax(np.where(pairs, rise, -np.inf))), rise.shape)
        raise ValueError(
            f"resistance_cell must fall with current: reading {low + 1} ({shown(amps[low], 'A')}, {shown(ohms[low], 'Ω')}) "
            f"and reading {high + 1} ({shown(amps[high], 'A')}, {shown(ohms[high], 'Ω')}) contradict each other"
        )


def hysteresis(amps: Array, misses: Array, odd: NDArray[np.bool_]) -> float:
    """Return R going up over R coming down, less 1, over the currents met both ways; NaN if none."""
    way = np.sign(np.diff(amps))
    way = np.concatenate([way[:1], way])
    up, down = (way > 0) & ~odd, (way < 0) & ~odd
    if not np.any(up) or not np.any(down):
        return float("nan")
    low, high = max(amps[up].min(), amps[down].min()) * 0.99, min(amps[up].max(), amps[down].max()) * 1.01
    shared = (amps >= low) & (amps <= high)
    if not np.any(up & shared) or not np.any(down & shared):
        return float("nan")
    return float(np.expm1(np.mean(misses[up & shared]) - np.mean(misses[down & shared])))
