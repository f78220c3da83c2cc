"""What a pedal is fed from: 9 V blocks by chemistry, and adaptors.

A battery is an open-circuit voltage and an internal resistance over the used
share of its charge, both in straight pieces: gently down to a knee, then
steeply to the empty voltage. An adaptor is a straight line from its voltage
with nothing connected to its voltage at the rated current.
"""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._base import quantity
from pedalcalc.devices._record import Device, Spread

__all__ = [
    "ADAPTOR_9V_REGULATED",
    "ADAPTOR_9V_UNREGULATED",
    "ADAPTOR_12V_REGULATED",
    "ADAPTOR_18V_REGULATED",
    "BATTERY_9V_ALKALINE",
    "BATTERY_9V_LITHIUM",
    "BATTERY_9V_NIMH",
    "BATTERY_9V_ZINC_CARBON",
    "Adaptor",
    "Battery",
]

_MAH = 3.6  # one milliampere-hour in coulomb


@dataclass(frozen=True, slots=True, eq=False)
class Battery(Device):
    """One battery type: voltage and resistance against used charge, and the charge it holds.

    The charge is what it gives at a light drain down to `voltage_empty`;
    `current_checked` is the drain above which the law is a guess.
    """

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    chemistry: str = quantity("text", "chemistry")
    voltage_fresh: float = quantity("V", "open-circuit voltage when fresh")
    voltage_fresh_max: float = quantity("V", "highest voltage to expect of a fresh one")
    used_knee: float = quantity("1", "used share of the charge at the knee")
    voltage_knee: float = quantity("V", "open-circuit voltage at the knee")
    voltage_empty: float = quantity("V", "open-circuit voltage when used up")
    resistance_fresh: float = quantity("Ω", "internal resistance when fresh")
    resistance_empty: float = quantity("Ω", "internal resistance when used up")
    charge: Spread = quantity("C", "charge held when fresh")
    current_checked: float = quantity("A", "highest drain the law is meant for")


BATTERY_9V_ALKALINE = Battery(
    name="9 V alkaline (6LR61)",
    source="550 to 565 mAh typical and 9.6 V fresh from NINE-VOLT; 1.7 Ω fresh from SHEET-6LR61; "
    "the course between, 2 Ω rising to 10 Ω, 500 and 600 mAh from memory",
    chemistry="alkaline manganese",
    voltage_fresh=9.5,
    voltage_fresh_max=9.6,
    used_knee=0.8,
    voltage_knee=7.74,
    voltage_empty=5.4,
    resistance_fresh=2.0,
    resistance_empty=10.0,
    charge=Spread(500 * _MAH, 550 * _MAH, 600 * _MAH),
    current_checked=0.1,
)

BATTERY_9V_ZINC_CARBON = Battery(
    name="9 V zinc-carbon (6F22)",
    source="300 to 400 mAh from BATTERY-TABLE; voltages and resistances from memory",
    chemistry="zinc-carbon",
    voltage_fresh=9.3,
    voltage_fresh_max=9.6,
    used_knee=0.7,
    voltage_knee=7.2,
    voltage_empty=5.4,
    resistance_fresh=20.0,
    resistance_empty=60.0,
    charge=Spread(300 * _MAH, 350 * _MAH, 400 * _MAH),
    current_checked=0.02,
)

BATTERY_9V_NIMH = Battery(
    name="9 V NiMH, seven cells (8.4 V nominal)",
    source="175 to 300 mAh and 8.4 V nominal from NINE-VOLT; voltages per cell and resistances from memory",
    chemistry="nickel-metal hydride",
    voltage_fresh=9.6,
    voltage_fresh_max=10.2,
    used_knee=0.9,
    voltage_knee=8.3,
    voltage_empty=7.0,
    resistance_fresh=1.0,
    resistance_empty=2.5,
    charge=Spread(175 * _MAH, 200 * _MAH, 300 * _MAH),
    current_checked=0.2,
)

BATTERY_9V_LITHIUM = Battery(
    name="9 V lithium, three primary cells",
    source="1200 mAh from NINE-VOLT; 1000 mAh, voltages and resistances from memory",
    chemistry="lithium manganese dioxide",
    voltage_fresh=9.4,
    voltage_fresh_max=9.9,
    used_knee=0.9,
    voltage_knee=8.1,
    voltage_empty=5.4,
    resistance_fresh=15.0,
    resistance_empty=30.0,
    charge=Spread(1000 * _MAH, 1200 * _MAH, 1200 * _MAH),
    current_checked=0.1,
)


@dataclass(frozen=True, slots=True, eq=False)
class Adaptor(Device):
    """One adaptor class: voltage with nothing connected and at the rated current."""

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    regulated: bool = quantity("bool", "regulated")
    voltage_label: float = quantity("V", "voltage on the label")
    voltage_open: Spread = quantity("V", "voltage with nothing connected")
    voltage_rated: Spread = quantity("V", "voltage at the rated current")
    current_max: float = quantity("A", "rated current")


def _regulated(voltage: float, current_max: float) -> Adaptor:
    band = Spread(0.95 * voltage, voltage, 1.05 * voltage)
    return Adaptor(
        name=f"{voltage:g} V regulated, {1000 * current_max:g} mA",
        source="5 % either way and the rated current from memory; read the label, and a meter",
        regulated=True,
        voltage_label=voltage,
        voltage_open=band,
        voltage_rated=band,
        current_max=current_max,
    )


ADAPTOR_9V_REGULATED = _regulated(9.0, 0.5)
ADAPTOR_12V_REGULATED = _regulated(12.0, 0.5)
ADAPTOR_18V_REGULATED = _regulated(18.0, 0.3)

ADAPTOR_9V_UNREGULATED = Adaptor(
    name="9 V unregulated, 300 mA",
    source="12 to 14 V with nothing connected from UNREGULATED; 10 % at the rated current and 300 mA from memory",
    regulated=False,
    voltage_label=9.0,
    voltage_open=Spread(12.0, 13.0, 14.0),
    voltage_rated=Spread(8.1, 9.0, 9.9),
    current_max=0.3,
)
