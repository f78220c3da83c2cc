"""Tables, boxes and formulas."""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from pedalcalc import devices, report
from pedalcalc._number_text import number_text
from pedalcalc._result import Caution, Result, quantity
from pedalcalc._screen_text import build_name, html_text, markdown_text, page_together, plain_text
from pedalcalc.devices import Spread

CALLS = {
    "cautions": {},
    "formula": {"text": "f_c = 1/(2*pi*R*C)"},
    "reading": {"value": 4700.0, "unit": "Ω", "spread": 235.0},
    "safety": {},
    "table": {"results": [{"part": "R1", "power": 0.0123}], "units": {"power": "W"}, "digits": 3},
}

NAN = float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class Point(Result):
    current: object = quantity("A", "LED current")
    resistance: object = quantity("Ω", "series resistor")
    conducts: object = quantity("bool", "lit")
    cautions: object = quantity("cautions", "cautions")


@dataclass(frozen=True, slots=True, eq=False)
class Sheet(Result):
    recommended: object = quantity("records", "recommended")
    options: object = quantity("records", "stock values")
    level: object = quantity("dBV", "level")


HOT = Caution("LED above its rating", "use a larger resistor", 0.031, 0.02, "A")
POINT = Point(0.00321, 2200.0, True, ())
TWO = Point(np.array([0.001, NAN]), np.array([4700.0, np.inf]), np.array([True, False]), (HOT,))


def lines_of(thing):
    return [line.rstrip() for line in str(thing).splitlines()]


def test_single_values_become_lines():
    assert lines_of(report.table(POINT)) == [
        "LED current      3.21 mA",
        "series resistor  2.20 kΩ",
        "lit                  yes",
    ]


def test_arrays_become_rows_and_say_what_was_not_measured():
    assert lines_of(report.table(TWO, labels=["a", "b"]))[:4] == [
        "    LED current  series resistor  lit",
        "-  ------------  ---------------  ---",
        "a       1.00 mA          4.70 kΩ  yes",
        "b  not measured             open  no",
    ]


def test_a_list_becomes_one_row_each_and_keys_are_labels():
    shown = report.table({"green": POINT, "blue": POINT}, columns={"current": "current"})
    assert lines_of(shown)[2:] == ["green  3.21 mA", "blue   3.21 mA"]


def test_columns_are_chosen_renamed_and_ordered():
    shown = report.table([POINT], columns=["resistance", "current"])
    assert shown.blocks[0].head == ("series resistor", "LED current")
    with pytest.raises(
        ValueError, match="columns: 'volts' is not a field here; there are current, resistance, conducts"
    ):
        report.table([POINT], columns=["volts"])


def test_results_inside_are_reached_by_dots_and_lists_become_tables():
    sheet = Sheet(POINT, (POINT, POINT), -30.04)
    shown = report.table(sheet)
    assert [block.title for block in shown.blocks] == ["", "stock values"]
    assert "recommended: LED current" in str(shown) and "−30.0 dBV" in str(shown)
    assert report.table([sheet], columns=["recommended.current"]).blocks[0].rows == (("3.21 mA",),)


def test_records_and_their_spreads():
    shown = str(report.table(devices.LDR_GL5528))
    assert "GL5528" in shown and " to " in shown
    half = dataclasses.replace(devices.LDR_GL5528, resistance_10lx=Spread(NAN, 10e3, 20e3))
    assert "10.0 kΩ (? to 20.0 kΩ)" in str(report.table(half))


def test_wide_tables_stand_upright():
    wide = [{f"column {k}": k for k in range(12)} for _ in range(2)]
    block = report.table(wide, labels=["a", "b"]).blocks[0]
    assert block.head == ("", "a", "b") and len(block.rows) == 12


def test_long_arrays_show_their_ends_and_count():
    long = Point(np.arange(1000.0), np.arange(1000.0), np.ones(1000, bool), ())
    block = report.table(long).blocks[0]
    assert block.title.startswith("1000 rows") and len(block.rows) == 24
    assert block.rows[0][0] == "0 A" and block.rows[-1][0] == "999 A"


def test_unmeasured_times_are_written_as_ranges():
    shown = report.table([{"attack": 0.0137}], units={"attack": "s"}, spread_factors={"attack": 2.0})
    assert shown.blocks[0].rows == (("6.9 to 27 ms",),)


def test_blank_columns_leave_room_to_write():
    html = report.table([{"point": "TP1"}], blanks=["read"])._repr_html_()
    assert ">read</th>" in html and html.count("></td>") == 1


def test_cautions_of_a_result_stand_under_its_table():
    assert "LED above its rating" in str(report.table(TWO)) and 'role="note"' in report.table(TWO)._repr_html_()


def test_table_escapes_what_it_is_given():
    shown = report.table([{"<b>": "<script>|x"}])
    assert "<script>" not in shown._repr_html_() and "\\|x" in shown._repr_markdown_()


@pytest.mark.parametrize(
    ("arguments", "error", "words"),
    [
        ({"results": 3.0}, TypeError, "results must be a result"),
        ({"results": [3.0]}, TypeError, "results must be results"),
        ({"results": []}, ValueError, "at least one result"),
        ({"results": [POINT], "labels": ["a", "b"]}, ValueError, "labels must be 1"),
        ({"results": [POINT], "digits": 2.5}, ValueError, "digits must be one whole number"),
    ],
)
def test_table_refuses(arguments, error, words):
    with pytest.raises(error, match=words):
        report.table(**arguments)


@pytest.mark.parametrize(
    ("value", "unit", "written"),
    [
        (-30.04, "dBV", "−30.0 dBV"),
        (-0.04, "dB", "0.0 dB"),
        (-np.inf, "dBV", "-∞ dBV"),
        (np.inf, "s", "never"),
        (3.27, "1", "3.27"),
        (0.0, "V", "0 V"),
        (-0.0021, "V", "−2.10 mV"),
        (320.0, "lx", "320 lx"),
        (0.0, "Hz", "none"),
        (np.inf, "Hz", "none"),
        (13e6, "V/s", "13 V/µs"),  # typical slew rate as the sheet prints it, SHEET-TL072
        (283e3, "V/s", "0.283 V/µs"),
        (np.inf, "V/s", "∞ V/s"),
        (0.0482, "%", "4.82 %"),
        (0.0, "%", "0 %"),
        (4.8e-6, "1", "under 0.0001"),
        (-4.8e-8, "%", "under 0.0001 %"),
    ],
)
def test_numbers_read_well(value, unit, written):
    assert number_text(value, unit).replace("\N{MINUS SIGN}∞", "-∞") == written


@pytest.mark.parametrize(
    ("given", "written"),
    [
        ({"value": 2.06, "unit": "V", "spread": 0.15}, "2.06 V ± 0.15 V"),
        ({"value": 0.0996, "unit": "s", "spread": 0.004}, "99.6 ms ± 4.0 ms"),
        ({"value": 220e3, "unit": "Ω", "spread": 30e3}, "220 kΩ ± 30 kΩ"),
        ({"value": 4.5, "unit": "V"}, "4.50 V"),
        ({"value": NAN, "unit": "V", "spread": 0.1}, "not measured ± 100 mV"),
        ({"value": 1e-3, "unit": "A", "spread": 5e-3}, "1.0 mA ± 5.0 mA"),
        ({"value": 0.118, "unit": "s", "spread_factor": 2.0}, "59 to 240 ms"),
        ({"value": 0.010, "unit": "s", "spread_factor": 2.0}, "5 to 20 ms"),
        ({"value": 1e-3, "unit": "s", "spread_factor": 2.0}, "500 µs to 2 ms"),
        ({"value": np.inf, "unit": "s", "spread_factor": 2.0}, "never"),
        ({"value": 4700.0, "unit": "Ω", "spread_factor": 1.05}, "4.48 to 4.94 kΩ"),
        ({"value": 4700.0, "unit": "Ω", "spread_factor": np.inf}, "not known"),
        ({"value": NAN, "unit": "Ω", "spread_factor": 2.0}, "not measured"),
    ],
)
def test_reading_gives_the_spread_two_digits(given, written):
    assert report.reading(**given) == written


def test_reading_takes_one_kind_of_spread():
    with pytest.raises(ValueError, match="spread and spread_factor cannot both be given"):
        report.reading(1.0, unit="V", spread=0.1, spread_factor=2.0)


def test_cautions_are_gathered_from_anywhere_each_once():
    box = report.cautions(TWO, [TWO, {"x": Sheet(TWO, (), 0.0)}], HOT)
    assert box.title == "1 caution"
    assert str(box).splitlines()[1] == "  - LED above its rating: 31.0 mA, above 20.0 mA. Use a larger resistor."
    under = Caution("supply too low", "charge the battery", 6.1, 7.0, "V", 3)
    assert "6.10 V in 3 of the computed cases, at worst, under 7.00 V. Charge the battery." in str(
        report.cautions(under)
    )


def test_what_several_results_say_alike_is_said_once_at_its_worst():
    hotter = dataclasses.replace(HOT, value=0.04, count=2)
    other = dataclasses.replace(HOT, limit=0.03)
    box = report.cautions(HOT, hotter, other)
    assert box.title == "2 cautions"
    assert "40.0 mA in 3 of the computed cases, at worst, above 20.0 mA." in str(box)


def test_what_two_calculations_tell_of_one_part_stands_once():
    """The one that names a part to change, else the first; the part, limit and unit are one, the figures within a hundredth."""
    told = [("D6 carries more than its highest current", 0.462), ("the lamp of D6: more than it is made for", 0.464)]
    told += [("D6 at its worst", 0.48), ("D7 carries more", 0.462)]
    for second, kept in (("raise the resistor", (0, 2, 3)), ("raise R17", (1, 2, 3))):
        actions = ["raise the resistor", second, "raise the resistor", "raise the resistor"]
        found = [Caution(*one, 0.02, "A") for one in ((w, a, v) for (w, v), a in zip(told, actions, strict=True))]
        assert [head for head, _ in report.cautions(found).lines] == [f"{told[k][0]}:" for k in kept]


def test_two_units_of_one_op_amp_and_two_limits_of_one_part_are_told_each():
    told = [Caution(f"IC1 unit {k} is too slow", "take a faster type", 2e7, 1e7, "V/s") for k in (1, 2)]
    assert len(report.cautions(told).lines) == 2
    apart = [Caution("D6 carries too much", "", 0.46, 0.02, "A"), Caution("D6 at its peak", "", 0.46, 0.1, "A")]
    assert len(report.cautions(apart).lines) == 2


def test_no_cautions_is_said_calmly():
    assert report.cautions(POINT).kind == "calm" and "caution" in report.cautions(POINT)._repr_html_().lower()


def test_safety_covers_every_topic_and_defers():
    box = report.safety()
    assert len(box.lines) == 13
    for shown in (box._repr_html_(), box._repr_markdown_(), str(box)):
        assert "Local codes" in shown and "qualified person" in shown
    assert "85 dBA" in str(report.safety("loud")) and "unregulated" in str(report.safety("adaptor"))
    assert "2 W" in str(report.safety("first-power")) and "break contact" in str(report.safety("battery"))
    with pytest.raises(ValueError, match="topics must be among solder, leads"):
        report.safety("hot iron")


def test_niosh_figure_follows_the_exchange_rate():
    # NIOSH: 85 dBA for 8 h, halved for each 3 dB more; 100 dBA is then 15 minutes.
    assert 8 * 60 / 2 ** ((100 - 85) / 3) == 15


@pytest.mark.parametrize(
    ("text", "mathml"),
    [
        (
            "a-(b-c)",
            '<mo stretchy="false">(</mo><mrow><mi>b</mi><mo>&#x2212;</mo><mi>c</mi></mrow><mo stretchy="false">)</mo>',
        ),
        ("(a+b)/c", "<mfrac><mrow><mi>a</mi><mo>+</mo><mi>b</mi></mrow><mi>c</mi></mfrac>"),
        ("(a*b)**2", '<msup><mrow><mo stretchy="false">(</mo>'),
        ("log(1 + a/b)", "<mrow><mo>(</mo>"),
        ("tau = R*C", "<mi>τ</mi><mo>=</mo>"),
        ("R_load", "<msub><mi>R</mi><mrow><mtext>load</mtext></mrow></msub>"),
        (
            "V*exp(-t/tau)",
            "<msup><mi>e</mi><mrow><mfrac><mrow><mo>&#x2212;</mo><mi>t</mi></mrow><mi>τ</mi></mfrac></mrow></msup>",
        ),
        ("-a*b", "<mrow><mrow><mo>&#x2212;</mo><mi>a</mi></mrow><mo>&#x2062;</mo>"),
        ("lambda", "<mi>λ</mi>"),
        ("sqrt(x^2 + 1)", "<msqrt>"),
        ("20*log10(a/b)", "<mn>10</mn></msub><mo>&#x2061;</mo>"),
    ],
)
def test_formula_keeps_order_and_brackets(text, mathml):
    assert mathml in report.formula(text).mathml


def test_formula_is_sound_xml_with_its_legend():
    shown = report.formula("f_c = 1/(2*pi*R*C)", where={"f_c": "corner", "R": "resistance <Ω>"})
    root = ElementTree.fromstring(shown._repr_html_())
    assert [node.text for node in root.iter("dd")] == ["corner", "resistance <Ω>"]
    assert str(shown).splitlines()[0] == "f_c = 1/(2*pi*R*C)"


@pytest.mark.parametrize(
    "text", ["f = = 1", "2 +", "__import__('os')", "a if b else c", "x.y", "a % b", "[1]", "'x'", "f(x)", "True"]
)
def test_formula_refuses_what_is_no_formula(text):
    with pytest.raises(ValueError, match="text"):
        report.formula(text)
    with pytest.raises(TypeError, match="text must be an equation"):
        report.formula(3.0)


def test_a_notebook_shows_any_result_as_its_table():
    code = (
        "from IPython.core.interactiveshell import InteractiveShell\n"
        "shell = InteractiveShell.instance()\n"
        "from pedalcalc import devices, report\n"
        "data, _ = shell.display_formatter.format(devices.LDR_GL5528)\n"
        "assert '<table ' in data['text/html'] and 'GL5528' in data['text/plain'] and '|' in data['text/markdown'], data\n"
    )
    subprocess.run(
        [sys.executable, "-c", code], check=True, timeout=120, env={**os.environ, "IPYTHONDIR": tempfile.mkdtemp()}
    )


def test_report_loads_no_notebook_machinery():
    code = (
        "import sys, pedalcalc.report; assert not {'IPython', 'matplotlib', 'sympy', 'ipywidgets'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)


def test_a_value_without_a_spread_stands_once_in_its_row():
    rows = [
        {"what": "Q1", "least": 849e-6, "typical": 849e-6, "most": 849e-6},
        {"what": "Q2", "least": 281e-6, "typical": 477e-6, "most": 536e-6},
    ]
    shown = report.table(rows, units=dict.fromkeys(["least", "typical", "most"], "A"), blanks=["yours"])
    assert str(shown).count("849 µA") == 1
    assert '<td colspan="3" style="text-align:center">849\N{NO-BREAK SPACE}µA</td>' in shown._repr_html_()
    assert shown._repr_html_().count("<td") == 5 + 3
    assert len({line.count("|") for line in shown._repr_markdown_().splitlines()}) == 1
    # two that are equal by chance, under heads that name no spread, are two
    assert (
        str(report.table([{"attack": 1.0, "release": 1.0}], units={"attack": "s", "release": "s"})).count("1.00 s") == 2
    )


def test_a_column_in_which_nothing_varies_is_said_once():
    rows = [{"resistor": k * 1e3, "to buy": 0.125, "power": k * 1e-3} for k in (1, 2, 3)]
    shown = str(report.table(rows, units={"resistor": "Ω", "to buy": "W", "power": "W"}))
    assert shown.count("125 mW") == 1
    assert shown.startswith("In every row: to buy 125 mW")
    assert "to buy" not in shown.splitlines()[1]
    # what is there to compare stays side by side
    rows = [{"tone": k, "release": 0.207, "release, model": 0.17 + k / 1e3} for k in (1, 2, 3)]
    assert "In every row" not in str(report.table(rows))
    # the first column names the row, and one column beside it is what the table is for
    alone = str(report.table([{"part": name, "fitted": "yes"} for name in "abc"]))
    assert alone.count("yes") == 3


def test_a_corner_below_one_hertz_is_told_in_hertz():
    assert "0.649 Hz" in str(report.table([{"corner": 0.649}], units={"corner": "Hz"}))


def test_both_ends_of_a_narrow_range_have_three_digits():
    from pedalcalc._number_text import range_text

    assert range_text(1435.0, "Ω", 1.045) == "1.37 to 1.50 kΩ"
    assert range_text(10e-3, "s", 2.0) == "5 to 20 ms"


def test_words_above_a_table_look_alike_long_or_short():
    rows = [
        {"part": name, "volts": volts, "region": "active"} for name, volts in (("Q1", 1.0), ("Q2", 2.0), ("Q3", 3.0))
    ]
    short = report.table(rows, units={"volts": "V"})._repr_html_()
    assert '<caption style="text-align:left;font-style:italic">In every row: region active' in short
    alike = report.table([row | {"power": 0.125} for row in rows], units={"volts": "V", "power": "W"})
    assert "region active; power 125\N{NO-BREAK SPACE}mW<" in alike._repr_html_() and "power 125 mW" in str(alike)


@pytest.mark.parametrize(
    "told",
    ["31.8 kΩ", "0 V", "−49.4 dB", "4.7 V/µs", "10 %", "85 dBA", "300 °C", "8 hours", "220 nF,", "5 Ω/V", "1 Hz)"],
)
def test_a_number_stays_beside_its_unit_on_a_page_and_is_plain_elsewhere(told):
    """SI brochure, 9th edition, 5.4.3: a space stands between number and unit; it is no place to end a line."""
    kept = told.replace(" ", "\N{NO-BREAK SPACE}")
    assert html_text(f"a & b {told}") == f"a &amp; b {kept}"
    assert markdown_text(told).replace("\\", "") == plain_text(told) == told
    assert page_together(f'<p title="{told}">{told}</p><pre>{told}</pre>') == (
        f'<p title="{told}">{kept}</p><pre>{told}</pre>'
    )


@pytest.mark.parametrize("told", ["3 more", "2 and 4", "in 2 Volumes", "10 kohm", "1 2", "pin 3 in 1 hand"])
def test_what_is_no_unit_may_begin_a_line(told):
    assert html_text(told) == told


def test_every_page_of_a_report_keeps_numbers_and_units_together():
    rows = [{"what": "a part that is called by a long name", "told": 4.7e3}]
    assert "4.70\N{NO-BREAK SPACE}kΩ" in report.table(rows, units={"told": "Ω"})._repr_html_()
    assert "4.70 kΩ" in str(report.table(rows, units={"told": "Ω"}))
    assert "300\N{NO-BREAK SPACE}°C" in report.safety("solder")._repr_html_()


def test_a_build_is_called_as_its_folder():
    told = ["jfet-booster", "optical-compressor", "my-led-and-ic-test", "Drive-2"]
    assert [build_name(Path(folder)) for folder in told] == [
        "JFET booster", "Optical compressor", "My LED and IC test", "Drive 2",
    ]  # fmt: skip
