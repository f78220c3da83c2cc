"""One-call explorers: sliders, one picture, and words that say what it shows."""

from pedalcalc.explore._panel import Panel, Slider, choice, panel, slider

__all__ = ["Panel", "Slider", "choice", "panel", "slider"]
