"""Signs that look alike, and what a display shows instead of a number."""

from __future__ import annotations

import re
from typing import Any

OPEN = ("open", "ol", "0l", "ovl", "ovld", "overload")


def ohm_sign(unit: Any) -> Any:
    """Return the unit with the Greek letter for ohm where the sign of the same looks (U+2126) stands."""
    return "Ω" if isinstance(unit, str) and unit == "\N{OHM SIGN}" else unit


def shows_open(text: str) -> bool:
    """Tell whether a meter's display says that there is no circuit, such as ``O.L``, ``0.L`` and ``OVLD``."""
    return re.sub(r"[\s.]", "", text).casefold() in OPEN
