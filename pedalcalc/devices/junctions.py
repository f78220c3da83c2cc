"""LED, diode and Zener records, each junction written in one point of its sheet.

No sheet prints a saturation current. A record takes the forward voltage that the sheet prints and the current it
prints it at, an ideality factor and a series resistance; the junction law V = n Vt ln(1 + I/Is) + I Rs at 300 K goes
through that point, and `current_saturation` follows. An ideality of 0 is the textbook's constant drop. The energy gap
moves the drop with temperature (`pedalcalc.laws.at_temperature`); a lamp's is chosen for the sheet's millivolts per kelvin.
Two lamps of one class differ; measure yours (`pedalcalc.led.fit_led`) where it matters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._junction import Junction
from pedalcalc._record import Device, Figure, ends, figure, out_of_line, records, word
from pedalcalc.devices.pinout import Pinout

__all__ = ["Diode", "Led", "Zener"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Led(Junction, Device):
    """One LED: junction law at 300 K, ratings and light.

    `luminous_intensity` is the light on the axis at `current_for_light`, NaN where no figure is known; light grows as
    current to the power `light_exponent`.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    colour: str = word("colour", allowed=("red", "orange", "yellow", "green", "blue", "white", "infrared"))
    voltage_forward: Figure = figure("V", "forward drop at the reference current", above=0, passes="less")
    current_reference: Figure = figure("A", "current of that drop", above=0)
    ideality: Figure = figure("1", "ideality factor", least=0)
    resistance_series: Figure = figure("Ω", "series resistance", least=0, passes="less")
    energy_gap: Figure = figure("V", "energy gap over the elementary charge", above=0, optional=True)
    current_max: Figure = figure("A", "highest continuous current", above=0, optional=True)
    voltage_reverse_max: Figure = figure("V", "highest reverse voltage", above=0, optional=True)
    power_max: Figure = figure("W", "highest power", above=0, optional=True)
    luminous_intensity: Figure = figure("cd", "luminous intensity", above=0, passes="more", optional=True)
    current_for_light: Figure = figure("A", "current of that luminous intensity", above=0, optional=True)
    light_exponent: Figure = figure("1", "slope of log light against log current", above=0, optional=True)
    light_temperature_coefficient: Figure = figure("1/K", "relative change of the light", optional=True)
    wavelength: Figure = figure("m", "dominant wavelength", above=0, optional=True)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    @property
    def voltage_spread(self) -> Figure:
        """Half the width [V] of a type's range of drops; 0 for one lamp."""
        low, _, high = ends(self.voltage_forward)
        return (np.asarray(high, float) - np.asarray(low, float))[()] / 2

    def _check(self) -> None:
        self._check_point()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Diode(Junction, Device):
    """One diode: junction law at 300 K, leakage of the sheet, ratings.

    `current_leakage` is the reverse current at `voltage_reverse_max`, at the sheet's 25 °C, taken as 300 K.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    voltage_forward: Figure = figure("V", "forward drop at the reference current", above=0, passes="less")
    current_reference: Figure = figure("A", "current of that drop", above=0)
    ideality: Figure = figure("1", "ideality factor", least=0)
    resistance_series: Figure = figure("Ω", "series resistance", least=0, passes="less")
    energy_gap: Figure = figure("V", "energy gap over the elementary charge", above=0, optional=True)
    current_max: Figure = figure("A", "highest continuous current", above=0, optional=True)
    voltage_reverse_max: Figure = figure("V", "highest reverse voltage", above=0, optional=True)
    current_leakage: Figure = figure(
        "A", "reverse current at the highest reverse voltage", least=0, passes="more", optional=True
    )
    capacitance_junction: Figure = figure("F", "capacitance of the junction", above=0, passes="less", optional=True)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    def _check(self) -> None:
        self._check_point()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Zener(Junction, Device):
    """One Zener diode: its voltage at a test current with the slope resistance there, and its forward junction."""

    name: str = word("name")
    origin: str = word("origin of the figures")
    voltage_zener: Figure = figure("V", "Zener voltage at the test current", above=0, passes="less")
    current_test: Figure = figure("A", "test current", above=0)
    resistance_slope: Figure = figure("Ω", "slope resistance at the test current", least=0, passes="less")
    temperature_coefficient: Figure = figure("1/K", "relative change of the Zener voltage", optional=True)
    power_max: Figure = figure("W", "highest power at 25 °C", above=0, optional=True)
    current_leakage: Figure = figure("A", "reverse current below the knee", least=0, passes="more", optional=True)
    voltage_forward: Figure = figure("V", "forward drop at the reference current", above=0, passes="less")
    current_reference: Figure = figure("A", "current of that drop", above=0)
    ideality: Figure = figure("1", "ideality factor", least=0)
    resistance_series: Figure = figure("Ω", "series resistance, forward", least=0, passes="less")
    energy_gap: Figure = figure("V", "energy gap over the elementary charge", above=0, optional=True)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    def _check(self) -> None:
        self._check_point()
        _, voltage, _ = ends(self.voltage_zener)
        if np.any(bad := np.asarray(self.current_test) * ends(self.resistance_slope).typical >= voltage):
            allowed = "small enough to drop less than voltage_zener at current_test"
            raise out_of_line("resistance_slope", allowed, self.resistance_slope, bad)
