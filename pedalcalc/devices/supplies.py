"""What a pedal is fed from: 9 V blocks by chemistry, and adaptors.

A battery is an open-circuit voltage and an internal resistance over the used
share of its charge, both in straight pieces: gently down to a knee, then
steeply to the empty voltage. An adaptor is a straight line from its voltage
with nothing connected to its voltage at the rated current.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pedalcalc._record import Device, Figure, ends, figure, out_of_line, records, truth, word
from pedalcalc.devices.pinout import Pinout

__all__ = ["Adaptor", "Battery"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Battery(Device):
    """One battery type: voltage and resistance against used charge, and the charge it holds.

    The charge is what it gives at a light drain down to `voltage_empty`;
    `current_checked` is the drain above which the law is a guess.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    chemistry: str = word("chemistry")
    voltage_fresh: Figure = figure("V", "open-circuit voltage when fresh", above=0)
    voltage_fresh_max: Figure = figure("V", "highest voltage to expect of a fresh one", above=0)
    used_knee: Figure = figure("1", "used share of the charge at the knee", above=0, below=1)
    voltage_knee: Figure = figure("V", "open-circuit voltage at the knee", above=0)
    voltage_empty: Figure = figure("V", "open-circuit voltage when used up", above=0)
    resistance_fresh: Figure = figure("Ω", "internal resistance when fresh", least=0)
    resistance_empty: Figure = figure("Ω", "internal resistance when used up", least=0)
    charge: Figure = figure("C", "charge held when fresh", above=0, passes="more")
    current_checked: Figure = figure("A", "highest drain the law is meant for", above=0)
    pinouts: tuple[Pinout, ...] = records("which clip is which", Pinout)

    def _check(self) -> None:
        falling = ("voltage_fresh_max", "voltage_fresh", "voltage_knee", "voltage_empty")
        for higher, lower in pairwise(falling):
            if np.any(bad := np.asarray(getattr(self, lower)) > np.asarray(getattr(self, higher))):
                raise out_of_line(lower, f"at most {higher}", getattr(self, lower), bad)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Adaptor(Device):
    """One adaptor class: voltage with nothing connected and at the rated current."""

    name: str = word("name")
    origin: str = word("origin of the figures")
    regulated: bool = truth("regulated")
    voltage_label: Figure = figure("V", "voltage on the label", above=0)
    voltage_open: Figure = figure("V", "voltage with nothing connected", above=0, passes="more", group="voltage")
    voltage_rated: Figure = figure("V", "voltage at the rated current", above=0, passes="more", group="voltage")
    current_max: Figure = figure("A", "rated current", above=0)

    def _check(self) -> None:
        for rated, free in zip(ends(self.voltage_rated), ends(self.voltage_open), strict=True):
            if np.any(bad := np.asarray(rated) > np.asarray(free)):
                raise out_of_line("voltage_rated", "at most voltage_open", self.voltage_rated, bad)
