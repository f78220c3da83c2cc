"""One half-wave through a detector, solved piece by piece.

While the rectifier conducts, R_a, C and R form a linear circuit driven by A sin φ − V_D; while
it blocks, C discharges into R and the leakage. Conduction begins and ends with no current in R_a, so that

    i(φ) = p(φ) − p(φ_1) e^(−(φ − φ_1)/(ω τ)),   τ = (R_a || R) C,

where p is the steady current that the drive would push if the rectifier conducted always. Written in
conductances, R_a = 0 and R = infinity need no special care.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pedalcalc.sidechain._newton import Array, newton


class Cycle(NamedTuple):
    """Constants of a detector at one frequency, angles in radians."""

    peak: Array
    diode: Array
    attack: Array
    conductance: Array  # release and load, to ground
    leakage: Array
    capacitance: Array
    turn: Array  # angular frequency


def drive(cycle: Cycle, angle: Array) -> Array:
    """Return what the rectifier offers, A sin φ − V_D."""
    return np.asarray(cycle.peak * np.sin(angle) - cycle.diode)


def steady_current(cycle: Cycle) -> tuple[Array, Array, Array]:
    """Return p(φ) of the circuit that always conducts, as the amplitude, lead and constant of a sine."""
    node = cycle.conductance + 1j * cycle.turn * cycle.capacitance
    admittance = node / (1 + cycle.attack * node)
    constant = (cycle.leakage - cycle.diode * cycle.conductance) / (1 + cycle.attack * cycle.conductance)
    return np.asarray(cycle.peak * np.abs(admittance)), np.angle(admittance), np.asarray(constant)


def _steady(cycle: Cycle, angle: Array) -> Array:
    push, lead, constant = steady_current(cycle)
    return np.asarray(push * np.sin(angle + lead) + constant)


def memory(cycle: Cycle) -> Array:
    """Return ω τ, the angle over which a change of the charging current fades."""
    return np.asarray(cycle.turn * cycle.attack * cycle.capacitance / (1 + cycle.attack * cycle.conductance))


def _left(cycle: Cycle, angle: Array) -> Array:
    """Return e^(−angle/(ω τ)), 1 at angle 0 even where τ is 0."""
    with np.errstate(divide="ignore", invalid="ignore", under="ignore"):
        return np.where(angle == 0, 1.0, np.exp(-angle / memory(cycle)))


def current(cycle: Cycle, start: Array, angle: Array) -> Array:
    """Return the current through R_a at `angle` of a conduction that began at `start`."""
    with np.errstate(under="ignore"):
        return np.asarray(_steady(cycle, angle) - _steady(cycle, start) * _left(cycle, angle - start))


def current_slopes(cycle: Cycle, start: Array, angle: Array) -> tuple[Array, Array]:
    """Return how `current` changes with the angle, and with the angle at which conduction began."""
    push, lead, constant = steady_current(cycle)
    left = _left(cycle, angle - start)
    with np.errstate(divide="ignore", invalid="ignore", under="ignore"):
        fading = np.where(left == 0, 0.0, left / memory(cycle))
        first = push * np.sin(start + lead) + constant
        by_angle = push * np.cos(angle + lead) + first * fading
        by_start = -push * np.cos(start + lead) * left - first * fading
    return by_angle, by_start


def conduction_start(cycle: Cycle, voltage: Array) -> Array:
    """Return the angle at which the drive meets what is left of `voltage`, which was held at angle 0."""
    latest = np.arcsin(np.minimum((voltage + cycle.diode) / cycle.peak, 1.0))
    earliest = np.arcsin(np.clip((blocked_voltage(cycle, voltage, latest) + cycle.diode) / cycle.peak, 0.0, 1.0))

    def met(angle: Array) -> tuple[Array, Array]:
        held = np.maximum(blocked_voltage(cycle, voltage, angle), 0.0)
        return drive(cycle, angle) - held, cycle.peak * np.cos(angle) + _drained(cycle, held)

    return newton(met, earliest, latest, earliest)


def conduction_end(cycle: Cycle, start: Array) -> Array:
    """Return the angle, past the crest of the sine, at which the current through R_a has died."""

    def died(angle: Array) -> tuple[Array, Array]:
        return -current(cycle, start, angle), -current_slopes(cycle, start, angle)[0]

    crest, last = np.full_like(start, np.pi / 2), np.full_like(start, np.pi)
    return newton(died, crest, last, np.pi - start)


def _drained(cycle: Cycle, held: Array) -> Array:
    """Return how fast the voltage falls with angle without conduction."""
    return np.asarray((held * cycle.conductance + cycle.leakage) / (cycle.capacitance * cycle.turn))


def return_error(cycle: Cycle, span: Array, start: Array) -> tuple[Array, Array]:
    """Return by how much the voltage misses its starting value after one period of the ripple, and its slope.

    The voltage starts where conduction begins; the slope is that over the angle of that beginning.
    """
    end = conduction_end(cycle, start)
    by_angle, by_start = current_slopes(cycle, start, end)
    with np.errstate(divide="ignore", invalid="ignore", under="ignore"):
        later = np.where(by_start == 0, 0.0, -by_start / by_angle)  # how the end moves with the beginning
        kept = np.exp(-cycle.conductance * (span - (end - start)) / (cycle.turn * cycle.capacitance))
    back = blocked_voltage(cycle, drive(cycle, end), span - (end - start))
    gained = kept * cycle.peak * np.cos(end) * later - _drained(cycle, back) * (1 - later)
    return back - drive(cycle, start), np.asarray(gained - cycle.peak * np.cos(start))


def charging_voltage(cycle: Cycle, start: Array, angle: Array) -> Array:
    """Return the held voltage while the rectifier conducts."""
    return np.asarray(drive(cycle, angle) - cycle.attack * current(cycle, start, angle))


def inflow(cycle: Cycle, start: Array, angle: Array) -> Array:
    """Return the current into the capacitor while the rectifier conducts."""
    share = 1 + cycle.attack * cycle.conductance
    return np.asarray(current(cycle, start, angle) * share - drive(cycle, angle) * cycle.conductance - cycle.leakage)


def inflow_slope(cycle: Cycle, start: Array, angle: Array) -> Array:
    """Return how the current into the capacitor changes with angle."""
    share = 1 + cycle.attack * cycle.conductance
    turning = current_slopes(cycle, start, angle)[0] * share
    return np.asarray(turning - cycle.peak * np.cos(angle) * cycle.conductance)


def _first(x: Array) -> Array:
    """Return (1 − e^−x)/x."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(x == 0, 1.0, -np.expm1(-x) / x)


def _second(x: Array) -> Array:
    """Return (x − 1 + e^−x)/x², by its series where the difference would lose digits."""
    series = 1 / 2 - x / 6 + x**2 / 24 - x**3 / 120 + x**4 / 720
    with np.errstate(divide="ignore", invalid="ignore", under="ignore"):
        exact = (x + np.expm1(-x)) / x**2
    return np.where(x < 0.01, series, exact)


def blocked_voltage(cycle: Cycle, voltage: Array, angle: Array) -> Array:
    """Return what is left of `voltage` after a stretch without conduction."""
    time = angle / cycle.turn
    decay = time * cycle.conductance / cycle.capacitance
    with np.errstate(under="ignore"):
        return np.asarray(voltage * np.exp(-decay) - cycle.leakage * time / cycle.capacitance * _first(decay))


def blocked_area(cycle: Cycle, voltage: Array, angle: Array) -> Array:
    """Return the integral of the held voltage over angle without conduction."""
    time = angle / cycle.turn
    decay = time * cycle.conductance / cycle.capacitance
    drained = cycle.leakage * time / cycle.capacitance * _second(decay)
    return np.asarray(angle * (voltage * _first(decay) - drained))


def charging_area(cycle: Cycle, start: Array, end: Array) -> Array:
    """Return the integral of the held voltage over angle while the rectifier conducts.

    From the charge balance of the capacitor: C dv/dt = i − v G − I and v = u − R_a i give
    v (1 + R_a G) = u − R_a (C dv/dt + I), which integrates without the shape of i.
    """
    offered = cycle.peak * (np.cos(start) - np.cos(end)) - cycle.diode * (end - start)
    change = charging_voltage(cycle, start, end) - drive(cycle, start)
    lost = cycle.attack * (cycle.capacitance * cycle.turn * change + cycle.leakage * (end - start))
    return np.asarray((offered - lost) / (1 + cycle.attack * cycle.conductance))
