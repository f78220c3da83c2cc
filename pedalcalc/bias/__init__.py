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
from pedalcalc.bias.bjt_feedback import (
    collector_feedback_stage,
    common_base_current_gain,
    common_emitter_current_gain,
)
from pedalcalc.bias.bjt_meter import BjtReadings, bjt_divider_readings
from pedalcalc.bias.bjt_rule import (
    bjt_base_resistor_rule,
    bjt_collector_feedback_rule,
    bjt_divider_rule,
    bjt_emitter_bias_rule,
)
from pedalcalc.bias.bjt_signal import (
    HybridPi,
    common_base,
    common_emitter,
    common_emitter_hybrid,
    emitter_follower,
    emitter_resistance,
    hybrid_pi,
)
from pedalcalc.bias.fet_signal import common_gate, common_source, source_follower
from pedalcalc.bias.germanium import collector_emitter_leakage, leakage_at_temperature, true_current_gain
from pedalcalc.bias.stage import (
    Stage,
    Swing,
    bypass_corner,
    coupling_corner,
    loaded_gain,
    output_voltage,
    symmetrical_swing,
)
from pedalcalc.bias.stage_high import MillerCapacitance, miller_capacitance
from pedalcalc.bias.stage_power import PowerGain, power_gain

__all__ = [
    "BjtDividerPoint",
    "BjtPoint",
    "BjtReadings",
    "DividerDesign",
    "HybridPi",
    "MillerCapacitance",
    "PowerGain",
    "Stage",
    "Swing",
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
    "bypass_corner",
    "collector_current_limit",
    "collector_emitter_leakage",
    "collector_feedback_stage",
    "common_base",
    "common_base_current_gain",
    "common_emitter",
    "common_emitter_current_gain",
    "common_emitter_hybrid",
    "common_gate",
    "common_source",
    "coupling_corner",
    "divider_for_current",
    "emitter_follower",
    "emitter_resistance",
    "feedback_resistor_for_current",
    "hybrid_pi",
    "leakage_at_temperature",
    "loaded_gain",
    "miller_capacitance",
    "output_voltage",
    "power_gain",
    "source_follower",
    "symmetrical_swing",
    "true_current_gain",
]
