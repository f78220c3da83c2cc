"""What every public function says to wrong input: it names an argument of its own, the value, and what is allowed.

For each function the valid call of its room's test module (`CALLS`) is spoilt one argument at a time. Where the argument
has a unit, so have the figures that the error tells.
"""

from __future__ import annotations

import inspect
import re

import numpy as np
import pytest

from pedalcalc._arguments import LARGEST
from pedalcalc._units import unit_of
from tests.test_contract import FUNCTIONS, NAMES, NOT_NUMBERS, _calls

#: What no number can be: always refused by the argument's name.
NO_NUMBERS = {
    "ragged list": [[1.0, 2.0], [3.0]],
    "empty array": np.empty(0),
    "complex number": 1 + 2j,
    "four hundred digits": 10**400,
    "beyond all sizes": 10 * LARGEST,
    "object": object(),
    "text": "4k7",
}
#: What a number may be: an answer, or an error by the name of an argument.
NUMBERS = {
    "zero": lambda _: 0.0,
    "negative": lambda value: -value,
    "unknown": lambda _: np.nan,
    "infinite": lambda _: np.inf,
    "tiny": lambda _: 1e-20,
    "large": lambda _: 1e20,
    "a hundredth": lambda value: 0.01 * np.asarray(value),
    "a hundred times": lambda value: 100.0 * np.asarray(value),
    "several": lambda value: np.append(value, 1.001 * np.ravel(value)),
    "several with an unknown": lambda value: np.append(value, np.nan),
}
#: What stands for words, records, lists and paths that are none.
NO_WORDS = {
    "number": 5.0,
    "object": object(),
    "array of words": np.array(["a", "b"]),
    "ragged list": [[1.0, 2.0], [3.0]],
    "class": dict,
    "empty text": "",
}
#: Panels hand their start values to sliders, which speak of their own.
COMPUTING = [param for param in FUNCTIONS if param.values[0] != "explore"]
#: Rows of readings of which there may be none.
MAY_BE_EMPTY = {"illuminance_rise", "time_rise", "illuminance_fall", "time_fall"}


#: What an error repeats as it was given: indices and shapes, lists, words, and numbers of numpy.
REPEATED = re.compile(r"\([\d, ]*\)|\[[^]]*\]|'[^']*'|\"[^\"]*\"|\w+\([^)]*\)")
FIGURE = re.compile(r"(?<![\w.+-])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?![\w.])")
UNIT = re.compile(r" (?:[fpnµmkMGT]?(?:V|A|Ω|F|Hz|s|S|W|m|C)|K|lx|cd|dBV?|°|h)(?:/\w+)?(?![\w%])")


def _without_unit(error):
    """Return the figures without a unit in an error about a quantity; whole numbers may count something."""
    name, text = re.match(r"\w*", str(error)).group(), REPEATED.sub("", str(error))
    if not unit_of(name):
        return []
    found = [figure for figure in FIGURE.finditer(text) if not UNIT.match(text, figure.end()) and figure.group() != "0"]
    return [
        figure.group()
        for figure in found
        if not figure.group().isdigit() or re.match(r"\w+ must be .* got $", text[: figure.start()])
    ]


@pytest.mark.parametrize(
    ("text", "figures"),
    [
        ("time_wanted must be above 0 and finite, got 0.000203", ["0.000203"]),
        ("time_wanted must be above 0 and finite, got 203 µs at index (1, 2)", []),
        ("resistance_min must be at most resistance_max (1e+06), got 2 MΩ", ["1e+06"]),
        ("voltage must be above 0, got -3", ["-3"]),
        ("voltage must be at most 5 V, got 12", ["12"]),
        ("current and resistance_cell must be two lists of one length, 2 and 5 of them", []),
        ("rotation must be at least 0 and at most 1 and finite, got 1.2", []),
        ("slew_rate must be above 0, got -5 V/s", []),
    ],
)
def test_figures_without_a_unit_are_seen(text, figures):
    assert _without_unit(text) == figures


def _parameters(function):
    return [
        part.name
        for part in inspect.signature(function).parameters.values()
        if part.kind in (part.KEYWORD_ONLY, part.POSITIONAL_OR_KEYWORD)
    ]


def _first_word(error):
    return re.match(r"[A-Za-z_0-9]*", str(error)).group()


def _said(function, call, what):
    """Return what is raised, or None; it is an error of the input and names an argument first of all."""
    found = None
    try:
        function(**call)
    except RuntimeError:  # what iterates may find no end, and says so
        return None
    except (ValueError, TypeError, OSError) as error:
        found = error
    if found is not None:
        assert _first_word(found) in {*_parameters(function), "arrays"}, f"{what}: {type(found).__name__}: {found}"
        assert len(str(found)) < 700, f"{what}: {found}"
    return found


@pytest.mark.parametrize(("room", "name", "function"), FUNCTIONS)
@pytest.mark.filterwarnings("ignore")
def test_what_is_no_number_is_refused_by_the_name_of_its_argument(room, name, function):
    call = _calls(room)[name]
    for key in _parameters(function):
        if NAMES[key]["unit"] in NOT_NUMBERS:
            continue
        for words, wrong in NO_NUMBERS.items():
            if words == "empty array" and key in MAY_BE_EMPTY:
                continue
            error = _said(function, call | {key: wrong}, f"{key} = {words}")
            assert error is not None, f"{key} = {words} was taken"
            assert key in re.findall(r"\w+", str(error)), f"{key} = {words}: {error}"


@pytest.mark.parametrize(("room", "name", "function"), COMPUTING)
@pytest.mark.filterwarnings("ignore")
def test_numbers_that_do_not_fit_are_refused_by_an_argument_of_the_signature(room, name, function):
    call = _calls(room)[name]
    for key in _parameters(function):
        if NAMES[key]["unit"] in NOT_NUMBERS:
            continue
        for words, spoilt in NUMBERS.items():
            value = spoilt(call[key]) if np.ndim(call.get(key)) or isinstance(call.get(key), float) else spoilt(1.0)
            error = _said(function, call | {key: value}, f"{key} = {words}")
            assert error is None or not _without_unit(error), f"{key} = {words}: {error}"


@pytest.mark.parametrize(("room", "name", "function"), COMPUTING)
@pytest.mark.filterwarnings("ignore")
def test_what_is_no_word_record_list_or_path_is_refused_by_name(room, name, function, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    call = _calls(room)[name]
    for key in _parameters(function):
        if NAMES[key]["unit"] not in NOT_NUMBERS:
            continue
        for words, wrong in NO_WORDS.items():
            _said(function, call | {key: wrong}, f"{key} = {words}")
