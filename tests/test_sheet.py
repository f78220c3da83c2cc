"""A sheet from a list alone, as somebody writes it who is new here."""

from __future__ import annotations

import doctest
import re
import shutil

import nbformat
import numpy as np
import pytest

from pedalcalc import bench, page, sheet
from pedalcalc.board import assemble, changed
from pedalcalc.readings import Reading, write_readings
from pedalcalc.sheet import _sound
from pedalcalc.sheet._text import band_text, reading_texts
from tests.conftest import ROOT

pytestmark = pytest.mark.usefixtures("few_units")

#: Two common-emitter stages in cascade and a second-order low-pass at half supply, written by the ten steps.
TWO_STAGES = ROOT / "tests" / "builds" / "two-stage-filter" / "parts.csv"
YOURS = ROOT / "notebooks" / "builds" / "your-build"
#: The least that is a board with a way for the signal: what a sheet says to wrong input does not hang on its size.
LEAST = ROOT / "tests" / "builds" / "coupling-capacitor" / "parts.csv"
CALLS = {"build_sheet": {"parts": LEAST, "resistance_generator": 10e3, "resistance_load": 1e6}}
ORDER = (
    "cautions build parts supply response corners clipping changes readings symptoms power"  # as on the bench
).split()


@pytest.fixture(scope="module")
def made():
    return sheet.build_sheet(TWO_STAGES)


@pytest.fixture(scope="module")
def yours():
    return sheet.build_sheet(YOURS / "parts.csv")


def text_of(made, name):
    return str(made.sections[name])


def test_a_list_nobody_has_seen_gives_a_whole_sheet(made):
    assert list(made.sections) == ORDER
    html = made._repr_html_()
    assert html.count("<figure") >= 2
    assert "Traceback" not in html
    for topic in ("Hot iron", "Loud output", "Electrolytic", "Adaptor"):
        assert topic in html, f"the usual care about {topic} is missing"
    for topic in ("First power through 100", "Hot parts"):
        assert topic in text_of(made, "power"), f"{topic} is missing where the power goes on"


def test_its_volts_are_those_of_a_textbook(made):
    # by hand: the base's divider 100k over 22k of 8.82 V is 1.59 V behind 18.0 kΩ; with a base-emitter drop of 0.65 V and a
    # gain of 150 the emitter's 1 kΩ carries (1.59 - 0.65)/(1 kΩ + 18.0 kΩ/151) = 0.84 mA, and the collector stands at
    # 8.82 - 4.7 kΩ 0.84 mA = 4.9 V
    rows = {row.place: row for row in made.expected.rows}
    for stage in (1, 2):
        assert rows[f"emitter {stage}"].reading_typical == pytest.approx(0.84, abs=0.05)
        assert rows[f"collector {stage}"].reading_typical == pytest.approx(4.9, abs=0.15)
        assert rows[f"collector {stage}"].reading_low < 4.9 < rows[f"collector {stage}"].reading_high
    assert rows["half supply"].reading_typical == pytest.approx(8.82 / 2, abs=0.02)


def test_its_corners_are_those_of_a_textbook(made):
    # Sallen and Key, unity gain: f0 = 1/(2 pi sqrt(R1 R2 C1 C2)) = 2.32 kHz, R1 with the collector's 4.7 kΩ ahead
    board = made.board
    found = _sound.corners(board, frequency_from=0.5, frequency_to=20e3)
    pair = next(one for one in found.corners if one.count == 2)
    alone = 1 / (2 * np.pi * np.sqrt((10e3 + 4.7e3 * 100e3 / 104.7e3) * 10e3 * 10e-9 * 4.7e-9))
    assert pair.frequency == pytest.approx(alone, rel=0.03)
    assert {"C5", "C6", "R13", "R14"} <= {name for name, share in pair.sensitivities.items() if abs(share) > 0.3}


def test_the_way_of_the_signal_goes_through_what_amplifies(made):
    assert "C1 → Q1 → C2 → Q2 → C3 → R13 → R14 → IC1 (1) → C7" in text_of(made, "build")


def test_what_clips_first_is_what_a_slow_sine_shows(yours):
    # the boost by hand: output headroom of its op-amp over its gain, guitar's 10 kΩ into 1 MΩ
    board = yours.board
    found = _sound.clipping(board, _sound.Ways("", "", 10e3, 1e6))
    clips = found.levels
    gain = 1 + 50e3 / 10e3
    record = board.device("IC1")
    middle = 8.52 / 2
    room = middle - max(float(record.headroom_top), float(record.headroom_bottom))
    assert next(iter(clips)) == "IC1 unit 1"
    assert clips["IC1 unit 1"] == pytest.approx(room / gain * 1.01, rel=0.1)
    assert found.at_rest == ()
    assert found.swing == pytest.approx(room, rel=0.05)


def test_response_and_control(yours):
    shown = text_of(yours, "response")
    assert "VR1, boost" in shown
    most = sheet.build_sheet(YOURS / "parts.csv", rotations={"VR1": 1.0})
    # gain of 11 by hand, less what 10 kΩ into 1 MΩ lose: 20.8 - 0.1 dB
    assert re.search(r"1 kHz\s+[\d.]+ dB\s+20\.[5-9] dB", text_of(most, "response"))


def test_the_card_has_all_parts_and_readings_on_two_pages(yours):
    html = yours.card._repr_html_()
    assert html.count('class="pedalcalc-card"') == 2
    assert "page 1 of 2" in html
    assert "page 2 of 2" in html
    for blank in ("date", "serial", "builder"):
        assert f"{blank} __" in html
    assert html.count("☐") == len(yours.board.parts)
    for row in yours.expected.rows:
        assert row.probe in html


def test_readings_get_their_verdict_on_the_sheet(tmp_path):
    (tmp_path / "parts.csv").write_bytes(TWO_STAGES.read_bytes())
    board = assemble(TWO_STAGES, supply="9V")
    read = [
        Reading("2026-03-14", "voltage", row.place, 8.8 if row.place == "collector 2" else row.reading_typical, "V", "")
        for row in bench.expected_readings(board).rows
        if row.unit == "V"
    ]
    write_readings(tmp_path / "first.csv", readings=read)
    found = sheet.build_sheet(tmp_path / "parts.csv", readings="first.csv")
    assert found.judged.first == "collector 2"
    assert "work from the top, 'collector 2'" in text_of(found, "readings")


def test_symptoms_name_this_board_s_parts(yours, made):
    shown = text_of(yours, "symptoms")
    for name in ("D1", "S1", "J1", "C4", "R4", "R7", "VR1", "IC1", "D2", "common practice"):
        assert name in shown
    assert "no indicator" not in text_of(made, "symptoms")


def test_what_is_fitted_otherwise_is_told(tmp_path):
    text = TWO_STAGES.read_text(encoding="utf-8")
    (tmp_path / "parts.csv").write_text(text.replace("C1,film capacitor,100n,,", "C1,film capacitor,100n,10n,"))
    shown = text_of(sheet.build_sheet(tmp_path / "parts.csv"), "changes")
    assert re.search(r"C1 +listed 100n, fitted 10n: 90 % less +changes the sound: .*less bass", shown)
    assert len(re.findall("listed 100n", shown)) == 1


def test_a_list_that_is_fitted_as_listed_shows_what_another_value_would_do(yours):
    # by hand: the guitar's 10 kΩ and 1 MΩ behind it put the corner of 4.7 nF at 1/(2 pi 1.01 MΩ 4.7 nF) = 33.5 Hz
    shown = text_of(yours, "changes")
    assert "All parts are fitted as listed" in shown
    assert re.search(r"C1 +22n +4n7 +changes the sound: less bass .* 33\.\d Hz after", shown)
    assert re.search(r"C3 +1u +4µ7", shown)


def test_pictures_stand_beside_another_or_a_table_with_letters_to_read(yours):
    html = yours._repr_html_()
    heads = re.findall(r'<figure class="half"[^>]*>\s*<svg([^>]*)>', html)
    assert len(heads) == html.count('<figure class="half"') >= 3
    for head in heads:
        wide, high = map(float, re.search(r' viewBox="\S+ \S+ (\S+) (\S+)"', head).groups())
        assert f"--wide:{wide:.1f}pt" in head
        assert wide * 7 / 9 / 72 * 25.4 < 85  # on paper half of 176 mm, with letters of 9 points at 7
        assert high * 7 / 9 / 72 * 25.4 < 0.2 * 263  # no more than a fifth of a page to move to the next


def test_a_list_without_jacks_has_its_volts_all_the_same(tmp_path):
    lines = TWO_STAGES.read_text(encoding="utf-8").splitlines()
    (tmp_path / "parts.csv").write_text("\n".join(line for line in lines if not line.startswith(("J1", "J2"))) + "\n")
    found = sheet.build_sheet(tmp_path / "parts.csv")
    assert "Not computed" in text_of(found, "response")
    assert len(found.expected.rows) > 10


def test_a_net_that_is_misspelt_in_an_answer_is_named():
    with pytest.raises(ValueError, match="there is no net 'bass 1'; near it are base 1"):
        sheet.build_sheet(TWO_STAGES, net_in="bass 1", net_out="out")


def test_a_net_that_is_misspelt_in_the_list_is_a_caution(tmp_path):
    text = TWO_STAGES.read_text(encoding="utf-8")
    (tmp_path / "parts.csv").write_text(text.replace("collector 1, 2: base 2", "colector 1, 2: base 2"))
    told = text_of(sheet.build_sheet(tmp_path / "parts.csv"), "cautions")
    assert "the net 'colector 1' has one connection only, pin 1 of C2: Is it 'collector 1'?" in " ".join(told.split())


def test_an_electrolytic_that_is_turned_round_is_a_caution(tmp_path):
    text = TWO_STAGES.read_text(encoding="utf-8")
    (tmp_path / "parts.csv").write_text(text.replace("plus: rail, minus: ground", "plus: ground, minus: rail"))
    made = sheet.build_sheet(tmp_path / "parts.csv")
    assert any("C9 (100u) is reversed" in one.what for one in made.cautions)
    assert "C9 (100u) is reversed" in text_of(made, "cautions")


def test_supply_is_found_from_the_list(tmp_path):
    lines = TWO_STAGES.read_text(encoding="utf-8").splitlines()
    battery = 'B1,battery,9 V alkaline,,,,"plus: nine volts, minus: ground",\n'
    kept = [line for line in lines if not line.startswith("J3")]
    (tmp_path / "parts.csv").write_text("\n".join(kept) + "\n" + battery)
    found = sheet.build_sheet(tmp_path / "parts.csv")
    assert type(found.board.supply).__name__ == "Battery"
    assert found.expected.voltage_supply < 9.0


@pytest.mark.parametrize(
    ("line", "instead", "why"),
    [
        ("base: base 1,", "bse: base 1,", "line 13, Q1: .*pin 'bse' is not known"),
        (",TL072,", ",TL0722,", "IC1.*fits no part"),
        ('"1: in, 2: ground"', '"1: ground, 2: ground"', "line 7"),
        ("J3,connector,2.1 mm barrel", "J3,jack,mono 6.35 mm", "J3"),
    ],
)
def test_a_slip_in_the_list_names_line_part_and_cure(tmp_path, line, instead, why):
    text = TWO_STAGES.read_text(encoding="utf-8")
    assert line in text
    (tmp_path / "parts.csv").write_text(text.replace(line, instead, 1))
    with pytest.raises(ValueError, match=why):
        sheet.build_sheet(tmp_path / "parts.csv")


def test_a_measured_device_narrows_its_bands():
    booster = ROOT / "notebooks" / "builds" / "jfet-booster" / "parts.csv"

    def width(**asked):
        row = next(row for row in sheet.build_sheet(booster, **asked).expected.rows if row.place == "drain")
        return row.reading_high - row.reading_low

    assert width(own_readings={"Q1": "readings/q1.csv"}) < 0.2 * width()


def test_a_board_may_stand_for_its_list(made):
    again = sheet.build_sheet(made.board)
    for name in ("parts", "supply", "corners", "symptoms"):  # what is not drawn
        assert text_of(again, name) == text_of(made, name)


def test_a_meter_that_is_none_is_refused():
    with pytest.raises(ValueError, match="meter must name a multimeter"):
        sheet.build_sheet(TWO_STAGES, meter="TL072")


def test_a_list_alone_prints(tmp_path):
    page.write_page(TWO_STAGES, page=tmp_path / "sheet.html")
    text = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "<h1" in text
    assert "Two stage filter" in text
    assert text.count("<figure") >= 2
    assert 'class="pedalcalc-card"' in text
    with pytest.raises(FileNotFoundError, match="there is no list"):
        page.write_page(tmp_path / "parts.csv")


def test_how_the_example_was_chosen_is_true():
    found = doctest.testfile(str(YOURS / "README.md"), module_relative=False, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert found.failed == 0
    assert found.attempted >= 6


def test_a_type_of_ones_own_comes_in_by_the_first_cell_and_the_page_is_called_as_its_folder(tmp_path):
    """As README.md of the folder says: copy it, write the table that it shows, name the file in the first cell."""
    readme = (YOURS / "README.md").read_text(encoding="utf-8")
    (table,) = re.findall(r"^```csv\n(.*?)^```$", readme, flags=re.MULTILINE | re.DOTALL)
    (named,) = re.findall(r"`(tables = \[.+?\])`", readme)
    mine = shutil.copytree(YOURS, tmp_path / "night-boost")
    (mine / "my-diodes.csv").write_text(table, encoding="utf-8")
    text = (mine / "parts.csv").read_text(encoding="utf-8")
    (mine / "parts.csv").write_text(text.replace("D1,diode,1N5817,", "D1,diode,XY42,"), encoding="utf-8")
    with pytest.raises(ValueError, match=r"'XY42' fits no part .* or hand in a table of your own by tables"):
        sheet.build_sheet(mine / "parts.csv")
    notebook = nbformat.read(mine / "your-build.ipynb", as_version=4)
    answers = next(cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", ()))
    assert "\ntables = []" in answers.source
    answers.source = re.sub(r"^tables = .*$", named, answers.source, flags=re.MULTILINE)
    nbformat.write(notebook, mine / "your-build.ipynb")
    shown = page.write_page(mine / "your-build.ipynb").read_text(encoding="utf-8")
    assert "<title>Night boost: its sheet from its parts list</title>" in shown
    assert "XY42" in shown
    assert "Your build" not in shown


def test_a_regulator_is_told_by_its_leads(tmp_path):
    """Input and output exchanged destroys what is fed: the order stands on the sheet as a transistor's does."""
    text = (YOURS / "parts.csv").read_text(encoding="utf-8")
    r1 = next(line for line in text.splitlines() if line.startswith("R1,"))
    fed = 'IC2,regulator,78L05,,,,"input: protected, ground: ground, output: rail",steady rail'
    (tmp_path / "parts.csv").write_text(text.replace(r1, fed), encoding="utf-8")
    made = sheet.build_sheet(tmp_path / "parts.csv")
    assert re.search(r"IC2\s+78L05\s+1 output, 2 ground, 3 input", text_of(made, "parts"))


def test_a_net_has_one_row_of_volts_and_a_sure_one_stands_once(yours):
    told = "\n".join(str(section) for section in yours.sections.values())
    assert told.count("boost feedback") == 1
    assert "10 MΩ" in text_of(yours, "readings")  # the meter that the numbers are for
    (short,) = [line for line in text_of(yours, "power").splitlines() if line.startswith("a dead short")]
    assert short.count("9.60") == 1
    assert "µW" not in text_of(yours, "power")


def test_readings_side_by_side_are_told_in_one_unit(yours):
    """A meter is read against one number after the other: 190 mV to 0.25 V is one slip waiting to happen."""
    assert reading_texts([0.19, 0.251], "V") == ["0.19 V", "0.25 V"]
    assert reading_texts([0.019, -0.002], "V") == ["19 mV", "\N{MINUS SIGN}2 mV"]
    assert reading_texts([2e-3, 0.3, float("nan")], "V") == ["0 V", "0.30 V", "none"]
    row = next(row for row in yours.expected.rows if row.place == "effect in")
    assert band_text(row).replace("\N{NO-BREAK SPACE}", " ") == "0 V (±2 mV)"


def test_a_caution_of_a_flat_battery_only_says_so(yours):
    """7 V less the diode's drop leaves the op-amp too little; at 9 V it has enough, so it is no fault of the list."""
    (one,) = yours.cautions
    assert one.what.endswith("has less than its lowest supply while the supply gives 7.00 V")
    low = sheet.build_sheet(YOURS / "parts.csv", supply=("6V", "7V", "7.2V"))
    assert [one.what for one in low.cautions if "lowest supply" in one.what] == [
        "IC1 (TL072) has less than its lowest supply"
    ]


@pytest.mark.parametrize(
    ("listed", "slip", "told"),
    [
        ("plus: battery plus, minus: battery minus", "plus: battery minus, minus: battery plus",
         "B1 is the wrong way round: its plus and minus meet those of J3 and X1 crosswise"),
        ('"1: biased input, 2: reference"', '"1: effect out, 2: reference"',
         "nothing holds 'biased input', where IC1 pin 3 hangs: It needs a resistor"),
        ("anode: supply in, cathode: protected", "anode: protected, cathode: supply in", "D1 (1N5817) blocks the supply: nothing comes through"),
        ('"1: boost feedback, 2: reference"', '"1: boost feedback, 2: Reference"', "is it 'reference'?"),
        ("3: boosted", "3: gnd", "'gnd' and 'ground' are told apart"),
    ],
)  # fmt: skip
def test_what_looks_like_a_slip_of_the_list_is_a_caution(tmp_path, listed, slip, told):
    text = (YOURS / "parts.csv").read_text(encoding="utf-8")
    head, _, tail = text.rpartition("B1,battery") if "battery" in listed else (text, "", "")
    changed = head + "B1,battery" + tail.replace(listed, slip, 1) if tail else text.replace(listed, slip, 1)
    assert changed != text
    (tmp_path / "parts.csv").write_text(changed, encoding="utf-8")
    shown = " ".join(text_of(sheet.build_sheet(tmp_path / "parts.csv"), "cautions").split())
    assert told.casefold() in shown.casefold()


def test_a_list_whose_ground_has_another_name_is_refused(tmp_path):
    text = (YOURS / "parts.csv").read_text(encoding="utf-8")
    (tmp_path / "parts.csv").write_text(text.replace("ground", "GND"), encoding="utf-8")
    with pytest.raises(ValueError, match=r"the list has no net 'ground': write so .* here it seems to be 'GND'"):
        sheet.build_sheet(tmp_path / "parts.csv")


def test_a_list_whose_way_is_open_has_its_volts_all_the_same(tmp_path):
    text = (YOURS / "parts.csv").read_text(encoding="utf-8")
    (tmp_path / "parts.csv").write_text(
        text.replace('"1: boosted, 2: effect out"', '"1: boosted, 2: efect out"'), encoding="utf-8"
    )
    listed = (tmp_path / "parts.csv").read_text(encoding="utf-8").splitlines()
    kept = [line for line in listed if not line.startswith("R7")]
    (tmp_path / "parts.csv").write_text("\n".join(kept), encoding="utf-8")
    made = sheet.build_sheet(tmp_path / "parts.csv")
    for name in ("response", "corners", "clipping"):
        assert "nothing passes from 'input jack' to 'output'" in " ".join(text_of(made, name).split())
    assert next(row for row in made.expected.rows if row.place == "half supply").reading_typical > 4


def test_the_signal_goes_through_a_transistor_and_not_the_resistor_beside_it(tmp_path):
    text = TWO_STAGES.read_text(encoding="utf-8")
    line = 'R99,resistor,470k,,5%,,"1: collector 1, 2: base 1",feedback\n'
    head, _, tail = text.partition("\n")
    (tmp_path / "parts.csv").write_text(f"{head}\n{line}{tail}", encoding="utf-8")
    assert "C1 → Q1 → C2" in text_of(sheet.build_sheet(tmp_path / "parts.csv"), "build")


def test_an_op_amp_that_rests_at_its_limit_is_a_caution(tmp_path):
    # 200 nA out of 1 MΩ are 0.2 V, times a gain of 51 more than there is room for
    text = (YOURS / "parts.csv").read_text(encoding="utf-8")
    text = (
        text.replace(",TL072,", ",NE5532,")
        .replace("R6,resistor,10k", "R6,resistor,1k")
        .replace("2: boosted, 3: boosted", "2: boost feedback, 3: boosted")
    )
    (tmp_path / "parts.csv").write_text(text, encoding="utf-8")
    shown = " ".join(text_of(sheet.build_sheet(tmp_path / "parts.csv"), "cautions").split())
    assert (
        "IC1 unit 1 stands at a limit of its output with no signal and passes nothing: See its volts: are its inputs exchanged"
        in shown
    )


def test_a_build_without_a_socket_is_told_nothing_of_adaptors(tmp_path, yours):
    kept = [line for line in TWO_STAGES.read_text(encoding="utf-8").splitlines() if not line.startswith("J3")]
    battery = 'B1,battery,9 V alkaline,,,,"plus: nine volts, minus: ground",\n'
    (tmp_path / "parts.csv").write_text("\n".join(kept) + "\n" + battery)
    alone = sheet.build_sheet(tmp_path / "parts.csv")
    assert "Use only an approved" not in text_of(alone, "cautions")
    assert "adaptor" not in text_of(alone, "symptoms") + text_of(alone, "power")
    assert "the battery clip's polarity" in text_of(alone, "power")
    assert "charge pump" not in text_of(alone, "symptoms") + text_of(yours, "symptoms")
    assert "the plug's polarity" in text_of(yours, "symptoms")


def test_a_substitute_that_clips_earlier_is_told_though_no_gain_moves(tmp_path):
    clippers = 'D8,diode,1N4148,{0},,,"anode: effect out, cathode: ground",\nD9,diode,1N4148,{0},,,"anode: ground, cathode: effect out",\n'
    text = (YOURS / "parts.csv").read_text(encoding="utf-8").replace("1: boosted, 2: effect out", "1: boosted, 2: soft")
    text += 'R9,resistor,1k,,5%,,"1: soft, 2: effect out",\n'
    (tmp_path / "parts.csv").write_text(text + clippers.format("1N34A"), encoding="utf-8")
    shown = " ".join(text_of(sheet.build_sheet(tmp_path / "parts.csv"), "clipping").split())
    fitted = re.search(r"^.*?(D[89]) is the first, at ([\d.]+) mV .*? swings ([\d.]+) mV", shown)
    listed = re.search(r"are listed (D[89]) is the first, at ([\d.]+) mV: the output then swings ([\d.]+) mV", shown)
    # by hand: the drop at which n Vt/I is 1 kΩ, 0.19 V of germanium and 0.44 V of silicon, over a gain of 6
    assert float(fitted[3]) == pytest.approx(190, rel=0.25)
    assert float(listed[3]) == pytest.approx(440, rel=0.15)
    assert float(listed[2]) > 1.5 * float(fitted[2])


def test_an_input_joined_to_ground_is_told_and_costs_no_page():
    """A pull-down of 0R: what moves at rest is told all the same."""
    listed = ROOT / "notebooks" / "builds" / "your-build" / "parts.csv"
    shorted = changed(assemble(listed, supply=9.0), R4="0R", R8="1k")
    why, (told,) = _sound.soundless(shorted, _sound.Ways("", "", 10e3, 1e6))
    assert "'input jack', is joined to ground" in why and told.what in why
    (lamp,) = (one for one in bench.changes(shorted, count=20) if one.reference == "R8")
    assert "supply current" in lamp.verdict or lamp.moves
