"""Pictures: axes labelled from metadata, told apart in grey."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc import compressor
from pedalcalc._base import Result, quantity


@dataclass(frozen=True, slots=True, eq=False)
class Sweep(Result):
    voltage: np.ndarray = quantity("V", "supply voltage")
    current: np.ndarray = quantity("A", "LED current")
    current_worst: np.ndarray = quantity("A", "highest current")
    power: np.ndarray = quantity("W", "power")


SWEEP = Sweep(np.linspace(0, 9, 10), np.linspace(0, 0.009, 10), np.linspace(0, 0.012, 10), np.linspace(0, 0.08, 10))
AXES = {"caption_across": "time", "unit_across": "s", "caption": "voltage", "unit": "V"}
STEP = compressor.step_response(compressor.example(), level_low_dbv=-30.0, level_high_dbv=-10.0)
TIMING = compressor.attack_release(
    STEP.time,
    level_dbv=STEP.level_out_dbv,
    time_up=STEP.time_up,
    time_down=STEP.time_down,
    definition=compressor.SETTLE_2DB,
)
CURVE = compressor.static_curve(np.linspace(-60.0, 0.0, 61), compressor=compressor.example())
T = np.linspace(0.0, 1.0, 20)
CALLS = {
    "bands": {"tracks": {"decay": (T * 0.5, T, T * 2)}, "across": T, **AXES},
    "curve": {"result": SWEEP, "across": "voltage", "up": "current"},
    "curves": {"results": {"a": SWEEP, "b": SWEEP}, "across": "voltage", "up": "current"},
    "lines": {"tracks": {"decay": T}, "across": T, **AXES},
    "sketch": {"stage": "low-pass", "labels": {"R": "R1 4.7 kΩ"}},
    "rail_diagram": {"rails": {"label": 9.0, "swing": (1.5, 7.0)}, "voltage_idle": 4.5},
    "static_curve": {
        "curve": CURVE,
        "features": compressor.curve_features(CURVE.level_in_dbv, level_out_dbv=CURVE.level_out_dbv),
    },
    "step_response": {"step": STEP, "timing": TIMING},
}
