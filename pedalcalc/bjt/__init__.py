"""Bipolar transistors: where a stage sits, and its resistors for a wanted current.

The transistor is one record, its current gain included: what `fit_bjt` found of it, or `devices.typical`, `low`, `high`
or `drawn` of a type. An ideality of 0 makes it the constant base-emitter drop of the textbooks.
"""

from pedalcalc.bjt._points import BjtDividerPoint, BjtPoint
from pedalcalc.bjt.bias import base_bias, collector_feedback_bias, divider_bias
from pedalcalc.bjt.design import DividerDesign, base_resistor, choose_divider_bias, feedback_resistor
from pedalcalc.bjt.later import BjtReadings, divider_readings
from pedalcalc.bjt.measure import fit_bjt

__all__ = [
    "BjtDividerPoint",
    "BjtPoint",
    "BjtReadings",
    "DividerDesign",
    "base_bias",
    "base_resistor",
    "choose_divider_bias",
    "collector_feedback_bias",
    "divider_bias",
    "divider_readings",
    "feedback_resistor",
    "fit_bjt",
]
