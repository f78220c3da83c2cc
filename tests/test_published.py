"""Every row of reference/published/*.csv against the function it names."""

from __future__ import annotations

import dataclasses
import importlib
import json
from decimal import Decimal

import numpy as np
import pytest

from tests.conftest import REFERENCE, read_rows
from tests.test_contract import FUNCTIONS

TABLES = sorted(
    path
    for path in (REFERENCE / "published").glob("*.csv")
    if path.stem not in {"left-out", "without-rows", "circuits"}
)
ROWS = [row for table in TABLES for row in read_rows(table)]
CIRCUITS = read_rows(REFERENCE / "published" / "circuits.csv")  # judged in tests/test_published_circuits.py
JUDGED = ROWS + [row for row in CIRCUITS if row["printed"]]  # one for each figure, also where both ways judge it
# What a circuit's question is put to.
ASKS = {
    "voltage": "circuit.operating_point",
    "current": "circuit.operating_point",
    "impedance": "circuit.impedance",
    "corner": "circuit.corners",
    "volts after": "circuit.waveform",
    **dict.fromkeys(("gain", "gain_signed", "gain_db", "phase"), "circuit.response"),
}
SOURCES = {row["key"]: row for row in read_rows(REFERENCE / "sources.csv")}
KINDS = {"printed", "hand-rounded", "datasheet", "companion", "memory"}


def _argument(value):
    """Turn "devices.NAME", or {"devices.NAME": {field: value}}, into the typical part of that name; leave the rest.

    {"room.Class": {field: value}} becomes a result of that class, its other fields NaN; lists are taken one by one.
    """
    if isinstance(value, list):
        return [_argument(each) for each in value]
    if isinstance(value, str) and value.startswith("devices."):
        devices = importlib.import_module("pedalcalc.devices")
        return devices.typical(getattr(devices, value.removeprefix("devices.")))
    if isinstance(value, dict):
        ((name, figures),) = value.items()
        if not name.startswith("devices."):
            room, kind = name.split(".")
            made = getattr(importlib.import_module(f"pedalcalc.{room}"), kind)
            return made(**({field.name: float("nan") for field in dataclasses.fields(made)} | figures))
        return dataclasses.replace(_argument(name), **figures)
    return value


def _allowed_error(row: dict[str, str]) -> float:
    """Half a unit in the last printed digit, or the row's own relative tolerance."""
    printed = Decimal(row["printed"])
    if row["kind"] in {"printed", "datasheet"}:
        assert not row["tol"], "a printed figure has no tolerance to choose"
    if not row["tol"] and row["kind"] != "hand-rounded":
        return 0.5 * 10.0 ** int(printed.as_tuple().exponent) * (1 + 1e-9)
    assert row["tol"] and row["note"], "a tolerance needs its reason"
    return abs(float(printed)) * float(row["tol"])


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_published_value(row):
    assert row["kind"] in KINDS
    assert row["source"] in SOURCES
    assert row["where"]
    module, name = row["function"].rsplit(".", 1)
    function = getattr(importlib.import_module(f"pedalcalc.{module}"), name)
    result = function(**{key: _argument(value) for key, value in json.loads(row["inputs"]).items()})
    value = getattr(result, row["field"]) if row["field"] else result
    if isinstance(value, str):
        assert value == row["printed"]
        return
    assert np.ndim(value) == 0
    assert abs(float(value) - float(row["printed"])) <= _allowed_error(row)


def test_kinds_follow_the_source():
    """What was read only in a companion, or cannot be traced any more, is not called printed."""
    for row in JUDGED:
        note = SOURCES[row["source"]]["note"]
        assert (row["kind"] == "companion") == ("open companion" in note), row["id"]
        assert (row["kind"] == "memory") == (row["source"] == "MEMORY" or note.startswith("from memory")), row["id"]
        assert row["source"] not in {"DERIVED", "PRACTICE"}, f"{row['id']}: our own derivation is a test, not a row"


def test_ids_are_unique():
    ids = [row["id"] for row in JUDGED]
    ids += [row["id"] for row in read_rows(REFERENCE / "published" / "left-out.csv")]
    assert len(ids) == len(set(ids))


def test_what_is_left_out_says_why():
    for row in read_rows(REFERENCE / "published" / "left-out.csv"):
        assert row["reason"], row["id"]


def test_every_function_has_a_published_row_or_a_reason_for_having_none():
    public = {f"{room}.{name}" for room, name, _ in (param.values for param in FUNCTIONS)}
    with_rows = {row["function"] for row in ROWS} | {ASKS[next(iter(json.loads(row["asked"])))] for row in CIRCUITS}
    reasons = {row["function"]: row["reason"] for row in read_rows(REFERENCE / "published" / "without-rows.csv")}
    assert public - with_rows - set(reasons) == set(), "give it a row, or say in without-rows.csv why it has none"
    assert set(reasons) - public == set(), "no such function"
    assert set(reasons) & with_rows == set(), "it has rows now"
    assert all(reasons.values())
