"""Panels: sliders, a picture, and words that agree with it."""

from __future__ import annotations

import numpy as np
import pytest

from pedalcalc import compressor, devices, explore, plot, sidechain
from tests.test_pump import RAIL


def draw(resistance):
    voltage = np.linspace(0.0, 9.0, 10)
    axes = {"caption_across": "voltage", "unit_across": "V", "caption": "current", "unit": "A"}
    return plot.lines({"": voltage / resistance}, across=voltage, **axes)


COMPRESSOR = compressor.example()
CALLS = {
    "battery_discharge": {"battery": devices.BATTERY_9V_ALKALINE, "current_load": 0.010, "voltage_end": 7.0},
    "charge_pump": {"rail": RAIL, "voltage_supply": 9.0, "current_load": 0.005},
    "voltage_budget": {
        "rail": RAIL,
        "voltage_supply": 9.0,
        "current_load": 0.006,
        "current_direct": 0.002,
        "voltage_peak": 1.0,
    },
    "coupler_curve": {"coupler": devices.COUPLER_GREEN_GAP_GL5528, "current": 0.001, "illuminance_ambient": 1.0},
    "detector": {
        "resistance_attack": 10e3,
        "resistance_release": 220e3,
        "capacitance_hold": 1e-6,
        "frequency": 82.4,
        "voltage_peak": 1.0,
        "rectifier": "full",
        "voltage_diode": 0.0,
    },
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


def test_detector_picture_agrees_with_the_burst():
    shown = explore.detector(**CALLS["detector"])
    parts = {key: value for key, value in CALLS["detector"].items() if key != "frequency"}
    burst = sidechain.tone_burst([0.0], time_burst=0.5, frequency=82.4, **parts)
    assert f"attack {1e3 * burst.time_attack_63:.1f} ms; release 220 ms" in shown.shown.value
    assert f"ripple {100 * burst.ripple_share:.2g} % at 82.4 Hz" in shown.shown.value


def test_detector_refuses_a_tone_under_the_threshold():
    with pytest.raises(ValueError, match="voltage_peak must be above 2"):
        explore.detector(**CALLS["detector"] | {"voltage_diode": 2.0})
