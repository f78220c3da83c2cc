"""Photocells, and LEDs that shine on them: how far, and how fast.

    LED current --> light on the cell --> resistance, at its own slow pace --> gain
       I               E = E_ref (I/I_ref)^p      R = 1/g + R_floor

`cell` holds the settled law of a photocell, `coupler` that of an LED facing
one, `band` what it may be instead, `gain` and `curves` what the resistance does to a signal, `kinetics` and
`response` how long it takes, and `fits` turns a builder's readings into records.
"""

from pedalcalc.opto.band import LIGHT_FACTOR_UNMEASURED, CouplerBand, coupler_band
from pedalcalc.opto.cell import (
    cell_conductance,
    cell_illuminance,
    cell_resistance,
    gamma_between,
    illuminance_at_distance,
)
from pedalcalc.opto.coupler import (
    CouplerPoint,
    coupler_current,
    coupler_illuminance,
    coupler_point,
    coupler_resistance,
    coupler_resistance_warm,
)
from pedalcalc.opto.curves import GainCurve, feedback_curve, series_curve, shunt_curve
from pedalcalc.opto.fits import CouplerFit, fit_coupler, fitted_band
from pedalcalc.opto.gain import (
    feedback_for_reduction,
    gain_feedback,
    gain_series,
    gain_shunt,
    series_for_reduction,
    shunt_for_reduction,
)
from pedalcalc.opto.kinetics import (
    TIME_FACTOR_UNMEASURED,
    fall_time_constant,
    rise_time_constant,
    time_between,
    time_to_fall,
    time_to_rise,
)
from pedalcalc.opto.response import CellResponse, cell_response, coupler_response
from pedalcalc.opto.timing import TimingFit, fit_timing

__all__ = [
    "LIGHT_FACTOR_UNMEASURED",
    "TIME_FACTOR_UNMEASURED",
    "CellResponse",
    "CouplerBand",
    "CouplerFit",
    "CouplerPoint",
    "GainCurve",
    "TimingFit",
    "cell_conductance",
    "cell_illuminance",
    "cell_resistance",
    "cell_response",
    "coupler_band",
    "coupler_current",
    "coupler_illuminance",
    "coupler_point",
    "coupler_resistance",
    "coupler_resistance_warm",
    "coupler_response",
    "fall_time_constant",
    "feedback_curve",
    "feedback_for_reduction",
    "fit_coupler",
    "fit_timing",
    "fitted_band",
    "gain_feedback",
    "gain_series",
    "gain_shunt",
    "gamma_between",
    "illuminance_at_distance",
    "rise_time_constant",
    "series_curve",
    "series_for_reduction",
    "shunt_curve",
    "shunt_for_reduction",
    "time_between",
    "time_to_fall",
    "time_to_rise",
]
