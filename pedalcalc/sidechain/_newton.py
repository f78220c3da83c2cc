"""Newton's search for an angle inside a bracket, element by element; the caller gives value and slope."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pedalcalc._refusal import Unsolved

Array = NDArray[np.float64]

MOST_STEPS = 100
CLOSE = 1e-15  # radians; two angles up to π are hardly ever told apart more closely
NEAR = 1e-5  # a step this short that no longer shrinks is rounding, not progress


def newton(function: Callable[[Array], tuple[Array, Array]], low: Array, high: Array, start: Array) -> Array:
    """Return the angle at which the value of `function` rises through zero between `low` and `high`.

    `function` gives value and slope. A step that would leave the bracket, or that shrinks too slowly far from the
    root, is replaced by halving the bracket, so that the search ends whatever the slope does. A value that nowhere
    changes its sign ends at the side where it would have. NaN stays NaN.
    """
    low, high, x = (np.array(part) for part in np.broadcast_arrays(low, high, start))
    before = high - low
    open_ = ~np.isnan(low + high + x)
    for _ in range(MOST_STEPS):
        with np.errstate(divide="ignore", invalid="ignore", over="ignore", under="ignore"):
            value, slope = function(x)
            low, high = np.where(value <= 0, x, low), np.where(value >= 0, x, high)
            step = -value / slope
        size = np.abs(step)
        taken = x + step
        inside = (taken >= low) & (taken <= high)  # false for NaN
        noise = (size < NEAR) & (size > 0.9 * before)
        done = (value == 0) | (inside & ((size <= CLOSE) | noise)) | (high - low <= CLOSE)
        halve = ~inside | ((size > 0.5 * before) & (size >= NEAR))
        taken = np.where(halve, 0.5 * (low + high), taken)
        before = np.where(halve, 0.5 * (high - low), size)
        x = np.where(open_ & (value != 0), taken, x)
        open_ = open_ & ~done
        if not np.any(open_):
            return x
    raise Unsolved("no angle of conduction found", open_)
