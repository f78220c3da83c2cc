"""Random boards for the whole-circuit solver, and an independent look at its answers.

    python -m tests.oracle_circuit --count 10000 --seed 1

Each board has 5 to 30 parts of the catalogue on a battery clip of 9 V: resistors of 100 Ω to 1 MΩ, capacitors, diodes, LEDs,
Zener diodes, bipolar and field-effect transistors, op-amps, their pins on nets drawn at random from the rail, ground and up
to twelve others. A net without a resistive way to the rail or to ground gets a resistor. A board counts as solved when
an operating point is returned; its currents are then summed at every net once more, through the public laws, one part
at a time.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

import numpy as np

from pedalcalc import circuit, devices, laws
from pedalcalc.board import Board, assemble
from pedalcalc.catalogue import find_device
from pedalcalc.parts import Connection, Part

NAN = float("nan")
TYPES = {
    "diode": ("1N4148", "1N5817", "BZX55C5V1", "BZX55C9V1"),
    "indicator": ("red GaAsP LED",),
    "transistor": ("2N3904", "2N3906", "BC549C", "BC559B", "2N5457", "J201", "BS170", "BS250"),
    "integrated circuit": ("TL072", "TL062", "NE5532", "LM358", "4558"),
}


def random_board(rng: np.random.Generator) -> Board:
    """Return one random board."""
    count = int(rng.integers(5, 31))
    inner = [f"net {k}" for k in range(1, int(rng.integers(2, min(count, 12) + 1)) + 1)]
    nets = [*inner, *inner, "rail", "ground"]
    parts = [_part("X1", "connector", NAN, "", "battery clip", ["plus", "minus"], ["rail", "ground"])]
    solid: list[tuple[str, str]] = []
    for k in range(count):
        kind = rng.choice(["resistor", "film capacitor", "diode", "indicator", "transistor", "integrated circuit"],
                          p=[0.45, 0.1, 0.15, 0.05, 0.15, 0.1])  # fmt: skip
        reference = f"P{k + 1}"
        if kind == "resistor":
            ends = _two(rng, nets)
            solid.append((ends[0], ends[1]))
            ohms = float(f"{10 ** rng.uniform(2, 6):.2g}")
            parts.append(_part(reference, kind, ohms, "Ω", f"{ohms:g}", ["1", "2"], ends))
        elif kind == "film capacitor":
            parts.append(_part(reference, kind, 1e-7, "F", "100n", ["1", "2"], _two(rng, nets)))
        else:
            text = str(rng.choice(TYPES[str(kind)]))
            record = find_device(text, kind=str(kind))
            pins = {
                "diode": ["anode", "cathode"], "indicator": ["anode", "cathode"], "integrated circuit": list("12345678"),
            }.get(str(kind)) or (
                ["base", "collector", "emitter"] if isinstance(record, devices.Bjt) else ["gate", "drain", "source"]
            )  # fmt: skip
            ends = _two(rng, nets) if len(pins) == 2 else list(rng.choice(nets, len(pins)))
            if kind == "integrated circuit":
                ends[3], ends[7] = "ground", "rail"
            parts.append(_part(reference, str(kind), NAN, "", text, pins, ends))
    used = {net for part in parts for _, net in part.connections}
    reached = {"rail", "ground"}
    while grown := {b for pair in solid for a, b in (pair, pair[::-1]) if a in reached} - reached:
        reached |= grown
    for k, net in enumerate(sorted(used - reached)):
        ohms = float(f"{10 ** rng.uniform(3, 6):.2g}")
        to = str(rng.choice(["rail", "ground"]))
        parts.append(_part(f"R{k + 100}", "resistor", ohms, "Ω", f"{ohms:g}", ["1", "2"], [net, to]))
    return assemble(parts, supply=9.0)


def _two(rng: np.random.Generator, nets: list[str]) -> list[str]:
    """Return two nets that differ."""
    first = str(rng.choice(nets))
    return [first, str(rng.choice([net for net in nets if net != first]))]


def _part(reference: str, kind: str, value: float, unit: str, text: str, pins: list[str], nets: list[str]) -> Part:
    connections = tuple(Connection(pin, str(net)) for pin, net in zip(pins, nets, strict=True))
    return Part(reference, kind, value, unit, text, NAN, NAN, NAN, NAN, NAN, connections, "")


def left_over(board: Board, volts: dict[str, float]) -> dict[str, tuple[float, float]]:
    """Return for each net the sum of the currents into its parts and the sum of their sizes, by the public laws.

    The rail, which the supply holds, is left out. What parts have besides their law stands here once more: insulation,
    gate junctions and body diodes, an op-amp's own consumption and its diodes to the rails.
    """
    sums: dict[str, float] = {}
    sizes: dict[str, float] = {}

    def into(net: str, amps: float) -> None:
        sums[net] = sums.get(net, 0.0) + amps
        sizes[net] = sizes.get(net, 0.0) + abs(amps)

    def diode(anode: str, cathode: str, record: Any) -> None:
        amps = float(laws.junction(volts[anode] - volts[cathode], junction=record).current)
        into(anode, amps)
        into(cathode, -amps)

    for found in board.parts:
        part, net = found.part, {pin.role: pin.net for pin in found.pins}
        record = None if found.device is None else devices.typical(found.device)
        if part.kind in ("resistor", "film capacitor"):
            ends = [pin.net for pin in found.pins]
            ohms = part.value if part.kind == "resistor" else record.resistance_insulation
            amps = (volts[ends[0]] - volts[ends[1]]) / ohms
            into(ends[0], amps)
            into(ends[1], -amps)
        elif isinstance(record, (devices.Diode, devices.Led, devices.Zener)):
            diode(net["anode"], net["cathode"], record)
        elif isinstance(record, devices.Bjt):
            base, collector, emitter = (volts[net[pin]] for pin in ("base", "collector", "emitter"))
            seen = laws.bipolar(
                voltage_base=base, voltage_collector=collector, voltage_emitter=emitter, transistor=record
            )
            sign = 1 if record.polarity == "npn" else -1
            over = max(sign * (emitter - base) - record.voltage_base_emitter_breakdown, 0.0) / 20.0 * sign
            into(net["base"], seen.current_base - over)
            into(net["collector"], seen.current_collector)
            into(net["emitter"], seen.current_emitter + over)
        elif isinstance(record, (devices.Jfet, devices.Mosfet)):
            gate, drain, source = (volts[net[pin]] for pin in ("gate", "drain", "source"))
            amps = laws.channel(
                voltage_gate=gate, voltage_drain=drain, voltage_source_pin=source, fet=record
            ).current_drain
            into(net["drain"], amps)
            into(net["source"], -amps)
            ends = (
                [("gate", "source"), ("gate", "drain")] if isinstance(record, devices.Jfet) else [("source", "drain")]
            )
            for first, second in ends:
                diode(*((net[first], net[second]) if record.polarity == "n" else (net[second], net[first])), record)
        elif isinstance(record, devices.OpAmp):
            named = {f"{pin.unit} {pin.role}".strip(): pin.net for pin in found.pins}
            top, bottom = named["positive rail"], named["negative rail"]
            for unit in ("1", "2"):
                ends = [named[f"{unit} {what}"] for what in ("non-inverting input", "inverting input", "output")]
                seen = laws.amplifier(
                    voltage_noninverting=volts[ends[0]], voltage_inverting=volts[ends[1]], voltage_output=volts[ends[2]],
                    voltage_positive=volts[top], voltage_negative=volts[bottom], op_amp=record,
                )  # fmt: skip
                into(ends[0], seen.current_noninverting)
                into(ends[1], seen.current_inverting)
                into(ends[2], seen.current_output)
                if record.output_diodes:
                    diode(ends[2], top, CLAMP)
                    diode(bottom, ends[2], CLAMP)
    return {net: (sums[net], sizes[net]) for net in sums if net not in ("rail", "ground")}


def rounded(board: Board, volts: dict[str, float], sums: dict[str, tuple[float, float]]) -> dict[str, float]:
    """Return for each net the most that its sum may be: a part of its size, a picoampere, and four roundings of the volts.

    A transistor whose base the rail drives has a million amperes in two junctions against each other, and an op-amp passes
    one rounding of its inputs times its gain: such sums are up to 1e-4 of their sizes. How far a rounding moves a sum is
    found by moving each net in turn by a nanovolt.
    """
    allowed = {net: 1e-12 * size + 1e-12 for net, (_, size) in sums.items()}
    last = 4 * np.finfo(float).eps * 2 * max(map(abs, volts.values())) / MOVE
    for net in set(volts) - {"ground"}:
        for other, (total, _) in left_over(board, volts | {net: volts[net] + MOVE}).items():
            allowed[other] += abs(total - sums[other][0]) * last
    return allowed


#: What a net is moved by to see slopes [V].
MOVE = 1e-9
#: The diode inside an integrated circuit as a record: 0.7 V at 1 mA, 10 Ω, ideality 1 (from memory).
CLAMP = replace(
    devices.typical(devices.DIODE_1N4148),
    voltage_forward=0.7,
    current_reference=1e-3,
    ideality=1.0,
    resistance_series=10.0,
)


def main() -> None:
    """Solve many random boards and print how many were solved."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--count", type=int, default=1000)
    reader.add_argument("--seed", type=int, default=1)
    asked = reader.parse_args()
    lost = []
    worst = 0.0
    for k in range(asked.count):
        board = random_board(np.random.default_rng([asked.seed, k]))
        try:
            point = circuit.operating_point(board)
        except RuntimeError:
            lost.append(k)
            continue
        if not point.unpredictable:
            sums = left_over(board, volts := dict(point.voltages))
            allowed = rounded(board, volts, sums)
            worst = max([worst, *(abs(total) / allowed[net] for net, (total, _) in sums.items())])
    print(
        f"{asked.count - len(lost)} of {asked.count} solved; not solved: {lost[:50]}; worst sum {worst:.2g} of allowed"
    )


if __name__ == "__main__":
    main()
