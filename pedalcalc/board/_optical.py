"""The stages of an optical compressor as its list builds them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc import compressor, devices, opamp, opto, rc, switching
from pedalcalc._arguments import is_a, one_number, whole_number
from pedalcalc._base import search
from pedalcalc._result import Caution, Result, caution_below, quantity
from pedalcalc.board._core import Board
from pedalcalc.board._dynamics import DrawnParts, DynamicsBand, dynamics_band
from pedalcalc.board._rows import Parts, PowerStep, TestPoint, Thump, about, drop, points, power_steps, thumps
from pedalcalc.board._supply import DoubledSupply
from pedalcalc.board._supply_cautions import NOT_RUNNING
from pedalcalc.board.sockets import has_battery, states_of
from pedalcalc.devices import Capacitor, Coupler, Diode, Led, OpAmp

Array = NDArray[np.float64]

#: The halves of a full-wave rectifier count as two while their gains are this near each other.
HALVES_ALIKE = 0.05
#: Least share of the track that a threshold control leaves: its own end resistance over the track (common practice).
LEAST_SHARE = 1e-4
#: A gain reduction that cannot be told from none [dB] (common practice).
REDUCTION_LEAST_DB = 1.0
#: By these words a caution tells so.
NO_COMPRESSION = "makes next to no compression"
COUNT_MOST = 10_000  # units to draw; more would take minutes


@dataclass(frozen=True, slots=True, eq=False)
class OpticalBuild(Result):
    """An optical compressor as fitted: its circuit for the dynamics, its stages at rest, its switching."""

    compressor: compressor.Compressor = quantity("record", "circuit, controls as they stand")
    follower: opamp.OpAmpPoint = quantity("record", "input follower")
    makeup: opamp.OpAmpPoint = quantity("record", "make-up stage")
    voltage_peak_follower_worst: float = quantity("V", "largest peak of the follower, worst op-amp, lowest supply")
    voltage_peak_makeup_worst: float = quantity("V", "largest peak of the make-up, worst op-amp, lowest supply")
    band: opto.CouplerBand = quantity("record", "cell over its lamp's current")
    frequency_low: float = quantity("Hz", "lower corner of the input")
    frequency_low_output: float = quantity("Hz", "lower corner of the output")
    lights: switching.IndicatorStates = quantity("record", "indicator in both states")
    states: switching.CurrentStates = quantity("record", "current in each state")
    thump_in: switching.PulldownThump = quantity("record", "thump of the input capacitor")
    thump_out: switching.PulldownThump = quantity("record", "thump of the output capacitor")
    rail_step: switching.IndicatorThump = quantity("record", "thump of the indicator")
    thumps: tuple[Thump, ...] = quantity("records", "steps at the output when the footswitch is pressed")
    test_points: tuple[TestPoint, ...] = quantity("records", "test points, no signal")
    power_steps: tuple[PowerStep, ...] = quantity("records", "first power")
    dynamics: tuple[DynamicsBand, ...] = quantity("records", "bands of the dynamics, where units were drawn")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@search
def optical_compressor(
    board: Board,
    *,
    supplied: DoubledSupply,
    roles: Mapping[str, str],
    resistance_generator: ArrayLike,
    resistance_load: ArrayLike,
    count: int | None = None,
) -> OpticalBuild:
    """Find what the stages of an optical compressor do with the parts that are fitted.

    Parameters
    ----------
    board : Board
        The board.
    supplied : DoubledSupply
        Its supply, as `doubled_supply` finds it.
    roles : mapping of str to str
        As for `doubled_supply`, and ``input``, ``bias``, ``input pull-down``, ``arm``, ``make-up feedback``,
        ``make-up ground``, ``side-chain feedback``, ``side-chain ground``, ``inverter in``, ``inverter feedback``,
        ``attack stop``, ``attack``, ``release stop``, ``release``, ``hold``, ``threshold``, ``output``, ``level``,
        ``output pull-down``.
    resistance_generator : array_like
        What drives the input [Ω], 0 to inf.
    resistance_load : array_like
        What follows the output [Ω], 0 to inf.
    count : int, optional
        How many units to draw for the bands of threshold, ratio, attack and release [1], 1 to 10,000; none if not given.

    Returns
    -------
    OpticalBuild
        The circuit for `pedalcalc.compressor`, operating points, switching, test points and cautions.

    Raises
    ------
    ValueError
        If a role is missing or a part is none of its kind, with file, line and reference.

    Notes
    -----
    The side-chain's gain is that of its stage times the share that the threshold control passes. An inverter whose
    resistors differ by more than 5 % leaves one half-wave behind: then the louder half alone counts.

    Of drawn units resistors, the hold capacitor and the tracks of the controls lie anywhere within their printed tolerance, as
    they stand where none is printed; a coupler nobody measured is any of its class, of a measured one all those are drawn that fit its
    readings as well, with the times that its timing leaves open. The first 32 are played the step of `compressor.SETTLE_2DB`.

    References
    ----------
    DERIVED, each stage with the functions of its own room.

    Examples
    --------
    >>> from pedalcalc.board import OPTICAL_ROLES, assemble, doubled_supply
    >>> build = assemble("notebooks/builds/optical-compressor/parts.csv", supply=9.0)
    >>> found = optical_compressor(
    ...     build, supplied=doubled_supply(build, roles=OPTICAL_ROLES), roles=OPTICAL_ROLES,
    ...     resistance_generator=10e3, resistance_load=1e6,
    ... )
    >>> found.compressor.gain_makeup
    4.3
    >>> found.dynamics
    ()
    """
    parts = Parts(is_a("board", board, Board), roles)
    is_a("supplied", supplied, DoubledSupply)
    source = one_number("resistance_generator", resistance_generator, "", least=0, infinity=True)
    load = one_number("resistance_load", resistance_load, "", least=0, infinity=True)
    rail = np.maximum(np.asarray(supplied.budget.voltage_positive), 0.0)
    reference = np.asarray(supplied.half.voltage_output)
    common: dict[str, Any] = {
        "voltage_half_supply": reference,
        "resistance_half_supply": 0.0,
        "meter": parts.metered(),
    }

    def stages(signal: OpAmp) -> tuple[opamp.OpAmpPoint, opamp.OpAmpPoint]:
        return opamp.follower(
            rail,
            resistance_bias=parts.ohms("bias"),
            capacitance_input=parts.farads("input"),
            op_amp=signal,
            resistance_generator=source,
            **common,
        ), opamp.noninverting(
            rail,
            resistance_bias=parts.ohms("arm"),
            resistance_feedback=parts.ohms("make-up feedback"),
            resistance_ground=parts.ohms("make-up ground"),
            capacitance_input=np.inf,
            capacitance_gain=np.inf,
            op_amp=signal,
            **common,
        )

    record = board.record(parts.name("signal"))
    follower, makeup = stages(devices.typical(record))
    worst = [float(np.min(np.asarray(stage.voltage_peak))) for stage in stages(devices.low(record))]
    circuit, uneven = _circuit(parts, supplied)
    dynamics: tuple[DynamicsBand, ...] = ()
    if count is not None:
        units = whole_number("count", count, least=1, most=COUNT_MOST)
        measured = board.own(parts.name("coupler")) is not None
        coupler = "those that fit your readings" if measured else "any of its class"
        dynamics = (dynamics_band(_circuit(DrawnParts(parts, units), supplied)[0], units, coupler),)
    lights, thump_in, thump_out, rail_step = _switched(parts, supplied, circuit, source, load)
    lit = float(supplied.current_direct[1])
    states = states_of(board, float(np.asarray(supplied.budget.current_supply)[1]) - lit, lit, "mono")
    level = board.control(parts.name("level"), rotation=1.0).resistance_total
    pulled = float(rc.parallel_resistance([parts.ohms("output pull-down"), load]))
    out = float(rc.parallel_resistance([level, pulled]))
    runs = not any(NOT_RUNNING in one.what for one in supplied.cautions)  # else nothing else is to be told of a stage
    meant = (
        *(((follower, ("signal",)), (makeup, ("signal",))) if runs else ()), (lights, ("indicator",)), (thump_in, ("input", "input pull-down")),
        (thump_out, ("output", "level")), (rail_step, ("indicator",)),
    )  # fmt: skip
    named = [one for result, names in meant for one in about(board, result.cautions, *map(parts.name, names))]
    cautions = tuple(dict.fromkeys((*named, *states.cautions))) + uneven + _idle(parts, supplied, circuit)
    swing = np.asarray(supplied.budget.swing_peak)[1]
    follower, makeup = (replace(stage, cautions=()) for stage in (follower, makeup))
    lights = replace(lights, cautions=())
    return OpticalBuild(
        compressor=circuit,
        follower=follower,
        makeup=makeup,
        voltage_peak_follower_worst=worst[0],
        voltage_peak_makeup_worst=worst[1],
        band=_band(parts),
        frequency_low=float(np.max(follower.frequency_low)),
        frequency_low_output=float(
            rc.corner_frequency(
                resistance=float(np.max(makeup.impedance_output)) + out, capacitance=parts.farads("output")
            )
        ),
        lights=lights,
        states=states,
        thump_in=thump_in,
        thump_out=thump_out,
        rail_step=rail_step,
        thumps=thumps(parts, thump_in, thump_out, rail_step, most_in=swing, most_out=swing),
        test_points=_test_points(parts, supplied, follower, makeup),
        power_steps=_first_power(parts, supplied, states),
        dynamics=dynamics,
        cautions=cautions,
    )


def _circuit(parts: Parts, supplied: DoubledSupply) -> tuple[compressor.Compressor, tuple[Caution, ...]]:
    board, hold = parts.board, parts.one("hold", Capacitor)
    gain = 1 + parts.ohms("side-chain feedback") / parts.ohms("side-chain ground")
    heard = max(float(board.control(parts.name("threshold")).track_fraction), LEAST_SHARE)
    halves = parts.ohms("inverter feedback") / parts.ohms("inverter in")
    alike = abs(float(np.median(halves)) - 1) <= HALVES_ALIKE
    leak = 0.0 if np.isnan(hold.current_leakage) else float(hold.current_leakage)
    found = compressor.Compressor(
        placement="shunt",
        resistance_input=parts.ohms("arm"),
        resistance_output=np.inf,
        gain_makeup=1 + parts.ohms("make-up feedback") / parts.ohms("make-up ground"),
        sense="after",
        gain_sidechain=gain * heard * (1.0 if alike else np.maximum(1.0, halves)),
        voltage_rail=max(float(supplied.voltage_rail[1]), 1e-3),
        rectifier="full" if alike else "half",
        voltage_diode=supplied.voltage_diode,
        drive="buffered",
        resistance_attack=parts.ohms("attack stop") + parts.turned("attack"),
        resistance_release=parts.ohms("release stop") + parts.turned("release"),
        capacitance_hold=parts.farads("hold"),
        current_leakage=leak,
        voltage_base_emitter=0.0,
        resistance_led=parts.ohms("lamp resistor"),
        coupler=parts.one("coupler", Coupler),
        illuminance_ambient=0.0,
    )
    if alike:
        return found, ()
    names = f"{parts.name('inverter in')} and {parts.name('inverter feedback')}"
    told_so = Caution(
        f"{names} differ: the rectifier sees one half-wave louder than the other, computed with the louder alone",
        f"make {names} equal", halves, 1.0, "1",
    )  # fmt: skip
    return found, (told_so,)


def _idle(parts: Parts, supplied: DoubledSupply, circuit: compressor.Compressor) -> tuple[Caution, ...]:
    """Return a caution where even the brightest lamp turns the gain down by next to nothing."""
    return caution_below(
        f"{parts.label('coupler')} behind {parts.label('arm')} {NO_COMPRESSION}, even at the loudest: "
        "there is no threshold, ratio, attack or release to tell",
        f"look at {parts.name('arm')}, {parts.name('lamp resistor')} and the op-amps' rail",
        deepest_db(supplied, circuit),
        REDUCTION_LEAST_DB,
        "dB",
    )


def deepest_db(supplied: DoubledSupply, circuit: compressor.Compressor) -> float:
    """Return by how much the gain falls from a dark lamp to one at the most that the side-chain gives it [dB]."""
    dark, lit = (
        float(opto.coupler_point(amps, coupler=circuit.coupler).resistance_cell)
        for amps in (0.0, float(supplied.current_led[1]))
    )
    arm = float(circuit.resistance_input)
    return float(20 * np.log10((1 + arm / lit) / (1 + arm / dark)))


def _switched(
    parts: Parts, supplied: DoubledSupply, circuit: compressor.Compressor, source: float, load: float
) -> tuple[switching.IndicatorStates, switching.PulldownThump, switching.PulldownThump, switching.IndicatorThump]:
    board, meter = parts.board, parts.metered().resistance_meter
    half = float(np.asarray(supplied.half.voltage_output)[1])
    lights = switching.indicator_states(
        np.maximum(np.asarray(supplied.budget.voltage_pin), 0.0),
        resistance_led=parts.ohms("indicator resistor"),
        led=parts.one("indicator", Led),
        wiring="grounded",
        resistance_meter=meter,
    )
    thump_in = switching.pulldown_thump(
        half,
        current_leakage=parts.leakage("input", half),
        resistance_pulldown=parts.ohms("input pull-down"),
        resistance_load=source,
        capacitance=parts.farads("input"),
        gain=circuit.gain_makeup,
        resistance_meter=meter,
    )
    thump_out = switching.pulldown_thump(
        half,
        current_leakage=parts.leakage("output", half),
        resistance_pulldown=board.control(parts.name("level"), rotation=1.0).resistance_total,
        resistance_load=float(rc.parallel_resistance([parts.ohms("output pull-down"), load])),
        capacitance=parts.farads("output"),
        gain=1.0,
        resistance_meter=meter,
    )
    rail_step = switching.indicator_thump(
        float(supplied.current_direct[1]),
        resistance_supply=parts.ohms("filter in"),
        capacitance=parts.farads("reservoir"),
        fraction_coupled=0.0,
        gain=circuit.gain_makeup,
    )
    return lights, thump_in, thump_out, rail_step


def _band(parts: Parts) -> opto.CouplerBand:
    """Return the cell's band: the fit's own where the coupler is measured, else that of its class."""
    name, current = parts.name("coupler"), np.geomspace(10e-6, 5e-3, 61)
    own = parts.board.own(name)
    if own is not None:
        return opto.coupler_band(current, coupler=own.result)
    return opto.coupler_band(current, coupler=parts.board.record(name))


def _test_points(parts: Parts, supplied: DoubledSupply, follower: Any, makeup: Any) -> tuple[TestPoint, ...]:
    name, budget, half = parts.name, supplied.budget, np.asarray(supplied.half.voltage_output)
    rail = np.asarray(budget.voltage_positive)
    protected = np.asarray(budget.voltage_supply) - np.asarray(budget.loss_protection)
    signal, side, buffers = name("signal"), name("side-chain"), name("reference")
    return points(
        {
            "supply in": budget.voltage_supply,
            f"{name('protection')} cathode, protected": protected,
            f"{name('converter')} pin 8, pump supply": budget.voltage_pin,
            f"{name('pump diode out')} cathode, doubled": rail + np.asarray(budget.loss_filter_out),
            f"{signal} pin 8, rail": rail,
            f"{buffers} pin 1, reference": half,
            f"{signal} pin 3, biased input": follower.voltage_noninverting_read,
            f"{signal} pin 1, buffered": follower.voltage_output,
            f"{signal} pin 7, made up": makeup.voltage_output,
            f"{side} pin 1 and pin 7": half,
            f"{buffers} pin 7, LED feed": half,
        }
    )


def _first_power(parts: Parts, supplied: DoubledSupply, states: switching.CurrentStates) -> tuple[PowerStep, ...]:
    """Return the lines of first power that `bench.first_power` has not, which knows a whole board at rest alone.

    Without ICs the divider hangs on the supply through three diodes.
    """
    volts = float(np.asarray(supplied.budget.voltage_supply)[1])
    chain = sum(parts.ohms(role) for role in ("filter in", "filter out", "divider top", "divider bottom"))
    diodes = [parts.one(role, Diode) for role in ("protection", "pump diode in", "pump diode out")]
    amps = volts / chain
    for _ in range(20):
        amps = max(volts - sum(float(drop(amps, diode)) for diode in diodes), 0.0) / chain
    return power_steps(
        {
            "no ICs in their sockets, indicator dark": amps,
            **(
                {"on its battery, plug pulled out": float(states.current_unplugged)} if has_battery(parts.board) else {}
            ),
            "engaged, loudest signal, at most": np.max(np.asarray(supplied.budget_lit.current_supply)),
        }
    )
