"""Small signals about an operating point: the slopes of all laws as one matrix, and the parts that answer to frequency.

::

    (G + sum of p y(s) q') v = right

G holds slopes and resistances (units, n, n). Three kinds of parts depend on frequency, each of rank one: a capacitor between
two places (also one within a transistor or diode whose record has it, as the sheet's, whatever the voltage), a coil at the place of its current, and an op-amp, whose gain acts through one pole at its gain-bandwidth product
over its open-loop gain. A pump's copies of its period stay as they are: every signal is slow beside the pump. The cell of a
coupler stays where steady light puts it. Generator and load are branches whose currents are unknowns, so that a
generator may be ideal and either may be lifted to look into the jack.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import numeric, words
from pedalcalc.board import Board
from pedalcalc.circuit import _groups, _newton, _outputs, _pumped, _ways
from pedalcalc.circuit._assembly import system_of
from pedalcalc.circuit._reach import flies
from pedalcalc.circuit._scatter import stamp
from pedalcalc.circuit._system import System
from pedalcalc.circuit.elements import GENERATOR, LOAD, Branch, Elements, elements_of, near
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.operating import all_solved
from pedalcalc.parts import NOT_CONNECTED

Array = NDArray[np.float64]

#: What drives a pedal and what follows it [Ω]: a guitar's pickup and its controls, the next pedal's input (common practice).
RESISTANCE_GENERATOR, RESISTANCE_LOAD = 10e3, 1e6
#: By these words, behind its name, a caution tells of an op-amp that passes nothing.
STANDS = " stands at a limit of its output with no signal and passes nothing"
_IN, _OUT = {"in", "input"}, {"out", "output"}


@dataclass(frozen=True, slots=True)
class Store:
    """A capacitor between two places, or a coil at the place of its current; `loss` and `series` are a capacitor's."""

    name: str
    first: int
    second: int
    size: Any  # (1 or units,), farads or henries
    loss: Any  # loss tangent that goes with the frequency
    series: Any  # ohms that do not

    def admittance(self, s: Any, lossy: bool = True) -> Any:
        """Return what stands in the matrix at complex frequencies (units, frequencies)."""
        size = self.size[:, None]
        if not lossy:
            return s * size
        return s * size / (1 + 1j * self.loss[:, None] + s * size * self.series[:, None])


@dataclass(frozen=True, slots=True)
class Gain:
    """An op-amp's gain: its inputs' difference drives currents into its output and rails, through one pole."""

    name: str
    plus: int
    minus: int
    rows: tuple[int, ...]
    slopes: Any  # (units, rows)
    time: Any  # (1 or units,), seconds of the pole
    resistance: float  # of the output, open loop; the least of all units


@dataclass(frozen=True, slots=True)
class Signal:
    """A board at its operating point, as a small signal finds it; the last place, `n`, is ground."""

    found: Elements
    system: System
    solved: _newton.Solved
    static: Array  # (units, n, n)
    stores: tuple[Store, ...]
    gains: tuple[Gain, ...]
    net_in: str
    net_out: str

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return int(self.static.shape[-1])

    @property
    def units(self) -> int:
        """Number of units at once."""
        return len(self.static)

    def rod(self, name: str) -> int | None:
        """Return the place of the current through generator or load, None where it is not there."""
        names = [one.name for one in self.system.rods]
        return len(self.system.places) + names.index(name) if name in names else None

    def lifted(self, name: str) -> Array:
        """Return the matrix with generator or load taken off, the operating point left where it is."""
        at = self.rod(name)
        if at is None:
            return self.static
        matrix = self.static.copy()
        matrix[:, at] = 0.0
        matrix[:, at, at] = 1.0
        return matrix

    def tells(self, net: str) -> bool:
        """Tell whether a net has a voltage at all."""
        root, _ = self.found.joints.root(net)
        return bool(root == GROUND or (root, 0) in self.system.at)

    def reads(self, net: str) -> Array:
        """Return the weights (n,) with which the places give the volts of a net; the mean where it moves with a pump."""
        root, _ = self.found.joints.root(net)
        weights = np.zeros(self.size)
        if root == GROUND:
            return weights
        if not self.tells(net):
            raise ValueError(f"the net {net!r} floats: no signal can be told there")
        if root in self.system.moves:
            for copy, share in enumerate(_pumped.SHARES):
                weights[self.system.at[root, copy]] = share
        else:
            weights[self.system.at[root, 0]] = 1.0
        return weights


@dataclass(frozen=True, slots=True)
class Signals:
    """Sets of units with equations of their own, as a small signal finds each; None where it has no voltage to start from."""

    units: int
    found: Elements
    parts: tuple[tuple[Any, Signal | None], ...]
    net_in: str
    net_out: str


class _Island(ValueError):
    """Nets that ideal capacitors alone hold."""


def signal_of(board: Board, **given: Any) -> Signal:
    """Solve a board between generator and load, and linearise it there; all its units have the same equations."""
    found = signals_of(board, **given)
    (_, signal), *others = found.parts
    if others:
        few = min(found.parts, key=lambda part: len(part[0]))[0]
        raise ValueError(f"values: other nets float in unit {few[0]} than in the rest; take such units apart")
    assert signal is not None
    return signal


def signals_of(
    board: Board,
    *,
    net_in: str,
    net_out: str,
    resistance_generator: Any,
    resistance_load: Any,
    values: Mapping[str, Any] | None,
    faults: Mapping[str, str] | None,
    bridges: Mapping[tuple[str, str], Any] | None,
) -> Signals:
    """Solve a board between generator and load, and linearise it there, each set of units with equations of their own."""
    found = elements_of(board, values=values, faults=faults, bridges=bridges)
    words("net_in", net_in)
    words("net_out", net_out)
    if not (net_in and net_out):
        first, last = jacks(board)
        net_in, net_out = net_in or first, net_out or last
    for name, net in (("net_in", net_in), ("net_out", net_out)):
        checked_net(name, net, found)
    generator = _ohms("resistance_generator", resistance_generator, infinity=False)
    load = _ohms("resistance_load", resistance_load, infinity=True)
    for name, ohms in (("resistance_generator", generator), ("resistance_load", load)):
        found.units = agreed(name, np.size(ohms), found.units)
    if found.joints.root(net_in)[0] == GROUND:
        raise ValueError(f"net_in: {net_in!r} is held by ground or a supply; no signal can be fed in there")
    found.rods.append(Branch(GENERATOR, GENERATOR, (net_in, GROUND), (generator, 0.0)))
    if not np.all(np.isinf(load)) and found.joints.root(net_out)[0] != GROUND:
        found.rods.append(Branch(LOAD, LOAD, (net_out, GROUND), (load, 0.0)))
    system = system_of(found)
    if found.joints.root(net_in)[0] in system.moves:
        raise ValueError(f"net_in: {net_in!r} moves with a charge pump; no signal can be fed in there")
    if found.joints.root(net_out)[0] in system.moves and found.rods[-1].name == LOAD:
        raise ValueError(
            f"net_out: {net_out!r} moves with a charge pump; nothing can be loaded there: resistance_load inf"
        )
    solved = _ways.solve(system)
    all_solved(solved)
    parts: list[tuple[Any, Signal | None]] = []
    for units, own, some in _newton.pieces(system, solved):
        try:
            parts.append((units, linearised(found, own, some, net_in, net_out)))
        except _Island:
            if len(system.pieces) < 2:
                raise
            parts.append((units, None))
    return Signals(len(solved.good), found, tuple(parts), net_in, net_out)


def checked_net(name: str, net: str, found: Elements) -> None:
    """Refuse a net that is not on the board."""
    if not isinstance(net, str):
        raise TypeError(f"{name} must be the name of a net, not {net!r}")
    if net not in found.nets and net != GROUND:
        raise ValueError(f"{name}: there is no net {net!r}; {near(net, found.nets)}")


def agreed(name: str, count: int, units: int) -> int:
    """Return how many units there are, one more array with so many of them told."""
    if count > 1 and units not in (1, count):
        raise ValueError(f"{name} must be one for all, or one for each of {units} units, got {count}")
    return max(count, units)


def _ohms(name: str, value: Any, *, infinity: bool) -> Any:
    ohms = numeric(name, value, least=0, infinity=infinity)
    if ohms.ndim > 1 or np.isnan(ohms).any():
        raise ValueError(f"{name} must be one known number, or one for each unit, got {value!r}")
    return ohms[()]


def jacks(board: Board) -> tuple[str, str]:
    """Return the nets at the tips of input and output jack, told by the words of net and note."""
    tips = {
        one.part.reference: (pin.net, f"{one.part.note}")
        for one in board.parts
        if one.part.kind == "jack"
        for pin in one.pins
        if pin.role == "tip" and pin.net != NOT_CONNECTED
    }
    found: list[str] = []
    for what, wanted, other in (("net_in", _IN, _OUT), ("net_out", _OUT, _IN)):
        hits = [net for net, note in tips.values() if _says(net, wanted, other)]
        hits = hits or [net for net, note in tips.values() if _says(note, wanted, other)]
        if len(set(hits)) != 1:
            told = ", ".join(f"{name} at {net!r}" for name, (net, _) in tips.items()) or "no jack at all"
            raise ValueError(f"{what} must be named: the list has {told}, and nothing says which is meant")
        found.append(hits[0])
    return found[0], found[1]


def _says(text: str, wanted: set[str], other: set[str]) -> bool:
    words = set(re.findall(r"[a-z]+", text.casefold()))
    return bool(words & wanted) and not words & other


def linearised(found: Elements, system: System, solved: _newton.Solved, net_in: str, net_out: str) -> Signal:
    """Return the small-signal matrix and what depends on frequency."""
    n, units = system.size, len(solved.voltages)
    matrix = np.zeros((units, n + 1, n + 1))
    matrix[:, :n, :n] = system.matrix
    gains: list[Gain] = []
    for group in system.groups:
        _, slopes = group.branch(group.volts(solved.voltages, 1.0), None)
        slopes = slopes * group.weight
        if isinstance(group, _groups.Couplers):
            slopes[:, 2:, :2] = 0.0
        if isinstance(group, _outputs.Amplifiers):
            gains += _gains(found, system, group, slopes)
            slopes[:, 2:, :2] = 0.0
        stamp(matrix, group.at, slopes)
    return Signal(
        found, system, solved, matrix[:, :n, :n], tuple(_stores(found, system)), tuple(gains), net_in, net_out
    )


def _gains(found: Elements, system: System, group: _outputs.Amplifiers, slopes: Array) -> list[Gain]:
    records = {one.name: one.law for one in found.amplifiers}
    law, _ = group.figures
    gains = []
    for k, name in enumerate(group.names):
        speed, gain = (
            np.atleast_1d(system.mine(np.asarray(figure, float)))
            for figure in (records[name].gain_bandwidth, records[name].gain_open_loop)
        )
        time = np.where(np.isnan(speed) | np.isinf(speed), 0.0, gain / (2 * np.pi * speed))
        plus, minus, *rows = (int(place) for place in group.at[:, k])
        gains.append(
            Gain(name, plus, minus, tuple(rows), slopes[:, 2:, 0, k].copy(), time, float(law.resistance[:, k].min()))
        )
    return gains


def _stores(found: Elements, system: System) -> list[Store]:
    """Return capacitors between places at rest, and coils."""
    flying = {one.name for one, _, _ in system.flying if flies(one, found, system.moves)}
    stores, zero = [], np.zeros(1)
    for one in found.capacitors:
        farads, slow, _, _, beginning, base = (np.atleast_1d(system.mine(np.asarray(part, float))) for part in one.law)
        if one.name in flying or not np.any(farads > 0):
            continue
        ends = [place_of(system, net) for net in one.nets]
        if all(end is None for end in ends):  # beyond an open contact: nothing gets there
            continue
        if any(end is None for end in ends):
            _refuse_islands(one, found, system)
            continue
        if ends[0] != ends[1]:
            loss = 2 * np.pi * beginning * farads * (slow - base)
            stores.append(Store(one.name, int(ends[0] or 0), int(ends[1] or 0), farads, loss, base))
    for name, nets, farads in _within(found):
        ends = [place_of(system, net) for net in nets]
        roots = {found.joints.root(net)[0] for net in nets}
        if None not in ends and ends[0] != ends[1] and not roots & system.moves and not np.isnan(farads).any():
            stores.append(Store(name, int(ends[0] or 0), int(ends[1] or 0), system.mine(farads), zero, zero))
    for k, rod in enumerate(system.rods):
        if np.any(np.asarray(rod.law[1], float) > 0):
            place = len(system.places) + k
            stores.append(Store(rod.name, place, system.size, np.atleast_1d(np.asarray(rod.law[1], float)), zero, zero))
    return stores


#: Capacitances within a part, by the field of its record: which of its terminals they lie between, and what they are called.
_WITHIN = {
    "capacitance_base_collector": (0, 1, "base to collector"),
    "capacitance_base_emitter": (0, 2, "base to emitter"),
    "capacitance_gate_drain": (0, 1, "gate to drain"),
    "capacitance_gate_source": (0, 2, "gate to source"),
    "capacitance_junction": (0, 1, "junction"),
}


def _within(found: Elements) -> Iterator[tuple[str, tuple[str, str], Any]]:
    """Yield name, nets and farads of the capacitances of transistors and diodes whose records have them."""
    for one in (*found.bipolars, *found.channels, *found.junctions):
        for field, (first, second, told) in _WITHIN.items():
            if hasattr(one.law, field):
                nets = (one.nets[first], one.nets[second])
                yield f"{one.name} {told}", nets, np.atleast_1d(np.asarray(getattr(one.law, field), float))


def place_of(system: System, net: str) -> int | None:
    root, _ = system.elements.joints.root(net)
    return system.size if root == GROUND else system.at.get((root, 0))


def _refuse_islands(one: Branch, found: Elements, system: System) -> None:
    """Refuse a capacitor on nets that nothing but ideal capacitors hold; one with an end in the air is no matter."""
    for net in one.nets:
        if place_of(system, net) is not None:
            continue
        root = found.joints.root(net)[0]
        pins = [pin for other, pins in found.nets.items() if found.joints.root(other)[0] == root for pin in pins]
        if len(pins) > 1:
            raise _Island(
                f"{one.name}: the net {net!r} hangs on capacitors without any leakage and has no voltage of its own; "
                "give them the insulation of their kind"
            )
