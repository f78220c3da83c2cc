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

import numpy as np

from pedalcalc import circuit, devices
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
            ends = list(rng.choice(nets, 2))
            solid.append((ends[0], ends[1]))
            ohms = float(f"{10 ** rng.uniform(2, 6):.2g}")
            parts.append(_part(reference, kind, ohms, "Ω", f"{ohms:g}", ["1", "2"], ends))
        elif kind == "film capacitor":
            parts.append(_part(reference, kind, 1e-7, "F", "100n", ["1", "2"], list(rng.choice(nets, 2))))
        else:
            text = str(rng.choice(TYPES[str(kind)]))
            record = find_device(text, kind=str(kind))
            pins = {
                "diode": ["anode", "cathode"], "indicator": ["anode", "cathode"], "integrated circuit": list("12345678"),
            }.get(str(kind)) or (
                ["base", "collector", "emitter"] if isinstance(record, devices.Bjt) else ["gate", "drain", "source"]
            )  # fmt: skip
            ends = list(rng.choice(nets, len(pins)))
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


def _part(reference: str, kind: str, value: float, unit: str, text: str, pins: list[str], nets: list[str]) -> Part:
    connections = tuple(Connection(pin, str(net)) for pin, net in zip(pins, nets, strict=True))
    return Part(reference, kind, value, unit, text, NAN, NAN, NAN, NAN, NAN, connections, "")


def main() -> None:
    """Solve many random boards and print how many were solved."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--count", type=int, default=1000)
    reader.add_argument("--seed", type=int, default=1)
    asked = reader.parse_args()
    lost = []
    for k in range(asked.count):
        try:
            circuit.operating_point(random_board(np.random.default_rng([asked.seed, k])))
        except RuntimeError:
            lost.append(k)
    print(f"{asked.count - len(lost)} of {asked.count} solved; not solved: {lost[:50]}")


if __name__ == "__main__":
    main()
