"""The junction law that records are written for, and how one point of a sheet gives its saturation current."""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc._record import ends, plain
from pedalcalc._refusal import refused
from pedalcalc._result import Number
from pedalcalc._units import shown

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


class Junction:
    """A record with a junction written in one point of its sheet: `voltage_forward` at `current_reference`."""

    __slots__ = ()

    @property
    def current_saturation(self: Any) -> Any:
        """Saturation current [A] at 300 K that puts the junction law through the point.

        0 where the ideality is 0: the textbook's constant drop, with its series resistance.
        """
        point = ("voltage_forward", "current_reference", "ideality", "resistance_series")
        voltage, current, ideality, resistance = plain(self, *point)
        with np.errstate(divide="ignore", over="ignore"):
            found = np.asarray(
                saturation_through(
                    np.asarray(voltage, float),
                    current,
                    ideality=np.asarray(ideality, float),
                    resistance_series=resistance,
                    voltage_thermal=VOLTAGE_THERMAL_300K,
                )
            )
        return found if found.ndim else float(found)

    def _check_point(self: Any) -> None:
        """Refuse a series resistance that would drop the whole forward voltage, and a drop of nothing."""
        for part in range(3):
            voltage, current, resistance = (
                np.asarray(ends(getattr(self, name))[part], float)
                for name in ("voltage_forward", "current_reference", "resistance_series")
            )
            bad = np.asarray(voltage - current * resistance <= 0)
            if np.any(bad):
                dropped = shown(float(np.broadcast_to(current * resistance, bad.shape)[bad][0]), "V")
                allowed = f"above the {dropped} that resistance_series drops at current_reference"
                raise refused("voltage_forward", allowed, voltage, bad)
