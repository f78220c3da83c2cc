"""Op-amp stages with several inputs: sums (mixers) and differences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula
from pedalcalc._ranges import AboveZeroToInfinity, AnyNumber, AtLeastZero
from pedalcalc.rc.corner import several

__all__ = ["difference_output", "summing_output"]


@formula
def summing_output(
    voltages_input: Sequence[ArrayLike], *, resistances_input: Sequence[ArrayLike], resistance_feedback: AtLeastZero
) -> Number:
    """Find the output of an inverting summing stage, a mixer.

    Parameters
    ----------
    voltages_input : sequence of array_like
        Input voltages against the non-inverting input [V], any sign.
    resistances_input : sequence of array_like
        Resistor of each input [Ω], above 0; inf is an input not connected.
    resistance_feedback : array_like
        Feedback resistor [Ω], 0 or more, finite.

    Returns
    -------
    float or ndarray
        Output voltage against the non-inverting input [V], of an ideal op-amp.

    Raises
    ------
    ValueError
        If an argument is outside its range, or there are not as many resistors as voltages, or none.
    TypeError
        If one of both is not a sequence.

    Notes
    -----
    Vo = -RF (V1/R1 + V2/R2 + ...). The noise gain is 1 + RF/(R1 || R2 || ...).

    References
    ----------
    DERIVED, Kirchhoff's current law at the inverting input.

    Examples
    --------
    >>> round(summing_output((0.2, -0.1), resistances_input=(10e3, 20e3), resistance_feedback=100e3), 6)
    -1.5
    """
    volts = several("voltages_input", voltages_input)
    ohms = several("resistances_input", resistances_input, above=0, infinity=True)
    if len(volts) != len(ohms) or not volts:
        raise ValueError(
            f"voltages_input and resistances_input must hold equally many values, at least one, "
            f"got {len(volts)} and {len(ohms)}"
        )
    total = sum((v / r for v, r in zip(volts, ohms, strict=True)), start=np.asarray(0.0))
    return 0.0 - resistance_feedback * total


@formula
def difference_output(
    *,
    voltage_inverting: AnyNumber,
    voltage_noninverting: AnyNumber,
    resistance_input: AboveZeroToInfinity,
    resistance_feedback: AtLeastZero,
    resistance_generator: AtLeastZero,
    resistance_ground: AboveZeroToInfinity,
) -> Number:
    """Find the output of a difference stage with four resistors.

    Parameters
    ----------
    voltage_inverting : array_like
        Voltage ahead of `resistance_input` [V], any sign.
    voltage_noninverting : array_like
        Voltage ahead of `resistance_generator` [V], any sign.
    resistance_input : array_like
        Resistor to the inverting input [Ω], above 0 to inf.
    resistance_feedback : array_like
        Feedback resistor [Ω], 0 or more, finite.
    resistance_generator : array_like
        Resistor to the non-inverting input, the generator's own included [Ω], 0 or more, finite.
    resistance_ground : array_like
        Resistor from the non-inverting input to ground or half supply [Ω], above 0 to inf.

    Returns
    -------
    float or ndarray
        Output voltage [V], of an ideal op-amp; all voltages against the end of `resistance_ground`.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Vo = V2 (1 + RF/R1)/(1 + R2/RG) - V1 RF/R1; with RF/R1 = RG/R2 it is (V2 - V1) RF/R1.

    References
    ----------
    DERIVED, superposition of the inverting and the non-inverting stage.

    Examples
    --------
    >>> round(difference_output(voltage_inverting=0.5, voltage_noninverting=0.7, resistance_input=10e3,
    ...     resistance_feedback=100e3, resistance_generator=10e3, resistance_ground=100e3), 6)
    2.0
    """
    gain, taken = resistance_feedback / resistance_input, resistance_generator / resistance_ground
    return voltage_noninverting * (1 + gain) / (1 + taken) - voltage_inverting * gain
