"""An op-amp as its terminals show it: gain between sharp limits, output resistance, current limit, and whose rail pays.

::

    in+ --|+ \\       V = middle of the rails + A (V+ + Vos - V-), held between
          |   >--[Ro]-- out      negative rail + headroom and positive rail - headroom
    in- --|- /       I = (V - Vout)/Ro, held within the output's current limit

A sourcing output draws its current from the positive rail, a sinking one hands it to the negative rail; both rails
carry the quiescent current, and the inputs their bias current, which ends where it has led an input beyond the rail that
takes or gives it: nothing drives it on from there. Inputs nearer to a rail than the record allows leave
the law: many types then turn phase. The input offset stands in the lead
of the non-inverting input.

For a solver: `amplifier_figures` once, then `amplifier_branch`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from pedalcalc._base import formula
from pedalcalc._figure import figure
from pedalcalc._ranges import AnyNumber
from pedalcalc._record import specimen
from pedalcalc._refusal import refused
from pedalcalc._result import Array, Number, Result, quantity
from pedalcalc._units import shown
from pedalcalc.devices import OpAmp


@dataclass(frozen=True, slots=True, eq=False)
class AmplifierBranch(Result):
    """Currents into the five terminals of an op-amp, which sum to zero, and the slopes of its output current.

    `voltage_internal` is what drives the output through its resistance. The currents of a sourcing output and of the
    negative rail come out of the part and are negative, and so is `transconductance`.
    """

    voltage_internal: Number = quantity("V", "voltage behind the output resistance")
    current_output: Number = quantity("A", "current into the output")
    current_noninverting: Number = quantity("A", "current into the non-inverting input")
    current_inverting: Number = quantity("A", "current into the inverting input")
    current_positive: Number = quantity("A", "current into the positive supply pin")
    current_negative: Number = quantity("A", "current into the negative supply pin")
    conductance_output: Number = quantity("S", "output current against output voltage")
    transconductance: Number = quantity("S", "output current against input difference")
    predictable: Any = quantity("bool", "predictable")
    region: Any = quantity("text", "region")


#: Volts beyond the rail from which on an input's bias current falls, and over which it ends: what sheets allow there, and a
#: junction on top (common practice).
BEYOND, ENDS = 0.3, 0.6


class AmplifierFigures(NamedTuple):
    """One op-amp; headrooms and input margins in volts from the rails, bias current counted into the pins.

    `offset` is no part of the branch: whoever calls it adds it to the volts at the non-inverting input.
    """

    gain: Array
    resistance: Array
    current_max: Array
    headroom_top: Array
    headroom_bottom: Array
    margin_top: Array
    margin_bottom: Array
    bias: Array
    quiescent: Array
    offset: Array


class AmplifierCore(NamedTuple):
    """What `amplifier_branch` finds: current given by the output [A], its slopes [S], and where the law's limits hold.

    `given_by_...` are the slopes against input difference, output voltage, positive and negative rail.
    """

    given: Array
    internal: Array
    given_by_inputs: Array
    given_by_output: Array
    given_by_positive: Array
    given_by_negative: Array
    at_top: Any
    at_bottom: Any
    limited: Any


def amplifier_figures(record: OpAmp) -> AmplifierFigures:
    """Return the numbers of a specimen."""
    gain, resistance = figure(record, "gain_open_loop"), figure(record, "resistance_output_open")
    if np.any(np.isinf(gain)):
        raise ValueError(f"gain_open_loop of {record.name!r} must be finite: without limit no input difference is left")
    if np.any(resistance == 0):
        raise ValueError(
            f"resistance_output_open of {record.name!r} must be above 0: the output current follows from it"
        )
    most = figure(record, "current_output_max")
    into = 1.0 if record.bias_direction == "in" else -1.0
    return AmplifierFigures(
        gain=gain,
        resistance=resistance,
        current_max=np.where(np.isnan(most), np.inf, most),
        headroom_top=figure(record, "headroom_top"),
        headroom_bottom=figure(record, "headroom_bottom"),
        margin_top=figure(record, "input_margin_top"),
        margin_bottom=figure(record, "input_margin_bottom"),
        bias=into * figure(record, "current_bias"),
        quiescent=figure(record, "current_quiescent"),
        offset=figure(record, "voltage_offset_signed"),
    )


def output_limits(positive: Array, negative: Array, headroom_top: Array, headroom_bottom: Array) -> tuple[Array, Array]:
    """Return lowest and highest internal voltage; on a supply below both headrooms, the one point between them."""
    low, high = negative + headroom_bottom, positive - headroom_top
    crossed = low > high
    if not np.any(crossed):
        return low, high
    between = negative + (positive - negative) * _share(headroom_top, headroom_bottom)
    return np.where(crossed, between, low), np.where(crossed, between, high)


def _share(headroom_top: Array, headroom_bottom: Array) -> Array:
    """Return where between the rails both headrooms meet when the supply shrinks."""
    both = headroom_top + headroom_bottom
    return np.asarray(headroom_bottom / np.where(both == 0, 1.0, both))


def amplifier_branch(
    difference: Array, output: Array, positive: Array, negative: Array, law: AmplifierFigures
) -> AmplifierCore:
    """Return the output's current and slopes from input difference, output and rail voltages [V]."""
    low, high = output_limits(positive, negative, law.headroom_top, law.headroom_bottom)
    free = 0.5 * (positive + negative) + law.gain * difference
    internal = np.minimum(np.maximum(free, low), high)
    at_top, at_bottom = free >= high, free <= low
    inside = free == internal
    wished = (internal - output) / law.resistance
    given = np.minimum(np.maximum(wished, -law.current_max), law.current_max)
    limited = given != wished
    moves = np.where(limited, 0.0, 1 / law.resistance)
    share = np.where(inside, 0.5, at_top)
    if np.any(low == high):
        share = np.where(low == high, _share(law.headroom_top, law.headroom_bottom), share)
    of_top = moves * share
    return AmplifierCore(
        given=given,
        internal=internal,
        given_by_inputs=law.gain * moves * inside,
        given_by_output=-moves,
        given_by_positive=of_top,
        given_by_negative=moves - of_top,
        at_top=at_top,
        at_bottom=at_bottom,
        limited=limited,
    )


def bias_left(volts: Array, positive: Array, negative: Array, bias: Array) -> tuple[Array, Array]:
    """Return the share of an input's bias current that is left, and its slope against the input [1/V].

    What flows in leads an input towards the negative rail, what flows out towards the positive one.
    """
    beyond = np.where(bias > 0, negative - volts, volts - positive) - BEYOND
    share = np.clip(1 - beyond / ENDS, 0.0, 1.0)
    return share, np.where((beyond > 0) & (beyond < ENDS), np.sign(bias) / ENDS, 0.0)


@formula
def amplifier(
    *,
    voltage_noninverting: AnyNumber,
    voltage_inverting: AnyNumber,
    voltage_output: AnyNumber,
    voltage_positive: AnyNumber,
    voltage_negative: AnyNumber,
    op_amp: OpAmp,
) -> AmplifierBranch:
    """Find the currents of an op-amp, with the slopes of its output current, from its terminal voltages.

    Parameters
    ----------
    voltage_noninverting : array_like
        Non-inverting input to ground [V], any sign.
    voltage_inverting : array_like
        Inverting input to ground [V], any sign.
    voltage_output : array_like
        Output to ground [V], any sign.
    voltage_positive : array_like
        Positive rail to ground [V], any sign.
    voltage_negative : array_like
        Negative rail to ground [V], any sign.
    op_amp : OpAmp
        One part (`devices.typical` makes one of a type).

    Returns
    -------
    AmplifierBranch
        Currents into the terminals [A], the voltage behind the output resistance [V], slopes [S], whether the inputs are in
        the range that the record knows, and `region`: linear, at the top, at the bottom, current limit, or
        not predictable.

    Raises
    ------
    ValueError
        If a voltage is infinite, the positive rail lies below the negative one, or the record has no finite gain or no output
        resistance.
    TypeError
        If `op_amp` is not an op-amp record, or is a type.

    Notes
    -----
    V = middle + A (V+ + Vos - V-), held between the negative rail plus `headroom_bottom` and the positive less
    `headroom_top`; I = (V - Vout)/Ro, held within `current_output_max` where the record knows it. What the output gives
    comes out of the positive rail, what it takes goes into the negative one; bias currents likewise, down to none from 0.3
    to 0.9 V beyond that rail. With
    an input nearer to a rail than the record's margin the figures are those of the law and mean nothing (`predictable`),
    unless the record says that the type keeps its phase there.

    References
    ----------
    DERIVED, Kirchhoff's current law at the part; PRACTICE, limits as sharp corners.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> part = devices.typical(devices.OPAMP_TL072)
    >>> held = amplifier(voltage_noninverting=4.5, voltage_inverting=4.4, voltage_output=7.0, voltage_positive=9.0,
    ...                  voltage_negative=0.0, op_amp=part)
    >>> print(f"{held.voltage_internal:.1f} V, {held.region}, {-held.current_output * 1e3:.2f} mA out")
    7.5 V, at the top, 3.91 mA out
    """
    plus, minus, output = voltage_noninverting, voltage_inverting, voltage_output
    positive, negative = voltage_positive, voltage_negative
    if np.any(bad := positive < negative):
        least = shown(float(np.broadcast_to(negative, bad.shape)[bad][0]), "V")
        raise refused("voltage_positive", f"at least voltage_negative ({least})", positive, bad)
    law = amplifier_figures(specimen("op_amp", op_amp, OpAmp))
    core = amplifier_branch(plus + law.offset - minus, output, positive, negative, law)
    inside = within_input_range(plus, minus, positive, negative, law.margin_top, law.margin_bottom, op_amp)
    given = np.asarray(core.given)
    into_plus, into_minus = (law.bias * bias_left(one, positive, negative, law.bias)[0] + 0.0 for one in (plus, minus))
    into = into_plus + into_minus
    region = np.full(given.shape, "linear", dtype="<U15")
    region[core.at_top] = "at the top"
    region[core.at_bottom] = "at the bottom"
    region[core.limited] = "current limit"
    region[~np.broadcast_to(inside, given.shape)] = "not predictable"
    region[np.isnan(given)] = "unknown"
    return AmplifierBranch(
        voltage_internal=core.internal,
        current_output=-given + 0.0,
        current_noninverting=into_plus,
        current_inverting=into_minus,
        current_positive=law.quiescent + np.maximum(given, 0.0) + np.maximum(-into, 0.0),
        current_negative=-(law.quiescent + np.maximum(-given, 0.0) + np.maximum(into, 0.0)) + 0.0,
        conductance_output=0.0 - core.given_by_output + 0.0 * given,
        transconductance=0.0 - core.given_by_inputs + 0.0 * given,
        predictable=inside & ~np.isnan(given),
        region=region,
    )


def within_input_range(
    plus: Array, minus: Array, positive: Array, negative: Array, margin_top: Array, margin_bottom: Array, record: OpAmp
) -> Any:
    """Return where both inputs are in the range in which the record's law holds, or the type is known to keep its phase."""
    low, high = np.minimum(plus, minus), np.maximum(plus, minus)
    below = low < negative + margin_bottom
    above = high > positive - margin_top
    return ~(
        (below & (record.below_input_range != "keeps phase")) | (above & (record.above_input_range != "keeps phase"))
    )
