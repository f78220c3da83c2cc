"""A board in time: switched on, its footswitch pressed, or with a signal at its input."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import is_a, numeric, one_of
from pedalcalc._base import simulate
from pedalcalc._refusal import Unsolved
from pedalcalc._result import Caution, Number, Result, caution_above, quantity
from pedalcalc._units import told
from pedalcalc.board import Board
from pedalcalc.circuit import _newton, _ways
from pedalcalc.circuit._assembly import system_of
from pedalcalc.circuit._groups import Couplers, coupler_conductance
from pedalcalc.circuit._heard import shares_heard
from pedalcalc.circuit._regions import Regions
from pedalcalc.circuit._system import System
from pedalcalc.circuit._tanks import Tanks
from pedalcalc.circuit.elements import GENERATOR, Branch
from pedalcalc.circuit.signals import RESISTANCE_GENERATOR, RESISTANCE_LOAD, Signal, agreed, signal_of

Array = NDArray[np.float64]

STARTS = ("settled", "off", "switched")
#: Length of the very first step, in which a switched circuit jumps, over that of the next.
FIRST = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Waveform(Result):
    """Volts of every net over time, shape (units, instants), or (instants,) for one unit.

    `left` names what left its region at rest (op-amps at a limit, transistors cut off or saturated, junctions that began to
    clip or ceased to conduct) and when first [s]. `heard` tells of each the share of the output's swing that its departure
    from its straight line at rest makes [1]: next to nothing for the rectifier of a side-chain.
    """

    time: Number = quantity("s", "time")
    voltages: Mapping[str, Number] = quantity("records", "voltage by net")
    left: Mapping[str, Number] = quantity("records", "first leaves its region")
    heard: Mapping[str, Number] = quantity("records", "share of the output that a part's departure makes")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@simulate
def waveform(
    board: Board,
    *,
    time: ArrayLike,
    voltage_input: ArrayLike = 0.0,
    start: str = "settled",
    net_in: str = "",
    net_out: str = "",
    resistance_generator: float = RESISTANCE_GENERATOR,
    resistance_load: float = RESISTANCE_LOAD,
    values: Mapping[str, Any] | None = None,
) -> Waveform:
    """Follow every net of a board in time.

    Parameters
    ----------
    board : Board
        The build under its conditions.
    time : array_like
        Instants [s], rising, the first of them the start; the step between two should be a hundredth of a period.
    voltage_input : array_like
        What the generator gives at these instants [V]: one row for all units, or a row for each unit.
    start : str
        `settled`: at rest; `off`: all capacitors empty, the supply comes on at once; `switched`: at rest in the other
        state of the footswitch, which is pressed at the first instant.
    net_in : str, optional
        Net into which the generator feeds; the tip of the input jack if not given.
    net_out : str, optional
        Net at which the load hangs; the tip of the output jack if not given.
    resistance_generator : float
        Resistance of the generator [Ω], at least 0; 10 kΩ, a pickup's order, if not given.
    resistance_load : float
        Load at the output [Ω], above 0; an amplifier's 1 MΩ if not given.
    values : mapping, optional
        Other values of parts, as in `operating_point`.

    Returns
    -------
    Waveform
        Volts by net, what left its region, and cautions.

    Raises
    ------
    ValueError
        If instants do not rise, shapes do not fit, or a net is not there.
    RuntimeError
        If a step was not solved; its instant is named.

    Notes
    -----
    Trapezoidal rule, after one implicit Euler step, with the same laws and steps as `operating_point`. Op-amps follow at
    once: their slew rate is left out, and a caution says where the record knows one and the output needs more. Capacitors have the series resistance that is left at high frequencies, cells of couplers stay where light has put them (`pedalcalc.compressor` moves them), a charge
    pump is at its mean.

    What is heard is told of a start that is `settled`: every law is its straight line at rest and a current that departs from it;
    these, one by one in the linear circuit, add up to what the output departs from that of small signals.

    References
    ----------
    HAIRER-WANNER, trapezoidal rule; DERIVED, capacitors with series resistance, the output as a sum of departures.

    Examples
    --------
    >>> from pedalcalc.board import assemble
    >>> from pedalcalc.parts import Connection, Part
    >>> nan = float("nan")
    >>> def part(name, kind, value, unit, *pins):
    ...     return Part(name, kind, value, unit, f"{value:g}", nan, nan, nan, nan, nan, pins, "")
    >>> parts = [
    ...     Part("X1", "connector", nan, "", "battery clip", nan, nan, nan, nan, nan,
    ...          (Connection("plus", "rail"), Connection("minus", "ground")), ""),
    ...     part("R1", "resistor", 10e3, "Ω", Connection("1", "rail"), Connection("2", "half")),
    ...     part("R2", "resistor", 10e3, "Ω", Connection("1", "half"), Connection("2", "ground")),
    ...     part("C1", "film capacitor", 1e-6, "F", Connection("1", "half"), Connection("2", "ground")),
    ... ]
    >>> import numpy as np
    >>> seen = waveform(assemble(parts, supply=9.0), time=np.linspace(0, 5e-3, 201), start="off", net_in="half",
    ...                 net_out="half", resistance_generator=1e12, resistance_load=np.inf)
    >>> print(f"{seen.voltages['half'][-1] / 4.5:.3f}")  # 1 - 1/e after 5 kΩ times 1 µF
    0.632
    """
    is_a("board", board, Board)
    one_of("start", start, STARTS)
    instants = numeric("time", time, least=0)
    if instants.ndim != 1 or len(instants) < 2 or not np.all(np.diff(instants) > 0):
        raise ValueError(f"time must be instants that rise, at least two, got shape {instants.shape}")
    given = np.atleast_2d(numeric("voltage_input", voltage_input))
    if given.ndim > 2 or np.isnan(given).any():
        raise ValueError(
            f"voltage_input must be known, one row for all units or a row for each, got {told(voltage_input)} of shape {given.shape}"
        )
    if given.shape[-1] not in (1, len(instants)):
        raise ValueError(f"voltage_input must have a value for each of {len(instants)} instants, got {given.shape[-1]}")
    given = np.broadcast_to(given, (len(given), len(instants)))
    rest = signal_of(
        replace(board, bypassed=not board.bypassed) if start == "switched" else board,
        net_in=net_in, net_out=net_out, resistance_generator=resistance_generator, resistance_load=resistance_load,
        values=values, faults=None, bridges=None,
    )  # fmt: skip
    now = rest
    if start == "switched":
        now = signal_of(
            board,
            net_in=rest.net_in, net_out=rest.net_out, resistance_generator=resistance_generator,
            resistance_load=resistance_load, values=values, faults=None, bridges=None,
        )  # fmt: skip
    return _run(now, rest, instants, given, start)


def _run(now: Signal, rest: Signal, instants: Array, given: Array, start: str) -> Waveform:
    """Step from instant to instant."""
    system = _cells_held(now)
    units = agreed("voltage_input", len(given), now.units)
    voltages = np.zeros((units, system.size + 1))
    tanks = Tanks(system, units)
    if start == "settled":
        voltages = _placed(now, system, units)
        tanks.settle(voltages)
    elif start == "switched":
        before = Tanks(rest.system, units)
        before.settle(np.broadcast_to(rest.solved.voltages, (units, rest.size + 1)))
        for k, name in enumerate(tanks.names):
            if name in before.names:
                tanks.volts[:, k] = before.volts[:, before.names.index(name)]
    names = [net for net in now.found.nets if system.where(net) is not None]
    drive = len(system.places) + [one.name for one in system.rods].index(GENERATOR)
    record = np.empty((units, len(instants), len(names)))
    places = np.empty((units, len(instants) if start == "settled" else 0, system.size + 1))
    left: dict[str, Array] = {}
    slow = float(instants[-1] - instants[0]) / (2 * np.pi)  # capacitors as a tone of that length finds them, 2 pi f C
    regions = Regions(system, _placed(now, system, units), tanks.step(system, slow, 1.0)[0])
    for k, instant in enumerate(instants):
        if k or start != "settled":
            step = float(instant - instants[k - 1]) if k else float(instants[1] - instants[0]) * FIRST
            share = 1.0 if k <= 1 else 0.5
            voltages = _stepped(system, tanks, voltages, given[:, k], drive, step, share, float(instant))
        record[:, k] = np.stack([system.volts(voltages, net) for net in names], axis=1)
        if start == "settled":
            places[:, k] = voltages
        for name, out in regions.left(system, voltages):
            first = left.setdefault(name, np.full(units, np.inf))
            first[out & np.isinf(first)] = instant
    rows = {net: (record[0, :, j] if units == 1 else record[:, :, j]) for j, net in enumerate(names)}
    firsts = {name: at for name, at in sorted(left.items()) if np.isfinite(at).any()}
    heard: dict[str, Array] = {}
    if start == "settled":
        wide = np.broadcast_to(given, (units, len(instants)))
        heard = shares_heard(system, tanks, firsts, instants, places, wide, drive, now.net_out)
    one = units == 1
    return Waveform(
        time=instants,
        voltages=rows,
        left={name: float(at[0]) if one else at for name, at in firsts.items()},
        heard={name: float(share[0]) if one else share for name, share in heard.items()},
        cautions=_too_fast(system, rows, instants),
    )


def _too_fast(system: System, rows: Mapping[str, Array], instants: Array) -> tuple[Caution, ...]:
    """Return a caution for each op-amp whose output goes faster than its slew rate; the first step, a start's jump, is left out."""
    found: tuple[Caution, ...] = ()
    for one in system.elements.amplifiers:
        if one.nets[2] in rows and len(instants) > 2:
            rate = np.abs(np.diff(rows[one.nets[2]]) / np.diff(instants))[..., 1:].max(axis=-1)
            found += caution_above(
                f"the output of {one.name} would have to move faster than it can: it lags and bends more than is told",
                "a smaller signal, or a type with a higher slew rate", rate, one.law.slew_rate, "V/s",
            )  # fmt: skip
    return found


def _stepped(
    system: System, tanks: Tanks, voltages: Array, given: Array, drive: int, step: float, share: float, instant: float
) -> Array:
    """Return the volts one step later, and let the tanks follow."""
    matrix, siemens = tanks.step(system, step, share)
    push, source = tanks.pushes(system, step, share)
    push[:, drive] -= given
    at = replace(system, matrix=system.matrix + matrix, driven=system.driven + push)
    found, good, _ = _newton.newton(at, voltages, wide=False, steps=40, signed=False)
    if not good.all():
        left = np.flatnonzero(~good)
        again = _ways.solve(at.take(left), units=len(left))
        found[left], good[left] = again.voltages, again.good
    if not good.all():
        raise Unsolved(f"the step to {instant:g} s was not solved", ~good if len(good) > 1 else True)
    tanks.follow(found, siemens, source, step, share)
    return found


def _placed(rest: Signal, system: System, units: int) -> Array:
    """Return volts at rest at the places of the equations in time; a net that ripples in these alone begins at its mean."""
    at = np.zeros((units, system.size + 1))
    seen, known = rest.solved.voltages, rest.system.at
    for k, place in enumerate(system.places):
        at[:, k] = seen[:, known.get(place, known[place[0], 0])]
    for k in range(len(system.rods)):
        at[:, len(system.places) + k] = seen[:, len(rest.system.places) + k]
    return at


def _cells_held(now: Signal) -> System:
    """Return equations whose cells are resistors, as steady light leaves them."""
    found = now.found
    if not found.couplers:
        return now.system
    held = replace(found, conductances=list(found.conductances), junctions=list(found.junctions), couplers=[])
    law = {one.name: one for one in found.couplers}
    for group in now.system.groups:
        if isinstance(group, Couplers):
            seen = coupler_conductance(group, group.volts(now.solved.voltages, 1.0))
            for k, name in enumerate(group.names):
                one = law[name]
                ohms = 1 / seen[:, k]
                held.junctions.append(Branch(name, name, one.nets[:2], one.law.led))
                held.conductances.append(
                    Branch(f"{name} cell", name, one.nets[2:], float(ohms[0]) if len(ohms) == 1 else ohms)
                )
    return system_of(held)
