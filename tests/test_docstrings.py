"""The shape of every public function's docstring, by the list of checks in pyproject.toml."""

from __future__ import annotations

import tomllib

import pytest
from numpydoc.validate import validate

from tests.conftest import ROOT
from tests.test_contract import FUNCTIONS

CHECKS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["numpydoc_validation"]["checks"]


@pytest.mark.parametrize(("room", "name", "function"), FUNCTIONS)
def test_docstring_has_the_agreed_shape(room, name, function):
    faults = [fault for fault in validate(f"pedalcalc.{room}.{name}")["errors"] if fault[0] in CHECKS]
    assert not faults
