"""From the text of a type to its record."""

from __future__ import annotations

import collections
import csv
import dataclasses
from pathlib import Path

import numpy as np
import pytest

from pedalcalc import board, catalogue, devices, parts
from pedalcalc.catalogue._resolve import pin_roles
from pedalcalc.circuit import operating_point

BUILDS = Path(__file__).parents[1] / "notebooks" / "builds"


def make(kind, text, pins, *, value=np.nan, law="", reference="X1"):
    connections = tuple(parts.Connection(*pair) for pair in pins.items())
    return parts.Part(
        reference, kind, value, "", text, np.nan, np.nan, 16.0, np.nan, np.nan, connections, "", law=law,
        place="parts.csv, line 2",
    )  # fmt: skip


DUAL = {str(pin): net for pin, net in enumerate(["a", "b", "c", "ground", "d", "e", "f", "rail"], 1)}
DIODE = make("diode", "1N4148", {"anode": "in", "cathode": "out"})
CALLS = {
    "find_device": {"text": "TL072"},
    "resolve_parts": {"parts": (DIODE,)},
}


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("TL072", "OPAMP_TL072"), ("tl072cp", "OPAMP_TL072"), ("TL 072 ACP", "OPAMP_TL072"), ("TL072CN", "OPAMP_TL072"),
        ("JRC4558D", "OPAMP_4558"), ("NJM4558DD", "OPAMP_4558"), ("4558", "OPAMP_4558"), ("uPC4558C", "OPAMP_4558"),
        ("NE5532P", "OPAMP_NE5532"), ("5532", "OPAMP_NE5532"), ("LM358N", "OPAMP_LM358"),
        ("7660", "CONVERTER_7660"), ("ICL7660CPA", "CONVERTER_7660"), ("TC7660", "CONVERTER_7660"),
        ("7660A", "CONVERTER_7660A"), ("ICL7660ACPA", "CONVERTER_7660A"), ("1044S", "CONVERTER_1044S"),
        ("TC1044SCPA", "CONVERTER_1044S"), ("MAX1044CPA", "CONVERTER_MAX1044"), ("LTC1044CN", "CONVERTER_LTC1044"),
        ("1N 4148", "DIODE_1N4148"), ("1n4148", "DIODE_1N4148"), ("1N914", "DIODE_1N4148"), ("4148", "DIODE_1N4148"),
        ("1N-5817", "DIODE_1N5817"), ("BZX55-C9V1", "ZENER_BZX55C9V1"), ("2n5457", "JFET_2N5457"),
        ("BC549C", "BJT_BC549C"), ("bc549cta", "BJT_BC549C"), ("BS170", "MOSFET_BS170"), ("IRF9540N", "MOSFET_IRF9540"),
        ("GL5528", "LDR_GL5528"), ("NORP-12", "LDR_NORP12"), ("NSL-28", "COUPLER_NSL28"),
        ("blue LED", "LED_BLUE"), ("LED, blue", "LED_BLUE"), ("yellow LED", "LED_YELLOW"), ("pure green LED", "LED_GREEN_INGAN"),
        ("yellow-green LED", "LED_GREEN_GAP"), ("red GaAsP LED", "LED_RED_GAASP"),
        ("yellow-green LED and GL5528", "COUPLER_GREEN_GAP_GL5528"), ("6LR61", "BATTERY_9V_ALKALINE"),
        ("9 V alkaline", "BATTERY_9V_ALKALINE"), ("9V NiMH", "BATTERY_9V_NIMH"), ("9 V regulated", "ADAPTOR_9V_REGULATED"),
        ("3PDT footswitch", "PINOUT_SWITCH_3PDT"), ("2.1 mm barrel", "PINOUT_BARREL"),
        ("stereo 6.35 mm", "PINOUT_JACK_STEREO"), ("6.35 mm stereo jack", "PINOUT_JACK_STEREO"),
    ],
)  # fmt: skip
def test_a_text_finds_its_record(text, name):
    assert catalogue.find_device(text) is getattr(devices, name)


def test_every_record_is_found_by_its_name_its_constant_and_its_other_texts():
    from pedalcalc.devices import _tables

    for kind in _tables.CLASSES:
        for entry in _tables.own(kind).values():
            for text in (entry.device.name, entry.device.name.upper(), *entry.also):
                if text != "1044":
                    assert catalogue.find_device(text) is entry.device, text


def test_the_lower_limit_rules_unless_the_maker_is_named():
    """One maker's 1044 takes 10 V (sheet 19-4667), another's 9 V (from memory)."""
    assert catalogue.find_device("1044").voltage_supply_max == 9.0
    assert catalogue.find_device("XY1044").voltage_supply_max == 9.0
    assert catalogue.find_device("MAX1044").voltage_supply_max == 10.0


@pytest.mark.parametrize(
    ("text", "candidates"),
    [
        ("green LED", ["LED_GREEN_GAP", "LED_GREEN_INGAN"]),
        ("red LED", ["LED_RED_ALINGAP", "LED_RED_GAASP"]),
        ("green LED and GL5528", ["COUPLER_GREEN_GAP_GL5528", "COUPLER_GREEN_GL5528"]),
        ("BC549", ["BJT_BC549B", "BJT_BC549C"]),
        ("9 V", ["BATTERY_9V_ALKALINE", "BATTERY_9V_LITHIUM", "ADAPTOR_9V_REGULATED"]),
    ],
)
def test_a_text_that_fits_several_is_refused_with_all_of_them(text, candidates):
    with pytest.raises(ValueError, match=f"text '{text}' fits several parts: .*; say which") as told:
        catalogue.find_device(text)
    assert all(name in str(told.value) for name in candidates)


@pytest.mark.parametrize(
    ("text", "near"),
    [
        ("7665", "CONVERTER_7660 "),
        ("TL072H", "OPAMP_TL072"),
        ("TL092", "OPAMP_TL062.*OPAMP_TL072"),
        ("1N4149", "DIODE_1N4148"),
        ("GL5529", "LDR_GL5528"),
        ("2N545", "JFET_2N5457.*JFET_2N5458"),
    ],
)
def test_a_text_that_fits_none_is_refused_with_what_is_near(text, near):
    with pytest.raises(ValueError, match=f"text '{text}' fits no part of the tables; near it are .*{near}"):
        catalogue.find_device(text)


def test_other_refusals():
    with pytest.raises(ValueError, match="fits no part of the tables among diode and zener and led; name one"):
        catalogue.find_device("flux capacitor", kind="diode")
    with pytest.raises(ValueError, match="not of the kind 'diode' but of 'integrated circuit'"):
        catalogue.find_device("TL072", kind="diode")
    with pytest.raises(ValueError, match="kind must be one of"):
        catalogue.find_device("TL072", kind="chip")
    with pytest.raises(ValueError, match="text must name the type"):
        catalogue.find_device(" - ")
    with pytest.raises(TypeError, match="text must be the type of a part as text"):
        catalogue.find_device(4558)


def test_a_kind_narrows_the_search():
    assert catalogue.find_device("NiMH", kind="battery") is devices.BATTERY_9V_NIMH
    assert catalogue.find_device("log", kind="potentiometer") is devices.TAPER_LOG


def test_a_table_of_a_builders_own_goes_first(tmp_path):
    path = tmp_path / "drawer.csv"
    path.write_text(
        "diode,name,also,voltage_forward [V],current_reference [mA],ideality,resistance_series [Ω],origin\n"
        "mine,my 1N4148,1N4148,0.65,1,1.8,0.6,own readings\n",
        encoding="utf-8",
    )
    assert catalogue.find_device("1n4148", tables=[path]).voltage_forward == 0.65
    assert catalogue.find_device("1n4148") is devices.DIODE_1N4148
    assert catalogue.find_device("TL072", tables=[path]) is devices.OPAMP_TL072
    path.write_text(
        path.read_text(encoding="utf-8") + "other,your 1N4148,1N4148,0.64,1,1.8,0.6,own readings\n", encoding="utf-8"
    )
    with pytest.raises(
        ValueError, match=r"my 1N4148 in drawer.csv, line 2, your 1N4148 in drawer.csv, line 3; say which"
    ):
        catalogue.find_device("1N4148", tables=[path])


def test_the_longest_type_that_a_text_begins_with_is_meant(tmp_path):
    """A grade with a row of its own: XA072ACP is an XA072A in a P package, and no XA072 of grade AC."""
    path = tmp_path / "drawer.csv"
    with (Path(devices.__file__).parent / "tables" / "op_amp.csv").open(newline="", encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    plain = dict(zip(head, next(row for row in rows if row[0] == "TL072"), strict=True))
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, head)
        table.writeheader()
        for name, most in (("XA072", "36"), ("XA072A", "44")):
            table.writerow(plain | {"op-amp": name, "name": name, "also": "", "voltage_supply_max [V]": most})
    for text, most in (("XA072CP", 36.0), ("XA072ACP", 44.0), ("XA072AP", 44.0)):
        assert catalogue.find_device(text, tables=[path]).voltage_supply_max == most


# --- pins ----------------------------------------------------------------------------------------


def roles(part):
    (found,) = catalogue.resolve_parts([part])
    return [(pin.unit, pin.role, pin.net) for pin in found.pins]


def test_pins_of_integrated_circuits_by_number():
    found = roles(make("integrated circuit", "TL072", DUAL))
    assert found[0] == ("1", "output", "a") and found[4] == ("2", "non-inverting input", "d")
    assert found[3] == ("", "negative rail", "ground") and found[7] == ("", "positive rail", "rail")
    pump = roles(make("integrated circuit", "1044S", DUAL))
    assert pump[0][1] == "boost" and pump[7][1] == "supply"


def test_pins_by_role_and_by_number():
    by_role = roles(make("transistor", "2N5457", {"drain": "a", "gate": "b", "source": "c"}))
    by_number = roles(make("transistor", "2N5457", {"1": "a", "3": "b", "2": "c"}))
    assert by_role == by_number == [("", "drain", "a"), ("", "source", "c"), ("", "gate", "b")]
    with pytest.raises(
        ValueError, match="makers of '2N5460' differ in the order of its leads; name the pins by role: drain, gate"
    ):
        roles(make("transistor", "2N5460", {"1": "a", "2": "b", "3": "c"}))
    assert roles(make("transistor", "2N5460", {"Drain": "a", "source": "b", "gate": "c"}))[0][1] == "drain"


@pytest.mark.parametrize(
    ("part", "expected"),
    [
        (make("resistor", "4k7", {"1": "a", "2": "b"}, value=4700.0), [("", "end"), ("", "end")]),
        (make("electrolytic capacitor", "10u", {"plus": "a", "minus": "b"}, value=1e-5), [("", "plus"), ("", "minus")]),
        (make("battery", "6LR61", {"plus": "a", "minus": "b"}), [("", "plus"), ("", "minus")]),
        (make("indicator", "blue LED", {"anode": "a", "cathode": "b"}), [("", "anode"), ("", "cathode")]),
        (make("photocell", "GL5528", {"1": "a", "2": "b"}), [("", "end"), ("", "end")]),
        (
            make("potentiometer", "100k", {"1": "a", "2": "b", "3": "c"}, value=1e5, law="log"),
            [("", "anticlockwise end"), ("", "wiper"), ("", "clockwise end")],
        ),
        (
            make("connector", "2.1 mm barrel", {"centre": "a", "outer": "b", "outer switch": "c"}),
            [("", "centre"), ("", "outer"), ("", "touches outer without a plug")],
        ),
        (
            make("switch", "SPDT toggle", {"pole 1 common": "a", "pole 1 effect": "b", "pole 1 bypass": "c"}),
            [("pole 1", "common"), ("pole 1", "effect"), ("pole 1", "bypass")],
        ),
        (
            make("jack", "stereo 6.35 mm switched", dict.fromkeys(["tip", "ring", "sleeve", "tip switch", "ring switch"], "a")),
            [("", "tip"), ("", "ring"), ("", "sleeve"), ("", "touches tip without a plug"), ("", "touches ring without a plug")],
        ),
    ],
)  # fmt: skip
def test_pins_of_each_kind(part, expected):
    assert [pin[:2] for pin in roles(part)] == expected


@pytest.mark.parametrize(
    ("kind", "text", "pins"),
    [
        # order of leads as on the part: lugs of a control and marks of polarity common practice, package orders from memory
        ("potentiometer", "100k", "1 2 3"), ("electrolytic capacitor", "10u", "plus minus"), ("diode", "1N4148", "anode cathode"),
        ("transistor", "2N3904", "emitter base collector"), ("transistor", "2N7000", "source gate drain"),
        ("integrated circuit", "TL072", "1 2 3 4 5 6 7 8"), ("regulator", "78L05", "output ground input"),
    ],
)  # fmt: skip
def test_pins_stand_as_on_the_part_however_the_list_writes_them(kind, text, pins):
    named = pins.split()
    for order in (named, named[::-1], named[1:] + named[:1]):
        part = make(kind, text, {pin: f"net {pin}" for pin in order}, value=1e-5, law="log")
        (found,) = catalogue.resolve_parts([part])
        assert [(pin.pin, pin.net) for pin in found.pins] == [(pin, f"net {pin}") for pin in named]


def test_a_list_in_any_order_of_pins_is_the_same_circuit(tmp_path):
    """A log control clockwise passes all, an electrolytic with its plus on the plus is not reversed (by hand)."""
    path = tmp_path / "parts.csv"
    path.write_text(
        "reference,kind,value,fitted,tolerance,rating,connections,note\n"
        'X1,connector,battery clip,,,,"minus: ground, plus: rail",\n'
        'C1,electrolytic capacitor,10u,,,16 V,"minus: ground, plus: rail",\n'
        'VR1,potentiometer,10k log,,,,"3: rail, 2: wiper, 1: ground",\n'
        'Q1,transistor,2N3904,,,,"base: base, collector: rail, emitter: emitter",\n'
        'R1,resistor,100k,,,,"1: rail, 2: base",\nR2,resistor,1k,,,,"1: emitter, 2: ground",\n'
        'R3,resistor,1M,,,,"1: wiper, 2: ground",\n',
        encoding="utf-8",
    )
    at = {turned: board.assemble(path, supply=9.0, rotations={"VR1": turned}) for turned in (0.0, 0.5, 1.0)}
    points = {turned: operating_point(one) for turned, one in at.items()}
    # 15 % of a log track lies below the middle (common practice); 5 Ω are left at either end
    assert [points[turned].voltages["wiper"] for turned in at] == pytest.approx([0.0, 1.35, 9.0], abs=5e-3)
    assert points[0.5].cautions == ()
    # Turned round, emitter and collector are exchanged and the base stays: the base-collector junction then drives R2.
    turned = operating_point(at[0.5], faults={"Q1": "reversed"})
    assert 0.4 < turned.voltages["base"] - turned.voltages["emitter"] < 0.8


@pytest.mark.parametrize(
    ("part", "message"),
    [
        (
            make("integrated circuit", "TL072", {pin: net for pin, net in DUAL.items() if pin != "5"}),
            r"missing: 5 \(non-inverting input\); a pin that is left open is written '5: not connected'",
        ),
        (make("integrated circuit", "TL072", DUAL | {"9": "x"}), "pin '9' is not known; the pins are 1, 2, 3, 4, 5, 6, 7, 8, as 'TL072' has them"),
        (make("transistor", "2N5457", {"drain": "a", "gate": "b"}), "missing: source; a pin that is left open"),
        (make("transistor", "BC549C", {"drain": "a", "gate": "b", "source": "c"}), "pin 'drain' is not known; the pins are emitter, base, collector|pin 'drain' is not known; the pins are collector, base, emitter"),
        (make("diode", "2N3904", {"anode": "a", "cathode": "b"}), "'2N3904' is not of the kind 'diode' but of 'transistor': write that as its kind"),
        (make("diode", "1N4841", {"anode": "a", "cathode": "b"}), "near it are DIODE_1N4148"),
        (make("indicator", "3mm red LED", {"anode": "a", "cathode": "b"}), "text '3mm red LED' fits several parts: LED_RED_ALINGAP"),
        (make("jack", "stereo 6.35 mm", {"tip": "a", "sleeve": "b"}), "missing: ring; .* 'ring: not connected'"),
        (make("switch", "3PDT footswitch", {"1": "a", "2": "b"}), "pin '1' is not known; the pins are pole 1 common,"),
        (make("potentiometer", "100k", {"1": "a", "2": "b", "3": "c"}, value=1e5), "its law is not in the list; write it behind the value, such as '100k linear'"),
        (make("diode", "1N4149", {"anode": "a", "cathode": "b"}), "text '1N4149' fits no part .*DIODE_1N4148"),
        (make("indicator", "red LED", {"anode": "a", "cathode": "b"}), "fits several parts: LED_RED_ALINGAP"),
        (make("diode", "1N4148", {}), "it has no connections"),
    ],
)  # fmt: skip
def test_what_cannot_be_resolved_is_refused_with_file_line_and_reference(part, message):
    with pytest.raises(ValueError, match=f"^parts.csv, line 2, X1: .*{message}|^parts.csv, line 2, X1: {message}"):
        catalogue.resolve_parts([part])


def test_all_that_is_wrong_is_told_at_once():
    bad = [make("diode", "1N4149", {"anode": "a", "cathode": "b"}, reference=name) for name in ("D1", "D2")]
    with pytest.raises(ValueError, match=r"line 2, D1: .*\nparts.csv, line 2, D2: "):
        catalogue.resolve_parts([bad[0], DIODE, bad[1]])
    with pytest.raises(TypeError, match=r"parts\[0\] must be a Part"):
        catalogue.resolve_parts(["D1"])
    with pytest.raises(ValueError, match="device must be a record that says which pin of '1N4148' is which"):
        pin_roles(DIODE)


def test_records_of_what_has_a_value():
    ceramic = [
        make("ceramic capacitor", "x", {"1": "a", "2": "b"}, value=value) for value in (47e-12, 680e-12, 10e-9, 1e-7)
    ]
    *some, second = catalogue.resolve_parts(ceramic)
    # Below 1 nF the small ones are C0G, common practice.
    assert [found.device.name[-3:] for found in (*some, second)] == ["C0G", "C0G", "X7R", "X7R"]
    assert (second.device.capacitance, second.device.voltage_max) == (1e-7, 16.0)
    trimmer = make("trimmer", "10k", {"1": "a", "2": "b", "3": "c"}, value=1e4)
    (found,) = catalogue.resolve_parts([trimmer])
    assert found.device is devices.TAPER_LINEAR


def test_a_builders_own_part_sits_as_its_kind_does(tmp_path):
    path = tmp_path / "drawer.csv"
    path.write_text(
        "diode,name,also,voltage_forward [V],current_reference [mA],ideality,resistance_series [Ω],origin\n"
        "mine,my 1N4148,1N4148,0.65,1,1.8,0.6,own readings\n",
        encoding="utf-8",
    )
    (found,) = catalogue.resolve_parts([DIODE], tables=[path])
    assert found.device.voltage_forward == 0.65 and found.pins[1].role == "cathode"


def test_a_lower_rating_of_the_list_is_the_limit_of_the_listed_part():
    """Of a lamp, a diode and the lamp of a coupler; a higher one, or that of a part that is not fitted, changes nothing."""
    ends = {"anode": "a", "cathode": "b"}
    red, silicon = devices.LED_RED_GAASP, devices.DIODE_1N4148
    lamp = make("indicator", "red GaAsP LED", ends)
    for amps, limit in ((0.01, 0.01), (0.5, red.current_max), (np.nan, red.current_max)):
        (found,) = catalogue.resolve_parts([dataclasses.replace(lamp, current_max=amps)])
        assert found.device.current_max == limit and found.device.voltage_forward == red.voltage_forward
    (found,) = catalogue.resolve_parts([dataclasses.replace(DIODE, voltage_max=50.0, current_max=0.1)])
    assert (found.device.voltage_reverse_max, found.device.current_max) == (50.0, 0.1)
    fitted = dataclasses.replace(DIODE, voltage_max=20.0, text_listed="1N5817")
    assert catalogue.resolve_parts([fitted])[0].device is silicon
    pins = {"LED anode": "a", "LED cathode": "b", "cell a": "c", "cell b": "d"}
    coupler = dataclasses.replace(make("coupler", "yellow-green LED and GL5528", pins), current_max=5e-3)
    assert catalogue.resolve_parts([coupler])[0].device.led.current_max == 5e-3
    chip = make("integrated circuit", "TL071", {str(pin): "not connected" for pin in range(1, 9)})
    for volts, limit in ((18.0, 18.0), (60.0, devices.OPAMP_TL071.voltage_supply_max)):
        assert (
            catalogue.resolve_parts([dataclasses.replace(chip, voltage_max=volts)])[0].device.voltage_supply_max
            == limit
        )
    transistor = make("transistor", "BC549C", {"emitter": "a", "base": "b", "collector": "c"})
    (found,) = catalogue.resolve_parts([dataclasses.replace(transistor, voltage_max=25.0, power_max=0.1)])
    assert (found.device.voltage_max, found.device.power_max) == (25.0, 0.1)


def test_what_is_wrong_in_a_table_is_told_once_however_long_the_list(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text(
        "led,name,colour,voltage_forward [V],current_reference [mA],ideality,resistance_series [Ω],origin\n"
        "mine,amber,yellow,about 2,2,2,5,own readings\n",
        encoding="utf-8",
    )
    with pytest.raises(
        ValueError, match=r"^own.csv, line 2, column voltage_forward \[V\]: 'about 2' is not a figure"
    ) as told:
        catalogue.resolve_parts([DIODE] * 3, tables=[path])
    assert "\n" not in str(told.value)


# --- the lists of the builds ---------------------------------------------------------------------


@pytest.mark.parametrize("build", sorted(path.parent.name for path in BUILDS.glob("*/parts.csv")))
def test_every_list_of_a_build_is_whole(build):
    """Each part has its record, each pin its role, and no net ends at a single pin."""
    found = catalogue.resolve_parts(parts.read_parts(BUILDS / build / "parts.csv"))
    nets = collections.Counter(pin.net for part in found for pin in part.pins)
    assert not [net for net, count in nets.items() if count < 2 and net != parts.NOT_CONNECTED]
    by_kind = {part.part.kind: part for part in found}
    plugs = [{pin.role: pin.net for pin in part.pins} for part in found if part.part.kind == "connector"]
    (barrel,) = (roles for roles in plugs if "centre" in roles)
    (clip,) = (roles for roles in plugs if "plus" in roles)
    battery = {pin.role: pin.net for pin in by_kind["battery"].pins}
    # With a plug in the barrel connector its break contact takes the battery off.
    assert barrel["touches outer without a plug"] == battery["plus"] != barrel["outer"]
    assert clip == battery
    assert barrel["centre"] == "ground" and barrel["outer"] == "supply in"


def test_a_list_of_before_is_refused_with_the_cure(tmp_path):
    path = tmp_path / "parts.csv"
    path.write_text(
        "reference,kind,value,tolerance,rating,connections,note\n"
        'VR1,potentiometer,100k,20%,,"1: a, 2: b, 3: c","level, log law"\n'
        'S1,switch,3PDT footswitch,,,"1: a, 2: b",\n',
        encoding="utf-8",
    )
    with pytest.raises(
        ValueError, match=r"parts.csv, line 2, VR1: its law .*'100k linear'.*\nparts.csv, line 3, S1: pin '1'"
    ):
        catalogue.resolve_parts(parts.read_parts(path))


def test_an_led_may_clip():
    (found,) = catalogue.resolve_parts([make("diode", "blue LED", {"anode": "in", "cathode": "ground"})])
    assert type(found.device) is devices.Led
    assert "longer lead" in parts.marking_text(found.part)


@pytest.mark.parametrize("text", ["PP3", "9V battery", "9 V block", "pp3 battery"])
def test_a_block_battery_is_asked_for_its_chemistry(text):
    # PP3 is the trade's name of the size in which 6LR61 and 6F22 come (from memory).
    with pytest.raises(ValueError, match=r"fits several parts: .*ALKALINE.*LITHIUM.*NIMH.*ZINC_CARBON.*say which"):
        catalogue.find_device(text, kind="battery")
    assert catalogue.find_device(f"{text} alkaline", kind="battery").chemistry == "alkaline manganese"
