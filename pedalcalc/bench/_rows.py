"""What this room returns."""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._result import Caution, Result, quantity


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedReading(Result):
    """One reading to take: where, in which state of the footswitch, and between which ends it should lie.

    `state` is ``engaged``, ``bypassed`` or ``both``; `note` says why there is no number where there is none.
    """

    place: str = quantity("text", "net")
    probe: str = quantity("text", "red lead on")
    state: str = quantity("text", "footswitch")
    reading_low: float = quantity("SI", "lowest")
    reading_typical: float = quantity("SI", "usual")
    reading_high: float = quantity("SI", "highest")
    unit: str = quantity("text", "unit")
    note: str = quantity("text", "note")


@dataclass(frozen=True, slots=True, eq=False)
class Expected(Result):
    """All readings worth taking, from the supply through the signal path, for one voltage at the socket."""

    rows: tuple[ExpectedReading, ...] = quantity("records", "readings to take")
    voltage_supply: float = quantity("V", "supply they are told for")
    place_supply: str = quantity("text", "net of the supply")
    meter_text: str = quantity("text", "meter")
    count: int = quantity("1", "units drawn")
    coverage: float = quantity("1", "share of units inside a band")


@dataclass(frozen=True, slots=True, eq=False)
class JudgedReading(Result):
    """One reading beside its band. `widths` is how far outside it lies, in widths of the band; 0 inside."""

    place: str = quantity("text", "net")
    state: str = quantity("text", "footswitch")
    reading_low: float = quantity("SI", "lowest")
    reading_typical: float = quantity("SI", "usual")
    reading_high: float = quantity("SI", "highest")
    value: float = quantity("SI", "read")
    unit: str = quantity("text", "unit")
    verdict: str = quantity("text", "verdict")
    widths: float = quantity("1", "band widths outside")


@dataclass(frozen=True, slots=True, eq=False)
class Judged(Result):
    """A whole set of readings judged, in the order in which to work.

    `first` is the first net that does not fit, empty where all do; `depends_on` the parts that move it
    with the share of its moves, the one that alone explains all readings best first.
    """

    rows: tuple[JudgedReading, ...] = quantity("records", "readings")
    verdict: str = quantity("text", "verdict on all of them")
    first: str = quantity("text", "first that does not fit")
    depends_on: tuple[tuple[str, float], ...] = quantity("records", "parts that it depends on, with their share")
    voltage_supply: float = quantity("V", "supply that they are held against")


@dataclass(frozen=True, slots=True, eq=False)
class PowerLine(Result):
    """One state of the first power-up through a resistor in the supply lead."""

    what: str = quantity("text", "state")
    voltage_low: float = quantity("V", "across it, lowest")
    voltage_across: float = quantity("V", "usual")
    voltage_high: float = quantity("V", "highest")
    current: float = quantity("A", "current, usual")
    power: float = quantity("W", "heat in it, at most")


@dataclass(frozen=True, slots=True, eq=False)
class FirstPower(Result):
    """First power-up: what the resistor in the plus lead shows, and from which reading on to pull the plug."""

    rows: tuple[PowerLine, ...] = quantity("records", "what the resistor shows")
    resistance: float = quantity("Ω", "resistor in the plus lead")
    voltage_stop: float = quantity("V", "pull the plug from here on")
    time_charge: float = quantity("s", "until the capacitors are charged")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")
