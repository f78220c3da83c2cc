"""The junction law that diode and LED records are written for."""

from __future__ import annotations

import numpy as np

from pedalcalc._base import Number

#: Boltzmann constant and elementary charge, exact by definition since the 2019 SI.
BOLTZMANN = 1.380649e-23
CHARGE = 1.602176634e-19

#: Thermal voltage kT/q at 300 K, the temperature that all records are stated for.
VOLTAGE_THERMAL_300K = BOLTZMANN * 300 / CHARGE


def saturation_through(
    voltage: Number, current: Number, *, ideality: Number, resistance_series: Number, voltage_thermal: Number
) -> Number:
    """Return the saturation current that puts V = n Vt ln(1 + I/Is) + I Rs through one sheet point."""
    return current / np.expm1((voltage - current * resistance_series) / (ideality * voltage_thermal))
