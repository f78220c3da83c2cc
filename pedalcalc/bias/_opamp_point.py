"""Named operating point of an op-amp stage, and how it is put together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc.bias._points import Array, scalar
from pedalcalc.bias.opamp import closed
from pedalcalc.devices import OpAmp
from pedalcalc.devices._record import ends


@dataclass(frozen=True, slots=True, eq=False)
class OpAmpPoint(Result):
    """Operating point of one op-amp stage, from the record's typical figures.

    Voltages are to ground. The two `_read` fields are what a meter of the given
    input resistance shows; output and inverting input do not mind the meter.
    `voltage_error` is the largest DC error of the output with the record's
    worst offset and bias current. `voltage_peak_worst` takes the worst headroom.
    """

    voltage_half_supply: Number = quantity("V", "reference")
    voltage_half_supply_read: Number = quantity("V", "reference, as the meter reads it")
    voltage_noninverting: Number = quantity("V", "non-inverting input")
    voltage_noninverting_read: Number = quantity("V", "non-inverting input, as the meter reads it")
    voltage_inverting: Number = quantity("V", "inverting input")
    voltage_output: Number = quantity("V", "output")
    voltage_error: Number = quantity("V", "largest DC error of the output")
    swing_up: Number = quantity("V", "room to swing up")
    swing_down: Number = quantity("V", "room to swing down")
    voltage_peak: Number = quantity("V", "largest undistorted peak")
    voltage_peak_worst: Number = quantity("V", "the same with the worst part")
    gain_signed: Number = quantity("1", "gain, negative when inverted")
    gain: Number = quantity("1", "gain, size")
    gain_ideal: Number = quantity("1", "gain of an ideal op-amp")
    noise_gain: Number = quantity("1", "noise gain")
    frequency_low: Number = quantity("Hz", "input corner")
    frequency_low_gain: Number = quantity("Hz", "corner of the gain resistor")
    frequency_high: Number = quantity("Hz", "upper corner")
    frequency_full_power: Number = quantity("Hz", "full swing up to")
    impedance_input: Number = quantity("Ω", "input impedance")
    impedance_output: Number = quantity("Ω", "output impedance")
    current_supply: Number = quantity("A", "supply current")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def opamp_point(
    vcc: Array,
    v_ref: Array,
    r_ref: Array,
    r_pin: Array,
    r_f: Array,
    dc_gain: Array,
    ideal: Array,
    noise: Array,
    noise_loaded: Array,
    low: Array,
    low_gain: Array,
    z_in: Array,
    op_amp: OpAmp,
    meter: Array,
) -> OpAmpPoint:
    """Put DC, gain and corners of a stage together."""
    bias = (1.0 if op_amp.bias_direction == "in" else -1.0) * ends(op_amp.current_bias).typical
    worst = ends(op_amp.current_bias).high
    with np.errstate(divide="ignore", invalid="ignore"):
        # An open path to the reference leaves the pin to its own bias current, at a rail.
        floating = np.isinf(r_ref + r_pin)
        path = np.where(floating, 0.0, r_ref + r_pin)
        rail = np.where(bias > 0, 0.0, vcc)
        v_plus = np.where(floating, rail, v_ref - bias * path)
        v_out = v_plus + (dc_gain - 1) * (v_plus - v_ref) + bias * np.where(np.isinf(r_f), 0.0, r_f)
        v_out = np.where(np.isinf(r_f), rail, v_out)
        # No output goes beyond its rails; at one of them the loop no longer holds the inverting pin.
        wished, v_out = v_out, np.minimum(np.maximum(v_out, 0.0), vcc)
        v_minus = np.where(wished == v_out, v_plus, v_ref + (v_out - v_ref) / dc_gain)
        ref_read = np.where(np.isinf(r_ref), 0.0, v_ref / (1 + r_ref / meter))
        plus_read = np.where(floating, 0.0, (v_ref - bias * path) / (1 + path / meter))
        amplified = np.where(path == 0, 0.0, dc_gain * path)
    error = dc_gain * ends(op_amp.voltage_offset).high + worst * (amplified + np.where(np.isinf(r_f), 0.0, r_f))
    up = np.maximum(vcc - ends(op_amp.headroom_top).typical - v_out, 0.0)
    down = np.maximum(v_out - ends(op_amp.headroom_bottom).typical, 0.0)
    peak = np.minimum(up, down)
    peak_worst = np.maximum(
        np.minimum(vcc - ends(op_amp.headroom_top).high - v_out, v_out - ends(op_amp.headroom_bottom).high), 0.0
    )
    a_ol = np.asarray(ends(op_amp.gain_open_loop).typical)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = closed(ideal, noise_loaded, a_ol)
        high = ends(op_amp.gain_bandwidth).typical / noise_loaded
        full = ends(op_amp.slew_rate).typical / (2 * np.pi * peak)
        z_out = op_amp.resistance_output_open / (1 + a_ol / noise_loaded)
    cautions = _cautions(vcc, v_plus, peak, op_amp)
    fields = (
        v_ref + 0.0, ref_read, v_plus, plus_read, v_minus, v_out, error, up, down, peak, peak_worst, gain, np.abs(gain),
        ideal, noise, low, low_gain, high, full, z_in + 0.0, z_out, ends(op_amp.current_quiescent).typical + 0.0 * peak,
    )  # fmt: skip
    return OpAmpPoint(*[*(scalar(part) for part in fields), cautions])


def _cautions(vcc: Array, v_plus: Array, peak: Array, op_amp: OpAmp) -> tuple[Caution, ...]:
    name = op_amp.name
    return (
        caution_above(
            f"{name}: supply above its rating",
            "lower the supply or use a type with a higher rating",
            vcc,
            op_amp.voltage_supply_max,
            "V",
        )
        + caution_below(
            f"{name}: supply below what the maker promises",
            "a fresh battery, or a type for lower supplies",
            vcc,
            op_amp.voltage_supply_min,
            "V",
        )
        + caution_below(
            f"{name}: input nearer to the negative rail than it works",
            "raise the reference or the supply",
            v_plus,
            ends(op_amp.input_margin_bottom).typical,
            "V",
        )
        + caution_below(
            f"{name}: input nearer to the positive rail than it works",
            "lower the reference or raise the supply",
            vcc - v_plus,
            ends(op_amp.input_margin_top).typical,
            "V",
        )
        + caution_below(f"{name}: no room left to swing", "check reference and supply", peak, 1e-9, "V")
    )
