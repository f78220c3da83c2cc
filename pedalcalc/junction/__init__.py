"""One semiconductor junction, alone and in series with a resistance.

Diode law with emission coefficient n: I = Is (exp(V / (n Vt)) - 1). In series
with a resistance it has a closed form in the Wright omega function, which
serves every diode and LED of the package.
"""

from pedalcalc.devices._law import VOLTAGE_THERMAL_300K
from pedalcalc.junction.clip import clipped_voltage
from pedalcalc.junction.law import (
    dynamic_resistance,
    junction_current,
    junction_voltage,
    saturation_current,
    thermal_voltage,
)
from pedalcalc.junction.models import (
    DropPoint,
    SmallSignalPoint,
    constant_drop,
    piecewise_linear,
    small_signal_point,
    zener_voltage,
)
from pedalcalc.junction.reference import (
    current_from_reference,
    saturation_current_at,
    saturation_current_doubling,
    voltage_at_temperature,
    voltage_change,
    voltage_from_reference,
)
from pedalcalc.junction.series import SeriesPoint, load_line, series_current, series_point

__all__ = [
    "VOLTAGE_THERMAL_300K",
    "DropPoint",
    "SeriesPoint",
    "SmallSignalPoint",
    "clipped_voltage",
    "constant_drop",
    "current_from_reference",
    "dynamic_resistance",
    "junction_current",
    "junction_voltage",
    "load_line",
    "piecewise_linear",
    "saturation_current",
    "saturation_current_at",
    "saturation_current_doubling",
    "series_current",
    "series_point",
    "small_signal_point",
    "thermal_voltage",
    "voltage_at_temperature",
    "voltage_change",
    "voltage_from_reference",
    "zener_voltage",
]
