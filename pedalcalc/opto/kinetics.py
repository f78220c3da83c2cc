"""Why a photocell is slow: rise in the light's time, fall in the conductance's.

    rise (g below settled)   dg/dt = (g_settled - g) / tau_r,  tau_r = t_rise_10lx (E / 10 lx)^-a
    fall (g above settled)   dg/dt = (g_settled - g) / tau_f,  tau_f = t_fall_10lx (y)^-b,  y = (g - 1/R_d) R_10

The rise is exponential in steady light. The fall slows down as the cell gets
darker, which makes it quick at first and long in the tail. It is solved exactly
too: with y_s for the settled value, the time from y_0 down to y is

    t = t_fall_10lx (L(y) - L(y_0)),   L(y) = (y^-b - 1)/b + y^-b S(y_s/y),   S(u) = sum u^k / (k + b) over k >= 1

so that in darkness (y_s = 0) t = (t_fall_10lx / b) (y^-b - y_0^-b).
The floor resistance stands in series with g and has no part in it.

The law is empirical: four constants from four times of one kind of cell. A
single recombination law misses those times by 3 to 7; treat the times of a cell
that was not timed as good to a factor of two (`TIME_FACTOR_UNMEASURED`).
"""

from __future__ import annotations

from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import digamma, hyp2f1

from pedalcalc._arguments import Range
from pedalcalc._base import formula
from pedalcalc._ranges import AtLeastZero
from pedalcalc._result import Number
from pedalcalc.devices import Ldr
from pedalcalc.laws.cells import rise
from pedalcalc.opto.cell import cell_conductance, figures_of, law_of

#: Times of a cell that was not timed: times or divided by this.
TIME_FACTOR_UNMEASURED = 2.0

Array = NDArray[np.float64]


def pace_of(cell: Ldr) -> tuple[Array, ...]:
    """Return the four timing constants of one cell: rise, a, fall, b."""
    return figures_of(cell)[4:]


@formula
def rise_time_constant(illuminance: AtLeastZero, *, cell: Ldr) -> Number:
    """Return the time constant [s] with which a cell's conductance rises in steady light."""
    return rise(illuminance, figures_of(cell))


def _tail(share: Array, rest: Array, exponent: Array) -> Array:
    """Return S = sum of share^k / (k + exponent) over k >= 1, given also rest = 1 - share.

    S = share/(1 + exponent) 2F1(1, 1 + exponent; 2 + exponent; share), taken through
    Pfaff's transformation: scipy's 2F1 goes wrong for the direct form near share = 1.
    """
    near = rest < 1e-8
    with np.errstate(divide="ignore", invalid="ignore"):
        odds = np.where(near, 0.0, share / rest)
        series = odds / (1 + exponent) * hyp2f1(1, 1, 2 + exponent, -odds)
        log_rest = -np.log(rest) + digamma(1.0) - digamma(1 + exponent)
        close = log_rest + rest * exponent * (log_rest + 1)
    return np.where(near, np.where(rest == 0, np.inf, close), series)


def fall_clock(excess: Array, settled: Array, exponent: Array) -> Array:
    """Return L(y) at y = settled + excess, so that time runs as t_fall_10lx (L(y) - L(y_0))."""
    level = settled + excess
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        log_level = np.log(level)
        steady = np.where(exponent == 0, -log_level, np.expm1(-exponent * log_level) / exponent)
        return steady + np.exp(-exponent * log_level) * _tail(settled / level, excess / level, exponent)


def _end_conductance(fraction: Array, settled: Array, floor: Array) -> Array:
    """Return the layer's conductance at which the whole cell conducts `fraction` of its settled value."""
    with np.errstate(divide="ignore"):
        return 1 / ((1 / settled + floor) / fraction - floor)


@formula
def time_to_rise(fraction: Annotated[Any, Range(above=0, below=1)], *, illuminance: AtLeastZero, cell: Ldr) -> Number:
    """Return how long a dark cell takes to reach a fraction of its settled conductance.

    Sheets take 0.63 of the conductance, or a resistance of 1.1 times the settled
    one, which is a fraction of 1/1.1.

    Parameters
    ----------
    fraction : array_like
        Conductance of the whole cell over its settled value in that light [1], above 0 and below 1.
    illuminance : array_like
        Light that is switched on [lx], at least 0.
    cell : Ldr
        The cell.

    Returns
    -------
    float or ndarray
        Time [s]; 0 where the dark cell conducts that much already.

    Raises
    ------
    ValueError
        If the fraction is not between 0 and 1, or the light negative.

    Notes
    -----
    t = tau_r ln((g_s - g_d) / (g_s - g)), with g where 1/g + R_floor is the settled
    resistance over `fraction`.

    References
    ----------
    DERIVED from the law of `laws.cell_rates`; LDR-232-3816 for the example.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> f"{1e3 * time_to_rise(1 / 1.1, illuminance=1000.0, cell=devices.LDR_NORP12):.1f} ms"
    '2.8 ms'
    """
    settled = np.asarray(cell_conductance(illuminance, cell=cell))
    _, _, dark, floor = law_of(cell)
    with np.errstate(divide="ignore", invalid="ignore"):
        reached = _end_conductance(fraction, settled, floor)
        periods = np.log((settled - dark) / (settled - np.maximum(reached, dark)))
        time = np.asarray(rise_time_constant(illuminance, cell=cell)) * periods
    return np.where(reached <= dark, 0.0, time)


@formula
def time_to_fall(fraction: Annotated[Any, Range(above=0, most=1)], *, illuminance: AtLeastZero, cell: Ldr) -> Number:
    """Return how long a lit cell takes in darkness to fall to a fraction of its conductance.

    Sheets take 0.37 of the conductance, or ten times the lit resistance, which is
    a fraction of 0.1.

    Parameters
    ----------
    fraction : array_like
        Conductance of the whole cell over its settled value in that light [1], above 0, to 1.
    illuminance : array_like
        Light that is switched off after the cell had settled in it [lx], at least 0.
    cell : Ldr
        The cell.

    Returns
    -------
    float or ndarray
        Time [s]; infinite where the dark cell still conducts more than that.

    Raises
    ------
    ValueError
        If the fraction is not between 0 and 1, or the light negative.

    Notes
    -----
    t = (t_fall_10lx / b) (y^-b - y_0^-b), with y = (g - 1/R_d) R_10 and g where
    1/g + R_floor is the lit resistance over `fraction`; for b = 0, t_fall_10lx ln(y_0 / y).

    References
    ----------
    DERIVED from the law of `laws.cell_rates`; LDR-232-3816 for the example.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> f"{1e3 * time_to_fall(0.1, illuminance=1000.0, cell=devices.LDR_NORP12):.0f} ms"
    '48 ms'
    """
    settled = np.asarray(cell_conductance(illuminance, cell=cell))
    resistance_10lx, _, dark, floor = law_of(cell)
    _, _, time_fall, exponent = pace_of(cell)
    with np.errstate(divide="ignore", invalid="ignore"):
        left = (_end_conductance(fraction, settled, floor) - dark) * resistance_10lx
        start = (settled - dark) * resistance_10lx
        dim = np.asarray(0.0)
        time = time_fall * (fall_clock(left, dim, exponent) - fall_clock(start, dim, exponent))
    return np.where(fraction == 1, 0.0 * settled, np.where(left <= 0, np.inf, time))
