"""Indicator lamps: which resistor, what really flows, how bright, and what it costs.

    plus ── resistor ── LED ── LED ... ── minus      the lamps' longer lead, mostly the plus, towards plus

The lamp obeys V = n Vt ln(1 + I/Is) + I Rs with the numbers of its record
(`pedalcalc.devices`), each lamp a little different: `voltage_spread` either way.
"""

from pedalcalc.led.choose import (
    CurrentRange,
    ResistorChoice,
    ResistorOption,
    choose_resistor,
    current_range,
)
from pedalcalc.led.fit import LedFit, fit_led
from pedalcalc.led.life import IndicatorLife, indicator_battery_life
from pedalcalc.led.point import (
    LedPoint,
    luminous_intensity,
    operating_point,
    perceived_brightness,
    shifted_lamp,
)
from pedalcalc.led.rule import SeriesResistor, resistor_rating, series_resistor

__all__ = [
    "CurrentRange",
    "IndicatorLife",
    "LedFit",
    "LedPoint",
    "ResistorChoice",
    "ResistorOption",
    "SeriesResistor",
    "choose_resistor",
    "current_range",
    "fit_led",
    "indicator_battery_life",
    "luminous_intensity",
    "operating_point",
    "perceived_brightness",
    "resistor_rating",
    "series_resistor",
    "shifted_lamp",
]
