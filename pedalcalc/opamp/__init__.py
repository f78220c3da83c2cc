"""Op-amp stages on a half-supply reference: DC at each pin, gain, band and swing; gain resistors; how fast a part must be.

The op-amp is one record, a specimen: `devices.typical` of a type, or `devices.low` for what the sheet promises at least.
"""

from pedalcalc.opamp._point import OpAmpPoint
from pedalcalc.opamp.choose import GainResistors, choose_gain_resistors
from pedalcalc.opamp.speed import OpAmpSpeed, speed
from pedalcalc.opamp.stages import follower, inverting, noninverting

__all__ = [
    "GainResistors",
    "OpAmpPoint",
    "OpAmpSpeed",
    "choose_gain_resistors",
    "follower",
    "inverting",
    "noninverting",
    "speed",
]
