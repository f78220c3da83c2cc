"""The checks that all rooms share: what they refuse, and how they say it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from pedalcalc import devices, rc, values
from pedalcalc._arguments import Range, file_path, is_a, numeric, one_number, one_of, table_of, words, yes_no
from pedalcalc._result import Number, Result, quantity
from pedalcalc._units import shown, told, unit_of
from tests.conftest import REFERENCE, read_rows
from tests.test_contract import NOT_NUMBERS

NAMES = [row for row in read_rows(REFERENCE / "nomenclature.csv") if row["unit"] not in NOT_NUMBERS]
INF = float("inf")


@pytest.mark.parametrize(
    ("value", "error", "says"),
    [
        ([], ValueError, r"x must hold at least one number, got \[\]"),
        (np.empty((0, 3)), ValueError, "x must hold at least one number"),
        ([[1.0, 2.0], [3.0]], ValueError, r"x must be .* rows are all of one length, got \[\[1.0, 2.0\], \[3.0\]\]"),
        ("4k7", TypeError, "x must be a number or an array of numbers, not '4k7'"),
        (None, TypeError, "x must be a number or an array of numbers, not None"),
        ([1.0, None], TypeError, "x must be a number or an array of numbers"),
        (True, TypeError, "x must be a number or an array of numbers, not True"),
        (1 + 2j, TypeError, "x must be a number or an array of numbers"),
        (10**400, TypeError, r"x must be a number .* not 1000000000.*\.\.\.;"),
        (1e101, ValueError, r"x must be finite, of a size between 1e-100 and 1e\+100, got 1e\+101$"),
        ([1.0, -1e200], ValueError, r"got -1e\+200 at index \(1,\)"),
        ([np.nan, 1e200], ValueError, r"got 1e\+200 at index \(1,\)"),
    ],
)
def test_what_is_no_quantity_is_refused_by_name_and_value(value, error, says):
    with pytest.raises(error, match=says):
        numeric("x", value)


def test_a_number_too_long_to_write_is_refused():
    with pytest.raises(TypeError, match=r"x must be a number .* not int too long to write"):
        numeric("x", 10**5000)


def test_sizes_that_nothing_has_are_refused_where_zero_is_refused_too():
    for tiny in (1e-101, [1.0, 1e-300], [np.nan, 5e-324]):
        with pytest.raises(ValueError, match="resistance must be above 0 and finite, of a size between"):
            numeric("resistance", tiny, above=0)
    # A voltage may decay to any size, and shorts and opens stay what they are.
    assert numeric("voltage", [0.0, 1e-300, -1e-300], least=-1.0).tolist() == [0.0, 1e-300, -1e-300]
    assert numeric("resistance", [0.0, 1.0, INF], least=0, infinity=True).tolist() == [0.0, 1.0, INF]
    assert numeric("resistance", [1e100, INF], above=0, infinity=True).tolist() == [1e100, INF]
    assert numeric("voltage", [-INF, 1.0], infinity=True).tolist() == [-INF, 1.0]
    with pytest.raises(ValueError, match=r"got 1e\+200 Ω at index \(0,\)"):
        numeric("resistance", [1e200, INF], above=0, infinity=True)
    with pytest.raises(ValueError, match=r"got -1e\+200 V at index \(1,\)"):
        numeric("voltage", [-INF, -1e200], infinity=True)


def test_errors_tell_values_with_their_unit():
    with pytest.raises(ValueError, match=r"^time_attack must be above 1 ms and finite, got 203 µs$"):
        numeric("time_attack", 203e-6, above=1e-3)
    with pytest.raises(
        ValueError, match=r"^resistance_load must be at least 0 and finite, got -4.7 kΩ at index \(1,\)$"
    ):
        numeric("resistance_load", [1.0, -4700.0], least=0)
    with pytest.raises(ValueError, match=r"^capacitance must be at least 0 and finite, got -100 nF$"):
        rc.charging(1.0, resistance=1e3, capacitance=-1e-7, voltage_start=0.0, voltage_final=9.0)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (203e-6, "s", "203 µs"),
        (2e4, "s", "20000 s"),
        (999999.9999, "Ω", "1 MΩ"),
        (-5e-3, "A", "-5 mA"),
        (0.123456, "V", "123.456 mV"),
        (0.0, "V", "0 V"),
        (1e30, "V", "1e+30 V"),
        (INF, "Ω", "inf Ω"),
        (273.15, "K", "273.15 K"),
        (0.05, "", "0.05"),
        (-3.0, "dB", "-3 dB"),
        (4.7e-3, "F", "4700 µF"),
        (-4.7e-3, "F", "-4700 µF"),
        (0.0018, "cd", "1.8 mcd"),
        (2160.0, "C", "2160 C"),
    ],
)
def test_values_are_shown_as_a_builder_reads_them(value, unit, text):
    assert shown(value, unit) == text


@pytest.mark.parametrize(
    "unit", ["s", "F", "C", "V", "A", "Ω", "S", "W", "Hz", "cd", "J", "V/s", "lx", "K", "1/K", "dB"]
)
def test_errors_and_tables_write_a_value_in_the_same_way(unit):
    for power in range(-15, 15):
        for figures in ("4.7", "-1", "9.99"):
            value = float(f"{figures}e{power}")
            written = values.write_value(value, unit=unit)
            said, _, sign = shown(value, unit).partition(" ")
            assert (float(said), sign) == (float(written.split(" ")[0]), written.partition(" ")[2])


@pytest.mark.parametrize("power", range(-12, 12))
def test_what_is_shown_reads_back_as_what_was_written(power):
    value = float(f"4.7e{power}")
    assert values.read_value(shown(value, "V"), unit="V") == value
    assert float(shown(value).split()[0]) == value


def test_a_name_tells_the_unit_of_the_vocabulary():
    units = {row["name"]: "" if row["unit"] in ("1", "SI") else row["unit"] for row in NAMES}
    told = {name: (unit_of(name), unit_of(f"{name} (typical)"), unit) for name, unit in units.items()}
    wrong = [f"{name}: {found}" for name, found in told.items() if len(set(found)) > 1]
    assert told and not wrong, "\n".join(wrong)


@pytest.mark.parametrize("wrong", [None, 5, ["a", "b"], np.array(["a", "b"]), "", "c", [[1.0], [2.0, 3.0]]])
def test_words_records_and_files_are_refused_by_name_and_value(wrong):
    with pytest.raises(ValueError, match="word must be one of a, b, got"):
        one_of("word", wrong, ("a", "b"))
    with pytest.raises(TypeError, match="cell must be a Ldr record, not"):
        is_a("cell", wrong, devices.Ldr)
    with pytest.raises(TypeError, match="low_pin must be True or False, not"):
        yes_no("low_pin", wrong)
    if not isinstance(wrong, str):
        with pytest.raises(TypeError, match="title must be text, not"):
            words("title", wrong)
    if wrong != "c" if isinstance(wrong, str) else True:
        with pytest.raises(TypeError, match="path must be the path of a file, not"):
            file_path("path", wrong)
    if wrong is not None:
        with pytest.raises(TypeError, match="marks must be a dictionary of words, not"):
            table_of("marks", wrong, "words")


@pytest.mark.parametrize("wrong", [[1.0, 2.0], [[1.0]], np.nan])
def test_one_number_is_one_number(wrong):
    with pytest.raises(ValueError, match="level must be one known number, got"):
        one_number("level", wrong, "")


def test_long_values_are_cut():
    assert told("x" * 500) == "'" + "x" * 76 + "..."


@dataclass(frozen=True, slots=True, eq=False)
class Pair(Result):
    """A result with one array and one number."""

    voltage: Number = quantity("V", "voltage")
    current: Number = quantity("A", "current")


@dataclass(frozen=True, slots=True, eq=False)
class Table(Result):
    """A result with arrays by name."""

    voltages: dict = quantity("V", "volts by net")


def test_arrays_of_results_are_read_only_and_those_of_the_caller_are_not():
    mine = np.array([1.0, 2.0])
    pair = Pair(voltage=mine, current=3.0)
    with pytest.raises(ValueError, match="read-only"):
        pair.voltage[0] = 9.0
    mine[1] = 5.0
    assert pair.current == 3.0
    charging = rc.charging(
        np.array([1e-3, 2e-3]), resistance=1e3, capacitance=1e-6, voltage_start=0.0, voltage_final=9.0
    )
    with pytest.raises(ValueError, match="read-only"):
        charging.voltage[0] = 0.0
    many = devices.drawn(devices.LED_RED_GAASP, count=3, seed=1)
    with pytest.raises(ValueError, match="read-only"):
        many.voltage_forward[0] = 1.0
    table = Table(voltages={"rail": mine})
    with pytest.raises(ValueError, match="read-only"):
        table.voltages["rail"][0] = 9.0
    mine[0] = 7.0
    assert table.voltages["rail"][0] == 7.0


def test_a_checked_view_is_read_only_and_its_source_is_not():
    mine = np.array([1.0, 2.0])
    assert not Range()("x", mine).flags.writeable
    assert mine.flags.writeable
    assert numeric("x", mine).flags.writeable
