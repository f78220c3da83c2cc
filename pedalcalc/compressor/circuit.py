"""The compressor as a record of its parts, and what it checks about them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache
from typing import Any

import numpy as np

from pedalcalc._arguments import is_a, numeric, one_of
from pedalcalc._ranges import KELVIN, TEMPERATURE_RECORD
from pedalcalc._result import Caution, Result, caution_above, quantity
from pedalcalc._units import told
from pedalcalc.devices import Coupler, typical
from pedalcalc.laws.temperature import moved

PLACEMENTS = ("shunt", "series", "feedback")
SENSES = ("after", "before")
RECTIFIERS = ("full", "half")
DRIVES = ("direct", "capacitor", "buffered")

BLOCK = 1024  # units computed together
HUNTS_AUDIBLE_DB = 0.05  # a swing below it is rounding or nothing to hear

_POSITIVE = (
    "resistance_input",
    "gain_makeup",
    "gain_sidechain",
    "capacitance_hold",
    "resistance_led",
    "temperature",
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

    A coupler whose figures are ranges counts as its typical part. Its record is stated at 300 K; LED, light and cell move from
    there to `temperature`, as `laws.at_temperature` moves them, the other drops are as given. Many units are one record whose numbers, those of
    the coupler's parts among them, are single or arrays of one length: an element each.
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
    temperature: float = field(
        default=TEMPERATURE_RECORD, metadata={"unit": "K", "caption": "temperature of the coupler"}
    )

    def __post_init__(self) -> None:
        one_of("placement", self.placement, PLACEMENTS)
        one_of("sense", self.sense, SENSES)
        one_of("rectifier", self.rectifier, RECTIFIERS)
        one_of("drive", self.drive, DRIVES)
        is_a("coupler", self.coupler, Coupler)
        object.__setattr__(self, "coupler", typical(self.coupler))
        for name in _POSITIVE:
            _known(self, name, above=0)
        _known(self, "resistance_output", above=0, infinity=True)
        _known(self, "voltage_rail", above=0, infinity=True)
        _known(self, "resistance_attack", least=0)
        _known(self, "resistance_release", above=0, infinity=True)
        for name in ("voltage_diode", "current_leakage", "voltage_base_emitter", "illuminance_ambient"):
            _known(self, name, least=0)
        _one_length(self)
        KELVIN("temperature", self.temperature)
        if not np.all(np.isfinite(self.coupler_at_temperature.illuminance_reference)):
            raise ValueError(
                f"temperature must be {TEMPERATURE_RECORD:g} K for {self.coupler.name!r}, whose LED's "
                "light_temperature_coefficient is not known, or fill it in with dataclasses.replace"
            )
        dark = np.isinf(self.coupler.cell.resistance_dark) & (np.asarray(self.illuminance_ambient) == 0)
        if self.placement == "feedback" and np.any(np.isinf(self.resistance_output) & dark):
            raise ValueError(
                "resistance_output must be finite where the dark cell is an open circuit: "
                "with nothing else across it the op-amp's gain has no limit, got inf Ω"
            )

    @property
    def coupler_at_temperature(self) -> Coupler:
        """The coupler as it is at its temperature."""
        moved_there: Coupler = moved(self.coupler, np.asarray(self.temperature))
        return moved_there


def _known(compressor: Compressor, name: str, **allowed: Any) -> None:
    value = getattr(compressor, name)
    array = numeric(name, value, **allowed)
    if array.ndim > 1 or array.size == 0 or np.isnan(array).any():
        raise ValueError(f"{name} must be one known number, or one for each unit in one dimension, got {told(value)}")
    if array.ndim:
        object.__setattr__(compressor, name, array)


def _figures(record: Any, prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Yield the names of all figures of a record and of those inside it, and what they are."""
    kind: Any = type(record)
    for name in _names(kind):
        value = getattr(record, name)
        if isinstance(value, (float, int, np.ndarray, np.number)):
            yield prefix + name, value
        elif isinstance(value, Result):
            yield from _figures(value, f"{prefix}{name}.")


@lru_cache
def _names(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


def _one_length(compressor: Compressor) -> None:
    lengths = {
        name: value.shape for name, value in _figures(compressor) if isinstance(value, np.ndarray) and value.ndim
    }
    if len(set(lengths.values())) > 1 or any(len(shape) > 1 for shape in lengths.values()):
        told = ", ".join(f"{name} {shape}" for name, shape in lengths.items())
        raise ValueError(f"arrays of a compressor must be of one dimension and one length, a unit each, got {told}")


def units_of(compressor: Compressor) -> int | None:
    """Return how many units a record holds, None where its numbers are single."""
    return next((len(value) for _, value in _figures(compressor) if isinstance(value, np.ndarray) and value.ndim), None)


def taken(compressor: Any, which: Any) -> Any:
    """Return some units of many as a record of arrays, or one of them, by its index, as one of single numbers."""
    changed: dict[str, Any] = {}
    kind: Any = type(compressor)
    for name in _names(kind):
        value = getattr(compressor, name)
        if isinstance(value, Result):
            changed[name] = taken(value, which)
        elif isinstance(value, np.ndarray) and value.ndim:
            part = value[which]
            changed[name] = part if part.ndim else float(part)
    return replace(compressor, **changed)


def in_blocks(compressor: Compressor) -> Iterator[tuple[slice, Compressor]]:
    """Yield many units in pieces whose numbers a processor core keeps at hand, and where each piece stands."""
    count = units_of(compressor) or 0
    for start in range(0, count, BLOCK):
        at = slice(start, min(start + BLOCK, count))
        yield at, compressor if at == slice(0, count) else taken(compressor, at)


def one_unit(compressor: Compressor) -> Compressor:
    """Return a compressor of single numbers, refuse any other."""
    is_a("compressor", compressor, Compressor)
    for name, value in _figures(compressor):
        if isinstance(value, np.ndarray) and value.ndim:
            raise ValueError(
                f"compressor must be one unit to be followed in time, but its {name} holds {len(value)}: "
                "take one number of each, as dataclasses.replace does"
            )
    return compressor


def cautions_of(compressor: Compressor, *, current_led: Any) -> tuple[Caution, ...]:
    """Return the cautions that the LED currents met in a run give rise to."""
    led = compressor.coupler.led
    return caution_above(
        "LED current in the coupler above its rating",
        "use a larger LED resistor, or less side-chain gain",
        np.max(np.asarray(current_led), axis=-1, initial=0.0),
        led.current_max,
        "A",
    )


def hunting_caution(hunts_db: Any) -> tuple[Caution, ...]:
    """Return the caution about a loop whose gain swings on from period to period."""
    return caution_above(
        "side-chain hunts: the gain swings from period to period and does not settle",
        "charge the hold capacitor more slowly (a larger attack resistor), or use a full-wave rectifier",
        hunts_db,
        HUNTS_AUDIBLE_DB,
        "dB",
    )
