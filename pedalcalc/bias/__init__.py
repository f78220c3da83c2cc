"""Bias points."""

from pedalcalc.bias.bjt import bjt_divider, bjt_follower
from pedalcalc.bias.bjt_direct import bjt_base_resistor, bjt_collector_feedback, bjt_emitter_bias
