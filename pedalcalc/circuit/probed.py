"""A board that is solved already, once more with a meter on one of its nets.

A meter of G siemens from a net to ground adds one number to the slopes, so that a step from the board at rest costs no
new matrix. With z = J^-1 e, what one ampere into the net moves, and V the volts that the net had (Sherman and Morrison)::

    v = v0 - z G V/(1 + G z_net)

That is the answer wherever the laws are straight over the step; Newton's steps go on from there, each unit from its own
answer. Where an op-amp comes to a limit on the way, one unit leads and most others fall as far as it does; the meter is
let on by degrees for the leader and for the rest. A net that nothing but the meter holds is solved with the meter as one more
resistor. Source: CHUA-LIN for Newton's steps and for
sources that rise by degrees; DERIVED, the first step.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit import _newton, _pumped, _ways
from pedalcalc.circuit._assembly import system_of
from pedalcalc.circuit._predictable import nets_unpredictable
from pedalcalc.circuit._system import System
from pedalcalc.circuit.elements import Branch, of_units
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.operating import told

Array = NDArray[np.float64]

#: Newton's steps where slopes may do, and where another unit lends its way.
FEW, STEPS = 8, 20
#: How many degrees at most, and the smallest share of the meter that is tried.
DEGREES, LEAST = 60, 1e-4


def probed(system: System, solved: _newton.Solved, net: str, ohms: float) -> tuple[Array, Any]:
    """Return the volts of a net in every unit with a meter on it, NaN where nothing can be told, and which were solved."""
    root, above = system.elements.joints.root(net)
    if root == GROUND:
        return system.volts(solved.voltages, net), solved.good
    if system.pieces:
        volts, good = np.full(len(solved.good), np.nan), np.array(solved.good)
        hung = [units for units, own, _ in _newton.pieces(system, solved) if _hangs(own, root)]
        if hung:
            at = np.concatenate(hung)
            volts[at], good[at] = (one[at] for one in _held(system, net, ohms))
        for units, own, some in _newton.pieces(system, solved):
            if not _hangs(own, root):
                volts[units], good[units] = probed(own, some, net, ohms)
        return volts, good
    if _hangs(system, root):
        volts, good = _held(system, net, ohms)
        return system.mine(volts), system.mine(good)
    above = system.mine(np.atleast_1d(np.asarray(above, float)))
    copies = enumerate(_pumped.SHARES) if root in system.moves else [(0, 1.0)]
    places, shares = zip(*((system.at[root, copy], share) for copy, share in copies), strict=True)
    meter = _Meter(np.array(places), np.array(shares) / ohms, above)
    seen = _without_rest(system, solved, meter)
    volts = system.volts(seen.voltages, net)
    hit = nets_unpredictable(meter.on(system, np.ones(1)), seen).get(net)
    return (volts if hit is None else np.where(hit, np.nan, volts)), seen.good


def _hangs(system: System, root: str) -> bool:
    """Tell whether nothing but insulation holds a net."""
    return (root, 0) not in system.at or root in system.floating


def _held(system: System, net: str, ohms: float) -> tuple[Array, Any]:
    """Return the volts of a net that hangs on nothing but the meter, and which units were solved: equations of their own."""
    found = system.elements
    meter = Branch("meter", "meter", (net, GROUND), np.asarray(ohms, float))
    held = replace(found, conductances=[*found.conductances, meter])
    whole = system_of(held)
    solved = _ways.solve(whole)
    volts = told(held, whole, solved)["voltages"][net]
    return np.array(np.broadcast_to(volts, (len(solved.good),))), solved.good


class _Meter:
    """Conductances (places,) from the places of one net to ground, and the volts of the net above them (1 or units,)."""

    def __init__(self, at: Any, siemens: Array, above: Array) -> None:
        self.at, self.siemens, self.above = at, siemens, above

    def take(self, units: Any) -> _Meter:
        return _Meter(self.at, self.siemens, of_units(self.above, units))

    def on(self, system: System, share: Array) -> System:
        """Return the equations with a share (1 or units,) of the meter in them."""
        flow = share[:, None] * self.siemens
        pushed = self.above[:, None] * flow

        def wide(table: Array, count: int) -> Array:
            return np.repeat(table, count, axis=0) if count > len(table) else table.copy()

        matrix, driven = wide(system.matrix, len(flow)), wide(system.driven, len(pushed))
        matrix[:, self.at, self.at] += flow
        driven[:, self.at] -= pushed
        return replace(system, matrix=matrix, driven=driven)

    def falls(self, voltages: Array, jacobian: Array, more: Array) -> Array:
        """Return by how much every place falls (units, places) where laws are straight, `more` of the meter let on."""
        count = len(self.at)
        push = np.zeros((*jacobian.shape[:2], count))
        push[:, self.at, range(count)] = 1.0
        moved, _ = _newton.solve_each(jacobian, push)
        flow = more[:, None] * self.siemens
        amps, _ = _newton.solve_each(
            np.eye(count) + flow[:, :, None] * moved[:, self.at], flow * (voltages[:, self.at] + self.above[:, None])
        )
        step = np.matmul(moved, amps[:, :, None])[:, :, 0]
        return np.asarray(np.where(np.isfinite(step), step, 0.0))


def _without_rest(system: System, solved: _newton.Solved, meter: _Meter) -> _newton.Solved:
    """Return where every unit goes, by the places that laws or the meter touch: the others follow these in proportion."""
    split = system.split(meter.at)
    reduced = None if split is None else system.reduced(split)
    if split is None or reduced is None or not np.all(reduced.sign > 0):
        return _followed(system, solved, meter)
    few = replace(solved, voltages=solved.voltages[:, split.kept])
    inner = _Meter(np.searchsorted(split.kept, meter.at), meter.siemens, meter.above)
    seen = _followed(reduced.system, few, inner)
    return replace(seen, voltages=reduced.expand(seen.voltages, np.arange(len(seen.good))))


def _followed(system: System, solved: _newton.Solved, meter: _Meter) -> _newton.Solved:
    """Return where every unit goes: by its slopes, as far as another unit went, or by degrees; at last as any board."""
    found = solved.take(np.arange(len(solved.good)))
    found.good[:] = False
    left = np.flatnonzero(solved.good)
    full = np.ones(len(found.good))
    some = system if len(left) == len(full) else system.take(left)
    falls = meter.take(left).falls(solved.voltages[left], _newton.jacobian(some, solved.voltages[left]), full[left])
    left = _stepped(system, solved, meter, found, left, falls, FEW)
    if len(left) > 1:
        first, left = left[:1], left[1:]
        _by_degrees(system, solved, meter, found, first)
        falls = (solved.voltages - found.voltages)[first, :-1]
        left = _stepped(system, solved, meter, found, left, falls, STEPS) if found.good[first[0]] else left
    _by_degrees(system, solved, meter, found, left)
    left = np.flatnonzero(~found.good)
    if len(left):
        whole = meter.take(left).on(system.take(left), full[left])
        again = _ways.solve(whole, solved.voltages[left], units=len(left))
        _take_over(found, left, again.voltages, again.good, again.sign)
    return found


def _stepped(
    system: System, solved: _newton.Solved, meter: _Meter, found: _newton.Solved, left: Any, falls: Array, steps: int
) -> Any:
    """Take Newton's steps with the whole meter on from where units stood, less `falls`; return the units still left."""
    if not len(left):
        return left
    start = solved.voltages[left]
    start[:, :-1] -= falls
    whole = meter.take(left).on(system.take(left), np.ones(len(left)))
    _take_over(found, left, *_newton.newton(whole, start, steps=steps, wide=False))
    return left[~found.good[left]]


def _by_degrees(system: System, solved: _newton.Solved, meter: _Meter, found: _newton.Solved, units: Any) -> None:
    """Let the meter on by degrees, each unit at its own pace."""
    at_hand = solved.take(units)
    reached, step = np.zeros(len(units)), np.full(len(units), 0.25)
    for _ in range(DEGREES):
        left = np.flatnonzero(at_hand.good & (reached < 1.0) & (step > LEAST))
        if not len(left):
            break
        aim = np.minimum(1.0, reached[left] + step[left])
        some = meter.take(units[left])
        start = at_hand.voltages[left]
        own = system.take(units[left])
        slopes = _newton.jacobian(some.on(own, reached[left]), start)
        start[:, :-1] -= some.falls(start, slopes, aim - reached[left])
        voltages, fits, sign = _newton.newton(some.on(own, aim), start, steps=FEW, wide=False)
        fits &= sign > 0
        at = left[fits]
        at_hand.voltages[at], at_hand.sign[at], reached[at] = voltages[fits], sign[fits], aim[fits]
        step[at] *= 2.0
        step[left[~fits]] /= 4.0
    _take_over(found, units, at_hand.voltages, reached == 1.0, at_hand.sign)


def _take_over(found: _newton.Solved, units: Any, voltages: Array, good: Any, sign: Array) -> None:
    """Write down what was solved and is stable, by the sign of its determinant."""
    kept = good & (sign > 0)
    at = units[kept]
    found.voltages[at], found.good[at], found.sign[at] = voltages[kept], True, 1.0
