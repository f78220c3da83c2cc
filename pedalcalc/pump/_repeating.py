"""The state that repeats of a two-diode doubler whose diodes overlap, all its stages solved at once.

The equations are those of `_overlap.one_period`, stage by stage. The capacitors are linear, so that with both
diodes' laws taken as straight lines each step of the method is an affine map of the state it begins with, and so is
the whole period, the charge that each capacitor has taken by its end, and the mean output. What repeats then follows from
three equations, and Newton's method draws the lines anew at the voltages found, at every stage of the period at once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import wrightomega

from pedalcalc._refusal import Unsolved
from pedalcalc.pump._overlap import GAMMA, PLACES, SHARES, STAGES, lengths, log_scale
from pedalcalc.pump._pulse import Array, Circuit, Settled

#: Numbers of steps in half a period, from rough to fine.
_STEPS = (6, 12, 24, 48, 96, 192)
#: Fewest steps that count, since two rough ones may agree by chance.
_LEAST = 24
#: What finds no state with that many finds none with more.
_LAST_TRY = 48
#: By how much the mean output may move when the steps are doubled [V].
_STILL = 2e-4
#: Step of Newton's method that counts as none: of a diode's voltage, in units of its n Vt, and of the state [V]; and
#: what rounding makes of a current, as a share of the largest.
_MOVED, _DONE, _ROUNDED = 1e-6, 1e-7, 1e-9
#: Newton's steps before it gives up.
_MOST = 60
# What is affine has a coefficient for each of: one, both capacitors, the pin, the load. They stand on the first axis.
_ONE, _PUMP, _OUT, _PIN, _LOAD = range(5)
#: For each stage of the finer steps in a step's first and second half, the stage of the longer step that is nearest.
_NEAREST = np.array([[np.argmin([abs(q - (late + p) / 2) for q in PLACES]) for p in PLACES] for late in (0, 1)])


class _Held(NamedTuple):
    """Circuits, one-dimensional, what lies between their supply and their pins, and state: both capacitors, the pin."""

    circuit: Circuit
    source: Array
    idle: Array
    state: Array

    def some(self, which: NDArray[np.intp] | NDArray[np.bool_]) -> _Held:
        circuit = Circuit(*(each[which] for each in self.circuit))
        return _Held(circuit, self.source[which], self.idle[which], self.state[:, which])


class _Round(NamedTuple):
    """A round of Newton's method: what it found, and how far the diodes' voltages still moved, 1 being nothing."""

    state: Array
    volts: Array  # stage, diode, step, element: of a diode and all resistance in its way
    currents: Array
    stored: Array  # stage, capacitor, step, element
    begin: Array  # capacitor, step, element
    resistance: Array
    moved: Array


def settle_overlap(circuit: Circuit, source: Array, idle: Array, state: Array) -> tuple[Settled, Array]:
    """Solve for the state that repeats after a period, and for the supply at the pin behind `source`.

    `circuit.supply` is ahead of `source` here, every array one-dimensional, and `state` where to begin: flying and
    output capacitor when charging begins, and the pin. The steps are doubled until the mean output moves by less than
    0.2 mV, so that it is then good to a tenth of that.
    """
    held = _Held(circuit, source, idle, state)
    size = circuit.supply.size
    fields, pins = np.full((len(Settled._fields), size), np.nan), np.array(state[2])
    moving, mean = np.arange(size), np.full(size, np.nan)
    volts = _first_volts(held)
    for steps in _STEPS:
        found, astray = _repeating(held, volts, steps)
        settled = _settled(held, found, steps)
        fields[:, moving], pins[moving] = settled, found.state[2]
        on = astray | ~(np.abs(settled.output - mean) <= _STILL) | (steps < _LEAST)
        moving, mean, astray = moving[on], settled.output[on], astray[on]
        if not moving.size:
            return Settled(*fields)._replace(alone=np.zeros(size, bool)), pins
        if steps >= _LAST_TRY and np.any(astray):
            break
        held = held._replace(state=found.state).some(on)
        # Either half of a step begins with the voltages of its nearest stages.
        wide = found.volts[..., on]
        halves = [np.stack([wide[q] for q in late]) for late in _NEAREST]
        volts = np.stack(halves, axis=3).reshape(*wide.shape[:2], -1, moving.size)
    lost = moving[astray] if np.any(astray) else moving
    raise Unsolved("the overlapping diodes did not converge", np.isin(np.arange(size), lost))


def _solved(matrix: Array, right: Array) -> Array:
    """Return one column for each element; NaN, which counts as not converged, where its matrix is singular."""
    singular = ~(np.abs(np.linalg.slogdet(matrix)[0]) > 0)
    if singular.any():
        matrix = np.where(singular[:, None, None], np.nan, matrix)
    return np.asarray(np.linalg.solve(matrix, right[:, :, None])[:, :, 0].T)


def _first_volts(held: _Held) -> Array:
    """Return the diodes' voltages before the first round: what the state that is begun with leaves to them."""
    pump, out, pin = held.state
    charging = np.array([pin - pump, pump - out])
    delivering = np.array([-pump, pin + pump - out])
    each = np.repeat(np.stack([charging, delivering], axis=1), _STEPS[0], axis=1)
    return np.stack([each] * len(SHARES))


def _repeating(held: _Held, volts: Array, steps: int) -> tuple[_Round, NDArray[np.bool_]]:
    """Return the last round of each element, and which still move."""
    kept = _round(held, volts, steps)
    for _ in range(_MOST):
        active = np.flatnonzero(~(kept.moved <= 1))
        if not active.size:
            break
        begin = held._replace(state=kept.state).some(active)
        for whole, part in zip(kept, _round(begin, kept.volts[..., active], steps), strict=True):
            whole[..., active] = part
    return kept, ~(kept.moved <= 1)


def _round(held: _Held, volts: Array, steps: int) -> _Round:
    """Take one step of Newton's method at every stage of the period."""
    circuit, source, idle, state = held
    supply, load, period, c1, c2, r1, esr, r_s, i_s, n = circuit
    size = supply.size
    h = np.tile(lengths(circuit, steps), (2, 1))
    shared, e = r1 + GAMMA * h / c1, esr + GAMMA * h / c2
    own = np.stack([np.broadcast_to(r_s, h.shape), r_s + e])
    whole = own + shared
    delivers = np.repeat([0.0, 1.0], steps)[:, None]
    store = np.stack([c1, c2])[:, None]

    # The laws as lines, of all stages.
    scale = n / whole
    j = scale * wrightomega(log_scale(i_s, scale) + volts / n)
    p, q = own * j + n, whole * j + n
    g = j / q
    over = q[:, 0] * q[:, 1] / (shared * (p[:, 0] * j[:, 1] + p[:, 1] * j[:, 0]) + p[:, 0] * p[:, 1])
    foot = j - i_s - g * volts

    slopes: list[Array] = []
    lines: list[Array] = []
    currents: list[Array] = []
    stored: list[Array] = []
    charge, mean = np.zeros((5, 3, *h.shape)), np.zeros((5, *h.shape))
    for k, (known, share) in enumerate(zip(STAGES, SHARES, strict=True)):
        v = np.zeros((5, 2, *h.shape))
        v[_PUMP, 0] = v[_OUT, 1] = 1
        for a, s in zip(known, slopes, strict=True):
            v += a * h * s
        line = np.stack([-v[:, 0], v[:, 0] - v[:, 1]], axis=1)
        line[_PIN, 0] += 1 - delivers
        line[_PIN, 1] += delivers
        line[_LOAD, 1] += e
        line[_ONE] += shared * foot[k, ::-1]
        line = (line + shared * (g[k] * line)[:, ::-1]) * over[k]
        current = g[k] * line
        current[_ONE] += foot[k]
        flow = np.stack([current[:, 0] - current[:, 1], current[:, 1]], axis=1)
        flow[_LOAD, 1] -= 1
        slopes.append(flow / store)
        v += GAMMA * h * slopes[-1]
        weight = share * h
        charge[:, :2] += weight * flow
        charge[:, 2] += weight * np.where(delivers > 0, current[:, 1], current[:, 0])
        mean += weight * (v[:, 1] + esr * flow[:, 1])
        lines.append(line)
        currents.append(current)
        stored.append(v)

    # Where each step begins, by the state at the period's begin.
    begin = np.zeros((h.shape[0], 5, 2, size))
    here = np.zeros((5, 2, size))
    here[_PUMP, 0] = here[_OUT, 1] = 1
    for t, step in enumerate(np.ascontiguousarray(np.moveaxis(stored[-1], 2, 0))):
        begin[t] = here
        here = _after(step[:, :, None], here[:, :, None])[:, :, 0]
    begin = np.moveaxis(begin, 0, 2)
    total = _after(charge, begin).sum(axis=2)
    mean = _after(mean[:, None], begin)[:, 0].sum(axis=1) / period

    held_by = np.where(np.isinf(c2), c1, c2)
    miss = np.stack([total[:, 0] / c1, total[:, 1] / held_by, -source * total[:, 2] / period], axis=1)
    miss[_ONE, 2] += supply - source * idle
    miss[_PIN, 2] -= 1
    matrix = np.moveaxis(miss[_PUMP:_LOAD], 2, 0).swapaxes(1, 2)
    missed = miss[_ONE] + miss[_LOAD] * load + (miss[_PUMP:_LOAD] * state[:, None]).sum(axis=0)
    # A map that does not answer to the state at all still says which way to go.
    step = _solved(matrix - 1e-9 * np.eye(3), -missed.T)
    new = state + step
    # The output resistance counts from a fixed voltage at the pin: its row and column leave the matrix.
    follow = _solved(matrix[:, :2, :2] - 1e-9 * np.eye(2), -miss[_LOAD, :2].T)
    resistance = -(mean[_LOAD] + mean[_PUMP] * follow[0] + mean[_OUT] * follow[1])

    values = np.stack([np.ones(size), *new, load])
    begun = (begin * values[:, None, None]).sum(axis=0)
    local = np.empty((5, *h.shape))
    local[_ONE], local[_PUMP], local[_OUT], local[_PIN], local[_LOAD] = 1.0, begun[0], begun[1], new[2], load
    at = [np.stack([(each * local[:, None]).sum(axis=0) for each in kind]) for kind in (lines, currents, stored)]
    # The last step counts in full, and leaves what is of second order in it.
    limit = _MOVED * n + _ROUNDED * whole * np.abs(at[1]).max(axis=(0, 1, 2))
    moved = (np.abs(at[0] - volts) / limit).max(axis=(0, 1, 2))
    moved = np.maximum(moved, np.abs(step).max(axis=0) / (_DONE + _ROUNDED * np.abs(new).max(axis=0)))
    return _Round(new, at[0], at[1], at[2], begun, resistance, moved)


def _after(of_step: Array, begin: Array) -> Array:
    """Return what is affine in the state at a step's begin as affine in that at the period's."""
    made = of_step[_PUMP] * begin[:, :1] + of_step[_OUT] * begin[:, 1:]
    for each in (_ONE, _PIN, _LOAD):
        made[each] += of_step[each]
    return np.asarray(made)


def _settled(held: _Held, found: _Round, steps: int) -> Settled:
    """Return what a period held."""
    circuit = held.circuit
    period, esr, i_s, n = circuit.period, circuit.resistance_output, circuit.current_saturation, circuit.nvt
    h = np.tile(lengths(circuit, steps), (2, 1))
    weight = np.array(SHARES)[:, None, None] * h
    both = found.currents
    out = found.stored[:, 1] + esr * (both[:, 1] - circuit.load)
    ends = np.concatenate([np.zeros((1, *h.shape[1:])), np.cumsum(h, axis=0)])
    angle = 2 * np.pi / period * (ends[:-1] + np.array(PLACES)[:, None, None] * h)
    real, imaginary = ((weight * out * wave(angle)).sum(axis=(0, 1)) / period for wave in (np.cos, np.sin))
    charging = both[:, 0, :steps] * weight[:, :steps]
    delivering = both[:, 1, steps:] * weight[:, steps:]
    forward = weight[:, None] * (both + i_s)
    drop = circuit.resistance_diode * both + n * np.log1p(np.maximum(both / i_s, -1 + 1e-16))
    diodes = (forward * drop).sum(axis=(0, 2)) / forward.sum(axis=(0, 2))
    flying = np.concatenate([found.begin[0], found.stored[-1, 0]])
    return Settled(
        output=(weight * out).sum(axis=(0, 1)) / period,
        resistance=found.resistance,
        ripple=out.max(axis=(0, 1)) - out.min(axis=(0, 1)),
        tone=np.sqrt(2) * np.hypot(real, imaginary),
        ripple_pump=flying.max(axis=0) - flying.min(axis=0),
        diodes=diodes.sum(axis=0),
        drawn=(charging + delivering).sum(axis=(0, 1)) / period,
        voltage_pump=found.state[0],
        voltage_output=found.state[1],
        alone=np.zeros(period.size, bool),
    )
