"""The bands that the tolerances of an optical compressor's parts leave of threshold, ratio, attack and release."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import compressor
from pedalcalc._base import Result, Spread, quantity
from pedalcalc.board._rows import Parts
from pedalcalc.compressor.circuit import taken
from pedalcalc.devices import Coupler
from pedalcalc.opto.class_draws import drawn_of_class

Array = NDArray[np.float64]

#: Units that are played a step, one after the other: on average 31 of 33 further ones lie between their ends.
TIMED = 32
_SEED = 1
_LEVELS = np.linspace(-60.0, 6.0, 133)  # dBV
_TAIL = 0.025  # of the units lie below a static band, and as many above


@dataclass(frozen=True, slots=True, eq=False)
class DynamicsBand(Result):
    """Threshold, ratio, attack and release with their bands over drawn units.

    Of the static figures 95 of 100 units lie between low and high; typical is the middle one. Of the times low and high are the
    ends of the units that were timed.
    """

    threshold_dbv: Spread = quantity("dBV", "threshold (input level)")
    ratio: Spread = quantity("1", "highest ratio")
    time_attack: Spread = quantity("s", "attack, settling within ±2 dB")
    time_release: Spread = quantity("s", "release, settling within ±2 dB")
    count: int = quantity("1", "units drawn")
    count_timed: int = quantity("1", "units timed")


class DrawnParts(Parts):
    """The parts of many boards: resistors, capacitors and tracks even within their printed tolerance, couplers of their class.

    A part without a printed tolerance stands as it is, and so does the law of a measured coupler.
    """

    def __init__(self, parts: Parts, count: int) -> None:
        super().__init__(parts.board, parts.roles)
        self.count = count
        self.rng = np.random.default_rng(_SEED)
        self.shares: dict[str, Any] = {}

    def _share(self, role: str) -> Any:
        name = self.name(role)
        if name not in self.shares:
            part = self.board.part(name)
            low, high = (float(np.nan_to_num(end)) for end in (part.tolerance_low, part.tolerance_high))
            self.shares[name] = 1 + self.rng.uniform(low, high, self.count)
        return self.shares[name]

    def ohms(self, role: str) -> Any:
        """Return the values of a resistor [Ω]."""
        return super().ohms(role) * self._share(role)

    def farads(self, role: str) -> Any:
        """Return the values of a capacitor [F]."""
        return super().farads(role) * self._share(role)

    def turned(self, role: str) -> Any:
        """Return what a control stands at [Ω], its track within its tolerance."""
        return super().turned(role) * self._share(role)

    def one(self, role: str, kind: type[Any]) -> Any:
        """Return a part of plain numbers; of a coupler many."""
        usual = super().one(role, kind)
        if kind is not Coupler:
            return usual
        name = self.name(role)
        own = self.board.own(name)
        if own is None:
            return drawn_of_class(self.board.record(name), count=self.count, seed=_SEED)
        spread = 1.0 if np.isnan(own.time_factor) else own.time_factor
        pace = spread ** self.rng.uniform(-1, 1, self.count)
        slower = {name: pace * getattr(usual.cell, name) for name in ("time_rise_10lx", "time_fall_10lx")}
        return dataclasses.replace(usual, cell=dataclasses.replace(usual.cell, **slower))


def dynamics_band(units: compressor.Compressor, count: int) -> DynamicsBand:
    """Return the bands over units that were drawn."""
    curves = compressor.static_curve(_LEVELS, compressor=units)
    features = compressor.curve_features(_LEVELS, level_out_dbv=curves.level_out_dbv)
    threshold, flatness = np.asarray(features.threshold_dbv), 1 / np.asarray(features.ratio)
    timed = [
        compressor.attack_release(taken(units, index), definition=compressor.SETTLE_2DB)
        for index in range(min(TIMED, count))
    ]
    settled = [found for found in timed if found.settled_attack and found.settled_release]
    with np.errstate(divide="ignore"):
        steep = Spread(*(float(1 / np.float64(part)) for part in reversed(_quantiles(flatness))))
    return DynamicsBand(
        threshold_dbv=_quantiles(threshold),
        ratio=steep,
        time_attack=_ends([found.time_attack for found in settled]),
        time_release=_ends([found.time_release for found in settled]),
        count=count,
        count_timed=len(settled),
    )


def _quantiles(values: Array) -> Spread:
    return Spread(*(float(part) for part in np.quantile(values, [_TAIL, 0.5, 1 - _TAIL], method="inverted_cdf")))


def _ends(values: list[float]) -> Spread:
    if not values:
        return Spread(np.nan, np.nan, np.nan)
    return Spread(float(np.min(values)), float(np.median(values)), float(np.max(values)))
