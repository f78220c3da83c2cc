"""What nobody can predict: op-amps whose inputs float or are beyond the range that their record knows, and what follows them."""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc.circuit import _newton
from pedalcalc.circuit._groups import Bipolars, Junctions
from pedalcalc.circuit._outputs import Amplifiers
from pedalcalc.circuit._scatter import stamp
from pedalcalc.circuit._system import System
from pedalcalc.circuit.joints import GROUND
from pedalcalc.laws.amplifiers import within_input_range

#: A net that an unpredictable output can move by more than this is not predictable itself [V].
MOVED = 0.1
#: Share of its slopes that a part which may block loses; what is left holds a net between two such parts.
LOST = 1 - 1e-9


def inputs_inside(system: System, solved: _newton.Solved) -> Any:
    """Return where (units, op-amps) both inputs are in the range that the record knows, and hang on something."""
    group = system.amplifiers
    if group is None:
        return np.ones((len(solved.voltages), 0), bool)
    volts = group.volts(solved.voltages, 1.0)
    inside = np.ones(volts.shape[::2], bool)
    records = {one.name: one.law for one in system.elements.amplifiers}
    law, _ = group.figures
    floating = system.floating
    for k, name in enumerate(group.names):
        plus, minus, _, top, bottom = (volts[:, j, k] for j in range(5))
        margins = law.margin_top[:, k], law.margin_bottom[:, k]
        inside[:, k] = within_input_range(plus, minus, top, bottom, *margins, records[name])
        for net in group.nets[k][:2]:
            root = system.elements.joints.root(net)[0]
            inside[:, k] &= root not in floating and (root == GROUND or (root, 0) in system.at)
    return inside


def nets_unpredictable(system: System, solved: _newton.Solved) -> dict[str, Any]:
    """Return which nets follow, in which units, an op-amp whose inputs are beyond its range or float."""
    group = system.amplifiers
    inside = inputs_inside(system, solved)
    if group is None or inside.all():
        return {}
    volts = group.volts(solved.voltages, 1.0)
    law, _ = group.figures
    n = system.size
    swing = np.maximum(volts[:, 3] - volts[:, 4], 0.0)[:, None, :]
    siemens = 1 / np.broadcast_to(law.resistance, inside.shape)
    slopes = _newton.jacobian(system, solved.voltages)
    size = _moved(system, solved, siemens, slopes) * swing
    hit = _followed(group, n, size > MOVED, ~inside)
    if (blocked := _unblocked(system, solved, slopes, (size * hit[:, None, :]).max(axis=2))) is not None:
        size = np.maximum(size, _moved(system, solved, siemens, blocked) * swing)
        hit = _followed(group, n, size > MOVED, hit)
    if (stopped := _stopped(system, solved, siemens, slopes, swing * hit[:, None, :])) is not None:
        size = np.maximum(size, stopped[:, :, None] * hit[:, None, :])
        hit = _followed(group, n, size > MOVED, hit)
    places = ((size > MOVED) & hit[:, None, :]).any(axis=2)
    wild = {}
    for net in system.elements.nets:
        where = system.where(net)
        # what hangs on insulation has no number of its own, and is told as that
        if where is not None and where[0] < n and system.elements.joints.root(net)[0] not in system.floating:
            wild[net] = places[:, where[0]]
    return wild


def _followed(group: Amplifiers, n: int, far: Any, hit: Any) -> Any:
    """Return which op-amps (units, op-amps) are wild: those that are, and those whose inputs follow the output of one."""
    hit = hit.copy()
    for _ in group.names:
        for k in range(len(group.names)):
            for place in group.at[:2, k]:
                if place < n:
                    hit[:, k] |= (far[:, place] & hit).any(axis=1)
    return hit


def _unblocked(system: System, solved: _newton.Solved, slopes: Any, size: Any) -> Any:
    """Return the slopes without the junctions that such moves (units, places) may block, None where they block none."""
    n, found = system.size, None
    reach = np.concatenate([size, np.zeros((len(size), 1))], axis=1)
    for group in system.groups:
        if not isinstance(group, Junctions):
            continue
        flows, own = group.branch(group.volts(solved.voltages, 1.0), None)
        across = np.maximum(reach[:, group.at[0]], reach[:, group.at[1]])
        blocks = (flows[:, 0] > 0) & (own[:, 0, 0] * across > flows[:, 0])
        if blocks.any():
            wide = np.zeros((len(slopes), n + 1, n + 1))
            stamp(wide, group.at, LOST * own * (group.weight * blocks)[:, None, None])
            found = (slopes if found is None else found) - wide[:, :n, :n]
    return found


def _stopped(system: System, solved: _newton.Solved, siemens: Any, slopes: Any, swing: Any) -> Any:
    """Return by how much places move (units, places) where transistors stop that such swings cut off, None where none is.

    A saturated one hardly moves for small signals, and moves by the whole supply where its base current ends.
    """
    n = system.size
    group, found, amps = system.amplifiers, None, np.zeros((len(slopes), n + 1))
    assert group is not None
    for each in system.groups:
        if not isinstance(each, Bipolars):
            continue
        if found is None:
            ways = _answers(system, solved, siemens, slopes)[:, :, 0]
            reach = np.concatenate([ways * swing, np.zeros((len(ways), 1, len(group.names)))], axis=1)
            found = slopes
        volts = each.volts(solved.voltages, 1.0)
        flows, own = each.branch(volts, None)
        base = np.abs((own[:, 0, :, :, None] * reach[:, each.at]).sum(axis=1)).max(axis=2)
        ends = (flows[:, 0] * (volts[:, 0] - volts[:, 2]) > 0) & (base > np.abs(flows[:, 0]))
        wide = np.zeros((len(slopes), n + 1, n + 1))
        stamp(wide, each.at, LOST * own * (each.weight * ends)[:, None, None])
        found = found - wide[:, :n, :n]
        for k in range(3):
            for part in range(each.at.shape[1]):
                amps[:, each.at[k, part]] += (flows[:, k] * each.weight * ends)[:, part]
    if found is None or not amps.any():
        return None
    return np.abs(_newton.solve_each(_passive(system, solved, siemens, found), amps[:, :n])[0])


def _moved(system: System, solved: _newton.Solved, siemens: Any, slopes: Any) -> Any:
    """Return by how much (units, places, op-amps) one volt behind each output resistance moves every place, gains at rest.

    What the output then gives is drawn from its positive rail, or spared the negative one: the larger move counts.
    """
    group = system.amplifiers
    assert group is not None
    ways = _answers(system, solved, siemens, slopes)
    count = len(group.names)
    outputs = np.concatenate([ways[:, :, 0], np.zeros((len(ways), 1, count))], axis=1)[:, group.at[2], range(count)]
    given = siemens * (1 - outputs)
    paid = ways[:, :, :1] + ways[:, :, 1:] * given[:, None, None]
    return np.maximum(np.abs(ways[:, :, 0]), np.abs(paid).max(axis=2))


def _answers(system: System, solved: _newton.Solved, siemens: Any, slopes: Any) -> Any:
    """Return how places move (units, places, 3, op-amps) with a volt behind each output, an ampere out of either rail."""
    group = system.amplifiers
    assert group is not None
    n, count = system.size, len(group.names)
    passive = _passive(system, solved, siemens, slopes)
    push = np.zeros((len(passive), n + 1, 3, count))
    for k in range(count):
        push[:, group.at[2, k], 0, k] += siemens[:, k]
        for row in (3, 4):
            push[:, group.at[row, k], row - 2, k] -= 1.0
    found, _ = _newton.solve_each(passive, push[:, :n].reshape(len(passive), n, 3 * count))
    return found.reshape(len(passive), n, 3, count)


def _passive(system: System, solved: _newton.Solved, siemens: Any, slopes: Any) -> Any:
    """Return the slopes with nothing left of op-amps but the resistance of their outputs."""
    group = system.amplifiers
    assert group is not None
    n = system.size
    flows, own = group.branch(group.volts(solved.voltages, 1.0), None)
    gone = own.copy()  # gains, who pays, and a limit of current: what is put back is the output resistance alone
    gone[:, :, 2:] = 0.0
    gone[:, 2, 2] = own[:, 2, 2] - siemens
    for row, pays in ((3, flows[:, 2] < 0), (4, flows[:, 2] > 0)):
        gone[:, row, 2:] = -own[:, 2, 2:] * pays[:, None]
    wide = np.zeros((len(slopes), n + 1, n + 1))
    stamp(wide, group.at, gone * group.weight)
    return slopes - wide[:, :n, :n]
