"""Capacitors and inductors over one step in time: what they add to the equations, and what the step leaves in them."""

from __future__ import annotations

from copy import copy
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit._reach import flies
from pedalcalc.circuit._system import System
from pedalcalc.circuit.elements import Branch, of_units

Array = NDArray[np.float64]


class Tanks:
    """Capacitors and inductors over time."""

    def __init__(self, system: System, units: int) -> None:
        table: list[tuple[Branch, tuple[int, Any], tuple[int, Any]]] = []
        for one in system.elements.capacitors:
            first, second = (system.where(net) for net in one.nets)
            held = not flies(one, system.elements, system.moves)
            if np.any(one.law[0] > 0) and held and first is not None and second is not None:
                table.append((one, first, second))

        def columns(figures: list[Any]) -> Array:  # (1 or units, parts)
            rows = np.broadcast_arrays(*(np.atleast_1d(np.asarray(one, float)) for one in figures))
            return np.stack(rows, axis=1) if rows else np.zeros((1, 0))

        self.first = np.array([first[0] for _, first, _ in table], int)
        self.second = np.array([second[0] for _, _, second in table], int)
        self.above = columns([first[1] - second[1] for _, first, second in table])
        self.farads = columns([one.law[0] for one, _, _ in table])
        self.ohms = columns([one.law[5] for one, _, _ in table])
        self.names = [one.name for one, _, _ in table]
        self.volts = np.zeros((units, len(table)))
        self.amps = np.zeros((units, len(table)))
        self.nodes = len(system.places)
        self.henries = columns([rod.law[1] for rod in system.rods])
        self.rod_amps = np.zeros((units, self.henries.shape[1]))
        self.rod_volts = np.zeros_like(self.rod_amps)
        self.taken: tuple[float, float] | None = None
        self.made: tuple[Array, Array] = (self.above, self.above)

    def across(self, voltages: Array) -> Array:
        return np.asarray(voltages[:, self.first] - voltages[:, self.second] + self.above)

    def settle(self, voltages: Array) -> None:
        """Take the volts of a board at rest."""
        self.volts = self.across(voltages)
        self.amps = np.zeros_like(self.volts)
        self.rod_amps = voltages[:, self.nodes : self.nodes + self.henries.shape[1]].copy()
        self.rod_volts = np.zeros_like(self.rod_amps)

    def straight(self, of: Any) -> Tanks:
        """Return the same, empty and without the volts of sources, for rows of which each has the figures of one unit."""
        found = copy(self)
        for name in ("farads", "ohms", "henries"):
            setattr(found, name, of_units(getattr(self, name), of))
        found.above = np.zeros((1, self.farads.shape[1]))
        found.volts, found.amps = np.zeros((2, len(of), self.farads.shape[1]))
        found.rod_amps, found.rod_volts = np.zeros((2, len(of), self.henries.shape[1]))
        found.taken = None
        return found

    def step(self, system: System, step: float, share: float) -> tuple[Array, Array]:
        """Return the matrix of one step and what each capacitor conducts: `share` 1 is implicit Euler, 1/2 the trapezoidal rule."""
        if (step, share) != self.taken:
            n = system.size
            with np.errstate(divide="ignore"):
                siemens = 1 / (self.ohms + share * step / self.farads)
            matrix = np.zeros((max(len(siemens), len(self.henries)), n + 1, n + 1))
            for k in range(len(self.first)):
                a, b = self.first[k], self.second[k]
                for row, column, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
                    matrix[:, row, column] += sign * siemens[:, k]
            for k in range(self.henries.shape[1]):
                matrix[:, self.nodes + k, self.nodes + k] += self.henries[:, k] / (share * step)
            self.taken, self.made = (step, share), (matrix[:, :n, :n], siemens)
        return self.made

    def pushes(self, system: System, step: float, share: float) -> tuple[Array, Array]:
        """Return what capacitors and inductors push into each place in one step, and the volts behind each capacitor."""
        _, siemens = self.step(system, step, share)
        rate = (1 - share) * step / np.where(self.farads > 0, self.farads, np.inf)
        source = self.volts + rate * self.amps - self.above
        push = np.zeros((len(self.volts), system.size + 1))
        for k in range(len(self.first)):
            push[:, self.first[k]] += siemens[:, k] * source[:, k]
            push[:, self.second[k]] -= siemens[:, k] * source[:, k]
        for k in range(self.henries.shape[1]):
            held = self.henries[:, k] / (share * step) * self.rod_amps[:, k]
            push[:, self.nodes + k] += held + (1 - share) / share * self.rod_volts[:, k]
        return push[:, : system.size], source

    def follow(self, voltages: Array, siemens: Array, source: Array, step: float, share: float) -> None:
        """Take over what one step has brought."""
        across = self.across(voltages)
        amps = siemens * (across - self.above - source)
        rate = np.where(self.farads > 0, step / np.where(self.farads > 0, self.farads, 1.0), 0.0)
        self.volts = self.volts + rate * (share * amps + (1 - share) * self.amps)
        self.amps = amps
        new = voltages[:, self.nodes : self.nodes + self.henries.shape[1]]
        old = (1 - share) / share * self.rod_volts
        self.rod_volts = self.henries / (share * step) * (new - self.rod_amps) - old
        self.rod_amps = new.copy()
