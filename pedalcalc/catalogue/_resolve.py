"""Each part of a list with its record and the roles of its pins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from pedalcalc import devices
from pedalcalc._arguments import is_a, list_of
from pedalcalc._base import search
from pedalcalc._part_value import CONTROLS, LAWS, TWO_PINS
from pedalcalc._result import Result, quantity
from pedalcalc._units import told
from pedalcalc.catalogue._find import find_among, own_rows
from pedalcalc.devices import Capacitor, Coupler, Device, Pin, Pinout
from pedalcalc.devices._tables import Entry
from pedalcalc.parts import OTHER, Part

# Kind of capacitor in a list, and the record that tells its losses; small ceramic ones are of the better kind.
_CAPACITORS = {
    "film capacitor": "CAPACITOR_FILM",
    "ceramic capacitor": "CAPACITOR_CERAMIC_X7R",
    "electrolytic capacitor": "CAPACITOR_ELECTROLYTIC",
    "tantalum capacitor": "CAPACITOR_TANTALUM",
}
_SMALL_CERAMIC = 1e-9
_TAPERS = {"linear": "TAPER_LINEAR", "log": "TAPER_LOG", "reverse log": "TAPER_REVERSE_LOG"}
# Limits of a record, and the rating of the list that may lower them.
_RATED = {
    "current_max": "current_max",
    "power_max": "power_max",
    "voltage_max": "voltage_max",
    "voltage_reverse_max": "voltage_max",
    "voltage_supply_max": "voltage_max",
}
_WITHOUT_RECORD = ("resistor", "inductor", "link", "socket", OTHER)


class PinRole(NamedTuple):
    """One pin of a part: its name in the list, its unit (empty where shared), its role, and its net."""

    pin: str
    unit: str
    role: str
    net: str


@dataclass(frozen=True, slots=True, eq=False)
class ResolvedPart(Result):
    """A part of a list with its record (None where its value says all) and the roles of its pins."""

    part: Part = quantity("record", "part")
    device: Device | None = quantity("record", "record")
    pins: tuple[PinRole, ...] = quantity("records", "pins")


@search
def pin_roles(part: Part, *, device: Device | None = None) -> tuple[PinRole, ...]:
    """Say what each pin of a part is.

    Parameters
    ----------
    part : Part
        One part of a list, with its connections.
    device : Device, optional
        Its record, as `find_device` gives it; parts of two like ends need none.

    Returns
    -------
    tuple of PinRole
        In the order of the part's leads, lugs or pins; of parts of two like ends in the order of the list.

    Raises
    ------
    TypeError
        If `part` is not a part.
    ValueError
        If pins are missing, unknown, or named by number where makers differ.

    Notes
    -----
    Every pin must be there: one that is left open goes to the net ``not connected``.

    References
    ----------
    MEMORY, orders of leads; PRACTICE, names of contacts.

    Examples
    --------
    >>> from pedalcalc.parts import Connection, Part
    >>> from pedalcalc.catalogue import find_device
    >>> nan, pins = float("nan"), (Connection("drain", "out"), Connection("gate", "in"), Connection("source", "bias"))
    >>> part = Part("Q1", "transistor", nan, "", "2N5457", nan, nan, nan, nan, nan, pins, "")
    >>> [(found.role, found.net) for found in pin_roles(part, device=find_device("2N5457"))]
    [('drain', 'out'), ('source', 'bias'), ('gate', 'in')]
    """
    is_a("part", part, Part)
    if part.kind in (*TWO_PINS, "socket", OTHER):
        return tuple(PinRole(pin, "", "end", net) for pin, net in part.connections)
    if device is not None and not isinstance(device, Device):
        raise TypeError(
            f"device must be a record that says which pin of {part.value_text!r} is which, not {told(device)}"
        )
    orders = (device,) if isinstance(device, Pinout) else tuple(getattr(device, "pinouts", None) or ())
    if not orders:
        raise ValueError(
            f"device must be a record that says which pin of {part.value_text!r} is which, got {told(device)}"
        )
    nets = dict(part.connections)
    fitting = [found for order in orders if (found := _by_name(nets, order) or _by_role(nets, order))]
    if not fitting:
        raise ValueError(_wrong(nets, orders[0], part.value_text))
    meanings = [{pin.pin: (pin.unit, pin.role) for pin in found} for found in fitting]
    if any(meaning != meanings[0] for meaning in meanings):
        raise ValueError(
            f"makers of {part.value_text!r} differ in the order of its leads; name the pins by role: "
            f"{', '.join(sorted(pin.role for pin in orders[0].entries))}"
        )
    return tuple(fitting[0])


def _by_name(nets: dict[str, str], order: Pinout) -> list[PinRole]:
    known = {entry.pin.casefold(): entry for entry in order.entries}
    return _roles(nets, known) if {pin.casefold() for pin in nets} == known.keys() else []


def _by_role(nets: dict[str, str], order: Pinout) -> list[PinRole]:
    known = {entry.role.casefold(): entry for entry in order.entries}
    every = len(known) == len(order.entries) and {pin.casefold() for pin in nets} == known.keys()
    return _roles(nets, known) if every else []


def _roles(nets: dict[str, str], known: dict[str, Pin]) -> list[PinRole]:
    """Return the pins in the order in which they stand on the part, whatever order the list writes them in."""
    written = {pin.casefold(): (pin, net) for pin, net in nets.items()}
    return [PinRole(written[name][0], pin.unit, pin.role, written[name][1]) for name, pin in known.items()]


def _wrong(nets: dict[str, str], order: Pinout, text: str) -> str:
    """Say which pins are missing and which are unknown."""
    names = {pin.casefold() for pin in nets}
    own_roles = {entry.role.casefold() for entry in order.entries}
    # Numbered leads that are called by words were meant by their roles, where each role is there once.
    numbered = all(entry.pin.isdigit() for entry in order.entries)
    by_role = numbered and len(own_roles) == len(order.entries) and not any(name.isdigit() for name in names)
    known = [entry.role if by_role else entry.pin for entry in order.entries]
    unknown = [pin for pin in nets if pin.casefold() not in {name.casefold() for name in known}]
    missing = [name for name in known if name.casefold() not in names]
    if unknown:
        return f"pin {unknown[0]!r} is not known; the pins are {', '.join(known)}, as {text!r} has them"
    roles = {entry.role if by_role else entry.pin: entry.role for entry in order.entries}
    told = ", ".join(name if roles[name] == name else f"{name} ({roles[name]})" for name in missing)
    return f"missing: {told}; a pin that is left open is written '{missing[0]}: not connected'"


@search
def resolve_parts(parts: Sequence[Part], *, tables: Sequence[str | Path] = ()) -> tuple[ResolvedPart, ...]:
    """Give each part of a list its record and its pins their roles.

    Parameters
    ----------
    parts : sequence of Part
        The list, as `pedalcalc.parts.read_parts` gives it.
    tables : sequence of str or Path, optional
        Tables of a builder's own records, which go before the package's.

    Returns
    -------
    tuple of ResolvedPart
        In the order of the list. Resistors, inductors and links need no record; a capacitor's is filled in with its
        value and rating; a control's is the law of its track. A rating of the list that is lower than a limit of the
        record takes its place, unless another part is fitted.

    Raises
    ------
    TypeError
        If `parts` holds something else than parts.
    ValueError
        If a table cannot be read; or if a type fits no record or several, a control has no law, or pins are missing or
        unknown: one line for each such part with file, line, reference and what it may have meant.

    Notes
    -----
    Ceramic capacitors below 1 nF are taken as C0G, larger ones as X7R.

    References
    ----------
    PRACTICE, kinds of capacitors by value.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from pedalcalc.parts import read_parts
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'D1,diode,1N4148,1N5817,,,"anode: in, cathode: out",\\n'
    ... )
    >>> found = resolve_parts(read_parts(path))[0]
    >>> found.device.name, found.pins[0].role
    ('1N5817', 'anode')
    """
    found, wrong = [], []
    rows = own_rows(tables)  # once: what is wrong in a table is told once, not for every part
    for part in list_of("parts", parts, "parts", Part):
        try:
            device = _record(part, rows)
            if not part.connections and part.kind != "socket":
                raise ValueError("it has no connections, so nothing says where it sits")
            found.append(ResolvedPart(part=part, device=device, pins=pin_roles(part, device=_leads(part, device))))
        except ValueError as reason:
            wrong.append(f"{part.place or 'the list'}, {part.reference}: {reason}")
    if wrong:
        raise ValueError("\n".join(wrong))
    return tuple(found)


def _record(part: Part, rows: Sequence[Entry]) -> Device | None:
    if part.kind in _WITHOUT_RECORD:
        return None
    if part.kind in _CAPACITORS:
        small = part.kind == "ceramic capacitor" and part.value < _SMALL_CERAMIC
        kind: Capacitor = getattr(devices, "CAPACITOR_CERAMIC_C0G" if small else _CAPACITORS[part.kind])
        return devices.capacitor(kind, capacitance=part.value, voltage_rating=part.voltage_max)
    if part.kind in CONTROLS:
        law = part.law or ("linear" if part.kind == "trimmer" else "")
        if not law:
            raise ValueError(
                f"its law is not in the list; write it behind the value, such as '{part.value_text} {LAWS[0]}' "
                f"(one of {', '.join(LAWS)})"
            )
        return getattr(devices, _TAPERS[law])
    return _as_rated(find_among(part.value_text, kind=part.kind, rows=rows), part)


def _as_rated(record: Any, part: Part) -> Any:
    """Return a record whose limits are no higher than the list's own rating, which is that of the listed part."""
    if part.text_listed not in ("", part.value_text):
        return record
    if isinstance(record, Coupler):
        lamp = _as_rated(record.led, part)
        return record if lamp is record.led else replace(record, led=lamp)
    rated = {name: getattr(part, field) for name, field in _RATED.items() if hasattr(record, name)}
    lower = {name: most for name, most in rated.items() if most < np.nan_to_num(getattr(record, name), nan=np.inf)}
    return replace(record, **lower) if lower else record


def _leads(part: Part, device: Device | None) -> Device | None:
    """Return what says which pin is which: the record, or for a builder's own without one the usual of its kind."""
    if device is None or isinstance(device, Pinout) or getattr(device, "pinouts", None):
        return device
    usual = {
        "diode": "PINOUT_DIODE",
        "indicator": "PINOUT_LED",
        "battery": "PINOUT_BATTERY",
        "coupler": "PINOUT_COUPLER",
    }
    return getattr(devices, usual[part.kind]) if part.kind in usual else device
