"""Every lesson with a panel, played as a beginner plays it: keep, move, type, take back, listen."""

from __future__ import annotations

import pytest

from tests.browser.test_explorers import fits, picture_of, red_of
from tests.browser.test_listening import press
from tests.conftest import ROOT

WITH_PANELS = sorted(
    str(path.relative_to(ROOT))
    for path in (ROOT / "notebooks").rglob("*.ipynb")
    if ".ipynb_checkpoints" not in path.parts and "explore." in path.read_text(encoding="utf-8")
)
MOVED = "([panel, words]) => panel.querySelector('[role=status]').innerText !== words"
DRAWN = "image => image.complete && image.naturalWidth > 0"


@pytest.mark.parametrize("path", WITH_PANELS)
def test_a_beginner_plays_the_lesson(open_notebook, path):
    page = open_notebook(path)
    panels = page.locator(".pedalcalc-panel")
    panels.first.wait_for()
    for place in range(panels.count()):
        panel = panels.nth(place)
        listens = panel.get_by_role("button", name="as played").count() == 1
        if listens:
            press(panel, "as played")
        start, picture = said(panel), picture_of(panel)
        panel.get_by_role("button", name="Keep").click()
        panel.get_by_role("button", name="Let go").wait_for()
        for slider in panel.get_by_role("slider").all()[:1]:  # test_explorers moves each, and compares the picture
            to_both_ends(panel, slider)
        if panel.get_by_role("slider").count() == 0:
            to_another_choice(panel)
        panel.get_by_text("kept, pale: ", exact=False).wait_for()
        if panel.get_by_role("textbox").count():
            type_into(panel)
        panel.get_by_role("button", name="Back to start").click()
        panel.get_by_role("status").filter(has_text=start).wait_for()
        panel.get_by_text("kept, pale: these very values", exact=False).wait_for()
        panel.get_by_role("button", name="Let go").click()
        panel.get_by_role("button", name="Keep").wait_for()
        page.wait_for_function("panel => !panel.innerText.includes('kept, pale')", arg=panel.element_handle())
        assert picture_of(panel) == picture, f"panel {place} of {path}, back to start"
        if listens:
            press(panel, "through the compressor")
        fits(panel, path)
    assert red_of(page) == []


def said(panel):
    return panel.get_by_role("status").inner_text()


def to_both_ends(panel, slider):
    """Take a slider to both ends by keyboard: each time words and picture follow, and all of it can be read."""
    slider.focus()
    for key, end in (("Home", "aria-valuemin"), ("End", "aria-valuemax")):
        if slider.get_attribute("aria-valuenow") == slider.get_attribute(end):
            continue
        words, before = said(panel), picture_of(panel)
        slider.press(key)
        panel.page.wait_for_function(MOVED, arg=[panel.element_handle(), words])
        assert said(panel).startswith("shown: "), panel.inner_text()
        panel.page.wait_for_function(DRAWN, arg=panel.locator("img").element_handle())
        assert picture_of(panel) != before, f"nothing moved in the picture: {said(panel)}"
        fits(panel, said(panel))


def to_another_choice(panel):
    """Choose something else in a panel that has choices only: the words follow."""
    words = said(panel)
    panel.get_by_role("combobox").first.select_option(index=1)
    panel.page.wait_for_function(MOVED, arg=[panel.element_handle(), words])
    panel.page.wait_for_function(DRAWN, arg=panel.locator("img").element_handle())


def type_into(panel):
    """Type something senseless into the first readout, then the value it started with."""
    box = panel.get_by_role("textbox").first
    stood = box.input_value()
    box.fill("xyz")
    box.press("Enter")
    panel.get_by_role("note").filter(has_text="xyz").wait_for()
    panel.page.wait_for_function("([box, text]) => box.value === text", arg=[box.element_handle(), stood])
    slider = panel.get_by_role("slider").first
    slider.focus()
    words = said(panel)
    slider.press("ArrowLeft")
    panel.page.wait_for_function(MOVED, arg=[panel.element_handle(), words])
    assert panel.get_by_role("note").filter(has_text="xyz").count() == 0, "the note outlives its slip"
    box.fill(stood)
    box.press("Enter")
    panel.get_by_role("status").filter(has_text=words).wait_for()
