"""Switched-capacitor voltage converters of the 7660 family, eight pins.

A sheet gives the output resistance with 10 µF capacitors, not that of one
switch. `resistance_switch` is that of one of four equal switches for which the
exact two-phase form gives the sheet's output resistance.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atanh

from pedalcalc._base import quantity
from pedalcalc.devices._record import Device, Spread
from pedalcalc.devices.transistor import LeadOrder

__all__ = [
    "CONVERTER_1044",
    "CONVERTER_1044S",
    "CONVERTER_7660",
    "CONVERTER_7660A",
    "CONVERTER_7662",
    "Converter",
]

_NAN = float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class Converter(Device):
    """One converter type: supply limits, oscillator with and without boost, switches, idle current.

    The pump runs at half the oscillator's frequency. `frequency_boosted` and
    `current_idle_boosted` are NaN where the part has no boost pin or nothing is known.
    `voltage_low_pin` is the supply above which the low-voltage pin must stay open.
    """

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    voltage_supply_min: float = quantity("V", "lowest supply")
    voltage_supply_max: float = quantity("V", "highest supply")
    voltage_low_pin: float = quantity("V", "supply above which the low-voltage pin stays open")
    frequency_oscillator: float = quantity("Hz", "oscillator, boost pin open")
    frequency_boosted: float = quantity("Hz", "oscillator, boost pin to supply")
    resistance_switch: Spread = quantity("Ω", "resistance of one switch")
    resistance_thevenin: Spread = quantity("Ω", "output resistance on the sheet")
    current_idle: Spread = quantity("A", "supply current without load")
    current_idle_boosted: Spread = quantity("A", "supply current without load, boosted")
    current_max: float = quantity("A", "highest load the sheet shows")
    lead_order: tuple[LeadOrder, ...] = quantity("records", "order of the leads")


def _switch(resistance_thevenin: float, frequency_oscillator: float = 10e3, capacitance: float = 10e-6) -> float:
    """Return the switch for which (1/(f C)) coth(1/(8 f R_sw C)), f half the oscillator, is the sheet's figure."""
    slow = 2 / (frequency_oscillator * capacitance)
    return slow / 8 / atanh(slow / resistance_thevenin)


def _pins(first: str) -> tuple[LeadOrder, ...]:
    return (
        LeadOrder(
            "DIP-8",
            f"1 {first}, 2 flying capacitor plus, 3 ground, 4 flying capacitor minus, 5 negative output, 6 low-voltage pin, "
            "7 oscillator, 8 supply",
            "from above, notch or dot at the left, pin 1 bottom left, counted anticlockwise",
            "from memory; the family's usual order, check with the maker's sheet",
        ),
    )


CONVERTER_7660 = Converter(
    name="7660",
    source="1.5 to 10 V and 10 kHz from SHEET-7660-A; lowest switch 23/4 Ω from SHEET-7660-B page 9; low-voltage pin from "
    "SHEET-1044S; 55 and 100 Ω, 170 and 500 µA, 20 mA from memory; no boost pin on the first makers' parts",
    voltage_supply_min=1.5,
    voltage_supply_max=10.0,
    voltage_low_pin=3.5,
    frequency_oscillator=10e3,
    frequency_boosted=_NAN,
    resistance_switch=Spread(23 / 4, _switch(55.0), _switch(100.0)),
    resistance_thevenin=Spread(_NAN, 55.0, 100.0),
    current_idle=Spread(_NAN, 170e-6, 500e-6),
    current_idle_boosted=Spread(_NAN, _NAN, _NAN),
    current_max=0.020,
    lead_order=_pins("not connected"),
)

CONVERTER_7660A = Converter(
    name="7660A",
    source="1.5 to 12 V and 10 kHz from SHEET-7660-A; low-voltage pin from SHEET-1044S; "
    "60 and 100 Ω, 80 and 165 µA, 20 mA from memory",
    voltage_supply_min=1.5,
    voltage_supply_max=12.0,
    voltage_low_pin=3.5,
    frequency_oscillator=10e3,
    frequency_boosted=_NAN,
    resistance_switch=Spread(23 / 4, _switch(60.0), _switch(100.0)),
    resistance_thevenin=Spread(_NAN, 60.0, 100.0),
    current_idle=Spread(_NAN, 80e-6, 165e-6),
    current_idle_boosted=Spread(_NAN, _NAN, _NAN),
    current_max=0.020,
    lead_order=_pins("not connected"),
)

CONVERTER_1044 = Converter(
    name="1044",
    source="1.5 to 10 V and 200 µA from SHEET-1044; low-voltage pin from SHEET-1044S; "
    "5 kHz, boost by six, 65 and 100 Ω, 20 mA from memory",
    voltage_supply_min=1.5,
    voltage_supply_max=10.0,
    voltage_low_pin=3.5,
    frequency_oscillator=5e3,
    frequency_boosted=30e3,
    resistance_switch=Spread(_NAN, _switch(65.0, 5e3), _switch(100.0, 5e3)),
    resistance_thevenin=Spread(_NAN, 65.0, 100.0),
    current_idle=Spread(_NAN, _NAN, 200e-6),
    current_idle_boosted=Spread(_NAN, _NAN, _NAN),
    current_max=0.020,
    lead_order=_pins("boost"),
)

CONVERTER_1044S = Converter(
    name="1044S",
    source="SHEET-1044S, all but 20 mA, which is from memory",
    voltage_supply_min=1.5,
    voltage_supply_max=12.0,
    voltage_low_pin=3.5,
    frequency_oscillator=10e3,
    frequency_boosted=45e3,
    resistance_switch=Spread(_NAN, _switch(60.0), _switch(100.0)),
    resistance_thevenin=Spread(_NAN, 60.0, 100.0),
    current_idle=Spread(_NAN, 80e-6, 160e-6),
    current_idle_boosted=Spread(_NAN, 300e-6, 400e-6),
    current_max=0.020,
    lead_order=_pins("boost"),
)

CONVERTER_7662 = Converter(
    name="7662",
    source="4.5 to 20 V and 10 kHz at 15 V from SHEET-7662; low-voltage pin taken as the family's; "
    "60 and 100 Ω, 250 and 600 µA, 20 mA from memory",
    voltage_supply_min=4.5,
    voltage_supply_max=20.0,
    voltage_low_pin=3.5,
    frequency_oscillator=10e3,
    frequency_boosted=_NAN,
    resistance_switch=Spread(_NAN, _switch(60.0), _switch(100.0)),
    resistance_thevenin=Spread(_NAN, 60.0, 100.0),
    current_idle=Spread(_NAN, 250e-6, 600e-6),
    current_idle_boosted=Spread(_NAN, _NAN, _NAN),
    current_max=0.020,
    lead_order=_pins("not connected"),
)
