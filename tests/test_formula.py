"""What the declaration of a formula does for it: checks, shapes, scalars, and no copies."""

from __future__ import annotations

import inspect
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
import pytest

from pedalcalc import bjt, devices, led, values
from pedalcalc._arguments import Range
from pedalcalc._base import formula, search
from pedalcalc._ranges import AboveZero, AtLeastZero, ZeroToInfinity
from pedalcalc._result import Number, Result, Spread, quantity

SEEN: dict[str, Any] = {}


@dataclass(frozen=True, slots=True, eq=False)
class Pair(Result):
    """Two numbers, the sizes of all, and a word."""

    current: Number = quantity("A", "current")
    voltage: Number = quantity("V", "voltage as given")
    currents: tuple[Number, ...] = quantity("records", "the current twice")
    region: Any = quantity("text", "word")


@formula
def pair(
    voltage: AtLeastZero,
    *,
    resistance: ZeroToInfinity = np.inf,
    share: Annotated[Any, Range(above=0, below=1)] = 0.5,
    current_known: AboveZero | None = None,
    word: str = "on",
) -> Pair:
    """Return a pair."""
    SEEN.update(voltage=voltage, resistance=resistance, share=share, current_known=current_known)
    current = voltage / resistance if current_known is None else current_known
    return Pair(current=current, voltage=voltage, currents=(current, current), region=np.full(np.shape(current), word))


def test_scalars_come_out_as_plain_python_numbers():
    found = pair(9, resistance=3.0)
    assert (type(found.current), type(found.voltage), type(found.region)) == (float, float, str)
    assert (found.current, found.currents, found.region) == (3.0, (3.0, 3.0), "on")


def test_every_field_has_the_shape_of_all_arguments():
    found = pair(np.ones((2, 1)), resistance=np.ones(3), share=[[[0.5]]])
    assert {found.current.shape, found.voltage.shape, found.region.shape} == {(1, 2, 3)}


def test_the_body_sees_a_large_array_itself_and_no_result_does():
    volts = np.linspace(1, 2, 1000)
    found = pair(volts)
    assert np.shares_memory(SEEN["voltage"], volts)
    assert not SEEN["voltage"].flags.writeable
    assert not np.shares_memory(found.voltage, volts)
    volts[0] = 7
    assert found.voltage[0] == 1


def test_defaults_are_checked_arrays_too_and_none_may_be_given():
    pair(1.0, current_known=None)
    assert SEEN["share"].dtype == float
    assert SEEN["share"] == 0.5
    assert not SEEN["share"].flags.writeable
    assert SEEN["current_known"] is None
    with pytest.raises(TypeError, match="resistance must be a number"):
        pair(1.0, resistance=None)


def test_a_record_that_comes_back_is_left_as_it_was():
    @formula
    def same(record, *, voltage: AtLeastZero) -> Pair:
        return record

    mine = Pair(current=np.asarray(1.0), voltage=np.ones(2), currents=(), region="on")
    assert same(mine, voltage=3.0) is mine
    assert isinstance(mine.current, np.ndarray)


def test_signature_and_doctests_stay_those_of_the_function():
    assert list(inspect.signature(pair).parameters) == ["voltage", "resistance", "share", "current_known", "word"]
    assert (pair.kind, pair.__doc__, pair.__module__) == ("formula", "Return a pair.", __name__)


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        ({"voltage": -1.0}, ValueError, "voltage must be at least 0 and finite, got -1 V"),
        (
            {"voltage": 1e101},
            ValueError,
            r"voltage must be .*, of a size between 1e-100 V and 1e\+100 V, got 1e\+101 V",
        ),
        ({"voltage": [1.0], "resistance": 1e200}, ValueError, "resistance must be .*, of a size between"),
        ({"voltage": 1.0, "current_known": 1e-200}, ValueError, "current_known must be .*, of a size between"),
        ({"voltage": []}, ValueError, "voltage must hold at least one number"),
        ({"voltage": [1.0, np.inf]}, ValueError, r"voltage must be .*, got inf V at index \(1,\)"),
        ({"voltage": 1.0, "share": 1}, ValueError, "share must be above 0 and below 1 and finite, got 1"),
        ({"voltage": 1.0, "share": 0}, ValueError, "share must be above 0"),
        ({"voltage": True}, TypeError, "voltage must be a number"),
        ({"voltage": 10**400}, TypeError, "voltage must be a number"),
        ({"voltage": "4k7"}, TypeError, "read_value"),
        ({"voltage": Spread(1, 2, 3)}, TypeError, "devices.typical"),
        ({"voltage": 1.0, "current_known": 0.0}, ValueError, "current_known must be above 0"),
        ({"voltage": [1.0, 2.0], "resistance": [1.0] * 3}, ValueError, r"voltage \(2,\), resistance \(3,\)"),
        ({"voltage": 1.0, "resistence": 1.0}, TypeError, "pair has no argument 'resistence'; is resistance meant?"),
        ({}, TypeError, "missing 1 required positional argument: 'voltage'"),
    ],
)
def test_a_wrong_call_is_refused_by_name(call, error, words):
    with pytest.raises(error, match=words):
        pair(**call)


def test_positional_arguments_beyond_the_first_are_refused():
    with pytest.raises(TypeError, match="positional"):
        pair(1.0, 2.0)
    with pytest.raises(TypeError, match="multiple values"):
        pair(1.0, voltage=2.0)


def test_not_measured_passes_and_minus_zero_does_not_show():
    assert np.isnan(pair(float("nan")).current)
    assert not np.signbit(pair(-0.0).voltage)
    assert not np.signbit(pair(np.array([-0.0, 1.0])).voltage).any()


def test_units_of_a_record_that_do_not_fit_are_told_by_the_caller_s_names():
    """Two lamps drawn and three voltages; a search and a fit of lists that differ in length."""
    two = devices.drawn(devices.LED_BLUE, count=2, seed=1)
    for lamps in (two, [two, devices.typical(devices.LED_BLUE)]):
        with pytest.raises(ValueError, match=r"^arrays must have shapes .* got led \(2,\), voltage \(3,\)$"):
            led.operating_point([9.0, 8.0, 7.0], resistance=3.3e3, led=lamps)
    with pytest.raises(ValueError, match=r"got current_collector \(2,\), current_collector_open \(3,\)$"):
        bjt.fit_bjt([1e-3, 2e-3], current_collector_open=[0.0] * 3, current_base=1e-5, transistor=devices.BJT_AC128)


@pytest.mark.parametrize("declared", [formula, search], ids=["formula", "search"])
def test_a_slip_of_our_own_is_not_laid_on_arguments_that_fit(declared):
    @declared
    def broken(voltage: AtLeastZero) -> Number:
        return np.ones(2) + np.ones(3) + voltage

    with pytest.raises(ValueError, match=r"^operands could not be broadcast .*\(2,\) \(3,\)"):
        broken(np.ones(4))


def test_a_mistyped_keyword_is_told_of_every_kind():
    with pytest.raises(TypeError, match=r"^fit_bjt has no argument 'current_bse'; is current_base meant\?"):
        bjt.fit_bjt(1e-3, current_collector_open=0.0, current_bse=1e-5, transistor=devices.BJT_AC128)
    with pytest.raises(TypeError, match=r"^read_value has no argument 'units'; is unit meant\?"):
        values.read_value("4k7", units="Ω")
