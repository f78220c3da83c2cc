"""The printable page: whole, offline, and clear about what failed."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from pathlib import Path

import nbformat
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

FOLDER = Path(tempfile.mkdtemp(prefix="pedalcalc-page-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
KERNEL = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}


def notebook_at(path, *sources):
    cells = [new_markdown_cell("# Sheet"), *(new_code_cell(source) for source in sources)]
    nbformat.write(new_notebook(cells=cells, metadata=KERNEL), path)
    return path


(FOLDER / "given.html").write_text("<!DOCTYPE html><p>page</p>", encoding="utf-8")
CALLS = {
    "write_page": {"notebook": notebook_at(FOLDER / "sheet.ipynb", "print(6 * 7)"), "time_limit": 60.0},
    "write_pdf": {"page": FOLDER / "given.html", "time_limit": 60.0},
}
