"""How a board's branches become the equations of `_system`: the linear part, the pump's copies, the laws' groups."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit import _apart, _groups, _outputs, _pumped
from pedalcalc.circuit._reach import flies, reached, root_of
from pedalcalc.circuit._scatter import contributions
from pedalcalc.circuit._system import Linear, System
from pedalcalc.circuit.elements import LEAST, Branch, Elements
from pedalcalc.circuit.joints import GROUND
from pedalcalc.devices import Mosfet, OpAmp
from pedalcalc.laws import amplifiers, junctions, regulators, transistors
from pedalcalc.parts import NOT_CONNECTED

Array = NDArray[np.float64]


def system_of(found: Elements, temperature: float = 300.0) -> System:
    """Return the equations of a board's branches."""
    moves = {net for net in _pumped.moving(found) if not net.endswith(NOT_CONNECTED)}
    reaches = reached(found, moves)
    nets = frozenset().union(*(reach.nets for reach in reaches))
    ripples = {net: units for net, units in _pumped.rippling(found, moves).items() if net in nets}
    most = dict.fromkeys(ripples, _pumped.COPIES + 1) | dict.fromkeys(moves, _pumped.COPIES)
    copies: Callable[[str], range] = lambda root: range(most.get(root, 1))
    order = [(root, k) for root in sorted(nets) for k in copies(root)]
    rods = tuple(
        one
        for one in found.rods
        if all(root_of(found, net) in nets | {GROUND} for net in one.nets)
        and not _pumped.branch_moves(one, found, moves)
    )
    at = {place: k for k, place in enumerate(order)}
    n = len(order) + len(rods) + len(ripples)
    builder = _Builder(found, moves, ripples, at, n)
    t = np.asarray(temperature, float)
    _linear(builder, found)
    _pumps(builder, found)
    for k, one in enumerate(rods):
        builder.rod(one, len(order) + k)
    for k, root in enumerate(sorted(ripples)):
        builder.ripple(root, len(order) + len(rods) + k)
    groups = tuple(_grouped(builder, found, t))
    linear, matrix, driven = builder.finish()
    system = System(
        tuple(order),
        at,
        rods,
        matrix,
        driven,
        groups,
        linear,
        tuple(builder.flying),
        frozenset.intersection(*(reach.insulated for reach in reaches)),
        frozenset(moves),
        found,
        contributions(groups, n),
    )
    return replace(system, pieces=_apart.pieces_of(system, reaches))


class _Builder:
    """Collects the linear part; places that float are left out with what touches them."""

    def __init__(
        self, found: Elements, moves: set[str], ripples: dict[str, Any], at: dict[tuple[str, int], int], n: int
    ) -> None:
        self.found, self.moves, self.ripples, self.at, self.n = found, moves, ripples, at, n
        self.rows: list[tuple[str, tuple[str, str], int, int, Any, Any, float]] = []
        self.extra: list[tuple[int, int, Any]] = []
        self.pushed: list[tuple[int, Any]] = []
        self.flying: list[tuple[Branch, Any, Any]] = []

    def place(self, net: str, copy: int) -> tuple[int | None, Any]:
        """Return the place of a net in a copy, and the volts of the net above it."""
        root, above = self.found.joints.root(net)
        if root == GROUND:
            return self.n, above
        return self.at.get((root, copy if root in self.moves else copy + 1 if root in self.ripples else 0)), above

    def copies(self, nets: tuple[str, ...], *, ripples: bool = False) -> list[tuple[int, float]]:
        """Return the copies that a branch needs, with the share of time of each; with `ripples` at nets that ripple too."""
        roots = {root_of(self.found, net) for net in nets}
        if roots & self.moves or (ripples and roots & self.ripples.keys()):
            return list(enumerate(_pumped.SHARES))
        return [(_pumped.REST, 1.0)]

    def resistor(self, name: str, nets: tuple[str, str], siemens: Any, copies: list[tuple[int, float]]) -> None:
        for copy, weight in copies:
            (a, above_a), (b, above_b) = self.place(nets[0], copy), self.place(nets[1], copy)
            if a is not None and b is not None:
                self.rows.append((name, nets, a, b, above_a - above_b, siemens, weight))

    def rod(self, one: Branch, place: int) -> None:
        """Add a branch whose current is unknown: V1 - V2 = R I."""
        ohms, _ = one.law
        (a, above_a), (b, above_b) = (self.place(net, _pumped.REST) for net in one.nets)
        assert a is not None
        assert b is not None
        infinite = np.isinf(np.asarray(ohms, float))
        scale = np.where(infinite, 0.0, 1.0)
        self.extra += [(a, place, 1.0), (b, place, -1.0), (place, a, -scale), (place, b, scale)]
        self.extra.append((place, place, np.where(infinite, 1.0, ohms)))
        self.pushed.append((place, scale * (above_a - above_b)))

    def ripple(self, root: str, place: int) -> None:
        """Add the current from the copies of a net that ripples to its mean: where that stands is their mean.

        In units in which the net is without ripple each copy is tied there.
        """
        mean = self.at[root, 0]
        self.extra += [(mean, place, -1.0), (place, mean, 1.0)]
        for copy, share in enumerate(_pumped.SHARES):
            at = self.at[root, copy + 1]
            self.extra += [(at, place, share), (place, at, -share)]
            if not np.all(self.ripples[root]):
                tied = np.where(self.ripples[root], 0.0, share * _pumped.TIED)
                self.extra += [(at, at, tied), (at, mean, -tied)]

    def carries(self, one: Branch, seconds: Any) -> tuple[Any, Any]:
        """Add what a capacitor carries from copy to copy; return the places of its ends and its matrix."""
        flow = _pumped.carried(one.law[0], one.law[2], seconds) * _pumped.SHARES[:, None]
        ends = [[self.place(net, copy)[0] for copy in range(_pumped.COPIES)] for net in one.nets]
        for row in range(_pumped.COPIES):
            for column in range(_pumped.COPIES):
                for k, sign in ((0, 1.0), (1, -1.0)):
                    for j, other in ((0, 1.0), (1, -1.0)):
                        a, b = ends[k][row], ends[j][column]
                        if a is not None and b is not None:
                            self.extra.append((a, b, sign * other * flow[:, row, column]))
        return np.array([[self.n if at is None else at for at in end] for end in ends]), flow

    def finish(self) -> tuple[Linear, Any, Any]:
        n = self.n
        table = Linear(
            tuple(row[0] for row in self.rows),
            tuple(row[1] for row in self.rows),
            np.array([row[2] for row in self.rows], int),
            np.array([row[3] for row in self.rows], int),
            _groups.stacked([row[4] for row in self.rows]) if self.rows else np.zeros((1, 0)),
            _groups.stacked([row[5] for row in self.rows]) if self.rows else np.zeros((1, 0)),
            np.array([row[6] for row in self.rows]),
        )
        flow = table.siemens * table.weight
        push = flow * table.above
        units = max([len(flow)] + [np.size(value) for _, _, value in self.extra])
        matrix = np.zeros((units, n + 1, n + 1))
        driven = np.zeros((max(len(push), *[np.size(value) for _, value in self.pushed], 1), n + 1))
        for k in range(len(self.rows)):
            a, b = table.first[k], table.second[k]
            matrix[:, a, a] += flow[:, k]
            matrix[:, b, b] += flow[:, k]
            matrix[:, a, b] -= flow[:, k]
            matrix[:, b, a] -= flow[:, k]
            driven[:, a] -= push[:, k]
            driven[:, b] += push[:, k]
        for a, b, value in self.extra:
            matrix[:, a, b] += np.asarray(value)
        for a, value in self.pushed:
            driven[:, a] += np.asarray(value)
        return table, np.ascontiguousarray(matrix[:, :n, :n]), np.ascontiguousarray(driven[:, :n])


def _linear(builder: _Builder, found: Elements) -> None:
    for one in found.rods:  # at a net that moves, their currents are no unknowns: each of its copies has one
        if _pumped.branch_moves(one, found, builder.moves):
            ohms, henries = one.law
            if np.any(np.asarray(henries) > 0):
                raise ValueError(f"{one.name}: a coil at a net that moves with a charge pump cannot be followed")
            nets = (one.nets[0], one.nets[1])
            builder.resistor(one.name, nets, 1 / np.maximum(ohms, LEAST), builder.copies(nets))
    for one in found.conductances:
        ohms = np.asarray(one.law, float)
        nets = (one.nets[0], one.nets[1])
        builder.resistor(one.name, nets, 1 / ohms, builder.copies(nets, ripples=True))
    for one in found.capacitors:
        nets = (one.nets[0], one.nets[1])
        if np.any(one.law[3] > 0):
            builder.resistor(f"{one.name} leakage", nets, one.law[3], builder.copies(nets))


def _pumps(builder: _Builder, found: Elements) -> None:
    """Add the switches of each converter in their half periods, and the capacitors that fly with it."""
    halves = list(enumerate(_pumped.SHARES))
    for pump in found.pumps:
        supply, ground, plus, minus, output = pump.nets
        siemens = 1 / np.asarray(pump.law[0], float)
        for first, second, half in (
            (plus, supply, halves[: _pumped.HALF]),
            (minus, ground, halves[: _pumped.HALF]),
            (plus, ground, halves[_pumped.HALF :]),
            (minus, output, halves[_pumped.HALF :]),
        ):
            if not (first.endswith(NOT_CONNECTED) or second.endswith(NOT_CONNECTED)):
                builder.resistor(pump.name, (first, second), siemens, half)
    if not found.pumps:
        return
    seconds = found.pumps[0].law[1]
    for one in found.capacitors:
        roots = {root_of(found, net) for net in one.nets}
        if flies(one, found, builder.moves) or (len(roots) > 1 and roots & builder.ripples.keys()):
            builder.flying.append((one, *builder.carries(one, seconds)))


def _grouped(builder: _Builder, found: Elements, t: Array) -> Iterator[_groups.Group]:
    """Yield the laws' groups; parts of one law and form stand together."""
    sorted_out: dict[tuple[Any, ...], list[tuple[str, tuple[str, ...], Any]]] = defaultdict(list)
    rippled = {one.part for one, _ in _pumped.handing_on(found)}

    def put(kind: Any, name: str, nets: tuple[str, ...], law: Any, form: Any = "") -> None:
        sorted_out[kind, form].append((name, nets, law))

    def junction(name: str, nets: tuple[str, ...], law: junctions.Figures) -> None:
        put(_groups.Junctions, name, nets, law, (law.form, law.breakdown is None))

    for one in found.junctions:
        junction(one.name, one.nets, _groups.junction_figures(one.law, t))
    for one in found.bipolars:
        law: Any = transistors.bipolar_figures(one.law, t)
        breakdown = np.asarray(one.law.voltage_base_emitter_breakdown, float)
        breakdown = np.where(np.isnan(breakdown), np.inf, breakdown)
        put(_groups.Bipolars, one.name, one.nets, (law, breakdown), law.junction.form)
    for one in found.channels:
        gate, drain, source = one.nets
        put(_groups.Channels, one.name, one.nets, transistors.channel_figures(one.law))
        if np.all(np.isnan(np.asarray(one.law.voltage_forward, float))):
            continue
        law = junctions.figures(one.law, t)
        if isinstance(one.law, Mosfet):
            ends = (source, drain) if one.law.polarity == "n" else (drain, source)
            junction(f"{one.name} body diode", ends, law)
        else:
            for end, net in (("source", source), ("drain", drain)):
                ends = (gate, net) if one.law.polarity == "n" else (net, gate)
                junction(f"{one.name} gate to {end}", ends, law)
    for one in found.couplers:
        law = _groups.coupler_figures(one.law, t)
        put(_groups.Couplers, one.name, one.nets, law, law[0].form)
    for one in found.consumers:
        put(_groups.Consumers, one.name, one.nets, tuple(np.asarray(part, float) for part in one.law))
    for one in found.regulators:
        put(_outputs.Regulators, one.name, one.nets, regulators.regulator_figures(one.law))
        into, ground, out = one.nets
        ways = [(out, into, "output to input")]
        if np.all(np.asarray(one.law.current_load_min) == 0):  # an adjustable type has no pin on its substrate
            ways += [(ground, into, "ground to input"), (ground, out, "ground to output")]
        for anode, cathode, told in ways:
            junction(
                f"{one.name} {told}", (anode, cathode)[:: 1 if one.law.polarity == "positive" else -1], _groups.clamp()
            )
    packages = set()
    for one in found.amplifiers:
        record: OpAmp = one.law
        law = amplifiers.amplifier_figures(record)
        put(_outputs.Amplifiers, one.name, one.nets, (law, np.asarray(record.voltage_supply_min, float)))
        *_, output, top, bottom = one.nets
        if one.part not in packages:
            packages.add(one.part)
            junction(f"{one.name} substrate", (bottom, top), _groups.clamp())
        if record.output_diodes:
            junction(f"{one.name} output to positive rail", (output, top), _groups.clamp())
            junction(f"{one.name} negative rail to output", (bottom, output), _groups.clamp())
    for (kind, _), entries in sorted_out.items():
        names, wires, at, above, weight, figures = [], [], [], [], [], []
        for name, nets, law in entries:
            for copy, share in builder.copies(nets, ripples=name.split(" ")[0] in rippled):
                places = [builder.place(net, copy) for net in nets]
                if any(place is None for place, _ in places):
                    places = [(builder.n, 0.0 * up) if place is None else (place, up) for place, up in places]
                    if not kind.grounded:
                        continue
                names.append(name)
                wires.append(nets)
                at.append([place for place, _ in places])
                above.append([up for _, up in places])
                if kind is _outputs.Amplifiers:  # a source in the lead of the non-inverting input
                    above[-1][0] = above[-1][0] + law[0].offset
                weight.append(share)
                figures.append(law)
        if names:
            up = np.stack(np.broadcast_arrays(*(_groups.stacked([one[k] for one in above]) for k in range(len(at[0])))))
            places_of = np.array(at).T
            pinned = places_of == builder.n
            yield kind(tuple(names), tuple(wires), places_of, up, np.array(weight), pinned, _groups.stacked(figures))
