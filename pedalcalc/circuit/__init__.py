"""A whole board solved from its list: where it stands, what it passes, which parts set which corner, what it does in time.

Everything goes by name: parts by their reference, nets as the list names them. A board (`pedalcalc.board.assemble`) brings
its conditions along: supply, footswitch, plugs, controls, meter. Any value may be an array, so that ten thousand units are
one batched calculation.
"""

from pedalcalc.circuit.corners import Corner, Corners, corners
from pedalcalc.circuit.formula import TransferFunction, transfer_function
from pedalcalc.circuit.impedance import Impedance, impedance
from pedalcalc.circuit.operating import OperatingPoint, operating_point
from pedalcalc.circuit.response import Response, response
from pedalcalc.circuit.waveform import Waveform, waveform

__all__ = [
    "Corner",
    "Corners",
    "Impedance",
    "OperatingPoint",
    "Response",
    "TransferFunction",
    "Waveform",
    "corners",
    "impedance",
    "operating_point",
    "response",
    "transfer_function",
    "waveform",
]
