"""Gain of a stage whose one resistor is a photocell.

shunt                     series                    feedback

in --R_arm--+-- out       in --R_arm--CELL--+-- out          +---CELL---+
            |                               |                +--R_load--+
       CELL | R_load                     R_load   in --R_arm--|-        |
            |                               |                 |      >--+-- out
           gnd                             gnd         gnd ---|+
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import one_of
from pedalcalc._base import formula, parallel
from pedalcalc._ranges import AtLeastZero, ZeroToInfinity
from pedalcalc._refusal import must, refused
from pedalcalc._result import Number

PLACEMENTS = ("shunt", "series", "feedback")


def _share(below: NDArray[np.float64], above: NDArray[np.float64], names: str) -> NDArray[np.float64]:
    """Return below / (below + above), its limits included; refuse 0/0 and infinity/infinity."""
    if np.any(bad := (below == 0) & (above == 0)):
        raise must(f"{names} cannot all be 0, which leaves the gain undefined", bad)
    if np.any(bad := np.isinf(below) & np.isinf(above)):
        raise must(f"{names} cannot all be open, which leaves the gain undefined", bad)
    with np.errstate(invalid="ignore"):
        return np.where(np.isinf(below) & ~np.isnan(above), 1.0, below / (below + above))


@formula
def cell_gain(
    resistance_cell: ZeroToInfinity, *, placement: str, resistance_arm: ZeroToInfinity, resistance_load: ZeroToInfinity
) -> Number:
    """Return the gain of a stage whose cell shunts the signal, lies in its way, or stands across a feedback resistor.

    Parameters
    ----------
    resistance_cell : array_like
        Cell resistance [Ω], at least 0; may be infinite.
    placement : str
        "shunt" (more light, less gain), "series" (more light, more gain) or "feedback" (more light, less gain).
    resistance_arm : array_like
        Resistance ahead of the cell, in series with the signal; of "feedback" the input resistor [Ω], at least 0; may
        be infinite.
    resistance_load : array_like
        Resistance of what follows, to ground; of "feedback" the feedback resistor [Ω], at least 0; may be infinite.

    Returns
    -------
    float or ndarray
        Output over input [1], 0 to 1; of "feedback" its magnitude, infinite where nothing limits an ideal amplifier.

    Raises
    ------
    ValueError
        If `placement` is another word, a resistance is negative, or all that matter are 0 or all open.

    Notes
    -----
    Shunt: (R_LDR || R_L) / (R_arm + R_LDR || R_L). Series: R_L / (R_arm + R_LDR + R_L). Feedback, for an ideal
    amplifier within its rails: (R_LDR || R_L) / R_arm.

    References
    ----------
    DERIVED from Kirchhoff's laws.

    Examples
    --------
    >>> f"{cell_gain(10e3, placement='shunt', resistance_arm=10e3, resistance_load=float('inf')):.2f}"
    '0.50'
    >>> f"{cell_gain(100e3, placement='feedback', resistance_arm=10e3, resistance_load=100e3):.1f}"
    '5.0'
    """
    one_of("placement", placement, PLACEMENTS)
    cell, arm, load = resistance_cell, resistance_arm, resistance_load
    if placement == "series":
        return _share(load, cell + arm, "resistance_load and what stands before it")
    both = parallel(cell, load)
    if placement == "shunt":
        return _share(both, arm, "resistance_arm and what stands to ground")
    if np.any(bad := ((both == 0) & (arm == 0)) | (np.isinf(both) & np.isinf(arm))):
        raise must("resistance_arm and the feedback path cannot both be 0 or both be open", bad)
    with np.errstate(divide="ignore"):
        return np.asarray(both / arm)


@formula
def cell_for_reduction(
    reduction_db: AtLeastZero, *, placement: str, resistance_arm: ZeroToInfinity, resistance_load: ZeroToInfinity
) -> Number:
    """Return the cell resistance for a wanted gain reduction.

    Parameters
    ----------
    reduction_db : array_like
        Gain reduction [dB], at least 0: of "shunt" and "feedback" against no cell at all, of "series" against a cell
        of 0 Ω.
    placement : str
        "shunt", "series" or "feedback".
    resistance_arm : array_like
        Resistance ahead of the cell [Ω], at least 0; of "feedback" the input resistor, which does not matter here.
        Of "series" finite, else it may be infinite.
    resistance_load : array_like
        Resistance of what follows, to ground; of "feedback" the feedback resistor [Ω], at least 0. Of "series" and
        "feedback" finite, of "shunt" it may be infinite where the arm is not.

    Returns
    -------
    float or ndarray
        Cell resistance [Ω]; of "shunt" and "feedback" infinite for no reduction.

    Raises
    ------
    ValueError
        If `placement` is another word, a value is negative, or a resistance is open that must not be.

    Notes
    -----
    With q = 10^(GR/20) - 1: shunt (R_arm || R_L) / q, series (R_arm + R_L) q, feedback R_L / q.

    References
    ----------
    DERIVED from `cell_gain`.

    Examples
    --------
    >>> f"{cell_for_reduction(20.0, placement='shunt', resistance_arm=10e3, resistance_load=1e6):.0f} Ω"
    '1100 Ω'
    >>> f"{cell_for_reduction(20.0, placement='series', resistance_arm=0.0, resistance_load=10e3) / 1e3:.0f} kΩ"
    '90 kΩ'
    """
    one_of("placement", placement, PLACEMENTS)
    arm, load = resistance_arm, resistance_load
    lost = np.asarray(np.expm1(reduction_db * (np.log(10) / 20)))
    if placement == "series":
        if np.any(bad := np.isinf(arm + load)):
            raise must("resistance_arm and resistance_load must be finite, since an open divider is not reduced", bad)
        return np.asarray((arm + load) * lost)
    if placement == "feedback":
        if np.any(bad := np.isinf(load)):
            allowed = "finite, since without a feedback resistor there is no gain to reduce from"
            raise refused("resistance_load", allowed, load, bad)
        both = load + np.where(np.isnan(arm), np.nan, 0.0)
    else:
        both = parallel(arm, load)
        if np.any(bad := np.isinf(both)):
            raise must("resistance_arm and resistance_load cannot both be open", bad)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(lost == 0, np.where(np.isnan(both), np.nan, np.inf), both / lost)
