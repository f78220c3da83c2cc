"""A junction in series with a resistance, solved exactly."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import wrightomega

from pedalcalc._base import Number, Result, formula, numeric_view, quantity
from pedalcalc.devices._law import VOLTAGE_THERMAL_300K, saturation_through
from pedalcalc.junction.law import bare_current, log_current

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class SeriesPoint(Result):
    """Where a junction in series with a resistance settles."""

    current: Number = quantity("A", "current")
    voltage_junction: Number = quantity("V", "voltage across the junction")
    voltage_resistor: Number = quantity("V", "voltage across the resistance")
    resistance_dynamic: Number = quantity("Ω", "dynamic resistance of the junction")
    power_junction: Number = quantity("W", "power in the junction")
    power_resistor: Number = quantity("W", "power in the resistance")


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
    >>> i = series_current(0.9, resistance=249.3, current_saturation=25e-15, voltage_thermal=0.0257025)
    >>> print(f"{i * 1000:.5f} mA")
    1.08485 mA
    """
    v = numeric_view("voltage", voltage)
    r = numeric_view("resistance", resistance, least=0, infinity=True)
    i_s = numeric_view("current_saturation", current_saturation, above=0)
    n = numeric_view("ideality", ideality, above=0)
    v_t = numeric_view("voltage_thermal", voltage_thermal, above=0)
    return solve_series(v, r, i_s, np.asarray(n * v_t))[()]


@formula
def series_point(
    voltage: ArrayLike,
    *,
    resistance: ArrayLike,
    current_saturation: ArrayLike,
    ideality: ArrayLike = 1.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> SeriesPoint:
    """Find where a junction in series with a resistance settles.

    Current, both voltages, the junction's dynamic resistance and both powers,
    each with full relative precision, forward and reverse.

    Parameters
    ----------
    voltage : array_like
        Voltage across junction and resistance together [V], any sign.
    resistance : array_like
        Total resistance in series, that of the part included [Ω], 0 to inf.
    current_saturation : array_like
        Saturation current Is [A], > 0.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    SeriesPoint
        Current [A], voltages [V], dynamic resistance [Ω] and powers [W].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Junction law I = Is (exp(Vj / (n Vt)) - 1), dynamic resistance n Vt / (I + Is).
    An open circuit (infinite resistance) has the whole voltage across the gap.

    References
    ----------
    BANWELL-JAYAKUMAR, the exact solution; DERIVED, slope and powers.

    Examples
    --------
    >>> point = series_point(5, resistance=2000, current_saturation=1e-13, voltage_thermal=0.026)
    >>> print(f"{point.voltage_junction:.3f} V, {point.current * 1000:.2f} mA, {point.resistance_dynamic:.1f} Ω")
    0.619 V, 2.19 mA, 11.9 Ω
    """
    v = numeric_view("voltage", voltage)
    r = numeric_view("resistance", resistance, least=0, infinity=True)
    i_s = numeric_view("current_saturation", current_saturation, above=0)
    n = numeric_view("ideality", ideality, above=0)
    v_t = numeric_view("voltage_thermal", voltage_thermal, above=0)
    return _point(v, r, i_s, np.asarray(n * v_t))


@formula
def load_line(
    voltage: ArrayLike,
    *,
    resistance: ArrayLike,
    voltage_reference: ArrayLike,
    current_reference: ArrayLike,
    voltage_decade: ArrayLike,
) -> SeriesPoint:
    """Find where a load line meets a diode that is given by one point and its volts per decade.

    Textbooks and sheets often state a diode as "0.7 V at 1 mA, 0.1 V per decade of current".

    Parameters
    ----------
    voltage : array_like
        Voltage across diode and resistance together [V], any sign.
    resistance : array_like
        Resistance of the load line [Ω], 0 to inf.
    voltage_reference : array_like
        Diode voltage at the reference current [V], > 0.
    current_reference : array_like
        Reference current [A], > 0.
    voltage_decade : array_like
        Rise of the diode voltage for ten times the current [V], > 0.

    Returns
    -------
    SeriesPoint
        Current [A], voltages [V], dynamic resistance [Ω] and powers [W].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    The rise per decade is n Vt ln 10; the saturation current puts the junction law
    through the reference point.

    References
    ----------
    SEDRA-SMITH, example 3.4, which iterates; DERIVED, solved exactly.

    Examples
    --------
    >>> point = load_line(5, resistance=1000, voltage_reference=0.7, current_reference=1e-3, voltage_decade=0.1)
    >>> print(f"{point.current * 1000:.3f} mA, {point.voltage_junction:.3f} V")
    4.237 mA, 0.763 V
    """
    v = numeric_view("voltage", voltage)
    r = numeric_view("resistance", resistance, least=0, infinity=True)
    v_ref = numeric_view("voltage_reference", voltage_reference, above=0)
    i_ref = numeric_view("current_reference", current_reference, above=0)
    nvt = np.asarray(numeric_view("voltage_decade", voltage_decade, above=0) / np.log(10))
    with np.errstate(over="ignore", under="ignore"):
        i_s = np.asarray(saturation_through(v_ref, i_ref, ideality=1.0, resistance_series=0.0, voltage_thermal=nvt))
    if np.any(i_s == 0):
        raise ValueError(
            "voltage_decade is too small for a junction: the saturation current is below what a float holds, "
            f"got {float((nvt * np.log(10) + 0 * i_s)[i_s == 0].flat[0]):g}"
        )
    return _point(v, r, i_s, nvt)


def _point(v: Floats, r: Floats, i_s: Floats, nvt: Floats) -> SeriesPoint:
    current = solve_series(v, r, i_s, nvt)
    v, r, i_s, nvt, current = np.broadcast_arrays(v, r, i_s, nvt, current)
    with np.errstate(all="ignore"):
        across = np.asarray(nvt * log_current(current, i_s))
        slope = np.asarray(nvt / (current + i_s))
        # In deep reverse 1 + I/Is has no digits left; there the circuit equation gives the junction voltage.
        back = np.asarray((current < -0.5 * i_s) & ~np.isinf(r))
        if back.any():
            part = v[back] - current[back] * r[back]
            over, law = r[back] * i_s[back], np.expm1(part / nvt[back])
            part = part - (part + over * law - v[back]) / (1 + over / nvt[back] * (law + 1))
            across[back] = part
            slope[back] = np.exp(np.log(nvt[back]) - np.log(i_s[back]) - part / nvt[back])
        drop = np.asarray(np.where(np.isinf(r), v, current * r))
        return SeriesPoint(
            current=current[()],
            voltage_junction=across[()],
            voltage_resistor=drop[()],
            resistance_dynamic=slope[()],
            power_junction=np.asarray(current * across)[()],
            power_resistor=np.asarray(current * drop)[()],
        )


#: Below this argument omega(x) < 1e-17: the drop over the resistance is under half a digit of a float.
_RESISTANCE_NEGLIGIBLE = -40.0


#: Elements solved at a time: what a processor core keeps at hand, so that ten passes cost little more than one.
BLOCK = 32_768


def blocks(*parts: Floats) -> Iterator[tuple[slice, tuple[Floats, ...]]]:
    """Cut arrays that broadcast together along their first axis into pieces of about `BLOCK` elements.

    A part that varies along that axis is cut; one that does not serves every piece whole.
    """
    shape = np.broadcast_shapes(*(part.shape for part in parts))
    step = max(BLOCK // max(math.prod(shape[1:]), 1), 1)
    for start in range(0, shape[0], step):
        rows = slice(start, start + step)
        yield rows, tuple(part[rows] if part.ndim == len(shape) and part.shape[0] > 1 else part for part in parts)


def solve_series(v: Floats, r: Floats, i_s: Floats, nvt: Floats) -> Floats:
    """Solve v = nvt ln(1 + i/i_s) + i r for checked arrays."""
    current = np.empty(np.broadcast_shapes(v.shape, r.shape, i_s.shape, nvt.shape))
    if current.size <= BLOCK:
        solve_block(v, r, i_s, nvt, out=current)
    else:
        for rows, piece in blocks(v, r, i_s, nvt):
            solve_block(*piece, out=current[rows])
    return current


def solve_block(v: Floats, r: Floats, i_s: Floats, nvt: Floats, *, out: Floats) -> None:
    """Solve v = nvt ln(1 + i/i_s) + i r into `out`, which has the shape of all four together."""
    with np.errstate(all="ignore"):
        # Logarithms are summed so that neither a tiny nor a huge Is R leaves the float range.
        x = np.asarray(np.log(r))
        for part in (np.log(i_s) - np.log(nvt), r * (i_s / nvt), v / nvt):
            x = np.asarray(np.add(x, part, out=_spare(x, np.asarray(part))))
        wrightomega(x, out=out)
        out *= nvt / r
        out -= i_s
        if out.size == 0 or (x.min() >= _RESISTANCE_NEGLIGIBLE and x.max() < np.inf and out.min() > 0.5 * i_s.max()):
            return
        bare = x < _RESISTANCE_NEGLIGIBLE
        if bare.any():
            v_b, i_s_b, nvt_b = _pick(bare, v, i_s, nvt)
            out[bare] = bare_current(v_b / nvt_b, i_s_b)
        near = np.abs(out) < 0.5 * i_s
        near &= ~bare
        if near.any():
            out[near] = _polished(out[near], *_pick(near, v, r, i_s, nvt))
        if not np.all(x < np.inf):
            _limit_beyond(out, x, v, r, i_s, nvt)


def _spare(array: Floats, *others: Floats) -> Floats | None:
    """Return an array that may be overwritten by its result with `others`, or None if the result is larger."""
    shape = np.broadcast_shapes(array.shape, *(other.shape for other in others))
    return array if array.ndim and array.shape == shape else None


def _pick(where: NDArray[np.bool_], *parts: Floats) -> list[Floats]:
    """Return the marked elements of each part; what is one number for all stays one."""
    return [part if part.ndim == 0 else np.broadcast_to(part, where.shape)[where] for part in parts]


def _limit_beyond(current: Floats, x: Floats, v: Floats, r: Floats, i_s: Floats, nvt: Floats) -> None:
    """Fill in what an open circuit or a huge voltage passes: the junction's own drop counts no more."""
    known = ~(np.isnan(v) | np.isnan(r) | np.isnan(i_s) | np.isnan(nvt))
    beyond = ~(x < np.inf) & known
    if beyond.any():
        v, r, i_s = _pick(beyond, v, r, i_s)
        current[beyond] = np.maximum(v / r, -i_s)


def _polished(rough: Floats, v: Floats, r: Floats, i_s: Floats, nvt: Floats) -> Floats:
    """Restore the digits that the subtraction of Is costs near zero, by one Newton step on the circuit equation.

    The start has eight digits: the rough value itself, or nearer to zero the series of ln(1 + i/i_s).
    """
    slope = nvt / i_s
    linear = v / (r + slope)
    start = linear * (1 + linear * slope / (2 * i_s * (r + slope)))
    i = np.where(np.abs(rough) > 1e-4 * i_s, rough, start)
    return np.asarray(i - (nvt * np.log1p(i / i_s) + i * r - v) / (nvt / (i_s + i) + r))
