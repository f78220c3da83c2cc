"""Regulator records: three-pin voltage regulators by what the board needs to know of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._record import Device, Figure, ends, figure, records, word
from pedalcalc.devices.pinout import Pinout

__all__ = ["Regulator"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Regulator(Device):
    """One three-pin regulator type, of fixed or adjustable voltage; all figures of a negative type are sizes.

    `voltage_output` is held above the pin of ground or adjust: the fixed voltage, or an adjustable type's reference.
    `current_ground` flows out of that pin. An adjustable type's own supply leaves by the output, so that the load must draw
    at least `current_load_min`. `current_output_max` is where the part's own limit holds, `current_max` what the sheet
    promises to deliver. `ripple_rejection_db` says how much less of the input's changes comes out, an adjustable type's at
    its reference; the output is as on the sheet at `voltage_input_test`. The highest input counts above the ground pin, the
    highest difference from input to output, NaN where the sheet has none.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    polarity: str = word("positive or negative", allowed=("positive", "negative"))
    voltage_output: Figure = figure("V", "voltage held above the ground or adjust pin", above=0)
    voltage_dropout: Figure = figure("V", "least voltage across it that still regulates", above=0, passes="less")
    voltage_input_test: Figure = figure("V", "input on the sheet", above=0)
    voltage_input_max: Figure = figure("V", "highest input", above=0, optional=True)
    voltage_difference_max: Figure = figure("V", "highest input above output", above=0, optional=True)
    current_ground: Figure = figure("A", "current of the ground or adjust pin", least=0, passes="more")
    current_load_min: Figure = figure("A", "least load that keeps it regulating", least=0, usual=0.0)
    current_max: Figure = figure("A", "highest load", above=0)
    current_output_max: Figure = figure("A", "output current limit", above=0, passes="more", optional=True)
    resistance_output_closed: Figure = figure("Ω", "output resistance", above=0, passes="less")
    ripple_rejection_db: Figure = figure("dB", "ripple rejection", above=0, optional=True)
    power_max: Figure = figure("W", "highest power without a heat sink", above=0, optional=True)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    def _check(self) -> None:
        if np.any(np.asarray(self.voltage_input_test) <= np.asarray(ends(self.voltage_output).high)):
            raise ValueError(f"voltage_input_test must be above voltage_output, got {self.voltage_input_test!r}")
