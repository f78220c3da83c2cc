"""Adaptors: what the label's voltage turns into."""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._arguments import is_a
from pedalcalc._base import formula
from pedalcalc._ranges import AtLeastZero
from pedalcalc._record import ends
from pedalcalc._result import Caution, Number, Result, caution_above, quantity
from pedalcalc.devices import Adaptor

__all__ = ["AdaptorVoltage", "adaptor_voltage"]


@dataclass(frozen=True, slots=True, eq=False)
class AdaptorVoltage(Result):
    """What an adaptor delivers, to be held against its label."""

    voltage_supply_min: Number = quantity("V", "lowest voltage at this load")
    voltage_supply: Number = quantity("V", "typical voltage at this load")
    voltage_supply_max: Number = quantity("V", "highest voltage at this load")
    voltage_open_max: Number = quantity("V", "highest voltage with nothing connected")
    resistance_internal: Number = quantity("Ω", "fall of the typical voltage per ampere")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def adaptor_voltage(current_load: AtLeastZero, *, adaptor: Adaptor) -> AdaptorVoltage:
    """Find the voltage an adaptor delivers at a load: lowest, typical and highest.

    Parameters
    ----------
    current_load : array_like
        Current drawn [A], at least 0.
    adaptor : Adaptor
        Adaptor record (`pedalcalc.devices`).

    Returns
    -------
    AdaptorVoltage
        Voltages [V], internal resistance [Ω] and cautions.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    A straight line from the open-circuit voltage to that at the rated current.

    References
    ----------
    UNREGULATED for the rise without load; MEMORY for the tolerances.

    Examples
    --------
    >>> from pedalcalc.devices import ADAPTOR_9V_UNREGULATED
    >>> idle = adaptor_voltage(0.010, adaptor=ADAPTOR_9V_UNREGULATED)
    >>> print(f"{idle.voltage_supply_min:.1f}, {idle.voltage_supply:.1f}, {idle.voltage_supply_max:.1f}")
    11.9, 12.9, 13.9
    """
    current = current_load
    is_a("adaptor", adaptor, Adaptor)
    share = current / adaptor.current_max
    open_, loaded = ends(adaptor.voltage_open), ends(adaptor.voltage_rated)
    low, typical, high = (free + (rated - free) * share for free, rated in zip(open_, loaded, strict=True))
    internal = (open_.typical - loaded.typical) / adaptor.current_max + 0 * share
    cautions = caution_above(
        "more current than the adaptor is rated for: it sags, hums and gets hot",
        "use an adaptor of a higher rated current",
        current,
        adaptor.current_max,
        "A",
    ) + caution_above(
        "this adaptor stands well above its label at a light load: parts rated for the label can be damaged",
        "measure it with nothing connected, or use a regulated one",
        high,
        1.1 * adaptor.voltage_label,
        "V",
    )
    return AdaptorVoltage(
        voltage_supply_min=low[()],
        voltage_supply=typical[()],
        voltage_supply_max=high[()],
        voltage_open_max=(open_.high + 0 * share)[()],
        resistance_internal=internal[()],
        cautions=cautions,
    )
