"""How much of the output each part makes by leaving its straight line: which of those that clip are heard.

With every law split into its straight line at rest and what it departs from that, the departures are currents of their own
in a linear circuit. What each of them brings at the output, step by step as the board itself was followed, adds up to
all by which the output departs from that of small signals: the split is exact. Behind an op-amp's inputs a rectifier may
depart as far as it likes, and nothing comes of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit._newton import jacobian
from pedalcalc.circuit._system import System
from pedalcalc.circuit._tanks import Tanks

Array = NDArray[np.float64]


def shares_heard(
    system: System,
    tanks: Tanks,
    left: Mapping[str, Any],
    time: Array,
    voltages: Array,
    given: Array,
    drive: int,
    net_out: str,
) -> dict[str, Array]:
    """Return for each part that left its region the share of the output's swing that its departure makes, by unit.

    `voltages` are those of all places (units, instants, n + 1), the first at rest. The swing is the larger of what comes out
    and what would with all laws straight. 0 in units where a part stayed; NaN where nothing can be told.
    """
    units, n = len(voltages), system.size
    found = {name: np.zeros(units) for name in left}
    pairs = [(name, int(unit)) for name, at in left.items() for unit in np.flatnonzero(np.isfinite(at))]
    if not pairs:
        return found
    involved = sorted({unit for _, unit in pairs})
    of = np.array([unit for _, unit in pairs] + involved)  # behind the departures, what the generator alone brings
    pushes = [
        (column, *one) for column, (name, unit) in enumerate(pairs) for one in _departed(system, name, unit, voltages)
    ]
    pushes += [(len(pairs) + k, np.array([drive]), given[unit][:, None]) for k, unit in enumerate(involved)]
    try:
        moved = _followed(system, tanks, of, time, voltages[:, 0], pushes)
    except np.linalg.LinAlgError:
        return {name: np.where(np.isfinite(left[name]), np.nan, 0.0) for name in left}
    flat = system.volts(np.zeros((1, n + 1)), net_out)
    brought = np.abs(system.volts(moved.reshape(-1, n + 1), net_out) - flat).reshape(moved.shape[:2]).max(axis=1)
    out = system.volts(voltages.reshape(-1, n + 1), net_out).reshape(voltages.shape[:2])
    swing = np.abs(out - out[:, :1]).max(axis=1)
    swing[involved] = np.maximum(swing[involved], brought[len(pairs) :])
    for (name, unit), volts in zip(pairs, brought, strict=False):
        found[name][unit] = volts / swing[unit] if volts > 0 else volts
    return found


def _departed(system: System, name: str, unit: int, voltages: Array) -> list[tuple[Any, Array]]:
    """Return the places of a part's terminals, and the currents (instants, terminals) by which it departs from its line."""
    found = []
    for group in system.groups:
        for k in (k for k, other in enumerate(group.names) if other == name):
            one = group.only([k]).take(np.array([unit]))
            volts = one.volts(voltages[unit], 1.0)
            flows, _ = one.branch(volts, None)
            still, slopes = one.branch(volts[:1], None)
            straight = still + np.einsum("abk,tbk->tak", slopes[0], volts - volts[:1])
            found.append((one.at[:, 0], ((flows - straight) * one.weight)[:, :, 0]))
    return found


def _followed(
    system: System, tanks: Tanks, of: Any, time: Array, rest: Array, pushes: list[tuple[int, Any, Array]]
) -> Array:
    """Return what currents out of places move in the linear circuit, (columns, instants, n + 1); `of` is each one's unit."""
    n, count = system.size, len(of)
    alike = system.units == 1 and bool(np.all(rest == rest[:1]))
    known = rest[:1] if alike else rest
    slopes = jacobian(system, known)
    static = slopes if len(slopes) == 1 else slopes[of]
    stores = tanks.straight(of)
    moved = np.zeros((count, len(time), n + 1))
    taken: tuple[float, float] | None = None
    inverse: Any = None
    for k in range(1, len(time)):
        step, share = float(time[k] - time[k - 1]), 1.0 if k == 1 else 0.5
        matrix, siemens = stores.step(system, step, share)
        if (step, share) != taken:
            taken, inverse = (step, share), np.linalg.inv(static + matrix)
        right = np.zeros((count, n + 1))
        right[:, :n], source = stores.pushes(system, step, share)
        for column, places, amps in pushes:
            np.subtract.at(right[column], places, amps[k])
        moved[:, k, :n] = right[:, :n] @ inverse[0].T if len(inverse) == 1 else (inverse @ right[:, :n, None])[:, :, 0]
        stores.follow(moved[:, k], siemens, source, step, share)
    return moved
