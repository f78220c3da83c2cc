"""Explorers of a build's voltages: battery, charge pump, voltage budget."""

from __future__ import annotations

import dataclasses
from functools import lru_cache
from typing import Any

import numpy as np

from pedalcalc import pump, supply
from pedalcalc._arguments import is_a, numeric, one_number
from pedalcalc._base import io
from pedalcalc._number_text import number_text
from pedalcalc.devices import Battery, typical
from pedalcalc.explore._panel import Panel, panel
from pedalcalc.explore._slider import slider
from pedalcalc.plot._style import COLOURS, DASHES, INK, Picture, dress, legend_above, look, new_picture, style_of
from pedalcalc.report._boxes import caution_sentences
from pedalcalc.supply.budget import idle_current


@io
def battery_discharge(battery: Battery, *, current_load: float, voltage_end: float) -> Panel:
    """Explore how a battery's voltage falls in use, and when it reaches the end voltage.

    Parameters
    ----------
    battery : Battery
        The battery.
    current_load : float
        Current of the build at the start, 0.5 mA up to what the battery's law is meant for [A].
    voltage_end : float
        Voltage at the start at which the build stops working properly, 5 to 9 [V].

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
    NINE-VOLT : charge of each chemistry; the course of the voltage is from memory.

    Examples
    --------
    >>> from pedalcalc import devices, explore
    >>> shown = explore.battery_discharge(devices.BATTERY_9V_ALKALINE, current_load=0.010, voltage_end=7.0).shown.value
    >>> "lasts 47.1" in shown
    True
    """
    is_a("battery", battery, Battery)
    current = numeric("current_load", current_load, least=0.5e-3, most=battery.current_checked)
    end = numeric("voltage_end", voltage_end, least=5.0, most=9.0)
    used = np.linspace(0.0, 1.0, 101)
    picture = new_picture(6.5, 3.6)
    with look():
        axes = picture.subplots()
        dress(axes, across=("hours in use", "h"), up=("voltage under load", "V"), logs=(True, False))
        axes.set(xlim=(1.0, 2000.0), ylim=(4.5, 10.0))
        typical = axes.plot([], [], color=COLOURS[0], linewidth=2.0, label="typical battery")[0]
        low, high = (
            axes.plot([], [], color=COLOURS[0], linestyle=DASHES[2], linewidth=1.0, label=name)[0]
            for name in ("least and most charge", None)
        )
        level = axes.axhline(float(end), color=COLOURS[1], linestyle=DASHES[1], linewidth=1.2, label="end voltage")
        dot = axes.plot([], [], "o", color=INK, markersize=7)[0]
        legend_above(picture)
    picture.moving = (low, high, typical, level, dot)
    picture.curves = (typical, dot)

    def draw(current_load: float, voltage_end: float) -> Picture:
        state = supply.battery_voltage(used, current_load=current_load, battery=battery)
        life = supply.battery_life(current_load=current_load, voltage_end=voltage_end, battery=battery)
        for line, charge in zip((low, typical, high), battery.charge, strict=True):
            line.set_data(used * charge / current_load / 3600, state.voltage_output)
        level.set_ydata([voltage_end, voltage_end])
        hours = float(life.hours_life)
        last = supply.battery_voltage(float(life.used), current_load=current_load, battery=battery)
        dot.set_data([hours], [float(last.voltage_output)])  # above the end voltage where the battery is empty first
        least, most = (number_text(float(end) / 3600, "h", 2) for end in (life.time_life_min, life.time_life_max))
        band = f"{least.removesuffix(' h')} to {most}"
        picture.caption = (
            f"{battery.name} at {number_text(current_load, 'A')} lasts {number_text(hours, 'h')} ({band}) down to "
            f"{number_text(voltage_end, 'V')}; fresh it gives {number_text(float(life.voltage_start), 'V')} under load; "
            f"used by then {number_text(float(life.used), '%', 2)} of its charge"
        )
        picture.cautions = caution_sentences(life)
        return picture

    return panel(
        draw,
        current_load=slider(
            float(current), low=0.5e-3, high=float(battery.current_checked), unit="A", caption="current of the build"
        ),
        voltage_end=slider(float(end), low=5.0, high=9.0, unit="V", caption="end voltage", scale="linear", steps=40),
    )


def _pumping(found: Any) -> Any:
    """Return the output resistance; NaN where a pump is so overloaded that its supply comes straight through the diodes."""
    return np.where(found.resistance_thevenin >= 0.999 * found.resistance_slow, found.resistance_thevenin, np.nan)


@io
def charge_pump(rail: supply.RailCircuit, *, voltage_supply: float, current_load: float) -> Panel:
    """Explore a doubler or inverter: flying capacitor, pump frequency, load.

    The picture holds the exact output resistance against the flying capacitor,
    between its limits and the makers' sum; the words hold voltage, ripple, tone and cautions.

    Parameters
    ----------
    rail : RailCircuit
        The supply circuit, "doubled" or "split", its parts typical ones; its flying capacitor and pump frequency are
        the start values.
    voltage_supply : float
        Supply at the converter's pin [V].
    current_load : float
        Load at the start, 0.5 to 20 mA [A].

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell.

    Raises
    ------
    ValueError
        If a start value lies outside its slider, or the rail has no converter.

    References
    ----------
    SEEMAN-SANDERS : slow and fast limits.

    Examples
    --------
    >>> from pedalcalc import board, explore
    >>> build = board.assemble("notebooks/builds/optical-compressor/parts.csv", supply="9V")
    >>> rail = board.doubled_supply(build, roles=board.OPTICAL_ROLES).rail
    >>> shown = explore.charge_pump(rail, voltage_supply=8.5, current_load=0.006).shown.value
    >>> "kHz, above hearing" in shown
    True
    """
    is_a("rail", rail, supply.RailCircuit)
    if rail.rail_kind == "single":
        raise ValueError("rail must have a converter: rail_kind doubled or split, got single")
    volts = one_number("voltage_supply", voltage_supply, "", above=0)
    load = numeric("current_load", current_load, least=0.5e-3, most=20e-3)
    sweep = np.geomspace(0.47e-6, 470e-6, 90)
    usual = dataclasses.replace(rail, converter=typical(rail.converter))
    fixed = {
        name: getattr(rail, name)
        for name in (
            "resistance_esr_pump",
            "capacitance_output",
            "resistance_esr_output",
            "voltage_rating_pump",
            "voltage_rating_output",
            "low_pin",
        )
    }
    fixed |= {"converter": usual.converter, "resistance_switch": usual.converter.resistance_switch}
    fixed["current_idle"] = idle_current(usual)
    if rail.rail_kind == "doubled":
        fixed["diode"] = rail.diode_pump
    stage = pump.doubler if rail.rail_kind == "doubled" else pump.inverter
    picture = new_picture(6.5, 3.8)
    with look():
        axes = picture.subplots()
        dress(axes, across=("flying capacitor", "F"), up=("output resistance", "Ω"), logs=(True, True))
        axes.set(xlim=(sweep[0], sweep[-1]), ylim=(10.0, 3000.0))
        names = ("exact", "makers' sum", "slow limit", "fast limit")
        tracks = [axes.plot([], [], label=name, **style_of(k))[0] for k, name in enumerate(names)]
        dot = axes.plot([], [], "o", color=INK, markersize=7)[0]
        legend_above(picture)
    picture.moving = (*tracks, dot)
    picture.curves = (tracks[0], dot)

    def solve(capacitance_pump: Any, frequency_pump: float, current_load: float) -> Any:
        return stage(
            voltage_supply=volts,
            current_load=current_load,
            resistance_feed=0.0,
            frequency_pump=frequency_pump,
            capacitance_pump=capacitance_pump,
            count=1,
            **fixed,
        )

    @lru_cache(maxsize=64)  # overloaded diodes are stepped in time, and the flying capacitor only moves the dot
    def rows(frequency_pump: float, current_load: float) -> tuple[Any, ...]:
        line = solve(sweep, frequency_pump, current_load)
        return _pumping(line), line.resistance_sum, line.resistance_slow, line.resistance_fast

    def draw(capacitance_pump: float, frequency_pump: float, current_load: float) -> Picture:
        point = solve(capacitance_pump, frequency_pump, current_load)
        for track, row in zip(tracks, rows(frequency_pump, current_load), strict=True):
            track.set_data(sweep, np.broadcast_to(row, sweep.shape))
        dot.set_data([capacitance_pump], [float(_pumping(point))])
        out = (
            f"{number_text(float(point.voltage_output), 'V')} from {number_text(float(point.resistance_thevenin), 'Ω')}"
        )
        ripple = f"ripple {number_text(float(point.voltage_ripple), 'V')} peak to peak"
        tone = f"its tone {number_text(float(point.level_tone_dbv), 'dBV')} at {number_text(frequency_pump, 'Hz')}"
        heard = "in the audio band" if frequency_pump < 20e3 else "above hearing"
        efficiency = number_text(float(point.efficiency), "%")
        picture.caption = f"output {out}; efficiency {efficiency}; {ripple}, {tone}, {heard}"
        picture.cautions = caution_sentences(point)
        return picture

    return panel(
        draw,
        capacitance_pump=slider(
            float(np.asarray(rail.capacitance_pump)),
            low=0.47e-6,
            high=470e-6,
            unit="F",
            caption="flying capacitor",
            stock="E6",
        ),
        frequency_pump=slider(
            float(np.asarray(rail.frequency_pump)), low=1e3, high=50e3, unit="Hz", caption="pump frequency"
        ),
        current_load=slider(float(load), low=0.5e-3, high=20e-3, unit="A", caption="load"),
    )


@io
def voltage_budget(
    rail: supply.RailCircuit, *, voltage_supply: float, current_load: float, current_direct: float, voltage_peak: float
) -> Panel:
    """Explore where the volts go, from the socket to the swing of an op-amp stage.

    Parameters
    ----------
    rail : RailCircuit
        The supply circuit, its parts typical ones; single numbers, no arrays.
    voltage_supply : float
        Supply at the socket at the start, 5 to 18 [V].
    current_load : float
        Current on the op-amps' rails at the start, 0.5 to 20 mA [A].
    current_direct : float
        Current drawn ahead of the converter [A].
    voltage_peak : float
        Peak of the largest signal the build must pass [V].

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
    PRACTICE : headroom is what is left after every drop.

    Examples
    --------
    >>> from pedalcalc import board, explore
    >>> build = board.assemble("notebooks/builds/optical-compressor/parts.csv", supply="9V")
    >>> rail = board.doubled_supply(build, roles=board.OPTICAL_ROLES).rail
    >>> shown = explore.voltage_budget(
    ...     rail, voltage_supply=9.0, current_load=0.006, current_direct=0.002, voltage_peak=2.0
    ... ).shown.value
    >>> "headroom 10.4" in shown
    True
    """
    is_a("rail", rail, supply.RailCircuit)
    usual = dataclasses.replace(rail, converter=typical(rail.converter), op_amp=typical(rail.op_amp))
    volts = numeric("voltage_supply", voltage_supply, least=5.0, most=18.0)
    load = numeric("current_load", current_load, least=0.5e-3, most=20e-3)

    def solve(voltage_supply: float, current_load: float) -> supply.VoltageBudget:
        return supply.voltage_budget(
            voltage_supply=voltage_supply,
            current_load=current_load,
            current_direct=current_direct,
            voltage_peak=voltage_peak,
            rail=usual,
        )

    first = solve(float(volts), float(load)).steps_budget
    picture = new_picture(6.5, 1.1 + 0.34 * len(first))
    last = len(first) - 1
    with look():
        axes = picture.subplots()
        dress(axes, across=("voltage", "V"), up=("", ""), logs=(False, False))
        bars = [
            axes.barh(k, 1.0, height=0.62, color=COLOURS[0] if k == last else "#DCE9F2", edgecolor=INK, linewidth=0.8)[
                0
            ]
            for k in range(len(first))
        ]
        texts = [
            axes.text(
                0,
                k,
                "",
                ha="center",
                va="center",
                fontsize=9,
                color="white" if k == last else INK,
                zorder=4,
                bbox={"boxstyle": "square,pad=0.15", "facecolor": bars[k].get_facecolor(), "edgecolor": "none"},
            )
            for k in range(len(first))
        ]
        idle = axes.axvline(
            0.0, color=COLOURS[1], linestyle=DASHES[1], linewidth=1.4, label="idle voltage of the stages"
        )
        legend_above(picture)
        axes.set_yticks(range(len(first)), [step.name for step in first])
        axes.grid(visible=False, axis="y")
        axes.invert_yaxis()
        axes.set_xlim({"single": (0, 20), "doubled": (0, 38), "split": (-20, 20)}[rail.rail_kind])
    picture.moving = (*bars, *texts, idle)
    picture.curves = tuple(bars)

    def draw(voltage_supply: float, current_load: float) -> Picture:
        found = solve(voltage_supply, current_load)
        for bar, text, step in zip(bars, texts, found.steps_budget, strict=True):
            bar.set_x(float(step.voltage_low))
            bar.set_width(float(step.voltage_high - step.voltage_low))
            middle = float(step.voltage_low + step.voltage_high) / 2
            text.set_x(middle)
            text.set_visible(axes.get_xlim()[0] <= middle <= axes.get_xlim()[1])  # a slip in a part may lie far off
            text.set_text(number_text(float(step.voltage_high - step.voltage_low), "V"))
        idle.set_xdata([float(found.voltage_idle)] * 2)
        swing, level = (number_text(float(x), u) for x, u in ((found.voltage_swing, "V"), (found.level_max_dbv, "dBV")))
        room = f"usable swing {swing} peak to peak, {level}; headroom {number_text(float(found.headroom_db), 'dB')}"
        gives = f"supply gives {number_text(float(found.current_supply), 'A')}"
        picture.caption = f"{room if found.voltage_swing > 0 else 'no usable swing is left'}; {gives}"
        picture.cautions = caution_sentences(found)
        return picture

    return panel(
        draw,
        voltage_supply=slider(
            float(volts), low=5.0, high=18.0, unit="V", caption="supply at the socket", scale="linear", steps=52
        ),
        current_load=slider(float(load), low=0.5e-3, high=20e-3, unit="A", caption="load on the rails"),
    )
