"""One-call explorers: sliders, one picture, and words that say what it shows."""

from pedalcalc.explore._compressor import release_against_distortion, static_curve, step_response
from pedalcalc.explore._panel import Panel, Slider, choice, panel, slider
from pedalcalc.explore._parts import coupler_curve, indicator_led, time_constant

__all__ = [
    "Panel",
    "Slider",
    "choice",
    "coupler_curve",
    "indicator_led",
    "panel",
    "release_against_distortion",
    "slider",
    "static_curve",
    "step_response",
    "time_constant",
]
