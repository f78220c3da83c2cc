"""Position of a potentiometer and the law of its track, turned into resistance and level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._arguments import one_of
from pedalcalc._base import decibels, formula, parallel
from pedalcalc._ranges import AboveZero, AtLeastZero, ZeroToInfinity, ZeroToOne
from pedalcalc._result import Number, Result, quantity
from pedalcalc.controls._track import fraction_at, rotation_at, track_law
from pedalcalc.devices import Taper
from pedalcalc.rc.divider import share

LUGS = ("counterclockwise", "clockwise")


@dataclass(frozen=True, slots=True, eq=False)
class Potentiometer(Result):
    """Result of `potentiometer`; every field has the broadcast shape of the inputs."""

    track_fraction: Number = quantity("1", "share of the track below the wiper")
    resistance_counterclockwise: Number = quantity("Ω", "counter-clockwise lug to wiper")
    resistance_clockwise: Number = quantity("Ω", "wiper to clockwise lug")


@dataclass(frozen=True, slots=True, eq=False)
class LevelControl(Result):
    """Result of `level_control`; every field has the broadcast shape of the inputs."""

    gain: Number = quantity("1", "gain")
    gain_db: Number = quantity("dB", "gain in decibels")
    resistance_input: Number = quantity("Ω", "resistance that the generator sees")
    resistance_output: Number = quantity("Ω", "resistance seen from the load")


@formula
def potentiometer(rotation: ZeroToOne, *, resistance_total: AtLeastZero, taper: Taper) -> Potentiometer:
    """Find the two resistances of a potentiometer on either side of its wiper.

    Parameters
    ----------
    rotation : array_like
        Shaft rotation [1], 0 to 1: from fully counter-clockwise to fully clockwise.
    resistance_total : array_like
        Resistance of the whole track [Ω], at least 0; ±20 % is usual, so measure it.
    taper : Taper
        Law of the track (`devices.typical` makes one of a type such as `devices.TAPER_LOG`).

    Returns
    -------
    Potentiometer
        Share of the track below the wiper, and the resistance from either outer lug to the wiper.

    Raises
    ------
    ValueError
        If a value is out of range.
    TypeError
        If `taper` is not a taper record, or is a type.

    Notes
    -----
    R_ccw = f(x) R, R_cw = (1 − f(x)) R. Smooth tracks: f(x) = (b^x − 1)/(b − 1), b = ((1 − m)/m)², m the share at half
    rotation. With `rotation_knee` in the record two straight pieces, as most real logarithmic tracks are made: up to m
    at the knee, and on to 1. What is left between wiper and end at a stop, a few ohms, is not counted.

    References
    ----------
    POT-HANDOUT, p. 4 for the meaning of the percentage; POT-TAPERS for the pieces; DERIVED for b.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> log = replace(devices.typical(devices.TAPER_LOG), fraction_middle=0.1)
    >>> half = potentiometer(0.5, resistance_total=10e3, taper=log)
    >>> print(f"{half.resistance_counterclockwise:.0f} and {half.resistance_clockwise:.0f} ohm")
    1000 and 9000 ohm
    """
    fraction = fraction_at(rotation, *track_law(taper))
    return Potentiometer(
        track_fraction=fraction,
        resistance_counterclockwise=fraction * resistance_total,
        resistance_clockwise=(1 - fraction) * resistance_total,
    )


@formula
def rheostat_resistance(
    rotation: ZeroToOne, *, resistance_total: AtLeastZero, taper: Taper, lug: str, resistance_stop: AtLeastZero
) -> Number:
    """Find the resistance of a potentiometer used as a variable resistor, with its stop resistor.

    Parameters
    ----------
    rotation : array_like
        Shaft rotation [1], 0 to 1: from fully counter-clockwise to fully clockwise.
    resistance_total : array_like
        Resistance of the whole track [Ω], at least 0.
    taper : Taper
        Law of the track (`devices.typical` makes one of a type).
    lug : str
        Outer lug in use beside the wiper: "counterclockwise" (clockwise rotation raises the resistance) or
        "clockwise" (clockwise rotation lowers it). Tie the unused lug to the wiper.
    resistance_stop : array_like
        Fixed resistor in series, which the control cannot go below [Ω], at least 0.

    Returns
    -------
    float or ndarray
        Resistance [Ω].

    Raises
    ------
    ValueError
        If a value is out of range, or `lug` is another word.
    TypeError
        If `taper` is not a taper record, or is a type.

    Notes
    -----
    R = R_stop + f(x) R_pot, or R_stop + (1 − f(x)) R_pot from the clockwise lug.

    References
    ----------
    DERIVED: series connection.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> log = devices.typical(devices.TAPER_LOG)
    >>> release = rheostat_resistance(
    ...     [0, 0.5, 1], resistance_total=1e6, taper=log, lug="counterclockwise", resistance_stop=47e3)
    >>> print([f"{value / 1e3:.0f}k" for value in release])
    ['47k', '197k', '1047k']
    """
    one_of("lug", lug, LUGS)
    parts = potentiometer(rotation, resistance_total=resistance_total, taper=taper)
    used = parts.resistance_counterclockwise if lug == "counterclockwise" else parts.resistance_clockwise
    return np.asarray(resistance_stop + used)


@formula
def rotation_for(track_fraction: ZeroToOne, *, taper: Taper) -> Number:
    """Find where the knob must stand for a wanted share of the track below the wiper.

    Parameters
    ----------
    track_fraction : array_like
        Wanted share of the track between the counter-clockwise lug and the wiper [1], 0 to 1.
    taper : Taper
        Law of the track (`devices.typical` makes one of a type).

    Returns
    -------
    float or ndarray
        Shaft rotation, 0 to 1 [1].

    Raises
    ------
    ValueError
        If a value is out of range.
    TypeError
        If `taper` is not a taper record, or is a type.

    Notes
    -----
    x = ln(1 + f (b − 1))/ln b, the inverse of the law of `potentiometer`. For a wanted resistance divide by that of the
    whole track.

    References
    ----------
    DERIVED: inverse of the law.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> print(f"{rotation_for(0.5, taper=devices.typical(devices.TAPER_LOG)):.2f}")
    0.81
    """
    return rotation_at(track_fraction, *track_law(taper))


@formula
def level_control(
    rotation: ZeroToOne,
    *,
    resistance_total: AboveZero,
    taper: Taper,
    resistance_generator: ZeroToInfinity = 0.0,
    resistance_load: ZeroToInfinity = np.inf,
) -> LevelControl:
    """Find how much a level knob lets through, with what drives it and what hangs on its wiper.

    The signal comes in at the clockwise lug, the counter-clockwise lug lies at ground, the wiper is the output.

    Parameters
    ----------
    rotation : array_like
        Shaft rotation [1], 0 to 1: from fully counter-clockwise to fully clockwise.
    resistance_total : array_like
        Resistance of the whole track [Ω], above 0.
    taper : Taper
        Law of the track (`devices.typical` makes one of a type).
    resistance_generator : array_like
        Resistance of what drives the knob [Ω], 0 to infinity; 0, an ideal source, unless stated.
    resistance_load : array_like
        Resistance from the wiper to ground, such as the next input [Ω], 0 to infinity; open unless stated.

    Returns
    -------
    LevelControl
        Gain from the ideal generator to the wiper, also in decibels; the resistance that the generator sees, and that
        seen from the load [Ω].

    Raises
    ------
    ValueError
        If a value is out of range.
    TypeError
        If `taper` is not a taper record, or is a type.

    Notes
    -----
    Gain = R_b/(R_gen + R_cw + R_b), R_b = R_ccw || R_L. The load bends the law of the track; it hardly shows from
    ten times the track on.

    References
    ----------
    KUPHALDT-1, ch. 6, loaded voltage dividers; DERIVED for both resistances.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> linear = devices.typical(devices.TAPER_LINEAR)
    >>> half = level_control(0.5, resistance_total=100e3, taper=linear, resistance_load=100e3)
    >>> print(f"{half.gain:.2f}, {half.gain_db:.1f} dB, out of {half.resistance_output / 1e3:.0f} kilohm")
    0.40, -8.0 dB, out of 25 kilohm
    """
    parts = potentiometer(rotation, resistance_total=resistance_total, taper=taper)
    above, below = np.asarray(parts.resistance_clockwise), np.asarray(parts.resistance_counterclockwise)
    ahead, loaded = resistance_generator + above, parallel(below, resistance_load)
    gain = share(ahead, loaded)
    return LevelControl(
        gain=gain,
        gain_db=decibels(gain),
        resistance_input=above + loaded,
        resistance_output=parallel(ahead, below),
    )
