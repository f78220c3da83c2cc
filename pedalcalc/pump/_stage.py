"""What inverter and doubler share: the result, its cautions, the books of power."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc.devices import Converter
from pedalcalc.pump.cycle import Cycle

Array = NDArray[np.float64]

#: What can be done with the low-voltage pin.
LOW_PIN = ("open", "grounded")

#: Where hearing ends, for the caution about the pump's tone.
FREQUENCY_AUDIBLE = 20e3
TONE = "the pump's tone lies in the audio band"


@dataclass(frozen=True, slots=True, eq=False)
class Pump(Result):
    """A switched-capacitor converter under load."""

    voltage_output: Number = quantity("V", "output voltage")
    voltage_ideal: Number = quantity("V", "output of a loss-free pump on the same supply")
    voltage_pin: Number = quantity("V", "supply at the converter's pin")
    voltage_drop_diodes: Number = quantity("V", "lost in the diodes")
    voltage_drop_pump: Number = quantity("V", "lost in switches and capacitors")
    resistance_thevenin: Number = quantity("Ω", "output resistance")
    resistance_slow: Number = quantity("Ω", "slow-switching limit")
    resistance_fast: Number = quantity("Ω", "fast-switching limit")
    resistance_sum: Number = quantity("Ω", "sum of both, an upper bound")
    voltage_ripple: Number = quantity("V", "output ripple, peak to peak")
    voltage_ripple_pump: Number = quantity("V", "ripple across the flying capacitor")
    voltage_tone: Number = quantity("V", "pump tone on the output, rms")
    level_tone_dbv: Number = quantity("dBV", "pump tone on the output")
    current_supply: Number = quantity("A", "current from the supply")
    power: Number = quantity("W", "power lost")
    efficiency: Number = quantity("1", "power out over power in")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def level(rms: Array) -> Array:
    """Return the level of an rms voltage against 1 V; -inf for 0."""
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(rms))


def with_tone_level(cautions: tuple[Caution, ...], frequency: Array, rms: Array, place: str) -> tuple[Caution, ...]:
    """Write the level to expect at `place` into the caution about the tone, if there is one."""
    if not any(caution.what.startswith(TONE) for caution in cautions):
        return cautions
    heard = np.where((frequency < FREQUENCY_AUDIBLE) & ~np.isnan(rms), rms, 0.0)
    words = f"{TONE}, at {float(level(heard.max())):.0f} dBV {place}"
    return tuple(replace(caution, what=words) if caution.what.startswith(TONE) else caution for caution in cautions)


def stage_cautions(
    converter: Converter,
    pin: Array,
    supply: Array,
    load: Array,
    n: Array,
    f: Array,
    low_pin: str,
    ratings: tuple[tuple[str, Array, Array], ...],
) -> tuple[Caution, ...]:
    supply_limit = converter.voltage_supply_max
    # Without load the pin stands at the whole supply.
    over = caution_above(
        f"above the supply limit of the {converter.name}: it can latch up and die",
        "use a part of a higher limit, or less supply; a fresh battery and an unregulated adaptor stand above their label",
        supply,
        supply_limit,
        "V",
    )
    near = (
        ()
        if over
        else caution_above(
            f"within half a volt of the supply limit of the {converter.name}",
            "measure the highest voltage of the supply without load, or use a part of a higher limit",
            supply,
            supply_limit - 0.5,
            "V",
        )
    )
    pin_state = (
        caution_above(
            "the low-voltage pin is tied to ground: above this supply it must stay open",
            "lift the low-voltage pin",
            pin,
            converter.voltage_low_pin,
            "V",
        )
        if low_pin == "grounded"
        else caution_below(
            "the low-voltage pin is open: below this supply it is tied to ground",
            "tie the low-voltage pin to ground for a supply this low",
            pin,
            converter.voltage_low_pin,
            "V",
        )
    )
    capacitors: tuple[Caution, ...] = ()
    for which, across, rating in ratings:
        capacitors += caution_above(
            f"the {which} sees more than its rating: an electrolytic can burst",
            "fit one of a higher voltage and check its polarity before power",
            across,
            rating,
            "V",
        )
    return (
        over
        + near
        + caution_below(
            f"below the lowest supply of the {converter.name}",
            "raise the supply",
            pin,
            converter.voltage_supply_min,
            "V",
        )
        + pin_state
        + capacitors
        + caution_above(
            f"more load than the sheet of the {converter.name} shows",
            "draw less, or put converters in parallel",
            load / n,
            converter.current_max,
            "A",
        )
        + caution_below(
            TONE,
            "raise the pump above hearing (boost pin), filter its output, and keep it away from the input wiring",
            f,
            FREQUENCY_AUDIBLE,
            "Hz",
        )
    )


def stage_result(
    cycle: Cycle,
    supply: Array,
    pin: Array,
    ideal: Array,
    diodes: Array,
    out: Array,
    load: Array,
    drawn: Array,
    sign: float,
    cautions: tuple[Caution, ...],
    frequency: Array,
) -> Pump:
    thevenin, slow, fast, ripple, tone, ripple_pump = cycle
    cautions += caution_below(
        "too much load: the pump delivers less than two thirds of what it should",
        "draw less, use larger capacitors, or put converters in parallel",
        out,
        2 / 3 * ideal,
        "V",
    )
    taken = supply * drawn
    given = out * load
    with np.errstate(divide="ignore", invalid="ignore"):
        efficiency = np.where(given <= 0, 0.0, given / taken)
    rms = np.asarray(load * tone)
    cautions = with_tone_level(cautions, frequency, rms, "on the output")
    return Pump(
        voltage_output=(sign * out)[()],
        voltage_ideal=(sign * ideal)[()],
        voltage_pin=pin[()],
        voltage_drop_diodes=np.asarray(diodes)[()],
        voltage_drop_pump=(ideal - diodes - out)[()],
        resistance_thevenin=thevenin[()],
        resistance_slow=slow[()],
        resistance_fast=fast[()],
        resistance_sum=(slow + fast)[()],
        voltage_ripple=(load * ripple)[()],
        voltage_ripple_pump=(load * ripple_pump)[()],
        voltage_tone=rms[()],
        level_tone_dbv=level(rms)[()],
        current_supply=drawn[()],
        power=(taken - given)[()],
        efficiency=efficiency[()],
        cautions=cautions,
    )
