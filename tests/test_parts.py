"""Parts lists: what a spreadsheet may write, what is refused and where, what to fit first, what to look for."""

from __future__ import annotations

import dataclasses
import itertools
import tempfile
from pathlib import Path

import numpy as np
import pytest

from pedalcalc import parts

OLD = "reference,kind,value,tolerance,rating,connections,note"
HEADER = OLD  # a list without the column `fitted` reads as it always did
NEW = "reference,kind,value,fitted,tolerance,rating,connections,note"
GOOD = f"""{HEADER}
R1,resistor,4k7,1%,1/4 W,"1: supply, 2: half supply",
R2,Resistor,470R,5 %,0.25W,,by the edge
C1,film capacitor,100n,10%,63 V,"1: input, 2: gate",
C2,electrolytic capacitor,10u,+80/-20%,"25 V, 0.1 A","plus: supply, minus: ground",
D1,diode,1N5817,,"20 V, 1 A","anode: jack, cathode: supply",polarity
U1,integrated circuit,TL072,,,"1: out; 8: supply",
"""

_LIST = Path(tempfile.mkdtemp(), "parts.csv")
_LIST.write_text(GOOD, encoding="utf-8")
PARTS = parts.read_parts(_LIST)

CALLS = {
    "read_parts": {"path": _LIST},
    "fitting_order": {"parts": PARTS},
    "marking_text": {"part": PARTS[0]},
}


def read(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "parts.csv"
    path.write_bytes(text.encode(encoding))
    return parts.read_parts(path)


def content(found):
    names = [field.name for field in dataclasses.fields(parts.Part) if field.name != "place"]
    return [tuple(repr(getattr(part, name)) for name in names) for part in found]


def test_reads_values_in_si():
    first, second, film, electrolytic, diode, chip = PARTS
    assert (first.value, first.unit, first.value_text) == (4700.0, "Ω", "4k7")
    assert (first.tolerance_low, first.tolerance_high, first.power_max) == (-0.01, 0.01, 0.25)
    assert np.isnan([first.voltage_max, first.current_max]).all()
    assert first.connections == (("1", "supply"), ("2", "half supply"))
    assert (second.kind, second.power_max, second.connections, second.note) == ("resistor", 0.25, (), "by the edge")
    assert (film.value, film.voltage_max) == (1e-7, 63.0)
    assert (electrolytic.tolerance_low, electrolytic.tolerance_high) == (-0.2, 0.8)
    assert (electrolytic.voltage_max, electrolytic.current_max) == (25.0, 0.1)
    assert np.isnan(diode.value)
    assert np.isnan(diode.tolerance_high)
    assert (diode.value_text, diode.unit) == ("1N5817", "")
    assert chip.connections[1].net == "supply"


@pytest.mark.parametrize(
    ("change", "encoding"),
    [
        (lambda text: text, "utf-8-sig"),
        (lambda text: text.replace("\n", "\r\n"), "utf-8"),
        (lambda text: text.replace("\n", "\r\n"), "utf-8-sig"),
        (lambda text: text.replace("\n", "\r"), "utf-8"),
        (lambda text: text + "\n,,,,,,\n\n", "utf-8"),
        (lambda text: text.rstrip().replace("\n", ",,\n").replace(f"{HEADER},,", HEADER), "utf-8"),
        (lambda text: "\n" + text, "utf-8"),
        (lambda text: text.replace(HEADER, HEADER.replace(",", " , ").upper()), "utf-8"),
    ],
)
def test_what_spreadsheets_write_reads_the_same(tmp_path, change, encoding):
    assert content(read(tmp_path, change(GOOD), encoding)) == content(PARTS)


def test_semicolons_and_any_order_of_columns(tmp_path):
    text = (
        "note;value;kind;reference;connections;rating;tolerance\n"
        "on top;2\N{MICRO SIGN}2;ceramic capacitor;C7;1: a, 2: b;16 V;-20/+80%\n"
    )
    (part,) = read(tmp_path, text)
    assert (part.reference, part.value, part.tolerance_low, part.note) == ("C7", 2.2e-6, -0.2, "on top")
    assert part.connections == (("1", "a"), ("2", "b"))


def test_connections_may_be_parted_by_semicolons_inside_quotes(tmp_path):
    text = HEADER.replace(",", ";") + '\nR1;resistor;1k;;;"1: a; 2: b";\n'
    assert read(tmp_path, text)[0].connections == (("1", "a"), ("2", "b"))


def row(**cells):
    """Return a list of one resistor with some cells replaced."""
    full = dict(zip(HEADER.split(","), ("R1", "resistor", "4k7", "1%", "1/4 W", "1: a, 2: b", ""), strict=True)) | cells
    return HEADER + "\n" + ",".join(f'"{cell}"' for cell in full.values()) + "\n"


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("", "parts.csv is empty"),
        ("\n \n", "parts.csv is empty"),
        (HEADER + "\n", "no parts below"),
        (HEADER + "\n,,,,,,\n", "no parts below"),
        (GOOD.replace(",note", "", 1), "line 1: column note is missing"),
        (GOOD.replace(",note", ",remark", 1), "line 1: column note is missing"),
        (GOOD.replace(HEADER, HEADER + ",price"), "line 1: column price is not known"),
        (GOOD.replace(HEADER, HEADER + ","), r"line 1: column \(without a name\) is not known"),
        (GOOD.replace(HEADER, HEADER + ",value"), "line 1: column value stands there twice"),
        (HEADER.replace(",", "\t"), "line 1: tabs"),
        (GOOD.replace("R2,Resistor,470R", "R2,Resistor,470R,"), "line 3, column after note: .* 8 cells"),
        (GOOD.replace("by the edge\n", "\n").replace(",,\nC1", ",\nC1"), "line 3, column note: .* 6 cells"),
        (GOOD + 'R9,"resistor', "line 8"),
        (GOOD + 'R9,"resi"stor,4k7,,,,', "line 8"),
        (row(reference=""), "line 2, column reference: it is empty"),
        (GOOD.replace("R2", "r1"), "line 3, column reference: 'r1' stands already in line 2"),
        (row(kind="resistance"), "line 2, column kind: 'resistance' is none of resistor,"),
        (row(kind="capacitor"), "line 2, column kind: .* film, ceramic or electrolytic"),
        (row(kind=""), "line 2, column kind: '' is none"),
        (row(value=""), "line 2, column value: .* empty"),
        (row(value="4k7k"), "line 2, column value: .* two letters"),
        (row(value="1,5k"), "line 2, column value: .* point"),
        (row(value="1Meg"), "line 2, column value: .* write 1M"),
        (row(value="nan"), "line 2, column value: .* number"),
        (row(value="100n"), "line 2, column value: .* not used with Ω"),
        (row(kind="potentiometer", value="B100k"), "line 2, column value: .* taper"),
        (row(kind="film capacitor", value="0n"), "line 2, column value: a film capacitor of 0 F"),
        (row(kind="transistor", value=""), "line 2, column value: .* type of the transistor"),
        (row(tolerance="5"), "line 2, column tolerance: '5' is not a tolerance; .* percent"),
        (row(tolerance="0.05"), "line 2, column tolerance"),
        (row(tolerance="J"), "line 2, column tolerance"),
        (row(tolerance="+20/+80%"), "line 2, column tolerance"),
        (row(rating="1/4"), "line 2, column rating: '1/4' is not a rating"),
        (row(rating="105 °C"), "line 2, column rating: '105 °C' is not a rating"),
        (row(rating="105 deg"), "line 2, column rating: '105 deg' is not a rating"),
        (row(rating="25 V, 16 V"), "line 2, column rating: two ratings in V"),
        (row(rating="0 V"), "line 2, column rating: .* above 0"),
        (row(rating="-5 V"), "line 2, column rating: .* above 0"),
        (row(rating="1/0 W"), "line 2, column rating"),
        (row(rating="x W"), "line 2, column rating"),
        (row(rating="16"), "line 2, column rating: '16' is not a rating .* write its unit, such as 16 V"),
        (row(rating="1/4"), "line 2, column rating: '1/4' is not a rating .* or 1/4 W"),
        (row(kind="film capacitor", value="22nf"), "line 2, column value: .* with a capital, 22nF"),
        (
            row(kind="electrolytic capacitor", value="47mF", connections="plus: a, minus: b"),
            "may be microfarads, .* write 47u",
        ),
        (row(value="1m"), "line 2, column value: text '1m' is thousandths of an ohm: a large M"),
        (row(kind="cap", value="22n"), "line 2, column kind: .* film, ceramic or electrolytic"),
        (row(connections="1: a, 2: nc"), "line 2, column connections: '2: nc': write '2: not connected'"),
        (row(connections="1: a, 2: -"), "'2: -': write '2: not connected' for a pin that is left open"),
        (row(connections="supply"), "line 2, column connections: 'supply' is not a pair"),
        (row(connections="1: a: b"), "line 2, column connections: .* is not a pair"),
        (row(connections="1: , 2: b"), "line 2, column connections: '1:' is not a pair"),
        (row(connections="1: a, 1: b"), "line 2, column connections: pin '1' stands there twice"),
        (row(connections="1: a"), "line 2, column connections: this resistor has two pins, got 1"),
        (row(connections="1: a, 2: a"), "line 2, column connections: both pins go to 'a'"),
        (
            row(kind="diode", value="1N4148", connections="1: a, 2: b"),
            "line 2, column connections: .* called anode and cathode, got 1, 2",
        ),
        (
            row(kind="electrolytic capacitor", value="10u", connections="plus: a, cathode: b"),
            "line 2, column connections: .* plus and minus",
        ),
        (
            row(kind="indicator", value="red LED", connections="anode: a, cathode: a"),
            "line 2, column connections: both pins",
        ),
    ],
)
def test_errors_name_file_line_and_column(tmp_path, text, place):
    with pytest.raises(ValueError, match=place) as refused:
        read(tmp_path, text)
    assert str(refused.value).startswith("parts.csv")


def test_what_is_refused_in_a_cell_names_the_part(tmp_path):
    """A builder looks for R1 on the board, and for line 2 in the table only then."""
    with pytest.raises(ValueError, match=r"line 2, column value: .* \(part R1\)$"):
        read(tmp_path, row(value="4k7k"))


def test_a_table_of_the_decimal_comma_reads_as_one_of_the_point(tmp_path):
    """The same list as a spreadsheet writes it where the decimal mark is a comma: semicolons part its cells (RFC 4180 has none)."""
    pointed = (
        f"{NEW}\n"
        'R1,resistor,4.7k,5.1k,2.5%,0.25 W,"1: a, 2: b",as "1.5"\n'
        'C1,electrolytic capacitor,4.7u/6.3V,,+80/-20%,,"plus: a, minus: b",\n'
        'C2,film capacitor,0.047u,,10%,"63 V, 1.5 A","1: a, 2: b",\n'
        'VR1,potentiometer,2.2k log,,20%,,"1: a, 2: b, 3: c",\n'
        'J1,jack,mono 6.35 mm,,,,"tip: a, sleeve: b",\n'
    )
    comma = (
        f"{NEW.replace(',', ';')}\n"
        'R1;resistor;4,7k;5,1k;2,5%;0,25 W;1: a, 2: b;as "1.5"\n'
        "C1;electrolytic capacitor;4,7u/6,3V;;+80/-20%;;plus: a, minus: b;\n"
        "C2;film capacitor;0,047u;;10%;63 V,1,5 A;1: a, 2: b;\n"
        "VR1;potentiometer;2,2k log;;20%;;1: a, 2: b, 3: c;\n"
        "J1;jack;mono 6,35 mm;;;;tip: a, sleeve: b;\n"
    )
    assert content(read(tmp_path, comma)) == content(read(tmp_path, pointed))
    with pytest.raises(ValueError, match=r"line 2, column value: text '1\.000\.5' is not a value"):
        read(tmp_path, comma.replace("4,7k", "1.000,5"))
    with pytest.raises(ValueError, match=r"line 2, column value: text '4,7k' .* write the decimal mark as a point"):
        read(tmp_path, pointed.replace("4.7k", '"4,7k"'))


def test_other_words_and_lower_case_units_are_read(tmp_path):
    (chip,) = read(tmp_path, full(kind="opamp", value="TL072", connections=""))
    assert chip.kind == "integrated circuit"
    (cap,) = read(tmp_path, full(kind="electrolytic", value="47u/16v", rating="", connections="plus: a, minus: b"))
    assert cap.voltage_max == 16.0
    assert read(tmp_path, full(rating="250mw"))[0].power_max == 0.25


def full(**cells):
    """Return a list of one resistor with all columns, some cells replaced."""
    usual = ("R1", "resistor", "4k7", "", "1%", "1/4 W", "1: a, 2: b", "")
    line = dict(zip(NEW.split(","), usual, strict=True)) | cells
    return NEW + "\n" + ",".join(f'"{cell}"' for cell in line.values()) + "\n"


def test_what_is_fitted_is_what_counts(tmp_path):
    (listed,) = read(tmp_path, full())
    assert (listed.value, listed.value_text, listed.text_listed) == (4700.0, "4k7", "")
    assert listed.place == "parts.csv, line 2"
    (part,) = read(tmp_path, full(fitted="5k1"))
    assert (part.value, part.value_text, part.text_listed) == (5100.0, "5k1", "4k7")
    (chip,) = read(tmp_path, full(kind="integrated circuit", value="TL072", fitted="NE5532", connections=""))
    assert (chip.value_text, chip.text_listed) == ("NE5532", "TL072")
    assert parts.marking_text(part).startswith("5.1 kΩ, 5K1")


def test_the_law_of_a_control_stands_behind_its_value(tmp_path):
    at = {"kind": "potentiometer", "connections": "1: a, 2: b, 3: c"}
    for text, value, law in (
        ("100k log", 1e5, "log"),
        ("22k linear", 22e3, "linear"),
        ("50k Reverse Log", 50e3, "reverse log"),
        ("100k", 1e5, ""),
        ("1M Ω log", 1e6, "log"),
    ):
        (part,) = read(tmp_path, full(value=text, **at))
        assert (part.value, part.law) == (value, law), text
    (part,) = read(tmp_path, full(value="100k log", fitted="47k", **at))
    assert (part.value, part.law) == (47e3, "log")
    (part,) = read(tmp_path, full(value="100k log", fitted="47k linear", **at))
    assert (part.value, part.law) == (47e3, "linear")
    assert parts.marking_text(part) == "47 kΩ, 47K, linear law"
    for text in ("100k sound", "A100k", "log", "100k log B"):
        with pytest.raises(
            ValueError, match=r"line 2, column value: .*law of a control, one of linear, log, reverse log"
        ):
            read(tmp_path, full(value=text, **at))


def test_batteries_and_pins_left_open(tmp_path):
    text = full(reference="B1", kind="battery", value="9 V alkaline", connections="plus: up, minus: down")
    assert read(tmp_path, text)[0].connections == (("plus", "up"), ("minus", "down"))
    with pytest.raises(ValueError, match="pins of this battery must be called plus and minus"):
        read(tmp_path, full(kind="battery", value="9 V alkaline", connections="1: up, 2: down"))
    (part,) = read(tmp_path, full(connections="1: Not Connected, 2: not connected"))
    assert part.connections == (("1", parts.NOT_CONNECTED), ("2", parts.NOT_CONNECTED))
    contacts = "pole 1 common: jack, pole 1 effect: in, pole 1 bypass: link"
    (switch,) = read(tmp_path, full(kind="switch", value="SPDT toggle", connections=contacts))
    assert switch.connections[2] == ("pole 1 bypass", "link")
    tantalum = full(
        kind="tantalum capacitor", value="10u", connections="plus: a, minus: b", rating="16 V", tolerance="10%"
    )
    assert "the stripe marks plus" in parts.marking_text(read(tmp_path, tantalum)[0])


@pytest.mark.parametrize(
    ("text", "place"),
    [
        (full(fitted="5kk1"), "line 2, column fitted: .* two letters"),
        (full(fitted="100n"), "line 2, column fitted: .* not used with Ω"),
        (
            full(tolerance="500%"),
            "column tolerance: a tolerance must be less than 100% down and at most 200% up, got '500%'",
        ),
        (full(tolerance="100%"), "column tolerance: a tolerance must be less than 100% down"),
        (full(tolerance="+300/-20%"), "column tolerance: a tolerance must be .* at most 200% up"),
        (
            full(rating="9" * 400 + " V"),
            "column rating: text '9{40}...' is not a value: .* at most 40 characters, this has 402",
        ),
        (
            full(rating="9" * 400 + "/3 W"),
            "column rating: a rating written as a fraction must have at most twelve digits",
        ),
        (full(value="1" + "0" * 5000), "column value: .* at most 40 characters"),
        (full(value="O.L"), "column value: .* a value is a number"),
        (
            full(note="zero\u200bwidth"),
            r"line 2, column note: it holds a character that cannot be seen, U\+200B \(zero width space\)",
        ),
        (full(connections="1: a\x07, 2: b"), r"line 2, column connections: .* U\+0007 \(control character\)"),
    ],
)
def test_slips_are_refused_by_name_value_and_what_is_allowed(tmp_path, text, place):
    with pytest.raises(ValueError, match=place):
        read(tmp_path, text)


def test_spaces_of_all_kinds_and_the_ohm_sign_are_read(tmp_path):
    (part,) = read(tmp_path, full(value="4.7\N{NARROW NO-BREAK SPACE}k\N{OHM SIGN}", note="no\N{NO-BREAK SPACE}break"))
    assert (part.value, part.note) == (4700.0, "no\N{NO-BREAK SPACE}break")


def test_a_cell_kept_from_being_a_formula_reads_as_what_it_says(tmp_path):
    (part,) = read(tmp_path, full(kind="electrolytic capacitor", value="10u", tolerance="'+80/-20%", connections=""))
    assert (part.tolerance_low, part.tolerance_high) == (-0.2, 0.8)
    assert read(tmp_path, full(note="it's"))[0].note == "it's"
    assert read(tmp_path, full(note="'tis"))[0].note == "'tis"


def test_lines_are_counted_as_an_editor_counts_them(tmp_path):
    text = GOOD.replace("by the edge", '"by the\nedge"').replace("100n", "100q")
    with pytest.raises(ValueError, match="line 5, column value"):
        read(tmp_path, text)


def test_other_encodings_are_refused_with_the_way_out(tmp_path):
    with pytest.raises(ValueError, match="line 2: the text is not UTF-8; save"):
        read(tmp_path, HEADER + "\nC1,film capacitor,1\N{MICRO SIGN}0,,,,\n", "cp1252")


def test_a_missing_file_is_said_to_be_missing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # a whole path may be too long to be told to its end
    with pytest.raises(FileNotFoundError, match="nowhere"):
        parts.read_parts("nowhere.csv")


def make(reference="R1", kind="resistor", value=4700.0, unit="Ω", text="4k7", tolerance=np.nan, voltage=np.nan):
    return parts.Part(
        reference, kind, value, unit, text, -tolerance, tolerance, voltage, np.nan, np.nan, connections=(), note=""
    )


# The order is common practice: resistors and diodes, IC sockets, film capacitors, electrolytics, transistors,
# coupler, controls, indicator last.
def test_lowest_parts_come_first_and_the_indicator_last():
    kinds = "indicator potentiometer coupler transistor electrolytic_capacitor film_capacitor integrated_circuit diode resistor"
    mixed = [make(f"X{i}", kind.replace("_", " ")) for i, kind in enumerate(kinds.split())]
    assert [
        part.kind.replace(" ", "_") for part in itertools.chain(*parts.fitting_order(mixed).values())
    ] == kinds.split()[::-1]


def test_inside_a_step_references_are_counted_not_spelled():
    names = ["R10", "R2", "R1", "D1", "RATE", "R2B"]
    mixed = [make(name, "diode" if name == "D1" else "resistor") for name in names]
    assert [part.reference for part in itertools.chain(*parts.fitting_order(mixed).values())] == [
        "R1",
        "R2",
        "R2B",
        "R10",
        "RATE",
        "D1",
    ]


def test_every_kind_has_one_step():
    assert len(set(parts.KINDS)) == len(parts.KINDS)
    steps = parts.fitting_order([make(kind=kind) for kind in reversed(parts.KINDS)])
    assert list(steps) == list(parts.FITTING_STEPS)
    assert sum(map(len, steps.values())) == len(parts.KINDS)
    assert list(parts.fitting_order([make(kind="diode")])) == ["resistors and diodes"] and not parts.fitting_order([])


def test_only_parts_are_sorted_and_described():
    with pytest.raises(TypeError, match="part must be a Part"):
        parts.marking_text("R1")
    with pytest.raises(TypeError, match=r"parts\[0\] must be a Part"):
        parts.fitting_order(["R1"])


@pytest.mark.parametrize(
    ("part", "text"),
    [
        (make(tolerance=0.05), "4.7 kΩ, 4K7: yellow violet red gold"),
        (make(tolerance=0.01), "4.7 kΩ, 4K7: yellow violet black brown brown"),
        (
            make(),
            "4.7 kΩ, 4K7: yellow violet red and a tolerance band, or yellow violet black brown and a tolerance band",
        ),
        (make(value=4990.0, tolerance=0.05), "4.99 kΩ, 4K99"),
        (make(value=4990.0), "4.99 kΩ, 4K99: yellow white white brown and a tolerance band"),
        (make(value=47125.0, text="47.125k", tolerance=0.01), "47.125k"),
        (make(value=0.0), "0 Ω: one black band, or a wire link"),
        (make("P1", "trimmer", 1e4, text="10k"), "10 kΩ, 10K or 103"),
        (make("C1", "film capacitor", 4.7e-9, "F"), "4.7 nF, 4n7 or 472"),
        (make("C1", "ceramic capacitor", 4.99e-9, "F"), "4.99 nF, 4n99"),
        (
            make("C2", "electrolytic capacitor", 1e-5, "F", voltage=25.0),
            "10 µF, 25 V or more: the stripe marks minus, the longer lead plus",
        ),
        (make("C2", "electrolytic capacitor", 1e-5, "F"), "10 µF: the stripe marks minus, the longer lead plus"),
        (make("VR1", "potentiometer", 1e5), "100 kΩ, 100K"),
        (make("L1", "inductor", 1e-3, "H"), "1 mH"),
        (make("D1", "diode", np.nan, "", "1N5817"), "1N5817: the ring marks the cathode"),
        (
            make("D2", "indicator", np.nan, "", "red LED"),
            "red LED: the longer lead is the anode, the flat side the cathode",
        ),
        (make("U1", "integrated circuit", np.nan, "", "TL072"), "TL072: notch or dot at pin 1"),
        (
            make("Q1", "transistor", np.nan, "", "2N5457"),
            "2N5457: check the order of the leads against its sheet",
        ),
        (make("S1", "switch", np.nan, "", "double pole"), "double pole"),
    ],
)
def test_what_to_look_for(part, text):
    assert parts.marking_text(part) == text


@pytest.mark.parametrize(
    ("cells", "field", "found"),
    [
        ({"kind": "electrolytic capacitor", "value": "47u/16V", "rating": ""}, ("value", "voltage_max", "value_text"), (47e-6, 16, "47u")),
        ({"kind": "film", "value": "100n 63 V", "rating": "63 V"}, ("kind", "voltage_max"), ("film capacitor", 63)),
        ({"kind": "electrolytic", "value": "10uF / 25V", "fitted": "22u/6.3V", "rating": ""},
         ("value", "voltage_max", "text_listed"), (22e-6, 6.3, "10uF")),
        ({"kind": "pot", "value": "100k lin"}, ("kind", "value", "law"), ("potentiometer", 100e3, "linear")),
        ({"kind": "potentiometer", "value": "1M audio"}, ("value", "law"), (1e6, "log")),
        ({"kind": "Zener diode", "value": "BZX55C9V1"}, ("kind", "value_text"), ("diode", "BZX55C9V1")),
        ({"kind": "LED", "value": "blue LED"}, ("kind",), ("indicator",)),
    ],
)  # fmt: skip
def test_cells_are_read_as_lists_print_them(tmp_path, cells, field, found):
    (part,) = read(tmp_path, full(**{"connections": "", "rating": "", **cells}))
    assert tuple(getattr(part, name) for name in field) == pytest.approx(found)


@pytest.mark.parametrize(
    ("cells", "why"),
    [
        ({"kind": "film capacitor", "value": "0.047"}, "column value: .* a bare number would be farads; .* 47n"),
        ({"kind": "electrolytic capacitor", "value": "47u16"}, "column value: .* may be 47u and its volts"),
        (
            {"kind": "film capacitor", "value": "1u/63V", "rating": "16 V"},
            "column rating: it gives 16 V, the value 63 V",
        ),
        ({"rating": "16"}, "column rating: .* write its unit, such as 16 V"),
    ],
)
def test_cells_that_two_people_read_differently_are_refused(tmp_path, cells, why):
    with pytest.raises(ValueError, match=why):
        read(tmp_path, full(**{"connections": "", "rating": "", **cells}))


def test_all_slips_of_a_list_are_told_at_once(tmp_path):
    text = GOOD.replace("470R", "470Q").replace("100n", "0.1")
    with pytest.raises(ValueError, match=r"line 3, column value: [^\n]*\n[^\n]*line 4, column value: [^\n]*farads"):
        read(tmp_path, text)
