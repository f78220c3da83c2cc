"""What the compressor does to a tone whose level changes."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._arguments import numeric
from pedalcalc._base import simulate
from pedalcalc._refusal import refused
from pedalcalc._result import Caution, Result, quantity
from pedalcalc._units import shown, told
from pedalcalc.compressor import laws
from pedalcalc.compressor._checks import LEVEL, TIME, TONE, scalar
from pedalcalc.compressor.circuit import Compressor, cautions_of, hunting_caution, one_unit
from pedalcalc.compressor.engine import State, made_ready, rest
from pedalcalc.compressor.follow import follow
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.period_map import PeriodMap
from pedalcalc.compressor.settle import settle_from_silence
from pedalcalc.compressor.track import read


@dataclass(frozen=True, slots=True, eq=False)
class Response(Result):
    """Result of `level_response` and `step_response`; arrays over time."""

    time: Floats = quantity("s", "time")
    level_in_dbv: Floats = quantity("dBV", "level in")
    level_out_dbv: Floats = quantity("dBV", "level out")
    gain_db: Floats = quantity("dB", "gain of cell and make-up")
    voltage_hold: Floats = quantity("V", "voltage that drives the LED")
    current_led: Floats = quantity("A", "LED current")
    resistance_cell: Floats = quantity("Ω", "resistance of the cell")
    frequency: float = quantity("Hz", "tone")
    time_up: float = quantity("s", "time of the step up")
    time_down: float = quantity("s", "time of the step down")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@simulate
def level_response(
    compressor: Compressor,
    *,
    time: ArrayLike,
    level_in_dbv: ArrayLike,
    duration: float,
    frequency: float,
    state: State | None = None,
) -> Response:
    """Follow a tone whose level changes at given moments.

    Parameters
    ----------
    compressor : Compressor
        The circuit.
    time : array_like
        Moments at which a new level begins [s], one dimension, rising from 0.
    level_in_dbv : array_like
        Level of the sine from each moment on [dBV]; -inf is silence.
    duration : float
        End of the record [s], above the last moment.
    frequency : float
        The tone [Hz], above 0; its phase is 0 at the start and runs on through every step.
    state : State, optional
        What hold capacitor and cell remember at the start; at rest by default.

    Returns
    -------
    Response
        Arrays over time, close together after each change of level and further apart later on (one point in
        0.2 % of the time since; averages must weight by time). `level_out_dbv` is
        measured as on a recording, by `envelope`, and so is blurred by half a period of the tone.
        `time_up` and `time_down` are the first rise and the last fall of the level, NaN if there is none.

    Raises
    ------
    ValueError
        If moments do not rise from 0, the record is shorter than half a period, or a value is out of range.

    Warns
    -----
    ModelRangeWarning
        If cell and gain together move faster than the shortest steps follow.

    References
    ----------
    DERIVED

    Examples
    --------
    >>> from pedalcalc.compressor import example
    >>> from pedalcalc.compressor.response import level_response
    >>> burst = level_response(example(), time=[0, 0.1], level_in_dbv=[-40, -10], duration=0.3, frequency=1000.0)
    >>> bool(burst.gain_db[-1] < burst.gain_db[0] - 3)
    True
    """
    one_unit(compressor)
    moments = np.atleast_1d(numeric("time", time, least=0))
    levels = np.atleast_1d(numeric("level_in_dbv", level_in_dbv, below=np.inf, infinity=True))
    end = scalar("duration", duration, above=0)
    tone = scalar("frequency", frequency, **TONE)
    if 2 * tone * end < 1:
        digit = 10.0 ** (floor(log10(0.5 / end)) - 2)
        least = shown(ceil(0.5 / end / digit) * digit, "Hz")  # rounded up, so that what is told is enough
        raise refused("frequency", f"at least {least}, half a period within the {shown(end, 's')} of the record", tone)
    if moments.ndim != 1 or moments[0] != 0 or np.any(np.diff(moments) <= 0) or not moments[-1] < end:
        raise ValueError(
            f"time must be one dimension of moments that rise from 0 and end before duration, got {told(time)}"
        )
    if levels.shape != moments.shape or np.any(np.isnan(levels)):
        raise ValueError(f"level_in_dbv must hold one known level for each moment in time, got {told(level_in_dbv)}")
    amplitude = np.asarray(np.sqrt(2.0) * 10 ** (levels / 20), np.float64)
    ready = made_ready(compressor, float(amplitude.max()), state)
    record = follow(
        PeriodMap(ready, frequency=tone),
        moments=moments.tolist(),
        amplitudes=(amplitude * compressor.gain_sidechain).tolist(),
        duration=end + 1 / tone,
        state=rest(compressor) if state is None else state,
    )
    halves = 1 if compressor.rectifier == "full" else 2
    track = read(
        record, law=ready.law, halves=halves, frequency=tone, moments=moments, amplitudes=amplitude, duration=end
    )
    current = laws.led_current(compressor, track.voltage)
    changes = np.diff(levels)
    up, down = moments[1:][changes > 0], moments[1:][changes < 0]
    return Response(
        time=track.time,
        level_in_dbv=levels[np.searchsorted(moments, track.time, side="right") - 1],
        level_out_dbv=laws.decibels(track.amplitude / np.sqrt(2.0)),
        gain_db=np.asarray(laws.decibels(track.gain), float),
        voltage_hold=track.voltage,
        current_led=current,
        resistance_cell=laws.resistance_cell(compressor, track.conductance),
        frequency=tone,
        time_up=float(up[0]) if up.size else float("nan"),
        time_down=float(down[-1]) if down.size else float("nan"),
        cautions=cautions_of(compressor, current_led=current) + hunting_caution(record.hunts_db),
    )


@simulate
def step_response(
    compressor: Compressor,
    *,
    level_low_dbv: float,
    level_high_dbv: float,
    frequency: float = 1000.0,
    time_before: float = 0.1,
    time_high: float = 0.4,
    time_after: float = 0.7,
) -> Response:
    """Follow a tone that steps up from a low level to a high one and down again.

    Parameters
    ----------
    compressor : Compressor
        The circuit.
    level_low_dbv : float
        Level before and after [dBV], below `level_high_dbv`.
    level_high_dbv : float
        Level between the two steps [dBV].
    frequency : float
        The tone [Hz], 0.1 Hz to 10 MHz; 1 kHz by habit.
    time_before : float
        Time at the low level before the step up [s], above 0.
    time_high : float
        Time at the high level [s], above 0.
    time_after : float
        Time at the low level after the step down [s], above 0.

    Returns
    -------
    Response
        As for `level_response`, with `time_up` and `time_down` the two steps. The circuit starts settled
        at the low level.

    Raises
    ------
    ValueError
        If the levels are not in order, all times together are shorter than half a period, or a value is out of range.

    Warns
    -----
    ModelRangeWarning
        As `level_response`.

    References
    ----------
    DERIVED

    Examples
    --------
    >>> from pedalcalc.compressor import example, step_response
    >>> step = step_response(example(), level_low_dbv=-40, level_high_dbv=-10)
    >>> f"{step.time_up:.1f} s up, {step.time_down:.1f} s down"
    '0.1 s up, 0.5 s down'
    """
    one_unit(compressor)
    low = scalar("level_low_dbv", level_low_dbv, **LEVEL)
    high = scalar("level_high_dbv", level_high_dbv, **LEVEL)
    if not low < high:
        raise refused("level_low_dbv", f"below level_high_dbv ({high:g} dBV)", low)
    up = scalar("time_before", time_before, **TIME)
    down = up + scalar("time_high", time_high, **TIME)
    end = down + scalar("time_after", time_after, **TIME)
    tone = scalar("frequency", frequency, **TONE)
    return level_response(
        compressor,
        time=[0.0, up, down],
        level_in_dbv=[low, high, low],
        duration=end,
        frequency=tone,
        state=settled_state(compressor, level_dbv=low, frequency=tone),
    )


def settled_state(compressor: Compressor, *, level_dbv: float, frequency: float) -> State:
    """Return the state of a circuit settled at one level, coming from silence."""
    amplitude = float(np.sqrt(2.0) * 10 ** (level_dbv / 20))
    maps = PeriodMap(made_ready(compressor, amplitude, None), frequency=frequency)
    return settle_from_silence(maps, amplitude * compressor.gain_sidechain)
