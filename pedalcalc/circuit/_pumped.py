"""Charge pumps in a circuit at rest: which nets move with the pump, and what its capacitors carry.

A net that nothing holds (no capacitor to a net at rest) and that the converter's switches reach takes other volts in every
part of the pump's period; every point of it is a copy of the moving nets, and currents into resting nets count by the
share of time. A half period begins with two implicit Euler steps, the second longer than the first: however short a pulse
through a diode is, they let it end where it ends and never beyond, which no rule of higher order does (the Radau rule
pumps nearly twice the charge of a pulse much shorter than its step). Then come one step of the Radau IIA rule with two points,
and over what is left, one with three points. A capacitor C at a moving net carries, with H the length of a step, A its rule's matrix and v- the volts where that
step begins (the end of the one before)::

    i = (C/H) A^-1 (v - v-)

The source resistance of an inverter comes out within 0.7 % whatever its flying capacitor, the mean of a diode pump within 30 mV
or 1 % of what it drops, also where its reservoir is a tenth of what flies.

A net that a capacitor holds to one at rest is at rest, but it ripples where that capacitor is small (`STIFF`): then what
moves, resistors, diodes and regulators meet a copy of the net for each point, the capacitor carries what is above or
below its mean, and one current more leads the mean to everything else at the net. A diode or a regulator at such a net hands
the ripple on: a net behind it that no large capacitor holds ripples, too, or the law would charge a capacitor that is not
there. A resistor does so to a net whose capacitor it fills within a period. Transistors and op-amps see the mean: what they pass hangs on the volts of their supply little, unless it leaves them no
room. Units of one batch may differ in this: where
a net does not ripple, its copies are tied to their mean (`TIED`).

Source: E. Hairer and G. Wanner, Solving Ordinary Differential Equations II, section IV.5 for the rule, IV.15 for why Euler.
"""

from __future__ import annotations

from functools import reduce
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._result import Caution, caution_below
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
_RADAU_TWO = np.array([[5 / 12, -1 / 12], [3 / 4, 1 / 4]])
_EULER = np.ones((1, 1))
#: The steps of a half period: the rule's matrix and the share of time.
_STEPS = ((_EULER, 0.03), (_EULER, 0.055), (_RADAU_TWO, 0.19), (_RADAU, 0.725))
#: Ohms, as period over capacitance, below which a capacitor that holds a net counts as without ripple: a tenth of them is
#: what the source resistance comes out too low.
STIFF = 8.0
#: Siemens that tie the copies of a net to their mean in the units of a batch in which it is without ripple: a microvolt
#: for 0.1 A, so that each unit stands in a batch where it stands alone.
TIED = 1e5
#: The copy of a net that is at rest; its ripple's copies follow.
REST = -1
#: Points of a half and of a whole period, and the share of time that each stands for.
HALF = sum(len(rule) for rule, _ in _STEPS)
COPIES = 2 * HALF
SHARES = np.tile(np.concatenate([rule[-1] * length / 2 for rule, length in _STEPS]), 2)


def _differences() -> Array:
    """Return the matrix that turns a capacitor's volts at all points into i H/C, H half a period."""
    found = np.zeros((COPIES, COPIES))
    at = 0
    for rule, length in _STEPS * 2:
        inverse = np.linalg.inv(rule)
        own = slice(at, at + len(rule))
        found[own, own] += inverse / length
        found[own, (at - 1) % COPIES] -= inverse.sum(axis=1) / length
        at += len(rule)
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
    caps = [(root(one.nets[0]), root(one.nets[1])) for one in found.capacitors if np.any(one.law[0] > 0)]
    holding = [(root(one.nets[0]), root(one.nets[1])) for one in found.capacitors if np.all(one.law[0] > 0)]
    ways = [
        (root(one.nets[0]), root(one.nets[1]))
        for one in (*found.conductances, *found.rods, *found.junctions)
    ]  # fmt: skip
    ways += [(root(one.nets[k]), root(one.nets[k + 1])) for one in found.couplers for k in (0, 2)]
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
                (net == first and other not in nets) or (net == other and first not in nets) for first, other in holding
            )

        for first, other in [*caps, *ways]:
            for inner, outer in ((first, other), (other, first)):
                if inner in nets and outer not in nets and not held(outer):
                    nets.add(outer)
                    changed = True
    return nets


def branch_moves(one: Branch, found: Elements, nets: set[str]) -> bool:
    """Tell whether a branch has a terminal on a moving net."""
    return bool(roots(found, one) & nets)


def roots(found: Elements, one: Branch) -> set[str]:
    """Return the nets at a branch, by what stands for their groups."""
    return {found.joints.root(net)[0] for net in one.nets}


def holding(found: Elements, moves: set[str]) -> dict[str, Any]:
    """Return the farads that hold each net to one at rest."""
    holds: dict[str, Any] = {}
    for one in found.capacitors:
        own = roots(found, one)
        if len(own) > 1 and not own & moves:
            holds |= {net: holds.get(net, 0.0) + one.law[0] for net in own}
    return holds


def rippling(found: Elements, moves: set[str]) -> dict[str, Any]:
    """Return the resting nets that ripple with a pump, and in which units.

    What moves makes those ripple that small capacitors hold; from there a diode or a regulator hands its ripple on to a net
    that nothing holds any better, and a resistor to one whose capacitor it fills within a period.
    """
    if not found.pumps:
        return {}
    period = 2 * reduce(np.maximum, (np.asarray(pump.law[1], float) for pump in found.pumps))
    holds = holding(found, moves)
    soft = {net: np.asarray(farads, float) * STIFF < period for net, farads in holds.items() if net != GROUND}
    met: set[str] = set()
    for one in found.each():
        if (own := roots(found, one)) & moves:
            met |= own
    ripples = {net: soft[net] for net in met - moves if net in soft and np.all(holds[net] > 0) and np.any(soft[net])}
    root = found.joints.root
    ways = [(root(one.nets[j])[0], root(one.nets[k])[0], None) for one, (j, k) in handing_on(found)]
    ways += [(root(one.nets[0])[0], root(one.nets[1])[0], one.law) for one in found.conductances]
    fresh = bool(ripples)
    while fresh:
        fresh = False
        for first, second, ohms in ways:
            for inner, outer in ((first, second), (second, first)):
                if inner in ripples and outer not in {*ripples, *moves, GROUND}:
                    units = ripples[inner] & soft.get(outer, np.asarray(ohms is None))
                    if ohms is not None:
                        units = units & (np.asarray(ohms, float) * holds.get(outer, 0.0) < period)
                    if np.any(units):
                        ripples[outer], fresh = units, True
    return ripples


def handing_on(found: Elements) -> list[tuple[Branch, tuple[int, int]]]:
    """Return the branches that see a ripple and hand it on, with the ends between which they do."""
    return [*((one, (0, 1)) for one in found.junctions), *((one, (0, 2)) for one in found.regulators)]


def pumping(found: Elements) -> tuple[Caution, ...]:
    """Return a caution where less holds a pump's output than flies to it, and where a coupler's LED moves with a pump."""
    moves = moving(found) if found.pumps else set()
    told: tuple[Caution, ...] = ()
    holds = holding(found, moves)
    for net in sorted(rippling(found, moves)):
        flying = _flying_to(net, found, moves)
        if flying and np.all(holds.get(net, 0.0) > 0):
            largest = max(flying, key=lambda one: float(np.max(one.law[0])))
            told += caution_below(
                f"{net} ripples with the charge pump: less holds it than {largest.name} hands over",
                f"fit at least the size of {largest.name} there; as it is, its mean is told to 1 % of what the pump drops",
                holds[net], largest.law[0], "F",
            )  # fmt: skip
    for one in found.couplers:
        if any(found.joints.root(net)[0] in moves for net in one.nets[:2]):
            told += (
                Caution(
                    f"the LED of {one.name} moves with the charge pump: its cell is told as if it followed every pulse",
                    "feed the LED from behind the pump's capacitor", 1.0, 0.0, "1",
                ),
            )  # fmt: skip
    return told


def _flying_to(net: str, found: Elements, moves: set[str]) -> list[Branch]:
    """Return the capacitors that hand charge over to a net, by way of what moves; none behind a regulator."""
    near, meet = {net}, [roots(found, one) for one in found.each()]
    while fresh := {root for own in meet if own & near for root in own & moves} - near:
        near |= fresh
    ends = [(one, roots(found, one)) for one in found.capacitors]
    return [one for one, own in ends if len(own) > 1 and own & near & moves]
