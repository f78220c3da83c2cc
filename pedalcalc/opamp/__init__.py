"""Op-amp stages on a half-supply reference: DC at each pin, gain, band and swing; gain resistors; how fast a part must be.

The op-amp is one record, a specimen: `devices.typical` of a type, or `devices.low` for what the sheet promises at least.
"""

from pedalcalc.opamp._point import OpAmpPoint
from pedalcalc.opamp.choose import GainResistors, choose_gain_resistors
from pedalcalc.opamp.ideal import ClosedLoop, closed_loop, output_offset
from pedalcalc.opamp.inputs import difference_output, summing_output
from pedalcalc.opamp.speed import OpAmpSpeed, speed
from pedalcalc.opamp.stages import buffer, follower, inverting, noninverting

__all__ = [
    "ClosedLoop",
    "GainResistors",
    "OpAmpPoint",
    "OpAmpSpeed",
    "buffer",
    "choose_gain_resistors",
    "closed_loop",
    "difference_output",
    "follower",
    "inverting",
    "noninverting",
    "output_offset",
    "speed",
    "summing_output",
]
