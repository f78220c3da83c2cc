"""Attack and release of a circuit, by a definition that says what is played and when the level counts as settled."""

from __future__ import annotations

import dataclasses

from pedalcalc._arguments import is_a
from pedalcalc._base import simulate
from pedalcalc.compressor.circuit import Compressor, one_unit
from pedalcalc.compressor.definitions import TimingDefinition
from pedalcalc.compressor.response import step_response
from pedalcalc.compressor.timing import AttackRelease, measure_step

TIME_BEFORE_PERIODS, TIME_BEFORE_LEAST = 5, 0.02  # the step begins settled: little is needed ahead of it
TIME_FIRST, TIME_LONGER, TIME_MOST = 1.0, 4.0, 1024.0  # seconds: watched at first, times as long, at most


@simulate
def attack_release(compressor: Compressor, *, definition: TimingDefinition) -> AttackRelease:
    """Find attack and release: play the step that a definition states, and watch until it has settled.

    Parameters
    ----------
    compressor : Compressor
        The circuit.
    definition : TimingDefinition
        What is played (low level, step, tone) and what counts as settled; see `DEFINITIONS`.

    Returns
    -------
    AttackRelease
        As from `measure_step`; `step` is the step that was computed. Each part of it is watched for a second, and four times as long
        again and again, up to 1024 s, until the level has settled; a loop that never does says so.

    Raises
    ------
    ValueError
        If a value is out of range.

    Warns
    -----
    ModelRangeWarning
        As `step_response`.

    References
    ----------
    The definition names its own source. DERIVED: the step.

    Examples
    --------
    >>> from pedalcalc.compressor import SETTLE_2DB, attack_release, example
    >>> timing = attack_release(example(), definition=SETTLE_2DB)
    >>> print(f"attack {1e3 * timing.time_attack:.0f} ms, release {1e3 * timing.time_release:.0f} ms, {timing.name}")
    attack 14 ms, release 178 ms, settling within ±2 dB
    """
    one_unit(compressor)
    asked = is_a("definition", definition, TimingDefinition)
    high = after = TIME_FIRST
    while True:
        step = step_response(
            compressor,
            level_low_dbv=asked.level_low_dbv,
            level_high_dbv=asked.level_low_dbv + asked.level_step_db,
            frequency=asked.frequency,
            time_before=max(TIME_BEFORE_LEAST, TIME_BEFORE_PERIODS / asked.frequency),
            time_high=high,
            time_after=after,
        )
        found = measure_step(
            step.time,
            level_dbv=step.level_out_dbv,
            time_up=step.time_up,
            time_down=step.time_down,
            definition=asked,
        )
        hunts = any("hunts" in caution.what for caution in step.cautions)
        longer_high = not found.settled_attack and high < TIME_MOST
        longer_after = not found.settled_release and after < TIME_MOST
        if hunts or not (longer_high or longer_after):
            return dataclasses.replace(found, step=step, cautions=found.cautions + step.cautions)
        high *= TIME_LONGER if longer_high else 1.0
        after *= TIME_LONGER if longer_after else 1.0
