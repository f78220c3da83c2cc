"""The kernel's side of every panel: drawing and encoding, and the detector's burst against the same search by brentq."""

from __future__ import annotations

import itertools
import math
from statistics import median
from time import process_time

import numpy as np
from scipy.optimize import brentq

from pedalcalc import sidechain
from pedalcalc.sidechain._cycle import Cycle
from pedalcalc.sidechain._walk import walk
from tests.test_explore import MAKERS

BURST = {
    "voltage_peak": 1.0,
    "frequency": 1000.0,
    "resistance_attack": 10e3,
    "resistance_release": 220e3,
    "capacitance_hold": 1e-6,
    "rectifier": "full",
}


def _time(function, repeats=9):
    """Return the median processor time of a call in milliseconds, after one to warm up."""
    function()
    times = []
    for _ in range(repeats):
        start = process_time()
        function()
        times.append(process_time() - start)
    return 1e3 * median(times)


def _panel(name):
    """Return the times of physics and artists, of a picture on a known ground, and of one on a new ground."""
    panel = MAKERS[name]()
    figure = panel._figure
    screen = panel._screen

    def afresh():
        screen._grounds.clear()
        screen.png(figure)

    return _time(lambda: panel._draw(**panel.values())), _time(lambda: screen.png(figure)), _time(afresh)


def _everywhere(name):
    """Return updates at the start, at the ends of one slider (median, slowest) and in the slowest corner, and which that is."""
    panel = MAKERS[name]()
    sliders = list(panel.sliders.values())
    starts = [slider.index for slider in sliders]

    def at(places):
        panel._quiet = True
        for slider, place in zip(sliders, places, strict=True):
            slider.index = place
        panel._quiet = False
        return _time(panel._update, repeats=1), panel.words()

    lasts = [len(slider.options) - 1 for slider in sliders]
    ends = [[*starts[:k], place, *starts[k + 1 :]] for k, last in enumerate(lasts) for place in (0, last)]
    first = median(at(starts)[0] for _ in range(9))
    alone = [at(places)[0] for places in ends]
    return first, median(alone), max(alone), *max(map(at, itertools.product(*[(0, last) for last in lasts])))


def _with_brentq(count):
    """Follow a burst as a user would write it: two searches by brentq in each half-wave."""
    turn, peak, attack, release, farads = 2 * math.pi * 1000.0, 1.0, 10e3, 220e3, 1e-6
    memory = turn * farads / (1 / attack + 1 / release)
    node = 1 / release + 1j * turn * farads
    through = node / (1 + attack * node)
    push, lead, decay = peak * abs(through), float(np.angle(through)), 1 / (release * farads * turn)

    def steady(x):
        return push * math.sin(x + lead)

    held = 0.0
    for _ in range(count):
        before = held
        start = (
            brentq(lambda x, v=before: peak * math.sin(x) - v * math.exp(-decay * x), 0, math.pi / 2, xtol=1e-14)
            if before
            else 0.0
        )
        end = brentq(
            lambda x, s=start: steady(x) - steady(s) * math.exp((s - x) / memory), math.pi / 2, math.pi, xtol=1e-14
        )
        held = peak * math.sin(end) * math.exp(-decay * (math.pi - end))
    return held


def rows() -> list[tuple[str, float, str]]:
    """Return claim, measured figure and budget."""
    time = np.linspace(0.0, 0.5, 1400)
    short, long = (
        _time(lambda length=length: sidechain.tone_burst(length * time, time_burst=0.4 * length, **BURST))
        for length in (0.5, 1e6)
    )
    zero = np.asarray(0.0)
    cycle = Cycle(zero + 1.0, zero, zero + 10e3, zero + 1 / 220e3, zero, zero + 1e-6, zero + 2e3 * np.pi)
    walked, by_brentq = _time(lambda: walk(cycle, np.pi, 400)), _time(lambda: _with_brentq(400))
    found = [
        ("detector: a burst of 400 half-waves (ms)", short, "at most 15"),
        ("detector: half-waves by brentq over those by Newton's steps", by_brentq / walked, "reported"),
        ("detector: a burst of 800 million half-waves over one of 400", long / short, "at most 3"),
    ]
    for name in MAKERS:
        physics, known, new = _panel(name)
        found += [
            (f"{name}: physics and artists (ms)", physics, "reported"),
            (f"{name}: draw and encode a picture (ms)", known, "at most 15"),
            (f"{name}: the same where the limits are new (ms)", new, "reported"),
        ]
        first, usual, end, corner, words = _everywhere(name)
        found += [
            (f"{name}: all of it, at the start (ms)", first, "at most 80"),
            (f"{name}: all of it, at the ends of the sliders, median (ms)", usual, "reported"),
            (f"{name}: all of it, slowest end of a slider (ms)", end, "at most 100"),
            (f"{name}: all of it, slowest corner (ms), {words}", corner, "at most 85: two lie behind a fast drag"),
        ]
    return found


if __name__ == "__main__":
    for claim, figure, budget in rows():
        print(f"{claim}: {figure:.3g} ({budget})")
