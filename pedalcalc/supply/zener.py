"""A zener diode behind a resistor: the point, and how far load, supply and resistor may move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import fit_together
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AtLeastZero
from pedalcalc._record import specimen
from pedalcalc._result import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc.devices import Zener

__all__ = ["ZenerRegulator", "zener_regulator"]


@dataclass(frozen=True, slots=True, eq=False)
class ZenerRegulator(Result):
    """A zener diode that steadies a load behind a resistor; the limits move one thing and leave the rest as it is."""

    voltage_output: Number = quantity("V", "output voltage")
    current: Number = quantity("A", "current through the resistor")
    current_load: Number = quantity("A", "load current")
    current_zener: Number = quantity("A", "zener current")
    power_zener: Number = quantity("W", "power in the zener")
    power_resistor: Number = quantity("W", "power in the resistor")
    regulates: bool | NDArray[np.bool_] = quantity("bool", "regulates")
    current_load_min: Number = quantity("A", "lowest load current on this supply")
    current_load_max: Number = quantity("A", "highest load current on this supply")
    voltage_supply_min: Number = quantity("V", "lowest supply for this load")
    voltage_supply_max: Number = quantity("V", "highest supply for this load")
    resistance_max: Number = quantity("Ω", "largest resistor for this supply and load")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def zener_regulator(
    *,
    voltage_supply: AtLeastZero,
    resistance: AboveZero,
    zener: Zener,
    current_load: AtLeastZero = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
    current_zener_min: AtLeastZero = 0.0,
) -> ZenerRegulator:
    """Find the point of a zener diode that steadies a load behind a resistor, and how far it holds.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0.
    resistance : array_like
        Resistor between supply and zener [Ω], above 0, finite.
    zener : Zener
        The zener (`pedalcalc.devices`): voltage at its test current, slope resistance, highest power.
    current_load : array_like
        Constant current of the load [A], at least 0; none unless stated.
    resistance_load : array_like
        Resistance of the load [Ω], above 0; none (inf) unless stated.
    current_zener_min : array_like
        Least current that keeps the zener in its range [A], at least 0; 0 unless stated.

    Returns
    -------
    ZenerRegulator
        Output [V], currents [A], powers [W], whether the zener conducts at all, lowest and highest load current [A] and
        supply [V], largest resistor [Ω] and cautions. A lowest load of 0 means that the load may be taken off; upper
        limits of the zener's power are NaN where the record gives none.

    Raises
    ------
    TypeError
        If `zener` is no record, or a type.
    ValueError
        If a value is out of range.

    Notes
    -----
    The zener's line starts at the knee V_Z - I_ZT r_Z. It conducts where resistor and load alone would leave more than
    the knee; the output then is V = knee + I_Z r_Z. The limits are Kirchhoff's current law with the zener at its least
    current and at the current I (knee + I r_Z) = P_max: I_L = (V_S - V)/R - I_Z, V_S = V + R (I_L + I_Z),
    R = (V_S - V)/(I_L + I_Z).

    References
    ----------
    MALVINO-BATES, example 5-3 and the zener drop-out point; BOYLESTAD-NASHELSKY, ch. 2, for the limits; DERIVED, the
    slope resistance.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> zener = devices.typical(devices.ZENER_BZX55C5V1)
    >>> held = zener_regulator(
    ...     voltage_supply=9.0, resistance=220.0, zener=zener, current_load=0.005, current_zener_min=0.002
    ... )
    >>> print(f"{held.voltage_output:.2f} V, up to {held.current_load_max * 1e3:.0f} mA, from {held.voltage_supply_min:.1f} V")
    5.33 V, up to 16 mA, from 6.5 V
    """
    supply, series, drawn, load, least = voltage_supply, resistance, current_load, resistance_load, current_zener_min
    specimen("zener", zener, Zener)
    fit_together(
        voltage_supply=supply, resistance=series, current_load=drawn, resistance_load=load, current_zener_min=least
    )
    slope, test, at_test, most_power = (
        np.asarray(x, float) for x in (zener.resistance_slope, zener.current_test, zener.voltage_zener, zener.power_max)
    )
    supply, series, drawn, load, least, slope, test, at_test = np.broadcast_arrays(
        supply, series, drawn, load, least, slope, test, at_test
    )
    knee, g_load = at_test - test * slope, 1 / load
    whole = 1 / series + g_load
    free = (supply / series - drawn) / whole
    regulates = np.asarray(free > knee)
    flow = np.where(regulates, (free - knee) * whole / (1 + slope * whole), 0.0 * free) + 0.0
    output = np.where(regulates, knee + flow * slope, free)
    current = (supply - output) / series
    most = 2 * most_power / (knee + np.sqrt(knee**2 + 4 * slope * most_power))
    heavy, light = knee + least * slope, knee + most * slope
    with np.errstate(divide="ignore", invalid="ignore"):
        needed = drawn + heavy * g_load + least
        largest = np.where((supply <= heavy) & ~np.isnan(needed), 0.0, (supply - heavy) / needed)
    cautions = (
        caution_below(
            "the supply is too low for zener and load: the output follows the supply",
            "use a smaller resistor or a higher supply",
            free,
            knee,
            "V",
        )
        + caution_above(
            f"the {zener.name} is hotter than it can stand",
            "use a larger resistor, or a zener of more power, and do not touch it",
            flow * output,
            most_power,
            "W",
        )
        + caution_below("the load draws more than the resistor passes", "use a smaller resistor", free, 0.0, "V")
    )
    return ZenerRegulator(
        voltage_output=output[()],
        current=current[()],
        current_load=(drawn + output * g_load)[()],
        current_zener=flow[()],
        power_zener=(flow * output + 0.0)[()],
        power_resistor=(current * (supply - output))[()],
        regulates=regulates[()],
        current_load_min=np.maximum((supply - light) / series - most, 0.0)[()],
        current_load_max=np.maximum((supply - heavy) / series - least, 0.0)[()],
        voltage_supply_min=(heavy + series * needed)[()],
        voltage_supply_max=(light + series * (drawn + light * g_load + most))[()],
        resistance_max=np.asarray(largest)[()],
        cautions=cautions,
    )
