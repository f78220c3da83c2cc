"""Named operating points of the bipolar transistor, and what all of them share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import one_of
from pedalcalc._refusal import must
from pedalcalc._result import Caution, Number, Result, caution_above, quantity
from pedalcalc.devices import Bjt
from pedalcalc.laws.transistors import CURRENT_CUT_OFF

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class BjtPoint(Result):
    """DC operating point of one bipolar transistor; voltages as an ideal meter reads them.

    Node voltages are to ground. Base-emitter and collector-emitter voltage have the red
    probe on the first-named pin, so both are negative in a working PNP. Currents are counted the way they
    flow in a working part, so they are positive in both.
    `swing_up` and `swing_down` say how far the output (the collector, or the
    emitter of a follower) can move before the transistor cuts off or saturates.
    """

    voltage_base: Number = quantity("V", "base to ground")
    voltage_collector: Number = quantity("V", "collector to ground")
    voltage_emitter: Number = quantity("V", "emitter to ground")
    voltage_base_emitter: Number = quantity("V", "base-emitter")
    voltage_collector_emitter: Number = quantity("V", "collector-emitter")
    current_base: Number = quantity("A", "base current")
    current_collector: Number = quantity("A", "collector current")
    current_emitter: Number = quantity("A", "emitter current")
    current_supply: Number = quantity("A", "drawn from the supply")
    power: Number = quantity("W", "heat in the transistor")
    region: Any = quantity("text", "region")
    resistance_emitter_dynamic: Number = quantity("Ω", "emitter resistance re = VT/IE")
    resistance_base_emitter: Number = quantity("Ω", "base-emitter resistance rπ = beta/gm")
    transconductance: Number = quantity("S", "transconductance gm, leakage left out")
    swing_up: Number = quantity("V", "room to swing up")
    swing_down: Number = quantity("V", "room to swing down")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@dataclass(frozen=True, slots=True, eq=False)
class BjtDividerPoint(BjtPoint):
    """Operating point behind a base divider, with what the stiff-divider shortcut would have said."""

    voltage_thevenin: Number = quantity("V", "divider with nothing connected to it")
    resistance_thevenin: Number = quantity("Ω", "resistance of the divider")
    current_stiff: Number = quantity("A", "emitter current by the stiff-divider shortcut")
    error_stiff: Number = quantity("1", "error of that shortcut", percent=True)


def limited(r_b: Array, r_e: Array, beta: Array) -> None:
    """Refuse a base loop in which nothing limits the current."""
    if r_e.min(initial=np.inf) > 0:
        return
    if np.any(bad := (r_b == 0) & (r_e == 0)):
        raise must("resistance_base and resistance_emitter must not both be 0, since nothing limits the current", bad)
    if np.any(bad := np.isinf(beta) & (r_e == 0)):
        raise must("resistance_emitter must be above 0 when the base current is ignored, since nothing limits it", bad)


def mirror(polarity: str, supply: Array | float) -> tuple[float, Array | float]:
    """Return sign and offset that turn npn node voltages into real ones: V = offset + sign * V_npn."""
    return (1.0, 0.0) if one_of("polarity", polarity, ("npn", "pnp")) == "npn" else (-1.0, supply)


def _missing(values: Array) -> Any:
    """Return where nothing was measured, shaped like `values`; the least value tells fast when nothing is missing."""
    if values.size and not np.isnan(np.min(values)):
        return np.broadcast_to(False, values.shape)
    return np.isnan(values)


def below(values: Array, limit: float) -> Any:
    """Return where `values` lie below `limit`, by the least value first."""
    if values.size and np.min(values) >= limit:
        return np.broadcast_to(False, values.shape)
    return values < limit


def regions(off: Any, saturated: Any, missing: Any) -> Any:
    """Return the region of each element in words."""
    shape = np.broadcast_shapes(np.shape(off), np.shape(saturated), np.shape(missing))
    masks = [
        (mask, word)
        for mask, word in ((saturated, "saturated"), (off, "cut off"), (missing, "unknown"))
        if np.any(mask)
    ]
    found: Any = np.broadcast_to(np.array("active", dtype="<U9"), shape)
    if masks:
        found = found.copy()
    for mask, word in masks:
        found[np.broadcast_to(mask, shape)] = word
    return found


def bjt_fields(
    *,
    voltage_base: Array,
    voltage_collector: Array,
    voltage_emitter: Array,
    current_base: Array,
    current_collector: Array,
    current_emitter: Array,
    current_supply: Array,
    current_transport: Array,
    current_gain: Array,
    voltage_base_emitter: Array,
    voltage_thermal: Array,
    voltage_collector_supply: Array,
    voltage_emitter_supply: Array,
    voltage_saturation: Array,
    off: Any,
    saturated: Any,
    follower: Any,
    polarity: str,
    offset: Array | float,
    transistor: Bjt,
) -> dict[str, Any]:
    """Turn npn-sign node voltages and currents into the fields of a `BjtPoint`.

    `current_transport` is what the base-emitter voltage alone steers: the collector current less all leakage.
    """
    sign, zero = mirror(polarity, offset)
    if np.isinf(voltage_collector).any():
        allowed = (
            "must be small enough that the volts of the junctions are not lost in them, where the collector is open"
        )
        raise must(f"voltage_supply and resistance_emitter {allowed}", np.isinf(voltage_collector))
    v_ce = voltage_collector - voltage_emitter
    power = v_ce * current_collector + voltage_base_emitter * current_base
    output, top, bottom = voltage_collector, voltage_collector_supply - voltage_collector, v_ce - voltage_saturation
    if np.any(follower):
        output = np.where(follower, voltage_emitter, output)
        top, bottom = (
            np.where(follower, bottom, top),
            np.where(follower, voltage_emitter - voltage_emitter_supply, bottom),
        )
    up, down = (np.maximum(top, 0.0), np.maximum(bottom, 0.0))
    if sign < 0:
        up, down = down, up
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        dynamic = voltage_thermal / current_emitter
        base = current_gain * voltage_thermal / current_transport
        if off.any():
            dynamic, base = np.where(off, np.inf, dynamic), np.where(off, np.inf, base)
    fields: dict[str, Any] = {
        "voltage_base": voltage_base if sign > 0 else zero - voltage_base,
        "voltage_collector": voltage_collector if sign > 0 else zero - voltage_collector,
        "voltage_emitter": voltage_emitter if sign > 0 else zero - voltage_emitter,
        "voltage_base_emitter": voltage_base_emitter if sign > 0 else 0.0 - voltage_base_emitter,
        "voltage_collector_emitter": v_ce if sign > 0 else 0.0 - v_ce,
        "current_base": current_base,
        "current_collector": current_collector,
        "current_emitter": current_emitter,
        "current_supply": current_supply,
        "power": power,
        "region": regions(off, saturated, _missing(output)),
        "resistance_emitter_dynamic": dynamic,
        "resistance_base_emitter": base,
        "transconductance": current_transport / voltage_thermal,
        "swing_up": up,
        "swing_down": down,
    }
    fields["cautions"] = bjt_cautions(v_ce, current_collector, power, off, saturated, transistor)
    return fields


def bjt_cautions(
    v_ce: Array, current: Array, power: Array, off: Any, saturated: Any, transistor: Bjt
) -> tuple[Caution, ...]:
    """Return what is wrong with an operating point."""
    cautions: tuple[Caution, ...] = ()
    stuck = int(np.count_nonzero(saturated))
    if stuck:
        lowest = float(np.min(np.where(saturated, v_ce, np.inf)))
        cautions += (
            Caution(
                "the transistor is saturated: the collector cannot swing down; collector above emitter",
                "raise the base resistor or lower the collector resistor",
                lowest,
                0.2,
                "V",
                stuck,
            ),
        )
    idle = int(np.count_nonzero(off))
    if idle:
        highest = float(np.max(np.where(off, current, -np.inf)))
        cautions += (
            Caution(
                "the transistor is cut off: no signal gets through",
                "check base resistors and supply",
                highest,
                CURRENT_CUT_OFF,
                "A",
                idle,
            ),
        )
    cautions += caution_above(
        f"{transistor.name}: too much collector-emitter voltage",
        "use a type with a higher rating",
        v_ce,
        transistor.voltage_max,
        "V",
    )
    cautions += caution_above(
        f"{transistor.name}: too much collector current",
        "raise the resistors or use a bigger type",
        current,
        transistor.current_max,
        "A",
    )
    cautions += caution_above(
        f"{transistor.name}: too much heat",
        "lower the current or use a bigger type",
        power,
        transistor.power_max,
        "W",
    )
    return cautions


def stiff_caution(error: Array) -> tuple[Caution, ...]:
    """Warn where the stiff-divider shortcut misleads by more than 3 %."""
    if error.size and np.max(error) <= 0.03 and np.min(error) >= -0.03:
        return ()
    return caution_above(
        "the stiff-divider shortcut is off: the base current loads the divider",
        "trust the solved figures, or lower both divider resistors",
        np.abs(error),
        0.03,
        "%",
    )
