"""Named operating point of an op-amp stage, and how it is put together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pedalcalc._base import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc.bias._points import Array, scalar
from pedalcalc.bias.opamp import closed
from pedalcalc.devices import OpAmp


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


class _Nodes(NamedTuple):
    """DC voltages of a stage, with or without a meter somewhere."""

    reference: Array
    noninverting: Array
    inverting: Array
    output: Array


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
    op_amp: OpAmp,
    meter: Array,
) -> OpAmpPoint:
    """Put DC, gain and corners of a stage together; `r_leg` goes from the inverting input to the reference, inf if none."""
    bias = (1.0 if op_amp.bias_direction == "in" else -1.0) * op_amp.current_bias.typical
    worst = op_amp.current_bias.high
    dc = (vcc, v_ref, r_ref, r_pin, r_f, r_leg, bias)
    none = np.zeros(())
    with np.errstate(divide="ignore", invalid="ignore"):
        nodes = _nodes(*dc, none, none)
        v_plus, v_out = nodes.noninverting, nodes.output
        ref_read = np.where(np.isinf(r_ref), 0.0, _nodes(*dc, 1 / meter, none).reference)
        plus_read = np.where(np.isinf(r_ref + r_pin), 0.0, _nodes(*dc, none, 1 / meter).noninverting)
        path, fed = np.where(np.isinf(r_ref + r_pin), 0.0, r_ref + r_pin), np.where(np.isinf(r_f), 0.0, r_f)
        # Offset and bias current of the pin make the leg carry current, which drops in the reference as well.
        more = np.where(np.isinf(r_leg), 0.0, (r_f + r_ref) / r_leg)
        error = (1 + more) * op_amp.voltage_offset.high + worst * (path + fed + more * np.where(more == 0, 0.0, r_pin))
    up = np.maximum(vcc - op_amp.headroom_top.typical - v_out, 0.0)
    down = np.maximum(v_out - op_amp.headroom_bottom.typical, 0.0)
    peak = np.minimum(up, down)
    peak_worst = np.maximum(
        np.minimum(vcc - op_amp.headroom_top.high - v_out, v_out - op_amp.headroom_bottom.high), 0.0
    )
    a_ol = np.asarray(op_amp.gain_open_loop.typical)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = closed(ideal, noise_loaded, a_ol)
        high = op_amp.gain_bandwidth.typical / noise_loaded
        full = op_amp.slew_rate.typical / (2 * np.pi * peak)
        z_out = op_amp.resistance_output_open / (1 + a_ol / noise_loaded)
    cautions = _cautions(vcc, v_plus, peak, op_amp)
    fields = (
        nodes.reference, ref_read, v_plus, plus_read, nodes.inverting, v_out, error, up, down, peak, peak_worst, gain, np.abs(gain),
        ideal, noise, low, low_gain, high, full, z_in + 0.0, z_out, op_amp.current_quiescent.typical + 0.0 * peak,
    )  # fmt: skip
    return OpAmpPoint(*[*(scalar(part) for part in fields), cautions])


def _nodes(
    vcc: Array,
    v_ref: Array,
    r_ref: Array,
    r_pin: Array,
    r_f: Array,
    r_leg: Array,
    bias: float,
    at_ref: Array,
    at_pin: Array,
) -> _Nodes:
    """Solve reference, both inputs and output together; `at_ref` and `at_pin` are conductances of a meter there.

    The pin's current i comes through its resistor from the reference, and the leg, which the loop holds at the pin's
    voltage, takes i r_pin/r_leg from it too. An output at its rail no longer holds the leg: then the current through
    leg and feedback resistor follows from both their ends.
    """
    rail = np.where(bias > 0, 0.0, vcc)
    open_ref, open_pin, open_feedback, no_leg = (np.isinf(r) for r in (r_ref, r_pin, r_f, r_leg))
    # An open path to the reference leaves the pin to its own bias current, at a rail.
    floats = open_ref | open_pin
    behind, through, feedback = (np.where(np.isinf(r), 0.0, r) for r in (r_ref, r_pin, r_f))
    source = np.where(open_ref, rail, v_ref)
    taken = np.where(floats, 0.0, 1 / (1 + at_pin * through))
    shorted = (r_leg == 0) & ((through > 0) | floats)
    per_pin = np.where((through == 0) | floats | shorted, 0.0, through / r_leg)
    to_rail = np.where(floats & ~shorted, 1 / r_leg, 0.0)

    # Loop closed.
    load = taken * (1 + per_pin)
    reference = (source + behind * (rail * to_rail - load * bias)) / (1 + behind * (at_ref + to_rail + load * at_pin))
    current = taken * (bias + at_pin * reference)
    pin = np.where(floats, rail, reference - through * current)
    wished = pin + feedback * (bias - per_pin * current - to_rail * (reference - rail))
    wished = np.where(open_feedback, rail, np.where(shorted, np.where(bias > 0, -np.inf, np.inf), wished))
    output = np.minimum(np.maximum(wished, 0.0), vcc)

    # Output at a rail, or no feedback, when the leg feeds the inverting input alone.
    lost = (wished != output) | open_feedback
    held = np.where(open_feedback, 0.0, 1 / (r_leg + feedback))
    alone = np.where(open_feedback & ~no_leg, bias, 0.0)
    at_rail = (source + behind * (held * (output - bias * feedback) - taken * bias - alone)) / (
        1 + behind * (at_ref + held + taken * at_pin)
    )
    reference = np.where(lost, at_rail, reference)
    pin = np.where(floats, rail, reference - through * taken * (bias + at_pin * reference))
    leg = alone + held * (reference - output + bias * feedback)
    hangs = np.where(open_feedback, rail, output - bias * feedback)  # without a leg
    inverting = np.where(no_leg, hangs, reference - np.where(no_leg, 0.0, leg * r_leg))
    return _Nodes(reference + 0 * output, pin + 0 * output, np.where(lost, inverting, pin), output)


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
            op_amp.input_margin_bottom.typical,
            "V",
        )
        + caution_below(
            f"{name}: input nearer to the positive rail than it works",
            "lower the reference or raise the supply",
            vcc - v_plus,
            op_amp.input_margin_top.typical,
            "V",
        )
        + caution_below(f"{name}: no room left to swing", "check reference and supply", peak, 1e-9, "V")
    )
