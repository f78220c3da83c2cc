"""Silicon and Schottky diode records.

The three law numbers of each type are those of widely passed-on simulator
models and are from memory; the sheet figures named beside them were read.
"""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._base import quantity
from pedalcalc.devices._record import Device, Spread

__all__ = ["DIODE_1N4001", "DIODE_1N4148", "DIODE_1N5817", "Diode"]

_NAN = float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class Diode(Device):
    """One diode: junction law at 300 K, forward drop and leakage of the sheet, ratings.

    `voltage_forward` and `current_leakage` are sheet figures (lowest, typical,
    highest; NaN where not given), the drop at `current_reference` and the
    leakage at `voltage_reverse_max`, both at 25 °C.
    """

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    current_saturation: float = quantity("A", "saturation current")
    ideality: float = quantity("1", "ideality factor")
    resistance_series: float = quantity("Ω", "series resistance")
    current_max: float = quantity("A", "highest continuous current")
    voltage_reverse_max: float = quantity("V", "highest reverse voltage")
    voltage_forward: Spread = quantity("V", "forward drop at the reference current")
    current_reference: float = quantity("A", "reference current")
    current_leakage: Spread = quantity("A", "reverse current at the highest reverse voltage")


DIODE_1N5817 = Diode(
    name="1N5817",
    source="law from memory; forward drop, leakage and 20 V from SHEET-1N5817; 1 A from memory",
    current_saturation=31.7e-6,
    ideality=1.373,
    resistance_series=0.051,
    current_max=1.0,
    voltage_reverse_max=20.0,
    voltage_forward=Spread(_NAN, 0.42, 0.45),
    current_reference=1.0,
    current_leakage=Spread(_NAN, 12e-6, 1e-3),
)

DIODE_1N4001 = Diode(
    name="1N4001",
    source="law and sheet figures from memory",
    current_saturation=29.5e-9,
    ideality=1.984,
    resistance_series=0.0735,
    current_max=1.0,
    voltage_reverse_max=50.0,
    voltage_forward=Spread(_NAN, 0.93, 1.1),
    current_reference=1.0,
    current_leakage=Spread(_NAN, 50e-9, 10e-6),
)

DIODE_1N4148 = Diode(
    name="1N4148",
    source="law and sheet figures from memory",
    current_saturation=2.52e-9,
    ideality=1.752,
    resistance_series=0.568,
    current_max=0.2,
    voltage_reverse_max=75.0,
    voltage_forward=Spread(_NAN, _NAN, 1.0),
    current_reference=0.010,
    current_leakage=Spread(_NAN, _NAN, 5e-6),
)
