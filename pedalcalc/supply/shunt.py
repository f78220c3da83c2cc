"""Reverse-polarity protection by a diode across the supply."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AtLeastZero
from pedalcalc._record import specimen
from pedalcalc._result import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc._units import shown
from pedalcalc.devices import Diode
from pedalcalc.laws import junction_in_series

__all__ = ["ShuntProtection", "shunt_diode"]


@dataclass(frozen=True, slots=True, eq=False)
class ShuntProtection(Result):
    """A diode across the supply terminals: what it costs, and what happens when the supply is reversed."""

    voltage_output: Number = quantity("V", "voltage behind the resistor, polarity right")
    voltage_drop: Number = quantity("V", "voltage lost in the resistor, polarity right")
    current_fault: Number = quantity("A", "current with the supply reversed")
    voltage_reverse: Number = quantity("V", "reverse voltage left on the build")
    power_junction: Number = quantity("W", "power in the diode, supply reversed")
    power_resistor: Number = quantity("W", "power in the series resistance, supply reversed")
    fuse_ratio: Number = quantity("1", "fault current over fuse rating")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def shunt_diode(
    *,
    voltage_supply: AtLeastZero,
    current_load: AtLeastZero,
    resistance_series: AboveZero,
    current_fuse: AboveZeroToInfinity,
    diode: Diode,
) -> ShuntProtection:
    """Find what a diode across the supply does when the supply is reversed.

    The diode (cathode to plus) shorts a reversed supply, so its current is set
    by the resistance ahead of it alone: series resistor, fuse, source.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0, the right or the wrong way round.
    current_load : array_like
        Current the build draws with the polarity right [A], at least 0.
    resistance_series : array_like
        All resistance ahead of the diode, that of the source included [Ω], above 0.
    current_fuse : array_like
        Rating of the fuse ahead of the diode [A], above 0; inf where there is none.
    diode : Diode
        The diode (`pedalcalc.devices`).

    Returns
    -------
    ShuntProtection
        Voltage left and lost with the polarity right [V], current [A], reverse
        voltage on the build [V] and powers [W] with the supply reversed, the
        fault current over the fuse rating [1], and cautions.

    Raises
    ------
    TypeError
        If `diode` is no record, or a type.
    ValueError
        If a value is out of range.

    Notes
    -----
    Reversed, junction and resistance stand in series across the supply. A fuse
    needs about twice its rating to blow within a second or so.

    References
    ----------
    DERIVED for the currents; PRACTICE for the fuse; BANWELL-JAYAKUMAR for the solution.

    Examples
    --------
    >>> from pedalcalc.devices import DIODE_1N4001, typical
    >>> wrong = shunt_diode(
    ...     voltage_supply=9.0, current_load=0.010, resistance_series=10.0, current_fuse=0.1, diode=typical(DIODE_1N4001)
    ... )
    >>> print(f"{wrong.current_fault:.3f}, {wrong.voltage_reverse:.2f}, {wrong.power_resistor:.1f}")
    0.806, 0.94, 6.5
    """
    supply, current, series, fuse = voltage_supply, current_load, resistance_series, current_fuse
    specimen("diode", diode, Diode)
    reversed_ = junction_in_series(supply, resistance=series, junction=diode)
    fault, reverse = np.asarray(reversed_.current), np.asarray(reversed_.voltage_junction)
    ratio = fault / fuse
    hot = np.where(ratio < 2, series * fault**2, 0.0)
    cautions = (
        _without_fuse(fault, fuse)
        + caution_below(
            "with the supply reversed no fuse blows soon: diode and resistor carry the fault",
            "fit a fuse of at most half the fault current, or protect in series",
            np.where(np.isinf(fuse), np.nan, ratio),
            2.0,
            "1",
        )
        + caution_above(
            f"the {diode.name} carries more than it is made for until the fuse blows",
            "use a larger diode, more series resistance, or protect in series",
            fault,
            diode.current_max,
            "A",
        )
        + caution_above(
            "the series resistance gets hot while the supply is reversed",
            "rate it for twice this power, do not touch it, or protect in series",
            hot,
            0.25,
            "W",
        )
        + caution_above(
            "the build draws more than the fuse carries", "use a larger fuse", current + 0 * fault, fuse, "A"
        )
    )
    drop = current * series
    return ShuntProtection(
        voltage_output=(supply - drop)[()],
        voltage_drop=drop[()],
        current_fault=fault[()],
        voltage_reverse=reverse[()],
        power_junction=reversed_.power_junction,
        power_resistor=reversed_.power_resistor,
        fuse_ratio=ratio[()],
        cautions=cautions,
    )


def _without_fuse(fault: Any, fuse: Any) -> tuple[Caution, ...]:
    bare = np.where(np.isinf(fuse), np.nan_to_num(fault), 0.0)
    if not np.any(bare):
        return ()
    worst = float(bare.max())
    what = f"there is no fuse: with the supply reversed diode and resistor carry {shown(float(f'{worst:.3g}'), 'A')} until somebody pulls the plug"
    action = "fit a fuse of at most half that current, or protect in series"
    return (Caution(what, action, worst, np.nan, "A", int(np.count_nonzero(bare))),)
