"""Branch laws for many parts at once: terminal volts to terminal amperes and slopes.

A group holds the parts of one law. Terminal volts are arrays of shape (units, terminals, parts), so are the currents into
the terminals; slopes have shape (units, terminals, terminals, parts), row the current, column the voltage. In memory
the units lie side by side, so that a board of few parts still makes long loops.
"""

# ruff: noqa: ARG002 (one signature for all laws)

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc.devices import Zener
from pedalcalc.laws import cells, junctions, transistors

Array = NDArray[np.float64]
#: Currents into the terminals (units, terminals, parts) and their slopes (units, terminals, terminals, parts).
Room = tuple[Array, Array]

#: Slope resistance [Ω] of a base-emitter junction in breakdown (from memory: some ohms to some tens).
BREAKDOWN_RESISTANCE = 20.0
#: The diodes from an op-amp's output, or its lower supply pin, to its rails (from memory: a silicon junction).
CLAMP_DROP, CLAMP_CURRENT = 0.7, 1e-3
#: Steepest slope of a cell's conductance over light; at no light the law's own is infinite.
_STEEPEST = 1e6


def stacked(parts: Sequence[Any]) -> Any:
    """Return figures of several parts as one: arrays of shape (1 or units, parts)."""
    first = parts[0]
    if isinstance(first, tuple) and hasattr(first, "_fields"):
        return type(first)(*(stacked([part[k] for part in parts]) for k in range(len(first))))
    if isinstance(first, tuple):
        return tuple(stacked([part[k] for part in parts]) for k in range(len(first)))
    if first is None or isinstance(first, str):
        return first
    arrays = [np.atleast_1d(np.asarray(part, float)) for part in parts]
    units = max(len(array) for array in arrays)
    return np.stack([np.broadcast_to(array, (units,)) for array in arrays]).T


def empty(units: int, *others: int) -> Array:
    """Return an array of the given lengths in which the units lie side by side."""
    return np.empty((*others, units)).transpose(-1, *range(len(others)))


def taken(figures: Any, units: Any) -> Any:
    """Return the figures of some units, by their indices or a slice."""
    if isinstance(figures, tuple):
        parts = [taken(one, units) for one in figures]
        return type(figures)(*parts) if hasattr(figures, "_fields") else tuple(parts)
    if isinstance(figures, np.ndarray) and figures.ndim and len(figures) > 1:
        return figures[units] if isinstance(units, slice) else figures.T.take(units, axis=1).T
    return figures


def picked(figures: Any, parts: Any) -> Any:
    """Return the figures of some parts."""
    if isinstance(figures, tuple):
        some = [picked(one, parts) for one in figures]
        return type(figures)(*some) if hasattr(figures, "_fields") else tuple(some)
    return figures[..., parts] if isinstance(figures, np.ndarray) and figures.ndim else figures


@dataclass(frozen=True, slots=True)
class Group:
    """Parts of one law; `at` are the places of their terminals in the list of voltages, `weight` the share of time."""

    names: tuple[str, ...]
    nets: tuple[tuple[str, ...], ...]
    at: Any  # (terminals, parts), whole numbers
    above: Any  # (terminals, 1 or units, parts), volts of the terminal above its place
    weight: Any  # (parts,)
    pinned: Any  # (terminals, parts), true where the volts are known from the start
    figures: Any

    #: Whether a part stays in the circuit when one of its terminals floats: that terminal stands at ground then.
    grounded: ClassVar[bool] = False

    @property
    def shared(self) -> bool:
        """Whether some of its parts stand for a share of time only."""
        return bool((self.weight != 1).any())

    def take(self, units: Any) -> Self:
        """Return the same for some units only."""
        above = self.above[:, units] if self.above.shape[1] > 1 else self.above
        return replace(self, above=above, figures=taken(self.figures, units))

    def only(self, parts: Any) -> Self:
        """Return the same for some parts only."""
        return replace(
            self,
            names=tuple(self.names[k] for k in parts),
            nets=tuple(self.nets[k] for k in parts),
            at=self.at[:, parts],
            above=self.above[:, :, parts],
            weight=self.weight[parts],
            pinned=self.pinned[:, parts],
            figures=picked(self.figures, parts),
        )

    def volts(self, voltages: Array, scale: Any) -> Array:
        """Return terminal volts (units, terminals, parts) from those of all places."""
        found = voltages.T.take(self.at, axis=0).transpose(2, 0, 1)
        if self.above.any():
            found += self.above.transpose(1, 0, 2) * np.reshape(scale, (-1, 1, 1))
        return found

    def branch(self, volts: Array, ease: Any, out: Room | None = None) -> Room:
        """Return currents into the terminals and their slopes, in `out` where room is given."""
        raise NotImplementedError

    def room(self, units: int) -> Room:
        """Return room for currents and slopes."""
        terminals, parts = self.at.shape
        return empty(units, terminals, parts), empty(units, terminals, terminals, parts)

    def outside(self, volts: Array) -> Iterator[tuple[str, Any]]:
        """Yield parts with the units in which they have left the region that they amplify in."""
        yield from ()

    def limited(self, volts: Array, before: Array, ease: Any) -> Array:
        """Return terminal volts no further from those before than the law stays useful."""
        return volts


def _two(current: Array, slope: Array, room: Room) -> Room:
    """Return terminal currents and slopes of a branch of two terminals."""
    flows, slopes = room
    flows[:, 0], slopes[:, 0, 0], slopes[:, 1, 1] = current, slope, slope
    np.negative(current, out=flows[:, 1])
    np.negative(slope, out=slopes[:, 0, 1])
    slopes[:, 1, 0] = slopes[:, 0, 1]
    return room


def _critical(law: junctions.Figures) -> Array:
    """Return the volts from which a junction bends faster than a step can follow."""
    with np.errstate(all="ignore"):
        found = law.slope * (np.log(law.slope / np.sqrt(2)) - np.log(law.saturation))
    return np.where(law.slope > 0, found, np.inf)


def limited_junction(across: Array, before: Array, law: junctions.Figures, pinned: Any) -> Array:
    """Return a junction's volts after a step, held back where its current would run away (logarithmic step).

    One whose ends are both `pinned` stands where it stands, and one with series resistance is straight at large drive.
    """
    if law.form == "omega":
        return across
    moved = across - before
    far = np.abs(moved) > 2 * law.slope
    if not far.any():
        return across
    nvt = np.where(law.slope > 0, law.slope, 1.0)
    far = (np.abs(moved) > 2 * nvt) & ~pinned
    critical = _critical(law)
    far &= across > critical
    if not far.any():
        return across
    with np.errstate(all="ignore"):
        ratio = moved / nvt
        onward = np.where(ratio > 0, before + nvt * np.log1p(np.abs(ratio)), across)
        start = nvt * np.log(np.maximum(across, 1e-30) / nvt)
    held = np.where(before > 0, np.where(ratio > 0, onward, np.maximum(across, critical)), np.minimum(start, across))
    return np.where(far, held, across)


@dataclass(frozen=True, slots=True)
class Junctions(Group):
    """Diodes, LEDs, Zener diodes, gate junctions; terminals anode, cathode."""

    def branch(self, volts: Array, ease: Any, out: Room | None = None) -> Room:
        current, slope = junctions.branch(volts[:, 0] - volts[:, 1], self.figures)
        return _two(current, slope, out or self.room(len(volts)))

    def limited(self, volts: Array, before: Array, ease: Any) -> Array:
        across, old = volts[:, 0] - volts[:, 1], before[:, 0] - before[:, 1]
        held = limited_junction(across, old, self.figures, self.pinned.all(axis=0))
        return volts if held is across else np.stack([volts[:, 1] + held, volts[:, 1]], axis=1)


@dataclass(frozen=True, slots=True)
class Bipolars(Group):
    """Bipolar transistors; terminals base, collector, emitter. `figures` holds law, then the emitter's breakdown."""

    def branch(self, volts: Array, ease: Any, out: Room | None = None) -> Room:
        law, breakdown = self.figures
        base, collector, emitter = volts[:, 0], volts[:, 1], volts[:, 2]
        ib, ic, b_be, b_bc, c_be, c_bc = transistors.bipolar_branch(base - emitter, base - collector, law)
        over = np.maximum(law.sign * (emitter - base) - breakdown, 0.0) / BREAKDOWN_RESISTANCE
        ib = ib - law.sign * over
        b_be = b_be + (over > 0) / BREAKDOWN_RESISTANCE
        flows, slopes = out or self.room(len(volts))
        flows[:, 0], flows[:, 1] = ib, ic
        for row, by_emitter, by_collector in ((0, b_be, b_bc), (1, c_be, c_bc)):
            np.add(by_emitter, by_collector, out=slopes[:, row, 0])
            np.negative(by_collector, out=slopes[:, row, 1])
            np.negative(by_emitter, out=slopes[:, row, 2])
        for whole in (flows, slopes):  # what the emitter gives back
            np.add(whole[:, 0], whole[:, 1], out=whole[:, 2])
            np.negative(whole[:, 2], out=whole[:, 2])
        return flows, slopes

    def limited(self, volts: Array, before: Array, ease: Any) -> Array:
        law, _ = self.figures
        base, found = volts[:, 0], volts
        if law.junction.form == "omega":
            return volts
        for k in (1, 2):
            across, old = law.sign * (base - volts[:, k]), law.sign * (before[:, 0] - before[:, k])
            held = limited_junction(across, old, law.junction, self.pinned[0] & self.pinned[k])
            if held is not across:
                found = volts.copy() if found is volts else found
                found[:, k] = base - law.sign * held
        return found

    def outside(self, volts: Array) -> Iterator[tuple[str, Any]]:
        law, _ = self.figures
        base, collector, emitter = volts[:, 0], volts[:, 1], volts[:, 2]
        e1, _ = junctions.branch(law.sign * (base - emitter), law.junction)
        e2, _ = junctions.branch(law.sign * (base - collector), law.junction)
        cut = np.maximum(e1, e2) < transistors.CURRENT_CUT_OFF
        out = cut | transistors.saturates(e1, e2, law.back, law.gain, law.junction.saturation)
        for k, name in enumerate(self.names):
            yield name, out[:, k]


@dataclass(frozen=True, slots=True)
class Channels(Group):
    """Field-effect transistors' channels; terminals gate, drain, source. Their junctions are branches of their own."""

    def branch(self, volts: Array, ease: Any, out: Room | None = None) -> Room:
        gate, drain, source = volts[:, 0], volts[:, 1], volts[:, 2]
        current, by_source, by_drain = transistors.channel_branch(gate - source, gate - drain, self.figures)
        flows, slopes = out or self.room(len(volts))
        flows[:, 0], flows[:, 1], slopes[:, 0] = 0.0, current, 0.0
        np.negative(current, out=flows[:, 2])
        np.subtract(by_source, by_drain, out=slopes[:, 1, 0])
        slopes[:, 1, 1] = by_drain
        np.negative(by_source, out=slopes[:, 1, 2])
        np.negative(slopes[:, 1], out=slopes[:, 2])
        return flows, slopes

    def outside(self, volts: Array) -> Iterator[tuple[str, Any]]:
        gate, drain, source = volts[:, 0], volts[:, 1], volts[:, 2]
        _, by_source, by_drain = transistors.channel_branch(gate - source, gate - drain, self.figures)
        out = (by_source == 0) == (by_drain == 0)
        for k, name in enumerate(self.names):
            yield name, out[:, k]


@dataclass(frozen=True, slots=True)
class Couplers(Group):
    """LED and cell; terminals anode, cathode, and the cell's two. The cell stands where steady light puts it."""

    grounded = True

    def branch(self, volts: Array, ease: Any, out: Room | None = None) -> Room:
        lamp, cell, light, reference, exponent = self.figures
        current, slope = junctions.branch(volts[:, 0] - volts[:, 1], lamp)
        with np.errstate(all="ignore"):
            share = np.maximum(current, 0.0) / reference
            shine = light * share**exponent
            by_current = np.where(share > 0, exponent * shine / np.maximum(current, 1e-300), 0.0)
            photo, by_light = cells.layer(shine, cell)
        photo = np.maximum(photo, 1e-300)
        whole = 1 / (1 / photo + cell.floor)
        by_light = np.minimum(np.nan_to_num(by_light, nan=0.0, posinf=_STEEPEST), _STEEPEST)
        across = volts[:, 2] - volts[:, 3]
        moved = across * (whole / photo) ** 2 * by_light * by_current * slope
        through = whole * across
        flows, slopes = out or self.room(len(volts))
        slopes[:, 0, 0], slopes[:, 0, 1], slopes[:, 0, 2:] = slope, -slope, 0.0
        slopes[:, 2, 0], slopes[:, 2, 1], slopes[:, 2, 2], slopes[:, 2, 3] = moved, -moved, whole, -whole
        slopes[:, 1], slopes[:, 3] = -slopes[:, 0], -slopes[:, 2]
        flows[:, 0], flows[:, 2] = current, through
        np.negative(flows[:, 0::2], out=flows[:, 1::2])
        return flows, slopes

    def limited(self, volts: Array, before: Array, ease: Any) -> Array:
        across, old = volts[:, 0] - volts[:, 1], before[:, 0] - before[:, 1]
        lamp = limited_junction(across, old, self.figures[0], self.pinned[:2].all(axis=0))
        if lamp is across:
            return volts
        held = volts.copy()
        held[:, 0] = volts[:, 1] + lamp
        return held


def supplied(across: Array, least: Array) -> tuple[Array, Array]:
    """Return the share of its own current that a part takes at a supply, and the slope: all of it from `least` up."""
    share = np.clip(across / least, 0.0, 1.0)
    return share, np.where((across > 0) & (across < least), 1 / least, 0.0)


@dataclass(frozen=True, slots=True)
class Consumers(Group):
    """What a part takes for itself; terminals supply and ground. Below its lowest supply in proportion."""

    def branch(self, volts: Array, ease: Any, out: Room | None = None) -> Room:
        amount, least = self.figures
        share, slope = supplied(volts[:, 0] - volts[:, 1], least)
        return _two(amount * share, amount * slope, out or self.room(len(volts)))


def clamp() -> junctions.Figures:
    """Return a diode inside an integrated circuit, from a rail or to it."""
    vt = np.asarray(VOLTAGE_THERMAL_300K)
    i_s = CLAMP_CURRENT / np.expm1((CLAMP_DROP - 10.0 * CLAMP_CURRENT) / vt)
    return junctions.of_law(i_s, vt, np.asarray(10.0), CLAMP_DROP)


def junction_figures(record: Any, temperature: Array) -> junctions.Figures:
    """Return a junction's numbers, a breakdown as large as none where the record has none."""
    found = junctions.figures(record, temperature)
    return found if isinstance(record, Zener) else found._replace(breakdown=None)


def coupler_figures(record: Any, temperature: Array) -> tuple[Any, ...]:
    """Return lamp, cell, and the light of the one on the other."""
    return (
        junctions.figures(record.led, temperature),
        cells.cell_figures(record.cell, temperature),
        np.asarray(record.illuminance_reference, float),
        np.asarray(record.current_reference, float),
        np.asarray(record.light_exponent, float),
    )


def coupler_conductance(group: Couplers, volts: Array) -> Array:
    """Return what each cell conducts in steady light [S], shape (units, parts)."""
    flows, slopes = group.branch(volts, None)
    return np.asarray(slopes[:, 2, 2] + 0.0 * flows[:, 0])
