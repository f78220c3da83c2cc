"""Named operating point of an op-amp stage, and how it is put together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._result import Caution, Number, Result, caution_above, caution_below, quantity
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
    """Put DC, gain and corners of a stage together; `r_leg` goes from the inverting input to the reference, inf if none.

    `driven` says that the signal moves the non-inverting input, whose range then limits the swing as well.
    """
    size = np.asarray(part.current_bias, float)
    bias = (1.0 if part.bias_direction == "in" else -1.0) * size
    none, rail = np.zeros(()), np.where(bias > 0, 0.0, vcc)
    with np.errstate(divide="ignore", invalid="ignore"):
        reference, v_plus = _sources(vcc, v_ref, r_ref, r_pin, r_f, r_leg, bias, rail, none, none, part)
        v_minus, v_out = _settled(v_plus, reference, r_f, r_leg, bias, vcc, part)
        sagged, _ = _sources(vcc, v_ref, r_ref, r_pin, r_f, r_leg, bias, rail, 1 / meter, none, part)
        _, pulled = _sources(vcc, v_ref, r_ref, r_pin, r_f, r_leg, bias, rail, none, 1 / meter, part)
        ref_read = np.where(np.isinf(r_ref), 0.0, sagged)
        plus_read = np.where(np.isinf(r_ref + r_pin), 0.0, pulled)
        path, fed, behind = (np.where(np.isinf(r), 0.0, r) for r in (r_ref + r_pin, r_f, r_ref))
        # Offset and bias current of the pin make the leg carry current, which drops in the reference as well.
        more = np.where(np.isinf(r_leg), 0.0, (r_f + behind) / r_leg)
        amplified = np.where((r_pin == 0) | np.isinf(r_pin) | (more == 0), 0.0, more * r_pin)
    error = (1 + more) * np.asarray(part.voltage_offset, float) + size * (path + fed + amplified)
    up, down, peak_free = _room(part, vcc, v_out, v_plus, ideal if driven else None)
    peak = np.minimum(up, down)
    a_ol = np.asarray(part.gain_open_loop, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = closed(ideal, noise_loaded, a_ol)
        high = np.asarray(part.gain_bandwidth, float) / noise_loaded
        full = np.asarray(part.slew_rate, float) / (2 * np.pi * peak)
        z_out = part.resistance_output_open / (1 + a_ol / noise_loaded)
    return OpAmpPoint(
        voltage_half_supply=reference + 0.0 * v_out,
        voltage_half_supply_read=ref_read,
        voltage_noninverting=v_plus + 0.0 * v_out,
        voltage_noninverting_read=plus_read,
        voltage_inverting=v_minus,
        voltage_output=v_out,
        voltage_error=error,
        swing_up=up,
        swing_down=down,
        voltage_peak=peak,
        gain_signed=gain,
        gain=np.abs(gain),
        gain_ideal=ideal,
        noise_gain=noise,
        frequency_low=low,
        frequency_low_gain=low_gain,
        frequency_high=high,
        frequency_full_power=full,
        impedance_input=z_in + 0.0,
        impedance_output=z_out,
        current_supply=part.current_quiescent + 0.0 * peak,
        cautions=_cautions(vcc, v_plus, peak, peak_free, part),
    )


def _sources(
    vcc: Array,
    v_ref: Array,
    r_ref: Array,
    r_pin: Array,
    r_f: Array,
    r_leg: Array,
    bias: Array,
    rail: Array,
    at_ref: Array,
    at_pin: Array,
    part: OpAmp,
) -> tuple[Array, Array]:
    """Return reference and non-inverting input under their load; `at_ref` and `at_pin` are conductances of a meter there.

    The reference n feeds the pin and the leg, whose current is (1 - b) bias - s y, with b, s and y of `_settled`. In the
    loop and at each limit of the output y = a - c n, which makes Kirchhoff's current law at the reference linear,
    always rising with n and falling with y: the output's own clip picks the right one of the three.
    """
    b, s, pulled, inverse, r_o = _network(r_f, r_leg, bias, part)
    # An open path to the reference leaves pin and reference to the bias current, at a rail.
    open_ref = np.isinf(r_ref)
    floats = open_ref | np.isinf(r_pin)
    behind, through = np.where(open_ref, 0.0, r_ref), np.where(floats, 0.0, r_pin)
    taken = np.where(floats, 0.0, 1 / (1 + at_pin * through))
    own = np.where(open_ref, rail, v_ref) - behind * bias * (taken + np.where(np.isinf(r_leg), 0.0, 1 - b))
    stiff = 1 + behind * (at_ref + taken * at_pin)
    middle = 0.5 * vcc
    a = inverse * (middle - r_o * b * bias) + np.where(floats, rail, -through * taken * bias) + _offset(part) + pulled
    c = inverse + np.where(floats, 1.0, through * taken * at_pin)
    loop = inverse * (1 + r_o * s) + b
    # Without any loop and without any drive the output rests in the middle.
    idle = (a == 0) & (c == 0) & (loop == 0)
    a, c, loop = np.where(idle, middle, a), np.where(idle, 1.0, c), np.where(idle, 1.0, loop)
    fed = behind * s
    low, high = _limits(vcc, part)
    found = (loop * own + fed * a) / (loop * stiff + fed * c)
    bottom, top = (
        (own + fed * (end - r_o * b * bias) / (1 + r_o * s)) / (stiff + fed / (1 + r_o * s)) for end in (low, high)
    )
    reference = np.where(fed == 0, own / stiff, np.minimum(np.maximum(found, bottom), top))
    return reference, np.where(floats, rail, reference - through * taken * (bias + at_pin * reference))


def _network(r_f: Array, r_leg: Array, bias: Array, part: OpAmp) -> tuple[Array, Array, Array, Array, Array]:
    """Return b, s and bias (RF || RL) of `_settled`, then the op-amp's 1/A and Ro."""
    with np.errstate(divide="ignore", invalid="ignore"):
        b = np.where(np.isinf(r_f), 0.0, np.where(np.isinf(r_leg), 1.0, r_leg / (r_f + r_leg)))
        pulled = np.where(bias == 0, 0.0, bias / (1 / r_f + 1 / r_leg))
        inverse = 1 / np.asarray(part.gain_open_loop, float)
        return b, 1 / (r_f + r_leg), pulled, inverse, np.asarray(part.resistance_output_open, float)


def _offset(part: OpAmp) -> Array:
    return np.asarray(part.voltage_offset_signed, float)


def _limits(vcc: Array, part: OpAmp) -> tuple[Array, Array]:
    """Return lowest and highest voltage behind the output resistance."""
    top, bottom = np.asarray(part.headroom_top, float), np.asarray(part.headroom_bottom, float)
    return output_limits(vcc, np.zeros_like(vcc), top, bottom)


def _settled(
    v_plus: Array, v_ref: Array, r_f: Array, r_leg: Array, bias: Array, vcc: Array, part: OpAmp
) -> tuple[Array, Array]:
    """Return inverting input and output as the op-amp's law leaves them: in its loop, or at a limit where the loop lets go.

    With b of the output fed back and y the output above the reference, Kirchhoff's current law makes the inverting input
    b y - bias (RF || RL) and the output current s y + b bias; the law adds y + Ro (...) = middle + A (V+ + Vos - V-).
    """
    b, s, pulled, inverse, r_o = _network(r_f, r_leg, bias, part)
    with np.errstate(divide="ignore", invalid="ignore"):
        middle = vcc / 2 - v_ref
        drive = inverse * (middle - r_o * b * bias) + (v_plus + _offset(part) - v_ref) + pulled
        loop = inverse * (1 + r_o * s) + b
        wished = np.where((drive == 0) & (loop == 0), middle, drive / loop)
    low, high = _limits(vcc, part)
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
            f"{name}: a larger signal drives its input out of range before the output clips, and it can fold over; peak at the output",
            "keep to this peak, raise the supply, or use a type whose inputs reach further",
            peak,
            0.99 * peak_free,
            "V",
        )
        + caution_below(f"{name}: no room left to swing", "check reference and supply", peak, 1e-9, "V")
    )
