"""Read threshold, ratio and knee off a static curve, computed or measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import numeric
from pedalcalc._base import fit, scalar
from pedalcalc._refusal import must
from pedalcalc._result import Caution, Result, caution_above, quantity

Array = NDArray[np.float64]

SPAN_DB = 6.0  # the ratio is read over this much input, and so is the slope at the quiet end
REDUCTION_LEAST_DB = 0.1  # a curve that bends less than this does not compress


@dataclass(frozen=True, slots=True, eq=False)
class CurveFeatures(Result):
    """What a static curve says in three numbers, and how well it says it."""

    threshold_dbv: Any = quantity("dBV", "threshold (input level)")
    ratio: Any = quantity("1", "highest ratio")
    knee_db: Any = quantity("dB", "knee width")
    gain_quiet_db: Any = quantity("dB", "gain below the threshold")
    level_ratio_dbv: Any = quantity("dBV", "input level where the ratio is highest")
    compresses: Any = quantity("bool", "compresses")
    misfit_db: Any = quantity("dB", "largest distance of the curve from the three numbers")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


_NUMBERS = ("threshold_dbv", "ratio", "knee_db", "gain_quiet_db", "level_ratio_dbv", "compresses", "misfit_db")


@fit
def curve_features(level_in_dbv: ArrayLike, *, level_out_dbv: ArrayLike) -> CurveFeatures:
    """Read threshold, ratio and knee width off a static curve.

    As one would with a ruler: a line of slope 1 is laid through the quiet end, another where the curve is
    flattest (over 6 dB of input). Where they meet is the threshold. The curve passes
    under that corner, by an eighth of the knee width times (1 - 1/ratio).

    Parameters
    ----------
    level_in_dbv : array_like
        Input levels [dBV], rising, over at least 12 dB.
    level_out_dbv : array_like
        Output level at each [dBV]; for many units a row each.

    Returns
    -------
    CurveFeatures
        Threshold [dBV], ratio (input change over output change: infinite for a flat curve, negative
        where the output falls as the input rises), knee width [dB], the gain at the quiet end
        [dB], the middle of the 6 dB over which the ratio was read [dBV], and by how much the curve differs
        at worst from the soft-knee law with these numbers [dB]. A curve along which the gain never falls by 0.1 dB
        does not compress: ratio 1, threshold infinite, no knee. Where its gain rises instead, a caution says so.
        Of many rows arrays, and the cautions tell how many rows.

    Raises
    ------
    ValueError
        If there are gaps (NaN), the levels do not rise, or they span less than 12 dB.

    Notes
    -----
    The law with threshold T, ratio R and knee W, over a gain of 0 dB: y = x below T - W/2, y = T + (x - T)/R above T + W/2,
    and y = x + (1/R - 1)(x - T + W/2)²/(2W) between. It comes out exactly when the curve follows it, reaches
    6 dB above the knee and starts below it. The ratio of an optical cell changes with level: then the largest is given,
    and the misfit says how far from the law the curve is.

    References
    ----------
    GIANNOULIS-2012: the soft-knee law (paper not seen; read in a library that cites it).

    Examples
    --------
    >>> level = np.arange(-50.0, 1.0)
    >>> above = np.clip((level + 25) / 10, 0, 1)
    >>> out = level - 0.75 * np.where(level < -15, 5 * above**2, level + 20)
    >>> features = curve_features(level, level_out_dbv=out)
    >>> print(round(features.threshold_dbv, 6), round(features.ratio, 6), round(features.knee_db, 6))
    -20.0 4.0 10.0
    """
    level = numeric("level_in_dbv", level_in_dbv)
    out = numeric("level_out_dbv", level_out_dbv)
    if level.ndim != 1 or out.shape[-1:] != level.shape:
        raise ValueError(
            "level_in_dbv must be one row, and level_out_dbv one of the same length or one for each unit, "
            f"got {level.shape}, {out.shape}"
        )
    if np.isnan(level).any() or np.isnan(out).any():
        raise must("level_in_dbv and level_out_dbv must have no gap (NaN)", np.isnan(level) | np.isnan(out))
    if level.size < 3 or not np.all(np.diff(level) > 0) or np.ptp(level) < 2 * SPAN_DB:
        raise ValueError(f"level_in_dbv must rise from point to point over at least {2 * SPAN_DB:g} dB")
    starts = np.concatenate([level[level <= level[-1] - SPAN_DB], [level[-1] - SPAN_DB]])
    begins, ends = _read_off(starts, level, out), _read_off(starts + SPAN_DB, level, out)
    slopes = (ends - begins) / SPAN_DB
    gain = out[..., 0] - level[0]
    own_gain = out - level
    bend = np.max(np.abs(own_gain - gain[..., None]), axis=-1)
    # by how much the gain falls from its best so far
    lost = np.max(np.maximum.accumulate(own_gain, axis=-1) - own_gain, axis=-1)
    flattest = np.argmin(slopes, axis=-1)
    slope, end = (np.take_along_axis(rows, flattest[..., None], axis=-1)[..., 0] for rows in (slopes, ends))
    middle = starts[flattest] + SPAN_DB / 2
    compresses = (lost >= REDUCTION_LEAST_DB) & (slope < 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        line = end - slope * (starts[flattest] + SPAN_DB)  # out = line + slope * in
        threshold = np.where(compresses, (line - gain) / (1 - slope), np.inf)
        ratio = np.where(compresses, np.where(slope == 0, np.inf, 1 / slope), 1.0)
        at = np.where(compresses, threshold, level[0])
        corner = _read_off(at[..., None], level, out)[..., 0]
        knee = np.where(compresses, np.maximum(0.0, 8 * (at + gain - corner) / (1 - slope)), 0.0)
    law = soft_knee(level, threshold_dbv=at[..., None], slope=slope[..., None], knee_db=knee[..., None])
    misfit = np.where(compresses, np.max(np.abs(out - law - gain[..., None]), axis=-1), bend)
    expands = caution_above(
        "curve expands: the louder the input, the more gain",
        "put the cell to ground or into the feedback, where light takes gain away",
        np.where(compresses, 0.0, bend),
        REDUCTION_LEAST_DB,
        "dB",
    )
    cautions = expands + caution_above(
        "curve already bends at its quiet end: threshold and knee are read wrong",
        "start the curve at a lower level",
        np.where(compresses, 1 - slopes[..., 0], 0.0),
        0.1,
        "1",
    )
    numbers = map(scalar, (threshold, ratio, knee, gain, middle, compresses, misfit))
    return CurveFeatures(**dict(zip(_NUMBERS, numbers, strict=True)), cautions=cautions)


def _read_off(at: Array, level: Array, out: Array) -> Array:
    """Return the levels out at some levels in, on straight lines between the points of each row, level beyond its ends."""
    after = np.clip(np.searchsorted(level, at, side="right"), 1, level.size - 1)
    low, high = (
        np.take_along_axis(out, np.broadcast_to(k, (*out.shape[:-1], at.shape[-1])), -1) for k in (after - 1, after)
    )
    part = np.clip((at - level[after - 1]) / (level[after] - level[after - 1]), 0.0, 1.0)
    return np.asarray(low + part * (high - low))


def soft_knee(level: Array, *, threshold_dbv: Any, slope: Any, knee_db: Any) -> Array:
    """Return the output level of the soft-knee law with gain 1 below the threshold."""
    over = level - threshold_dbv
    inside = np.abs(2 * over) < knee_db
    hard = np.where(over > 0, threshold_dbv + slope * over, level)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        soft = level + (slope - 1) * (over + knee_db / 2) ** 2 / (2 * knee_db)
    return np.where(inside, soft, hard)
