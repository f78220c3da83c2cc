"""Part values: what is read, what is refused, what is written, what is stocked."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pedalcalc import values

CALLS = {
    "read_value": {"text": "4k7", "unit": "Ω"},
    "write_value": {"value": 4700.0, "unit": "Ω", "digits": 3},
    "write_code": {"value": 4700.0, "unit": "Ω"},
    "stock_values": {"stock": "E12", "value_min": 1e3, "value_max": 1e6},
    "nearest_value": {"value": 5000.0, "stock": "E12"},
    "value_above": {"value": 5000.0, "stock": "E12"},
    "value_below": {"value": 5000.0, "stock": "E12"},
    "read_bands": {"bands": "yellow violet red gold"},
    "write_bands": {"resistance": 4700.0, "tolerance": 0.05, "band_count": 4},
    "write_digit_code": {"value": 1e-7, "unit": "F"},
    "read_capacitor_code": {"text": "104K"},
    "read_resistor_code": {"text": "4K7J"},
    "gain_from_decibels": {"gain_db": -6.0},
    "decibels_from_gain": {"gain": 0.5},
}


# --- reading -------------------------------------------------------------------------------------------------------

READ = [
    ("4k7", "Ω", 4700.0),
    ("4K7", "ohm", 4700.0),
    ("2M2", "Ω", 2.2e6),
    ("470R", "Ω", 470.0),
    ("R47", "Ω", 0.47),
    ("R047", "Ω", 0.047),
    ("4R7", "Ω", 4.7),
    ("0R", "Ω", 0.0),
    ("1e-3", "Ω", 1e-3),
    ("1e-3", "F", 1e-3),
    ("1E-07", "F", 1e-7),
    ("10", "Ω", 10.0),
    ("4.7k", "Ω", 4700.0),
    ("4.7 kΩ", "Ω", 4700.0),
    ("4.7 k\N{OHM SIGN}", "Ω", 4700.0),
    ("4.7\u00a0kohm", "Ω", 4700.0),
    ("470 ohms", "Ω", 470.0),
    ("  1G ", "Ω", 1e9),
    ("100n", "F", 1e-7),
    ("100nF", "F", 1e-7),
    ("4n7F", "F", 4.7e-9),
    ("2.2\u00b5F", "F", 2.2e-6),
    ("2.2\u03bcF", "F", 2.2e-6),
    ("2\u00b52", "F", 2.2e-6),
    ("2u2", "F", 2.2e-6),
    ("p47", "F", 0.47e-12),
    ("10m", "A", 0.01),
    ("+9 V", "V", 9.0),
    ("-4.5", "V", -4.5),
    ("\N{MINUS SIGN}4.5 V", "V", -4.5),
    ("1k", "Hz", 1000.0),
    ("50 ms", "s", 0.05),
]


@pytest.mark.parametrize(("text", "unit", "value"), READ)
def test_reads_to_the_nearest_float(text, unit, value):
    assert values.read_value(text, unit=unit) == value


def test_small_m_on_a_resistor_is_read_and_questioned():
    with pytest.warns(UserWarning, match="thousandth"):
        assert values.read_value("10m", unit="Ω") == 0.01


REFUSED = [
    ("4k7k", "Ω", "two letters"),
    ("4.7kk", "Ω", "two letters"),
    ("4K7K", "Ω", "tolerance letter"),
    ("4K7J", "Ω", "tolerance letter"),
    ("1,5k", "Ω", "point"),
    ("1,000", "Ω", "point"),
    ("1Meg", "Ω", "write 1M"),
    ("1 meg", "Ω", "write 1M"),
    ("B100k", "Ω", "taper"),
    ("A1M", "Ω", "taper"),
    ("nan", "Ω", "not measured"),
    ("inf", "Ω", "not text"),
    ("open", "Ω", "one that is left out has no line in a list"),
    ("open", "Ω", "not text"),
    ("1e3k", "Ω", "exponent"),
    ("1e3R", "Ω", "exponent"),
    ("4k7e3", "Ω", "exponent|not a unit"),
    ("4E7", "Ω", "4R7"),
    ("1e999", "Ω", "too large"),
    ("1e-999", "Ω", "too large or too small"),
    ("", "Ω", "empty"),
    ("   ", "F", "empty"),
    (".5", "Ω", "digit before the point"),
    ("5.", "Ω", "write it like"),
    ("1.2.3", "Ω", "write it like"),
    ("4k", "F", "not used with F"),
    ("100n", "Ω", "not used with Ω"),
    ("4R7", "F", "not used with F"),
    ("4R7", "V", "not used with V"),
    ("3n3F", "Ω", "not the unit Ω .or ohm."),
    ("10 Ω", "F", "not the unit F"),
    ("10 MFD", "F", "not used with F|microfarads"),
    ("10 mfd", "F", "microfarads"),
    ("104", "F", "read_capacitor_code"),
    ("104K", "F", "read_capacitor_code"),
    ("104J", "F", "read_capacitor_code|tolerance letter"),
    ("M47", "Ω", "write it like|marking"),
    ("-4k7", "Ω", "negative"),
    ("-1n", "F", "negative"),
    ("٤k7", "Ω", "digits 0 to 9"),
    ("４k７", "Ω", "digits 0 to 9"),
    ("4 k 7", "Ω", "write it like"),
    ("ten", "Ω", "write it like"),
    ("4k7\n4k7", "Ω", "write it like|two letters"),
]


@pytest.mark.parametrize(("text", "unit", "reason"), REFUSED)
def test_refuses_with_the_reason(text, unit, reason):
    with pytest.raises(ValueError, match=reason) as refused:
        values.read_value(text, unit=unit)
    assert repr(text) in str(refused.value)


def test_reading_takes_text_only():
    with pytest.raises(TypeError, match="text"):
        values.read_value(4700, unit="Ω")
    with pytest.raises(ValueError, match="unit"):
        values.read_value("4k7", unit="kΩ")


@given(st.integers(0, 9999), st.sampled_from("RkMnpu"), st.integers(0, 999))
def test_agrees_with_an_independent_code_reader(whole, letter, tail):
    import rkm_codes

    code = f"{whole}{letter}{tail}"
    theirs = float(rkm_codes.from_rkm(code))
    assert values.read_value(code, unit="Ω" if letter in "RkM" else "F") == pytest.approx(theirs, rel=1e-14)


@given(st.text(max_size=8))
def test_any_text_is_read_or_refused(text):
    try:
        value = values.read_value(text, unit="V")
    except ValueError:
        return
    assert math.isfinite(value)


@given(st.text(alphabet="0123456789.,kKMRnpuµeE-+ ΩF", max_size=7))
def test_what_is_read_as_ohms_has_one_mark_and_one_letter(text):
    try:
        value = values.read_value(text, unit="Ω")
    except ValueError:
        return
    assert value >= 0
    assert "," not in text
    assert sum(text.count(mark) for mark in ".kKMReE") <= 2
    assert sum(text.count(mark) for mark in "kKMReE") <= 1


# --- writing -------------------------------------------------------------------------------------------------------

WRITTEN = [
    (4700.0, "Ω", 3, "4.70 kΩ"),
    (4700.0, "ohm", None, "4.7 kΩ"),
    (4990.0, "Ω", None, "4.99 kΩ"),
    (4990.0, "Ω", 2, "5.0 kΩ"),
    (470.0, "Ω", 2, "470 Ω"),
    (999.9996, "Ω", 3, "1.00 kΩ"),
    (999999.6, "Ω", None, "1 MΩ"),
    (999999.6, "Ω", 3, "1.00 MΩ"),
    (0.0, "Ω", 3, "0 Ω"),
    (-0.0, "V", 3, "0 V"),
    (math.nan, "Ω", 3, "not measured"),
    (math.inf, "Ω", 3, "open"),
    (math.inf, "s", 3, "∞ s"),
    (-math.inf, "dB", 3, "-∞ dB"),
    (-0.0034, "A", 2, "-3.4 mA"),
    (1e-7, "F", None, "100 nF"),
    (2.2e-6, "F", 2, "2.2 µF"),
    (1e-14, "A", 2, "10 fA"),
    (1e-18, "A", 2, "1.0e-18 A"),
    (3.0e16, "Hz", None, "3e+16 Hz"),
    (3600.0, "s", 2, "3600 s"),
    (-3.0103, "dB", 3, "-3.01 dB"),
    (298.15, "K", 4, "298.2 K"),
    (0.7071, "1", 3, "0.707"),
    (12345.0, "1", 3, "12300"),
    (1e-9, "1", 3, "1.00e-9"),
    (1e-9, "1", None, "1e-09"),
]


@pytest.mark.parametrize(("value", "unit", "digits", "text"), WRITTEN)
def test_writes_for_people(value, unit, digits, text):
    assert values.write_value(value, unit=unit, digits=digits) == text


def test_writing_refuses_what_is_not_one_number():
    with pytest.raises(TypeError, match="value"):
        values.write_value([1.0, 2.0], unit="Ω")
    with pytest.raises(TypeError, match="value"):
        values.write_code([1.0, 2.0], unit="Ω")
    with pytest.raises(TypeError, match="unit"):
        values.write_value(1.0, unit=None)
    for digits in (0, 16, 2.5):
        with pytest.raises(ValueError, match="digits"):
            values.write_value(1.0, unit="Ω", digits=digits)


@given(st.floats(1e-12, 1e11), st.sampled_from("ΩVA"))
def test_written_text_reads_back(value, unit):
    text = values.write_value(value, unit=unit, digits=15)
    if unit == "Ω" and " m" in text:
        with pytest.warns(UserWarning, match="thousandth"):
            back = values.read_value(text, unit=unit)
    elif any(prefix in text for prefix in ("pΩ", "nΩ", "µΩ")):
        return
    else:
        back = values.read_value(text, unit=unit)
    assert back == pytest.approx(value, rel=1e-14)


@given(st.sampled_from(values.SERIES), st.integers(0, 191), st.integers(-3, 8))
def test_every_stock_resistor_has_a_code_that_reads_back(series, place, decade):
    digits = values.stock_values(series)
    value = float(f"{digits[place % len(digits)]:.2f}e{decade}")
    assert values.read_value(values.write_code(value, unit="Ω"), unit="Ω") == value


@given(st.sampled_from(values.SERIES), st.integers(0, 191), st.integers(-13, -2))
def test_every_stock_capacitor_has_a_code_that_reads_back(series, place, decade):
    digits = values.stock_values(series)
    value = float(f"{digits[place % len(digits)]:.2f}e{decade}")
    assert values.read_value(values.write_code(value, unit="F"), unit="F") == value


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (1e-3, "F", "1000 µF"),
        (4.7e-3, "F", "4700 µF"),
        (9.999e-4, "F", "1000 µF"),
        (1.0, "F", "1 F"),
        (0.1, "lx", "0.1 lx"),
        (1e3, "lx", "1000 lx"),
    ],
)
def test_a_value_is_written_as_a_print_or_a_sheet_has_it(value, unit, text):
    """Capacitors are printed in µF up to the largest, and sheets of cells give plain lux (common practice)."""
    assert values.write_value(value, unit=unit) == text


@pytest.mark.parametrize(
    ("value", "unit", "code"),
    [
        (4700.0, "Ω", "4K7"),
        (1000.0, "Ω", "1K0"),
        (100.0, "Ω", "100R"),
        (0.047, "Ω", "R047"),
        (0.0, "Ω", "0R"),
        (4700.0000001, "Ω", "4K7"),
        (4990.0, "Ω", "4K99"),
        (1e9, "ohm", "1G0"),
        (1e-9, "F", "1n0"),
        (4.7e-13, "F", "p47"),
        (2.2e-6, "F", "2µ2"),
        (1e-3, "F", "1m0"),
    ],
)
def test_letter_code(value, unit, code):
    assert values.write_code(value, unit=unit) == code


@pytest.mark.parametrize(
    ("value", "unit", "reason"),
    [
        (47123.0, "Ω", "four digits"),
        (-1.0, "Ω", "at least 0"),
        (math.inf, "Ω", "finite"),
        (math.nan, "Ω", "nan"),
        (1e12, "Ω", "below"),
        (1e-4, "Ω", "above"),
        (0.0, "F", "above"),
        (1.0, "F", "below"),
        (1.0, "H", "unit"),
    ],
)
def test_letter_code_refuses(value, unit, reason):
    with pytest.raises(ValueError, match=reason):
        values.write_code(value, unit=unit)


# --- preferred numbers -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("series", values.SERIES)
def test_series_agree_with_an_independent_table(series):
    import eseries

    theirs = list(eseries.series(eseries.ESeries[series]))
    np.testing.assert_allclose(values.stock_values(series) * theirs[0], theirs, rtol=1e-12)
    assert values.stock_values(series).size == int(series[1:])


# IEC 60063 series as tabulated alike in four independent public sources; E48 and E6 are read off these two.
E24 = "1.0 1.1 1.2 1.3 1.5 1.6 1.8 2.0 2.2 2.4 2.7 3.0 3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.2 6.8 7.5 8.2 9.1"
E96 = """
1.00 1.02 1.05 1.07 1.10 1.13 1.15 1.18 1.21 1.24 1.27 1.30 1.33 1.37 1.40 1.43 1.47 1.50 1.54 1.58 1.62 1.65 1.69
1.74 1.78 1.82 1.87 1.91 1.96 2.00 2.05 2.10 2.15 2.21 2.26 2.32 2.37 2.43 2.49 2.55 2.61 2.67 2.74 2.80 2.87 2.94
3.01 3.09 3.16 3.24 3.32 3.40 3.48 3.57 3.65 3.74 3.83 3.92 4.02 4.12 4.22 4.32 4.42 4.53 4.64 4.75 4.87 4.99 5.11
5.23 5.36 5.49 5.62 5.76 5.90 6.04 6.19 6.34 6.49 6.65 6.81 6.98 7.15 7.32 7.50 7.68 7.87 8.06 8.25 8.45 8.66 8.87
9.09 9.31 9.53 9.76
"""


@pytest.mark.parametrize(
    ("series", "table", "step"), [("E24", E24, 1), ("E12", E24, 2), ("E6", E24, 4), ("E3", E24, 8)]
)
def test_series_of_two_figures(series, table, step):
    assert values.stock_values(series).tolist() == [float(text) for text in table.split()[::step]]


@pytest.mark.parametrize(("series", "step"), [("E96", 1), ("E48", 2)])
def test_series_of_three_figures(series, step):
    assert values.stock_values(series).tolist() == [float(text) for text in E96.split()[::step]]


def test_the_one_exception_of_the_finest_series():
    assert 9.20 in values.stock_values("E192")
    assert 9.19 not in values.stock_values("E192")
    assert values.value_above(9190.0, stock="E192") == 9200.0


def test_several_texts_are_read_at_once():
    np.testing.assert_array_equal(values.read_value(["4k7", "470R", "1M"], unit="Ω"), [4700.0, 470.0, 1e6])
    assert isinstance(values.read_value("4k7", unit="Ω"), float)
    for wrong in ([], [4700.0], ["4k7", None]):
        with pytest.raises(TypeError, match="text"):
            values.read_value(wrong, unit="Ω")
    with pytest.raises(ValueError, match="text '4,7k' is not a value"):
        values.read_value(["1k", "4,7k"], unit="Ω")


# --- my drawer -------------------------------------------------------------------------------------------------------

DRAWER = ["10k", "1k", "4k7", "1k"]


def test_a_drawer_holds_what_it_holds():
    np.testing.assert_array_equal(values.stock_values(DRAWER), [1e3, 4.7e3, 10e3])
    np.testing.assert_array_equal(values.stock_values(DRAWER, value_min=2e3), [4.7e3, 10e3])
    np.testing.assert_array_equal(values.stock_values(np.array([33.0, 10.0])), [10, 33])
    np.testing.assert_array_equal(values.stock_values(["100n", "1u", "10m"]), [1e-7, 1e-6, 1e-2])
    assert values.nearest_value(6e3, stock=DRAWER) == 4.7e3
    assert values.value_above(4.8e3, stock=DRAWER) == 10e3
    assert values.value_below(4.6e3, stock=DRAWER) == 1e3
    assert values.nearest_value(1e9, stock=DRAWER) == 10e3
    assert np.isnan(values.value_below(np.nan, stock=DRAWER))


def test_a_slip_in_a_drawer_is_refused_as_what_it_may_be():
    with pytest.raises(ValueError, match=r"text '100x' is not a value: neither a resistor's, .* nor a capacitor's"):
        values.nearest_value(1e-7, stock=["100x"])
    with pytest.raises(ValueError, match="'x' is not the unit F, nor"):
        values.nearest_value(1e-7, stock=["47n", "100x"])
    with pytest.raises(ValueError, match="text '4k7k' is not a value: two letters"):
        values.nearest_value(4700.0, stock=["4k7k"])


def test_a_drawer_without_the_value_says_so():
    with pytest.raises(ValueError, match="value must be at most 10000, the last in stock, got 11000"):
        values.value_above([1e3, 11e3], stock=DRAWER)
    with pytest.raises(ValueError, match="value must be at least 1000, the last in stock, got 900"):
        values.value_below(900.0, stock=DRAWER)
    with pytest.raises(ValueError, match="stock must hold a value from value_min to value_max, 20000 to 50000"):
        values.stock_values(DRAWER, value_min=20e3, value_max=50e3)
    with pytest.raises(ValueError, match=r"value_min must be at most value_max \(1000\), got 2000"):
        values.stock_values("E12", value_min=2e3, value_max=1e3)
    for wrong in ([], 4700.0, None):
        with pytest.raises(TypeError, match="stock must be a series such as 'E12' or a list"):
            values.nearest_value(1.0, stock=wrong)
    for wrong in ([0.0], [-1.0], [np.nan, 1.0]):
        with pytest.raises(ValueError, match="stock must"):
            values.stock_values(wrong)


def test_a_series_between_limits():
    between = values.stock_values("E3", value_min=1e3, value_max=100e3)
    np.testing.assert_array_equal(between, [1e3, 2.2e3, 4.7e3, 10e3, 22e3, 47e3, 100e3])
    np.testing.assert_array_equal(values.stock_values("E3", value_min=2.2e-9), [2.2e-9, 4.7e-9, 10e-9])
    np.testing.assert_array_equal(values.stock_values("E3", value_max=4.7), [1, 2.2, 4.7])


def test_decibels_there_and_back():
    gain_db = np.array([-60.0, -6.0, 0.0, 20.0])
    np.testing.assert_allclose(values.decibels_from_gain(values.gain_from_decibels(gain_db)), gain_db, atol=1e-11)
    assert values.decibels_from_gain(0) == -np.inf
    assert values.gain_from_decibels(-np.inf) == 0


def test_series_that_nobody_has_is_refused():
    for function in (values.nearest_value, values.value_above, values.value_below):
        with pytest.raises(ValueError, match="stock must be one of E3, E6"):
            function(1.0, stock="E7")
    with pytest.raises(ValueError, match="stock"):
        values.stock_values("e12")


@pytest.mark.parametrize("series", values.SERIES)
@pytest.mark.parametrize("function", [values.nearest_value, values.value_above, values.value_below])
def test_stock_values_stay_themselves_in_every_decade(series, function):
    stock = np.array([float(f"{v:.2f}e{d}") for d in range(-12, 9) for v in values.stock_values(series)])
    np.testing.assert_array_equal(function(stock, stock=series), stock)
    np.testing.assert_array_equal(function(stock * (1 + 1e-11), stock=series), stock)
    np.testing.assert_array_equal(function(stock * (1 - 1e-11), stock=series), stock)


# The independent table and ours part where a decade is at stake, so both sides stay inside one decade.
@given(st.sampled_from(("E3", "E6", "E12", "E24", "E48", "E96")), st.floats(1.0001, 9.0))
def test_above_and_below_agree_with_an_independent_package(series, value):
    import eseries

    key = eseries.ESeries[series]
    assert values.value_above(value, stock=series) == pytest.approx(
        eseries.find_greater_than_or_equal(key, value), rel=1e-9
    )
    assert values.value_below(value, stock=series) == pytest.approx(
        eseries.find_less_than_or_equal(key, value), rel=1e-9
    )


@given(st.sampled_from(values.SERIES), st.floats(1e-12, 1e9))
def test_nearest_by_ratio_is_one_of_the_neighbours_and_the_closer_one(series, value):
    low, high = values.value_below(value, stock=series), values.value_above(value, stock=series)
    nearest = values.nearest_value(value, stock=series)
    assert low <= value * (1 + 2e-9)
    assert high >= value * (1 - 2e-9)
    assert nearest in (low, high)
    others = [abs(math.log(value / stock)) for stock in (low, high)]
    assert abs(math.log(value / nearest)) == pytest.approx(min(others), abs=1e-12)


def test_nearest_by_ratio_differs_from_nearest_by_distance():
    # Between 1.0 and 2.2 the middle by ratio is 1.483, by distance 1.6.
    assert values.nearest_value(1.55, stock="E3") == 2.2
    assert values.nearest_value(1.48, stock="E3") == 1.0
    # 4.7 and 10 meet at 6.856, across the decade.
    assert values.nearest_value(6.9e3, stock="E3") == 1e4


def test_choosing_is_vectorised_and_keeps_nan():
    found = values.nearest_value([[5000.0, math.nan], [1.0, 9.9]], stock="E12")
    np.testing.assert_array_equal(found, [[4700.0, math.nan], [1.0, 10.0]])
    assert isinstance(values.value_above(3.0, stock="E12"), float)
    assert math.isnan(values.value_below(math.nan, stock="E12"))


@pytest.mark.parametrize("function", [values.nearest_value, values.value_above, values.value_below])
@pytest.mark.parametrize("value", [0.0, -4700.0, math.inf, 1e-16, 1e13])
def test_choosing_refuses_what_no_part_has(function, value):
    with pytest.raises(ValueError, match="value"):
        function(value, stock="E12")


# --- colour bands ----------------------------------------------------------------------------------------------------


@given(
    st.sampled_from(("E12", "E24")), st.integers(0, 23), st.integers(-1, 8), st.sampled_from((0.05, 0.1, 0.01, 0.02))
)
def test_four_bands_both_ways(series, place, decade, tolerance):
    digits = values.stock_values(series)
    value = float(f"{digits[place % len(digits)]:.1f}e{decade}")
    found = values.read_bands(values.write_bands(value, tolerance=tolerance, band_count=4))
    assert (found.resistance, found.tolerance) == (value, tolerance)


@given(st.integers(0, 95), st.integers(0, 8), st.sampled_from((0.001, 0.0025, 0.005, 0.01, 0.02)))
def test_five_bands_both_ways(place, decade, tolerance):
    value = float(f"{values.stock_values('E96')[place]:.2f}e{decade}")
    found = values.read_bands(values.write_bands(value, tolerance=tolerance, band_count=5))
    assert (found.resistance, found.tolerance) == (value, tolerance)


def test_three_bands_both_ways():
    assert values.write_bands(97.0, tolerance=0.2, band_count=3) == "white violet black"
    for bands in ("white violet black", "White, Purple, Black", "white-violet-black-none", "white/violet/black"):
        assert values.read_bands(bands).resistance == 97.0
    assert values.read_bands("brown gray gray brown brown").resistance == 1880.0


@pytest.mark.parametrize(
    ("bands", "reason"),
    [
        ("", "three, four or five"),
        ("red red", "three, four or five"),
        ("black", "wire link"),
        ("red red red red red red", "temperature"),
        ("red red pink", "'pink' is not a band colour"),
        ("gold red violet yellow", "other end they are 4.7 kΩ"),
        ("black red red brown", "never black"),
        ("red silver red brown", "silver is not a digit"),
        ("red red red orange", "orange is not read as a tolerance"),
        ("red red red none brown", "'none' is not"),
    ],
)
def test_impossible_bands_are_refused(bands, reason):
    with pytest.raises(ValueError, match=reason):
        values.read_bands(bands)


def test_bands_are_text():
    with pytest.raises(TypeError, match="bands"):
        values.read_bands(["red", "red", "red", "gold"])


@pytest.mark.parametrize(
    ("resistance", "tolerance", "band_count", "reason"),
    [
        (4990.0, 0.05, 4, "resistance 4.99 kΩ has more than 2"),
        (47123.0, 0.01, 5, "more than 3"),
        (4700.0, 0.03, 4, "tolerance must be one of"),
        (4700.0, 0.05, 3, "tolerance must be 0.2"),
        (4700.0, 0.2, 4, "tolerance must be one of"),
        (4700.0, 0.05, 3.5, "band_count must be 3, 4 or 5"),
        (0.047, 0.05, 4, "out of the range"),
        (1e13, 0.05, 4, "out of the range"),
        (0.0, 0.05, 4, "resistance must be above 0"),
        (math.nan, 0.05, 4, "resistance must be a number"),
    ],
)
def test_bands_that_do_not_exist_are_refused(resistance, tolerance, band_count, reason):
    with pytest.raises(ValueError, match=reason):
        values.write_bands(resistance, tolerance=tolerance, band_count=band_count)
    with pytest.raises(TypeError, match="resistance"):
        values.write_bands([1.0, 2.0], tolerance=tolerance, band_count=band_count)


# --- codes and letters -------------------------------------------------------------------------------------------------


@given(st.integers(10, 99), st.integers(-2, 7), st.sampled_from(("F", "Ω")))
def test_three_digit_codes_both_ways(digits, power, unit):
    value = float(f"{digits}e{power + (-12 if unit == 'F' else 0)}")
    code = values.write_digit_code(value, unit=unit)
    if unit == "F":
        assert values.read_capacitor_code(code).capacitance == value
    else:
        assert values.read_resistor_code(code).resistance == value


def test_last_digits_eight_and_nine_and_the_point():
    assert values.read_capacitor_code("229").capacitance == 2.2e-12
    assert values.read_capacitor_code("478").capacitance == 0.47e-12
    assert values.read_capacitor_code("4R7").capacitance == 4.7e-12
    assert values.read_resistor_code("R47").resistance == 0.47
    assert values.read_resistor_code("103").resistance == 10e3


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("47", "write 47p"),
        ("4", "write 4p"),
        ("012", "three-digit code"),
        ("1042", "bare whole number"),
        ("0R0", "three-digit code"),
        ("", "empty"),
    ],
)
def test_codes_that_are_none_are_refused(text, reason):
    with pytest.raises(ValueError, match=reason):
        values.read_capacitor_code(text)


def test_codes_are_text_and_have_two_digits():
    with pytest.raises(TypeError, match="text"):
        values.read_capacitor_code(104)
    with pytest.raises(ValueError, match="more than 2"):
        values.write_digit_code(4.99e-9, unit="F")
    for value in (1e-2, 1e-15):
        with pytest.raises(ValueError, match="out of the range"):
            values.write_digit_code(value, unit="F")


@pytest.mark.parametrize(
    ("text", "capacitance", "low", "high"),
    [
        ("104", 1e-7, math.nan, math.nan),
        ("104K", 1e-7, -0.1, 0.1),
        ("104Z", 1e-7, -0.2, 0.8),
        ("103P", 1e-8, 0.0, 1.0),
        ("103T", 1e-8, -0.1, 0.5),
        ("103N", 1e-8, -0.3, 0.3),
        ("103F", 1e-8, -0.01, 0.01),
        ("4n7J", 4.7e-9, -0.05, 0.05),
        ("4n7", 4.7e-9, math.nan, math.nan),
        ("22pK", 22e-12, -0.1, 0.1),
        ("5R0D", 5e-12, -0.1, 0.1),
        ("509C", 5e-12, -0.05, 0.05),
        ("1R0B", 1e-12, -0.1, 0.1),
    ],
)
def test_capacitor_print(text, capacitance, low, high):
    found = values.read_capacitor_code(text)
    assert found.capacitance == capacitance
    np.testing.assert_allclose([found.tolerance_low, found.tolerance_high], [low, high], rtol=1e-12)


@pytest.mark.parametrize(
    ("text", "reason"),
    [("104D", "below 10 pF only"), ("104X", "letter"), ("0n", "zero"), ("", "empty"), ("B100k", "taper")],
)
def test_capacitor_print_refused(text, reason):
    with pytest.raises(ValueError, match=reason):
        values.read_capacitor_code(text)


def test_the_letter_d_means_another_thing_on_each_part():
    assert values.read_resistor_code("4K7D").tolerance == 0.005
    assert values.read_capacitor_code("5R0D").tolerance_high == pytest.approx(0.1)
    with pytest.raises(ValueError, match="picofarads"):
        values.read_capacitor_code("104D")
    with pytest.raises(ValueError, match="letter must be one of"):
        values.read_resistor_code("4K7Z")
    with pytest.raises(ValueError, match="letter must be one of"):
        values.read_capacitor_code("104X")


@pytest.mark.parametrize(
    ("text", "resistance", "tolerance"),
    [
        ("4K7J", 4700.0, 0.05),
        ("47KK", 47e3, 0.1),
        ("R47J", 0.47, 0.05),
        ("470RF", 470.0, 0.01),
        ("2M2M", 2.2e6, 0.2),
        ("47K3D", 47.3e3, 0.005),
        (" 1R0G ", 1.0, 0.02),
        ("104J", 100e3, 0.05),
    ],
)
def test_resistor_code_with_its_tolerance_letter(text, resistance, tolerance):
    found = values.read_resistor_code(text)
    assert (found.resistance, found.tolerance) == (pytest.approx(resistance), tolerance)


def test_resistor_code_without_a_letter():
    found = values.read_resistor_code("47K")
    assert found.resistance == 47e3
    assert math.isnan(found.tolerance)


@pytest.mark.parametrize("text", ["", "47", "4K7JJ", "4k7", "229", "012", "4K7Z", "K", "4n7"])
def test_resistor_code_refuses(text):
    with pytest.raises(ValueError, match=r"text|letter"):
        values.read_resistor_code(text)
    with pytest.raises(TypeError, match="text"):
        values.read_resistor_code(47)


@pytest.mark.parametrize("text", ["O.L", "0.L", "OVLD", "OL", "open"])
def test_what_a_meter_shows_for_open_is_no_value(text):
    with pytest.raises(
        ValueError, match=f"text '{text}' is not a value: a value is a number; a part that was not measured"
    ):
        values.read_value(text, unit="Ω")


def test_the_ohm_sign_is_the_ohm():
    ohm = "\N{OHM SIGN}"
    assert values.read_value("4k7", unit=ohm) == values.read_value(f"4.7 k{ohm}", unit="Ω") == 4700
    assert values.write_value(4700.0, unit=ohm) == "4.7 kΩ"
    assert values.write_code(4700.0, unit=ohm) == "4K7"
    assert values.write_digit_code(4700.0, unit=ohm) == "472"


def test_a_text_longer_than_any_value_is_refused_short():
    with pytest.raises(ValueError, match="at most 40 characters, this has 5000") as refused:
        values.read_value("9" * 5000, unit="F")
    assert len(str(refused.value)) < 200
