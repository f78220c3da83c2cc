"""Explorers of a bias point: the transistor's curve against the load line of its resistors."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from pedalcalc import bjt, fet, laws, stage
from pedalcalc._arguments import is_a, numeric, one_number
from pedalcalc._base import io
from pedalcalc._number_text import number_text
from pedalcalc.devices import JFET_2N5457, Bjt, typical
from pedalcalc.explore._panel import Panel, panel
from pedalcalc.explore._slider import slider
from pedalcalc.plot._style import (
    COLOURS,
    DASHES,
    INK,
    Picture,
    dress,
    few_ticks,
    legend_above,
    look,
    new_picture,
    round_above,
)
from pedalcalc.report._boxes import caution_sentences

FEED = 1e12  # of a base current that is given, in ohms


class _LoadLine:
    """Curve, load line and point of one picture."""

    def __init__(self, caption: str, supply: float) -> None:
        self.picture = new_picture(6.5, 3.6)
        with look():
            self.axes = self.picture.subplots()
            dress(self.axes, across=(caption, "V"), up=("current", "A"), logs=(False, False))
            self.axes.set(xlim=(0.0, 1.05 * supply), ylim=(0.0, 1e-3))
            few_ticks(self.axes.yaxis)
            self.curve = self.axes.plot([], [], color=COLOURS[0], linewidth=2.0, label="transistor")[0]
            self.line = self.axes.plot(
                [], [], color=COLOURS[1], linestyle=DASHES[1], linewidth=1.5, label="what its resistors allow"
            )[0]
            self.dot = self.axes.plot([], [], "o", color=INK, markersize=7, label="where it sits")[0]
            legend_above(self.picture)
        self.picture.moving = (self.curve, self.line, self.dot)
        self.picture.curves = (self.curve, self.line, self.dot)

    def put(
        self,
        across: NDArray[np.float64],
        current: NDArray[np.float64],
        *,
        supply: float,
        full: float,
        point: tuple[float, float],
        caption: str,
        cautions: tuple[str, ...],
    ) -> Picture:
        """Draw one setting: `full` is the current with the transistor shorted."""
        self.curve.set_data(across, current)
        self.line.set_data([0.0, supply], [full, 0.0])
        self.dot.set_data([point[0]], [point[1]])
        self.axes.set(ylim=(0.0, round_above(1.05 * max(full, point[1], 1e-6))))
        self.picture.caption, self.picture.cautions = caption, cautions
        return self.picture


@io
def jfet_bias(
    *,
    voltage_supply: float,
    resistance_drain: float,
    resistance_source_pin: float,
    current_drain_zero_bias: float,
    voltage_gate_source_off: float,
) -> Panel:
    """Explore a JFET that biases itself: source and drain resistor, and the device's spread.

    Parameters
    ----------
    voltage_supply : float
        Supply, above 0 [V].
    resistance_drain : float
        Drain resistor at the start, 470 Ω to 100 kΩ [Ω].
    resistance_source_pin : float
        Source resistor at the start, 47 Ω to 47 kΩ [Ω].
    current_drain_zero_bias : float
        IDSS at the start, 0.2 to 20 mA [A].
    voltage_gate_source_off : float
        VGS(off) at the start, -8 to -0.3 [V].

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
    BOYLESTAD-NASHELSKY : ch. 7, self bias and load line.

    Examples
    --------
    >>> from pedalcalc import explore
    >>> shown = explore.jfet_bias(voltage_supply=9.0, resistance_drain=4.7e3, resistance_source_pin=1e3,
    ...                           current_drain_zero_bias=3e-3, voltage_gate_source_off=-1.8).shown.value
    >>> "drain at 5.03" in shown
    True
    """
    supply = one_number("voltage_supply", voltage_supply, "", above=0)
    r_d = numeric("resistance_drain", resistance_drain, least=470.0, most=100e3)
    r_s = numeric("resistance_source_pin", resistance_source_pin, least=47.0, most=47e3)
    i_dss = numeric("current_drain_zero_bias", current_drain_zero_bias, least=0.2e-3, most=20e-3)
    off = numeric("voltage_gate_source_off", voltage_gate_source_off, least=-8.0, most=-0.3)
    across = np.linspace(0.0, supply, 121)
    view = _LoadLine("drain-source voltage", supply)
    # No type is meant: a JFET of these two figures, without ratings.
    any_jfet = dataclasses.replace(typical(JFET_2N5457), voltage_max=np.nan, power_max=np.nan)

    def draw(
        resistance_drain: float,
        resistance_source_pin: float,
        current_drain_zero_bias: float,
        voltage_gate_source_off: float,
    ) -> Picture:
        device = dataclasses.replace(
            any_jfet,
            current_drain_zero_bias=current_drain_zero_bias,
            voltage_gate_source_off=voltage_gate_source_off,
        )
        point = fet.self_bias(
            supply, resistance_drain=resistance_drain, resistance_source_pin=resistance_source_pin, fet=device
        )
        channel = laws.channel(
            voltage_gate=float(point.voltage_gate_source), voltage_drain=across, voltage_source_pin=0.0, fet=device
        )
        drain, current = float(point.voltage_drain), float(point.current_drain)
        gain = (
            stage.common_source(float(point.transconductance), resistance_drain=resistance_drain).gain
            if current
            else 0.0
        )
        return view.put(
            across,
            np.asarray(channel.current_drain),
            supply=supply,
            full=supply / (resistance_drain + resistance_source_pin),
            point=(float(point.voltage_drain_source), current),
            caption=(
                f"{number_text(current, 'A')}, drain at {number_text(drain, 'V')}, {point.region}, "
                f"gain {number_text(float(gain), '1')} bypassed; "
                f"can swing {number_text(float(point.swing_up), 'V')} up, {number_text(float(point.swing_down), 'V')} down"
            ),
            cautions=caution_sentences(point),
        )

    return panel(
        draw,
        resistance_drain=slider(float(r_d), low=470.0, high=100e3, unit="Ω", caption="drain resistor", stock="E12"),
        resistance_source_pin=slider(float(r_s), low=47.0, high=47e3, unit="Ω", caption="source resistor", stock="E12"),
        current_drain_zero_bias=slider(float(i_dss), low=0.2e-3, high=20e-3, unit="A", caption="IDSS"),
        voltage_gate_source_off=slider(
            float(off), low=-8.0, high=-0.3, unit="V", caption="VGS(off)", scale="linear", steps=77
        ),
    )


@io
def bjt_bias(
    transistor: Bjt,
    *,
    voltage_supply: float,
    resistance_top: float,
    resistance_bottom: float,
    resistance_collector: float,
    resistance_emitter: float,
    current_gain: float,
) -> Panel:
    """Explore a transistor behind a base divider: collector and emitter resistor, divider, gain.

    Parameters
    ----------
    transistor : Bjt
        A part, or a type, of which the typical part counts.
    voltage_supply : float
        Supply, above 0 [V].
    resistance_top : float
        Upper divider resistor, above 0 [Ω]; both move together with the divider slider.
    resistance_bottom : float
        Lower divider resistor, above 0 [Ω].
    resistance_collector : float
        Collector resistor at the start, 470 Ω to 100 kΩ [Ω].
    resistance_emitter : float
        Emitter resistor at the start, 47 Ω to 22 kΩ [Ω].
    current_gain : float
        Current gain at the start, 20 to 1000 [1].

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
    MALVINO-BATES : ch. 8, voltage-divider bias and load line.

    Examples
    --------
    >>> from pedalcalc import devices, explore
    >>> shown = explore.bjt_bias(devices.BJT_BC549B, voltage_supply=9.0, resistance_top=68e3, resistance_bottom=15e3,
    ...                          resistance_collector=4.7e3, resistance_emitter=1e3, current_gain=290).shown.value
    >>> "collector at 4.57" in shown
    True
    """
    usual = typical(is_a("transistor", transistor, Bjt))
    supply = one_number("voltage_supply", voltage_supply, "", above=0)
    top = one_number("resistance_top", resistance_top, "", above=0, infinity=True)
    bottom = one_number("resistance_bottom", resistance_bottom, "", above=0, infinity=True)
    r_c = numeric("resistance_collector", resistance_collector, least=470.0, most=100e3)
    r_e = numeric("resistance_emitter", resistance_emitter, least=47.0, most=22e3)
    beta = numeric("current_gain", current_gain, least=20.0, most=1000.0)
    if not np.isfinite(top + bottom):
        raise ValueError("resistance_top and resistance_bottom must be finite")
    across = np.linspace(0.0, supply, 121)
    view = _LoadLine("collector-emitter voltage", supply)

    def draw(resistance_collector: float, resistance_emitter: float, stiffer: float, current_gain: float) -> Picture:
        part = dataclasses.replace(usual, current_gain=current_gain)
        point = bjt.divider_bias(
            supply,
            resistance_top=top / stiffer,
            resistance_bottom=bottom / stiffer,
            resistance_collector=resistance_collector,
            resistance_emitter=resistance_emitter,
            transistor=part,
        )
        curve = bjt.base_bias(  # the same base current pushed through a resistor beside which a junction is nothing
            across,
            voltage_base_supply=FEED * float(point.current_base),
            resistance_base=FEED,
            resistance_collector=0.0,
            resistance_emitter=0.0,
            transistor=part,
        )
        collector, error = float(point.voltage_collector), float(point.error_stiff)
        return view.put(
            across,
            np.asarray(curve.current_collector),
            supply=supply,
            full=supply / (resistance_collector + resistance_emitter),
            point=(abs(float(point.voltage_collector_emitter)), float(point.current_collector)),
            caption=(
                f"{number_text(float(point.current_collector), 'A')}, collector at {number_text(collector, 'V')}, "
                f"{point.region}; error of the stiff-divider shortcut {number_text(error, '%')}"
            ),
            cautions=caution_sentences(point),
        )

    return panel(
        draw,
        resistance_collector=slider(
            float(r_c), low=470.0, high=100e3, unit="Ω", caption="collector resistor", stock="E12"
        ),
        resistance_emitter=slider(float(r_e), low=47.0, high=22e3, unit="Ω", caption="emitter resistor", stock="E12"),
        stiffer=slider(1.0, low=0.05, high=20.0, unit="1", caption="divider stiffer by"),
        current_gain=slider(float(beta), low=20.0, high=1000.0, unit="1", caption="current gain"),
    )
