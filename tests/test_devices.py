"""Records: their tables, their checks, types and specimens, and the junction written in one point."""

from __future__ import annotations

import csv
import dataclasses
import importlib
import re
import subprocess
import sys
import weakref

import numpy as np
import pytest

from pedalcalc import devices
from pedalcalc._record import ends, specimen
from pedalcalc._result import Spread
from pedalcalc.devices import _tables
from pedalcalc.laws import junction_in_series, junction_voltage
from tests.conftest import REFERENCE, read_rows

NAN, INF = float("nan"), float("inf")
CALLS = {
    "typical": {"record": devices.LDR_GL5528},
    "low": {"record": devices.JFET_2N5457},
    "high": {"record": devices.JFET_2N5457},
    "drawn": {"record": devices.JFET_2N5457, "count": 5, "seed": 1},
    "capacitor": {"record": devices.CAPACITOR_ELECTROLYTIC, "capacitance": 1e-5, "voltage_rating": 16.0},
}
RECORDS = {name: record for name in devices.__all__ if isinstance(record := getattr(devices, name), devices.Device)}
CLASSES = sorted({type(record) for record in RECORDS.values()}, key=lambda cls: cls.__name__)
SOURCES = {row["key"] for row in read_rows(REFERENCE / "sources.csv")}

# What may be negative, nothing, or without end; every other figure may not.
SIGNED = {
    "voltage_gate_source_off", "temperature_coefficient", "light_temperature_coefficient",
    "resistance_temperature_coefficient", "input_margin_top", "input_margin_bottom", "voltage_offset_signed",
}  # fmt: skip
ZERO = SIGNED | {
    "ideality", "resistance_series", "current_leakage", "resistance_slope", "current_collector_base_leakage",
    "zero_bias_scatter", "current_gate_leakage", "voltage_offset", "current_bias", "resistance_output_open",
    "headroom_top", "headroom_bottom", "current_idle", "current_idle_boosted", "resistance_floor", "rise_exponent",
    "fall_exponent", "resistance_fresh", "resistance_empty", "loss_tangent", "resistance_lead", "leakage_rate",
    "current_leakage_least", "current_ground", "current_load_min", "tolerance", "resistance_end", "accuracy", "accuracy_range", "voltage_burden",
} - {"voltage_gate_source_off"}  # fmt: skip
ENDLESS = {
    "current_gain", "current_gain_reverse", "voltage_early", "voltage_gate_source_max", "gain_open_loop",
    "gain_bandwidth", "slew_rate", "voltage_low_pin_grounded", "resistance_dark", "time_insulation", "resistance_insulation_max", "resistance_meter",
}  # fmt: skip


def _figures(record):
    return [field.name for field in dataclasses.fields(record) if "limits" in field.metadata]


def _one_of_each():
    return {cls: devices.typical(next(r for r in RECORDS.values() if type(r) is cls)) for cls in CLASSES}


# --- tables --------------------------------------------------------------------------------------


def test_every_class_has_a_table_and_every_row_is_exported():
    assert {cls.__name__ for cls in CLASSES} == {cls.__name__ for cls in _tables.CLASSES.values()}
    rows = 0
    for kind in _tables.CLASSES:
        with open(_tables.TABLES / f"{kind.replace('-', '_')}.csv", encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                rows += 1
                name = f"{kind.replace('-', '').upper()}_{row[kind]}"
                assert name in devices.__all__ and name in dir(devices)
                assert getattr(devices, name).name == row["name"]
                assert getattr(devices, name) is getattr(devices, name)
    assert rows == len(RECORDS)
    assert {path.stem for path in _tables.TABLES.glob("*")} == {kind.replace("-", "_") for kind in _tables.CLASSES}


def test_no_record_hides_inside_another():
    """A LED or cell that stands in a coupler is a row of its own."""
    known = set(map(id, RECORDS.values()))

    def inner(record):
        for field in dataclasses.fields(record):
            value = getattr(record, field.name)
            for part in value if isinstance(value, tuple) else (value,):
                if isinstance(part, devices.Device):
                    assert id(part) in known, f"{record.name}: {part.name} is not exported"
                    inner(part)

    for record in RECORDS.values():
        inner(record)
    with pytest.raises(AttributeError, match="no attribute 'LED_PINK'"):
        _ = devices.LED_PINK


def test_every_figure_has_an_origin_or_a_mark():
    words = ("from memory", "common practice", "typical chosen", "the middle taken", "mirrored")
    for kind in _tables.CLASSES:
        header, rows = _tables._raw(kind)
        for row in rows:
            marks = [row.cells["origin"]]
            for column in header[1:]:
                found = _tables.FIGURE.fullmatch(row.cells[column]) or _tables.RANGE.fullmatch(row.cells[column])
                if (
                    found
                    and found["mark"]
                    and column not in ("name", "also", "note", "origin", "entries", "view", "package")
                ):
                    marks.append(found["mark"])
            for mark in marks:
                known = SOURCES & set(re.findall(r"[A-Z0-9][A-Z0-9-]+[A-Z0-9]", mark))
                assert known or any(word in mark for word in words), f"{kind} {row.cells[kind]}: {mark!r}"


def test_milliampere_hours_are_3_6_coulombs():
    """550 mAh of the NINE-VOLT sheet are 1980 A s."""
    assert tuple(ends(devices.BATTERY_9V_ALKALINE.charge)) == pytest.approx((1800.0, 1980.0, 2160.0), rel=1e-12)


def test_volts_a_microsecond_are_millions_a_second():
    """13 V/µs of the SHEET-TL072."""
    assert devices.OPAMP_TL072.slew_rate.typical == pytest.approx(13e6, rel=1e-12)


def test_names_within_a_class_differ():
    for cls in CLASSES:
        names = [record.name.casefold() for record in RECORDS.values() if type(record) is cls]
        assert len(names) == len(set(names)), cls.__name__


def test_a_table_of_a_builders_own(tmp_path):
    path = tmp_path / "my-leds.csv"
    header = "led,name,also,colour,voltage_forward [mV],current_reference [mA],ideality,resistance_series [Ω],origin"
    path.write_text(f"{header}\nmine,amber,,yellow,min 1700 max 1900,2,2,5,own readings\n", encoding="utf-8")
    (entry,) = _tables.entries(path)
    assert entry.device.voltage_forward[0] == 1.7 and entry.device.voltage_forward[2] == 1.9
    assert entry.device.current_reference == 0.002 and np.isnan(entry.device.current_max)
    assert entry.device.origin == "own readings" and entry.place == "my-leds.csv, line 2"
    path.write_text(path.read_text(encoding="utf-8").replace(",", ";"), encoding="utf-8")  # as other spreadsheets do
    assert _tables.entries(path)[0].device.current_reference == 0.002
    typed = header.replace("[mA]", "[uA]").replace("[Ω]", "[mohm]")  # what a keyboard has
    path.write_text(f"{typed}\nmine,amber,,yellow,1800,2000,2,5000,own readings\n", encoding="utf-8")
    assert _tables.entries(path)[0].device.current_reference == 0.002
    assert _tables.entries(path)[0].device.resistance_series == 5


@pytest.mark.parametrize(
    ("header", "row", "message"),
    [
        ("lamp,name,origin", "a,b,c", "line 1: the first column says what the table holds, one of adaptor"),
        ("led,name,origin,price", "a,b,c,1", "line 1: column 'price' is not known"),
        ("led,name,origin,voltage_forward [mA]", "a,b,c,1", r"line 1: column 'voltage_forward \[mA\]' must be in V"),
        ("led,name,origin", "a,b,c", "line 1: column colour is missing"),
        ("led,origin", "a,c", "line 1: column name is missing"),
        ("{good}", ",b,red,1.8,2,2,5,c", "line 2, column led: it is empty"),
        (
            "{good}",
            "a,b,red,,2,2,5,c",
            r"line 2, column voltage_forward \[V\]: it is empty; a Led needs voltage_forward",
        ),
        (
            "ldr,name,resistance_10lx [kΩ],gamma,resistance_dark [MΩ],resistance_floor [Ω],rise_exponent,fall_exponent,origin",
            "a,b,10,0.7,1,60,0.4,0.3,c",
            "line 2, column time_rise_10lx: it is empty; a Ldr needs time_rise_10lx or time_to_63 or time_to_37",
        ),
        ("{good}", "a,b,red,1.8,2,2,5,", "line 2, column origin: it is empty"),
        ("{good}", "a,b,red,about 2,2,2,5,c", r"line 2, column voltage_forward \[V\]: 'about 2' is not a figure"),
        (
            "{good}",
            "a,b,red,max 2 min 1,2,2,5,c",
            r"line 2, column voltage_forward \[V\]: 'max 2 min 1' is not a figure",
        ),
        ("{good}", "a,b,red,min 2 max 1,2,2,5,c", "line 2, column led: Led 'b': voltage_forward must rise"),
        ("{good}", "a,b,pink,1.8,2,2,5,c", "line 2, column led: Led 'b': colour must be one of"),
        ("{good}", "a,b,red,-1.8,2,2,5,c", "line 2, column led: Led 'b': voltage_forward must be above 0"),
        ("{good}", "a,b,red,1.8,2,2,5,c\na,b,red,1.8,2,2,5,c", "line 3, column led: 'a' stands already in line 2"),
        ("led,name,origin,led", "a,b,c,d", "column led stands there twice"),
    ],
)
def test_tables_are_refused_with_line_and_column(tmp_path, header, row, message):
    good = "led,name,colour,voltage_forward [V],current_reference [mA],ideality,resistance_series [Ω],origin"
    path = tmp_path / "own.csv"
    path.write_text(f"{header.format(good=good)}\n{row}\n", encoding="utf-8")
    with pytest.raises(ValueError, match=f"own.csv, .*{message}|own.csv, {message}"):
        _tables.entries(path)


def test_times_of_a_sheet_give_the_time_constants(tmp_path):
    """To 63 % of conductance is one time constant, down to 37 % as well, where the fall is a plain exponential."""
    path = tmp_path / "cells.csv"
    path.write_text(
        "ldr,name,resistance_10lx [kΩ],gamma,resistance_dark [MΩ],resistance_floor [Ω],rise_exponent,fall_exponent,"
        "time_to_63 [ms],time_to_37 [ms],origin\na,b,10,0.7,open,0,0.4,0,20,30,own readings\n",
        encoding="utf-8",
    )
    cell = _tables.entries(path)[0].device
    assert (cell.time_rise_10lx, cell.time_fall_10lx) == (pytest.approx(0.020), pytest.approx(0.030))
    assert cell.resistance_dark == INF


def test_the_light_of_a_coupler_from_its_distance(tmp_path):
    """E = I_v / d², 4.5 cd at 20 mA (RGB-LAMP) as the power 0.9 of the current, 20 mm away."""
    path = tmp_path / "couplers.csv"
    path.write_text(
        "coupler,name,led,cell,distance [mm],current_reference [mA],origin\na,b,GREEN_INGAN,GL5528,20,20,own\n",
        encoding="utf-8",
    )
    assert _tables.entries(path)[0].device.illuminance_reference == pytest.approx(4.5 / 0.02**2)
    path.write_text(path.read_text(encoding="utf-8").replace("GREEN_INGAN", "PINK"), encoding="utf-8")
    with pytest.raises(ValueError, match="line 2, column led: 'PINK' is no led of the package; there are RED_GAASP"):
        _tables.entries(path)


def test_importing_the_package_reads_no_table():
    code = (
        "import sys, pedalcalc; assert not any(m.startswith('pedalcalc.devices') for m in sys.modules); "
        "from pedalcalc import devices; assert 'scipy' not in sys.modules; "
        "assert devices._tables.own.cache_info().currsize == 0; devices.LED_BLUE; "
        "assert devices._tables.own.cache_info().currsize == 2"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


# --- a record is checked once, when it is made ---------------------------------------------------


@pytest.mark.parametrize("cls", CLASSES, ids=lambda cls: cls.__name__)
def test_every_field_of_every_class_is_checked(cls):
    part = _one_of_each()[cls]
    for field in dataclasses.fields(cls):
        name = field.name
        if name in _figures(part):
            bad = [(TypeError, value) for value in ("4k7", None, True, 1j, [None])]
            bad += [] if name in SIGNED else [(ValueError, -1.0), (ValueError, Spread(-1.0, 1.0, 2.0))]
            bad += [] if name in ZERO else [(ValueError, 0.0)]
            bad += [] if name in ENDLESS else [(ValueError, INF), (ValueError, np.array([1e-3, INF]))]
            bad += [(ValueError, -INF), (ValueError, Spread(0.3, 0.2, 0.1)), (TypeError, Spread("1", 2.0, 3.0))]
        elif field.metadata["unit"] == "text":
            bad = [(TypeError, 1.0)] + ([] if field.metadata["blank"] else [(ValueError, "  ")])
            bad += [(ValueError, "Germanium"), (ValueError, "")] if field.metadata["allowed"] else []
        elif field.metadata["unit"] == "bool":
            bad = [(TypeError, "yes"), (TypeError, 1)]
        else:
            bad = [(TypeError, "x"), (TypeError, ("x",))]
        for error, value in bad:
            with pytest.raises(error, match=rf"^{cls.__name__} .*{name}"):
                dataclasses.replace(part, **{name: value})
        if name in _figures(part):
            dataclasses.replace(part, **{name: NAN})
            if name in ENDLESS:
                dataclasses.replace(part, **{name: INF})


def test_a_refusal_names_record_field_value_and_what_is_allowed():
    with pytest.raises(
        ValueError, match=r"^Bjt '2N3904': material must be one of 'silicon', 'germanium', got 'Germanium'"
    ):
        dataclasses.replace(devices.BJT_2N3904, material="Germanium")
    with pytest.raises(ValueError, match=r"^Diode '1N4148': ideality must be at least 0 and finite, got -1"):
        dataclasses.replace(devices.DIODE_1N4148, ideality=-1.0)


@pytest.mark.parametrize(
    ("record", "change", "message"),
    [
        ("JFET_2N5457", {"voltage_gate_source_off": 2.0}, "voltage_gate_source_off must be below 0"),
        ("JFET_2N5460", {"voltage_gate_source_off": -2.0}, "voltage_gate_source_off must be above 0"),
        ("JFET_2N5457", {"voltage_gate_source_off": 0.0}, "voltage_gate_source_off must be below 0"),
        (
            "LED_BLUE",
            {"resistance_series": 200.0},
            "voltage_forward must be above the 4 V that resistance_series drops",
        ),
        ("OPAMP_TL072", {"voltage_supply_max": 5.0}, "voltage_supply_max must be above voltage_supply_min"),
        ("CONVERTER_7660", {"voltage_supply_max": 1.0}, "voltage_supply_max must be above voltage_supply_min"),
        ("CONVERTER_7660", {"resistance_thevenin": 19.0}, "resistance_thevenin must be above 20 Ω"),
        ("MOSFET_BS170", {"voltage_gate_on": 2.0}, "voltage_gate_on must be above voltage_threshold"),
        ("BATTERY_9V_ALKALINE", {"voltage_knee": 9.55}, "voltage_knee must be at most voltage_fresh"),
        ("ADAPTOR_9V_REGULATED", {"voltage_open": 8.0}, "voltage_rated must be at most voltage_open"),
        ("ZENER_BZX55C9V1", {"resistance_slope": 2000.0}, "resistance_slope must be small enough to drop less"),
        ("PINOUT_LED", {"entries": ()}, "entries must name at least one pin"),
        ("PINOUT_LED", {"entries": (devices.Pin("1", "", "a"),) * 2}, "entries must name each pin once"),
    ],
)
def test_fields_that_contradict_each_other_are_refused(record, change, message):
    with pytest.raises(ValueError, match=message):
        dataclasses.replace(getattr(devices, record), **change)


# --- type and specimen ---------------------------------------------------------------------------


def test_missing_parts_of_a_range_are_filled_in():
    assert ends(Spread(1.0, NAN, 4.0)) == (1, 2, 4)
    assert ends(Spread(-4.0, NAN, -1.0)) == (-4, -2, -1)
    assert ends(Spread(-1.0, NAN, 3.0)) == (-1, 1, 3)
    assert ends(Spread(NAN, NAN, 3.0)) == (3, 3, 3)
    assert ends(Spread(NAN, 2.0, 3.0)) == (2, 2, 3)
    assert ends(7.0) == (7, 7, 7)
    assert np.isnan(ends(Spread(NAN, NAN, NAN))).all()
    np.testing.assert_array_equal(ends(Spread(np.array([1.0, 2.0]), NAN, 8.0)).typical, [8**0.5, 4])


@pytest.mark.parametrize("name", RECORDS)
def test_a_specimen_of_every_record_has_plain_numbers(name):
    record = RECORDS[name]
    for part in (devices.typical(record), devices.low(record), devices.high(record)):
        assert specimen("part", part, type(record)) is part
        assert devices.typical(part) is part and part.name == record.name
        for figure in _figures(part):
            value = getattr(part, figure)
            assert isinstance(value, (float, int)), figure
    many = devices.drawn(record, count=40, seed=3)
    again = devices.drawn(record, count=40, seed=3)
    other = devices.drawn(record, count=40, seed=4)
    for figure in _figures(record):
        value, drawn = getattr(record, figure), getattr(many, figure)
        np.testing.assert_array_equal(drawn, getattr(again, figure))
        if isinstance(value, Spread) and figure != "transconductance":
            low, _, high = ends(value)
            assert (
                drawn.shape == (40,)
                and np.all((drawn >= low * (1 - 1e-12)) | (low < 0))
                and np.all(drawn <= high + 1e-9)
            )
            assert low == high or np.any(drawn != getattr(other, figure))


def test_formulas_refuse_a_type_and_name_the_way_out():
    with pytest.raises(
        TypeError, match=r"led must be one part .* voltage_forward is a range; take devices.typical\(led\)"
    ):
        specimen("led", devices.LED_BLUE, devices.Led)
    with pytest.raises(TypeError, match=r"coupler .* its led.voltage_forward is a range"):
        specimen("coupler", devices.COUPLER_STEEP, devices.Coupler)
    with pytest.raises(TypeError, match="led must be a Led record, not Diode"):
        specimen("led", devices.DIODE_1N4148, devices.Led)
    nothing = r"led must be a Led record, not None: nothing was given; pedalcalc.devices has them, and .*find_device"
    with pytest.raises(TypeError, match=nothing):
        specimen("led", None, devices.Led)
    with pytest.raises(TypeError, match=f"Coupler '.*': {nothing}"):
        dataclasses.replace(devices.COUPLER_STEEP, led=None)
    with pytest.raises(
        TypeError, match=r"current_gain must be .*, not None: nothing was given, and nan stands for what is not"
    ):
        dataclasses.replace(devices.BJT_BC549C, current_gain=None)
    with pytest.raises(TypeError, match=r"take devices.typical\(record\)"):
        _ = devices.LED_BLUE.current_saturation
    with pytest.raises(TypeError, match=r"resistance must be a number .* not the range .* devices.typical\(record\)"):
        junction_in_series(9.0, resistance=Spread(1.0, 2.0, 3.0), junction=devices.typical(devices.DIODE_1N4148))


def test_where_the_geometric_mean_serves_the_origin_says_so():
    part = devices.typical(devices.LDR_GL5528)
    assert part.resistance_10lx == pytest.approx(np.sqrt(10e3 * 20e3), rel=1e-15)
    assert "typical by the geometric mean of the ends: resistance at 10 lx" in part.origin
    assert "geometric" not in devices.typical(devices.BJT_BC549B).origin
    assert devices.LDR_GL5528.origin in part.origin


def test_the_usual_part_is_made_once_of_a_type_and_drawn_parts_are_not_held():
    assert devices.typical(devices.BJT_2N3904) is devices.typical(devices.BJT_2N3904)
    many = devices.drawn(devices.BJT_2N3904, count=10, seed=1)
    drawn = weakref.ref(many.current_gain)
    assert devices.typical(many) is many
    del many
    assert drawn() is None


def test_low_passes_least_and_high_most():
    weak, strong = devices.low(devices.JFET_2N5457), devices.high(devices.JFET_2N5457)
    assert (weak.current_drain_zero_bias, weak.voltage_gate_source_off) == (1e-3, -0.5)
    assert (strong.current_drain_zero_bias, strong.voltage_gate_source_off) == (5e-3, -6.0)
    assert weak.transconductance == pytest.approx(2 * 1e-3 / 0.5)
    mirrored = devices.low(devices.JFET_2N5460), devices.high(devices.JFET_2N5460)
    assert [part.voltage_gate_source_off for part in mirrored] == [0.75, 6.0]
    assert devices.low(devices.LED_BLUE).voltage_forward > devices.high(devices.LED_BLUE).voltage_forward
    assert devices.low(devices.LDR_GL5528).resistance_10lx == 20e3
    assert devices.low(devices.OPAMP_TL072).headroom_top == 3.0
    assert devices.high(devices.MOSFET_BS250).voltage_threshold == 1.0
    assert devices.low(devices.COUPLER_GREEN_GL5528).cell.resistance_10lx == 20e3


def test_drawn_figures_keep_their_middle_and_what_belongs_together():
    count = 20_000
    many = devices.drawn(devices.BJT_BC549B, count=count, seed=7)
    below = np.mean(many.current_gain < 290)
    assert below == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(count))
    # Between ends of one sign by ratio, so that a range of ten either way is as wide to both sides.
    wide = dataclasses.replace(devices.BJT_BC549B, current_gain=Spread(1.0, 10.0, 100.0))
    decades = np.log10(devices.drawn(wide, count=count, seed=7).current_gain)
    assert np.mean(decades) == pytest.approx(1.0, abs=4 * np.std(decades) / np.sqrt(count))
    assert np.quantile(decades, 0.25) - 1 == pytest.approx(1 - np.quantile(decades, 0.75), abs=0.02)
    jfets = devices.drawn(devices.JFET_2N5457, count=count, seed=7)
    off, idss = jfets.voltage_gate_source_off, jfets.current_drain_zero_bias
    strength, usual = idss / off**2, 3e-3 / (0.5 * 6.0)
    assert 0.7 * usual <= strength.min() < 0.71 * usual and 1.29 * usual < strength.max() <= 1.3 * usual
    assert np.corrcoef(np.log(idss), np.log(-off))[0, 1] > 0.8
    assert idss.min() >= 1e-3 and idss.max() <= 5e-3 and off.min() >= -6 and off.max() <= -0.5
    np.testing.assert_allclose(jfets.transconductance, 2 * idss / -off)
    adaptors = devices.drawn(devices.ADAPTOR_9V_REGULATED, count=50, seed=1)
    np.testing.assert_array_equal(adaptors.voltage_open, adaptors.voltage_rated)
    with pytest.raises(ValueError, match="count must be one whole number"):
        devices.drawn(devices.LED_BLUE, count=2.5, seed=1)
    sliver = Spread(0.5e-3 * (1 - 1e-14), 0.5e-3, 0.5e-3 * (1 + 1e-14))
    narrow = dataclasses.replace(devices.JFET_J201, current_drain_zero_bias=sliver)
    with pytest.raises(RuntimeError, match="no part with IDSS"):
        devices.drawn(narrow, count=5, seed=1)


# --- a junction is written in one point of its sheet ---------------------------------------------


@pytest.mark.parametrize(
    "name", [name for name, record in RECORDS.items() if hasattr(type(record), "current_saturation")]
)
def test_the_law_goes_through_the_point_of_the_sheet(name):
    part = devices.typical(RECORDS[name])
    drop = junction_voltage(part.current_reference, junction=part)
    assert drop == pytest.approx(part.voltage_forward, rel=1e-12)
    # What the pump, the MOSFET and the coupler's lamp take from the record is Shockley's law through the same point.
    if np.all(part.ideality > 0):
        inner = part.voltage_forward - part.current_reference * part.resistance_series
        slope = part.ideality * 1.380649e-23 * 300 / 1.602176634e-19
        assert part.current_saturation * np.expm1(inner / slope) == pytest.approx(part.current_reference, rel=1e-9)


def test_ideality_0_is_a_constant_drop():
    part = dataclasses.replace(devices.typical(devices.DIODE_1N4148), ideality=0.0, resistance_series=0.0)
    assert part.current_saturation == 0
    many = dataclasses.replace(part, voltage_forward=np.array([0.6, 0.7]), ideality=np.array([0.0, 1.0]))
    assert many.current_saturation[0] == 0 < many.current_saturation[1]


def test_published_points():
    """1N5817 sheet PD-20646: 0.42 V typical at 1 A. Low-current lamps, HLMP-1700 family: 1.8 V typical at 2 mA."""
    assert devices.typical(devices.DIODE_1N5817).voltage_forward == 0.42
    lamp = devices.typical(devices.LED_RED_GAASP)
    assert (lamp.voltage_forward, lamp.current_reference) == (1.8, 0.002)
    # The spread is either way from the middle: pure green and blue, 2.85 to 3.55 V at 20 mA.
    assert devices.LED_BLUE.voltage_spread == pytest.approx(0.35)
    assert devices.LED_RED_GAASP.voltage_spread == pytest.approx(0.2)


# --- what follows from a record ------------------------------------------------------------------


def test_converter_switches_and_pump():
    part = devices.CONVERTER_1044S
    assert (part.frequency_pump, part.frequency_pump_boosted) == (5e3, 22.5e3)
    switch = devices.typical(part).resistance_switch
    slow = 1 / (5e3 * 10e-6)
    assert slow / np.tanh(slow / (8 * switch)) == pytest.approx(60.0, rel=1e-12)
    assert devices.CONVERTER_7660.resistance_switch.low == pytest.approx(23 / 4, rel=1e-4)  # SHEET-7660-B, page 9


def test_capacitor_losses():
    """0.01 C V or 3 µA, whichever is more (CAP-LEAKAGE); ESR = tan d / (2 pi f C)."""
    kind = devices.typical(devices.CAPACITOR_ELECTROLYTIC)
    big = devices.capacitor(kind, capacitance=2200e-6, voltage_rating=35.0)
    assert big.current_leakage == pytest.approx(770e-6)  # the sheet's own example
    small = devices.capacitor(kind, capacitance=1e-6, voltage_rating=35.0)
    assert small.current_leakage == 3e-6
    assert small.resistance_esr == pytest.approx(0.16 / (2 * np.pi * 120 * 1e-6))
    film = devices.capacitor(devices.CAPACITOR_FILM, capacitance=1e-6, voltage_rating=63.0)
    assert film.current_leakage == 0 and film.resistance_insulation == 10e9
    assert devices.capacitor(film, capacitance=10e-9, voltage_rating=63.0).resistance_insulation == 30e9
    with pytest.raises(TypeError, match=r"loss_tangent is a range; take devices.typical\(record\)"):
        _ = devices.capacitor(devices.CAPACITOR_ELECTROLYTIC, capacitance=1e-6, voltage_rating=16.0).resistance_esr


def test_pins_of_a_dual_op_amp():
    pins = {(pin.pin, pin.unit): pin.role for pin in devices.OPAMP_TL072.pinouts[0].entries}
    assert pins["1", "1"] == pins["7", "2"] == "output"
    assert pins["4", ""] == "negative rail" and pins["8", ""] == "positive rail"
    assert devices.OPAMP_TL072.pinouts[0].leads.startswith("1 output (1), 2 inverting input (1)")
    assert devices.PINOUT_LED.leads == "anode, cathode"


# --- renamed -------------------------------------------------------------------------------------


def _there(name):
    room, *rest = name.split(".")
    try:
        thing = importlib.import_module(f"pedalcalc.{room}")
        for part in rest:
            if dataclasses.is_dataclass(thing):
                return part in {field.name for field in dataclasses.fields(thing)} or hasattr(thing, part)
            thing = getattr(thing, part)
    except (ImportError, AttributeError):
        return False
    return True


def test_renamed_names():
    rows = read_rows(REFERENCE / "renamed.csv")
    assert len({row["old"] for row in rows}) == len(rows)
    for row in rows:
        assert row["reason"]
        assert row["old"] == row["new"] or not _there(row["old"]), f"{row['old']} is still there"
        assert not row["new"] or _there(row["new"]), f"{row['new']} is not there"
