"""Explorer of the side-chain's detector: attack, release and ripple on a tone burst."""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np

from pedalcalc import sidechain
from pedalcalc._arguments import one_number
from pedalcalc._base import io
from pedalcalc._number_text import number_text
from pedalcalc._result import ModelRangeWarning
from pedalcalc.explore._panel import Panel, panel
from pedalcalc.explore._slider import Slider, slider, with_own
from pedalcalc.plot._style import (
    COARSE_STEPS,
    COLOURS,
    DASHES,
    INK,
    PALE,
    Picture,
    dress,
    few_ticks,
    leave_room,
    legend_above,
    look,
    new_picture,
    round_above,
)

WAVES_SEEN = 40  # more waves than these cannot be told apart in the picture
POINTS = 1200  # on the rising side
PHASES = np.array([0.0, 0.25, 0.4, 0.5, 0.75, 0.9])  # of a wave; where there are many, some are drawn with these points


@io
def detector(
    *,
    resistance_attack: float,
    resistance_release: float,
    capacitance_hold: float,
    frequency: float,
    voltage_peak: float,
    rectifier: str,
    voltage_diode: float = 0.0,
    controls: Mapping[str, Slider] | None = None,
) -> Panel:
    """Explore how the held voltage of a detector rises and falls with a tone burst.

    Parameters
    ----------
    resistance_attack : float
        Attack resistor at the start, 100 Ω to 1 MΩ [Ω].
    resistance_release : float
        Release resistor at the start, 1 kΩ to 10 MΩ [Ω].
    capacitance_hold : float
        Hold capacitor at the start, 10 nF to 100 µF [F].
    frequency : float
        Tone at the start, 40 Hz to 2 kHz [Hz].
    voltage_peak : float
        Peak of the tone ahead of the rectifier [V], above the diode's drop.
    rectifier : str
        "full" or "half".
    voltage_diode : float, default 0.0
        Drop of a plain rectifier diode [V]; 0 for a precision rectifier.
    controls : mapping of str to Slider, optional
        Sliders of one's own for the resistances, the capacitor or the tone, such as a `pot` with its stop resistor
        for "resistance_release"; each takes the place of the usual one.

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell. The attack stands left, the release
        right, each on a time scale of its own.

    Raises
    ------
    ValueError
        If a start value lies outside its slider, the peak is not above the diode's drop, or a control is another.

    References
    ----------
    DERIVED : charge and discharge of the hold capacitor, solved piece by piece.

    Examples
    --------
    >>> from pedalcalc import explore
    >>> shown = explore.detector(resistance_attack=10e3, resistance_release=220e3, capacitance_hold=1e-6,
    ...                          frequency=220.0, voltage_peak=1.0, rectifier="full")
    >>> "release 220" in shown.shown.value
    True
    """
    attack = one_number("resistance_attack", resistance_attack, "", least=100.0, most=1e6)
    release = one_number("resistance_release", resistance_release, "", least=1e3, most=10e6)
    farads = one_number("capacitance_hold", capacitance_hold, "", least=10e-9, most=100e-6)
    tone = one_number("frequency", frequency, "", least=40.0, most=2e3)
    drop = one_number("voltage_diode", voltage_diode, "", least=0)
    peak = one_number("voltage_peak", voltage_peak, "", above=drop)
    picture = new_picture(6.5, 3.6)
    with look():
        left, right = picture.subplots(1, 2, sharey=True)
        dress(left, across=("time since the tone began", "s"), up=("held voltage", "V"), logs=(False, False))
        dress(right, across=("time since the tone stopped", "s"), up=("", ""), logs=(False, False))
        left.set_ylim(0.0, 1.05 * peak)
        for axes in (left, right):
            few_ticks(axes.xaxis, most=4)  # in half a picture, five times of three digits would touch
        rise, fall = (axes.plot([], [], color=COLOURS[0], linewidth=1.8, label="held")[0] for axes in (left, right))
        offered = left.plot([], [], color=PALE, linewidth=0.8, label="rectified tone")[0]
        reached = left.plot([], [], "o", color=INK, markersize=6, label="attack, 63 %")[0]
        fallen = right.plot([], [], "s", color=COLOURS[1], markersize=7)[0]
        left.plot([], [], "s", color=COLOURS[1], markersize=7, label="release, 63 %")
        level = right.plot([], [], color=COLOURS[1], linestyle=DASHES[1], linewidth=1.2)[0]
        leave_room(picture)
        legend_above(picture)
    picture.moving = (offered, rise, fall, reached, fallen, level)
    picture.curves = (rise, fall, reached, fallen)

    def draw(resistance_attack: float, resistance_release: float, capacitance_hold: float, frequency: float) -> Picture:
        parts: dict[str, Any] = {
            "voltage_peak": peak,
            "frequency": frequency,
            "resistance_attack": resistance_attack,
            "resistance_release": resistance_release,
            "capacitance_hold": capacitance_hold,
            "rectifier": rectifier,
            "voltage_diode": drop,
        }
        with warnings.catch_warnings():  # the law only sets the width of the picture; the burst itself is exact
            warnings.simplefilter("ignore", ModelRangeWarning)
            guess = float(sidechain.detector_timing(**parts).time_attack_63)
        length = round_above(max(5 * guess, 8 / frequency), COARSE_STEPS)
        off = np.linspace(0.0, round_above(3 * resistance_release * capacitance_hold, COARSE_STEPS), 200)
        on = _moments(length, frequency)
        burst = sidechain.tone_burst(np.concatenate((on, length + off)), time_burst=length, **parts)
        held = burst.voltage_hold
        offered.set_data(
            on, burst.voltage_rectified[: on.size] if frequency * length < WAVES_SEEN else np.full(on.size, np.nan)
        )
        rise.set_data(on, held[: on.size])
        fall.set_data(off, held[on.size :])
        first, last = burst.time_attack_63, burst.time_release_63
        seen = math.isfinite(first)
        reached.set_data([first if seen else np.nan], [0.632 * burst.voltage_average])
        fallen.set_data([last], [held[on.size] / math.e])
        level.set_data([0.0, last, last], [held[on.size] / math.e, held[on.size] / math.e, 0.0])
        left.set_xlim(0.0, length)
        right.set_xlim(0.0, off[-1])
        rose = f"attack {number_text(first, 's')}" if seen else f"attack longer than {number_text(length, 's')}"
        fell = f"release {number_text(last, 's')}"
        swing = f"ripple {number_text(burst.ripple_share, '%')} of the held voltage at {number_text(frequency, 'Hz')}"
        picture.caption = f"● {rose}; ■ {fell} (both by 63 %); {swing}"
        return picture

    usual = {
        "resistance_attack": slider(attack, low=100.0, high=1e6, unit="Ω", caption="attack resistor", stock="E12"),
        "resistance_release": slider(release, low=1e3, high=10e6, unit="Ω", caption="release resistor", stock="E12"),
        "capacitance_hold": slider(farads, low=10e-9, high=100e-6, unit="F", caption="hold capacitor", stock="E6"),
        "frequency": slider(tone, low=40.0, high=2e3, unit="Hz", caption="tone", steps=68),
    }
    return panel(draw, **with_own(usual, controls, tuple(usual)))


def _moments(length: float, frequency: float) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return the times at which the rise is drawn: all of it, or where the waves are too many, some whole waves of it."""
    waves = length * frequency
    if waves <= POINTS / 12:
        return np.linspace(0.0, length, POINTS)
    first = np.unique(np.linspace(0.0, waves - 1, POINTS // len(PHASES)).astype(np.int64))
    return np.append((first[:, None] + PHASES).ravel() / frequency, length)
