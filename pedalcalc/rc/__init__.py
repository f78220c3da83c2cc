"""Resistors and capacitors: corners, charging, filters, dividers and what a meter does to them.

    low-pass                             high-pass
    in ── R_gen ── R ──┬──┬── out        in ── R_gen ── C ──┬──┬── out
                       C  R_L                               R  R_L
                       └──┴── ground                        └──┴── ground

f_c corner frequency, τ time constant, R_gen what drives the filter, R_L what
hangs on it. Parts are ideal: no leakage, no series resistance of the capacitor,
no inductance.
"""

from pedalcalc.rc.chain import Band, chain_band
from pedalcalc.rc.choose import CornerParts, DividerParts, choose_corner_parts, choose_divider
from pedalcalc.rc.corner import corner_capacitance, corner_frequency, corner_resistance
from pedalcalc.rc.divider import Divider, divider, parallel_resistance
from pedalcalc.rc.rating import resistor_rating
from pedalcalc.rc.response import FilterResponse, highpass_response, lowpass_response
from pedalcalc.rc.step import Charging, charging, time_between_levels

__all__ = [
    "Band",
    "Charging",
    "CornerParts",
    "Divider",
    "DividerParts",
    "FilterResponse",
    "chain_band",
    "charging",
    "choose_corner_parts",
    "choose_divider",
    "corner_capacitance",
    "corner_frequency",
    "corner_resistance",
    "divider",
    "highpass_response",
    "lowpass_response",
    "parallel_resistance",
    "resistor_rating",
    "time_between_levels",
]
