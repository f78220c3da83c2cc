"""A docstring's range is the code's: what it allows is taken, what it does not is refused."""

from __future__ import annotations

import inspect
import re

import numpy as np
import pytest
from numpydoc.docscrape import FunctionDoc

from tests.test_contract import FUNCTIONS, NAMES, NOT_NUMBERS, _calls

#: Beginnings of a range in words, and whether -1 and 0 are in it; infinity is where the words name it.
BEGINNINGS = {r"at least 0|0 or more|0 to inf": (False, True), r"above 0|> 0": (False, False)}
OPEN = r"\binf\b|infinity|infinite|\bopen\b"
#: A range in numbers alone, not one that follows from other arguments.
ALONE = r"((at least|above|at most|below) -?[\d.]+|finite)( \w+)?( and |, )"
PROBED = [param for param in FUNCTIONS if getattr(param.values[2], "kind", "") in {"formula", "search", "fit"}]


def _ranges(room, name, function):
    """Yield argument, value and whether the docstring allows it."""
    call = _calls(room)[name]
    said = {part.name: " ".join(part.desc) for part in FunctionDoc(function)["Parameters"]}
    for argument in inspect.signature(function).parameters:
        words = re.search(r"\[[^\]]*\],?\s*(.*)", said.get(argument, ""))
        if argument not in NAMES or NAMES[argument]["unit"] in NOT_NUMBERS or not words:
            continue
        if not isinstance(call.get(argument, 1.0), (int, float)):
            continue
        for beginning, (below, zero) in BEGINNINGS.items():
            if re.match(beginning, words[1]):
                yield from ((argument, value, allowed) for value, allowed in ((-1.0, below), (0.0, zero)))
                yield argument, np.inf, bool(re.search(OPEN, words[1]))


def _refused(function, call):
    """Return why a call is refused, or nothing."""
    try:
        with np.errstate(all="ignore"):
            function(**call)
    except ValueError as reason:
        return str(reason)
    return ""


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(("room", "name", "function"), PROBED)
def test_a_docstring_s_range_is_the_code_s(room, name, function):
    for argument, value, allowed in _ranges(room, name, function):
        told = _refused(function, _calls(room)[name] | {argument: value})
        if not allowed:
            assert told, f"{argument}={value:g} was taken, but its docstring does not allow it"
        # Together with other arguments a value may be refused; alone by a range that the docstring does not name, not.
        assert not allowed or not re.match(rf"{argument} must be {ALONE}", told), told
