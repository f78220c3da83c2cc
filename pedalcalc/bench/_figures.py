"""The figures of a board that a change of parts may move: volts, supply current, times, gains, the ends of what passes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._result import Caution
from pedalcalc.bench._times import times
from pedalcalc.bench.expected import CURRENT
from pedalcalc.board import Board
from pedalcalc.circuit import response, waveform
from pedalcalc.circuit.elements import elements_of
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.operating import all_solved, solved_board, told
from pedalcalc.circuit.ratings import ratings
from pedalcalc.circuit.restless import swinging
from pedalcalc.circuit.signals import jacks

Array = NDArray[np.float64]

#: Notes at which the gain is told [Hz]: the low E of a guitar, the middle, the bite (common practice).
NOTES = {"gain at 82 Hz": 82.4, "gain at 1 kHz": 1e3, "gain at 5 kHz": 5e3}
#: A hot pickup struck hard [V peak], and the tone at which that is played [Hz] (common practice).
HARD, HARD_TONE = 1.0, 1e3
LOWER, UPPER = "lower end, 3 dB down", "upper end, 3 dB down"
#: Where the ends of what passes are looked for [Hz].
SWEEP = np.geomspace(5.0, 100e3, 87)


class AtRest(NamedTuple):
    """What one solution of a board tells."""

    figures: dict[str, tuple[float, str]]
    warned: dict[str, Caution]
    swings: frozenset[str]


def at_rest(board: Board) -> AtRest:
    """Return a board's figures, without the volts of what swings by itself; what is beyond a rating; and what swings.

    Cautions stand by their words without what is fitted there: in its place another may be beyond the same.
    """
    solution = solved_board(board)
    all_solved(solution[2])
    swings = swinging(*solution)
    shown = {name: (float(one[0]), unit) for name, (one, unit) in _figures(board, None, *solution).items()}
    texts = {one.part.label: one.part.reference for one in board.parts}

    def bare(what: str) -> str:
        for text, name in texts.items():
            what = what.replace(text, name)
        return what

    return AtRest(
        figures={name: one for name, one in shown.items() if name not in swings},
        warned={bare(one.what): one for one in ratings(board, solution[0], told(*solution))},
        swings=swings,
    )


def drawn_figures(board: Board, units: Mapping[str, Any]) -> dict[str, Array]:
    """Return the figures of drawn units by name, NaN where there is none."""
    return {name: one for name, (one, _) in _figures(board, units, *solved_board(board, values=units)).items()}


def _figures(
    board: Board, values: Mapping[str, Any] | None, found: Any, system: Any, solved: Any
) -> dict[str, tuple[Array, str]]:
    """Return figures by name with their units, one value for each unit of the board; NaN where there is none.

    All nets are there, those that metal joins each by its own name.
    """
    named = told(found, system, solved)
    count = len(solved.good)

    def column(one: Any) -> Array:
        return np.where(solved.good, np.broadcast_to(np.asarray(one, float), (count,)), np.nan)

    shown = {net: (column(volts), "V") for net, volts in named["voltages"].items() if net != GROUND}
    shown[CURRENT] = (column(named["current_supply"]), "A")
    shown |= {name: (column(seconds), "s") for name, seconds in times(found, system, solved).items()}
    return shown | (_sound(board, values) if has_jacks(board) else {})


def played(board: Board) -> float:
    """Return the output's swing, peak to peak [V], while a guitar is struck hard; NaN where that cannot be told."""
    time = np.linspace(0.0, 2 / HARD_TONE, 41)
    try:
        seen = waveform(board, time=time, voltage_input=HARD * np.sin(2 * np.pi * HARD_TONE * time))
    except (ValueError, RuntimeError):
        return float("nan")
    return float(np.ptp(np.asarray(seen.voltages[jacks(board)[1]])[len(time) // 2 :]))


def has_jacks(board: Board) -> bool:
    """Tell whether a board has an input, not joined to ground or a supply, and an output."""
    try:
        into, _ = jacks(board)
    except ValueError:
        return False
    return elements_of(board).joints.root(into)[0] != GROUND


def _sound(board: Board, values: Mapping[str, Any] | None) -> dict[str, tuple[Array, str]]:
    """Return gains at the notes and where the response has fallen by 3 dB from its highest."""
    hertz = np.concatenate([list(NOTES.values()), SWEEP])
    gains = np.atleast_2d(response(board, frequency=hertz, values=values).gain_db)
    shown = {name: (gains[:, k], "dB") for k, name in enumerate(NOTES)}
    curve = gains[:, len(NOTES) :]
    ends = np.array([_ends_of(one) for one in curve])
    return shown | {LOWER: (ends[:, 0], "Hz"), UPPER: (ends[:, 1], "Hz")}


def _ends_of(curve: Array) -> tuple[float, float]:
    """Return where a response has fallen by 3 dB below its highest, NaN where it has not within the sweep."""
    if not np.isfinite(curve).any():
        return np.nan, np.nan
    top = int(np.nanargmax(curve))
    down = float(curve[top]) - 20 * np.log10(np.sqrt(2.0))
    octaves = np.log(SWEEP)

    def crossing(steps: range) -> float:
        for k in steps:
            inner, outer = (k + 1, k) if steps.step < 0 else (k - 1, k)
            if curve[outer] <= down <= curve[inner]:
                share = (curve[inner] - down) / (curve[inner] - curve[outer])
                return float(np.exp(octaves[inner] + share * (octaves[outer] - octaves[inner])))
        return np.nan

    return crossing(range(top - 1, -1, -1)), crossing(range(top + 1, len(curve)))
