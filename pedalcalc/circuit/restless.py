"""Which nets of a board swing by themselves: an oscillator's, or those about an output that comes back the wrong way round.

Where a pole s grows the board leaves its operating point along the vector x of (G + s E) x = 0 (see `_pencil`), and only nets
that have a share in it. What a meter shows on them is neither the operating point nor anything else that stands still. DERIVED.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc._refusal import Unsolved
from pedalcalc.circuit import _newton, _pencil
from pedalcalc.circuit._system import System
from pedalcalc.circuit.elements import Elements
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.signals import linearised

#: Share of the largest swing from which a net swings, too: a rail behind its filter does not.
SHARE = 0.02


def swinging(found: Elements, system: System, solved: _newton.Solved) -> frozenset[str]:
    """Return the nets of a board of one unit that do not stay where its equations balance."""
    _, system, solved = next(_newton.pieces(system, solved))
    signal = linearised(found, system, solved, GROUND, GROUND)
    pencil = _pencil.pencil_of(signal, 0) if signal.size else None
    if pencil is None or not pencil.factor.shape[1]:
        return frozenset()
    try:
        values: Any = _pencil.poles(pencil).values
    except Unsolved:  # some net hangs on nothing: nothing can be told
        return frozenset()
    at = {
        net: system.at[found.joints.root(net)[0], 0]
        for net in found.nets
        if (found.joints.root(net)[0], 0) in system.at
    }
    swings: set[str] = set()
    for s in values[_pencil.grows(values)]:
        vector = np.abs(np.linalg.svd(pencil.static + s * pencil.moving)[2][-1])
        most = max((vector[place] for place in at.values()), default=0.0)
        swings |= {net for net, place in at.items() if vector[place] >= SHARE * most > 0}
    return frozenset(swings)
