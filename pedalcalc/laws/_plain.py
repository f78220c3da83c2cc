"""The junction law by its figures instead of a record, for rooms that hold them one by one."""

from __future__ import annotations

import numpy as np

from pedalcalc._base import formula
from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc._ranges import AboveZero, AnyNumber, AtLeastZero, ZeroToInfinity
from pedalcalc._result import Number
from pedalcalc.laws._wright import log_current, solve_series


@formula
def series_current(
    voltage: AnyNumber,
    *,
    resistance: ZeroToInfinity,
    current_saturation: AboveZero,
    ideality: AboveZero,
    voltage_thermal: AboveZero = VOLTAGE_THERMAL_300K,
) -> Number:
    """Return the current at which V = n Vt ln(1 + I/Is) + I R; `resistance` includes that of the part."""
    return solve_series(voltage, resistance, current_saturation, np.asarray(ideality * voltage_thermal))


@formula
def junction_voltage(
    current: AtLeastZero, *, current_saturation: AboveZero, ideality: AboveZero, resistance_series: AtLeastZero
) -> Number:
    """Return V = n Vt ln(1 + I/Is) + I Rs at 300 K of a forward current."""
    with np.errstate(over="ignore", under="ignore"):
        curve = ideality * VOLTAGE_THERMAL_300K * log_current(current, current_saturation)
        return np.asarray(curve + current * resistance_series)
