"""reference/sources.csv: every source can be traced or says that it cannot, is cited, and is there when cited."""

from __future__ import annotations

import ast
import re

import pytest

from tests.conftest import REFERENCE, ROOT, read_rows

SOURCES = {row["key"]: row for row in read_rows(REFERENCE / "sources.csv")}
OURS = {"DERIVED", "PRACTICE", "MEMORY"}
KEY = r"[A-Z][A-Z0-9]+(?:-[A-Z0-9]+)+|[A-Z]{5,}"
WORD = re.compile(rf"(?<![\w-])(?:{KEY})(?![\w-])")


def _docstrings():
    for path in sorted((ROOT / "pedalcalc").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Module) and (text := ast.get_docstring(node)):
                yield f"{path.relative_to(ROOT)}: {getattr(node, 'name', 'file')}", text


def _texts():
    for pattern in ("pedalcalc/**/*.py", "pedalcalc/devices/tables/*.csv", "tests/*.py", "notebooks/**/*.ipynb"):
        for path in ROOT.glob(pattern):
            yield path.read_text(encoding="utf-8")
    for path in (REFERENCE / "published").glob("*.csv"):
        yield path.read_text(encoding="utf-8")


def test_keys_are_unique_and_look_like_keys():
    assert len(SOURCES) == len(read_rows(REFERENCE / "sources.csv"))
    assert all(re.fullmatch(r"[A-Z0-9]+(-[A-Z0-9]+)*", key) for key in SOURCES)


@pytest.mark.parametrize("key", sorted(set(SOURCES) - OURS))
def test_a_source_can_be_traced_or_says_from_memory(key):
    row = SOURCES[key]
    number = re.search(r"(?<!\w)[A-Z0-9]*[0-9]{3,}[A-Z0-9/-]*", row["title"])  # of a sheet or a journal's pages
    assert row["note"], "say what was seen of it"
    if not row["note"].startswith("from memory"):
        assert row["title"] and (row["author"] or row["edition"] or row["address"] or number)


def test_what_docstrings_cite_is_in_the_list():
    references = {
        place: text.split("References\n---")[1].split("\nExamples\n---")[0]
        for place, text in _docstrings()
        if "References\n---" in text
    }
    unknown = {place: keys for place, text in references.items() if (keys := set(WORD.findall(text)) - set(SOURCES))}
    assert references and not unknown, "\n".join(f"{place}: {keys}" for place, keys in unknown.items())


def test_every_source_is_cited():
    cited = set()
    for text in _texts():
        cited |= SOURCES.keys() & re.findall(r"[\w-]+", text)
    assert set(SOURCES) - cited == set(), "nobody cites it: cite it or strike it off"
