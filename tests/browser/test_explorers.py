"""Explorers in a real browser, by keyboard: the picture shown is that of the last slider value."""

from __future__ import annotations

import statistics
import time

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
    behind = behind_a_fast_drag(panel, here)
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
    record_property("last_picture_of_a_drag_behind_ms", round(behind))
    with capsys.disabled():
        print(
            f"\n{name}, key to its picture: median {beside:.0f} ms beside the start, "
            f"{middle:.0f} at the ends (slowest {taken[-1]:.0f}); last picture of a fast drag {behind:.0f} ms behind"
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


def behind_a_fast_drag(panel, here):
    """Drag the first slider to its far end and back by mouse, half a second each way, and take it back to the start.

    Return by how much the last picture came behind the mouse's button, the later of both. It is that of the last value.
    """
    page, slider, control = panel.page, panel.get_by_role("slider").first, next(iter(here.sliders.values()))
    track = slider.locator("xpath=ancestor::*[contains(@class, 'noUi-target')][1]")
    slider.scroll_into_view_if_needed()
    behind = []
    for end in (1.0, 0.0):
        handle, room = slider.bounding_box(), track.bounding_box()
        x, y = handle["x"] + handle["width"] / 2, handle["y"] + handle["height"] / 2
        way = room["x"] + end * room["width"] - x
        page.mouse.move(x, y)
        page.mouse.down()
        begun = time.monotonic()
        for step in range(1, DRAG_STEPS + 1):
            page.mouse.move(x + way * step / DRAG_STEPS, y)
            time.sleep(max(0.0, begun + DRAG_TIME * step / DRAG_STEPS - time.monotonic()))
        page.mouse.up()
        index = (len(control.options) - 1) if end else 0
        said = f"{control.description} {control.options[index][0]}"
        until(page, SHOWN, [panel.element_handle(), said])
        page.wait_for_timeout(AFTERWARDS)
        last, released = page.evaluate("[window.last, window.released]")
        behind.append(max(0.0, last - released))
        control.index = index
        wait_for_words(panel, here)
        assert picture_of(panel) == here.image.value, f"dragged: {said}"
    back_to_start(panel, here)
    return max(behind)


DRAG_TIME, DRAG_STEPS = 0.5, 25
AFTERWARDS = 200  # longer than anything that might still be drawn, in milliseconds
SHOWN = (
    "([panel, words]) => panel.querySelector('[role=status]').textContent.replaceAll('\\u00a0', ' ').includes(words)"
)
WATCH = """panel => {
    window.presses = [];
    window.addEventListener('pointerup', () => { window.released = performance.now(); }, true);
    window.addEventListener('mouseup', () => { window.released = performance.now(); }, true);
    panel.addEventListener('keydown', () => window.presses.push({key: performance.now()}), true);
    const image = panel.querySelector('img');
    image.addEventListener('load', () => {
        window.last = performance.now();
        const last = window.presses.at(-1);
        if (last && !last.picture) last.picture = performance.now();
    });
}"""
