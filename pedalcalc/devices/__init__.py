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
from pedalcalc.devices.photocell import (
    COUPLER_GREEN_GAP_GL5528,
    COUPLER_GREEN_GL5528,
    COUPLER_NSL28,
    COUPLER_STEEP,
    COUPLER_WHITE_GL5528,
    LDR_GL5506,
    LDR_GL5516,
    LDR_GL5528,
    LDR_GL5537,
    LDR_GL5539,
    LDR_GL5549,
    LDR_NORP12,
    LDR_P621,
    LDR_P1114_01,
    LDR_P1395_01,
    LDR_PDV_P8001,
    Coupler,
    Ldr,
)

__all__ = [
    "COUPLER_GREEN_GAP_GL5528",
    "COUPLER_GREEN_GL5528",
    "COUPLER_NSL28",
    "COUPLER_STEEP",
    "COUPLER_WHITE_GL5528",
    "DIODE_1N4001",
    "DIODE_1N4148",
    "DIODE_1N5817",
    "LDR_GL5506",
    "LDR_GL5516",
    "LDR_GL5528",
    "LDR_GL5537",
    "LDR_GL5539",
    "LDR_GL5549",
    "LDR_NORP12",
    "LDR_P621",
    "LDR_P1114_01",
    "LDR_P1395_01",
    "LDR_PDV_P8001",
    "LED_BLUE",
    "LED_GREEN_GAP",
    "LED_GREEN_INGAN",
    "LED_RED_ALINGAP",
    "LED_RED_GAASP",
    "LED_WHITE",
    "LED_YELLOW",
    "Coupler",
    "Device",
    "Diode",
    "Ldr",
    "Led",
    "Spread",
]
