"""Photocells, and LEDs that shine on them: how far, and how fast.

    LED current --> light on the cell --> resistance, at its own slow pace --> gain
       I               E = E_ref (I/I_ref)^p      R = 1/g + R_floor

`coupler` holds the settled law of an LED facing a cell (the cell's own is `laws.cell`), `spread` what it may be instead,
`make` puts a lamp before a cell, `gain` and `curves` say what the resistance does to a signal, `kinetics` and
`response` how long it takes, and `fits` and `timing` turn a builder's readings into records.
"""

from pedalcalc.opto.band import LIGHT_FACTOR_UNMEASURED, CouplerBand
from pedalcalc.opto.coupler import CouplerPoint, coupler_current, coupler_point
from pedalcalc.opto.curves import GainCurve, gain_curve
from pedalcalc.opto.fits import CouplerFit, CouplersDrawn, fit_coupler
from pedalcalc.opto.gain import cell_for_reduction, cell_gain
from pedalcalc.opto.kinetics import TIME_FACTOR_UNMEASURED, time_to_fall, time_to_rise
from pedalcalc.opto.make import make_coupler
from pedalcalc.opto.response import CellResponse, coupler_response
from pedalcalc.opto.spread import coupler_band
from pedalcalc.opto.timing import TimingFit, fit_timing

__all__ = [
    "LIGHT_FACTOR_UNMEASURED",
    "TIME_FACTOR_UNMEASURED",
    "CellResponse",
    "CouplerBand",
    "CouplerFit",
    "CouplerPoint",
    "CouplersDrawn",
    "GainCurve",
    "TimingFit",
    "cell_for_reduction",
    "cell_gain",
    "coupler_band",
    "coupler_current",
    "coupler_point",
    "coupler_response",
    "fit_coupler",
    "fit_timing",
    "gain_curve",
    "make_coupler",
    "time_to_fall",
    "time_to_rise",
]
