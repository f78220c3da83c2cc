"""A coupler's record from the builder's own meter.

The law that is fitted is that of `pedalcalc.opto.coupler_point`,

    R = R_floor + 1 / (1/R_dark + (I / I_ref)^p / R_ref),    p = gamma x light exponent,

in the logarithm of R, so that a reading counts by its percentage. Readings far
off the rest are given little weight (Cauchy loss). Readings alone cannot tell
a brighter lamp from a more sensitive cell, so the class's cell keeps its slope and
its resistance at 10 lx, and the coupling takes what was measured.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Caution, Number, Result, caution_above, caution_below, fit, formula, is_a, numeric, quantity
from pedalcalc.devices import Coupler, typical
from pedalcalc.opto.band import CouplerBand
from pedalcalc.opto.coupler import coupler_resistance

Array = NDArray[np.float64]

# How well a class record knows what was not measured, one standard deviation of the logarithm.
_FLOOR_OF_CLASS = np.log(3)
_DARK_OF_CLASS = np.log(3)
_DARK_READ = 0.2

#: Resistance [Ω] that a meter's open display tells of at least: its usual top range.
OPEN_LEAST = 20e6
#: A coupler whose resistance lies this many times off its class is another kind, or was misread.
FACTOR_OF_CLASS = 10.0

# Standard errors to the 95 % band.
_BAND = 2.0


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
    scatter: float = quantity("1", "relative scatter of a reading, from three on")
    hysteresis: float = quantity("1", "resistance going up over resistance coming down, less 1")
    current: Number = quantity("A", "LED current of each reading")
    resistance_ratio: Number = quantity("1", "measured over fitted resistance")
    odd_readings: tuple[int, ...] = quantity("records", "readings far off the rest, by place")
    covariance: Number = quantity("records", "covariance of the fitted logarithms")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def _readings(current: ArrayLike, resistance_cell: ArrayLike, tolerance: Array) -> tuple[Array, Array]:
    """Return checked pairs in the order taken, or refuse them by name and place."""
    amps = np.atleast_1d(numeric("current", current))
    ohms = np.atleast_1d(numeric("resistance_cell", resistance_cell, least=0, infinity=True))
    if amps.ndim != 1 or amps.shape != ohms.shape:
        raise ValueError(
            f"current and resistance_cell must be two lists of one length, got {amps.size} and {ohms.size}"
        )
    if amps.size < 2:
        raise ValueError("current and resistance_cell must hold at least two readings: one does not tell a slope")
    for name, row, bad, why in (
        ("current", amps, np.isnan(amps), "not a reading (NaN); leave the pair out"),
        ("current", amps, amps <= 0, "not above 0; give the reading with the LED out as resistance_dark"),
        ("resistance_cell", ohms, np.isnan(ohms), "not a reading (NaN); leave the pair out"),
        ("resistance_cell", ohms, ohms == 0, "0; a lit cell is no short, look at the meter leads"),
        ("resistance_cell", ohms, np.isinf(ohms), "open; leave the pair out or take a higher current"),
    ):
        if np.any(bad):
            place = int(np.argmax(bad))
            raise ValueError(f"{name}: reading {place + 1} ({row[place]:g}) is {why}")
    _refuse_contradiction(amps, ohms, 3 * float(tolerance))
    return amps, ohms


def _refuse_contradiction(amps: Array, ohms: Array, slack: float) -> None:
    run, rise = np.log(amps)[:, None] - np.log(amps), np.log(ohms)[:, None] - np.log(ohms)
    pairs = run > np.log(1.2)
    if not np.any(pairs):
        raise ValueError("current must hold at least two currents that differ by a fifth or more")
    # Two or three pairs cannot outvote a bad one; more can.
    wrong = pairs & (rise > (0.0 if amps.size == 2 else slack))
    level = amps.size == 2 and np.any(pairs & (rise == 0))
    if level or (np.any(wrong) and (amps.size < 4 or np.count_nonzero(wrong) > np.count_nonzero(pairs) / 3)):
        high, low = np.unravel_index(int(np.argmax(np.where(pairs, rise, -np.inf))), rise.shape)
        raise ValueError(
            f"resistance_cell must fall with current: reading {low + 1} ({amps[low]:g} A, {ohms[low]:g} Ω) and reading "
            f"{high + 1} ({amps[high]:g} A, {ohms[high]:g} Ω) contradict each other"
        )


def _median_slope(across: Array, up: Array) -> float:
    """Return the median of the slopes between all pairs (Theil and Sen)."""
    run = across[:, None] - across
    far = run > np.log(1.2)
    return float(np.median((up[:, None] - up)[far] / run[far]))


def _unpack(logs: Array, floor: float, dark: float) -> tuple[float, float, float, float]:
    """Return R_ref, p, floor and dark from the fitted numbers; a floor of 0 or an open dark is not fitted."""
    rest = list(np.exp(logs[2:]))
    return (
        float(np.exp(logs[0])),
        float(logs[1]),
        rest.pop(0) if floor > 0 else 0.0,
        rest.pop(0) if np.isfinite(dark) else np.inf,
    )


def _log_resistance(logs: Array, over: Array, floor: float, dark: float) -> Array:
    reference, power, floor, dark = _unpack(logs, floor, dark)
    return np.asarray(np.log(floor + 1 / (1 / dark + over**power / reference)))


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
        How well one reading repeats [1]; 0.05 is usual. More scatter than that is found
        from the readings, less is not believed.

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
    Least squares in log R with Cauchy loss. Floor and dark resistance of the class
    enter as one more reading each, good to a factor of 3 (a dark resistance that was
    read: 20 %), so that the bands hold with few readings too; a class dark resistance
    below a lit reading gives way to three times that reading, one below what it is at least to that. The dark
    reading is timed because makers time it: 10 s after the light.

    References
    ----------
    CDS-RESIN (dark resistance at 10 s); LDR-232-3816 (memory of the light a cell was
    stored in); DERIVED for the fit; PRACTICE for 5 %.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> found = fit_coupler([1e-4, 1e-2], resistance_cell=[30e3, 1e3], coupler=devices.COUPLER_GREEN_GAP_GL5528)
    >>> f"{found.slope:.2f} ± {found.slope_margin:.2f}"
    '0.76 ± 0.05'
    """
    from scipy.optimize import least_squares

    coupler = typical(is_a("coupler", coupler, Coupler))
    usual = float(numeric("tolerance", tolerance, above=0))
    read_dark = float(numeric("resistance_dark", resistance_dark, above=0, infinity=True))
    amps, ohms = _readings(current, resistance_cell, np.asarray(usual))
    floor = float(numeric("resistance_floor", coupler.cell.resistance_floor, least=0))
    least = float(numeric("resistance_dark_least", resistance_dark_least, least=0))
    if np.isinf(read_dark):
        read_dark, least = np.nan, max(least, OPEN_LEAST)
    dark = max(float(coupler.cell.resistance_dark), least) if np.isnan(read_dark) else read_dark
    if dark <= np.max(ohms):
        if not np.isnan(read_dark):
            raise ValueError(f"resistance_dark must be above every lit reading, got {dark:g} below {np.max(ohms):g}")
        dark = float(3 * np.max(ohms))
    middle = float(np.exp(np.mean(np.log(amps))))
    over = amps / middle

    prior, spread = [], []
    if floor > 0:
        prior.append(np.log(min(floor, 0.7 * float(np.min(ohms)))))
        spread.append(_FLOOR_OF_CLASS)
    if np.isfinite(dark):
        prior.append(np.log(dark))
        spread.append(_DARK_OF_CLASS if np.isnan(read_dark) else _DARK_READ)
    known, width = np.array(prior), np.array(spread)

    def misfit(logs: Array, kept: Array) -> Array:
        miss = np.log(ohms[kept]) - _log_resistance(logs, over[kept], floor, dark)
        return np.concatenate([miss / usual, (logs[2:] - known) / width])

    def cauchy(squares: Array) -> Array:
        """Return Cauchy loss for the readings, plain squares for what the class knows."""
        rho = np.stack([squares, np.ones_like(squares), np.zeros_like(squares)])
        head = squares[: amps.size]
        rho[:, : amps.size] = np.log1p(head), 1 / (1 + head), -1 / (1 + head) ** 2
        return rho

    layer = np.log(ohms - (np.exp(prior[0]) if floor > 0 else 0.0))
    power = -_median_slope(np.log(over), layer)
    start = np.array([np.median(layer + power * np.log(over)), power, *prior])
    exact = {"xtol": 1e-12, "ftol": 1e-12, "gtol": 1e-12}
    every = np.ones(amps.size, dtype=bool)
    first = least_squares(misfit, start, loss=cauchy if amps.size > 3 else "linear", args=(every,), **exact)
    misses = np.log(ohms) - _log_resistance(first.x, over, floor, dark)
    kept = ~_odd(misses, usual)
    found = least_squares(misfit, first.x, args=(kept,), **exact)
    for result in (first, found):
        if not result.success or not np.all(np.isfinite(result.x)):
            raise RuntimeError(f"the fit of the coupler did not converge: {result.message}")
    misses = np.log(ohms) - _log_resistance(found.x, over, floor, dark)
    spare = np.count_nonzero(kept) - 2
    scatter = float(np.sqrt(np.sum(misses[kept] ** 2) / spare)) if spare > 0 else float("nan")
    steps = found.jac[: np.count_nonzero(kept)] * (usual / np.fmax(usual, scatter))
    information = steps.T @ steps + np.diag([0.0, 0.0, *(1 / width**2)])
    return _report(found.x, np.linalg.inv(information), misses, ~kept, scatter, amps, coupler, middle, floor, dark)


def _odd(misses: Array, usual: float) -> NDArray[np.bool_]:
    """Return which readings lie more than four scatters off the rest; none of fewer than four.

    Three quarters of the readings set the scatter, so that a memory of light, which sets
    one half off against the other, is not taken for slips.
    """
    if misses.size < 4:
        return np.zeros(misses.size, dtype=bool)
    scatter = max(usual, float(np.quantile(np.abs(misses), 0.75, method="lower")) / 1.15)
    return np.asarray(np.abs(misses) > 4 * scatter)


def _hysteresis(amps: Array, misses: Array, odd: NDArray[np.bool_]) -> float:
    """Return R going up over R coming down, less 1, over the currents met both ways; NaN if none."""
    way = np.sign(np.diff(amps))
    way = np.concatenate([way[:1], way])
    up, down = (way > 0) & ~odd, (way < 0) & ~odd
    if not np.any(up) or not np.any(down):
        return float("nan")
    low, high = max(amps[up].min(), amps[down].min()) * 0.99, min(amps[up].max(), amps[down].max()) * 1.01
    shared = (amps >= low) & (amps <= high)
    if not np.any(up & shared) or not np.any(down & shared):
        return float("nan")
    return float(np.expm1(np.mean(misses[up & shared]) - np.mean(misses[down & shared])))


def _report(
    logs: Array,
    covariance: Array,
    misses: Array,
    odd: NDArray[np.bool_],
    scatter: float,
    amps: Array,
    coupler: Coupler,
    middle: float,
    floor: float,
    dark: float,
) -> CouplerFit:
    reference, power, new_floor, new_dark = _unpack(logs, floor, dark)
    errors = np.sqrt(np.diag(covariance))
    factors = [float(factor) for factor in np.exp(_BAND * errors)]
    cell = replace(coupler.cell, resistance_floor=new_floor, resistance_dark=new_dark)
    fitted = replace(
        coupler,
        name=f"{coupler.name}, fitted",
        origin=f"fitted to {amps.size} readings; class: {coupler.origin}",
        cell=cell,
        illuminance_reference=float(10 * (cell.resistance_10lx / reference) ** (1 / cell.gamma)),
        current_reference=middle,
        light_exponent=float(power / cell.gamma),
    )
    hysteresis = _hysteresis(amps, misses, odd)
    away = float(coupler_resistance(middle, coupler=fitted)) / float(coupler_resistance(middle, coupler=coupler))
    cautions = (
        caution_above(
            "readings far off the rest were left out", "read them again", np.count_nonzero(odd), 0, "readings"
        )
        + caution_above(
            "readings going up and coming down differ: the cell remembers light",
            "rest it in the dark for some minutes, then wait half a minute at each current",
            abs(hysteresis),
            0.10,
            "1",
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
    )
    return CouplerFit(
        coupler=fitted,
        slope=power,
        slope_margin=float(_BAND * errors[1]),
        current_reference=middle,
        resistance_reference=float(coupler_resistance(middle, coupler=fitted)),
        resistance_reference_factor=factors[0],
        resistance_floor=new_floor,
        resistance_floor_factor=factors[2] if floor > 0 else 1.0,
        resistance_dark=new_dark,
        resistance_dark_factor=factors[-1] if np.isfinite(dark) else 1.0,
        scatter=scatter,
        hysteresis=hysteresis,
        current=amps,
        resistance_ratio=np.exp(misses),
        odd_readings=tuple(int(place) for place in np.flatnonzero(odd)),
        covariance=covariance,
        cautions=cautions,
    )


@formula
def fitted_band(current: ArrayLike, *, coupler_fit: CouplerFit) -> CouplerBand:
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
        Lowest, fitted and highest settled resistance; a single reading scatters more.

    Raises
    ------
    ValueError
        If the current is not above 0.

    Notes
    -----
    Two standard errors of log R either way, carried through the derivatives of the law.

    References
    ----------
    DERIVED.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> found = fit_coupler([1e-4, 1e-2], resistance_cell=[30e3, 1e3], coupler=devices.COUPLER_GREEN_GAP_GL5528)
    >>> band = fitted_band(1e-3, coupler_fit=found)
    >>> [f"{r / 1e3:.1f} kΩ" for r in (band.resistance_low, band.resistance_cell, band.resistance_high)]
    ['5.0 kΩ', '5.4 kΩ', '5.9 kΩ']
    """
    is_a("coupler_fit", coupler_fit, CouplerFit)
    amps = numeric("current", current, above=0)
    coupler = coupler_fit.coupler
    floor, dark = coupler.cell.resistance_floor, coupler.cell.resistance_dark
    over = amps / coupler.current_reference
    photo = over**coupler_fit.slope * (coupler.illuminance_reference / 10) ** coupler.cell.gamma
    photo = photo / coupler.cell.resistance_10lx
    layer = 1 / (1 / dark + photo)
    whole = floor + layer
    # d ln R / d (ln R_ref, p, ln floor, ln dark)
    slopes = [layer**2 * photo / whole, -(layer**2) * photo * np.log(over) / whole]
    if floor > 0:
        slopes.append(floor / whole)
    if np.isfinite(dark):
        slopes.append(layer**2 / dark / whole)
    rows = np.stack(np.broadcast_arrays(*slopes), axis=-1)
    factor = np.exp(_BAND * np.sqrt(np.einsum("...i,ij,...j", rows, np.asarray(coupler_fit.covariance), rows)))
    return CouplerBand(amps[()], (whole / factor)[()], whole[()], (whole * factor)[()])
