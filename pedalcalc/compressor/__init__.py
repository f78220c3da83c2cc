"""The optical compressor: static curve, attack and release, distortion, sound.

One engine serves all: a loop over samples in which the side-chain charges its hold capacitor,
the LED lights the cell, and the cell sets the gain that the next sample meets.
"""

from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.demo import example
from pedalcalc.compressor.engine import State
from pedalcalc.compressor.response import (
    Rendered,
    Response,
    Ripple,
    level_response,
    render,
    ripple_distortion,
    step_response,
)
from pedalcalc.compressor.static import StaticCurve, static_curve

__all__ = [
    "Compressor",
    "Rendered",
    "Response",
    "Ripple",
    "State",
    "StaticCurve",
    "example",
    "level_response",
    "render",
    "ripple_distortion",
    "static_curve",
    "step_response",
]
