"""What every small-signal stage shares: loading, coupling corners, swing.

::

    Vin --Rsrc--+        +--Rout--+-- Vout
                Rin    A*V        RL
                +--------+--------+
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, Result, formula, numeric, parallel, quantity, resistance, scalar

__all__ = [
    "Stage",
    "Swing",
    "bypass_corner",
    "coupling_corner",
    "loaded_gain",
    "output_voltage",
    "symmetrical_swing",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Stage(Result):
    """Small-signal figures of one stage at mid band.

    `gain_signed` runs from the stage's input pin to its loaded output,
    `gain_overall` from the open-circuit signal behind the source resistance.
    """

    gain_signed: Number = quantity("1", "gain, negative when inverted")
    gain: Number = quantity("1", "gain, size")
    gain_db: Number = quantity("dB", "gain")
    gain_overall: Number = quantity("1", "gain from the source, with its loading")
    impedance_device: Number = quantity("Ω", "looking into the transistor")
    impedance_input: Number = quantity("Ω", "input impedance")
    impedance_output: Number = quantity("Ω", "output impedance")


@dataclass(frozen=True, slots=True, eq=False)
class Swing(Result):
    """How far the loaded output can move; `voltage_peak` is the smaller of both ways."""

    swing_up: Number = quantity("V", "towards cut-off")
    swing_down: Number = quantity("V", "towards saturation")
    voltage_peak: Number = quantity("V", "largest undistorted peak")
    current_centred: Number = quantity("A", "current that would make both ways equal")
    clips_first: Any = quantity("text", "clips first at")


def stage(gain: Array, device: Array, bias: Array, output: Array, source: Array) -> Stage:
    """Put the figures of one stage together."""
    with np.errstate(divide="ignore", invalid="ignore"):
        z_in = parallel(bias, device)
        share = np.where(np.isinf(source), 0.0, np.where(np.isinf(z_in), 1.0, z_in / (z_in + source)))
        share = np.where(np.isnan(z_in) | np.isnan(source), np.nan, np.where(source == 0, 1.0, share))
        overall = np.where((share == 0) & ~np.isnan(gain), 0.0, gain * share + 0.0)
        decibels = 20 * np.log10(np.abs(gain))
    return Stage(*(scalar(part) for part in (gain + 0.0, np.abs(gain), decibels, overall, device, z_in, output)))


@formula
def loaded_gain(
    gain_signed: ArrayLike,
    *,
    resistance_source: ArrayLike,
    impedance_input: ArrayLike,
    impedance_output: ArrayLike,
    resistance_load: ArrayLike,
) -> Number:
    """Find the gain of a stage between its source and its load.

    Parameters
    ----------
    gain_signed : array_like
        Gain with nothing connected to the output [1], any sign.
    resistance_source : array_like
        Resistance of the source [Ω], 0 to inf.
    impedance_input : array_like
        Input impedance [Ω], above 0 to inf.
    impedance_output : array_like
        Output impedance [Ω], 0 or more, finite.
    resistance_load : array_like
        Load [Ω], above 0 to inf.

    Returns
    -------
    float or ndarray
        Gain from open source to loaded output [1].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    A Rin/(Rin + Rsrc) RL/(RL + Rout).

    References
    ----------
    FRANCO, ex. 1.1, source and load loading; DERIVED, two voltage dividers.

    Examples
    --------
    >>> round(loaded_gain(100.0, resistance_source=25e3, impedance_input=100e3, impedance_output=1.0,
    ...                   resistance_load=3.0), 6)
    60.0
    """
    a = numeric("gain_signed", gain_signed)
    r_src = resistance("resistance_source", resistance_source)
    z_in = numeric("impedance_input", impedance_input, above=0, infinity=True)
    z_out = numeric("impedance_output", impedance_output, least=0)
    r_l = numeric("resistance_load", resistance_load, least=0, infinity=True)
    return scalar(a * _share(z_in, r_src) * _share(r_l, z_out) + 0.0)  # type: ignore[no-any-return]


def _share(across: Array, before: Array) -> Array:
    """Return across/(across + before), with shorts and opens in their limits."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 1 / (1 + before / across)
        share = np.where((before == 0) & ~np.isnan(across), 1.0, share)
        return np.where(np.isinf(before) & ~np.isnan(across), 0.0, share)


@formula
def output_voltage(
    voltage_input: ArrayLike,
    *,
    gain_signed: ArrayLike,
    resistance_source: ArrayLike,
    impedance_input: ArrayLike,
    impedance_output: ArrayLike,
    resistance_load: ArrayLike,
) -> Number:
    """Find the voltage a stage delivers into its load.

    Parameters
    ----------
    voltage_input : array_like
        Open-circuit voltage of the source [V], any sign; peak in, peak out; rms in, rms out.
    gain_signed : array_like
        Gain with nothing connected to the output [1], any sign.
    resistance_source : array_like
        Resistance of the source [Ω], 0 to inf.
    impedance_input : array_like
        Input impedance [Ω], above 0 to inf.
    impedance_output : array_like
        Output impedance [Ω], 0 or more, finite.
    resistance_load : array_like
        Load [Ω], 0 to inf.

    Returns
    -------
    float or ndarray
        Output voltage [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    `voltage_input` times `loaded_gain`.

    References
    ----------
    MALVINO-BATES, ex. 10-3; DERIVED, two voltage dividers.

    Examples
    --------
    >>> round(output_voltage(2e-3, gain_signed=117.0, resistance_source=600.0, impedance_input=1426.0,
    ...                      impedance_output=0.0, resistance_load=float("inf")), 4)
    0.1647
    """
    v = numeric("voltage_input", voltage_input)
    gain = loaded_gain(
        gain_signed,
        resistance_source=resistance_source,
        impedance_input=impedance_input,
        impedance_output=impedance_output,
        resistance_load=resistance_load,
    )
    return scalar(v * gain + 0.0)  # type: ignore[no-any-return]


@formula
def coupling_corner(capacitance: ArrayLike, *, resistance_before: ArrayLike, resistance_after: ArrayLike) -> Number:
    """Find the corner of a coupling capacitor between two resistances.

    Parameters
    ----------
    capacitance : array_like
        Coupling capacitor [F], above 0.
    resistance_before : array_like
        Resistance ahead of it: source, or output impedance of the stage before [Ω], 0 to inf.
    resistance_after : array_like
        Resistance behind it: input impedance of the next stage, or load [Ω], 0 to inf.

    Returns
    -------
    float or ndarray
        Frequency 3 dB down [Hz]; inf with no resistance at all, 0 with an open one.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    1/(2 pi C (R1 + R2)).

    References
    ----------
    BOYLESTAD-NASHELSKY, ex. 9.11 and 9.12, low-frequency response.

    Examples
    --------
    >>> round(coupling_corner(1e-6, resistance_before=4e3, resistance_after=2.2e3), 2)
    25.67
    """
    c = numeric("capacitance", capacitance, above=0)
    total = resistance("resistance_before", resistance_before) + resistance("resistance_after", resistance_after)
    with np.errstate(divide="ignore"):
        return scalar(1 / (2 * np.pi * c * total))  # type: ignore[no-any-return]


@formula
def bypass_corner(
    capacitance: ArrayLike,
    *,
    resistance_bypassed: ArrayLike,
    resistance_dynamic: ArrayLike,
    resistance_drive: ArrayLike = 0.0,
    current_gain: ArrayLike = np.inf,
    resistance_unbypassed: ArrayLike = 0.0,
) -> Number:
    """Find the corner of a bypass capacitor across an emitter or source resistor.

    Parameters
    ----------
    capacitance : array_like
        Bypass capacitor [F], above 0.
    resistance_bypassed : array_like
        Resistor it lies across [Ω], 0 to inf.
    resistance_dynamic : array_like
        re = VT/IE of a bipolar transistor, 1/gm of a FET [Ω], 0 to inf.
    resistance_drive : array_like
        Resistance the base sees, source and divider in parallel [Ω]; none if not given.
    current_gain : array_like
        Current gain that divides it [1], above 0; inf (a FET) if not given.
    resistance_unbypassed : array_like
        Part of the emitter or source resistor left without bypass [Ω]; none if not given.

    Returns
    -------
    float or ndarray
        Corner frequency [Hz].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    1/(2 pi C (R || (re + Rdrive/beta + Runbypassed))). The gain falls 3 dB here if
    the resistor is much larger than what it is in parallel with; below
    1/(2 pi C R) it levels out at the gain without bypass.

    References
    ----------
    BOYLESTAD-NASHELSKY, ex. 9.11 (emitter) and 9.12 (source).

    Examples
    --------
    >>> round(bypass_corner(20e-6, resistance_bypassed=2e3, resistance_dynamic=15.76, resistance_drive=889.0,
    ...                     current_gain=100))
    327
    """
    c = numeric("capacitance", capacitance, above=0)
    r = resistance("resistance_bypassed", resistance_bypassed)
    dynamic = resistance("resistance_dynamic", resistance_dynamic)
    drive = numeric("resistance_drive", resistance_drive, least=0)
    beta = numeric("current_gain", current_gain, above=0, infinity=True)
    rest = resistance("resistance_unbypassed", resistance_unbypassed)
    with np.errstate(divide="ignore"):
        return scalar(1 / (2 * np.pi * c * parallel(r, dynamic + drive / beta + rest)))  # type: ignore[no-any-return]


@formula
def symmetrical_swing(
    current: ArrayLike, *, voltage_headroom: ArrayLike, resistance_output_dc: ArrayLike, resistance_load: ArrayLike
) -> Swing:
    """Find how far a loaded stage can swing before it clips, and at what current it would swing most evenly.

    Parameters
    ----------
    current : array_like
        Standing current: collector, drain, or emitter of a follower [A], 0 or more.
    voltage_headroom : array_like
        Standing voltage across the transistor less what it needs to work
        (saturation voltage, or pinch-off voltage of a FET) [V], 0 or more.
    resistance_output_dc : array_like
        Collector, drain or emitter resistor the standing current flows through [Ω], 0 to inf.
    resistance_load : array_like
        Load behind the coupling capacitor [Ω], 0 to inf.

    Returns
    -------
    Swing
        Both ways and the smaller [V], the even current [A], and which end clips first.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    On the AC load line of slope -1/(R || RL) the output rises by I (R || RL)
    until the transistor is cut off and falls by the headroom until it
    saturates. Raising the current by i lowers the headroom by i R, so both
    are equal at I + (headroom - I r)/(r + R), r = R || RL.

    References
    ----------
    MALVINO-BATES, ch. 12, AC output compliance; DERIVED, load line.

    Examples
    --------
    >>> swing = symmetrical_swing(1e-3, voltage_headroom=4.0, resistance_output_dc=4.7e3, resistance_load=10e3)
    >>> round(swing.voltage_peak, 3), swing.clips_first
    (3.197, 'cut-off')
    """
    i = numeric("current", current, least=0)
    v = numeric("voltage_headroom", voltage_headroom, least=0)
    dc = numeric("resistance_output_dc", resistance_output_dc, least=0)
    load = resistance("resistance_load", resistance_load)
    ac = parallel(dc, load)
    up = i * ac
    with np.errstate(divide="ignore", invalid="ignore"):
        centred = np.where(up == v, i, i + (v - up) / (ac + dc))
    first = np.where(up < v, "cut-off", np.where(up > v, "saturation", "both"))
    first = np.where(np.isnan(up) | np.isnan(v), "unknown", first)
    return Swing(*(scalar(part) for part in (up, v + 0 * up, np.minimum(up, v), centred, first)))
