"""The printable page with the network off: every picture is there, and the PDF holds its lines."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from pedalcalc.page import write_page
from pedalcalc.page._pdf import write_pdf
from tests.browser.conftest import STEP, find_browser
from tests.conftest import ROOT
from tests.test_page import PANEL, notebook_at

HEAD, FOOT = 15 * 72 / 25.4, (297 - 19) * 72 / 25.4  # edges of the text, in points from the top of A4
BUILDS = sorted((ROOT / "notebooks" / "builds").glob("*/*.ipynb"))
LESSONS = sorted((ROOT / "notebooks").glob("*.ipynb"))
#: Most of a page that may be empty, of a sheet or lesson (a picture and the heading that it must not lose), and of the bench card,
#: ahead of which there are lines to write on; and of a lesson's last page, which is not printed for a line or two.
EMPTY, EMPTY_CARD, EMPTY_LAST = 0.2, 0.15, 0.75
LEAST_LETTER, LINE = 6.9, 1.164  # points of the smallest letters, and how many letters high a word's box is at least
RESOLUTION, DARK = 40, 190  # dots per inch at which ink is looked for, and what is darker is ink

# Words of a picture that stick out of it, and pairs of them that share more than a few dots, as the browser draws them.
CROWDED = """() => [...document.querySelectorAll('svg')].flatMap(svg => {
    const edge = svg.getBoundingClientRect();
    const words = [...svg.querySelectorAll('text')].map(text => [text.textContent.trim(), text.getBoundingClientRect()])
        .filter(([text, box]) => text && box.width);
    const out = words.filter(([, box]) => box.left < edge.left - 1 || box.right > edge.right + 1
        || box.top < edge.top - 1 || box.bottom > edge.bottom + 1).map(([text]) => text);
    const over = words.flatMap(([text, a], k) => words.slice(k + 1).filter(([, b]) =>
        Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
        && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 0.3 * Math.min(a.height, b.height, a.width, b.width)
    ).map(([other]) => `${text} / ${other}`));
    return [...out, ...over];
})"""


def _pages(*paths):
    return [pytest.param(path, id=path.stem) for path in paths]


@pytest.fixture(params=[pytest.param(None, id="sheet"), *_pages(*BUILDS)], scope="module")
def paper(request, page_of, tmp_path_factory):
    """Return a page of the test's own sheet, or of a build's worksheet."""
    if request.param is None:
        return page_of(notebook_at(tmp_path_factory.mktemp("paper") / "sheet.ipynb", *PANEL))
    return page_of(request.param)


@dataclass(frozen=True)
class Seen:
    """What the one browser shows of a page with the network off, and what it prints of it."""

    asked: list[str]
    said: list[str]
    figures: list[dict[str, float] | None]
    formula: dict[str, float] | None
    fits: bool
    crowded: list[str]
    pdf: Path


@pytest.fixture(scope="module")
def seen(browser):
    """Return a function that opens a page once for all that is asked of it, with the network off, and prints it."""
    context = browser.new_context(offline=True)
    known = {}

    def look(paper):
        if paper not in known:
            page, asked, said = context.new_page(), [], []
            page.set_default_timeout(STEP)
            page.on("request", lambda request: asked.append(request.url))
            page.on("console", lambda message: said.append(message.text))
            page.goto(paper.as_uri())
            figures = page.locator("figure").locator("svg, img").all()
            formula = page.locator("math")
            pdf = paper.with_suffix(".seen.pdf")
            known[paper] = Seen(
                asked,
                said,
                [figure.bounding_box() for figure in figures],
                formula.first.bounding_box() if formula.count() else None,
                page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"),
                page.evaluate(CROWDED),
                pdf,
            )
            page.pdf(path=pdf, print_background=True, prefer_css_page_size=True)
            page.close()
        return known[paper]

    yield look
    context.close()


def _tool(name):
    find_browser()
    if shutil.which(name) is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(f"no {name} (poppler-utils)")


def _told(*command):
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout


def test_page_is_whole_with_the_network_off(seen, paper):
    found = seen(paper)
    assert len(found.figures) >= 3
    assert all(box["width"] > 100 and box["height"] > 60 for box in found.figures)
    assert found.formula["width"] > 20 and found.formula["height"] > 10
    _check_quiet(found)


def test_page_prints_on_a4_with_its_lines(seen, paper):
    _tool("pdftotext")
    made = seen(paper).pdf
    text = _told("pdftotext", "-layout", str(made), "-").replace("\N{NO-BREAK SPACE}", " ")
    facts = _told("pdfinfo", str(made))
    assert "A4" in facts
    title = paper.read_text(encoding="utf-8").split("<title>")[1].split("</title>")[0]
    assert title in text
    assert "Computed with pedalcalc" in text
    if paper.stem == "sheet":
        for line in ("TP1", "4.50 V", "Cell resistance", "LED current", "shown: LED current 1.00 mA"):
            assert line in text
    assert "page 1 of" in text
    assert ("serial number" in text) == (paper.stem != "sheet")
    if paper.stem in ("sheet", "your-build"):  # what the command prints has every word where the open browser has it
        assert _words(write_pdf(paper)) == _words(made)


def test_no_page_of_a_build_is_left_empty_and_no_heading_is_alone(seen, paper):
    _check_flow(paper, seen(paper).pdf)


@pytest.mark.parametrize("lesson", _pages(*LESSONS))
def test_no_page_of_a_lesson_is_left_empty_and_no_heading_is_alone(seen, lesson, page_of):
    _check_flow(page_of(lesson), seen(page_of(lesson)).pdf)


def test_no_page_of_a_sheet_from_a_list_alone_is_left_empty(seen, tmp_path):
    listed = ROOT / "tests" / "builds" / "two-stage-filter" / "parts.csv"
    (tmp_path / "parts.csv").write_bytes(listed.read_bytes())
    page = write_page(tmp_path / "parts.csv")
    _check_flow(page, seen(page).pdf)


@pytest.mark.usefixtures("few_units")
def test_the_card_keeps_its_two_pages_on_letter_paper(seen, tmp_path):
    """ANSI/ASME Y14.1, size A: 8.5 by 11 inches, wider than A4 by 6 mm and lower by 18."""
    _tool("pdfinfo")
    listed = ROOT / "notebooks" / "builds" / "optical-compressor" / "parts.csv"
    (tmp_path / "parts.csv").write_bytes(listed.read_bytes())
    made = seen(write_page(tmp_path / "parts.csv", paper="letter")).pdf
    assert "612 x 792 pts" in _told("pdfinfo", str(made))
    pages = _told("pdftotext", str(made), "-").split("\f")[:-1]
    assert [page.count("builder ___") for page in pages] == [0] * (len(pages) - 2) + [1, 1]


@pytest.mark.parametrize("lesson", _pages(*LESSONS))
def test_letters_and_pictures_of_a_lesson_can_be_read(seen, lesson, page_of):
    found = seen(page_of(lesson))
    _check_letters(found.pdf)
    assert found.crowded == []
    _check_quiet(found)


def test_letters_and_pictures_of_a_build_can_be_read(seen, paper):
    found = seen(paper)
    _check_letters(found.pdf)
    assert found.crowded == []


def _check_quiet(found):
    """Nothing of a page lies beyond its edge, is asked of the network, or is complained of."""
    assert found.fits
    assert [url for url in found.asked if not url.startswith(("file:", "data:"))] == []
    assert found.said == []


def _words(made):
    """Return all words of each page of a PDF, with their places."""
    pages = _told("pdftotext", "-bbox", str(made), "-").split("<page ")[1:]
    return [re.findall(r"<word .*?</word>", page) for page in pages]


def _check_letters(made):
    """No word is smaller than seven points; one or two letters may be the index of a symbol, or stand upright at an axis."""
    _tool("pdftotext")
    for number, page in enumerate(_words(made), start=1):
        for top, bottom, word in re.findall(
            r'yMin="([\d.]+)" xMax="[\d.]+" yMax="([\d.]+)">(.*?)</word>', "".join(page)
        ):
            points = (float(bottom) - float(top)) / LINE
            assert points >= LEAST_LETTER or len(unescape(word)) < 3, f"page {number}: {word!r} has {points:.1f} points"


def _check_flow(paper, made):
    """Every page is filled, but for the end of a lesson; a heading has something after it."""
    _tool("pdftotext")
    headings = set(re.findall(r"<h[23][^>]*>([^<]+)<", paper.read_text(encoding="utf-8")))
    pages = _told("pdftotext", "-bbox-layout", str(made), "-").split("<page ")[1:]
    card = [">builder</word>" in page and ">date</word>" in page for page in pages]
    for number, (page, last) in enumerate(zip(pages, _last_inks(made), strict=True), start=1):
        lines = []
        for line in re.findall(r'<line [^>]*yMax="([\d.]+)">(.*?)</line>', page, re.DOTALL):
            words = " ".join(unescape(word) for word in re.findall(r">([^<]+)</word>", line[1]))
            lines.append((float(line[0]), words))
        _, words = [line for line in sorted(lines) if line[0] < FOOT][-1]
        assert words not in headings, f"page {number}: {words!r} stands alone at the foot"
        allowed = EMPTY_CARD if card[number - 1] else EMPTY_LAST if number == len(pages) else EMPTY
        empty = 1 - (last - HEAD) / (FOOT - HEAD)
        assert empty <= allowed, f"page {number} is empty by {empty:.0%} after {words!r}"


def _last_inks(made):
    """Return the lowest mark of each page above its foot line, in points from the top."""
    place = made.with_suffix("")
    _told("pdftoppm", "-gray", "-r", str(RESOLUTION), str(made), str(place))
    for picture in sorted(place.parent.glob(f"{place.name}-*.pgm")):  # the numbers are filled up with noughts
        rows = _grey(picture)[: int(FOOT / 72 * RESOLUTION)]
        yield (np.flatnonzero((rows < DARK).any(axis=1))[-1] + 1) * 72 / RESOLUTION


def _grey(path):
    """Return a picture of greys, a row for each line of dots."""
    picture = path.read_bytes()
    kind, wide, high, most = picture[:40].split(maxsplit=4)[:4]
    assert (kind, most) == (b"P5", b"255")
    return np.frombuffer(picture[-int(wide) * int(high) :], np.uint8).reshape(int(high), int(wide))
