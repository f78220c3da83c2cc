"""A board: its parts resolved, readings of own parts fitted, and the conditions it works under."""

from __future__ import annotations

import contextlib
import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc import controls, devices, supply
from pedalcalc._arguments import file_path, is_a, list_of, numeric, one_number, table_of, words, yes_no
from pedalcalc._base import io, search
from pedalcalc._part_value import CONTROLS, read_part_value, without_volts
from pedalcalc._refusal import OtherKind
from pedalcalc._result import Caution, Number, Result, quantity
from pedalcalc._units import shown, told
from pedalcalc.board._own import FILE, OwnPart, measured, named_file
from pedalcalc.board.kinds import kind_word
from pedalcalc.catalogue import PinRole, ResolvedPart, find_device, resolve_parts
from pedalcalc.devices import Adaptor, Battery, Device, Meter, Taper
from pedalcalc.parts import NOT_CONNECTED, Part, read_parts
from pedalcalc.values import read_value

Array = NDArray[np.float64]
D = TypeVar("D", bound=Device)

#: Share of a battery's charge that is used in the lowest, usual and highest case (common practice).
BATTERY_USED = (0.9, 0.5, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Control(Result):
    """A control at its position, as it is wired; pins 1, 2, 3 are anticlockwise end, wiper, clockwise end."""

    rotation: Number = quantity("1", "rotation, 0 anticlockwise to 1 clockwise")
    track_fraction: Number = quantity("1", "share of the track between pin 1 and the wiper")
    resistance: Number = quantity("Ω", "between its two nets; NaN where it goes to three")
    resistance_total: float = quantity("Ω", "whole track")
    taper: Taper = quantity("record", "law of the track")
    lug: str = quantity("text", "outer pin in use, empty where both are")


@dataclass(frozen=True, slots=True, eq=False)
class Board(Result):
    """One build: what is on it and under which conditions; it answers for its parts by reference.

    `supply` is a battery, an adaptor, or three voltages at the socket: lowest, usual, highest.
    """

    parts: tuple[ResolvedPart, ...] = quantity("records", "parts with records and nets")
    own_parts: tuple[OwnPart, ...] = quantity("records", "measured parts")
    supply: Any = quantity("record", "what it is fed from")
    rotations: Mapping[str, float] = quantity("records", "where its controls stand")
    bypassed: bool = quantity("bool", "footswitch in bypass")
    meter: Meter = quantity("record", "the builder's meter")
    unplugged: tuple[str, ...] = field(default=(), metadata={"unit": "text", "caption": "connectors without a plug"})
    tables: tuple[Path, ...] = field(default=(), metadata={"unit": "records", "caption": "tables of own records"})
    cautions: tuple[Caution, ...] = field(default=(), metadata={"unit": "cautions", "caption": "cautions"})

    def part(self, reference: str) -> Part:
        """Return a part as the list has it."""
        return self._resolved(reference).part

    def by_reference(self, name: str, table: Any, what: str, *others: str) -> dict[str, Any]:
        """Return a table under the references of the list, R1 for r1; refuse parts that are not there, or there twice."""
        written: dict[str, str] = {}
        found = {}
        for key, each in table_of(name, table, what).items():
            reference = key if key in others else self.part(key).reference
            if reference in found:
                raise ValueError(f"{name} must name {reference} once, got {written[reference]!r} and {key!r}")
            written[reference], found[reference] = key, each
        return found

    def record(self, reference: str) -> Any:
        """Return the record of a part: measured where there are readings, else its type."""
        found = self._resolved(reference)
        own = self.own(reference)
        return found.device if own is None else own.device

    def own(self, reference: str) -> OwnPart | None:
        """Return what is known of a part by readings, None if nothing is."""
        name = self.part(reference).reference
        return next((own for own in self.own_parts if own.reference == name), None)

    def device(self, reference: str, kind: type[D] = Device) -> D:  # type: ignore[assignment]
        """Return one part of plain numbers: measured where there are readings, else the usual one of its type."""
        record = self.record(reference)
        if not isinstance(record, kind):
            raise OtherKind(
                f"{self.place(reference)}: {self.part(reference).value_text!r} is no {kind_word(kind)}; "
                "fit one there, or give its role to another reference"
            )
        return devices.typical(record)

    def resistance(self, reference: str) -> float:
        """Return the value of a resistor [Ω]."""
        return self._valued(reference, "Ω")

    def capacitance(self, reference: str) -> float:
        """Return the value of a capacitor [F]."""
        return self._valued(reference, "F")

    def pins(self, reference: str) -> tuple[PinRole, ...]:
        """Return the pins of a part with their roles and nets."""
        return self._resolved(reference).pins

    def net(self, reference: str, pin: str) -> str:
        """Return the net at a pin, named as in the list or by its role."""
        for entry in self.pins(reference):
            if pin in (entry.pin, entry.role):
                return entry.net
        known = ", ".join(entry.pin for entry in self.pins(reference))
        raise ValueError(f"{self.place(reference)}: there is no pin {pin!r}; there are {known}")

    def control(self, reference: str, rotation: ArrayLike | None = None) -> Control:
        """Return a control at its position, or at those given, as its pins are wired."""
        part, taper = self.part(reference), self.record(reference)
        if part.kind not in CONTROLS:
            raise ValueError(f"{self.place(reference)}: a {part.kind} is no control")
        turned = numeric("rotation", self.rotations.get(part.reference, 0.5) if rotation is None else rotation)
        taper = devices.typical(taper)
        found = controls.potentiometer(turned, resistance_total=part.value, taper=taper)
        first, wiper, last = (self.net(reference, pin) for pin in ("1", "2", "3"))
        if first in (wiper, NOT_CONNECTED):
            lug, ohms = "clockwise", found.resistance_clockwise
        elif last in (wiper, NOT_CONNECTED):
            lug, ohms = "counterclockwise", found.resistance_counterclockwise
        else:
            lug, ohms = "", found.track_fraction * np.nan
        return Control(
            rotation=turned[()],
            track_fraction=found.track_fraction,
            resistance=ohms,
            resistance_total=part.value,
            taper=taper,
            lug=lug,
        )

    def voltages(self, current: ArrayLike) -> Array:
        """Return the supply [V] in the lowest, usual and highest case at the current of each case [A]."""
        amps = np.broadcast_to(np.asarray(current, float), 3)
        if isinstance(self.supply, Battery):
            block = devices.typical(self.supply)
            return np.asarray(supply.battery_voltage(BATTERY_USED, current_load=amps, battery=block).voltage_output)
        if isinstance(self.supply, Adaptor):
            found = supply.adaptor_voltage(amps, adaptor=self.supply)
            cases = (found.voltage_supply_min, found.voltage_supply, found.voltage_supply_max)
            return np.array([np.broadcast_to(case, 3)[k] for k, case in enumerate(cases)])
        return np.asarray(self.supply, float)

    def _resolved(self, reference: str) -> ResolvedPart:
        words("reference", reference)
        for found in self.parts:
            if found.part.reference.casefold() == reference.casefold():
                return found
        names = [found.part.reference for found in self.parts]
        near = difflib.get_close_matches(reference, names, n=4, cutoff=0.5)
        file = next((found.part.place.partition(",")[0] for found in self.parts if found.part.place), "the list")
        hint = f"; near it are {', '.join(near)}" if near else ""
        raise ValueError(f"{file} has no {reference}{hint}: put the part into the list, or name the one that is there")

    def place(self, reference: str) -> str:
        """Return where a part stands in the list, for an error."""
        part = self.part(reference)
        return f"{part.place or 'the list'}, {part.reference}"

    def _valued(self, reference: str, unit: str) -> float:
        part = self.part(reference)
        if part.unit != unit or part.kind in CONTROLS:
            wanted = {"Ω": "resistor", "F": "capacitor"}[unit]
            raise OtherKind(f"{self.place(reference)}: a {wanted} is wanted there, the list has a {part.kind}")
        return part.value


@io
def assemble(
    parts: str | Path | Sequence[Part],
    *,
    supply: Any,
    rotations: Mapping[str, float] | None = None,
    readings: Mapping[str, str | Path] | None = None,
    meter: Meter = devices.METER_DIGITAL,
    bypassed: bool = False,
    unplugged: Sequence[str] = (),
    tables: Sequence[str | Path] = (),
) -> Board:
    """Make a board of a parts list: each part with its record and nets, own parts fitted, conditions set.

    Parameters
    ----------
    parts : str, Path or sequence of Part
        The list, as a file ``parts.csv`` or already read.
    supply : Battery, Adaptor, str, float or sequence
        What feeds the build: a record or its text (``9 V alkaline``), one voltage at the socket, or lowest, usual and
        highest, as numbers [V] or texts (``9V``).
    rotations : mapping of str to float, optional
        Where each control stands, 0 fully anticlockwise to 1 fully clockwise; half way where not given.
    readings : mapping of str to str or Path, optional
        For each measured part its file of readings, beside the list where the path is not whole. A part whose cell
        ``fitted`` or ``note`` names such a file needs no entry.
    meter : Meter, optional
        The meter that will read the build; the usual digital one of 10 MΩ if not given.
    bypassed : bool, optional
        True where the footswitch stands in bypass.
    unplugged : sequence of str, optional
        Jacks and barrel connectors without a plug, by reference; there is one in each unless given.
    tables : sequence of str or Path, optional
        Tables of a builder's own records, which go before the package's, also for what `changed` fits later.

    Returns
    -------
    Board
        The board; ask it for parts by reference.

    Raises
    ------
    FileNotFoundError
        If a file is not there.
    ValueError
        If a part or a reading cannot be read, with file, line, reference and the cure; if a reference, a rotation or a
        supply is none.

    Notes
    -----
    A battery is taken nine tenths used, half used and fresh (common practice).

    References
    ----------
    PRACTICE, lowest, usual and highest supply.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'R1,resistor,10k,12k,1%,,"1: rail, 2: half supply",\\n'
    ...     'VR1,potentiometer,100k log,,20%,,"1: hold, 2: ground, 3: ground",\\n'
    ... )
    >>> build = assemble(path, supply="9V", rotations={"VR1": 0.5})
    >>> build.resistance("R1"), round(build.control("VR1").resistance)
    (12000.0, 15000)
    """
    if isinstance(parts, (str, Path)):
        path = file_path("parts", parts)
        home, listed = path.parent, read_parts(path)
    else:
        home, listed = Path(), list_of("parts", parts, "parts, or the path of their file", Part)
    measurer = devices.typical(is_a("meter", meter, Meter))
    files: dict[str, str] = {}
    cleared = []
    for part in listed:
        own, part = _own_file(part)
        files |= {part.reference: own} if own else {}
        cleared.append(part)
    own_tables = tuple(
        file_path("tables", path, there=True).resolve() for path in list_of("tables", tables, "paths of tables")
    )
    board = Board(
        parts=resolve_parts(cleared, tables=own_tables),
        own_parts=(),
        supply=_supply(supply),
        rotations={},
        bypassed=yes_no("bypassed", bypassed),
        meter=measurer,
        tables=own_tables,
    )
    empty = []
    for reference in list_of("unplugged", unplugged, "references", str):
        part = board.part(reference)
        if part.kind not in ("jack", "connector"):
            raise ValueError(f"unplugged must name jacks and connectors; {part.reference} is a {part.kind}")
        empty.append(part.reference)
    turned = board.by_reference("rotations", rotations, "positions by reference")
    for reference, position in turned.items():
        one_number(f"rotations: {reference}", position, "", least=0, most=1)
        board.control(reference)
    for reference, file in board.by_reference("readings", readings, "files by reference").items():
        files[reference] = str(file)
    found: list[OwnPart] = []
    cautions: tuple[Caution, ...] = ()
    for reference, file in files.items():
        own_part, told = measured(board.part(reference), board.record(reference), home / file, measurer)
        found += [own_part] if own_part else []
        cautions += told
    return replace(board, own_parts=tuple(found), rotations=turned, unplugged=tuple(empty), cautions=cautions)


def _own_file(part: Part) -> tuple[str, Part]:
    """Return the file of readings that a part names, and the part without it in its value."""
    if part.unit:
        return "", part
    if file := named_file(part.value_text):
        rest = FILE.sub("", part.value_text).strip(" ,;:()")
        for word in (", measured", "measured", ", own", "own"):
            rest = rest.removesuffix(word).strip(" ,;:")
        return file, replace(part, value_text=rest or part.text_listed)
    return ("" if part.text_listed else named_file(part.note)), part


def _supply(given: Any) -> Any:
    if isinstance(given, (Battery, Adaptor)):
        return given
    if isinstance(given, str):
        try:
            return _supply([read_value(given, unit="V")])
        except ValueError:
            with contextlib.suppress(ValueError):
                found = find_device(given)
                if isinstance(found, (Battery, Adaptor)):
                    return found
            raise ValueError(f"supply must be a battery, an adaptor or volts such as '9V', got {told(given)}") from None
    if isinstance(given, Sequence) and any(isinstance(text, str) for text in given):
        given = [read_value(text, unit="V") if isinstance(text, str) else text for text in given]
    volts = np.atleast_1d(numeric("supply", given, above=0))
    if volts.shape not in ((1,), (3,)) or np.isnan(volts).any() or np.any(np.diff(volts) < 0):
        raise ValueError(
            "supply must be one voltage, or lowest, usual and highest in this order, "
            f"got {', '.join(shown(float(part), 'V') for part in volts.flat[:4])}"
        )
    volts = np.broadcast_to(volts, 3).copy()
    volts.flags.writeable = False
    return volts


@search
def changed(board: Board, **fitted: str) -> Board:
    """Return the same board with other parts fitted.

    Parameters
    ----------
    board : Board
        The board.
    **fitted : str
        For each reference what goes there, written as in the list: ``R5="820R"``, ``IC2="NE5532"``, ``VR3="1M log"``,
        ``C4="47u/25V"``. A type is looked for in the tables that the board was assembled with, then in the package's. Another
        battery feeds a board that a battery fed.

    Returns
    -------
    Board
        A new board; readings of a part that was replaced are not taken over.

    Raises
    ------
    ValueError
        If a reference is not on the board or there twice, or a text cannot be read.

    References
    ----------
    PRACTICE, one part at a time.

    Examples
    --------
    >>> from pedalcalc.parts import Connection, Part
    >>> nan, nets = float("nan"), (Connection("1", "in"), Connection("2", "out"))
    >>> part = Part("R1", "resistor", 1e3, "Ω", "1k", -0.05, 0.05, nan, 0.25, nan, nets, "")
    >>> changed(assemble([part], supply=9.0), R1="2k2").resistance("R1")
    2200.0
    """
    is_a("board", board, Board)
    parts = {found.part.reference: found for found in board.parts}
    swaps = board.by_reference("fitted", fitted, "texts by reference")
    for reference, text in swaps.items():
        old = board.part(reference)
        text, rated = without_volts(text, old.kind)
        try:
            value, law = read_part_value(text, old.kind)
        except ValueError as reason:
            raise ValueError(f"{reference}: {reason}") from None
        listed = old.text_listed or old.value_text
        new = replace(
            old, value=value, value_text=text, law=law or old.law, text_listed="" if text == listed else listed,
            voltage_max=read_value(rated, unit="V") if rated else old.voltage_max,
        )  # fmt: skip
        parts[reference] = resolve_parts((new,), tables=board.tables)[0]
    kept = tuple(own for own in board.own_parts if own.reference not in swaps)
    # What the fits told begins with the reference.
    told = tuple(caution for caution in board.cautions if caution.what.partition(":")[0] not in swaps)
    fed = next((parts[name].device for name in swaps if isinstance(parts[name].device, Battery)), board.supply)
    supply = fed if isinstance(board.supply, Battery) else board.supply
    return replace(board, parts=tuple(parts.values()), supply=supply, own_parts=kept, cautions=told)
