"""A coupler's record from the builder's own meter.

The law that is fitted is that of `pedalcalc.opto.coupler_point`,

    R = R_floor + 1 / (1/R_dark + (I / I_ref)^p / R_ref),    p = gamma x light exponent,

in the logarithm of R, so that a reading counts by its percentage. Readings far
off the rest are given little weight (Cauchy loss). Readings alone cannot tell
a brighter lamp from a more sensitive cell, so the class's cell keeps its slope and
its resistance at 10 lx, and the coupling takes what was measured. The 95 % bands are counted over couplers
that fit the readings as well, see `pedalcalc.opto.coupler_draws`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import is_a, one_number
from pedalcalc._base import fit, formula
from pedalcalc._ranges import AboveZero
from pedalcalc._refusal import Unsolved, refused
from pedalcalc._result import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc._units import shown
from pedalcalc.devices import Coupler, typical
from pedalcalc.opto.band import CouplerBand
from pedalcalc.opto.coupler import coupler_resistance
from pedalcalc.opto.coupler_draws import draw_couplers, log_resistance, log_slopes
from pedalcalc.opto.fit_draws import with_figures
from pedalcalc.opto.pairs import checked_pairs, hysteresis

Array = NDArray[np.float64]

# How well a class record knows what was not measured, one standard deviation of the logarithm.
_FLOOR_OF_CLASS = np.log(3)
_DARK_OF_CLASS = np.log(3)
_DARK_READ = 0.2

#: Resistance [Ω] that a meter's open display tells of at least: its usual top range.
OPEN_LEAST = 20e6
#: A coupler whose resistance lies this many times off its class is another kind, or was misread.
FACTOR_OF_CLASS = 10.0

_SLIP = np.log(2.5)
_BAND = 0.95
_CURRENTS_AT_ONCE = 250  # so that the band of a long sweep does not take all memory


@dataclass(frozen=True, slots=True, eq=False)
class CouplersDrawn(Result):
    """Couplers that may have given the same readings, each as likely as the next; what the bands are counted over."""

    name: str = quantity("text", "name")
    logs: Number = quantity("1", "a row each of ln R_ref, slope, ln floor and ln dark")


@dataclass(frozen=True, slots=True, eq=False)
class CouplerFit(Result):
    """Result of `fit_coupler`. A `..._factor` is the 95 % band, times or divided by."""

    coupler: Coupler = quantity("record", "fitted coupler")
    slope: float = quantity("1", "slope of log resistance against log current")
    slope_margin: float = quantity("1", "95 % band of the slope, either way")
    current_reference: float = quantity("A", "reference current")
    resistance_reference: float = quantity("Ω", "resistance at the reference current")
    resistance_reference_factor: float = quantity("1", "its 95 % band, times or divided by")
    resistance_floor: float = quantity("Ω", "floor resistance")
    resistance_floor_factor: float = quantity("1", "its 95 % band, times or divided by")
    resistance_dark: float = quantity("Ω", "dark resistance")
    resistance_dark_factor: float = quantity("1", "its 95 % band, times or divided by")
    scatter: float = quantity("1", "relative scatter of a reading, from three on", percent=True)
    hysteresis: float = quantity("1", "resistance going up over resistance coming down, less 1", percent=True)
    current: Number = quantity("A", "LED current of each reading")
    resistance_ratio: Number = quantity("1", "measured over fitted resistance")
    odd_readings: tuple[int, ...] = quantity("records", "readings far off the rest, by place")
    couplers_drawn: CouplersDrawn = quantity("record", "couplers that fit as well")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def _median_slope(across: Array, up: Array) -> float:
    """Return the median of the slopes between all pairs (Theil and Sen)."""
    run = across[:, None] - across
    far = run > np.log(1.2)
    return float(np.median((up[:, None] - up)[far] / run[far]))


@fit
def fit_coupler(
    current: ArrayLike,
    *,
    resistance_cell: ArrayLike,
    coupler: Coupler,
    resistance_dark: ArrayLike = np.nan,
    resistance_dark_least: ArrayLike = 0.0,
    tolerance: ArrayLike = 0.05,
) -> CouplerFit:
    """Fit a coupler to pairs of LED current and cell resistance read with a meter.

    Two pairs give slope and scale, with floor and dark resistance as the class has
    them. From four pairs on, one bad reading is outvoted; floor and dark resistance come
    from the readings as far as these reach them. Give readings in the order taken:
    going up and coming down again shows the cell's memory of light.

    Parameters
    ----------
    current : array_like
        LED currents [A], above 0, in the order taken; at least two that differ.
    resistance_cell : array_like
        Cell resistance at each current [Ω], above 0, after a steady half minute.
    coupler : Coupler
        The class: a record of the same kind of LED and cell.
    resistance_dark : array_like
        Resistance ten seconds after the LED went out [Ω]; infinite where the meter
        shows open on its top range, which tells that it is 20 MΩ or more; NaN (the default) where not read.
    resistance_dark_least : array_like
        What the dark resistance is at least [Ω], where the meter told no more than that; 0 if not given.
    tolerance : array_like
        How well one reading repeats [1]; 0.05 is usual. From three readings on what they show of their scatter
        counts for the bands, be it more or less. Two show nothing of it, and a caution says so.

    Returns
    -------
    CouplerFit
        Fitted coupler, each parameter with its 95 % band, measured over fitted
        resistance, scatter, hysteresis, odd readings and cautions.

    Raises
    ------
    ValueError
        For fewer than two pairs, equal currents, NaN, zeros, an open reading, or
        resistance that rises with current: the reading is named.
    RuntimeError
        If the fit did not converge.

    Notes
    -----
    Least squares in log R with Cauchy loss, then again without the odd readings, each weighted by the scatter found
    where that is more than told. Floor and dark resistance of the class enter as one more reading each, good to a
    factor of 3 (a dark resistance that was read: 20 %); a class dark resistance below a lit reading gives way to
    three times that reading, one below what it is at least to that. The dark reading is timed because makers time it: 10 s after the light.

    Of couplers that may have given the readings (`couplers_drawn`), 95 of 100 lie in a 95 % band. Over drawn
    couplers and readings it holds the truth in 92 to 98 % of cases from four readings on, be the scatter as
    told, twice or three times that; with three readings in up to 100 %, since these hardly show their scatter; with
    two, only if they repeat as told.

    References
    ----------
    CDS-RESIN (dark resistance at 10 s); LDR-232-3816 (memory of the light a cell was
    stored in); DERIVED for the fit and its bands; PRACTICE for 5 %.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> found = fit_coupler([1e-4, 1e-2], resistance_cell=[30e3, 1e3], coupler=devices.COUPLER_GREEN_GAP_GL5528)
    >>> f"{found.slope:.2f} ± {found.slope_margin:.2f}"
    '0.76 ± 0.10'
    """
    from scipy.optimize import least_squares

    coupler = typical(is_a("coupler", coupler, Coupler))
    usual = one_number("tolerance", tolerance, "", above=0, most=10)
    read_dark = one_number("resistance_dark", resistance_dark, "", unknown=True, above=0, infinity=True)
    amps, ohms = checked_pairs(current, resistance_cell, np.asarray(usual))
    floor = one_number("resistance_floor", coupler.cell.resistance_floor, "", unknown=True, least=0)
    least = one_number("resistance_dark_least", resistance_dark_least, "", unknown=True, least=0)
    if np.isinf(read_dark):
        read_dark, least = np.nan, max(least, OPEN_LEAST)
    dark = max(float(coupler.cell.resistance_dark), least) if np.isnan(read_dark) else read_dark
    if dark <= np.max(ohms):
        if not np.isnan(read_dark):
            most = shown(float(np.max(ohms)), "Ω")
            raise refused("resistance_dark", f"above every lit reading (up to {most})", dark)
        dark = float(3 * np.max(ohms))
    middle = float(np.exp(np.mean(np.log(amps))))
    log_over, log_ohms = np.log(amps / middle), np.log(ohms)

    floor_least = min(floor, 0.7 * float(np.min(ohms)))
    known = np.array([np.log(floor_least) if floor > 0 else -np.inf, np.log(dark)])
    width = np.array([_FLOOR_OF_CLASS, _DARK_OF_CLASS if np.isnan(read_dark) else _DARK_READ])
    width[~np.isfinite(known)] = 0.0  # no floor and an open dark resistance are not in doubt
    free = np.concatenate([[True, True], width > 0])

    held = np.diag(np.append([0.0, 0.0], 1 / width[free[2:]]))[2:]  # what the class knows, by the logarithms in doubt

    def four(logs: Array) -> Array:
        """Return ln R_ref, slope, ln floor and ln dark, of which `logs` are those in doubt."""
        whole = np.append([0.0, 0.0], known)
        whole[free] = logs
        return whole

    def best(start: Array, kept: NDArray[np.bool_], weight: float, *, outvote: bool = False) -> tuple[Array, Array]:
        """Return the four logarithms that fit best, and the covariance of those in doubt."""

        def misfit(logs: Array) -> Array:
            miss = log_ohms[kept] - log_resistance(four(logs), log_over[kept])[0]
            return np.concatenate([miss / weight, (logs[2:] - known[free[2:]]) / width[free[2:]]])

        def slopes(logs: Array) -> Array:
            by_logs = np.stack(log_slopes(four(logs), log_over[kept]), axis=-1)[:, free]
            return np.concatenate([-by_logs / weight, held])

        def cauchy(squares: Array) -> Array:
            """Return Cauchy loss for the readings, plain squares for what the class knows."""
            rho = np.stack([squares, np.ones_like(squares), np.zeros_like(squares)])
            head = squares[: amps.size]
            rho[:, : amps.size] = np.log1p(head), 1 / (1 + head), -1 / (1 + head) ** 2
            return rho

        close = dict.fromkeys(("xtol", "ftol", "gtol"), 1e-8 if outvote else 1e-12)
        found = least_squares(
            misfit, start[free], jac=slopes, loss=cauchy if outvote else "linear", max_nfev=5000, **close
        )
        if not found.success or not np.all(np.isfinite(found.x)):
            raise Unsolved(f"the fit of the coupler did not converge: {found.message}")
        return four(found.x), np.linalg.inv(found.jac.T @ found.jac)

    layer = np.log(ohms - (floor_least if floor > 0 else 0.0))
    power = -_median_slope(log_over, layer)
    start = np.append([np.median(layer + power * log_over), power], known)
    every = np.ones(amps.size, dtype=bool)
    logs, weight = start, usual
    for _ in range(2 if amps.size > 3 else 0):
        logs, _ = best(logs, every, weight, outvote=True)
        weight = _most_scatter(log_ohms - log_resistance(logs, log_over)[0], usual)
    kept = ~_odd(log_ohms - log_resistance(logs, log_over)[0], usual)
    logs, covariance = best(logs, kept, usual)
    draws, scatters = draw_couplers(
        logs,
        covariance[2:, 2:],
        known=known,
        width=width,
        log_over=log_over[kept],
        log_ohms=log_ohms[kept],
        told=usual,
    )
    scatter = float(np.median(scatters))
    logs, _ = best(logs, kept, max(usual, scatter))
    misses = log_ohms - log_resistance(logs, log_over)[0]
    return _report(logs, draws, misses, ~kept, scatter, amps, coupler, middle)


def _most_scatter(misses: Array, usual: float) -> float:
    """Return the scatter of three quarters of the readings, or what was told if that is more.

    Three quarters, so that a memory of light, which sets one half off against the other, is not taken for slips.
    """
    return max(usual, float(np.quantile(np.abs(misses), 0.75, method="lower")) / 1.15)


def _odd(misses: Array, usual: float) -> NDArray[np.bool_]:
    """Return which readings lie so far off the rest that they are slips; none of fewer than four.

    Chance sets one reading in a thousand off by Student's t times the scatter; with few readings, whose scatter
    is hardly known, that is far. Two and a half times off is a slip in any case, unless four scatters reach as far.
    """
    from scipy.special import stdtrit

    if misses.size < 4:
        return np.zeros(misses.size, dtype=bool)
    scatter = _most_scatter(misses, usual)
    far = float(stdtrit(misses.size - 3, 0.9995)) * scatter
    return np.asarray(np.abs(misses) > min(far, max(4 * scatter, _SLIP)))


def _half(away: Array) -> float:
    """Return the half-width that holds 95 % of the draws, given how far each lies from the fit."""
    return float(np.quantile(np.abs(away), _BAND))


def _report(
    logs: Array,
    draws: Array,
    misses: Array,
    odd: NDArray[np.bool_],
    scatter: float,
    amps: Array,
    coupler: Coupler,
    middle: float,
) -> CouplerFit:
    slope = float(logs[1])
    floor, dark = (float(part) for part in np.exp(logs[[2, 3]]))
    at_reference, _ = log_resistance(draws, np.zeros(1))
    fitted = replace(
        with_figures(coupler, logs, middle),
        name=f"{coupler.name}, fitted",
        origin=f"fitted to {amps.size} readings; class: {coupler.origin}",
    )
    kept = int(np.count_nonzero(~odd))
    memory = hysteresis(amps, misses, odd)
    away = float(coupler_resistance(middle, coupler=fitted)) / float(coupler_resistance(middle, coupler=coupler))
    cautions = (
        caution_above(
            "readings far off the rest were left out", "read them again", np.count_nonzero(odd), 0, "readings"
        )
        + caution_above(
            "readings going up and coming down differ: the cell remembers light",
            "rest it in the dark for some minutes, then wait half a minute at each current",
            abs(memory),
            0.10,
            "%",
        )
        + caution_below(
            "the readings span less than a decade of current",
            "read at smaller and larger currents: the slope is weak",
            np.max(amps) / np.min(amps),
            10,
            "1",
        )
        + caution_above(
            f"resistance far from that of {coupler.name}, times or divided by",
            "name the class of your LED and cell, or look at units and ranges of the readings again",
            max(away, 1 / away),
            FACTOR_OF_CLASS,
            "1",
        )
        + caution_below(
            "two readings do not show their own scatter: the bands hold if each repeats within the tolerance",
            "read at five currents or more",
            kept,
            3,
            "readings",
        )
    )
    return CouplerFit(
        coupler=fitted,
        slope=slope,
        slope_margin=_half(draws[:, 1] - slope),
        current_reference=middle,
        resistance_reference=float(coupler_resistance(middle, coupler=fitted)),
        resistance_reference_factor=float(np.exp(_half(at_reference - log_resistance(logs, np.zeros(1))[0]))),
        resistance_floor=floor,
        resistance_floor_factor=float(np.exp(_half(draws[:, 2] - logs[2]))) if floor > 0 else 1.0,
        resistance_dark=dark,
        resistance_dark_factor=float(np.exp(_half(draws[:, 3] - logs[3]))) if np.isfinite(dark) else 1.0,
        scatter=scatter if kept > 2 else float("nan"),
        hysteresis=memory,
        current=amps,
        resistance_ratio=np.exp(misses),
        odd_readings=tuple(int(place) for place in np.flatnonzero(odd)),
        couplers_drawn=CouplersDrawn(name=f"{len(draws)} drawn", logs=draws),
        cautions=cautions,
    )


@formula
def fitted_band(current: AboveZero, *, coupler_fit: CouplerFit) -> CouplerBand:
    """Return the cell resistance of a fitted coupler with the fit's own 95 % band.

    Parameters
    ----------
    current : array_like
        LED current [A], above 0.
    coupler_fit : CouplerFit
        Result of `fit_coupler`.

    Returns
    -------
    CouplerBand
        Lowest, fitted and highest settled resistance, the same factor either way; a single reading scatters more.

    Raises
    ------
    ValueError
        If the current is not above 0.

    Notes
    -----
    The factor that holds 95 of 100 of the fit's `couplers_drawn` at that current.

    References
    ----------
    DERIVED.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> found = fit_coupler([1e-4, 1e-2], resistance_cell=[30e3, 1e3], coupler=devices.COUPLER_GREEN_GAP_GL5528)
    >>> band = fitted_band(1e-3, coupler_fit=found)
    >>> [f"{r / 1e3:.1f} kΩ" for r in (band.resistance_low, band.resistance_cell, band.resistance_high)]
    ['4.7 kΩ', '5.4 kΩ', '6.3 kΩ']
    """
    is_a("coupler_fit", coupler_fit, CouplerFit)
    whole = np.asarray(coupler_resistance(current, coupler=coupler_fit.coupler))
    log_over = np.log(np.ravel(current) / coupler_fit.current_reference)
    middle, factors = np.log(np.ravel(whole)), np.empty(current.size)
    for start in range(0, current.size, _CURRENTS_AT_ONCE):
        part = slice(start, start + _CURRENTS_AT_ONCE)
        away = log_resistance(np.asarray(coupler_fit.couplers_drawn.logs), log_over[part])[0] - middle[part]
        factors[part] = np.exp(np.quantile(np.abs(away), _BAND, axis=0))
    factor = np.reshape(factors, current.shape)
    return CouplerBand(
        current=current, resistance_low=whole / factor, resistance_cell=whole, resistance_high=whole * factor
    )
