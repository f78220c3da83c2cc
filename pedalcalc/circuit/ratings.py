"""What stands beyond a rating of the list or of a part's record, at one operating point."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pedalcalc import devices
from pedalcalc._part_value import POLAR
from pedalcalc._result import Caution, caution_above, caution_below
from pedalcalc.board import Board
from pedalcalc.circuit._regulated import regulated
from pedalcalc.circuit.elements import Elements
from pedalcalc.devices import Battery, Bjt, Converter, Coupler, Jfet, Mosfet, OpAmp

#: Reverse volts from which a polarised capacitor is in danger (common practice).
REVERSED = 0.5


def ratings(board: Board, found: Elements, point: Mapping[str, Any]) -> tuple[Caution, ...]:
    """Return a caution for everything that is beyond a rating."""
    volts, amps, watts = point["voltages"], point["currents"], point["powers"]
    cautions: list[Caution] = []

    pins = _pins(found)
    flat = {"volts": volts, "amps": amps, "watts": watts}

    for resolved in board.parts:
        part = resolved.part
        name, text = part.reference, part.label
        record = board.record(name)
        if name in watts and part.power_max > 0:
            cautions += caution_above(
                f"{text} burns more than it is rated for", "fit one of more watts, or of a higher value",
                watts[name], part.power_max, "W",
            )  # fmt: skip
        if part.unit == "F" and name in pins:
            over = _between(volts, pins[name], "plus", "minus")
            harm = " before power: beyond its volts it can burst" if part.kind in POLAR else ""
            cautions += caution_above(
                f"{text} stands more than its rated voltage", f"fit one of a higher rated voltage{harm}",
                np.abs(over), part.voltage_max, "V",
            )  # fmt: skip
            if part.kind in POLAR:
                cautions += caution_below(
                    f"{text} is reversed", "turn it round before power: reversed it heats up and can burst",
                    over, -REVERSED, "V",
                )  # fmt: skip
        if record is not None and name in pins:
            cautions += _device(text, name, devices.typical(record), pins[name], **flat)
    return (*cautions, *regulated(board, found, point), *_sources(board, found, amps))


def _pins(found: Elements) -> dict[str, dict[str, str]]:
    """Return for each part on the board the nets at its pins by role, as it is fitted: turned round where it is."""
    pins: dict[str, dict[str, str]] = {}
    for branches, roles in (
        (found.capacitors, ("plus", "minus")),
        (found.junctions, ("anode", "cathode")),
        (found.bipolars, ("base", "collector", "emitter")),
        (found.channels, ("gate", "drain", "source")),
        (found.couplers, ("anode", "cathode")),
        (found.consumers, ("supply", "ground")),
    ):
        for one in branches:
            pins[one.part] = dict(zip(roles, one.nets, strict=False))
    for one in found.amplifiers:
        pins[one.part] = dict(zip(("positive rail", "negative rail"), one.nets[3:], strict=True))
    return pins


def _between(volts: Any, net: Mapping[str, str], one: str, other: str) -> Any:
    """Return volts from pin to pin, 0 where either has no number: that raises no caution."""
    return np.nan_to_num(np.asarray(volts.get(net[one], np.nan)) - np.asarray(volts.get(net[other], np.nan)))


def _device(
    text: str, name: str, record: Any, net: Mapping[str, str], volts: Any, amps: Any, watts: Any
) -> tuple[Caution, ...]:
    """Return the cautions of a part with a record."""

    def between(one: str, other: str) -> Any:
        return _between(volts, net, one, other)

    told: tuple[Caution, ...] = ()
    lamp = record.led if isinstance(record, Coupler) else record
    if isinstance(lamp, (devices.Led, devices.Diode)):
        current = np.asarray(amps.get(f"{name} LED" if isinstance(record, Coupler) else name, 0.0))
        told += caution_above(
            f"{text} carries more than its highest current", "raise the resistor in series with it",
            current, lamp.current_max, "A",
        )  # fmt: skip
        told += caution_above(
            f"{text} blocks more than its highest reverse voltage", "turn it round, or fit another type",
            between("cathode", "anode"), lamp.voltage_reverse_max, "V",
        )  # fmt: skip
    if isinstance(record, (Bjt, Jfet, Mosfet)):
        told += caution_above(
            f"{text} burns more than it is rated for",
            "see what holds its current",
            watts.get(name, 0.0),
            record.power_max,
            "W",
        )
        first, last = ("collector", "emitter") if isinstance(record, Bjt) else ("drain", "source")
        told += caution_above(
            f"{text} stands more than its highest voltage", "fit a type of a higher one",
            np.abs(between(first, last)), record.voltage_max, "V",
        )  # fmt: skip
    if isinstance(record, Bjt):
        sign = 1 if record.polarity == "npn" else -1
        told += caution_above(
            f"the base-emitter junction of {text} is in reverse breakdown", "check its leads; it is damaged: replace it",
            sign * between("emitter", "base"), record.voltage_base_emitter_breakdown, "V",
        )  # fmt: skip
    if isinstance(record, Mosfet):
        told += caution_above(
            f"the gate of {text} stands more than its highest voltage", "lower it by a divider or a Zener diode",
            np.abs(between("gate", "source")), record.voltage_gate_source_max, "V",
        )  # fmt: skip
    if isinstance(record, (OpAmp, Converter)):
        top, bottom = ("positive rail", "negative rail") if isinstance(record, OpAmp) else ("supply", "ground")
        # a net that cannot be predicted is no proof of a low supply: NaN raises no caution
        supply = np.asarray(volts.get(net[top], np.nan)) - np.asarray(volts.get(net[bottom], np.nan))
        told += caution_above(
            f"{text} has more than its highest supply",
            "fit a type that stands it",
            supply,
            record.voltage_supply_max,
            "V",
        )
        crossed = np.any(supply < 0)
        told += caution_below(
            f"{text} has less than its lowest supply",
            f"its {top} stands below its {bottom}: see in the list whether these pins are exchanged"
            if crossed
            else "below it nothing is promised: a fuller battery, or a type that needs less",
            supply,
            record.voltage_supply_min,
            "V",
        )
    return told


def _sources(board: Board, found: Elements, amps: Any) -> tuple[Caution, ...]:
    """Return a caution where a battery is being charged."""
    told: tuple[Caution, ...] = ()
    for source in found.sources:
        record = board.record(source.part)
        if isinstance(record, Battery) and f"{source.part} inside" in amps:
            told += caution_below(
                f"{source.part}: the battery is being charged", "take it out: charging a primary battery can burst it",
                amps[f"{source.part} inside"], -1e-6, "A",
            )  # fmt: skip
    return told
