"""Offset, input and output resistance of an op-amp with feedback, in figures that a solver for whole circuits will give."""

from __future__ import annotations

import numpy as np

from pedalcalc._base import Number, formula
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AnyNumber, AtLeastZero, OneToInfinity
from pedalcalc.opamp._feedback import Array

__all__ = [
    "closed_loop_input_resistance",
    "closed_loop_output_resistance",
    "differential_voltage",
    "output_offset",
]


@formula
def output_offset(
    *,
    voltage_offset: AtLeastZero,
    current_bias: AtLeastZero,
    current_offset: AtLeastZero,
    resistance_feedback: AtLeastZero,
    resistance_ground: AboveZeroToInfinity,
    resistance_compensation: AtLeastZero = 0.0,
) -> Number:
    """Find the largest DC error at the output, all signs at their worst.

    Parameters
    ----------
    voltage_offset : array_like
        Size of the input offset voltage [V], 0 or more.
    current_bias : array_like
        Size of the input bias current [A], 0 or more.
    current_offset : array_like
        Size of the difference of both bias currents [A], 0 or more; 0 ignores it.
    resistance_feedback : array_like
        Feedback resistor [Ω], 0 or more.
    resistance_ground : array_like
        Resistor at the inverting input as DC sees it [Ω], above 0; inf where a capacitor blocks it.
    resistance_compensation : array_like
        Resistance at the non-inverting input [Ω], 0 or more; none if not given.

    Returns
    -------
    float or ndarray
        Output error [V], either way.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    N Vos + |IB (RF - N Rc)| + (IOS/2)(RF + N Rc), N = 1 + RF/RG; with
    Rc = RF || RG the middle term vanishes and the last is IOS RF.

    References
    ----------
    FIORE-OPAMPS, ex. 5.9; DERIVED, both terms together.

    Examples
    --------
    >>> round(output_offset(voltage_offset=0.5e-3, current_bias=800e-9, current_offset=0.0, resistance_feedback=10e3,
    ...                     resistance_ground=1e3), 6)
    0.0135
    """
    v_os, i_b, i_os = voltage_offset, current_bias, current_offset
    r_f, r_c, n = resistance_feedback, resistance_compensation, 1 + resistance_feedback / resistance_ground
    return n * v_os + np.abs(i_b * (r_f - n * r_c)) + i_os / 2 * (r_f + n * r_c)


@formula
def closed_loop_output_resistance(
    resistance_output_open: AtLeastZero,
    *,
    gain_open_loop: AboveZeroToInfinity,
    noise_gain: OneToInfinity,
) -> Number:
    """Find the output resistance with feedback, inverting or not.

    Parameters
    ----------
    resistance_output_open : array_like
        Output resistance without feedback [Ω], 0 or more.
    gain_open_loop : array_like
        Open-loop gain [1], above 0, or inf.
    noise_gain : array_like
        Noise gain 1 + RF/RG [1], at least 1 to inf.

    Returns
    -------
    float or ndarray
        Output resistance [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Zo/(1 + Aol/N).

    References
    ----------
    FLOYD-DEVICES, ex. 12.5.

    Examples
    --------
    >>> round(closed_loop_output_resistance(75.0, gain_open_loop=2e5, noise_gain=23.0), 6)
    0.008624
    """
    return resistance_output_open / (1 + _loop(gain_open_loop, noise_gain))


def _loop(a_ol: Array, n: Array) -> Array:
    """Return the loop gain Aol/N; an open loop has none."""
    with np.errstate(invalid="ignore"):
        return np.where(np.isinf(n) & ~np.isnan(a_ol), 0.0, a_ol / n)


@formula
def closed_loop_input_resistance(
    resistance_input_open: AboveZero,
    *,
    gain_open_loop: AboveZeroToInfinity,
    noise_gain: OneToInfinity,
) -> Number:
    """Find the input resistance of a non-inverting stage with feedback.

    Parameters
    ----------
    resistance_input_open : array_like
        Differential input resistance of the op-amp [Ω], above 0.
    gain_open_loop : array_like
        Open-loop gain [1], above 0, or inf.
    noise_gain : array_like
        Noise gain 1 + RF/RG [1], at least 1 to inf.

    Returns
    -------
    float or ndarray
        Input resistance [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Zi (1 + Aol/N). In a pedal the bias resistor in parallel with it decides.

    References
    ----------
    FLOYD-DEVICES, ch. 12, impedances of the non-inverting amplifier.

    Examples
    --------
    >>> round(1e-9 * closed_loop_input_resistance(2e6, gain_open_loop=2e5, noise_gain=23.0), 1)
    17.4
    """
    return resistance_input_open * (1 + _loop(gain_open_loop, noise_gain))


@formula
def differential_voltage(
    voltage_input: AnyNumber, *, gain_open_loop: AboveZeroToInfinity, noise_gain: OneToInfinity
) -> Number:
    """Find the voltage between the inputs of a non-inverting stage or follower.

    Parameters
    ----------
    voltage_input : array_like
        Voltage at the non-inverting input [V], any sign.
    gain_open_loop : array_like
        Open-loop gain [1], above 0, or inf.
    noise_gain : array_like
        Noise gain [1], at least 1 to inf; 1 is a follower.

    Returns
    -------
    float or ndarray
        Voltage between the inputs [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Vin/(1 + Aol/N).

    References
    ----------
    KUPHALDT-3, ch. 8, negative feedback.

    Examples
    --------
    >>> round(1e6 * differential_voltage(6.0, gain_open_loop=2e5, noise_gain=1.0), 5)
    29.99985
    """
    return voltage_input / (1 + _loop(gain_open_loop, noise_gain))
