"""Field-effect transistors, JFET and MOSFET: where a stage sits, and its resistors for the device in the hand.

The device is one record (`fet`): what `fit_jfet` found of it, or `devices.typical`, `low`, `high` or `drawn` of a type.
"""

from pedalcalc.fet._points import FetPoint
from pedalcalc.fet.bias import self_bias
from pedalcalc.fet.measure import fit_jfet
from pedalcalc.fet.trim import FetResistors, resistors_for_current, trim_drain, trim_source

__all__ = [
    "FetPoint",
    "FetResistors",
    "fit_jfet",
    "resistors_for_current",
    "self_bias",
    "trim_drain",
    "trim_source",
]
