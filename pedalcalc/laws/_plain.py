"""The junction law by its figures instead of a record, for rooms that hold them one by one."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, numeric_view
from pedalcalc.devices._law import VOLTAGE_THERMAL_300K
from pedalcalc.laws._wright import log_current, solve_series


def series_current(
    voltage: ArrayLike,
    *,
    resistance: ArrayLike,
    current_saturation: ArrayLike,
    ideality: ArrayLike,
) -> Number:
    """Return the current at which V = n Vt ln(1 + I/Is) + I R at 300 K; `resistance` includes that of the part."""
    v = numeric_view("voltage", voltage)
    r = numeric_view("resistance", resistance, least=0, infinity=True)
    i_s = numeric_view("current_saturation", current_saturation, above=0)
    n = numeric_view("ideality", ideality, above=0)
    return solve_series(v, r, i_s, np.asarray(n * VOLTAGE_THERMAL_300K))[()]


def junction_voltage(
    current: ArrayLike, *, current_saturation: ArrayLike, ideality: ArrayLike, resistance_series: ArrayLike
) -> Number:
    """Return V = n Vt ln(1 + I/Is) + I Rs at 300 K of a forward current."""
    i = numeric_view("current", current, least=0)
    i_s = numeric_view("current_saturation", current_saturation, above=0)
    n = numeric_view("ideality", ideality, above=0)
    r_s = numeric_view("resistance_series", resistance_series, least=0)
    with np.errstate(over="ignore", under="ignore"):
        return np.asarray(n * VOLTAGE_THERMAL_300K * log_current(i, i_s) + i * r_s)[()]
