"""One part of a type: the usual one, the ends of its ranges, and parts drawn at random."""

from __future__ import annotations

import dataclasses
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np

from pedalcalc._arguments import is_a, numeric, whole_number
from pedalcalc._base import search
from pedalcalc._record import Device, ends, spreads
from pedalcalc._result import Spread
from pedalcalc._scores import scores
from pedalcalc.devices.passives import Capacitor

#: Most parts drawn at once, and the largest seed.
COUNT_MOST, SEED_MOST = 10_000_000, 2.0**53

__all__ = ["capacitor", "drawn", "high", "low", "typical"]

D = TypeVar("D", bound=Device)


@search
def typical(record: D) -> D:
    """Return the usual part of a type: every range replaced by its typical figure.

    Parameters
    ----------
    record : Device
        Any part record; one that holds no ranges comes back as it is.

    Returns
    -------
    Device
        A record of the same class with plain numbers.

    Raises
    ------
    TypeError
        If `record` is not a part record.

    Notes
    -----
    Where a sheet gives no typical figure, the geometric mean of its ends serves (or the one end that is given); the
    record's `origin` says so. A JFET's transconductance follows from its IDSS and VGS(off).

    References
    ----------
    PRACTICE, the middle of a range by ratio.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> print(f"{devices.typical(devices.LDR_GL5528).resistance_10lx:.0f} Ω")
    14142 Ω
    """
    is_a("record", record, Device)
    return _typical(record) if next(spreads(record), "") else record


@search
def low(record: D) -> D:
    """Return the part of a type that passes least: related figures stand at their ends together.

    Parameters
    ----------
    record : Device
        Any part record; one that holds no ranges comes back as it is.

    Returns
    -------
    Device
        A record of the same class with plain numbers.

    Raises
    ------
    TypeError
        If `record` is not a part record.

    Notes
    -----
    Drops, thresholds, resistances and headroom stand at their highest; currents, gains and light at their lowest; a
    JFET has its lowest IDSS with the cut-off voltage nearest to 0. What passes neither more nor less is typical. An end
    that a sheet does not give is the typical figure.

    References
    ----------
    PRACTICE, all at one end at once.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> weak = devices.low(devices.JFET_2N5457)
    >>> weak.current_drain_zero_bias, weak.voltage_gate_source_off
    (0.001, -0.5)
    """
    return _part(record, "low", "part that passes least")


@search
def high(record: D) -> D:
    """Return the part of a type that passes most: related figures stand at their ends together.

    Parameters
    ----------
    record : Device
        Any part record; one that holds no ranges comes back as it is.

    Returns
    -------
    Device
        A record of the same class with plain numbers.

    Raises
    ------
    TypeError
        If `record` is not a part record.

    Notes
    -----
    As `low`, the other way round.

    References
    ----------
    PRACTICE, all at one end at once.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> print(f"{devices.high(devices.LED_BLUE).voltage_forward:.2f} V")
    2.85 V
    """
    return _part(record, "high", "part that passes most")


@search
def drawn(record: D, *, count: int, seed: int) -> D:
    """Draw parts of a type at random, as one record whose figures are arrays.

    Parameters
    ----------
    record : Device
        Any part record; one that holds no ranges comes back as it is.
    count : int
        How many parts [1], a whole number, at least 1.
    seed : int
        Start of the random numbers [1], a whole number, at least 0; the same seed draws the same parts.

    Returns
    -------
    Device
        A record of the same class; every range has become an array of `count` numbers.

    Raises
    ------
    TypeError
        If `record` is not a part record.
    ValueError
        If `count` or `seed` is out of range.

    Notes
    -----
    Half the parts lie below the typical figure. To either side the figure follows a normal law whose third standard
    deviation is the end of the range, cut off there, by ratio where all three figures have one sign. Related figures are
    drawn together: the voltages of an adaptor, the headroom of an op-amp, IDSS and VGS(off) of a JFET (IDSS =
    b VGS(off)² with b the same within 30 %; parts outside the sheet's ranges are sorted out, as the maker does).

    References
    ----------
    PRACTICE, limits as three standard deviations; MEMORY, IDSS and VGS(off) of one part belong together.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> many = devices.drawn(devices.JFET_J201, count=1000, seed=1)
    >>> strength = many.current_drain_zero_bias / many.voltage_gate_source_off**2
    >>> print(f"{strength.min() * 1e3:.1f} to {strength.max() * 1e3:.1f} mA/V²")
    0.7 to 1.3 mA/V²
    """
    is_a("record", record, Device)
    number = whole_number("count", count, least=1, most=COUNT_MOST)
    start = whole_number("seed", seed, most=SEED_MOST)
    return _drawn(record, number, np.random.default_rng(start))


@search
def capacitor(record: Capacitor, *, capacitance: float, voltage_rating: float) -> Capacitor:
    """Return one capacitor of a kind, with the losses and leakage its kind has at its size.

    Parameters
    ----------
    record : Capacitor
        Kind of capacitor, such as `devices.CAPACITOR_ELECTROLYTIC`.
    capacitance : float
        Capacitance [F], above 0.
    voltage_rating : float
        Rated voltage [V], above 0; NaN where it is not known.

    Returns
    -------
    Capacitor
        The same record with both filled in; `resistance_esr`, `resistance_insulation` and `current_leakage` follow.

    Raises
    ------
    TypeError
        If `record` is not a capacitor record.
    ValueError
        If a value is out of range.

    Notes
    -----
    Leakage is the limit that makers promise, 0.01 C V or 3 µA for electrolytics; a capacitor long in use leaks far less.

    References
    ----------
    CAP-LEAKAGE for the limit; PRACTICE for the loss tangents.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> bulk = devices.capacitor(devices.CAPACITOR_ELECTROLYTIC, capacitance=100e-6, voltage_rating=16.0)
    >>> print(f"{bulk.current_leakage * 1e6:.0f} µA")
    16 µA
    """
    is_a("record", record, Capacitor)
    size = numeric("capacitance", capacitance, above=0)[()]
    rated = numeric("voltage_rating", voltage_rating, above=0)[()]
    return dataclasses.replace(record, capacitance=size, voltage_max=rated)


@lru_cache(maxsize=512)
def _typical(record: D) -> D:
    """Return the usual part, made once of a type: a board asks for those of its parts at every solution."""
    return _part(record, "typical", "usual part")


def _part(record: D, which: str, words: str) -> D:
    is_a("record", record, Device)
    names = list(spreads(record))
    if not names:
        return record
    picked: dict[str, Any] = {}
    for field in dataclasses.fields(record):  # type: ignore[arg-type]
        value = getattr(record, field.name)
        if isinstance(value, Device):
            picked[field.name] = _part(value, which, words)
        elif isinstance(value, Spread):
            picked[field.name] = _end(value, field.metadata["passes"], which)
    if any("." not in name for name in names):
        if hasattr(record, "_relate"):
            picked = record._relate(picked, which)
        picked["origin"] = f"{record.origin}; {words} of the type{_guessed(record)}"
    return dataclasses.replace(record, **picked)  # type: ignore[type-var]


def _end(value: Spread, passes: str, which: str) -> Any:
    least, middle, most = ends(value)
    if which == "typical" or not passes:
        return middle
    return most if (which == "high") == (passes == "more") else least


def _guessed(record: Device) -> str:
    """Say for which figures the geometric mean of the ends serves."""
    captions = [
        str(field.metadata["caption"])
        for field in dataclasses.fields(record)  # type: ignore[arg-type]
        if isinstance(value := getattr(record, field.name), Spread)
        and bool(np.any(np.isnan(value.typical)))
        and not np.any(np.isnan([value.low, value.high]))
    ]
    return f", typical by the geometric mean of the ends: {', '.join(captions)}" if captions else ""


def _drawn(record: D, count: int, rng: np.random.Generator) -> D:
    names = list(spreads(record))
    if not names:
        return record
    found: dict[str, Any] = {}
    groups: dict[str, Any] = {}
    for field in dataclasses.fields(record):  # type: ignore[arg-type]
        value = getattr(record, field.name)
        if isinstance(value, Device):
            found[field.name] = _drawn(value, count, rng)
        elif isinstance(value, Spread):
            group = field.metadata["group"] or field.name
            if group not in groups:
                groups[group] = scores(count, rng)
            found[field.name] = _between(value, groups[group])
    if any("." not in name for name in names):
        if hasattr(record, "_draw"):
            found |= record._draw(count, rng)
            found = record._relate(found, "drawn")  # type: ignore[attr-defined]
        found["origin"] = f"{record.origin}; {count} parts of the type drawn at random{_guessed(record)}"
    return dataclasses.replace(record, **found)  # type: ignore[type-var]


def _between(value: Spread, share: Any) -> Any:
    """Return the figure at a share of the way from typical (0) to the ends (-1 and 1)."""
    least, middle, most = ends(value)
    end = np.where(share < 0, least, most)
    if least * most > 0 and middle != 0:
        return middle * (end / middle) ** np.abs(share)
    return middle + (end - middle) * np.abs(share)
