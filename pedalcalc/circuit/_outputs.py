"""Branch laws of what holds a net by its output: op-amps and three-pin regulators, many at once, as in `_groups`."""

# ruff: noqa: ARG002 (one signature for all laws)

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit._groups import Group, Room, supplied
from pedalcalc.laws import amplifiers, regulators

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Amplifiers(Group):
    """Op-amps; terminals non-inverting and inverting input, output, positive and negative rail.

    `figures` holds the law and the lowest supply; bias and quiescent current fall with the supply below that.
    """

    grounded = True

    def branch(self, volts: Array, ease: Ease | None, out: Room | None = None) -> Room:
        law, least = self._law(ease)
        plus, minus, output, top, bottom = (volts[:, k] for k in range(5))
        difference = plus - minus if ease is None else plus - minus + ease.held / law.gain
        core = amplifiers.amplifier_branch(difference, output, top, bottom, law)
        given = core.given
        sourced, sunk = given > 0, given < 0
        flows, slopes = out or self.room(len(volts))
        g = slopes[:, 2]  # of the current given; into the output it counts the other way
        g[:, 0], g[:, 2], g[:, 3], g[:, 4] = (
            core.given_by_inputs, core.given_by_output, core.given_by_positive, core.given_by_negative
        )  # fmt: skip
        np.negative(g[:, 0], out=g[:, 1])
        np.multiply(g, sourced[:, None], out=slopes[:, 3])
        np.multiply(g, sunk[:, None], out=slopes[:, 4])
        np.negative(g, out=g)
        np.negative(given, out=flows[:, 2])
        into = law.bias > 0  # what flows in leaves by the negative rail, what flows out comes from the positive one
        inputs, between = volts[:, :2], (bottom[:, None], top[:, None])
        if (top - bottom >= least).all() and (inputs >= between[0]).all() and (inputs <= between[1]).all():
            flows[:, :2], slopes[:, :2] = law.bias[:, None], 0.0  # nothing is starved: no current moves with a voltage
            flows[:, 3] = law.quiescent + np.maximum(given, 0.0) - 2 * np.where(into, 0.0, law.bias)
            flows[:, 4] = -law.quiescent - np.maximum(-given, 0.0) - 2 * np.where(into, law.bias, 0.0)
            return flows, slopes
        share, by_supply = supplied(top - bottom, least)
        quiescent = law.quiescent * share
        flows[:, 3] = quiescent + np.maximum(given, 0.0)
        flows[:, 4] = -quiescent - np.maximum(-given, 0.0)
        for row, sign in ((3, 1.0), (4, -1.0)):
            slopes[:, row, 3] += sign * law.quiescent * by_supply
            slopes[:, row, 4] -= sign * law.quiescent * by_supply
        for k in (0, 1):
            left, fall = amplifiers.bias_left(volts[:, k], top, bottom, law.bias)
            flows[:, k] = law.bias * share * left
            moved, supplied_by = law.bias * share * fall, law.bias * left * by_supply
            slopes[:, k] = 0.0
            slopes[:, k, k] = moved
            slopes[:, k, 3] = supplied_by - np.where(into, 0.0, moved)
            slopes[:, k, 4] = -supplied_by - np.where(into, moved, 0.0)
            for row, pays in ((3, ~into), (4, into)):
                flows[:, row] -= np.where(pays, flows[:, k], 0.0)
                slopes[:, row] -= np.where(pays[:, None], slopes[:, k], 0.0)
        return flows, slopes

    def lent(self, volts: Array, offset: Array) -> Array:
        """Return volts with the input offsets of the unit from which these start.

        Met there, an output stays where its gain is at work; its own offset may be a hundred times its swing away.
        """
        law, _ = self.figures
        held = volts.copy()
        held[:, 0] += offset - law.offset
        return held

    def outside(self, volts: Array) -> Iterator[tuple[str, Any]]:
        law, _ = self.figures
        side, _, _, given = _limits(volts, law, 0.0)
        for k, name in enumerate(self.names):
            yield name, (side[:, k] != 0) | (given[:, k] != 0)

    def _law(self, ease: Ease | None) -> tuple[amplifiers.AmplifierFigures, Array]:
        law, least = self.figures
        if ease is None:
            return law, least
        return law._replace(
            gain=law.gain * ease.share,
            headroom_top=law.headroom_top - ease.wide,
            headroom_bottom=law.headroom_bottom - ease.wide,
            current_max=np.where(ease.wide > 0, np.inf, law.current_max),
        ), least

    def limited(self, volts: Array, before: Array, ease: Ease | None) -> Array:
        """Let no output jump from one limit to the other: it is met between them first, where its gain is at work.

        Its own volts are met there, too: elsewhere the limit of its current would have no slope, and steps go to and fro.
        """
        law, _ = self._law(ease)
        held_back = 0.0 if ease is None else ease.held
        side, low, high, given = _limits(volts, law, held_back)
        if not (side.any() or given.any()):
            return volts
        old, _, _, old_given = _limits(before, law, held_back)
        over, turned = side * old < 0, given * old_given < 0
        if not (over.any() or turned.any()):
            return volts
        held = volts.copy()
        middle = 0.5 * (low + high) - 0.5 * (volts[:, 3] + volts[:, 4])
        held[:, 0] = np.where(over, volts[:, 1] + (middle - held_back) / law.gain, volts[:, 0])
        free = 0.5 * (volts[:, 3] + volts[:, 4]) + law.gain * (held[:, 0] - held[:, 1]) + held_back
        held[:, 2] = np.where(turned | over, np.clip(free, low, high), volts[:, 2])
        return held


@dataclass(frozen=True, slots=True)
class Regulators(Group):
    """Three-pin regulators; terminals input, ground or adjust, output."""

    def _above(self, volts: Array) -> tuple[Array, Array]:
        """Return input and output above the ground pin, a negative type's turned over."""
        sign = self.figures.sign
        return sign * (volts[:, 0] - volts[:, 1]), sign * (volts[:, 2] - volts[:, 1])

    def branch(self, volts: Array, ease: Any, out: Room | None = None) -> Room:
        sign = self.figures.sign
        core = regulators.regulator_branch(*self._above(volts), self.figures)
        flows, slopes = out or self.room(len(volts))
        flows[:, 0], flows[:, 1], flows[:, 2] = sign * (core.given + core.taken), -sign * core.taken, -sign * core.given
        of_input, of_output = core.given_by_input, core.given_by_output + 0.0 * core.given
        given = np.stack([of_input, -(of_input + of_output), of_output], axis=1)
        taken = np.stack([core.taken_by_input, -core.taken_by_input, 0.0 * core.given], axis=1)
        slopes[:, 0], slopes[:, 1], slopes[:, 2] = given + taken, -taken, -given
        return flows, slopes

    def _over(self, volts: Array) -> tuple[Array, Array, Array]:
        """Return 1 or -1 where the output is at its most or its least current, and the volts of both corners."""
        fed, out = self._above(volts)
        law = self.figures
        inner, _ = regulators.behind(fed, law)
        upper, lower = inner - law.least * law.resistance, inner - law.most * law.resistance
        return 1.0 * (out <= lower) - (out >= upper), lower, upper

    def limited(self, volts: Array, before: Array, ease: Any) -> Array:
        """Meet an output at the corner of its limit first: a limit has no slope, and an output may hang on nothing else."""
        side, lower, upper = self._over(volts)
        fresh = (side != 0) & (side != self._over(before)[0]) & ~self.pinned[2]
        if not fresh.any():
            return volts
        held = volts.copy()
        corner = np.where(side > 0, lower, upper)
        held[:, 2] = np.where(fresh, volts[:, 1] + self.figures.sign * corner, volts[:, 2])
        return held

    def outside(self, volts: Array) -> Iterator[tuple[str, Any]]:
        core = regulators.regulator_branch(*self._above(volts), self.figures)
        for k, name in enumerate(self.names):
            yield name, ~core.regulates[:, k]


class Ease(NamedTuple):
    """How far op-amps are from their law on the way to it, all of shape (units, parts).

    `share` of the gain is at work, `held` volts stand for the rest, and outputs may go `wide` volts past their limits.
    """

    share: Array
    held: Array
    wide: Array


def _limits(volts: Array, law: amplifiers.AmplifierFigures, held: Any) -> tuple[Array, Array, Array, Array]:
    """Return -1, 0 or 1 for an output at its lower limit, between, at its upper one; both limits; the same for its current."""
    low, high = amplifiers.output_limits(volts[:, 3], volts[:, 4], law.headroom_top, law.headroom_bottom)
    free = 0.5 * (volts[:, 3] + volts[:, 4]) + law.gain * (volts[:, 0] - volts[:, 1]) + held
    wished = (np.clip(free, low, high) - volts[:, 2]) / law.resistance
    given = np.where(np.abs(wished) > law.current_max, np.sign(wished), 0.0)
    return 1.0 * (free >= high) - (free <= low), low, high, given
