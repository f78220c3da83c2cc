"""Which nets a direct current can reach, and which hang on nothing but the insulation of capacitors.

A part may be open in some units only, so that a net floats there and nowhere else. Units in which the same parts are
open are looked at once.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc.circuit.elements import Branch, Elements
from pedalcalc.circuit.joints import GROUND
from pedalcalc.devices import Jfet
from pedalcalc.parts import NOT_CONNECTED


def root_of(found: Elements, net: str) -> str:
    """Return the net that stands for a net's group."""
    return found.joints.root(net)[0]


@dataclass(frozen=True, slots=True)
class Reach:
    """Groups of nets that a current reaches from ground, and those of them that it reaches through insulation only."""

    nets: frozenset[str]
    insulated: frozenset[str]
    units: Any  # the units in which it is so


@dataclass(frozen=True, slots=True)
class _Way:
    """Two nets between which a current may flow, in all units or in those marked."""

    first: str
    second: str
    carries: Any = True
    leaks: bool = False


def reached(found: Elements, moves: set[str]) -> tuple[Reach, ...]:
    """Return what a current can reach, once for all units in which that is the same.

    Capacitors count as the resistance of their insulation; control terminals carry nothing.
    """
    ways = _ways(found, moves)
    varying = [np.broadcast_to(way.carries, (found.units,)) for way in ways if not isinstance(way.carries, bool)]
    if not varying:
        return (_reach(found, ways, [], moves, np.arange(found.units)),)
    patterns, which = np.unique(np.stack(varying, axis=1), axis=0, return_inverse=True)
    alike: dict[tuple[frozenset[str], frozenset[str]], list[Any]] = defaultdict(list)
    for k, pattern in enumerate(patterns):
        one = _reach(found, ways, pattern.tolist(), moves, np.flatnonzero(which.ravel() == k))
        alike[one.nets, one.insulated].append(one.units)
    return tuple(Reach(*key, np.sort(np.concatenate(units))) for key, units in alike.items())


def _reach(found: Elements, ways: list[_Way], pattern: list[bool], moves: set[str], units: Any) -> Reach:
    """Return what is reached where of the ways that differ those carry that the pattern says."""
    following = iter(pattern)
    open_ways = [way for way in ways if (way.carries if isinstance(way.carries, bool) else next(following))]
    solid = _spread([way for way in open_ways if not way.leaks], found)
    every = _spread(open_ways, found)
    return Reach(frozenset(every - {GROUND}), frozenset(every - solid - moves), units)


def _somewhere(carries: Any) -> Any:
    """Return one answer for all units where it is one."""
    told = np.asarray(carries)
    return bool(told.flat[0]) if told.all() or not told.any() else told


def _ways(found: Elements, moves: set[str]) -> list[_Way]:
    """Return all ways for a direct current through parts, from terminal to terminal."""
    ways = [
        _Way(one.nets[0], one.nets[1], _somewhere(~np.isinf(np.asarray(ohms, float))))
        for kind in (found.conductances, found.rods)
        for one in kind
        for ohms in [one.law[0] if isinstance(one.law, tuple) else one.law]
    ]
    ways += [_Way(one.nets[0], one.nets[1]) for one in found.junctions]
    ways += [_Way(one.nets[k], one.nets[k + 1]) for one in found.couplers for k in (0, 2)]
    ways += [_Way(one.nets[0], net) for one in found.bipolars for net in one.nets[1:]]
    for one in found.channels:
        ways.append(_Way(one.nets[1], one.nets[2]))
        if isinstance(one.law, Jfet) and not np.all(np.isnan(np.asarray(one.law.voltage_forward, float))):
            ways.append(_Way(one.nets[0], one.nets[2]))
    ways += [_Way(one.nets[2], rail) for one in found.amplifiers for rail in one.nets[3:]]
    ways += [_Way(one.nets[k], one.nets[k + 1]) for one in found.regulators for k in (0, 1)]
    for pump in found.pumps:
        supply, ground, plus, minus, output = pump.nets
        ways += [
            _Way(first, second)
            for first, second in ((plus, supply), (plus, ground), (minus, ground), (minus, output))
            if not (first.endswith(NOT_CONNECTED) or second.endswith(NOT_CONNECTED))
        ]
    for one in found.capacitors:
        carries = np.asarray(one.law[3]) > 0
        if flies(one, found, moves):
            carries = carries | (np.asarray(one.law[0]) > 0)
        ways.append(_Way(one.nets[0], one.nets[1], _somewhere(carries), leaks=True))
    return ways


def flies(one: Branch, found: Elements, moves: set[str] | frozenset[str]) -> bool:
    """Tell whether a capacitor flies: it has a size and an end on a net that moves with a charge pump."""
    return bool(np.any(one.law[0] > 0)) and any(root_of(found, net) in moves for net in one.nets)


def _spread(ways: list[_Way], found: Elements) -> set[str]:
    """Return the groups of nets that some ways reach from ground, itself among them."""
    neighbours: dict[str, set[str]] = defaultdict(set)
    for way in ways:
        one, other = root_of(found, way.first), root_of(found, way.second)
        neighbours[one].add(other)
        neighbours[other].add(one)
    seen, left = {GROUND}, [GROUND]
    while left:
        for net in neighbours[left.pop()] - seen:
            seen.add(net)
            left.append(net)
    return seen
