"""Units in which other nets float, or other shorts go round in a ring, than in the rest: each such set is a system of its own.

The equations of such a set are those of the whole without the places that nothing reaches, and without the one short of
each ring whose current nothing tells: nothing is added to them, and nothing changes for the other units.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pedalcalc._refusal import at_index
from pedalcalc.circuit import _groups, _pumped
from pedalcalc.circuit._reach import Reach
from pedalcalc.circuit._scatter import contributions
from pedalcalc.circuit.elements import GENERATOR, LOAD, Branch, Elements, of_units
from pedalcalc.circuit.joints import GROUND


@dataclass(frozen=True, slots=True)
class Apart:
    """Some units of a system with equations of their own; `kept` are the unknowns that these share with the whole's."""

    units: Any
    kept: Any  # unknowns of the whole, ground behind them
    system: Any


def pieces_of(system: Any, reaches: Sequence[Reach]) -> tuple[Apart, ...]:
    """Return the sets of units that are solved apart from each other; none where one set of equations serves all."""
    rings = _rings(system.elements, system.rods)
    if len(reaches) == 1 and not rings:
        return ()
    found = []
    for reach in reaches:
        sets: dict[tuple[frozenset[str], frozenset[str]], list[int]] = defaultdict(list)
        for unit in reach.units:
            sets[rings.get(int(unit), (frozenset(), frozenset()))].append(unit)
        for (idle, untold), units in sets.items():
            found.append(_piece(system, reach, np.array(units), idle, untold))
    return tuple(found)


def _piece(system: Any, reach: Reach, units: Any, idle: frozenset[str], untold: frozenset[str]) -> Apart:
    """Return the equations of some units."""
    root, nodes, n = system.elements.joints.root, len(system.places), system.size
    some = system.take(units)
    rods = [replace(rod, law=tuple(of_units(part, units) for part in rod.law)) for rod in system.rods]
    here = reach.nets | {GROUND}
    held = [
        k
        for k, rod in enumerate(rods)
        if rod.name not in idle
        and (all(root(net)[0] in here for net in rod.nets) or np.all(np.isinf(np.asarray(rod.law[0], float))))
    ]
    inside = [k for k, (net, _) in enumerate(system.places) if net in reach.nets]
    ripples = sorted(net for net, copy in system.places if copy == _pumped.COPIES)  # each has one current more
    led = [k for k, net in enumerate(ripples) if net in reach.nets]
    kept = np.array(inside + [nodes + k for k in held] + [nodes + len(rods) + k for k in led], int)
    place = np.full(n + 1, -1)
    place[kept], place[n] = np.arange(len(kept)), len(kept)
    groups = tuple(group for one in some.groups if (group := _left(one, place)) is not None)
    table = system.linear
    siemens, above = (of_units(part, units) for part in (table.siemens, table.above))
    rows = np.flatnonzero(((place[table.first] >= 0) & (place[table.second] >= 0)) | (siemens == 0).all(axis=0))
    linear = replace(
        table,
        names=tuple(table.names[k] for k in rows),
        nets=tuple(table.nets[k] for k in rows),
        first=np.where(place[table.first] < 0, len(kept), place[table.first])[rows],
        second=np.where(place[table.second] < 0, len(kept), place[table.second])[rows],
        above=above[:, rows],
        siemens=siemens[:, rows],
        weight=table.weight[rows],
    )
    places = tuple(system.places[k] for k in inside)
    own = replace(
        some,
        places=places,
        at={one: k for k, one in enumerate(places)},
        rods=tuple(rods[k] for k in held),
        matrix=np.ascontiguousarray(some.matrix[:, kept[:, None], kept]),
        driven=np.ascontiguousarray(some.driven[:, kept]),
        groups=groups,
        linear=linear,
        flying=tuple(
            (one, np.where(place[ends] < 0, len(kept), place[ends]), of_units(flow, units))
            for one, ends, flow in system.flying
        ),
        floating=reach.insulated,
        untold=untold,
        pieces=(),
        contributions=contributions(groups, len(kept)),
    )
    return Apart(units, np.append(kept, n), own)


def _left(group: _groups.Group, place: Any) -> _groups.Group | None:
    """Return the parts of a group that stand on the places that are left; amplifiers stay, what floats of them grounded."""
    at = place[group.at]
    lost = at < 0
    if group.grounded:
        above = np.where(lost[:, None], 0.0, group.above)
        return replace(group, at=np.where(lost, place[-1], at), above=above, pinned=group.pinned | lost)
    parts = np.flatnonzero(~lost.any(axis=0))
    if not len(parts):
        return None
    return replace(group.only(parts), at=at[:, parts])


def _rings(found: Elements, rods: Sequence[Branch]) -> dict[int, tuple[frozenset[str], frozenset[str]]]:
    """Return by unit the shorts that close a ring of shorts, and all whose currents such a ring leaves open.

    A coil that resistors of 0 Ω bridge closes such a ring, too; two coils in a ring are refused, since at rest their shares
    are chance, and so is a generator without resistance across a short or a coil.
    """
    shorts = [
        (rod, np.broadcast_to(np.asarray(rod.law[0], float) == 0, (found.units,))) for rod in rods if rod.name != LOAD
    ]
    shorts.sort(key=lambda one: (one[0].name == GENERATOR, bool(np.any(np.asarray(one[0].law[1]) > 0))))
    told: dict[int, tuple[frozenset[str], frozenset[str]]] = {}
    if len(shorts) == 0:
        return told
    patterns, which = np.unique(np.stack([where for _, where in shorts], axis=1), axis=0, return_inverse=True)
    for k, pattern in enumerate(patterns):
        here = which.ravel() == k
        place = at_index(here) if found.units > 1 else ""
        idle, untold = _closing([rod for (rod, _), one in zip(shorts, pattern, strict=True) if one], found, place)
        if idle:
            for unit in np.flatnonzero(here):
                _refuse_supply(found, rods, idle | untold, int(unit))
                told[int(unit)] = idle, untold
    return told


def _closing(shorts: list[Branch], found: Elements, place: str) -> tuple[frozenset[str], frozenset[str]]:
    """Return the shorts that close a ring, and all that lie in one."""
    ways: dict[str, list[tuple[str, str]]] = defaultdict(list)
    every: dict[str, list[tuple[str, str]]] = defaultdict(list)  # coils, too
    idle, untold = set(), set()
    for rod in shorts:
        first, second = (found.joints.root(net)[0] for net in rod.nets)
        coil = bool(np.any(np.asarray(rod.law[1]) > 0))
        path, ring = _path(ways, first, second), _path(every, first, second)
        if rod.name == GENERATOR:
            if ring is not None:
                raise ValueError(
                    f"resistance_generator must be above 0 where nothing but {', '.join(ring) or 'a link'} lies across the "
                    f"generator, got 0 Ω{place}"
                )
        elif path is not None:
            idle.add(rod.name)
            untold |= {rod.name, *path}
        elif ring is not None:
            raise ValueError(
                f"{rod.name} closes a ring of coils without resistance ({', '.join(sorted([rod.name, *ring]))}): nothing says "
                f"how they share a current at rest; write the resistance of its winding as a resistor in series{place}"
            )
        else:
            for table in (every,) if coil else (every, ways):
                table[first].append((second, rod.name))
                table[second].append((first, rod.name))
    return frozenset(idle), frozenset(untold)


def _path(ways: dict[str, list[tuple[str, str]]], first: str, second: str) -> list[str] | None:
    """Return the names between two nets, None where they are not connected."""
    left: list[tuple[str, list[str]]] = [(first, [])]
    seen = {first}
    while left:
        net, names = left.pop()
        if net == second:
            return names
        for other, name in ways[net]:
            if other not in seen:
                seen.add(other)
                left.append((other, [*names, name]))
    return None


def _refuse_supply(found: Elements, rods: Sequence[Branch], ring: frozenset[str], unit: int) -> None:
    """Refuse a ring of shorts whose volts do not add up to nothing: it shorts the supply."""
    ends: dict[str, list[tuple[str, float, str]]] = defaultdict(list)
    for rod in rods:
        if rod.name in ring:
            (first, up), (second, lift) = (found.joints.root(net) for net in rod.nets)
            step = float(np.broadcast_to(np.asarray(up - lift, float), (found.units,))[unit])
            ends[first].append((second, step, rod.name))  # the second's root stands so far above the first's
            ends[second].append((first, -step, rod.name))
    stands: dict[str, float] = {}
    for net in ends:
        if net in stands:
            continue
        stands[net], left = 0.0, [net]
        while left:
            here = left.pop()
            for other, step, name in ends[here]:
                if other not in stands:
                    stands[other] = stands[here] + step
                    left.append(other)
                elif abs(stands[other] - stands[here] - step) > 1e-9:
                    place = at_index(np.arange(found.units) == unit) if found.units > 1 else ""
                    raise ValueError(f"{name} shorts the supply{place}")
