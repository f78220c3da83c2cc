"""Gain of a stage whose one resistor is a photocell.

shunt                     series                    feedback

in -R_source-+- out       in -R_source-CELL-+- out       +--CELL--+
             |                              |            +--R_f---+
        CELL | R_load                    R_load   in -R_i-|-      |
             |                              |             |    >--+- out
            gnd                            gnd      gnd --|+
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, formula, numeric, parallel


def _share(below: NDArray[np.float64], above: NDArray[np.float64], names: str) -> NDArray[np.float64]:
    """Return below / (below + above), its limits included; refuse 0/0 and infinity/infinity."""
    if np.any((below == 0) & (above == 0)):
        raise ValueError(f"{names} cannot all be 0: the gain is undefined")
    if np.any(np.isinf(below) & np.isinf(above)):
        raise ValueError(f"{names} cannot all be open: the gain is undefined")
    with np.errstate(invalid="ignore"):
        return np.where(np.isinf(below) & ~np.isnan(above), 1.0, below / (below + above))


def _open(name: str, value: ArrayLike) -> NDArray[np.float64]:
    return numeric(name, value, least=0, infinity=True)


@formula
def gain_shunt(resistance_cell: ArrayLike, *, resistance_source: ArrayLike, resistance_load: ArrayLike) -> Number:
    """Return the gain of a divider whose cell shunts the signal to ground.

    More light, less gain.

    Parameters
    ----------
    resistance_cell : array_like
        Cell resistance [Ω], at least 0; may be infinite.
    resistance_source : array_like
        Resistance in series with the signal [Ω], at least 0; may be infinite.
    resistance_load : array_like
        Resistance of what follows, to ground [Ω], at least 0; may be infinite.

    Returns
    -------
    float or ndarray
        Output over input [1], 0 to 1.

    Raises
    ------
    ValueError
        If a resistance is negative, or all that matter are 0 or all open.

    Notes
    -----
    G = (R_LDR || R_L) / (R_src + R_LDR || R_L).

    References
    ----------
    DERIVED.

    Examples
    --------
    >>> f"{gain_shunt(10e3, resistance_source=10e3, resistance_load=float('inf')):.2f}"
    '0.50'
    """
    cell = _open("resistance_cell", resistance_cell)
    source = _open("resistance_source", resistance_source)
    load = _open("resistance_load", resistance_load)
    return _share(parallel(cell, load), source, "resistance_source and what stands to ground")[()]


@formula
def gain_series(resistance_cell: ArrayLike, *, resistance_source: ArrayLike, resistance_load: ArrayLike) -> Number:
    """Return the gain of a divider whose cell lies in the signal's way.

    More light, more gain.

    Parameters
    ----------
    resistance_cell : array_like
        Cell resistance [Ω], at least 0; may be infinite.
    resistance_source : array_like
        Further resistance in series with the signal [Ω], at least 0; may be infinite.
    resistance_load : array_like
        Resistance to ground after the cell [Ω], at least 0; may be infinite.

    Returns
    -------
    float or ndarray
        Output over input [1], 0 to 1.

    Raises
    ------
    ValueError
        If a resistance is negative, or all that matter are 0 or all open.

    Notes
    -----
    G = R_L / (R_src + R_LDR + R_L).

    References
    ----------
    DERIVED.

    Examples
    --------
    >>> f"{gain_series(30e3, resistance_source=0.0, resistance_load=10e3):.2f}"
    '0.25'
    """
    cell = _open("resistance_cell", resistance_cell)
    source = _open("resistance_source", resistance_source)
    load = _open("resistance_load", resistance_load)
    return _share(load, cell + source, "resistance_load and what stands before it")[()]


@formula
def gain_feedback(resistance_cell: ArrayLike, *, resistance_input: ArrayLike, resistance_feedback: ArrayLike) -> Number:
    """Return the gain of an inverting stage with the cell across its feedback resistor.

    More light, less gain.

    Parameters
    ----------
    resistance_cell : array_like
        Cell resistance [Ω], at least 0; may be infinite.
    resistance_input : array_like
        Input resistor [Ω], at least 0; may be infinite.
    resistance_feedback : array_like
        Feedback resistor [Ω], at least 0; may be infinite.

    Returns
    -------
    float or ndarray
        Magnitude of output over input [1]; infinite where nothing limits an
        ideal amplifier.

    Raises
    ------
    ValueError
        If a resistance is negative, or both paths are 0 or both open.

    Notes
    -----
    |G| = (R_LDR || R_f) / R_i for an ideal amplifier within its rails.

    References
    ----------
    DERIVED.

    Examples
    --------
    >>> f"{gain_feedback(100e3, resistance_input=10e3, resistance_feedback=100e3):.1f}"
    '5.0'
    """
    cell = _open("resistance_cell", resistance_cell)
    entry = _open("resistance_input", resistance_input)
    back = parallel(cell, _open("resistance_feedback", resistance_feedback))
    if np.any((back == 0) & (entry == 0)) or np.any(np.isinf(back) & np.isinf(entry)):
        raise ValueError("resistance_input and the feedback path cannot both be 0 or both be open")
    with np.errstate(divide="ignore"):
        return (back / entry)[()]


def _loss(reduction_db: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(np.expm1(numeric("reduction_db", reduction_db, least=0) * (np.log(10) / 20)))


@formula
def shunt_for_reduction(reduction_db: ArrayLike, *, resistance_source: ArrayLike, resistance_load: ArrayLike) -> Number:
    """Return the cell resistance for a wanted gain reduction of a shunt cell.

    Parameters
    ----------
    reduction_db : array_like
        Gain reduction against no cell at all [dB], at least 0.
    resistance_source : array_like
        Resistance in series with the signal [Ω], at least 0; may be infinite.
    resistance_load : array_like
        Resistance of what follows, to ground [Ω], at least 0; may be infinite.

    Returns
    -------
    float or ndarray
        Cell resistance [Ω]; infinite for no reduction.

    Raises
    ------
    ValueError
        If the reduction or a resistance is negative, or both resistances are open.

    Notes
    -----
    R_LDR = (R_src || R_L) / (10^(GR/20) - 1).

    References
    ----------
    DERIVED from `gain_shunt`.

    Examples
    --------
    >>> f"{shunt_for_reduction(20.0, resistance_source=10e3, resistance_load=1e6):.0f} Ω"
    '1100 Ω'
    """
    both = parallel(_open("resistance_source", resistance_source), _open("resistance_load", resistance_load))
    if np.any(np.isinf(both)):
        raise ValueError("resistance_source and resistance_load cannot both be open")
    return _over(both, _loss(reduction_db))


@formula
def series_for_reduction(
    reduction_db: ArrayLike, *, resistance_source: ArrayLike, resistance_load: ArrayLike
) -> Number:
    """Return the cell resistance for a wanted gain reduction of a series cell.

    Parameters
    ----------
    reduction_db : array_like
        Gain reduction against a cell of 0 Ω [dB], at least 0.
    resistance_source : array_like
        Further resistance in series with the signal [Ω], at least 0.
    resistance_load : array_like
        Resistance to ground after the cell [Ω], at least 0; may be infinite.

    Returns
    -------
    float or ndarray
        Cell resistance [Ω].

    Raises
    ------
    ValueError
        If the reduction or a resistance is negative, or a resistance is open.

    Notes
    -----
    R_LDR = (R_src + R_L) (10^(GR/20) - 1).

    References
    ----------
    DERIVED from `gain_series`.

    Examples
    --------
    >>> f"{series_for_reduction(20.0, resistance_source=0.0, resistance_load=10e3) / 1e3:.0f} kΩ"
    '90 kΩ'
    """
    both = _open("resistance_source", resistance_source) + _open("resistance_load", resistance_load)
    if np.any(np.isinf(both)):
        raise ValueError("resistance_source and resistance_load must be finite: an open divider is not reduced")
    return (both * _loss(reduction_db))[()]


@formula
def feedback_for_reduction(reduction_db: ArrayLike, *, resistance_feedback: ArrayLike) -> Number:
    """Return the cell resistance for a wanted gain reduction of a cell across the feedback resistor.

    Parameters
    ----------
    reduction_db : array_like
        Gain reduction against no cell at all [dB], at least 0.
    resistance_feedback : array_like
        Feedback resistor [Ω], at least 0.

    Returns
    -------
    float or ndarray
        Cell resistance [Ω]; infinite for no reduction.

    Raises
    ------
    ValueError
        If the reduction or the resistance is negative or infinite.

    Notes
    -----
    R_LDR = R_f / (10^(GR/20) - 1).

    References
    ----------
    DERIVED from `gain_feedback`.

    Examples
    --------
    >>> f"{feedback_for_reduction(6.0206, resistance_feedback=100e3) / 1e3:.0f} kΩ"
    '100 kΩ'
    """
    back = _open("resistance_feedback", resistance_feedback)
    if np.any(np.isinf(back)):
        raise ValueError("resistance_feedback must be finite: without it there is no gain to reduce from")
    return _over(back, _loss(reduction_db))


def _over(resistance: NDArray[np.float64], loss: NDArray[np.float64]) -> Number:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(loss == 0, np.where(np.isnan(resistance), np.nan, np.inf), resistance / loss)[()]
