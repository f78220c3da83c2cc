"""What an ammeter reads, and what it does to the circuit."""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._base import Number, Result, formula, quantity
from pedalcalc._ranges import AboveZeroToInfinity, AtLeastZero


@dataclass(frozen=True, slots=True, eq=False)
class AmmeterReading(Result):
    """Result of `ammeter_reading`; every field has the broadcast shape of the inputs."""

    current_read: Number = quantity("A", "current the meter shows")
    current: Number = quantity("A", "current without the meter")
    shortfall: Number = quantity("1", "fraction by which the reading is low", percent=True)
    voltage_burden: Number = quantity("V", "voltage the meter takes")


@formula
def ammeter_reading(
    *, voltage_supply: AtLeastZero, resistance: AboveZeroToInfinity, resistance_ammeter: AtLeastZero
) -> AmmeterReading:
    """Find what an ammeter shows, and what it takes from the circuit.

    Parameters
    ----------
    voltage_supply : array_like
        Voltage that drives the current [V], at least 0.
    resistance : array_like
        Resistance of the circuit into which the meter is put [Ω], above 0 to infinity.
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
    read = voltage_supply / (resistance + resistance_ammeter)
    return AmmeterReading(
        current_read=read,
        current=voltage_supply / resistance,
        shortfall=resistance_ammeter / (resistance + resistance_ammeter),
        voltage_burden=read * resistance_ammeter,
    )
