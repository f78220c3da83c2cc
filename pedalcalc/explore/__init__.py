"""One-call explorers: sliders, one picture, and words that say what it shows."""

from pedalcalc.explore._bias import bjt_bias, jfet_bias
from pedalcalc.explore._compressor import static_curve, step_response
from pedalcalc.explore._listening import listening
from pedalcalc.explore._panel import Panel
from pedalcalc.explore._parts import coupler_curve, indicator_led
from pedalcalc.explore._sidechain import detector
from pedalcalc.explore._slider import Slider, pot
from pedalcalc.explore._supply import battery_discharge, charge_pump, voltage_budget
from pedalcalc.explore._swap import swap

__all__ = [
    "Panel",
    "Slider",
    "battery_discharge",
    "bjt_bias",
    "charge_pump",
    "coupler_curve",
    "detector",
    "indicator_led",
    "jfet_bias",
    "listening",
    "pot",
    "static_curve",
    "step_response",
    "swap",
    "voltage_budget",
]
