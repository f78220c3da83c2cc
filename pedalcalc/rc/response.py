"""First-order low-pass and high-pass filters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import decibels, formula, parallel
from pedalcalc._ranges import AnyNumber, AtLeastZero, ZeroToInfinity
from pedalcalc._refusal import refused
from pedalcalc._result import Number, Result, quantity


@dataclass(frozen=True, slots=True, eq=False)
class FilterResponse(Result):
    """Response of a filter at one frequency or many; fields have the broadcast shape of the inputs."""

    response: complex | NDArray[np.complex128] = quantity("1", "output over input, complex")
    gain: Number = quantity("1", "gain")
    gain_db: Number = quantity("dB", "gain in decibels")
    phase_degrees: Number = quantity("°", "phase of the output against the input")
    voltage_output: Number = quantity("V", "output for the stated input")
    frequency_corner: Number = quantity("Hz", "corner frequency (3 dB down)")


def describe(
    gain: NDArray[np.float64],
    phase: NDArray[np.float64],
    corner: NDArray[np.float64],
    voltage_input: NDArray[np.float64],
) -> FilterResponse:
    """Return the named result for a magnitude and a phase in radians."""
    with np.errstate(under="ignore"):
        response = gain * np.cos(phase) + 1j * (gain * np.sin(phase))
    return FilterResponse(
        response=response,
        gain=gain,
        gain_db=decibels(gain),
        phase_degrees=np.degrees(phase) + 0.0,
        voltage_output=gain * voltage_input + 0.0,
        frequency_corner=corner,
    )


def _over_corner(frequency: NDArray[np.float64], turn_time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return f/f_c = 2 π f τ; where the parts leave no corner, their limit counts first."""
    with np.errstate(invalid="ignore"):
        over = np.where(turn_time == 0, 0.0, np.where(np.isinf(turn_time), np.inf, frequency * turn_time))
    return np.where(np.isnan(frequency), np.nan, over)


def _passed_low(over: NDArray[np.float64]) -> NDArray[np.float64]:
    with np.errstate(under="ignore"):
        return 1 / np.hypot(1, over)


def _passed_high(over: NDArray[np.float64]) -> NDArray[np.float64]:
    with np.errstate(invalid="ignore", under="ignore"):
        return np.where(np.isinf(over), 1.0, over / np.hypot(1, over))


def _times(capacitance: NDArray[np.float64], resistance: NDArray[np.float64]) -> NDArray[np.float64]:
    with np.errstate(invalid="ignore"):
        time = 2 * np.pi * capacitance * resistance
    return np.where((capacitance == 0) & ~np.isnan(resistance), 0.0, time)


def _corner(turn_time: NDArray[np.float64]) -> NDArray[np.float64]:
    with np.errstate(divide="ignore"):
        return np.asarray(1 / turn_time)


@formula
def lowpass_response(
    frequency: ZeroToInfinity,
    *,
    resistance: ZeroToInfinity,
    capacitance: AtLeastZero,
    resistance_generator: ZeroToInfinity = 0.0,
    resistance_load: ZeroToInfinity = np.inf,
    resistance_esr: AtLeastZero = 0.0,
    voltage_input: AnyNumber = 1.0,
) -> FilterResponse:
    """Find what a series resistor and a capacitor to ground let through.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], 0 to infinity.
    resistance : array_like
        Series resistor [Ω], 0 to infinity.
    capacitance : array_like
        Capacitor to ground [F], at least 0.
    resistance_generator : array_like
        Resistance of what drives the filter [Ω], 0 to infinity; 0, an ideal source, unless stated.
    resistance_load : array_like
        Resistance from the output to ground [Ω], 0 to infinity; open unless stated.
    resistance_esr : array_like
        Equivalent series resistance of the capacitor [Ω], at least 0; none unless stated.
    voltage_input : array_like
        Voltage of the source, peak or rms, as the output is wanted [V]; 1 V unless stated.

    Returns
    -------
    FilterResponse
        Complex response, gain, gain in decibels, phase, output and corner frequency. With a series resistance in the
        capacitor the response falls from the corner on and ends at what the two resistances divide.

    Raises
    ------
    ValueError
        If a value is out of range, or an ideal source is shorted by a load of 0 Ω.

    Notes
    -----
    H = R_L/(R_L + R_t) (1 + j f/f_z)/(1 + j f/f_c), f_c = 1/(2 π C (R_t || R_L + ESR)), f_z = 1/(2 π C ESR),
    R_t = R_gen + R.
    A part at 0 Ω or open counts before a frequency of 0 or infinity does.

    References
    ----------
    KUPHALDT-2, ch. 8, low-pass filters; FIORE-OPAMPS, ch. 1, lag network; loaded case and ESR DERIVED.

    Examples
    --------
    >>> loaded = lowpass_response(30, resistance=500, capacitance=7e-6, resistance_load=1000)
    >>> print(f"{loaded.voltage_output:.4f} V, corner {loaded.frequency_corner:.1f} Hz")
    0.6102 V, corner 68.2 Hz
    """
    source, load, esr, voltage = resistance_generator, resistance_load, resistance_esr, voltage_input
    through = source + resistance
    if np.any(bad := (through == 0) & (load == 0)):
        allowed = "above 0 where resistance_generator and resistance are 0, a shorted ideal source"
        raise refused("resistance_load", allowed, load, bad)
    with np.errstate(divide="ignore", invalid="ignore"):
        passband = np.where(np.isinf(through), 0.0, np.where(load == 0, 0.0, 1 / (1 + through / load)))
    passband = np.where(np.isnan(through + load), np.nan, passband)
    before = parallel(through, load)
    turn_time, turn_esr = _times(capacitance, before + esr), _times(capacitance, esr)
    over, over_esr = _over_corner(frequency, turn_time), _over_corner(frequency, turn_esr)
    with np.errstate(invalid="ignore", divide="ignore"):
        shelf = np.where(np.isinf(over), esr / (before + esr), np.hypot(1, over_esr) * _passed_low(over))
    shelf = np.where(np.isinf(over) & np.isinf(before), 0.0, np.where(over == 0, _passed_low(over), shelf))
    return describe(passband * shelf, np.arctan(over_esr) - np.arctan(over), _corner(turn_time), voltage)


@formula
def highpass_response(
    frequency: ZeroToInfinity,
    *,
    resistance: ZeroToInfinity,
    capacitance: AtLeastZero,
    resistance_generator: ZeroToInfinity = 0.0,
    resistance_load: ZeroToInfinity = np.inf,
    voltage_input: AnyNumber = 1.0,
) -> FilterResponse:
    """Find what a series capacitor and a resistor to ground let through.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], 0 to infinity.
    resistance : array_like
        Resistor to ground [Ω], 0 to infinity.
    capacitance : array_like
        Series capacitor [F], at least 0.
    resistance_generator : array_like
        Resistance of what drives the filter [Ω], 0 to infinity; 0, an ideal source, unless stated.
    resistance_load : array_like
        Further resistance from the output to ground [Ω], 0 to infinity; open unless stated.
    voltage_input : array_like
        Voltage of the source, peak or rms, as the output is wanted [V]; 1 V unless stated.

    Returns
    -------
    FilterResponse
        Complex response, gain, gain in decibels, phase, output and corner frequency.

    Raises
    ------
    ValueError
        If a value is out of range, or an open source feeds an open output.

    Notes
    -----
    H = R_p/(R_p + R_gen) · (j f/f_c)/(1 + j f/f_c), f_c = 1/(2 π C (R_gen + R_p)), R_p = R || R_L.
    A part at 0 Ω or open counts before a frequency of 0 or infinity does.

    References
    ----------
    KUPHALDT-2, ch. 8, high-pass filters; FIORE-OPAMPS, ch. 1, lead network; source and load DERIVED.

    Examples
    --------
    >>> coupling = highpass_response(200, resistance=1000, capacitance=0.5e-6)
    >>> print(f"{coupling.gain:.3f}, {coupling.gain_db:.1f} dB, {coupling.phase_degrees:.0f} degrees")
    0.532, -5.5 dB, 58 degrees
    """
    source, load, voltage = resistance_generator, resistance_load, voltage_input
    shunt = parallel(resistance, load)
    if np.any(bad := np.isinf(shunt) & np.isinf(source)):
        allowed = "finite where resistance and resistance_load are open, a floating output"
        raise refused("resistance_generator", allowed, source, bad)
    with np.errstate(divide="ignore", invalid="ignore"):
        passband = np.where(np.isinf(source) | (shunt == 0), 0.0, 1 / (1 + source / shunt))
    passband = np.where(np.isnan(source + shunt), np.nan, passband)
    turn_time = _times(capacitance, source + shunt)
    over = _over_corner(frequency, turn_time)
    return describe(passband * _passed_high(over), np.arctan2(1, over), _corner(turn_time), voltage)
