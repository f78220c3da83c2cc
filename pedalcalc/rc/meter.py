"""What voltmeters and ammeters read, and what they do to the circuit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, formula, numeric, quantity
from pedalcalc.rc.divider import loaded_divider, share


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


@dataclass(frozen=True, slots=True, eq=False)
class AmmeterReading(Result):
    """Result of `ammeter_reading`; every field has the broadcast shape of the inputs."""

    current_read: Number = quantity("A", "current the meter shows")
    current: Number = quantity("A", "current without the meter")
    shortfall: Number = quantity("1", "fraction by which the reading is low")
    voltage_burden: Number = quantity("V", "voltage the meter takes")


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
    shortfall = share(meter, np.asarray(divider.resistance_thevenin))
    supply_known = np.where(np.isnan(divider.voltage_thevenin), np.nan, shortfall)
    return MeterReading(
        divider.voltage_output,
        divider.voltage_thevenin,
        supply_known[()],
        divider.voltage_top,
        divider.resistance_loaded,
    )


@formula
def pointer_meter_resistance(voltage_range: ArrayLike, *, resistance_per_volt: ArrayLike) -> Number:
    """Find the input resistance of a pointer voltmeter on one of its ranges.

    Parameters
    ----------
    voltage_range : array_like
        Full-scale voltage of the range [V], above 0, whatever the needle shows.
    resistance_per_volt : array_like
        Sensitivity printed on the dial [Ω/V], above 0; 20 kΩ/V is common.

    Returns
    -------
    float or ndarray
        Input resistance [Ω], for `meter_reading`.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    R_m = S V_range. A digital meter has the same resistance, commonly 10 MΩ, on all its ranges.

    References
    ----------
    KUPHALDT-1, ch. 8, voltmeter design (ohms per volt).

    Examples
    --------
    >>> print(f"{pointer_meter_resistance(10, resistance_per_volt=20e3) / 1e3:.0f} kilohm")
    200 kilohm
    """
    full = numeric("voltage_range", voltage_range, above=0)
    return np.asarray(full * numeric("resistance_per_volt", resistance_per_volt, above=0))[()]


@formula
def ammeter_reading(
    *, voltage_supply: ArrayLike, resistance: ArrayLike, resistance_ammeter: ArrayLike
) -> AmmeterReading:
    """Find what an ammeter shows, and what it takes from the circuit.

    Parameters
    ----------
    voltage_supply : array_like
        Voltage that drives the current [V], at least 0.
    resistance : array_like
        Resistance of the circuit into which the meter is put [Ω], 0 to infinity.
    resistance_ammeter : array_like
        Resistance of the meter on its range [Ω], at least 0.

    Returns
    -------
    AmmeterReading
        Reading, current without the meter, the fraction by which the reading is low, and the
        voltage that the meter takes.

    Raises
    ------
    ValueError
        If a value is out of range, or the circuit is a short (0 Ω).

    Notes
    -----
    I_read = V/(R + R_A).

    References
    ----------
    KUPHALDT-1, ch. 8, ammeter impact on measured circuit.

    Examples
    --------
    >>> reading = ammeter_reading(voltage_supply=9, resistance=1e3, resistance_ammeter=100)
    >>> print(f"{reading.current_read * 1e3:.2f} mA instead of {reading.current * 1e3:.0f} mA")
    8.18 mA instead of 9 mA
    """
    supply, circuit, meter = np.broadcast_arrays(
        numeric("voltage_supply", voltage_supply, least=0),
        numeric("resistance", resistance, above=0, infinity=True),
        numeric("resistance_ammeter", resistance_ammeter, least=0),
    )
    read = supply / (circuit + meter)
    shortfall = np.where(np.isnan(read), np.nan, meter / (circuit + meter))
    return AmmeterReading(read[()], np.asarray(supply / circuit)[()], shortfall[()], np.asarray(read * meter)[()])


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
