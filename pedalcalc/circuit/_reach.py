"""Which nets a direct current can reach, and which hang on nothing but the insulation of capacitors."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from pedalcalc.circuit.elements import Branch, Elements
from pedalcalc.circuit.joints import GROUND
from pedalcalc.devices import Jfet
from pedalcalc.parts import NOT_CONNECTED


def root_of(found: Elements, net: str) -> str:
    return found.joints.root(net)[0]


def reached(found: Elements, moves: set[str]) -> tuple[set[str], set[str]]:
    """Return the groups of nets that a current can reach from ground, and those of them only through insulation.

    Capacitors count as the resistance of their insulation; control terminals carry nothing.
    """
    ways: list[tuple[str, str]] = []
    for kind in (found.conductances, found.rods, found.junctions):
        ways += [(one.nets[0], one.nets[1]) for one in kind]
    ways += [(one.nets[k], one.nets[k + 1]) for one in found.couplers for k in (0, 2)]
    ways += [(one.nets[0], net) for one in found.bipolars for net in one.nets[1:]]
    for one in found.channels:
        ways.append((one.nets[1], one.nets[2]))
        if isinstance(one.law, Jfet) and not np.all(np.isnan(np.asarray(one.law.voltage_forward, float))):
            ways.append((one.nets[0], one.nets[2]))
    ways += [(one.nets[2], rail) for one in found.amplifiers for rail in one.nets[3:]]
    ways += [(one.nets[k], one.nets[k + 1]) for one in found.regulators for k in (0, 1)]
    for pump in found.pumps:
        supply, ground, plus, minus, output = pump.nets
        ways += [
            (first, second)
            for first, second in ((plus, supply), (plus, ground), (minus, ground), (minus, output))
            if not (first.endswith(NOT_CONNECTED) or second.endswith(NOT_CONNECTED))
        ]
    leaks = [
        (one.nets[0], one.nets[1]) for one in found.capacitors if np.any(one.law[3] > 0) or flies(one, found, moves)
    ]
    solid = _spread(ways, found)
    every = _spread(ways + leaks, found)
    return every - {GROUND}, every - solid - moves


def flies(one: Branch, found: Elements, moves: set[str] | frozenset[str]) -> bool:
    return bool(np.any(one.law[0] > 0)) and any(root_of(found, net) in moves for net in one.nets)


def _spread(ways: list[tuple[str, str]], found: Elements) -> set[str]:
    neighbours: dict[str, set[str]] = defaultdict(set)
    for first, second in ways:
        one, other = root_of(found, first), root_of(found, second)
        neighbours[one].add(other)
        neighbours[other].add(one)
    seen, left = {GROUND}, [GROUND]
    while left:
        for net in neighbours[left.pop()] - seen:
            seen.add(net)
            left.append(net)
    return seen
