"""Position of a potentiometer and the law of its track, turned into resistance.

Letters such as A and B are not standardised: makers have swapped them. The law is therefore always given
as a word, and its strength as the share of the track below the wiper at half rotation, which a meter
shows in a minute.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, formula, numeric, one_of, quantity
from pedalcalc.sidechain._detector import Array

LAWS = ("linear", "logarithmic", "reverse-logarithmic", "two-segment")
LUGS = ("counterclockwise", "clockwise")


@dataclass(frozen=True, slots=True, eq=False)
class Potentiometer(Result):
    """Result of `potentiometer`; every field has the broadcast shape of the inputs."""

    track_fraction: Number = quantity("1", "share of the track below the wiper")
    resistance_counterclockwise: Number = quantity("Ω", "counter-clockwise lug to wiper")
    resistance_clockwise: Number = quantity("Ω", "wiper to clockwise lug")


def _checked_law(law: str, mid_fraction: ArrayLike, rotation_knee: ArrayLike) -> tuple[Array, Array]:
    one_of("law", law, LAWS)
    middle = numeric("mid_fraction", mid_fraction, above=0, below=1)
    knee = numeric("rotation_knee", rotation_knee, above=0, below=1)
    wrong, allowed = {
        "linear": (middle != 0.5, "0.5 for a linear track"),
        "logarithmic": (middle >= 0.5, "below 0.5 for a logarithmic track"),
        "reverse-logarithmic": (middle <= 0.5, "above 0.5 for a reverse-logarithmic track (0.9 for a '10 %' one)"),
        "two-segment": (np.zeros(middle.shape, bool), ""),
    }[law]
    wrong = wrong & ~np.isnan(middle)
    if np.any(wrong):
        raise ValueError(f"mid_fraction must be {allowed}, got {middle[wrong].flat[0]:g}")
    return middle, knee


@formula
def taper_fraction(
    rotation: ArrayLike, *, law: str, mid_fraction: ArrayLike = 0.5, rotation_knee: ArrayLike = 0.5
) -> Number:
    """Find the share of a potentiometer's track below the wiper.

    Parameters
    ----------
    rotation : array_like
        Shaft rotation, 0 fully counter-clockwise to 1 fully clockwise [1].
    law : str
        "linear", "logarithmic", "reverse-logarithmic" (smooth), or "two-segment" (two straight
        pieces, as most real logarithmic tracks are made).
    mid_fraction : array_like
        Share of the track below the wiper at half rotation [1], for "two-segment" at the knee; 0.5, linear, unless
        stated. Commonly 0.1 to 0.2 for a logarithmic track.
    rotation_knee : array_like
        Rotation at which a two-segment track changes slope [1]; half way unless stated. Other laws ignore it.

    Returns
    -------
    float or ndarray
        Share of the track between the counter-clockwise lug and the wiper [1].

    Raises
    ------
    ValueError
        If a value is out of range, the word is another one, or `mid_fraction` does not fit the word.

    Notes
    -----
    Smooth: f(x) = (b^x − 1)/(b − 1), b = ((1 − m)/m)², so that f(1/2) = m; reverse for m above 1/2. Two segments:
    straight from 0 to m at the knee, and on to 1.

    References
    ----------
    POT-HANDOUT, p. 4 for the meaning of the percentage; POT-TAPERS for the segments; DERIVED for b.

    Examples
    --------
    >>> print(f"{taper_fraction(0.5, law='logarithmic', mid_fraction=0.15):.2f}")
    0.15
    """
    turned = numeric("rotation", rotation, least=0, most=1)
    middle, knee = _checked_law(law, mid_fraction, rotation_knee)
    turned, middle, knee = np.broadcast_arrays(turned, middle, knee)
    unknown = np.isnan(turned + middle + knee)
    if law == "two-segment":
        fraction = np.where(turned <= knee, middle * turned / knee, 1 - (1 - middle) * (1 - turned) / (1 - knee))
    else:
        growth = 2 * np.log((1 - middle) / middle)
        with np.errstate(invalid="ignore", divide="ignore"):
            fraction = np.where(growth == 0, turned, np.expm1(turned * growth) / np.expm1(growth))
    return np.where(unknown, np.nan, fraction)[()]


@formula
def taper_rotation(
    track_fraction: ArrayLike, *, law: str, mid_fraction: ArrayLike = 0.5, rotation_knee: ArrayLike = 0.5
) -> Number:
    """Find the rotation that puts a wanted share of the track below the wiper.

    Parameters
    ----------
    track_fraction : array_like
        Wanted share of the track between the counter-clockwise lug and the wiper [1], 0 to 1.
    law : str
        "linear", "logarithmic", "reverse-logarithmic" or "two-segment".
    mid_fraction : array_like
        Share of the track below the wiper at half rotation [1], for "two-segment" at the knee; 0.5 unless stated.
    rotation_knee : array_like
        Rotation at which a two-segment track changes slope [1]; half way unless stated.

    Returns
    -------
    float or ndarray
        Shaft rotation, 0 to 1 [1].

    Raises
    ------
    ValueError
        If a value is out of range, the word is another one, or `mid_fraction` does not fit the word.

    Notes
    -----
    x = ln(1 + f (b − 1))/ln b, the inverse of `taper_fraction`.

    References
    ----------
    DERIVED: inverse of the law.

    Examples
    --------
    >>> print(f"{taper_rotation(0.5, law='logarithmic', mid_fraction=0.1):.2f}")
    0.85
    """
    share = numeric("track_fraction", track_fraction, least=0, most=1)
    middle, knee = _checked_law(law, mid_fraction, rotation_knee)
    share, middle, knee = np.broadcast_arrays(share, middle, knee)
    unknown = np.isnan(share + middle + knee)
    if law == "two-segment":
        turned = np.where(share <= middle, knee * share / middle, 1 - (1 - knee) * (1 - share) / (1 - middle))
    else:
        growth = 2 * np.log((1 - middle) / middle)
        with np.errstate(invalid="ignore", divide="ignore"):
            turned = np.where(growth == 0, share, np.log1p(share * np.expm1(growth)) / growth)
    return np.where(unknown, np.nan, turned)[()]


@formula
def potentiometer(
    rotation: ArrayLike,
    *,
    resistance_total: ArrayLike,
    law: str,
    mid_fraction: ArrayLike = 0.5,
    rotation_knee: ArrayLike = 0.5,
) -> Potentiometer:
    """Find the two resistances of a potentiometer on either side of its wiper.

    Parameters
    ----------
    rotation : array_like
        Shaft rotation, 0 fully counter-clockwise to 1 fully clockwise [1].
    resistance_total : array_like
        Resistance of the whole track [Ω], at least 0; ±20 % is usual, so measure it.
    law : str
        "linear", "logarithmic", "reverse-logarithmic" or "two-segment".
    mid_fraction : array_like
        Share of the track below the wiper at half rotation [1], for "two-segment" at the knee; 0.5 unless stated.
    rotation_knee : array_like
        Rotation at which a two-segment track changes slope [1]; half way unless stated.

    Returns
    -------
    Potentiometer
        Share of the track, and the resistance from either outer lug to the wiper.

    Raises
    ------
    ValueError
        If a value is out of range, the word is another one, or `mid_fraction` does not fit the word.

    Notes
    -----
    R_ccw = f(x) R, R_cw = (1 − f(x)) R.

    References
    ----------
    POT-HANDOUT, p. 4.

    Examples
    --------
    >>> half = potentiometer(0.5, resistance_total=10e3, law="logarithmic", mid_fraction=0.1)
    >>> print(f"{half.resistance_counterclockwise:.0f} and {half.resistance_clockwise:.0f} ohm")
    1000 and 9000 ohm
    """
    total = numeric("resistance_total", resistance_total, least=0)
    fraction = taper_fraction(rotation, law=law, mid_fraction=mid_fraction, rotation_knee=rotation_knee)
    fraction, total = np.broadcast_arrays(np.asarray(fraction), total)
    return Potentiometer(fraction[()], (fraction * total)[()], ((1 - fraction) * total)[()])


@formula
def rheostat_resistance(
    rotation: ArrayLike,
    *,
    resistance_total: ArrayLike,
    law: str,
    lug: str,
    resistance_stop: ArrayLike,
    mid_fraction: ArrayLike = 0.5,
    rotation_knee: ArrayLike = 0.5,
) -> Number:
    """Find the resistance of a potentiometer used as a variable resistor, with its stop resistor.

    Parameters
    ----------
    rotation : array_like
        Shaft rotation, 0 fully counter-clockwise to 1 fully clockwise [1].
    resistance_total : array_like
        Resistance of the whole track [Ω], at least 0.
    law : str
        "linear", "logarithmic", "reverse-logarithmic" or "two-segment".
    lug : str
        Outer lug in use beside the wiper: "counterclockwise" (clockwise rotation raises the resistance) or
        "clockwise" (clockwise rotation lowers it). Tie the unused lug to the wiper.
    resistance_stop : array_like
        Fixed resistor in series, which the control cannot go below [Ω], at least 0.
    mid_fraction : array_like
        Share of the track below the wiper at half rotation [1], for "two-segment" at the knee; 0.5 unless stated.
    rotation_knee : array_like
        Rotation at which a two-segment track changes slope [1]; half way unless stated.

    Returns
    -------
    float or ndarray
        Resistance [Ω].

    Raises
    ------
    ValueError
        If a value is out of range, a word is another one, or `mid_fraction` does not fit the word.

    Notes
    -----
    R = R_stop + f(x) R_pot, or R_stop + (1 − f(x)) R_pot from the clockwise lug.

    References
    ----------
    DERIVED: series connection.

    Examples
    --------
    >>> release = rheostat_resistance([0, 0.5, 1], resistance_total=1e6, law="logarithmic", mid_fraction=0.1,
    ...                               lug="counterclockwise", resistance_stop=47e3)
    >>> print([f"{value / 1e3:.0f}k" for value in release])
    ['47k', '147k', '1047k']
    """
    one_of("lug", lug, LUGS)
    stop = numeric("resistance_stop", resistance_stop, least=0)
    parts = potentiometer(
        rotation,
        resistance_total=resistance_total,
        law=law,
        mid_fraction=mid_fraction,
        rotation_knee=rotation_knee,
    )
    used = parts.resistance_counterclockwise if lug == "counterclockwise" else parts.resistance_clockwise
    return np.asarray(stop + used)[()]
