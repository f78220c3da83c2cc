"""Panels: sliders, a picture, and words that agree with it."""

from __future__ import annotations

import dataclasses
from functools import partial

import numpy as np
import pytest

from pedalcalc import compressor, devices, explore, junction, plot, sidechain, values
from tests.test_pump import RAIL


def draw(resistance):
    voltage = np.linspace(0.0, 9.0, 10)
    axes = {"caption_across": "voltage", "unit_across": "V", "caption": "current", "unit": "A"}
    return plot.lines({"": voltage / resistance}, across=voltage, **axes)


COMPRESSOR = compressor.example()
CALLS = {
    "bjt_divider": {
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
    "release_against_distortion": {
        "compressor": COMPRESSOR,
        "level_in_dbv": -10.0,
        "resistances_release": [100e3, 220e3],
        "frequency": 220.0,
    },
    "static_curve": {"compressor": COMPRESSOR, "frequency": 1000.0},
    "step_response": {"compressor": COMPRESSOR, "level_low_dbv": -30.0, "level_step_db": 20.0},
    "time_constant": {
        "resistance": 220e3,
        "capacitance": 1e-6,
        "voltage_start": 3.0,
        "voltage_final": 0.0,
        "voltage_level": 1.5,
    },
    "choice": {"chosen": "after", "options": ["before", "after"], "caption": "sensed"},
    "panel": {
        "draw": lambda coupler: draw(coupler),
        "coupler": explore.choice("one", options={"one": 1000.0, "two": 2000.0}, caption="coupler"),
    },
    "slider": {"value": 1000.0, "low": 100.0, "high": 1e4, "unit": "Ω", "caption": "R", "steps": 10},
}


def test_detector_picture_agrees_with_the_burst():
    shown = explore.detector(**CALLS["detector"])
    parts = {key: value for key, value in CALLS["detector"].items() if key != "frequency"}
    burst = sidechain.tone_burst([0.0], time_burst=0.5, frequency=82.4, **parts)
    assert f"attack {1e3 * burst.time_attack_63:.1f} ms; release 220 ms" in shown.shown.value
    assert f"ripple {100 * burst.ripple_share:.2g} % at 82.4 Hz" in shown.shown.value


def test_detector_refuses_a_tone_under_the_threshold():
    with pytest.raises(ValueError, match="voltage_peak must be above 2"):
        explore.detector(**CALLS["detector"] | {"voltage_diode": 2.0})


def shot(panel):
    """Return the picture a panel shows; a widget may hold it as a view."""
    return bytes(panel.image.value)


def png_size(image):
    assert image.startswith(b"\x89PNG")
    return int.from_bytes(image[16:20], "big"), int.from_bytes(image[20:24], "big")


def test_slider_stops_are_spaced_by_ratio_with_the_start_among_them():
    stops = [value for _, value in explore.slider(4700.0, low=1e3, high=1e6, unit="Ω", caption="R", steps=3).stops]
    assert stops == pytest.approx([1e3, 4700.0, 1e4, 1e5, 1e6])
    even = explore.slider(0.0, low=-1.0, high=1.0, unit="V", caption="V", scale="linear", steps=4)
    assert [value for _, value in even.stops] == [-1.0, -0.5, 0.0, 0.5, 1.0]
    assert even.stops[even.start] == ("0 V", 0.0)


def test_start_on_a_stop_is_not_doubled():
    described = explore.slider(1e4, low=1e3, high=1e5, unit="Ω", caption="R", steps=2)
    assert [text for text, _ in described.stops] == ["1.00 kΩ", "10.0 kΩ", "100 kΩ"]
    assert described.start == 1


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"low": 2e4}, "high must be above low"),
        ({"low": 0.0}, "low must be above 0 on a log slider"),
        ({"value": 1.0}, "value must be at least 100"),
        ({"scale": "square"}, "scale must be one of"),
    ],
)
def test_slider_refuses(changed, words):
    with pytest.raises(ValueError, match=words):
        explore.slider(**(CALLS["slider"] | changed))


def test_panel_refuses():
    with pytest.raises(TypeError, match="draw must be a function"):
        explore.panel(3.0, a=explore.choice("x", options=["x"], caption="a"))
    with pytest.raises(ValueError, match="at least one slider"):
        explore.panel(draw)
    with pytest.raises(TypeError, match="resistance must be made by"):
        explore.panel(draw, resistance=1000.0)
    with pytest.raises(ValueError, match="chosen must be one of"):
        explore.choice("z", options=["x"], caption="a")


def test_words_are_written_after_the_picture():
    shown = explore.panel(draw, resistance=explore.slider(1e3, low=100.0, high=1e4, unit="Ω", caption="R", steps=4))
    order = []
    shown.image.observe(lambda _: order.append("picture"), "value")
    shown.shown.observe(lambda _: order.append("words"), "value")
    shown.sliders["resistance"].index += 1
    assert order == ["picture", "words"]
    assert "shown: R 3.16 kΩ" in shown.shown.value


def test_what_cannot_be_drawn_leaves_no_stale_picture():
    def fails(resistance):
        if resistance > 2000.0:
            raise ValueError("resistance is <too> much")
        return draw(resistance)

    shown = explore.panel(fails, resistance=explore.slider(1e3, low=100.0, high=1e4, unit="Ω", caption="R", steps=4))
    shown.sliders["resistance"].index += 1
    assert shot(shown) == b"" and "not shown: R" in shown.shown.value and "&lt;too&gt;" in shown.shown.value
    shown.sliders["resistance"].index -= 1
    assert shot(shown).startswith(b"\x89PNG") and "not shown" not in shown.shown.value


def test_output_carries_a_still_for_paper():
    shown = explore.indicator_led(devices.LED_GREEN_GAP, voltage_supply=9.0, resistance=2200.0)
    data, metadata = shown._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in data
    assert data["image/svg+xml"].startswith("<svg") and ">Series resistor</text>" in data["image/svg+xml"]
    assert metadata["image/svg+xml"]["caption"].startswith("shown: supply 9.00 V, series resistor 2.20 kΩ\nLED current")


NO_PANELS = {"choice", "panel", "slider", "release_against_distortion"}
MAKERS = {name: partial(getattr(explore, name), **call) for name, call in CALLS.items() if name not in NO_PANELS}


@pytest.mark.parametrize("name", MAKERS)
def test_kept_figure_shows_what_a_new_one_would(name):
    """A panel moved there and back, and one made afresh, give the same bytes."""
    moved, fresh = MAKERS[name](), MAKERS[name]()
    assert png_size(shot(moved)) == png_size(shot(fresh))
    for slider in moved.sliders.values():
        was, start = shot(moved), slider.index
        slider.index = start + 1 if start + 1 < len(slider.options) else start - 1
        assert shot(moved) != was, f"{slider.description} changes nothing in the picture"
        slider.index = start
        assert shot(moved) == shot(fresh)


@pytest.mark.parametrize("name", MAKERS)
def test_captions_and_stops_have_room_beside_the_slider(name):
    """A caption has 14 em, the text of a stop 148 px; letters of a wide face take half an em and 7.5 px on average."""
    for control in MAKERS[name]().sliders.values():
        assert len(control.description) <= 27, control.description
        assert max(len(text) for text, _ in control.options) <= 19, control.options


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
            assert "not shown" not in panel.shown.value, panel.shown.value
        control.index = start


def test_indicator_led_agrees_with_its_room():
    shown = explore.indicator_led(devices.LED_GREEN_GAP, voltage_supply=9.0, resistance=2200.0)
    law = devices.typical(devices.LED_GREEN_GAP)
    current = junction.series_current(
        9.0,
        resistance=2200.0 + law.resistance_series,
        current_saturation=law.current_saturation,
        ideality=law.ideality,
        voltage_thermal=junction.VOLTAGE_THERMAL_300K,
    )
    assert f"LED current {values.write_value(current, unit='A', digits=3)}" in shown.shown.value


def test_indicator_led_warns_above_the_rating():
    assert (
        "rating: use a larger resistor"
        in explore.indicator_led(devices.LED_GREEN_GAP, voltage_supply=9.0, resistance=100.0).shown.value
    )


def test_a_direct_drive_has_no_timing_parts():
    direct = dataclasses.replace(COMPRESSOR, drive="direct")
    assert list(explore.step_response(direct).sliders) == ["gain_sidechain", "coupler", "level_step_db"]


def test_own_coupler_is_among_the_choices():
    own = dataclasses.replace(devices.typical(devices.COUPLER_WHITE_GL5528), name="mine, measured")
    shown = explore.step_response(dataclasses.replace(COMPRESSOR, coupler=own))
    assert shown.sliders["coupler"].label == "mine, measured"


def test_time_constant_refuses_a_level_outside_the_way():
    with pytest.raises(ValueError, match="voltage_level must lie between 3 V and 0 V"):
        explore.time_constant(**(CALLS["time_constant"] | {"voltage_level": 4.0}))


def test_release_picture_falls_with_a_slower_release():
    picture = explore.release_against_distortion(
        COMPRESSOR, level_in_dbv=-10.0, resistances_release=[47e3, 220e3, 1e6], frequency=82.4
    )
    times, distortion = picture.axes[0].lines[0].get_data()
    assert np.all(np.diff(times) > 0) and np.all(np.diff(distortion) < 0)
    with pytest.raises(ValueError, match="at least two values"):
        explore.release_against_distortion(COMPRESSOR, level_in_dbv=-10.0, resistances_release=[1e5])
