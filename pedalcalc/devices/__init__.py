"""Part records: what a part is, with the source of every figure.

Each record is frozen and holds SI values; a figure that a sheet gives as a
range is a `Spread(low, typical, high)`. Records can be passed to any function
that names the part, and replaced field by field with `dataclasses.replace`.
"""

from pedalcalc.devices._record import Device, Spread
from pedalcalc.devices.diode import DIODE_1N4001, DIODE_1N4148, DIODE_1N5817, Diode
from pedalcalc.devices.led import (
    LED_BLUE,
    LED_GREEN_GAP,
    LED_GREEN_INGAN,
    LED_RED_ALINGAP,
    LED_RED_GAASP,
    LED_WHITE,
    LED_YELLOW,
    Led,
)

__all__ = [
    "DIODE_1N4001",
    "DIODE_1N4148",
    "DIODE_1N5817",
    "LED_BLUE",
    "LED_GREEN_GAP",
    "LED_GREEN_INGAN",
    "LED_RED_ALINGAP",
    "LED_RED_GAASP",
    "LED_WHITE",
    "LED_YELLOW",
    "Device",
    "Diode",
    "Led",
    "Spread",
]
