"""The supply of a build with a voltage doubler, solved together with what hangs on it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc import supply
from pedalcalc._arguments import is_a
from pedalcalc._base import search
from pedalcalc._record import ends
from pedalcalc._result import Caution, Result, quantity
from pedalcalc.board._agreed import agreed
from pedalcalc.board._core import Board
from pedalcalc.board._rows import Consumer, Parts, TestPoint, drop, lamp_current, pair, points
from pedalcalc.board._supply_cautions import supply_cautions
from pedalcalc.devices import Converter, Coupler, Diode, Led, OpAmp
from pedalcalc.parts import NOT_CONNECTED
from pedalcalc.supply.budget import budget_of, idle_current

Array = NDArray[np.float64]

#: Peak of a loud guitar behind a follower, for which the headroom is told [V] (common practice).
LOUD_PEAK = 2.0
#: The most ahead of a pump that it is computed with [Ω]: of 9 V behind 5 kΩ less than 1 V is left, on which nothing runs.
FEED_MOST = 5e3
#: Current at which the rectifier's drop is told: what a hold capacitor takes near its top [A] (common practice).
RECTIFIER_CURRENT = 20e-6


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
    RuntimeError
        If supply and consumers do not settle on each other, with the parts of which one may be a slip.

    Notes
    -----
    The lowest supply goes with op-amps that draw most and swing least, the highest the other way round. The boost and
    low-voltage pins of the converter count as their nets are. Two different diodes of a pair count with their mean drop.
    Op-amps and converter draw what they need as far as there is their lowest supply, below it in proportion, and an op-amp
    gives the lamp no more than its current limit. A resistor that drops everything leaves nothing to run on; a caution says so.

    References
    ----------
    DERIVED, Kirchhoff's laws by Newton's method; PRACTICE, worst of all at once.

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
    taken = _Taken(
        quiescent=np.array([[getattr(drawn, end) for end in ("high", "typical", "low")] for _, drawn in packages]),
        least=np.array([parts.one(role, OpAmp).voltage_supply_min for role, _ in packages]),
        divider=parts.ohms("divider top") + parts.ohms("divider bottom"),
    )
    rectifier = pair(parts.one("rectifier", Diode), parts.one("rectifier inverted", Diode))
    rectified = float(drop(RECTIFIER_CURRENT, rectifier))
    dark, most = np.zeros(3), parts.one("reference", OpAmp).current_output_max

    def led(budget: supply.VoltageBudget) -> Array:
        held = np.asarray(budget.swing_peak) - rectified
        return np.fmin(lamp_current(held, resistance_led, coupler.led), most)  # no more than its op-amp gives

    def indicator(budget: supply.VoltageBudget) -> Array:
        if board.bypassed:
            return dark
        return lamp_current(budget.voltage_pin, resistance_lamp, lamp)

    fed = ("filter in", "filter out", "lamp resistor", "indicator resistor")
    slip = ", ".join(f"{parts.name(role)} {board.part(parts.name(role)).value_text}" for role in fed)

    rest = _solve(board, circuit, taken, indicator, lambda _: dark, slip)
    side = _solve(board, sidechain, taken, indicator, led, slip)
    budget, load, direct, current_led = rest.budget, rest.load, rest.direct, side.lamp
    budget_lit = _solve(board, circuit, taken, indicator, lambda _: current_led, slip).budget
    half = _half(parts, np.maximum(np.asarray(budget.voltage_positive), 0.0))
    others = [
        supply.voltage_budget(
            voltage_supply=budget_lit.voltage_supply, current_load=load, current_direct=direct, voltage_peak=0.0,
            rail=dataclasses.replace(rest.rail, op_amp=record),
        )
        for record in {r.name: r for r in (board.record(parts.name(n)) for n in ("side-chain", "reference"))}.values()
        if record.name != circuit.op_amp.name
    ]  # fmt: skip
    cautions = supply_cautions(
        parts, budget, budget_lit, half, tuple(caution for other in others for caution in other.cautions),
        rail=circuit, led=current_led, share=np.minimum(rest.share, side.share),
    )  # fmt: skip
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
        voltage_rail=np.asarray(side.budget.swing_peak),
        voltage_diode=rectified,
        cautions=cautions,
    )


def _packages(parts: Parts) -> list[tuple[str, Any]]:
    """Return each dual op-amp with what both its halves draw."""
    found = []
    for role in ("signal", "side-chain", "reference"):
        parts.dual(role)
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
        resistance_filter_in=min(parts.ohms("filter in"), FEED_MOST),
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


class _Taken(NamedTuple):
    """What hangs on the rail at rest: the op-amps' own current [A], a row each, and from which supply up they take it whole."""

    quiescent: Array
    least: Array
    divider: float

    def share(self, rail: Array) -> Array:
        """Return the share of its own current that each op-amp takes; below its lowest supply in proportion."""
        return np.asarray(np.minimum(rail / self.least[:, None], 1.0))

    def at(self, rail: Array) -> Array:
        """Return the current of all [A]."""
        return np.asarray(np.sum(self.quiescent * self.share(rail), axis=0) + rail / self.divider)


class _Agreed(NamedTuple):
    """The budget on which supply and consumers agree, and the currents behind it."""

    budget: supply.VoltageBudget
    load: Array
    direct: Array
    lamp: Array
    share: Array  # of their own current, the least that an op-amp gets
    rail: supply.RailCircuit  # its converter with the current that it takes there


def _solve(
    board: Board,
    rail: supply.RailCircuit,
    taken: _Taken,
    indicator: Callable[[supply.VoltageBudget], Array],
    led: Callable[[supply.VoltageBudget], Array],
    slip: str,
) -> _Agreed:
    """Return what a supply and all that hangs on it agree on."""
    idle, least = idle_current(rail) + np.zeros(3), rail.converter.voltage_supply_min

    def followed(x: Array, refuses: bool = False) -> supply.VoltageBudget:
        load, direct, own, drawn = x
        starved = _starved(rail, own)
        return budget_of(board.voltages(drawn), load, direct, np.full(3, LOUD_PEAK), starved, refuses=refuses)

    def wanted(x: Array) -> Array:
        budget = followed(x)
        volts, pin = _above_nothing(budget.voltage_positive), _above_nothing(budget.voltage_pin)
        fed = pin > 0  # a search may come to where the supply gives less than nothing: there nothing is wanted
        own = idle * np.minimum(pin / least, 1.0)
        load = np.where(fed, taken.at(volts) + led(budget), 0.0)
        return np.array([load, indicator(budget), own, np.asarray(budget.current_supply)])

    first = np.zeros((4, 3))
    first[2] = idle
    what = f"supply and load did not settle on each other; is there a slip of a decimal in {slip}?"
    x = agreed(wanted, wanted(first), what=what)
    budget = followed(x, refuses=True)
    share = np.min(taken.share(_above_nothing(budget.voltage_positive)), axis=0)
    return _Agreed(budget, x[0], x[1], led(budget), share, _starved(rail, x[2]))


def _above_nothing(volts: Any) -> Array:
    return np.maximum(np.asarray(volts), 0.0)


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
