"""Charge pumps in a circuit at rest: which nets move with the pump, and what its capacitors carry.

A net that nothing holds (no capacitor to a net at rest) and that the converter's switches reach takes other volts in every
part of the pump's period. Both half periods are taken in two steps of the Radau IIA rule, three points each, so that the pulse of each
is followed, not averaged; every point is a copy of the moving nets, and currents into resting nets count by the share
of time. A capacitor C at a moving net carries, with H the length of a step, A the rule's matrix and v- the volts where
that step begins (the end of the one before)::

    i = (C/H) A^-1 (v - v-)

One step alone leaves up to 8 % of a pulse that is over (a small flying capacitor) and makes the pump's source resistance
up to 14 % too high; two leave 0.7 %. A net that a capacitor holds to one at rest is at rest: its ripple is left out, which
makes the source resistance of two equal capacitors 3 % too low; diodes that are still handing over charge when a half
period ends are taken as done (a doubler of two 1N4148: 8 mV too high at 1 µF, 0.3 V at 0.1 µF).

Source: E. Hairer and G. Wanner, Solving Ordinary Differential Equations II, section IV.5, for the rule.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit.elements import Branch, Elements
from pedalcalc.circuit.joints import GROUND

Array = NDArray[np.float64]

_ROOT = np.sqrt(6.0)
_RADAU = np.array(
    [
        [(88 - 7 * _ROOT) / 360, (296 - 169 * _ROOT) / 1800, (-2 + 3 * _ROOT) / 225],
        [(296 + 169 * _ROOT) / 1800, (88 + 7 * _ROOT) / 360, (-2 - 3 * _ROOT) / 225],
        [(16 - _ROOT) / 36, (16 + _ROOT) / 36, 1 / 9],
    ]
)
#: Lengths of the steps over a half period.
_STEPS = (0.3, 0.7)
#: Points of a half and of a whole period, and the share of time that each stands for.
HALF = 3 * len(_STEPS)
COPIES = 2 * HALF
SHARES = np.tile(np.concatenate([_RADAU[-1] * length / 2 for length in _STEPS]), 2)


def _differences() -> Array:
    """Return the matrix that turns a capacitor's volts at all points into i H/C, H half a period."""
    inverse = np.linalg.inv(_RADAU)
    found = np.zeros((COPIES, COPIES))
    for step, length in enumerate(_STEPS * 2):
        own = slice(3 * step, 3 * step + 3)
        found[own, own] += inverse / length
        found[own, (3 * step - 1) % COPIES] -= inverse.sum(axis=1) / length
    return found


_DIFFERENCES = _differences()


def carried(farads: Any, ohms: Any, half: Any) -> Array:
    """Return the matrix from a capacitor's volts at all points to its currents [S], its series resistance included."""
    rate = np.atleast_1d(np.asarray(farads, float) / np.asarray(half, float))[:, None, None] * _DIFFERENCES
    series = np.atleast_1d(np.asarray(ohms, float))[:, None, None]
    return np.asarray(np.linalg.solve(np.eye(COPIES) + series * rate, rate))


def moving(found: Elements) -> set[str]:
    """Return the nets, by what stands for their group, that move with a converter's switches."""

    def root(net: str) -> str:
        return found.joints.root(net)[0]

    nets: set[str] = set()
    for pump in found.pumps:
        nets |= {root(net) for net in pump.nets[2:4]}
    fixed = {GROUND}
    nets -= fixed
    caps = [(root(one.nets[0]), root(one.nets[1]), one) for one in found.capacitors if np.any(one.law[0] > 0)]
    ways = [
        (root(one.nets[0]), root(one.nets[1]))
        for one in (*found.conductances, *found.rods, *found.junctions)
    ]  # fmt: skip
    ways += [(root(one.nets[k]), root(one.nets[1 - k])) for one in found.couplers for k in (0,)]
    ways += [
        (root(one.nets[j]), root(one.nets[k]))
        for one in (*found.bipolars, *found.channels)
        for j, k in ((1, 2), (0, 2))
    ]
    ways += [(root(one.nets[j]), root(one.nets[k])) for one in found.regulators for j, k in ((0, 2), (0, 1))]
    ways += [(root(one.nets[4]), root(one.nets[3])) for one in found.pumps]
    changed = bool(nets)
    while changed:
        changed = False

        def held(net: str) -> bool:
            return net in fixed or any(
                (net == first and other not in nets) or (net == other and first not in nets) for first, other, _ in caps
            )

        for first, other in [*((a, b) for a, b, _ in caps), *ways]:
            for inner, outer in ((first, other), (other, first)):
                if inner in nets and outer not in nets and not held(outer):
                    nets.add(outer)
                    changed = True
    return nets


def branch_moves(one: Branch, found: Elements, nets: set[str]) -> bool:
    """Tell whether a branch has a terminal on a moving net."""
    return any(found.joints.root(net)[0] in nets for net in one.nets)
