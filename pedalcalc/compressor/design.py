"""Choose a part of the compressor for what it shall do."""

from __future__ import annotations

import numpy as np

from pedalcalc._arguments import is_a
from pedalcalc._base import search
from pedalcalc._refusal import Unsolved
from pedalcalc._result import Number
from pedalcalc.compressor import laws
from pedalcalc.compressor._checks import LEVEL, TONE, scalar
from pedalcalc.compressor.circuit import Compressor, in_blocks, units_of
from pedalcalc.compressor.engine import engine
from pedalcalc.compressor.many_threshold import CLOSE, out_of_reach, peaks_for_reduction, range_of_peaks
from pedalcalc.compressor.period_map import PeriodMap
from pedalcalc.compressor.settle import Sweep, averages


@search
def gain_for_threshold(
    threshold_dbv: float, *, compressor: Compressor, reduction_db: float = 1.0, frequency: float = 1000.0
) -> Number:
    """Find the side-chain gain at which compression begins at a wanted level.

    Parameters
    ----------
    threshold_dbv : float
        Input level at which the gain shall be `reduction_db` below that of the dark cell [dBV].
    compressor : Compressor
        The circuit, or many units of it; its own side-chain gain plays no part.
    reduction_db : float
        Gain reduction that counts as the threshold [dB], above 0; 1 dB by habit.
    frequency : float
        The tone [Hz], above 0.

    Returns
    -------
    float or ndarray
        Side-chain gain [1]; of many units an array, each within a ten-millionth of what it is alone.

    Raises
    ------
    ValueError
        If the side-chain, driven to its rail, cannot reach that reduction: more rail, a smaller LED
        resistor or a larger resistor ahead of the cell would.
    RuntimeError
        If the search does not converge.

    Notes
    -----
    The side-chain peak that gives the reduction is found first; it does not depend on where the
    side-chain listens. The gain follows from the level at that place.

    References
    ----------
    DERIVED, PRACTICE (1 dB as the threshold)

    Examples
    --------
    >>> import dataclasses
    >>> from pedalcalc.compressor import example, gain_for_threshold, static_curve
    >>> gain = gain_for_threshold(-25.0, compressor=example())
    >>> set_so = dataclasses.replace(example(), gain_sidechain=gain)
    >>> print(f"{static_curve([-26, -25, -24], compressor=set_so).gain_reduction_db[1]:.2f} dB")
    1.00 dB
    """
    is_a("compressor", compressor, Compressor)
    threshold = scalar("threshold_dbv", threshold_dbv, **LEVEL)
    wanted = scalar("reduction_db", reduction_db, above=0)
    tone = scalar("frequency", frequency, **TONE)
    dark = laws.gain_law(compressor).at(laws.conductance_dark(compressor))
    count = units_of(compressor)
    if count is None:
        log_peak: Number = _peak_for_reduction(compressor, dark, wanted, tone)
    else:
        dark = np.broadcast_to(dark, count)
        log_peak = np.concatenate(
            [peaks_for_reduction(some, dark[at], wanted, tone, at.start) for at, some in in_blocks(compressor)]
        )
    level = threshold if compressor.sense == "before" else threshold + 20 * np.log10(dark) - wanted
    found: Number = (np.exp(log_peak) / (np.sqrt(2.0) * 10 ** (level / 20)))[()]
    return found if count else float(found)


def _peak_for_reduction(compressor: Compressor, dark: float, wanted: float, tone: float) -> float:
    """Return the logarithm of the side-chain's peak at which one unit reduces the gain by so many decibels."""
    from scipy.optimize import brentq

    least, most = range_of_peaks(compressor)
    sweep = Sweep(PeriodMap(engine(compressor, float(most)), frequency=tone))

    def short_of_wanted(log_peak: float) -> float:
        met = averages(sweep.maps, [sweep.at(float(np.exp(log_peak)))])
        return float(20 * np.log10(dark / met.gain[0])) - wanted

    reached = short_of_wanted(np.log(most)) + wanted
    if not reached > wanted:
        raise out_of_reach(reached, compressor.voltage_rail, wanted)
    root, found = brentq(short_of_wanted, np.log(least), np.log(most), xtol=CLOSE, full_output=True, disp=False)
    if not found.converged:
        raise Unsolved("no side-chain peak found for that reduction")
    return float(root)
