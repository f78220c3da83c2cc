"""Stock resistors for a wanted gain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._arguments import Stock, numeric, one_number
from pedalcalc._base import search
from pedalcalc._refusal import refused
from pedalcalc._result import Result, quantity
from pedalcalc._units import shown, told
from pedalcalc.values._series import ladder

__all__ = ["GainResistors", "choose_gain_resistors"]


@dataclass(frozen=True, slots=True, eq=False)
class GainResistors(Result):
    """Two resistors of a feedback network and the gain they give."""

    resistance_feedback: float = quantity("Ω", "output to inverting input")
    resistance_ground: float = quantity("Ω", "inverting input to ground (to the signal, where it inverts)")
    gain_signed: float = quantity("1", "gain, negative when inverted")
    error: float = quantity("1", "gain too high by", percent=True)


@search
def choose_gain_resistors(
    gain_signed: float,
    *,
    stock: Stock,
    resistance_min: float = 1e3,
    resistance_max: float = 1e6,
    resistance_feedback: float = np.nan,
) -> GainResistors:
    """Choose the two resistors of a wanted gain from stock, or the one to ground for a feedback resistor in place.

    Parameters
    ----------
    gain_signed : float
        Wanted gain [1]: below 0 of an inverting stage, above 1 of a non-inverting one.
    stock : str or list
        A series such as `E12`, or the values of a drawer as numbers or texts.
    resistance_min : float
        Smallest resistor to take [Ω], above 0; 1 kΩ, which an op-amp drives without strain, if not given.
    resistance_max : float
        Largest resistor to take [Ω]; 1 MΩ if not given.
    resistance_feedback : float
        Feedback resistor in place [Ω], above 0; NaN (to be chosen as well) if not given.

    Returns
    -------
    GainResistors
        Both resistors [Ω], the gain they give [1] and by what share it is off [1]. Of pairs that are equally near the one of
        lowest resistances, for less noise.

    Raises
    ------
    ValueError
        If an argument is outside its range, no gain of the two stages is wanted, stock holds nothing between the limits,
        or no pair comes within 20 % of the gain.

    Notes
    -----
    RF/R = A - 1 non-inverting, -A inverting; an ideal op-amp.

    References
    ----------
    FIORE-OPAMPS, ex. 4.5; PRACTICE, the limits 1 kΩ and 1 MΩ; DERIVED, the search.

    Examples
    --------
    >>> chosen = choose_gain_resistors(11.0, stock="E12", resistance_feedback=100e3)
    >>> chosen.resistance_ground, chosen.gain_signed
    (10000.0, 11.0)
    >>> both = choose_gain_resistors(-3.0, stock=["1k", "4k7", "10k", "33k", "47k"])
    >>> both.resistance_feedback, both.resistance_ground, round(both.error, 3)
    (33000.0, 10000.0, 0.1)
    """
    wanted = numeric("gain_signed", gain_signed)
    if wanted.ndim or np.isnan(wanted) or 0 <= wanted <= 1:
        raise ValueError(
            f"gain_signed must be one number below 0 (inverting) or above 1 (non-inverting), got {gain_signed!r}"
        )
    low = one_number("resistance_min", resistance_min, "", above=0)
    high = one_number("resistance_max", resistance_max, "", above=0)
    in_place = one_number("resistance_feedback", resistance_feedback, "", unknown=True, above=0)
    if low > high:
        raise refused("resistance_min", f"at most resistance_max ({shown(high, 'Ω')})", low)
    every = ladder(stock)
    known = every[(every >= low) & (every <= high)]
    if not known.size:
        raise ValueError(
            "stock must hold a resistor from resistance_min to resistance_max, "
            f"{shown(low, 'Ω')} to {shown(high, 'Ω')}, got {told(stock)}"
        )
    ratio = float(wanted - 1 if wanted > 0 else -wanted)
    upper, lower = np.meshgrid(known if np.isnan(in_place) else np.array([in_place]), known, indexing="ij")
    off = np.abs(np.log(upper / lower / ratio))
    nearest = off <= off.min() + 1e-9
    best = np.flatnonzero(nearest)[np.argmin((upper + lower)[nearest])]
    r_f, r_g = float(upper.flat[best]), float(lower.flat[best])
    gain = 1 + r_f / r_g if wanted > 0 else -r_f / r_g
    if abs(gain / wanted - 1) > 0.2:
        raise ValueError(
            f"gain_signed must be within reach of the resistors in stock, got {float(wanted):g}, nearest {gain:g}"
        )
    return GainResistors(
        resistance_feedback=r_f, resistance_ground=r_g, gain_signed=float(gain), error=float(gain / wanted - 1)
    )
