"""Every lesson and worksheet as somebody opens it who has never seen a notebook, in a window of 1366 by 768.

One lab stands open; each notebook is reached by its link on the start page, run by the menu, given a slip and a good
value, and every panel of it is played with.
"""

from __future__ import annotations

import re

import nbformat
import pytest

from tests.browser.conftest import ERRORS, READY, SHOW, STEP, WINDOW, run_all, until
from tests.browser.playing import play_with, red_of
from tests.browser.test_listening import plays_what_the_panel_above_shows
from tests.conftest import ROOT

NOTEBOOKS = ROOT / "notebooks"
START = "start-here"
LESSONS = sorted(path.stem for path in NOTEBOOKS.glob("*.ipynb"))
BUILDS = sorted(
    str(path.relative_to(NOTEBOOKS).with_suffix(""))
    for path in (NOTEBOOKS / "builds").rglob("*.ipynb")
    if ".ipynb_checkpoints" not in path.parts
)
LINK = re.compile(r"\[`?([^\]`]+)`?\]\(([^)#]+)\.ipynb\)")
# Change the source of the first cell whose code is seen.
CHANGE = """([old, new_]) => {
    const cell = window.jupyterapp.shell.currentWidget.content.widgets
        .find(cell => cell.model.type === 'code' && !cell.inputHidden);
    const before = cell.model.sharedModel.getSource();
    cell.model.sharedModel.setSource(before.replace(old, new_));
    return before !== cell.model.sharedModel.getSource();
}"""
WIDE = """() => [...window.jupyterapp.shell.currentWidget.node.querySelectorAll(
    '.jp-OutputArea-output, .jp-OutputArea-output > *, .jp-RenderedMarkdown, .cm-scroller, [class*=Placeholder]')]
    .filter(part => part.clientWidth > 0 && part.scrollWidth > part.clientWidth + 1)
    .map(part => `${part.className} ${part.innerText.slice(0, 80)}`)"""
# Whether the notebook shows some words.
TELLS = "words => window.jupyterapp.shell.currentWidget.node.innerText.replaceAll('\\u00a0', ' ').includes(words)"
# End the kernel of the notebook shown and close it without a question.
CLOSE = """() => {
    const widget = window.jupyterapp.shell.currentWidget;
    window.jupyterapp.serviceManager.sessions.shutdown(widget.sessionContext.session.id);
    widget.dispose();
}"""

# In each lesson a slip in its first cell, what is told of it, a value that can be, and what is told with that alone:
# the value itself, what it makes by hand, or, of a demonstration, by the model in the lesson.
CHANGES = {
    "start-here": ('"2k2"', '"2kk2"', "resistor = '2kk2'", '"3k3"', "3.30 kΩ"),
    "reading-a-part": (
        '"yellow violet red gold"',
        '"gold violet red pink"',
        "bands 'gold violet red pink': 'pink' is not a band colour",
        '"brown black red gold"',
        "1.00 kΩ",  # 10 times 100
    ),
    "parts-from-the-drawer": ('"80 Hz"', '"80 V"', "corner_wanted = '80 V'", '"100 Hz"', "For 100 Hz"),
    "indicator-led": ('"1mA"', '"1 mV"', "current_wanted = '1 mV'", '"2mA"', "wanted 2.00 mA"),
    "supply-and-battery": ('"7 V"', '"7 W"', "'7 W'", '"6.5 V"', "down to 6.5 V"),
    "charge-pump": ('"2 V"', '"2 Ohm"', "signal_peak = '2 Ohm'", '"1 V"', "headroom over a peak of 1 V"),
    # 9 V times 15 over 97, less 2.5 µA through 12.7 kΩ
    "bias-points": ('"68k"', '"68 kk"', "divider_top = '68 kk'", '"82k"', "1.36 V"),
    # 330 nF times 1 MΩ
    "side-chain-time-constants": ('"220n"', '"220nn"', "hold_capacitor = '220nn'", '"330n"', "release 330 ms"),
    "led-ldr-coupler": ('"4.2M"', '"4.2Z"', "resistance_dark = '4.2Z'", '"5M"', "5.00 MΩ"),
    "attack-and-release": ('"220k"', '"22Ok"', "resistance_release = '22Ok'", '"330k"', "330 kΩ"),
    "measure-your-own": ('"220k"', '"22Ok"', "resistance_release = '22Ok'", '"330k"', "230 ms"),
}


def links_of(name):
    """Return the notebooks that a notebook links to, by the words of the link."""
    cells = nbformat.read(NOTEBOOKS / f"{name}.ipynb", as_version=4).cells
    return {words: target for cell in cells for words, target in LINK.findall(cell.source)}


@pytest.fixture
def opened(desk, request):
    """Open a notebook by its link on the start page; end it after the test."""
    name = request.param
    desk.evaluate(f"({SHOW})('notebooks/{START}.ipynb')")
    if name != START:
        words = next(words for words, target in links_of(START).items() if target == name)
        follow(desk, words, name)
    yield name, desk
    if name != START:
        desk.evaluate(CLOSE)


def follow(page, words, name):
    """Click a link of the notebook shown and wait until what it leads to is ready."""
    page.locator(".jp-NotebookPanel:visible").get_by_role("link", name=words, exact=True).first.click()
    until(page, READY, f"notebooks/{name}.ipynb", timeout=2 * STEP)


def run_well(page):
    """Run all cells; none of them fails."""
    run_all(page)
    assert page.evaluate(ERRORS) == []


def play_all(page, name):
    """Play with every panel of the notebook shown, of which there are as many as its cells ask for."""
    panels = page.locator(".jp-NotebookPanel:visible .pedalcalc-panel")
    source = "".join(cell.source for cell in nbformat.read(NOTEBOOKS / f"{name}.ipynb", as_version=4).cells)
    assert (panels.count() > 0) == ("explore." in source)
    for place in range(panels.count()):
        play_with(panels.nth(place), f"panel {place} of {name}")
    assert red_of(page) == []


def test_every_lesson_has_its_slip_and_its_link():
    assert sorted(CHANGES) == LESSONS
    assert {START, *links_of(START).values()} == {*LESSONS, *BUILDS}


@pytest.mark.parametrize("opened", LESSONS, indirect=True)
def test_a_lesson_as_a_beginner_plays_it(opened):
    """A slip is told in one line by its own name; put right, all runs, fits the window, numbers follow, panels play.

    As it stands each lesson is run for its page (tests/test_notebooks.py).
    """
    name, page = opened
    shown = page.locator(".jp-NotebookPanel:visible")
    told = shown.get_by_role("strong").filter(has_text="Run > Run All Cells, then change the first cell")
    told.wait_for()
    assert told.bounding_box()["y"] < WINDOW["height"], "not in the first window"
    stood, slip, words, good, follows = CHANGES[name]
    assert page.evaluate(CHANGE, [stood, slip])
    run_all(page)
    (line,) = page.evaluate(ERRORS)
    assert words in line and len(line.splitlines()) == 1, line
    shown.get_by_text(line, exact=True).wait_for()
    assert page.evaluate(CHANGE, [slip, good])
    assert not page.evaluate(TELLS, follows)
    run_well(page)
    fits_across(page)
    until(page, TELLS, follows)
    play_all(page, name)
    if name == "attack-and-release":
        plays_what_the_panel_above_shows(page)
    if name == "indicator-led":
        leads_on(page, name)


@pytest.mark.parametrize("opened", BUILDS, indirect=True)
def test_a_worksheet_as_a_beginner_plays_it(opened):
    name, page = opened
    run_well(page)
    play_all(page, name)


def fits_across(page):
    """Wait until tables and formulas have found their width: nothing is wider than its place."""
    try:
        until(page, f"() => ({WIDE})().length === 0", timeout=STEP / 3)
    except Exception:
        assert page.evaluate(WIDE) == []
        raise


def leads_on(page, name):
    """Follow the link of a lesson to the next one, and come back."""
    words, target = next((words, to) for words, to in links_of(name).items() if to in LESSONS and to != START)
    follow(page, words, target)
    page.evaluate(CLOSE)
    page.evaluate(f"({SHOW})('notebooks/{name}.ipynb')")
    until(page, READY, f"notebooks/{name}.ipynb", timeout=2 * STEP)
