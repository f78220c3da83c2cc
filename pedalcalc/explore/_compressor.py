"""Explorers of the compressor: attack and release, static curve; the sliders of its parts."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from pedalcalc import devices
from pedalcalc._arguments import is_a, one_number
from pedalcalc._base import io
from pedalcalc.compressor import (
    SETTLE_2DB,
    Compressor,
    TimingDefinition,
    measure_step,
)
from pedalcalc.compressor import static_curve as compute_curve
from pedalcalc.compressor import step_response as compute_step
from pedalcalc.compressor.circuit import one_unit
from pedalcalc.compressor.features import curve_features
from pedalcalc.explore._panel import Panel, panel
from pedalcalc.explore._slider import Slider, choice, slider, with_own
from pedalcalc.plot._dynamics import static_picture, step_picture
from pedalcalc.plot._style import Picture
from pedalcalc.report._boxes import caution_sentences

FIELDS = tuple(field.name for field in dataclasses.fields(Compressor))
# Longest record after each step, chosen so that the slowest setting shown has settled.
WINDOWS = (0.3, 0.7, 1.5, 3.2, 6.4, 12.8)


@io
def step_response(
    compressor: Compressor,
    *,
    level_low_dbv: float = -30.0,
    level_step_db: float = 20.0,
    couplers: Mapping[str, devices.Coupler] | None = None,
    controls: Mapping[str, Slider] | None = None,
    definition: TimingDefinition = SETTLE_2DB,
) -> Panel:
    """Explore attack and release: both resistances, capacitor, threshold, coupler and level step.

    Parameters
    ----------
    compressor : Compressor
        The circuit at the start.
    level_low_dbv : float, default -30
        Level before and after the step [dBV].
    level_step_db : float, default 20
        Size of the step at the start, 3 to 40 [dB].
    couplers : mapping of str to Coupler, optional
        Couplers to choose from, by name; the LED and cell pairs of `devices` where not given.
    controls : mapping of str to Slider, optional
        Sliders of one's own for fields of the circuit, such as a `pot` with its stop resistor for
        "resistance_release"; each takes the place of the usual one, or is added.
    definition : TimingDefinition, optional
        How attack and release are read; its levels are replaced by those of the step.

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell.

    Raises
    ------
    ValueError
        If the step lies outside 3 to 40 dB, or a control is no field of the circuit.

    References
    ----------
    PRACTICE : attack and release are always shown with their definition.

    Examples
    --------
    >>> from pedalcalc import compressor, explore
    >>> shown = explore.step_response(compressor.example())
    >>> list(shown.sliders)
    ['resistance_attack', 'resistance_release', 'capacitance_hold', 'gain_sidechain', 'coupler', 'level_step_db']
    """
    one_unit(compressor)
    is_a("definition", definition, TimingDefinition)
    low = one_number("level_low_dbv", level_low_dbv, "")
    start = one_number("level_step_db", level_step_db, "", least=3.0, most=40.0)
    picture, update = step_picture()

    def draw(level_step_db: float, **parts: Any) -> Picture:
        built = dataclasses.replace(compressor, **parts)
        up, down = _windows(built)
        step = compute_step(
            built,
            level_low_dbv=low,
            level_high_dbv=low + level_step_db,
            frequency=definition.frequency,
            time_before=max(0.02, 5 / definition.frequency),  # it starts settled, so little is needed
            time_high=up,
            time_after=down,
        )
        asked = dataclasses.replace(definition, level_low_dbv=low, level_step_db=level_step_db)
        timing = measure_step(
            step.time, level_dbv=step.level_out_dbv, time_up=step.time_up, time_down=step.time_down, definition=asked
        )
        update(step, timing)
        picture.cautions = caution_sentences(step)
        return picture

    step_slider = slider(start, low=3.0, high=40.0, unit="dB", caption="level step", scale="linear", steps=37)
    usual = {**timing_sliders(compressor), **sidechain_sliders(compressor, couplers)}
    return panel(draw, **with_own(usual, controls, FIELDS), level_step_db=step_slider)


@io
def static_curve(
    compressor: Compressor,
    *,
    couplers: Mapping[str, devices.Coupler] | None = None,
    controls: Mapping[str, Slider] | None = None,
    frequency: float = 1000.0,
) -> Panel:
    """Explore the static curve: both resistances, threshold, LED resistor and coupler.

    Parameters
    ----------
    compressor : Compressor
        The circuit at the start.
    couplers : mapping of str to Coupler, optional
        Couplers to choose from, by name; the LED and cell pairs of `devices` where not given.
    controls : mapping of str to Slider, optional
        Sliders of one's own for fields of the circuit, such as a `pot` with its stop resistor for
        "resistance_release"; each takes the place of the usual one, or is added.
    frequency : float, default 1000
        The steady tone, above 0 [Hz].

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell.

    Raises
    ------
    ValueError
        If a control is no field of the circuit.

    References
    ----------
    PRACTICE : a static curve is stated at 1 kHz.

    Examples
    --------
    >>> from pedalcalc import compressor, explore
    >>> "threshold" in explore.static_curve(compressor.example()).shown.value
    True
    """
    one_unit(compressor)
    tone = one_number("frequency", frequency, "", above=0.0)
    levels = np.linspace(-60.0, 0.0, 121)
    picture, update = static_picture()

    def draw(**parts: Any) -> Picture:
        curve = compute_curve(levels, compressor=dataclasses.replace(compressor, **parts), frequency=tone)
        features = curve_features(curve.level_in_dbv, level_out_dbv=curve.level_out_dbv)
        update(curve, features)
        picture.cautions = caution_sentences(curve, features)
        return picture

    usual = {**timing_sliders(compressor), **sidechain_sliders(compressor, couplers)}
    usual.pop("capacitance_hold", None)  # it moves no steady level
    usual["resistance_led"] = _around(compressor.resistance_led, 100.0, 100e3, "Ω", "LED resistor")
    return panel(draw, **with_own(usual, controls, FIELDS))


def _windows(compressor: Compressor) -> tuple[float, float]:
    """Return how long to watch after the step up and after the step down."""
    if compressor.drive == "direct":
        return 0.4, 0.8
    release = compressor.resistance_release
    if compressor.drive == "capacitor":
        release = 1.0 / (1.0 / release + 1.0 / compressor.resistance_led)
    release *= compressor.capacitance_hold
    attack = compressor.resistance_attack * compressor.capacitance_hold
    return _window(WINDOWS, 8 * attack), _window(WINDOWS[1:], 5 * release)


def _window(ladder: Sequence[float], wanted: float) -> float:
    return next((length for length in ladder if length >= wanted), ladder[-1])


STOCK = {"Ω": "E12", "F": "E6"}  # what is commonly in the drawer


def _around(value: float, low: float, high: float, unit: str, caption: str) -> Slider:
    """Return a log slider from low to high, reaching further if the start lies outside; parts stop at stock values."""
    low, high = min(low, value), max(high, value)
    return slider(value, low=low, high=high, unit=unit, caption=caption, stock=STOCK.get(unit))


def timing_sliders(compressor: Compressor) -> dict[str, Slider]:
    """Return the sliders of the parts that time the hold capacitor."""
    if compressor.drive == "direct":
        return {}
    return {
        "resistance_attack": _around(compressor.resistance_attack, 100.0, 100e3, "Ω", "attack resistance"),
        "resistance_release": _around(compressor.resistance_release, 10e3, 4.7e6, "Ω", "release resistance"),
        "capacitance_hold": _around(compressor.capacitance_hold, 100e-9, 22e-6, "F", "hold capacitor"),
    }


def sidechain_sliders(compressor: Compressor, couplers: Mapping[str, devices.Coupler] | None) -> dict[str, Slider]:
    """Return the sliders of side-chain gain and coupler."""
    own = compressor.coupler
    known = {name: devices.typical(part) for name, part in (_couplers() if couplers is None else couplers).items()}
    name = next((name for name, part in known.items() if (part.name, part.origin) == (own.name, own.origin)), own.name)
    known = {name: own, **known} if name not in known else known
    gain = _around(compressor.gain_sidechain, 1.0, 200.0, "1", "side-chain gain (threshold)")
    return {"gain_sidechain": gain, "coupler": choice(name, options=known, caption="coupler (LED + LDR)")}


def _couplers() -> dict[str, devices.Coupler]:
    return {
        "old green + GL5528": devices.COUPLER_GREEN_GAP_GL5528,
        "green + GL5528": devices.COUPLER_GREEN_GL5528,
        "white + GL5528": devices.COUPLER_WHITE_GL5528,
        "NSL-28 class": devices.COUPLER_NSL28,
        "steep class": devices.COUPLER_STEEP,
    }
