"""Every answer that a sheet takes, at its ends: a page without a number that is none, or an error that names the answer."""

from __future__ import annotations

import re
import warnings
from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import devices, sheet, tolerance
from pedalcalc._part_value import CONTROLS
from pedalcalc.board import assemble
from pedalcalc.parts import read_parts
from pedalcalc.sheet import build
from tests.conftest import ROOT

pytestmark = pytest.mark.usefixtures("few_units")

BUILDS = ROOT / "notebooks" / "builds"
BOOST = BUILDS / "your-build" / "parts.csv"
BOOSTER = BUILDS / "jfet-booster" / "parts.csv"
TWO_STAGES = ROOT / "tests" / "builds" / "two-stage-filter" / "parts.csv"  # no LED, no switch, no control
INF = float("inf")
READINGS = build.READINGS  # as a page has them


def metered(ohms):
    return replace(devices.METER_DIGITAL, resistance_meter=ohms)


def page_of(path, **answers):
    """Make a page, any warning of numpy an error; fail for a number that is none."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        made = sheet.build_sheet(path, **answers)
        html = re.sub(r"<(svg|style).*?</\1>", "", made._repr_html_(), flags=re.DOTALL)
    for text in (str(made), html):
        assert not re.search(r"\b(nan|NaN|inf|Inf|None)\b", text)
    assert len(made.sections) == 11
    return made


@pytest.mark.parametrize(
    ("path", "answers"),
    [
        (BOOST, {"resistance_load": 0}),
        (BOOST, {"resistance_load": INF, "resistance_generator": 0}),
        (BOOST, {"resistance_generator": 1e9}),
        (BOOST, {"supply": 18.0}),
        (BOOST, {"supply": 0.5}),
        (BOOST, {"meter": metered(1.0)}),
        (BOOST, {"meter": metered(1e12)}),
        (BOOST, {"meter": "pointer"}),
        (BOOSTER, {"resistance_load": 0, "resistance_generator": 0}),
        (TWO_STAGES, {"resistance_load": 0}),
        (TWO_STAGES, {"resistance_load": INF, "supply": (7.0, 9.0, 18.0)}),
    ],
    ids=str,
)
def test_an_answer_at_its_end_gives_a_page(path, answers):
    page_of(path, **answers)


@pytest.mark.parametrize("end", [0.0, 1.0])
@pytest.mark.parametrize("path", [BOOST, BOOSTER], ids=["boost", "booster"])
def test_all_controls_at_an_end_give_a_page(path, end):
    page_of(path, rotations={part.reference: end for part in read_parts(path) if part.kind in CONTROLS})


@pytest.mark.parametrize(
    ("answers", "why"),
    [
        ({"supply": 0}, "supply must be above 0 and finite, got 0"),
        ({"supply": -9.0}, "supply must be above 0 and finite, got -9"),
        ({"resistance_generator": INF}, "resistance_generator must be at least 0 and finite, got inf"),
        ({"resistance_load": -1.0}, "resistance_load must be at least 0"),
        ({"meter": "mine"}, "meter: text 'mine' fits no part .*; the package knows 'digital', 'cheap' and 'pointer'"),
        ({"rotations": {"VR1": 1.01}}, "rotations: VR1 must be at least 0 and at most 1"),
    ],
)
def test_an_answer_beyond_its_end_is_named(answers, why):
    with pytest.raises(ValueError, match=why):
        sheet.build_sheet(BOOST, **answers)


def test_a_shorted_output_is_told_in_words():
    # ground at the output: no gain, no corner; what is behind it by hand is 1 µF at 1 kHz, 159 Ω
    made = page_of(BOOST, resistance_load=0)
    for name in ("response", "corners"):
        assert "Nothing comes out at 'output'" in str(made.sections[name])
    assert "159 Ω" in str(made.sections["response"])
    assert "nothing of it comes out" in str(made.sections["clipping"])


def test_the_page_draws_as_many_units_as_bound_the_ends_of_its_bands():
    # by hand: the lowest of N lies below the end of 0.5 % with a probability of 1 - 0.995^N, which must be 97.5 % on one side
    assert 1 - 0.995**READINGS > 0.975
    board = assemble(BOOST, supply="9V")
    for row in tolerance.bands(board, count=READINGS).rows:
        assert np.isfinite(row.error_ends), row.name


def test_first_power_defers_in_the_first_box_of_the_sheet_alone():
    made = sheet.build_sheet(ROOT / "notebooks/builds/your-build" / "parts.csv")
    assert "qualified person" in str(made.sections["cautions"])
    assert "qualified person" not in str(made.sections["power"])
