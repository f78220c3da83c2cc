"""Explorers in a real browser, by keyboard: the picture shown is that of the last slider value."""

from __future__ import annotations

import pytest

from tests.browser.conftest import until
from tests.browser.playing import fits, picture_of, red_of, wait_for_words, words_of
from tests.browser.twins import at_both_ends, back_to_start, behind_a_fast_drag, made_here, watch

# Which slider of each explorer is moved, and by how many keys.
MOVES = {"step": ("resistance_attack", 5), "static": ("gain_sidechain", 4), "led": ("resistance", 7)}


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


@pytest.mark.parametrize("name", ["step", "detector"])
def test_a_panel_at_both_ends_of_every_slider(explorers, name):
    """Picture, words and cautions are those of the values, all fits into a small window, nothing is cut, nothing is red.

    One panel with choices and one with readouts to type in; of all of them the beginner's tests take every slider to both ends in
    its lesson, and `python -m tests.benchmarks browser` here.
    """
    here, panel = made_here(name), explorers(name)
    wait_for_words(panel, here)
    for where in at_both_ends(panel, here):
        assert picture_of(panel) == here.image.value, where
        fits(panel, where)
    assert red_of(panel.page) == []


def test_the_last_picture_of_a_drag_is_that_of_the_last_value(explorers):
    here, panel = made_here("step"), explorers("step")
    wait_for_words(panel, here)
    watch(panel)
    behind_a_fast_drag(panel, here)
