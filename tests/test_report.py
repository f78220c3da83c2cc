"""Tables, boxes and formulas."""

from __future__ import annotations

CALLS = {
    "cautions": {},
    "formula": {"text": "f_c = 1/(2*pi*R*C)"},
    "reading": {"value": 4700.0, "unit": "Ω", "spread": 235.0},
    "safety": {},
    "table": {"results": [{"part": "R1", "power": 0.0123}], "units": {"power": "W"}, "digits": 3},
}
