"""What nobody can predict: op-amps whose inputs float or are beyond the range that their record knows, and what follows them."""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc.circuit import _newton
from pedalcalc.circuit._scatter import stamp
from pedalcalc.circuit._system import System
from pedalcalc.circuit.joints import GROUND
from pedalcalc.laws.amplifiers import within_input_range

#: A net that an unpredictable output can move by more than this is not predictable itself [V].
MOVED = 0.1


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
    # What one volt behind each output resistance does to every place, gains taken out of the equations.
    n = system.size
    passive = _newton.jacobian(system, solved.voltages)
    push = np.zeros((len(passive), n + 1, len(group.names)))
    _, own = group.branch(volts, None)
    gains = own * group.weight
    gains[:, :, 2:] = 0.0
    wide = np.zeros((len(passive), n + 1, n + 1))
    stamp(wide, group.at, gains)
    passive -= wide[:, :n, :n]
    for k in range(len(group.names)):
        push[:, group.at[2, k], k] += 1 / np.broadcast_to(law.resistance, inside.shape)[:, k]
    moved, _ = _newton.solve_each(passive, push[:, :n])
    swing = np.maximum(volts[:, 3] - volts[:, 4], 0.0)
    far: Any = np.abs(moved) * swing[:, None, :] > MOVED  # (units, places, amplifiers)
    wild = {}
    hit: Any = ~inside
    for _ in range(len(group.names)):  # an output that follows a wild one is wild too
        for k in range(len(group.names)):
            for j in range(2):
                place = group.at[j, k]
                if place < n:
                    hit[:, k] |= (far[:, place] & hit).any(axis=1)
    places = (far & hit[:, None, :]).any(axis=2)
    for net in system.elements.nets:
        where = system.where(net)
        if where is not None and where[0] < n:
            wild[net] = places[:, where[0]]
    return wild
