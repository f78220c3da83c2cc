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
from numpy.typing import ArrayLike

from pedalcalc._base import fit_together, formula, numeric, resistance, thevenin
from pedalcalc.devices import Meter, OpAmp
from pedalcalc.devices._record import specimen
from pedalcalc.laws._check import meter_resistance
from pedalcalc.opamp._feedback import Array, ratio
from pedalcalc.opamp._point import OpAmpPoint, opamp_point

__all__ = ["buffer", "follower", "inverting", "noninverting"]


@formula
def noninverting(
    voltage_supply: ArrayLike,
    *,
    voltage_half_supply: ArrayLike,
    resistance_half_supply: ArrayLike,
    resistance_bias: ArrayLike,
    resistance_feedback: ArrayLike,
    resistance_ground: ArrayLike,
    capacitance_input: ArrayLike,
    capacitance_gain: ArrayLike,
    op_amp: OpAmp,
    meter: Meter,
    resistance_generator: ArrayLike = 0.0,
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
        Input capacitor [F], above 0; inf where nothing blocks DC.
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
        op_amp,
        resistance_generator,
        meter,
    )


@formula
def follower(
    voltage_supply: ArrayLike,
    *,
    voltage_half_supply: ArrayLike,
    resistance_half_supply: ArrayLike,
    resistance_bias: ArrayLike,
    capacitance_input: ArrayLike,
    op_amp: OpAmp,
    meter: Meter,
    resistance_generator: ArrayLike = 0.0,
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
        Input capacitor [F], above 0; inf where nothing blocks DC.
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
        0.0,
        np.inf,
        capacitance_input,
        1.0,
        op_amp,
        resistance_generator,
        meter,
    )


@formula
def buffer(
    voltage_supply: ArrayLike,
    *,
    resistance_top: ArrayLike,
    resistance_bottom: ArrayLike,
    op_amp: OpAmp,
    meter: Meter,
) -> OpAmpPoint:
    """Find the DC of an op-amp that buffers a divider: a stiff half-supply reference.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_top : array_like
        Divider resistor to the supply [Ω], 0 to inf.
    resistance_bottom : array_like
        Divider resistor to ground [Ω], 0 to inf.
    op_amp : devices.OpAmp
        One part.
    meter : devices.Meter
        What reads the high-resistance pins.

    Returns
    -------
    OpAmpPoint
        Voltages [V] and cautions; the corners and the input impedance are those of a
        follower straight on the divider.

    Raises
    ------
    ValueError
        If an argument is outside its range or both resistors are 0.
    TypeError
        If `op_amp` is not an op-amp record or is a type, or `meter` is not a meter.

    Notes
    -----
    A follower whose input sits on the divider. A large capacitor straight at its
    output can make it ring: common practice is 47 to 100 Ω in series.

    References
    ----------
    DERIVED, DC at each pin; PRACTICE, the series resistor.

    Examples
    --------
    >>> from pedalcalc.devices import METER_DIGITAL, OPAMP_TL072, typical
    >>> point = buffer(9.0, resistance_top=100e3, resistance_bottom=100e3, op_amp=typical(OPAMP_TL072), meter=METER_DIGITAL)
    >>> round(point.voltage_output, 2), round(point.voltage_half_supply_read, 2)
    (4.5, 4.48)
    """
    top, bottom = resistance("resistance_top", resistance_top), resistance("resistance_bottom", resistance_bottom)
    v_ref, r_ref = thevenin(numeric("voltage_supply", voltage_supply, least=0), top, bottom)
    return _noninverting(voltage_supply, v_ref, r_ref, 0.0, 0.0, np.inf, np.inf, 1.0, op_amp, 0.0, meter, driven=False)


@formula
def inverting(
    voltage_supply: ArrayLike,
    *,
    voltage_half_supply: ArrayLike,
    resistance_half_supply: ArrayLike,
    resistance_feedback: ArrayLike,
    resistance_input: ArrayLike,
    capacitance_input: ArrayLike,
    op_amp: OpAmp,
    meter: Meter,
    resistance_compensation: ArrayLike = 0.0,
    resistance_generator: ArrayLike = 0.0,
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
        Input capacitor [F], above 0; inf where nothing blocks DC.
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
    r_c = numeric("resistance_compensation", resistance_compensation, least=0)
    r_i = numeric("resistance_input", resistance_input, least=0, infinity=True)
    source = numeric("resistance_generator", resistance_generator, least=0, infinity=True)
    ref = _reference(voltage_supply, voltage_half_supply, resistance_half_supply, meter, op_amp)
    vcc, v_ref, r_ref, own = ref
    r_f, c_in = _feedback(resistance_feedback), numeric("capacitance_input", capacitance_input, above=0, infinity=True)
    fit_together(
        voltage_supply=vcc,
        voltage_half_supply=v_ref,
        resistance_half_supply=r_ref,
        resistance_feedback=r_f,
        resistance_input=r_i,
        capacitance_input=c_in,
        resistance_compensation=r_c,
        resistance_generator=source,
        resistance_meter=own,
    )
    x = ratio(r_f, r_i, "resistance_input")
    if np.any(np.isinf(r_f) & np.isinf(source)):
        raise ValueError("resistance_feedback and resistance_generator must not both be open: the input floats")
    with np.errstate(divide="ignore", invalid="ignore"):
        loaded = np.where(np.isinf(r_i), 0.0, r_f / (r_i + source))
        low = np.where(np.isinf(c_in), 0.0, 1 / (2 * np.pi * c_in * (r_i + source)))
    return opamp_point(
        vcc,
        v_ref,
        r_ref,
        r_c,
        r_f,
        np.asarray(np.inf),
        0.0 - x,
        1 + x,
        1 + np.asarray(loaded),
        low,
        np.asarray(0.0),
        r_i,
        op_amp,
        own,
        driven=False,
    )


def _feedback(resistance_feedback: ArrayLike) -> Array:
    return numeric("resistance_feedback", resistance_feedback, least=0, infinity=True)


def _reference(
    voltage_supply: ArrayLike,
    voltage_half_supply: ArrayLike,
    resistance_half_supply: ArrayLike,
    meter: Meter,
    op_amp: OpAmp,
) -> tuple[Array, Array, Array, Array]:
    specimen("op_amp", op_amp, OpAmp)
    return (
        numeric("voltage_supply", voltage_supply, least=0),
        numeric("voltage_half_supply", voltage_half_supply),
        numeric("resistance_half_supply", resistance_half_supply, least=0, infinity=True),
        meter_resistance(meter),
    )


def _noninverting(
    voltage_supply: ArrayLike,
    voltage_half_supply: ArrayLike,
    resistance_half_supply: ArrayLike,
    resistance_bias: ArrayLike,
    resistance_feedback: ArrayLike,
    resistance_ground: ArrayLike,
    capacitance_input: ArrayLike,
    capacitance_gain: ArrayLike,
    op_amp: OpAmp,
    resistance_generator: ArrayLike,
    meter: Meter,
    *,
    driven: bool = True,
) -> OpAmpPoint:
    vcc, v_ref, r_ref, own = _reference(voltage_supply, voltage_half_supply, resistance_half_supply, meter, op_amp)
    r_b = resistance("resistance_bias", resistance_bias)
    r_f, r_i = _feedback(resistance_feedback), numeric("resistance_ground", resistance_ground, least=0, infinity=True)
    c_in = numeric("capacitance_input", capacitance_input, above=0, infinity=True)
    c_g = numeric("capacitance_gain", capacitance_gain, above=0, infinity=True)
    source = numeric("resistance_generator", resistance_generator, least=0, infinity=True)
    fit_together(
        voltage_supply=vcc,
        voltage_half_supply=v_ref,
        resistance_half_supply=r_ref,
        resistance_bias=r_b,
        resistance_feedback=r_f,
        resistance_ground=r_i,
        capacitance_input=c_in,
        capacitance_gain=c_g,
        resistance_generator=source,
        resistance_meter=own,
    )
    x = 1 + ratio(r_f, r_i, "resistance_ground")
    with np.errstate(divide="ignore", invalid="ignore"):
        low = 1 / (2 * np.pi * c_in * (source + r_b))
        low = np.where(np.isinf(c_in), 0.0, low)
        leg = np.where(np.isinf(c_g), 0.0, 1 / (2 * np.pi * c_g * r_i))
    # With the gain resistor straight on the reference (no capacitor) DC is amplified as well, and loads the reference.
    straight = np.where(np.isinf(c_g), r_i, np.inf)
    return opamp_point(vcc, v_ref, r_ref, r_b, r_f, straight, x, x, x, low, leg, r_b, op_amp, own, driven=driven)
