"""From the text of a type to its record."""

from __future__ import annotations

import pytest

from pedalcalc import catalogue, devices

CALLS = {"find_device": {"text": "TL072"}}


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("TL072", "OPAMP_TL072"), ("tl072cp", "OPAMP_TL072"), ("TL 072 ACP", "OPAMP_TL072"), ("TL072CN", "OPAMP_TL072"),
        ("JRC4558D", "OPAMP_4558"), ("NJM4558DD", "OPAMP_4558"), ("4558", "OPAMP_4558"), ("uPC4558C", "OPAMP_4558"),
        ("NE5532P", "OPAMP_NE5532"), ("5532", "OPAMP_NE5532"), ("LM358N", "OPAMP_LM358"),
        ("7660", "CONVERTER_7660"), ("ICL7660CPA", "CONVERTER_7660"), ("TC7660", "CONVERTER_7660"),
        ("7660A", "CONVERTER_7660A"), ("ICL7660ACPA", "CONVERTER_7660A"), ("1044S", "CONVERTER_1044S"),
        ("TC1044SCPA", "CONVERTER_1044S"), ("MAX1044CPA", "CONVERTER_1044"), ("LTC1044CN", "CONVERTER_LTC1044"),
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
        ("7660S", "CONVERTER_7660 "),
        ("TL072H", "OPAMP_TL072"),
        ("TL082", "OPAMP_TL062.*OPAMP_TL072"),
        ("1N4149", "DIODE_1N4148"),
        ("GL5529", "LDR_GL5528"),
        ("2N545", "JFET_2N5457.*JFET_2N5458"),
    ],
)
def test_a_text_that_fits_none_is_refused_with_what_is_near(text, near):
    with pytest.raises(ValueError, match=f"text '{text}' fits no part of the tables; near it are .*{near}"):
        catalogue.find_device(text)


def test_other_refusals():
    with pytest.raises(ValueError, match="fits no part of the tables among diode and zener; name one"):
        catalogue.find_device("flux capacitor", kind="diode")
    with pytest.raises(ValueError, match="fits no part of the tables among diode and zener"):
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
