"""Explorers in a real browser, by keyboard: the picture shown is that of the last slider value."""

from __future__ import annotations

import base64
import statistics

import pytest

from pedalcalc import board, compressor, devices, explore
from tests.browser.conftest import EXPLORERS, STEP

# Which slider of each explorer is moved, and by how many keys.
MOVES = {"step": ("resistance_attack", 5), "static": ("gain_sidechain", 4), "led": ("resistance", 7)}
TALLEST = 647  # pixels that a lab leaves of a window 768 high
PICTURE = """async image => {
    const bytes = new Uint8Array(await (await fetch(image.src)).arrayBuffer());
    let text = '';
    for (const byte of bytes) text += String.fromCharCode(byte);
    return btoa(text);
}"""


def picture_of(panel):
    """Return the very bytes of the picture that the page shows."""
    image = panel.locator("img").element_handle()
    return base64.b64decode(image.evaluate(PICTURE))


def made_here(name):
    """Return the same panel made in this process, to compare words and pictures with."""
    return eval(EXPLORERS[name], {"board": board, "compressor": compressor, "devices": devices, "explore": explore})


def wait_for_words(panel, here):
    """Wait until the page says what the panel made here says: the picture is set before the words."""
    panel.locator("[role=status]").filter(has_text=here.words()).wait_for()


@pytest.mark.parametrize("name", MOVES)
def test_picture_is_that_of_the_last_value(open_notebook, name):
    moved, keys = MOVES[name]
    here = made_here(name)
    page = open_notebook(f"explorer-{name}.ipynb")
    panel = page.locator(".pedalcalc-panel")
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


def test_values_can_be_typed_kept_and_taken_back(open_notebook):
    here = made_here("detector")
    page = open_notebook("explorer-detector.ipynb")
    panel = page.locator(".pedalcalc-panel")
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
    panel.get_by_text("kept, pale: attack resistor 10.0 kΩ: ● attack 15.3 ms", exact=False).wait_for()
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
    page.wait_for_function("box => box.value === '5.60 kΩ'", arg=typed.element_handle())
    panel.get_by_role("button", name="Back to start").click()
    here.restart()
    wait_for_words(panel, here)
    panel.get_by_role("button", name="Let go").click()
    panel.get_by_role("button", name="Keep").wait_for()
    page.wait_for_function(
        "panel => !panel.innerText.includes('kept, pale') && panel.querySelector('img').complete",
        arg=panel.element_handle(),
    )
    assert picture_of(panel) == first


def test_every_panel_at_both_ends_of_every_slider(open_notebook, record_property, capsys):
    """Picture and words are those of the values, all of it fits into a small window, nothing is cut, nothing is red."""
    page = open_notebook("explorer-all.ipynb")
    panels = page.locator(".pedalcalc-panel")
    assert panels.count() == len(EXPLORERS)
    said = []
    for place, name in enumerate(EXPLORERS):
        here, panel = made_here(name), panels.nth(place)
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
            panel.get_by_role("button", name="Back to start").click()
            here.restart()
            assert control.index == start
            wait_for_words(panel, here)
        assert picture_of(panel) == here.image.value, f"{name}, back to start"
        presses = page.evaluate("window.presses.filter(press => press.picture)")
        taken = sorted(press["picture"] - press["key"] for press in presses)
        record_property(f"key_to_picture_ms_{name}", round(statistics.median(taken)))
        record_property(f"key_to_picture_at_start_ms_{name}", round(beside))
        said.append(f"{name} {beside:.0f}, {statistics.median(taken):.0f} (slowest {taken[-1]:.0f})")
    assert red_of(page) == []
    with capsys.disabled():
        print(f"\nkey to its picture, ms, median beside the start, at the ends of the sliders: {'; '.join(said)}")


def beside_the_start(panel, here):
    """Press keys of the first slider to and fro; return the median time to the picture, and forget those presses."""
    slider, control = panel.get_by_role("slider").first, next(iter(here.sliders.values()))
    slider.focus()
    there, back = (
        ("ArrowRight", "ArrowLeft") if control.index + 1 < len(control.options) else ("ArrowLeft", "ArrowRight")
    )
    step = 1 if there == "ArrowRight" else -1
    for press in range(8):
        slider.press(there if press % 2 == 0 else back)
        control.index += step if press % 2 == 0 else -step
        wait_for_words(panel, here)
        panel.page.wait_for_function("() => window.presses.at(-1).picture", timeout=STEP)
    presses = panel.page.evaluate("() => window.presses.splice(0)")[2:]  # the first two draw new grounds
    return statistics.median(press["picture"] - press["key"] for press in presses)


def red_of(page):
    """Return what stands in red in the cells of panels: warnings with a file's path, which belong into their words."""
    cells = page.locator(".jp-Cell").filter(has=page.locator(".pedalcalc-panel"))
    return cells.locator("[data-mime-type='application/vnd.jupyter.stderr']").all_inner_texts()


def fits(panel, where):
    """Tell whether the panel is low enough for a small window, and all its words can be read."""
    assert panel.bounding_box()["height"] <= TALLEST, where
    cut = panel.evaluate(
        "panel => [...panel.querySelectorAll('.widget-label, input[type=text]')]"
        ".filter(part => part.scrollWidth > part.clientWidth + 1).map(part => part.value ?? part.innerText)"
    )
    assert cut == [], where


def test_slider_shows_its_value_as_a_part_value(open_notebook):
    page = open_notebook("explorer-led.ipynb")
    panel = page.locator(".pedalcalc-panel")
    panel.locator("img").wait_for()
    assert [box.input_value() for box in panel.get_by_role("textbox").all()] == ["9.00 V", "2.20 kΩ"]
    assert panel.get_by_role("slider").count() == 2
    assert panel.locator("img").bounding_box()["width"] == pytest.approx(650, abs=2)


WATCH = """panel => {
    window.presses = [];
    panel.addEventListener('keydown', () => window.presses.push({key: performance.now()}), true);
    const image = panel.querySelector('img');
    image.addEventListener('load', () => {
        const last = window.presses.at(-1);
        if (last && !last.picture) last.picture = performance.now();
    });
    new MutationObserver(() => {
        const last = window.presses.at(-1);
        if (last && !last.words) last.words = performance.now();
    }).observe(panel, {subtree: true, childList: true, characterData: true});
}"""


def test_key_to_matching_picture(open_notebook, record_property, capsys):
    """Report how long a key takes to its picture; the budget is 150 ms on a quiet machine."""
    page = open_notebook("explorer-step.ipynb")
    panel = page.locator(".pedalcalc-panel")
    panel.locator("img").wait_for()
    panel.element_handle().evaluate(WATCH)
    slider = panel.get_by_role("slider").first
    slider.focus()
    for press in range(24):
        slider.press("ArrowRight" if press % 8 < 4 else "ArrowLeft")
        page.wait_for_function("() => window.presses.at(-1).picture", timeout=STEP)
        page.wait_for_timeout(150)
    taken = sorted(press["picture"] - press["key"] for press in page.evaluate("window.presses")[3:])
    middle, late = statistics.median(taken), taken[int(0.9 * len(taken))]
    record_property("key_to_picture_ms", round(middle))
    with capsys.disabled():
        print(f"\nstep explorer, key press to picture: median {middle:.0f} ms, 90 % within {late:.0f} ms")
    assert middle < 2000, "no longer an explorer"
