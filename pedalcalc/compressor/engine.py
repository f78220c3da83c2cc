"""The one engine: a loop over samples in plain floats.

Each step of the cell takes `substeps` samples of the side-chain signal, each the middle of its
sub-step. Within a step the cell's gain stands still and the hold capacitor charges sample by sample;
then LED, light and cell move on. Capacitor and cell leapfrog: the capacitor is known at the ends of
steps and the cell half a step later, so each moves by the middle of the other and the error falls with the
square of the step. LED and cell laws are tabulated over the held voltage, and the cell's fall rate,
which depends on its own conductance, is refreshed every few steps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from math import exp, expm1

import numpy as np

from pedalcalc._base import Result, quantity
from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.laws import Floats

RATE = 24_000.0  # steps of the cell a second, at least
REFRESH = 4  # steps between refreshes of the fall rate


@dataclass(frozen=True, slots=True, eq=False)
class State(Result):
    """What the circuit remembers: the hold capacitor and the cell."""

    voltage_hold: float = quantity("V", "voltage held on the capacitor")
    conductance: float = quantity("S", "conductance of the cell without its floor")


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Held voltage and conductance at the end of each step, and the state to go on from."""

    voltage_hold: Floats
    conductance: Floats
    state: State


def rest(compressor: Compressor) -> State:
    """Return the state after a long silence."""
    return State(0.0, laws.conductance_dark(compressor))


def steps_per_second(compressor: Compressor, frequency: float) -> tuple[float, int]:
    """Return how many cell steps a second a tone needs, and how many sub-steps each has.

    Some 96 side-chain samples a period find the tip of a sine well enough for a LED that is about to
    light, if they fall elsewhere in each period: hence the odd fraction. A LED that loads the hold
    capacitor must not discharge it by more than a tenth in one step. A series cell sensed behind itself
    is positive feedback, in which every error grows: its steps are a quarter as long.
    """
    grows = compressor.placement == "series" and compressor.sense == "after"
    rate, substeps = (4 * RATE if grows else RATE), 4
    while rate * substeps < 96 * frequency:
        rate *= 2
    if compressor.drive == "capacitor":
        led = compressor.coupler.led
        fastest = 1 / ((compressor.resistance_led + led.resistance_series) * compressor.capacitance_hold)
        while rate < 10 * fastest and rate < 16 * RATE:
            rate *= 2
    whole_and_odd = np.floor(rate * substeps / frequency) + 0.618
    return float(whole_and_odd * frequency / substeps), substeps


def run(compressor: Compressor, signal: Floats, *, rate: float, substeps: int, state: State) -> Track:
    """Run the circuit over an input signal sampled at ``rate * substeps``, at the middle of each sub-step.

    The signal's length must be a multiple of `substeps`. Returns the state at the end of each step.
    """
    law = laws.gain_law(compressor)
    side = signal if compressor.rectifier == "full" else np.maximum(signal, 0.0)
    side = np.abs(side) * compressor.gain_sidechain
    peak = float(np.max(side, initial=0.0))
    if compressor.sense == "after":
        peak *= max(law.at(min(laws.conductance_dark(compressor), state.conductance)), law.at(1e9))
    top = max(laws.voltage_top(compressor, peak), state.voltage_hold)
    loop = _direct if compressor.drive == "direct" else _held
    return loop(compressor, law, side.reshape(-1, substeps), 1 / rate, top, state)


def _fall(compressor: Compressor, step: float) -> tuple[float, float, float]:
    """Return the dark conductance, and scale and exponent of the fall per step."""
    cell = compressor.coupler.cell
    dark = 0.0 if np.isinf(cell.resistance_dark) else 1 / float(cell.resistance_dark)
    exponent = float(cell.fall_exponent)
    scale = step / float(cell.time_fall_10lx) * float(cell.resistance_10lx) ** exponent
    return dark, scale, exponent


def _rows(grid: laws.Grid, step: float, drain: Floats) -> list[tuple[float, float, float, float, float]]:
    """Return what the loop looks up at each grid point, the last one twice so that the top can be looked up.

    Settled conductance and its rise to the next point, the part of the way the cell rises in one
    step (at the middle of the interval), the voltage lost in a sub-step and its rise.
    """
    rate = np.append(0.5 * (grid.rate[1:] + grid.rate[:-1]), grid.rate[-1])
    risen = -np.expm1(-step * rate)
    rows = zip(
        grid.settled.tolist(),
        np.diff(grid.settled, append=grid.settled[-1]).tolist(),
        risen.tolist(),
        drain.tolist(),
        np.diff(drain, append=drain[-1]).tolist(),
        strict=True,
    )
    listed = list(rows)
    return [*listed, listed[-1]]


def _steps(side: Floats) -> Iterator[tuple[float, tuple[float, ...]]]:
    """Yield the highest sample and all samples of each step, as plain floats and without a list of lists."""
    return zip(side.max(axis=1).tolist(), zip(*side.T.tolist(), strict=True), strict=True)


def _held(compressor: Compressor, law: laws.GainLaw, side: Floats, step: float, top: float, state: State) -> Track:
    c, substeps = compressor, side.shape[1]
    grid = laws.grid(c, top)
    rows, per_volt = (
        _rows(grid, step, laws.drain_current(c, grid) * (step / substeps / c.capacitance_hold)),
        grid.per_volt,
    )
    charge = 1.0 if c.resistance_attack == 0 else -expm1(-step / substeps / (c.resistance_attack * c.capacitance_hold))
    base, part, d0, d1 = law.split()
    dark, scale, exponent = _fall(c, step)
    diode, after = float(c.voltage_diode), c.sense == "after"
    v, g = float(state.voltage_hold), float(state.conductance)
    gain = base + part / (d0 + d1 * g) if after else 1.0
    place = v * per_volt
    _, _, _, low, more = rows[int(place)]
    lost = low + more * (place - int(place))
    steps = _steps(side)
    held: list[float] = []
    cell: list[float] = []
    keep_v, keep_g = held.append, cell.append
    for _ in range(0, len(side), REFRESH):
        fall = 1 - exp(-scale * max(g - dark, 0.0) ** exponent)
        for peak, block in islice(steps, REFRESH):
            if peak * gain - diode > v - lost * substeps:
                for sample in block:
                    s = sample * gain - diode
                    if s > v:
                        if s > top:
                            s = top
                        v += (s - v) * charge
                    v -= lost
            else:  # nothing in this step reaches the capacitor
                v -= lost * substeps
            if v < 0.0:
                v = 0.0
            place = v * per_volt
            i = int(place)
            place -= i
            aim, rise_aim, risen, lost, more = rows[i]
            aim += rise_aim * place
            lost += more * place
            g += (aim - g) * (risen if aim > g else fall)
            if after:
                gain = base + part / (d0 + d1 * g)
            keep_v(v)
            keep_g(g)
    late = np.array([float(state.conductance), *cell])  # half a step late, each
    return Track(np.array(held), 0.5 * (late[1:] + late[:-1]), State(v, g))


def _direct(compressor: Compressor, law: laws.GainLaw, side: Floats, step: float, top: float, state: State) -> Track:
    c, substeps = compressor, side.shape[1]
    grid = laws.grid(c, top)
    rows, per_volt = _rows(grid, step / substeps, np.zeros_like(grid.voltage)), grid.per_volt
    base, part, d0, d1 = law.split()
    dark, scale, exponent = _fall(c, step / substeps)
    diode, after = float(c.voltage_diode), c.sense == "after"
    unlit = rows[0][0]
    lit = float(
        grid.voltage[np.argmax(grid.settled > unlit * (1 + 1e-5)) - 1]
    )  # below it the LED changes next to nothing
    s, g = 0.0, float(state.conductance)
    gain = last = base + part / (d0 + d1 * g) if after else 1.0
    steps = _steps(side)
    held: list[float] = []
    cell: list[float] = []
    keep_v, keep_g = held.append, cell.append
    for _ in range(0, len(side), REFRESH):
        rate = scale * max(g - dark, 0.0) ** exponent
        fall, fall_step = 1 - exp(-rate), 1 - exp(-rate * substeps)
        for peak, block in islice(steps, REFRESH):
            if peak * gain - diode > lit:
                for sample in block:
                    s = sample * gain - diode
                    if s > lit:
                        if s > top:
                            s = top
                        place = s * per_volt
                        i = int(place)
                        aim, rise_aim, risen, _, _ = rows[i]
                        aim += rise_aim * (place - i)
                        g += (aim - g) * (risen if aim > g else fall)
                    else:
                        g += (unlit - g) * fall
                if s < 0.0:
                    s = 0.0
            else:
                s = 0.0
                g += (unlit - g) * fall_step
            if after:  # carried on to the middle of the step to come
                now = base + part / (d0 + d1 * g)
                gain = 1.5 * now - 0.5 * last
                last = now
            keep_v(s)
            keep_g(g)
    return Track(np.array(held), np.array(cell), State(0.0, g))
