"""A cell's timing constants from times that a builder, or a sheet, measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import is_a, numeric, one_number
from pedalcalc._base import fit
from pedalcalc._refusal import Unsolved
from pedalcalc._result import Caution, Number, Result, caution_below, quantity
from pedalcalc.devices import Coupler, Ldr, typical
from pedalcalc.opto.kinetics import time_to_fall, time_to_rise
from pedalcalc.opto.scatter import band_width

Array = NDArray[np.float64]

# Highest fall exponent looked for; the one cell timed at two lights has 0.28.
_EXPONENT_MOST = 2.0
_EXPONENT_STEP = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class TimingFit(Result):
    """Result of `fit_timing`; an exponent that was not measured stays that of the class."""

    cell: Ldr = quantity("record", "cell with fitted times")
    coupler: Coupler | None = quantity("record", "coupler with that cell, where a coupler was given")
    rise_exponent_measured: bool = quantity("bool", "rise exponent comes from the readings")
    fall_exponent_measured: bool = quantity("bool", "fall exponent comes from the readings")
    rise_ratio: Number = quantity("1", "measured over fitted rise times")
    fall_ratio: Number = quantity("1", "measured over fitted fall times")
    rise_factor: Number = quantity("1", "95 % band of each fitted rise time, times or divided by")
    fall_factor: Number = quantity("1", "95 % band of each fitted fall time, times or divided by")
    time_factor: float = quantity("1", "the widest of these bands")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def _rows(names: tuple[str, str, str], values: tuple[ArrayLike, ArrayLike, ArrayLike]) -> tuple[Array, Array, Array]:
    if _is_empty(values[0]) and _is_empty(values[2]):  # none of this kind was read
        return np.empty(0), np.empty(0), np.empty(0)
    light = numeric(names[0], values[0], above=0)
    part = numeric(names[1], values[1], above=0, below=1)
    time = numeric(names[2], values[2], above=0)
    light, part, time = (np.atleast_1d(row) for row in np.broadcast_arrays(light, part, time))
    if light.ndim != 1:
        raise ValueError(f"{names[0]}, {names[1]} and {names[2]} must be single readings or lists")
    for name, row in zip(names, (light, part, time), strict=True):
        if np.any(np.isnan(row)):
            raise ValueError(f"{name}: reading {int(np.argmax(np.isnan(row))) + 1} is NaN; leave it out")
    return light, part, time


def _is_empty(values: ArrayLike) -> bool:
    return isinstance(values, (list, tuple, np.ndarray)) and len(values) == 0


def _times(function: Any, row: tuple[Array, Array, Array], cell: Ldr) -> Array:
    """Return the times that `cell` takes, none where none were read."""
    return np.asarray(function(row[1], illuminance=row[0], cell=cell)) if row[0].size else np.empty(0)


def _shape(function: object, light: Array, part: Array, cell: Ldr, name: str) -> Array:
    """Return the times that `cell` would take, and refuse levels that its darkness spoils."""
    times = np.asarray(function(part, illuminance=light, cell=cell))  # type: ignore[operator]
    bad = ~np.isfinite(times) | (times <= 0)
    if np.any(bad):
        raise ValueError(
            f"{name}: reading {int(np.argmax(bad)) + 1} asks for a level on the far side of the cell's dark resistance"
        )
    return times


def _fit_rise(light: Array, part: Array, time: Array, cell: Ldr) -> tuple[Ldr, bool]:
    if light.size == 0:
        return cell, False
    flat = replace(cell, time_rise_10lx=1.0, rise_exponent=0.0)
    logs = np.log(time / _shape(time_to_rise, light, part, flat, "fraction_rise"))
    decades = np.log(light / 10)
    measured = bool(np.ptp(decades) > np.log(1.2))
    exponent = -float(np.polyfit(decades, logs, 1)[0]) if measured else float(cell.rise_exponent)
    if exponent < 0:
        raise ValueError("time_rise must not grow with illuminance_rise: a cell rises faster in brighter light")
    rise = float(np.exp(np.mean(logs + exponent * decades)))
    return replace(cell, time_rise_10lx=rise, rise_exponent=exponent), measured


def _fit_fall(light: Array, part: Array, time: Array, cell: Ldr) -> tuple[Ldr, bool]:
    if light.size == 0:
        return cell, False

    def logs(exponent: float) -> Array:
        unit = replace(cell, time_fall_10lx=1.0, fall_exponent=exponent)
        return np.log(time / _shape(time_to_fall, light, part, unit, "fraction_fall"))

    exponent = float(cell.fall_exponent)
    levels = np.array([light, part]).T
    measured = bool(np.any(np.abs(np.log(levels / levels[0])) > np.log(1.2)))
    if measured:
        from scipy.optimize import least_squares

        def misfit(guess: Array) -> Array:
            rest = logs(float(guess[0]))
            return np.asarray(rest - np.mean(rest))

        found = least_squares(misfit, [exponent], bounds=([0.0], [_EXPONENT_MOST]), xtol=1e-14, ftol=1e-14, gtol=1e-14)
        if not found.success:
            raise Unsolved(f"the fit of the fall times did not converge: {found.message}")
        exponent = float(found.x[0])
        if light.size == 2 and abs(found.fun[0]) > 1e-6:
            raise ValueError(
                "time_fall: the two fall times contradict the law at every exponent from 0 to "
                f"{_EXPONENT_MOST:g}; a fall from dimmer light, or to a smaller fraction, takes longer"
            )
    fall = float(np.exp(np.mean(logs(exponent))))
    return replace(cell, time_fall_10lx=fall, fall_exponent=exponent), measured


@fit
def fit_timing(
    *,
    cell: Ldr | Coupler,
    illuminance_rise: ArrayLike,
    fraction_rise: ArrayLike,
    time_rise: ArrayLike,
    illuminance_fall: ArrayLike,
    fraction_fall: ArrayLike,
    time_fall: ArrayLike,
    tolerance: ArrayLike = 0.1,
) -> TimingFit:
    """Fit a cell's rise and fall to measured times.

    One time of a kind gives its time constant and keeps the exponent of the class;
    two at different lights (for the fall, or to different fractions) give both.
    Give empty lists for a kind that was not timed.

    Parameters
    ----------
    cell : Ldr or Coupler
        The cell with its settled law, or the coupler it sits in; its exponents serve where not measured.
    illuminance_rise : array_like
        Light switched on, the cell dark before [lx], above 0; of a coupler, that
        of `coupler_point`.
    fraction_rise : array_like
        Conductance at the end of the time over its settled value [1], between 0 and 1.
    time_rise : array_like
        Times taken [s], above 0.
    illuminance_fall : array_like
        Light switched off, the cell settled in it before [lx], above 0.
    fraction_fall : array_like
        Conductance at the end of the time over its settled value [1], between 0 and 1.
    time_fall : array_like
        Times taken [s], above 0.
    tolerance : array_like
        How well one time repeats [1]; 0.1 is usual. With more times than the fit needs, what they show of their
        scatter counts for the bands, be it more or less.

    Returns
    -------
    TimingFit
        The cell with fitted times, and where a coupler was given that coupler with it, for whatever takes a coupler; for
        each time read measured over fitted, and the 95 % band of the fitted one; the widest of these bands; cautions.

    Raises
    ------
    ValueError
        For no reading at all, NaN, zeros, levels that the dark resistance hides, or
        times that contradict each other.
    RuntimeError
        If the fit did not converge.

    Notes
    -----
    Straight line in log time against log light for the rise; for the fall the closed
    form of `time_to_fall`, its exponent by least squares in log time. Two readings of
    each kind meet the law exactly and say nothing of what lies between them.

    The band of a fitted time is its leverage (the share of one reading's scatter that is left in it) times the
    half-width of `pedalcalc.opto.scatter`: Student's t with as many degrees of freedom as there are times to
    spare, rises and falls together. With none to spare it holds if the times repeat within `tolerance`.

    References
    ----------
    LDR-232-3816: 18 and 2.8 ms, 120 and 48 ms at 10 and 1000 lx (the example); DERIVED.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> found = fit_timing(
    ...     cell=devices.LDR_NORP12,
    ...     illuminance_rise=[10.0, 1000.0], fraction_rise=1 / 1.1, time_rise=[18e-3, 2.8e-3],
    ...     illuminance_fall=[10.0, 1000.0], fraction_fall=0.1, time_fall=[120e-3, 48e-3],
    ... )
    >>> f"{1e3 * found.cell.time_rise_10lx:.3f} ms, {found.cell.rise_exponent:.4f}"
    '7.535 ms, 0.4048'
    >>> f"{1e3 * found.cell.time_fall_10lx:.3f} ms, {found.cell.fall_exponent:.4f}"
    '35.366 ms, 0.2792'
    """
    whole = typical(cell) if isinstance(cell, Coupler) else None
    cell = whole.cell if whole is not None else typical(is_a("cell", cell, Ldr))
    usual = one_number("tolerance", tolerance, "", above=0, most=10)
    up = _rows(("illuminance_rise", "fraction_rise", "time_rise"), (illuminance_rise, fraction_rise, time_rise))
    down = _rows(("illuminance_fall", "fraction_fall", "time_fall"), (illuminance_fall, fraction_fall, time_fall))
    if up[0].size + down[0].size == 0:
        raise ValueError("time_rise or time_fall must hold at least one reading")
    timed, rise_measured = _fit_rise(*up, cell)
    timed, fall_measured = _fit_fall(*down, timed)
    timed = replace(timed, name=f"{cell.name}, timed", origin=f"times fitted to readings; else {cell.origin}")
    rise_ratio = up[2] / _times(time_to_rise, up, timed)
    fall_ratio = down[2] / _times(time_to_fall, down, timed)
    misses = np.log(np.concatenate([rise_ratio, fall_ratio]))
    by_rise, by_fall = _by_exponent(time_to_rise, up, timed), _by_exponent(time_to_fall, down, timed)
    spare = misses.size - int(up[0].size > 0) - int(down[0].size > 0) - rise_measured - fall_measured
    half = band_width(float(np.sum(misses**2)), spare=spare, told=usual)
    rise_factor = np.exp(half * _leverage(by_rise if rise_measured else None, up[0].size))
    fall_factor = np.exp(half * _leverage(by_fall if fall_measured else None, down[0].size))
    return TimingFit(
        cell=timed,
        coupler=None if whole is None else replace(whole, name=f"{whole.name}, timed", cell=timed),
        rise_exponent_measured=rise_measured,
        fall_exponent_measured=fall_measured,
        rise_ratio=rise_ratio,
        fall_ratio=fall_ratio,
        rise_factor=rise_factor,
        fall_factor=fall_factor,
        time_factor=float(np.max(np.concatenate([rise_factor, fall_factor]))),
        cautions=caution_below(
            "no time to spare that would show how far they scatter: the bands hold if each repeats within the tolerance",
            "time a third light",
            spare,
            1,
            "times",
        ),
    )


def _by_exponent(function: Any, row: tuple[Array, Array, Array], cell: Ldr) -> Array:
    """Return the derivatives of the logarithms of the fitted times by the exponent."""
    name = "rise_exponent" if function is time_to_rise else "fall_exponent"
    low, high = (
        np.log(_times(function, row, replace(cell, **{name: getattr(cell, name) + step})))
        for step in (0.0, _EXPONENT_STEP)
    )
    return np.asarray((high - low) / _EXPONENT_STEP)


def _leverage(by_exponent: Array | None, count: int) -> Array:
    """Return the standard deviation of each fitted logarithm over that of one reading."""
    columns = [np.ones(count)] if by_exponent is None else [np.ones(count), by_exponent]
    design = np.stack(columns, axis=-1)
    return np.asarray(np.sqrt(np.sum(design * np.linalg.pinv(design).T, axis=-1)))
