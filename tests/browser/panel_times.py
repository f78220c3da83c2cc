"""How soon each panel's picture follows, taken in a real browser; no part of the suite, since a clock says little beside it.

``python -m tests.benchmarks browser`` runs this on a machine with nothing else to do.
"""

from __future__ import annotations

import itertools
import statistics
import time

import pytest

from tests.browser.conftest import EXPLORERS
from tests.browser.playing import wait_for_words
from tests.browser.twins import (
    at_both_ends,
    back_to_start,
    behind_a_fast_drag,
    key_to_picture,
    made_here,
    to_and_fro,
    watch,
)


@pytest.mark.parametrize("name", EXPLORERS)
def test_how_soon(explorers, name, record_property):
    here, panel = made_here(name), explorers(name)
    wait_for_words(panel, here)
    watch(panel)
    record_property("key to picture beside the start", to_and_fro(panel, here))
    record_property("last picture of a fast drag behind the button", behind_a_fast_drag(panel, here))
    key_to_picture(panel)
    for _ in at_both_ends(panel, here):
        pass
    taken = key_to_picture(panel)
    record_property("key to picture at the ends, median", statistics.median(taken))
    record_property("key to picture at the ends, slowest", max(taken))
    for number, end in enumerate(slowest_corner(here)):
        slider = panel.get_by_role("slider").nth(number)
        slider.focus()
        slider.press("End" if end else "Home")
    wait_for_words(panel, here)
    key_to_picture(panel)
    record_property("key to picture in the slowest corner", to_and_fro(panel, here))
    back_to_start(panel, here)


def slowest_corner(here):
    """Leave the twin in the corner of its sliders whose update takes most of the processor, and say which ends those are."""
    sliders = list(here.sliders.values())

    def took(corner):
        go(corner)
        begun = time.process_time()
        here._update()
        return time.process_time() - begun

    def go(corner):
        for slider, end in zip(sliders, corner, strict=True):
            slider.index = end * (len(slider.options) - 1)

    slowest = max(itertools.product((0, 1), repeat=len(sliders)), key=took)
    go(slowest)
    return slowest
