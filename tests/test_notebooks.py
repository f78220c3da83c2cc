"""Every notebook: stripped, short cells, one cell to edit, and it runs to its own checks."""

from __future__ import annotations

import ast
import json

import nbformat
import pytest

from pedalcalc import page
from tests.conftest import ROOT

NOTEBOOKS = sorted(path for path in (ROOT / "notebooks").rglob("*.ipynb") if ".ipynb_checkpoints" not in path.parts)
KERNEL = {"display_name": "Python 3", "language": "python", "name": "python3"}
CELL_LIMIT = 120.0  # seconds


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


def test_cells_are_short_and_only_call(sheet):
    _, notebook = sheet
    for cell in _code(notebook):
        assert len(cell.source.splitlines()) <= 15, cell.source
        defined = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
        assert not [node for node in ast.walk(ast.parse(cell.source)) if isinstance(node, defined)], cell.source


def test_ends_with_its_checks(sheet):
    _, notebook = sheet
    last = _code(notebook)[-1]
    assert any(isinstance(line, ast.Assert) for line in ast.parse(last.source).body), "the last cell asserts"
    assert notebook.cells[-1] is last


def test_formulas_need_no_network(sheet):
    _, notebook = sheet
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            assert "$" not in cell.source, "write formulas with report.formula, so that they print"
            assert "](http" not in cell.source.replace("](https://doi.org", ""), (
                "a page takes no pictures from the network"
            )


def test_runs_and_leaves_a_whole_page(sheet, tmp_path):
    path, notebook = sheet
    before = path.read_bytes()
    text = page.write_page(path, page=tmp_path / "sheet.html", time_limit=CELL_LIMIT).read_text(encoding="utf-8")
    assert path.read_bytes() == before, "the notebook was changed"
    assert text.rstrip().endswith("</html>")
    assert "Traceback" not in text
    assert "<script" not in text
    pictures = sum(cell.source.count("explore.") + cell.source.count("plot.") for cell in _code(notebook))
    assert text.count("<figure") >= min(pictures, 1)
