"""What inverter and doubler share: the result, its cautions, the books of power."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import Range
from pedalcalc._ranges import COUNT
from pedalcalc._result import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc.devices import Converter

Array = NDArray[np.float64]

#: No converter lives on more, or gives it; far beyond, the diodes leave no digit to settle on.
Volts = Annotated[Any, Range(least=0, most=1000.0)]
Amperes = Annotated[Any, Range(least=0, most=100.0)]
#: Nor is any in use with more in its way, faster, with more farads, or with more of its kind beside it.
Ohms = Annotated[Any, Range(least=0, most=1e6)]
Hertz = Annotated[Any, Range(above=0, most=1e7)]
Farads = Annotated[Any, Range(least=0, most=1.0)]
FaradsAboveZero = Annotated[Any, Range(above=0, most=1.0)]
Converters = Annotated[Any, replace(COUNT, most=1000.0)]
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
    resistance_sum: Number = quantity("Ω", "sum of both, as the makers add them")
    voltage_ripple: Number = quantity("V", "output ripple, peak to peak")
    voltage_ripple_sum: Number = quantity("V", "output ripple by the makers' sum")
    voltage_ripple_pump: Number = quantity("V", "ripple across the flying capacitor")
    voltage_tone: Number = quantity("V", "pump tone on the output, rms")
    level_tone_dbv: Number = quantity("dBV", "pump tone on the output")
    current_load: Number = quantity("A", "current of both loads")
    current_supply: Number = quantity("A", "current from the supply")
    power: Number = quantity("W", "power lost")
    efficiency: Number = quantity("1", "power out over power in", percent=True)
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
    loud = f"{float(level(heard.max())):.1f}".replace("-", "\N{MINUS SIGN}")  # as the tables beside it write it
    words = f"{TONE}, at {loud} dBV {place}"
    return tuple(replace(caution, what=words) if caution.what.startswith(TONE) else caution for caution in cautions)


def open_cautions(
    converter: Converter, supply: Array, capacitors: tuple[tuple[str, int, Array], ...]
) -> tuple[Caution, ...]:
    """Return the cautions for the moment of switch-on, when nothing draws yet and the pin stands at the whole supply.

    `capacitors` are name, how many times the supply each sees, and rating.
    """
    limit = converter.voltage_supply_max
    cautions = caution_above(
        f"at switch-on, before the load draws, the {converter.name} sees more than its supply limit: "
        "it can latch up and die",
        "use a part of a higher limit, or less supply; a fresh battery and an unregulated adaptor stand above their label",
        supply,
        limit,
        "V",
    ) or caution_above(
        f"at switch-on the {converter.name} sees a supply within half a volt of its limit",
        "measure the highest voltage of the supply without load, or use a part of a higher limit",
        supply,
        limit - 0.5,
        "V",
    )
    for which, times, rating in capacitors:
        cautions += caution_above(
            f"the {which} sees more than its rating: an electrolytic can burst",
            "fit one of a higher voltage and check its polarity before power",
            times * supply,
            rating,
            "V",
        )
    return cautions


def stage_cautions(
    converter: Converter, pin: Array, load: Array, n: Array, f: Array, low_pin: str
) -> tuple[Caution, ...]:
    """Return the cautions of a converter at work."""
    pin_state = (
        caution_above(
            f"the low-voltage pin of the {converter.name} is tied to ground: above this supply it must stay open",
            "lift the low-voltage pin",
            pin,
            converter.voltage_low_pin_grounded,
            "V",
        )
        if low_pin == "grounded"
        else caution_below(
            f"the low-voltage pin of the {converter.name} is open: below this supply it is tied to ground",
            "tie the low-voltage pin to ground for a supply this low",
            pin,
            converter.voltage_low_pin_open,
            "V",
        )
    )
    return (
        caution_below(
            f"below the lowest supply of the {converter.name}",
            "raise the supply",
            pin,
            converter.voltage_supply_min,
            "V",
        )
        + pin_state
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


def output_diode_caution(converter: Converter, pin: Array) -> tuple[Caution, ...]:
    """Return the caution of an inverter whose converter may latch up without a diode at its output (NOTE-AN051)."""
    return caution_above(
        f"above this supply the {converter.name} of the first makers can latch up as an inverter",
        "put a diode between the output capacitor and the converter's output pin, its ring at the pin, or fit a 7660A",
        pin,
        converter.voltage_output_diode,
        "V",
    )


class Output(NamedTuple):
    """A stage's output voltage, what the diodes take of it, output resistance with its limits, ripples and tone."""

    voltage: Array
    diodes: Array
    resistance: Array
    slow: Array
    fast: Array
    ripple: Array
    ripple_sum: Array
    ripple_pump: Array
    tone: Array


def ripple_sum(load: Array, frequency: Array, capacitance: Array, esr: Array) -> Array:
    """Return the makers' ripple: half a period of discharge, and the load's current turning round in the ESR."""
    return np.asarray(load * (1 / (2 * frequency * capacitance) + 2 * esr))


def stage_result(
    output: Output,
    supply: Array,
    pin: Array,
    ideal: Array,
    load: Array,
    drawn: Array,
    sign: float,
    cautions: tuple[Caution, ...],
    frequency: Array,
) -> Pump:
    out = output.voltage
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
    cautions = with_tone_level(cautions, frequency, output.tone, "on the output")
    return Pump(
        voltage_output=(sign * out + 0.0)[()],
        voltage_ideal=(sign * ideal + 0.0)[()],
        voltage_pin=pin[()],
        voltage_drop_diodes=output.diodes[()],
        voltage_drop_pump=(ideal - output.diodes - out)[()],
        resistance_thevenin=output.resistance[()],
        resistance_slow=output.slow[()],
        resistance_fast=output.fast[()],
        resistance_sum=(output.slow + output.fast)[()],
        voltage_ripple=output.ripple[()],
        voltage_ripple_sum=output.ripple_sum[()],
        voltage_ripple_pump=output.ripple_pump[()],
        voltage_tone=output.tone[()],
        level_tone_dbv=level(output.tone)[()],
        current_load=load[()],
        current_supply=drawn[()],
        power=(taken - given)[()],
        efficiency=efficiency[()],
        cautions=cautions,
    )
