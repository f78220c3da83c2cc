"""Sheets of lists as builders write them: decimal commas, any order of pins, boards that swing, slips that stop a board."""

from __future__ import annotations

import numpy as np
import pytest

from pedalcalc import bench, sheet
from pedalcalc.board import assemble, changed
from pedalcalc.board.sockets import socket_cautions
from pedalcalc.circuit import operating_point, response
from pedalcalc.circuit.operating import solved_board
from pedalcalc.circuit.restless import swinging
from pedalcalc.readings import Reading
from pedalcalc.sheet._slips import _mistyped, _other_kind, slips
from pedalcalc.sheet._symptoms import symptoms_section
from tests.conftest import ROOT

pytestmark = pytest.mark.usefixtures("few_units")

BUILDS = ROOT / "tests" / "builds"
#: A buffer, a cell as a shunt, and an op-amp that charges a capacitor through a control until its threshold turns over.
TREMOLO = BUILDS / "opto-tremolo" / "parts.csv"
#: Two stages with a common emitter and a low-pass, as a spreadsheet of the decimal comma writes them, pins in any order.
COMMA = BUILDS / "decimal-comma" / "parts.csv"
#: A gain stage on a regulator of 5 V, two diodes to ground behind it.
CLIPPING = BUILDS / "hard-clipping" / "parts.csv"
COMPRESSOR = ROOT / "notebooks" / "builds" / "optical-compressor" / "parts.csv"
#: What swings in a relaxation oscillator and what its output drives (textbook: it has no stable rest).
SWINGS = {"square", "threshold", "ramp", "rate end", "depth top", "lamp drive", "lamp"}


@pytest.fixture(scope="module")
def tremolo():
    return sheet.build_sheet(TREMOLO)


def rows_of(made):
    return {row.place: row for row in made.expected.rows}


def told_of(path, supply=9.0):
    board = assemble(path, supply=supply)
    return [one.what for one in (*slips(board, operating_point(board)), *socket_cautions(board))]


def test_nets_that_swing_by_themselves_get_no_number(tremolo):
    rows = rows_of(tremolo)
    assert {place for place, row in rows.items() if row.note.startswith("swings by itself")} == SWINGS
    assert all(np.isnan(rows[place].reading_typical) for place in (*SWINGS, "supply current"))
    # What only feeds it or goes by it rests: half of 8.83 V behind the diode (by hand), with 10 MΩ of the meter at 1 MΩ.
    assert rows["half"].reading_typical == pytest.approx(8.83 / 2, abs=0.02)
    assert rows["buf in"].reading_typical == pytest.approx(8.83 / 2 * 10 / 11.15, rel=0.02)


def test_a_board_that_swings_says_so_wherever_rest_is_meant(tremolo):
    (told,) = [one for one in tremolo.cautions if "does not rest" in one.what]
    assert "'threshold', 'ramp', 'square'" in told.what and "an oscillator" in told.action
    assert "swings by itself at 'threshold'" in str(tremolo.sections["response"])
    assert "Not computed: the board swings by itself" in str(tremolo.sections["clipping"])
    assert "goes to and fro" in str(tremolo.sections["power"])
    assert "above none" not in str(tremolo)


def test_readings_of_what_swings_are_not_judged(tremolo):
    day = "2026-03-14 10:32"
    taken = [Reading(day, "voltage", place, volts, "V", "") for place, volts in (("rail", 8.83), ("square", 1.6))]
    found = bench.judge_readings(tremolo.board, readings=taken, count=50)
    assert found.first == "" and [row.verdict for row in found.rows] == ["fits", "nothing to hold it against"]
    assert found.verdict.startswith("1 of 2 readings fit, the others have nothing")


def test_a_swap_that_stops_or_starts_the_swinging_says_so(tremolo):
    # With 0 Ω from half supply the threshold stands still: the op-amp follows it behind a delay, and rests (textbook).
    (told,) = bench.changes(tremolo.board, fitted={"C3": "10n"}, count=20)
    assert "swings" not in told.verdict
    (told,) = bench.changes(tremolo.board, fitted={"R7": "0"}, count=20)
    assert "it no longer swings by itself, at " in told.verdict
    assert swinging(*solved_board(assemble(COMMA, supply=9.0))) == frozenset()


def test_a_filter_without_damping_swings_where_its_integrators_do(tmp_path):
    """Two integrators and an inverter in a ring swing at 1/(2 pi R C) (textbook); the virtual grounds between them stay."""
    path = tmp_path / "parts.csv"
    path.write_text(
        "reference,kind,value,fitted,tolerance,rating,connections,note\n"
        'X1,connector,battery clip,,,,"plus: rail, minus: ground",\n'
        'R1,resistor,10k,,,,"1: rail, 2: half",\nR2,resistor,10k,,,,"1: half, 2: ground",\n'
        'IC1,integrated circuit,TL074,,,,"1: first, 2: sum, 3: mid, 4: rail, 5: mid, 6: left, 7: second, 8: third, 9: right, '
        '10: mid, 11: ground, 12: half, 13: mid, 14: mid",\n'
        'R3,resistor,47k,,,,"1: sum, 2: first",\nR4,resistor,47k,,,,"1: sum, 2: third",\n'
        'R5,resistor,10k,,,,"1: first, 2: left",\nC1,film capacitor,10n,,,,"1: left, 2: second",\n'
        'R6,resistor,10k,,,,"1: second, 2: right",\nC2,film capacitor,10n,,,,"1: right, 2: third",\n',
        encoding="utf-8",
    )
    assert swinging(*solved_board(assemble(path, supply=9.0))) == {"first", "second", "third"}


def test_a_list_of_the_decimal_comma_gives_its_sheet():
    rows = rows_of(sheet.build_sheet(COMMA))
    # by hand: 33 kΩ of 183 kΩ on 8.42 V is 1.52 V behind 27 kΩ; with 0.63 V and a gain of 290 the emitter's 1.5 kΩ carries
    # (1.52 - 0.63) V/(1.5 kΩ + 27 kΩ/291) = 0.56 mA: the collector stands at 8.42 V - 6.8 kΩ 0.56 mA = 4.6 V
    assert rows["coll1"].reading_typical == pytest.approx(4.6, abs=0.1)
    assert rows["em1"].reading_typical == pytest.approx(0.84, abs=0.03)


def test_a_swap_of_what_was_beyond_a_rating_before_is_not_blamed(tmp_path):
    path = tmp_path / "parts.csv"
    text = CLIPPING.read_text(encoding="utf-8").replace('"plus: half, minus: ground"', '"plus: ground, minus: half"')
    path.write_text(text, encoding="utf-8")
    (told,) = bench.changes(assemble(path, supply=9.0), fitted={"C4": "22u"}, count=20)
    assert "beyond a rating" not in told.verdict
    (told,) = bench.changes(assemble(CLIPPING, supply=9.0), fitted={"C1": "47u"}, count=20)
    assert told.verdict == "nothing you can measure"


def test_a_clipping_diode_of_another_kind_is_heard_though_no_gain_moves():
    """An LED clips one half at 1.6 V where silicon does at 0.6 V (textbook): the control's 15 % of 1.1 V become those of 1.8 V."""
    (told,) = bench.changes(assemble(CLIPPING, supply=9.0), fitted={"D1": "red GaAsP LED"}, count=20)
    assert told.verdict.startswith("changes the sound when it is played hard: output, peak to peak,")
    (move,) = told.moves
    assert (
        move.audible
        and move.before == pytest.approx(0.15 * 1.1, rel=0.1)
        and move.after == pytest.approx(0.15 * 1.8, rel=0.1)
    )
    for step, heard in ((3.5, True), (5.0, False)):  # 20 log (1.8/1.1) is 4.3 dB
        (told,) = bench.changes(assemble(CLIPPING, supply=9.0), fitted={"D1": "red GaAsP LED"}, count=20, step_db=step)
        assert ("played hard" in told.verdict) == heard
    (told,) = bench.changes(assemble(CLIPPING, supply=9.0), fitted={"D1": "1N914"}, count=20)
    assert told.verdict == "nothing you can measure"


def test_an_op_amp_of_another_package_does_not_fit_its_pins():
    """A single op-amp has its output at pin 6, where a dual has an input (orders of pins from memory)."""
    (told,) = bench.changes(assemble(CLIPPING, supply=9.0), fitted={"IC1": "TL071"}, count=20)
    assert "IC1 does not fit these pins: 1 output" in told.verdict and "inf dB" not in told.verdict
    assert "nothing comes out any more at 82 Hz, 1 kHz and 5 kHz" in told.verdict


def test_a_capacitor_may_be_swapped_with_its_volts_behind_it():
    """9 V less a diode stand on C1; what is printed on the can counts."""
    board = assemble(CLIPPING, supply=9.0)
    low, high = (bench.changes(board, fitted={"C1": text}, count=20)[0].verdict for text in ("47u/6.3V", "47u 25 V"))
    assert low == "beyond a rating: C1 (47u) stands more than its rated voltage"
    assert high == "nothing you can measure"


def test_another_battery_feeds_the_board():
    """A zinc-carbon block gives less than an alkaline one at the same current (from memory)."""
    board = assemble(ROOT / "notebooks/builds/your-build/parts.csv", supply="9 V alkaline")
    (fed,) = bench.changes(board, fitted={"B1": "9 V zinc-carbon"}, count=20)
    move = next(one for one in fed.moves if one.what == "supply in")
    assert move.after < move.before - 0.5


def test_where_what_passes_has_no_end_is_told_by_what_was_looked_at(tremolo):
    (told,) = bench.changes(tremolo.board, fitted={"C3": "4.7n"}, count=20)
    assert "lower end, 3 dB down: under 5 Hz before," in told.verdict


@pytest.mark.parametrize(
    ("build", "fitted", "told"),
    [
        ("jfet-booster", {"Q2": "BC557C"}, ["Q2 (BC557C) is a PNP bipolar transistor", "laid out for an NPN bipolar transistor"]),
        ("jfet-booster", {"Q1": "2N7000"}, ["Q1 (2N7000) is an N-channel MOSFET", "laid out for an N-channel JFET"]),
        ("jfet-booster", {"Q1": "J201", "Q2": "2N3904", "D1": "blue LED"}, []),
        ("optical-compressor", {"IC1": "TL072", "IC2": "NE5532"}, ["IC1 (TL072) is an op-amp", "laid out for a charge-pump converter"]),
        ("optical-compressor", {"IC3": "TL071"}, ["IC3 (TL071) has its pins in another order than TL062"]),
    ],
)  # fmt: skip
def test_a_part_of_another_kind_than_the_board_was_laid_out_for_is_told(build, fitted, told):
    board = changed(assemble(ROOT / "notebooks" / "builds" / build / "parts.csv", supply=9.0), **fitted)
    found = [one.what for one in _other_kind(board)]
    assert len(found) == bool(told)
    assert all(words in found[0] for words in told)


@pytest.mark.parametrize(
    ("listed", "slip", "told"),
    [
        ('"anode: plug, cathode: nine"', '"anode: nine, cathode: plug"', "D3 (1N4001) blocks the supply: nothing comes through from 'plug'"),
        ('"anode: plug, cathode: nine"', '"anode: plugg, cathode: nine"', "the supply does not come through to IC1: no pin there has volts"),
        ("7: spare, 8: five", "7: five, 8: not connected", "IC1 (lm358n) has no supply: its pin 8, the positive rail, is not connected"),
        ("5: half, 6: spare, 7: spare", "5: not connected, 6: not connected, 7: not connected", "IC1 (lm358n) has inputs in the air, pin 5 and 6"),
        ('"centre: ground, outer: plug, outer switch: not connected"', '"centre: plug, outer: ground, outer switch: not connected"',
         "J3 is taken for a socket with its plus in the centre"),
    ],
)  # fmt: skip
def test_slips_of_a_builder_are_cautions(tmp_path, listed, slip, told):
    path = tmp_path / "parts.csv"
    text = CLIPPING.read_text(encoding="utf-8")
    assert listed in text
    path.write_text(text.replace(listed, slip), encoding="utf-8")
    assert any(told in one for one in told_of(path))


@pytest.mark.parametrize(
    ("build", "net"), [("jfet-booster", "rail"), ("your-build", "rail"), ("optical-compressor", "pump supply")]
)
def test_a_resistor_that_starves_a_build_is_told_before_what_it_starves(build, net):
    """By hand: through 10 kΩ half of 9 V is gone at 0.45 mA, and every one of these builds takes more behind it."""
    board = assemble(ROOT / "notebooks/builds" / build / "parts.csv", supply="9V")
    assert not any("takes most of the supply" in one.what for one in slips(board, operating_point(board)))
    board = changed(board, R1="10k")
    assert (
        slips(board, operating_point(board))[0].what
        == f"R1 (10k) takes most of the supply, and little of it is left at {net!r}"
    )


@pytest.mark.filterwarnings("ignore::pedalcalc._result.ModelRangeWarning")
def test_a_build_that_is_all_but_a_short_gets_no_figure_of_a_healthy_one():
    """A lamp on the supply with no resistor takes more than an ampere: what 100 Ω would show then is not healthy."""
    made = sheet.build_sheet(changed(assemble(ROOT / "notebooks/builds/your-build/parts.csv", supply="9V"), R8="0R"))
    assert "all but shorted" in made.cautions[0].what and not any("starved" in one.what for one in made.cautions)
    for shown in (made.sections["power"]._repr_html_(), made.card._repr_html_()):
        assert "Do not power it as listed" in shown and "healthy" not in shown


def test_a_jack_that_shorts_the_battery_is_a_caution(tmp_path):
    """With the plus at ground the ring must switch the plus; a plug that joins the minus to the sleeve shorts 9.5 V by some ohms."""
    path = tmp_path / "parts.csv"
    text = (
        "reference,kind,value,fitted,tolerance,rating,connections,note\n"
        'B1,battery,9 V alkaline,,,,"plus: {plus}, minus: minus rail",\n'
        'J1,jack,stereo 6.35 mm,,,,"tip: in, ring: {ring}, sleeve: ground",input\n'
        'R1,resistor,10k,,,,"1: in, 2: ground",\nR2,resistor,10k,,,,"1: minus rail, 2: ground",\n'
    )
    path.write_text(text.format(plus="ground", ring="minus rail"), encoding="utf-8")
    assert any("all but shorted" in one for one in told_of(path, supply="9 V alkaline"))
    path.write_text(text.format(plus="battery plus", ring="battery plus"), encoding="utf-8")
    assert told_of(path, supply="9 V alkaline") == []


def test_nets_that_differ_by_one_letter_are_told(tmp_path):
    path = tmp_path / "parts.csv"
    text = CLIPPING.read_text(encoding="utf-8")
    path.write_text(
        text.replace("plus: half", "plus: halfs").replace("1: half, 2: ground", "1: halfs, 2: ground"), encoding="utf-8"
    )
    assert any("'half' and 'halfs' are nets of their own" in one for one in told_of(path))


@pytest.mark.parametrize(
    ("one", "other", "slip"),
    [
        ("collector", "colector", True), ("biased input", "baised input", True), ("amp", "amps", False), ("plus in", "plus inn", False),
        ("coll1", "coll2", False), ("drain", "train", False), ("stage one", "stage", False),
    ],
)  # fmt: skip
def test_a_letter_is_a_slip_in_long_words_only(one, other, slip):
    assert _mistyped(one.split(), other.split()) == _mistyped(other.split(), one.split()) == slip


@pytest.mark.parametrize("path", sorted(ROOT.glob("*/builds/*/parts.csv")), ids=lambda path: path.parent.name)
def test_names_of_nets_that_are_meant_to_differ_are_no_slip(path):
    board = assemble(path, supply=9.0)
    assert not [one.what for one in slips(board, operating_point(board)) if "nets of their own" in one.what]


def test_a_flat_battery_that_leaves_inputs_out_of_range_is_a_caution(tmp_path):
    """At 7 V a TL072 needs 3 V below its inputs (its sheet's typical common-mode range); half of 5.7 V is less."""
    path = tmp_path / "parts.csv"
    text = (
        TREMOLO.read_text(encoding="utf-8")
        .replace("D1,diode,1N5817,,,,", "R99,resistor,390,,,,")
        .replace("anode: plug, cathode", "1: plug, 2")
    )
    path.write_text(text, encoding="utf-8")
    made = sheet.build_sheet(path)
    (told,) = [one for one in made.cautions if "cannot be predicted" in one.what]
    assert "while the supply gives 7.00 V" in told.what and "fuller battery" in told.action
    assert "not predictable" in str(made.sections["supply"])


def taken(volts, meter=""):
    return [Reading("2026-03-14 10:32", "voltage", net, one, "V", "", meter_text=meter) for net, one in volts.items()]


def test_a_point_in_the_wrong_place_is_told_before_a_part_is_blamed():
    board = assemble(CLIPPING, supply=9.0)
    for read, told in (
        (0.25, "ten times it would fit"),
        (25.0, "a tenth of it would fit"),
        (2500.0, "a thousandth of it would fit"),
    ):
        found = bench.judge_readings(board, readings=taken({"plug": 9.0, "half": read}), count=50)
        assert found.first == "half" and f"{told}: look at the point" in found.verdict
    found = bench.judge_readings(board, readings=taken({"plug": 9.0, "half": 1.4}), count=50)
    assert found.first == "half" and "would fit" not in found.verdict
    # at rest on 0 V, where a tenth of whatever is read would fit
    found = bench.judge_readings(board, readings=taken({"plug": 9.0, "out": 0.02}), count=50)
    assert found.first == "out" and "would fit" not in found.verdict


def test_a_meter_of_a_tenth_of_the_ohms_is_told_apart_from_a_fault():
    """1 MΩ on the input behind 1 MΩ reads half of 2.54 V (by hand: Ohm's law), 10 MΩ ten elevenths of it."""
    board = assemble(CLIPPING, supply=9.0)
    weak = {"plug": 9.0, "half": 2.5, "plus in": 1.27}
    found = bench.judge_readings(board, readings=taken(weak), count=50)
    assert (
        found.first == "plus in" and "cheap digital multimeter, 1 MΩ would read so on a healthy board" in found.verdict
    )
    assert "R4" in dict(found.depends_on)  # only the meter's own ohms make that resistor count
    low = bench.judge_readings(board, readings=taken(weak | {"plug": 8.0}), count=50)  # the 5 V of the regulator stay
    assert "would read so on a healthy board" in low.verdict
    assert bench.judge_readings(board, readings=taken(weak, "cheap"), count=50).verdict.startswith("all 3 readings fit")
    found = bench.judge_readings(board, readings=taken(weak | {"plus in": 0.4}), count=50)
    assert "would read so" not in found.verdict


@pytest.fixture(scope="module")
def amplified(tmp_path_factory):
    """Return the list of the clipping stage with a power amplifier behind it, of which nothing here knows the law."""
    path = tmp_path_factory.mktemp("power-amplifier") / "parts.csv"
    text = CLIPPING.read_text(encoding="utf-8").replace('"tip: out,', '"tip: speaker,')
    path.write_text(
        f"{text}"
        'IC2,other,LM386,,,,"1: not connected, 2: ground, 3: out, 4: ground, 5: power out, 6: nine, 7: not connected, '
        '8: not connected",power amplifier\n'
        'C10,electrolytic capacitor,220u,,20%,16 V,"plus: power out, minus: speaker",\n',
        encoding="utf-8",
    )
    return path


def test_a_part_without_a_law_leaves_the_rest_its_numbers(amplified):
    made, alone = sheet.build_sheet(amplified), rows_of(sheet.build_sheet(CLIPPING))
    rows = rows_of(made)
    # by hand: 1 kΩ to 9 V at its input, which hangs on the level control's 100 kΩ, moves that and the diodes' node by volts
    assert {place for place, row in rows.items() if row.note.startswith("not computed: IC2 (LM386)")} == {
        "out", "clip", "clip in", "power out",
    }  # fmt: skip
    # 8.4 mA more through a 1N4001 moves 'nine' by some 50 mV (n Vt ln(13/5)), less than its band; behind the regulator nothing
    for net in ("plug", "nine", "five", "half", "plus in", "amp"):
        assert rows[net].reading_typical == alone[net].reading_typical
    assert rows["supply current"].note.startswith("4.8 mA, IC2 on top")
    assert any("IC2 (LM386) is not computed" in one.what for one in made.cautions)
    assert "leads through IC2 (LM386), which is not computed" in str(made.sections["response"])
    assert "for each milliampere of its sheet add 100 mV" in str(made.sections["power"])


def test_the_sound_ahead_of_a_part_without_a_law_is_told(amplified):
    made = sheet.build_sheet(amplified, net_out="out")
    assert "IC2 (LM386) is left out" in str(made.sections["response"])
    alone = response(assemble(CLIPPING, supply=9.0), frequency=1e3).gain_db
    assert f"{alone:.1f} dB" in str(made.sections["response"])  # as without it


def test_a_capacitor_beyond_an_open_contact_stops_nothing(tmp_path):
    """Both its ends float and are told so; the divider beside it stands at half of 9 V (by hand)."""
    path = tmp_path / "parts.csv"
    path.write_text(
        "reference,kind,value,fitted,tolerance,rating,connections,note\n"
        'X1,connector,battery clip,,,,"minus: ground, plus: rail",\n'
        'R1,resistor,10k,,,,"1: rail, 2: half",\nR2,resistor,10k,,,,"1: half, 2: ground",\n'
        'J2,jack,mono 6.35 mm,,,,"tip: out, sleeve: ground",output\n'
        'S1,switch,SPDT toggle,,,,"pole 1 common: in, pole 1 effect: not connected, pole 1 bypass: rail",\n'
        'C1,film capacitor,220n,,,16 V,"1: in, 2: out",\n',
        encoding="utf-8",
    )
    point = operating_point(assemble(path, supply=9.0))
    assert set(point.floating) == {"in", "out"} and point.voltages["half"] == pytest.approx(4.5)


def test_an_unknown_type_is_refused_with_what_may_be_done(amplified):
    text = amplified.read_text(encoding="utf-8").replace("IC2,other", "IC2,integrated circuit")
    other = amplified.with_name("refused.csv")
    other.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=r"IC2: text 'LM386' fits no part .* is of the kind other, and left out"):
        sheet.build_sheet(other)


def test_symptoms_name_what_is_in_the_way_on_this_board():
    """The parts that common practice suspects, by hand from each list."""
    told = {path: str(symptoms_section(assemble(path, supply=9.0))) for path in (COMMA, CLIPPING, COMPRESSOR, TREMOLO)}
    assert "look at R16, D1 and the plug's polarity" in told[COMMA]  # in the supply's way
    assert "(C1, C3, C5, C10, C2, C4)" in told[COMMA]  # couple, then bypass both emitters
    assert "at 0 V R17 is open" in told[COMMA]
    assert "look at D3, U1 and" in told[CLIPPING] and "(C5, C8, C6)" in told[CLIPPING]
    assert "footswitch" not in told[CLIPPING] and "a missing" not in told[CLIPPING]
    assert "(C3, C5): open" in told[TREMOLO]  # C4 is at an inverting input, but the signal does not go there
    assert "the charge pump IC1: C6 first, then pin 1 (boost)" in told[COMPRESSOR]


def test_a_board_without_a_footswitch_or_a_charge_is_not_told_of_them():
    made = sheet.build_sheet(BUILDS / "coupling-capacitor" / "parts.csv")
    told = "".join(section._repr_html_() for section in made.sections.values()) + made.card._repr_html_()
    assert "footswitch" not in told and "for the first" not in told
    whole = sheet.build_sheet(COMPRESSOR)
    assert "Where no state of the footswitch is named" in str(whole.sections["readings"])
    assert "either state of the footswitch if none is named" in whole.card._repr_html_()
    assert "It shows more for the first 150 ms, while" in str(whole.card)  # by hand: five times 100 Ω and 304 µF


def test_a_slip_that_leaves_no_operating_point_is_named(tmp_path):
    path = tmp_path / "parts.csv"
    pins = (
        "1: not connected, 2: fly plus, 3: ground, 4: fly minus, 5: below, 6: not connected, 7: not connected, 8: nine"
    )
    path.write_text(
        f'{CLIPPING.read_text(encoding="utf-8")}IC2,integrated circuit,MAX1044,,,,"{pins}",\n', encoding="utf-8"
    )
    with pytest.raises(
        RuntimeError, match=r"First mend what looks like a slip in the list: .*'fly plus' .*, IC2 pin 2"
    ):
        sheet.build_sheet(path)
