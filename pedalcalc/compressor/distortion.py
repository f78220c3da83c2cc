"""The distortion that a side-chain which follows each half-wave puts on a held note."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import simulate
from pedalcalc._refusal import Unsolved
from pedalcalc._result import Result, quantity
from pedalcalc._units import shown
from pedalcalc.compressor import laws
from pedalcalc.compressor._checks import LEVEL, TONE, scalar
from pedalcalc.compressor.circuit import Compressor, one_unit
from pedalcalc.compressor.engine import Trace, made_ready
from pedalcalc.compressor.follow import grows
from pedalcalc.compressor.period_map import PeriodMap
from pedalcalc.compressor.settle import fixed_point, settle_from_silence

FINE = 2  # times finer than for a step, so that the harmonics are those of the circuit
SAMPLES = 1024  # of one period


@dataclass(frozen=True, slots=True, eq=False)
class RippleDistortion(Result):
    """Result of `ripple_distortion`."""

    distortion: float = quantity("1", "total harmonic distortion of the settled tone", percent=True)
    harmonic_third: float = quantity("1", "third harmonic against the fundamental", percent=True)
    gain_ripple_db: float = quantity("dB", "peak-to-peak ripple of the gain")
    gain_reduction_db: float = quantity("dB", "gain reduction against the dark cell")
    level_in_dbv: float = quantity("dBV", "level in")
    frequency: float = quantity("Hz", "tone")


@simulate
def ripple_distortion(compressor: Compressor, *, level_in_dbv: float, frequency: float = 82.4) -> RippleDistortion:
    """Find the distortion that side-chain ripple puts on a held note.

    A fast release lets the gain follow each half-cycle of a low note, which bends the note's own wave.

    Parameters
    ----------
    compressor : Compressor
        The circuit.
    level_in_dbv : float
        Level of the note [dBV].
    frequency : float
        The note [Hz], above 0; by habit 82.4 Hz, a guitar's low E.

    Returns
    -------
    RippleDistortion
        Distortion and ripple once settled.

    Raises
    ------
    ValueError
        If a value is out of range.
    RuntimeError
        If the side-chain hunts, so that no period is like the one before.

    References
    ----------
    DERIVED

    Examples
    --------
    >>> from pedalcalc.compressor import example, ripple_distortion
    >>> note = ripple_distortion(example(), level_in_dbv=-10.0)
    >>> bool(0 < note.distortion < 0.2)
    True
    """
    one_unit(compressor)
    level = scalar("level_in_dbv", level_in_dbv, **LEVEL)
    tone = scalar("frequency", frequency, **TONE)
    amplitude = float(np.sqrt(2.0) * 10 ** (level / 20))
    ready = made_ready(compressor, amplitude, None)
    maps = PeriodMap(ready, frequency=tone, fine=FINE)
    state = settle_from_silence(PeriodMap(ready, frequency=tone), amplitude * compressor.gain_sidechain)
    found = fixed_point(
        maps, amplitude * compressor.gain_sidechain, (state.voltage_hold, maps.log_of(state.conductance))
    )
    if found is None or grows(found.jacobian):
        raise Unsolved(f"a {shown(tone, 'Hz')} note at {level:g} dBV does not settle: its side-chain hunts")
    v, g = found.state[0], maps.conductance_of(found.state[1])
    moments, conductance = [0.0], [g]
    for half in range(2):
        trace = Trace([], [])
        v, g = maps.half(half, amplitude * compressor.gain_sidechain, v, g, trace)
        count = len(trace.conductance)
        moments += [half + (k + 0.5) / count for k in range(count)]
        conductance += trace.conductance
    at = (np.arange(SAMPLES) + 0.5) * 2 / SAMPLES
    gain = np.interp(at, [*moments, 2.0], ready.law.at(np.array([*conductance, g])))
    harmonics = np.abs(np.fft.rfft(gain * np.sin(np.pi * at)))
    total = np.sqrt(np.sum(harmonics[2 : SAMPLES // 4] ** 2)) / harmonics[1]
    mean_db = 20 * np.log10(np.mean(gain))
    return RippleDistortion(
        distortion=float(total),
        harmonic_third=float(harmonics[3] / harmonics[1]),
        gain_ripple_db=float(20 * np.log10(gain.max() / gain.min())),
        gain_reduction_db=float(20 * np.log10(ready.law.at(laws.conductance_dark(compressor))) - mean_db),
        level_in_dbv=level,
        frequency=tone,
    )
