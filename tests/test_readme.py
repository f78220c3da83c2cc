"""The README: its Python is true, and its two commands say what the gate relies on."""

from __future__ import annotations

import doctest
import re

import pytest

from tests.conftest import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
PYTHON = [text for language, text in BLOCKS if language == "python"]
SHELL = [text for language, text in BLOCKS if language == "sh"]


def test_every_python_line_is_true():
    """Run the blocks in one session, as a reader would."""
    assert PYTHON
    session = "\n".join(PYTHON)
    written = [line for line in session.splitlines() if line.startswith(">>> ")]
    test = doctest.DocTestParser().get_doctest(session, {}, "README.md", "README.md", 0)
    assert len(test.examples) >= len(written) > 0
    report: list[str] = []
    doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE).run(test, out=report.append)
    assert not report, "".join(report)


@pytest.mark.parametrize("text", PYTHON)
def test_no_python_line_escapes_the_run(text):
    for line in text.splitlines():
        if line.strip() and not line.startswith(">>> ") and not line.startswith("... "):
            # an expected output needs a statement before it
            assert ">>> " in text[: text.index(line)]


def test_the_first_two_commands_make_the_page_and_run_the_tests():
    page, tests = SHELL[:2]
    assert page.splitlines()[-1] == (
        ".venv/bin/python -m pedalcalc.page notebooks/builds/optical-compressor/optical-compressor.ipynb"
    )
    assert tests.splitlines()[-1] == ".venv/bin/python -m pytest"
    for block in (page, tests):
        assert block.startswith("python3 -m venv .venv\n.venv/bin/python -m pip install ")
        assert not re.search(r"^\s*[$#%>]", block, flags=re.MULTILINE), "no prompt signs"


def test_every_file_named_exists():
    for name in re.findall(r"\]\((?!https?:|#)([^)]+)\)", README):
        assert (ROOT / name).exists(), name
