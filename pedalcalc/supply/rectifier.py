"""What a rectifier gives without a capacitor."""

from __future__ import annotations

from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula, numeric
from pedalcalc.sidechain.charging import charging_current_average

__all__ = ["rectified_mean"]


@formula
def rectified_mean(voltage_peak: ArrayLike, *, rectifier: str, voltage_drop: ArrayLike = 0.0) -> Number:
    """Find the mean voltage of a rectified sine into a resistance, no capacitor: what a DC meter shows.

    Parameters
    ----------
    voltage_peak : array_like
        Peak of the sine ahead of the rectifier [V], at least 0.
    rectifier : str
        "half" or "full".
    voltage_drop : array_like
        Drop of all conducting diodes together [V], at least 0; none if not given.

    Returns
    -------
    float or ndarray
        Mean voltage [V]; 0 where the peak does not reach the drop.

    Raises
    ------
    ValueError
        If a value is out of range, or `rectifier` is another word.

    Notes
    -----
    Half wave (sqrt(Vp² - Vd²) - Vd arccos(Vd/Vp))/π, full wave twice that: Vp/π and 2 Vp/π without a drop.
    Texts that take the peak as Vp - Vd and forget the shorter conduction get (Vp - Vd)/π:
    pass that as the peak, without a drop.

    References
    ----------
    DERIVED: the integral of Vp sin θ - Vd over the conduction angle.

    Examples
    --------
    >>> print(f"{rectified_mean(10.0, rectifier='half'):.3f} V")
    3.183 V
    """
    drop = numeric("voltage_drop", voltage_drop, least=0)
    return charging_current_average(voltage_peak, voltage_hold=drop, resistance_attack=1.0, rectifier=rectifier)
