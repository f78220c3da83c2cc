"""Short errors in a notebook: what was refused, under the builder's own name for it, and nothing above it.

Only what a builder can mend is shortened: input that this package refused, a name that is not known, a check that
does not hold. Anything else keeps its whole traceback. The cell fails as before, and with it the printable page.
"""

from __future__ import annotations

import contextlib
import difflib
import linecache
import re
import sys
import traceback
import warnings
from collections.abc import Iterator, Mapping
from types import FrameType
from typing import Any

from pedalcalc import devices
from pedalcalc._result import ModelRangeWarning
from pedalcalc._units import PREFIXES, unit_of
from pedalcalc.values import read_value

SHORTENED = (ValueError, TypeError, OSError, NameError, AttributeError, AssertionError)
NOTEBOOK = "__main__"
RUN_ALL = "run all cells from the top: Run > Run All Cells"
TEXT = re.compile(r"(?:\bgot |^text |: text |\bnot (?:str: )?)('[^']*'|\"[^\"]*\")")
NUMBER = re.compile(r"\b(?:got|not) (-?[0-9][0-9.]*(?:e[+-]?[0-9]+)?)(?: ([fpnµmkMGT]?)(?:V|A|Ω|F|Hz|s|W|S|C|m)\b)?")
OF_A_ROOM = re.compile(r"^module 'pedalcalc\.(\w+)' has no attribute '(\w+)'")
RECORD = re.compile(r"^\w+ must be an? (\w+)(?: or (\w+))? record, not str: ('[^']*'|\"[^\"]*\")")
MOST_RECORDS = 4  # as many are offered instead of a text
MOST_NAMED = 3  # more of the builder's values than this that could be meant help nobody


def shorten_errors(shell: Any) -> None:
    """Let a running IPython say in one line what was wrong with what a builder wrote."""
    shell.set_custom_exc(SHORTENED, _show)


def shorten_warnings() -> None:
    """Tell in one line, without a place in the code, that a value is beyond what a model describes."""
    usual = warnings.formatwarning

    def formatted(message: Any, category: type[Warning], *place: Any, **more: Any) -> str:
        return (
            f"Model range: {message}\n"
            if issubclass(category, ModelRangeWarning)
            else usual(message, category, *place, **more)
        )

    warnings.formatwarning = formatted


def _show(
    shell: Any, kind: type[BaseException], error: BaseException, trace: Any, tb_offset: int | None = None
) -> None:
    told = _told([frame for frame, _ in traceback.walk_tb(trace)], error, shell.user_ns)
    if told is None:
        shell.showtraceback((kind, error, trace), tb_offset=tb_offset, running_compiled_code=True)
        return
    if len(error.args) == 1:
        error.args = (told,)  # whoever runs the notebook is told the same
    shell._showtraceback(kind, error, [f"{kind.__name__}: {told}"])


def _told(frames: list[FrameType], error: BaseException, names: Mapping[str, Any]) -> str | None:
    """Return the line that says it all, or None where the traceback is needed."""
    rooms = [str(frame.f_globals.get("__name__", "")) for frame in frames]
    if isinstance(error, (ValueError, TypeError)) and rooms[-1].startswith("pedalcalc."):
        return _named(f"{error}{_instead(str(error))}", names)
    if isinstance(error, OSError) and any(room.startswith("pedalcalc.") for room in rooms):
        return _named(str(error), names)
    if isinstance(error, AttributeError) and (asked := OF_A_ROOM.search(str(error))):
        return f"{error}{_near(asked[1], asked[2])}"
    if isinstance(error, AttributeError) and (wanted := _record_wanted(frames, error, names)):
        return wanted
    if rooms[-1] != NOTEBOOK:
        return None
    if isinstance(error, NameError):
        return f"{error}; {RUN_ALL}"
    if isinstance(error, AssertionError) and str(error):
        return str(error)
    return None


def _near(room: str, name: str) -> str:
    """Return the names of a room that come nearest to the one that it does not have."""
    there = getattr(sys.modules.get(f"pedalcalc.{room}"), "__all__", ())
    found = difflib.get_close_matches(name, there, n=3, cutoff=0.5)
    return f"; there are {', '.join(found)}" if found else ""


def _instead(message: str) -> str:
    """Return the constants that could be meant by a text where a part's record is wanted."""
    found = RECORD.match(message)
    if not found:
        return ""
    kinds = tuple(kind for kind in map(_class_of, found.group(1, 2)) if kind)
    return f"; {_offered(found[3][1:-1], kinds)}" if kinds else ""


def _record_wanted(frames: list[FrameType], error: AttributeError, names: Mapping[str, Any]) -> str | None:
    """Return the line for a text or number of the builder's that stands where a part's record is wanted."""
    given, figure = error.obj, error.name
    kinds = tuple(
        kind for kind in map(_class_of, devices.__all__) if kind and figure in getattr(kind, "__dataclass_fields__", {})
    )
    own = [name for name, value in names.items() if value is given and not name.startswith("_")]
    cells = "".join(line for frame in frames for line in linecache.getlines(frame.f_code.co_filename))
    own = [name for name in own if f"{name}.{figure}" in cells] or own  # another may hold the same text
    if not kinds or not own or len(own) > MOST_NAMED or type(given) not in (str, int, float):
        return None
    what = "text" if isinstance(given, str) else "a number"
    told = " or ".join(f"{name} = {given!r}" for name in own)
    return f"{told}: a part's record must stand here, not {what}; {_offered(str(given), kinds, own[0])}"


def _class_of(name: str | None) -> type[devices.Device] | None:
    found = getattr(devices, name or "", None)
    return found if isinstance(found, type) and issubclass(found, devices.Device) else None


def _offered(text: str, kinds: tuple[type[devices.Device], ...], place: str = "") -> str:
    """Return the constants of these kinds that a text may mean, or else the name of its place, or some of all."""
    there = [name for name in devices.__all__ if name.isupper() and isinstance(getattr(devices, name), kinds)]
    found = there
    for meant in (text, place):
        asked = re.findall("[A-Z0-9]+", meant.upper())
        near = [name for name in there if asked and all(word in name.replace("_", "") for word in asked)]
        if near and not meant.isdecimal():
            found = near
            break
    more = ", ..." if len(found) > MOST_RECORDS else ""
    return f"write {' or '.join(f'devices.{name}' for name in found[:MOST_RECORDS])}{more} without quotes"


def _named(message: str, names: Mapping[str, Any]) -> str:
    """Put the builder's own value before a message that refuses it, by the names of the notebook."""
    text, number = TEXT.search(message), NUMBER.search(message)
    found: list[str] = []
    if text:
        found = [name for name, value in _own(names) if isinstance(value, str) and repr(value) == text[1]]
    elif number:
        size = float(number[1]) * next(10.0**power for power, prefix in PREFIXES.items() if prefix == (number[2] or ""))
        # A number is the builder's only where it is of the quantity refused, by the name of that.
        found = [name for name, value in _own(names) if _is(value, size, unit_of(message))]
    found = list(dict.fromkeys(found))
    if message.partition(" ")[0] in found or not found or len(found) > (MOST_NAMED if text else 1):
        return message
    told = (
        f"in {name}" if isinstance(names[name], (list, tuple, dict)) else f"{name} = {names[name]!r}" for name in found
    )
    return f"{' or '.join(told)}: {message}"


def _own(names: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Give each text and plain number of the notebook's own names, those in lists too."""
    for name, value in names.items():
        if not name.startswith("_") and name not in ("In", "Out"):
            yield from ((name, part) for part in _parts(value))


def _parts(value: Any) -> Iterator[Any]:
    if type(value) in (str, int, float):
        yield value
    elif isinstance(value, dict):
        yield from (part for pair in value.items() for whole in pair for part in _parts(whole))
    elif type(value) in (list, tuple):
        yield from (part for whole in value for part in _parts(whole))


def _is(value: Any, number: float, unit: str) -> bool:
    """Tell whether a text in this unit, or without one a plain number, is the number refused, as far as that is written."""
    if not isinstance(value, str):
        return not unit and bool(abs(value - number) <= 1e-5 * abs(number))
    if not unit:
        return False
    with warnings.catch_warnings(), contextlib.suppress(ValueError):
        warnings.simplefilter("ignore")
        return abs(float(read_value(value, unit=unit)) - number) <= 1e-5 * abs(number)
    return False
