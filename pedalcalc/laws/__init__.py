"""What a part obeys: terminal volts to currents and slopes, once for closed forms and for whole circuits.

Each function takes one part, a record with plain numbers (`devices.typical` and its sisters make one of a type), and a
temperature in kelvin where a law for it is known. The modules hold the same laws for a solver, without checks: figures
once, then a branch for volts of any shape.
"""

from pedalcalc.laws.amplifiers import AmplifierBranch, amplifier
from pedalcalc.laws.cells import CellPoint, CellRates, cell, cell_rates
from pedalcalc.laws.diodes import JunctionBranch, JunctionPoint, junction, junction_in_series, junction_voltage
from pedalcalc.laws.temperature import at_temperature
from pedalcalc.laws.transistors import BipolarBranch, ChannelBranch, bipolar, channel

__all__ = [
    "AmplifierBranch",
    "BipolarBranch",
    "CellPoint",
    "CellRates",
    "ChannelBranch",
    "JunctionBranch",
    "JunctionPoint",
    "amplifier",
    "at_temperature",
    "bipolar",
    "cell",
    "cell_rates",
    "channel",
    "junction",
    "junction_in_series",
    "junction_voltage",
]
