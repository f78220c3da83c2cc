"""Indicator lamps: which resistor, what really flows, how bright, and what it costs.

    plus ── resistor ── LED ── LED ... ── minus      the lamps' longer lead, mostly the plus, towards plus

The lamp obeys V = n Vt ln(1 + I/Is) + I Rs with the numbers of its record
(`pedalcalc.devices`), each lamp a little different; `led` is one lamp or a list of those in series.
"""

from pedalcalc.led.choose import ResistorChoice, ResistorOption, choose_resistor
from pedalcalc.led.fit import LedFit, fit_led
from pedalcalc.led.life import IndicatorLife, indicator_battery_life
from pedalcalc.led.point import Brightness, LedPoint, brightness, operating_point
from pedalcalc.led.rule import SeriesResistor, series_resistor

__all__ = [
    "Brightness",
    "IndicatorLife",
    "LedFit",
    "LedPoint",
    "ResistorChoice",
    "ResistorOption",
    "SeriesResistor",
    "brightness",
    "choose_resistor",
    "fit_led",
    "indicator_battery_life",
    "operating_point",
    "series_resistor",
]
