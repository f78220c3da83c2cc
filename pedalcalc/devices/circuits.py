"""Op-amp and converter records: integrated circuits by what the board needs to know of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._record import Device, Figure, ends, figure, out_of_line, records, truth, word
from pedalcalc._refusal import refused
from pedalcalc._result import Spread
from pedalcalc._scores import scores
from pedalcalc._units import said
from pedalcalc.devices.pinout import Pinout

__all__ = ["Converter", "OpAmp"]

BEYOND = ("turns phase", "keeps phase", "not known")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class OpAmp(Device):
    """One amplifier of an op-amp package.

    `headroom_top` and `headroom_bottom` say how near the output comes to each rail, `input_margin_top` and
    `input_margin_bottom` how near the inputs may come; they are taken from the sheet's ±15 V figures and assumed to stay
    the same on a lower supply (usual, not guaranteed). Beyond that, `below_input_range` and `above_input_range` say
    whether the output turns phase (what such an input reads is then not predictable). `current_bias` is a size;
    `bias_direction` is `in` where it flows into the pins (NPN inputs) and `out` where it flows out of them (PNP inputs).
    `voltage_offset` is the size on the sheet; `voltage_offset_signed` is what stands at the non-inverting input of a part,
    0 in the usual one, and of either sign up to the sheet's highest among many.
    `output_diodes` tells of diodes from the output to both rails, which conduct as soon as a supply pin is open.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    voltage_supply_min: Figure = figure("V", "lowest total supply", above=0)
    voltage_supply_max: Figure = figure("V", "highest total supply", above=0)
    current_quiescent: Figure = figure("A", "supply current of each amplifier", above=0, passes="more")
    gain_open_loop: Figure = figure("1", "open-loop gain", above=0, infinity=True, passes="more")
    gain_bandwidth: Figure = figure("Hz", "gain-bandwidth product", above=0, infinity=True, passes="more")
    slew_rate: Figure = figure("V/s", "slew rate", above=0, infinity=True, passes="more")
    voltage_offset: Figure = figure("V", "input offset, size", least=0, passes="less")
    current_bias: Figure = figure("A", "input bias current, size", least=0, passes="less")
    bias_direction: str = word("bias current flows in or out", allowed=("in", "out"))
    resistance_output_open: Figure = figure("Ω", "open-loop output resistance", least=0)
    current_output_max: Figure = figure("A", "output current limit", above=0, passes="more", optional=True)
    output_diodes: bool = truth("diodes from output to both rails")
    headroom_top: Figure = figure("V", "output to positive rail", least=0, passes="less", group="headroom")
    headroom_bottom: Figure = figure("V", "output to negative rail", least=0, passes="less", group="headroom")
    input_margin_top: Figure = figure("V", "input to positive rail", passes="less", group="margin")
    input_margin_bottom: Figure = figure("V", "input to negative rail", passes="less", group="margin")
    voltage_offset_signed: Figure = figure("V", "input offset of this part, with its sign", usual=0.0)
    below_input_range: str = word("below the input range the output", allowed=BEYOND)
    above_input_range: str = word("above the input range the output", allowed=BEYOND)
    pinouts: tuple[Pinout, ...] = records("which pin is which", Pinout)

    def _check(self) -> None:
        if np.any(bad := np.asarray(self.voltage_supply_max) <= np.asarray(self.voltage_supply_min)):
            raise out_of_line("voltage_supply_max", "above voltage_supply_min", self.voltage_supply_max, bad)

    def _draw(self, count: int, rng: np.random.Generator) -> dict[str, Any]:
        """Draw offsets of either sign, the highest size as the third standard deviation."""
        if not isinstance(self.voltage_offset, Spread) or isinstance(self.voltage_offset_signed, Spread):
            return {}
        most = np.asarray(ends(self.voltage_offset).high, float)
        return {"voltage_offset_signed": self.voltage_offset_signed + most * scores(count, rng)}

    def _relate(self, picked: dict[str, Any], which: str) -> dict[str, Any]:  # noqa: ARG002
        """Leave the figures as they were picked."""
        return picked


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Converter(Device):
    """One switched-capacitor converter type: supply limits, oscillator with and without boost, switches, idle current.

    The pump runs at half the oscillator's frequency. `frequency_boosted` and `current_idle_boosted` are NaN where the
    part has no boost pin or nothing is known. The low-voltage pin may stay open from `voltage_low_pin_open` up, and may
    be at ground up to `voltage_low_pin_grounded`; both differ between types. `voltage_output_diode` is the supply above
    which an inverter needs a diode in its output lead, NaN where it never does. A sheet gives the output resistance as an inverter with `capacitance_reference`, not that of one switch.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    voltage_supply_min: Figure = figure("V", "lowest supply", above=0)
    voltage_supply_max: Figure = figure("V", "highest supply", above=0)
    voltage_low_pin_open: Figure = figure("V", "lowest supply with the low-voltage pin open", above=0)
    voltage_low_pin_grounded: Figure = figure(
        "V", "highest supply with the low-voltage pin at ground", above=0, infinity=True
    )
    frequency_oscillator: Figure = figure("Hz", "oscillator, boost pin open", above=0)
    frequency_boosted: Figure = figure("Hz", "oscillator, boost pin to supply", above=0, optional=True)
    resistance_thevenin: Figure = figure("Ω", "output resistance on the sheet", above=0, passes="less")
    capacitance_reference: Figure = figure("F", "capacitors of that output resistance", above=0)
    current_idle: Figure = figure("A", "supply current without load", least=0, passes="more")
    current_idle_boosted: Figure = figure(
        "A", "supply current without load, boosted", least=0, passes="more", optional=True
    )
    current_max: Figure = figure("A", "highest load the sheet shows", above=0, optional=True)
    voltage_output_diode: Figure = figure(
        "V", "supply above which the inverter needs an output diode", above=0, optional=True
    )
    pinouts: tuple[Pinout, ...] = records("which pin is which", Pinout)

    @property
    def resistance_switch(self) -> Figure:
        """Resistance [Ω] of one of four equal switches for which the exact two-phase form gives the sheet's figure.

        R_out = (1/(f C)) coth(1/(8 f R_sw C)), f half the oscillator; a `Spread` where the output resistance is one.
        """
        slow = 1 / (self.frequency_pump * self.capacitance_reference)

        def switch(resistance: Any) -> Any:
            found = slow / 8 / np.arctanh(slow / np.asarray(resistance, float))
            return found if found.ndim else float(found)

        found = self.resistance_thevenin
        return Spread(*map(switch, found)) if isinstance(found, Spread) else switch(found)

    @property
    def frequency_pump(self) -> Figure:
        """Frequency [Hz] at which charge is pumped, boost pin open: half the oscillator's."""
        return self.frequency_oscillator / 2

    @property
    def frequency_pump_boosted(self) -> Figure:
        """Frequency [Hz] at which charge is pumped, boost pin to supply: half the oscillator's."""
        return self.frequency_boosted / 2

    def _check(self) -> None:
        if np.any(bad := np.asarray(self.voltage_supply_max) <= np.asarray(self.voltage_supply_min)):
            raise out_of_line("voltage_supply_max", "above voltage_supply_min", self.voltage_supply_max, bad)
        slow = 2 / (np.asarray(self.frequency_oscillator, float) * np.asarray(self.capacitance_reference, float))
        worst = self.resistance_thevenin
        for resistance in worst if isinstance(worst, Spread) else (worst,):
            if np.any(bad := np.asarray(resistance) <= slow):
                left = f"{said('resistance_thevenin', np.max(slow))}, what ideal switches leave at this"
                allowed = f"above {left} frequency_oscillator and capacitance_reference"
                raise refused("resistance_thevenin", allowed, resistance, bad)
