"""Compute the sub-circuits of a guitar pedal before and after soldering.

Each room (`pedalcalc.led`, `pedalcalc.rc`, ...) loads on first use, so that
``import pedalcalc`` costs numpy and no more.
"""

from __future__ import annotations

import importlib
from types import ModuleType

import numpy as _numpy  # noqa: F401  (the one thing every room needs)

__version__ = "0.1.0"

__all__ = [
    "bench",
    "bjt",
    "board",
    "catalogue",
    "circuit",
    "compressor",
    "controls",
    "devices",
    "explore",
    "fet",
    "laws",
    "led",
    "opamp",
    "opto",
    "page",
    "parts",
    "plot",
    "pump",
    "rc",
    "readings",
    "report",
    "sheet",
    "sidechain",
    "stage",
    "supply",
    "switching",
    "tolerance",
    "values",
]


def __getattr__(name: str) -> ModuleType:
    if name in __all__:
        return importlib.import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
