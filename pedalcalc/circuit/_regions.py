"""What leaves the region that it works in at rest, while a signal plays.

Op-amps and transistors say so themselves, by their laws (`Group.outside`). Two things only the rest can tell:

- a bipolar transistor is cut off for the ear long before its current is nothing: at a twentieth of what it carries at
  rest, where the straight line through the emitter's load has reached zero;
- a junction clips where it makes the circuit between its ends twice as stiff: slope of the junction and conductance of all
  that lies beside it, together, are then twice those at rest. One that conducts at rest leaves by blocking.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit import _newton
from pedalcalc.circuit._groups import Bipolars, Group, Junctions
from pedalcalc.circuit._system import System
from pedalcalc.laws.diodes import CURRENT_CONDUCTS

Array = NDArray[np.float64]

#: Share of its resting current below which a transistor passes nothing of a signal any more.
LAST_SHARE = 0.05
#: How much stiffer a junction makes what lies between its ends until it clips.
STIFFER = 2.0


class Regions:
    """Where the parts of a board stand at rest; `step` holds what its capacitors are for a slow tone."""

    def __init__(self, system: System, voltages: Array, step: Array) -> None:
        self.rest = [_state(group, voltages) for group in system.groups]
        self.beside = [
            _conductance(system, voltages, step, group) if isinstance(group, Junctions) else None
            for group in system.groups
        ]

    def left(self, system: System, voltages: Array) -> Iterator[tuple[str, Any]]:
        """Yield parts with the units in which they are out of their region."""
        for group, rest, beside in zip(system.groups, self.rest, self.beside, strict=True):
            if isinstance(group, Bipolars):
                flow, _ = _state(group, voltages)
                gone = (np.abs(flow) < LAST_SHARE * np.abs(rest[0])) & (np.abs(rest[0]) >= CURRENT_CONDUCTS)
                for k, (name, out) in enumerate(group.outside(group.volts(voltages, 1.0))):
                    yield name, out | gone[:, k]
            elif beside is not None:
                flow, slope = _state(group, voltages)
                conducts = np.abs(rest[0]) >= CURRENT_CONDUCTS
                clips = slope + beside > STIFFER * (rest[1] + beside)
                out = np.where(conducts, np.abs(flow) < CURRENT_CONDUCTS, clips)
                for k, name in enumerate(group.names):
                    yield name, out[:, k]
            else:
                yield from group.outside(group.volts(voltages, 1.0))


def _state(group: Group, voltages: Array) -> tuple[Array, Array]:
    """Return a junction's current and slope, a transistor's collector current and slope (units, parts)."""
    flows, slopes = group.branch(group.volts(voltages, 1.0), None)
    at = 1 if isinstance(group, Bipolars) else 0
    return flows[:, at], slopes[:, at, at]


def _conductance(system: System, voltages: Array, step: Array, group: Junctions) -> Array:
    """Return what lies between the ends of each junction but itself [S], (units, parts); infinite between fixed ends."""
    n, units = system.size, len(voltages)
    push = np.zeros((n + 1, len(group.names)))
    parts = np.arange(len(group.names))
    push[group.at[0], parts] += 1.0
    push[group.at[1], parts] -= 1.0
    moved = np.zeros((units, n + 1, len(parts)))
    moved[:, :n], _ = _newton.solve_each(
        _newton.jacobian(system, voltages) + step, np.broadcast_to(push[:n], (units, n, len(parts)))
    )
    across = moved[:, group.at[0], parts] - moved[:, group.at[1], parts]
    _, own = _state(group, voltages)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(across > 0, np.maximum(1 / across - own, 0.0), np.inf)
