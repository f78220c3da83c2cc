"""A three-pin voltage regulator as its pins show it: a held voltage behind a resistance, between sharp limits.

::

    in ---[ pass transistor ]---[Ro]--- out      E = Vreg + k (V - Vtest), at most V - dropout
                  |                              I = (E - Vout)/Ro, held between least and current limit
               ground or adjust                  all volts above the pin of ground or adjust

It gives and cannot take: an output that is lifted gets no current, or the least one of an adjustable type, whose own
supply flows out there while there is room for it. What the ground or adjust pin passes grows with the input until the part
regulates. k is what the
ripple rejection of the sheet leaves, at rest the line regulation. A negative type is the mirror image. Noise, the
regulator's own speed, and the fold-back of the limit at high voltage are left out.

For a solver: `regulator_figures` once, then `regulator_branch`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pedalcalc._figure import figure
from pedalcalc._result import Array
from pedalcalc.devices import Regulator


class RegulatorFigures(NamedTuple):
    """One regulator; `sign` is -1 for a negative type, `follows` the share of the input that comes through."""

    sign: Array
    volts: Array
    follows: Array
    tested: Array
    resistance: Array
    dropout: Array
    most: Array
    least: Array
    quiescent: Array


class RegulatorCore(NamedTuple):
    """What `regulator_branch` finds for a positive type: current given, current of the ground pin [A], their slopes [S]."""

    given: Array
    given_by_input: Array
    given_by_output: Array
    taken: Array
    taken_by_input: Array
    regulates: Any


def regulator_figures(record: Regulator) -> RegulatorFigures:
    """Return the numbers of a specimen."""
    most, rejection = figure(record, "current_output_max"), figure(record, "ripple_rejection_db")
    return RegulatorFigures(
        sign=np.asarray(-1.0 if record.polarity == "negative" else 1.0),
        volts=figure(record, "voltage_output"),
        follows=np.where(np.isnan(rejection), 0.0, 10 ** (-rejection / 20)),
        tested=figure(record, "voltage_input_test"),
        resistance=figure(record, "resistance_output_closed"),
        dropout=figure(record, "voltage_dropout"),
        most=np.where(np.isnan(most), np.inf, most),
        least=figure(record, "current_load_min"),
        quiescent=figure(record, "current_ground"),
    )


def behind(fed: Array, law: RegulatorFigures) -> tuple[Array, Array]:
    """Return what stands behind the output resistance, and its slope: 1 where the input leaves no room."""
    wanted, room = law.volts + law.follows * (fed - law.tested), fed - law.dropout
    short = room < wanted
    return np.where(short, room, wanted), np.where(short, 1.0, law.follows)


def _share(across: Array, full: Array) -> tuple[Array, Array]:
    """Return how much of its own current a part takes at so many volts, all of it from `full` up, and the slope."""
    return np.clip(across / full, 0.0, 1.0), np.where((across > 0) & (across < full), 1 / full, 0.0)


def regulator_branch(fed: Array, output: Array, law: RegulatorFigures) -> RegulatorCore:
    """Return currents and slopes from the volts of input and output above the ground or adjust pin, times the sign [V]."""
    inner, slope = behind(fed, law)
    wished = (inner - output) / law.resistance
    through, by_room = _share(fed - output, law.dropout)
    given = np.minimum(np.maximum(wished, law.least * through), law.most)
    inside, below = given == wished, wished < given
    share, by_input = _share(fed, law.volts + law.dropout)
    return RegulatorCore(
        given=given,
        given_by_input=np.where(inside, slope / law.resistance, np.where(below, law.least * by_room, 0.0)),
        given_by_output=np.where(inside, -1 / law.resistance, np.where(below, -law.least * by_room, 0.0)),
        taken=law.quiescent * share,
        taken_by_input=law.quiescent * by_input,
        regulates=inside & (slope != 1.0),
    )
