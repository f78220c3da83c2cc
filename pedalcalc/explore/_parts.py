"""Explorers of single sub-circuits: indicator LED, coupler."""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc import devices
from pedalcalc._arguments import is_a, numeric, one_number
from pedalcalc._base import io
from pedalcalc._number_text import number_text
from pedalcalc._result import caution_above
from pedalcalc.devices import Coupler, Led
from pedalcalc.explore._panel import Panel, panel
from pedalcalc.explore._slider import slider
from pedalcalc.laws import junction_in_series
from pedalcalc.opto import LIGHT_FACTOR_UNMEASURED, coupler_band
from pedalcalc.opto.coupler import coupler_resistance
from pedalcalc.plot._style import (
    COLOURS,
    DASHES,
    INK,
    Picture,
    dress,
    legend_above,
    look,
    new_picture,
)
from pedalcalc.report._boxes import caution_sentences

DIM, COOL = 1e-6, 1e-6  # a current at which no lamp can be seen [A], less is not drawn; heat that nobody can feel [W]


@io
def indicator_led(led: Led, *, voltage_supply: float, resistance: float) -> Panel:
    """Explore the current of an indicator LED: supply and resistor.

    Parameters
    ----------
    led : Led
        The lamp; its spread of drop is drawn as a band.
    voltage_supply : float
        Supply at the start, 1 to 30 [V].
    resistance : float
        Series resistor at the start, 47 Ω to 1 MΩ [Ω].

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell.

    Raises
    ------
    ValueError
        If a start value lies outside its slider.

    References
    ----------
    BANWELL-JAYAKUMAR : the exact law of a junction with a series resistance.

    Examples
    --------
    >>> from pedalcalc import devices, explore
    >>> "LED current" in explore.indicator_led(devices.LED_GREEN_GAP, voltage_supply=9.0, resistance=2200.0).shown.value
    True
    """
    is_a("led", led, Led)
    supply = numeric("voltage_supply", voltage_supply, least=1.0, most=30.0)
    chosen = numeric("resistance", resistance, least=47.0, most=1e6)
    spread, led = led.voltage_spread, devices.typical(led)

    def current(voltage: float, ohms: Any) -> Any:
        return junction_in_series(voltage, resistance=ohms, junction=led).current

    every = np.geomspace(47.0, 1e6, 200)
    picture = new_picture()
    with look():
        axes = picture.subplots()
        dress(axes, across=("series resistor", "Ω"), up=("LED current", "A"), logs=(True, True))
        axes.set(xlim=(47.0, 1e6), ylim=(DIM, 0.3))
        named = ("typical LED", "LED of lowest and highest drop") if spread else (led.name, None)
        typical = axes.plot([], [], color=COLOURS[0], linewidth=2.0, label=named[0])[0]
        edges = [
            axes.plot([], [], color=COLOURS[0], linestyle=DASHES[2], linewidth=1.0, label=name)[0]
            for name in (named[1], None)
        ]
        dot = axes.plot([], [], "o", color=INK, markersize=7)[0]
        rating = f"LED rating {number_text(led.current_max, 'A', 2)}"
        axes.axhline(led.current_max, color=COLOURS[1], linestyle=DASHES[1], linewidth=1.2, label=rating)
        legend_above(picture)
    picture.moving = (*edges, typical, dot)
    picture.curves = (typical, dot)

    def draw(voltage_supply: float, resistance: float) -> Picture:
        shifts = (spread, 0.0, -spread)
        tracks = [np.asarray(current(voltage_supply - shift, every)) for shift in shifts]
        low, middle, high = (float(current(voltage_supply - shift, resistance)) for shift in shifts)
        for line, track in zip((edges[0], typical, edges[1]), tracks, strict=True):
            line.set_data(every, np.where(track > 0, track, np.nan))
        dot.set_data([resistance], [middle if middle > 0 else np.nan])
        lit, least, most = (number_text(amps, "A") for amps in (middle, low, high))
        spread_words = "" if least == most else f", {least} to {most} within its kind"
        heat = middle**2 * resistance
        warm = number_text(heat, "W") if heat >= COOL else f"under {number_text(COOL, 'W', 1)}"
        shown = f"LED current {lit}{spread_words}; resistor heat {warm}"
        picture.caption = shown if high >= DIM else f"dark: under {number_text(DIM, 'A', 1)} flows"
        picture.cautions = caution_sentences(
            *caution_above(
                "current of the brightest LED of this kind", "use a larger resistor", high, led.current_max, "A"
            )
        )
        return picture

    return panel(
        draw,
        voltage_supply=slider(float(supply), low=1.0, high=30.0, unit="V", caption="supply", scale="linear", steps=58),
        resistance=slider(float(chosen), low=47.0, high=1e6, unit="Ω", caption="series resistor", stock="E12"),
    )


@io
def coupler_curve(coupler: Coupler, *, current: float, illuminance_ambient: float = 0.0) -> Panel:
    """Explore a coupler: LED current and stray light against the resistance of the cell.

    Parameters
    ----------
    coupler : Coupler
        LED and cell; what an unmeasured one may be instead is drawn as a band.
    current : float
        LED current at the start, 1 µA to 50 mA [A].
    illuminance_ambient : float, default 0
        Light that leaks in at the start, 0 to 100 [lx].

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell.

    Raises
    ------
    ValueError
        If a start value lies outside its slider.

    References
    ----------
    CDS-RESIN, CDS-METAL : range of resistance and slope.

    Examples
    --------
    >>> from pedalcalc import devices, explore
    >>> shown = explore.coupler_curve(devices.COUPLER_GREEN_GAP_GL5528, current=0.001)
    >>> list(shown.sliders)
    ['current', 'illuminance_ambient']
    """
    is_a("coupler", coupler, Coupler)
    usual = devices.typical(coupler)
    start = one_number("current", current, "", least=1e-6, most=0.05)
    stray = one_number("illuminance_ambient", illuminance_ambient, "", least=0.0, most=100.0)
    every = np.geomspace(1e-6, 0.05, 200)
    band = coupler_band(every, coupler=coupler)
    picture = new_picture()
    with look():
        axes = picture.subplots()
        dress(axes, across=("LED current", "A"), up=("cell resistance", "Ω"), logs=(True, True))
        line = axes.plot([], [], color=COLOURS[0], linewidth=2.0, label="with the stray light")[0]
        axes.plot(
            every, band.resistance_cell, color=COLOURS[0], linestyle=DASHES[2], linewidth=1.0, label="light-tight"
        )
        axes.fill_between(
            every,
            band.resistance_low,
            band.resistance_high,
            color=COLOURS[0],
            alpha=0.15,
            linewidth=0,
            label="what an unmeasured one may be",
        )
        axes.set_xlim(1e-6, 0.05)
        dot = axes.plot([], [], "o", color=INK, markersize=7)[0]
        axes.set_ylim(*axes.get_ylim())
        legend_above(picture)
    picture.moving = (line, dot)
    picture.curves = (line, dot)

    def draw(current: float, illuminance_ambient: float) -> Picture:
        line.set_data(every, coupler_resistance(every, coupler=usual, illuminance_ambient=illuminance_ambient))
        here = float(coupler_resistance(current, coupler=usual, illuminance_ambient=illuminance_ambient))
        dark = float(coupler_resistance(0.0, coupler=usual, illuminance_ambient=illuminance_ambient))
        dot.set_data([current], [here])
        at = coupler_band(current, coupler=coupler)
        ends = f"{number_text(float(at.resistance_low), 'Ω', 2)} to {number_text(float(at.resistance_high), 'Ω', 2)}"
        picture.caption = (
            f"cell {number_text(here, 'Ω')}; a light-tight one that was not measured may be {ends} "
            f"(light good to a factor of {LIGHT_FACTOR_UNMEASURED:g}); with the LED off {number_text(dark, 'Ω')}"
        )
        return picture

    return panel(
        draw,
        current=slider(start, low=1e-6, high=0.05, unit="A", caption="LED current", steps=94),
        illuminance_ambient=slider(
            stray, low=0.0, high=100.0, unit="lx", caption="stray light", scale="linear", steps=100
        ),
    )
