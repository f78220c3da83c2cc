"""Named operating point of an op-amp stage, and how it is put together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import Caution, Number, Result, caution_above, caution_below, quantity, scalar
from pedalcalc.devices import OpAmp
from pedalcalc.laws.amplifiers import output_limits
from pedalcalc.opamp._feedback import Array, closed


@dataclass(frozen=True, slots=True, eq=False)
class OpAmpPoint(Result):
    """Operating point of one op-amp stage, from the figures of one part.

    Voltages are to ground. The two `_read` fields are what a meter of the given
    input resistance shows; output and inverting input do not mind the meter.
    `voltage_error` is the largest DC error of the output with the part's
    offset and bias current, their signs at their worst. Where the signal moves the non-inverting input, its range limits swing and peak
    as well as the output's headroom does. For the worst part of a type take `devices.low`.
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
    r_leg: Array,
    dc_gain: Array,
    ideal: Array,
    noise: Array,
    noise_loaded: Array,
    low: Array,
    low_gain: Array,
    z_in: Array,
    part: OpAmp,
    meter: Array,
    *,
    driven: bool,
) -> OpAmpPoint:
    """Put DC, gain and corners of a stage together; `r_leg` carries DC from the inverting input to the reference.

    `driven` says that the signal moves the non-inverting input, whose range then limits the swing as well.
    """
    size = np.asarray(part.current_bias, float)
    bias = (1.0 if part.bias_direction == "in" else -1.0) * size
    with np.errstate(divide="ignore", invalid="ignore"):
        # An open path to the reference leaves the pin to its own bias current, at a rail.
        floating = np.isinf(r_ref + r_pin)
        path = np.where(floating, 0.0, r_ref + r_pin)
        v_plus = np.where(floating, np.where(bias > 0, 0.0, vcc), v_ref - bias * path)
        v_minus, v_out = _settled(v_plus, v_ref, r_f, r_leg, bias, vcc, part)
        ref_read = np.where(np.isinf(r_ref), 0.0, v_ref / (1 + r_ref / meter))
        plus_read = np.where(floating, 0.0, (v_ref - bias * path) / (1 + path / meter))
        amplified = np.where(path == 0, 0.0, dc_gain * path)
    error = dc_gain * np.asarray(part.voltage_offset, float) + size * (amplified + np.where(np.isinf(r_f), 0.0, r_f))
    up, down, peak_free = _room(part, vcc, v_out, v_plus, ideal if driven else None)
    peak = np.minimum(up, down)
    a_ol = np.asarray(part.gain_open_loop, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = closed(ideal, noise_loaded, a_ol)
        high = np.asarray(part.gain_bandwidth, float) / noise_loaded
        full = np.asarray(part.slew_rate, float) / (2 * np.pi * peak)
        z_out = part.resistance_output_open / (1 + a_ol / noise_loaded)
    return OpAmpPoint(
        voltage_half_supply=scalar(v_ref + 0.0),
        voltage_half_supply_read=scalar(ref_read),
        voltage_noninverting=scalar(v_plus),
        voltage_noninverting_read=scalar(plus_read),
        voltage_inverting=scalar(v_minus),
        voltage_output=scalar(v_out),
        voltage_error=scalar(error),
        swing_up=scalar(up),
        swing_down=scalar(down),
        voltage_peak=scalar(peak),
        gain_signed=scalar(gain),
        gain=scalar(np.abs(gain)),
        gain_ideal=scalar(ideal),
        noise_gain=scalar(noise),
        frequency_low=scalar(low),
        frequency_low_gain=scalar(low_gain),
        frequency_high=scalar(high),
        frequency_full_power=scalar(full),
        impedance_input=scalar(z_in + 0.0),
        impedance_output=scalar(z_out),
        current_supply=scalar(part.current_quiescent + 0.0 * peak),
        cautions=_cautions(vcc, v_plus, peak, peak_free, part),
    )


def _settled(
    v_plus: Array, v_ref: Array, r_f: Array, r_leg: Array, bias: Array, vcc: Array, part: OpAmp
) -> tuple[Array, Array]:
    """Return inverting input and output as the op-amp's law leaves them: in its loop, or at a limit where the loop lets go.

    With b of the output fed back and y the output above the reference, Kirchhoff's current law makes the inverting input
    b y - bias (RF || RL) and the output current s y + b bias; the law adds y + Ro (...) = middle + A (V+ - V-).
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        b = np.where(np.isinf(r_f), 0.0, np.where(np.isinf(r_leg), 1.0, r_leg / (r_f + r_leg)))
        s = 1 / (r_f + r_leg)
        pulled = np.where(bias == 0, 0.0, bias / (1 / r_f + 1 / r_leg))
        inverse, r_o = 1 / np.asarray(part.gain_open_loop, float), np.asarray(part.resistance_output_open, float)
        middle = vcc / 2 - v_ref
        drive = inverse * (middle - r_o * b * bias) + (v_plus - v_ref) + pulled
        loop = inverse * (1 + r_o * s) + b
        wished = np.where((drive == 0) & (loop == 0), middle, drive / loop)
    low, high = output_limits(
        vcc, np.zeros_like(vcc), np.asarray(part.headroom_top, float), np.asarray(part.headroom_bottom, float)
    )
    bottom, top = ((end - v_ref - r_o * b * bias) / (1 + r_o * s) for end in (low, high))
    y = np.minimum(np.maximum(wished, bottom), top)
    # With no path at all the bias current takes the inverting input to a rail.
    v_minus = np.where(np.isinf(pulled), np.where(pulled > 0, 0.0, vcc), v_ref + b * y - pulled)
    return v_minus, v_ref + y


def _room(op_amp: OpAmp, vcc: Array, v_out: Array, v_plus: Array, gain: Array | None) -> tuple[Array, Array, Array]:
    """Return how far the output can move up and down, and the smaller of both as the output alone would have it.

    A signal at the non-inverting input moves that input as well, by the output's swing over the gain.
    """
    headroom_top, headroom_bottom, margin_top, margin_bottom = (
        np.asarray(getattr(op_amp, name), float)
        for name in ("headroom_top", "headroom_bottom", "input_margin_top", "input_margin_bottom")
    )
    up = np.maximum(vcc - headroom_top - v_out, 0.0)
    down = np.maximum(v_out - headroom_bottom, 0.0)
    free = np.minimum(up, down)
    if gain is not None:
        above, below = vcc - margin_top - v_plus, v_plus - margin_bottom
        with np.errstate(invalid="ignore"):
            up = np.minimum(up, np.where(above <= 0, 0.0, above * gain))
            down = np.minimum(down, np.where(below <= 0, 0.0, below * gain))
    return up, down, free


def _cautions(vcc: Array, v_plus: Array, peak: Array, peak_free: Array, op_amp: OpAmp) -> tuple[Caution, ...]:
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
            op_amp.input_margin_bottom,
            "V",
        )
        + caution_below(
            f"{name}: input nearer to the positive rail than it works",
            "lower the reference or raise the supply",
            vcc - v_plus,
            op_amp.input_margin_top,
            "V",
        )
        + caution_below(
            f"{name}: a larger signal drives its input out of range, where the output can fold over",
            "keep the output below this peak, raise the supply, or use a type whose inputs reach further",
            peak,
            0.99 * peak_free,
            "V",
        )
        + caution_below(f"{name}: no room left to swing", "check reference and supply", peak, 1e-9, "V")
    )
