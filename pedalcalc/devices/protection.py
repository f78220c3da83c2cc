"""P-channel MOSFETs for reverse-polarity protection; voltages are magnitudes."""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._base import quantity
from pedalcalc.devices._record import Device, Spread

__all__ = ["MOSFET_BS250", "MOSFET_IRF9540", "MOSFET_LOGIC_P", "ProtectionMosfet"]


@dataclass(frozen=True, slots=True, eq=False)
class ProtectionMosfet(Device):
    """One P-channel MOSFET as a switch in the supply lead: channel, body diode, ratings.

    `resistance_on` is that at the gate voltage `voltage_gate_on`. The law's
    numbers (threshold, resistance, body diode) may be arrays.
    """

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    voltage_threshold: float = quantity("V", "threshold, typical")
    voltage_threshold_spread: Spread = quantity("V", "threshold")
    resistance_on: float = quantity("Ω", "resistance when switched on")
    voltage_gate_on: float = quantity("V", "gate voltage of that resistance")
    voltage_gate_max: float = quantity("V", "highest gate voltage")
    voltage_reverse_max: float = quantity("V", "highest voltage when blocking")
    current_max: float = quantity("A", "highest continuous current")
    current_saturation: float = quantity("A", "saturation current of the body diode")
    ideality: float = quantity("1", "ideality factor of the body diode")
    resistance_series: float = quantity("Ω", "series resistance of the body diode")
    leads: str = quantity("text", "lead order")


MOSFET_BS250 = ProtectionMosfet(
    name="BS250",
    source="from memory, resistance the sheet's highest; lead order differs between makers",
    voltage_threshold=2.2,
    voltage_threshold_spread=Spread(1.0, 2.2, 3.5),
    resistance_on=14.0,
    voltage_gate_on=10.0,
    voltage_gate_max=20.0,
    voltage_reverse_max=45.0,
    current_max=0.18,
    current_saturation=1e-13,
    ideality=1.1,
    resistance_series=0.5,
    leads="TO-92: check the maker's sheet; drain goes to the supply",
)

MOSFET_IRF9540 = ProtectionMosfet(
    name="IRF9540",
    source="from memory, resistance the sheet's highest",
    voltage_threshold=3.0,
    voltage_threshold_spread=Spread(2.0, 3.0, 4.0),
    resistance_on=0.2,
    voltage_gate_on=10.0,
    voltage_gate_max=20.0,
    voltage_reverse_max=100.0,
    current_max=19.0,
    current_saturation=1e-11,
    ideality=1.1,
    resistance_series=0.03,
    leads="TO-220 from the front: gate, drain (also the tab), source; drain goes to the supply",
)

MOSFET_LOGIC_P = ProtectionMosfet(
    name="small logic-level P-channel, 30 V",
    source="class figures from memory",
    voltage_threshold=0.9,
    voltage_threshold_spread=Spread(0.5, 0.9, 1.3),
    resistance_on=0.06,
    voltage_gate_on=4.5,
    voltage_gate_max=12.0,
    voltage_reverse_max=30.0,
    current_max=4.0,
    current_saturation=1e-12,
    ideality=1.1,
    resistance_series=0.05,
    leads="SOT-23: gate, source, drain; drain goes to the supply",
)
