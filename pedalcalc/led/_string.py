"""One lamp, or several in series: their records, their current behind a resistor, the voltage across each."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import is_a
from pedalcalc._base import elementwise_root
from pedalcalc._record import specimen
from pedalcalc.devices import Led
from pedalcalc.laws._wright import log_current
from pedalcalc.laws.junctions import Figures, figures, settled_current

Floats = NDArray[np.float64]
#: One lamp, or several in series.
Lamps = Led | Sequence[Led]


def lamps(led: Lamps, *, types: bool = False) -> tuple[Led, ...]:
    """Return the lamps of a string; refuse what is no lamp, and unless `types` may stand there, a type."""
    several = tuple(led) if isinstance(led, (list, tuple)) else (led,)
    if not several:
        raise ValueError("led must be a lamp record or several in series, got none")
    for one in several:
        is_a("led", one, Led) if types else specimen("led", one, Led)
    return several


def counted(string: tuple[Led, ...]) -> tuple[tuple[Led, int], ...]:
    """Return each different lamp of a string, and how often it is there."""
    kinds: list[Led] = []
    counts: list[int] = []
    for one in string:
        for place, kind in enumerate(kinds):
            if _same(kind, one):
                counts[place] += 1
                break
        else:
            kinds.append(one)
            counts.append(1)
    return tuple(zip(kinds, counts, strict=True))


def _same(one: Led, other: Led) -> bool:
    """Tell whether two records are of one and the same lamp."""
    return one is other or all(
        repr(getattr(one, field.name)) == repr(getattr(other, field.name)) for field in dataclasses.fields(one)
    )


def words(string: tuple[Led, ...]) -> str:
    """Return what a string is made of, for a sentence."""
    return " and ".join(f"{count} {lamp.name}" for lamp, count in counted(string))


def string_current(v: Floats, r: Floats, string: tuple[Led, ...], temperature: Floats) -> Floats:
    """Return the current through a string and a resistor, all arguments checked."""
    return current_by(v, r, laws_of(string, temperature))


def laws_of(string: tuple[Led, ...], temperature: Floats) -> list[tuple[Figures, int]]:
    """Return the law of each different lamp of a string, and how often it is there."""
    return [(figures(lamp, temperature), count) for lamp, count in counted(string)]


def current_by(v: Floats, r: Floats, laws: list[tuple[Figures, int]], *, out: Floats | None = None) -> Floats:
    """Return the current through a string whose laws are known and a resistor; in `out` where it is of that shape."""
    if len(laws) == 1:
        fits = out is not None and out.shape == np.broadcast_shapes(v.shape, r.shape)
        return settled_current(v, r, np.asarray(float(laws[0][1])), laws[0][0], out=out if fits else None)
    return _mixed_current(v, r, [law for law, _ in laws], [count for _, count in laws])


def across(current: Floats, lamp: Led, temperature: Floats) -> Floats:
    """Return the voltage across one lamp of a string that carries a current."""
    return drop_by(current, figures(lamp, temperature))


def drop_by(current: Floats, law: Figures) -> Floats:
    """Return the voltage across one lamp whose law is known."""
    with np.errstate(all="ignore"):
        curve = law.slope * log_current(np.maximum(current, -law.saturation), law.saturation)
        knee = np.where(current > 0, law.knee, 0.0)
        return np.asarray(np.where(law.slope == 0, knee, curve) + current * law.resistance)


def _mixed_current(v: Floats, r: Floats, laws: list[Figures], counts: list[int]) -> Floats:
    """Solve V = sum of the drops + I R for lamps of different laws.

    The unknown is w = ln(1 + I/Is) of the lamp that passes least in reverse: in it every current from blocking to
    bright has all its digits, and each term rises.
    """
    curved = [k for k, law in enumerate(laws) if np.all(law.slope > 0)]
    if not curved:
        knees = sum(count * law.knee for count, law in zip(counts, laws, strict=True))
        total = r + sum(count * law.resistance for count, law in zip(counts, laws, strict=True))
        with np.errstate(all="ignore"):
            over = np.maximum(v - knees, 0.0)
            return np.asarray(np.where(over == 0, 0.0, over / total))
    first = min(curved, key=lambda k: float(np.min(laws[k].saturation)))
    i_s, nvt = laws[first].saturation, counts[first] * laws[first].slope
    closed = ~np.isinf(r)
    ohms = np.where(closed, r, 0.0) + counts[first] * laws[first].resistance

    def missing(w: Floats, v: Floats, i_s: Floats, nvt: Floats, ohms: Floats) -> Any:
        current = i_s * np.expm1(w)
        total = nvt * w + current * ohms - v
        for k, law in enumerate(laws):
            if k != first:
                total = total + counts[k] * drop_by(current, law)
        return total

    with np.errstate(all="ignore"):
        straight = np.where(ohms > 0, np.log1p(np.maximum(v, 0.0) / ohms / i_s), np.inf)
        high = np.minimum(np.maximum(v, 0.0) / nvt, straight)
        low = np.minimum(v, 0.0) / nvt
        # A hair to either side, so that rounding never leaves both ends on one side of the answer.
        w = elementwise_root(missing, low * (1 + 1e-12) - 1e-12, high * (1 + 1e-12) + 1e-12, v, i_s, nvt, ohms)
        current = i_s * np.expm1(w)
    return np.asarray(np.where(closed | np.isnan(v), np.where(v == 0, 0.0 * current, current), 0.0))
