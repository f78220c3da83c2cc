"""Choose a part of the compressor for what it shall do."""

from __future__ import annotations

import numpy as np

from pedalcalc._base import is_a, search
from pedalcalc.compressor import laws
from pedalcalc.compressor._checks import LEVEL, TONE, scalar
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.engine import engine
from pedalcalc.compressor.follow import PeriodMap
from pedalcalc.compressor.settle import Sweep, averages


@search
def gain_for_threshold(
    threshold_dbv: float, *, compressor: Compressor, reduction_db: float = 1.0, frequency: float = 1000.0
) -> float:
    """Find the side-chain gain at which compression begins at a wanted level.

    Parameters
    ----------
    threshold_dbv : float
        Input level at which the gain shall be `reduction_db` below that of the dark cell [dBV].
    compressor : Compressor
        The circuit; its own side-chain gain plays no part.
    reduction_db : float
        Gain reduction that counts as the threshold [dB], above 0; 1 dB by habit.
    frequency : float
        The tone [Hz], above 0.

    Returns
    -------
    float
        Side-chain gain [1].

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
    from scipy.optimize import brentq

    is_a("compressor", compressor, Compressor)
    threshold = scalar("threshold_dbv", threshold_dbv, **LEVEL)
    wanted = scalar("reduction_db", reduction_db, above=0)
    tone = scalar("frequency", frequency, **TONE)
    law = laws.gain_law(compressor)
    dark = law.at(laws.conductance_dark(compressor))

    rail = float(compressor.voltage_rail)
    most = 0.9 * laws.VOLTAGE_MOST if np.isinf(rail) else 30 * rail
    maps = PeriodMap(engine(compressor, most), frequency=tone)
    sweep = Sweep(maps)

    def short_of_wanted(log_peak: float) -> float:
        met = averages(maps, [sweep.at(float(np.exp(log_peak)))])
        return float(20 * np.log10(dark / met.gain[0])) - wanted

    least = np.log(max(compressor.voltage_diode, 1e-3))
    reached = short_of_wanted(np.log(most)) + wanted
    if not reached > wanted:
        raise ValueError(
            f"reduction_db must be below {reached:.3g} dB, which is all the side-chain reaches "
            f"at its rail of {compressor.voltage_rail:g} V, got {wanted:g}"
        )
    root, found = brentq(short_of_wanted, least, np.log(most), xtol=1e-9, full_output=True, disp=False)
    if not found.converged:
        raise RuntimeError("no side-chain peak found for that reduction")
    level = threshold if compressor.sense == "before" else threshold + 20 * np.log10(dark) - wanted
    return float(np.exp(root) / (np.sqrt(2.0) * 10 ** (level / 20)))
