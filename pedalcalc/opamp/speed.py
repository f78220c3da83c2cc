"""How fast an op-amp is in a stage, and how fast it must be. One pole, one feedback network."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import formula
from pedalcalc._ranges import AtLeastOne, AtLeastZero
from pedalcalc._record import specimen
from pedalcalc._result import Caution, Number, Result, caution_above, quantity
from pedalcalc.devices import OpAmp

__all__ = ["OpAmpSpeed", "speed"]


@dataclass(frozen=True, slots=True, eq=False)
class OpAmpSpeed(Result):
    """What an op-amp does at a gain, frequency and output peak, beside what these ask for."""

    frequency_high: Number = quantity("Hz", "upper corner")
    frequency_full_power: Number = quantity("Hz", "this peak up to")
    voltage_peak_slew: Number = quantity("V", "largest peak at this frequency")
    gain_bandwidth_needed: Number = quantity("Hz", "gain-bandwidth product needed")
    slew_rate_needed: Number = quantity("V/s", "slew rate needed")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def speed(frequency: AtLeastZero, *, voltage_peak: AtLeastZero, noise_gain: AtLeastOne, op_amp: OpAmp) -> OpAmpSpeed:
    """Find whether an op-amp follows a signal: its corner and largest sine, and what the signal asks for.

    Parameters
    ----------
    frequency : array_like
        Highest frequency of the signal [Hz], 0 or more, finite.
    voltage_peak : array_like
        Peak of the sine at the output [V], 0 or more.
    noise_gain : array_like
        Noise gain 1 + RF/R of the stage, inverting or not [1], at least 1, finite.
    op_amp : devices.OpAmp
        One part.

    Returns
    -------
    OpAmpSpeed
        Corner 3 dB down and highest frequency of that peak (inf without signal) [Hz], largest peak at that frequency
        (inf at 0 Hz) [V]; gain-bandwidth product [Hz] and slew rate [V/s] that would just do, and cautions
        where the part has less.

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `op_amp` is not an op-amp record, or is a type.

    Notes
    -----
    f2 = GBW/N; fp = SR/(2 pi Vp), the steepest place of a sine. 1e6 V/s is 1 V/µs.

    References
    ----------
    FIORE-OPAMPS, ex. 5.4 and 5.7; GAYAKWAD, ex. 6.1 and 6.2; COUGHLIN-DRISCOLL, ex. 10.9.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> found = speed(20e3, voltage_peak=3.0, noise_gain=101.0, op_amp=devices.typical(devices.OPAMP_LM358))
    >>> round(found.frequency_high), round(1e-6 * found.slew_rate_needed, 3), len(found.cautions)
    (6931, 0.377, 2)
    """
    f, v, n = frequency, voltage_peak, noise_gain
    part = specimen("op_amp", op_amp, OpAmp)
    band, rate = np.asarray(part.gain_bandwidth, float), np.asarray(part.slew_rate, float)
    with np.errstate(divide="ignore"):
        needed, steep = f * n, 2 * np.pi * f * v
        full, peak = rate / (2 * np.pi * v), rate / (2 * np.pi * f)
    cautions = caution_above(
        f"{part.name}: too slow for this peak, a sine becomes a triangle",
        "a smaller signal, or a type with a higher slew rate",
        steep,
        rate,
        "V/s",
    ) + caution_above(
        f"{part.name}: the stage's own corner lies below this frequency",
        "less gain in one stage, or a type with a higher gain-bandwidth product",
        needed,
        band,
        "Hz",
    )
    return OpAmpSpeed(
        frequency_high=band / n,
        frequency_full_power=full,
        voltage_peak_slew=peak,
        gain_bandwidth_needed=needed,
        slew_rate_needed=steep,
        cautions=cautions,
    )
