r"""The settled state of a two-diode doubler whose diodes obey the junction law, in closed form.

Charging, the flying capacitor C1 fills from the supply through diode 1; delivering, it empties through
diode 2 into the output capacitor C2. The idle diode passes its saturation current Is back. Counted as
j = i + Is, the pulse of either half period H obeys

    (R + N/j) dj/dt = -(j - a)/C        N = n Vt, a = 0 and C = C1 charging,
                                        a = k J and C = C1 and C2 in series delivering, k = C1/(C1 + C2)

with J = load + Is and R all resistance of that loop. Voltage and time between its first value j0 and its
last, j1, are then elementary, and charge balance says that either pulse carries 2 H J:

    R (j0 - j1) + N x = (2 - k) J H/C            x = ln(j0/j1)
    C ((R + N/a) Y - (N/a) x) = H                Y = ln((j0 - a)/(j1 - a))

In units of J and N, with rho = R J/N, room = J H/(C N), u = (x + Y)/2 and h = (Y - x)/2, both together are
one equation in u, whose right side falls while its left side rises (k -> 0: (A - u)(B - u) = 4 sinh²(u/2)):

    4 sinh²(u/2) = 4 sinh²(h/2) + (volts - u + h) 2 sinh(h)/(k rho),   h = k (room - rho u)/(2 + k rho)

The mean of the output over the pulse takes one dilogarithm. What one diode passes forward while it should
block is the only thing left out; `alone` says where that is nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import spence

Array = NDArray[np.float64]

#: Forward current of a blocking diode, as a share of what the pulses carry, that counts as nothing.
_NOTHING = 1e-6
#: Nodes and weights of the one quadrature, for the pulse's part of the pump tone.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)


class Circuit(NamedTuple):
    """One converter with its share of load and output capacitor; `supply` is at its pin."""

    supply: Array
    load: Array
    period: Array
    pump: Array
    output: Array
    resistance_pump: Array  # switch and flying capacitor
    resistance_output: Array
    resistance_diode: Array
    current_saturation: Array
    nvt: Array


class Settled(NamedTuple):
    """The periodic steady state; `voltage_pump` and `voltage_output` stand where charging begins."""

    output: Array
    resistance: Array
    ripple: Array
    tone: Array
    ripple_pump: Array
    diodes: Array
    drawn: Array
    voltage_pump: Array
    voltage_output: Array
    alone: NDArray[np.bool_]


class Pulse(NamedTuple):
    """One pulse in units of J and N: y0, y1 and both above `share`, and (Y - x)/k."""

    share: Array
    rho: Array
    room: Array
    x: Array
    y: Array
    first: Array
    last: Array
    first_above: Array
    last_above: Array
    slack: Array


def pulse(share: Array, rho: Array, room: Array) -> Pulse:
    """Solve the one equation of a pulse by Newton's method, which descends to the root from above."""
    volts = (2 - share) * room
    both = share * rho
    alpha, beta = share * room / (2 + both), both / (2 + both)
    longest = room / rho
    least = alpha / (1 + beta)

    def right(u: Array) -> tuple[Array, Array]:
        """Return the right side and its slope."""
        r = (room - rho * u) / (2 + both)
        h = share * r
        rest = volts - u + h
        t = np.expm1(h)
        e = 1 + t
        twice = t * (2 + t) / e  # 2 sinh(h)
        over = np.where(h > 0, twice / both, 2 * r / rho)
        value = t * t / e + rest * over
        return value, -beta * twice - (1 + beta) * over - rest * (e + 1 / e) / (2 + both)

    # Above the root: the root of u² = a parabola over the right side, and the right side at a u below the root.
    steep = np.where(least > 0, np.sinh(least) / least, 1.0)
    scale = 2 * steep / (2 + both)
    a = steep * beta**2 + scale * (1 + beta) - 1
    b = 2 * steep * alpha * beta + scale * (volts + alpha + (1 + beta) * longest)
    c = steep * alpha**2 + scale * (volts + alpha) * longest
    u = np.fmin(2 * c / (b + np.sqrt(b * b - 4 * a * c)), 2 * np.arcsinh(np.sqrt(right(least)[0]) / 2))
    for _ in range(60):
        value, slope = right(u)
        root = np.sqrt(value)
        step = (u - 2 * np.arcsinh(root / 2)) / (1 - slope / (root * np.sqrt(4 + value)))
        u = u - step
        if not np.any(np.abs(step) > 2e-13 * np.abs(u)):
            break
    else:
        u = np.where(np.abs(step) > 1e-9 * np.abs(u), np.nan, u)
    u = np.where(rho == 0, volts + alpha, u)  # no resistance: the voltage alone gives the ratio of the currents
    r = (room - rho * u) / (2 + both)
    h = share * r
    x, y = u - h, u + h
    # Voltage and time both give the last current; take the one that subtracts less.
    spent, left = -np.expm1(-x), volts - x
    by_time = np.where(h > 0, spent * share / np.expm1(2 * h), spent / (2 * r))
    above = np.where((room - rho * u) * volts >= left * room, by_time, left / (rho * np.expm1(y)))
    head = above * np.exp(y)
    return Pulse(share, rho, room, x, y, share + head, share + above, head, above, 2 * r)


def settle_pulses(circuit: Circuit) -> Settled:
    """Solve the settled state of checked arrays in closed form, as if a blocking diode never conducted forward.

    Where that is out of range the fields are meaningless and `alone` is false; `np.errstate` is the caller's.
    """
    supply, load, period, c1, c2, r1, esr, r_s, i_s, n = circuit
    j = np.asarray(load + i_s)
    share = 1 / (1 + c2 / c1)  # 0 for a stiff output
    room1 = j * period / (2 * c1 * n)
    room2 = j * period / (2 * n) * (1 / c1 + 1 / c2)
    one = pulse(np.zeros(()), (r1 + r_s) * j / n, room1)
    two = pulse(share, (r1 + r_s + esr) * j / n, room2)
    # All voltages in units of N from here on.
    end1, end2 = (p.rho * p.last + np.log(p.last * (j / i_s)) for p in (one, two))
    start2 = end2 + (2 - share) * room2
    back, drop = i_s * r_s / n, esr * j / n
    pumped = supply / n + back - end1  # flying capacitor when charging ends
    low = supply / n + pumped + back + drop - start2  # output capacitor then
    lifted = area(two)
    mean = (share * two.rho * lifted + (lifted - two.x**2 / 2)) / room2  # of ln(y/y1) in time, times the share
    output = low + (share * ((2 - share) * room2 + two.rho * (two.last - 2) + share * room2 / 2) - mean) / 2
    blocked2 = supply / n + back - (end1 - one.last * j * r1 / n) + back - low + drop
    blocked1 = back - pumped + np.maximum(two.first * j * r1 / n, two.last * j * r1 / n + 2 * room1)
    alone = i_s * np.exp(np.maximum(blocked1, blocked2)) < _NOTHING * j
    return Settled(
        output=output * n,
        resistance=_slope(one, two, lifted, mean, drop) * n / j,
        ripple=_ripple(two, drop) * n,
        tone=_tone(two) * j * np.hypot(esr, period / (2 * np.pi * c2)),
        ripple_pump=2 * n * room1,
        diodes=_diode(one, one.x**2 / 2, j, r_s, i_s, n) + _diode(two, lifted, j, r_s, i_s, n),
        drawn=2 * load + i_s,
        voltage_pump=(pumped - 2 * room1) * n,
        voltage_output=(low + share * room2) * n,
        alone=alone & np.isfinite(output),
    )


def area(p: Pulse) -> Array:
    """Return the integral of ln(y/y1)/(y - k) from y1 to y0."""
    whole = spence(p.last / p.share) - spence(p.first / p.share) - np.log(p.last / p.share) * p.y
    return np.where(p.share > 0, whole, p.x**2 / 2)


def _slope(one: Pulse, two: Pulse, area: Array, mean: Array, drop: Array) -> Array:
    """Return the output resistance in units of N/J, by differentiating every equation of the state by J."""

    def grown(p: Pulse) -> tuple[Array, Array]:
        """Return (rho + 1/y) J dy/dJ at both ends, from voltage and time."""
        last = (p.x * p.last_above / p.first - p.slack * p.last_above * (p.first_above / p.first)) / -np.expm1(-p.x)
        return last + p.x, last

    _, last1 = grown(one)
    first, last = grown(two)
    k, rho = two.share, two.rho
    rise, fall = first / (rho * two.first + 1), last / (rho * two.last + 1)  # d ln y / d ln J
    area_more = two.x * rise * (two.first / two.first_above) - two.y * fall
    mean_more = (
        k * rho * (area + area_more) + k * two.x * rise / two.first_above - fall * (two.y - two.x)
    ) / two.room - mean
    upper = rho * two.first + 1 + first
    average = k * (upper - 2 * rho - 1 - fall) - mean_more + k**2 * two.room / 2
    return np.asarray((one.rho * one.last + 1 + last1) + upper - drop - average / 2)


def _ripple(p: Pulse, drop: Array) -> Array:
    """Return the output from its lowest, when charging ends, to its highest, in units of N."""
    k, rho = p.share, p.rho
    # It turns where k (y - 1)(rho y + 1) = drop y (y - k).
    a, b = k * rho - drop, k - k * rho + drop * k
    root = np.sqrt(b * b + 4 * a * k)
    most = np.maximum(p.first * drop, k * p.room + p.last * drop)
    for y in ((-b + root) / (2 * a), (-b - root) / (2 * a), k / b):
        inside = (y > p.last) & (y < p.first)
        below = np.log(p.first_above / (y - k))
        ratio = np.log(p.first / y)
        time = np.where(k > 0, (rho + 1 / k) * below - ratio / k, np.inf)  # in units of C N/J
        here = k * (rho * (p.first - y) + ratio - (1 - k) * time) + y * drop
        most = np.where(inside & (here > most), here, most)
    return most


def _tone(p: Pulse) -> Array:
    """Return the pulse's rms at the pump frequency over J; the current that stays is integrated exactly."""
    k, rho = p.share, p.rho
    real, imaginary = np.zeros(()), -k / np.pi
    span = p.first - p.last
    for node, weight in zip((_NODES + 1) / 2, _WEIGHTS / 2, strict=True):
        y = p.last + span * node**3
        above = p.last_above + span * node**3
        slack = np.log1p(k * span * (1 - node**3) / (p.first * above)) / k
        slack = np.where(k > 0, slack, 1 / y - 1 / p.first)
        angle = np.pi / p.room * (rho * np.log(p.first_above / above) + slack)
        part = weight * 3 * node**2 * span * (rho + 1 / y) / (2 * p.room)
        real, imaginary = real + part * np.cos(angle), imaginary - part * np.sin(angle)
    return np.asarray(np.sqrt(2) * np.hypot(real, imaginary))


def _diode(p: Pulse, area: Array, j: Array, r_s: Array, i_s: Array, n: Array) -> Array:
    """Return what the diode drops in the mean over the charge that it carries."""
    k, rho = p.share, p.rho
    span = p.first - p.last
    squares = rho * (span * (p.first + p.last) / 2 + k * span + k**2 * p.y) + span + k * p.y  # of j
    logs = rho * (p.first * p.x - span) + (1 + rho * k) * area
    charge = 2 * p.room
    return np.asarray(n * (np.log(p.last * (j / i_s)) + logs / charge) + r_s * (j * squares / charge - i_s))
