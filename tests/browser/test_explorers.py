"""Explorers in a real browser, by keyboard: the picture shown is that of the last slider value."""

from __future__ import annotations

import statistics

import pytest

from pedalcalc import board, compressor, devices, explore
from tests.browser.conftest import EXPLORERS, until
from tests.browser.playing import fits, picture_of, red_of, wait_for_words, words_of

# Which slider of each explorer is moved, and by how many keys.
MOVES = {"step": ("resistance_attack", 5), "static": ("gain_sidechain", 4), "led": ("resistance", 7)}


def made_here(name):
    """Return the same panel made in this process, to compare words and pictures with."""
    return eval(EXPLORERS[name], {"board": board, "compressor": compressor, "devices": devices, "explore": explore})


@pytest.mark.parametrize("name", MOVES)
def test_picture_is_that_of_the_last_value(explorers, name):
    moved, keys = MOVES[name]
    here, panel = made_here(name), explorers(name)
    wait_for_words(panel, here)
    before = picture_of(panel)
    assert before == here.image.value, "the first picture is not that of the starting values"
    slider = panel.get_by_role("slider").nth(list(here.sliders).index(moved))
    slider.focus()
    for _ in range(keys):
        slider.press("ArrowRight")
    here.sliders[moved].index += keys
    # Values travel one by one, so the last picture comes last: its words are waited for, not just any change.
    wait_for_words(panel, here)
    after = picture_of(panel)
    assert after != before
    assert after == here.image.value, "the picture is not that of the last value"
    back_to_start(panel, here)


def back_to_start(panel, here):
    """Leave a panel as it was found."""
    panel.get_by_role("button", name="Back to start").click()
    here.restart()
    wait_for_words(panel, here)


def test_values_can_be_typed_kept_and_taken_back(explorers):
    here, panel = made_here("detector"), explorers("detector")
    page = panel.page
    wait_for_words(panel, here)
    first = picture_of(panel)
    typed = panel.get_by_role("textbox").first
    assert typed.input_value() == "10.0 kΩ"
    panel.get_by_role("button", name="Keep").click()
    panel.get_by_role("button", name="Let go").wait_for()
    here.keep()
    typed.fill("470")
    typed.press("Enter")
    here.readouts["resistance_attack"].value = "470"
    wait_for_words(panel, here)
    assert typed.input_value() == "470 Ω" and picture_of(panel) == here.image.value
    assert "kept, pale: attack resistor 10.0 kΩ: ● attack 15.3 ms" in words_of(here)
    # A value between two stops becomes one, and the slider goes on from there.
    typed.fill("")
    typed.press_sequentially("5k1")  # key by key: none of them may reach the lab's own shortcuts
    typed.press("Enter")
    here.readouts["resistance_attack"].value = "5k1"
    wait_for_words(panel, here)
    panel.get_by_role("slider").first.focus()
    panel.get_by_role("slider").first.press("ArrowRight")
    here.sliders["resistance_attack"].index += 1
    wait_for_words(panel, here)
    assert typed.input_value() == "5.60 kΩ" and picture_of(panel) == here.image.value
    typed.fill("4,7k")
    typed.press("Enter")
    panel.get_by_role("note").filter(has_text="attack resistor: text '4,7k' is not a value").wait_for()
    until(page, "box => box.value === '5.60 kΩ'", typed.element_handle())
    back_to_start(panel, here)
    panel.get_by_role("button", name="Let go").click()
    here.keep()
    wait_for_words(panel, here)
    panel.get_by_role("button", name="Keep").wait_for()
    assert picture_of(panel) == first


def test_slider_shows_its_value_as_a_part_value(explorers):
    panel = explorers("led")
    assert [box.input_value() for box in panel.get_by_role("textbox").all()] == ["9.00 V", "2.20 kΩ"]
    assert panel.get_by_role("slider").count() == 2
    assert panel.locator("img").bounding_box()["width"] == pytest.approx(650, abs=2)


@pytest.mark.parametrize("name", EXPLORERS)
def test_a_panel_at_both_ends_of_every_slider(explorers, name, record_property, capsys):
    """Picture, words and cautions are those of the values, all fits into a small window, nothing is cut, nothing is red."""
    here, panel = made_here(name), explorers(name)
    page = panel.page
    wait_for_words(panel, here)
    panel.element_handle().evaluate(WATCH)
    where = f"{name} at the start"
    beside = beside_the_start(panel, here)
    for number, (moved, control) in enumerate(here.sliders.items()):
        slider, start = panel.get_by_role("slider").nth(number), control.index
        slider.focus()
        for key, index in (("Home", 0), ("End", len(control.options) - 1)):
            fits(panel, where)
            if control.index == index:
                continue
            slider.press(key)
            control.index = index
            where = f"{name}: {moved} at {control.label}"
            wait_for_words(panel, here)
            assert picture_of(panel) == here.image.value, where
        fits(panel, where)
        back_to_start(panel, here)
        assert control.index == start
    assert picture_of(panel) == here.image.value, f"{name}, back to start"
    assert red_of(page) == []
    presses = page.evaluate("window.presses.filter(press => press.picture)")
    taken = sorted(press["picture"] - press["key"] for press in presses)
    middle = statistics.median(taken)
    record_property("key_to_picture_ms", round(middle))
    record_property("key_to_picture_at_start_ms", round(beside))
    with capsys.disabled():
        print(
            f"\n{name}, key to its picture: median {beside:.0f} ms beside the start, "
            f"{middle:.0f} at the ends (slowest {taken[-1]:.0f})"
        )
    assert beside < 2000, "no longer an explorer"


def beside_the_start(panel, here):
    """Press keys of the first slider to and fro; return the median time to the picture, and forget those presses."""
    slider, control = panel.get_by_role("slider").first, next(iter(here.sliders.values()))
    slider.focus()
    there, back = (
        ("ArrowRight", "ArrowLeft") if control.index + 1 < len(control.options) else ("ArrowLeft", "ArrowRight")
    )
    step = 1 if there == "ArrowRight" else -1
    for press in range(8):
        control.index += (
            step if press % 2 == 0 else -step
        )  # ahead of the key, so that it does not compete for the machine
        slider.press(there if press % 2 == 0 else back)
        wait_for_words(panel, here)
        until(panel.page, "() => window.presses.at(-1).picture")
    presses = panel.page.evaluate("() => window.presses.splice(0)")[2:]  # the first two draw new grounds
    return statistics.median(press["picture"] - press["key"] for press in presses)


WATCH = """panel => {
    window.presses = [];
    panel.addEventListener('keydown', () => window.presses.push({key: performance.now()}), true);
    const image = panel.querySelector('img');
    image.addEventListener('load', () => {
        const last = window.presses.at(-1);
        if (last && !last.picture) last.picture = performance.now();
    });
}"""
