"""Op-amp stages on a half-supply reference: what a meter reads, and what the stage does.

::

    non-inverting                      inverting
    in --Cin--+--|+\\                   in --Cin--RI--+--|-\\
              Rb |  >--+-- out                       |  |  >--+-- out
    Vref -----+  |-/   RF              Vref --Rc---- | -|+/   |
                 +-----+                             +--RF----+
                 RG
                 Cg to ground

The reference stands for its own divider: a voltage behind a resistance.
"""

from __future__ import annotations

import numpy as np

from pedalcalc._base import formula
from pedalcalc._figure import meter_resistance
from pedalcalc._ranges import AboveZeroToInfinity, AnyNumber, AtLeastZero, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc._refusal import must
from pedalcalc.devices import Meter, OpAmp
from pedalcalc.opamp._feedback import Array, ratio
from pedalcalc.opamp._point import OpAmpPoint, opamp_point

SHORT, OPEN = np.asarray(0.0), np.asarray(np.inf)

__all__ = ["follower", "inverting", "noninverting"]


@formula
def noninverting(
    voltage_supply: AtLeastZero,
    *,
    voltage_half_supply: AnyNumber,
    resistance_half_supply: ZeroToInfinity,
    resistance_bias: ZeroToInfinity,
    resistance_feedback: ZeroToInfinity,
    resistance_ground: ZeroToInfinity,
    capacitance_input: AboveZeroToInfinity,
    capacitance_gain: AboveZeroToInfinity,
    op_amp: OpAmp,
    meter: Meter,
    resistance_generator: ZeroToInfinity = 0.0,
) -> OpAmpPoint:
    """Find DC at each pin and the behaviour of a non-inverting stage on a half-supply reference.

    Parameters
    ----------
    voltage_supply : array_like
        Supply from negative to positive rail [V], 0 or more.
    voltage_half_supply : array_like
        Reference with nothing connected to it [V], to the negative rail.
    resistance_half_supply : array_like
        Resistance of the reference, its divider's two resistors in parallel; 0 if buffered [Ω], 0 to inf.
    resistance_bias : array_like
        Resistor from the reference to the non-inverting input [Ω], 0 to inf.
    resistance_feedback : array_like
        Resistor from output to inverting input [Ω], 0 to inf.
    resistance_ground : array_like
        Gain resistor at the inverting input [Ω], 0 to inf.
    capacitance_input : array_like
        Input capacitor [F], above 0 to inf.
    capacitance_gain : array_like
        Capacitor in series with the gain resistor [F], above 0; inf where the resistor goes
        straight to the reference instead.
    op_amp : devices.OpAmp
        One part.
    meter : devices.Meter
        What reads the high-resistance pins.
    resistance_generator : array_like
        Resistance of the signal generator or the stage before [Ω], 0 to inf; none if not given.

    Returns
    -------
    OpAmpPoint
        Voltages [V], gain [1], corners [Hz], impedances [Ω] and cautions.

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `op_amp` is not an op-amp record or is a type, or `meter` is not a meter.

    Notes
    -----
    The capacitor in the gain leg makes the DC gain 1. Bias current times
    reference and bias resistor shifts the input; times the feedback resistor, the output.
    Without that capacitor the leg draws its current from the reference too: reference,
    both inputs and output are solved together. Gain and corners take the reference as
    bypassed for the signal.

    References
    ----------
    GAYAKWAD, ex. 6.2, single-supply AC amplifier; FIORE-OPAMPS, ch. 5; DERIVED, DC at each pin.

    Examples
    --------
    >>> from pedalcalc.devices import METER_DIGITAL, OPAMP_TL072, typical
    >>> point = noninverting(9.0, voltage_half_supply=4.5, resistance_half_supply=5e3, resistance_bias=1e6,
    ...     resistance_feedback=100e3, resistance_ground=10e3, capacitance_input=22e-9, capacitance_gain=2.2e-6,
    ...     op_amp=typical(OPAMP_TL072), meter=METER_DIGITAL)
    >>> round(point.voltage_noninverting, 2), round(point.voltage_noninverting_read, 2), round(point.gain, 2)
    (4.5, 4.09, 11.0)
    """
    return _noninverting(
        voltage_supply,
        voltage_half_supply,
        resistance_half_supply,
        resistance_bias,
        resistance_feedback,
        resistance_ground,
        capacitance_input,
        capacitance_gain,
        resistance_generator,
        op_amp,
        meter,
    )


@formula
def follower(
    voltage_supply: AtLeastZero,
    *,
    voltage_half_supply: AnyNumber,
    resistance_half_supply: ZeroToInfinity,
    resistance_bias: ZeroToInfinity,
    capacitance_input: AboveZeroToInfinity,
    op_amp: OpAmp,
    meter: Meter,
    resistance_generator: ZeroToInfinity = 0.0,
) -> OpAmpPoint:
    """Find DC at each pin and the behaviour of a follower on a half-supply reference.

    Parameters
    ----------
    voltage_supply : array_like
        Supply from negative to positive rail [V], 0 or more.
    voltage_half_supply : array_like
        Reference with nothing connected to it [V], to the negative rail.
    resistance_half_supply : array_like
        Resistance of the reference, its divider's two resistors in parallel; 0 if buffered [Ω], 0 to inf.
    resistance_bias : array_like
        Resistor from the reference to the non-inverting input [Ω], 0 to inf.
    capacitance_input : array_like
        Input capacitor [F], above 0 to inf.
    op_amp : devices.OpAmp
        One part.
    meter : devices.Meter
        What reads the high-resistance pins.
    resistance_generator : array_like
        Resistance of the signal generator or the stage before [Ω], 0 to inf; none if not given.

    Returns
    -------
    OpAmpPoint
        Voltages [V], gain [1], corners [Hz], impedances [Ω] and cautions.

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `op_amp` is not an op-amp record or is a type, or `meter` is not a meter.

    Notes
    -----
    `noninverting` with output and inverting input joined.

    References
    ----------
    KUPHALDT-3, ch. 8, voltage follower; DERIVED, DC at each pin.

    Examples
    --------
    >>> from pedalcalc.devices import METER_DIGITAL, OPAMP_TL072, typical
    >>> point = follower(9.0, voltage_half_supply=4.5, resistance_half_supply=5e3, resistance_bias=1e6,
    ...                        capacitance_input=22e-9, op_amp=typical(OPAMP_TL072), meter=METER_DIGITAL)
    >>> round(point.frequency_low, 1), round(point.impedance_input)
    (7.2, 1000000)
    """
    return _noninverting(
        voltage_supply,
        voltage_half_supply,
        resistance_half_supply,
        resistance_bias,
        SHORT,
        OPEN,
        capacitance_input,
        OPEN,
        resistance_generator,
        op_amp,
        meter,
    )


@formula
def inverting(
    voltage_supply: AtLeastZero,
    *,
    voltage_half_supply: AnyNumber,
    resistance_half_supply: ZeroToInfinity,
    resistance_feedback: ZeroToInfinity,
    resistance_input: ZeroToInfinity,
    capacitance_input: AboveZeroToInfinity,
    op_amp: OpAmp,
    meter: Meter,
    resistance_compensation: AtLeastZero = 0.0,
    resistance_generator: ZeroToInfinity = 0.0,
) -> OpAmpPoint:
    """Find DC at each pin and the behaviour of an inverting stage on a half-supply reference.

    Parameters
    ----------
    voltage_supply : array_like
        Supply from negative to positive rail [V], 0 or more.
    voltage_half_supply : array_like
        Reference with nothing connected to it [V], to the negative rail.
    resistance_half_supply : array_like
        Resistance of the reference, its divider's two resistors in parallel; 0 if buffered [Ω], 0 to inf.
    resistance_feedback : array_like
        Resistor from output to inverting input [Ω], 0 to inf.
    resistance_input : array_like
        Resistor from the input capacitor to the inverting input [Ω], 0 to inf.
    capacitance_input : array_like
        Input capacitor [F], above 0 to inf.
    op_amp : devices.OpAmp
        One part.
    meter : devices.Meter
        What reads the high-resistance pins.
    resistance_compensation : array_like
        Resistor from the reference to the non-inverting input [Ω], 0 or more; none if not given.
    resistance_generator : array_like
        Resistance of the signal generator or the stage before [Ω], 0 to inf; none if not given.

    Returns
    -------
    OpAmpPoint
        Voltages [V], gain from the stage's input (behind the source resistance) [1],
        corners [Hz], impedances [Ω] and cautions.

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `op_amp` is not an op-amp record or is a type, or `meter` is not a meter.

    Notes
    -----
    The input capacitor makes the DC noise gain 1: output DC is the reference plus
    bias current times the difference of feedback and compensation resistor.

    References
    ----------
    GAYAKWAD, ex. 6.1, AC inverting amplifier; FIORE-OPAMPS, ch. 5; DERIVED, DC at each pin.

    Examples
    --------
    >>> from pedalcalc.devices import METER_DIGITAL, OPAMP_TL072, typical
    >>> point = inverting(9.0, voltage_half_supply=4.5, resistance_half_supply=5e3, resistance_feedback=100e3,
    ...                         resistance_input=10e3, capacitance_input=1e-6, op_amp=typical(OPAMP_TL072), meter=METER_DIGITAL)
    >>> round(point.gain_signed, 2), round(point.frequency_low, 1), round(point.voltage_peak, 1)
    (-10.0, 15.9, 3.0)
    """
    r_f, r_i, source = resistance_feedback, resistance_input, resistance_generator
    part, own = specimen("op_amp", op_amp, OpAmp), meter_resistance(meter)
    x = ratio(r_f, r_i, "resistance_input")
    if np.any(bad := np.isinf(r_f) & np.isinf(source)):
        raise must("resistance_feedback and resistance_generator must not both be open, or the input floats", bad)
    with np.errstate(divide="ignore", invalid="ignore"):
        loaded = np.where(np.isinf(r_i), 0.0, r_f / (r_i + source))
        low = np.where(np.isinf(capacitance_input), 0.0, 1 / (2 * np.pi * capacitance_input * (r_i + source)))
    return opamp_point(
        voltage_supply,
        voltage_half_supply,
        resistance_half_supply,
        resistance_compensation,
        r_f,
        OPEN,
        0.0 - x,
        1 + x,
        1 + loaded,
        low,
        SHORT,
        r_i,
        part,
        own,
        driven=False,
    )


def _noninverting(
    vcc: Array,
    v_ref: Array,
    r_ref: Array,
    r_b: Array,
    r_f: Array,
    r_i: Array,
    c_in: Array,
    c_g: Array,
    source: Array,
    op_amp: OpAmp,
    meter: Meter,
) -> OpAmpPoint:
    part, own = specimen("op_amp", op_amp, OpAmp), meter_resistance(meter)
    x = 1 + ratio(r_f, r_i, "resistance_ground")
    with np.errstate(divide="ignore", invalid="ignore"):
        low = 1 / (2 * np.pi * c_in * (source + r_b))
        low = np.where(np.isinf(c_in), 0.0, low)
        leg = np.where(np.isinf(c_g), 0.0, 1 / (2 * np.pi * c_g * r_i))
    # With the gain resistor straight on the reference (no capacitor) DC is amplified as well, and loads the reference.
    straight = np.where(np.isinf(c_g), r_i, np.inf)
    return opamp_point(vcc, v_ref, r_ref, r_b, r_f, straight, x, x, x, low, leg, r_b, part, own, driven=True)
