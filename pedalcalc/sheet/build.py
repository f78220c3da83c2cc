"""From a list to its sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc import board as boards
from pedalcalc import devices, plot, report
from pedalcalc._arguments import file_path, is_a, list_of, one_number, table_of
from pedalcalc._base import io
from pedalcalc._number_text import number_text
from pedalcalc._refusal import Unsolved
from pedalcalc._result import Caution
from pedalcalc._screen_text import build_name
from pedalcalc.bench import (
    Expected,
    FirstPower,
    Judged,
    changes,
    expected_readings,
    first_power,
    judge_readings,
)
from pedalcalc.board import Board, Difference, compared
from pedalcalc.board.sockets import socket_cautions
from pedalcalc.catalogue import find_device
from pedalcalc.circuit import OperatingPoint, operating_point
from pedalcalc.circuit.operating import RESTLESS, all_solved, solved_board, told
from pedalcalc.circuit.ratings import ratings
from pedalcalc.circuit.restless import swinging
from pedalcalc.circuit.signals import RESISTANCE_GENERATOR, RESISTANCE_LOAD
from pedalcalc.devices import Battery, Converter, Coupler, Meter, Mosfet
from pedalcalc.parts import Part, fitting_order, marking_text, read_parts
from pedalcalc.sheet._at_the_bench import power_section, readings_section
from pedalcalc.sheet._card import Card, card_of
from pedalcalc.sheet._found import described, has_socket, path, supply_of, supply_way
from pedalcalc.sheet._leads import leads_section
from pedalcalc.sheet._section import Section, words
from pedalcalc.sheet._slips import refuse_without_ground, shorted, slips, suspects
from pedalcalc.sheet._sound import Ways, clipping_section, corners_section, response_section, soundless
from pedalcalc.sheet._symptoms import symptoms_section
from pedalcalc.sheet._text import SHOWN, reading_text, reading_texts
from pedalcalc.sheet._untold import FULLER, left_out_words, others_of, restless, restless_words, unpredictable
from pedalcalc.supply import battery_life
from pedalcalc.values import nearest_value, write_code

#: Volts under load at which a 9 V block is taken for empty (common practice).
EMPTY = 7.0
CHANGES = "What changes with what you fitted"
HEARD = (
    "Told is what leaves the band of its parts, or moves by 1 dB, a third of an octave, or a tenth of a time (common "
    "practice). A time is that until a hundredth of a step is left."
)
DRAWS = 200
#: Units behind the bands of readings: of 738 and more the ends of 99 % are bounded with 95 % confidence.
READINGS = 760


@dataclass(frozen=True)
class Sheet:
    """A whole sheet: its sections in the order of the bench, the board behind them, and the card for the bench."""

    name: str
    board: Board
    expected: Expected
    judged: Judged | None
    power: FirstPower
    sections: Mapping[str, Section]
    card: Card
    cautions: tuple[Caution, ...]

    def _repr_html_(self) -> str:
        return "".join(section._repr_html_() for section in self.sections.values()) + self.card._repr_html_()

    def __str__(self) -> str:
        return "\n\n\n".join([*map(str, self.sections.values()), str(self.card)])

    __repr__ = __str__


@io
def build_sheet(
    parts: str | Path | Sequence[Part] | Board,
    *,
    supply: Any = None,
    rotations: Mapping[str, float] | None = None,
    own_readings: Mapping[str, str | Path] | None = None,
    readings: str | Path = "",
    serial: str = "",
    meter: str | Meter = "digital",
    net_in: str = "",
    net_out: str = "",
    resistance_generator: ArrayLike = RESISTANCE_GENERATOR,
    resistance_load: ArrayLike = RESISTANCE_LOAD,
    tables: Sequence[str | Path] = (),
) -> Sheet:
    """Make the sheet of any build from its parts list.

    Parameters
    ----------
    parts : str, Path, sequence of Part or Board
        The list; or a board that was assembled already, with its supply, controls, own parts and meter, whose arguments are
        then not looked at.
    supply : Battery, Adaptor, str, float or sequence, optional
        As for `pedalcalc.board.assemble`; found from the list where not given: 7, 9 and 9.6 V at a barrel connector or
        clip, the listed battery where there is no connector.
    rotations : mapping of str to float, optional
        Where each control stands, 0 to 1; half way where not given.
    own_readings : mapping of str to str or Path, optional
        Files of readings of the builder's own parts, as `readings` of `pedalcalc.board.assemble`.
    readings : str or Path, optional
        File of volts read on the built board, beside the list where the path is not whole.
    serial : str, optional
        Which unit of that file to judge.
    meter : str or Meter
        The builder's meter, ``digital`` if not given.
    net_in : str, optional
        Net that the guitar drives; the tip of the input jack where not named.
    net_out : str, optional
        Net that is listened to; the tip of the output jack where not named.
    resistance_generator : array_like
        Resistance of the guitar [Ω], at least 0; 10 kΩ if not given.
    resistance_load : array_like
        Input that follows [Ω], 0 to inf; 1 MΩ if not given.
    tables : sequence of str or Path, optional
        Tables of the builder's own records.

    Returns
    -------
    Sheet
        Sections ``cautions``, ``build``, ``parts``, ``supply``, ``response``, ``corners``, ``clipping``, ``changes``,
        ``readings``, ``symptoms``, ``power`` in `sections`; the two pages for the bench in `card`.

    Raises
    ------
    FileNotFoundError
        If a file is not there.
    ValueError
        If the list, a reading or an answer cannot be read, with file, line and reference.
    RuntimeError
        If the board has no operating point.

    References
    ----------
    PRACTICE, what stands on a worksheet and in which order.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'X1,connector,battery clip,,,,"plus: rail, minus: ground",\\n'
    ...     'J1,jack,mono 6.35 mm,,,,"tip: in, sleeve: ground",input\\n'
    ...     'J2,jack,mono 6.35 mm,,,,"tip: out, sleeve: ground",output\\n'
    ...     'R1,resistor,10k,,1%,,"1: in, 2: out",\\n'
    ...     'R2,resistor,10k,,1%,,"1: out, 2: ground",\\n'
    ...     'R3,resistor,4k7,,5%,,"1: rail, 2: ground",\\n'
    ... )
    >>> made = build_sheet(path)
    >>> list(made.sections)[:4], made.cautions
    (['cautions', 'build', 'parts', 'supply'], ())
    """
    for name, text in (("net_in", net_in), ("net_out", net_out), ("serial", serial)):
        is_a(name, text, str)
    table_of("rotations", rotations, "rotations by reference")
    table_of("own_readings", own_readings, "files by reference")
    for table in list_of("tables", tables, "paths of tables"):
        file_path("tables", table)
    if isinstance(parts, (str, Path)):
        parts = file_path("parts", parts, there=True)
    elif not isinstance(parts, Board):
        parts = list_of("parts", parts, "parts", Part)
    home = Path(parts).parent if isinstance(parts, (str, Path)) else Path()
    name = build_name(home)
    board = parts if isinstance(parts, Board) else _assembled(parts, supply, rotations, own_readings, meter, tables)
    refuse_without_ground(board)
    ways = Ways(
        net_in, net_out, one_number("resistance_generator", resistance_generator, "of the guitar", least=0),
        one_number("resistance_load", resistance_load, "that follows", least=0, infinity=True),
    )  # fmt: skip
    try:
        return _made(
            board,
            ways,
            name,
            None if isinstance(readings, str) and not readings else home / file_path("readings", readings),
            serial,
        )
    except Unsolved as reason:
        hint = suspects(board)
        raise Unsolved(
            f"{reason}{f'. First mend what looks like a slip in the list: {hint}' if hint else ''}"
        ) from None


def _made(board: Board, ways: Ways, name: str, file: Path | None, serial: str) -> Sheet:
    """Return the sheet of a board."""
    expected = expected_readings(board, count=READINGS)
    power = first_power(board, count=DRAWS)
    judged = None if file is None else judge_readings(board, readings=file, serial=serial, count=READINGS)
    usual = operating_point(board)
    supplied = [_supplied(board, float(volts)) for volts in board.voltages(0.0)]
    others = others_of(board)
    why, stuck = soundless(board, ways, others)
    swings = swinging(*solved_board(board))
    short = bool(shorted(usual))  # what is told of first power then is not of a healthy build
    found = slips(board, usual) + _cautions(board, usual, supplied, swings) + stuck + (() if short else power.cautions)
    heard, silent = not why, (words(f"Not computed: {why}"),)
    told_first = [restless_words(board, swings)] if swings else []
    told_first += [left_out_words(others)] if others else []
    sections = {
        "cautions": Section("Cautions", (report.cautions(*found), report.safety(*_topics(board)))),
        "build": Section("What this build is", (words(*described(board, ways.net_in, ways.net_out)),)),
        "parts": _parts_section(board),
        "supply": _supply_section(board, [point for point, _ in supplied]),
        "response": response_section(board, ways, told_first) if heard else Section("From jack to jack", silent),
        "corners": corners_section(board, ways) if heard else Section("Which parts set which corner", silent),
        "clipping": clipping_section(board, ways, told_first, rests=not swings)
        if heard
        else Section("What clips first", silent),
        "changes": _changes_section(board),
        "readings": readings_section(expected, usual, judged),
        "symptoms": symptoms_section(board),
        "power": power_section(power, has_socket(board), bool(swings), others, short),
    }
    return Sheet(name, board, expected, judged, power, sections, card_of(board, expected, power, name, short), found)


def _assembled(
    parts: str | Path | Sequence[Part],
    supply: Any,
    rotations: Mapping[str, float] | None,
    own_readings: Mapping[str, str | Path] | None,
    meter: str | Meter,
    tables: Sequence[str | Path],
) -> Board:
    """Return the board of a list, with what it was not told found from it."""
    listed = read_parts(parts) if isinstance(parts, (str, Path)) else tuple(parts)
    try:
        measurer = find_device(meter, tables=tables) if isinstance(meter, str) else meter
    except ValueError as reason:
        raise ValueError(f"meter: {reason}; the package knows 'digital', 'cheap' and 'pointer'") from None
    if not isinstance(measurer, Meter):
        raise ValueError(f"meter must name a multimeter, got {meter!r}")  # noqa: TRY004 (a text may be wrong, not the call)
    return boards.assemble(
        parts, supply=supply_of(listed) if supply is None else supply, rotations=rotations, readings=own_readings,
        meter=measurer, tables=tables,
    )  # fmt: skip


def _supplied(board: Board, volts: float) -> tuple[dict[str, Any], tuple[Caution, ...]]:
    """Return where a board stands at one supply, and what is beyond a rating there."""
    found, system, solved = solved_board(board, values={"supply": volts})
    all_solved(solved)
    point = told(found, system, solved)
    return point, ratings(board, found, point)


def _cautions(
    board: Board,
    usual: OperatingPoint,
    supplied: Sequence[tuple[dict[str, Any], tuple[Caution, ...]]],
    swings: frozenset[str],
) -> tuple[Caution, ...]:
    """Return what is beyond a rating from the lowest supply to the highest, engaged and bypassed."""
    levels = [float(volts) for volts in board.voltages(0.0)]
    found = [(volts, one) for volts, (_, cautions) in zip(levels, supplied, strict=True) for one in cautions]
    if not usual.unpredictable:
        found += [
            (volts, one)
            for volts, (point, _) in zip(levels, supplied, strict=True)
            for one in unpredictable(board, point["unpredictable"], FULLER)
        ]
    if any(one.part.kind == "switch" for one in board.parts):
        other = replace(board, bypassed=not board.bypassed)
        for volts in (max(levels), min(levels)):
            found += [(volts, one) for one in _supplied(other, volts)[1]]
    own = [restless(board, swings) if swings and RESTLESS in one.what else one for one in usual.cautions]
    every = [*board.cautions, *socket_cautions(board), *own]
    known = {one.what for one in every}
    once: dict[str, Caution] = {}
    for one in every + [one for _, one in reversed(found)]:
        worst = once.setdefault(one.what, one)
        if abs(one.value - one.limit) > abs(worst.value - worst.limit):
            once[one.what] = one
    for name in once.keys() - known:
        where = {volts for volts, one in found if one.what == name}
        if len(where) == 1:
            condition = f" while the supply gives {reading_text(where.pop(), 'V')}"
            once[name] = replace(once[name], what=name + condition)
    # what no meter shows is nothing
    return tuple(
        replace(one, value=0.0) if one.unit == "V" and abs(one.value) < SHOWN else one for one in once.values()
    )


def _topics(board: Board) -> tuple[str, ...]:
    kinds = {one.part.kind for one in board.parts}
    topics = ["solder", "leads", "swarf"]
    topics += ["static"] if any(isinstance(one.device, (Mosfet, Converter)) for one in board.parts) else []
    topics += ["adaptor"] if has_socket(board) else []
    topics += ["battery"] if "battery" in kinds else []
    topics += ["shared"] if has_socket(board) else []
    topics += ["electrolytic", "loud"]
    return (*topics, *(("cadmium", "hot-air") if kinds & {"coupler", "photocell"} else ()))


def _parts_section(board: Board) -> Section:
    shown: list[Any] = [words(
        "Lowest parts first, so that the board lies flat on what is being soldered (common practice). Measure what you can before it "
        "goes in, and tick it on the card at the end. Electrolytics, diodes, transistors, ICs and LEDs have a direction; on the back "
        "of the board everything is mirrored."
    )]  # fmt: skip
    for step, fitted in fitting_order([one.part for one in board.parts]).items():
        rows = [{"part": part.reference, "look for": marking_text(part), "what it does": part.note} for part in fitted]
        shown.append(report.table(rows, title=step[0].upper() + step[1:]))
    return Section("Parts, in fitting order", (*shown, *leads_section(board)))


def _supply_section(board: Board, points: Sequence[Mapping[str, Any]]) -> Section:
    rows, bars, others = [], {}, others_of(board)
    for net in supply_way(board):
        seen = np.array([point["voltages"].get(net, np.nan) for point in points], float)
        if not np.isnan(seen[1]):
            bars[net] = float(seen[1])
            texts = ["not predictable" if text == "none" else text for text in reading_texts(list(seen), "V")]
            rows.append({"net": net} | dict(zip(("lowest", "usual", "highest"), texts, strict=True)))
    amps = np.array([point["current_supply"] for point in points], float)
    rows.append(
        {"net": f"supply current{f', without {others}' if others else ''}"}
        | dict(zip(("lowest", "usual", "highest"), reading_texts(list(amps), "A"), strict=True))
    )
    shown: list[Any] = [plot.rail_diagram(bars, title="What is left of the supply, usual")] if bars else []
    shown.append(report.table(rows, title="From the socket inward, engaged"))
    battery = next((one for one in board.parts if isinstance(one.device, Battery)), None)
    if battery is not None and not others:
        life = battery_life(
            current_load=float(amps[1]),
            voltage_end=EMPTY,
            battery=devices.typical(board.record(battery.part.reference)),
        )
        shown.append(
            words(
                f"From {battery.part.label} that lasts about {number_text(float(life.hours_life), '1', 2)} hours, down to 7 V."
            )
        )
    return Section("Supply and headroom", tuple(shown))


def _changes_section(board: Board) -> Section:
    coupled = any(isinstance(one.device, Coupler) for one in board.parts)
    heard = f"{HEARD} What the compression does is not judged here." if coupled else HEARD
    differences: dict[str, list[Difference]] = {}
    for one in compared(board):
        differences.setdefault(one.reference, []).append(one)
    found = changes(board, count=DRAWS)
    if not differences:
        others = _others(board)
        instead = [one for one in changes(board, fitted=others, count=DRAWS) if one.reference in others]
        rows = [
            {"part": one.reference, "listed": one.text_listed, "instead": one.value_text, "verdict": one.verdict}
            for one in instead
        ]
        told = "All parts are fitted as listed." + (" What another value would do, for example:" if instead else "")
        return Section(CHANGES, (words(told), *([report.table(rows), words(heard)] if rows else [])))
    verdicts = {one.reference: one.verdict for one in found}  # none of a part that is as listed and measured
    rows = [
        {
            "part": name,
            "difference": "; ".join(one.reason for one in told),
            "verdict": verdicts.pop(name, told[-1].value_text),
        }
        for name, told in differences.items()
    ] + [{"part": name, "difference": "as above", "verdict": verdict} for name, verdict in verdicts.items()]
    table = report.table(rows, title="Fitted otherwise than listed, and what it changes")
    return Section(CHANGES, (table, *([words(heard)] if found else [])))


def _others(board: Board) -> dict[str, str]:
    """Return a fifth and five times, from stock, of the capacitors that the signal goes through first and last."""
    names = [name for name in path(board) if not name.endswith(")") and board.part(name).unit == "F"]
    turned = dict(zip(dict.fromkeys([*names[:1], *names[-1:]]), (0.2, 5.0), strict=False))
    stock = {name: float(nearest_value(board.part(name).value * by, stock="E6")) for name, by in turned.items()}
    return {name: write_code(value, unit="F") for name, value in stock.items()}
