"""A cell's resistance over time for any history of light or LED current.

Light is taken as steps: each value holds until the next time. Between two
times the rise and the fall are solved exactly (`pedalcalc.opto.kinetics`), so
that steps may be as long as the light stays the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import numeric
from pedalcalc._base import simulate
from pedalcalc._refusal import Unsolved, among, must
from pedalcalc._result import Number, Result, quantity
from pedalcalc._units import told
from pedalcalc.devices import Coupler, Ldr
from pedalcalc.opto.cell import law_of
from pedalcalc.opto.coupler import coupler_illuminance
from pedalcalc.opto.kinetics import fall_clock, pace_of

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class CellResponse(Result):
    """Result of `coupler_response`; time runs along the last axis."""

    time: Number = quantity("s", "time")
    illuminance: Number = quantity("lx", "light on the cell")
    conductance: Number = quantity("S", "conductance of the photo layer")
    resistance_cell: Number = quantity("Ω", "cell resistance")


def _fall(level: Array, goal: Array, span: Array, exponent: Array) -> Array:
    """Return the level after `span` of dy/ds = (goal - y) y^exponent, for level above goal at least 0.

    Newton's method in the logarithm w of y - goal on the exact clock of
    `fall_clock`, which is decreasing and convex in w. From a start that is
    too low, such as the two used here, it climbs to the root and never passes it.
    """
    excess = level - goal
    log_excess = np.log(excess)
    euler = log_excess - span * level**exponent
    if np.all(excess < 1e-7 * level):  # the rate no longer changes: exponential, to 1 part in 1e14
        return np.asarray(goal + np.exp(euler))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        in_darkness = np.where(
            exponent == 0, level * np.exp(-span), (level**-exponent + exponent * span) ** (-1 / exponent)
        )
        dark_bound = np.where(in_darkness > goal, np.log(in_darkness - goal), -np.inf)
    log_now = np.maximum(np.maximum(euler, dark_bound), -650.0)
    target = fall_clock(excess, goal, exponent) + span
    for _ in range(60):
        now = np.exp(log_now)
        step = (fall_clock(now, goal, exponent) - target) * (goal + now) ** exponent
        log_now = np.minimum(np.maximum(log_now + step, -650.0), log_excess)
        after = np.exp(log_now)
        open_ = np.abs(step) * np.maximum(now, after) > 1e-12 * (goal + after)
        open_ &= (log_now > -650.0) | (step > 0)
        if not np.any(open_):
            return np.asarray(goal + after)
    raise Unsolved("the fall of the cell did not converge", open_)


def _steps(light: Array, moments: Array, start: Array, cell: Ldr) -> tuple[Array, Array]:
    """Return layer conductance and whole resistance for light held from each moment to the next."""
    law, pace = law_of(cell), pace_of(cell)
    lanes = np.broadcast_shapes(light.shape[:-1], start.shape, *(np.shape(part) for part in (*law, *pace)))
    resistance_10lx, gamma, dark, floor = (np.broadcast_to(part, lanes)[..., None] for part in law)
    time_rise, rise_exponent, time_fall, fall_exponent = (np.broadcast_to(part, lanes) for part in pace)
    goal = (light / 10) ** gamma
    width = np.diff(moments)
    with np.errstate(divide="ignore"):
        time_constant = time_rise[..., None] * (light[..., :-1] / 10) ** -rise_exponent[..., None]
    kept = np.exp(-width / time_constant)
    now = np.array((np.broadcast_to(start, lanes) / 10) ** gamma[..., 0])
    level = np.empty(goal.shape)
    level[..., 0] = now
    for i in range(width.size):
        aim = goal[..., i]
        falling = now > aim
        now = np.where(falling, now, aim + (now - aim) * kept[..., i])
        if np.any(falling):
            with among(goal.shape, np.flatnonzero(falling) * goal.shape[-1] + i):
                now[falling] = _fall(now[falling], aim[falling], width[i] / time_fall[falling], fall_exponent[falling])
        level[..., i + 1] = now
    conductance = dark + level / resistance_10lx
    with np.errstate(divide="ignore"):
        return conductance, 1 / conductance + floor


def cell_response(illuminance: ArrayLike, *, time: ArrayLike, cell: Ldr, illuminance_start: ArrayLike) -> CellResponse:
    """Follow a cell's resistance through a history of light, each value held to the next time, from a settled start."""
    light = numeric("illuminance", illuminance, least=0)
    moments = numeric("time", time, least=0)
    start = numeric("illuminance_start", illuminance_start, least=0)
    _check_times(light, moments, "illuminance")
    conductance, resistance = _steps(light, moments, start, cell)
    return CellResponse(
        time=np.broadcast_to(moments, conductance.shape),
        illuminance=np.broadcast_to(light, conductance.shape),
        conductance=conductance,
        resistance_cell=resistance,
    )


def _check_times(values: Array, moments: Array, name: str) -> None:
    if moments.ndim != 1 or moments.size < 2:
        raise ValueError(f"time must be one row of at least two times, got {told(moments)}")
    if values.ndim == 0 or values.shape[-1] != moments.size:
        raise ValueError(f"{name} must have one value for each of the {moments.size} times along its last axis")
    if np.any(bad := np.isnan(moments) | (np.diff(moments, prepend=-np.inf) <= 0)):
        raise must("time must rise from each value to the next", bad)


@simulate
def coupler_response(
    current: ArrayLike,
    *,
    time: ArrayLike,
    coupler: Coupler,
    current_start: ArrayLike,
    illuminance_ambient: ArrayLike = 0.0,
) -> CellResponse:
    """Follow a coupler's cell resistance through a history of LED current.

    Parameters
    ----------
    current : array_like
        LED current [A]; each value holds from its time to the next. Time runs
        along the last axis; 0 and reverse currents give no light.
    time : array_like
        Times in rising order [s], at least 0, one for each value along the last axis.
    coupler : Coupler
        The coupler. The numbers of its cell may be arrays that broadcast with the histories.
    current_start : array_like
        LED current in which the cell had settled before the first time [A].
    illuminance_ambient : array_like
        Light that leaks in from outside all the time [lx], at least 0.

    Returns
    -------
    CellResponse
        Time, light, conductance and resistance.

    Raises
    ------
    ValueError
        If times do not rise, or do not match the currents, or a value is impossible.
    RuntimeError
        If a step did not converge.

    Notes
    -----
    The cell follows the light of `coupler_point`. Rise: g = g_s + (g_0 - g_s) exp(-t / tau_r). Fall: the exact clock
    of the fall (module text of `kinetics`), inverted. NaN stays in its history from its time on. For the light itself
    take a coupler of 1 lx at 1 A and a light exponent of 1. Take steps of a tenth of a period or less where the current
    ripples.

    References
    ----------
    DERIVED; SHEET-NSL28 for the example: 5 ms to 63 % of conductance at 16 mA.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> lit = coupler_response([0.016, 0.016, 0.016], time=[0, 0.005, 1], coupler=devices.typical(devices.COUPLER_NSL28), current_start=0)
    >>> f"{lit.resistance_cell[2] / lit.resistance_cell[1]:.2f}"
    '0.63'
    """
    ambient = numeric("illuminance_ambient", illuminance_ambient, least=0)
    amps = numeric("current", current)
    moments = numeric("time", time, least=0)
    before = np.asarray(coupler_illuminance(numeric("current_start", current_start), coupler=coupler)) + ambient
    _check_times(amps, moments, "current")
    light = np.asarray(coupler_illuminance(amps, coupler=coupler)) + ambient[..., None]
    return cell_response(light, time=moments, cell=coupler.cell, illuminance_start=before)
