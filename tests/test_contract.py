"""What every public function owes, by its declared kind.

A room's test module `tests/test_<room>.py` holds `CALLS`: for each public
function one set of valid keyword arguments, from which the checks here start.
"""

from __future__ import annotations

import ast
import dataclasses
import importlib
import importlib.util
import inspect
import itertools
import re

import numpy as np
import pytest
from numpydoc.docscrape import FunctionDoc

from pedalcalc._arguments import Range
from pedalcalc._result import Result
from tests.conftest import REFERENCE, ROOT, read_rows

ROOMS = [
    room
    for room in (
        "values devices catalogue parts readings laws led rc controls bjt fet opamp stage supply pump switching opto sidechain compressor board circuit tolerance bench report plot explore sheet page"
    ).split()
    if importlib.util.find_spec(f"pedalcalc.{room}")
]
NAMES = {row["name"]: row for row in read_rows(REFERENCE / "nomenclature.csv")}
SOURCES = {row["key"] for row in read_rows(REFERENCE / "sources.csv")}
NOT_NUMBERS = {"record", "text", "cautions", "bool", "records", "function", "path"}
KINDS = {"formula", "search", "fit", "simulate", "io"}


def _public(room):
    module = importlib.import_module(f"pedalcalc.{room}")
    for name in module.__all__:
        thing = getattr(module, name)
        if inspect.isfunction(thing):
            yield pytest.param(room, name, thing, id=f"{room}.{name}")


def _calls(room):
    return importlib.import_module(f"tests.test_{room}").CALLS


FUNCTIONS = [param for room in ROOMS for param in _public(room)]
FORMULAS = [param for param in FUNCTIONS if getattr(param.values[2], "kind", "") == "formula"]


def _descriptions(function):
    return {part.name.lstrip("*"): " ".join(part.desc) for part in FunctionDoc(function)["Parameters"]}


def _stated(description, unit):
    """Return the range that stands right behind the unit of a described argument."""
    told = description.partition(f"[{unit}]")[2].lstrip(", ")
    ends = {"infinity": bool(re.search(r"\binf(inity|inite)?\b|\bopen (unless|if)", told))}
    if low := re.match(r"(above|>|at least) (\d+\.?\d*)|(\d+\.?\d*) (?:or more|to)\b", told):
        ends["above" if low[1] in {"above", ">"} else "least"] = float(low[2] or low[3])
        if high := re.match(r"[^;:]*?\b(to|at most|below) (\d+\.?\d*)", told):
            ends["below" if high[1] == "below" else "most"] = float(high[2])
    return Range(**ends)


def _allowed(function, name):
    """Return what a numeric argument may be: as declared, or where it is not yet, as described."""
    declared = getattr(function, "ranges", {}).get(name)
    return declared or _stated(_descriptions(function)[name], NAMES[name]["unit"])


def _numeric_arguments(room, name):
    call = _calls(room)[name]
    return {key: value for key, value in call.items() if NAMES[key]["unit"] not in NOT_NUMBERS}


def _fields(result):
    """Return the numeric content of a result as a dictionary of arrays."""
    if not isinstance(result, Result):
        return {"": np.asarray(result)}
    found = {}
    for field in dataclasses.fields(result):
        value = getattr(result, field.name)
        if isinstance(value, Result):
            found |= {f"{field.name}.{key}": inner for key, inner in _fields(value).items()}
        elif not isinstance(value, (tuple, list, dict)):
            found[field.name] = np.asarray(value)
    return found


@pytest.mark.parametrize(("room", "name", "function"), FUNCTIONS)
def test_declares_a_kind(room, name, function):
    assert getattr(function, "kind", None) in KINDS


@pytest.mark.parametrize(("room", "name", "function"), FUNCTIONS)
def test_signature_uses_the_vocabulary(room, name, function):
    parameters = list(inspect.signature(function).parameters.values())
    positional = [p for p in parameters if p.kind is not p.KEYWORD_ONLY and p.kind is not p.VAR_KEYWORD]
    assert len(positional) <= 1, "only one argument may be positional"
    for parameter in parameters:
        if parameter.kind is not parameter.VAR_KEYWORD:
            assert parameter.name in NAMES, f"{parameter.name} is not in reference/nomenclature.csv"


@pytest.mark.parametrize(("room", "name", "function"), FUNCTIONS)
def test_docstring_is_complete(room, name, function):
    doc, documented = FunctionDoc(function), _descriptions(function)
    for parameter in inspect.signature(function).parameters.values():
        if parameter.kind is parameter.VAR_KEYWORD:
            continue
        assert parameter.name in documented, f"{parameter.name} is not documented"
        unit = NAMES[parameter.name]["unit"]
        if unit not in NOT_NUMBERS:
            assert f"[{unit}]" in documented[parameter.name], f"{parameter.name} lacks its unit [{unit}]"
    assert doc["Returns"] or doc["Yields"]
    assert "\n>>> " in "\n" + "\n".join(doc["Examples"]), "no worked example"
    references = " ".join(doc["References"])
    assert SOURCES & set(re.findall(r"[A-Z][A-Z0-9-]+", references)), "no known source key under References"


@pytest.mark.parametrize(("room", "name", "function"), FORMULAS)
def test_formula_declares_its_arguments_and_describes_them_so(room, name, function):
    assert not _numeric_arguments(room, name).keys() - function.ranges.keys()
    described = _descriptions(function)
    for key, allowed in function.ranges.items():
        stated = _stated(described[key], NAMES[key]["unit"])
        assert str(stated) == str(allowed), f"{key} is described as {stated}, but must be {allowed}"


RESULTS = {
    cls.__name__
    for base in Result.__subclasses__()
    for cls in [base, *base.__subclasses__()]
    if cls.__module__.startswith("pedalcalc.")  # tests have results of their own
} - {"Caution"}
FILES = sorted(path for room in ROOMS for path in (ROOT / "pedalcalc" / room).glob("*.py"))


def test_results_are_built_by_keyword():
    built = [
        f"{path.relative_to(ROOT)}, line {node.lineno}: {node.func.id}"
        for path in FILES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in RESULTS and node.args
    ]
    assert FILES and not built, "\n".join(built)


def test_every_name_of_the_vocabulary_stands_once_and_is_used():
    rows = [row["name"] for row in read_rows(REFERENCE / "nomenclature.csv")]
    assert len(rows) == len(set(rows)), sorted(name for name in NAMES if rows.count(name) > 1)
    used = set()
    for room in [*ROOMS, "devices"]:
        module = importlib.import_module(f"pedalcalc.{room}")
        for thing in (getattr(module, name) for name in module.__all__):
            if inspect.isfunction(thing):
                used |= set(inspect.signature(thing).parameters)
            elif inspect.isclass(thing) and dataclasses.is_dataclass(thing):
                used |= {field.name for field in dataclasses.fields(thing)}
    assert not NAMES.keys() - used


@pytest.mark.parametrize("room", ROOMS)
def test_result_fields_use_the_vocabulary(room):
    module = importlib.import_module(f"pedalcalc.{room}")
    for name in module.__all__:
        thing = getattr(module, name)
        if not (inspect.isclass(thing) and issubclass(thing, Result) and dataclasses.is_dataclass(thing)):
            continue
        for field in dataclasses.fields(thing):
            assert field.name in NAMES, f"{name}.{field.name} is not in reference/nomenclature.csv"
            assert field.metadata.get("unit") == NAMES[field.name]["unit"], f"{name}.{field.name}: unit"
            assert field.metadata.get("caption"), f"{name}.{field.name}: caption"


@pytest.mark.parametrize(("room", "name", "function"), FUNCTIONS)
def test_has_a_call_and_leaves_its_inputs_alone(room, name, function):
    call = _calls(room)[name]
    before = {key: np.array(value, copy=True) for key, value in call.items() if isinstance(value, np.ndarray)}
    function(**call)
    for key, value in before.items():
        np.testing.assert_array_equal(call[key], value)


@pytest.mark.parametrize(
    ("room", "name", "function"),
    [param for param in FUNCTIONS if getattr(param.values[2], "kind", "") in {"search", "fit", "simulate"}],
)
def test_searches_fits_and_simulations_keep_no_state(room, name, function):
    first, second = (_fields(function(**_calls(room)[name])) for _ in range(2))
    assert first.keys() == second.keys()
    for key, value in first.items():
        if value.dtype.kind in "biufcU":
            np.testing.assert_array_equal(second[key], value, err_msg=key)


@pytest.mark.parametrize(("room", "name", "function"), FORMULAS)
def test_formula_keeps_scalars_scalar(room, name, function):
    for key, value in _fields(function(**_calls(room)[name])).items():
        assert value.ndim == 0, f"{key or 'result'} is not a scalar"
    result = function(**_calls(room)[name])
    if isinstance(result, Result):
        for field in dataclasses.fields(result):
            assert not isinstance(getattr(result, field.name), np.ndarray), f"{field.name} is a 0-d array"
    else:
        assert not isinstance(result, np.ndarray)


@pytest.mark.parametrize(("room", "name", "function"), FORMULAS)
def test_formula_broadcasts_element_by_element(room, name, function):
    call = _calls(room)[name]
    arguments = _numeric_arguments(room, name)
    if len(arguments) == 0:
        return
    first, *others = arguments
    stretched = dict(call)
    stretched[first] = np.asarray(call[first], float) * np.array([[1.0], [1.001], [1.002]])
    if others:
        stretched[others[0]] = np.asarray(call[others[0]], float) * np.array([1.0, 0.999, 0.998, 0.997])
    whole = _fields(function(**stretched))
    shape = np.broadcast_shapes(*(np.shape(stretched[key]) for key in arguments))
    for index in np.ndindex(shape):
        single = dict(call)
        for key in arguments:
            single[key] = float(np.broadcast_to(stretched[key], shape)[index])
        for key, value in _fields(function(**single)).items():
            got = np.broadcast_to(whole[key], shape)[index]
            if value.dtype.kind in "fc":
                np.testing.assert_allclose(got, value, rtol=1e-12, atol=0, err_msg=f"{key} at {index}")
            else:
                assert got == value, f"{key} at {index}"


@pytest.mark.parametrize(("room", "name", "function"), FORMULAS)
def test_formula_refuses_arrays_that_do_not_fit_together(room, name, function):
    call, arguments = _calls(room)[name], list(_numeric_arguments(room, name))
    for first, second in itertools.pairwise(arguments):
        torn = call | {first: np.full(2, float(call[first])), second: np.full(3, float(call[second]))}
        with pytest.raises(ValueError, match="broadcast"):
            function(**torn)


@pytest.mark.parametrize(("room", "name", "function"), FORMULAS)
def test_formula_takes_integers_as_floats(room, name, function):
    call = _calls(room)[name]
    whole = {
        key: int(value) for key, value in _numeric_arguments(room, name).items() if float(value) == int(float(value))
    }
    if not whole:
        return
    expected, got = _fields(function(**call)), _fields(function(**(call | whole)))
    for key, value in expected.items():
        np.testing.assert_array_equal(got[key], value)


@pytest.mark.parametrize(("room", "name", "function"), FORMULAS)
def test_formula_keeps_nan_in_its_place(room, name, function):
    call = _calls(room)[name]
    clean = _fields(function(**call))
    for key, value in _numeric_arguments(room, name).items():
        holed = call | {key: np.array([value, np.nan, value], dtype=float)}
        found = _fields(function(**holed))
        changed = False
        for field, whole in found.items():
            whole = np.broadcast_to(whole, (3,))
            for place in (0, 2):
                if whole.dtype.kind == "f":
                    np.testing.assert_allclose(whole[place], clean[field], rtol=1e-12, err_msg=f"{key} -> {field}")
                else:
                    assert whole[place] == clean[field]
            changed |= bool(whole.dtype.kind == "f" and np.isnan(whole[1]))
        assert changed, f"NaN in {key} left no NaN in the result"


@pytest.mark.parametrize(("room", "name", "function"), FORMULAS)
@pytest.mark.parametrize("zero", [0.0, -0.0], ids=["zero", "minus zero"])
@pytest.mark.filterwarnings("ignore::pedalcalc._result.ModelRangeWarning")
def test_no_result_is_minus_zero(room, name, function, zero):
    call = _calls(room)[name]
    for key in _numeric_arguments(room, name):
        try:
            found = _fields(function(**(call | {key: zero})))
        except (ValueError, RuntimeError):  # a short that this circuit cannot stand
            continue
        for field, value in found.items():
            if value.dtype.kind == "f":
                assert not np.any((value == 0) & np.signbit(value)), f"{key} = {zero} -> {field}"


@pytest.mark.parametrize(("room", "name", "function"), FORMULAS)
@pytest.mark.filterwarnings("ignore::pedalcalc._result.ModelRangeWarning")
def test_shorts_and_opens_leave_no_silent_nan(room, name, function):
    """Two values at a time 0 or infinite, as a short and an open are: an answer or an error, never NaN or -0."""
    call = _calls(room)[name]
    clean = _fields(function(**call))
    unknown = {field for field, value in clean.items() if value.dtype.kind == "f" and np.isnan(value).any()}
    ends = list(itertools.product(_numeric_arguments(room, name), (0.0, np.inf)))
    for first, second in itertools.combinations_with_replacement(ends, 2):
        if first[0] == second[0] and first != second:
            continue
        try:
            found = _fields(function(**(call | dict([first, second]))))
        except (ValueError, RuntimeError):  # a circuit that nothing limits, or that does nothing
            continue
        for field, value in found.items():
            if value.dtype.kind == "f" and field not in unknown:
                assert not np.isnan(value).any(), f"{first}, {second} -> {field}"
                assert not np.any((value == 0) & np.signbit(value)), f"{first}, {second} -> {field}"


@pytest.mark.parametrize(("room", "name", "function"), FORMULAS)
def test_masked_arrays_are_refused(room, name, function):
    call = _calls(room)[name]
    for key, value in _numeric_arguments(room, name).items():
        masked = np.ma.masked_array([value, value], mask=[False, True])
        with pytest.raises(TypeError, match=f"{key} must not be a masked array"):
            function(**(call | {key: masked}))


@pytest.mark.parametrize(("room", "name", "function"), FUNCTIONS)
def test_impossible_values_are_refused_by_name(room, name, function):
    call = _calls(room)[name]
    for key in _numeric_arguments(room, name):
        allowed = _allowed(function, key)
        beyond = [allowed.above, allowed.below, None if allowed.infinity else np.inf]
        beyond += [end + side for end, side in ((allowed.least, -1.0), (allowed.most, 1.0)) if end is not None]
        for value in (end for end in beyond if end is not None):
            with pytest.raises(ValueError, match=key):
                function(**(call | {key: value}))
        with pytest.raises(TypeError, match=key):
            function(**(call | {key: "4k7"}))
