"""Stages in a row: each drives the next, the last one the load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._arguments import numeric
from pedalcalc._base import decibels, formula
from pedalcalc._ranges import AnyNumber, ZeroToInfinity
from pedalcalc._result import Number, Result, quantity
from pedalcalc.stage._stage import share_of

__all__ = ["Cascade", "cascade"]


@dataclass(frozen=True, slots=True, eq=False)
class Cascade(Result):
    """What stages in a row do together, from the open generator to the load."""

    gain_signed: Number = quantity("1", "gain, negative when inverted")
    gain: Number = quantity("1", "gain, size")
    gain_db: Number = quantity("dB", "gain")
    voltage_output: Number = quantity("V", "voltage at the load")
    impedance_input: Number = quantity("Ω", "input impedance")
    impedance_output: Number = quantity("Ω", "output impedance")


@formula
def cascade(
    stages: Sequence[Any],
    *,
    voltage_input: AnyNumber,
    resistance_generator: ZeroToInfinity,
    resistance_load: ZeroToInfinity,
) -> Cascade:
    """Find how loud it is in all: stages in a row between a generator and a load, with every loading.

    Parameters
    ----------
    stages : sequence of results
        One or more stages from input to output: results of this room or of `opamp`, or anything with `gain_signed`
        (nothing connected to its output), `impedance_input` and `impedance_output`.
    voltage_input : array_like
        Open-circuit voltage of the generator [V], any sign; peak in, peak out; rms in, rms out.
    resistance_generator : array_like
        Resistance of the generator [Ω], 0 to inf.
    resistance_load : array_like
        Load behind the last stage [Ω], 0 to inf.

    Returns
    -------
    Cascade
        Gain from the open generator to the loaded output [1] and [dB], output voltage [V], impedances of the first
        stage's input and the last one's output [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range or there is no stage.
    TypeError
        If a stage has no gain and impedances.

    Notes
    -----
    Each joint is a divider, Zin/(Zin + Zout of what drives it). An emitter follower's input impedance depends on its load:
    give it as computed with the load that it will see, its gain and output impedance as without.

    References
    ----------
    FRANCO, ex. 1.1, source and load loading; MALVINO-BATES, ex. 10-3; DERIVED, voltage dividers.

    Examples
    --------
    >>> from pedalcalc import stage
    >>> first = stage.common_source(4e-3, resistance_drain=4.7e3, resistance_bias=1e6)
    >>> second = stage.common_source(2e-3, resistance_drain=10e3, resistance_bias=100e3)
    >>> both = cascade([first, second], voltage_input=0.01, resistance_generator=10e3, resistance_load=100e3)
    >>> round(both.gain_signed, 1), round(both.voltage_output, 2), round(both.impedance_output)
    (323.2, 3.23, 10000)
    """
    if not isinstance(stages, (list, tuple)) or not stages:
        raise ValueError(f"stages must be a list of at least one stage, got {stages!r}")
    volts, behind, load = voltage_input, resistance_generator, resistance_load
    links = [_link(place, each) for place, each in enumerate(stages)]
    gain = np.asarray(1.0)
    for own, z_in, z_out in links:
        gain = gain * share_of(z_in, behind) * own
        behind = z_out
    gain = np.asarray(gain * share_of(load, behind) + 0.0)
    return Cascade(
        gain_signed=gain,
        gain=np.abs(gain),
        gain_db=decibels(np.abs(gain)),
        voltage_output=volts * gain + 0.0,
        impedance_input=links[0][1],
        impedance_output=links[-1][2],
    )


def _link(place: int, each: Any) -> tuple[Any, Any, Any]:
    """Return gain, input and output impedance of one stage, checked."""
    found = [getattr(each, name, None) for name in ("gain_signed", "impedance_input", "impedance_output")]
    if any(value is None for value in found):
        raise TypeError(f"stages[{place}] must have gain_signed, impedance_input and impedance_output, got {each!r}")
    return (
        numeric(f"stages[{place}].gain_signed", found[0]),
        numeric(f"stages[{place}].impedance_input", found[1], least=0, infinity=True),
        numeric(f"stages[{place}].impedance_output", found[2], least=0, infinity=True),
    )
