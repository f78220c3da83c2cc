"""How long what is charged at switch-on or at play takes: supplies, the half supply, hold capacitors."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.board import Board
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.operating import solved_board
from pedalcalc.circuit.response import gain_along
from pedalcalc.circuit.settling import Settling, settling

Array = NDArray[np.float64]

SETTLES, CHARGES, DISCHARGES = "settling", "charging", "discharging"
#: Time constants until a hundredth of a step is left (common practice).
SETTLED = float(np.log(100.0))
#: A shorter time is a matter of the response, not one that anybody waits for [s] (common practice).
LEAST = 5e-3
#: An end of a capacitor with less signal than this is none of the signal's way [dB].
SILENT = -40.0


def times(found: Any, system: Any, solved: Any) -> dict[str, Array]:
    """Return times [s] until a hundredth of a step is left, by what is charged."""
    return {name: SETTLED * seconds for name, _, seconds in _named(found, system, solved)}


def _named(found: Any, system: Any, solved: Any) -> Iterator[tuple[str, Settling, Array]]:
    """Yield the name of each time, the capacitor, and the time constant."""
    known: set[str] = set()
    for one in settling(found, system, solved):
        first, second = one.nets if one.nets[0] != GROUND else one.nets[::-1]
        place = first if first not in known else f"{first} above {second}"
        known.add(first)
        if np.isfinite(one.driven).any():
            yield f"{DISCHARGES} of {place}", one, one.rest
            yield f"{CHARGES} of {place}", one, one.driven
        else:
            yield f"{SETTLES} of {place}", one, one.rest


def passed_on(board: Board) -> set[str]:
    """Return the times of capacitors that pass the signal on, whose ends both carry it: there the gains tell."""
    found, system, solved = solved_board(board)
    gain_db = gain_along(board, frequency=1e3)

    @cache
    def heard(net: str) -> bool:
        try:
            return net != GROUND and gain_db(net) > SILENT
        except ValueError:  # it floats
            return False

    return {name for name, one, _ in _named(found, system, solved) if all(heard(net) for net in one.nets)}
