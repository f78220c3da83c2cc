"""Symptom first: what to look at when nothing has been read yet, with the board's own references (common practice)."""

from __future__ import annotations

from pedalcalc import report
from pedalcalc._part_value import CAPACITORS, CONTROLS
from pedalcalc.bench.places import pins_of
from pedalcalc.board import Board
from pedalcalc.catalogue import ResolvedPart
from pedalcalc.circuit.joints import GROUND
from pedalcalc.devices import Converter
from pedalcalc.parts import OTHER
from pedalcalc.sheet._found import has_socket, path, supply_way
from pedalcalc.sheet._section import Section, words


class _On:
    """References of a board by what they do."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.feeds = supply_way(board)
        self.way = path(board)
        self.pins = pins_of(board)

    def kind(self, *kinds: str) -> list[ResolvedPart]:
        return [one for one in self.board.parts if one.part.kind in kinds]

    def names_of(self, *kinds: str) -> list[str]:
        return [one.part.reference for one in self.kind(*kinds)]

    def names(self, *kinds: str) -> str:
        return ", ".join(self.names_of(*kinds))

    def between(self, kinds: tuple[str, ...], nets: tuple[str, ...], other: str = "") -> str:
        """Return parts of a kind with one end on a net of these and the other end on `other`, where that is given."""
        found = []
        for one in self.kind(*kinds):
            ends = {pin.net for pin in one.pins}
            if ends & set(nets) and (not other or other in ends):
                found.append(one.part.reference)
        return ", ".join(found)

    def joining(self, *kinds: str) -> list[str]:
        """Return parts in the way of the supply: all live ends on its nets, resistors small."""
        inside = (one.part for one in self.kind(*kinds) if {pin.net for pin in one.pins} - {GROUND} <= set(self.feeds))
        return [part.reference for part in inside if not part.value > SERIES]

    def flying(self) -> str:
        """Return what each charge pump shuffles its charge with, and its pin for a faster pace where it has one."""
        told = []
        for one in self.board.parts:
            if not isinstance(one.device, Converter):
                continue
            ends = {pin.net for pin in one.pins if "flying capacitor" in pin.role}
            between = [cap.part.reference for cap in self.kind(*CAPACITORS) if {pin.net for pin in cap.pins} & ends]
            boost = [f", then pin {pin.pin} (boost)" for pin in one.pins if pin.role == "boost"]
            told.append(
                f"the charge pump {one.part.reference}: {', '.join(between) or 'its flying capacitor'} first{''.join(boost)}"
            )
        return "; ".join(told)

    def bypasses(self) -> list[str]:
        """Return capacitors from an emitter, a source or an inverting input to ground, through a resistor or control at most.

        Only what the signal goes through counts, where its way is known: an oscillator beside it has such a capacitor, too.
        """
        steered = {
            pin.net
            for one in self.board.parts
            for pin in one.pins
            if pin.role in STEERED
            and (not self.way or {one.part.reference, f"{one.part.reference} ({pin.unit})"} & set(self.way))
        } - {GROUND}
        found = []
        for one in self.kind(*CAPACITORS):
            ends = [self._reached(pin.net, one.part.reference) for pin in one.pins]
            if any(GROUND in near and far & steered for near, far in (ends, ends[::-1])):
                found.append(one.part.reference)
        return found

    def _reached(self, net: str, capacitor: str) -> set[str]:
        """Return a net, and where a resistor or control leads from it if that is all there is beside the capacitor."""
        others = {one.part.reference: one for one, _ in self.pins.get(net, ()) if one.part.reference != capacitor}
        alone = next(iter(others.values())) if len(others) == 1 else None
        leads = alone is not None and alone.part.kind in ("resistor", *CONTROLS)
        return {net, *(pin.net for pin in alone.pins)} if alone and leads else {net}


#: Roles of pins from which a capacitor to ground lets more gain pass.
STEERED = ("emitter", "source", "inverting input")
#: Most that a resistor in the way of the supply has [Ω] (common practice).
SERIES = 2.2e3


def symptoms_section(board: Board) -> Section:
    """Return first checks in order, for each symptom, each with the readings that decide."""
    on = _On(board)
    feed = on.feeds[0] if on.feeds else "the supply"
    pins = [pin.net for one in board.parts for pin in one.pins]
    rail = [pin.net for one in board.parts for pin in one.pins if pin.role == "positive rail"]
    last = rail[0] if rail else max(on.feeds[1:] or (feed,), key=pins.count)  # what most parts hang on is the rail
    switch, jacks = on.names("switch"), on.names("jack") or "the jacks"
    socket, barrel = has_socket(board), any(pin.role == "centre" for one in board.parts for pin in one.pins)
    in_the_way = [*on.joining("diode", "resistor", "inductor"), *on.names_of("regulator")]
    guilty = " and ".join(
        filter(
            None, (", ".join(in_the_way), "the plug's polarity" if barrel else "the battery, its clip and its joints")
        )
    )
    series = next(iter(on.joining("resistor")), "")
    filters = on.between(CAPACITORS, on.feeds, GROUND)
    active = on.names("integrated circuit", "transistor", OTHER) or "what amplifies"
    lamps, coupling = on.names("indicator"), _coupling(on)
    loud = ", ".join(dict.fromkeys([*coupling, *on.bypasses()])) or "there are none"
    coupled = ", ".join(coupling) or "a coupling capacitor"
    controls = on.names("potentiometer", "trimmer")
    lit = on.between(
        ("resistor",), tuple(pin.net for one in on.kind("indicator") for pin in one.pins if pin.net != GROUND)
    )
    pulls = _pull_downs(on)
    rails = " and ".join(repr(net) for net in dict.fromkeys((feed, last)))
    rows = [
        ("no sound", (f"read {rails}: if {'it' if feed == last else 'one'} is 0 V look at {guilty}; if {'it is' if feed == last else 'both are'} right read the "
         f"outputs and leads of {active}: the first net that does not fit is the place; then look at "
         f"the joints of {' and '.join(filter(None, (switch, jacks)))}; last {coupled} open, or the output shorted to ground")),
        ("no indicator", (f"{lamps}: turned round (long lead is the anode)? read its anode in both states: near "
         f"the supply in both, the lamp is open or {switch or 'its way to ground'} does not ground it; at 0 V {lit or 'its resistor'} is open")),
        ("hum", (f"{_hum(filters, socket)}a screen that is not at "
         f"ground ({jacks}, the box, the case of a control): read ohms from each to ground, power off")),
        ("whine on a shared supply", (f"feed this build alone: if the whine goes, its neighbour brings it: an isolated output, or a "
         f"larger {series or 'series resistor in the supply'} with {filters or 'a capacitor behind it'}")),
        ("whine from within", on.flying()),
        ("weak", (f"read the DC of {active} first: what is out of its middle hardly amplifies; then capacitors that bypass or couple "
         f"({loud}): open or a tenth of the value{'; ' + controls + ' wired to the wrong pins' if controls else ''}")),
        ("distorted", (f"turn the guitar down: if it goes, see what clips first; if not, read {active}: an output or collector near a "
         f"rail, half supply off the middle, a battery under load below 7 V at {feed!r}")),
        ("sound only in bypass", (f"read {last!r} engaged: if it fails only then, something behind {switch} shorts it; else as 'no sound'; "
         f"read ohms across the contacts of {switch} in both states")),
        ("a control the wrong way round", (f"{controls}: pins 1 and 3 exchanged; seen from the shaft, pins down, "
         "1 is the anticlockwise end; a control that does all within a quarter turn has the other law")),
        ("thump when switched", (f"read DC at both sides of {coupled}: more than a few millivolts at a jack is a leaking capacitor; "
         f"the pull-downs {pulls or '(none in the list: 1 MΩ to 2.2 MΩ from each switched net to ground)'} and their joints"
         f"{'; the current of the lamp through the supply filter' if lamps else ''}")),
    ]  # fmt: skip
    gone = {"no indicator"} if not lamps else set()
    gone |= set() if on.kind("switch") else {"sound only in bypass", "thump when switched"}
    gone |= set() if socket else {"whine on a shared supply"}
    gone |= set() if on.flying() else {"whine from within"}
    gone |= set() if controls else {"a control the wrong way round"}
    rows = [row for row in rows if row[0] not in gone]
    table = report.table([{"symptom": name, "first checks, in this order": what} for name, what in rows])
    told = words(
        "For when nothing has been read yet: first checks in order, common practice, each with the reading that decides. "
        "Power off before you solder or read ohms."
    )
    return Section("If something is wrong: by symptom", (told, table))


def _hum(filters: str, socket: bool) -> str:
    """Return what to try first against hum from the supply."""
    missing = (
        f"one of {filters} missing"
        if "," in filters
        else f"{filters} missing"
        if filters
        else "no filter capacitor in the list"
    )
    return f"play from a battery: if it goes, the adaptor or {missing}; if not, " if socket else f"{missing}; "


def _coupling(on: _On) -> list[str]:
    """Return the capacitors in the way of the signal."""
    capacitors = {one.part.reference for one in on.kind(*CAPACITORS)}
    return list(dict.fromkeys(name for name in on.way if name in capacitors))


def _pull_downs(on: _On) -> str:
    """Return resistors from a net of the footswitch to ground."""
    nets = {pin.net for one in on.kind("switch") for pin in one.pins} - {GROUND}
    return on.between(("resistor",), tuple(nets), GROUND)
