"""Panels: sliders, a picture, and words that agree with it."""

from __future__ import annotations

import dataclasses
import gc
import itertools
import re
import sys
import time
import warnings
from concurrent.futures import ThreadPoolExecutor
from functools import cache, partial

import numpy as np
import pytest

from pedalcalc import compressor, devices, explore, laws, led, plot, sidechain, values
from pedalcalc._result import ModelRangeWarning
from pedalcalc.board import assemble
from pedalcalc.explore._panel import _set_apart, panel
from pedalcalc.explore._slider import choice, slider
from pedalcalc.explore._swap import _series
from pedalcalc.plot._kept import KEPT
from tests.conftest import ROOT
from tests.test_supply_budget import RAIL


def draw(resistance):
    voltage = np.linspace(0.0, 9.0, 10)
    axes = {"caption_across": "voltage", "unit_across": "V", "caption": "current", "unit": "A"}
    return plot.lines({"": voltage / resistance}, across=voltage, **axes)


def told(panel):
    """Return the words under a picture as HTML, in which numbers stay beside their units by a space of their own."""
    return panel.shown.value.replace("\N{NO-BREAK SPACE}", " ")


COMPRESSOR = compressor.example()
CALLS = {
    "swap": {
        "board": assemble(ROOT / "notebooks" / "builds" / "your-build" / "parts.csv", supply=9.0),
        "fitted": {"C1": ["4n7", "100n"], "IC1": ["NE5532"], "D1": ["1N4148"]},
    },
    "bjt_bias": {
        "transistor": devices.BJT_BC549B,
        "voltage_supply": 9.0,
        "resistance_top": 68e3,
        "resistance_bottom": 15e3,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 1e3,
        "current_gain": 290.0,
    },
    "jfet_bias": {
        "voltage_supply": 9.0,
        "resistance_drain": 4.7e3,
        "resistance_source_pin": 1e3,
        "current_drain_zero_bias": 3e-3,
        "voltage_gate_source_off": -1.8,
    },
    "battery_discharge": {"battery": devices.BATTERY_9V_ALKALINE, "current_load": 0.010, "voltage_end": 7.0},
    "charge_pump": {"rail": RAIL, "voltage_supply": 9.0, "current_load": 0.005},
    "voltage_budget": {
        "rail": RAIL,
        "voltage_supply": 9.0,
        "current_load": 0.006,
        "current_direct": 0.002,
        "voltage_peak": 1.0,
    },
    "coupler_curve": {"coupler": devices.COUPLER_GREEN_GAP_GL5528, "current": 0.001, "illuminance_ambient": 1.0},
    "detector": {
        "resistance_attack": 10e3,
        "resistance_release": 220e3,
        "capacitance_hold": 1e-6,
        "frequency": 82.4,
        "voltage_peak": 1.0,
        "rectifier": "full",
        "voltage_diode": 0.0,
    },
    "indicator_led": {"led": devices.LED_GREEN_GAP, "voltage_supply": 9.0, "resistance": 2200.0},
    "listening": {"compressor": COMPRESSOR, "level_full_scale_dbv": -11.0},
    "static_curve": {"compressor": COMPRESSOR, "frequency": 1000.0},
    "step_response": {"compressor": COMPRESSOR, "level_low_dbv": -30.0, "level_step_db": 20.0},
    "pot": {
        "rotation": 0.5,
        "resistance_total": 1e6,
        "resistance_stop": 100e3,
        "taper": devices.typical(devices.TAPER_LOG),
        "caption": "release",
    },
}
SLIDER = {"value": 1000.0, "low": 100.0, "high": 1e4, "unit": "Ω", "caption": "R", "steps": 10}


def test_detector_picture_agrees_with_the_burst():
    shown = explore.detector(**CALLS["detector"])
    parts = {key: value for key, value in CALLS["detector"].items() if key != "frequency"}
    burst = sidechain.tone_burst([0.0], time_burst=0.5, frequency=82.4, **parts)
    assert f"● attack {1e3 * burst.time_attack_63:.1f} ms; ■ release 220 ms" in told(shown)
    assert f"ripple {100 * burst.ripple_share:.3g} % of the held voltage at 82.4 Hz" in told(shown)


def test_detector_refuses_a_tone_under_the_threshold():
    with pytest.raises(ValueError, match="voltage_peak must be above 2"):
        explore.detector(**CALLS["detector"] | {"voltage_diode": 2.0})


@pytest.mark.parametrize(("attack", "frequency"), [(1e6, 40.0), (1e6, 2e3), (100.0, 2e3)])
def test_detector_picture_lasts_until_the_attack_is_over(attack, frequency):
    """However many waves it takes; where they are too many to draw, the picture passes through some of them."""
    parts = CALLS["detector"] | {"resistance_attack": attack, "resistance_release": 10e6, "frequency": frequency}
    shown = explore.detector(**parts)
    burst = sidechain.tone_burst([0.0], time_burst=60.0, **parts)
    assert f"● attack {values.write_value(burst.time_attack_63, unit='s', digits=3)}; ■ release 10.0 s" in told(shown)
    rise = shown._figure.curves[0]
    time, held = rise.get_data()
    inside = time < time[-1]
    exact = sidechain.tone_burst(time[inside], time_burst=time[-1], **parts)
    np.testing.assert_array_equal(held[inside], exact.voltage_hold)
    assert time[-1] > 2 * burst.time_attack_63 and len(time) <= 1300


def shot(panel):
    """Return the picture a panel shows; a widget may hold it as a view."""
    return bytes(panel.image.value)


def png_size(image):
    assert image.startswith(b"\x89PNG")
    return int.from_bytes(image[16:20], "big"), int.from_bytes(image[20:24], "big")


def test_slider_stops_are_spaced_by_ratio_with_the_start_among_them():
    stops = [value for _, value in slider(4700.0, low=1e3, high=1e6, unit="Ω", caption="R", steps=3).stops]
    assert stops == pytest.approx([1e3, 4700.0, 1e4, 1e5, 1e6])
    even = slider(0.0, low=-1.0, high=1.0, unit="V", caption="V", scale="linear", steps=4)
    assert [value for _, value in even.stops] == [-1.0, -0.5, 0.0, 0.5, 1.0]
    assert even.stops[even.start] == ("0 V", 0.0)


def test_stops_show_the_very_value_that_is_drawn():
    for text, value in slider(1e3, low=1e3, high=1e6, unit="Ω", caption="R", steps=40).stops:
        assert values.read_value(text, unit="Ω") == pytest.approx(value, rel=1e-12)


def test_stock_stops_are_those_of_the_series_and_the_value_given():
    stops = [value for _, value in slider(5.1e3, low=1e3, high=10e3, unit="Ω", caption="R", stock="E6").stops]
    # IEC 60063, E6.
    assert stops == pytest.approx([1e3, 1.5e3, 2.2e3, 3.3e3, 4.7e3, 5.1e3, 6.8e3, 10e3])
    small = slider(4.7e-9, low=1e-9, high=10e-9, unit="F", caption="C", stock="E6")
    assert [text for text, _ in small.stops] == [
        f"{x} nF" for x in ("1.00", "1.50", "2.20", "3.30", "4.70", "6.80", "10.0")
    ]
    drawer = slider(1e3, low=100.0, high=1e4, unit="Ω", caption="R", stock=["2.2k", "820", "82k", "820"])
    assert [value for _, value in drawer.stops] == [820.0, 1e3, 2.2e3]
    with pytest.raises(ValueError, match="stock must hold a value from value_min to value_max, 100 to 10000"):
        slider(1e3, low=100.0, high=1e4, unit="Ω", caption="R", stock=[82e3])


def test_no_two_stops_read_the_same():
    spaced = slider(1e-3, low=1e-3, high=0.1, unit="A", caption="I", steps=200)
    beside = next(value for text, value in spaced.stops if text.startswith("7."))
    shown = slider(beside * 1.0003, low=1e-3, high=0.1, unit="A", caption="I", steps=200)
    labels = [text for text, _ in shown.stops]
    assert len(set(labels)) == len(labels) == 201
    assert shown.stops[shown.start][1] == beside * 1.0003


def test_parts_stop_at_stock_values():
    e12, e6 = (set(np.round(values.stock_values(series), 3)) for series in ("E12", "E6"))
    for shown in map(made, MAKERS):
        for name, control in shown.sliders.items():
            start = control.value
            if name.startswith(("resistance", "capacitance")):
                allowed = e12 if name.startswith("resistance") else e6
                for _, value in control.options:
                    assert value == start or round(value / 10 ** np.floor(np.log10(value * 1.0001)), 3) in allowed


def test_pot_goes_from_its_stop_to_stop_and_track():
    control = explore.pot(
        0.3, resistance_total=1e6, resistance_stop=100e3, taper=devices.typical(devices.TAPER_LOG), caption="release"
    )
    ohms = np.array([value for _, value in control.stops])
    assert (ohms[0], ohms[-1]) == (100e3, 1.1e6) and np.all(np.diff(ohms) > 0)
    assert ohms[len(ohms) // 2] == pytest.approx(100e3 + 0.15e6)
    assert control.stops[control.start][0].startswith("3: ")
    falling = explore.pot(
        0.0,
        resistance_total=1e6,
        resistance_stop=1e3,
        taper=devices.typical(devices.TAPER_LINEAR),
        caption="R",
        lug="clockwise",
    )
    assert falling.stops[falling.start][1] == pytest.approx(1.001e6)
    assert control.read("7.5") == control.read("7.5: whatever") == control.stops[15]
    for wrong, words in (("47k", "is not a mark of the knob"), ("11", "must be a mark of the knob, 0 to 10")):
        with pytest.raises(ValueError, match=words):
            control.read(wrong)


def test_controls_take_the_place_of_the_usual_sliders():
    knob = explore.pot(
        1.0,
        resistance_total=1e6,
        resistance_stop=100e3,
        taper=devices.typical(devices.TAPER_LINEAR),
        caption="release control",
    )
    detector = partial(explore.detector, **CALLS["detector"])
    for explorer in (
        partial(explore.step_response, COMPRESSOR),
        partial(explore.static_curve, COMPRESSOR),
        detector,
    ):
        shown = explorer(controls={"resistance_release": knob})
        assert shown.sliders["resistance_release"].value == 1.1e6
        assert "release control 10: 1.10 MΩ" in shown.words() and "release resist" not in shown.words()
        with pytest.raises(ValueError, match="controls must be one of"):
            explorer(controls={"resistance_of_the_moon": knob})


def test_start_on_a_stop_is_not_doubled():
    described = slider(1e4, low=1e3, high=1e5, unit="Ω", caption="R", steps=2)
    assert [text for text, _ in described.stops] == ["1.00 kΩ", "10.0 kΩ", "100 kΩ"]
    assert described.start == 1


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"low": 2e4}, "high must be above low"),
        ({"low": 0.0}, "low must be above 0 on a log slider"),
        ({"value": 1.0}, r": value must be from 100.* to .*, got 1\.00"),
        ({"scale": "square"}, "scale must be one of"),
    ],
)
def test_slider_refuses(changed, words):
    with pytest.raises(ValueError, match=words):
        slider(**(SLIDER | changed))


def test_panel_refuses():
    with pytest.raises(TypeError, match="draw must be a function"):
        panel(3.0, a=choice("x", options=["x"], caption="a"))
    with pytest.raises(ValueError, match="at least one slider"):
        panel(draw)
    with pytest.raises(TypeError, match="resistance must be made by"):
        panel(draw, resistance=1000.0)
    with pytest.raises(ValueError, match="chosen must be one of"):
        choice("z", options=["x"], caption="a")


def test_words_are_written_after_the_picture():
    shown = panel(draw, resistance=slider(1e3, low=100.0, high=1e4, unit="Ω", caption="R", steps=4))
    order = []
    shown.image.observe(lambda _: order.append("picture"), "value")
    shown.shown.observe(lambda _: order.append("words"), "value")
    shown.sliders["resistance"].index += 1
    assert order == ["picture", "words"]
    assert "shown: R 3.16 kΩ" in told(shown)


def test_what_cannot_be_drawn_leaves_no_stale_picture():
    def fails(resistance):
        if resistance > 2000.0:
            raise ValueError("resistance is <too> much")
        return draw(resistance)

    shown = panel(fails, resistance=slider(1e3, low=100.0, high=1e4, unit="Ω", caption="R", steps=4))
    shown.sliders["resistance"].index += 1
    assert shot(shown) == b"" and "not shown: R" in told(shown) and "&lt;too&gt;" in told(shown)
    shown.sliders["resistance"].index -= 1
    assert shot(shown).startswith(b"\x89PNG") and "not shown" not in told(shown)


def resistor_panel(draw=draw, **more):
    """Return a panel of one resistor from 100 Ω to 10 kΩ that starts at 1 kΩ."""
    return panel(draw, resistance=slider(**SLIDER | more))


def test_a_value_can_be_typed():
    shown = resistor_panel(stock="E12")
    typed = shown.readouts["resistance"]
    assert typed.value == "1.00 kΩ"
    typed.value = "5k1"
    assert shown.sliders["resistance"].value == 5100.0 and typed.value == "5.10 kΩ"
    assert "shown: R 5.10 kΩ" in told(shown)
    neighbours = [value for _, value in shown.sliders["resistance"].options]
    assert neighbours == sorted(neighbours) and 5100.0 in neighbours
    typed.value = "4700"  # a stop there is already
    assert shown.sliders["resistance"].value == 4700.0 and len(shown.sliders["resistance"].options) == len(neighbours)
    assert shot(shown) == shot(resistor_panel(value=4700.0, stock="E12"))


@pytest.mark.parametrize(
    ("text", "words"), [("47 k?", "is not a value"), ("1M", "1M must be from 100 Ω to 10.0 kΩ"), ("-3k", "negative")]
)
def test_what_cannot_be_read_moves_nothing_and_says_why(text, words):
    shown = resistor_panel()
    before = shot(shown)
    shown.readouts["resistance"].value = text
    assert shown.readouts["resistance"].value == "1.00 kΩ" and shot(shown) == before
    assert "R: " in told(shown) and words in told(shown)
    shown.sliders["resistance"].index += 1
    assert words not in told(shown)


@pytest.mark.parametrize(
    ("unit", "text", "value"),
    [("dB", "12 dB", 12.0), ("1", "7.5", 7.5), ("V", "\N{MINUS SIGN}1.5 V", -1.5), ("Hz", "1k", 1e3)],
)
def test_typed_texts_are_read_in_the_unit_of_the_slider(unit, text, value):
    low, high = (-2000.0, 2000.0)
    described = slider(1.0, low=low, high=high, unit=unit, caption="x", scale="linear", steps=4)
    assert described.read(text)[1] == value
    with pytest.raises(ValueError, match="not"):
        described.read("much")


def test_names_beside_a_choice_cannot_be_typed_over():
    shown = explore.step_response(COMPRESSOR)
    assert type(shown.readouts["coupler"]).__name__ == "Label"
    shown.sliders["coupler"].index = 2
    assert shown.readouts["coupler"].value == shown.sliders["coupler"].label


@pytest.mark.parametrize("kept_figure", [True, False])
def test_keep_holds_the_curves_and_lets_them_go(kept_figure):
    shown = explore.indicator_led(**CALLS["indicator_led"]) if kept_figure else resistor_panel()
    moving = next(iter(shown.sliders.values()))
    plain = shot(shown)
    curves = getattr(shown._figure, "curves", shown._figure.axes[0].lines)
    held = [line.get_data() for line in curves if len(line.get_xdata()) > 5]
    result = shown._figure.caption
    shown.keep()
    assert shown.keep_button.description == "Let go"
    moving.index += 3
    assert shown.keep_button.description == "Keep"
    pale = [line for line in shown._figure.axes[0].lines if line.get_gid() == KEPT and len(line.get_xdata()) > 5]
    for (x, y), line in zip(held, pale, strict=False):
        np.testing.assert_array_equal(line.get_data(), (x, y))
    assert f"kept, pale: {moving.description} " in told(shown) and result in told(shown)
    moved = shot(shown)
    moving.index -= 3
    assert "these very values" in told(shown)
    shown.keep()
    assert shot(shown) == plain and "kept" not in told(shown)
    moving.index += 3
    assert shot(shown) != moved
    shown.keep()
    assert shown.keep_button.description == "Let go"


def test_back_to_start_takes_everything_back_in_one_picture():
    shown = explore.jfet_bias(**CALLS["jfet_bias"])
    before, words = shot(shown), shown.words()
    for control in shown.sliders.values():
        control.index = 0
    shown.readouts["resistance_drain"].value = "5k1"
    drawn = []
    shown.image.observe(lambda _: drawn.append(1), "value")
    shown.restart()
    assert (shot(shown), shown.words()) == (before, words) and len(drawn) == 1
    assert 5100.0 not in [value for _, value in shown.sliders["resistance_drain"].options]


def test_pictures_are_drawn_one_at_a_time():
    """A lab may hand the messages of widgets to several threads."""
    inside, most = [], []

    def slow(resistance):
        inside.append(resistance)
        most.append(len(inside))
        time.sleep(0.02)
        inside.pop()
        return draw(resistance)

    shown = resistor_panel(slow)
    with ThreadPoolExecutor(4) as threads:
        list(threads.map(lambda place: setattr(shown.sliders["resistance"], "index", place), range(4)))
    assert max(most) == 1 < len(most)
    assert shown.words() in told(shown)


def test_buttons_do_what_they_say():
    shown = resistor_panel()
    shown.keep_button.click()
    assert shown.keep_button.description == "Let go"
    shown.sliders["resistance"].index += 2
    shown.start_button.click()
    assert shown.sliders["resistance"].value == 1000.0


def test_warnings_are_sentences_in_the_panel(recwarn):
    def far(resistance):
        if resistance > 2000.0:
            warnings.warn("resistance lies outside what was checked", ModelRangeWarning, stacklevel=2)
            with np.errstate(over="warn"):
                np.exp(np.float64(1000.0))
        return draw(resistance)

    shown = resistor_panel(far)
    assert 'role="note"' not in told(shown)
    shown.sliders["resistance"].index += 2
    assert "Resistance lies outside what was checked</div>" in told(shown)
    assert "A number left the range that can be computed with (overflow" in told(shown)
    metadata = shown._repr_mimebundle_()[1]
    assert "Caution: Resistance lies outside" in metadata["image/svg+xml"]["caption"]
    started_far = resistor_panel(far, value=5000.0)
    assert "Resistance lies outside what was checked</div>" in told(started_far)
    shown.sliders["resistance"].index -= 2
    assert 'role="note"' not in told(shown)
    assert not recwarn.list


def test_arithmetic_that_fails_leaves_no_stale_picture():
    shown = resistor_panel(lambda resistance: draw(resistance) if resistance < 2000.0 else 1 / 0)
    shown.sliders["resistance"].index += 3
    assert shot(shown) == b"" and "division by zero" in told(shown)
    shown.keep()  # nothing to hold
    assert shown.keep_button.description == "Keep"


def test_cautions_of_the_results_stand_under_the_picture():
    hot = told(explore.voltage_budget(**CALLS["voltage_budget"] | {"voltage_supply": 18.0}))
    assert "it can latch up and die" in hot and "Use a part of a higher limit" in hot
    assert 'role="note"' not in told(explore.voltage_budget(**CALLS["voltage_budget"]))


def test_a_step_without_compression_has_no_times():
    quiet = dataclasses.replace(COMPRESSOR, gain_sidechain=1e-3)
    said = told(explore.step_response(quiet))
    assert "attack: hardly any compression to time; release: hardly any compression to time" in said
    assert "µs" not in said


def test_a_step_that_does_not_settle_says_so():
    slow = dataclasses.replace(COMPRESSOR, resistance_release=4.7e6, capacitance_hold=22e-6)
    said = told(explore.step_response(slow))
    assert re.search(r"release: not settled within \d+ s", said) and "first entry" not in said


def test_output_carries_a_still_for_paper():
    shown = explore.indicator_led(devices.LED_GREEN_GAP, voltage_supply=9.0, resistance=2200.0)
    data, metadata = shown._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in data
    assert data["image/svg+xml"].startswith("<svg") and ">Series resistor</text>" in data["image/svg+xml"]
    assert metadata["image/svg+xml"]["caption"].startswith("shown: supply 9.00 V, series resistor 2.20 kΩ\nLED current")


NO_PANELS = {"pot"}
MAKERS = {name: partial(getattr(explore, name), **call) for name, call in CALLS.items() if name not in NO_PANELS}


@cache
def made(name):
    """Return a panel, made once for all tests that only look at it."""
    return MAKERS[name]()


def undrawn(name, monkeypatch):
    """Return a panel that sets curves and limits at each move, and draws no picture of them."""
    panel = MAKERS[name]()
    monkeypatch.setattr(panel._screen, "png", lambda _: b"")
    return panel


@pytest.mark.parametrize("name", MAKERS)
def test_kept_figure_shows_what_a_new_one_would(name):
    """A panel moved there and back, and one made afresh, give the same bytes."""
    moved, fresh = MAKERS[name](), MAKERS[name]()
    assert png_size(shot(moved)) == png_size(shot(fresh))
    for control in moved.sliders.values():
        was, start = shot(moved), control.index
        control.index = start + 1 if start + 1 < len(control.options) else start - 1
        assert shot(moved) != was, f"{control.description} changes nothing in the picture"
        control.index = start
        assert shot(moved) == shot(fresh)


@pytest.mark.parametrize("name", MAKERS)
def test_captions_and_stops_have_room_beside_the_slider(name):
    """Letters of a wide face take about half an em; the text of a value has 9 em."""
    shown = made(name)
    for place, control in shown.sliders.items():
        room = float(control.style.description_width.removesuffix("em"))
        beside = float(shown.readouts[place].layout.width.removesuffix("em"))
        assert 0.52 * len(control.description) < room <= 20
        assert 0.52 * max(len(text) for text, _ in control.options) < beside <= 20


@pytest.mark.parametrize("name", MAKERS)
def test_nothing_in_the_axes_can_cover_a_curve(name):
    """Results stand under the picture, legends above the axes; only bars carry their own numbers."""
    figure = made(name)._figure
    for axes in figure.axes:
        assert axes.get_legend() is None
        assert name == "voltage_budget" or not [text for text in axes.texts if text.get_text()]


@pytest.mark.parametrize("name", MAKERS)
def test_what_moves_and_what_is_kept_is_named(name):
    figure = made(name)._figure
    assert figure.curves and set(figure.curves) <= set(figure.moving)


@pytest.mark.parametrize(("name", "moved"), [("jfet_bias", "resistance_drain"), ("bjt_bias", "resistance_emitter")])
def test_limits_of_a_bias_panel_stand_still_for_a_while(name, moved, monkeypatch):
    panel = undrawn(name, monkeypatch)
    control, axes = panel.sliders[moved], panel._figure.axes[0]
    tops = []
    for place in range(len(control.options)):
        control.index = place
        top = axes.get_ylim()[1]
        tops.append(top)
        assert float(f"{top:e}".partition("e")[0]) in (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)
        assert max(line.get_ydata()[0] for line in panel._figure.curves[1:2]) < top
    assert len(set(tops)) <= 14 < len(tops)


@pytest.mark.parametrize(("name", "curve"), [("jfet_bias", 0), ("bjt_bias", 0), ("battery_discharge", 0)])
def test_the_point_lies_on_its_curve_in_every_corner(name, curve):
    """A base current of 50 nA too, and a battery that is empty before its end voltage."""
    panel = MAKERS[name]()
    sliders = list(panel.sliders.values())
    seen = 0
    for places in itertools.product(*[(0, control.index, len(control.options) - 1) for control in sliders]):
        panel._quiet = True
        for control, place in zip(sliders, places, strict=True):
            control.index = place
        panel._quiet = False
        figure = panel._draw(**panel.values())
        across, up = figure.curves[curve].get_data()
        (x,), (y,) = figure.curves[-1].get_data()
        steep = name != "battery_discharge" and x < 0.5  # the curve rises between two of its points there
        if not steep and across[0] < x < across[-1]:
            seen += 1
            assert y == pytest.approx(np.interp(x, across, up), rel=2e-3, abs=1e-12), panel.words()
    assert seen > 5


def test_time_axes_of_the_detector_stand_still_for_a_while(monkeypatch):
    """From stop to stop an axis changes at most half of the time, though the times span many decades."""
    panel = undrawn("detector", monkeypatch)
    for control in panel.sliders.values():
        limits = []
        for place in range(len(control.options)):
            control.index = place
            limits.append([axes.get_xlim() for axes in panel._figure.axes])
        for axis in zip(*limits, strict=True):
            changes = sum(one != other for one, other in itertools.pairwise(axis))
            assert changes <= 0.5 * len(axis) + 1, control.description
        panel.restart()


def test_every_coupler_can_be_chosen():
    offered = [value for _, value in explore.static_curve(COMPRESSOR).sliders["coupler"].options]
    known = [getattr(devices, name).name for name in devices.__all__ if name.startswith("COUPLER_")]
    assert sorted(part.name for part in offered) == sorted(known)


@pytest.mark.parametrize("name", MAKERS)
def test_every_end_of_every_slider_can_be_drawn(name):
    panel = MAKERS[name]()
    for control in panel.sliders.values():
        start = control.index
        for end in (0, len(control.options) - 1):
            control.index = end
            assert "not shown" not in told(panel), told(panel)
        control.index = start


def test_indicator_led_agrees_with_its_room():
    shown = explore.indicator_led(devices.LED_GREEN_GAP, voltage_supply=9.0, resistance=2200.0)
    law = devices.typical(devices.LED_GREEN_GAP)
    current = laws.junction_in_series(9.0, resistance=2200.0, junction=law).current
    assert f"LED current {values.write_value(current, unit='A', digits=3)}" in told(shown)


def test_a_measured_lamp_has_no_spread_to_show():
    own = led.fit_led(current=[0.1e-3, 1e-3, 5e-3], voltage=[1.60, 1.72, 1.83], led=devices.LED_RED_ALINGAP).led
    lamps = (devices.LED_RED_ALINGAP, own)
    legends = [
        [
            text.get_text()
            for text in explore.indicator_led(lamp, voltage_supply=9.0, resistance=2200.0)
            ._figure.legends[0]
            .get_texts()
        ]
        for lamp in lamps
    ]
    assert legends[0][:2] == ["typical LED", "LED of lowest and highest drop"]
    assert legends[1][0] == own.name and not any("lowest" in text for text in legends[1])


def test_a_resistor_a_thousand_times_too_large_is_told_in_words():
    """47 kΩ for 47 Ω: no swing is left, no number is infinite, and no text is drawn miles away (which ends in an error)."""
    call = CALLS["voltage_budget"]
    for ohms in (47e3, 1e9):
        shown = explore.voltage_budget(**call | {"rail": dataclasses.replace(call["rail"], resistance_filter_out=ohms)})
        assert shown._figure.caption.startswith("no usable swing is left; supply gives ")
        assert "no swing is left" in told(shown) and "∞" not in told(shown)


def test_a_dark_lamp_is_said_to_be_dark():
    shown = explore.indicator_led(devices.LED_GREEN_GAP, voltage_supply=1.0, resistance=2200.0)
    assert shown._figure.caption == "dark: under 1 µA flows"
    shown.sliders["voltage_supply"].index = 1  # 1.5 V: some of its kind begin to glow
    assert "resistor heat under 1 µW" in shown._figure.caption


def test_an_overloaded_pump_has_no_output_resistance_to_show():
    """Where the load takes more than f C 2 V, the supply comes through the diodes: that is no pump's resistance."""
    shown = MAKERS["charge_pump"]()
    shown.sliders["frequency_pump"].index = 0
    exact, slow = shown._figure.axes[0].lines[0].get_ydata(), shown._figure.axes[0].lines[2].get_ydata()
    assert np.isnan(exact[0]) and exact[-1] > 0
    assert np.all((exact >= 0.999 * slow) | np.isnan(exact))


def test_indicator_led_warns_above_the_rating():
    said = told(explore.indicator_led(devices.LED_GREEN_GAP, voltage_supply=9.0, resistance=100.0))
    assert "above 25.0 mA. Use a larger resistor." in said


def test_a_direct_drive_has_no_timing_parts():
    direct = dataclasses.replace(COMPRESSOR, drive="direct")
    assert list(explore.step_response(direct).sliders) == ["gain_sidechain", "coupler", "level_step_db"]


def test_own_coupler_is_among_the_choices():
    own = dataclasses.replace(devices.typical(devices.COUPLER_WHITE_GL5528), name="mine, measured")
    shown = explore.step_response(dataclasses.replace(COMPRESSOR, coupler=own))
    assert shown.sliders["coupler"].label == "mine, measured"


def test_a_swapped_jfet_is_told_to_be_a_typical_one():
    parts = ROOT / "notebooks" / "builds" / "jfet-booster" / "parts.csv"
    measured = {"Q1": parts.parent / "readings" / "q1.csv"}
    shown = explore.swap(assemble(parts, supply="9V", readings=measured), fitted={"Q1": ["J202"], "C1": ["47n"]})
    shown.sliders["C1"].value = "47n"
    assert "typical" not in told(shown)
    shown.sliders["Q1"].value = "J202"
    assert "Q1 a typical J202: measure yours" in told(shown)


def test_readings_that_several_swaps_move_are_told_beside_the_sound():
    """A 1N4001 drops some 0.4 V more than a 1N5817 (makers' sheets); a smaller capacitor is heard, and hid it."""
    parts = ROOT / "notebooks" / "builds" / "jfet-booster" / "parts.csv"
    measured = {"Q1": parts.parent / "readings" / "q1.csv"}
    shown = explore.swap(assemble(parts, supply="9V", readings=measured), fitted={"D1": ["1N4001"], "C1": ["4n7"]})
    shown.sliders["D1"].value = "1N4001"
    assert shown._figure.caption.count("moves readings: ") == 1
    shown.sliders["C1"].value = "4n7"
    assert shown._figure.caption.startswith("changes the sound: less bass")
    assert re.search(r"moves readings: .*protected 8.84 V to 8.41 V", shown._figure.caption)


def test_a_swap_is_told_and_drawn():
    shown = explore.swap(**CALLS["swap"])
    assert "all as fitted" in told(shown)
    usual, other = shown._figure.axes[0].lines[:2]
    np.testing.assert_allclose(usual.get_ydata(), other.get_ydata())
    shown.sliders["C1"].value = "4n7"
    # 4.7 nF into 1 MΩ and the guitar's 10 kΩ: 1/(2 pi R C) = 33.5 Hz, by hand
    assert "less bass (lower end, 3 dB down: 7.25 Hz before, 33.8 Hz after)" in shown._figure.caption
    assert other.get_ydata()[0] < usual.get_ydata()[0] - 5
    shown.restart()
    assert "all as fitted" in told(shown)


def test_substitutes_are_found_where_nobody_names_any():
    board = CALLS["swap"]["board"]
    shown = explore.swap(board)
    assert "NE5532" in [text for text, _ in shown.sliders["IC1"].options]
    assert 1 < len(shown.sliders) <= 5
    assert list(_series(board.part("R1").value, "Ω")) and not list(_series(0.0, "Ω"))  # a link has no neighbours
    assert list(_series(1.0, "F"))[-1] == "680m"
    assert [code for code in _series(22e-9, "F") if code in ("15n", "22n", "33n")] == ["15n", "33n"]
    with pytest.raises(ValueError, match="has no R99"):
        explore.swap(board, fitted={"R99": ["1k"]})


def test_what_is_loaded_is_set_apart_once_from_the_search_for_unused_memory(monkeypatch):
    """CPython's `gc.freeze`: what it has set apart is looked through no more, and would never be let go if it were a cycle."""
    monkeypatch.setitem(sys.modules, "ipykernel.kernelapp", sys)  # as in a notebook's kernel
    _set_apart.cache_clear()
    MAKERS["indicator_led"]()
    apart = gc.get_freeze_count()
    MAKERS["indicator_led"]()
    assert 0.9 * apart < gc.get_freeze_count() <= apart  # a few are let go one by one
    assert apart > 50_000  # numpy, scipy and matplotlib alone


def test_a_program_of_somebody_else_s_keeps_its_habits(monkeypatch):
    monkeypatch.delitem(sys.modules, "ipykernel.kernelapp", raising=False)
    monkeypatch.setattr(gc, "freeze", lambda: pytest.fail("set apart"))
    _set_apart.cache_clear()
    MAKERS["indicator_led"]()
