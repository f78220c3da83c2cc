"""Where everything stands with no signal: volts of every net, amperes and watts of every part, what is beyond a rating."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import is_a, table_of, words
from pedalcalc._base import search
from pedalcalc._meter import loading
from pedalcalc._refusal import Unsolved
from pedalcalc._result import Caution, Number, Result, quantity
from pedalcalc.board import Board
from pedalcalc.circuit import _groups, _newton, _outputs, _ways
from pedalcalc.circuit._assembly import system_of
from pedalcalc.circuit._predictable import nets_unpredictable
from pedalcalc.circuit._pumped import pumping
from pedalcalc.circuit._system import System
from pedalcalc.circuit.elements import Elements, elements_of, near
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.ratings import ratings
from pedalcalc.parts import NOT_CONNECTED

Array = NDArray[np.float64]

#: Two equilibria nearer than this everywhere are one [V].
ALIKE = 1e-3
#: By these words a caution tells that a board does not rest.
RESTLESS = "starts to swing"


@dataclass(frozen=True, slots=True, eq=False)
class OperatingPoint(Result):
    """A board at rest; each figure is one number, or an array over the units where `values` held arrays.

    Ask by name: ``point.voltages["drain"]``, ``point.currents["R5"]``, ``point.currents["Q1 drain"]``. Currents of parts
    with two pins go from the first pin to the second, others into the pin. `floating` nets hang on nothing but the
    insulation of capacitors, those in `unpredictable` follow an op-amp beyond its input range: neither has a number. Of
    several units both name what is so in any of them; NaN stands in those units only, also for the current of a part of which
    all ends float, or of shorts in a ring. `others` are further stable states of the same unit, found from the stated starts.
    """

    voltages: Mapping[str, Number] = quantity("records", "voltage by net")
    currents: Mapping[str, Number] = quantity("records", "current by part and pin")
    powers: Mapping[str, Number] = quantity("records", "heat by part")
    current_supply: Number = quantity("A", "supply current")
    floating: tuple[str, ...] = quantity("records", "nets that float")
    unpredictable: tuple[str, ...] = quantity("records", "nets that cannot be predicted")
    others: tuple[Mapping[str, Number], ...] = quantity("records", "other stable states")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@search
def operating_point(
    board: Board,
    *,
    values: Mapping[str, Any] | None = None,
    faults: Mapping[str, str] | None = None,
    bridges: Mapping[tuple[str, str], Any] | None = None,
    probe: str = "",
) -> OperatingPoint:
    """Find where every net of a board stands with no signal.

    Parameters
    ----------
    board : Board
        The build under its conditions: supply, switch, plugs, controls (`pedalcalc.board.assemble`).
    values : mapping, optional
        Other values for parts by reference: ohms (0 to inf, a short and an open part), farads or henries (at least 0,
        finite), or a record of the part's kind (of a type the usual part; `devices.drawn` makes many units);
        ``"supply"`` is the voltage at the socket. Arrays of one length are as many units, solved at once.
    faults : mapping, optional
        What is wrong with a part by reference: ``open`` or ``missing`` (not there, an IC out of its socket), ``shorted``
        (a part of two ends), ``reversed`` (two leads exchanged, three in the opposite order, an IC turned round).
    bridges : mapping, optional
        Ohms from one net to another, such as ``{("hold", "rail"): 100e3}``: a resistor clipped in, or solder at 0.
    probe : str, optional
        A net on which the board's meter stands, black lead on ground; a pointer meter on the range of the usual supply.

    Returns
    -------
    OperatingPoint
        Volts, amperes, watts, cautions.

    Raises
    ------
    ValueError
        If a reference, net or fault is not known, a value is out of range, or the supply is shorted (in which unit is said).
    RuntimeError
        If a unit was not solved; its index is named.

    Notes
    -----
    Kirchhoff's current law at every net with the laws of `pedalcalc.laws`, solved by limited Newton steps, then by raising
    the supply, then with op-amp outputs as slow states; judged by the residual, no conductance added. A charge pump is
    followed over its period, with the ripple of what it feeds where that counts. Light settled, capacitors charged; a tenth of the leakage that makers promise at most.
    States whose number of unstable modes is odd are never returned; of one unit the poles decide, and growing ones are a
    caution. One unit alone is started from nothing, with op-amps
    powered up slowly, and from what was found, with all their outputs at either rail; a circuit may have more states than these find.

    References
    ----------
    CHUA-LIN, nodal equations and junction limiting; HAIRER-WANNER, the rule in time; DERIVED, two half periods of a pump.

    Examples
    --------
    >>> from pedalcalc.board import assemble
    >>> from pedalcalc.parts import Connection, Part
    >>> nan = float("nan")
    >>> def resistor(name, ohms, one, two):
    ...     pins = (Connection("1", one), Connection("2", two))
    ...     return Part(name, "resistor", ohms, "Ω", f"{ohms:g}", -0.05, 0.05, nan, 0.25, nan, pins, "")
    >>> nets = (Connection("plus", "rail"), Connection("minus", "ground"))
    >>> clip = Part("X1", "connector", nan, "", "battery clip", nan, nan, nan, nan, nan, nets, "")
    >>> build = assemble([clip, resistor("R1", 10e3, "rail", "half"), resistor("R2", 20e3, "half", "ground")], supply=9.0)
    >>> point = operating_point(build)
    >>> print(f"{point.voltages['half']:.3f} V, {point.currents['R1'] * 1e3:.3f} mA")
    6.000 V, 0.300 mA
    """
    is_a("board", board, Board)
    found, system, solved = solved_board(board, values=values, faults=faults, bridges=bridges, probe=probe)
    all_solved(solved)
    point = told(found, system, solved)
    cautions = ratings(board, found, point) + pumping(found) + _single(found)
    del point["ripples"]
    others: tuple[Mapping[str, Number], ...] = ()
    if len(solved.good) == 1:
        _, system, solved = next(_newton.pieces(system, solved))
        others = _others(found, system, solved) if system.amplifiers is not None else ()
        cautions += _restless(found, system, solved)
    return OperatingPoint(**point, others=others, cautions=cautions)


def solved_board(
    board: Board,
    *,
    values: Any = None,
    faults: Any = None,
    bridges: Any = None,
    probe: str = "",
    start: Array | None = None,
) -> tuple[Elements, System, _newton.Solved]:
    """Return branches, equations and their solution, units that were not solved marked."""
    links = dict(table_of("bridges", bridges, "ohms by two nets"))
    if words("probe", probe):
        wired = {pin.net for part in board.parts for pin in part.pins} - {NOT_CONNECTED}
        if probe not in wired | {GROUND}:
            raise ValueError(f"probe: there is no net {probe!r}; {near(probe, dict.fromkeys(wired))}")
        ohms: Any = np.asarray(board.meter.resistance_meter, float)[()]
        # a pointer's goes with its range: the usual supply's, as for a board read from end to end
        if np.isnan(ohms).all():
            ohms = loading(float(board.voltages(np.zeros(3))[1]), board.meter)
        links[probe, GROUND] = ohms
    found = elements_of(board, values=values, faults=faults, bridges=links)
    system = system_of(found)
    return found, system, _ways.solve(system, start)


def all_solved(solved: _newton.Solved) -> None:
    """Refuse what was not solved, by the index of its unit."""
    count, failed = len(solved.good), int(np.count_nonzero(~solved.good))
    if failed:
        many = f" in {failed} of {count} units, the first" if count > 1 else ""
        raise Unsolved(f"no stable operating point was found for this board{many}", ~solved.good if many else True)


def told(found: Elements, system: System, solved: _newton.Solved) -> dict[str, Any]:
    """Return voltages, currents, powers and what has no number, by name; `ripples` are volts below and above the mean."""
    if not system.pieces:
        volts, flows, powers, fed, floating, unpredictable, below, above = _told(found, system, solved)
    else:
        count = len(solved.good)
        parts = [(units, _told(found, own, some)) for units, own, some in _newton.pieces(system, solved)]
        volts, flows, powers = (_together(count, [(units, answer[k]) for units, answer in parts]) for k in range(3))
        fed = _together(count, [(units, {"": answer[3]}) for units, answer in parts])[""]
        floating, unpredictable = (set().union(*(answer[k] for _, answer in parts)) for k in (4, 5))
        below, above = (_together(count, [(units, answer[k]) for units, answer in parts]) for k in (6, 7))

    def plain(named: Mapping[str, Array]) -> dict[str, Number]:
        return {name: ((one[0] + 0.0).item() if len(one) == 1 else one + 0.0) for name, one in sorted(named.items())}

    return {
        "voltages": plain(volts), "currents": plain(flows), "powers": plain(powers),
        "current_supply": plain({"": fed})[""],
        "floating": tuple(sorted(floating)), "unpredictable": tuple(sorted(unpredictable)),
        "ripples": {net: (below[net], above[net]) for net in below},
    }  # fmt: skip


def _together(count: int, parts: list[tuple[Any, dict[str, Array]]]) -> dict[str, Array]:
    """Return figures of sets of units as those of all; NaN where a set has none."""
    found: dict[str, Array] = {}
    for units, named in parts:
        for name, one in named.items():
            found.setdefault(name, np.full(count, np.nan))[units] = one
    return found


def _told(found: Elements, system: System, solved: _newton.Solved) -> tuple[Any, ...]:
    """Return volts, currents, powers, supply current, which nets float or cannot be predicted, and how far nets ripple."""
    volts = {net: system.volts(solved.voltages, net) for net in found.nets if not net.endswith(NOT_CONNECTED)}
    volts.setdefault(GROUND, np.zeros(len(solved.voltages)))
    flows, powers, fed = currents(found, system, solved.voltages)
    unpredictable = []
    for net, hit in nets_unpredictable(system, solved).items():
        if net in volts and hit.any():
            unpredictable.append(net)
            volts[net] = np.where(hit, np.nan, volts[net])
    floating = [net for net, one in volts.items() if np.isnan(one).all() and net not in unpredictable]
    for name in system.untold:
        flows[name] = np.full(len(solved.good), np.nan)
    ripples = {net: ripple for net in volts if (ripple := system.ripple(solved.voltages, net)) is not None}
    below, above = ({net: ripple[k] for net, ripple in ripples.items()} for k in (0, 1))
    return volts, flows, powers, fed, floating, unpredictable, below, above


_ROLES = {
    _groups.Bipolars: ("base", "collector", "emitter"),
    _groups.Channels: ("gate", "drain", "source"),
    _groups.Couplers: ("LED", "", "cell", ""),
    _outputs.Regulators: ("input", "ground", "output"),
    _outputs.Amplifiers: ("non-inverting input", "inverting input", "output", "positive rail", "negative rail"),
}


def currents(found: Elements, system: System, voltages: Array) -> tuple[dict[str, Array], dict[str, Array], Array]:
    """Return currents by part and pin, heat by part, and what the source gives."""
    units = len(voltages)
    parts = {one.name: one.part for one in found.each()}
    plus = found.metal.root(found.sources[-1].nets[0])[0] if found.sources else ""
    inside = f"{found.sources[-1].part} inside" if found.sources else ""
    flows: dict[str, Array] = {}
    powers: dict[str, Array] = {}
    fed, behind = np.zeros(units), None

    def add(to: dict[str, Array], name: str, what: Array) -> None:
        to[name] = to.get(name, np.zeros(units)) + what

    for name, nets, flow, across, weight in _branches(system, voltages):
        roles = next((roles for kind, roles in _ROLES.items() if name[1] is kind), ("", None))
        for k, role in enumerate(roles):
            if role is not None and (role or not k):
                add(flows, f"{name[0]} {role}".rstrip(), flow[:, k] * weight)
        add(powers, parts.get(name[0], name[0].split(" ")[0]), (flow * across).sum(axis=1) * weight)
        if name[0] == inside:
            behind = flow[:, 0]
        for k, net in enumerate(nets):
            if found.metal.root(net)[0] == plus:
                fed = fed + flow[:, k] * weight
    return flows, powers, fed if behind is None else behind


def _branches(
    system: System, voltages: Array
) -> Iterator[tuple[tuple[str, Any], tuple[str, ...], Array, Array, float]]:
    """Yield name and law, nets, currents into the terminals, their volts, and the share of time, of every branch."""
    table = system.linear
    for k, name in enumerate(table.names):
        across = voltages[:, table.first[k]] - voltages[:, table.second[k]] + table.above[:, k]
        amps = across * table.siemens[:, k]
        yield (name, None), table.nets[k], *_two_ends(amps, across), float(table.weight[k])
    for one, places, matrix in system.flying:
        across = voltages[:, places[0]] - voltages[:, places[1]]
        amps = np.matmul(np.broadcast_to(matrix, (len(voltages), *matrix.shape[-2:])), across[:, :, None])[:, :, 0]
        for copy in range(across.shape[1]):
            yield (one.name, None), one.nets, *_two_ends(amps[:, copy], across[:, copy]), 1.0
    for k, rod in enumerate(system.rods):
        amps = voltages[:, len(system.places) + k]
        ohms = np.where(np.isinf(rod.law[0]), 0.0, rod.law[0])
        yield (rod.name, None), rod.nets, *_two_ends(amps, amps * ohms), 1.0
    for group in system.groups:
        volts = group.volts(voltages, 1.0)
        flow, _ = group.branch(volts, None)
        for k, name in enumerate(group.names):
            yield (name, type(group)), group.nets[k], flow[:, :, k], volts[:, :, k], float(group.weight[k])


def _two_ends(amps: Array, across: Array) -> tuple[Array, Array]:
    """Return the currents into both ends of a branch of two, and the volts of these above its second."""
    return np.stack([amps, -amps], axis=1), np.stack([across, 0.0 * across], axis=1)


def _others(found: Elements, system: System, solved: _newton.Solved) -> tuple[Mapping[str, Number], ...]:
    """Return further stable states of one unit: powered up slowly from nothing, and from this one with outputs at either rail."""
    here = solved.voltages[0]
    states = [here]
    more = []
    ended = _newton.Solved(*_ways.powered(system, np.stack([0.0 * here, here, here]), np.array([0.0, -1.0, 1.0])))
    for k in np.flatnonzero(ended.good & (ended.sign >= 0)):
        one = ended.take([k])
        if all(np.abs(one.voltages[0] - other).max() > ALIKE for other in states):
            states.append(one.voltages[0])
            if _swing(found, system, one) is not None:
                continue
            more.append(told(found, system, one)["voltages"])
    return tuple(more)


def _swing(found: Elements, system: System, solved: _newton.Solved) -> float | None:
    """Return the frequency at which one unit leaves this state, None where it stays."""
    from pedalcalc.circuit._pencil import swing
    from pedalcalc.circuit.signals import linearised

    return swing(linearised(found, system, solved, GROUND, GROUND))


def _restless(found: Elements, system: System, solved: _newton.Solved) -> tuple[Caution, ...]:
    """Return a caution where one unit does not stay where its equations balance: the poles decide."""
    hertz = _swing(found, system, solved)
    if hertz is None:
        return ()
    return (
        Caution(
            f"the board does not rest where its equations balance: it {RESTLESS}",
            "look for an output that comes back to its own input the wrong way round",
            hertz,
            0.0,
            "Hz",
        ),
    )


def _single(found: Elements) -> tuple[Caution, ...]:
    """Return a caution for each net with one connection, with the net that may be meant."""
    joined = {net.casefold(): net for net, pins in found.nets.items() if len(pins) > 1}
    told = []
    for net, pins in found.nets.items():
        if len(pins) != 1:
            continue
        part, _, pin = pins[0].partition(" ")
        meant = difflib.get_close_matches(net.casefold(), joined, n=1, cutoff=0.75)
        told.append(
            Caution(
                f"the net {net!r} has one connection only, {f'pin {pin}' if pin.isdigit() else pin} of {part}",
                f"{f'is it {joined[meant[0]]!r}? ' if meant else ''}correct the list, or write 'not connected' there",
                float("nan"), float("nan"), "",
            )
        )  # fmt: skip
    return tuple(told)
