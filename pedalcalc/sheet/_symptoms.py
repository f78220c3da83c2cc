"""Symptom first: what to look at when nothing has been read yet, with the board's own references (common practice)."""

from __future__ import annotations

from pedalcalc import report
from pedalcalc._part_value import CAPACITORS
from pedalcalc.board import Board
from pedalcalc.catalogue import ResolvedPart
from pedalcalc.circuit.joints import GROUND
from pedalcalc.devices import Converter
from pedalcalc.sheet._found import has_socket, path, supply_way
from pedalcalc.sheet._section import Section, words


class _On:
    """References of a board by what they do."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.feeds = supply_way(board)
        self.way = path(board)

    def kind(self, *kinds: str) -> list[ResolvedPart]:
        return [one for one in self.board.parts if one.part.kind in kinds]

    def names(self, *kinds: str) -> str:
        return ", ".join(one.part.reference for one in self.kind(*kinds))

    def between(self, kinds: tuple[str, ...], nets: tuple[str, ...], other: str = "") -> str:
        """Return parts of a kind with one end on a net of these and the other end on `other`, where that is given."""
        found = []
        for one in self.kind(*kinds):
            ends = {pin.net for pin in one.pins}
            if ends & set(nets) and (not other or other in ends):
                found.append(one.part.reference)
        return ", ".join(found)

    def joining(self, kind: str, nets: tuple[str, ...]) -> str:
        """Return the first part of a kind in the way of the supply: both ends on these nets, and small."""
        inside = (one.part for one in self.kind(kind) if {pin.net for pin in one.pins} <= set(nets))
        return next((part.reference for part in inside if part.value <= SERIES), "")


#: Most that a resistor in the way of the supply has [Ω] (common practice).
SERIES = 2.2e3


def symptoms_section(board: Board) -> Section:
    """Return first checks in order, for each symptom, each with the readings that decide."""
    on = _On(board)
    feed = on.feeds[0] if on.feeds else "the supply"
    pins = [pin.net for one in board.parts for pin in one.pins]
    rail = [pin.net for one in board.parts for pin in one.pins if pin.role == "positive rail"]
    last = rail[0] if rail else max(on.feeds[1:] or (feed,), key=pins.count)  # what most parts hang on is the rail
    switch, jacks = on.names("switch") or "the footswitch", on.names("jack") or "the jacks"
    socket = has_socket(board)
    diode = on.between(("diode",), on.feeds)
    guilty = " and ".join(
        filter(None, (diode, "the plug's polarity" if socket else "the battery, its clip and its joints"))
    )
    series = on.joining("resistor", on.feeds)
    filters = on.between(CAPACITORS, on.feeds, GROUND) or "the filter capacitors"
    active = on.names("integrated circuit", "transistor") or "what amplifies"
    lamps, coupling = on.names("indicator"), _coupling(on)
    controls = on.names("potentiometer", "trimmer")
    pulls = _pull_downs(on)
    pumps = ", ".join(one.part.reference for one in board.parts if isinstance(one.device, Converter))
    rails = " and ".join(repr(net) for net in dict.fromkeys((feed, last)))
    rows = [
        ("no sound", (f"read {rails}: if {'it' if feed == last else 'one'} is 0 V look at {guilty}; if {'it is' if feed == last else 'both are'} right read the "
         f"outputs and leads of {active}: the first net that does not fit is the place; then look at "
         f"the joints of {switch} and {jacks}; last {coupling} open, or the output shorted to ground")),
        ("no indicator", (f"{lamps}: turned round (long lead is the anode)? read its anode in both states: near "
         f"the supply in both, the lamp is open or {switch} does not ground it; at 0 V its resistor is open")),
        ("hum", (f"{f'play from a battery: if it goes, the adaptor or a missing {filters}; if not, ' if socket else f'a missing {filters}; '}a screen that is not at "
         f"ground ({jacks}, the box, the case of a control): read ohms from each to ground, power off")),
        ("whine on a shared supply", (f"feed this build alone: if the whine goes, its neighbour brings it: an isolated output, or a "
         f"larger {series or 'series resistor in the supply'} with {filters}")),
        ("whine from within", f"the charge pump {pumps}: look for its flying capacitor and its boost pin"),
        ("weak", (f"read the DC of {active} first: what is out of its middle hardly amplifies; then capacitors that bypass or couple "
         f"({coupling}): open or a tenth of the value{'; ' + controls + ' wired to the wrong pins' if controls else ''}")),
        ("distorted", (f"turn the guitar down: if it goes, see what clips first; if not, read {active}: an output or collector near a "
         f"rail, half supply off the middle, a battery under load below 7 V at {feed!r}")),
        ("sound only in bypass", (f"read {last!r} engaged: if it fails only then, something behind {switch} shorts it; else as 'no sound'; "
         f"read ohms across the contacts of {switch} in both states")),
        ("a control the wrong way round", (f"{controls}: pins 1 and 3 exchanged; seen from the shaft, pins down, "
         "1 is the anticlockwise end; a control that does all within a quarter turn has the other law")),
        ("thump when switched", (f"read DC at both sides of {coupling}: more than a few millivolts at a jack is a leaking capacitor; "
         f"the pull-downs {pulls or '(none in the list: 1 MΩ to 2.2 MΩ from each switched net to ground)'} and their joints; the lamp's "
         "current through the supply filter")),
    ]  # fmt: skip
    gone = {"no indicator"} if not lamps else set()
    gone |= set() if on.kind("switch") else {"sound only in bypass", "thump when switched"}
    gone |= set() if socket else {"whine on a shared supply"}
    gone |= set() if pumps else {"whine from within"}
    gone |= set() if controls else {"a control the wrong way round"}
    rows = [row for row in rows if row[0] not in gone]
    table = report.table([{"symptom": name, "first checks, in this order": what} for name, what in rows])
    told = words(
        "For when nothing has been read yet: first checks in order, common practice, each with the reading that decides. "
        "Power off before you solder or read ohms."
    )
    return Section("If something is wrong: by symptom", (told, table))


def _coupling(on: _On) -> str:
    """Return the capacitors in the way of the signal."""
    capacitors = {one.part.reference for one in on.kind(*CAPACITORS)}
    return ", ".join(dict.fromkeys(name for name in on.way if name in capacitors)) or "the coupling capacitors"


def _pull_downs(on: _On) -> str:
    """Return resistors from a net of the footswitch to ground."""
    nets = {pin.net for one in on.kind("switch") for pin in one.pins} - {GROUND}
    return on.between(("resistor",), tuple(nets), GROUND)
