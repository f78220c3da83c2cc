"""What an indicator lamp costs in battery life."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import formula
from pedalcalc._ranges import AtLeastZero
from pedalcalc._result import Number, Result, quantity


@dataclass(frozen=True, slots=True, eq=False)
class IndicatorLife(Result):
    """Battery life without and with the lamp."""

    hours_without: Number = quantity("h", "battery life without the lamp")
    hours_with: Number = quantity("h", "battery life with the lamp lit")
    life_share: Number = quantity("1", "share of the life that the lamp costs", percent=True)


@formula
def indicator_battery_life(current: AtLeastZero, *, current_load: AtLeastZero, charge: AtLeastZero) -> IndicatorLife:
    """Find what an indicator lamp costs in battery life.

    Parameters
    ----------
    current : array_like
        Current of the lamp while it is lit [A], at least 0.
    current_load : array_like
        Current of the build without the lamp [A], at least 0.
    charge : array_like
        Charge of the battery [C], at least 0; one milliampere-hour is 3.6 C.

    Returns
    -------
    IndicatorLife
        Hours of use without and with the lamp [h], and the share it costs [1].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Hours are charge over current / 3600: fair up to about 25 mA. `supply.battery_life`
    also counts how far the voltage may fall.

    References
    ----------
    KUPHALDT-1, ch. 11, ampere-hours over amperes.

    Examples
    --------
    >>> life = indicator_battery_life(0.002, current_load=0.006, charge=550 * 3.6)
    >>> print(f"{life.hours_without:.0f} h without, {life.hours_with:.0f} h with")
    92 h without, 69 h with
    """
    i, load, q = current, current_load, charge
    with np.errstate(divide="ignore", invalid="ignore"):
        without = np.where((load == 0) & ~np.isnan(q), np.inf, q / load / 3600)
        both = np.where((i + load == 0) & ~np.isnan(q), np.inf, q / (i + load) / 3600)
        cost = np.where((i == 0) & ~np.isnan(load), 0.0, i / (i + load))
    return IndicatorLife(hours_without=without, hours_with=both, life_share=cost)
