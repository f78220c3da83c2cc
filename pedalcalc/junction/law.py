"""The diode law by itself: current, voltage, slope, saturation current."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, formula, numeric
from pedalcalc.devices._law import BOLTZMANN, CHARGE, VOLTAGE_THERMAL_300K, saturation_through
from pedalcalc.laws._wright import bare_current, log_current


@formula
def thermal_voltage(
    temperature: ArrayLike, *, boltzmann: ArrayLike = BOLTZMANN, charge_elementary: ArrayLike = CHARGE
) -> Number:
    """Find the thermal voltage kT/q.

    Parameters
    ----------
    temperature : array_like
        Absolute temperature of the junction [K], > 0.
    boltzmann : array_like
        Boltzmann constant [J/K], > 0; textbooks round it to 1.38e-23.
    charge_elementary : array_like
        Elementary charge [C], > 0; textbooks round it to 1.6e-19.

    Returns
    -------
    float or ndarray
        Thermal voltage [V].

    Raises
    ------
    ValueError
        If an argument is not above zero.

    References
    ----------
    SI-BROCHURE, the defining constants.

    Examples
    --------
    >>> print(f"{thermal_voltage(300) * 1000:.3f} mV")
    25.852 mV
    """
    temperature = numeric("temperature", temperature, above=0)
    boltzmann = numeric("boltzmann", boltzmann, above=0)
    charge_elementary = numeric("charge_elementary", charge_elementary, above=0)
    return np.asarray(temperature * (boltzmann / charge_elementary))[()]


@formula
def junction_current(
    voltage: ArrayLike,
    *,
    current_saturation: ArrayLike,
    ideality: ArrayLike = 1.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> Number:
    """Find the current through a junction from the voltage across it.

    The ideal diode law, forward and reverse; no series resistance.

    Parameters
    ----------
    voltage : array_like
        Voltage across the junction [V], any sign.
    current_saturation : array_like
        Saturation current Is [A], > 0.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    float or ndarray
        Current [A]; inf where it exceeds what a float holds.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    I = Is (exp(V / (n Vt)) - 1). The reverse current of a real part is larger, by surface leakage.

    References
    ----------
    SHOCKLEY, the diode law.

    Examples
    --------
    >>> print(f"{junction_current(0.7, current_saturation=1e-14, voltage_thermal=0.026) * 1000:.2f} mA")
    4.93 mA
    """
    v = numeric("voltage", voltage)
    i_s, nvt = _law("current_saturation", current_saturation, ideality, voltage_thermal)
    with np.errstate(over="ignore", under="ignore"):
        return bare_current(v / nvt, i_s)[()]


@formula
def junction_voltage(
    current: ArrayLike,
    *,
    current_saturation: ArrayLike,
    ideality: ArrayLike = 1.0,
    resistance_series: ArrayLike = 0.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> Number:
    """Find the voltage across a diode or LED from the current through it.

    Parameters
    ----------
    current : array_like
        Current [A], at least the negative of the saturation current.
    current_saturation : array_like
        Saturation current Is [A], > 0.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    resistance_series : array_like
        Series resistance Rs of the part [Ω], at least 0; none if not given.
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    float or ndarray
        Voltage across junction and series resistance [V]; -inf at exactly minus the saturation current.

    Raises
    ------
    ValueError
        If an argument is outside its range, or more reverse current is asked than a junction passes.

    Notes
    -----
    V = n Vt ln(1 + I/Is) + I Rs.

    References
    ----------
    SHOCKLEY, the diode law.

    Examples
    --------
    >>> print(f"{junction_voltage(1e-3, current_saturation=6.914e-16, voltage_thermal=0.025):.2f} V")
    0.70 V
    """
    i = numeric("current", current)
    i_s, nvt = _law("current_saturation", current_saturation, ideality, voltage_thermal)
    r_s = numeric("resistance_series", resistance_series, least=0)
    if np.any(i < -i_s):
        worst = np.broadcast_arrays(i, -i_s)
        first = np.flatnonzero(worst[0] < worst[1])[0]
        raise ValueError(
            f"current must be at least {worst[1].flat[first]:g} (minus current_saturation), "
            f"since no more flows in reverse, got {worst[0].flat[first]:g}"
        )
    with np.errstate(divide="ignore", over="ignore", under="ignore"):
        return np.asarray(nvt * log_current(i, i_s) + i * r_s)[()]


@formula
def dynamic_resistance(
    current: ArrayLike,
    *,
    ideality: ArrayLike = 1.0,
    current_saturation: ArrayLike | None = None,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> Number:
    """Find the slope resistance dV/dI of a junction at its working current.

    Parameters
    ----------
    current : array_like
        Current through the junction [A], at least 0.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    current_saturation : array_like, optional
        Saturation current Is [A], > 0; neglected if not given, as textbooks do.
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    float or ndarray
        Dynamic resistance [Ω]; inf at zero current if Is is neglected.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    r = n Vt / (I + Is), by differentiation of the diode law. Series resistance of the part adds to it.

    References
    ----------
    SHOCKLEY, the diode law; DERIVED, its slope.

    Examples
    --------
    >>> print(f"{dynamic_resistance(1e-3, voltage_thermal=0.025):.1f} Ω")
    25.0 Ω
    """
    i = numeric("current", current, least=0)
    n = numeric("ideality", ideality, above=0)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    i_s = 0.0 if current_saturation is None else numeric("current_saturation", current_saturation, above=0)
    with np.errstate(divide="ignore"):
        return np.asarray(n * v_t / (i + i_s))[()]


@formula
def saturation_current(
    *,
    voltage: ArrayLike,
    current: ArrayLike,
    ideality: ArrayLike = 1.0,
    resistance_series: ArrayLike = 0.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> Number:
    """Find the saturation current from one measured pair of voltage and current.

    Parameters
    ----------
    voltage : array_like
        Forward voltage at that current [V], more than the series resistance drops.
    current : array_like
        Forward current [A], > 0.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    resistance_series : array_like
        Series resistance Rs of the part [Ω], at least 0; none if not given.
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    float or ndarray
        Saturation current Is [A].

    Raises
    ------
    ValueError
        If an argument is outside its range, or the series resistance alone drops the voltage.

    Notes
    -----
    Is = I / (exp((V - I Rs) / (n Vt)) - 1).

    References
    ----------
    SHOCKLEY, the diode law.

    Examples
    --------
    >>> print(f"{saturation_current(voltage=0.7, current=1e-3, voltage_thermal=0.025):.2e} A")
    6.91e-16 A
    """
    v = numeric("voltage", voltage, above=0)
    i = numeric("current", current, above=0)
    n = numeric("ideality", ideality, above=0)
    r_s = numeric("resistance_series", resistance_series, least=0)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    drop = np.asarray(i * r_s)
    if np.any(drop >= v):
        pair = np.broadcast_arrays(v, drop)
        first = np.flatnonzero(pair[1] >= pair[0])[0]
        raise ValueError(
            f"voltage must be above what resistance_series drops ({pair[1].flat[first]:g} V), "
            f"got {pair[0].flat[first]:g}"
        )
    with np.errstate(over="ignore", under="ignore"):
        return np.asarray(saturation_through(v, i, ideality=n, resistance_series=r_s, voltage_thermal=v_t))[()]


def _law(
    name: str, current_saturation: ArrayLike, ideality: ArrayLike, voltage_thermal: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Check the law's numbers; return saturation current and n Vt."""
    i_s = numeric(name, current_saturation, above=0)
    n = numeric("ideality", ideality, above=0)
    return i_s, np.asarray(n * numeric("voltage_thermal", voltage_thermal, above=0))
