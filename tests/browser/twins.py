"""A panel in the page and the same one made in this process, moved alike: what the page must show, and how soon it does."""

from __future__ import annotations

import statistics
import time

from pedalcalc import board, compressor, devices, explore
from tests.browser.conftest import EXPLORERS, until
from tests.browser.playing import picture_of, wait_for_words

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


def made_here(name):
    """Return the same panel made in this process, to compare words and pictures with."""
    return eval(EXPLORERS[name], {"board": board, "compressor": compressor, "devices": devices, "explore": explore})


def back_to_start(panel, here):
    """Leave a panel as it was found."""
    panel.get_by_role("button", name="Back to start").click()
    here.restart()
    wait_for_words(panel, here)


def at_both_ends(panel, here):
    """Take every slider to both ends by keyboard, one after the other, and say each time where the panel stands."""
    for number, (moved, control) in enumerate(here.sliders.items()):
        slider, start = panel.get_by_role("slider").nth(number), control.index
        slider.focus()
        for key, index in (("Home", 0), ("End", len(control.options) - 1)):
            if control.index == index:
                continue
            control.index = index  # the twin goes ahead of the key, so that it does not compete for the machine
            slider.press(key)
            wait_for_words(panel, here)
            yield f"{moved} at {control.label}"
        back_to_start(panel, here)
        assert control.index == start
    yield "back to start"


def watch(panel):
    """Let the page note when a key is pressed, the mouse released and a picture drawn."""
    panel.element_handle().evaluate(WATCH)


def key_to_picture(panel):
    """Return how long each key noted so far took to its picture, in milliseconds, in order, and forget them."""
    presses = panel.page.evaluate("() => window.presses.splice(0)")
    return [press["picture"] - press["key"] for press in presses if press.get("picture")]


def to_and_fro(panel, here):
    """Press keys of the first slider to and fro; return the median time to the picture in milliseconds, NaN where no picture changes."""
    slider, control = panel.get_by_role("slider").first, next(iter(here.sliders.values()))
    slider.focus()
    there, back = ("Right", "Left") if control.index + 1 < len(control.options) else ("Left", "Right")
    step = 1 if there == "Right" else -1
    for press in range(8):
        # The twin goes ahead of the key, so that it does not compete for the machine.
        shown = here.image.value
        control.index += step if press % 2 == 0 else -step
        slider.press(f"Arrow{there if press % 2 == 0 else back}")
        wait_for_words(panel, here)
        if here.image.value != shown:  # in some corners a value changes words alone
            until(panel.page, "() => window.presses.at(-1).picture")
    taken = key_to_picture(panel)[2:]  # the first two draw new grounds
    return statistics.median(taken) if taken else float("nan")


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
