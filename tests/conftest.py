"""Paths and strictness that all tests share."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings

from pedalcalc import page

ROOT = Path(__file__).resolve().parents[1]
REFERENCE = ROOT / "reference"

CELL_LIMIT = 120.0  # seconds

# No test is timed: an example is slow where other processes share the core.
settings.register_profile("untimed", settings(), deadline=None)
settings.load_profile("untimed")


def read_rows(path: Path) -> list[dict[str, str]]:
    """Return the rows of a CSV file as dictionaries."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file, strict=True))


@pytest.fixture(autouse=True)
def _floating_point_errors_are_seen():
    """Let an unguarded division by zero or overflow fail the test that meets it."""
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        yield


def draw_few(patch: pytest.MonkeyPatch) -> None:
    """Draw few units, and a coarse sine, for a sheet whose words are asked, and not how wide its bands are."""
    for place in ("sheet.build.DRAWS", "sheet.build.READINGS", "sheet._sound.DRAWS"):
        patch.setattr(f"pedalcalc.{place}", 40)
    patch.setattr("pedalcalc.board._dynamics.TIMED", 4)
    patch.setattr("pedalcalc.sheet._sound.INSTANTS", 21)


@pytest.fixture
def few_units(monkeypatch):
    """Draw few units in the test's sheets."""
    draw_few(monkeypatch)


@pytest.fixture(scope="session")
def page_of(tmp_path_factory):
    """Return a function that runs a notebook as it is, once, leaves it alone and gives the page it printed."""
    folder, made = tmp_path_factory.mktemp("pages"), {}

    def printed(path: Path) -> Path:
        if path not in made:
            before = path.read_bytes()
            made[path] = page.write_page(path, page=folder / f"{path.stem}.html", time_limit=CELL_LIMIT)
            assert path.read_bytes() == before, "the notebook was changed"
        return made[path]

    return printed
