"""What capacitors, controls and meters are beyond the value written on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._record import Device, Figure, figure, plain, records, word
from pedalcalc.devices.pinout import Pinout

__all__ = ["Capacitor", "Meter", "Taper"]


#: Series resistance of an electrolytic at tens of kilohertz over that at 120 Hz: makers allow about half the ripple
#: current at 120 Hz, and heat goes with its square (from memory).
ESR_FAST = 0.25


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Capacitor(Device):
    """One kind of capacitor, or, with its capacitance and rating filled in (`devices.capacitor`), one capacitor.

    Losses by kind: `loss_tangent` at `frequency_loss` and never less than `resistance_lead` in series; insulation as
    the time constant `time_insulation` of a charged capacitor, at most `resistance_insulation_max`; leakage of an
    electrolytic as a share of its charge per second at the rated voltage, at least `current_leakage_least`.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    dielectric: str = word(
        "film, ceramic, electrolytic or tantalum", allowed=("film", "ceramic", "electrolytic", "tantalum")
    )
    capacitance: Figure = figure("F", "capacitance", above=0, passes="more", optional=True)
    voltage_max: Figure = figure("V", "rated voltage", above=0, optional=True)
    loss_tangent: Figure = figure("1", "loss tangent", least=0, passes="less")
    frequency_loss: Figure = figure("Hz", "frequency of the loss tangent", above=0)
    resistance_lead: Figure = figure("Ω", "least series resistance", least=0)
    time_insulation: Figure = figure(
        "s", "insulation resistance times capacitance", above=0, infinity=True, passes="less"
    )
    resistance_insulation_max: Figure = figure("Ω", "highest insulation resistance", above=0, infinity=True)
    leakage_rate: Figure = figure("1/s", "leakage over charge at the rated voltage", least=0, passes="more")
    current_leakage_least: Figure = figure("A", "least leakage that a sheet promises", least=0)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    @property
    def resistance_esr(self) -> Figure:
        """Series resistance [Ω] at `frequency_loss`: loss tangent over reactance."""
        tangent, frequency, size, least = plain(
            self, "loss_tangent", "frequency_loss", "capacitance", "resistance_lead"
        )
        return np.maximum(tangent / (2 * np.pi * np.asarray(frequency) * size), least)[()]

    @property
    def resistance_esr_fast(self) -> Figure:
        """Series resistance [Ω] at tens of kilohertz: of an electrolytic a quarter of that at 120 Hz."""
        share = ESR_FAST if self.dielectric == "electrolytic" else 1.0
        return np.maximum(share * np.asarray(self.resistance_esr), self.resistance_lead)[()]

    @property
    def resistance_insulation(self) -> Figure:
        """Resistance [Ω] across the capacitor that no leakage figure covers."""
        time, size, most = plain(self, "time_insulation", "capacitance", "resistance_insulation_max")
        return np.minimum(np.asarray(time) / size, most)[()]

    @property
    def current_leakage(self) -> Figure:
        """Leakage [A] at the rated voltage; 0 for kinds whose insulation resistance tells all."""
        rate, size, volts, least = plain(self, "leakage_rate", "capacitance", "voltage_max", "current_leakage_least")
        leakage = np.maximum(np.asarray(rate) * size * volts, least)
        return np.where(np.asarray(rate) > 0, leakage, 0.0)[()]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Taper(Device):
    """The law of a control: what share of its track lies between the anticlockwise end and the wiper.

    `fraction_middle` is that share at mid rotation; of a track of two straight pieces, whose bend lies at
    `rotation_knee`, the share there (NaN for a smooth one). `tolerance` that of the whole track, either way;
    `resistance_end` what is left between wiper and end at a stop. The letter differs between makers and times, so it
    is told and not read: `letter_today` is A for log and B for linear, `letter_older` the older usage.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    law: str = word("linear, log or reverse log", allowed=("linear", "log", "reverse log"))
    fraction_middle: Figure = figure("1", "share of the track at mid rotation", above=0, below=1)
    tolerance: Figure = figure("1", "tolerance of the whole track, either way", least=0, below=1)
    resistance_end: Figure = figure("Ω", "left between wiper and end at a stop", least=0)
    rotation_knee: Figure = figure("1", "rotation at which it bends", above=0, below=1, optional=True)
    letter_today: str = word("letter on today's parts", default="")
    letter_older: str = word("letter on older parts", default="")
    pinouts: tuple[Pinout, ...] = records("which pin is which", Pinout)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Meter(Device):
    """One multimeter: what it puts across the circuit, and how well it reads.

    A pointer instrument's resistance goes with its range (`resistance_per_volt`); a digital one's is
    `resistance_meter` on every volts range. A reading is good to `accuracy` of itself and `accuracy_range` of the
    range's end (for a digital one: its last digits over its counts).
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    resistance_meter: Figure = figure("Ω", "resistance on volts", above=0, infinity=True, optional=True)
    resistance_per_volt: Figure = figure("Ω/V", "resistance for each volt of the range", above=0, optional=True)
    accuracy: Figure = figure("1", "accuracy, share of the reading", least=0, below=1)
    accuracy_range: Figure = figure("1", "accuracy, share of the range", least=0, below=1)
    counts: Figure = figure("1", "highest count of the display", above=0, optional=True)
    voltage_ohms: Figure = figure("V", "voltage on ohms with open leads", above=0, optional=True)
    current_diode_test: Figure = figure("A", "current on the diode range", above=0, optional=True)
    voltage_burden: Figure = figure("V", "voltage across the current range at its end", least=0, optional=True)
