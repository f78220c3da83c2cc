"""The bands that the tolerances of an optical compressor's parts leave of threshold, ratio, attack and release."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import compressor
from pedalcalc._result import Result, Spread, quantity
from pedalcalc.board._rows import Parts, told, told_range
from pedalcalc.compressor.circuit import taken
from pedalcalc.devices import Coupler, drawn
from pedalcalc.opto.class_draws import drawn_of_class
from pedalcalc.opto.fit_draws import drawn_of_fit
from pedalcalc.opto.kinetics import TIME_FACTOR_UNMEASURED

Array = NDArray[np.float64]

#: Units that are played a step, one after the other: on average 31 of 33 further ones lie between their ends.
TIMED = 32
_SEED = 1
_LEVELS = np.linspace(-60.0, 6.0, 133)  # dBV
_BAND_95 = 1.96  # standard deviations that hold 95 of 100
_TAIL = 0.025  # of the units lie below a static band, and as many above


@dataclass(frozen=True, slots=True, eq=False)
class DynamicsBand(Result):
    """Threshold, ratio, attack and release with their bands over drawn units.

    Of the static figures 95 of 100 units lie between low and high; typical is the middle one. Of the times low and high are the
    ends of the units that were timed.
    """

    threshold_dbv: Spread = quantity("dBV", "threshold (input level)")
    threshold_1db_dbv: Spread = quantity("dBV", "threshold, 1 dB down (input level)")
    ratio: Spread = quantity("1", "highest ratio")
    time_attack: Spread = quantity("s", "attack, settling within ±2 dB")
    time_release: Spread = quantity("s", "release, settling within ±2 dB")
    count: int = quantity("1", "units drawn")
    count_timed: int = quantity("1", "units timed")
    text_threshold: str = quantity("text", "threshold")
    text_threshold_1db: str = quantity("text", "threshold, 1 dB down")
    text_ratio: str = quantity("text", "ratio")
    text_attack: str = quantity("text", "whole attack")
    text_release: str = quantity("text", "whole release")
    text_coupler: str = quantity("text", "coupler")


class DrawnParts(Parts):
    """The parts of many boards: resistors, capacitors and tracks even within their printed tolerance, couplers of their class.

    A part without a printed tolerance stands as it is. Of a measured coupler those are drawn that fit its readings as well.
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
        record: Any = next(entry.device for entry in self.board.parts if entry.part.reference == name)
        own = self.board.own(name)
        if own is None:
            return drawn_of_class(record, count=self.count, seed=_SEED)
        fitted = drawn_of_fit(own.result, coupler=usual, count=self.count, seed=_SEED)
        timed = not np.isnan(own.time_factor)
        deviation = np.log(own.time_factor) / _BAND_95 if timed else np.log(TIME_FACTOR_UNMEASURED) / 3
        pace = np.exp(deviation * self.rng.standard_normal(self.count))
        slower = {name: pace * getattr(usual.cell, name) for name in ("time_rise_10lx", "time_fall_10lx")}
        lamp = drawn(record, count=self.count, seed=_SEED).led  # its voltage is none of the readings
        return dataclasses.replace(fitted, led=lamp, cell=dataclasses.replace(fitted.cell, **slower))


def dynamics_band(units: compressor.Compressor, count: int, text_coupler: str) -> DynamicsBand:
    """Return the bands over units that were drawn."""
    curves = compressor.static_curve(_LEVELS, compressor=units)
    features = compressor.curve_features(_LEVELS, level_out_dbv=curves.level_out_dbv)
    threshold, flatness = np.asarray(features.threshold_dbv), 1 / np.asarray(features.ratio)
    timed = [
        compressor.attack_release(taken(units, index), definition=compressor.SETTLE_2DB)
        for index in range(min(TIMED, count))
    ]
    settled = [found for found in timed if found.settled_attack and found.settled_release]
    down = np.asarray(curves.gain_reduction_db)
    one_down = np.array([_crossed(row) for row in down])
    with np.errstate(divide="ignore"):
        steep = Spread(*(float(1 / np.float64(part)) for part in reversed(_quantiles(flatness))))
    corner, one_db = _quantiles(threshold), _quantiles(one_down)
    attack, release = (_ends([getattr(found, name) for found in settled]) for name in ("time_attack", "time_release"))
    return DynamicsBand(
        threshold_dbv=corner,
        threshold_1db_dbv=one_db,
        ratio=steep,
        time_attack=attack,
        time_release=release,
        count=count,
        count_timed=len(settled),
        text_threshold=told_threshold(corner),
        text_threshold_1db=told_threshold(one_db),
        text_ratio=_told_ratio(steep, corner),
        text_attack=_told_time(attack),
        text_release=_told_time(release),
        text_coupler=text_coupler,
    )


def _crossed(down: Array) -> float:
    """Return the level at which the gain is first 1 dB down, infinite where it never is."""
    if down.max() <= 1:
        return float("inf")
    after = max(int(np.argmax(down > 1)), 1)
    return float(np.interp(1.0, down[after - 1 : after + 1], _LEVELS[after - 1 : after + 1]))


def told_threshold(band: Spread) -> str:
    """Return a band of thresholds in words."""
    if np.isinf(band.low):
        return "does not compress"
    if np.isinf(band.high):
        return f"from {told(band.low, 'dBV')}; some units do not compress"
    return told_range(band.low, band.high, "dBV")


def _told_ratio(band: Spread, corner: Spread) -> str:
    if np.isinf(corner.low):
        return "does not compress"
    if not 0 < band.high < np.inf:
        return f"from {told(band.low, '', 2)} : 1; in some units the curve is flat or falls"
    return f"{told_range(band.low, band.high, '', 2)} : 1"


def _told_time(band: Spread) -> str:
    return "no unit settles" if np.isnan(band.low) else told_range(band.low, band.high, "s", 2)


def _quantiles(values: Array) -> Spread:
    return Spread(*(float(part) for part in np.quantile(values, [_TAIL, 0.5, 1 - _TAIL], method="inverted_cdf")))


def _ends(values: list[float]) -> Spread:
    if not values:
        return Spread(np.nan, np.nan, np.nan)
    return Spread(float(np.min(values)), float(np.median(values)), float(np.max(values)))
