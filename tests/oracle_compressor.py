"""The compressor's differential equations, integrated at audio rate for many settings at once.

Written from the circuit and the laws of its parts alone: no table, no change of rate, no
averaging. Midpoint rule, evaluated at 192 kHz; the LED current is the exact solution for junction and
resistor in series at every evaluation (Wright omega, Banwell and Jayakumar 2000), the input is
the exact sine at every evaluation. Slow, and meant to be.

    C dv/dt = (r - v)/R_attack, while r > v,  - v/R_release - leakage - LED current ("capacitor" only)
    r       = rectified side-chain signal, clipped at the rail, less the diode's drop
    E       = E_ref (I_LED / I_ref)^q + ambient
    g_inf   = g_dark + g_10 (E/10)^gamma
    dg/dt   = (g_inf - g) (E/10)^a / tau_rise                 if g < g_inf
            = (g_inf - g) ((g - g_dark)/g_10)^b / tau_fall    otherwise
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp
from scipy.special import wrightomega

from pedalcalc.compressor import Compressor

RATE = 192_000  # evaluations a second
KEEP = 4  # one in four is kept: 48 kHz
CHUNK = 4096  # steps whose input and track are held at a time


class Run(NamedTuple):
    """Circuits to integrate: `signal(times)` returns the input, (times, circuits), in volts."""

    compressors: Sequence[Compressor]
    signal: Callable[[np.ndarray], np.ndarray]
    duration: float
    rate: int = RATE  # evaluations of the equations a second, two in each step
    keep: int = KEEP  # one in so many is kept

    @property
    def count(self) -> int:
        """How many moments are kept."""
        return round(self.duration * self.rate / 2 / (self.keep // 2))


class Track(NamedTuple):
    """What the oracle kept: arrays (settings, times)."""

    time: np.ndarray
    signal: np.ndarray
    gain: np.ndarray
    voltage_hold: np.ndarray


class _Laws:
    """The constants of every setting as arrays, and the right-hand side."""

    def __init__(self, compressors):
        def of(read):
            return np.array([float(read(c)) for c in compressors])

        self.turned = of(lambda c: 1 if c.placement == "series" else -1)
        plus = {"shunt": 1.0, "series": 1.0, "feedback": 0.0}
        self.cell_a = of(lambda c: (plus[c.placement] + c.resistance_input / c.resistance_output) / c.gain_makeup)
        self.cell_b = of(
            lambda c: (1 / c.resistance_output if c.placement == "series" else c.resistance_input) / c.gain_makeup
        )
        self.floor = of(lambda c: c.coupler.cell.resistance_floor)
        self.amplify_after = of(lambda c: c.gain_sidechain * (c.sense == "after"))
        self.amplify_before = of(lambda c: c.gain_sidechain * (c.sense == "before"))
        self.rail = of(lambda c: c.voltage_rail)
        self.other_half = of(lambda c: -1 if c.rectifier == "full" else 0)
        self.diode = of(lambda c: c.voltage_diode)
        self.direct = np.array([c.drive == "direct" for c in compressors])
        self.base = of(lambda c: c.voltage_base_emitter * (c.drive == "buffered"))
        self.attack = 1 / of(lambda c: c.resistance_attack * c.capacitance_hold)  # 1/s
        self.release = 1 / of(lambda c: c.resistance_release * c.capacitance_hold)
        self.leak = of(lambda c: c.current_leakage / c.capacitance_hold)
        ohms = of(lambda c: c.resistance_led + c.coupler.led.resistance_series)
        self.e_fold = of(lambda c: c.coupler.led.ideality * 1.380649e-23 / 1.602176634e-19 * c.temperature)
        self.drives = 1 / self.e_fold
        self.saturation = of(lambda c: c.coupler.led.current_saturation)
        self.scale = self.e_fold / ohms  # LED currents are counted in it
        self.least = self.saturation / self.scale
        self.shift = self.least + np.log(self.least)
        self.loads = of(lambda c: c.drive == "capacitor") * self.scale / of(lambda c: c.capacitance_hold)
        self.light = of(
            lambda c: c.coupler.illuminance_reference / 10 / c.coupler.current_reference**c.coupler.light_exponent
        )
        self.light_exponent = of(lambda c: c.coupler.light_exponent)
        self.light *= self.scale**self.light_exponent
        self.ambient = of(lambda c: c.illuminance_ambient / 10)
        self.dark = of(lambda c: 1 / c.coupler.cell.resistance_dark)
        self.ten = of(lambda c: 1 / c.coupler.cell.resistance_10lx)
        self.dimmest = 1e-9
        self.gamma = of(lambda c: c.coupler.cell.gamma)
        self.rise = of(lambda c: c.coupler.cell.rise_exponent)
        self.fall = of(lambda c: c.coupler.cell.fall_exponent)
        self.rate_rise = of(lambda c: 1 / c.coupler.cell.time_rise_10lx)
        self.rate_fall = of(lambda c: 1 / c.coupler.cell.time_fall_10lx) / self.ten**self.fall

    def gain(self, g):
        with np.errstate(divide="ignore"):  # a cell that is open in the dark
            return 1 / self.loss(g)

    def loss(self, g):
        """Return the input above the output."""
        return self.cell_a + self.cell_b * (1 / g + self.floor) ** self.turned

    def at_rest(self):
        return np.zeros(self.dark.size), self.dark + self.ten * self.ambient**self.gamma

    def slopes(self, x, v, g):
        """Return dv/dt and dg/dt."""
        s = x * (self.amplify_before + self.amplify_after / self.loss(g))
        r = np.minimum(np.maximum(s, self.other_half * s), self.rail) - self.diode
        drain, dg = self.led_and_cell(np.where(self.direct, r, v), v, g)
        return np.maximum(r - v, 0.0) * self.attack - drain, dg

    def slopes_averaged(self, amplitude, v, g):
        """Return the same for a sine's amplitude, with the charge averaged over its period (no rail, not direct)."""
        peak = amplitude * (self.amplify_before + self.amplify_after * self.gain(g))
        level = np.minimum((v + self.diode) / peak, 1.0)
        charge = (1 - self.other_half) / np.pi * peak * (np.sqrt(1 - level**2) - level * np.arccos(level))
        drain, dg = self.led_and_cell(v, v, g)
        return charge * self.attack - drain, dg

    def led_and_cell(self, across, v, g):
        """Return how fast the hold capacitor drains, and dg/dt, with a voltage `across` LED and resistor."""
        drive = np.maximum(across - self.base, 0.0)
        current = np.maximum(wrightomega(self.shift + drive * self.drives) - self.least, 0.0)
        light = self.light * current**self.light_exponent + self.ambient
        lit = g - self.dark
        gap = self.ten * light**self.gamma - lit
        rise = self.rate_rise * light**self.rise
        fall = self.rate_fall * np.maximum(lit, self.dimmest) ** self.fall
        closer = np.maximum(gap, 0.0) * rise + np.minimum(gap, 0.0) * fall
        return v * self.release + self.loads * current + self.leak, closer


def integrate(*runs: Run) -> list[Track]:
    """Integrate `runs` from rest, all at once and each with steps of its own length; return the track of each.

    What a step costs hardly depends on how many circuits take it. A run that is over goes on without a signal, unheard.
    """
    laws = _Laws([compressor for run in runs for compressor in run.compressors])
    sizes = [len(run.compressors) for run in runs]
    columns = [slice(end - size, end) for size, end in zip(sizes, np.cumsum(sizes), strict=True)]
    half = np.repeat([1 / run.rate for run in runs], sizes)
    step = 2 * half
    kept = [np.empty((2, run.count, size)) for run, size in zip(runs, sizes, strict=True)]
    spans = [run.keep // 2 for run in runs]  # steps to each kept one
    count = max(run.count * span for run, span in zip(runs, spans, strict=True))
    v, g = laws.at_rest()
    passed = np.empty((2, CHUNK, v.size))
    for first in range(0, count, CHUNK):
        values = np.zeros((2 * min(CHUNK, count - first), v.size))
        for run, span, place in zip(runs, spans, columns, strict=True):
            heard = min(2 * max(run.count * span - first, 0), len(values))
            values[:heard, place] = run.signal((2 * first + np.arange(heard)) / run.rate)
        with np.errstate(divide="ignore"):  # a cell that is open in the dark
            for n in range(len(values) // 2):
                dv, dg = laws.slopes(values[2 * n], v, g)
                dv, dg = laws.slopes(values[2 * n + 1], np.maximum(v + half * dv, 0.0), g + half * dg)
                v, g = passed[:, n] = np.maximum(v + step * dv, 0.0), g + step * dg
        for span, place, own in zip(spans, columns, kept, strict=True):
            past = first // span  # kept ones before
            some = own[:, past : (first + len(values) // 2) // span]
            some[:] = passed[:, span - 1 + past * span - first : len(values) // 2 : span, place][:, : some.shape[1]]
    tracks = []
    for run, (kept_v, kept_g) in zip(runs, kept, strict=True):
        time = (np.arange(run.count) + 1) * run.keep / run.rate
        gain = _Laws(run.compressors).gain(kept_g).T
        tracks.append(Track(time, run.signal(time).T * gain, gain, kept_v.T))
    return tracks


def tone_steps(*, frequency, amplitude_low, amplitude_high, time_up, time_down) -> Callable[[np.ndarray], np.ndarray]:
    """Return a sine that begins at phase 0 and is louder between the two times, one column a setting."""
    frequency, low, high = np.broadcast_arrays(frequency, amplitude_low, amplitude_high)

    def signal(time):
        loud = (time >= time_up) & (time < time_down)
        return np.where(loud[:, None], high, low) * np.sin(2 * np.pi * frequency * time[:, None])

    return signal


def integrate_averaged(compressors, *, amplitude: Callable[[float], np.ndarray], duration: float, rate: int) -> Track:
    """Integrate the cycle-averaged equations from rest (classical Runge-Kutta rule); `signal` is the output's amplitude."""
    laws = _Laws(compressors)
    step = 1 / rate
    v, g = laws.at_rest()
    kept_v, kept_g = np.empty((2, round(duration * rate), v.size))
    for n in range(kept_v.shape[0]):
        a = amplitude((n + 0.5) * step)
        one = laws.slopes_averaged(a, v, g)
        two = laws.slopes_averaged(a, v + 0.5 * step * one[0], g + 0.5 * step * one[1])
        three = laws.slopes_averaged(a, v + 0.5 * step * two[0], g + 0.5 * step * two[1])
        four = laws.slopes_averaged(a, v + step * three[0], g + step * three[1])
        v, g = (
            y + step / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
            for y, k1, k2, k3, k4 in zip((v, g), one, two, three, four, strict=True)
        )
        v = np.maximum(v, 0.0)
        kept_v[n], kept_g[n] = v, g
    time = (np.arange(kept_v.shape[0]) + 1) * step
    gain = laws.gain(kept_g).T
    return Track(time, np.stack([amplitude(t) for t in time - 0.5 * step], axis=1) * gain, gain, kept_v.T)


def solve_audio_rate(compressor, *, signal: Callable[[np.ndarray], np.ndarray], times, longest_step: float):
    """Return the gain of one compressor at `times` by `solve_ivp`, as one would write it without a library."""
    laws = _Laws([compressor])
    v, g = laws.at_rest()
    scale = 1e-6  # the conductance in microsiemens, so that one tolerance suits both

    def right_side(time, state):
        dv, dg = laws.slopes(signal(np.array([time]))[0], state[:1], state[1:] * scale)
        return np.array([dv[0], dg[0] / scale])

    found = solve_ivp(
        right_side, (0.0, times[-1]), [v[0], g[0] / scale],
        method="LSODA", t_eval=times, max_step=longest_step, rtol=1e-6, atol=1e-9,
    )  # fmt: skip
    assert found.success, found.message
    return laws.gain(found.y[1] * scale)
