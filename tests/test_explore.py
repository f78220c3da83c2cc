"""Panels: sliders, a picture, and words that agree with it."""

from __future__ import annotations

import numpy as np

from pedalcalc import compressor, devices, explore, plot


def draw(resistance):
    voltage = np.linspace(0.0, 9.0, 10)
    axes = {"caption_across": "voltage", "unit_across": "V", "caption": "current", "unit": "A"}
    return plot.lines({"": voltage / resistance}, across=voltage, **axes)


COMPRESSOR = compressor.example()
CALLS = {
    "coupler_curve": {"coupler": devices.COUPLER_GREEN_GAP_GL5528, "current": 0.001, "illuminance_ambient": 1.0},
    "indicator_led": {"led": devices.LED_GREEN_GAP, "voltage_supply": 9.0, "resistance": 2200.0},
    "release_against_distortion": {
        "compressor": COMPRESSOR,
        "level_in_dbv": -10.0,
        "resistances_release": [100e3, 220e3],
        "frequency": 220.0,
    },
    "static_curve": {"compressor": COMPRESSOR, "frequency": 1000.0},
    "step_response": {"compressor": COMPRESSOR, "level_low_dbv": -30.0, "level_step_db": 20.0},
    "time_constant": {
        "resistance": 220e3,
        "capacitance": 1e-6,
        "voltage_start": 3.0,
        "voltage_final": 0.0,
        "voltage_level": 1.5,
    },
    "choice": {"chosen": "after", "options": ["before", "after"], "caption": "sensed"},
    "panel": {
        "draw": lambda coupler: draw(coupler),
        "coupler": explore.choice("one", options={"one": 1000.0, "two": 2000.0}, caption="coupler"),
    },
    "slider": {"value": 1000.0, "low": 100.0, "high": 1e4, "unit": "Ω", "caption": "R", "steps": 10},
}
