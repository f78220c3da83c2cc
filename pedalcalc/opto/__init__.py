"""Photocells, and LEDs that shine on them: how far, and how fast.

    LED current --> light on the cell --> resistance, at its own slow pace --> gain
       I               E = E_ref (I/I_ref)^p      R = 1/g + R_floor

`coupler` holds the settled law of an LED facing a cell (the cell's own is `laws.cell`), `spread` what it may be instead,
`make` puts a lamp before a cell, `gain` and `curves` say what the resistance does to a signal, `kinetics` and
`response` how long it takes, and `fits` and `timing` turn a builder's readings into records.

What the checks show, and what not. Independent are those of the mathematics: times and histories against a
general-purpose integrator, tails against mpmath, gains against Kirchhoff's laws in sympy, fits against drawn parts
whose truth is known. Not independent are the makers' figures: every published time and resistance of a cell or coupler
is what its record was set from (four figures of LDR-232-3816 give four constants), so their rows show only that the
way there and back is right. How a cell behaves between those figures, in other light, warm, or as one of many, was
compared with no measurement: a factor of two either way is to be expected, and only readings of one's own narrow it.
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
