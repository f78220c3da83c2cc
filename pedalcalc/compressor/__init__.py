"""The optical compressor: static curve, attack and release, distortion, sound.

One engine serves all: a loop over samples in which the side-chain charges its hold capacitor,
the LED lights the cell, and the cell sets the gain that the next sample meets.

What the checks show, and what not. Independent of the engine are the circuit's differential equations, integrated at
audio rate with none of its short cuts (and that integration against scipy's), and tracks of gain whose times are known
in closed form. But engine and equations share the laws of cell and LED and the records, which are set from makers'
sheets as the opto room says. That a lit shunt turns down at once and lets go slowly, and a series cell the other way
round, is what a coupler maker writes; no built compressor with its measured times was found to compare with.
"""

from pedalcalc.compressor.attack import attack_release
from pedalcalc.compressor.bursts import BurstFile, RecordedLevel, RecordedTimings, measure_recording, write_bursts
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.demo import example
from pedalcalc.compressor.design import gain_for_threshold
from pedalcalc.compressor.distortion import RippleDistortion, ripple_distortion
from pedalcalc.compressor.engine import State
from pedalcalc.compressor.features import CurveFeatures, curve_features
from pedalcalc.compressor.playing import Rendered, render
from pedalcalc.compressor.pluck import plucked_string
from pedalcalc.compressor.response import Response, step_response
from pedalcalc.compressor.sound import (
    RenderedFile,
    render_file,
)
from pedalcalc.compressor.static import StaticCurve, static_curve
from pedalcalc.compressor.timing import (
    ANSI_S3_22_STYLE,
    DEFINITIONS,
    IEC_60118_2_STYLE,
    PART_10_90,
    PART_63,
    SETTLE_2DB,
    AttackRelease,
    TimingDefinition,
    measure_step,
)

__all__ = [
    "ANSI_S3_22_STYLE",
    "DEFINITIONS",
    "IEC_60118_2_STYLE",
    "PART_10_90",
    "PART_63",
    "SETTLE_2DB",
    "AttackRelease",
    "BurstFile",
    "Compressor",
    "CurveFeatures",
    "RecordedLevel",
    "RecordedTimings",
    "Rendered",
    "RenderedFile",
    "Response",
    "RippleDistortion",
    "State",
    "StaticCurve",
    "TimingDefinition",
    "attack_release",
    "curve_features",
    "example",
    "gain_for_threshold",
    "measure_recording",
    "measure_step",
    "plucked_string",
    "render",
    "render_file",
    "ripple_distortion",
    "static_curve",
    "step_response",
    "write_bursts",
]
