"""What stands in `pedalcalc._junction`, for rooms that still ask here."""

from pedalcalc._junction import VOLTAGE_THERMAL_300K

__all__ = ["VOLTAGE_THERMAL_300K"]
