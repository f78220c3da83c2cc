"""The result that every one-transistor stage shares, and how it is put together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import decibels, parallel
from pedalcalc._result import Number, Result, quantity

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Stage(Result):
    """Small-signal figures of one stage at mid band.

    `gain_signed` runs from the stage's input pin to its loaded output,
    `gain_overall` from the open-circuit signal behind the source resistance.
    """

    gain_signed: Number = quantity("1", "gain, negative when inverted")
    gain: Number = quantity("1", "gain, size")
    gain_db: Number = quantity("dB", "gain")
    gain_overall: Number = quantity("1", "gain from the generator, with its loading")
    impedance_device: Number = quantity("Ω", "looking into the transistor")
    impedance_input: Number = quantity("Ω", "input impedance")
    impedance_output: Number = quantity("Ω", "output impedance")


def bipolar(g: Array, r_pi: Array) -> tuple[Array, Array, Array]:
    """Return IC/IE, IE/IB and the emitter resistance re of gm and rπ; an infinite rπ takes no base current."""
    beta = g * r_pi
    return np.asarray(1 / (1 + 1 / beta)), np.asarray(beta + 1), np.asarray(1 / (g + 1 / r_pi))


def share_of(across: Array, before: Array) -> Array:
    """Return across/(across + before), with shorts and opens in their limits."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 1 / (1 + before / across)
        share = np.where((before == 0) & ~np.isnan(across), 1.0, share)
        return np.where(np.isinf(before) & ~np.isnan(across), 0.0, share)


def stage(gain: Array, device: Array, bias: Array, output: Array, generator: Array) -> Stage:
    """Put the figures of one stage together."""
    with np.errstate(divide="ignore", invalid="ignore"):
        z_in = parallel(bias, device)
        share = np.where(np.isinf(generator), 0.0, np.where(np.isinf(z_in), 1.0, z_in / (z_in + generator)))
        share = np.where(np.isnan(z_in) | np.isnan(generator), np.nan, np.where(generator == 0, 1.0, share))
        overall = np.where((share == 0) & ~np.isnan(gain), 0.0, gain * share + 0.0)
    return Stage(
        gain_signed=gain + 0.0,
        gain=np.abs(gain),
        gain_db=decibels(np.abs(gain)),
        gain_overall=overall,
        impedance_device=device,
        impedance_input=z_in,
        impedance_output=output,
    )
