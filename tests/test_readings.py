"""Tables of readings: what is read, what is refused and where, and that nothing is ever overwritten or half-written."""

from __future__ import annotations

import dataclasses
import errno
import itertools
import math
import os
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pedalcalc import readings
from pedalcalc.readings import Reading

HEADER = "date_time,what,place,value,unit,condition"
GOOD = f"""{HEADER}
2026-03-14 10:32,LED current,coupler 1,1.02m,A,step 1
2026-03-14 10:32,LDR resistance,coupler 1,2.31k,ohm,step 1
2026-03-14T10:36:05,LDR resistance,coupler 1,open,Ω,step 2
2026-03-14,LED current,coupler 1,0,A,step 2
2026-03-14,supply,jack,,V,
"""


def one(**cells):
    full = {
        "date_time": "2026-03-14 10:32",
        "what": "supply",
        "place": "jack",
        "value": 9.12,
        "unit": "V",
        "condition": "no load",
    }
    return Reading(**(full | cells))


_FOLDER = Path(tempfile.mkdtemp())
_FILE = _FOLDER / "readings.csv"
_FILE.write_text(GOOD, encoding="utf-8")

CALLS = {
    "read_readings": {"path": _FILE},
    "write_readings": {"path": _FOLDER / "new.csv", "readings": [one()]},
    "coupler_pairs": {"readings": readings.read_readings(_FILE)},
}


def read(tmp_path, text):
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="utf-8")
    return readings.read_readings(path)


def cells(reading):
    return (reading.date_time, reading.what, reading.place, repr(reading.value), reading.unit, reading.condition)


def test_reads_si_values_open_and_not_measured(tmp_path):
    first, second, third, fourth, fifth = read(tmp_path, GOOD)
    assert (first.value, first.unit, first.place, first.condition) == (1.02e-3, "A", "coupler 1", "step 1")
    assert (second.value, second.unit) == (2310.0, "Ω")
    assert third.value == math.inf
    assert third.date_time == "2026-03-14T10:36:05"
    assert fourth.value == 0.0
    assert math.isnan(fifth.value)
    assert fifth.condition == ""


def test_semicolons_and_any_order_read_the_same(tmp_path):
    text = "unit;value;what;condition;place;date_time\nV;9.12;supply;no load;jack;2026-03-14 10:32\n"
    assert cells(read(tmp_path, text)[0]) == cells(one())


def row(**cells):
    full = dict(zip(HEADER.split(","), ("2026-03-14", "supply", "jack", "9.12", "V", ""), strict=True)) | cells
    return HEADER + "\n" + ",".join(f'"{cell}"' for cell in full.values()) + "\n"


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("", "is empty"),
        (HEADER + "\n", "no readings below"),
        (GOOD.replace(",place", ",where", 1), "line 1: column place is missing"),
        (GOOD.replace("condition", "condition,by", 1), "line 1: column by is not known"),
        (GOOD.replace(",1.02m,A", ",1.02,m,A"), "line 2, column after condition: .* 7 cells"),
        (row(date_time="14.3.2026"), "line 2, column date_time: '14.3.2026' is not a date"),
        (row(date_time=""), "line 2, column date_time"),
        (row(what=""), "line 2, column what: what must be one line of text"),
        (row(place=" "), "line 2, column place"),
        (row(value="9,12"), "line 2, column value: .* point"),
        (row(value="nan"), "line 2, column value"),
        (row(value="open"), "line 2, column value: only a resistance can be open, not V"),
        (row(value="9.12 A"), "line 2, column value: .* not the unit V"),
        (row(unit="mV"), "line 2, column unit: unit must be one of"),
        (row(unit=""), "line 2, column unit"),
    ],
)
def test_errors_name_file_line_and_column(tmp_path, text, place):
    with pytest.raises(ValueError, match=place) as refused:
        read(tmp_path, text)
    assert str(refused.value).startswith("readings.csv")


def test_missing_file(tmp_path):
    with pytest.raises(FileNotFoundError):
        readings.read_readings(tmp_path / "none.csv")


LINES = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=12)


@given(
    st.lists(
        st.builds(
            Reading,
            date_time=st.datetimes().map(lambda when: when.isoformat(sep=" ")),
            what=LINES,
            place=LINES,
            value=st.floats(-1e99, 1e99) | st.just(float("nan")),
            unit=st.sampled_from(("V", "A", "lx")),
            condition=st.just("") | LINES,
        )
        | st.builds(
            Reading,
            date_time=st.dates().map(str),
            what=LINES,
            place=LINES,
            value=st.floats(0.0, 1e99) | st.just(float("inf")) | st.just(float("nan")),
            unit=st.just("Ω"),
            condition=LINES,
        ),
        min_size=1,
        max_size=4,
    )
)
def test_what_is_written_reads_back_to_the_same_float(batch):
    with tempfile.TemporaryDirectory() as folder:
        path = readings.write_readings(Path(folder, "a.csv"), readings=batch)
        assert [cells(r) for r in readings.read_readings(path)] == [cells(r) for r in batch]
        assert os.listdir(folder) == ["a.csv"]


def test_a_negative_zero_stays_one(tmp_path):
    path = readings.write_readings(tmp_path / "a.csv", readings=[one(value=-0.0)])
    assert math.copysign(1.0, readings.read_readings(path)[0].value) == -1.0


def test_a_file_that_exists_is_left_as_it_is(tmp_path):
    path = tmp_path / "supply.csv"
    readings.write_readings(path, readings=[one()])
    before = path.read_bytes()
    with pytest.raises(FileExistsError, match=r"supply-2\.csv is free"):
        readings.write_readings(path, readings=[one(value=1.0)])
    (tmp_path / "supply-2.csv").touch()
    with pytest.raises(FileExistsError, match=r"supply-3\.csv is free"):
        readings.write_readings(path, readings=[one(value=1.0)])
    assert path.read_bytes() == before
    assert sorted(os.listdir(tmp_path)) == ["supply-2.csv", "supply.csv"]


def test_the_same_readings_again_change_nothing(tmp_path):
    path = readings.write_readings(tmp_path / "supply.csv", readings=[one()])
    written = path.stat()
    assert readings.write_readings(path, readings=[one()]) == path
    assert path.stat() == written and os.listdir(tmp_path) == ["supply.csv"]


def test_a_name_taken_at_the_last_moment_is_respected(tmp_path, monkeypatch):
    path = tmp_path / "supply.csv"
    fsync = os.fsync

    def slow_disk(handle):
        fsync(handle)
        path.write_text("somebody else's")

    monkeypatch.setattr(os, "fsync", slow_disk)
    with pytest.raises(FileExistsError, match="left as it is"):
        readings.write_readings(path, readings=[one()])
    assert path.read_text() == "somebody else's"
    assert os.listdir(tmp_path) == ["supply.csv"]


def _no_links(source, target):
    raise OSError(errno.EPERM, "no links on this card")


def test_works_where_files_cannot_be_linked(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "link", _no_links)
    path = readings.write_readings(tmp_path / "supply.csv", readings=[one()])
    assert readings.read_readings(path)[0].value == 9.12
    assert os.listdir(tmp_path) == ["supply.csv"]


def test_respects_a_late_name_where_files_cannot_be_linked(tmp_path, monkeypatch):
    path = tmp_path / "supply.csv"

    def late(source, target):
        path.write_text("somebody else's")
        _no_links(source, target)

    monkeypatch.setattr(os, "link", late)
    with pytest.raises(FileExistsError, match="left as it is"):
        readings.write_readings(path, readings=[one()])
    assert path.read_text() == "somebody else's"
    assert os.listdir(tmp_path) == ["supply.csv"]


@pytest.mark.parametrize("step", ["fsync", "link"])
def test_a_failing_disk_leaves_nothing_behind(tmp_path, monkeypatch, step):
    def full(*_):
        raise OSError(errno.ENOSPC, "disk full")

    monkeypatch.setattr(os, step, full)
    with pytest.raises(OSError, match="disk full"):
        readings.write_readings(tmp_path / "supply.csv", readings=[one()])
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize(
    ("batch", "kind", "reason"),
    [
        ([], ValueError, "at least one"),
        (["9.12"], TypeError, r"readings\[0\] must be a Reading"),
        ([one(unit="mV")], ValueError, "unit"),
        ([one(value="9.12")], TypeError, "value"),
        ([one(value=math.inf)], ValueError, "value must be finite"),
        ([one(value=-math.inf, unit="Ω")], ValueError, "value must be one number"),
        ([one(value=[1.0, 2.0])], ValueError, "value must be one number"),
        ([one(value=-1.0, unit="Ω")], ValueError, "negative"),
        ([one(what="")], ValueError, "what"),
        ([one(place="a\nb")], ValueError, "place"),
        ([one(condition="a\0b")], ValueError, "condition"),
        ([one(condition=5)], ValueError, "condition"),
        ([one(date_time="yesterday")], ValueError, "date and time"),
        ([one(date_time=None)], ValueError, "date and time"),
        ([one(), one(what="")], ValueError, "what"),
    ],
)
def test_what_cannot_be_read_back_is_not_written(tmp_path, batch, kind, reason):
    with pytest.raises(kind, match=reason):
        readings.write_readings(tmp_path / "supply.csv", readings=batch)
    assert os.listdir(tmp_path) == []


def test_the_folder_must_exist(tmp_path):
    with pytest.raises(FileNotFoundError):
        readings.write_readings(tmp_path / "nowhere" / "supply.csv", readings=[one()])


def led(value, condition, **other):
    return one(what="LED current", place="coupler 1", value=value, unit="A", condition=condition, **other)


def ldr(value, condition):
    return one(what="LDR resistance", place="coupler 1", value=value, unit="Ω", condition=condition)


STEPS = [led(0.0, "dark"), ldr(math.inf, "dark"), led(1e-3, "up 1"), ldr(2310.0, "up 1"), led(5e-3, "up 2")]
STEPS += [ldr(math.nan, "up 2"), one()]


def test_pairs_are_found_in_any_order():
    for order in itertools.islice(itertools.permutations(STEPS), 0, 5040, 97):
        found = readings.coupler_pairs(order)
        pairs = dict(zip(found.condition, zip(found.current, found.resistance, strict=True), strict=True))
        np.testing.assert_array_equal(pairs["up 1"], (1e-3, 2310.0))
        np.testing.assert_array_equal(pairs["up 2"], (5e-3, math.nan))
        assert len(pairs) == 2
        assert (found.resistance_dark, found.resistance_dark_least) == (math.inf, 0.0)


def test_the_example_at_the_top_of_the_module_is_read(tmp_path):
    lines = [line.strip() for line in readings.__doc__.splitlines() if line.strip().startswith(("date_time,", "2026"))]
    assert len(lines) == 4
    found = readings.coupler_pairs(read(tmp_path, "\n".join(lines) + "\n"))
    np.testing.assert_array_equal((found.current, found.resistance), [[1.02e-3], [2310.0]])
    assert found.resistance_dark == math.inf


def test_a_bound_is_read_and_written_as_one(tmp_path):
    text = f"{HEADER}\n2026-03-14,LDR resistance,coupler 1,>5M,ohm,dark for 10 s\n"
    (dark,) = read(tmp_path, text)
    assert (dark.value, dark.bound) == (5e6, ">")
    (again,) = readings.read_readings(readings.write_readings(tmp_path / "again.csv", readings=[dark]))
    assert (again.value, again.bound) == (5e6, ">")
    found = readings.coupler_pairs([*STEPS[2:4], dark])
    assert math.isnan(found.resistance_dark) and found.resistance_dark_least == 5e6
    bound = dataclasses.replace(ldr(2e6, "up 1"), bound=">")
    with pytest.raises(ValueError, match="condition 'up 1' is only a lower bound"):
        readings.coupler_pairs([led(1e-6, "up 1"), bound])
    twice = dataclasses.replace(dark, condition="dark for a minute", value=8e6)
    assert readings.coupler_pairs([*STEPS[2:4], dark, twice]).resistance_dark_least == 8e6
    both = [dataclasses.replace(one, bound="") for one in (dark, twice)]
    assert readings.coupler_pairs([*STEPS[2:4], *both]).resistance_dark == 6.5e6
    untaken = [
        dataclasses.replace(one, condition=f"dark, {k}", value=float("nan")) for k, one in enumerate((dark, both[0]))
    ]
    found = readings.coupler_pairs([*STEPS[2:4], dark, *both[1:], *untaken])
    assert (found.resistance_dark, found.resistance_dark_least) == (8e6, 5e6)


@pytest.mark.parametrize(
    ("batch", "reason"),
    [
        ([], "no pair"),
        ([one()], "no pair"),
        ([led(1e-3, "up 1")], "LDR resistance is missing at 'coupler 1', condition 'up 1'"),
        ([ldr(1e3, "up 1")], "LED current is missing"),
        ([led(1e-3, "up 1"), ldr(1e3, "up 2")], "missing"),
        ([led(1e-3, "up 1"), led(2e-3, "up 1"), ldr(1e3, "up 1")], "stands there twice"),
        ([led(1e-3, "up 1"), one(what="LDR resistance", place="coupler 1", condition="up 1")], "must be in Ω, got V"),
        (
            [
                *STEPS,
                one(what="LED current", place="coupler 2", unit="A", condition="up 1"),
                one(what="LDR resistance", place="coupler 2", unit="Ω", condition="up 1"),
            ],
            "several couplers",
        ),
    ],
)
def test_pairs_that_are_none_are_refused(batch, reason):
    with pytest.raises(ValueError, match=reason):
        readings.coupler_pairs(batch)
    with pytest.raises(TypeError, match="readings"):
        readings.coupler_pairs(["LED current"])


@pytest.mark.parametrize("text", ["open", "OL", "O.L", "0.L", "OVLD", "ovl", "0L", " O.L "])
def test_what_meters_show_for_open(tmp_path, text):
    (found,) = read(tmp_path, f"{HEADER}\n2026-03-14,LDR resistance,coupler 1,{text},ohm,dark\n")
    assert found.value == math.inf
    with pytest.raises(
        ValueError, match=r"line 2, column value: only a resistance can be open, not V; .* too small: read again"
    ):
        read(tmp_path, f"{HEADER}\n2026-03-14,supply,jack,{text},V,\n")


def test_the_ohm_sign_is_the_ohm(tmp_path):
    (found,) = read(tmp_path, f"{HEADER}\n2026-03-14,gate leak,R3,1M\N{OHM SIGN},\N{OHM SIGN},\n")
    assert (found.value, found.unit) == (1e6, "Ω")
    again = readings.write_readings(tmp_path / "again.csv", readings=[one(unit="\N{OHM SIGN}", value=math.inf)])
    assert readings.read_readings(again)[0].unit == "Ω"


@pytest.mark.parametrize("words", ["=1+1", "+9 V", "-9 V rail", "@home", "'=1+1", "it's", "''-x", "'tis"])
def test_words_that_begin_like_a_formula_are_written_as_text(tmp_path, words):
    path = readings.write_readings(tmp_path / "safe.csv", readings=[one(what=words, place=words, condition=words)])
    cells = path.read_text(encoding="utf-8").splitlines()[1].split(",")
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)
    (found,) = readings.read_readings(path)
    assert (found.what, found.place, found.condition) == (words, words, words)
    minus = readings.write_readings(tmp_path / "minus.csv", readings=[one(value=-0.003)])
    assert ",-0.003," in minus.read_text(encoding="utf-8")  # a number is no formula
