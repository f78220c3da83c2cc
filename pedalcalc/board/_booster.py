"""A JFET booster with an emitter follower behind it, as its list builds it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc import bjt, fet, rc, stage, supply, switching, values
from pedalcalc._arguments import is_a, one_number
from pedalcalc._base import search
from pedalcalc._result import Caution, Result, quantity
from pedalcalc.board._booster_stages import (
    cautions_of,
    consumers_of,
    design_of,
    meter_points_of,
    room,
    solve,
    steps_of,
    switched,
    through_level,
    unmeasured,
)
from pedalcalc.board._core import Board
from pedalcalc.board._design import DesignPart
from pedalcalc.board._rows import Consumer, Parts, TestPoint, Thump, thumps
from pedalcalc.devices import Bjt, Jfet

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Booster(Result):
    """A booster at its operating point in the lowest, usual and highest case, its gain, and its switching."""

    safe: supply.Protection = quantity("record", "behind the protection diode")
    filtered: supply.SupplyFilter = quantity("record", "behind the filter")
    jfet: fet.FetPoint = quantity("record", "JFET")
    follower: bjt.BjtPoint = quantity("record", "follower")
    text_device: str = quantity("text", "what is known of the JFET")
    voltage_drain_low: float = quantity("V", "drain, lowest the part allows")
    voltage_drain_high: float = quantity("V", "drain, highest the part allows")
    gain: float = quantity("1", "gain, level at full")
    gain_db: float = quantity("dB", "gain, level at full")
    gain_first: float = quantity("1", "gain of the JFET, bypassed")
    gain_plain: float = quantity("1", "the same without the bypass capacitor")
    gain_follower: float = quantity("1", "gain of the follower")
    gain_set: float = quantity("1", "gain with the level where it stands")
    impedance_input: float = quantity("Ω", "input impedance")
    impedance_output: float = quantity("Ω", "output impedance of the follower")
    frequency_low: float = quantity("Hz", "corner of the input")
    frequency_low_bypass: float = quantity("Hz", "corner of the bypass")
    frequency_low_output: float = quantity("Hz", "corner of the output")
    swing_up: Array = quantity("V", "room of the output upward")
    swing_down: Array = quantity("V", "room of the output downward")
    voltage_peak: Array = quantity("V", "largest peak at the output")
    lights: switching.IndicatorStates = quantity("record", "indicator in both states")
    states: switching.CurrentStates = quantity("record", "current in each state")
    thump_in: switching.PulldownThump = quantity("record", "thump of the input capacitor")
    thump_out: switching.PulldownThump = quantity("record", "thump of the output capacitor")
    rail_step: switching.IndicatorThump = quantity("record", "thump of the indicator")
    thumps: tuple[Thump, ...] = quantity("records", "steps at the output when the footswitch is pressed")
    rail_steps: tuple[TestPoint, ...] = quantity("records", "from the label to the usable swing")
    consumers: tuple[Consumer, ...] = quantity("records", "consumers")
    design_parts: tuple[DesignPart, ...] = quantity("records", "parts that the design chooses")
    test_points: tuple[TestPoint, ...] = quantity("records", "test points")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@search
def jfet_booster(
    board: Board,
    *,
    roles: Mapping[str, str],
    current_ratio: ArrayLike,
    current_emitter: ArrayLike,
    current_wanted: ArrayLike,
    frequency: ArrayLike,
    resistance_generator: ArrayLike,
    resistance_load: ArrayLike,
    plug: str = "mono",
) -> Booster:
    """Find what a JFET booster does with the parts that are fitted, and which values its design wants.

    Parameters
    ----------
    board : Board
        The board.
    roles : mapping of str to str
        Which reference is the ``protection``, ``filter``, ``filter capacitor``, ``gate``, ``drain``, ``source``,
        ``emitter``, ``JFET``, ``follower``, ``input``, ``bypass``, ``output``, ``input pull-down``, ``output pull-down``,
        ``level``, ``indicator``, ``indicator resistor``.
    current_ratio : array_like
        Drain current that the design wants as a share of IDSS [1], above 0 and below 1.
    current_emitter : array_like
        Emitter current that the design wants [A], above 0.
    current_wanted : array_like
        Indicator current that the design wants [A], above 0.
    frequency : array_like
        Lowest note [Hz], above 0.
    resistance_generator : array_like
        What drives the input [Ω], 0 to inf.
    resistance_load : array_like
        What follows the output [Ω], above 0, inf allowed.
    plug : str, optional
        Plug in the input jack, ``mono`` or ``stereo``.

    Returns
    -------
    Booster
        Operating points, gain, corners, switching, parts as the design wants them, test points and cautions.

    Raises
    ------
    ValueError
        If a role is missing, a part is none of its kind, or a value is out of range.
    RuntimeError
        If supply and stages, or drain and base, do not settle on each other.

    Notes
    -----
    What the stages draw depends on the rail that their own current leaves behind diode and filter; both are found
    together. A JFET that nobody has measured is the usual one of its type, with the drain voltage of both ends beside it.

    References
    ----------
    DERIVED, each stage with the functions of its own room; PRACTICE, corners below the lowest note.

    Examples
    --------
    >>> from pedalcalc.board import BOOSTER_ROLES, assemble
    >>> build = assemble("notebooks/builds/jfet-booster/parts.csv", supply=9.0)
    >>> found = jfet_booster(
    ...     build, roles=BOOSTER_ROLES, current_ratio=0.36, current_emitter=0.5e-3, current_wanted=1.5e-3,
    ...     frequency=82.0, resistance_generator=10e3, resistance_load=470e3,
    ... )
    >>> found.gain > 2
    True
    """
    parts = Parts(is_a("board", board, Board), roles)
    share = one_number("current_ratio", current_ratio, "", above=0, below=1)
    through_emitter = one_number("current_emitter", current_emitter, "", above=0)
    through_lamp = one_number("current_wanted", current_wanted, "", above=0)
    note = one_number("frequency", frequency, "", above=0)
    source = one_number("resistance_generator", resistance_generator, "", least=0, infinity=True)
    next_input = one_number("resistance_load", resistance_load, "", above=0, infinity=True)
    parts.of_polarity("JFET", Jfet, "n")
    parts.of_polarity("follower", Bjt, "npn")
    safe, filtered, jfet, follower, lamp = solve(parts)
    level = board.control(parts.name("level"), rotation=1.0).resistance_total
    behind = float(rc.parallel_resistance([parts.ohms("output pull-down"), next_input]))
    out = float(rc.parallel_resistance([level, behind]))
    small = stage.emitter_follower(
        transconductance=float(np.asarray(follower.transconductance)[1]),
        resistance_base_emitter=float(np.asarray(follower.resistance_base_emitter)[1]),
        resistance_emitter=parts.ohms("emitter"),
        resistance_load=out,
        resistance_generator=parts.ohms("drain"),
    )
    gm = float(np.asarray(jfet.transconductance)[1])
    first = {
        "resistance_drain": parts.ohms("drain"),
        "resistance_load": float(small.impedance_device),
        "resistance_bias": parts.ohms("gate"),
        "resistance_generator": source,
    }
    boosted = stage.common_source(gm, **first)
    plain = stage.common_source(gm, resistance_source_pin=parts.ohms("source"), **first)
    gain = float(boosted.gain) * float(small.gain)
    up, down, peak = room(parts, jfet, follower, float(small.gain), out)
    dynamic = 1 / gm if gm > 0 else np.inf
    lights, states, thump_in, thump_out, rail_step = switched(
        parts, safe, jfet, follower, lamp, gain, float(small.gain), source, behind, plug
    )
    drain_low, drain_high, told = unmeasured(parts, np.asarray(filtered.voltage_output))
    cautions = cautions_of(parts, safe, filtered, jfet, follower, (lights, states, thump_in, thump_out, rail_step))
    return Booster(
        safe=safe,
        filtered=filtered,
        jfet=jfet,
        follower=follower,
        text_device=told,
        voltage_drain_low=drain_low,
        voltage_drain_high=drain_high,
        gain=gain,
        gain_db=float(values.decibels_from_gain(gain)),
        gain_first=float(boosted.gain),
        gain_plain=float(plain.gain),
        gain_follower=float(small.gain),
        gain_set=gain * through_level(parts, behind, float(small.impedance_output), out),
        impedance_input=float(boosted.impedance_input),
        impedance_output=float(small.impedance_output),
        frequency_low=float(
            rc.corner_frequency(resistance=source + parts.ohms("gate"), capacitance=parts.farads("input"))
        ),
        frequency_low_bypass=float(
            stage.bypass_corner(
                parts.farads("bypass"), resistance_bypassed=parts.ohms("source"), resistance_dynamic=dynamic
            )
        ),
        frequency_low_output=float(
            rc.corner_frequency(resistance=float(small.impedance_output) + out, capacitance=parts.farads("output"))
        ),
        swing_up=up,
        swing_down=down,
        voltage_peak=peak,
        lights=lights,
        states=states,
        thump_in=thump_in,
        thump_out=thump_out,
        rail_step=rail_step,
        thumps=thumps(parts, thump_in, thump_out, rail_step, most_in=peak[1]),
        rail_steps=steps_of(parts, safe, filtered, follower, up, down, peak, gain),
        consumers=consumers_of(parts, jfet, follower, lamp),
        design_parts=design_of(parts, safe, filtered, share, through_emitter, through_lamp, note, source, out),
        test_points=meter_points_of(parts, safe, filtered, jfet, follower, lights),
        cautions=cautions,
    )
