"""The settled state of any two-diode doubler: in closed form, or stepped where the diodes overlap."""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc._refusal import among
from pedalcalc.pump._pulse import Array, Circuit, Settled, settle_pulses
from pedalcalc.pump._repeating import settle_overlap

#: How many overlapping circuits are solved at once.
_BLOCK = 300


def settle(circuit: Circuit, source: Array, idle: Array) -> tuple[Settled, Array]:
    """Return settled state and pin voltage of checked arrays; `circuit.supply` is ahead of `source`.

    NaN anywhere is NaN in every field at that element.
    """
    with np.errstate(all="ignore"):
        return _settle(circuit, source, idle)


def _settle(circuit: Circuit, source: Array, idle: Array) -> tuple[Settled, Array]:
    pin = np.asarray(circuit.supply - source * (2 * circuit.load + circuit.current_saturation + idle))
    settled = settle_pulses(circuit._replace(supply=pin))
    if np.all(settled.alone):
        return settled, pin
    whole = np.broadcast_arrays(*circuit, source, idle)
    shape = whole[0].shape
    parts: list[Any] = [part.reshape(-1) for part in whole]
    known = ~np.isnan(np.sum([np.where(np.isinf(part), 0.0, part) for part in parts], axis=0))
    fields: list[Any] = [np.array(np.broadcast_to(each, shape)).reshape(-1) for each in settled]
    pin = np.array(np.broadcast_to(pin, shape)).reshape(-1)
    places = np.flatnonzero(known & ~fields[-1])
    for first in range(0, len(places), _BLOCK):
        where = places[first : first + _BLOCK]
        chosen = [part[where] for part in parts]
        through, straight = _straight(Circuit(*chosen[:-2]), *chosen[-2:])
        pumps = chosen[3] > 0
        begin = _begin(Settled(*(field[where] for field in fields)), pin[where], through, straight)
        for field, value in zip(fields, through, strict=True):
            field[where] = value
        pin[where] = straight
        if pumps.any():
            chosen, where = [part[pumps] for part in chosen], where[pumps]
            with among(shape, where):
                stepped, pin[where] = settle_overlap(Circuit(*chosen[:-2]), chosen[-2], chosen[-1], begin[:, pumps])
            for field, value in zip(fields, stepped, strict=True):
                field[where] = value
    return Settled(*(field.reshape(shape) for field in fields)), pin.reshape(shape)


def _begin(closed: Settled, pin: Array, through: Settled, straight: Array) -> Array:
    """Return a state to begin the search from: of the closed form, and what comes straight through, the higher."""
    pumped = closed.output > through.output
    pump = np.where(pumped, closed.voltage_pump, straight / 2)
    return np.array(
        [
            np.clip(pump, 0, np.abs(straight)),
            np.where(pumped, closed.voltage_output, through.output),
            np.where(pumped, pin, straight),
        ]
    )


def _straight(circuit: Circuit, source: Array, idle: Array) -> tuple[Settled, Array]:
    """Return what comes through both diodes where nothing is pumped."""
    load, r_s, i_s, n = circuit.load, circuit.resistance_diode, circuit.current_saturation, circuit.nvt
    pin = circuit.supply - source * (load + idle)
    drops = 2 * (n * np.log1p(load / i_s) + load * r_s)
    none = 0 * drops
    out = pin - drops
    slope = 2 * (n / (load + i_s) + r_s)
    return Settled(
        output=out,
        resistance=slope,
        ripple=none,
        tone=none,
        ripple_pump=none,
        diodes=drops,
        drawn=load,
        voltage_pump=none,
        voltage_output=out,
        alone=none.astype(bool),
    ), pin
