"""A low-pass and a high-pass section in a row with nothing between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import Number, Result, decibels, formula, quantity
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AnyNumber, AtLeastZero

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class BandResponse(Result):
    """Response of a band-pass filter; every field has the broadcast shape of the inputs."""

    response: complex | NDArray[np.complex128] = quantity("1", "output over input, complex")
    gain: Number = quantity("1", "gain")
    gain_db: Number = quantity("dB", "gain in decibels")
    phase_degrees: Number = quantity("°", "phase of the output against the input")
    voltage_output: Number = quantity("V", "output for the stated input")
    frequency_low: Number = quantity("Hz", "3 dB down below")
    frequency_high: Number = quantity("Hz", "3 dB down above")
    frequency_peak: Number = quantity("Hz", "largest response at")


def _band(down: Array, flat: Array, up: Array, frequency: Array, voltage: Array) -> BandResponse:
    """Return the response 1/(flat + up·jw + down/(jw)), whose edges are the roots of a quadratic."""
    turn = 2 * np.pi * frequency
    whole = flat + 1j * (up * turn - down / turn)
    root = np.sqrt(flat**2 + 4 * up * down)
    gain = 1 / np.abs(whole)
    with np.errstate(invalid="ignore"):  # a complex NaN divides with a complaint
        response: NDArray[np.complex128] = np.asarray(1 / whole)
    with np.errstate(divide="ignore"):
        high = (flat + root) / (2 * up)
    return BandResponse(
        response=response,
        gain=gain,
        gain_db=decibels(gain),
        phase_degrees=np.degrees(np.angle(response)),
        voltage_output=gain * voltage,
        frequency_low=2 * down / (flat + root) / (2 * np.pi),
        frequency_high=high / (2 * np.pi),
        frequency_peak=np.sqrt(np.where(up == 0, np.inf, down) / np.where(up == 0, 1.0, up)) / (2 * np.pi),
    )


@formula
def lowpass_then_highpass(
    frequency: AboveZero,
    *,
    resistance_first: AtLeastZero,
    capacitance_first: AtLeastZero,
    resistance_second: AboveZero,
    capacitance_second: AboveZero,
    resistance_generator: AtLeastZero = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
    voltage_input: AnyNumber = 1.0,
) -> BandResponse:
    """Find what a low-pass section and a high-pass section behind it let through, nothing between them.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], above 0.
    resistance_first : array_like
        Series resistor of the low-pass section [Ω], at least 0.
    capacitance_first : array_like
        Capacitor to ground of the low-pass section [F], at least 0.
    resistance_second : array_like
        Resistor to ground of the high-pass section [Ω], above 0.
    capacitance_second : array_like
        Series capacitor of the high-pass section [F], above 0.
    resistance_generator : array_like
        Resistance of what drives the filter [Ω], at least 0; an ideal source, 0 Ω, unless stated.
    resistance_load : array_like
        Further resistance from the output to ground [Ω], above 0 to infinity; open unless stated.
    voltage_input : array_like
        Voltage of the source, peak or rms, as the output is wanted [V]; 1 V unless stated.

    Returns
    -------
    BandResponse
        Complex response, gain, gain in decibels, phase, output, both frequencies at which the whole
        is 3 dB below its peak, and the frequency of the peak.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    1/H = (1 + y/(s C_2))(1 + s R_1 C_1) + R_1 y, y = 1/R_2 + 1/R_L, R_gen counted into R_1.

    References
    ----------
    DERIVED: node equations of the ladder; the circuit is the band-pass of KUPHALDT-2, ch. 8.

    Examples
    --------
    >>> band = lowpass_then_highpass(1000, resistance_first=1e3, capacitance_first=10e-9,
    ...                              resistance_second=100e3, capacitance_second=100e-9)
    >>> print(f"{band.frequency_low:.1f} Hz to {band.frequency_high / 1e3:.1f} kHz")
    15.7 Hz to 16.1 kHz
    """
    first = resistance_first + resistance_generator
    drain = 1 / resistance_second + 1 / resistance_load
    return _band(
        drain / capacitance_second,
        1 + first * drain * (1 + capacitance_first / capacitance_second),
        first * capacitance_first,
        frequency,
        voltage_input,
    )


@formula
def highpass_then_lowpass(
    frequency: AboveZero,
    *,
    resistance_first: AboveZero,
    capacitance_first: AboveZero,
    resistance_second: AtLeastZero,
    capacitance_second: AtLeastZero,
    resistance_generator: AtLeastZero = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
    voltage_input: AnyNumber = 1.0,
) -> BandResponse:
    """Find what a high-pass section and a low-pass section behind it let through, nothing between them.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], above 0.
    resistance_first : array_like
        Resistor to ground of the high-pass section [Ω], above 0.
    capacitance_first : array_like
        Series capacitor of the high-pass section [F], above 0.
    resistance_second : array_like
        Series resistor of the low-pass section [Ω], at least 0.
    capacitance_second : array_like
        Capacitor to ground of the low-pass section [F], at least 0.
    resistance_generator : array_like
        Resistance of what drives the filter [Ω], at least 0; an ideal source, 0 Ω, unless stated.
    resistance_load : array_like
        Resistance from the output to ground [Ω], above 0 to infinity; open unless stated.
    voltage_input : array_like
        Voltage of the source, peak or rms, as the output is wanted [V]; 1 V unless stated.

    Returns
    -------
    BandResponse
        Complex response, gain, gain in decibels, phase, output, both frequencies at which the whole
        is 3 dB below its peak, and the frequency of the peak.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    1/H = (1 + R_2 y)(1 + Z/R_1) + Z y, y = s C_2 + 1/R_L, Z = R_gen + 1/(s C_1).

    References
    ----------
    DERIVED: node equations of the ladder.

    Examples
    --------
    >>> band = highpass_then_lowpass(1000, resistance_first=100e3, capacitance_first=100e-9,
    ...                              resistance_second=1e3, capacitance_second=10e-9)
    >>> print(f"{band.frequency_low:.1f} Hz to {band.frequency_high / 1e3:.1f} kHz")
    14.4 Hz to 17.5 kHz
    """
    shunt, load = 1 / resistance_first, 1 / resistance_load
    second, source = resistance_second, resistance_generator
    behind, ahead = 1 + second * load, 1 + shunt * source
    return _band(
        (behind * shunt + load) / capacitance_first,
        behind * ahead + (second * shunt + 1) * capacitance_second / capacitance_first + source * load,
        capacitance_second * (second * ahead + source),
        frequency,
        voltage_input,
    )
