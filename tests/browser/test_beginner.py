"""The first minutes of somebody who has never opened a notebook, in a window of 1366 by 768 with the lab's own bars."""

from __future__ import annotations

import pytest

from tests.browser.conftest import ERRORS, STEP, WINDOW
from tests.conftest import ROOT

LESSONS = sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb"))
READY = """name => {
    const widget = window.jupyterapp?.shell.currentWidget;
    return widget?.context?.path.endsWith(name) && widget.sessionContext?.session?.kernel?.status === 'idle';
}"""
DONE = """() => {
    const cells = [...window.jupyterapp.shell.currentWidget.content.widgets].filter(cell => cell.model.type === 'code');
    const asked = cells.some(cell => cell.promptNode?.innerText.includes('*') || cell.model.executionState === 'running');
    const stopped = cells.some(cell => cell.model.outputs.toJSON().some(output => output.output_type === 'error'));
    return !asked && (stopped || cells.at(-1).model.executionCount !== null);
}"""
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
    .map(part => part.innerText.slice(0, 80))"""

# What all cells say, in words.
SAID = """() => window.jupyterapp.shell.currentWidget.content.widgets
    .filter(cell => cell.model.type === 'code').flatMap(cell => cell.model.outputs.toJSON())
    .map(output => JSON.stringify(output.data?.['text/plain'] ?? '')).join('\\n')"""


@pytest.fixture
def desk(lab, browser):
    """Give a page with the whole lab, and a function that opens one of its notebooks."""
    url, token = lab
    page = browser.new_page(viewport=WINDOW)
    page.set_default_timeout(STEP)

    def open_lesson(name):
        page.goto(f"{url}/lab/tree/notebooks/{name}.ipynb?reset&token={token}")
        page.wait_for_function(READY, arg=f"{name}.ipynb", timeout=2 * STEP)
        return page

    yield open_lesson
    page.close()


def run_all(page):
    """Run all cells by the menu, as the first line of every lesson says."""
    page.evaluate(
        "window.jupyterapp.commands.execute('notebook:clear-all-cell-outputs')"
    )  # to tell this run from the last
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
    page.wait_for_function(DONE, timeout=4 * STEP)


def test_from_the_start_page_to_a_slip_and_back(desk):
    page = desk("start-here")
    run_all(page)
    assert page.evaluate(ERRORS) == []
    page.locator(".jp-NotebookPanel:visible").get_by_role("link", name="Indicator LED", exact=True).click()
    page.wait_for_function(READY, arg="indicator-led.ipynb", timeout=2 * STEP)
    run_all(page)
    assert page.evaluate(ERRORS) == []
    assert page.evaluate(CHANGE, ['"1mA"', '"1 mV"'])
    run_all(page)
    (told,) = page.evaluate(ERRORS)
    assert told.startswith("ValueError: current_wanted = '1 mV': text '1 mV' is not a value"), told
    assert len(told.splitlines()) == 1
    page.locator(".jp-NotebookPanel:visible").get_by_text(told, exact=True).wait_for()
    assert page.evaluate(CHANGE, ['"1 mV"', '"2mA"'])
    run_all(page)
    assert page.evaluate(ERRORS) == []
    page.locator(".jp-NotebookPanel:visible").get_by_text("wanted 2.00 mA", exact=False).first.wait_for()
    page.locator(".jp-NotebookPanel:visible").get_by_role("link", name="supply and battery", exact=True).click()
    page.wait_for_function(READY, arg="supply-and-battery.ipynb", timeout=2 * STEP)


# In each lesson a slip in its first cell, what is told of it, and a value that can be.
CHANGES = {
    "start-here": ('"2k2"', '"2kk2"', "resistor = '2kk2'", '"3k3"'),
    "reading-a-part": (
        '"yellow violet red gold"',
        '"gold violet red pink"',
        "bands 'gold violet red pink': 'pink' is not a band colour",
        '"brown black red gold"',
    ),
    "parts-from-the-drawer": ('"80 Hz"', '"80 V"', "corner_wanted = '80 V'", '"100 Hz"'),
    "indicator-led": ('"1mA"', '"1 mV"', "current_wanted = '1 mV'", '"2mA"'),
    "supply-and-battery": ('"7 V"', '"7 W"', "'7 W'", '"6.5 V"'),
    "charge-pump": ('"2 V"', '"2 Ohm"', "signal_peak = '2 Ohm'", '"1 V"'),
    "bias-points": ('"68k"', '"68 kk"', "divider_top = '68 kk'", '"82k"'),
    "side-chain-time-constants": ('"220n"', '"220nn"', "hold_capacitor = '220nn'", '"330n"'),
    "led-ldr-coupler": ('"4.2M"', '"4.2Z"', "resistance_dark = '4.2Z'", '"5M"'),
    "attack-and-release": ('"220k"', '"22Ok"', "resistance_release = '22Ok'", '"330k"'),
    "measure-your-own": ('"220k"', '"22Ok"', "resistance_release = '22Ok'", '"330k"'),
}


def test_every_lesson_has_its_slip():
    assert sorted(CHANGES) == LESSONS


@pytest.mark.parametrize("name", LESSONS)
def test_a_lesson_as_a_beginner_opens_it(desk, name):
    """It fits the window; a slip is told in one line by its own name; put right, all of it runs, and the numbers follow."""
    page = desk(name)
    shown = page.locator(".jp-NotebookPanel:visible")
    told = shown.get_by_role("strong").filter(has_text="Run > Run All Cells, then change the first cell")
    told.wait_for()
    assert told.bounding_box()["y"] < WINDOW["height"], "not in the first window"
    run_all(page)
    assert page.evaluate(ERRORS) == []
    page.wait_for_timeout(500)  # tables and formulas find their width
    assert page.evaluate(WIDE) == []
    before = page.evaluate(SAID)
    stood, slip, words, good = CHANGES[name]
    assert page.evaluate(CHANGE, [stood, slip])
    run_all(page)
    (line,) = page.evaluate(ERRORS)
    assert words in line and len(line.splitlines()) == 1, line
    assert page.evaluate(CHANGE, [slip, good])
    run_all(page)
    assert page.evaluate(ERRORS) == []
    assert page.evaluate(SAID) != before, "nothing follows the value"
