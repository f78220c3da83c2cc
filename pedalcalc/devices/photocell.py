"""Light-dependent resistors, and couplers of an LED facing one.

A sheet gives a cell as a range of resistance at 10 lx, a slope between 10 and
100 lx, a dark resistance ten seconds after 10 lx, and two times at 10 lx. The
records turn that into the laws of `pedalcalc.opto`:

    settled conductance   g = 1/R_dark + (1/R_10lx) (E / 10 lx)^gamma
    resistance            R = 1/g + R_floor
    rise                  dg/dt = (g_settled - g) / (t_rise_10lx (E / 10 lx)^-a)
    fall                  dg/dt = (g_settled - g) / (t_fall_10lx ((g - 1/R_dark) R_10lx)^-b)

The typical `resistance_10lx` is the middle of the sheet's range by ratio. Where one light
level only was timed, a = 0.40 and b = 0.29 as in the one cell timed at two.
**Times of a cell that was not measured are good to a factor of two.**

A coupler's `illuminance_reference` is the light that reaches its cell at
`current_reference`; the home-made ones are invented typical ones, good to a
factor of two or three (E = I_v / d^2, see `pedalcalc.opto.make_coupler`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import e, isnan, log
from typing import Any, ClassVar

from pedalcalc._record import Device, Figure, ends, figure, record, records, word
from pedalcalc.devices.junctions import Led
from pedalcalc.devices.pinout import Pinout

__all__ = ["Coupler", "Ldr"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Ldr(Device):
    """One cadmium cell: settled law, timing law and ratings.

    `resistance_dark` may be infinite and `resistance_floor` zero where neither is known.
    """

    #: What a table may give in place of the two time constants: the sheet's times at 10 lx.
    table_extras: ClassVar[dict[str, str]] = {"time_to_63": "s", "time_to_37": "s"}
    table_derived: ClassVar[tuple[str, ...]] = ("time_rise_10lx", "time_fall_10lx")

    name: str = word("name")
    origin: str = word("origin of the figures")
    resistance_10lx: Figure = figure("Ω", "resistance at 10 lx", above=0, passes="less")
    gamma: Figure = figure("1", "slope of log resistance against log light", above=0, passes="more")
    resistance_dark: Figure = figure(
        "Ω", "resistance ten seconds after the light went out", above=0, infinity=True, passes="less"
    )
    resistance_floor: Figure = figure("Ω", "resistance that no light takes away", least=0, passes="less")
    time_rise_10lx: Figure = figure("s", "time constant of the rise at 10 lx", above=0)
    rise_exponent: Figure = figure("1", "slope of log rise time against falling log light", least=0)
    time_fall_10lx: Figure = figure("s", "time constant of the fall at the 10 lx conductance", above=0)
    fall_exponent: Figure = figure("1", "slope of log fall time against falling log conductance", least=0)
    resistance_temperature_coefficient: Figure = figure("1/K", "relative change of the resistance", optional=True)
    voltage_max: Figure = figure("V", "highest voltage", above=0, optional=True)
    power_max: Figure = figure("W", "highest power", above=0, optional=True)
    wavelength_peak: Figure = figure("m", "wavelength of highest response", above=0, optional=True)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    @classmethod
    def from_table(cls, given: dict[str, Any], extras: dict[str, Any]) -> dict[str, Any]:
        """Turn times to 63 % of conductance and down to 37 %, at 10 lx, into the two time constants."""
        floor, dark = given["resistance_floor"], 1 / given["resistance_dark"]
        at_10lx = ends(given["resistance_10lx"]).typical
        lit = dark + 1 / at_10lx

        def after(fraction: float) -> float:
            """Return the photo-layer conductance at which the whole cell conducts `fraction` of what it did."""
            return float(1 / ((1 / lit + floor) / fraction - floor))

        if not isnan(extras["time_to_63"]):
            rises = log((lit - dark) / (lit - after(1 - 1 / e)))
            given = given | {"time_rise_10lx": extras["time_to_63"] / rises}
        if not isnan(extras["time_to_37"]):
            power = given["fall_exponent"]
            left = float((after(1 / e) - dark) * at_10lx)
            slow = -1 / log(left) if power == 0 else power / (left**-power - 1)
            given = given | {"time_fall_10lx": extras["time_to_37"] * slow}
        return given


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Coupler(Device):
    """An LED facing a cell: light = illuminance_reference (I / current_reference)^light_exponent."""

    #: What a table may give in place of the light: the distance between a lamp of known light and the cell.
    table_extras: ClassVar[dict[str, str]] = {"distance": "m"}
    table_derived: ClassVar[tuple[str, ...]] = ("illuminance_reference", "light_exponent")

    name: str = word("name")
    origin: str = word("origin of the figures")
    led: Led = record("LED", Led)
    cell: Ldr = record("cell", Ldr)
    illuminance_reference: Figure = figure("lx", "light on the cell at the reference current", above=0, passes="more")
    current_reference: Figure = figure("A", "reference current", above=0)
    light_exponent: Figure = figure("1", "slope of log light against log current", above=0)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    @classmethod
    def from_table(cls, given: dict[str, Any], extras: dict[str, Any]) -> dict[str, Any]:
        """Find the light of a lamp at a distance, E = I_v / d²: two digits' worth of truth at best."""
        if isnan(extras["distance"]):
            return given
        lamp = given["led"]
        share = given["current_reference"] / lamp.current_for_light
        intensity = ends(lamp.luminous_intensity).typical * share**lamp.light_exponent
        return given | {
            "illuminance_reference": float(intensity / extras["distance"] ** 2),
            "light_exponent": lamp.light_exponent,
        }
