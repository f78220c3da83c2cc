"""The stages of a JFET booster: supply, bias, swing, switching, and what its design wants."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import bjt, devices, fet, led, rc, stage, supply, switching, values
from pedalcalc._result import Caution, caution_below
from pedalcalc.board._agreed import agreed
from pedalcalc.board._design import DesignPart, design_part
from pedalcalc.board._rows import Consumer, Parts, TestPoint, about, drop, lamp_current, points
from pedalcalc.board.sockets import socket_cautions, states_of
from pedalcalc.devices import Bjt, Diode, Jfet, Led

Array = NDArray[np.float64]

#: Corners below the lowest note by these factors, so that their losses do not add up (common practice).
BELOW_NOTE = {"input": 10.0, "bypass": 5.0, "output": 30.0}
#: Resistance of the battery and its clip for the indicator's thump [Ω] (common practice).
BATTERY_LEAD = 3.0
#: Current from which on a follower conducts, whatever its emitter resistor [A] (common practice).
CONDUCTS = 1e-3
#: Collector-emitter voltage that a follower keeps before it saturates [V] (common practice).
SATURATED = 0.2


def points_of(parts: Parts, rail: Array, jfet: Jfet) -> tuple[Any, Any]:
    """Return both operating points on a rail; what the follower's base takes comes through the drain resistor too."""
    ohms, transistor = parts.ohms("drain"), parts.one("follower", Bjt)

    def found(base: Array) -> tuple[Any, Any]:
        lost = base * ohms
        first = fet.self_bias(
            np.maximum(rail - lost, 0.0),
            resistance_drain=ohms,
            resistance_source_pin=parts.ohms("source"),
            fet=jfet,
        )
        return first, bjt.base_bias(
            rail,
            voltage_base_supply=first.voltage_drain + lost,
            resistance_base=ohms,
            resistance_collector=0.0,
            resistance_emitter=parts.ohms("emitter"),
            transistor=transistor,
        )

    def wanted(base: Array) -> Array:
        return np.atleast_2d(found(base[0])[1].current_base)

    start = wanted(np.zeros((1, np.size(rail))))
    base = agreed(wanted, start, what="drain and base did not settle on each other", least=-np.inf)
    return found(base[0])


def solve(parts: Parts) -> tuple[supply.Protection, supply.SupplyFilter, Any, Any, Array]:
    """Return supply, both stages and the lamp's current, all consistent."""
    board, jfet, lamp = parts.board, parts.one("JFET", Jfet), parts.one("indicator", Led)
    series = parts.ohms("filter")
    lights = 0.0 if board.bypassed else 1.0

    def supplied(x: Array) -> tuple[supply.Protection, supply.SupplyFilter, Array, Array]:
        stages, lit = x
        safe = supply.series_diode(
            voltage_supply=board.voltages(stages + lit),
            current_load=stages + lit,
            diode=parts.one("protection", Diode),
        )
        ahead = np.maximum(np.asarray(safe.voltage_output), 0.0)
        filtered = supply.supply_filter(
            voltage_supply=ahead,
            current_load=np.minimum(stages, ahead / max(series, 1e-9)),
            resistance_series=series,
            capacitor=parts.one("filter capacitor", devices.Capacitor),
            power_rating=parts.board.part(parts.name("filter")).power_max,
        )
        return safe, filtered, ahead, np.maximum(np.asarray(filtered.voltage_output), 0.0)

    def wanted(x: Array) -> Array:
        _, _, ahead, rail = supplied(x)
        first, second = points_of(parts, rail, jfet)
        stages = np.asarray(first.current_drain) + np.asarray(second.current_emitter)
        return np.array([stages, lights * lamp_current(ahead, parts.ohms("indicator resistor"), lamp)])

    x = agreed(wanted, wanted(np.zeros((2, 3))), what="supply and stages did not settle on each other")
    safe, filtered, _, rail = supplied(x)
    return safe, filtered, *points_of(parts, rail, jfet), x[1]


def room(parts: Parts, jfet: Any, follower: Any, gain: float, load: float) -> tuple[Array, Array, Array]:
    free = np.maximum(np.asarray(follower.voltage_collector_emitter) - SATURATED, 0.0)
    swing = stage.swing(
        follower.current_emitter,
        voltage_headroom=free,
        resistance_output_dc=parts.ohms("emitter"),
        resistance_load=load,
    )
    up = np.minimum(np.asarray(jfet.swing_up), np.asarray(swing.swing_down))
    down = np.minimum(np.asarray(jfet.swing_down), np.asarray(swing.swing_up))
    return up, down, np.minimum(up, down) * gain


def through_level(parts: Parts, behind: float, output: float, full: float) -> float:
    """Return what the level control passes where it stands, over what it passes at full."""
    found = parts.board.control(parts.name("level"))
    below = float(found.track_fraction) * found.resistance_total
    above = found.resistance_total - below
    loaded = float(rc.parallel_resistance([below, behind])) if below > 0 else 0.0
    return loaded / (above + loaded + output) * (full + output) / full


def switched(
    parts: Parts, safe: Any, jfet: Any, follower: Any, lamp: Array, gain: float, gain_follower: float,
    source: float, behind: float, plug: str,
) -> tuple[Any, Any, Any, Any, Any]:  # fmt: skip
    board, meter = parts.board, parts.metered().resistance_meter
    lights = switching.indicator_states(
        np.maximum(np.asarray(safe.voltage_output), 0.0),
        resistance_led=parts.ohms("indicator resistor"),
        led=parts.one("indicator", Led),
        wiring="grounded",
        resistance_meter=meter,
    )
    drawn = float(np.asarray(jfet.current_drain)[1] + np.asarray(follower.current_emitter)[1])
    states = states_of(board, drawn, float(lamp[1]), plug)
    fet: Jfet = parts.one("JFET", Jfet)
    leak = 0.0 if np.isnan(fet.current_gate_leakage) else float(fet.current_gate_leakage)
    gate, out = leak * parts.ohms("gate"), float(np.asarray(follower.voltage_emitter)[1])
    thump_in = switching.pulldown_thump(
        gate,
        current_leakage=parts.leakage("input", gate),
        resistance_pulldown=parts.ohms("input pull-down"),
        resistance_load=source,
        capacitance=parts.farads("input"),
        gain=gain,
        resistance_meter=meter,
    )
    thump_out = switching.pulldown_thump(
        out,
        current_leakage=parts.leakage("output", out),
        resistance_pulldown=board.control(parts.name("level"), rotation=1.0).resistance_total,
        resistance_load=behind,
        capacitance=parts.farads("output"),
        gain=1.0,
        resistance_meter=meter,
    )
    rail_step = switching.indicator_thump(
        float(lamp[1]), resistance_supply=BATTERY_LEAD, capacitance=0.0, fraction_coupled=1.0, gain=gain_follower
    )
    return lights, states, thump_in, thump_out, rail_step


def unmeasured(parts: Parts, rail: Array) -> tuple[float, float, str]:
    """Return the drain's range at the usual supply over what is not known of the JFET."""
    name = parts.name("JFET")
    record = parts.board.record(name)
    drains = [
        float(np.asarray(points_of(parts, np.maximum(rail, 0.0), one(record))[0].voltage_drain)[1])
        for one in (devices.low, devices.high)
    ]
    own = parts.board.own(name)
    words = f"measured, {own.path}" if own else f"not measured: any {record.name} of its sheet"
    return min(drains), max(drains), words


def steps_of(
    parts: Parts, safe: Any, filtered: Any, follower: Any, up: Array, down: Array, peak: Array, gain: float
) -> tuple[TestPoint, ...]:
    """Return the way from the label to the usable swing."""
    idle = np.asarray(follower.voltage_emitter)
    return points(
        {
            "label": parts.board.voltages(safe.current_load),
            f"behind {parts.name('protection')}": safe.voltage_output,
            f"rail, behind {parts.name('filter')}": filtered.voltage_output,
            "highest output": idle + up,
            "lowest output": idle - down,
            "idle": idle,
            "largest peak at the output": peak,
            "guitar peak that fills it, by the gain at rest": peak / gain if gain > 0 else np.nan * peak,
        }
    )


def consumers_of(parts: Parts, jfet: Any, follower: Any, lamp: Array) -> tuple[Consumer, ...]:
    rows = {
        f"{parts.name('JFET')}, JFET": np.asarray(jfet.current_drain),
        f"{parts.name('follower')}, follower": np.asarray(follower.current_emitter),
        f"{parts.name('indicator')}, indicator": lamp,
    }
    rows["whole build, engaged"] = sum(rows.values())  # type: ignore[assignment]
    return tuple(
        Consumer(name=name, current_low=float(a.min()), current_typical=float(a[1]), current_high=float(a.max()))
        for name, a in rows.items()
    )


def design_of(
    parts: Parts,
    safe: Any,
    filtered: Any,
    share: float,
    emitter: float,
    lamp: float,
    note: float,
    source: float,
    out: float,
) -> tuple[DesignPart, ...]:
    device: Jfet = parts.one("JFET", Jfet)
    idss, off = float(device.current_drain_zero_bias), float(device.voltage_gate_source_off)
    rail = float(np.asarray(filtered.voltage_output)[1])
    drain = (rail + abs(off)) / 2
    r_drain = (rail - drain) / (share * idss)
    try:
        trimmed = float(
            fet.trim_source(
                drain, voltage_supply=rail, resistance_drain=parts.ohms("drain"), fet=device
            ).resistance_source_pin
        )
    except ValueError:  # the drain as fitted cannot be brought there
        trimmed = float("nan")
    now, _follower = points_of(parts, np.full(3, max(rail, 0.0)), device)
    gm = float(np.asarray(now.transconductance)[1])
    bypassed = float(rc.parallel_resistance([parts.ohms("source"), 1 / gm])) if gm > 0 else parts.ohms("source")
    base = float(np.asarray(now.voltage_drain)[1]) - float(drop(emitter, parts.one("follower", Bjt)))
    low, usual, high = (float(v) for v in np.maximum(np.asarray(safe.voltage_output), 0.0))
    try:
        resistor = led.choose_resistor(
            parts.board.record(parts.name("indicator")), voltage_supply=(low, usual, high), current_wanted=lamp, stock="E12",
        ).recommended.resistance  # fmt: skip
    except ValueError:  # the supply does not light it
        resistor = float("nan")
    above = values.value_above

    def corner(role: str, ohms: float) -> float:
        return float(rc.corner_capacitance(note / BELOW_NOTE[role], resistance=ohms))

    return (
        design_part(parts, "drain", "drain", r_drain, "Ω", "E12"),
        design_part(parts, "source", "source, to the drain resistor fitted", trimmed, "Ω", "E12"),
        design_part(parts, "emitter", "emitter", base / emitter if base > 0 else np.nan, "Ω", "E12"),
        design_part(parts, "indicator resistor", "indicator", resistor, "Ω", "E12"),
        design_part(parts, "input", "input", corner("input", parts.ohms("gate") + source), "F", "E6", above),
        design_part(parts, "bypass", "bypass", corner("bypass", bypassed), "F", "E6", above),
        design_part(parts, "output", "output", corner("output", out), "F", "E6", above),
    )


def meter_points_of(
    parts: Parts, safe: Any, filtered: Any, jfet: Any, follower: Any, lights: Any
) -> tuple[TestPoint, ...]:
    """Return what the meter shows at each test point; at the drain its own resistance counts."""
    name, meter = parts.name, float(parts.metered().resistance_meter)
    rail = np.maximum(np.asarray(filtered.voltage_output), 0.0)
    drain = parts.ohms("drain")
    transistor: Bjt = parts.one("follower", Bjt)
    without = np.maximum(np.asarray(jfet.voltage_drain) + drain * np.asarray(follower.current_base), 0.0)
    metered = rc.divider(voltage_supply=without, resistance_top=drain, resistance_bottom=meter)
    read = bjt.base_bias(
        rail,
        voltage_base_supply=metered.voltage_output,
        resistance_base=float(rc.parallel_resistance([drain, meter])),
        resistance_collector=0.0,
        resistance_emitter=parts.ohms("emitter"),
        transistor=transistor,
    ).voltage_base
    lamp = name("indicator")
    return points(
        {
            "supply in": parts.board.voltages(safe.current_load),
            f"{name('protection')} cathode, protected": safe.voltage_output,
            f"{name('follower')} collector, rail": rail,
            f"{name('JFET')} gate": 0.0,
            f"{name('JFET')} source": jfet.voltage_source_pin,
            f"{name('JFET')} drain, {name('follower')} base": read,
            f"{name('follower')} emitter": follower.voltage_emitter,
            "output": 0.0,
            f"{lamp} anode, engaged": lights.voltage_anode_engaged,
            f"{lamp} cathode, engaged": lights.voltage_cathode_engaged,
            f"{lamp} anode, bypassed": lights.voltage_anode_bypassed,
            f"{lamp} cathode, bypassed": lights.voltage_cathode_bypassed,
        }
    )


def cautions_of(
    parts: Parts, safe: Any, filtered: Any, jfet: Any, follower: Any, others: tuple[Any, ...]
) -> tuple[Caution, ...]:
    name = parts.name
    lights, states, thump_in, thump_out, rail_step = others
    fed = ((safe, ("protection",)), (filtered, ("filter",)))
    meant = (
        (jfet, ("JFET",)), (follower, ("follower",)), (lights, ("indicator",)),
        (thump_in, ("input", "input pull-down")), (thump_out, ("output", "level")), (rail_step, ("indicator",)),
    )  # fmt: skip
    off = abs(float(parts.one("JFET", Jfet).voltage_gate_source_off))
    needed = off - np.abs(np.asarray(jfet.voltage_gate_source))
    places = {"the capacitor's voltage rating": name("filter capacitor")}
    found = [
        one for result, names in fed for one in about(parts.board, result.cautions, *map(name, names), places=places)
    ]
    found += caution_below(  # ahead of the stage's own words for it, which know of no other part
        f"{name('JFET')} turns ohmic: gain and bias fall together",
        f"raise {name('source')} or lower {name('drain')}, or use a part of a smaller IDSS",
        jfet.voltage_drain_source, needed, "V",
    )  # fmt: skip
    found += [one for result, names in meant for one in about(parts.board, result.cautions, *map(name, names))]
    found += states.cautions
    conducts = np.asarray(follower.current_emitter) > CONDUCTS  # through a link, too, where no volts stand
    found += caution_below(
        f"{name('follower')} does not conduct: the drain stands too low for it",
        f"raise {name('source')} or lower {name('drain')}",
        np.where(conducts, np.inf, follower.voltage_emitter), 0.1, "V",
    )  # fmt: skip
    rail = np.asarray(safe.voltage_output)
    found += parts.stands("bypass", rail, f"with {name('source')} open, at most the rail")
    amps = np.asarray(lights.current_engaged)
    found += parts.heats("indicator resistor", amps**2 * parts.ohms("indicator resistor"))
    transistor: Bjt = parts.one("follower", Bjt)
    if not np.isnan(transistor.voltage_max):
        found += list(_over(name("follower"), "collector-emitter", rail, transistor.voltage_max))
    fet: Jfet = parts.one("JFET", Jfet)
    if not np.isnan(fet.voltage_max):
        found += list(_over(name("JFET"), "drain-gate", rail, fet.voltage_max))
    return tuple(
        {
            (caution.what, caution.unit): caution
            for caution in (*parts.board.cautions, *socket_cautions(parts.board), *parts.links(), *found)
        }.values()
    )


def _over(name: str, where: str, volts: Array, limit: float) -> tuple[Caution, ...]:
    if not np.max(volts) > limit:
        return ()
    return (
        Caution(f"{name}: more {where} voltage than it stands", "use less supply or another part", float(np.max(volts)), float(limit), "V"),
    )  # fmt: skip
