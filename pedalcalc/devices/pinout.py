"""Which pin is which: every pin of a package with the unit it belongs to and its role."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from pedalcalc._record import Device, records, word

__all__ = ["Pin", "Pinout"]


class Pin(NamedTuple):
    """One pin: its number or name, the unit of the package it belongs to (empty where shared), and its role."""

    pin: str
    unit: str
    role: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pinout(Device):
    """The pins of a part in the order met when it is looked at as `view` says.

    The commonest substitution fault is a part that fits electrically and sits the wrong way round. An order marked
    "from memory" was not read: check with the meter's diode range or the maker's sheet.
    """

    name: str = word("name")
    origin: str = word("origin of the order")
    package: str = word("package")
    view: str = word("how the part is held")
    entries: tuple[Pin, ...] = records("pins in order", Pin)

    @property
    def leads(self) -> str:
        """All pins in one line, such as ``1 drain, 2 source, 3 gate`` or ``1 output (1), 2 inverting input (1)``."""
        return ", ".join(
            f"{pin}{'' if role == pin else ' ' + role}{f' ({unit})' if unit else ''}"
            for pin, unit, role in self.entries
        )

    def _check(self) -> None:
        pins = [entry.pin for entry in self.entries]
        if not pins:
            raise ValueError("entries must name at least one pin, got none")
        if doubled := {pin for pin in pins if pins.count(pin) > 1}:
            raise ValueError(f"entries must name each pin once, got {', '.join(sorted(doubled))} more than once")
