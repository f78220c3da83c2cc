"""Resistors and capacitors: corners, charging, filters, dividers and what a meter does to them.

    low-pass                             high-pass
    in ── R_src ── R ──┬──┬── out        in ── R_src ── C ──┬──┬── out
                       C  R_L                               R  R_L
                       └──┴── ground                        └──┴── ground

f_c corner frequency, τ time constant, R_src what drives the filter, R_L what
hangs on it. Parts are ideal: no leakage, no series resistance of the capacitor,
no inductance.
"""

from pedalcalc.rc.bandpass import BandResponse, highpass_then_lowpass, lowpass_then_highpass
from pedalcalc.rc.chain import (
    Band,
    chain_band,
    chain_response,
    equal_highpass_corner,
    equal_lowpass_corner,
)
from pedalcalc.rc.choose import CornerParts, choose_corner_parts
from pedalcalc.rc.corner import (
    bypass_capacitance,
    corner_capacitance,
    corner_frequency,
    corner_resistance,
    reactance,
    rise_time,
)
from pedalcalc.rc.divider import (
    Divider,
    DividerParts,
    DividerString,
    divider_parts,
    divider_string,
    loaded_divider,
    parallel_resistance,
)
from pedalcalc.rc.ladder import two_section_highpass, two_section_lowpass
from pedalcalc.rc.meter import (
    AmmeterReading,
    MeteredResistance,
    MeterReading,
    ammeter_reading,
    meter_reading,
    metered_resistance,
    pointer_meter_resistance,
)
from pedalcalc.rc.rating import resistor_rating
from pedalcalc.rc.response import (
    FilterResponse,
    highpass_response,
    lag_response,
    lead_response,
    lowpass_response,
)
from pedalcalc.rc.step import StepPoint, step_response, step_voltage, time_between_levels, time_constant

__all__ = [
    "AmmeterReading",
    "Band",
    "BandResponse",
    "CornerParts",
    "Divider",
    "DividerParts",
    "DividerString",
    "FilterResponse",
    "MeterReading",
    "MeteredResistance",
    "StepPoint",
    "ammeter_reading",
    "bypass_capacitance",
    "chain_band",
    "chain_response",
    "choose_corner_parts",
    "corner_capacitance",
    "corner_frequency",
    "corner_resistance",
    "divider_parts",
    "divider_string",
    "equal_highpass_corner",
    "equal_lowpass_corner",
    "highpass_response",
    "highpass_then_lowpass",
    "lag_response",
    "lead_response",
    "loaded_divider",
    "lowpass_response",
    "lowpass_then_highpass",
    "meter_reading",
    "metered_resistance",
    "parallel_resistance",
    "pointer_meter_resistance",
    "reactance",
    "resistor_rating",
    "rise_time",
    "step_response",
    "step_voltage",
    "time_between_levels",
    "time_constant",
    "two_section_highpass",
    "two_section_lowpass",
]
