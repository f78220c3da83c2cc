"""One semiconductor junction, alone and in series with a resistance.

Diode law of W. Shockley with emission coefficient: I = Is (exp(V / (n Vt)) - 1).
In series with a resistance it has a closed form in the Wright omega function,
which serves every diode and LED of the package.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import wrightomega

from pedalcalc._base import Number, formula, numeric
from pedalcalc.devices._law import VOLTAGE_THERMAL_300K

__all__ = ["VOLTAGE_THERMAL_300K", "series_current"]


@formula
def series_current(
    voltage: ArrayLike,
    *,
    resistance: ArrayLike,
    current_saturation: ArrayLike,
    ideality: ArrayLike = 1.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> Number:
    """Find the current through a junction in series with a resistance.

    The exact current at which V = n Vt ln(1 + I/Is) + I R, forward and
    reverse, with full relative precision down to zero current.

    Parameters
    ----------
    voltage : array_like
        Voltage across junction and resistance together [V], any sign.
    resistance : array_like
        Total resistance in series, that of the part included [Ω], 0 to inf.
    current_saturation : array_like
        Saturation current Is [A], > 0.
    ideality : array_like
        Emission coefficient n [1], > 0.
    voltage_thermal : array_like
        Thermal voltage Vt = kT/q [V], > 0; 300 K if not given.

    Returns
    -------
    float or ndarray
        Current I [A]. With no resistance the plain diode law; inf where that
        exceeds what a float holds.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    With r = Is R / (n Vt) the solution is
    I = n Vt / R * omega(ln r + r + V / (n Vt)) - Is, omega the Wright function.
    Where the subtraction would lose digits, Newton's method on the circuit
    equation itself restores them; it converges from below because ln(1 + I/Is)
    is concave.

    References
    ----------
    BANWELL-JAYAKUMAR, the exact solution (with Lambert's W); DERIVED, the
    form that does not overflow.

    Examples
    --------
    >>> round(series_current(0.9, resistance=249.3, current_saturation=25e-15, voltage_thermal=0.0257025), 8)
    0.00108485
    """
    v = numeric("voltage", voltage)
    r = numeric("resistance", resistance, least=0, infinity=True)
    i_s = numeric("current_saturation", current_saturation, above=0)
    n = numeric("ideality", ideality, above=0)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    return _series_current(v, r, i_s, n * v_t)[()]


def _series_current(
    v: NDArray[np.float64], r: NDArray[np.float64], i_s: NDArray[np.float64], nvt: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Solve v = nvt ln(1 + i/i_s) + i r for checked arrays."""
    with np.errstate(all="ignore"):
        # Logarithms are summed so that neither a tiny nor a huge Is R leaves the float range.
        x = np.asarray(v / nvt + (np.log(r) + (np.log(i_s) - np.log(nvt) + r * (i_s / nvt))))
        current = np.asarray(wrightomega(x) * (nvt / r) - i_s)
        special = np.asarray((current < 0.5 * i_s) | (x < _RESISTANCE_NEGLIGIBLE) | ~(x < np.inf))
        if special.any():
            parts = (np.broadcast_to(part, x.shape)[special] for part in (v, r, i_s, nvt))
            current[special] = _special_current(*parts, x=x[special], rough=current[special])
    return current


#: Below this argument omega(x) < 1e-17: the drop over the resistance is under half a digit of a float.
_RESISTANCE_NEGLIGIBLE = -40.0


def _special_current(
    v: NDArray[np.float64],
    r: NDArray[np.float64],
    i_s: NDArray[np.float64],
    nvt: NDArray[np.float64],
    *,
    x: NDArray[np.float64],
    rough: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Solve the elements where the omega form loses digits: near zero, R to 0, R to inf."""
    current = rough.copy()
    bare = x < _RESISTANCE_NEGLIGIBLE
    u = v[bare] / nvt[bare]
    current[bare] = np.where(u < 700, i_s[bare] * np.expm1(u), np.exp(u + np.log(i_s[bare])))
    beyond = ~(x < np.inf)
    current[beyond] = np.maximum(v[beyond] / r[beyond], -i_s[beyond])
    near = (np.abs(rough) < 0.5 * i_s) & ~bare & ~beyond
    v, r, i_s, nvt, rough = v[near], r[near], i_s[near], nvt[near], rough[near]
    i = np.where(np.abs(rough) > 1e-4 * i_s, rough, v / (r + nvt / i_s))
    for _ in range(2):  # from 1e-4 relative to 1e-8 to beyond the last digit
        i -= (nvt * np.log1p(i / i_s) + i * r - v) / (nvt / (i_s + i) + r)
    current[near] = i
    return current
