"""Lessons with other values in the first cell: a slip is told by its name, a drawer is used, readings travel on."""

from __future__ import annotations

import ast
import re
from types import SimpleNamespace

import matplotlib as mpl
import nbformat
import numpy as np
import pytest

from pedalcalc import devices, readings
from pedalcalc.report._errors import _named
from tests.conftest import ROOT


def lesson(name, monkeypatch, folder, *, given, until=None):
    """Run a lesson's cells in this process up to and with cell `until`; return what it shows as text, and its names."""
    book = nbformat.read(ROOT / "notebooks" / f"{name}.ipynb", as_version=4)
    if not (folder / "builds").exists():
        (folder / "builds").symlink_to(ROOT / "notebooks" / "builds")  # some read the list of a build
    monkeypatch.chdir(folder)
    mpl.use("Agg")
    monkeypatch.setattr("IPython.display.display", lambda *_, **__: None)
    shown: list[str] = []
    names: dict[str, object] = {}
    for cell in (cell for cell in book.cells if cell.cell_type == "code"):
        tree = ast.parse(cell.source)
        last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
        try:
            exec(compile(tree, name, "exec"), names)  # noqa: S102 (the lesson's own cells)
            if last is not None:
                shown.append(str(eval(compile(ast.Expression(last.value), name, "eval"), names)))
        except (ValueError, TypeError) as error:
            error.args = (_named(str(error), names),)
            raise
        if "parameters" in cell.metadata.get("tags", []):
            assert given.keys() <= names.keys(), "a parameter has another name"
            names |= given
        if cell.id == until:
            break
    return "\n".join(shown), names


@pytest.mark.parametrize(
    ("name", "slip", "told"),
    [
        ("start-here", {"resistor": "22kk"}, r"^resistor = '22kk': text '22kk' is not a value: two letters"),
        ("indicator-led", {"current_wanted": "1 V"}, r"^current_wanted = '1 V': text '1 V' is not a value"),
        ("indicator-led", {"readings": [("7.47V", "47,1k", "1.608V")]}, r"^in readings: text '47,1k' is not a value"),
        ("supply-and-battery", {"end_voltage": "7 W"}, r"^end_voltage = '7 W': text '7 W' is not a value"),
        ("charge-pump", {"flying": "12"}, r"^flying = '12': text '12' is not a value: a bare whole number"),
        ("bias-points", {"divider_top": "68 kk"}, r"^divider_top = '68 kk': text '68 kk' is not a value"),
        ("side-chain-time-constants", {"rectifier": "both"}, r"^rectifier must be one of full, half, got 'both'$"),
        ("side-chain-time-constants", {"peak": "-2 V"}, r"^peak = '-2 V': voltage_peak must be .*, got -2 V$"),
        ("led-ldr-coupler", {"resistance_dark": "4.2Z"}, r"^resistance_dark = '4.2Z': text '4.2Z' is not a value"),
        ("bias-points", {"gain_wanted": 0.5}, r"^gain_wanted = 0.5: gain_signed must be .*, got 0.5"),
        (
            "bias-points",
            {"stock": ["1k", "10k"]},
            r"^gain_signed must be within reach of the resistors in stock, got 5, nearest 2$",
        ),
        (
            "supply-and-battery",
            {"hum_wanted": "1 uV"},
            r"^hum_wanted = '1 uV': voltage_ripple_wanted must be within reach",
        ),
        ("attack-and-release", {"capacitance_hold": "1uu"}, r"^capacitance_hold = '1uu': text '1uu' is not a value"),
    ],
)
def test_a_slip_in_the_first_cell_is_told_by_the_name_there(name, slip, told, tmp_path, monkeypatch):
    with pytest.raises(ValueError, match=told):
        lesson(name, monkeypatch, tmp_path, given=slip)


@pytest.mark.parametrize(
    ("name", "slip", "told", "until"),
    [
        ("indicator-led", {"readings": ["1mA 2.9V"]}, r"^readings must be .* in brackets, got '1mA 2.9V'$", "fit"),
        ("indicator-led", {"readings": ("1mA", "2.9V")}, r"^readings must be .* got '1mA'$", "fit"),
        (
            "indicator-led",
            {"readings": [("7.47V", "0", "1.608V")]},
            r"^readings must be .* got \('7.47V', '0', '1.608V'\)$",
            "fit",
        ),
        ("indicator-led", {"lamps_in_series": 1.5}, r"^lamps_in_series must be a whole number .* got 1.5$", "rule"),
        ("led-ldr-coupler", {"readings": [("20 µA 9.16k",)]}, r"^readings must be .*, got \('20 µA 9.16k',\)$", "fit"),
        ("led-ldr-coupler", {"readings": []}, r"^readings must be two at least, .* got 0$", "fit"),
        (
            "bias-points",
            {"supplies": ["9V"]},
            r"^supplies must be three, lowest, usual, highest, got \['9V'\]$",
            "read",
        ),
        ("bias-points", {"supplies": ["9V", "7V", "9.6V"]}, r"^supplies must be three, lowest, usual, highest", "read"),
        ("bias-points", {"jfet_readings": ["0.531V 470"]}, r"^jfet_readings must be .* got '0.531V 470'$", "jfet-fit"),
        ("side-chain-time-constants", {"release_knob": 12}, r"^release_knob must be from 0 to 10, got 12$", "read"),
        (
            "supply-and-battery",
            {"meter": "0"},
            r"bias_resistors and meter must be above 0, got .* '1M' and '0'$",
            "read",
        ),
        (
            "supply-and-battery",
            {"end_voltage": "10 V"},
            r"^end_voltage must be .* below the 9 V .* got '10 V'$",
            "lamp",
        ),
        ("attack-and-release", {"threshold_dbv": -5.0}, r"^threshold_dbv must be .* got -5 and -10$", None),
        (
            "parts-from-the-drawer",
            {"corner_wanted": "80k"},
            r"^corner_wanted must be within reach of the drawer, got '80k'$",
            "corner-exact",
        ),
        (
            "parts-from-the-drawer",
            {"reference_resistor": "0"},
            r"^reference_capacitor and .* got '47u' and '0'$",
            "read",
        ),
        ("charge-pump", {"meter": "0"}, r"^meter must be above 0, got '0'$", "read"),
        (
            "led-ldr-coupler",
            {"fall_readings": [("100", "47 ms")]},
            r"^fall_readings must be above the .* that the lit cell has, got \('100', '47 ms'\)$",
            "fit-timing",
        ),
        ("side-chain-time-constants", {"release_knob": "7"}, r"^release_knob must be from 0 to 10, got '7'$", "read"),
        ("attack-and-release", {"level_low_dbv": "-30"}, r"^levels must be numbers .* quote marks", "own-coupler"),
        ("measure-your-own", {"level_high_dbv": "-10"}, r"^levels must be numbers .* quote marks", "build"),
        ("measure-your-own", {"threshold_dbv": -5.0}, r"^threshold_dbv must be .* got -5.0 and -10.0$", "asked"),
    ],
)
def test_a_slip_that_no_function_sees_is_told_in_one_line_too(name, slip, told, until, tmp_path, monkeypatch):
    """What Python itself would trip over, or nobody: an order, a count, a pair without its comma."""
    with pytest.raises(AssertionError, match=told):
        lesson(name, monkeypatch, tmp_path, given=slip, until=until)


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("indicator-led", {"stock": ["1k", "4.7k", "10k"]}),
        ("indicator-led", {"readings": []}),
        ("bias-points", {"source": "0"}),
        ("bias-points", {"stock": ["1k", "2.2k", "10k", "39k", "100k"]}),
        (
            "side-chain-time-constants",
            {"stock_resistors": ["10k", "27k", "220k", "1M"], "stock_capacitors": ["100n", "220n", "1u"]},
        ),
        ("supply-and-battery", {"stock_resistors": ["47", "100"], "stock_capacitors": ["470u"]}),
        ("led-ldr-coupler", {"fall_readings": [], "resistance_dark": ""}),
    ],
)
def test_a_lesson_runs_to_its_end_with_what_its_first_cell_proposes(name, given, tmp_path, monkeypatch):
    lesson(name, monkeypatch, tmp_path, given=given)


DRAWER = ["470", "1k", "1.5k", "2.2k", "3.3k", "4.7k", "6.8k", "10k", "22k", "47k", "100k", "220k", "470k", "1M"]


def test_a_lesson_takes_its_parts_from_the_drawer(tmp_path, monkeypatch):
    drawer = np.array([470, 1e3, 1.5e3, 2.2e3, 3.3e3, 4.7e3, 6.8e3, 10e3, 22e3, 47e3, 100e3, 220e3, 470e3, 1e6])
    _, led = lesson("indicator-led", monkeypatch, tmp_path, given={"stock": DRAWER}, until="choice")
    assert all(option.resistance in drawer for option in led["choice"].stock_options)
    _, bias = lesson("bias-points", monkeypatch, tmp_path, given={"stock": DRAWER}, until="sizing-simple")
    assert {bias["r_s"], bias["r_single"], bias["r_back"]} <= set(drawer)
    given = {"stock_resistors": DRAWER, "stock_capacitors": ["220n", "1u"]}
    _, chain = lesson("side-chain-time-constants", monkeypatch, tmp_path, given=given, until="stock")
    found = chain["found"]
    assert {*found.resistance_attack, *found.resistance_release} <= set(drawer)
    assert set(found.capacitance_hold) <= {220e-9, 1e-6}
    given = {"stock_resistors": ["47", "100"], "stock_capacitors": ["100u", "470u"]}
    _, supply = lesson("supply-and-battery", monkeypatch, tmp_path, given=given, until="filter-choose")
    assert set(np.atleast_1d(supply["choice"].resistance_series)) <= {47.0, 100.0}


def test_the_lamp_of_one_lesson_is_named_in_the_next(tmp_path, monkeypatch):
    kept = str(tmp_path / "lamp.csv")
    _, first = lesson("indicator-led", monkeypatch, tmp_path, given={"save_as": kept}, until="keep")
    assert {row.what for row in readings.read_readings(kept)} == {"LED current", "LED voltage"}
    given = {"indicator": devices.LED_RED_ALINGAP, "indicator_readings": kept}
    _, then = lesson("supply-and-battery", monkeypatch, tmp_path, given=given, until="lamp")
    assert then["lamp"].ideality == pytest.approx(first["lamp"].ideality, rel=1e-9)
    shown, _ = lesson(
        "supply-and-battery", monkeypatch, tmp_path, given={**given, "indicator": devices.LED_BLUE}, until="lamp"
    )
    assert "Readings do not suit" in shown, "red readings for a blue lamp"


def test_the_coupler_of_one_lesson_is_named_in_the_next(tmp_path, monkeypatch):
    kept = str(tmp_path / "coupler.csv")
    for number, dark in enumerate(("4.2M", "open", ">5M", "")):
        given = {"save_as": f"{kept}.{number}", "resistance_dark": dark}
        _, first = lesson("led-ldr-coupler", monkeypatch, tmp_path, given=given, until="keep")
        _, then = lesson(
            "attack-and-release",
            monkeypatch,
            tmp_path,
            given={"coupler_readings": given["save_as"]},
            until="own-coupler",
        )
        pairs = readings.coupler_pairs(readings.read_readings(given["save_as"]))
        assert np.allclose(pairs.current, first["led_currents"]) and np.allclose(
            pairs.resistance, first["cell_resistances"]
        )
        assert pairs.resistance_dark == pytest.approx(
            first["known"] if dark in ("", "open", ">5M") else 4.2e6, nan_ok=True
        )
        assert pairs.resistance_dark_least == (5e6 if dark == ">5M" else 0.0)
        assert then["built"].coupler.name.endswith("fitted, timed")
        assert then["timed"], "the two falls of the lesson are read too"
        _, model = lesson(
            "measure-your-own", monkeypatch, tmp_path, given={"coupler_readings": given["save_as"]}, until="asked"
        )
        assert model["fitted"].result.slope == pytest.approx(then["own"].result.slope)
        assert model["built"].gain_sidechain == pytest.approx(then["built"].gain_sidechain)


def test_a_demonstration_on_a_slow_cell_is_no_fault_of_the_builder():
    """With the cell's own fall nearly all of the release, a hold capacitor of 1.3 times adds next to nothing to it."""
    cells = nbformat.read(ROOT / "notebooks/measure-your-own.ipynb", as_version=4).cells
    (check,) = [one for one in ast.walk(ast.parse(cells[-1].source)) if isinstance(one, ast.If)]

    def holds(longer):
        taken, model = ([SimpleNamespace(time_release=each)] * 3 for each in (0.2 * longer, 0.2))
        names = {"my_recording": "", "found": SimpleNamespace(timings=taken), "computed": model}
        exec(compile(ast.Module([check], []), "measure-your-own", "exec"), names)  # noqa: S102 (the lesson's own cell)

    holds(1.02)
    with pytest.raises(AssertionError, match="the larger capacitor"):
        holds(0.9)


def test_the_jfet_of_one_lesson_is_named_in_a_sheet(tmp_path, monkeypatch):
    from tests.test_worksheets import printed

    kept = tmp_path / "jfet.csv"
    _, first = lesson("bias-points", monkeypatch, tmp_path, given={"save_as": str(kept)}, until="keep")
    text, names = printed("jfet-booster", tmp_path, monkeypatch, given={"own_readings": {"Q1": str(kept)}})
    assert "measured, jfet.csv" in text
    own = names["build"].device("Q1")
    assert own.current_drain_zero_bias == pytest.approx(first["mine"].current_drain_zero_bias, rel=1e-6)


def test_two_readings_of_current_and_voltage_are_fitted_without_a_miss(tmp_path, monkeypatch):
    given = {"led_class": devices.LED_BLUE, "readings": [("1mA", "2.9V"), ("5mA", "3.1V")]}
    shown, names = lesson("indicator-led", monkeypatch, tmp_path, given=given, until="fit")
    assert names["fitted"].voltage_residual == 0 and "0 V" in shown
    shown, names = lesson("indicator-led", monkeypatch, tmp_path, given={**given, "led_class": devices.LED_RED_GAASP})
    assert "Readings do not suit" in shown


def test_asked_and_got_stand_together(tmp_path, monkeypatch):
    shown, _ = lesson("side-chain-time-constants", monkeypatch, tmp_path, given={}, until="stock-table")
    assert "Asked: attack 10 ms, release 200 ms. To be had" in shown and "off by" in shown
    misses = re.findall(r"[−+]?[\d.]+ %", shown.rpartition("off by")[2])
    assert misses and all("." not in miss for miss in misses), "whole percent, as near as parts are"
    until = "report-table-features-columns-th"
    shown, names = lesson("attack-and-release", monkeypatch, tmp_path, given={"threshold_dbv": -20.0}, until=until)
    assert "Read off the curve; threshold asked for: −20.0 dBV" in shown
    assert abs(names["features"].threshold_dbv + 20.0) < 3.0


def test_a_pot_is_entered_once_with_its_stop(tmp_path, monkeypatch):
    for stop, pot, knob, whole in (("100k", "1M", 10, 1.1e6), ("100k", "1M", 0, 100e3), ("470k", "0", 5, 470e3)):
        given = {"release_stop": stop, "release_pot": pot, "release_knob": knob}
        _, names = lesson("side-chain-time-constants", monkeypatch, tmp_path, given=given, until="control")
        assert names["parts"]["resistance_release"] == pytest.approx(whole)
        assert names["releases"]["linear"][0] == pytest.approx(names["stop"] * names["farads"])


def test_a_panel_says_what_the_table_and_the_picture_above_it_say(monkeypatch, tmp_path):
    """One circuit, one step, one curve: release and knee read alike, wherever they stand."""
    _, names = lesson("attack-and-release", monkeypatch, tmp_path, given={"my_wav": ""})
    panel = str(names["turned"].shown.value).replace("\N{NO-BREAK SPACE}", " ")
    assert f"release {1e3 * names['timing'].time_release:.0f} ms" in panel
    curve = str(names["explore"].static_curve(names["built"]).shown.value).replace("\N{NO-BREAK SPACE}", " ")
    assert f"knee {names['features'].knee_db:.1f} dB" in curve
