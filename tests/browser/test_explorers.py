"""Explorers in a real browser, by keyboard: the picture shown is that of the last slider value."""

from __future__ import annotations

import base64
import statistics

import pytest

from pedalcalc import compressor, devices, explore
from tests.browser.conftest import EXPLORERS, STEP
from tests.conftest import ROOT

# Which slider of each explorer is moved, and by how many keys.
MOVES = {"step": ("resistance_attack", 5), "static": ("gain_sidechain", 4), "led": ("resistance", 7)}
WITH_PANELS = sorted(
    str(path.relative_to(ROOT))
    for path in (ROOT / "notebooks").rglob("*.ipynb")
    if ".ipynb_checkpoints" not in path.parts and "explore." in path.read_text(encoding="utf-8")
)
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


@pytest.mark.parametrize("name", EXPLORERS)
def test_picture_is_that_of_the_last_value(open_notebook, name):
    moved, keys = MOVES[name]
    here = eval(EXPLORERS[name], {"compressor": compressor, "devices": devices, "explore": explore})
    page = open_notebook(f"explorer-{name}.ipynb")
    panel = page.locator(".pedalcalc-panel")
    panel.get_by_text(here.words(), exact=False).wait_for()
    before = picture_of(panel)
    assert before == here.image.value, "the first picture is not that of the starting values"
    slider = panel.get_by_role("slider").nth(list(here.sliders).index(moved))
    slider.focus()
    for _ in range(keys):
        slider.press("ArrowRight")
    here.sliders[moved].index += keys
    # Values travel one by one, so the last picture comes last: its words are waited for, not just any change.
    panel.get_by_text(here.words(), exact=False).wait_for()
    after = picture_of(panel)
    assert after != before
    assert after == here.image.value, "the picture is not that of the last value"


def test_slider_shows_its_value_as_a_part_value(open_notebook):
    page = open_notebook("explorer-led.ipynb")
    panel = page.locator(".pedalcalc-panel")
    panel.get_by_text("2.20 kΩ", exact=True).first.wait_for()
    assert panel.get_by_role("slider").count() == 2
    assert panel.locator("img").bounding_box()["width"] == pytest.approx(650, abs=2)


@pytest.mark.parametrize("path", WITH_PANELS)
def test_every_panel_of_a_notebook_moves(open_notebook, path):
    page = open_notebook(path)
    panels = page.locator(".pedalcalc-panel")
    panels.first.wait_for()
    for place in range(panels.count()):
        panel = panels.nth(place)
        words, before = panel.locator("[role=status]").inner_text(), picture_of(panel)
        slider = panel.get_by_role("slider").first
        slider.focus()
        slider.press(
            "ArrowLeft"
            if slider.get_attribute("aria-valuenow") == slider.get_attribute("aria-valuemax")
            else "ArrowRight"
        )
        page.wait_for_function(
            "([panel, words]) => panel.querySelector('[role=status]').innerText !== words",
            arg=[panel.element_handle(), words],
        )
        assert picture_of(panel) != before


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
