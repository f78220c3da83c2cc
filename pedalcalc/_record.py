"""What a part record is made of: figures with their limits, words, and the check when it is made."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any

import numpy as np

from pedalcalc._arguments import Range
from pedalcalc._refusal import no_record, refused
from pedalcalc._result import Result, Spread
from pedalcalc._units import listed

NAN = float("nan")

#: A figure of a record: one number, an array (many parts), or a `Spread` (a type).
Figure = Any


def figure(
    unit: str,
    caption: str,
    *,
    least: float | None = None,
    above: float | None = None,
    most: float | None = None,
    below: float | None = None,
    infinity: bool = False,
    passes: str = "",
    group: str = "",
    optional: bool = False,
    usual: float | None = None,
) -> Any:
    """Return the field of one number with its limits; NaN ("not known") always passes.

    `passes` is ``more`` where a part of a higher figure passes more (current, signal, light), ``less`` where it
    passes less; figures of one `group` rise and fall together from part to part. What is not given is NaN where
    `optional`, or `usual`.
    """
    limits = {"least": least, "above": above, "most": most, "below": below, "infinity": infinity}
    return dataclasses.field(
        default=NAN if optional else dataclasses.MISSING if usual is None else usual,
        metadata={"unit": unit, "caption": caption, "limits": limits, "passes": passes, "group": group},
    )


def word(caption: str, *, allowed: tuple[str, ...] = (), default: str | None = None) -> Any:
    """Return the field of one word or line of text; one of `allowed` where these are given."""
    return dataclasses.field(
        default=dataclasses.MISSING if default is None else default,
        metadata={"unit": "text", "caption": caption, "allowed": allowed, "blank": default == ""},
    )


def records(caption: str, kind: type) -> Any:
    """Return the field of a tuple of `kind`, empty where not given."""
    return dataclasses.field(default=(), metadata={"unit": "records", "caption": caption, "each": kind})


def record(caption: str, kind: type) -> Any:
    """Return the field of one record of `kind`."""
    return dataclasses.field(metadata={"unit": "record", "caption": caption, "kind": kind})


def truth(caption: str) -> Any:
    """Return the field of a yes or no."""
    return dataclasses.field(metadata={"unit": "bool", "caption": caption})


class Device(Result):
    """Base of every part record; each has a `name` and the `origin` of its figures.

    A record whose figures are ranges (`Spread`) is a type; one of plain numbers is a specimen, one of arrays many
    specimens. A record is checked once, when it is made.
    """

    __slots__ = ()
    name: str
    origin: str

    def __post_init__(self) -> None:
        """Refuse an impossible field by record, name, value and what is allowed."""
        try:
            for field in dataclasses.fields(self):  # type: ignore[arg-type]
                _check(field, getattr(self, field.name))
            self._check()
        except (TypeError, ValueError) as reason:
            raise type(reason)(f"{type(self).__name__} {self.name!r}: {reason}") from None
        Result.__post_init__(self)

    def _check(self) -> None:
        """Check what concerns several fields at once."""


def _check(field: dataclasses.Field[Any], value: Any) -> None:
    meta = field.metadata
    if "limits" in meta:
        _check_figure(field.name, value, meta["limits"])
    elif "allowed" in meta:
        if not isinstance(value, str):
            raise no_record(field.name, value, str)
        if meta["allowed"] and value not in meta["allowed"]:
            raise ValueError(f"{field.name} must be one of {', '.join(map(repr, meta['allowed']))}, got {value!r}")
        if not (value.strip() or meta["blank"]):
            raise ValueError(f"{field.name} must be a line of text, got {value!r}")
    elif "each" in meta:
        if not isinstance(value, tuple) or not all(isinstance(part, meta["each"]) for part in value):
            raise TypeError(f"{field.name} must be a tuple of {meta['each'].__name__} records, not {value!r}")
    elif "kind" in meta:
        if not isinstance(value, meta["kind"]):
            raise no_record(field.name, value, meta["kind"])
    elif meta["unit"] == "bool" and not isinstance(value, (bool, np.bool_)):
        raise TypeError(f"{field.name} must be True or False, not {value!r}")


def _check_figure(name: str, value: Any, limits: dict[str, Any]) -> None:
    if not isinstance(value, Spread):
        Range(**limits)(name, value)
        return
    low, typical, high = (Range(**limits)(f"{name} ({part})", getattr(value, part)) for part in value._fields)
    for below, above in ((low, typical), (typical, high), (low, high)):
        if np.any(below > above):
            raise ValueError(f"{name} must rise from lowest over typical to highest, got {_told(name, value)}")


def out_of_line(name: str, allowed: str, value: Figure, bad: Any = True) -> ValueError:
    """Return the error of a figure that is not what is `allowed`, all of a range or the first part where it is `bad`."""
    if isinstance(value, Spread):
        return ValueError(f"{name} must be {allowed}, got {_told(name, value)} (lowest, typical, highest)")
    return refused(name, allowed, value, bad)


def _told(name: str, value: Spread) -> str:
    return listed(name, (float(np.ravel(part)[0]) for part in value))


def ends(value: Figure) -> Spread:
    """Return lowest, typical and highest of a figure, each filled in from the others where not given.

    Without a typical figure the geometric mean of the ends serves (the plain mean where they differ in sign), or the
    one end that is given; a missing end is taken as the typical figure. A plain number is all three.
    """
    if not isinstance(value, Spread):
        return Spread(value, value, value)
    low, typical, high = (np.asarray(part, float) for part in value)
    with np.errstate(invalid="ignore"):
        mean = np.where(low * high > 0, np.sign(low) * np.sqrt(low * high), (low + high) / 2)
    only = np.where(np.isnan(low), high, low)
    typical = np.where(np.isnan(typical), np.where(np.isnan(low) | np.isnan(high), only, mean), typical)
    found = (np.where(np.isnan(low), typical, low), typical, np.where(np.isnan(high), typical, high))
    return Spread(*(part if part.ndim else float(part) for part in found))


def spreads(device: Device, prefix: str = "") -> Iterator[str]:
    """Yield the names of all figures that are ranges, those of records inside with a dot."""
    for field in dataclasses.fields(device):  # type: ignore[arg-type]
        value = getattr(device, field.name)
        if isinstance(value, Spread):
            yield prefix + field.name
        elif isinstance(value, Device):
            yield from spreads(value, f"{prefix}{field.name}.")


def specimen(name: str, value: Any, kind: type[Device]) -> Any:
    """Return `value` if it is one part of a `kind` (or many, as arrays); refuse a type, naming `devices.typical`."""
    if not isinstance(value, kind):
        raise no_record(name, value, kind)
    if found := next(spreads(value), ""):
        raise TypeError(type_refused(name, value, found))
    return value


def plain(value: Device, *names: str) -> tuple[Any, ...]:
    """Return figures of a record that must be plain numbers or arrays; refuse a type, naming `devices.typical`."""
    for name in names:
        if isinstance(getattr(value, name), Spread):
            raise TypeError(type_refused("record", value, name))
    return tuple(getattr(value, name) for name in names)


def type_refused(name: str, value: Device, found: str) -> str:
    """Return the words that refuse a type where one part is wanted."""
    return (
        f"{name} must be one part with plain numbers, but {value.name!r} is a type: its {found} is a range; "
        f"take devices.typical({name}), or devices.low, devices.high, devices.drawn"
    )
