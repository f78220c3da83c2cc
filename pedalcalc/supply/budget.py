"""The voltage budget: from the adaptor's label to the swing a stage really has.

Supply, protection diode, supply filter, converter (or none), filter behind it,
op-amp headroom: each step takes its share. Three kinds of rail: "single" (no
converter), "doubled" (two-diode doubler feeds the op-amps) and "split"
(inverter makes a negative rail; signal ground in the middle).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import is_a, one_of
from pedalcalc._base import formula
from pedalcalc._ranges import AtLeastZero
from pedalcalc._record import Figure, ends
from pedalcalc._refusal import must
from pedalcalc._result import Caution, Number, Result, Spread, caution_above, caution_below, quantity
from pedalcalc._units import shown
from pedalcalc.devices import Converter, Diode, OpAmp
from pedalcalc.pump import Pump, doubler, inverter
from pedalcalc.pump._stage import level, open_cautions, with_tone_level
from pedalcalc.rc import lowpass_response
from pedalcalc.supply.polarity import series_diode

__all__ = ["BudgetStep", "RailCircuit", "VoltageBudget", "voltage_budget"]

Array = NDArray[np.float64]

RAILS = ("single", "doubled", "split")


@dataclass(frozen=True, slots=True, eq=False)
class RailCircuit(Result):
    """Everything between the supply socket and the op-amps' supply pins.

    Numbers may be arrays that broadcast with the supply. Where `converter` or `op_amp` is a
    type, each of its figures stands for three cases: worst, typical, best. `reference_share` is
    where the half-supply reference stands between the rails (0.5 for two equal
    resistors); a split rail idles at ground.
    """

    rail_kind: str = quantity("text", "single, doubled or split")
    diode_protection: Diode = quantity("record", "protection diode")
    resistance_filter_in: Number = quantity("Ω", "resistor ahead of everything")
    converter: Converter = quantity("record", "converter")
    diode_pump: Diode = quantity("record", "diodes of the doubler")
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
    reference_share: Number = quantity("1", "place of the reference between the rails")


@dataclass(frozen=True, slots=True, eq=False)
class BudgetStep(Result):
    """One step of a voltage budget: what it leaves and what it took."""

    name: str = quantity("text", "step")
    voltage_low: Number = quantity("V", "lower end")
    voltage_high: Number = quantity("V", "upper end")
    voltage_drop: Number = quantity("V", "lost in this step")


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
    steps_budget: tuple[BudgetStep, ...] = quantity("records", "from socket to swing, step by step")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def _cases(figure: Figure) -> Array:
    """Return a figure of a part; of a type the worst, typical and best one, where less is better."""
    return np.array(ends(figure)[::-1]) if isinstance(figure, Spread) else np.asarray(figure, float)


def idle_current(rail: RailCircuit) -> Array:
    """Return the converter's own current, with its boost if the pump runs faster than the plain oscillator."""
    plain, boosted = _cases(rail.converter.current_idle), _cases(rail.converter.current_idle_boosted)
    fast = np.asarray(rail.frequency_pump) > np.asarray(rail.converter.frequency_oscillator)
    return np.asarray(np.where(fast & ~np.isnan(boosted), boosted, plain))


def _pump(
    rail: RailCircuit, supply: Array, behind: Array, load: Array, direct: Array, idle: Array, refuses: bool
) -> tuple[Pump, Array, Array, tuple[Caution, ...]]:
    """Return the pump behind the protection diode, its pin, all current of the build, and the pump's cautions."""
    # Around the pump: what else flows through the filter, an inverter's positive rail included.
    past = direct + (load if rail.rail_kind == "split" else 0 * load)
    left = behind - past * rail.resistance_filter_in
    if refuses:
        _refuse_drained(left)
    left, wanting = np.maximum(left, 0.0), np.minimum(left, 0.0)
    parts: dict[str, Any] = {
        "voltage_supply": left,
        "current_load": load,
        "resistance_feed": rail.resistance_filter_in,
        "resistance_switch": _cases(rail.converter.resistance_switch),
        "current_idle": idle,
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
    if refuses:
        _refuse_drained(np.asarray(pump.voltage_pin))
    # At switch-on the filter drops nothing, and the protection diode what the converter's own current makes it drop.
    unloaded = series_diode(voltage_supply=supply, current_load=idle, diode=rail.diode_protection)
    capacitors = (
        ("flying capacitor", 1, np.asarray(rail.voltage_rating_pump)),
        ("output capacitor", 2 if rail.rail_kind == "doubled" else 1, np.asarray(rail.voltage_rating_output)),
    )
    loaded = open_cautions(rail.converter, left, capacitors)
    cautions = open_cautions(rail.converter, np.asarray(unloaded.voltage_output), capacitors)
    cautions += tuple(caution for caution in pump.cautions if caution not in loaded)
    return pump, np.asarray(pump.voltage_pin + wanting), np.asarray(past + pump.current_supply), cautions


def _refuse_drained(left: Array) -> None:
    if np.any(short := left < 0):
        raise must(
            "voltage_supply must be above what protection and resistance_filter_in drop, "
            f"but {shown(float(-left[short].flat[0]), 'V')} are wanting",
            short,
        )


@formula
def voltage_budget(
    *,
    voltage_supply: AtLeastZero,
    current_load: AtLeastZero,
    current_direct: AtLeastZero,
    voltage_peak: AtLeastZero,
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
        The circuit between socket and op-amps. A converter or op-amp that is a type gives three cases, worst, typical
        and best, to go with a lowest, typical and highest supply.

    Returns
    -------
    VoltageBudget
        Each voltage and loss on the way [V], swing [V] peak to peak and [dBV],
        headroom [dB], pump tone [V], supply current [A], the same step by step, and cautions.

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
    >>> from pedalcalc import devices
    >>> schottky = devices.typical(devices.DIODE_1N5817)
    >>> rail = RailCircuit(
    ...     rail_kind="doubled", diode_protection=schottky, resistance_filter_in=10.0,
    ...     converter=devices.typical(devices.CONVERTER_1044S), diode_pump=schottky, frequency_pump=22.5e3,
    ...     capacitance_pump=10e-6, resistance_esr_pump=1.0, capacitance_output=47e-6, resistance_esr_output=0.5,
    ...     voltage_rating_pump=25.0, voltage_rating_output=35.0, low_pin="open", resistance_filter_out=47.0,
    ...     capacitance_filter_out=100e-6, resistance_esr_filter=0.3, op_amp=devices.typical(devices.OPAMP_TL072),
    ...     reference_share=0.5,
    ... )
    >>> budget = voltage_budget(
    ...     voltage_supply=9.0, current_load=0.006, current_direct=0.002, voltage_peak=2.0, rail=rail
    ... )
    >>> print(f"{budget.voltage_positive:.1f} V, {budget.voltage_swing:.1f} Vpp, {budget.headroom_db:.1f} dB")
    16.4 V, 13.4 Vpp, 10.5 dB
    >>> for step in budget.steps_budget:
    ...     print(f"{step.voltage_high - step.voltage_low:.2f} V {step.name}")
    9.00 V supply
    8.78 V behind the protection diode
    8.64 V behind the supply filter
    17.28 V loss-free converter
    16.37 V op-amp rails
    13.37 V op-amp output range
    13.37 V usable swing about the idle voltage
    """
    is_a("rail", rail, RailCircuit)
    one_of("rail_kind", rail.rail_kind, RAILS)
    return budget_of(voltage_supply, current_load, current_direct, voltage_peak, rail, refuses=True)


def budget_of(
    supply: Array, load: Array, direct: Array, signal: Array, rail: RailCircuit, *, refuses: bool
) -> VoltageBudget:
    """Return the budget of numbers that are checked; one that `refuses` nothing goes on below 0 V at the pin, for a search."""
    pumped = rail.rail_kind != "single"
    own = idle_current(rail)
    drawn = np.asarray(direct + load * (2 if pumped else 1) + (own if pumped else 0.0))
    if rail.rail_kind == "doubled":
        drawn = drawn + rail.diode_pump.current_saturation
    safe = series_diode(voltage_supply=supply, current_load=drawn, diode=rail.diode_protection)
    if pumped:
        behind = np.asarray(safe.voltage_output)
        pump, pin, drawn, pump_cautions = _pump(rail, supply, behind, load, direct, own, refuses)
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
    high = positive - _cases(rail.op_amp.headroom_top)
    low = negative + _cases(rail.op_amp.headroom_bottom)
    room = np.minimum(high - idle, idle - low)
    peak = np.where(room < 0, 0.0, room)
    with np.errstate(divide="ignore", invalid="ignore"):
        headroom = np.where((signal == 0) & ~np.isnan(peak), np.inf, level(peak / signal))
    cautions += _op_amp_cautions(rail, positive, negative, idle, room, signal, headroom)
    found: dict[str, Any] = {
        "voltage_supply": supply,
        "loss_protection": safe.voltage_drop,
        "loss_filter": loss_filter,
        "voltage_pin": pin,
        "voltage_ideal": span,
        "loss_diodes": diodes,
        "loss_pump": lost,
        "loss_filter_out": loss_out,
        "voltage_positive": positive,
        "voltage_negative": negative,
        "voltage_idle": idle,
        "voltage_high": high,
        "voltage_low": low,
        "voltage_swing": 2 * peak,
        "swing_peak": peak,
        "level_max_dbv": level(peak / np.sqrt(2)),
        "headroom_db": headroom,
        "resistance_thevenin": thevenin,
        "voltage_ripple": ripple,
        "voltage_tone": tone,
        "level_tone_dbv": level(np.asarray(tone)),
        "current_supply": drawn,
    }
    found = {name: np.asarray(value)[()] for name, value in found.items()}
    return VoltageBudget(**found, steps_budget=_steps(found, pumped), cautions=cautions)


def _steps(found: dict[str, Any], pumped: bool) -> tuple[BudgetStep, ...]:
    """Return the way from socket to swing; a converter's gain is no loss, what follows counts from the loss-free rails."""
    supply, pin, bottom = found["voltage_supply"], found["voltage_pin"], found["voltage_negative"]
    zero = 0 * supply
    behind = supply - found["loss_protection"]
    ends_at = (found["voltage_low"], found["voltage_high"])
    around = (found["voltage_idle"] - found["swing_peak"], found["voltage_idle"] + found["swing_peak"])
    lost = found["loss_diodes"] + found["loss_pump"] + found["loss_filter_out"]
    margins = (found["voltage_positive"] - ends_at[1]) + (ends_at[0] - bottom)
    steps = [
        ("supply", zero, supply, zero),
        ("behind the protection diode", zero, behind, found["loss_protection"]),
        ("behind the supply filter", zero, pin, found["loss_filter"]),
        ("op-amp rails", bottom, found["voltage_positive"], lost),
        ("op-amp output range", *ends_at, margins),
        ("usable swing about the idle voltage", *around, (ends_at[1] - ends_at[0]) - found["voltage_swing"]),
    ]
    if pumped:
        ideal_bottom = np.where(np.asarray(bottom) < 0, -np.asarray(pin), 0.0)[()]
        steps.insert(3, ("loss-free converter", ideal_bottom, ideal_bottom + found["voltage_ideal"], zero))
    return tuple(
        BudgetStep(name=name, voltage_low=low, voltage_high=high, voltage_drop=drop) for name, low, high, drop in steps
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
            f"the signal takes the inputs of the {part.name} too near its negative rail: it can fold over or mute; left above that rail",
            "raise the idle voltage or the supply, or use an op-amp whose inputs reach the negative rail",
            idle - signal - negative,
            _cases(rail.op_amp.input_margin_bottom),
            "V",
        )
        + caution_below("no swing is left", "use more supply or an op-amp that swings nearer its rails", room, 0.0, "V")
        + caution_below(
            "the largest signal clips",
            "use more supply, less gain, or accept it as the sound",
            np.where(np.isneginf(headroom), np.inf, headroom),  # that no swing is left is told already
            0.0,
            "dB",
        )
    )
