"""The compressor as a record of its parts, and what it checks about them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._base import Caution, Result, caution_above, is_a, numeric, one_of, quantity
from pedalcalc.devices import Coupler, typical

PLACEMENTS = ("shunt", "series", "feedback")
SENSES = ("after", "before")
RECTIFIERS = ("full", "half")
DRIVES = ("direct", "capacitor", "buffered")

HUNTS_AUDIBLE_DB = 0.05  # a swing below it is rounding or nothing to hear

_POSITIVE = (
    "resistance_input",
    "gain_makeup",
    "gain_sidechain",
    "capacitance_hold",
    "resistance_led",
    "voltage_thermal",
)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Compressor(Result):
    """One optical compressor: gain cell, make-up gain, side-chain and coupler.

    Circuit, left to right::

        in --[cell]-- make-up --+-- out
         |                      |
         +--"before"  "after"---+      (where the side-chain listens)
                   |
              side-chain gain, clips at its rail
                   |
               rectifier, less the drop of a plain diode
                   |
         R_attack --+-- C_hold || R_release          ("direct" has none of the three)
                   |
         (buffer, less one VBE) -- R_led -- LED ))) LDR = cell

    A coupler whose figures are ranges counts as its typical part.
    """

    placement: str = quantity("text", "where the cell sits: shunt, series or feedback")
    resistance_input: float = quantity("Ω", "resistor ahead of the cell, or the op-amp's input resistor")
    resistance_output: float = quantity("Ω", "load behind the cell, or the op-amp's feedback resistor")
    gain_makeup: float = quantity("1", "make-up gain behind the cell")
    sense: str = quantity("text", "side-chain listens before or after cell and make-up")
    gain_sidechain: float = quantity("1", "gain of the side-chain amplifier")
    voltage_rail: float = quantity("V", "peak at which the side-chain amplifier clips")
    rectifier: str = quantity("text", "full or half wave")
    voltage_diode: float = quantity("V", "drop of a plain rectifier diode, 0 for a precision rectifier")
    drive: str = quantity("text", "how the LED is driven: direct, capacitor or buffered")
    resistance_attack: float = quantity("Ω", "resistance that charges the hold capacitor")
    resistance_release: float = quantity("Ω", "resistance across the hold capacitor")
    capacitance_hold: float = quantity("F", "hold capacitor")
    current_leakage: float = quantity("A", "constant current out of the hold capacitor")
    voltage_base_emitter: float = quantity("V", "drop of the buffer, where there is one")
    resistance_led: float = quantity("Ω", "resistor in series with the LED")
    coupler: Coupler = quantity("record", "LED and LDR in one sleeve")
    illuminance_ambient: float = quantity("lx", "light that leaks in from outside")
    voltage_thermal: float = quantity("V", "thermal voltage of the LED junction")

    def __post_init__(self) -> None:
        one_of("placement", self.placement, PLACEMENTS)
        one_of("sense", self.sense, SENSES)
        one_of("rectifier", self.rectifier, RECTIFIERS)
        one_of("drive", self.drive, DRIVES)
        is_a("coupler", self.coupler, Coupler)
        object.__setattr__(self, "coupler", typical(self.coupler))
        for name in _POSITIVE:
            _scalar(name, getattr(self, name), above=0)
        _scalar("resistance_output", self.resistance_output, above=0, infinity=True)
        dark = np.isinf(self.coupler.cell.resistance_dark) and self.illuminance_ambient == 0
        if self.placement == "feedback" and np.isinf(self.resistance_output) and dark:
            raise ValueError(
                "resistance_output must be finite where the dark cell is an open circuit: "
                "with nothing else across it the op-amp's gain has no limit, got inf"
            )
        _scalar("voltage_rail", self.voltage_rail, above=0, infinity=True)
        _scalar("resistance_attack", self.resistance_attack, least=0)
        _scalar("resistance_release", self.resistance_release, above=0, infinity=True)
        for name in ("voltage_diode", "current_leakage", "voltage_base_emitter", "illuminance_ambient"):
            _scalar(name, getattr(self, name), least=0)


def _scalar(name: str, value: Any, **allowed: Any) -> None:
    array = numeric(name, value, **allowed)
    if array.ndim or np.isnan(array):
        raise ValueError(f"{name} must be one known number, got {value!r}")


def cautions_of(compressor: Compressor, *, current_led: Any) -> tuple[Caution, ...]:
    """Return the cautions that the LED currents met in a run give rise to."""
    led = compressor.coupler.led
    return caution_above(
        "LED current in the coupler above its rating",
        "use a larger LED resistor, or less side-chain gain",
        np.max(np.asarray(current_led), initial=0.0),
        led.current_max,
        "A",
    )


def hunting_caution(hunts_db: float) -> tuple[Caution, ...]:
    """Return the caution about a loop whose gain swings on from period to period."""
    return caution_above(
        "side-chain hunts: the gain swings from period to period and does not settle",
        "charge the hold capacitor more slowly (a larger attack resistor), or use a full-wave rectifier",
        hunts_db,
        HUNTS_AUDIBLE_DB,
        "dB",
    )
