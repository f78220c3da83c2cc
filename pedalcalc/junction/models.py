"""A Zener diode that steadies a load behind a resistor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, Result, formula, numeric, quantity


@dataclass(frozen=True, slots=True, eq=False)
class ZenerPoint(Result):
    """A Zener diode that steadies a load behind a resistor."""

    voltage_output: Number = quantity("V", "output voltage")
    current: Number = quantity("A", "current through the resistor")
    current_load: Number = quantity("A", "load current")
    current_zener: Number = quantity("A", "Zener current")
    power_zener: Number = quantity("W", "power in the Zener diode")
    power_resistor: Number = quantity("W", "power in the resistor")
    regulates: bool | NDArray[np.bool_] = quantity("bool", "regulates")


@formula
def zener_regulator(
    voltage_supply: ArrayLike,
    *,
    resistance: ArrayLike,
    voltage_zener: ArrayLike,
    resistance_load: ArrayLike,
    resistance_zener: ArrayLike = 0.0,
    current_test: ArrayLike | None = None,
) -> ZenerPoint:
    """Find the currents of a Zener diode that steadies a load behind a resistor.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0.
    resistance : array_like
        Resistor between supply and Zener diode [Ω], > 0, inf is open.
    voltage_zener : array_like
        Zener voltage; with a slope resistance, as the sheet states it at the test current [V], > 0.
    resistance_load : array_like
        Load across the Zener diode [Ω], 0 to inf.
    resistance_zener : array_like
        Slope resistance of the Zener diode [Ω], at least 0; none if not given.
    current_test : array_like, optional
        Current at which the sheet states the Zener voltage [A], > 0; needed with a slope resistance.

    Returns
    -------
    ZenerPoint
        Output voltage [V], currents [A], powers [W], and whether the diode regulates;
        where it does not, resistor and load are a plain divider.

    Raises
    ------
    ValueError
        If an argument is outside its range, a slope resistance comes without its test current, or it alone
        would drop the whole Zener voltage there.

    Notes
    -----
    The diode's line starts at the knee VZ - IZT rZ. It conducts where the divider of
    resistor and load alone would exceed the knee; then knee and slope resistance feed the output
    beside the supply (nodal equation).

    References
    ----------
    MALVINO-BATES, example 5-3; DERIVED, the slope resistance.

    Examples
    --------
    >>> point = zener_regulator(18, resistance=270, voltage_zener=10, resistance_load=1000)
    >>> print(f"{point.current_zener * 1000:.2f} mA")
    19.63 mA
    """
    v_s = numeric("voltage_supply", voltage_supply, least=0)
    r = numeric("resistance", resistance, above=0, infinity=True)
    v_z = numeric("voltage_zener", voltage_zener, above=0)
    r_l = numeric("resistance_load", resistance_load, least=0, infinity=True)
    r_z = numeric("resistance_zener", resistance_zener, least=0)
    v_s, r, v_z, r_l, r_z = np.broadcast_arrays(v_s, r, zener_knee(v_z, r_z, current_test), r_l, r_z)
    with np.errstate(divide="ignore", invalid="ignore"):
        load = 1 / r_l
        # Norton current and conductance of supply and load; a shorted load holds the output at zero.
        free = np.where(np.isinf(load), 0.0 * v_s, (v_s / r) / (1 / r + load))
        free = np.where(np.isnan(free) & np.isinf(r) & np.isinf(r_l), 0.0 * v_s, free)
        regulates = np.asarray(free > v_z)
        current_zener = np.where(regulates, (v_s / r - v_z * (1 / r + load)) / (1 + r_z * (1 / r + load)), 0.0 * r_z)
        output = np.where(np.isnan(v_z), np.nan, np.where(regulates, v_z + current_zener * r_z, free))
        current = np.asarray((v_s - output) / r)
        current_load = np.where(r_l == 0, current, output / r_l)
    current_zener = np.where(np.isnan(output), np.nan, current_zener)
    return ZenerPoint(
        voltage_output=output[()],
        current=current[()],
        current_load=current_load[()],
        current_zener=current_zener[()],
        power_zener=np.asarray(current_zener * output)[()],
        power_resistor=np.asarray(current * (v_s - output))[()],
        regulates=regulates[()],
    )


def zener_knee(
    v_z: NDArray[np.float64], r_z: NDArray[np.float64], current_test: ArrayLike | None
) -> NDArray[np.float64]:
    """Return where the line through the sheet's point, of slope `r_z`, meets zero current."""
    if current_test is None:
        if np.any(r_z > 0):
            raise ValueError(
                "current_test must be given with resistance_zener: sheets state voltage_zener at that current"
            )
        return v_z
    test = numeric("current_test", current_test, above=0)
    knee = np.asarray(v_z - r_z * test)
    if np.any(knee <= 0):
        raise ValueError(
            "resistance_zener times current_test must be below voltage_zener, "
            f"got a drop of {float(np.max(r_z * test)):g} V"
        )
    return knee
