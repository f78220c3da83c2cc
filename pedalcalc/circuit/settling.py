"""How long each capacitor takes to its charge: what it sees at the operating point, by the board's own slopes.

With J the slopes of the whole board at rest and e = +1 and -1 at a capacitor's two places, it sees R = e' J^-1 e, all other
capacitors taken off, and what is left of a step after the time t is exp(-t/RC). A diode that rests with nothing across
it is open to what flows out of the capacitor and closed to what comes in: where that makes a difference the capacitor
has two times, as the hold capacitor of a side-chain has its release and its attack. The series resistance of capacitors is left
out. DERIVED.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit import _newton
from pedalcalc.circuit._system import System
from pedalcalc.circuit.elements import Elements
from pedalcalc.circuit.joints import GROUND
from pedalcalc.devices import Diode

Array = NDArray[np.float64]

#: A diode with less across it rests [V]; what it conducts when it is driven [S].
RESTING, DRIVEN = 0.1, 1.0
#: Difference of the two times from which both are told.
APART = 0.1


@dataclass(frozen=True, slots=True)
class Settling:
    """Time constants [s] of the capacitors between two nets, named by the largest; `driven` is NaN where there is but one."""

    name: str
    nets: tuple[str, str]
    rest: Array  # (units,)
    driven: Array  # (units,)


def settling(found: Elements, system: System, solved: _newton.Solved) -> Iterator[Settling]:
    """Yield the times of all capacitors that have some, NaN in units without an operating point or in which they float."""
    pairs = _pairs(found, system)
    if not pairs:
        return
    units, n = len(solved.good), system.size
    diodes, resting = _diodes(found, system, solved)
    push = np.zeros((n + 1, len(pairs) + len(diodes)))
    for k, (first, second) in enumerate([*pairs, *diodes]):
        push[first, k] += 1.0
        push[second, k] -= 1.0
    slopes = np.where(solved.good[:, None, None], _newton.jacobian(system, solved.voltages), np.eye(n))
    moved, _ = _newton.solve_each(slopes, np.broadcast_to(push[:n], (units, *push[:n].shape)))
    seen = push[:n].T @ moved  # (units, pairs and diodes, pairs and diodes)
    rest = np.einsum("ukk->uk", seen)[:, : len(pairs)]
    driven = rest.copy()
    for k in range(len(diodes)):  # one at a time: of a rectifier's two one is open while the other conducts
        d = len(pairs) + k
        fall = seen[:, : len(pairs), d] * seen[:, d, : len(pairs)] / (1 / DRIVEN + seen[:, d, d])[:, None]
        driven = np.where(resting[:, k, None], np.fmin(driven, rest - fall), driven)
    held = solved.good[:, None] & _held(pairs, system, units)
    for k, group in enumerate(pairs.values()):
        farads = sum(np.asarray(one.law[0], float) for one in group)
        largest = max(group, key=lambda one: float(np.mean(one.law[0])))
        slow, fast = (np.where(held[:, k] & (ohms[:, k] > 0), ohms[:, k] * farads, np.nan) for ohms in (rest, driven))
        apart = bool(np.nanmedian(fast / slow) < 1 - APART) if np.isfinite(fast / slow).any() else False
        yield Settling(
            largest.name, (largest.nets[0], largest.nets[1]), slow, fast if apart else np.full(units, np.nan)
        )


def _pairs(found: Elements, system: System) -> dict[tuple[int, int], list[Any]]:
    """Return the capacitors by the two places they lie between; what moves with a pump or floats has no such time."""
    pairs: dict[tuple[int, int], list[Any]] = {}
    for one in found.capacitors:
        roots = [found.joints.root(net)[0] for net in one.nets]
        ends = [system.size if root == GROUND else system.at.get((root, 0)) for root in roots]
        places = sorted({place for place in ends if place is not None})
        if len(places) < 2 or set(roots) & (system.moves | system.floating):
            continue
        if np.all(np.asarray(one.law[0]) > 0):
            pairs.setdefault((places[0], places[1]), []).append(one)
    return pairs


def _held(pairs: dict[tuple[int, int], list[Any]], system: System, units: int) -> Any:
    """Return in which units (units, pairs) more than insulation holds both ends of each pair."""
    held = np.ones((units, len(pairs)), bool)
    for piece in system.pieces:
        own = {
            k for k in piece.kept[:-1] if k >= len(system.places) or system.places[k][0] not in piece.system.floating
        }
        own.add(system.size)
        held[piece.units] = [own.issuperset(ends) for ends in pairs]
    return held


def _diodes(found: Elements, system: System, solved: _newton.Solved) -> tuple[list[tuple[int, int]], Any]:
    """Return the places of all diodes, and in which units (units, diodes) each of them rests."""
    ends, resting = [], []
    for one in found.junctions:
        anode, cathode = (system.where(net) for net in one.nets[:2])
        moves = {found.joints.root(net)[0] for net in one.nets[:2]} & system.moves
        if not isinstance(one.law, Diode) or anode is None or cathode is None or moves or anode[0] == cathode[0]:
            continue
        across = solved.voltages[:, anode[0]] + anode[1] - solved.voltages[:, cathode[0]] - cathode[1]
        ends.append((anode[0], cathode[0]))
        resting.append(np.abs(across) < RESTING)
    return ends, np.stack(resting, axis=1) if ends else np.zeros((len(solved.good), 0), bool)
