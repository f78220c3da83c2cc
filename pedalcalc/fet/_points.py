"""Named operating point of a field-effect transistor, and what JFET and MOSFET share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._result import Caution, Number, Result, caution_above, quantity
from pedalcalc.devices import Jfet, Mosfet
from pedalcalc.fet import _square_law
from pedalcalc.laws.transistors import ChannelFigures

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class FetPoint(Result):
    """DC operating point of one field-effect transistor; voltages as an ideal meter reads them.

    Node voltages are to ground; gate-source and drain-source voltage have the red probe on the
    first-named pin, so the latter is negative in a p-channel. The current is counted the way it flows in
    a working part. `swing_down` ends where the channel turns ohmic, `swing_up` where it cuts off
    (for an n-channel; a p-channel mirrors both).
    """

    voltage_gate: Number = quantity("V", "gate to ground")
    voltage_drain: Number = quantity("V", "drain to ground")
    voltage_source_pin: Number = quantity("V", "source to ground")
    voltage_gate_source: Number = quantity("V", "gate-source")
    voltage_drain_source: Number = quantity("V", "drain-source")
    current_drain: Number = quantity("A", "drain current")
    current_supply: Number = quantity("A", "drawn from the supply")
    power: Number = quantity("W", "heat in the transistor")
    region: Any = quantity("text", "region")
    transconductance: Number = quantity("S", "transconductance gm")
    resistance_channel: Number = quantity("Ω", "slope resistance of the channel")
    swing_up: Number = quantity("V", "room to swing up")
    swing_down: Number = quantity("V", "room to swing down")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def fet_point(
    *,
    supply: Array,
    gate: Array,
    law: ChannelFigures,
    r_d: Array,
    r_s: Array,
    current_divider: Array,
    fet: Jfet | Mosfet,
) -> FetPoint:
    """Solve an n-channel stage and name what is found; the law's sign -1 mirrors it."""
    k, threshold, sign = law.strength, law.threshold, law.sign
    a = gate - threshold
    channel = _square_law.solve(a, supply, r_d, r_s, k)
    current, u, v, ohmic = channel
    with np.errstate(invalid="ignore"):
        v_s = np.where(np.isinf(r_s), gate - threshold - u, current * np.where(np.isinf(r_s), 0.0, r_s))
        v_d = np.where(np.isinf(r_d), v_s + v, supply - current * np.where(np.isinf(r_d), 0.0, r_d))
    off = u <= 0
    with np.errstate(divide="ignore"):
        slope = np.where(ohmic, 1 / (2 * k * np.where(ohmic, u - v, 1.0)), np.inf) + 0 * u
    transfer = np.where(ohmic, 2 * k * v, 2 * k * np.maximum(u, 0.0))
    region = np.full(np.shape(u), "constant current", dtype="<U16")
    region[ohmic] = "ohmic"
    region[off] = "cut off"
    region[np.isnan(u)] = "unknown"
    up, down = np.maximum(supply - v_d, 0.0), np.maximum(v - np.maximum(u, 0.0), 0.0)
    zero = supply if sign < 0 else 0.0
    power = v * current
    up, down = (up, down) if sign > 0 else (down, up)
    return FetPoint(
        voltage_gate=zero + sign * gate,
        voltage_drain=zero + sign * v_d,
        voltage_source_pin=zero + sign * v_s,
        voltage_gate_source=sign * (u + threshold) + 0.0,
        voltage_drain_source=sign * v + 0.0,
        current_drain=current,
        current_supply=current + current_divider,
        power=power,
        region=region,
        transconductance=transfer,
        resistance_channel=slope,
        swing_up=up,
        swing_down=down,
        cautions=_cautions(u, threshold, v, ohmic, off, isinstance(fet, Jfet)) + _ratings(fet, v, current, power),
    )


def _cautions(u: Array, threshold: Array, v: Array, ohmic: Any, off: Any, jfet: bool) -> tuple[Caution, ...]:
    cautions: tuple[Caution, ...] = ()
    if np.any(ohmic):
        cautions += (
            Caution(
                "the channel is ohmic: gain is low and the drain cannot swing down; drain above source",
                "raise the source resistor or lower the drain resistor",
                float(np.min(np.where(ohmic, v, np.inf))),
                float(np.max(np.where(ohmic, u, -np.inf))),
                "V",
                int(np.count_nonzero(ohmic)),
            ),
        )
    if np.any(off):
        cautions += (
            Caution(
                "the transistor is cut off: no signal gets through",
                "check gate voltage and source resistor",
                float(np.max(np.where(off, u, -np.inf))),
                0.0,
                "V",
                int(np.count_nonzero(off)),
            ),
        )
    if jfet:
        cautions += caution_above(
            "the gate junction conducts: the true gate voltage is lower than computed",
            "raise the source resistor",
            np.where(np.isnan(u), -np.inf, u + threshold),
            0.5,
            "V",
        )
    return cautions


def _ratings(fet: Jfet | Mosfet, v: Array, current: Array, power: Array) -> tuple[Caution, ...]:
    """Return what is beyond the record's ratings, as far as it has them."""
    cautions = caution_above(
        f"{fet.name}: too much drain-source voltage", "use a type with a higher rating", v, fet.voltage_max, "V"
    ) + caution_above(f"{fet.name}: too much heat", "lower the current or use a bigger type", power, fet.power_max, "W")
    if isinstance(fet, Mosfet):
        cautions += caution_above(
            f"{fet.name}: too much drain current",
            "raise the resistors or use a bigger type",
            current,
            fet.current_max,
            "A",
        )
    return cautions
