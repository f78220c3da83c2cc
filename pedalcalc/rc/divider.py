"""Resistors as dividers, and what a meter reads across one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, Result, formula, numeric, quantity
from pedalcalc.rc.corner import several


@dataclass(frozen=True, slots=True, eq=False)
class Divider(Result):
    """Result of `loaded_divider`; every field has the broadcast shape of the inputs."""

    voltage_output: Number = quantity("V", "output with the load")
    voltage_thevenin: Number = quantity("V", "output with nothing connected")
    resistance_thevenin: Number = quantity("Ω", "resistance seen from the output")
    voltage_top: Number = quantity("V", "voltage across the upper resistor")
    resistance_loaded: Number = quantity("Ω", "lower resistor in parallel with the load")
    current: Number = quantity("A", "current from the supply")
    current_load: Number = quantity("A", "current into the load")


@dataclass(frozen=True, slots=True, eq=False)
class DividerString(Result):
    """Result of `divider_string`: tuples run from the supply to ground."""

    current: Number = quantity("A", "current through the string")
    voltages: tuple[Number, ...] = quantity("records", "voltage across each resistor")
    voltages_tap: tuple[Number, ...] = quantity("records", "voltage from each junction to ground")
    resistances_thevenin: tuple[Number, ...] = quantity("records", "resistance seen from each junction")


@dataclass(frozen=True, slots=True, eq=False)
class MeterReading(Result):
    """Result of `meter_reading`; every field has the broadcast shape of the inputs."""

    voltage_read: Number = quantity("V", "voltage the meter shows")
    voltage_thevenin: Number = quantity("V", "voltage without the meter")
    shortfall: Number = quantity("1", "fraction by which the reading is low")
    voltage_top: Number = quantity("V", "voltage across the upper resistor meanwhile")
    resistance_loaded: Number = quantity("Ω", "lower resistor in parallel with the meter")


@dataclass(frozen=True, slots=True, eq=False)
class MeteredResistance(Result):
    """Result of `metered_resistance`; every field has the broadcast shape of the inputs."""

    resistance: Number = quantity("Ω", "resistance, the voltmeter allowed for")
    resistance_apparent: Number = quantity("Ω", "voltage over current as read")
    shortfall: Number = quantity("1", "fraction by which the apparent value is low")


def _inverse(values: NDArray[np.float64]) -> NDArray[np.float64]:
    with np.errstate(divide="ignore"):
        return np.asarray(1 / values)


@formula
def parallel_resistance(resistances: Sequence[ArrayLike]) -> Number:
    """Find the resistance of several resistors in parallel.

    Parameters
    ----------
    resistances : sequence of array_like
        Resistances [Ω], each 0 to infinity.

    Returns
    -------
    float or ndarray
        Resistance of all together [Ω].

    Raises
    ------
    ValueError
        If a value is out of range, or there is none.
    TypeError
        If `resistances` is not a sequence.

    Notes
    -----
    1/R = Σ 1/R_i.

    References
    ----------
    KUPHALDT-1, ch. 5, parallel circuits.

    Examples
    --------
    A 100 kΩ resistor with a 10 MΩ meter across it:

    >>> print(f"{parallel_resistance((100e3, 10e6)) / 1e3:.2f} kilohm")
    99.01 kilohm
    """
    each = several("resistances", resistances, least=0, infinity=True)
    if not each:
        raise ValueError("resistances must hold at least one value, got none")
    conductance = sum((_inverse(one) for one in each), start=np.asarray(0.0))
    return _inverse(conductance)[()]


@formula
def loaded_divider(
    *,
    voltage_supply: ArrayLike,
    resistance_top: ArrayLike,
    resistance_bottom: ArrayLike,
    resistance_load: ArrayLike = np.inf,
) -> Divider:
    """Find what a two-resistor divider gives, with and without what hangs on it.

    Several resistors between supply and output, or output and ground, count as their sum.

    Parameters
    ----------
    voltage_supply : array_like
        Voltage across the divider [V], at least 0.
    resistance_top : array_like
        Resistor between supply and output [Ω], 0 to infinity.
    resistance_bottom : array_like
        Resistor between output and ground [Ω], 0 to infinity.
    resistance_load : array_like
        Load from output to ground [Ω], 0 to infinity; open unless stated.

    Returns
    -------
    Divider
        Output with and without load, resistance seen from the output, voltage across
        the upper resistor, lower resistor with the load, both currents.

    Raises
    ------
    ValueError
        If a value is out of range, both resistors are 0 (a shorted supply) or both are open
        (a floating output), or a load of 0 Ω shorts the supply through a top of 0 Ω.

    Notes
    -----
    V_th = V_S R_2/(R_1 + R_2), R_th = R_1 || R_2, V_out = V_th R_L/(R_L + R_th).

    References
    ----------
    KUPHALDT-1, ch. 6 dividers and ch. 10 Thevenin's theorem.

    Examples
    --------
    >>> half = loaded_divider(voltage_supply=9, resistance_top=10e3, resistance_bottom=10e3, resistance_load=10e3)
    >>> print(f"{half.voltage_thevenin} V falls to {half.voltage_output} V")
    4.5 V falls to 3.0 V
    """
    supply, top, bottom, load = np.broadcast_arrays(
        numeric("voltage_supply", voltage_supply, least=0),
        numeric("resistance_top", resistance_top, least=0, infinity=True),
        numeric("resistance_bottom", resistance_bottom, least=0, infinity=True),
        numeric("resistance_load", resistance_load, least=0, infinity=True),
    )
    for name, other, hit, why in (
        ("resistance_bottom", "resistance_top", (top == 0) & (bottom == 0), "are 0: a shorted supply"),
        ("resistance_bottom", "resistance_top", np.isinf(top) & np.isinf(bottom), "are open: a floating output"),
        ("resistance_load", "resistance_top", (top == 0) & (load == 0), "are 0: a shorted supply"),
    ):
        if np.any(hit):
            raise ValueError(f"{name} and {other} must not both be what they are: both {why}")
    loaded = _inverse(_inverse(bottom) + _inverse(load))
    thevenin = _inverse(_inverse(top) + _inverse(bottom))
    share, share_open = _share(top, loaded), _share(top, bottom)
    with np.errstate(divide="ignore", invalid="ignore"):
        total = supply / (top + loaded)
        into_load = np.where(load == 0, total, supply * share / load)
    return Divider(
        (supply * share)[()],
        (supply * share_open)[()],
        thevenin[()],
        (supply * _share(loaded, top))[()],
        loaded[()],
        total[()],
        into_load[()],
    )


def _share(above: NDArray[np.float64], below: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return below/(above + below), for open and shorted parts too (but not both alike)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(below == 0, 0.0, 1 / (1 + above / below))
    share = np.where(np.isinf(above), 0.0, share)
    return np.where(np.isnan(above + below), np.nan, share)


@formula
def divider_string(resistances: Sequence[ArrayLike], *, voltage_supply: ArrayLike) -> DividerString:
    """Find the voltages along a string of resistors from supply to ground.

    Parameters
    ----------
    resistances : sequence of array_like
        Resistances from the supply to ground [Ω], each 0 or more and finite; at least two.
    voltage_supply : array_like
        Voltage across the string [V], at least 0.

    Returns
    -------
    DividerString
        Current, the voltage across each resistor, and for each junction between two of them
        its voltage to ground and the resistance seen from it.

    Raises
    ------
    ValueError
        If a value is out of range, there are fewer than two resistors, or all are 0.
    TypeError
        If `resistances` is not a sequence.

    Notes
    -----
    I = V_S/Σ R; V_i = I R_i; at a junction R_th = (Σ R above) || (Σ R below).

    References
    ----------
    KUPHALDT-1, ch. 6, voltage divider circuits.

    Examples
    --------
    >>> string = divider_string((2e3, 500, 3e3), voltage_supply=20)
    >>> print(f"{string.voltages[1]:.4f} V across the middle one")
    1.8182 V across the middle one
    """
    supply = numeric("voltage_supply", voltage_supply, least=0)
    each = several("resistances", resistances, least=0)
    if len(each) < 2:
        raise ValueError(f"resistances must hold at least two values, got {len(each)}")
    supply, *each = np.broadcast_arrays(supply, *each)
    below = [sum(each[place:], start=np.zeros(supply.shape)) for place in range(len(each))]
    total = below[0]
    if np.any(total == 0):
        raise ValueError("resistances must not all be 0: a shorted supply")
    current = supply / total
    seen = [(total - part) * part / total for part in below[1:]]
    return DividerString(
        current[()],
        tuple((current * one)[()] for one in each),
        tuple((current * part)[()] for part in below[1:]),
        tuple(one[()] for one in seen),
    )


@formula
def meter_reading(
    *,
    voltage_supply: ArrayLike,
    resistance_top: ArrayLike,
    resistance_bottom: ArrayLike,
    resistance_meter: ArrayLike,
) -> MeterReading:
    """Find what a voltmeter shows across the lower resistor of a divider.

    Parameters
    ----------
    voltage_supply : array_like
        Voltage across the divider [V], at least 0.
    resistance_top : array_like
        Resistor between supply and the measured point [Ω], 0 to infinity.
    resistance_bottom : array_like
        Resistor between the measured point and ground [Ω], 0 to infinity.
    resistance_meter : array_like
        Input resistance of the meter [Ω], above 0; 10 MΩ is usual for a digital one.

    Returns
    -------
    MeterReading
        Reading, voltage without the meter, the fraction by which the reading is low, the voltage
        across the upper resistor meanwhile, lower resistor with the meter across it.

    Raises
    ------
    ValueError
        If a value is out of range, or both resistors are 0 or both open.

    Notes
    -----
    The meter is a load: V_read = V_th R_m/(R_m + R_th); shortfall = R_th/(R_m + R_th).

    References
    ----------
    KUPHALDT-1, ch. 8, voltmeter impact on measured circuit.

    Examples
    --------
    >>> divider = dict(voltage_supply=9, resistance_top=2.2e6, resistance_bottom=2.2e6)
    >>> reading = meter_reading(**divider, resistance_meter=10e6)
    >>> print(f"{reading.voltage_read:.2f} V instead of {reading.voltage_thevenin} V")
    4.05 V instead of 4.5 V
    """
    meter = numeric("resistance_meter", resistance_meter, above=0, infinity=True)
    divider = loaded_divider(
        voltage_supply=voltage_supply,
        resistance_top=resistance_top,
        resistance_bottom=resistance_bottom,
        resistance_load=meter,
    )
    shortfall = _share(meter, np.asarray(divider.resistance_thevenin))
    supply_known = np.where(np.isnan(divider.voltage_thevenin), np.nan, shortfall)
    return MeterReading(
        divider.voltage_output,
        divider.voltage_thevenin,
        supply_known[()],
        divider.voltage_top,
        divider.resistance_loaded,
    )


@formula
def metered_resistance(*, voltage: ArrayLike, current: ArrayLike, resistance_meter: ArrayLike) -> MeteredResistance:
    """Find a resistance from a voltmeter across it and an ammeter that feeds both.

    Parameters
    ----------
    voltage : array_like
        Voltmeter reading [V].
    current : array_like
        Ammeter reading [A]; it feeds the resistor and the voltmeter.
    resistance_meter : array_like
        Input resistance of the voltmeter [Ω], above 0.

    Returns
    -------
    MeteredResistance
        The resistance, V/I as read, and by what fraction that is low.

    Raises
    ------
    ValueError
        If a value is out of range, or the voltmeter alone would take all the current or more.

    Notes
    -----
    R = V/(I − V/R_m).

    References
    ----------
    HELFRICK-COOPER, ch. 1, voltmeter loading.

    Examples
    --------
    >>> found = metered_resistance(voltage=40, current=0.8, resistance_meter=150e3)
    >>> print(f"{found.resistance:.2f} ohm, not {found.resistance_apparent:.0f} ohm")
    50.02 ohm, not 50 ohm
    """
    volts, amps, meter = np.broadcast_arrays(
        numeric("voltage", voltage),
        numeric("current", current),
        numeric("resistance_meter", resistance_meter, above=0, infinity=True),
    )
    left = amps - volts / meter
    wrong = (volts * left < 0) | (left == 0)
    if np.any(wrong):
        raise ValueError(
            f"current must exceed what the voltmeter itself takes, {(volts / meter)[wrong].flat[0]:g} A: "
            f"got {amps[wrong].flat[0]:g}"
        )
    true = volts / left
    return MeteredResistance(true[()], np.asarray(volts / amps)[()], (volts / (meter * amps))[()])
