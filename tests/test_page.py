"""The printable page: whole, offline, and clear about what failed."""

from __future__ import annotations

import atexit
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from pedalcalc.page import PageError, write_page
from pedalcalc.page._pdf import write_pdf

FOLDER = Path(tempfile.mkdtemp(prefix="pedalcalc-page-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
KERNEL = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}


def notebook_at(path, *sources):
    cells = [new_markdown_cell("# Sheet"), *(new_code_cell(source) for source in sources)]
    nbformat.write(new_notebook(cells=cells, metadata=KERNEL), path)
    return path


CALLS = {
    "write_page": {"notebook": notebook_at(FOLDER / "sheet.ipynb", "print(6 * 7)"), "time_limit": 60.0},
}

PANEL = (
    "from pedalcalc import explore, plot, report",
    "report.formula('f_c = 1/(2*pi*R*C)')",
    "report.table([{'point': 'TP1', 'expected': 4.5}], units={'expected': 'V'}, blanks=['read'])",
    "plot.rail_diagram({'label': 9.0, 'swing': (1.5, 7.0)})",
    "plot.sketch('low-pass')",
    "from pedalcalc import devices\nexplore.coupler_curve(devices.COUPLER_GREEN_GAP_GL5528, current=0.001)",
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Return a page with one of everything."""
    return write_page(notebook_at(tmp_path_factory.mktemp("page") / "sheet.ipynb", *PANEL))


def test_page_stands_beside_its_notebook_and_leaves_it_alone(whole):
    notebook = whole.with_suffix(".ipynb")
    assert whole.name == "sheet.html"
    assert all(not cell.get("outputs") for cell in nbformat.read(notebook, as_version=4).cells)
    assert sorted(path.name for path in whole.parent.iterdir()) == ["sheet.html", "sheet.ipynb"]


def test_page_shows_results_and_hides_code(whole):
    text = whole.read_text(encoding="utf-8")
    assert "<title>Sheet</title>" in text
    assert text.count("<figure>") == text.count("<svg") == 3
    assert "<math" in text and "4.50 V" in text
    assert "rail_diagram" not in text and "import" not in re.sub("<style>.*?</style>", "", text, flags=re.DOTALL)
    assert "shown: LED current 1.00 mA" in text


def test_page_loads_nothing(whole):
    text = whole.read_text(encoding="utf-8")
    assert "<script" not in text and "<link" not in text and "@import" not in text and "url(http" not in text
    loaded = re.findall(r"\b(?:src|href|data)=[\"']([^\"'#][^\"']*)", text)
    assert [target for target in loaded if not target.startswith("data:")] == []


def test_cells_for_the_screen_are_left_off_the_page(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "print('seen')", "print('hidden')")
    notebook = nbformat.read(path, as_version=4)
    notebook.cells.append(nbformat.v4.new_markdown_cell("words hidden"))
    for cell in notebook.cells[-2:]:
        cell.metadata["tags"] = ["screen"]
    nbformat.write(notebook, path)
    text = write_page(path).read_text(encoding="utf-8")
    assert "seen" in text and "hidden" not in text


def test_failing_cell_is_named_and_nothing_is_written(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "x = 1", "x / 0")
    with pytest.raises(PageError, match=r"code cell 2 \('x / 0'\) failed with ZeroDivisionError: division by zero"):
        write_page(path)
    assert [file.name for file in tmp_path.iterdir()] == ["sheet.ipynb"]


def test_old_page_stays_when_the_new_one_fails(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "1 / 0")
    (tmp_path / "sheet.html").write_text("old", encoding="utf-8")
    with pytest.raises(PageError):
        write_page(path)
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == "old"


def test_slow_cell_is_ended_after_one_more_try(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "open('tries', 'a').write('x')\nimport time; time.sleep(60)")
    with pytest.raises(PageError, match="took longer than 2 s, twice"):
        write_page(path, time_limit=2.0)
    assert (tmp_path / "tries").read_text() == "xx"


def test_dead_kernel_is_tried_once_more_and_told(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "open('tries', 'a').write('x')\nimport os; os._exit(3)")
    with pytest.raises(PageError, match="did not answer, twice"):
        write_page(path)
    assert (tmp_path / "tries").read_text() == "xx"


def test_what_is_no_notebook_is_refused(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"there is no notebook .*none\.ipynb"):
        write_page(tmp_path / "none.ipynb")
    (tmp_path / "broken.ipynb").write_text("{", encoding="utf-8")
    with pytest.raises(PageError, match="cannot be read as a notebook"):
        write_page(tmp_path / "broken.ipynb")
    other = new_notebook(metadata={"kernelspec": {"name": "ir", "display_name": "R", "language": "R"}})
    nbformat.write(other, tmp_path / "other.ipynb")
    with pytest.raises(PageError, match="only Python"):
        write_page(tmp_path / "other.ipynb")


def test_missing_kernel_is_told(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "ipykernel.kernelspec", None)
    with pytest.raises(PageError, match=r"kernel is not installed .*pedalcalc\[lab\]"):
        write_page(notebook_at(tmp_path / "sheet.ipynb", "1"))


def test_command_writes_and_tells_where(tmp_path):
    notebook = notebook_at(tmp_path / "sheet.ipynb", "print(6 * 7)")
    done = subprocess.run(
        [sys.executable, "-m", "pedalcalc.page", str(notebook)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"page written: {tmp_path / 'sheet.html'}\n"
    assert "42" in (tmp_path / "sheet.html").read_text(encoding="utf-8")


def test_command_fails_in_one_line(tmp_path):
    command = [sys.executable, "-m", "pedalcalc.page", str(tmp_path / "none.ipynb")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 1
    assert done.stderr == f"error: there is no notebook {tmp_path / 'none.ipynb'}\n"


def test_pdf_without_a_browser_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    (tmp_path / "given.html").write_text("<p>page</p>", encoding="utf-8")
    with pytest.raises(PageError, match=r"open .* in any browser and print it"):
        write_pdf(tmp_path / "given.html")
    with pytest.raises(FileNotFoundError, match="there is no page"):
        write_pdf(tmp_path / "none.html")
