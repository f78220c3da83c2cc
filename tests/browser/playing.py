"""What a beginner does with a panel: keep, move, choose, type, take back, listen; and what the page shows of it."""

from __future__ import annotations

import base64
import re
from html import unescape

from tests.browser.conftest import until

TALLEST = 647  # pixels that a lab leaves of a window 768 high
PICTURE = """async image => {
    const reader = new FileReader(), bytes = await (await fetch(image.src)).blob();
    await new Promise(done => { reader.onload = done; reader.readAsDataURL(bytes); });
    return reader.result.split(',')[1];
}"""
DRAWN = "image => image.complete && image.naturalWidth > 0"
SAID = "panel => panel.querySelector('[role=status]').parentElement.textContent.replaceAll('\\u00a0', ' ')"
SAYS = f"([panel, words]) => ({SAID})(panel) === words"
SAYS_ELSE = f"([panel, words]) => ({SAID})(panel) !== words"
CUT = """panel => [...panel.querySelectorAll('.widget-label, input[type=text]')]
    .filter(part => part.scrollWidth > part.clientWidth + 1).map(part => part.value ?? part.innerText)"""
# What would get a scroll bar of its own in a browser whose bars take room; this one hides them.
SCROLLS = """panel => [...panel.querySelectorAll('*')]
    .filter(part => part.clientHeight > 0 && /auto|scroll/.test(getComputedStyle(part).overflow))
    .filter(part => part.scrollHeight > part.clientHeight || part.scrollWidth > part.clientWidth)
    .map(part => part.className)"""
# Numbers that are none, and where a library stands on this machine.
SENSELESS = re.compile(r"\b(nan|inf|None)\b|\.py\b|Warning")
PLAYS = "audio => !audio.paused && audio.currentTime > 0.3"


def picture_of(panel):
    """Return the very bytes of the picture that the page shows."""
    image = panel.locator("img").element_handle()
    return base64.b64decode(image.evaluate(PICTURE))


def said(panel):
    """Return all words under the picture: results, what to mind, what is kept, what is shown."""
    return panel.evaluate(SAID)


def words_of(here):
    """Return all words under the picture of a panel of this process."""
    return unescape(re.sub(r"<[^>]*>", "", here.shown.value)).replace("\N{NO-BREAK SPACE}", " ")


def wait_for_words(panel, here):
    """Wait until the page says, cautions and all, what the panel made here says: the picture is set before the words."""
    until(panel.page, SAYS, [panel.element_handle(), words_of(here)])


def wait_for_other_words(panel, words):
    """Wait until the panel says something else, and its picture is drawn; return what it says."""
    until(panel.page, SAYS_ELSE, [panel.element_handle(), words])
    until(panel.page, DRAWN, panel.locator("img").element_handle())
    return said(panel)


def red_of(page):
    """Return what stands in red in the cells of panels: warnings with a file's path, which belong into their words."""
    cells = page.locator(".jp-Cell").filter(has=page.locator(".pedalcalc-panel"))
    return cells.locator("[data-mime-type='application/vnd.jupyter.stderr']").all_inner_texts()


def fits(panel, where):
    """Tell whether the panel is low enough for a small window, all its words can be read, and they are words."""
    assert panel.bounding_box()["height"] <= TALLEST, where
    assert panel.evaluate(CUT) == [], where
    assert not SENSELESS.search(said(panel)), said(panel)


def press(panel, words):
    """Press a play button and wait until the sound runs; return the player."""
    panel.get_by_role("button", name=words).click()
    panel.locator(".pedalcalc-player strong").filter(has_text=words).wait_for()
    audio = panel.locator("audio")
    until(panel.page, PLAYS, audio.element_handle())
    return audio


def play_with(panel, where):
    """Do everything that a panel offers: each slider to both ends, type, keep and let go, back to the start, listen."""
    listens = panel.get_by_role("button", name="as played").count() == 1
    if listens:
        press(panel, "as played")
    start, picture = said(panel), picture_of(panel)
    fits(panel, where)
    assert panel.evaluate(SCROLLS) == [], where
    panel.get_by_role("button", name="Keep").click()
    panel.get_by_role("button", name="Let go").wait_for()
    kept = said(panel)
    assert "kept, pale: these very values" in kept, where
    for number, slider in enumerate(panel.get_by_role("slider").all()):
        to_both_ends(panel, number, slider, where)
    if panel.get_by_role("slider").count() == 0:
        words = said(panel)
        panel.get_by_role("combobox").first.select_option(index=1)
        wait_for_other_words(panel, words)
    assert "kept, pale: " in said(panel) and "kept, pale: these very values" not in said(panel), where
    if panel.get_by_role("textbox").count():
        type_into(panel)
    panel.get_by_role("button", name="Back to start").click()
    until(panel.page, SAYS, [panel.element_handle(), kept])
    panel.get_by_role("button", name="Let go").click()
    until(panel.page, SAYS, [panel.element_handle(), start])
    panel.get_by_role("button", name="Keep").wait_for()
    assert picture_of(panel) == picture, f"{where}, back to start"
    if listens:
        press(panel, "through the compressor")
    fits(panel, where)


def to_both_ends(panel, number, slider, where):
    """Take a slider to both ends by keyboard: each time words and picture follow, and all of it can be read."""
    slider.focus()
    seen = {picture_of(panel)}
    for key, end in (("Home", "aria-valuemin"), ("End", "aria-valuemax")):
        if slider.get_attribute("aria-valuenow") == slider.get_attribute(end):
            continue
        words = said(panel)
        slider.press(key)
        now = wait_for_other_words(panel, words)
        assert "shown: " in now and readout(panel, number) in now, f"{where}: {now}"
        seen.add(picture_of(panel))
        fits(panel, now)
    # A substitute may change a figure, and no curve.
    assert len(seen) > 1 or "as fitted" in panel.inner_text() or "beyond a rating" in now, f"nothing moved: {now}"


def readout(panel, number):
    """Return what stands beside a slider, in a box to type in or as a name."""
    row = panel.get_by_role("slider").nth(number).locator("xpath=ancestor::*[contains(@class, 'widget-hbox')][1]")
    box = row.get_by_role("textbox")
    return box.input_value() if box.count() else row.locator(".widget-label").last.inner_text()


def type_into(panel):
    """Type something senseless into the first readout, then the value it started with."""
    box = panel.get_by_role("textbox").first
    stood = box.input_value()
    box.fill("xyz")
    box.press("Enter")
    panel.get_by_role("note").filter(has_text="xyz").wait_for()
    until(panel.page, "([box, text]) => box.value === text", [box.element_handle(), stood])
    slider = panel.get_by_role("slider").first
    slider.focus()
    slider.press("ArrowLeft")
    until(panel.page, "([box, text]) => box.value !== text", [box.element_handle(), stood])
    panel.get_by_role("note").filter(has_text="xyz").wait_for(state="detached")  # the note goes with its slip
    words = said(panel)
    box.fill(stood)
    box.press("Enter")
    assert f" {stood}" in wait_for_other_words(panel, words)
