"""Every notebook: stripped, short cells, one cell to edit, and it runs to its own checks."""

from __future__ import annotations

import ast
import json
import re

import nbformat
import pytest

from pedalcalc._screen_text import together
from tests.conftest import ROOT

LESSONS = sorted((ROOT / "notebooks").glob("*.ipynb"))
NOTEBOOKS = sorted(path for path in (ROOT / "notebooks").rglob("*.ipynb") if ".ipynb_checkpoints" not in path.parts)
KERNEL = {"display_name": "Python 3", "language": "python", "name": "python3"}
RUN = "**Run > Run All Cells, then change the first cell**"
WIDEST = (
    100  # characters of the one cell whose code is seen; beside the list of files a lab shows 112 in a window 1366 wide
)
# Words of the trade, each explained in the lessons named here before it is used there.
WORDS = {
    "attack-and-release": ("dBV", "threshold", "ratio", "knee", "overshoot"),
    "bias-points": ("bias point", "gm", "IDSS", "VGS(off)", "ohmic", "bypassed"),
    "charge-pump": ("flying capacitor", "swing", "headroom", "ESR"),
    "indicator-led": ("drop", "E12", "mcd"),
    "led-ldr-coupler": ("LDR", "shunt", "gain reduction", "lx"),
    "side-chain-time-constants": ("full wave", "attack", "release", "ripple", "droop"),
    "start-here": ("stock", "dB", "dBV", "corner", "caution"),
    "supply-and-battery": ("regulated", "ripple", "ESR", "half-supply reference"),
}
AS_IT_STANDS = re.compile(r"```.*?```|`[^`]*`|\]\([^)]*\)", re.DOTALL)
LINK = re.compile(r"\]\((?!https?:)([^)#]+)")


def _named(path):
    return pytest.param(path, id=str(path.relative_to(ROOT)))


def _code(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


@pytest.fixture(params=[_named(path) for path in NOTEBOOKS])
def sheet(request):
    return request.param, nbformat.read(request.param, as_version=4)


def test_is_stripped(sheet):
    path, notebook = sheet
    nbformat.validate(notebook)
    metadata = json.loads(path.read_text(encoding="utf-8"))["metadata"]
    assert metadata.pop("language_info", {"name": "python"}) == {"name": "python"}
    assert metadata == {"kernelspec": KERNEL}
    for cell in _code(notebook):
        assert cell.outputs == []
        assert cell.execution_count is None
        assert set(cell.metadata) <= {"tags", "jupyter"}


def test_opens_with_a_title(sheet):
    _, notebook = sheet
    assert notebook.cells[0].cell_type == "markdown"
    assert notebook.cells[0].source.startswith("# ")


def test_has_one_cell_to_edit(sheet):
    _, notebook = sheet
    tagged = [cell for cell in _code(notebook) if "parameters" in cell.metadata.get("tags", [])]
    assert len(tagged) == 1
    allowed = (ast.Assign, ast.AnnAssign, ast.Import, ast.ImportFrom)
    assert all(isinstance(line, allowed) for line in ast.parse(tagged[0].source).body), (
        "parameters are plain assignments"
    )


@pytest.fixture(params=[_named(path) for path in LESSONS])
def lesson(request):
    return request.param, nbformat.read(request.param, as_version=4)


def _words(notebook):
    return [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]


def test_says_at_its_top_how_to_run_it(sheet):
    path, notebook = sheet
    top = "\n".join(cell.source for cell in notebook.cells[:2])
    assert RUN in top
    assert "name is not defined" in "\n".join(_words(notebook)), "what to do when a name is not known"
    assert path.stem == "start-here" or "start-here.ipynb)" in top


def test_one_cell_shows_its_code_and_every_line_seen_is_short(sheet):
    _, notebook = sheet
    for cell in _code(notebook):
        folded = cell.metadata.get("jupyter", {}).get("source_hidden", False)
        assert folded != ("parameters" in cell.metadata.get("tags", [])), cell.source
        seen = cell.source.splitlines()[: 1 if folded else None]  # of a folded cell its first line is shown
        assert max(map(len, seen)) <= WIDEST, cell.source


def test_a_number_stays_beside_its_unit_on_the_screen_too(sheet):
    """A page sees to that itself; what a lab shows is the source, so there a no-break space stands between them."""
    _, notebook = sheet
    for words in _words(notebook):
        text = AS_IT_STANDS.sub("", words)
        assert together(text) == text, [
            found[0] for found in re.finditer(r"\d \S+", text) if together(found[0]) != found[0]
        ]


def test_an_empty_cell_of_a_table_is_one_to_write_in(sheet):
    """On paper it gets a line to write on: then all of its column do, under a head that says whose it is."""
    _, notebook = sheet
    tables = [found for words in _words(notebook) for found in re.findall(r"(?:^\|.*\|\n?){3,}", words, re.MULTILINE)]
    for table in tables:
        head, _, *rows = [[cell.strip() for cell in row.strip("|").split("|")] for row in table.splitlines()]
        for name, *column in zip(head, *rows, strict=True):
            assert all(column) or (name in {"yours", "mine"} and not any(column)), table


def test_words_that_are_printed_point_at_no_cell_that_is_not(sheet):
    """No code is on paper: what stands there names the first cell as the notebook's, never the one before or behind."""
    _, notebook = sheet
    printed = [cell for cell in notebook.cells if "screen" not in cell.metadata.get("tags", [])]
    for cell in printed:
        if cell.cell_type == "markdown":
            assert not re.search(r"\b(next|last|above|below) cell\b|\bcells? (above|below)\b", cell.source), cell.source


def test_lessons_lead_to_one_another(lesson):
    path, notebook = lesson
    for name in LINK.findall("\n".join(_words(notebook))):
        assert (path.parent / name).exists(), name
    last = [cell for cell in notebook.cells if cell.cell_type == "markdown"][-1].source
    assert last.startswith("**Next:**") and LINK.search(last)


def test_the_start_page_leads_to_every_notebook():
    text = "\n".join(_words(nbformat.read(ROOT / "notebooks/start-here.ipynb", as_version=4)))
    linked = {(ROOT / "notebooks" / name).resolve() for name in LINK.findall(text)}
    assert linked >= {path for path in NOTEBOOKS if path.stem != "start-here"}
    assert "--pdf" in text


def test_words_of_the_trade_are_explained_where_first_met(lesson):
    path, notebook = lesson
    for word in WORDS.get(path.stem, ()):
        cells = [cell.source for cell in notebook.cells[1:]]
        told = [k for k, source in enumerate(cells) if f"**{word}**" in source]
        used = re.compile(rf"(?<![\w-]){re.escape(word)}(?![\w-])")
        met = [k for k, source in enumerate(cells) if used.search(source) and not source.startswith("from pedalcalc")]
        assert told and told[0] == met[0], word


def test_a_lesson_lets_guess_first_and_says_why(lesson):
    _, notebook = lesson
    text = "\n".join(_words(notebook))
    guesses, answers = (
        [found.start() for found in re.finditer(words, text)] for words in (r"\*\*Guess first", r"\*\*[Ss]ee why")
    )
    assert guesses, "a lesson asks before it tells"
    for guess in guesses:
        assert any(answer > guess for answer in answers), text[guess : guess + 80]
    assert len(answers) >= len(guesses), "a guess is left without its reason"


def test_a_lesson_that_chooses_takes_a_drawer_from_its_first_cell(lesson):
    path, notebook = lesson
    if path.stem == "attack-and-release":
        return  # it chooses nothing: its stock values are the stops of a sweep
    for cell in _code(notebook):
        for node in ast.walk(ast.parse(cell.source)):
            if isinstance(node, ast.keyword) and node.arg in ("stock", "stock_resistance", "stock_capacitance"):
                assert not isinstance(node.value, ast.Constant), f"{cell.source}: name a parameter for the drawer"


def test_cells_are_short_and_only_call(sheet):
    _, notebook = sheet
    for cell in _code(notebook):
        assert len(cell.source.splitlines()) <= 15, cell.source
        defined = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
        assert not [node for node in ast.walk(ast.parse(cell.source)) if isinstance(node, defined)], cell.source


def test_the_worksheets_of_both_builds_hold_little_code():
    """What two sheets say of different circuits is asked of the library, in a few lines each."""
    read = [
        nbformat.read(path, as_version=4) for path in NOTEBOOKS if path.stem in ("jfet-booster", "optical-compressor")
    ]
    assert sum(len(cell.source.splitlines()) for notebook in read for cell in _code(notebook)) <= 200


def test_ends_with_its_checks(sheet):
    _, notebook = sheet
    last = _code(notebook)[-1]
    assert any(isinstance(line, ast.Assert) for line in ast.parse(last.source).body), "the last cell asserts"
    assert notebook.cells[-1] is last


BUILD = {
    "solder",
    "leads",
    "swarf",
    "static",
    "adaptor",
    "battery",
    "shared",
    "electrolytic",
    "loud",
    "first-power",
    "hot-parts",
}
CARE = {  # the usual care that a page must show, because it lets somebody do what can hurt
    "optical-compressor": BUILD | {"cadmium", "hot-air"},
    "jfet-booster": BUILD,
    "charge-pump": {"adaptor", "electrolytic", "static", "hot-parts"},
    "supply-and-battery": {"adaptor", "battery", "shared", "electrolytic", "static", "hot-parts"},
    "bias-points": {"solder", "static", "electrolytic"},
    "led-ldr-coupler": {"cadmium", "solder", "hot-air", "leads"},
}


def test_shows_the_care_that_its_work_needs(sheet):
    path, notebook = sheet
    named = set()
    for cell in _code(notebook):
        for node in ast.walk(ast.parse(cell.source)):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "report.safety":
                named |= {ast.literal_eval(word) for word in node.args}
            if isinstance(node, ast.Subscript) and ast.unparse(node) == "whole.sections['power']":
                named |= {"first-power", "hot-parts"}  # this section shows them (tests/test_sheet.py)
    assert CARE.get(path.stem, set()) <= named


def test_formulas_need_no_network(sheet):
    _, notebook = sheet
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            assert "$" not in cell.source, "write formulas with report.formula, so that they print"
            assert "](http" not in cell.source.replace("](https://doi.org", ""), (
                "a page takes no pictures from the network"
            )


def test_runs_and_leaves_a_whole_page(sheet, page_of):
    path, notebook = sheet
    text = page_of(path).read_text(encoding="utf-8")
    assert text.rstrip().endswith("</html>")
    assert "Traceback" not in text
    assert "<script" not in text
    pictures = sum(cell.source.count("explore.") + cell.source.count("plot.") for cell in _code(notebook))
    assert text.count("<figure") >= min(pictures, 1)
