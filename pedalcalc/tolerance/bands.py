"""What a board reads when its parts are those of the drawer, and which part is to blame for the spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import is_a, one_number, whole_number, words
from pedalcalc._base import search
from pedalcalc._refusal import Unsolved
from pedalcalc._result import Result, quantity
from pedalcalc.board import Board
from pedalcalc.circuit.operating import solved_board, told
from pedalcalc.tolerance.draws import drawn_units, figures_of

Array = NDArray[np.float64]

#: Most units at once, and the largest start of the random numbers.
MOST = 1_000_000
#: Confidence with which a quantile lies within its error of the band's end.
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Band(Result):
    """What one reading comes to in most units; `error_ends` is how far the ends may be off for want of more draws."""

    name: str = quantity("text", "reading")
    reading_low: float = quantity("SI", "lowest")
    reading_typical: float = quantity("SI", "usual")
    reading_high: float = quantity("SI", "highest")
    error_ends: float = quantity("SI", "error of the ends")
    unit: str = quantity("text", "unit")


@dataclass(frozen=True, slots=True, eq=False)
class Bands(Result):
    """Bands of all nets and of the supply current; `count` units were drawn, `failed` of them not solved."""

    rows: tuple[Band, ...] = quantity("records", "bands")
    count: int = quantity("1", "units drawn")
    failed: int = quantity("1", "units not solved")
    coverage: float = quantity("1", "share of units inside a band")


@dataclass(frozen=True, slots=True, eq=False)
class Share(Result):
    """A part's share of the variance of a reading."""

    reference: str = quantity("text", "part")
    share_variance: float = quantity("1", "share of the variance")


@search
def bands(
    board: Board,
    *,
    count: int = 1000,
    seed: int = 1,
    coverage: float = 0.99,
    reels: Sequence[Sequence[str]] = (),
) -> Bands:
    """Find between which ends every reading of a board lies when its parts are within their tolerances.

    Parameters
    ----------
    board : Board
        The build under its conditions; its usual supply is kept.
    count : int
        Units to draw [1], a whole number, at least 20.
    seed : int
        Start of the random numbers [1], a whole number, at least 0; the same seed draws the same units.
    coverage : float
        Share of the units that a band holds [1], above 0 and below 1.
    reels : sequence of sequence of str, optional
        References of resistors or capacitors from one reel or bag: they deviate together.

    Returns
    -------
    Bands
        One band for each net (volts to ground) and one for the supply current; nets without a number are left out.

    Raises
    ------
    ValueError
        If an argument is out of range or a reference is not on the board.
    RuntimeError
        If fewer than half of the units were solved.

    Notes
    -----
    Sources of variation: resistors, capacitors and tracks evenly within their printed tolerance, each for itself but for
    `reels`; parts with a record between the ends of its figures (`devices.drawn`), IDSS with VGS(off), headrooms and input
    margins together, all amplifiers of a package alike. The ends are quantiles; `error_ends` is the half width in which
    they lie with 95 % confidence whatever the law of the reading (order statistics), infinite where so few units say
    nothing of ends so far out (738 are enough for a coverage of 0.99).

    References
    ----------
    JCGM-101, propagation of distributions; PRACTICE, tolerances evenly spread.

    Examples
    --------
    >>> from pedalcalc.board import assemble
    >>> from pedalcalc.parts import Connection, Part
    >>> nan = float("nan")
    >>> def resistor(name, ohms, one, two):
    ...     pins = (Connection("1", one), Connection("2", two))
    ...     return Part(name, "resistor", ohms, "Ω", f"{ohms:g}", -0.05, 0.05, nan, 0.25, nan, pins, "")
    >>> nets = (Connection("plus", "rail"), Connection("minus", "ground"))
    >>> clip = Part("X1", "connector", nan, "", "battery clip", nan, nan, nan, nan, nan, nets, "")
    >>> build = assemble([clip, resistor("R1", 10e3, "rail", "half"), resistor("R2", 10e3, "half", "ground")], supply=9.0)
    >>> half = next(row for row in bands(build).rows if row.name == "half")
    >>> print(f"{half.reading_low:.1f} to {half.reading_high:.1f} V")
    4.3 to 4.7 V
    """
    is_a("board", board, Board)
    number, start = whole_number("count", count, least=20, most=MOST), whole_number("seed", seed, most=MOST)
    inside = one_number("coverage", coverage, "", above=0, below=1)
    units = drawn_units(board, count=number, seed=start, reels=reels)
    readings, good = _readings(board, units)
    if good.sum() < number / 2:
        raise Unsolved(f"only {int(good.sum())} of {number} units were solved: see what the nominal board says")
    usual, _ = _readings(board, {})
    rows = []
    for name, values in readings.items():
        kept = values[good & ~np.isnan(values)]
        if len(kept) < number / 2:
            continue
        low, high, error = band_ends(kept, inside)
        middle = usual[name][0]
        rows.append(
            Band(
                name=name,
                reading_low=low,
                reading_typical=float(np.median(kept) if np.isnan(middle) else middle),
                reading_high=high,
                error_ends=error,
                unit=_unit(name),
            )
        )
    return Bands(rows=tuple(rows), count=number, failed=int(number - good.sum()), coverage=inside)


@search
def blame(
    board: Board, *, reading: str, count: int = 1000, seed: int = 1, reels: Sequence[Sequence[str]] = ()
) -> tuple[Share, ...]:
    """Find which parts a reading's spread comes from: which part to buy better, or to measure.

    Parameters
    ----------
    board : Board
        The build under its conditions.
    reading : str
        A net of the board, or ``supply current``.
    count : int
        Units to draw [1], a whole number, at least 100.
    seed : int
        Start of the random numbers [1], a whole number, at least 0.
    reels : sequence of sequence of str, optional
        References that deviate together.

    Returns
    -------
    tuple of Share
        Parts by their share of the variance [1], largest first, those above 1 %; what no part explains alone is
        ``together``.

    Raises
    ------
    ValueError
        If an argument is out of range, or there is no such reading.

    Notes
    -----
    The reading is fitted as a sum of straight lines in everything that was drawn; a part's share is the covariance of its
    lines with the reading, so that all shares add up to 1. Parts of one reel count together, for the first of them.

    References
    ----------
    JCGM-100, contributions to a variance.

    Examples
    --------
    >>> from pedalcalc.board import assemble
    >>> from pedalcalc.parts import Connection, Part
    >>> nan = float("nan")
    >>> def resistor(name, ohms, one, two, share):
    ...     pins = (Connection("1", one), Connection("2", two))
    ...     return Part(name, "resistor", ohms, "Ω", f"{ohms:g}", -share, share, nan, 0.25, nan, pins, "")
    >>> nets = (Connection("plus", "rail"), Connection("minus", "ground"))
    >>> clip = Part("X1", "connector", nan, "", "battery clip", nan, nan, nan, nan, nan, nets, "")
    >>> parts = [clip, resistor("R1", 10e3, "rail", "half", 0.05), resistor("R2", 10e3, "half", "ground", 0.01)]
    >>> [(one.reference, round(one.share_variance, 1)) for one in blame(assemble(parts, supply=9.0), reading="half")]
    [('R1', 1.0), ('R2', 0.0)]
    """
    is_a("board", board, Board)
    number, start = whole_number("count", count, least=100, most=MOST), whole_number("seed", seed, most=MOST)
    words("reading", reading)
    units = drawn_units(board, count=number, seed=start, reels=reels)
    readings, good = _readings(board, units)
    if reading not in readings:
        raise ValueError(
            f"reading must be a net of the board or 'supply current', got {reading!r}; {', '.join(readings)}"
        )
    good = good & ~np.isnan(readings[reading])
    value = readings[reading][good]
    value = value - value.mean()
    whole = float(value.var())
    columns = {name: matrix[good] for name, matrix in figures_of(units, number).items()}
    if whole == 0 or not columns:
        return ()
    table = np.concatenate(list(columns.values()), axis=1)
    table = table - table.mean(axis=0)
    slopes, *_ = np.linalg.lstsq(table, value, rcond=1e-9)
    shares, at = {}, 0
    for name, matrix in columns.items():
        width = matrix.shape[1]
        lines = table[:, at : at + width] @ slopes[at : at + width]
        shares[name] = float((lines * value).mean()) / whole
        at += width
    shares["together"] = float(((value - table @ slopes) * value).mean()) / whole
    found = sorted(shares.items(), key=lambda one: -one[1])
    return tuple(Share(reference=name, share_variance=share) for name, share in found if share >= 0.01)


def _readings(board: Board, units: Any) -> tuple[dict[str, Array], Any]:
    """Return volts by net and the supply current of drawn units, and which of them were solved."""
    found, system, solved = solved_board(board, values=units)
    named = told(found, system, solved)
    count = len(solved.good)
    values = {name: np.broadcast_to(np.asarray(volts, float), (count,)) for name, volts in named["voltages"].items()}
    values["supply current"] = np.broadcast_to(np.asarray(named["current_supply"], float), (count,))
    return {name: one for name, one in values.items() if name != "ground"}, solved.good


def _unit(name: str) -> str:
    return "A" if name == "supply current" else "V"


def band_ends(values: Array, coverage: float) -> tuple[float, float, float]:
    """Return both quantiles of a band and the larger half width in which they lie, by order statistics."""
    from scipy.special import bdtr

    ordered = np.sort(values)
    count = len(ordered)
    ends, error = [], 0.0
    for share in ((1 - coverage) / 2, (1 + coverage) / 2):
        ends.append(float(np.quantile(ordered, share)))
        below = bdtr(np.arange(count + 1.0), count, share)  # that so many or fewer lie below the end
        low, high = np.searchsorted(below, [(1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2])
        if low < 1 or high >= count:
            error = np.inf  # the end may lie beyond all that was drawn: nothing bounds it
            continue
        error = max(error, ends[-1] - float(ordered[low - 1]), float(ordered[high]) - ends[-1])
    return ends[0], ends[1], error
