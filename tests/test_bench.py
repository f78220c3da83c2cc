"""The bench against circuits solved by hand: loading by the meter, the supply, the first that does not fit."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from pedalcalc import bench, devices, tolerance
from pedalcalc.bench._figures import LOWER
from pedalcalc.bench.changes import Move, _worth_telling
from pedalcalc.board import assemble, changed
from pedalcalc.readings import Reading, read_readings, write_readings
from pedalcalc.sheet._text import no_line_text
from tests.circuit_parts import clip, part
from tests.conftest import ROOT
from tests.test_tolerance import resistor

DAY = "2026-03-14 10:32"
BUILDS = ROOT / "notebooks" / "builds"


def divider(ohms, share=0.01, meter=devices.METER_DIGITAL, supply=9.0):
    parts = [clip(), resistor("R1", ohms, share, "rail", "half"), resistor("R2", ohms, share, "half", "ground")]
    return assemble(parts, supply=supply, meter=meter)


def took(place, value, unit="V", condition="", **more):
    return Reading(DAY, "voltage" if unit == "V" else "supply current", place, value, unit, condition, **more)


def as_read(expected):
    """What a faultless meter on a faultless board shows."""
    return [
        took(row.place, row.reading_typical, row.unit, "bypassed" if row.state == "bypassed" else "")
        for row in expected.rows
        if not np.isnan(row.reading_typical)
    ]


DIVIDER = divider(10e3)
BOOSTER = assemble(BUILDS / "jfet-booster" / "parts.csv", supply="9V", rotations={"VR1": 1.0})
CALLS = {
    "changes": {
        "board": DIVIDER,
        "fitted": {"R1": "12k"},
        "step_db": 1.0,
        "step_octave": 0.3,
        "step_time": 0.1,
        "count": 20,
    },
    "expected_readings": {"board": DIVIDER, "count": 50},
    "judge_readings": {"board": DIVIDER, "readings": [took("rail", 9.0), took("half", 4.5)], "count": 50},
    "first_power": {"board": DIVIDER, "resistance": 100.0, "count": 50},
}


def row_of(found, place, state=None):
    return next(row for row in found.rows if row.place == place and state in (None, row.state))


@pytest.mark.parametrize("ohms", [1e3, 1e5, 1e6, 4.7e6])
def test_a_meter_loads_a_divider_as_a_third_resistor_does(ohms):
    # by hand: V R2 || 10 MΩ over R1 + R2 || 10 MΩ
    lower = 1 / (1 / ohms + 1 / 10e6)
    assert row_of(bench.expected_readings(divider(ohms)), "half").reading_typical == pytest.approx(
        9 * lower / (ohms + lower), abs=0.5e-3
    )


def test_a_pointer_meter_loads_by_its_range():
    # 4.5 V is read on the range of 10 V: 20 kΩ/V make 200 kΩ
    lower = 1 / (1 / 1e5 + 1 / 200e3)
    found = bench.expected_readings(divider(1e5, meter=devices.METER_POINTER))
    assert row_of(found, "half").reading_typical == pytest.approx(9 * lower / (1e5 + lower), rel=1e-9)
    assert row_of(found, "half").reading_high - row_of(found, "half").reading_typical > 0.3  # 3 % of 10 V


def test_the_band_is_the_parts_and_the_meter_s():
    # by hand: ends of the ratio for parts that are all at their limits, 0.5 % and two of the last digits
    row = row_of(bench.expected_readings(divider(10e3, 0.05), count=4000, coverage=0.9999), "half")
    highest = 9 * 1.05 / (1.05 + 0.95)
    assert row.reading_high == pytest.approx(highest + 0.005 * highest + 0.001 * 20, abs=0.02)
    without = bench.expected_readings(
        divider(10e3, 0.0, meter=dataclasses.replace(devices.METER_DIGITAL, accuracy=0.0))
    )
    assert row_of(without, "half").reading_high - row_of(without, "half").reading_low == pytest.approx(
        2 * 0.02, rel=1e-3
    )


def test_bands_without_a_meter_are_those_of_tolerance():
    perfect = dataclasses.replace(
        devices.typical(devices.METER_DIGITAL), accuracy=0.0, accuracy_range=0.0, resistance_meter=np.inf
    )
    board = divider(10e3, 0.05, meter=perfect)
    row = row_of(bench.expected_readings(board, count=200, coverage=0.9), "half")
    band = next(one for one in tolerance.bands(board, count=200, coverage=0.9).rows if one.name == "half")
    assert (row.reading_low, row.reading_high) == pytest.approx((band.reading_low, band.reading_high), rel=1e-9)


def test_work_goes_from_the_supply_through_the_signal_path():
    order = list(dict.fromkeys(row.place for row in bench.expected_readings(BOOSTER, count=50).rows))
    assert order[:4] == ["supply in", "supply current", "protected", "rail"]
    assert order.index("gate") < order.index("drain") < order.index("emitter")
    assert "ground" not in order
    assert not {"battery plus", "input jack", "bypass link"} & set(order), "nothing of the board hangs there"


def test_what_the_footswitch_does_not_move_is_listed_once():
    rows = bench.expected_readings(BOOSTER, count=50).rows
    assert [row.state for row in rows if row.place == "drain"] == ["both"]
    assert [row.state for row in rows if row.place == "indicator"] == ["engaged", "bypassed"]
    lit, dark = (row.reading_typical for row in rows if row.place == "indicator")
    assert dark > 8.0
    assert lit < 2.0  # the cathode is open in bypass


def test_a_probe_has_a_pin_that_can_be_reached():
    rows = {row.place: row.probe for row in bench.expected_readings(BOOSTER, count=50).rows}
    assert rows["drain"] == "drain of Q1"
    compressor = assemble(BUILDS / "optical-compressor" / "parts.csv", supply="9V")
    rows = {row.place: row.probe for row in bench.expected_readings(compressor, count=50).rows}
    assert rows["half supply"] == "IC4 pin 3"


def test_a_net_that_nothing_holds_has_words_and_no_number(tmp_path):
    path = tmp_path / "parts.csv"
    path.write_text(
        "reference,kind,value,fitted,tolerance,rating,connections,note\n"
        'X1,connector,battery clip,,,,"plus: rail, minus: ground",\n'
        'R1,resistor,10k,,1%,,"1: rail, 2: ground",\n'
        'C1,film capacitor,22n,,5%,,"1: rail, 2: loose",\n'
        'C2,film capacitor,22n,,5%,,"1: loose, 2: ground",\n'
    )
    row = row_of(bench.expected_readings(assemble(path, supply="9V"), count=50), "loose")
    assert np.isnan(row.reading_typical)
    assert row.note.startswith("floating")


@pytest.mark.parametrize("supplied", [7.2, 9.4])
def test_readings_are_held_against_the_supply_that_was_read(supplied):
    read = as_read(bench.expected_readings(BOOSTER, values={"supply": supplied}))
    judged = bench.judge_readings(BOOSTER, readings=read)
    assert judged.voltage_supply == pytest.approx(supplied)
    assert {row.verdict for row in judged.rows} == {"fits"}
    assert judged.first == ""


def test_a_battery_is_held_to_what_was_read_at_its_clip():
    worn = assemble(BUILDS / "jfet-booster" / "parts.csv", supply="9 V alkaline")
    place = bench.expected_readings(worn, count=50).place_supply
    assert place == "supply in"  # joined to the battery's plus while no plug is in
    order = list(dict.fromkeys(row.place for row in bench.expected_readings(worn, count=50).rows))
    assert order[:4] == ["supply in", "supply current", "protected", "rail"]
    judged = bench.judge_readings(worn, readings=[took("battery plus", 7.5), took("drain of Q1", 4.5)], count=50)
    assert judged.voltage_supply == pytest.approx(7.5, abs=1e-3)
    assert row_of(judged, place).verdict == "fits"


def test_all_low_alike_is_the_adaptor_and_not_as_many_faults():
    board = assemble(
        [
            clip(), resistor("R0", 1.0, 0.01, "rail", "fed"), resistor("R1", 10e3, 0.01, "fed", "half"),
            resistor("R2", 10e3, 0.01, "half", "ground"), resistor("R3", 10e3, 0.01, "fed", "third"),
            resistor("R4", 20e3, 0.01, "third", "ground"),
        ],
        supply=9.0,
    )  # fmt: skip
    read = [took("fed", 8.2), took("half", 4.1), took("third", 8.2 * 2 / 3)]
    judged = bench.judge_readings(board, readings=read)
    assert "9 % low alike" in judged.verdict
    assert judged.voltage_supply == pytest.approx(8.2, rel=2e-3)
    assert judged.first == "rail"
    # one of them right is no supply
    read[1] = took("half", 4.5)
    assert "alike" not in bench.judge_readings(board, readings=read).verdict


def test_the_first_that_does_not_fit_names_the_parts_that_move_it():
    # R4 = 10k where 3k9 belongs: the drain stands low. By hand R4 and Q1 decide the drain, R6 does not.
    read = as_read(bench.expected_readings(changed(BOOSTER, R4="10k")))
    judged = bench.judge_readings(BOOSTER, readings=read)
    assert judged.first == "drain"
    assert {"Q1", "R4"} <= {name for name, _ in judged.depends_on}
    assert "R6" not in {name for name, _ in judged.depends_on}
    assert row_of(judged, "drain").verdict == "low"
    assert row_of(judged, "protected").verdict == "fits"


@pytest.mark.parametrize(
    ("wrong", "read"),  # Ohm's law for three of 10 kΩ in a row on 9 V
    [("R1", (5.4, 2.7)), ("R2", (7.2, 1.8)), ("R3", (81 / 11, 63 / 11))],
)
def test_the_part_that_alone_explains_all_comes_first(wrong, read):
    factor = {"R1": 4 / 3, "R2": 3.0, "R3": 3.5}[wrong]
    nets = (("rail", "upper"), ("upper", "lower"), ("lower", "ground"))
    chain = [resistor(f"R{k + 1}", 10e3, 0.01, *ends) for k, ends in enumerate(nets)]
    taken = [took("rail", 9.0), *(took(*one) for one in zip(("upper", "lower"), read, strict=True))]
    judged = bench.judge_readings(assemble([clip(), *chain], supply=9.0), readings=taken)
    assert judged.depends_on[0][0] == wrong
    assert f"all that was read fits {wrong} at about {factor:.2g} times its value; on '" in judged.verdict
    assert "bridges to a neighbour, too" in judged.verdict
    short = [took("rail", 9.0), took("upper", 4.5), took("lower", 4.5)]  # R2 is a bridge
    told = bench.judge_readings(assemble([clip(), *chain], supply=9.0), readings=short).verdict
    assert re.search(r"fits R2 at 1/\d+ of its value or less \(a colour read wrong\), or shorted", told)
    both = [took("rail", 9.0), took("upper", 2.0), took("lower", 1.9)]  # R1 too large and R2 too small
    judged = bench.judge_readings(assemble([clip(), *chain], supply=9.0), readings=both)
    assert "none of them alone explains" in judged.verdict and "bridges to a neighbour, first" in judged.verdict


@pytest.mark.parametrize("lower", [2.72, 2.77, 2.82, 2.86])
def test_a_part_explains_all_where_nothing_is_left_outside_its_band(lower):
    """By hand: R1 of every size from a half to twice its value in the divider, the least sum of squares in half widths."""
    nets = (("rail", "upper"), ("upper", "lower"), ("lower", "ground"))
    chain = [resistor(f"R{k + 1}", 10e3, 0.01, *ends) for k, ends in enumerate(nets)]
    taken = [took("rail", 9.0), took("upper", 5.4), took("lower", lower)]
    judged = bench.judge_readings(assemble([clip(), *chain], supply=9.0), readings=taken)
    half = {row.place: (row.reading_high - row.reading_low) / 2 for row in judged.rows}
    through = 9.0 / (10e3 * np.geomspace(0.5, 2.0, 20001) + 20e3)
    misses = np.array([(5.4 - 20e3 * through) / half["upper"], (lower - 10e3 * through) / half["lower"]])
    most = np.abs(misses[:, np.argmin((misses**2).sum(axis=0))]).max()
    assert abs(most - 1) > 0.05 and (re.search(r"fits .*R1 at about", judged.verdict) is not None) == (most < 1)


#: A stage with a common emitter as a textbook biases it.
COMMON_EMITTER = [
    resistor("R1", 47e3, 0.05, "rail", "base"), resistor("R2", 10e3, 0.05, "base", "ground"),
    resistor("R3", 4.7e3, 0.05, "rail", "collector"), resistor("R4", 1e3, 0.05, "emitter", "ground"),
    part("Q1", "transistor", np.nan, "", "2N3904", base="base", collector="collector", emitter="emitter"),
]  # fmt: skip


@pytest.mark.parametrize("factor", [3.0, 1 / 3])
@pytest.mark.parametrize("wrong", ["R1", "R2", "R3", "R4"])
def test_a_wrong_resistor_of_a_stage_is_named_first(wrong, factor):
    """Base, collector and emitter tell one resistor from another; R1 and R2 only by what the stage draws."""
    board = assemble([clip(), *COMMON_EMITTER], supply=9.0)
    value = next(one.value for one in COMMON_EMITTER if one.reference == wrong)
    read = as_read(bench.expected_readings(board, values={wrong: value * factor}, count=20))
    judged = bench.judge_readings(board, readings=read, count=50)
    assert judged.depends_on[0][0] == wrong
    told = re.search(rf"{wrong} at about (\S+) times its value", judged.verdict)
    assert float(told[1]) == pytest.approx(factor, rel=0.1)


def test_a_resistor_of_a_tenth_is_named_though_the_rest_lies_at_its_ends():
    """The others are 5 % off, as their tolerance allows: what one wrong part leaves then may lie just outside a band."""
    board = assemble([clip(), *COMMON_EMITTER], supply=9.0)
    off = {"R1": 47e3 * 0.95, "R2": 10e3 * 1.05, "R3": 470.0, "R4": 1.05e3}
    judged = bench.judge_readings(
        board, readings=as_read(bench.expected_readings(board, values=off, count=20)), count=50
    )
    assert judged.depends_on[0][0] == "R3"
    assert re.search(r"all that was read comes near to R3 at about 0\.\d+ times its value;", judged.verdict)


def test_a_joint_that_carries_no_current_is_named_where_nothing_comes_through():
    """What feeds an input alone moves no reading until it is open: the meter then reads 0 V (Ohm's law)."""
    pins = {"1": "out", "2": "out", "3": "in", "4": "ground", "5": "half", "6": "spare", "7": "spare", "8": "rail"}
    amp = part("IC1", "integrated circuit", np.nan, "", "TL072", **{f"_{pin}": net for pin, net in pins.items()})
    fed = [
        resistor("R1", 10e3, 0.01, "rail", "half"),
        resistor("R2", 10e3, 0.01, "half", "ground"),
        resistor("R3", 10e3, 0.01, "half", "in"),
    ]
    read = [took("rail", 9.0), took("half", 4.5), took("in", 0.0)]
    judged = bench.judge_readings(assemble([clip(), amp, *fed], supply=9.0), readings=read, count=50)
    assert (judged.first, judged.depends_on[0][0]) == ("in", "R3")
    assert "R3 at 1000 times its value or more (a colour read wrong), or open" in judged.verdict
    assert "at which lead of IC1 is which" in judged.verdict


def test_work_begins_where_a_reading_is_clearly_out():
    """What is just outside may be pulled there by what is far out, as a rail is by a part that draws too much."""
    rows = bench.expected_readings(BOOSTER, count=50)
    protected, drain = (row_of(rows, net) for net in ("protected", "drain"))
    read = [
        took("protected", protected.reading_low - 0.1 * (protected.reading_high - protected.reading_low)),
        took("drain", drain.reading_low - (drain.reading_high - drain.reading_low)),
    ]
    judged = bench.judge_readings(BOOSTER, readings=read, count=50)
    assert [row.verdict for row in judged.rows] == ["low", "low"]
    assert judged.first == "drain" and "'drain' (engaged) is the first that clearly does not fit" in judged.verdict
    assert bench.judge_readings(BOOSTER, readings=read[:1], count=50).first == "protected"


def test_widths_count_from_the_end_of_the_band():
    row = row_of(bench.expected_readings(DIVIDER, count=50), "half")
    read = row.reading_high + 3 * (row.reading_high - row.reading_low)
    judged = bench.judge_readings(DIVIDER, readings=[took("rail", 9.0), took("half", read)], count=50)
    assert row_of(judged, "half").widths == pytest.approx(3.0)


def test_a_place_may_be_a_pin():
    judged = bench.judge_readings(
        BOOSTER, readings=[took("drain of Q1", 5.0), took("Q2 base", 5.0, condition="bypassed")]
    )
    assert [(row.place, row.state) for row in judged.rows] == [("drain", "engaged"), ("drain", "bypassed")]


@pytest.mark.parametrize(
    ("read", "why"),
    [
        ([took("drian", 5.0)], "near it are drain"),
        ([took("drain", 5.0), took("Q1 drain", 5.0)], "stands there twice"),
        ([Reading(DAY, "LED current", "D2", 1e-3, "A", "")], "is not judged"),
        ([Reading(DAY, "voltage", "drain", 5.0, "A", "")], "must be in V"),
        ([took("drain", np.nan)], "hold no voltage"),
        ([took("drain", 5.0, serial="1"), took("gate", 0.0, serial="2")], "several units"),
        ([took("drain", 5.0, meter_text="digital"), took("gate", 0.0, meter_text="pointer")], "several meters"),
        ([took("supply in", 0.0), took("drain", 0.0)], "must be above 0 V"),
    ],
)
def test_readings_that_cannot_be_judged_are_refused(read, why):
    with pytest.raises(ValueError, match=why):
        bench.judge_readings(BOOSTER, readings=read, count=50)


def test_a_unit_is_picked_by_its_serial_and_read_with_its_meter():
    read = [took("half", 4.5, serial="1", meter_text="digital"), took("half", 6.0, serial="2", meter_text="digital")]
    fits, high = (bench.judge_readings(DIVIDER, readings=read, serial=one).rows[0].verdict for one in "12")
    assert (fits, high) == ("fits", "high")
    with pytest.raises(ValueError, match="serial '3' has no readings"):
        bench.judge_readings(DIVIDER, readings=read, serial="3")


def test_first_power_by_hand():
    # 9 V over 100 Ω and 20 kΩ; a short leaves 9 V and 0.81 W
    found = bench.first_power(divider(10e3, 0.0))
    assert found.rows[0].voltage_across == pytest.approx(9 * 100 / 20100)
    assert (found.rows[-1].voltage_across, found.rows[-1].power) == pytest.approx((9.0, 0.81))
    assert found.cautions == ()


def test_first_power_allows_for_the_print_of_the_resistor():
    """A resistor 5 % off its print, by Ohm's law in the circuit, shows what the band holds, and the band is hardly wider."""
    row = bench.first_power(divider(10e3, 0.0)).rows[0]
    for ohms, end in ((95.0, row.voltage_low), (105.0, row.voltage_high)):
        shown = 9 * ohms / (20000 + ohms)
        assert row.voltage_low <= shown <= row.voltage_high
        assert shown == pytest.approx(end, rel=1e-3)


def test_first_power_tells_of_watts_and_of_a_starved_build():
    assert "burns more than 2 W" in bench.first_power(divider(10e3, supply=18.0)).cautions[0].what
    assert "starved" in bench.first_power(divider(100.0)).cautions[0].what


@pytest.mark.parametrize(("ohms", "line"), [(25.0, False), (32.0, True), (10e3, True)])
def test_a_build_that_takes_two_thirds_of_the_supply_has_no_line_to_pull_the_plug_at(ohms, line):
    """Through 100 Ω two of 25 Ω take 3 V of the 9 and leave 6, half more of which is the 9 V of a short (Ohm's law)."""
    found = bench.first_power(divider(ohms, 0.0))
    assert ("no line to pull the plug at" in no_line_text(found)) == (not line)
    assert found.voltage_stop == pytest.approx(
        1.5 * found.rows[0].voltage_high if line else 9.0
    )  # no meter shows more than the supply


def test_first_power_follows_the_footswitch():
    lines = {row.what: row for row in bench.first_power(BOOSTER).rows}
    lamp = lines["healthy, engaged"].voltage_across - lines["healthy, bypassed"].voltage_across
    assert lamp == pytest.approx(0.15, abs=0.02)  # the indicator's 1.5 mA
    assert lines["healthy, engaged"].voltage_low < lines["healthy, engaged"].voltage_across


def test_readings_hold_serial_and_meter(tmp_path):
    read = [took("half", 4.5, serial="7", meter_text="digital"), took("rail", 9.0)]
    path = write_readings(tmp_path / "one.csv", readings=read)
    again = read_readings(path)
    assert [(one.serial, one.meter_text) for one in again] == [("7", "digital"), ("", "")]
    plain = write_readings(tmp_path / "two.csv", readings=read[1:]).read_text(encoding="utf-8")
    assert plain.splitlines()[0] == "date_time,what,place,value,unit,condition"


def test_a_comma_is_the_decimal_mark_where_semicolons_part(tmp_path):
    path = tmp_path / "half.csv"
    head = "date_time;what;place;value;unit;condition\n2026-03-14 10:32;voltage;half;"
    path.write_text(f"{head}4,51;V;\n", encoding="utf-8")
    assert read_readings(path)[0].value == 4.51
    path.write_text(f"{head}1.004,5;V;\n", encoding="utf-8")
    with pytest.raises(ValueError, match="a comma and a point"):
        read_readings(path)
    path.write_text(head.replace(";", ",") + '"4,51",V,\n', encoding="utf-8")
    with pytest.raises(ValueError, match="decimal mark as a point"):
        read_readings(path)


def verdict(board, **fitted):
    return bench.changes(board, fitted=fitted)[0].verdict


def test_a_swap_is_judged_in_words():
    # R1 of a divider by hand: 10.2k inside 5 % of 10k, 22k far outside
    wide = divider(10e3, 0.05)
    assert verdict(wide, R1="10.2k") == "within tolerance"
    assert verdict(wide, R1="22k").startswith("moves readings: half 4.50 V before, 2.81 V after")
    assert verdict(wide, R1="10k") == "nothing you can measure"
    assert verdict(BOOSTER, C5="220n") == "nothing you can measure"  # beside 100 µF
    # by hand: (100 Ω and the supply diode) 100 µF ln 100
    assert verdict(BOOSTER, C4="220u") == "changes a time: settling of rail 51 ms before, 110 ms after"
    assert "does not fit" in verdict(wide, R1="nonsense")


def test_what_is_heard_is_told_by_the_step_that_is_heard():
    # C1 with R3 of 1 MΩ and the guitar's 10 kΩ is a high-pass by itself: 1/(2 pi R C), 72 Hz for 2.2 nF; at 82 Hz
    # 10 lg(1 + (72/82)²) = 2.5 dB are gone
    told = verdict(BOOSTER, C1="2n2")
    assert told.startswith("changes the sound: 2.5 dB quieter at 82 Hz, less bass")
    assert verdict(BOOSTER, C1="18n") in ("within tolerance", "nothing you can measure")
    deaf = bench.changes(BOOSTER, fitted={"C1": "2n2"}, step_db=30.0, step_octave=9.0)[0].verdict
    assert "changes the sound" not in deaf


def test_leads_that_go_round_the_other_way_are_told():
    assert "Q2 fits electrically but its leads go round the other way" in verdict(BOOSTER, Q2="2N3904")
    assert "other way" not in verdict(BOOSTER, R1="120R")
    closed = verdict(BOOSTER, Q1="BS170")  # 0 V at its gate do not open it
    assert "Q1 is of another kind, and its leads go round the other way" in closed
    assert "nothing comes out any more at 82 Hz, 1 kHz and 5 kHz" in closed and "quieter" not in closed


def test_a_swap_beyond_a_rating_says_so():
    assert "beyond a rating" in verdict(BOOSTER, R7="100R")  # 70 mA through a lamp made for 20


def test_a_board_is_held_against_its_own_list():
    assert bench.changes(BOOSTER) == ()
    fitted = changed(BOOSTER, C1="2n2", C2="10u")
    rows = bench.changes(fitted)
    assert [row.reference for row in rows] == ["C1", "C2", "all together"]
    assert (rows[0].text_listed, rows[0].value_text) == ("22n", "2n2")
    alone = bench.changes(BOOSTER, fitted={"C1": "2n2"})[0]
    assert rows[0].verdict == alone.verdict
    with pytest.raises(ValueError, match="has no R99"):
        bench.changes(BOOSTER, fitted={"R99": "1k"})


def test_ends_of_what_passes_are_those_of_one_pole():
    from pedalcalc.bench._figures import SWEEP, _ends_of

    low, high = _ends_of(-10 * np.log10(1 + (50 / SWEEP) ** 2) - 10 * np.log10(1 + (SWEEP / 8e3) ** 2))
    assert (low, high) == pytest.approx((50.0, 8e3), rel=0.02)
    assert np.isnan(_ends_of(np.zeros(len(SWEEP)))).all()


def test_a_sound_that_nobody_can_predict_is_said_to_be_so():
    boost = assemble(BUILDS / "your-build" / "parts.csv", supply="9V")
    told = verdict(boost, R2="1M")  # half supply at 0.2 V: below the input range
    assert "cannot be predicted" in told
    assert "bass" not in told
    assert "lowest supply" not in told


def test_nets_that_a_link_joins_keep_their_names():
    boost = assemble(BUILDS / "your-build" / "parts.csv", supply="9V")
    moves = {move.what: move for move in bench.changes(boost, fitted={"R1": "0R"})[0].moves}
    assert moves["rail"].after == pytest.approx(8.82, abs=0.02)
    assert not any(np.isnan(move.after) for move in moves.values())


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"value": np.inf}, "reading at 'half' must be"),
        ({"value": 1e300}, "reading at 'half' must be"),
        ({"value": np.array([1.0, 2.0])}, "reading at 'half' must be one number"),
        ({"condition": "bypased"}, "condition at 'half' is 'bypased'"),
    ],
)
def test_a_reading_that_is_none_is_refused_where_it_was_taken(changed, words):
    taken = dataclasses.replace(took("half", 4.5), **changed)
    with pytest.raises(ValueError, match=words):
        bench.judge_readings(DIVIDER, readings=[taken], count=20)


def test_readings_are_expected_of_one_build():
    with pytest.raises(ValueError, match="values must be one number"):
        bench.expected_readings(DIVIDER, values={"R1": np.full(20, 1e3)}, count=20)


def plus_at_ground(tmp_path):
    """Return an invented stage around one germanium transistor, the battery's plus at ground through the input jack."""
    path = tmp_path / "parts.csv"
    path.write_text(
        "reference,kind,value,fitted,tolerance,rating,connections,note\n"
        'J1,jack,stereo 6.35 mm,,,,"tip: in, ring: battery plus, sleeve: ground",input\n'
        'J2,jack,mono 6.35 mm,,,,"tip: out, sleeve: ground",output\n'
        'B1,battery,9 V zinc-carbon,,,,"plus: battery plus, minus: minus rail",\n'
        'R1,resistor,470k,,5%,,"1: minus rail, 2: base",\n'
        'R2,resistor,68k,,5%,,"1: base, 2: ground",\n'
        'R3,resistor,3k9,,5%,,"1: emitter, 2: ground",\n'
        'R4,resistor,10k,,5%,,"1: collector, 2: minus rail",\n'
        'R5,resistor,100k,,5%,,"1: out, 2: ground",\n'
        'C1,film capacitor,100n,,10%,,"1: in, 2: base",\n'
        'C2,film capacitor,100n,,10%,,"1: collector, 2: out",\n'
        'C3,electrolytic capacitor,47u,,20%,16 V,"plus: ground, minus: minus rail",\n'
        'Q1,transistor,OC44,,,,"base: base, collector: collector, emitter: emitter",\n'
    )
    return assemble(path, supply="9 V zinc-carbon")


def test_a_build_with_its_plus_at_ground_is_read_from_its_minus(tmp_path):
    found = bench.expected_readings(plus_at_ground(tmp_path), count=60)
    assert found.place_supply == found.rows[0].place == "minus rail"
    rows = {row.place: row.reading_typical for row in found.rows}
    assert -9.5 < found.voltage_supply == rows["minus rail"] < -7
    # by hand: what the emitter's resistor carries flows through the collector's, but for the base's hundredth
    fall = (rows["collector"] - rows["minus rail"]) / -rows["emitter"]
    assert fall == pytest.approx(10e3 / 3.9e3, rel=0.05)


def test_readings_below_ground_are_held_against_the_supply_that_was_read(tmp_path):
    board = plus_at_ground(tmp_path)
    expected = bench.expected_readings(board, count=60)
    low = [took(row.place, 0.9 * row.reading_typical) for row in expected.rows if row.unit == "V"]
    found = bench.judge_readings(board, readings=low, count=60)
    assert found.first == ""
    assert found.voltage_supply == pytest.approx(0.9 * expected.voltage_supply, abs=2e-3)
    with pytest.raises(ValueError, match=r"must be below 0 V, got 7\.5 V"):
        bench.judge_readings(board, readings=[took("minus rail", 7.5)], count=60)


def test_the_footswitch_is_no_short_cut_of_the_way_that_is_worked_through():
    board = assemble(ROOT / "notebooks" / "builds" / "your-build" / "parts.csv", supply=9.0)
    order = [row.place for row in bench.expected_readings(board, count=60).rows]
    way = [
        order.index(net)
        for net in ("supply in", "rail", "effect in", "biased input", "boosted", "effect out", "indicator")
    ]
    assert way == sorted(way)


def test_a_supply_that_was_not_read_is_asked_for():
    board = divider(10e3)
    found = bench.judge_readings(board, readings=[took("half", 4.0)])
    assert found.verdict.endswith("the supply was not read: read 'rail' first, all else hangs on it")
    edge = row_of(bench.expected_readings(board), "half")
    barely = edge.reading_high + 0.02 * (edge.reading_high - edge.reading_low)
    assert "high and just outside its band" in bench.judge_readings(board, readings=[took("half", barely)]).verdict


def test_an_end_that_moves_under_a_new_peak_is_no_loss_of_bass():
    """A filter that peaks lifts the highest gain, from which 3 dB are counted; the low note beyond its end stays as it was."""

    def move(what, before, after, unit):
        return Move(what=what, before=before, after=after, reading_low=0.0, reading_high=0.0, unit=unit, audible=True)

    peak, lower = move("gain at 5 kHz", 17.0, 13.5, "dB"), move(LOWER, 238.0, 344.0, "Hz")
    assert _worth_telling([peak, lower]) == [peak]
    low = move("gain at 82 Hz", 8.8, 2.0, "dB")
    assert _worth_telling([low, lower]) == [low, lower]
    deep = move(LOWER, 20.0, 60.0, "Hz")
    assert _worth_telling([deep]) == [deep]


def test_a_substitute_of_the_other_polarity_does_not_fit():
    assert (
        verdict(BOOSTER, Q2="BC559B")
        == "does not fit: Q2 must be npn, BC559B is pnp: all its currents go the other way"
    )


def test_open_pins_of_a_package_are_no_other_order_of_leads(tmp_path):
    text = (BUILDS / "optical-compressor" / "parts.csv").read_text(encoding="utf-8")
    open_boost = text.replace("1: pump supply, 2: pump switch", "1: not connected, 2: pump switch")
    assert open_boost != text
    for name, listed in (("boosted", text), ("open", open_boost)):
        (tmp_path / f"{name}.csv").write_text(listed, encoding="utf-8")
    verdicts = [
        bench.changes(assemble(tmp_path / f"{name}.csv", supply=9.0), fitted={"IC1": "ICL7660"}, count=20)[0].verdict
        for name in ("boosted", "open")
    ]
    assert ["IC1: nothing is at pin 1, its boost before (from memory: check)" in one for one in verdicts] == [
        True,
        False,
    ]
    assert not any("other way" in one for one in verdicts)
