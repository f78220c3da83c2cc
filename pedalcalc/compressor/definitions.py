"""What "attack time" and "release time" are taken to mean: levels, tone and band, by name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._arguments import numeric
from pedalcalc._result import Result, quantity
from pedalcalc._units import told


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TimingDefinition(Result):
    """What "attack time" and "release time" are taken to mean.

    Either a band is given in dB around the new steady level, or, with NaN
    bands, the part of the level change (in dB) that is still left when the
    clock stops, and when it starts (1: at the step itself).
    """

    name: str = quantity("text", "definition")
    source: str = quantity("text", "source")
    level_low_dbv: float = quantity("dBV", "input level before and after the step")
    level_step_db: float = quantity("dB", "size of the input step")
    frequency: float = quantity("Hz", "tone")
    band_attack_db: float = quantity("dB", "band around the steady level, attack")
    band_release_db: float = quantity("dB", "band around the steady level, release")
    part_start: float = quantity("1", "part of the change left when the clock starts")
    part_left: float = quantity("1", "part of the change left when the clock stops")

    def __post_init__(self) -> None:
        for name in ("level_low_dbv", "level_step_db", "frequency"):
            allowed = {} if name == "level_low_dbv" else {"above": 0.0}
            if np.isnan(_number(name, getattr(self, name), **allowed)):
                raise ValueError(f"{name} must be a known number, got nan")
        bands = [_number(name, getattr(self, name), above=0) for name in ("band_attack_db", "band_release_db")]
        start = _number("part_start", self.part_start, above=0, most=1)
        left = _number("part_left", self.part_left, above=0, below=1)
        if np.isnan(bands).all() == np.isnan(left) or np.isnan(bands[0]) != np.isnan(bands[1]):
            raise ValueError("give either both bands in dB or part_left, and leave the other as nan")
        if np.isnan(start) or start <= self.part_left:
            raise ValueError(f"part_start must be above part_left ({left:g}) and at most 1, got {start:g}")


def _number(name: str, value: Any, **allowed: float) -> float:
    array = numeric(name, value, **allowed)
    if array.ndim:
        raise ValueError(f"{name} must be one number, got {told(value)}")
    return float(array)


def _definition(name: str, source: str, low: float, step: float, tone: float, **how: float) -> TimingDefinition:
    given = {"band_attack_db": np.nan, "band_release_db": np.nan, "part_start": 1.0, "part_left": np.nan} | how
    return TimingDefinition(name=name, source=source, level_low_dbv=low, level_step_db=step, frequency=tone, **given)


#: Settling to within ±2 dB of the new steady level, for a step of 20 dB at guitar level.
SETTLE_2DB = _definition(
    "settling within ±2 dB", "PRACTICE", -30.0, 20.0, 1000.0, band_attack_db=2.0, band_release_db=2.0
)
#: 63.2 % of the level change in dB done: one time constant of a first-order response in dB.
PART_63 = _definition("63 % of the level change in dB", "PRACTICE", -30.0, 20.0, 1000.0, part_left=float(np.exp(-1.0)))
#: From 10 % to 90 % of the level change in dB.
PART_10_90 = _definition(
    "10 to 90 % of the level change in dB", "PRACTICE", -30.0, 20.0, 1000.0, part_start=0.9, part_left=0.1
)
#: 25 dB step and ±2 dB band in the style of IEC 60118-2 (withdrawn), levels shifted to a pedal's.
IEC_60118_2_STYLE = _definition(
    "IEC 60118-2 style", "MEMORY", -35.0, 25.0, 1600.0, band_attack_db=2.0, band_release_db=2.0
)
#: 35 dB step (there 55 to 90 dB), within 3 dB (attack, from memory) and 4 dB (release, read), in the style of ANSI S3.22.
ANSI_S3_22_STYLE = _definition(
    "ANSI S3.22 style", "ANSI-S322-NOTE", -45.0, 35.0, 2000.0, band_attack_db=3.0, band_release_db=4.0
)
#: All of them, the two that say most first.
DEFINITIONS = (PART_63, SETTLE_2DB, IEC_60118_2_STYLE, ANSI_S3_22_STYLE, PART_10_90)
