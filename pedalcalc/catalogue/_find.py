"""The search from the text of a type to its record."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from pedalcalc._arguments import file_path, list_of, one_of, words
from pedalcalc._base import search
from pedalcalc.devices import Device
from pedalcalc.devices._tables import CLASSES, Entry, constant, entries, own

#: Tables in which the type of each kind of part is looked up.
KINDS: dict[str, tuple[str, ...]] = {
    "battery": ("battery",),
    "ceramic capacitor": ("capacitor",),
    "connector": ("pinout",),
    "coupler": ("coupler",),
    "diode": ("diode", "zener", "led"),
    "electrolytic capacitor": ("capacitor",),
    "film capacitor": ("capacitor",),
    "indicator": ("led",),
    "integrated circuit": ("op-amp", "converter", "regulator"),
    "jack": ("pinout",),
    "photocell": ("ldr",),
    "potentiometer": ("taper",),
    "regulator": ("regulator",),
    "switch": ("pinout",),
    "tantalum capacitor": ("capacitor",),
    "transistor": ("bjt", "jfet", "mosfet"),
    "trimmer": ("taper",),
}

# Letters behind a type that tell grade, package or reel and no other part (from memory). What tells another part, such
# as the A of 7660A or the class letter of BC549B, is a row of its own and goes first.
_PACKAGES = "p n d g m dr dg dd pe pw ps dip dip8 soic8"
_SUFFIXES = {
    "op-amp": [grade + end for grade in ("", "a", "b", "c", "i", "ac", "bc", "am", "ai") for end in _PACKAGES.split()]
    + ["a", "b", "c", "i", "ac", "bc"],
    "converter": [
        "cpa",
        "cpaz",
        "csa",
        "csaz",
        "cba",
        "cbaz",
        "epa",
        "esa",
        "eoa",
        "coa",
        "ipa",
        "isa",
        "iba",
        "cp",
        "cn",
        "cj",
        "c",
        "n",
        "m",
        "d",
        "p",
        "g",
    ],
    "bjt": ["ta", "tf", "tfr", "bu", "g", "rlra", "rlrag", "zl1g", "amo", "tar"],
    "jfet": ["ta", "g", "rlra", "bu", "d26z"],
    "mosfet": ["ta", "g", "rlra", "pbf", "bu", "p", "d26z"],
    "diode": ["g", "ta", "tr", "t", "tap", "rlg", "a0", "e3", "rl"],
    "zener": ["ta", "tr", "tap", "g", "rlg"],
    "regulator": ["a", "c", "z", "ac", "cz", "az", "acz", "acp", "cp", "clp", "aclp", "ab", "abz", "acd", "g", "apg"],
}
_NUMBERED = ("op-amp", "converter")


class _Candidate(NamedTuple):
    """One row that may be meant, by the name under which a message tells it."""

    told: str
    kind: str
    entry: Entry


@search
def find_device(text: str, *, kind: str = "", tables: Sequence[str | Path] = ()) -> Device:
    """Find the record of a type from what stands on a part or in a parts list.

    Parameters
    ----------
    text : str
        The type, such as ``TL072``, ``tl072cp``, ``1N 4148``, ``blue LED``, ``GL5528``.
    kind : str, optional
        Kind of part in a parts list, a key of `KINDS`, to look in its tables only.
    tables : sequence of str or Path, optional
        Tables of a builder's own, written like those of `pedalcalc.devices`; their rows go before the package's.

    Returns
    -------
    Device
        The record, a type in most cases.

    Raises
    ------
    TypeError
        If `text` is not text.
    ValueError
        If no record fits or several do; the message names those near it.

    Notes
    -----
    Upper and lower case, spaces, hyphens and the letters for grade and package do not count. Without an exact match a
    text fits a record whose name has all its words. A number that several makers give to parts of different supply
    limits stands for the one of the lowest limit, unless the maker's letters are there.

    References
    ----------
    MEMORY, letters for maker, grade and package; PRACTICE, the lower limit of two.

    Examples
    --------
    >>> find_device("tl072cp").name, find_device("1N 4148").name
    ('TL072', '1N4148')
    >>> find_device("red LED")
    Traceback (most recent call last):
        ...
    ValueError: text 'red LED' fits several parts: LED_RED_ALINGAP (red LED, AlInGaP, high brightness), LED_RED_GAASP
    (red LED, GaAsP/GaP); say which, by its name
    """
    return find_among(text, kind=kind, rows=own_rows(tables))


def own_rows(tables: Sequence[str | Path]) -> tuple[Entry, ...]:
    """Return the rows of a builder's own tables."""
    paths = [file_path("tables", path, there=True) for path in list_of("tables", tables, "paths of tables")]
    return tuple(entry for path in paths for entry in entries(path))


def find_among(text: str, *, kind: str, rows: Sequence[Entry]) -> Device:
    """Find the record of a type, in rows of a builder's own before the package's."""
    if not isinstance(text, str):
        raise TypeError(f"text must be the type of a part as text, not {text!r}")
    kinds = tuple(CLASSES) if words("kind", kind) == "" else KINDS[one_of("kind", kind, tuple(KINDS))]
    # How large a lamp is says nothing of what it drops.
    read = re.sub(r"\b\d+(\.\d+)? ?mm\b", "", text, flags=re.IGNORECASE) if "led" in _words(text) else text
    wanted = _key(read)
    if not wanted:
        raise ValueError(f"text must name the type of a part, got {text!r}")
    pools = _handed_in(rows, kinds), tuple(part for name in kinds for part in packaged(name))
    for pool in pools:
        found = _fitting(wanted, read, pool)
        if len(found) == 1:
            return found[0].entry.device
        if found:
            raise ValueError(f"text {text!r} fits several parts: {_told(found)}; say which, by its name")
    near = _near(wanted, (*pools[0], *pools[1]))
    if kind and (other := _other_kind(wanted, read, kinds)):
        raise ValueError(
            f"text {text!r} is not of the kind {kind!r} but of {other!r}: write that as its kind, with the pins that it has"
        )
    looked = f" among {' and '.join(kinds)}" if kind else ""
    hint = f"; near it are {_told(near)}" if near else ""
    raise ValueError(
        f"text {text!r} fits no part of the tables{looked}{hint}; name one that is there, or hand in a table of your own by tables"
        f"{'; a part of yet another sort is of the kind other, and left out of what is computed' if kind else ''}"
    )


def _other_kind(wanted: str, text: str, kinds: Sequence[str]) -> str:
    """Return the kind of part that a type number is of, where it is none of these; empty if it is of none."""
    if not re.search(r"\d", wanted):
        return ""
    for name in CLASSES:
        if name not in kinds and _fitting(wanted, text, packaged(name)):
            meant = [kind for kind, tables in KINDS.items() if name in tables]
            return min(meant, key=lambda kind: len(KINDS[kind]), default="")
    return ""


def _handed_in(rows: Sequence[Entry], kinds: Sequence[str]) -> tuple[_Candidate, ...]:
    names = {cls: name for name, cls in CLASSES.items()}
    return tuple(
        _Candidate(f"{entry.device.name} in {entry.place}", names[type(entry.device)], entry)
        for entry in rows
        if names[type(entry.device)] in kinds
    )


@cache
def packaged(kind: str) -> tuple[_Candidate, ...]:
    """Return the package's own parts of one kind, each by the name under which a message tells it."""
    return tuple(
        _Candidate(f"{constant(kind, key)} ({entry.device.name})", kind, entry) for key, entry in own(kind).items()
    )


def _told(found: Iterable[_Candidate]) -> str:
    return ", ".join(sorted(part.told for part in found))


def _key(text: str) -> str:
    """Return a text without what does not count; a point stays between digits."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return re.sub(r"(?<!\d)\.|\.(?!\d)|[^\w.]|_", "", plain)


def _words(text: str) -> set[str]:
    """Return the words and numbers of a text, joining words left out."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return set(re.findall(r"[^\W\d_]+|\d+(?:\.\d+)?", plain)) - {"and", "with", "of", "a", "the"}


@cache
def _keys(entry: Entry) -> tuple[str, ...]:
    return tuple(dict.fromkeys(map(_key, (entry.device.name, entry.key, *entry.also))))


def _bare(key: str) -> str:
    """Return a type number of four digits or more without the maker's letters in front; empty if it is none."""
    found = re.fullmatch(r"[a-z]{0,4}(\d{4}.*)", key)
    return found[1] if found else ""


def _fitting(wanted: str, text: str, pool: Sequence[_Candidate]) -> tuple[_Candidate, ...]:
    """Return the rows that fit, by the first way in which any does."""
    exact = tuple(part for part in pool if wanted in _keys(part.entry))
    # A name goes before a short name.
    exact = tuple(part for part in exact if wanted in _keys(part.entry._replace(key=""))) or exact
    bare = _bare(wanted)
    if bare == wanted:  # a number without a maker: all makers' parts of that number
        exact = tuple(part for part in pool if part in exact or (part.kind in _NUMBERED and _numbered(part, (bare,))))
    if exact:
        return _lowest(exact)
    stems: dict[str, list[_Candidate]] = {}
    for part in pool:
        for key in _keys(part.entry):
            if wanted.startswith(key) and wanted[len(key) :] in _SUFFIXES.get(part.kind, ()):
                stems.setdefault(key, []).append(part)
    if stems:
        return _lowest(tuple(stems[max(stems, key=len)]))
    if bare:
        cut = [(len(end), part) for part in pool for end in _endings(part, bare)]
        if cut:
            shortest = min(cut, key=lambda pair: pair[0])[0]
            return _lowest(tuple(dict.fromkeys(part for length, part in cut if length == shortest)))
    words = _words(text)
    return tuple(
        part for part in pool if words <= set().union(*map(_words, (part.entry.device.name, *part.entry.also)))
    )


def _numbered(part: _Candidate, numbers: Sequence[str]) -> bool:
    return any(_bare(key) in numbers for key in _keys(part.entry))


def _endings(part: _Candidate, bare: str) -> list[str]:
    """Return the grade letters that a bare number has behind that of a row."""
    if part.kind not in _NUMBERED:
        return []
    return [
        end
        for end in ("", *_SUFFIXES[part.kind])
        if bare.endswith(end) and _numbered(part, (bare[: len(bare) - len(end)],))
    ]


def _lowest(found: tuple[_Candidate, ...]) -> tuple[_Candidate, ...]:
    """Return the one of the lowest supply limit where all are converters or op-amps of one number."""
    if len(found) < 2 or any(part.kind not in _NUMBERED for part in found):
        return found
    limits = [float(np.min(part.entry.device.voltage_supply_max)) for part in found]  # type: ignore[attr-defined]
    return (found[int(np.argmin(limits))],)


def _near(wanted: str, pool: Sequence[_Candidate]) -> tuple[_Candidate, ...]:
    """Return up to six rows that may have been meant."""
    keys = {key: part for part in pool for key in _keys(part.entry)}
    inside = [
        part for key, part in keys.items() if len(wanted) > 2 and (key.startswith(wanted) or wanted.startswith(key))
    ]
    alike = [keys[key] for key in difflib.get_close_matches(wanted, keys, n=6, cutoff=0.7)]
    mixed = [part for key, part in keys.items() if sorted(key) == sorted(wanted)]  # digits in another order
    return tuple(dict.fromkeys([*inside, *mixed, *alike]))[:6]
