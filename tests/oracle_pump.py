"""Two-diode doublers stepped in time with true exponential diodes: slow, plain, and independent of the package.

    V o--|>|--A--|>|--o output, load I
              |       |
              R1      R_esr
              C1      C2
              e       ground          e = 0 while charging, V while delivering

Each diode is i = Is (exp(u/N) - 1) with its own series resistance, at all times and both ways. Every circuit
of a set is stepped at once, by the L-stable two-stage Runge-Kutta method of order two (gamma = 1 - sqrt(1/2),
R. Alexander, SIAM J. Numer. Anal. 14 (1977) p. 1006) on a mesh that is finest where a half period begins. Each
stage is one node equation for A, solved by Newton's method between bounds.

    python -m tests.oracle_pump 400        compares the package with it on a wide grid
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, fields, replace

import numpy as np
from scipy.special import wrightomega

GAMMA = 1 - np.sqrt(0.5)
VT = 1.380649e-23 * 300 / 1.602176634e-19


def _law(volts, amperes, ideality, resistance):
    """Return the saturation current of a diode with this drop at this current, n Vt, and its series resistance."""
    return amperes / np.expm1((volts - amperes * resistance) / (ideality * VT)), ideality * VT, resistance


#: Saturation current [A], n Vt [V] at 300 K and series resistance [Ω] of the records 1N5817 and 1N4148.
SCHOTTKY = _law(0.42, 1.0, 1.373, 0.051)
SILICON = _law(0.694, 10e-3, 1.752, 0.568)


@dataclass
class Doublers:
    """A set of doublers, one array element each; `r1` is switch and series resistance of the flying capacitor."""

    supply: np.ndarray
    load: np.ndarray
    frequency: np.ndarray
    c1: np.ndarray
    c2: np.ndarray
    switch: np.ndarray
    esr1: np.ndarray
    esr: np.ndarray
    i_s: np.ndarray
    nvt: np.ndarray
    r_s: np.ndarray
    steps: int = 60

    def __post_init__(self):
        self.r1, self.half = self.switch + self.esr1, 0.5 / self.frequency
        self.mesh = np.linspace(0, 1, self.steps + 1) ** 3

    def some(self, which):
        """Return the doublers that `which` selects."""
        parts = {part.name: getattr(self, part.name) for part in fields(self) if part.name != "steps"}
        return replace(self, **{name: value[which] for name, value in parts.items()})

    def through(self, volts, resistance):
        """Return current and slope of a diode in series with a resistance."""
        x = np.log(resistance * self.i_s / self.nvt) + (volts + resistance * self.i_s) / self.nvt
        j = self.nvt / resistance * wrightomega(x)
        return j - self.i_s, j / (resistance * j + self.nvt)

    def node(self, e, v1, r1, v2, esr, a):
        """Return A and both currents, the capacitors standing at v1 and v2 behind r1 and esr; `a` is where to begin."""
        behind = v2 - esr * self.load
        low = np.minimum(np.minimum(self.supply, e + v1), behind) - r1 * self.i_s - 1
        high = np.maximum(np.maximum(self.supply, e + v1), behind) + 1
        a = np.clip(a, low, high)
        for _ in range(200):
            i1, g1 = self.through(self.supply - a, self.r_s)
            i2, g2 = self.through(a - behind, self.r_s + esr)
            error = i1 - i2 - (a - e - v1) / r1
            high, low = np.where(error < 0, a, high), np.where(error >= 0, a, low)
            new = a + error / (g1 + g2 + 1 / r1)
            new = np.where((new >= low) & (new <= high), new, (low + high) / 2)
            if np.all(np.abs(new - a) < 1e-13 * (1 + np.abs(a))):
                return new, i1, i2
            a = new
        raise AssertionError("node A was not found")

    def period(self, v1, v2, record=None):
        """Step one period, charging first; `record` gets of each step its end, length, output then and mean of both currents."""
        a = self.supply
        for phase in (0, 1):
            e = phase * self.supply
            for begin, end in zip(self.mesh[:-1], self.mesh[1:], strict=True):
                h = (end - begin) * self.half
                r1, esr = self.r1 + GAMMA * h / self.c1, self.esr + GAMMA * h / self.c2
                a, m1, m2 = self.node(e, v1, r1, v2, esr, a)
                w1 = v1 + (1 - GAMMA) * h * (m1 - m2) / self.c1
                w2 = v2 + (1 - GAMMA) * h * (m2 - self.load) / self.c2
                a, i1, i2 = self.node(e, w1, r1, w2, esr, a)
                v1, v2 = w1 + GAMMA * h * (i1 - i2) / self.c1, w2 + GAMMA * h * (i2 - self.load) / self.c2
                if record:
                    means = ((1 - GAMMA) * m + GAMMA * i for m, i in ((m1, i1), (m2, i2)))
                    record((phase + end) * self.half, h, v2 + self.esr * (i2 - self.load), *means)
        return v1, v2

    def settled(self, v1, v2):
        """Return the state that repeats after a period, by Newton's method on the stepped period."""
        thrice, step = self.some(np.tile(np.arange(v1.size), 3)), 1e-3  # a period of many costs what one of few does
        for _ in range(60):
            ends = thrice.period(np.concatenate([v1, v1 + step, v1]), np.concatenate([v2, v2, v2 + step]))
            (f1, a1, b1), (f2, a2, b2) = (np.split(end, 3) for end in ends)
            m11, m21 = (a1 - f1) / step - 1, (a2 - f2) / step
            m12, m22 = (b1 - f1) / step, (b2 - f2) / step - 1
            det, r1, r2 = m11 * m22 - m12 * m21, f1 - v1, f2 - v2
            d1, d2 = (m22 * r1 - m12 * r2) / det, (m11 * r2 - m21 * r1) / det
            size = np.maximum(np.abs(d1), np.abs(d2))
            scale = 3 / np.maximum(size, 3)
            v1, v2 = v1 - scale * d1, v2 - scale * d2
            if size.max() < 1e-5:
                return v1, v2
        raise AssertionError("no settled state was found")

    def seen(self, v1, v2):
        """Return the state after a period, and mean, peak to peak, tone, supply current and diode drops over it."""
        kept = []
        after = self.period(v1, v2, lambda *values: kept.append(values))
        t, h, out, i1, i2 = (np.array(part) for part in zip(*kept, strict=True))
        n = self.steps
        # Trapezoids; what a half period begins with is taken from the end of its tiny first step.
        middle = np.concatenate(
            [out[:1], (out[1:n] + out[: n - 1]) / 2, out[n : n + 1], (out[n + 1 :] + out[n:-1]) / 2]
        )
        at = t - h / 2
        mean = (middle * h).sum(axis=0) * self.frequency
        tone = (
            np.sqrt(2) * np.abs((middle * h * np.exp(-2j * np.pi * self.frequency * at)).sum(axis=0)) * self.frequency
        )
        drawn = ((i1[:n] * h[:n]).sum(axis=0) + (i2[n:] * h[n:]).sum(axis=0)) * self.frequency
        drops = 0
        for i in (i1, i2):
            charge, drop = (i + self.i_s) * h, self.nvt * np.log1p(np.maximum(i / self.i_s, -1 + 1e-15)) + i * self.r_s
            drops = drops + (charge * drop).sum(axis=0) / charge.sum(axis=0)
        return after, mean, np.ptp(out, axis=0), tone, drawn, drops

    def starts(self, final, bands, most):
        """Return after how many seconds from empty the mean over a period is within each band of `final`; NaN beyond `most` periods."""
        size = self.supply.size
        found = np.full((len(bands), size), np.nan)
        v1, v2, before, active = np.zeros(size), np.zeros(size), np.zeros(size), np.arange(size)
        for count in range(most):
            some = self.some(active)
            (v1[active], v2[active]), mean, *_ = some.seen(v1[active], v2[active])
            for row, band in zip(found, bands, strict=True):
                aim = (1 - band) * final[active]
                now = (mean >= aim) & np.isnan(row[active])
                share = (aim - before[active]) / (mean - before[active]) if count else np.ones(active.size)
                row[active[now]] = ((count - 0.5 + share) / some.frequency)[now]
            before[active] = mean
            active = active[np.isnan(found[:, active]).any(axis=0)]
            if not active.size:
                break
        return found


def draw(count, seed, *, steps=60, load=(0, 30e-3), c1=(1e-6, 100e-6), c2=(1e-6, 100e-6)):
    """Return a random set: 5 to 45 kHz, 3 to 12 V, series resistances to 5 ohm, both kinds of diode, some without load."""
    rng = np.random.default_rng(seed)
    diodes = np.where(rng.random(count) < 0.5, np.array(SCHOTTKY)[:, None], np.array(SILICON)[:, None])
    return Doublers(
        rng.uniform(3, 12, count),
        np.where(rng.random(count) < 0.1, 0.0, rng.uniform(*load, count)),
        np.exp(rng.uniform(np.log(5e3), np.log(45e3), count)),
        np.exp(rng.uniform(*np.log(c1), count)),
        np.exp(rng.uniform(*np.log(c2), count)),
        rng.uniform(4, 20, count),
        rng.uniform(0, 5, count),
        rng.uniform(0, 5, count),
        *diodes,
        steps=steps,
    )


def arguments(doublers, which):
    """Return the arguments of the package's functions for the doublers that `which` selects, all of one kind of diode."""
    from pedalcalc import devices

    some = doublers.some(which)
    kinds = {SCHOTTKY[0]: devices.typical(devices.DIODE_1N5817), SILICON[0]: devices.typical(devices.DIODE_1N4148)}
    return {
        "voltage_supply": some.supply,
        "current_load": some.load,
        "resistance_switch": some.switch,
        "frequency_pump": some.frequency,
        "capacitance_pump": some.c1,
        "resistance_esr_pump": some.esr1,
        "capacitance_output": some.c2,
        "resistance_esr_output": some.esr,
        "count": 1,
        "diode": kinds[float(some.i_s[0])],
    }


REST = {
    "resistance_feed": 0.0,
    "current_idle": 0.0,
    "voltage_rating_pump": 63.0,
    "voltage_rating_output": 63.0,
    "low_pin": "open",
}


def compare_settled(doublers):
    """Return a dictionary of pairs (package, stepped in time) for the settled state."""
    from pedalcalc import devices, pump

    both = {name: ([], []) for name in ("output", "ripple", "tone", "drawn", "diodes", "resistance")}
    for kind in (SCHOTTKY, SILICON):
        which = doublers.i_s == kind[0]
        if not which.any():
            continue
        some = doublers.some(which)
        found = pump.doubler(**arguments(doublers, which), **REST, converter=devices.CONVERTER_1044S)
        state = some.settled(some.supply - 0.5, 2 * some.supply - 1.5)
        _, *stepped = some.seen(*state)
        little = 1e-3 * (some.load + some.i_s)
        less, more = (replace(some, load=some.load + sign * little) for sign in (-1, 1))
        slope = (less.seen(*less.settled(*state))[1] - more.seen(*more.settled(*state))[1]) / (2 * little)
        ours = (
            found.voltage_output,
            found.voltage_ripple,
            found.voltage_tone,
            found.current_supply,
            found.voltage_drop_diodes,
            found.resistance_thevenin,
        )
        for pair, mine, theirs in zip(both.values(), ours, (*stepped, slope), strict=True):
            pair[0].append(mine)
            pair[1].append(theirs)
    return {name: tuple(np.concatenate(part) for part in pair) for name, pair in both.items()}


def compare_starts(doublers, bands, most):
    """Return start times of the package and stepped in time, one row a band; NaN beyond `most` periods."""
    from pedalcalc import devices, pump

    ours, theirs = [], []
    for kind in (SCHOTTKY, SILICON):
        which = doublers.i_s == kind[0]
        if not which.any():
            continue
        call = arguments(doublers, which)
        final = pump.doubler(**call, **REST, converter=devices.CONVERTER_1044S).voltage_output
        ours.append(np.array([pump.start_time(band, **call) for band in bands]))
        theirs.append(doublers.some(which).starts(final, bands, most))
    return np.concatenate(ours, axis=1), np.concatenate(theirs, axis=1)


def start_error(ours, theirs):
    """Return the error of a start time as a share of what is allowed: 2 % or half a millisecond, whichever is more."""
    return np.abs(ours - theirs) / np.maximum(0.02 * theirs, 0.5e-3)


def main(count):
    """Print how far the package is from the stepped circuits, at worst."""
    pairs = compare_settled(draw(count, 1, steps=100))
    for name, (ours, theirs) in pairs.items():
        error = np.abs(ours - theirs)
        print(f"{name:10} {error.max():.2e} at most, {(error / np.maximum(np.abs(theirs), 1e-9)).max():.2e} relative")
    ours, theirs = compare_starts(draw(max(count // 4, 1), 2, steps=30), (0.3, 0.05, 0.01), 2000)
    known = ~np.isnan(theirs)
    print(
        f"start time {np.nanmax(start_error(ours, theirs)):.2f} of 2 % or 0.5 ms at most, {known.sum()} of {known.size} followed"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
