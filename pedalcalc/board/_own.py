"""A builder's own part from its readings: the record that takes the place of its class."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pedalcalc import bjt, devices, fet, led, opto, rc
from pedalcalc._arguments import file_path, is_a
from pedalcalc._base import io
from pedalcalc._meter import loading
from pedalcalc._ranges import TEMPERATURE_RECORD
from pedalcalc._result import Caution, Result, quantity
from pedalcalc.bjt.measure import leaking
from pedalcalc.catalogue import find_device
from pedalcalc.devices import Bjt, Coupler, Device, Jfet, Led, Meter
from pedalcalc.parts import Part
from pedalcalc.readings import Reading, coupler_pairs, paired, read_readings
from pedalcalc.values import read_value

FILE = re.compile(r"[^\s;,()]+\.csv\b", re.IGNORECASE)
KINDS = {Coupler: "coupler", Led: "indicator", Jfet: "JFET", Bjt: "transistor"}


@dataclass(frozen=True, slots=True, eq=False)
class OwnPart(Result):
    """One measured part: its record, the fit it comes from, and whether a cell's times were taken."""

    reference: str = quantity("text", "name on the board")
    path: str = quantity("path", "file of readings")
    device: Device = quantity("record", "measured part")
    result: Any = quantity("record", "the fit")
    time_factor: float = quantity("1", "band of the times, times or divided by; NaN where not timed")
    count: int = quantity("1", "readings used")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@io
def own_part(path: str | Path, *, device: Device, meter: Meter = devices.METER_DIGITAL) -> OwnPart:
    """Return one part as its readings make it: a coupler with the times of its cell, an LED, a JFET or a transistor.

    Parameters
    ----------
    path : path-like
        The file of readings, as `readings.write_readings` writes it.
    device : Coupler, Led, Jfet or Bjt
        What its type makes it: a record of `devices`.
    meter : Meter, optional
        The meter that took the readings; a pointer meter loads a JFET's source.

    Returns
    -------
    OwnPart
        The part in `device`, the fit in `result`, and the band of a cell's times in `time_factor`, NaN where none was timed.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    ValueError
        If `device` is none of the four, or the readings do not suffice or belong to another type.

    Notes
    -----
    The same as `assemble` does with a file that the parts list names; see `opto.fit_coupler`, `opto.fit_timing`,
    `led.fit_led`, `fet.fit_jfet` and `bjt.fit_bjt`. Times are read from ``LDR rise time`` and ``LDR fall time``, whose
    condition tells current and resistance passed, such as ``2 mA off, to 47k``.

    References
    ----------
    PRACTICE, readings in pairs.

    Examples
    --------
    Two steps of a coupler, and when its cell passed 47 kΩ in the dark:

    >>> import tempfile
    >>> from pedalcalc import devices, readings
    >>> rows = [("LED current", 1e-3, "A", "step 1"), ("LDR resistance", 590.0, "Ω", "step 1"),
    ...         ("LED current", 1e-4, "A", "step 2"), ("LDR resistance", 2960.0, "Ω", "step 2"),
    ...         ("LDR fall time", 0.15, "s", "2 mA off, to 47k")]
    >>> taken = [readings.Reading("2026-04-11", what, "coupler", value, unit, step, "") for what, value, unit, step in rows]
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = readings.write_readings(f"{folder}/my-coupler.csv", readings=taken)
    ...     mine = own_part(path, device=devices.COUPLER_GREEN_GL5528)
    >>> mine.count
    3
    """
    path = file_path("path", path, there=True)
    is_a("device", device, Device)
    is_a("meter", meter, Meter)
    if type(device) not in KINDS:
        raise ValueError(f"device must be a {', '.join(KINDS.values())}, got {device.name}")
    taken = read_readings(path)
    kind = "transistor" if isinstance(device, (Jfet, Bjt)) else KINDS[type(device)]
    if other := _other_type(taken, kind, device):
        raise ValueError(f"path {path.name} holds readings of a {other}, device is {device.name}")
    try:
        return _fitted("", device, path, taken, meter)
    except (TypeError, ValueError, RuntimeError) as reason:
        raise ValueError(f"{path.name}: {reason}") from None


def named_file(text: str) -> str:
    """Return the file of readings that a cell names, empty if none."""
    found = FILE.search(text)
    return found[0].replace("\\", "/") if found else ""


def measured(part: Part, record: Device | None, path: Path, meter: Meter) -> tuple[OwnPart | None, tuple[Caution, ...]]:
    """Return the part as its readings make it, or None where they belong to another type, and what is to be told of it."""
    where = f"{part.place or 'the list'}, {part.reference}"
    if not path.is_file():
        raise FileNotFoundError(
            f"{where}: its file of readings is not there: {path}; a name alone is looked for beside the list"
        )
    taken = read_readings(path)
    if record is not None and (other := _other_type(taken, part.kind, record)):
        return None, (
            Caution(
                f"{part.reference}: {path.name} holds readings of a {other}, fitted is {record.name}; not used",
                f"measure your {record.name} and name its file, or fit the {other}",
                np.nan,
                np.nan,
                "",
            ),
        )
    if record is None or type(record) not in KINDS:
        raise ValueError(
            f"{where}: readings are taken of {', '.join(KINDS.values())}, not of a {part.kind}; take {path.name} out"
        )
    try:
        own = _fitted(part.reference, record, path, taken, meter)
    except (TypeError, ValueError, RuntimeError) as reason:
        raise ValueError(f"{where}: {path.name}: {reason}") from None
    return own, tuple(dataclasses.replace(told, what=f"{part.reference}: {told.what}") for told in own.cautions)


def _fitted(reference: str, record: Device, path: Path, taken: Sequence[Reading], meter: Meter) -> OwnPart:
    fits: dict[type, Any] = {Coupler: _coupler, Led: _lamp, Jfet: _jfet, Bjt: _transistor}
    own: OwnPart = fits[type(record)](reference, record, path, taken, meter)
    return own


def _other_type(taken: Sequence[Reading], kind: str, record: Device) -> str:
    """Return the name of another type that the places of the readings name, empty if none does."""
    for place in dict.fromkeys(reading.place for reading in taken):
        for word in filter(lambda text: re.search(r"\d{3}", text), re.split(r"[\s,]+", place)):
            try:
                found = find_device(word, kind=kind)
            except ValueError:
                continue
            if found.name != record.name and (type(found) is type(record) or kind == "transistor"):
                return found.name
    return ""


def _pairs(
    taken: Sequence[Reading], first: tuple[str, str], second: tuple[str, str]
) -> tuple[list[float], list[float]]:
    """Return the values of two quantities, each given as its name and unit, paired by place and condition."""
    pairs = paired(taken, first, second)
    return [one.value for one, _ in pairs], [other.value for _, other in pairs]


def _coupler(reference: str, record: Coupler, path: Path, taken: Sequence[Reading], meter: Meter) -> OwnPart:
    del meter
    pairs = coupler_pairs(taken)
    found = opto.fit_coupler(
        pairs.current,
        resistance_cell=pairs.resistance,
        coupler=record,
        resistance_dark=pairs.resistance_dark,
        resistance_dark_least=pairs.resistance_dark_least,
    )
    coupler, factor, cautions = found.coupler, np.nan, found.cautions
    times = [r for r in taken if r.what in ("LDR rise time", "LDR fall time")]
    if times:
        timed = _timing(times, coupler)
        coupler, factor, cautions = timed.coupler, float(timed.time_factor), cautions + timed.cautions
    return OwnPart(
        reference=reference,
        path=path.name,
        device=coupler,
        result=found,
        time_factor=factor,
        count=len(pairs.current) + len(times),
        cautions=cautions,
    )


def _timing(times: Sequence[Reading], coupler: Coupler) -> Any:
    """Fit the cell's times; a condition such as `2 mA off, to 47k` tells the current and the resistance passed."""
    rows: dict[str, list[tuple[float, float, float]]] = {"rise": [], "fall": []}
    for reading in times:
        told = re.fullmatch(r"\s*([0-9].*?A)\s+(?:on|off),?\s+to\s+(\S+)\s*(?:Ω|ohm)?\s*", reading.condition)
        if not told:
            raise ValueError(
                f"condition {reading.condition!r} of {reading.what} must tell current and resistance passed, "
                "such as '2 mA off, to 47k'"
            )
        current, passed = read_value(told[1], unit="A"), read_value(told[2], unit="Ω")
        if passed == 0:
            raise ValueError(f"condition {reading.condition!r} of {reading.what} must tell a resistance above 0")
        lit = opto.coupler_point(current, coupler=coupler)
        row = (float(lit.illuminance), float(lit.resistance_cell) / passed, reading.value)
        rows["rise" if "rise" in reading.what else "fall"].append(row)
    columns = {
        f"{name}_{kind}": [row[k] for row in rows[kind]]
        for kind in rows
        for k, name in enumerate(("illuminance", "fraction", "time"))
    }
    return opto.fit_timing(cell=coupler, **columns)


def _resistor(reading: Reading, where: str = "") -> float:
    """Return the resistor [Ω] with which a condition begins, as `470 Ω`; refused where it does not, or volts were not read."""
    told = re.match(r"\s*([0-9][0-9.]*\s?[kKMR]?[0-9]*)\s*(?:Ω|ohm)?", reading.condition)
    if reading.unit != "V" or not told:
        raise ValueError(
            f"{reading.what.casefold()} must be in V with the resistor{where} as condition, such as '470 Ω', "
            f"got {reading.unit} with {reading.condition!r}"
        )
    return read_value(told[1].replace(" ", ""), unit="Ω")


def _as_current(reading: Reading) -> Reading:
    """Return the current that a voltage across a resistor tells."""
    if (ohms := _resistor(reading)) == 0:
        raise ValueError(f"resistor voltage must have a resistor above 0 as condition, got {reading.condition!r}")
    return dataclasses.replace(reading, what="LED current", unit="A", value=reading.value / ohms)


def _lamp(reference: str, record: Led, path: Path, taken: Sequence[Reading], meter: Meter) -> OwnPart:
    del meter
    taken = [_as_current(reading) if reading.what.casefold() == "resistor voltage" else reading for reading in taken]
    amps, volts = _pairs(taken, ("LED current", "A"), ("LED voltage", "V"))
    found = led.fit_led(current=amps, voltage=volts, led=record)
    return OwnPart(
        reference=reference,
        path=path.name,
        device=found.led,
        result=found,
        time_factor=np.nan,
        count=len(amps),
        cautions=found.cautions,
    )


def _jfet(reference: str, record: Jfet, path: Path, taken: Sequence[Reading], meter: Meter) -> OwnPart:
    rows = []
    for reading in taken:
        if reading.what.casefold() != "source voltage":
            continue
        own = _resistor(reading, " at the source")
        named = find_device(reading.meter_text) if reading.meter_text else meter
        own_meter = devices.typical(is_a("meter", named, Meter))
        # It was taken on the range that shows it best, and a pointer meter is another resistor on each range.
        pulls = loading(reading.value, own_meter)
        rows.append((float(rc.parallel_resistance([own, pulls])), reading.value))
    rows = sorted(row for row in rows if not np.isnan(row[1]))
    if len(rows) < 2:
        raise ValueError("two readings of source voltage, with two resistors, are wanted to know a JFET")
    ohms, volts = zip(*rows, strict=True)
    alone = dataclasses.replace(devices.typical(meter), resistance_meter=np.inf)  # what it draws is in the resistors
    found = fet.fit_jfet(list(volts), resistance_source_pin=list(ohms), meter=alone, fet=record)
    mine = dataclasses.replace(
        found,
        name=f"{record.name}, measured",
        origin=f"fitted to own readings in {path.name}; ratings: {record.origin}",
    )
    return OwnPart(
        reference=reference,
        path=path.name,
        device=mine,
        result=found,
        time_factor=np.nan,
        count=len(rows),
        cautions=(),
    )


def _transistor(reference: str, record: Bjt, path: Path, taken: Sequence[Reading], meter: Meter) -> OwnPart:
    del meter
    leaks = [r.value for r in taken if r.what.casefold() == "leakage" and r.unit == "A"]
    rest = [r for r in taken if r.what.casefold() != "leakage"]
    collector, base = _pairs(rest, ("collector current", "A"), ("base current", "A"))
    read, usual = float(np.median(leaks)) if leaks else 0.0, devices.typical(record)
    leaky = usual.material == "germanium" and read == 0
    # What leaks from collector to base counts as base current too: IC - Icbo = hFE (IB + Icbo).
    unread = float(np.nan_to_num(usual.current_collector_base_leakage)) if leaky else 0.0
    unread = unread if unread < min(collector, default=0.0) else 0.0
    opens = [
        (above - unread) / (into + unread) * unread + unread if leaky else read
        for above, into in zip(collector, base, strict=True)
    ]
    fits = [
        bjt.fit_bjt(above, current_collector_open=leak, current_base=into, transistor=record)
        for above, into, leak in zip(collector, base, opens, strict=True)
    ]
    gain = float(np.median([float(found.current_gain) for found in fits]))
    own = dataclasses.replace(
        usual,
        name=f"{record.name}, measured",
        origin=f"gain of own readings in {path.name}; the rest: {record.origin}",
        current_gain=gain,
        current_for_gain=float(np.median(collector)),
    )
    if leaks and not leaky:
        own = leaking(own, np.asarray(read), np.asarray(TEMPERATURE_RECORD))
    return OwnPart(
        reference=reference,
        path=path.name,
        device=own,
        result=None,
        time_factor=np.nan,
        count=len(collector),
        cautions=(_unread(record, unread * (1 + gain)),) if leaky else (),
    )


def _unread(record: Bjt, leak: float) -> Caution:
    """Return the caution of a germanium part whose leakage nobody has read."""
    return Caution(
        f"no leakage was read, or none at all, which a meter counts as gain: taken with the base open is what a usual {record.name} leaks",
        "read the collector current with the base open, on the lowest range, and add it to the file as leakage",
        leak, np.nan, "A",
    )  # fmt: skip
