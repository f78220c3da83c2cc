"""The one engine: a loop over samples in plain floats.

Each step of the cell takes `substeps` samples of the side-chain signal. Within a step the
cell's gain stands still and the hold capacitor charges sample by sample; then LED, light and
cell move on. LED and cell laws are tabulated over the held voltage, and the cell's fall rate,
which depends on its own conductance, is refreshed every few steps.
"""

from __future__ import annotations

from dataclasses import dataclass
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
    """State after each step, and the state at the end."""

    voltage_hold: Floats
    conductance: Floats
    state: State


def rest(compressor: Compressor) -> State:
    """Return the state after a long silence."""
    return State(0.0, laws.conductance_dark(compressor))


def steps_per_second(compressor: Compressor, frequency: float) -> tuple[float, int]:
    """Return how many cell steps a second a tone needs, and how many sub-steps each has.

    48 side-chain samples a period find the tip of a sine to 0.01 dB; a LED that loads the
    hold capacitor must not discharge it by more than a tenth in one step.
    """
    rate, substeps = RATE, 2
    while rate * substeps < 48 * frequency:
        rate, substeps = (rate, 4) if substeps == 2 else (2 * rate, 4)
    if compressor.drive == "capacitor":
        led = compressor.coupler.led
        fastest = 1 / ((compressor.resistance_led + led.resistance_series) * compressor.capacitance_hold)
        while rate < 10 * fastest and rate < 16 * RATE:
            rate *= 2
    return rate, substeps


def run(compressor: Compressor, signal: Floats, *, rate: float, substeps: int, state: State) -> Track:
    """Run the circuit over an input signal sampled at ``rate * substeps``.

    The signal's length must be a multiple of `substeps`. Returns the state after each step.
    """
    law = laws.gain_law(compressor)
    side = signal if compressor.rectifier == "full" else np.maximum(signal, 0.0)
    side = np.abs(side) * compressor.gain_sidechain
    peak = float(np.max(side, initial=0.0))
    if compressor.sense == "after":
        peak *= max(law.at(0.0) if law.d0 else np.inf, law.at(1e9))
    top = max(laws.voltage_top(compressor, peak), state.voltage_hold)
    if not np.isfinite(top):
        raise ValueError("voltage_rail must be finite where a dark cell leaves the gain unlimited")
    loop = _direct if compressor.drive == "direct" else _held
    return loop(compressor, law, side.reshape(-1, substeps), 1 / rate, top, state)


def _fall(compressor: Compressor, step: float) -> tuple[float, float, float]:
    """Return the dark conductance, and scale and exponent of the fall per step."""
    cell = compressor.coupler.cell
    dark = 0.0 if np.isinf(cell.resistance_dark) else 1 / float(cell.resistance_dark)
    exponent = float(cell.fall_exponent)
    scale = step / float(cell.time_fall_10lx) * float(cell.resistance_10lx) ** exponent
    return dark, scale, exponent


def _listed(values: Floats) -> list[float]:
    """Return a table as plain floats, its last entry twice so that the top of the range can be looked up."""
    return [*values.tolist(), float(values[-1])]


def _risen(grid: laws.Grid, step: float) -> list[float]:
    """Return the fraction of the way the cell rises in one step, at the middle of each grid interval."""
    rate = np.append(0.5 * (grid.rate[1:] + grid.rate[:-1]), grid.rate[-1])
    return _listed(-np.expm1(-step * rate))


def _held(
    compressor: Compressor,
    law: laws.GainLaw,
    side: Floats,
    step: float,
    top: float,
    state: State,
) -> Track:
    c, substeps = compressor, side.shape[1]
    blocks = side.tolist()
    grid = laws.grid(c, top)
    per_volt, settled, rise = grid.per_volt, _listed(grid.settled), _risen(grid, step)
    drain = _listed(laws.drain_current(c, grid) * (step / substeps / c.capacitance_hold))
    charge = 1.0 if c.resistance_attack == 0 else -expm1(-step / substeps / (c.resistance_attack * c.capacitance_hold))
    n0, n1, d0, d1 = law
    dark, scale, exponent = _fall(c, step)
    diode, after = float(c.voltage_diode), c.sense == "after"
    v, g = float(state.voltage_hold), float(state.conductance)
    place = v * per_volt
    i = int(place)
    lost = drain[i] + (drain[i + 1] - drain[i]) * (place - i)
    held: list[float] = []
    cell: list[float] = []
    keep_v, keep_g = held.append, cell.append
    gain = (n0 + n1 * g) / (d0 + d1 * g) if after else 1.0
    peaks = side.max(axis=1).tolist()
    for first in range(0, len(blocks), REFRESH):
        fall = 1 - exp(-scale * max(g - dark, 0.0) ** exponent)
        for peak, block in zip(peaks[first : first + REFRESH], blocks[first : first + REFRESH], strict=True):
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
            low = settled[i]
            aim = low + (settled[i + 1] - low) * place
            if aim > g:
                g += (aim - g) * rise[i]
            else:
                g += (aim - g) * fall
            low = drain[i]
            lost = low + (drain[i + 1] - low) * place
            if after:
                gain = (n0 + n1 * g) / (d0 + d1 * g)
            keep_v(v)
            keep_g(g)
    return Track(np.array(held), np.array(cell), State(v, g))


def _direct(
    compressor: Compressor,
    law: laws.GainLaw,
    side: Floats,
    step: float,
    top: float,
    state: State,
) -> Track:
    c, substeps = compressor, side.shape[1]
    blocks = side.tolist()
    grid = laws.grid(c, top)
    per_volt, settled, rise = grid.per_volt, _listed(grid.settled), _risen(grid, step / substeps)
    n0, n1, d0, d1 = law
    dark, scale, exponent = _fall(c, step / substeps)
    diode, after = float(c.voltage_diode), c.sense == "after"
    unlit = settled[0]
    s, g = 0.0, float(state.conductance)
    held: list[float] = []
    cell: list[float] = []
    keep_v, keep_g = held.append, cell.append
    gain = (n0 + n1 * g) / (d0 + d1 * g) if after else 1.0
    for first in range(0, len(blocks), REFRESH):
        fall = 1 - exp(-scale * max(g - dark, 0.0) ** exponent)
        for block in blocks[first : first + REFRESH]:
            for sample in block:
                s = sample * gain - diode
                if s > 0.0:
                    if s > top:
                        s = top
                    place = s * per_volt
                    i = int(place)
                    low = settled[i]
                    aim = low + (settled[i + 1] - low) * (place - i)
                    if aim > g:
                        g += (aim - g) * rise[i]
                    else:
                        g += (aim - g) * fall
                else:
                    s = 0.0
                    g += (unlit - g) * fall
            if after:
                gain = (n0 + n1 * g) / (d0 + d1 * g)
            keep_v(s)
            keep_g(g)
    return Track(np.array(held), np.array(cell), State(0.0, g))
