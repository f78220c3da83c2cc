"""Whether readings fit, which is the first that does not, and what it depends on."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from pedalcalc import devices
from pedalcalc._arguments import file_path, is_a, list_of, one_number
from pedalcalc._base import io
from pedalcalc._part_value import POLAR
from pedalcalc._units import percent, shown
from pedalcalc.bench._rows import Expected, ExpectedReading, Judged, JudgedReading
from pedalcalc.bench._suspects import alone, suspects
from pedalcalc.bench.expected import BOTH, BYPASSED, CURRENT, ENGAGED, expected_readings
from pedalcalc.bench.places import names_of, pins_of
from pedalcalc.board import Board
from pedalcalc.catalogue import find_device
from pedalcalc.circuit.elements import elements_of
from pedalcalc.devices import Meter
from pedalcalc.readings import Reading, read_readings
from pedalcalc.values import write_value

FITS, LOW, HIGH, UNKNOWN = "fits", "low", "high", "nothing to hold it against"
#: Band widths up to which a reading is just outside, and from which one is clearly so: work begins there, where one is.
JUST, CLEAR = 0.05, 0.25
#: How near the supply that was read is met [V].
MET = 1e-3
#: The largest reading that a meter on a build can show [V, A].
MOST = 1e4
#: How many parts are told.
TOLD = 5
#: Kinds whose leads are not alike.
TURNED = ("transistor", "diode", "indicator", "integrated circuit", "regulator", "coupler", *POLAR)
#: Readings of the whole set that must be off alike before the supply is named, and from which voltage on they count [V].
ALIKE, LEAST = 3, 0.2


@io
def judge_readings(
    board: Board,
    *,
    readings: str | Path | Sequence[Reading],
    serial: str = "",
    count: int = 400,
    seed: int = 1,
    coverage: float = 0.99,
    reels: Sequence[Sequence[str]] = (),
) -> Judged:
    """Hold readings against what the board should give, and name the first that does not fit.

    Parameters
    ----------
    board : Board
        The build under its conditions, with the builder's meter.
    readings : str, Path or sequence of Reading
        A file of `pedalcalc.readings`, or what was read from it: `what` is ``voltage`` or ``supply current``, `place` a
        net or a pin such as ``IC2 pin 1``, `condition` says ``bypassed`` where the footswitch stands there.
    serial : str, optional
        Which unit to judge, where the file holds several.
    count : int
        Units to draw [1], a whole number, at least 20.
    seed : int
        Start of the random numbers [1], a whole number, at least 0.
    coverage : float
        Share of the units that a band holds [1], above 0 and below 1.
    reels : sequence of sequence of str, optional
        References of parts from one reel or bag.

    Returns
    -------
    Judged
        One row for each reading from the top of the supply down the signal path, and the verdict on all.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    ValueError
        If a place is no net or pin of the board, a quantity is another than these two, a place was read twice in one
        state, or several units or meters stand there.
    RuntimeError
        If the board has no operating point.

    Notes
    -----
    The supply that was read takes the place of the one assumed, and everything is solved again for it. Where the supply was
    not read and everything is off by one ratio, the supply that explains it is looked for: readings that all fit
    then are the supply's, not as many faults. What a reading depends on: how far it moves when one part alone does, every
    resistor by 10 % and every record to an end of its sheet, so that a precise part is not left out. The first of these is the
    part that alone explains most of all that was read, what fits included: resistors from a thousandth to a thousand times
    their value, records within their sheets, misses counted in widths of the bands.

    References
    ----------
    PRACTICE, from the supply on; DERIVED, one part moved at a time, least squares along its values.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from pedalcalc.board import assemble
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'X1,connector,battery clip,,,,"plus: rail, minus: ground",\\n'
    ...     'R1,resistor,10k,,5%,,"1: rail, 2: half",\\n'
    ...     'R2,resistor,10k,,5%,,"1: half, 2: ground",\\n'
    ... )
    >>> day = "2026-03-14 10:32"
    >>> taken = [Reading(day, "voltage", "rail", 8.7, "V", ""), Reading(day, "voltage", "half", 6.0, "V", "")]
    >>> found = judge_readings(assemble(path, supply="9V"), readings=taken)
    >>> [row.verdict for row in found.rows], found.first
    (['fits', 'high'], 'half')
    """
    is_a("board", board, Board)
    if isinstance(readings, (str, Path)):
        taken = read_readings(file_path("readings", readings, there=True))
    else:
        taken = list_of("readings", readings, "readings", Reading)
    taken = _one_unit(taken, is_a("serial", serial, str))
    board = _on_their_meter(board, taken)
    asked: dict[str, Any] = {"count": count, "seed": seed, "coverage": coverage, "reels": reels}
    plain = expected_readings(board, **asked)
    read = _matched(board, plain, taken)
    if not read:
        raise ValueError("readings hold no voltage and no supply current that was read")
    start = _source_voltage(board)
    supplied = next((one for (place, _), one in read.items() if place == plain.place_supply), None)
    if supplied is not None:
        held = _for_supply(board, plain, supplied / plain.voltage_supply, start, asked)
        rows = _judged(held, read)
        lighter = _lighter(board, read, supplied / plain.voltage_supply, start, asked, rows)
        return _told(board, held, rows, "; ".join(filter(None, (lighter, _supply_words(plain, supplied)))))
    rows = _judged(plain, read)
    ratio, guessed = _one_ratio(board, plain, rows, read, start, asked)
    if guessed is not None:
        words = (
            f"all readings are {percent(abs(ratio - 1))} {'low' if ratio < 1 else 'high'} alike and fit a supply of "
            f"{write_value(guessed.voltage_supply, unit='V', digits=3)}: suspect the adaptor or the battery, not "
            f"{sum(row.verdict in (LOW, HIGH) for row in rows)} faults; measure {guessed.place_supply!r}"
        )
        return Judged(
            rows=rows, verdict=words, first=plain.place_supply, depends_on=(), voltage_supply=guessed.voltage_supply
        )
    lost = plain.place_supply and any(row.verdict in (LOW, HIGH) for row in rows)
    unread = f"the supply was not read: read {plain.place_supply!r} first, all else hangs on it" if lost else ""
    return _told(board, plain, rows, unread)


def _one_unit(taken: tuple[Reading, ...], serial: str) -> tuple[Reading, ...]:
    """Return the readings of one unit."""
    serials = list(dict.fromkeys(one.serial for one in taken if one.serial))
    if serial:
        if serial not in serials:
            raise ValueError(
                f"serial {serial!r} has no readings; there are {', '.join(serials) or 'none with a serial'}"
            )
        return tuple(one for one in taken if one.serial in ("", serial))
    if len(serials) > 1:
        raise ValueError(f"readings are of several units ({', '.join(serials)}); say which with `serial`")
    return taken


def _on_their_meter(board: Board, taken: tuple[Reading, ...]) -> Board:
    """Return the board read with the meter that the readings name."""
    meters = list(dict.fromkeys(one.meter_text for one in taken if one.meter_text))
    if len(meters) > 1:
        raise ValueError(f"readings are of several meters ({', '.join(meters)}); a new meter is a new file")
    if not meters:
        return board
    found = find_device(meters[0])
    return replace(board, meter=devices.typical(is_a("meter", found, Meter)))


def _matched(board: Board, expected: Expected, taken: tuple[Reading, ...]) -> dict[tuple[str, str], float]:
    """Return values by net and state; a net is named by itself, one of its pins, or one that is joined to it."""
    metal = elements_of(replace(board, bypassed=False)).metal
    listed = dict.fromkeys(row.place for row in expected.rows)
    known = {CURRENT: CURRENT}
    for net in pins_of(board):
        stands = next((one for one in listed if one != CURRENT and metal.root(one)[0] == metal.root(net)[0]), "")
        for name in names_of(board, net) if stands else ():
            known.setdefault(name.casefold(), stands)
    found: dict[tuple[str, str], float] = {}
    for one in taken:
        value = one_number(f"reading at {one.place!r}", one.value, "", unknown=True, least=-MOST, most=MOST)
        if np.isnan(value):
            continue
        what = one.what.casefold()
        if what not in ("voltage", CURRENT):
            raise ValueError(f"readings: {one.what!r} is not judged; take 'voltage' or '{CURRENT}'")
        unit = "V" if what == "voltage" else "A"
        if one.unit != unit:
            raise ValueError(f"readings: {one.what} at {one.place!r} must be in {unit}, got {one.unit}")
        place = CURRENT if what == CURRENT else known.get(one.place.casefold(), "")
        if not place:
            near = difflib.get_close_matches(one.place.casefold(), known, n=3, cutoff=0.5)
            hint = f"near it are {', '.join(near)}" if near else f"there are {', '.join(listed)}"
            raise ValueError(f"readings: {one.place!r} is no net or pin of this board; {hint}")
        condition = one.condition.casefold()
        state = BYPASSED if "bypass" in condition else ENGAGED
        if state == ENGAGED and difflib.get_close_matches(condition, ("bypass", BYPASSED), cutoff=0.7):
            raise ValueError(
                f"readings: the condition at {one.place!r} is {one.condition!r}; write '{BYPASSED}' or leave it empty"
            )
        if (place, state) in found:
            raise ValueError(f"readings: {one.place!r} stands there twice, {state}; a new sitting is a new file")
        found[place, state] = value
    return found


def _judged(expected: Expected, read: Mapping[tuple[str, str], float]) -> tuple[JudgedReading, ...]:
    """Return a verdict for each reading, in the order of work."""
    rows = []
    for row in expected.rows:
        for state in (ENGAGED, BYPASSED):
            if (row.place, state) in read and row.state in (BOTH, state):
                rows.append(_one(row, state, read[row.place, state]))
    return tuple(rows)


def _one(row: ExpectedReading, state: str, value: float) -> JudgedReading:
    low, high = row.reading_low, row.reading_high
    if np.isnan(row.reading_typical):
        verdict, widths = UNKNOWN, np.nan
    else:
        verdict = LOW if value < low else HIGH if value > high else FITS
        widths = max(low - value, value - high, 0.0) / (high - low) if high > low else np.inf
    return JudgedReading(
        place=row.place,
        state=state,
        reading_low=low,
        reading_typical=row.reading_typical,
        reading_high=high,
        value=float(value),
        unit=row.unit,
        verdict=verdict,
        widths=float(widths),
    )


def _source_voltage(board: Board) -> float:
    """Return the voltage of the source behind its own resistance [V]."""
    sources = elements_of(board).sources
    return float(np.asarray(sources[-1].law[0]).flat[0]) if sources else float("nan")


def _for_supply(board: Board, plain: Expected, ratio: float, start: float, asked: Mapping[str, Any]) -> Expected:
    """Return what is expected where the supply's net stands at a share of what it was taken for."""
    if not ratio > 0:
        side = "below" if plain.voltage_supply < 0 else "above"
        got = plain.voltage_supply * ratio
        raise ValueError(
            f"readings: the supply at {plain.place_supply!r} must be {side} 0 V, got {shown(got, 'V')}; nothing is powered, or the "
            "leads are exchanged"
        )
    wanted = abs(plain.voltage_supply) * ratio
    source, held = start, plain
    for _ in range(4):  # behind a battery's own resistance the source moves by a little more than its terminals
        source += wanted - abs(held.voltage_supply)
        held = expected_readings(board, values={"supply": source}, **asked)
        if abs(abs(held.voltage_supply) - wanted) < MET:
            break
    return held


def _one_ratio(
    board: Board,
    plain: Expected,
    rows: Sequence[JudgedReading],
    read: Mapping[tuple[str, str], float],
    start: float,
    asked: Mapping[str, Any],
) -> tuple[float, Expected | None]:
    """Return the ratio by which all readings are off, and what is expected at the supply that makes them fit."""
    off = [row for row in rows if row.unit == "V" and abs(row.reading_typical) > LEAST]
    wrong = [row for row in off if row.verdict in (LOW, HIGH)]
    if len(off) < ALIKE or len(wrong) < ALIKE or len({row.verdict for row in wrong}) > 1:
        return 1.0, None
    ratio, held = 1.0, plain
    for _ in range(3):
        usual = {(row.place, row.state): row.reading_typical for row in held.rows}
        shares = [row.value / usual.get((row.place, row.state), usual.get((row.place, BOTH), np.nan)) for row in off]
        ratio *= float(np.median(shares))
        if not 0.3 < ratio < 3.0:
            return 1.0, None
        held = _for_supply(board, plain, ratio, start, asked)
    again = _judged(held, read)
    return (ratio, held) if all(row.verdict in (FITS, UNKNOWN) for row in again) else (1.0, None)


def _lighter(
    board: Board,
    read: Mapping[tuple[str, str], float],
    ratio: float,
    start: float,
    asked: Mapping[str, Any],
    rows: Sequence[JudgedReading],
) -> str:
    """Return words where all readings fit a meter of a tenth of the resistance, which pulls weak nets down."""
    wrong = [row for row in rows if row.verdict in (LOW, HIGH) and row.place != CURRENT]
    pulled = wrong and all(abs(row.value) < abs(row.reading_typical) for row in wrong)
    other = devices.typical(devices.METER_CHEAP)
    if not pulled or not float(board.meter.resistance_meter) > float(other.resistance_meter):
        return ""
    cheap = replace(board, meter=other)
    held = _for_supply(cheap, expected_readings(cheap, **asked), ratio, start, asked)
    if any(row.verdict in (LOW, HIGH) for row in _judged(held, read)):
        return ""
    return (
        f"a {other.name} would read so on a healthy board: if yours is one, write 'cheap' into the column meter, or as the meter "
        "of the sheet"
    )


def _mistyped(row: JudgedReading) -> str:
    """Return words where a reading would fit if its point stood elsewhere."""
    for power, share in (
        (0.1, "a tenth of it"),
        (10.0, "ten times it"),
        (1e-3, "a thousandth of it"),
        (1e3, "a thousand times it"),
    ):
        if row.reading_low <= power * row.value <= row.reading_high and abs(row.reading_typical) > LEAST:
            return f"{share} would fit: look at the point of the number and at the meter's range first"
    return ""


def _supply_words(plain: Expected, read: float) -> str:
    usual = write_value(plain.voltage_supply, unit="V", digits=3)
    return f"held against the supply that was read, {write_value(read, unit='V', digits=3)} (the list says {usual})"


def _told(board: Board, held: Expected, rows: tuple[JudgedReading, ...], words: str) -> Judged:
    """Return the verdict on all readings, and what the first that does not fit depends on."""
    wrong = [row for row in rows if row.verdict in (LOW, HIGH)]
    if not wrong:
        fit = sum(row.verdict == FITS for row in rows)
        whole = f"all {fit} readings fit" if len(rows) > 1 else "the reading fits" if fit else ""
        if fit < len(rows):
            whole = f"{fit} of {len(rows)} readings fit, the others have nothing to hold them against"
        return Judged(
            rows=rows,
            verdict="; ".join(filter(None, (whole, words))),
            first="",
            depends_on=(),
            voltage_supply=held.voltage_supply,
        )
    nets = [row for row in wrong if row.place != CURRENT]  # a current says that, a net says where
    clear = [row for row in nets if row.widths >= CLEAR] or nets or wrong
    first = clear[0]
    clearly = "clearly does not fit" if nets and first is not nets[0] else "does not fit"
    depends = suspects(board, first, rows)[:TOLD]
    many = f"{len(wrong)} of {len(rows)} readings {'does' if len(wrong) == 1 else 'do'} not fit"
    whole = (
        f"{many}: work from the top, {first.place!r} ({first.state}) is the first that {clearly}; it is {first.verdict} "
        f"{_by(first.widths)}; it depends on {', '.join(one.name for one in depends[:3]) or 'its supply'}{alone(depends)}"
    )
    when = "too" if "all that was read fits" in whole else "first"
    hang = "" if first.place == CURRENT else f"{_hanging(board, first.place)}, {when}"
    return Judged(
        rows=rows,
        verdict="; ".join(filter(None, (whole, _mistyped(first), hang, words))),
        first=first.place,
        depends_on=tuple((one.name, one.share) for one in depends),
        voltage_supply=held.voltage_supply,
    )


def _by(widths: float) -> str:
    return "and just outside its band" if widths < JUST else f"by {widths:.1f} band widths"


def _hanging(board: Board, net: str) -> str:
    found = {part.part.reference: part.part.kind for part, _ in pins_of(board)[net]}
    turned = [name for name, kind in found.items() if kind in TURNED]
    leads = f", at which lead of {' and '.join(turned)} is which" if turned else ""
    return f"on {net!r} hang {', '.join(found)}: look at their joints{leads}, and at what bridges to a neighbour"
