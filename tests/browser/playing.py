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
SAID = "panel => panel.querySelector('[role=status]').parentElement.textContent.replaceAll('\\u00a0', ' ')"
SAYS = f"([panel, words]) => ({SAID})(panel) === words"
SAYS_ELSE = f"""([panel, words]) => {{
    const image = panel.querySelector('img');
    return ({SAID})(panel) !== words && image.complete && image.naturalWidth > 0;
}}"""
CUT = """panel => [...panel.querySelectorAll('.widget-label, input[type=text]')]
    .filter(part => part.scrollWidth > part.clientWidth + 1).map(part => part.value ?? part.innerText)"""
# What would get a scroll bar of its own in a browser whose bars take room; this one hides them.
SCROLLS = """panel => [...panel.querySelectorAll('*')]
    .filter(part => part.clientHeight > 0 && /auto|scroll/.test(getComputedStyle(part).overflow))
    .filter(part => part.scrollHeight > part.clientHeight || part.scrollWidth > part.clientWidth)
    .map(part => part.className)"""
# All of a panel at one look: each question to a page costs it, the browser and this process more than its answer.
LOOK = f"""async panel => ({{
    said: ({SAID})(panel),
    cut: ({CUT})(panel),
    height: panel.getBoundingClientRect().height,
    picture: await ({PICTURE})(panel.querySelector('img')),
    values: [...panel.querySelectorAll('[role=slider]')].map(slider => {{
        const row = slider.closest('.widget-hbox'), box = row.querySelector('input[type=text]');
        return box ? box.value : [...row.querySelectorAll('.widget-label')].at(-1).innerText;
    }}),
    ends: [...panel.querySelectorAll('[role=slider]')].map(slider =>
        ['aria-valuenow', 'aria-valuemin', 'aria-valuemax'].map(name => slider.getAttribute(name))),
}})"""
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
    return said(panel)


def red_of(page):
    """Return what stands in red in the cells of panels: warnings with a file's path, which belong into their words."""
    cells = page.locator(".jp-Cell").filter(has=page.locator(".pedalcalc-panel"))
    return cells.locator("[data-mime-type='application/vnd.jupyter.stderr']").all_inner_texts()


def fits(panel, where):
    """Tell whether the panel is low enough for a small window, all its words can be read, and they are words; return all of it."""
    seen = panel.evaluate(LOOK)
    assert seen["height"] <= TALLEST, where
    assert seen["cut"] == [], where
    assert not SENSELESS.search(seen["said"]), seen["said"]
    return seen


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
    begun = fits(panel, where)
    assert panel.evaluate(SCROLLS) == [], where
    panel.get_by_role("button", name="Keep").click()
    panel.get_by_role("button", name="Let go").wait_for()
    kept = said(panel)
    assert "kept, pale: these very values" in kept, where
    for number in range(len(begun["values"])):
        to_both_ends(panel, number, where)
    if not begun["values"]:
        words = said(panel)
        panel.get_by_role("combobox").first.select_option(index=1)
        wait_for_other_words(panel, words)
    assert "kept, pale: " in said(panel) and "kept, pale: these very values" not in said(panel), where
    if panel.get_by_role("textbox").count():
        type_into(panel)
    panel.get_by_role("button", name="Back to start").click()
    until(panel.page, SAYS, [panel.element_handle(), kept])
    panel.get_by_role("button", name="Let go").click()
    until(panel.page, SAYS, [panel.element_handle(), begun["said"]])
    panel.get_by_role("button", name="Keep").wait_for()
    if listens:
        press(panel, "through the compressor")
    assert fits(panel, where)["picture"] == begun["picture"], f"{where}, back to start"


def to_both_ends(panel, number, where):
    """Take a slider to both ends by keyboard: each time words and picture follow, and all of it can be read."""
    slider, seen = panel.get_by_role("slider").nth(number), panel.evaluate(LOOK)
    pictures = {seen["picture"]}
    for end, key in enumerate(("Home", "End"), start=1):
        if seen["ends"][number][0] == seen["ends"][number][end]:
            continue
        slider.press(key)
        until(panel.page, SAYS_ELSE, [panel.element_handle(), seen["said"]])
        seen = fits(panel, where)
        now = seen["said"]
        assert "shown: " in now and seen["values"][number] in now, f"{where}: {now}"
        pictures.add(seen["picture"])
    # A substitute may change a figure, and no curve.
    assert len(pictures) > 1 or "as fitted" in panel.inner_text() or "beyond a rating" in now, f"nothing moved: {now}"


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
