"""Offset, input and output resistance of an op-amp with feedback, in figures that a solver for whole circuits will give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import Number, Result, formula, quantity
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AnyNumber, AtLeastZero, OneToInfinity

__all__ = ["ClosedLoop", "closed_loop", "output_offset"]


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


@dataclass(frozen=True, slots=True, eq=False)
class ClosedLoop(Result):
    """What feedback makes of an op-amp's own figures; every field has the broadcast shape of the inputs."""

    impedance_input: Number = quantity("Ω", "input resistance, non-inverting")
    impedance_output: Number = quantity("Ω", "output resistance")
    voltage_differential: Number = quantity("V", "between the inputs")


@formula
def closed_loop(
    *,
    gain_open_loop: AboveZeroToInfinity,
    noise_gain: OneToInfinity,
    resistance_input_open: AboveZero,
    resistance_output_open: AtLeastZero,
    voltage_input: AnyNumber,
) -> ClosedLoop:
    """Find what feedback makes of an op-amp's own input and output resistance, and what is left between its inputs.

    Parameters
    ----------
    gain_open_loop : array_like
        Open-loop gain [1], above 0, or inf.
    noise_gain : array_like
        Noise gain 1 + RF/RG [1], at least 1 to inf; 1 is a follower.
    resistance_input_open : array_like
        Differential input resistance of the op-amp [Ω], above 0.
    resistance_output_open : array_like
        Output resistance without feedback [Ω], 0 or more.
    voltage_input : array_like
        Voltage at the non-inverting input [V], any sign.

    Returns
    -------
    ClosedLoop
        Input resistance of a non-inverting stage, output resistance of either [Ω], voltage between the inputs [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    All three by the factor 1 + Aol/N: Zi (1 + Aol/N), Zo/(1 + Aol/N), Vin/(1 + Aol/N). In a pedal the bias resistor in
    parallel with the input decides.

    References
    ----------
    FLOYD-DEVICES, ex. 12.5 and ch. 12, impedances of the non-inverting amplifier; KUPHALDT-3, ch. 8, negative feedback.

    Examples
    --------
    >>> part = dict(gain_open_loop=2e5, resistance_input_open=2e6, resistance_output_open=75.0, voltage_input=6.0)
    >>> found = closed_loop(noise_gain=23.0, **part)
    >>> print(f"{1e-9 * found.impedance_input:.1f} GΩ, {1e3 * found.impedance_output:.2f} mΩ")
    17.4 GΩ, 8.62 mΩ
    >>> print(f"{1e6 * closed_loop(noise_gain=1.0, **part).voltage_differential:.5f} µV")
    29.99985 µV
    """
    with np.errstate(invalid="ignore"):
        # an open loop has no feedback
        loop = np.where(np.isinf(noise_gain) & ~np.isnan(gain_open_loop), 0.0, gain_open_loop / noise_gain)
    factor = 1 + loop
    return ClosedLoop(
        impedance_input=resistance_input_open * factor,
        impedance_output=resistance_output_open / factor,
        voltage_differential=voltage_input / factor,
    )
