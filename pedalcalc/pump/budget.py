"""The voltage budget: from the adaptor's label to the swing a stage really has.

Supply, protection diode, supply filter, converter (or none), filter behind it,
op-amp headroom: each step takes its share. Three kinds of rail: "single" (no
converter), "doubled" (two-diode doubler feeds the op-amps) and "split"
(inverter makes a negative rail; signal ground in the middle).
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import (
    Caution,
    Number,
    Result,
    caution_above,
    caution_below,
    formula,
    is_a,
    numeric,
    one_of,
    quantity,
    search,
)
from pedalcalc._units import shown
from pedalcalc.devices import Converter, Diode, OpAmp
from pedalcalc.devices._record import Figure, ends
from pedalcalc.pump._stage import Pump, level, open_cautions, with_tone_level
from pedalcalc.pump.doubler import doubler
from pedalcalc.pump.inverter import inverter
from pedalcalc.rc import lowpass_response
from pedalcalc.supply import series_diode

__all__ = ["RailCircuit", "VoltageBudget", "rail_cases", "voltage_budget"]

Array = NDArray[np.float64]

RAILS = ("single", "doubled", "split")


@dataclass(frozen=True, slots=True, eq=False)
class RailCircuit(Result):
    """Everything between the supply socket and the op-amps' supply pins.

    Numbers may be arrays that broadcast with the supply. `reference_share` is
    where the half-supply reference stands between the rails (0.5 for two equal
    resistors); a split rail idles at ground.
    """

    rail_kind: str = quantity("text", "single, doubled or split")
    diode_protection: Diode = quantity("record", "protection diode")
    resistance_filter_in: Number = quantity("Ω", "resistor ahead of everything")
    converter: Converter = quantity("record", "converter")
    diode_pump: Diode = quantity("record", "diodes of the doubler")
    resistance_switch: Number = quantity("Ω", "one switch of the converter")
    current_idle: Number = quantity("A", "the converter's own current")
    frequency_pump: Number = quantity("Hz", "pump frequency")
    capacitance_pump: Number = quantity("F", "flying capacitor")
    resistance_esr_pump: Number = quantity("Ω", "its series resistance")
    capacitance_output: Number = quantity("F", "output capacitor of the pump")
    resistance_esr_output: Number = quantity("Ω", "its series resistance")
    voltage_rating_pump: Number = quantity("V", "rating of the flying capacitor")
    voltage_rating_output: Number = quantity("V", "rating of the output capacitor")
    low_pin: str = quantity("text", "low-voltage pin open or grounded")
    resistance_filter_out: Number = quantity("Ω", "resistor behind the pump")
    capacitance_filter_out: Number = quantity("F", "capacitor behind it")
    resistance_esr_filter: Number = quantity("Ω", "its series resistance")
    op_amp: OpAmp = quantity("record", "op-amp")
    headroom_top: Number = quantity("V", "op-amp output to positive rail")
    headroom_bottom: Number = quantity("V", "op-amp output to negative rail")
    input_margin_bottom: Number = quantity("V", "op-amp input to negative rail")
    reference_share: Number = quantity("1", "place of the reference between the rails")


@search
def rail_cases(rail: RailCircuit) -> RailCircuit:
    """Spread a rail's uncertain parts out as worst, typical and best case.

    Switches, idle current, headroom and input range become arrays of three,
    from the converter's and the op-amp's records. Where a sheet gives no best
    case the typical one stands in; where it gives no worst case, likewise.

    Parameters
    ----------
    rail : RailCircuit
        The rail.

    Returns
    -------
    RailCircuit
        The same rail with arrays (worst, typical, best), to go with a supply
        of lowest, typical and highest voltage.

    Raises
    ------
    TypeError
        If `rail` is not a RailCircuit.

    References
    ----------
    PRACTICE : the worst case takes every part at its worst at once.

    Examples
    --------
    >>> from pedalcalc.pump import example
    >>> print(rail_cases(example()).headroom_top)
    [3.  1.5 1.5]
    """
    is_a("rail", rail, RailCircuit)
    idle = rail.converter.current_idle
    boosted = rail.converter.current_idle_boosted
    fast = np.all(np.asarray(rail.frequency_pump) > rail.converter.frequency_oscillator)
    if fast and not np.isnan(ends(boosted).typical):
        idle = boosted

    def cases(figure: Figure) -> Array:
        return np.array(ends(figure)[::-1])

    return dataclasses.replace(
        rail,
        resistance_switch=cases(rail.converter.resistance_switch),
        current_idle=cases(idle),
        headroom_top=cases(rail.op_amp.headroom_top),
        headroom_bottom=cases(rail.op_amp.headroom_bottom),
        input_margin_bottom=cases(rail.op_amp.input_margin_bottom),
    )


@dataclass(frozen=True, slots=True, eq=False)
class VoltageBudget(Result):
    """Where the volts of a supply go, and what swing is left."""

    voltage_supply: Number = quantity("V", "supply")
    loss_protection: Number = quantity("V", "lost in the protection diode")
    loss_filter: Number = quantity("V", "lost in the supply filter")
    voltage_pin: Number = quantity("V", "behind both")
    voltage_ideal: Number = quantity("V", "span of loss-free rails")
    loss_diodes: Number = quantity("V", "lost in the pump's diodes")
    loss_pump: Number = quantity("V", "lost in the pump's resistance")
    loss_filter_out: Number = quantity("V", "lost in the filter behind the pump")
    voltage_positive: Number = quantity("V", "positive rail of the op-amps")
    voltage_negative: Number = quantity("V", "negative rail of the op-amps")
    voltage_idle: Number = quantity("V", "idle voltage of the stages")
    voltage_high: Number = quantity("V", "highest output of a stage")
    voltage_low: Number = quantity("V", "lowest output of a stage")
    voltage_swing: Number = quantity("V", "usable swing, peak to peak, about the idle voltage")
    swing_peak: Number = quantity("V", "largest peak both ways")
    level_max_dbv: Number = quantity("dBV", "largest sine")
    headroom_db: Number = quantity("dB", "largest sine over the signal to pass")
    resistance_thevenin: Number = quantity("Ω", "output resistance of the pump")
    voltage_ripple: Number = quantity("V", "ripple ahead of the last filter, peak to peak")
    voltage_tone: Number = quantity("V", "pump tone on the rail, rms")
    level_tone_dbv: Number = quantity("dBV", "pump tone on the rail")
    current_supply: Number = quantity("A", "current from the supply")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def _pump(
    rail: RailCircuit, supply: Array, behind: Array, load: Array, direct: Array
) -> tuple[Pump, Array, tuple[Caution, ...]]:
    """Return the pump behind the protection diode, all current of the build, and the pump's cautions."""
    # Around the pump: what else flows through the filter, an inverter's positive rail included.
    past = direct + (load if rail.rail_kind == "split" else 0 * load)
    left = behind - past * rail.resistance_filter_in
    _refuse_drained(left)
    parts: dict[str, Any] = {
        "voltage_supply": left,
        "current_load": load,
        "resistance_source": rail.resistance_filter_in,
        "resistance_switch": rail.resistance_switch,
        "current_idle": rail.current_idle,
        "frequency_pump": rail.frequency_pump,
        "capacitance_pump": rail.capacitance_pump,
        "resistance_esr_pump": rail.resistance_esr_pump,
        "capacitance_output": rail.capacitance_output,
        "resistance_esr_output": rail.resistance_esr_output,
        "voltage_rating_pump": rail.voltage_rating_pump,
        "voltage_rating_output": rail.voltage_rating_output,
        "count": 1,
        "low_pin": rail.low_pin,
        "converter": rail.converter,
    }
    if rail.rail_kind == "doubled":
        parts["diode"] = rail.diode_pump
    pump = (doubler if rail.rail_kind == "doubled" else inverter)(**parts)
    _refuse_drained(np.asarray(pump.voltage_pin))
    # At switch-on the filter drops nothing, and the protection diode what the converter's own current makes it drop.
    unloaded = series_diode(voltage_supply=supply, current_load=rail.current_idle, diode=rail.diode_protection)
    capacitors = (
        ("flying capacitor", 1, np.asarray(rail.voltage_rating_pump)),
        ("output capacitor", 2 if rail.rail_kind == "doubled" else 1, np.asarray(rail.voltage_rating_output)),
    )
    loaded = open_cautions(rail.converter, left, capacitors)
    cautions = open_cautions(rail.converter, np.asarray(unloaded.voltage_output), capacitors)
    cautions += tuple(caution for caution in pump.cautions if caution not in loaded)
    return pump, np.asarray(past + pump.current_supply), cautions


def _refuse_drained(left: Array) -> None:
    if np.any(left < 0):
        raise ValueError(
            "voltage_supply must be above what protection and resistance_filter_in drop, "
            f"but {shown(float(-np.nanmin(left)), 'V')} are wanting"
        )


@formula
def voltage_budget(
    *,
    voltage_supply: ArrayLike,
    current_load: ArrayLike,
    current_direct: ArrayLike,
    voltage_peak: ArrayLike,
    rail: RailCircuit,
) -> VoltageBudget:
    """Follow the supply from its socket to the swing of an op-amp stage.

    Parameters
    ----------
    voltage_supply : array_like
        Supply at the socket under load [V], at least 0: lowest, typical and highest as an array.
    current_load : array_like
        Current of all that hangs on the op-amps' rails [A], at least 0.
    current_direct : array_like
        Current drawn ahead of the converter, such as the indicator's [A], at least 0.
    voltage_peak : array_like
        Peak of the largest signal the build must pass [V], at least 0.
    rail : RailCircuit
        The circuit between socket and op-amps.

    Returns
    -------
    VoltageBudget
        Each voltage and loss on the way [V], swing [V] peak to peak and [dBV],
        headroom [dB], pump tone [V], supply current [A] and cautions.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    The supply carries current_direct plus the load (single), twice the load
    (doubled and split: an inverter takes what it gives), plus the converter's
    own. An overloaded doubler takes less, as `doubler` says; the protection diode's
    drop is still counted at twice the load then, at most a tenth of a volt too much.
    Swing is the smaller way from the idle voltage, taken twice.

    Converter and capacitors are held to their limits at switch-on, when no load draws
    yet: the filter resistor then drops nothing, and the protection diode only what the
    converter's own current makes it drop. An adaptor stands higher then than under load.

    References
    ----------
    DERIVED from `pedalcalc.supply.series_diode` and the pump; PRACTICE: op-amp headroom in volts is taken as independent of the supply.

    Examples
    --------
    >>> from pedalcalc.pump import example
    >>> budget = voltage_budget(
    ...     voltage_supply=9.0, current_load=0.006, current_direct=0.002, voltage_peak=2.0, rail=example()
    ... )
    >>> print(f"{budget.voltage_positive:.1f} V, {budget.voltage_swing:.1f} Vpp, {budget.headroom_db:.1f} dB")
    16.4 V, 13.4 Vpp, 10.5 dB
    """
    supply = numeric("voltage_supply", voltage_supply, least=0)
    load = numeric("current_load", current_load, least=0)
    direct = numeric("current_direct", current_direct, least=0)
    signal = numeric("voltage_peak", voltage_peak, least=0)
    is_a("rail", rail, RailCircuit)
    one_of("rail_kind", rail.rail_kind, RAILS)
    pumped = rail.rail_kind != "single"
    drawn = np.asarray(direct + load * (2 if pumped else 1) + (rail.current_idle if pumped else 0.0))
    if rail.rail_kind == "doubled":
        drawn = drawn + rail.diode_pump.current_saturation
    safe = series_diode(voltage_supply=supply, current_load=drawn, diode=rail.diode_protection)
    if pumped:
        pump, drawn, pump_cautions = _pump(rail, supply, np.asarray(safe.voltage_output), load, direct)
        pin = np.asarray(pump.voltage_pin)
    else:
        pin = np.asarray(safe.voltage_output - drawn * rail.resistance_filter_in)
    loss_filter = safe.voltage_output - pin
    cautions = safe.cautions
    nothing = np.zeros(())
    if pumped:
        ideal, diodes, lost = pump.voltage_ideal, pump.voltage_drop_diodes, pump.voltage_drop_pump
        thevenin, ripple, tone = pump.resistance_thevenin, pump.voltage_ripple, pump.voltage_tone
        through = lowpass_response(
            rail.frequency_pump,
            resistance=rail.resistance_filter_out,
            capacitance=rail.capacitance_filter_out,
            resistance_esr=rail.resistance_esr_filter,
        ).gain
        tone = np.asarray(tone * through)
        cautions += with_tone_level(pump_cautions, np.asarray(rail.frequency_pump), tone, "behind the last filter")
        loss_out = load * rail.resistance_filter_out
        output = np.abs(pump.voltage_output) - loss_out
        positive, negative = (output, 0 * output) if rail.rail_kind == "doubled" else (pin, -output)
        span = np.asarray(ideal if rail.rail_kind == "doubled" else 2 * pin)
    else:
        diodes = lost = thevenin = ripple = tone = nothing
        loss_out = load * rail.resistance_filter_out
        positive = pin - loss_out
        negative = 0 * positive
        span = pin
    idle = 0 * positive if rail.rail_kind == "split" else negative + rail.reference_share * (positive - negative)
    high = positive - rail.headroom_top
    low = negative + rail.headroom_bottom
    room = np.minimum(high - idle, idle - low)
    peak = np.where(room < 0, 0.0, room)
    with np.errstate(divide="ignore", invalid="ignore"):
        headroom = np.where((signal == 0) & ~np.isnan(peak), np.inf, level(peak / signal))
    cautions += _op_amp_cautions(rail, positive, negative, idle, room, signal, headroom)
    return VoltageBudget(
        voltage_supply=supply[()],
        loss_protection=safe.voltage_drop,
        loss_filter=np.asarray(loss_filter)[()],
        voltage_pin=pin[()],
        voltage_ideal=np.asarray(span)[()],
        loss_diodes=np.asarray(diodes)[()],
        loss_pump=np.asarray(lost)[()],
        loss_filter_out=np.asarray(loss_out)[()],
        voltage_positive=np.asarray(positive)[()],
        voltage_negative=np.asarray(negative)[()],
        voltage_idle=np.asarray(idle)[()],
        voltage_high=np.asarray(high)[()],
        voltage_low=np.asarray(low)[()],
        voltage_swing=(2 * peak)[()],
        swing_peak=peak[()],
        level_max_dbv=level(peak / np.sqrt(2))[()],
        headroom_db=headroom[()],
        resistance_thevenin=np.asarray(thevenin)[()],
        voltage_ripple=np.asarray(ripple)[()],
        voltage_tone=np.asarray(tone)[()],
        level_tone_dbv=level(np.asarray(tone))[()],
        current_supply=drawn[()],
        cautions=cautions,
    )


def _op_amp_cautions(
    rail: RailCircuit, positive: Array, negative: Array, idle: Array, room: Array, signal: Array, headroom: Array
) -> tuple[Caution, ...]:
    part = rail.op_amp
    return (
        caution_above(
            f"the rails exceed what the {part.name} stands",
            "use less supply or another op-amp",
            positive - negative,
            part.voltage_supply_max,
            "V",
        )
        + caution_below(
            f"the rails are below what the {part.name} needs",
            "use more supply or another op-amp",
            positive - negative,
            part.voltage_supply_min,
            "V",
        )
        + caution_below(
            f"the signal takes the inputs of the {part.name} too near its negative rail: it can fold over or mute",
            "raise the idle voltage or the supply, or use an op-amp whose inputs reach the negative rail",
            idle - signal - negative,
            rail.input_margin_bottom,
            "V",
        )
        + caution_below("no swing is left", "use more supply or an op-amp that swings nearer its rails", room, 0.0, "V")
        + caution_below(
            "the largest signal clips", "use more supply, less gain, or accept it as the sound", headroom, 0.0, "dB"
        )
    )
