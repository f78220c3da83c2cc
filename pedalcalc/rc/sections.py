"""Two sections of one resistor and one capacitor in a row with nothing between them, each loading the one before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import Number, Result, decibels, formula, numeric, one_of, quantity
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AnyNumber, AtLeastZero

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

SECTIONS = ("lowpass", "highpass")

#: A sum of powers of s: what stands before each.
Poly = dict[int, Array]


@dataclass(frozen=True, slots=True, eq=False)
class TwoSections(Result):
    """Response of two sections; every field has the broadcast shape of the inputs."""

    response: complex | Complex = quantity("1", "output over input, complex")
    gain: Number = quantity("1", "gain")
    gain_db: Number = quantity("dB", "gain in decibels")
    phase_degrees: Number = quantity("°", "phase of the output against the input")
    voltage_output: Number = quantity("V", "output for the stated input")
    frequency_low: Number = quantity("Hz", "3 dB down below")
    frequency_high: Number = quantity("Hz", "3 dB down above")
    frequency_peak: Number = quantity("Hz", "largest response at")


@formula
def two_sections(
    frequency: AboveZero,
    *,
    section_first: str,
    section_second: str,
    resistance_first: AtLeastZero,
    capacitance_first: AtLeastZero,
    resistance_second: AtLeastZero,
    capacitance_second: AtLeastZero,
    resistance_generator: AtLeastZero = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
    voltage_input: AnyNumber = 1.0,
) -> TwoSections:
    """Find what two filter sections in a row let through, nothing between them.

    A low-pass section is a series resistor and a capacitor to ground, a high-pass section a series capacitor and a
    resistor to ground.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], above 0.
    section_first : str
        "lowpass" or "highpass".
    section_second : str
        "lowpass" or "highpass".
    resistance_first : array_like
        Resistor of the first section [Ω], at least 0; above 0 in a high-pass section.
    capacitance_first : array_like
        Capacitor of the first section [F], at least 0; above 0 in a high-pass section.
    resistance_second : array_like
        Resistor of the second section [Ω], at least 0; above 0 in a high-pass section.
    capacitance_second : array_like
        Capacitor of the second section [F], at least 0; above 0 in a high-pass section.
    resistance_generator : array_like
        Resistance of what drives the filter [Ω], at least 0; an ideal source, 0 Ω, unless stated.
    resistance_load : array_like
        Further resistance from the output to ground [Ω], above 0 to infinity; open unless stated.
    voltage_input : array_like
        Voltage of the source, peak or rms, as the output is wanted [V]; 1 V unless stated.

    Returns
    -------
    TwoSections
        Complex response, gain, gain in decibels, phase, output, the frequencies at which the whole is 3 dB below its
        largest response (0 and inf where there is no such edge), and the frequency of that.

    Raises
    ------
    ValueError
        If a value is out of range, or a section is another word.

    Notes
    -----
    1/H = (1 + Z2 Y)(1 + Z1 Y1) + Z1 Y with Z1, Z2 in series, Y1 across the middle and Y across the output; the generator
    counts into Z1, the load into Y. That is a quadratic in s, in 1/s, or one in both.

    References
    ----------
    DERIVED: node equations of the ladder; both kinds in a row are the band-pass of KUPHALDT-2, ch. 8.

    Examples
    --------
    Equal unbuffered low-pass sections are 3 dB down at 0.374 of their own corner, not at 0.644:

    >>> parts = dict(resistance_first=1e3, resistance_second=1e3, capacitance_first=1e-7, capacitance_second=1e-7)
    >>> print(f"{two_sections(1000, section_first='lowpass', section_second='lowpass', **parts).frequency_high:.1f} Hz")
    595.6 Hz
    >>> print(f"{two_sections(1000, section_first='highpass', section_second='highpass', **parts).frequency_low:.0f} Hz")
    4253 Hz
    """
    first, second = one_of("section_first", section_first, SECTIONS), one_of("section_second", section_second, SECTIONS)
    r1, c1 = _parts(first, "first", resistance_first, capacitance_first)
    r2, c2 = _parts(second, "second", resistance_second, capacitance_second)
    source, load = resistance_generator, 1 / resistance_load
    # As coefficients of 1/s², 1/s, 1, s and s², so that series and shunt arms multiply as polynomials.
    one: Poly = {0: np.asarray(1.0)}
    series1: Poly = {0: source + r1} if first == "lowpass" else {0: source, -1: 1 / c1}
    series2: Poly = {0: r2} if second == "lowpass" else {-1: 1 / c2}
    across: Poly = {1: c1} if first == "lowpass" else {0: 1 / r1}
    output: Poly = {0: load, 1: c2} if second == "lowpass" else {0: load + 1 / r2}
    whole = _sum(
        _product(_sum(one, _product(series2, output)), _sum(one, _product(series1, across))), _product(series1, output)
    )
    return _found(whole, frequency, voltage_input)


def _parts(section: str, place: str, resistance: Array, capacitance: Array) -> tuple[Array, Array]:
    """Return both parts of a section; in a high-pass one a short leaves no output, and no capacitor no path."""
    if section == "highpass":
        for name, value in ((f"resistance_{place}", resistance), (f"capacitance_{place}", capacitance)):
            if np.any(value == 0):
                raise ValueError(f"{name} must be above 0 in a high-pass section, got 0")
            numeric(name, value, above=0)
    return resistance, capacitance


def _sum(a: Poly, b: Poly) -> Poly:
    zero = np.asarray(0.0)
    return {power: np.asarray(a.get(power, zero) + b.get(power, zero)) for power in a.keys() | b.keys()}


def _product(a: Poly, b: Poly) -> Poly:
    found: Poly = {}
    for i, x in a.items():
        for j, y in b.items():
            found = _sum(found, {i + j: np.asarray(x * y)})
    return found


def _found(whole: Poly, f: Array, volts: Array) -> TwoSections:
    """Return the response 1/whole: its powers are 0 to 2, 0 to -2, or -1 to 1."""
    turn = 2 * np.pi * f
    with np.errstate(under="ignore", invalid="ignore"):  # a complex NaN divides with a complaint
        inverse = sum((value * (1j * turn) ** power for power, value in whole.items()), start=np.zeros((), complex))
        response: Complex = np.asarray(1 / inverse)
        gain = 1 / np.abs(inverse)
    flat = whole[0] + 0 * turn
    if 1 in whole and -1 in whole:
        low, high, peak = _edges(flat, whole[1] + 0 * turn, whole[-1] + 0 * turn)
    else:
        sign = 1 if 1 in whole else -1
        corner = _corner(flat, whole[sign] + 0 * turn, whole[2 * sign] + 0 * turn)
        unknown = np.isnan(corner)
        none, beyond = np.where(unknown, np.nan, 0.0), np.where(unknown, np.nan, np.inf)
        if sign > 0:
            low, high, peak = none, corner / (2 * np.pi), none
        else:
            low, high, peak = 1 / corner / (2 * np.pi), beyond, beyond
    return TwoSections(
        response=response,
        gain=gain,
        gain_db=decibels(gain),
        phase_degrees=np.degrees(np.angle(response)),
        voltage_output=gain * volts,
        frequency_low=low,
        frequency_high=high,
        frequency_peak=peak,
    )


def _edges(flat: Array, up: Array, down: Array) -> tuple[Array, Array, Array]:
    """Return both edges and the peak [Hz] of 1/(flat + up·jw + down/(jw)): roots of a quadratic."""
    root = np.sqrt(flat**2 + 4 * up * down)
    with np.errstate(divide="ignore"):
        high = (flat + root) / (2 * up)
    peak = np.sqrt(np.where(up == 0, np.inf, down) / np.where(up == 0, 1.0, up))
    return (2 * down / (flat + root) / (2 * np.pi), high / (2 * np.pi), peak / (2 * np.pi))


def _corner(flat: Array, once: Array, twice: Array) -> Array:
    """Return w, or 1/w, at which |flat + once·jw + twice·(jw)²| is √2 times `flat`."""
    half = once**2 - 2 * flat * twice
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(flat * np.sqrt(2 / (half + np.sqrt(half**2 + (2 * flat * twice) ** 2))))
