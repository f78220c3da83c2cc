"""Panels: sliders, a picture, and words that agree with it."""

from __future__ import annotations

import numpy as np

from pedalcalc import explore, plot


def draw(resistance):
    voltage = np.linspace(0.0, 9.0, 10)
    axes = {"caption_across": "voltage", "unit_across": "V", "caption": "current", "unit": "A"}
    return plot.lines({"": voltage / resistance}, across=voltage, **axes)


CALLS = {
    "choice": {"chosen": "after", "options": ["before", "after"], "caption": "sensed"},
    "panel": {
        "draw": lambda coupler: draw(coupler),
        "coupler": explore.choice("one", options={"one": 1000.0, "two": 2000.0}, caption="coupler"),
    },
    "slider": {"value": 1000.0, "low": 100.0, "high": 1e4, "unit": "Ω", "caption": "R", "steps": 10},
}
