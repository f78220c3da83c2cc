"""What a builder must be told of the supply of a build with a voltage doubler, each with the parts that it is about."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pedalcalc import supply
from pedalcalc._result import Caution, caution_above
from pedalcalc.board._rows import Parts, about, lamp_current, told
from pedalcalc.board.sockets import socket_cautions
from pedalcalc.devices import Coupler, Diode, Led, OpAmp

Array = NDArray[np.float64]

#: Share of their own current without which op-amps count as not running (common practice).
LACKING = 0.1
#: By these words a caution tells so.
NOT_RUNNING = "the op-amps do not run"


def supply_cautions(
    parts: Parts,
    budget: supply.VoltageBudget,
    lit: supply.VoltageBudget,
    half: supply.HalfSupply,
    others: tuple[Caution, ...],
    *,
    rail: supply.RailCircuit,
    led: Array,
    share: Array,
) -> tuple[Caution, ...]:
    """Return all cautions of a supply, each once.

    They are of the budgets at rest and with the lamp lit, the half supply and the `others` than the signal's op-amp, of
    the rail as it was computed, the lamp's current [A], and the share of their own current that the op-amps get.
    """
    board = parts.board
    if np.any(1 - share > LACKING):  # what else the rails are too low for follows from what drops the supply
        half = replace(half, cautions=())
        budget, lit = (replace(each, cautions=_followed(each.cautions)) for each in (budget, lit))
        others = _followed(others)
    found = _fed(parts, rail) + board.cautions + socket_cautions(board) + parts.links()
    found += _about(parts, _without_lamp(budget.cautions) + lit.cautions, "signal")
    found += _about(parts, others, "side-chain", "reference")
    found += about(board, half.cautions, parts.name("divider top"), parts.name("divider bottom"))
    return _once(found + _ratings(parts, budget, lit, rail, led, share))


def _without_lamp(cautions: tuple[Caution, ...]) -> tuple[Caution, ...]:
    """Return the cautions at rest that the lit state does not repeat with a larger figure."""
    return tuple(c for c in cautions if "clips" not in c.what and "no swing" not in c.what)


def _followed(cautions: tuple[Caution, ...]) -> tuple[Caution, ...]:
    """Return the cautions that stand beside the one on op-amps that do not run: the volts they lack, and what is above a limit."""
    return tuple(c for c in cautions if "rails are below" in c.what or c.value > c.limit)


def _about(parts: Parts, cautions: tuple[Caution, ...], *op_amps: str) -> tuple[Caution, ...]:
    """Return the cautions of a budget with the parts they are about; what names neither is the converter's."""
    places = {
        "reversed supply": "protection", "swing is left": op_amps[0], "signal clips": op_amps[0],
        "flying capacitor": "flying", "output capacitor": "pump output",
    }  # fmt: skip
    names = [parts.name(role) for role in (*op_amps, "pump diode in", "pump diode out", "converter")]
    found = {words: parts.name(role) for words, role in places.items()}
    of_type = tuple(getattr(parts.board.device(name), "name", "") for name in names)
    plain = [one for one in cautions if not any(kind in one.what for kind in of_type)]
    return tuple(
        named
        for one in cautions
        for named in about(parts.board, [one], *(names[-1:] if one in plain else names), places=found)
    )


def _once(cautions: tuple[Caution, ...]) -> tuple[Caution, ...]:
    """Return each caution once, the last where two differ in their figures only."""
    return tuple({(c.what, c.unit): c for c in cautions}.values())


def _fed(parts: Parts, rail: supply.RailCircuit) -> tuple[Caution, ...]:
    """Return the caution that what is told of the supply is that of a smaller resistor ahead of the pump."""
    most = float(rail.resistance_filter_in)
    return caution_above(
        f"{parts.label('filter in')} lets so little through that the converter does not run: all volts and currents here are "
        f"those of {told(most, 'Ω')}, and yours are lower still",
        f"fit a smaller {parts.name('filter in')}", parts.ohms("filter in"), most, "Ω",
    )  # fmt: skip


def _ratings(
    parts: Parts,
    budget: supply.VoltageBudget,
    lit: supply.VoltageBudget,
    rail: supply.RailCircuit,
    led: Array,
    share: Array,
) -> tuple[Caution, ...]:
    supplied, positive = np.asarray(budget.voltage_supply), np.asarray(budget.voltage_positive)
    coupler: Coupler = parts.one("coupler", Coupler)
    lamp: Led = parts.one("indicator", Led)
    indicated = lamp_current(budget.voltage_pin, parts.ohms("indicator resistor"), lamp)
    amps = np.asarray(lit.current_supply)
    # A diode of the doubler blocks the supply, one of the rectifier twice the peak, about the rail.
    blocked = dict.fromkeys(("pump diode in", "pump diode out"), supplied) | dict.fromkeys(
        ("rectifier", "rectifier inverted"), positive
    )
    backwards = tuple(
        one
        for role, volts in blocked.items()
        for one in caution_above(
            f"{parts.label(role)} stands more backwards than it blocks, and conducts: what follows it is lower than computed",
            f"fit a diode of a higher reverse voltage as {parts.name(role)}", volts, parts.one(role, Diode).voltage_reverse_max, "V",
        )
    )  # fmt: skip
    lost = {"filter in": np.max(budget.loss_filter), "filter out": np.max(budget.loss_filter_out) / 2}
    culprit = parts.name(max(lost, key=lambda role: lost[role]))
    # Without load the doubler gives nearly twice the supply.
    double = 2 * supplied
    return (
        backwards
        + parts.stands("reservoir", supplied, "at the highest supply")
        + parts.stands("rail capacitor", double, "without load, twice the supply")
        + parts.stands("divider capacitor", positive, f"with {parts.name('divider bottom')} open, the whole rail")
        + parts.heats("filter in", amps**2 * rail.resistance_filter_in)
        + parts.heats("indicator resistor", indicated**2 * parts.ohms("indicator resistor"))
        + parts.heats("lamp resistor", led**2 * parts.ohms("lamp resistor"))
        + caution_above(
            f"{parts.name('coupler')}: its lamp gets more than it is made for when the side-chain is at its loudest",
            f"raise {parts.name('lamp resistor')}", led, coupler.led.current_max, "A",
        )
        + caution_above(
            f"{parts.name('indicator')}: more current than it is made for",
            f"raise {parts.name('indicator resistor')}", indicated, lamp.current_max, "A",
        )
        + caution_above(
            f"{parts.name('reference')} gives the lamp of {parts.name('coupler')} no more than its own current limit; "
            "threshold, attack and release are computed without that limit",
            f"raise {parts.name('lamp resistor')}",
            led, parts.one("reference", OpAmp).current_output_max * (1 - 1e-9), "A",
        )
        + caution_above(
            f"{culprit} drops nearly all the supply: {NOT_RUNNING}, and lack so much of their own current",
            f"fit a smaller {culprit}", 1 - share, LACKING, "%",
        )
        + caution_above(
            f"{parts.name('divider top')}, {parts.name('divider bottom')}: half supply off the middle: one half-wave clips first",
            f"make {parts.name('divider top')} and {parts.name('divider bottom')} equal",
            abs(parts.ohms("divider bottom") / (parts.ohms("divider top") + parts.ohms("divider bottom")) - 0.5), 0.05, "1",
        )
    )  # fmt: skip
