"""What a board consists of for a solver: each part as branches between nets, under the board's conditions.

Contacts of switches, jacks and connectors, links, shorted parts and sources without resistance join nets; everything
else becomes one or several branches. A branch is named after its part (`R5`, `VR1 1 to 2`, `IC2 unit 1`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from pedalcalc import controls, devices, supply
from pedalcalc._arguments import table_of
from pedalcalc.board import BATTERY_USED, Board
from pedalcalc.catalogue import PinRole, ResolvedPart
from pedalcalc.circuit._given import checked
from pedalcalc.circuit.joints import GROUND, Joints
from pedalcalc.devices import Adaptor, Battery, Bjt, Capacitor, Converter, Coupler, Device, Jfet, Ldr, Mosfet, OpAmp
from pedalcalc.parts import NOT_CONNECTED, OTHER

#: Share of the leakage that makers promise at most which a capacitor in use really has (common practice: a tenth).
LEAKAGE_SHARE = 0.1
#: Below this a resistor keeps its current as unknown [Ω]: as a conductance it would drown what else meets at its nets.
LEAST = 1e-6
#: Branches of small signals that are no part of the board: what drives it, and what follows it.
GENERATOR, LOAD = "generator", "load"
FAULTS = ("open", "missing", "shorted", "reversed")
_CONTACTS = {"touches tip without a plug": "tip", "touches ring without a plug": "ring"}


@dataclass(frozen=True, slots=True)
class Branch:
    """One branch: its name, the part it belongs to, the nets of its terminals, and its law's figures."""

    name: str
    part: str
    nets: tuple[str, ...]
    law: Any


@dataclass(slots=True)
class Elements:
    """All branches of a board, by law, and what nets are joined."""

    joints: Joints = field(default_factory=Joints)
    metal: Joints = field(default_factory=Joints)  # the same without the sources
    nets: dict[str, list[str]] = field(default_factory=dict)  # net -> "part pin"
    conductances: list[Branch] = field(default_factory=list)  # law: ohms
    rods: list[Branch] = field(default_factory=list)  # law: (ohms, henries)
    capacitors: list[Branch] = field(
        default_factory=list
    )  # law: (farads, ohms in series, the same at tens of kilohertz, siemens of leakage, hertz of the first, ohms at any)
    junctions: list[Branch] = field(default_factory=list)  # law: record
    bipolars: list[Branch] = field(default_factory=list)
    channels: list[Branch] = field(default_factory=list)
    amplifiers: list[Branch] = field(default_factory=list)
    couplers: list[Branch] = field(default_factory=list)
    regulators: list[Branch] = field(default_factory=list)
    consumers: list[Branch] = field(default_factory=list)  # law: (amperes, volts from which they flow)
    pumps: list[Branch] = field(default_factory=list)  # law: (ohms of a switch, seconds of half a period)
    sources: list[Branch] = field(default_factory=list)  # law: (volts, ohms), as they stand in the circuit
    units: int = 1  # how many the arrays make

    def each(self) -> Iterator[Branch]:
        """Yield every branch."""
        for kind in (
            self.conductances, self.rods, self.capacitors, self.junctions, self.bipolars, self.channels,
            self.amplifiers, self.couplers, self.regulators, self.consumers, self.pumps,
        ):  # fmt: skip
            yield from kind


def elements_of(
    board: Board,
    *,
    values: Mapping[str, Any] | None = None,
    faults: Mapping[str, str] | None = None,
    bridges: Mapping[tuple[str, str], Any] | None = None,
) -> Elements:
    """Return the branches of a board.

    `values` puts numbers or specimens in the place of parts, `faults` breaks parts, `bridges` puts resistors from net
    to net.
    """
    given = board.by_reference("values", values, "values by reference", "supply")
    broken = board.by_reference("faults", faults, "words by reference")
    links = dict(table_of("bridges", bridges, "ohms by two nets"))
    for pair in links:
        if not (isinstance(pair, tuple) and len(pair) == 2 and all(isinstance(net, str) for net in pair)):
            raise TypeError(f"bridges must name two nets for each resistor, such as ('rail', 'out'), not {pair!r}")
    for name in board.unplugged:
        board.part(name)  # refuses what is not on the board
    given, links, units = checked(board, given, links)
    found = Elements(units=units)
    for resolved in board.parts:
        reference = resolved.part.reference
        _add(found, board, resolved, given.get(reference), broken.get(reference, ""))
    for (net, other), ohms in links.items():
        for name in (net, other):
            if name not in found.nets and name != GROUND:
                raise ValueError(f"bridges: there is no net {name!r}; {near(name, found.nets)}")
        _resistor(found, f"bridge from {net} to {other}", "", net, other, ohms)
    found.metal = deepcopy(found.joints)
    _feed(found, board, given.get("supply"), broken)
    return found


def of_units(figures: Any, units: Any) -> Any:
    """Return what some units have of figures that are one for all, or one for each."""
    own = np.asarray(figures)
    return own[units] if own.ndim and len(own) > 1 else figures


def near(name: str, nets: Mapping[str, Any]) -> str:
    import difflib

    near = difflib.get_close_matches(name, nets, n=3, cutoff=0.4)
    return f"near it are {', '.join(near)}" if near else f"there are {', '.join(sorted(nets))}"


def _add(found: Elements, board: Board, resolved: ResolvedPart, value: Any, fault: str) -> None:
    """Add the branches of one part."""
    part, pins = resolved.part, resolved.pins
    place = f"{part.place or 'the list'}, {part.reference}"
    if fault and fault not in FAULTS:
        raise ValueError(f"faults: {part.reference} must be one of {', '.join(FAULTS)}, got {fault!r}")
    for pin in pins:
        if pin.net != NOT_CONNECTED:
            found.nets.setdefault(pin.net, []).append(f"{part.reference} {pin.pin}")
    if len(pins) == 2 and pins[0].net == pins[1].net != NOT_CONNECTED:
        raise ValueError(
            f"{place}: both its pins are on the net {pins[0].net!r}, so it does nothing; correct one of them in the list"
        )
    if fault in ("open", "missing"):
        return
    if fault == "reversed":
        pins = _turned(pins)
    nets = [_own(pin.net, part.reference, pin.pin) for pin in pins]
    if fault == "shorted":
        ends = [net for pin, net in zip(pins, nets, strict=True) if pin.role not in ("gate", "base")]
        if len(ends) != 2 and part.kind not in ("potentiometer", "trimmer"):
            raise ValueError(f"faults: {part.reference} has more than two ends; say with `bridges` what is shorted")
        for net in ends[1:]:
            found.joints.join(net, ends[0], who=place)
        return
    by_role = _roles(pins, nets)
    record = value if isinstance(value, Device) else board.record(part.reference)
    kind = part.kind
    if kind in ("link", "socket", OTHER):
        if kind == "link":
            found.joints.join(nets[0], nets[1], who=place)
    elif kind in ("resistor", "photocell") and (not isinstance(record, Ldr) or not isinstance(value, Device | None)):
        _resistor(found, part.reference, part.reference, nets[0], nets[1], _number(value, part.value))
    elif kind == "inductor":
        found.rods.append(Branch(part.reference, part.reference, (nets[0], nets[1]), (0.0, _number(value, part.value))))
    elif kind in ("potentiometer", "trimmer"):
        _track(found, board, part.reference, nets, _number(value, part.value))
    elif isinstance(record, Capacitor):
        size = _own_size(value) if isinstance(value, Capacitor) else value
        _capacitor(found, part.reference, nets, record, _number(size, part.value))
    elif kind == "switch":
        state = "bypass" if board.bypassed else "effect"
        for role, net in by_role.items():
            pole = role.removesuffix(" common")
            if pole != role and f"{pole} {state}" in by_role:
                found.joints.join(net, by_role[f"{pole} {state}"], who=place)
    elif kind == "jack" or (kind == "connector" and "centre" in by_role):
        _contacts(found, board, part.reference, by_role)
    elif kind in ("connector", "battery"):
        return
    else:
        _device(found, part.reference, pins, nets, devices.typical(record))


def _own(net: str, reference: str, pin: str) -> str:
    """Return the net of a pin; one that is left open is a net of its own."""
    return f"{reference} {pin}, {NOT_CONNECTED}" if net == NOT_CONNECTED else net


def _roles(pins: tuple[PinRole, ...], nets: list[str]) -> dict[str, str]:
    named = {}
    for pin, net in zip(pins, nets, strict=True):
        named[f"{pin.unit} {pin.role}" if pin.unit else pin.role] = net
    return named


def _turned(pins: tuple[PinRole, ...]) -> tuple[PinRole, ...]:
    """Return a part turned round: two leads exchanged, three in the opposite order, a package by half a turn."""
    count = len(pins)
    nets = [pin.net for pin in pins]
    turned = nets[count // 2 :] + nets[: count // 2] if count > 3 else nets[::-1]
    return tuple(pin._replace(net=net) for pin, net in zip(pins, turned, strict=True))


def _number(given: Any, listed: float) -> Any:
    return listed if given is None else np.asarray(given, float)[()]


def _resistor(found: Elements, name: str, part: str, net: str, other: str, ohms: Any) -> None:
    """Add a resistor; a short joins its nets, and one that is a short in some units keeps its current as unknown."""
    size = np.asarray(ohms, float)
    if np.any(size < 0) or np.any(np.isnan(size)):
        raise ValueError(f"{name} must be at least 0 Ω and known, got {ohms!r}")
    if np.all(size == 0):
        found.joints.join(net, other, who=name)
    elif np.any(size < LEAST):
        found.rods.append(Branch(name, part, (net, other), (ohms, 0.0)))
    elif not np.all(np.isinf(size)):
        found.conductances.append(Branch(name, part, (net, other), ohms))


def _track(found: Elements, board: Board, reference: str, nets: list[str], total: Any) -> None:
    """Add both pieces of a control's track at its position."""
    taper = devices.typical(board.record(reference))
    turned = board.rotations.get(reference, 0.5)
    pieces = controls.potentiometer(turned, resistance_total=total, taper=taper)
    end = taper.resistance_end
    for other, ohms in (("1", pieces.resistance_counterclockwise), ("3", pieces.resistance_clockwise)):
        net = nets[0] if other == "1" else nets[2]
        if net != nets[1]:
            _resistor(found, f"{reference} {other} to 2", reference, net, nets[1], np.maximum(ohms, end)[()])


def _own_size(record: Capacitor) -> Any:
    """Return a capacitor record's own capacitance, None where it is of a kind without one."""
    farads = np.asarray(record.capacitance, float)
    return None if np.isnan(farads).all() else farads


def _capacitor(found: Elements, reference: str, nets: list[str], record: Capacitor, farads: Any) -> None:
    """Add a capacitor with its series resistance and what leaks through it."""
    farads = np.asarray(farads, float)
    if np.any(farads < 0) or np.any(np.isnan(farads)):
        raise ValueError(f"{reference} must be at least 0 F and known, got {farads!r}")
    real = replace(devices.typical(record), capacitance=np.where(farads > 1e-99, farads, 1e-12))
    leak = 1 / np.asarray(real.resistance_insulation, float)
    if np.all((own := np.asarray(real.current_leakage, float)) > 0):
        leak = leak + LEAKAGE_SHARE * own / np.asarray(real.voltage_max, float)
    elif record.dielectric in ("electrolytic", "tantalum"):
        leak = leak + LEAKAGE_SHARE * np.asarray(record.leakage_rate) * farads
    slow, fast = (np.asarray(esr, float) for esr in (real.resistance_esr, real.resistance_esr_fast))
    # What is left of the series resistance at high frequencies; film and ceramics lose in the dielectric only.
    least = np.asarray(real.resistance_lead, float) if record.dielectric in ("film", "ceramic") else fast
    law = (farads, slow, fast, leak * (farads > 0), np.asarray(real.frequency_loss, float), least)
    found.capacitors.append(Branch(reference, reference, (nets[0], nets[1]), law))


def _contacts(found: Elements, board: Board, reference: str, by_role: dict[str, str]) -> None:
    """Join what a plug, or its absence, joins."""
    if "centre" in by_role:
        if not _plugged(board, reference) and (contact := by_role.get("touches outer without a plug")):
            found.joints.join(contact, by_role["outer"], who=reference)
        return
    if reference in board.unplugged:
        for role, own in _CONTACTS.items():
            if role in by_role:
                found.joints.join(by_role[role], by_role[own], who=reference)
    elif "ring" in by_role:
        found.joints.join(by_role["ring"], by_role["sleeve"], who=reference)


def _plugged(board: Board, reference: str) -> bool:
    """Tell whether the adaptor's plug is in."""
    return reference not in board.unplugged and not isinstance(board.supply, Battery)


def _refuse_upright(name: str, record: Any) -> None:
    """Refuse a junction that drops the same at any current: nothing says what it carries."""
    kinked = getattr(record, "ideality", None)
    if kinked is None:
        return
    upright = (np.asarray(kinked, float) == 0) & (np.asarray(record.resistance_series, float) == 0)
    if np.any(upright):
        raise ValueError(
            f"{name}: ideality 0 with resistance_series 0 leaves its current unknown; give resistance_series, 1 mΩ for none"
        )
    if isinstance(record, devices.Zener) and np.any(np.asarray(record.resistance_slope, float) == 0):
        raise ValueError(f"{name}: resistance_slope 0 leaves its current unknown; give some, 1 mΩ for none")


def _device(found: Elements, name: str, pins: tuple[PinRole, ...], nets: list[str], record: Any) -> None:
    """Add a part that has a record, by its law."""
    role = _roles(pins, nets)
    _refuse_upright(name, record.led if isinstance(record, Coupler) else record)
    if isinstance(record, (devices.Diode, devices.Led, devices.Zener)):
        found.junctions.append(Branch(name, name, (role["anode"], role["cathode"]), record))
    elif isinstance(record, Bjt):
        found.bipolars.append(Branch(name, name, (role["base"], role["collector"], role["emitter"]), record))
    elif isinstance(record, (Jfet, Mosfet)):
        found.channels.append(Branch(name, name, (role["gate"], role["drain"], role["source"]), record))
    elif isinstance(record, Coupler):
        cells = [net for pin, net in zip(pins, nets, strict=True) if pin.role == "cell"]
        found.couplers.append(Branch(name, name, (role["anode"], role["cathode"], *cells), record))
    elif isinstance(record, OpAmp):
        units = sorted({pin.unit for pin in pins if pin.unit})
        for unit in units or [""]:
            lead = f"{unit} " if unit else ""
            terminals = tuple(role[f"{lead}{what}"] for what in ("non-inverting input", "inverting input", "output"))
            rails = role["positive rail"], role["negative rail"]
            found.amplifiers.append(Branch(f"{name} unit {unit}" if unit else name, name, (*terminals, *rails), record))
    elif isinstance(record, devices.Regulator):
        middle = role["adjust"] if "adjust" in role else role["ground"]
        found.regulators.append(Branch(name, name, (role["input"], middle, role["output"]), record))
    elif isinstance(record, Converter):
        _converter(found, name, role, record)
    elif isinstance(record, Ldr):
        _resistor(found, name, name, nets[0], nets[1], record.resistance_dark)
    else:
        raise TypeError(f"{name}: a {type(record).__name__} has no law in a circuit")


def _converter(found: Elements, name: str, role: dict[str, str], record: Converter) -> None:
    """Add a converter: its four switches, and what it takes for itself."""
    boosted = role.get("boost") == role["supply"] and np.all(~np.isnan(np.asarray(record.frequency_boosted)))
    pump = record.frequency_pump_boosted if boosted else record.frequency_pump
    idle = record.current_idle_boosted if boosted else record.current_idle
    idle = np.where(np.isnan(np.asarray(idle, float)), record.current_idle, idle)
    pins = ("supply", "ground", "flying capacitor plus", "flying capacitor minus", "negative output")
    half = 0.5 / np.asarray(pump, float)
    found.pumps.append(Branch(name, name, tuple(role[pin] for pin in pins), (record.resistance_switch, half)))
    found.consumers.append(Branch(name, name, (role["supply"], role["ground"]), (idle, record.voltage_supply_min)))


def _feed(found: Elements, board: Board, volts: Any, faults: Mapping[str, str]) -> None:
    """Add what the board is fed from: the battery at its clip, and what comes in at the barrel connector."""

    def source(one: ResolvedPart, ends: tuple[str, str], emf: Any, ohms: Any) -> None:
        fault = faults.get(one.part.reference, "")
        if fault not in ("open", "missing"):
            _source(found, one.part.reference, *(ends[::-1] if fault == "reversed" else ends), emf, ohms)

    block = board.supply if isinstance(board.supply, Battery) else None
    clips = [one for one in board.parts if {pin.role for pin in one.pins} == {"plus", "minus"} and _feeds(one)]
    batteries = [one for one in clips if one.part.kind == "battery"] or (clips if block else [])
    barrels = [one for one in board.parts if "centre" in {pin.role for pin in one.pins}]
    for one in batteries[: 1 if block or barrels else 0]:  # volts at a clip stand for its battery
        record = block or one.device
        net = {pin.role: pin.net for pin in one.pins}
        if isinstance(record, Battery):
            state = supply.battery_voltage(BATTERY_USED[1], current_load=0.0, battery=devices.typical(record))
            emf = np.asarray(volts, float)[()] if block and volts is not None else state.voltage_open
            source(one, (net["plus"], net["minus"]), emf, state.resistance_internal)
    if block is not None:
        if not batteries:
            raise ValueError("the list has no battery and no battery clip, but the board is fed from a battery")
        return
    plugged = [one for one in barrels if _plugged(board, one.part.reference)]
    if barrels and not plugged and volts is not None:
        raise ValueError(
            f"supply: no plug is in {barrels[0].part.reference}, so there are no volts at the socket to give"
        )
    for one in plugged[:1]:
        net = {pin.role: pin.net for pin in one.pins}
        plus, minus = ("centre", "outer") if net["outer"] == GROUND else ("outer", "centre")
        emf, ohms = _adaptor(board, volts)
        source(one, (net[plus], net[minus]), emf, ohms)
    if not barrels:
        if not clips:
            raise ValueError(
                "the list has neither a barrel connector nor a battery: nothing says where the supply comes in; write at least a "
                "connector of type 'battery clip' with plus and minus"
            )
        net = {pin.role: pin.net for pin in clips[0].pins}
        emf, ohms = _adaptor(board, volts)
        source(clips[0], (net["plus"], net["minus"]), emf, ohms)


def _feeds(one: ResolvedPart) -> bool:
    return one.part.kind in ("battery", "connector")


def _adaptor(board: Board, volts: Any) -> tuple[Any, Any]:
    """Return voltage and resistance of what comes in at the connector."""
    if isinstance(board.supply, Adaptor):
        part = devices.typical(board.supply)
        ohms = (part.voltage_open - part.voltage_rated) / part.current_max
        return (part.voltage_open if volts is None else volts), ohms
    return (np.asarray(board.supply, float)[1] if volts is None else np.asarray(volts, float)[()]), 0.0


def _source(found: Elements, reference: str, plus: str, minus: str, emf: Any, ohms: Any) -> None:
    """Add a source; behind its own resistance there is a net of its own."""
    name = f"{reference}, inside" if np.all(np.asarray(ohms) > 0) else plus
    found.sources.append(Branch(reference, reference, (plus, minus), (emf, ohms)))
    if name != plus:
        _resistor(found, f"{reference} inside", reference, name, plus, ohms)
    found.joints.join(name, minus, volts=emf, who=reference)
