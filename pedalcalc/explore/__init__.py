"""One-call explorers: sliders, one picture, and words that say what it shows."""

from pedalcalc.explore._bias import bjt_bias, jfet_bias
from pedalcalc.explore._compressor import release_against_distortion, static_curve, step_response
from pedalcalc.explore._panel import Panel, panel
from pedalcalc.explore._parts import coupler_curve, indicator_led, time_constant
from pedalcalc.explore._sidechain import detector
from pedalcalc.explore._slider import Slider, choice, pot, slider
from pedalcalc.explore._supply import battery_discharge, charge_pump, voltage_budget
from pedalcalc.explore._swap import swap

__all__ = [
    "Panel",
    "Slider",
    "battery_discharge",
    "bjt_bias",
    "charge_pump",
    "choice",
    "coupler_curve",
    "detector",
    "indicator_led",
    "jfet_bias",
    "panel",
    "pot",
    "release_against_distortion",
    "slider",
    "static_curve",
    "step_response",
    "swap",
    "time_constant",
    "voltage_budget",
]
