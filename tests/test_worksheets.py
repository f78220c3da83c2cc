"""Both sheets with an edited list: a page comes out, and what it prints is computed with what is fitted."""

from __future__ import annotations

import ast
import csv
import itertools
import json
import re
import shutil

import matplotlib as mpl
import numpy as np
import pytest

from pedalcalc import board, devices, opto
from pedalcalc._result import Result
from pedalcalc.sheet._section import Section
from tests.conftest import ROOT, draw_few
from tests.test_board import coupler_rows, written

BUILDS = ROOT / "notebooks" / "builds"
SHEETS = ("optical-compressor", "jfet-booster")
DRAWN = "count=200"  # units that the compressor's sheet draws
FEW = "count=20"


def code(build):
    """Return the code cells of a sheet, the one to edit first."""
    cells = json.loads((BUILDS / build / f"{build}.ipynb").read_text(encoding="utf-8"))["cells"]
    return ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]


@pytest.fixture(scope="module")
def as_listed(tmp_path_factory):
    """Return both sheets as they stand, few units drawn, run once for all tests that change nothing: their text and their names."""
    with pytest.MonkeyPatch.context() as patch, np.errstate(divide="raise", over="raise", invalid="raise"):
        draw_few(patch)
        return {build: printed(build, tmp_path_factory.mktemp("listed"), patch) for build in SHEETS}


class NotWhole(dict):
    """In place of the whole circuit's sections, where only the build's own tables are asked."""

    cautions, card = (), ""

    def __missing__(self, name):
        return Section("", ())

    @property
    def sections(self):
        return self


def printed(build, folder, monkeypatch, *, fitted=(), given=None, whole=True):
    """Run a sheet's cells on a list with other parts fitted, few units drawn; return all that it shows as text, and its names."""
    if not whole:
        monkeypatch.setattr("pedalcalc.sheet.build_sheet", lambda *_, **__: NotWhole())
    shutil.copytree(BUILDS / build, folder / build)
    listed = folder / build / "parts.csv"
    with listed.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row["fitted"] = dict(fitted).get(row["reference"], row["fitted"])
    with listed.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, fieldnames=list(rows[0]))
        table.writeheader()
        table.writerows(rows)
    monkeypatch.chdir(listed.parent)
    mpl.use("Agg")
    shown: list[str] = []
    names: dict[str, object] = {}
    monkeypatch.setattr("IPython.display.display", lambda *things, **_: shown.extend(map(str, things)))
    for number, cell in enumerate(code(build)):
        if not whole and "\nexplore." in f"\n{cell}":
            continue
        tree = ast.parse(cell.replace(DRAWN, FEW if whole else "count=2"))
        last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
        exec(compile(tree, build, "exec"), names)  # noqa: S102 (the sheet's own cells)
        if number == 0:
            names |= given or {}
        if last is not None:
            found = eval(compile(ast.Expression(last.value), build, "eval"), names)  # type: ignore[attr-defined]
            shown.append(str(found))
    return "\n".join(shown), names


@pytest.mark.usefixtures("few_units")
@pytest.mark.parametrize(
    ("build", "fitted", "told"),
    [
        ("jfet-booster", {"R5": "2k2", "R7": "1k5", "C2": "4u7"}, ["fitted 2k2", "fitted 1k5", "fitted 4u7", "168 % above"]),
        ("jfet-booster", {"R4": "22k"}, ["turns ohmic"]),
        ("jfet-booster", {"Q1": "J201", "Q2": "2N5088"}, ["readings of a 2N5457, fitted is J201", "not measured: any J201"]),
    ],
)  # fmt: skip
def test_a_drawer_part_gives_a_page_that_says_so(build, fitted, told, tmp_path, monkeypatch):
    text, _ = printed(build, tmp_path, monkeypatch, fitted=fitted)
    for words in told:
        assert words in text


@pytest.mark.filterwarnings("ignore::pedalcalc._result.ModelRangeWarning")
@pytest.mark.parametrize(
    ("build", "fitted", "told"),
    [
        ("optical-compressor", {"R1": "1k"}, ["R1 drops nearly all the supply", "the rails are below what IC2 (TL072) needs"]),
        ("optical-compressor", {"R1": "10M"}, ["R1 (10M) lets so little through", "R1 drops nearly all the supply"]),
        ("optical-compressor", {"R2": "10M"}, ["R2 drops nearly all the supply", "makes next to no compression"]),
        ("optical-compressor", {"C6": "1p", "C7": "1p"}, ["the pump delivers less than two thirds of what it should", "8.20 V"]),
        ("optical-compressor", {"R7": "0R"}, ["R7 (0R) is a link where the circuit needs a resistor, the arm", "next to no compression"]),
        ("optical-compressor", {"R16": "1R"}, ["IC4 gives the lamp of U1 no more than its own current limit", "15.0 mA"]),
        ("optical-compressor", {"R17": "0R", "R9": "0R", "R4": "0R"}, ["R17 (0R) is a link", "R9 (0R)", "R4 (0R)", "clips first"]),
        ("optical-compressor", {"D1": "BZX55C5V1", "D3": "BZX55C5V1", "D4": "BZX55C5V1"}, [
            "D3 (BZX55C5V1) stands more backwards than it blocks", "D4 (BZX55C5V1) stands", "a reversed supply",
        ]),
        ("jfet-booster", {"R3": "0R"}, ["R3 (0R) is a link"]),
        ("jfet-booster", {"R4": "0R", "R6": "0R"}, ["R4 (0R) is a link", "R6 (0R) is a link"]),
        ("jfet-booster", {"R4": "10G", "R5": "0R"}, ["R5 (0R) is a link", "Q2 does not conduct"]),
    ],
)  # fmt: skip
def test_no_value_costs_the_page(build, fitted, told, tmp_path, monkeypatch):
    text, _ = printed(build, tmp_path, monkeypatch, fitted=fitted, whole=False)
    for words in told:
        assert words in text
    assert not re.search(r"\bnan\b", text)


@pytest.mark.parametrize(
    ("build", "fitted", "reason"),
    [
        ("jfet-booster", {"Q2": "BC557C"}, "Q2: 'BC557C' is of the other polarity (pnp)"),
        ("jfet-booster", {"Q1": "2N7000"}, "Q1: '2N7000' is no JFET"),
        ("optical-compressor", {"IC1": "TL072"}, "IC1: 'TL072' is no charge-pump converter"),
        ("optical-compressor", {"IC2": "TL071"}, "IC2: 'TL071' is no dual op-amp"),
    ],
)
def test_a_part_of_another_kind_costs_what_is_special_alone(build, fitted, reason, tmp_path, monkeypatch):
    text, names = printed(build, tmp_path, monkeypatch, fitted=fitted, whole=False)
    assert f"because of parts.csv, line {line_of(build, *fitted)}, {reason}" in text.split("Take care")[0]
    assert f"Not computed: parts.csv, line {line_of(build, *fitted)}, {reason}" in text.split("Take care")[1]
    lines = text.splitlines()
    assert not any(one == after and one.startswith("Not computed") for one, after in itertools.pairwise(lines))
    assert "sketch of the stage" in text and not names["built"]
    assert not isinstance(names["built"], Result)  # a notebook would make a table of it


def test_a_supply_that_lights_no_lamp_costs_the_lamp_s_resistor_alone(tmp_path, monkeypatch):
    given = {"supply_from": ("0.5V", "1V", "1V")}
    text, names = printed("jfet-booster", tmp_path, monkeypatch, given=given, whole=False)
    assert "Not computed: voltage_supply must be above 1.78 V, the drop of 1 red LED" in text and names["built"]


def line_of(build, reference):
    """Return the line of a part in a build's list."""
    lines = (BUILDS / build / "parts.csv").read_text(encoding="utf-8").splitlines()
    return next(k for k, line in enumerate(lines, 1) if line.startswith(f"{reference},"))


@pytest.mark.usefixtures("few_units")
def test_another_op_amp_and_slower_diodes_reach_every_number(tmp_path, monkeypatch):
    """And so do a converter that whistles and drawer values."""
    diodes = dict.fromkeys(("D1", "D2", "D3"), "1N4148")
    drawer = {"R17": "10k", "C1": "4n7", "R7": "100k", "R16": "10k"}
    fitted = {"IC1": "7660", "IC2": "NE5532", "D6": "blue LED", "VR3": "1M linear", **diodes, **drawer}
    text, names = printed("optical-compressor", tmp_path, monkeypatch, fitted=fitted)
    for words in (
        *("fitted blue LED", "fitted 1M linear", "fitted 7660", "the pump's tone lies in the audio band"),
        *("R17, indicator", "listed 4k7, fitted 10k: 113 % more", "% above", "fitted 4n7", "fitted 100k"),
        "listed 2k2, fitted 10k",
    ):
        assert words in text
    plain = board.assemble(BUILDS / "optical-compressor" / "parts.csv", supply=(8.55, 9.0, 9.45))
    own = board.doubled_supply(board.changed(plain, **fitted), roles=board.OPTICAL_ROLES)
    rail = float(own.budget.voltage_positive[1])
    assert 13.0 < rail < 14.0
    assert re.search(rf"op-amp rail .* {rail:.1f} V", text)
    # the whole circuit has exponential diodes in its pump, the closed form straight ones: tenths of a volt at most
    read = re.search(r"^rail +IC2 pin 8 +([\d.]+)", text, flags=re.MULTILINE)
    assert read and float(read[1]) == pytest.approx(rail, abs=0.3)
    assert "IC2, NE5532" in text
    assert names["fed"].budget.voltage_positive[1] == pytest.approx(rail, rel=1e-9)


def test_what_is_on_the_list_is_printed_and_all_is_as_wanted(as_listed):
    """The demo lists are what the design wants, and give no caution but that of the op-amp's input range."""
    for build in SHEETS:
        _, names = as_listed[build]
        rows = names["design"].design_parts if build == SHEETS[0] else names["built"].design_parts
        assert {row.reason for row in rows} == {"as wanted"}
        assert all("input out of range" in caution.what for caution in names["built"].cautions)


@pytest.mark.usefixtures("few_units")
def test_a_measured_and_timed_coupler_leaves_nothing_unmeasured_and_knobs_move_the_circuit(tmp_path, monkeypatch):
    truth = devices.typical(devices.COUPLER_GREEN_GAP_GL5528)
    lit, passed = (float(opto.coupler_point(2e-3, coupler=truth).resistance_cell) for _ in range(2))
    path = written(tmp_path / "u1.csv", [
        *coupler_rows(truth, amps=np.geomspace(3e-5, 5e-3, 7)), ("LDR resistance", "coupler 1", "4.2M", "Ω", "dark for 10 s"),
        ("LDR fall time", "coupler 1", "60m", "s", f"2 mA off, to {10 * passed:.0f}"),
        ("LDR rise time", "coupler 1", "6m", "s", f"2 mA on, to {1.5 * lit:.0f}"),
    ])  # fmt: skip
    given = {"own_readings": {"U1": path}, "knobs": {"VR1": 0.5, "VR2": 0.0, "VR3": 1.0}}
    text, names = printed("optical-compressor", tmp_path, monkeypatch, given=given)
    assert "your own, measured" in text and "as you timed it" in text
    for word in ("not measured", "not timed", "of its class"):
        assert word not in text
    # The band is the fit's own, a few percent, and not the factor of light of a class.
    band = names["built"].band
    assert np.max(band.resistance_high / band.resistance_low) < 1.5
    circuit = names["built"].compressor
    assert circuit.resistance_attack == 2.7e3 and circuit.resistance_release == 1.1e6
    # Half of a linear track: 6 dB less side-chain gain.
    assert circuit.gain_sidechain == pytest.approx((1 + 68 / 10) / 2)


def test_dynamics_stand_as_ranges_with_the_number_of_boards(as_listed):
    text, names = as_listed["optical-compressor"]
    (band,) = names["built"].dynamics
    for words in (band.text_threshold, band.text_threshold_1db, band.text_ratio, band.text_attack, band.text_release):
        assert words in text
    assert re.fullmatch(r"[0-9]+ to [0-9]+\sms", band.text_attack)
    assert (band.count, band.count_timed) == (20, 4)
    assert "gives" in names["design"].targets[2].reason and "range" in names["design"].targets[2].reason


@pytest.mark.usefixtures("few_units")
def test_a_measured_jfet_leaves_nothing_unmeasured(as_listed, tmp_path, monkeypatch):
    text, _ = as_listed["jfet-booster"]
    assert "measured, q1.csv" in text and "not measured" not in text
    text, _ = printed("jfet-booster", tmp_path, monkeypatch, given={"own_readings": {}})
    assert "not measured: any 2N5457" in text


def test_both_sheets_are_short_and_hold_no_part():
    cells = [cell for build in SHEETS for cell in code(build)]
    assert sum(len(cell.splitlines()) for cell in cells) <= 200
    for build in SHEETS:
        for cell in code(build)[1:-1]:
            assert not re.search(r"\bdevices\b|OPAMP_|DIODE_|LED_|JFET_|BJT_|CONVERTER_|BATTERY_", cell), cell
            assert not re.search(r"""["'][0-9]+[kRMnup][0-9]*["']|[0-9]e-?[0-9]""", cell), cell
