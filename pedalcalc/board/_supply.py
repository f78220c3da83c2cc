"""The supply of a build with a voltage doubler, solved together with what hangs on it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import supply
from pedalcalc._base import Caution, Result, caution_above, is_a, quantity, search
from pedalcalc._record import ends
from pedalcalc.board._core import Board
from pedalcalc.board._rows import Consumer, Parts, TestPoint, about, drop, lamp_current, pair, points
from pedalcalc.board.sockets import socket_cautions
from pedalcalc.devices import Converter, Coupler, Diode, Led, OpAmp
from pedalcalc.parts import NOT_CONNECTED
from pedalcalc.supply.budget import idle_current

Array = NDArray[np.float64]

#: Peak of a loud guitar behind a follower, for which the headroom is told [V] (common practice).
LOUD_PEAK = 2.0
#: Current at which the rectifier's drop is told: what a hold capacitor takes near its top [A] (common practice).
RECTIFIER_CURRENT = 20e-6
#: What the converter needs at least [V] so that a filter that drops all the supply is told and not divided by.
LEFT_OVER = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class DoubledSupply(Result):
    """Supply, doubler and reference of a build in the lowest, usual and highest case.

    `budget` is at rest, the coupler's lamp dark; `budget_lit` has it at the current to which the side-chain can drive it.
    """

    budget: supply.VoltageBudget = quantity("record", "at rest")
    budget_lit: supply.VoltageBudget = quantity("record", "coupler lit at its most")
    rail: supply.RailCircuit = quantity("record", "supply circuit ahead of the op-amps")
    half: supply.HalfSupply = quantity("record", "half supply")
    consumers: tuple[Consumer, ...] = quantity("records", "consumers")
    rail_steps: tuple[TestPoint, ...] = quantity("records", "from the label to the usable swing, at rest")
    current_load: Array = quantity("A", "drawn from the rail at rest")
    current_direct: Array = quantity("A", "indicator")
    current_led: Array = quantity("A", "lamp of the coupler at its most")
    voltage_rail: Array = quantity("V", "peak at which the side-chain clips, lamp lit")
    voltage_diode: float = quantity("V", "drop of the rectifier")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@search
def doubled_supply(board: Board, *, roles: Mapping[str, str]) -> DoubledSupply:
    """Solve the supply of a build whose op-amps run from a two-diode voltage doubler.

    What the op-amps, the half-supply divider, the indicator and the coupler's lamp draw depends on the voltages that
    their own currents leave; both are found together, for the lowest, usual and highest supply.

    Parameters
    ----------
    board : Board
        The board.
    roles : mapping of str to str
        Which reference is the ``protection``, ``filter in``, ``reservoir``, ``converter``, ``pump diode in``,
        ``pump diode out``, ``flying``, ``pump output``, ``filter out``, ``rail capacitor``, ``divider top``,
        ``divider bottom``, ``divider capacitor``, ``indicator``, ``indicator resistor``, ``coupler``, ``lamp resistor``,
        ``rectifier``, ``rectifier inverted``; op-amps are ``signal``, ``side-chain`` and ``reference``.

    Returns
    -------
    DoubledSupply
        Budgets, reference, consumers and cautions.

    Raises
    ------
    ValueError
        If a role is missing or a part is none of its kind, with file, line and reference.

    Notes
    -----
    The lowest supply goes with op-amps that draw most and swing least, the highest the other way round. The boost and
    low-voltage pins of the converter count as their nets are. Two different diodes of a pair count with their mean drop.
    A supply filter that would drop everything leaves the op-amps without supply; a caution says so.

    References
    ----------
    DERIVED, Kirchhoff's laws by repeated substitution; PRACTICE, worst of all at once.

    Examples
    --------
    >>> from pedalcalc.board import OPTICAL_ROLES, assemble
    >>> build = assemble("notebooks/builds/optical-compressor/parts.csv", supply=(8.55, 9.0, 9.45))
    >>> found = doubled_supply(build, roles=OPTICAL_ROLES)
    >>> bool(found.budget.voltage_positive[1] > found.budget_lit.voltage_positive[1])
    True
    """
    parts = Parts(is_a("board", board, Board), roles)
    packages = _packages(parts)
    circuit = _circuit(parts, board.record(parts.name("signal")))
    sidechain = dataclasses.replace(circuit, op_amp=board.record(parts.name("side-chain")))
    lamp, coupler = parts.one("indicator", Led), parts.one("coupler", Coupler)
    resistance_lamp, resistance_led = parts.ohms("indicator resistor"), parts.ohms("lamp resistor")
    divider = parts.ohms("divider top") + parts.ohms("divider bottom")
    rectifier = pair(parts.one("rectifier", Diode), parts.one("rectifier inverted", Diode))
    rectified = float(drop(RECTIFIER_CURRENT, rectifier))
    quiescent = np.array([sum(getattr(d, end) for _, d in packages) for end in ("high", "typical", "low")])
    dark = np.zeros(3)

    def led(budget: supply.VoltageBudget) -> Array:
        held = np.asarray(budget.swing_peak) - rectified
        return lamp_current(held, resistance_led, coupler.led)

    def indicator(budget: supply.VoltageBudget) -> Array:
        if board.bypassed:
            return dark
        return lamp_current(budget.voltage_pin, resistance_lamp, lamp)

    fed = ("filter in", "filter out", "lamp resistor", "indicator resistor")
    slip = ", ".join(f"{parts.name(role)} {board.part(parts.name(role)).value_text}" for role in fed)

    def solve(lit: bool, rail: supply.RailCircuit) -> tuple[supply.VoltageBudget, Array, Array, Array, Array]:
        return _solve(board, rail, quiescent, divider, indicator, led if lit else lambda _: dark, slip)

    budget, load, direct, _, share = solve(False, circuit)
    lit_side, _, _, current_led, share_lit = solve(True, sidechain)
    current = np.minimum(share, share_lit)
    budget_lit, *_ = _solve(board, circuit, quiescent, divider, indicator, lambda _: current_led, slip)
    half = _half(parts, np.maximum(np.asarray(budget.voltage_positive), 0.0))
    others = [
        supply.voltage_budget(
            voltage_supply=budget_lit.voltage_supply, current_load=load, current_direct=direct, voltage_peak=0.0,
            rail=dataclasses.replace(circuit, op_amp=record),
        )
        for record in {r.name: r for r in (board.record(parts.name(n)) for n in ("side-chain", "reference"))}.values()
        if record.name != circuit.op_amp.name
    ]  # fmt: skip
    cautions = board.cautions + socket_cautions(board)
    cautions += _about(parts, _without_lamp(budget.cautions) + budget_lit.cautions, "signal")
    cautions += _about(parts, tuple(c for other in others for c in other.cautions), "side-chain", "reference")
    cautions += about(board, half.cautions, parts.name("divider top"), parts.name("divider bottom"))
    unique = _once(cautions + _ratings(parts, budget, budget_lit, current_led, current))
    budget, budget_lit = (dataclasses.replace(b, cautions=()) for b in (budget, budget_lit))
    return DoubledSupply(
        budget=budget,
        budget_lit=budget_lit,
        rail=circuit,
        half=dataclasses.replace(half, cautions=()),
        consumers=_consumers(parts, packages, half, direct, current_led),
        rail_steps=_steps(parts, budget),
        current_load=load,
        current_direct=direct,
        current_led=current_led,
        voltage_rail=np.asarray(lit_side.swing_peak),
        voltage_diode=rectified,
        cautions=unique,
    )


def _packages(parts: Parts) -> list[tuple[str, Any]]:
    """Return each dual op-amp with what both its halves draw."""
    found = []
    for role in ("signal", "side-chain", "reference"):
        parts.one(role, OpAmp)
        figure = ends(parts.board.record(parts.name(role)).current_quiescent)
        found.append((role, type(figure)(*(2 * amps for amps in figure))))
    return found


def _circuit(parts: Parts, op_amp: OpAmp) -> supply.RailCircuit:
    board = parts.board
    converter: Converter = board.record(parts.name("converter"))
    parts.one("converter", Converter)
    pins = {
        role: board.net(parts.name("converter"), pin) for role, pin in (("boost", "1"), ("supply", "8"), ("low", "6"))
    }
    boosted = pins["boost"] == pins["supply"] and not np.isnan(converter.frequency_boosted)
    top, bottom = parts.ohms("divider top"), parts.ohms("divider bottom")
    return supply.RailCircuit(
        rail_kind="doubled",
        diode_protection=parts.one("protection", Diode),
        diode_pump=pair(parts.one("pump diode in", Diode), parts.one("pump diode out", Diode)),
        converter=converter,
        low_pin="open" if pins["low"] == NOT_CONNECTED else "grounded",
        resistance_filter_in=parts.ohms("filter in"),
        resistance_filter_out=parts.ohms("filter out"),
        capacitance_filter_out=parts.farads("rail capacitor"),
        frequency_pump=converter.frequency_pump_boosted if boosted else converter.frequency_pump,
        capacitance_pump=parts.farads("flying"),
        capacitance_output=parts.farads("pump output"),
        voltage_rating_pump=parts.rating("flying"),
        voltage_rating_output=parts.rating("pump output"),
        resistance_esr_pump=parts.esr("flying"),
        resistance_esr_output=parts.esr("pump output"),
        resistance_esr_filter=parts.esr("rail capacitor"),
        reference_share=bottom / (top + bottom),
        op_amp=op_amp,
    )


def _solve(
    board: Board,
    rail: supply.RailCircuit,
    quiescent: Array,
    divider: float,
    indicator: Callable[[supply.VoltageBudget], Array],
    led: Callable[[supply.VoltageBudget], Array],
    slip: str,
) -> tuple[supply.VoltageBudget, Array, Array, Array, Array]:
    """Return budget, load, indicator, lamp and the share of their current that the op-amps get, all consistent."""
    load, direct, lamp, share = quiescent.copy(), np.zeros(3), np.zeros(3), np.ones(3)
    # What the pump's diodes leak, less what comes straight through both of them when the pump is overloaded.
    beyond = np.zeros(3)
    feed = np.asarray(rail.resistance_filter_in, float)
    idle = idle_current(rail)
    for _ in range(200):
        drawn = direct + 2 * load + idle + beyond
        volts = board.voltages(drawn)
        room = np.maximum(volts - LEFT_OVER, 0.0)
        fits = np.minimum(1.0, room / np.maximum(drawn * feed, 1e-12))
        load, direct = load * fits, direct * fits
        budget = supply.voltage_budget(
            voltage_supply=volts,
            current_load=load,
            current_direct=direct,
            voltage_peak=LOUD_PEAK,
            rail=_starved(rail, idle * fits),
        )
        new_lamp, new_direct = led(budget), indicator(budget)
        divided = np.maximum(np.asarray(budget.voltage_positive), 0.0) / divider
        # Nor can more go through the filter behind the pump than it has volts for: the rail ends at nothing, not below.
        lost = load * np.asarray(rail.resistance_filter_out, float)
        passes = np.minimum(1.0, np.maximum(np.asarray(budget.voltage_positive) + lost, 0.0) / np.maximum(lost, 1e-12))
        share = share * fits * passes if np.any(np.minimum(fits, passes) < 1) else share
        new_load = share * quiescent + divided + new_lamp
        new_beyond = np.asarray(budget.current_supply) - direct - 2 * load - idle * fits
        moved = float(np.max(np.abs([new_load - load, new_direct - direct, new_beyond - beyond])))
        load, direct, beyond, lamp = (
            (load + new_load) / 2,
            (direct + new_direct) / 2,
            (beyond + new_beyond) / 2,
            new_lamp,
        )
        if moved < 1e-10:
            return budget, load, direct, lamp, share
    raise RuntimeError(f"supply and load did not settle on each other; is there a slip of a decimal in {slip}?")


def _starved(rail: supply.RailCircuit, idle: Array) -> supply.RailCircuit:
    """Return the rail with a converter that draws this current as its own."""
    converter = dataclasses.replace(rail.converter, current_idle=idle, current_idle_boosted=idle)
    return dataclasses.replace(rail, converter=converter)


def _half(parts: Parts, rail: Array) -> supply.HalfSupply:
    return supply.half_supply(
        voltage_supply=rail,
        resistance_top=parts.ohms("divider top"),
        resistance_bottom=parts.ohms("divider bottom"),
        resistance_load=np.inf,
        current_load=0.0,
        capacitance=parts.farads("divider capacitor"),
        tolerance=0.01,
    )


def _consumers(
    parts: Parts, packages: list[tuple[str, Any]], half: supply.HalfSupply, direct: Array, led: Array
) -> tuple[Consumer, ...]:
    board, through = parts.board, np.asarray(half.current)
    rows = [
        _consumer(f"{parts.name(role)}, {board.part(parts.name(role)).value_text}", f.low, f.typical, f.high)
        for role, f in packages
    ]
    rows.append(_consumer("half-supply divider", *sorted(through)))
    at_rest = [sum(getattr(row, name) for row in rows) for name in ("current_low", "current_typical", "current_high")]
    return (
        *rows,
        _consumer("on the rail, no signal", *at_rest),
        _consumer(f"LED of {parts.name('coupler')}, from no signal to loudest", 0.0, led[1], np.max(led)),
        _consumer(f"indicator {parts.name('indicator')}, ahead of the converter", *sorted(direct)),
    )


def _consumer(name: str, low: Any, typical: Any, high: Any) -> Consumer:
    return Consumer(name=name, current_low=float(low), current_typical=float(typical), current_high=float(high))


def _steps(parts: Parts, budget: supply.VoltageBudget) -> tuple[TestPoint, ...]:
    return points(
        {
            "label": budget.voltage_supply,
            f"behind {parts.name('protection')}": np.asarray(budget.voltage_supply) - budget.loss_protection,
            f"behind {parts.name('filter in')}": budget.voltage_pin,
            "op-amp rail": budget.voltage_positive,
            "highest output": budget.voltage_high,
            "lowest output": budget.voltage_low,
            "idle": budget.voltage_idle,
            "usable swing, peak to peak": budget.voltage_swing,
        }
    )


def _without_lamp(cautions: tuple[Caution, ...]) -> tuple[Caution, ...]:
    """Return the cautions at rest that the lit state does not repeat with a larger figure."""
    return tuple(c for c in cautions if "clips" not in c.what and "no swing" not in c.what)


def _about(parts: Parts, cautions: tuple[Caution, ...], *op_amps: str) -> tuple[Caution, ...]:
    """Return the cautions of a budget with the parts they are about; what names neither is the converter's."""
    places = {
        "reversed supply": "protection", "swing is left": op_amps[0], "signal clips": op_amps[0],
        "flying capacitor": "flying", "output capacitor": "pump output",
    }  # fmt: skip
    names = [parts.name(role) for role in (*op_amps, "pump diode in", "pump diode out", "converter")]
    found = {words: parts.name(role) for words, role in places.items()}
    of_type = tuple(getattr(parts.board.device(name), "name", "") for name in names)
    plain = [one for one in cautions if not any(kind in one.what for kind in of_type)]
    return tuple(
        told
        for one in cautions
        for told in about(parts.board, [one], *(names[-1:] if one in plain else names), places=found)
    )


def _once(cautions: tuple[Caution, ...]) -> tuple[Caution, ...]:
    """Return each caution once, the last where two differ in their figures only."""
    return tuple({(c.what, c.unit): c for c in cautions}.values())


def _ratings(
    parts: Parts,
    budget: supply.VoltageBudget,
    lit: supply.VoltageBudget,
    led: Array,
    share: Array,
) -> tuple[Caution, ...]:
    supplied, rail = np.asarray(budget.voltage_supply), np.asarray(budget.voltage_positive)
    coupler: Coupler = parts.one("coupler", Coupler)
    lamp: Led = parts.one("indicator", Led)
    amps = np.asarray(lit.current_supply)
    # Without load the doubler gives nearly twice the supply.
    double = 2 * supplied
    return (
        parts.stands("reservoir", supplied, "at the highest supply")
        + parts.stands("rail capacitor", double, "without load, twice the supply")
        + parts.stands("divider capacitor", rail, f"with {parts.name('divider bottom')} open, the whole rail")
        + parts.heats("filter in", amps**2 * parts.ohms("filter in"))
        + parts.heats("indicator resistor", lamp_current(budget.voltage_pin, parts.ohms("indicator resistor"), lamp) ** 2 * parts.ohms("indicator resistor"))
        + parts.heats("lamp resistor", led**2 * parts.ohms("lamp resistor"))
        + caution_above(
            f"{parts.name('coupler')}: its lamp gets more than it is made for when the side-chain is at its loudest",
            f"raise {parts.name('lamp resistor')}", led, coupler.led.current_max, "A",
        )
        + caution_above(
            f"{parts.name('indicator')}: more current than it is made for",
            f"raise {parts.name('indicator resistor')}", budget_current(parts, budget, lamp), lamp.current_max, "A",
        )
        + caution_above(
            f"{parts.name('filter in')} drops nearly all the supply: the op-amps do not run",
            f"fit a smaller {parts.name('filter in')}", 1 - share, 1e-9, "1",
        )
        + caution_above(
            f"{parts.name('divider top')}, {parts.name('divider bottom')}: half supply off the middle: one half-wave clips first",
            f"make {parts.name('divider top')} and {parts.name('divider bottom')} equal",
            abs(parts.ohms("divider bottom") / (parts.ohms("divider top") + parts.ohms("divider bottom")) - 0.5), 0.05, "1",
        )
    )  # fmt: skip


def budget_current(parts: Parts, budget: supply.VoltageBudget, lamp: Led) -> Array:
    """Return the indicator's current behind its resistor."""
    return lamp_current(budget.voltage_pin, parts.ohms("indicator resistor"), lamp)
