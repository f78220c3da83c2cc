"""Bias points: the DC voltages, gain and swing of one transistor or op-amp stage.

Bipolar transistors are solved exactly (`bjt_*`) and by the constant-drop rule
of the textbooks (`bjt_*_rule`). Small-signal stages stand beside them.
Each operating point is one named result with its cautions.
"""

from pedalcalc.bias._points import BjtDividerPoint, BjtPoint
from pedalcalc.bias.bjt import bjt_divider, bjt_follower
from pedalcalc.bias.bjt_design import (
    DividerDesign,
    base_resistor_for_current,
    collector_current_limit,
    divider_for_current,
    feedback_resistor_for_current,
)
from pedalcalc.bias.bjt_direct import bjt_base_resistor, bjt_collector_feedback, bjt_emitter_bias
from pedalcalc.bias.bjt_meter import BjtReadings, bjt_divider_readings
from pedalcalc.bias.bjt_rule import (
    bjt_base_resistor_rule,
    bjt_collector_feedback_rule,
    bjt_divider_rule,
    bjt_emitter_bias_rule,
)
from pedalcalc.bias.germanium import collector_emitter_leakage, leakage_at_temperature, true_current_gain

__all__ = [
    "BjtDividerPoint",
    "BjtPoint",
    "BjtReadings",
    "DividerDesign",
    "base_resistor_for_current",
    "bjt_base_resistor",
    "bjt_base_resistor_rule",
    "bjt_collector_feedback",
    "bjt_collector_feedback_rule",
    "bjt_divider",
    "bjt_divider_readings",
    "bjt_divider_rule",
    "bjt_emitter_bias",
    "bjt_emitter_bias_rule",
    "bjt_follower",
    "collector_current_limit",
    "collector_emitter_leakage",
    "divider_for_current",
    "feedback_resistor_for_current",
    "leakage_at_temperature",
    "true_current_gain",
]
