"""Rows that every sheet prints, roles of parts, and what both circuits share."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import switching
from pedalcalc._arguments import table_of
from pedalcalc._meter import on_range
from pedalcalc._refusal import OtherKind
from pedalcalc._result import Caution, Result, caution_above, quantity
from pedalcalc._units import percent
from pedalcalc.board._core import Board
from pedalcalc.devices import Capacitor, Diode, Led, Meter, OpAmp, Zener
from pedalcalc.laws import junction_in_series, junction_voltage
from pedalcalc.values import UNITS, write_value

Array = NDArray[np.float64]

#: Resistor that goes into the plus lead when a build is first powered [Ω] (common practice).
FIRST_POWER = 100.0
#: Kinds whose record has the name of a type, which a caution may name.
TYPED = ("diode", "transistor", "integrated circuit", "coupler", "photocell", "indicator")
#: A step at the output that is lost in the hiss of a guitar and the amplifier that follows [V] (common practice).
STEP_SILENT = 1e-4
#: What a link of wire with its joints has [Ω] (common practice).
LINK = 0.01
#: The most with which a pump's capacitor is computed [Ω]: an electrolytic of 50 pF has it, which pumps nothing.
ESR_MOST = 1e6
#: Resistors that may be links.
MAY_BE_LINKS = ("filter", "filter in", "filter out", "attack stop", "make-up feedback", "side-chain feedback")


@dataclass(frozen=True, slots=True, eq=False)
class Consumer(Result):
    """What one part of a build draws."""

    name: str = quantity("text", "consumer")
    current_low: float = quantity("A", "least")
    current_typical: float = quantity("A", "typical")
    current_high: float = quantity("A", "most")


@dataclass(frozen=True, slots=True, eq=False)
class TestPoint(Result):
    """What the builder's meter shows at one point, from the lowest supply to the highest."""

    __test__ = False  # no test, whatever its name says

    place: str = quantity("text", "test point")
    voltage_low: float = quantity("V", "lowest supply")
    voltage: float = quantity("V", "usual")
    voltage_high: float = quantity("V", "highest")


@dataclass(frozen=True, slots=True, eq=False)
class PowerStep(Result):
    """One line of the first power-up through a resistor in the plus lead."""

    what: str = quantity("text", "state")
    current: float = quantity("A", "current")
    voltage_across: float = quantity("V", "across 100 Ω")
    power: float = quantity("W", "heat in the 100 Ω")


@dataclass(frozen=True, slots=True, eq=False)
class Thump(Result):
    """What the footswitch puts on the output, as far as it can be heard."""

    name: str = quantity("text", "thump")
    text_step: str = quantity("text", "step")


def thumps(
    parts: Parts,
    into: switching.PulldownThump,
    out: switching.PulldownThump,
    lamp: switching.IndicatorThump,
    *,
    most_in: Any,
    most_out: Any = np.inf,
) -> tuple[Thump, ...]:
    """Return what the capacitors at input and output and the indicator put on the output, no more [V] than comes through."""
    rows = {
        f"input, {parts.name('input')} with {parts.name('input pull-down')}": into.voltage_step,
        f"the same without {parts.name('input pull-down')}": np.minimum(into.voltage_step_open, most_in),
        f"output, {parts.name('output')} with {parts.name('level')}": out.voltage_step,
        f"the same with {parts.name('level')} open": np.minimum(out.voltage_step_open, most_out),
        "indicator, from a battery": lamp.voltage_step,
    }
    return tuple(
        Thump(
            name=name,
            text_step="none to hear" if volts < STEP_SILENT else write_value(float(volts), unit="V", digits=2),
        )
        for name, volts in rows.items()
    )


def about(
    board: Board, cautions: Iterable[Caution], *references: str, places: Mapping[str, str] | None = None
) -> tuple[Caution, ...]:
    """Return cautions that name the parts of the list they are about.

    That is the part whose words of `places` stand in it, else these parts that are of the type it names, else all of these.
    """
    known = [found.part.reference for found in board.parts]
    types = {
        name: str(getattr(board.device(name), "name", "")) for name in references if board.part(name).kind in TYPED
    }
    told = []
    for one in cautions:
        what = one.what
        if not any(re.search(rf"\b{re.escape(name)}\b", what) for name in known):
            place = next((name for words, name in (places or {}).items() if words in what), "")
            meant = [name for name, kind in types.items() if kind and kind in what]
            if meant and not place:
                kind = types[meant[0]]
                what = re.sub(rf"(\bthe )?{re.escape(kind)}", f"{', '.join(meant)} ({kind})", what, count=1)
            else:
                what = f"{place or ', '.join(references)}: {what}"
        told.append(replace(one, what=what))
    return tuple(told)


def points(rows: Mapping[str, Any]) -> tuple[TestPoint, ...]:
    """Return test points from arrays of lowest, usual and highest."""
    three = {name: [float(v) for v in np.broadcast_to(volts, 3)] for name, volts in rows.items()}
    return tuple(
        TestPoint(place=name, voltage_low=low, voltage=usual, voltage_high=high)
        for name, (low, usual, high) in three.items()
    )


def power_steps(rows: Mapping[str, Any]) -> tuple[PowerStep, ...]:
    """Return the lines of first power; where to stop says `bench.first_power`, once for all builds."""
    return tuple(
        PowerStep(
            what=name,
            current=float(amps),
            voltage_across=float(amps) * FIRST_POWER,
            power=float(amps) ** 2 * FIRST_POWER,
        )
        for name, amps in rows.items()
    )


def role_of(roles: Mapping[str, str], role: str) -> str:
    """Return the reference of a role, or say which is missing."""
    if role not in roles:
        raise ValueError(f"roles must say which part is the {role!r}; it has {', '.join(roles) or 'none'}")
    return roles[role]


class Parts:
    """The parts of a board by role."""

    def __init__(self, board: Board, roles: Mapping[str, str]) -> None:
        self.board, self.roles = board, table_of("roles", roles, "references by role")

    def name(self, role: str) -> str:
        """Return the reference of a role."""
        return role_of(self.roles, role)

    def label(self, role: str) -> str:
        """Return the reference of a role and what is fitted there."""
        return self.board.part(self.name(role)).label

    def ohms(self, role: str) -> float:
        """Return a resistor's value [Ω]; where nothing else limits current or gain, that of a link is what a wire has."""
        found = self.board.resistance(self.name(role))
        return LINK if found == 0 and role not in MAY_BE_LINKS else found

    def links(self) -> tuple[Caution, ...]:
        """Return a caution for each link in the place of a resistor that the circuit needs."""
        return tuple(
            Caution(
                f"{self.label(role)} is a link where the circuit needs a resistor, the {role}: computed as 10 mΩ of wire",
                "fit a resistor", 0.0, np.nan, "Ω",
            )
            for role, name in self.roles.items()
            if role not in MAY_BE_LINKS and self.board.part(name).unit == "Ω" and self.board.part(name).value == 0
        )  # fmt: skip

    def dual(self, role: str) -> Any:
        """Return an op-amp, refused where it is not one of two in a package."""
        found, name = self.one(role, OpAmp), self.name(role)
        if len({pin.unit for pin in self.board.pins(name)} - {""}) != 2:
            raise OtherKind(
                f"{self.board.place(name)}: {self.board.part(name).value_text!r} is no dual op-amp; fit one there"
            )
        return found

    def of_polarity(self, role: str, kind: type[Any], polarity: str) -> Any:
        """Return a transistor, refused where it is of the other polarity."""
        found, part = self.one(role, kind), self.board.part(self.name(role))
        if found.polarity != polarity:
            raise OtherKind(
                f"{self.board.place(part.reference)}: {part.value_text!r} is of the other polarity "
                f"({found.polarity}); this circuit wants {polarity}"
            )
        return found

    def farads(self, role: str) -> float:
        """Return a capacitor's value [F]."""
        return self.board.capacitance(self.name(role))

    def turned(self, role: str) -> float:
        """Return what a control stands at [Ω]."""
        return float(self.board.control(self.name(role)).resistance)

    def esr(self, role: str) -> float:
        """Return a capacitor's series resistance at tens of kilohertz [Ω], of one that hands on nothing the most that is computed."""
        return min(float(self.one(role, Capacitor).resistance_esr_fast), ESR_MOST)

    def leakage(self, role: str, volts: float) -> float:
        """Return a capacitor's leakage at a voltage [A]: through its insulation, and an electrolytic's own."""
        found = self.one(role, Capacitor)
        own = found.current_leakage
        return abs(volts) / float(found.resistance_insulation) + (0.0 if np.isnan(own) else float(own))

    def rating(self, role: str) -> float:
        """Return a capacitor's rated voltage [V], NaN where the list gives none."""
        return self.board.part(self.name(role)).voltage_max

    def metered(self) -> Meter:
        """Return the builder's meter on the range of the usual supply, on which a board is read from end to end."""
        return on_range(float(self.board.voltages(np.zeros(3))[1]), self.board.meter)

    def one(self, role: str, kind: type[Any]) -> Any:
        """Return one part of plain numbers; of a Zener in a diode's place the diode that it is the other way round."""
        name = self.name(role)
        if kind is Diode and isinstance(self.board.record(name), Zener):
            return _forward(self.board.device(name, Zener))
        return self.board.device(name, kind)

    def stands(self, role: str, volts: Any, when: str) -> tuple[Caution, ...]:
        """Return a caution where a capacitor can meet more than its rating."""
        name = self.name(role)
        return caution_above(
            f"{self.board.part(name).label} is rated below what it meets {when}",
            "fit one of a higher rated voltage",
            np.max(volts),
            self.rating(role),
            "V",
        )

    def heats(self, role: str, watts: Any) -> tuple[Caution, ...]:
        """Return a caution where a resistor burns more than its rating."""
        name = self.name(role)
        return caution_above(
            f"{self.board.part(name).label} burns more than it is rated for",
            "fit a resistor of more watts, or of a higher value",
            np.max(watts),
            self.board.part(name).power_max,
            "W",
        )


def _forward(zener: Zener) -> Diode:
    """Return a Zener as a diode that blocks no more than its Zener voltage."""
    return Diode(
        name=zener.name,
        origin=zener.origin,
        voltage_forward=zener.voltage_forward,
        current_reference=zener.current_reference,
        ideality=zener.ideality,
        resistance_series=zener.resistance_series,
        energy_gap=zener.energy_gap,
        voltage_reverse_max=zener.voltage_zener,
        current_leakage=zener.current_leakage,
        pinouts=zener.pinouts,
    )


def drop(current: Any, junction: Any) -> Array:
    """Return the drop of a junction at a current."""
    return np.asarray(junction_voltage(current, junction=junction))


def lamp_current(voltage: Any, resistance: float, lamp: Led) -> Array:
    """Return the current of a lamp behind a resistor, 0 without forward voltage."""
    ahead = np.maximum(np.asarray(voltage, float), 0.0)
    return np.asarray(junction_in_series(ahead, resistance=resistance, junction=lamp).current)


def pair(first: Diode, second: Diode) -> Diode:
    """Return the diode that two in turn amount to: its drop is the mean of theirs, its ratings those of the weaker."""
    if first.name == second.name:
        return first
    at = min(first.current_reference, second.current_reference)
    return replace(
        first,
        name=f"{first.name} and {second.name}",
        origin=f"mean drop of both; {first.origin}; {second.origin}",
        voltage_forward=float(drop(at, first) + drop(at, second)) / 2,
        current_reference=at,
        ideality=(first.ideality + second.ideality) / 2,
        resistance_series=(first.resistance_series + second.resistance_series) / 2,
        current_max=min(first.current_max, second.current_max),
        voltage_reverse_max=min(first.voltage_reverse_max, second.voltage_reverse_max),
    )


def told(value: float, unit: str, digits: int = 3) -> str:
    """Return a figure as the tables print it, with few digits; words for what is not known."""
    if not np.isfinite(value):
        return "cannot be reached" if np.isnan(value) else "open"
    rounded = float(f"{value:.{digits}g}")
    text = write_value(rounded, unit=unit) if unit in UNITS else f"{rounded:g} {unit}".strip().replace("-", "−")
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def told_range(low: float, high: float, unit: str, digits: int = 3) -> str:
    """Return a range as the tables print it: `16 to 84 ms`, one figure where both ends read alike."""
    ends = [told(end, unit, digits) for end in (low, high)]
    if ends[0] == ends[1]:
        return ends[0]
    first, last = (end.partition("\N{NO-BREAK SPACE}") for end in ends)
    return f"{first[0] if first[2] == last[2] else ends[0]} to {ends[1]}"


def stated(value: float, seen: float) -> str:
    """Return `value` in words beside what a list has: as wanted, or how far off."""
    if not np.isfinite(value):
        return "nothing in this place can do it: see what was asked"
    share = seen / value - 1
    return "as wanted" if abs(share) < 1e-3 else f"{percent(abs(share))} {'above' if share > 0 else 'below'}"
