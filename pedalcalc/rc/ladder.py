"""Two sections in a row with nothing between them, each loading the one before."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AnyNumber, AtLeastZero
from pedalcalc.rc.response import FilterResponse, describe


def _second_order(
    flat: NDArray[np.float64], once: NDArray[np.float64], twice: NDArray[np.float64], turn: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return gain, phase and the 3 dB point (as `turn`) of 1/(flat + once·jw + twice·(jw)²)."""
    with np.errstate(under="ignore"):
        real, imaginary = flat - twice * turn**2, once * turn
    half = once**2 - 2 * flat * twice
    with np.errstate(divide="ignore", invalid="ignore"):
        corner = flat * np.sqrt(2 / (half + np.sqrt(half**2 + (2 * flat * twice) ** 2)))
        gain = 1 / np.hypot(real, imaginary)
    return np.asarray(gain), -np.arctan2(imaginary, real), np.asarray(corner)


@formula
def two_section_lowpass(
    frequency: AtLeastZero,
    *,
    resistance_first: AtLeastZero,
    capacitance_first: AtLeastZero,
    resistance_second: AtLeastZero,
    capacitance_second: AtLeastZero,
    resistance_generator: AtLeastZero = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
    voltage_input: AnyNumber = 1.0,
) -> FilterResponse:
    """Find what two low-pass sections in a row let through, nothing between them.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], at least 0.
    resistance_first : array_like
        Series resistor of the first section [Ω], at least 0.
    capacitance_first : array_like
        Capacitor to ground of the first section [F], at least 0.
    resistance_second : array_like
        Series resistor of the second section [Ω], at least 0.
    capacitance_second : array_like
        Capacitor to ground of the second section [F], at least 0.
    resistance_generator : array_like
        Resistance of what drives the filter [Ω], at least 0; an ideal source, 0 Ω, unless stated.
    resistance_load : array_like
        Resistance from the output to ground [Ω], above 0 to infinity; open unless stated.
    voltage_input : array_like
        Voltage of the source, peak or rms, as the output is wanted [V]; 1 V unless stated.

    Returns
    -------
    FilterResponse
        Complex response, gain, gain in decibels, phase, output, and the frequency at which the whole is
        3 dB below its response to direct current.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    1/H = (1 + R_2 y)(1 + s R_1 C_1) + R_1 y with y = s C_2 + 1/R_L, and R_gen counted into R_1.

    References
    ----------
    DERIVED: node equations of the ladder.

    Examples
    --------
    Equal unbuffered sections are 3 dB down at 0.374 of their own corner, not at 0.644:

    >>> parts = dict(resistance_first=1e3, resistance_second=1e3, capacitance_first=1e-7, capacitance_second=1e-7)
    >>> print(f"{two_section_lowpass(1000, **parts).frequency_corner:.1f} Hz")
    595.6 Hz
    """
    shunt_first, shunt_second, load = capacitance_first, capacitance_second, 1 / resistance_load
    first, second = resistance_first + resistance_generator, resistance_second
    gain, phase, corner = _second_order(
        1 + (first + second) * load,
        first * shunt_first * (1 + second * load) + (first + second) * shunt_second,
        first * shunt_first * second * shunt_second,
        2 * np.pi * frequency,
    )
    return describe(gain, phase, corner / (2 * np.pi), voltage_input)


@formula
def two_section_highpass(
    frequency: AboveZero,
    *,
    resistance_first: AboveZero,
    capacitance_first: AboveZero,
    resistance_second: AboveZero,
    capacitance_second: AboveZero,
    resistance_generator: AtLeastZero = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
    voltage_input: AnyNumber = 1.0,
) -> FilterResponse:
    """Find what two high-pass sections in a row let through, nothing between them.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], above 0.
    resistance_first : array_like
        Resistor to ground of the first section [Ω], above 0.
    capacitance_first : array_like
        Series capacitor of the first section [F], above 0.
    resistance_second : array_like
        Resistor to ground of the second section [Ω], above 0.
    capacitance_second : array_like
        Series capacitor of the second section [F], above 0.
    resistance_generator : array_like
        Resistance of what drives the filter [Ω], at least 0; an ideal source, 0 Ω, unless stated.
    resistance_load : array_like
        Further resistance from the output to ground [Ω], above 0 to infinity; open unless stated.
    voltage_input : array_like
        Voltage of the source, peak or rms, as the output is wanted [V]; 1 V unless stated.

    Returns
    -------
    FilterResponse
        Complex response, gain, gain in decibels, phase, output, and the frequency at which the whole is
        3 dB below its response to the highest frequencies.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    1/H = (1 + y/(s C_2))(1 + Z/R_1) + y Z with y = 1/R_2 + 1/R_L and Z = R_gen + 1/(s C_1).

    References
    ----------
    DERIVED: node equations of the ladder.

    Examples
    --------
    >>> parts = dict(resistance_first=1e3, resistance_second=1e3, capacitance_first=1e-7, capacitance_second=1e-7)
    >>> print(f"{two_section_highpass(1000, **parts).frequency_corner:.0f} Hz")
    4253 Hz
    """
    first, shunt = 1 / resistance_first, 1 / resistance_second + 1 / resistance_load
    series_first, series_second, source = capacitance_first, capacitance_second, resistance_generator
    # In p = 1/s the ladder is again a quadratic; jw becomes −j/w, so the phase turns the other way.
    gain, phase, corner = _second_order(
        1 + (first + shunt) * source,
        shunt / series_second * (1 + first * source) + (first + shunt) / series_first,
        shunt * first / (series_first * series_second),
        1 / (2 * np.pi * frequency),
    )
    return describe(gain, -phase, 1 / (2 * np.pi * corner), voltage_input)
