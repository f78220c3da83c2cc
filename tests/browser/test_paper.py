"""The printable page with the network off: every picture is there, and the PDF holds its lines."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from html import unescape

import pytest

from pedalcalc.page import write_page
from pedalcalc.page._pdf import write_pdf
from tests.browser.conftest import STEP, find_browser
from tests.conftest import ROOT
from tests.test_page import PANEL, notebook_at

FOOT = (297 - 19) * 72 / 25.4  # lower edge of the text, in points from the top of A4
BUILDS = sorted((ROOT / "notebooks" / "builds").glob("*/*.ipynb"))


def _pages():
    yield pytest.param(None, id="sheet")
    for path in BUILDS:
        yield pytest.param(path, id=path.stem)


@pytest.fixture(params=_pages(), scope="module")
def paper(request, tmp_path_factory):
    """Return a page of the test's own sheet, or of a build's worksheet."""
    folder = tmp_path_factory.mktemp("paper")
    if request.param is None:
        return write_page(notebook_at(folder / "sheet.ipynb", *PANEL))
    return write_page(request.param, page=folder / "worksheet.html")


def test_page_is_whole_with_the_network_off(browser, paper):
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.set_default_timeout(STEP)
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto(paper.as_uri())
    figures = page.locator("figure")
    assert figures.count() >= 3
    for place in range(figures.count()):
        box = figures.nth(place).locator("svg, img").bounding_box()
        assert box["width"] > 100 and box["height"] > 60
    formula = page.locator("math").first.bounding_box()
    assert formula["width"] > 20 and formula["height"] > 10
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert said == []
    context.close()


def test_page_prints_on_a4_with_its_lines(paper):
    find_browser()
    if shutil.which("pdftotext") is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no pdftotext (poppler-utils)")
    made = write_pdf(paper)
    text, facts = (
        subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout
        for command in (["pdftotext", "-layout", str(made), "-"], ["pdfinfo", str(made)])
    )
    assert "A4" in facts
    title = paper.read_text(encoding="utf-8").split("<title>")[1].split("</title>")[0]
    assert title in text
    assert "Computed with pedalcalc" in text
    if paper.stem == "sheet":
        for line in ("TP1", "4.50 V", "Cell resistance", "LED current", "shown: LED current 1.00 mA"):
            assert line in text
    assert "page 1 of" in text
    assert ("serial number" in text) == (paper.stem == "worksheet")


def test_little_of_a_page_is_left_empty_and_no_heading_is_alone(paper):
    """As content allows: a page but the last is filled to more than half; a heading has something after it."""
    find_browser()
    if shutil.which("pdftotext") is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no pdftotext (poppler-utils)")
    made = write_pdf(paper)
    boxes = subprocess.run(
        ["pdftotext", "-bbox-layout", str(made), "-"], capture_output=True, text=True, timeout=60, check=True
    ).stdout
    headings = set(re.findall(r"<h[23][^>]*>([^<]+)<", paper.read_text(encoding="utf-8")))
    pages = boxes.split("<page ")[1:]
    for number, page in enumerate(pages[:-1], start=1):
        lines = []
        for line in re.findall(r'<line [^>]*yMax="([\d.]+)">(.*?)</line>', page, re.DOTALL):
            words = " ".join(unescape(word) for word in re.findall(r">([^<]+)</word>", line[1]))
            lines.append((float(line[0]), words))
        body = [line for line in sorted(lines) if line[0] < FOOT]
        last, words = body[-1]
        assert words not in headings, f"{words!r} stands alone at the foot"
        if ">builder</word>" in pages[number] and ">date</word>" in pages[number] and number > 1:
            continue  # the bench card begins on a page of its own
        assert last > FOOT / 2, f"more than half of the page is empty after {words!r}"
