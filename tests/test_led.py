"""Indicator lamps against makers' sheets, textbook rows and general-purpose solvers."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.optimize import brentq

from pedalcalc import devices, led
from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc.laws import junction_voltage
from pedalcalc.values import stock_values

RED = devices.typical(devices.LED_RED_GAASP)
BLUE = devices.typical(devices.LED_BLUE)
COUSIN = dataclasses.replace(RED, voltage_forward=1.81)
LAMPS = [devices.typical(getattr(devices, name)) for name in devices.__all__ if name.startswith("LED_")]
BATTERY = {"voltage_supply": (7.0, 9.0, 9.6)}

CALLS = {
    "operating_point": {
        "voltage": 9,
        "resistance": 3300,
        "led": [RED, RED],
        "power_rating": 0.25,
        "temperature": 300.0,
    },
    "brightness": {"current": 0.002, "led": BLUE, "current_wanted": 0.004},
    "series_resistor": {
        "voltage_supply": 9,
        "voltage_forward": 1.8,
        "current_wanted": 0.002,
        "stock": "E24",
    },
    "choose_resistor": {"led": RED, "voltage_supply": 9.0, "current_wanted": 0.002, "stock": "E12", "tolerance": 0.05},
    "indicator_battery_life": {"current": 0.002, "current_load": 0.006, "charge": 1980},
    "fit_led": {
        "current": np.array([0.5e-3, 2e-3, 10e-3]),
        "voltage": np.array([1.70, 1.77, 1.87]),
        "led": devices.typical(devices.LED_RED_ALINGAP),
    },
}


def _drop(lamp, current, n=1):
    return n * junction_voltage(current, junction=lamp)


def _shifted(lamp, volts):
    """Return a lamp whose drop lies that much higher."""
    return dataclasses.replace(lamp, voltage_forward=lamp.voltage_forward + volts)


# --- operating point -----------------------------------------------------------------------------


@pytest.mark.parametrize("lamp", LAMPS, ids=lambda lamp: lamp.name)
@pytest.mark.parametrize("count", [1, 3])
def test_operating_point_matches_a_bracketing_root_finder(lamp, count):
    for voltage in (12.0, 18.0):
        for resistance in (100.0, 1000.0, 47e3):
            exact = brentq(
                lambda i, v=voltage, r=resistance: _drop(lamp, i, count) + i * r - v,
                0.0,
                voltage / resistance,
                xtol=1e-18,
                rtol=1e-14,
            )
            point = led.operating_point(voltage, resistance=resistance, led=[lamp] * count)
            assert point.current == pytest.approx(exact, rel=1e-10)
            assert point.voltage_led == pytest.approx(_drop(lamp, exact, count), rel=1e-9)
            assert point.voltage_led + point.voltage_resistor == pytest.approx(voltage)
            assert point.power_led * count + point.power_resistor == pytest.approx(voltage * point.current)


def test_operating_point_approaches_the_rule_of_thumb():
    """With the drop at the true current put in, the rule of thumb gives the resistor back."""
    point = led.operating_point(9, resistance=3300, led=RED)
    rule = led.series_resistor(9, voltage_forward=point.voltage_led, current_wanted=point.current)
    assert rule.resistance == pytest.approx(3300, rel=1e-12)
    assert rule.power_resistor == pytest.approx(point.power_resistor, rel=1e-12)


def test_limits_of_the_operating_point():
    point = led.operating_point([-4.0, 0.0, 0.5, 9.0], resistance=3300, led=RED)
    np.testing.assert_array_equal(point.conducts, [False, False, False, True])
    assert point.current[0] == pytest.approx(-RED.current_saturation)
    assert point.current[1] == 0
    assert point.voltage_led[0] == pytest.approx(-4)
    cut = led.operating_point([9.0, np.nan], resistance=np.inf, led=RED)
    assert (cut.current[0], cut.voltage_led[0], cut.voltage_resistor[0]) == (0, 0, 9)
    assert np.isnan(cut.voltage_led[1])
    short = led.operating_point(_drop(RED, 0.02), resistance=0, led=RED)
    assert short.voltage_led == _drop(RED, 0.02)
    assert short.current == pytest.approx(0.020, rel=1e-9)


def test_a_record_of_many_lamps_broadcasts():
    many = _shifted(RED, np.array([-0.2, 0.0, 0.2]))
    point = led.operating_point(9, resistance=3300, led=many)
    assert point.current.shape == (3,)
    assert np.all(np.diff(point.current) < 0)
    one = led.operating_point(9, resistance=3300, led=_shifted(RED, 0.2))
    assert point.current[2] == one.current


def test_a_shifted_lamp_drops_that_much_more():
    high = _shifted(BLUE, 0.35)
    assert _drop(high, 0.01) - _drop(BLUE, 0.01) == pytest.approx(0.35, rel=1e-12)
    assert led.operating_point(0.0, resistance=100, led=high).current == 0


# --- cautions ------------------------------------------------------------------------------------


def _words(result):
    return [caution.what for caution in result.cautions]


def test_a_sound_indicator_has_no_cautions():
    assert led.operating_point(9, resistance=3300, led=RED).cautions == ()


@pytest.mark.parametrize(
    ("voltage", "resistance", "lamp", "count", "what"),
    [
        (9, 100, RED, 1, "LED over its highest current"),
        (9, 150, devices.typical(devices.LED_GREEN_GAP), 1, "LED over its highest power"),
        (9, 150, RED, 1, "Resistor over its rating"),
        (9, 1e6, RED, 1, "LED too dark to see well"),
        (9, 1200, BLUE, 1, "LED dazzles"),
        (-9, 3300, RED, 1, "LED over its reverse voltage"),
        (-3, 3300, RED, 1, "LED backwards"),
        (9, 3300, BLUE, 5, "Supply below the drop of the lamps"),
        (9, np.inf, RED, 1, "LED dark although the supply is high enough"),
    ],
)
def test_each_caution(voltage, resistance, lamp, count, what):
    assert what in _words(led.operating_point(voltage, resistance=resistance, led=[lamp] * count))


def test_a_modern_bright_lamp_dazzles_at_five_milliamperes():
    bright = (devices.LED_RED_ALINGAP, devices.LED_GREEN_INGAN, devices.LED_BLUE, devices.LED_WHITE)
    for lamp in map(devices.typical, bright):
        resistance = (9 - _drop(lamp, 0.005)) / 0.005
        assert "LED dazzles" in _words(led.operating_point(9, resistance=resistance, led=lamp))
    resistance = (9 - _drop(RED, 0.005)) / 0.005
    assert led.operating_point(9, resistance=resistance, led=RED).cautions == ()


def test_a_lamp_of_unknown_light_is_called_dark_by_its_current():
    unknown = dataclasses.replace(RED, luminous_intensity=float("nan"))
    found = led.operating_point(9, resistance=33e3, led=unknown).cautions
    assert [(caution.what, caution.limit) for caution in found] == [("LED too dark to see well", 0.5e-3)]
    assert led.operating_point(9, resistance=470, led=unknown).cautions == ()


@pytest.mark.parametrize("lamp", LAMPS, ids=lambda lamp: lamp.name)
def test_a_lamp_is_dim_under_one_and_dazzles_over_two_hundred_millicandela(lamp):
    """Intensity by the power law through the record's point; both limits from memory, a matter of taste."""
    if np.isnan(lamp.luminous_intensity):
        return
    for candela, words in ((1e-3, "too dark to see well"), (0.2, "dazzles")):
        edge = lamp.current_for_light * (candela / lamp.luminous_intensity) ** (1 / lamp.light_exponent)
        for share in (0.97, 1.03):
            volts = _drop(lamp, share * edge) + share * edge * 10e3
            told = any(words in caution for caution in _words(led.operating_point(volts, resistance=10e3, led=lamp)))
            assert told == ((share < 1) == (candela < 0.01))


def test_cautions_count_the_elements_hit():
    found = led.operating_point(9, resistance=np.array([100.0, 200.0, 3300.0]), led=RED).cautions
    over = next(caution for caution in found if caution.what == "LED over its highest current")
    assert over.count == 2
    assert over.value == pytest.approx(led.operating_point(9, resistance=100, led=RED).current)


# --- light ---------------------------------------------------------------------------------------


def test_light_follows_the_power_law():
    found = led.brightness([0.005, 0.01, -1e-18], led=BLUE, current_wanted=0.005)
    assert (
        led.brightness(BLUE.current_for_light, led=BLUE, current_wanted=1).luminous_intensity == BLUE.luminous_intensity
    )
    assert found.luminous_intensity[1] / found.luminous_intensity[0] == pytest.approx(2**BLUE.light_exponent)
    assert found.light_relative[1] == pytest.approx(2**BLUE.light_exponent)
    assert found.luminous_intensity[2] == 0
    np.testing.assert_allclose(found.brightness_relative**3, found.light_relative)


# --- rule of thumb and rating --------------------------------------------------------------------


def test_rule_of_thumb_at_its_edges():
    below = led.series_resistor([5.0, 5.4, 6.0], voltage_forward=3 * 1.8, current_wanted=0.002)
    np.testing.assert_allclose(below.resistance, [0, 0, 300], atol=1e-9)
    np.testing.assert_allclose(below.resistance_stock, [0, 0, 300])
    np.testing.assert_array_equal(below.conducts, [False, False, True])
    assert _words(below) == ["Supply below the drop of the lamps"]
    drawer = led.series_resistor(9, voltage_forward=2, current_wanted=0.01, stock=["1k", "680", "820"])
    assert drawer.resistance_stock == 820


# --- range and choice ----------------------------------------------------------------------------


def test_range_is_the_worst_over_all_corners():
    at = {"current_wanted": 0.002, "stock": [3300.0]}
    found = led.choose_resistor(devices.LED_BLUE, **BATTERY, **at).recommended
    corners = [
        led.operating_point(v, resistance=3300 * r, led=_shifted(BLUE, s * devices.LED_BLUE.voltage_spread))
        for v in (7, 9, 9.6)
        for r in (0.95, 1, 1.05)
        for s in (-1, 0, 1)
    ]
    assert found.current_low == min(corner.current for corner in corners)
    assert found.current_high == max(corner.current for corner in corners)
    assert found.power_resistor == pytest.approx(max(corner.power_resistor for corner in corners), rel=1e-12)
    assert found.current_typical == led.operating_point(9, resistance=3300, led=BLUE).current


def test_lamps_whose_drops_straddle_half_the_supply():
    """One of those between the extremes takes the most: a lamp that stands no more than that is refused."""
    shifts = np.linspace(-0.2, 0.2, 4001)
    most = np.max(led.operating_point(3.7, resistance=100, led=_shifted(RED, shifts)).power_led)
    at = {"voltage_supply": (3.5, 3.6, 3.7), "current_wanted": 0.018, "stock": [100.0], "tolerance": 0.0}
    frail = dataclasses.replace(devices.LED_RED_GAASP, power_max=most * (1 - 1e-4))
    with pytest.raises(ValueError, match="stock must hold a resistor at which no lamp exceeds its rating"):
        led.choose_resistor(frail, **at)
    stout = dataclasses.replace(devices.LED_RED_GAASP, power_max=most * (1 + 1e-4))
    assert led.choose_resistor(stout, **at).recommended.resistance == 100


def test_a_drawer_is_searched_like_a_series():
    found = led.choose_resistor(RED, voltage_supply=9, current_wanted=0.002, stock=["1k", "4.7k", "10k"])
    assert found.recommended.resistance == 4700
    assert [option.resistance for option in found.stock_options] == [1000, 4700, 10000]


@pytest.mark.parametrize(
    "string", [(RED, BLUE), (RED, BLUE, RED), (BLUE, RED, BLUE, BLUE), tuple(LAMPS[:3]), (RED, COUSIN)], ids=len
)
def test_different_lamps_in_series(string):
    """Against a bracketing root finder, from lit to dark and backwards, where the least leaky lamp rules."""
    for voltage in (18.0, 9.0, 2.0, 0.1):
        for resistance in (100.0, 3300.0, 1e6):
            exact = brentq(
                lambda i, v=voltage, r=resistance: sum(_drop(lamp, i) for lamp in string) + i * r - v,
                0.0, voltage / resistance, xtol=1e-40, rtol=1e-14
            )  # fmt: skip
            point = led.operating_point(voltage, resistance=resistance, led=list(string))
            assert point.current == pytest.approx(exact, rel=1e-9, abs=0)
            assert point.voltage_led + point.voltage_resistor == pytest.approx(voltage)
            assert point.power_led == pytest.approx(max(exact * _drop(lamp, exact) for lamp in string), rel=1e-9)
    back = led.operating_point(-4.0, resistance=100.0, led=list(string))
    assert back.current == pytest.approx(-min(lamp.current_saturation for lamp in string), rel=1e-7, abs=0)
    # A little backwards all lamps share the volts, each by its own saturation current.
    least = min(lamp.current_saturation for lamp in string)
    exact = brentq(lambda share: sum(_drop(lamp, -share * least) for lamp in string) + 0.05, 0.0, 1 - 1e-12, xtol=1e-15)
    some = led.operating_point(-0.05, resistance=100.0, led=list(string))
    assert some.current == pytest.approx(-exact * least, rel=1e-9, abs=0)
    assert led.operating_point(9.0, resistance=np.inf, led=list(string)).current == 0
    assert led.operating_point(0.0, resistance=100.0, led=list(string)).current == 0
    assert np.isnan(led.operating_point([np.nan, 9.0], resistance=100.0, led=list(string)).current[0])


def test_two_equal_records_are_two_lamps_alike():
    twin = dataclasses.replace(RED)
    two = led.operating_point(9, resistance=3300, led=[RED, twin])
    assert two.current == led.operating_point(9, resistance=3300, led=[RED, RED]).current


def test_a_warm_lamp_drops_less():
    cold, warm = (led.operating_point(9, resistance=3300, led=RED, temperature=t).voltage_led for t in (300.0, 320.0))
    assert -0.06 < warm - cold < -0.01


@pytest.mark.parametrize("lamp", LAMPS, ids=lambda lamp: lamp.name)
@pytest.mark.parametrize("wanted", [0.0005, 0.002, 0.010])
def test_choice_recommends_the_nearest_stock_value_that_is_safe(lamp, wanted):
    choice = led.choose_resistor(lamp, **BATTERY, current_wanted=wanted, stock="E24")
    stock = np.array([n * 10.0**k for k in range(6) for n in stock_values("E24")])
    typical = led.operating_point(9, resistance=stock, led=lamp).current
    # Brute force over the whole ladder; the stock ladder holds each value once.
    assert choice.recommended.resistance == pytest.approx(stock[np.argmin(np.abs(np.log(typical / wanted)))])
    assert len(choice.stock_options) == 5
    assert choice.stock_options[2] is choice.recommended
    resistances = [option.resistance for option in choice.stock_options]
    assert resistances == sorted(resistances)
    for option in choice.stock_options:
        assert option.power_rating >= 2 * option.power_resistor
        assert option.light_relative == pytest.approx((option.current_typical / wanted) ** lamp.light_exponent)
        assert option.brightness_relative == pytest.approx(option.light_relative ** (1 / 3))
    assert choice.recommended.current_high <= lamp.current_max


def test_choice_keeps_the_lamp_within_its_rating():
    choice = led.choose_resistor(RED, **BATTERY, current_wanted=0.029, stock="E12", tolerance=0.1)
    assert choice.recommended.current_high <= RED.current_max
    assert choice.recommended.current_typical < 0.029
    below = choice.stock_options[1]
    assert below.current_high > RED.current_max or below.current_typical * 1.8 > RED.power_max
    assert "smallest value at which no lamp can exceed its rating" in choice.reason


def test_choice_tells_what_to_watch():
    dazzling = led.choose_resistor(devices.typical(devices.LED_WHITE), **BATTERY, current_wanted=0.005, stock="E12")
    assert "LED dazzles" in _words(dazzling)
    three = led.choose_resistor([BLUE] * 3, voltage_supply=(6, 9, 9.6), current_wanted=0.001, stock="E12")
    assert "LED goes dark at the lowest supply" in _words(three)
    dim = led.choose_resistor(RED, **BATTERY, current_wanted=0.0003, stock="E12")
    assert "LED too dark to see well" in _words(dim)


def test_choice_refuses_what_cannot_be():
    call = CALLS["choose_resistor"]
    for wrong in ((9.5, 9, 9.6), (7, 9, 8)):
        with pytest.raises(ValueError, match=r"voltage_supply must rise from lowest .*swapped"):
            led.choose_resistor(**(call | {"voltage_supply": wrong}))
    for wrong in ((7, 9), np.nan, (7, np.nan, 9)):
        with pytest.raises(ValueError, match="voltage_supply must be one known number, or lowest, usual and highest"):
            led.choose_resistor(**(call | {"voltage_supply": wrong}))
    with pytest.raises(ValueError, match=r"voltage_supply must be above .*the drop of 6 .*fewer lamps"):
        led.choose_resistor(**(call | {"led": [RED] * 6}))
    with pytest.raises(ValueError, match="led must be a lamp record or several in series, got none"):
        led.choose_resistor(**(call | {"led": []}))
    with pytest.raises(ValueError, match="current_wanted must be one known number"):
        led.choose_resistor(**(call | {"current_wanted": np.nan}))
    with pytest.raises(ValueError, match="current_wanted must be one known number"):
        led.choose_resistor(**(call | {"current_wanted": [0.001, 0.002]}))
    with pytest.raises(TypeError, match="led must be a Led record"):
        led.choose_resistor(**(call | {"led": devices.DIODE_1N4148}))
    with pytest.raises(ValueError, match="stock must be one of"):
        led.choose_resistor(**(call | {"stock": "E13"}))


# --- battery -------------------------------------------------------------------------------------


def test_battery_life_at_its_edges():
    life = led.indicator_battery_life([0, 0.002, 0.002], current_load=[0, 0, 0.006], charge=550 * 3.6)
    np.testing.assert_allclose(life.hours_without, [np.inf, np.inf, 0.55 / 0.006])
    np.testing.assert_allclose(life.hours_with, [np.inf, 275, 0.55 / 0.008])
    np.testing.assert_allclose(life.life_share, [0, 1, 0.25])


# --- fit -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("lamp", LAMPS, ids=lambda lamp: lamp.name)
def test_fit_finds_the_lamp_that_made_the_readings(lamp):
    current = np.array([0.2e-3, 1e-3, 5e-3, 20e-3])
    fitted = led.fit_led(current=current[::-1], voltage=_drop(lamp, current)[::-1], led=RED)
    assert fitted.ideality == pytest.approx(lamp.ideality, rel=1e-9)
    assert fitted.resistance_series == pytest.approx(lamp.resistance_series, rel=1e-7)
    assert np.log(fitted.current_saturation) == pytest.approx(np.log(lamp.current_saturation), rel=1e-9)
    assert fitted.voltage_residual < 1e-10
    assert fitted.led.voltage_spread == 0
    two = led.fit_led(current=current[1:3], voltage=_drop(lamp, current[1:3]), led=lamp)
    assert two.ideality == pytest.approx(lamp.ideality, rel=1e-9)
    assert two.resistance_series == lamp.resistance_series


def test_fit_of_a_published_curve():
    """Nine points of a red lamp read off a data-sheet graph (RED-GRAPH); a graph is read to 20 mV or so."""
    current = np.array([1e-6, 10e-6, 80e-6, 0.7e-3, 5e-3, 20e-3, 40e-3, 65e-3, 80e-3])
    voltage = np.arange(1.3, 2.15, 0.1)
    fitted = led.fit_led(current=current, voltage=voltage, led=RED)
    assert fitted.voltage_residual < 0.021
    assert 1.5 < fitted.ideality < 2
    assert 2 < fitted.resistance_series < 6
    free = np.polynomial.polynomial.polyfit  # independent least squares on the same linear form
    residual = voltage - VOLTAGE_THERMAL_300K * fitted.ideality * np.log(current)
    offset, slope = free(current, residual, 1)
    assert slope == pytest.approx(fitted.resistance_series, rel=1e-6)
    assert np.exp(-offset / (fitted.ideality * VOLTAGE_THERMAL_300K)) == pytest.approx(fitted.current_saturation)


def test_fit_uses_what_was_measured_and_keeps_resistance_positive():
    fitted = led.fit_led(current=[1e-3, np.nan, 10e-3], voltage=[1.75, 1.8, 1.9], led=RED)
    assert np.isnan(fitted.voltage_residuals[1])
    assert fitted.led.name.endswith("measured")
    bent = led.fit_led(current=[1e-3, 3e-3, 10e-3, 20e-3], voltage=[1.70, 1.77, 1.83, 1.85], led=RED)
    assert bent.resistance_series == 0
    flat = led.fit_led(current=[1e-3, 2e-3, 10e-3], voltage=[1.7, 1.9, 1.95], led=RED)
    assert "Reading far from the fitted curve" in _words(flat)
    assert "Ideality factor low for a lamp" in _words(led.fit_led(current=[1e-3, 10e-3], voltage=[1.75, 1.83], led=RED))
    assert "Ideality factor high for a lamp" in _words(led.fit_led(current=[1e-3, 10e-3], voltage=[1.7, 2.3], led=RED))


def test_fit_doubts_a_class_that_the_readings_do_not_suit():
    current = np.array([0.5e-3, 2e-3, 10e-3])
    blue = led.fit_led(current=current, voltage=_drop(RED, current), led=devices.LED_BLUE)
    assert "Readings do not suit" in _words(blue)[0]
    assert led.fit_led(current=current, voltage=_drop(BLUE, current), led=devices.LED_BLUE).cautions == ()
    assert blue.cautions[0].value > 0.9
    # A lamp is doubted from a quarter of a volt off, or beyond the sheet's own range: 2.85 to 3.55 V of the blue one.
    for lamp, kind, edge in ((RED, devices.LED_RED_GAASP, 0.25), (BLUE, devices.LED_BLUE, 0.35)):
        for off, doubted in ((0.95 * edge, False), (1.05 * edge, True), (-1.05 * edge, True)):
            fitted = led.fit_led(current=current, voltage=_drop(_shifted(lamp, off), current), led=kind)
            assert any("do not suit" in words for words in _words(fitted)) == doubted


def test_a_miss_of_rounding_is_none():
    two = led.fit_led(current=[1e-3, 10e-3], voltage=[1.75, 1.9], led=devices.LED_RED_GAASP)
    assert two.voltage_residual == 0
    assert two.voltage_residuals == (0.0, 0.0)


@pytest.mark.parametrize(
    ("current", "voltage", "complaint"),
    [
        ([2e-3], [1.8], "at least two pairs to fit a lamp, got 1"),
        ([2e-3, np.nan], [1.8, 1.9], "at least two pairs to fit a lamp, got 1"),
        ([2e-3, 3e-3], [1.8, 1.8, 1.9], "same length"),
        ([[2e-3, 3e-3]], [[1.8, 1.9]], "two lists"),
        ([2e-3, 10e-3], [1.9, 1.8], "voltage must rise with current"),
        ([2e-3, 2e-3], [1.8, 1.9], "current must differ between pairs"),
        ([2.0, 10.0], [1.8, 1.9], "current must be above 0 and at most 1"),
        ([1.8, 1.9], [2e-3, 10e-3], "current must be above 0 and at most 1"),
        ([-2e-3, 10e-3], [1.8, 1.9], "current must be above 0"),
        ([2e-3, 10e-3], [-1.8, 1.9], "voltage must be above 0"),
        ([2e-3, 10e-3], [1.800, 1.801], "voltage must rise by more than the 5 Ω of the colour class"),
        ([2e-3, 10e-3], [1.8, 1.841], "voltage must rise more with current than this"),
        ([1e-3, 5e-3, 10e-3], [1e-3, 5e-3, 11e-3], "plain resistance"),
    ],
)
def test_fit_refuses_contradictions(current, voltage, complaint):
    with pytest.raises(ValueError, match=complaint):
        led.fit_led(current=current, voltage=voltage, led=RED)


def test_a_last_reading_at_one_ampere_is_fitted_like_any():
    # Its logarithm is 0. The readings are made by the law: SHOCKLEY and 1 Ω.
    current = np.array([1e-3, 1e-2, 0.1, 1.0])
    slope = 2 * VOLTAGE_THERMAL_300K
    voltage = slope * np.log1p(current / 1e-11) + 1.0 * current
    found = led.fit_led(current=current, voltage=voltage, led=devices.LED_RED_ALINGAP)
    assert found.ideality == pytest.approx(2.0, rel=1e-6)
    assert found.resistance_series == pytest.approx(1.0, rel=1e-6)


def test_a_resistor_hotter_than_any_in_trade_is_refused_by_the_supply():
    """Of 300 V some 17 mA leave 298 V across 18 kΩ, 5 W (Ohm's law), and a 10 W part is meant for no more at half its rating."""
    asked = {"current_wanted": 0.0166, "stock": "E12"}
    with pytest.raises(
        ValueError, match=r"^voltage_supply must be low enough for a resistor of 10 W.* would burn 5\.2 W, got 300 V"
    ):
        led.choose_resistor(devices.LED_RED_GAASP, voltage_supply=300.0, **asked)
    options = led.choose_resistor(devices.LED_RED_GAASP, voltage_supply=(200.0, 200.0, 240.0), **asked).stock_options
    assert all(one.power_resistor <= 5 for one in options)
