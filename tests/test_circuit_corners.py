"""Corners of boards: against closed forms, the poles of scipy's state space, and differences of solved boards."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import circuit, devices, rc
from pedalcalc.board import assemble
from tests.circuit_parts import NAN, board, capacitor, lossless, part, resistor
from tests.conftest import ROOT

BUILDS = ROOT / "notebooks" / "builds"
BETWEEN = {"net_in": "in", "net_out": "out", "resistance_generator": 0.0, "resistance_load": np.inf}


def dual(reference, out, minus, plus, top="rail"):
    pins = (out, minus, plus, "ground", "half", "spare", "spare", top)
    return part(reference, "integrated circuit", NAN, "", "TL072", **{str(k + 1): net for k, net in enumerate(pins)})


HALF = (
    resistor("R90", 10e3, "rail", "half"),
    resistor("R91", 10e3, "half", "ground"),
    capacitor("C90", 1.0, "half", "ground"),
)


def test_one_resistor_and_one_capacitor_are_the_corner():
    built = board(resistor("R1", 4.7e3, "in", "out"), capacitor("C1", 22e-9, "out", "ground"))
    found = circuit.corners(built, values=lossless(built), **BETWEEN)
    (one,) = found.corners
    assert one.frequency == pytest.approx(rc.corner_frequency(resistance=4.7e3, capacitance=22e-9), rel=1e-12)
    assert one.kind == "pole" and one.effect == "highs fall away above it"
    assert one.sensitivities == pytest.approx({"R1": -1.0, "C1": -1.0}, abs=1e-9)
    assert one.set_by == "R1 −1.00, C1 −1.00"


def test_a_coil_and_a_capacitor_ring_at_their_resonance():
    """f = 1/(2 pi sqrt(LC)), Q = sqrt(L/C)/R of the series circuit."""
    coil = part("L1", "inductor", 0.1, "H", "100m", _1="a", _2="out")
    built = board(resistor("R1", 100.0, "in", "a"), coil, capacitor("C1", 1e-6, "out", "ground"))
    (one,) = circuit.corners(built, values=lossless(built), **BETWEEN).corners
    assert one.count == 2 and one.frequency == pytest.approx(1 / (2 * np.pi * np.sqrt(0.1e-6)), rel=1e-9)
    assert one.quality == pytest.approx(np.sqrt(0.1 / 1e-6) / 100.0, rel=1e-9)
    assert one.sensitivities == pytest.approx({"R1": 0.0, "L1": -0.5, "C1": -0.5}, abs=1e-9)


def test_equal_poles_are_one_group():
    """Two equal low-passes with a follower between: a double pole, which has no derivative of its own."""
    built = board(
        *HALF, resistor("R1", 10e3, "in", "first"), capacitor("C1", 10e-9, "first", "half"), dual("IC1", "second", "second", "first"),
        resistor("R2", 10e3, "second", "out"), capacitor("C2", 10e-9, "out", "half"), capacitor("C3", 1.0, "plug", "in"),
    )  # fmt: skip
    ideal = replace(
        devices.typical(devices.OPAMP_TL072), gain_open_loop=1e7, gain_bandwidth=np.inf, resistance_output_open=0.01,
        current_bias=0.0,
    )  # fmt: skip
    settings = BETWEEN | {"net_in": "plug"}
    built = board(*(one.part for one in built.parts[1:]), resistor("R3", 1e6, "in", "half"))
    found = circuit.corners(
        built, values=lossless(built) | {"IC1": ideal}, frequency_to=1e5, frequency_from=100.0, **settings
    )
    (one,) = found.corners
    assert one.count == 2 and one.frequency == pytest.approx(1 / (2 * np.pi * 1e-4), rel=1e-6)
    told = {name: one.sensitivities[name] for name in ("R1", "C1", "R2", "C2")}
    assert told == pytest.approx(dict.fromkeys(told, -0.5), abs=1e-5)


def test_a_filter_of_second_order_has_its_textbook_frequency_and_quality():
    """Unity gain, equal resistors: f = 1/(2 pi R sqrt(C1 C2)), Q = sqrt(C1/C2)/2."""
    built = board(
        *HALF, capacitor("C3", 1.0, "in", "a"), resistor("R3", 1e6, "a", "half"), resistor("R1", 10e3, "a", "b"),
        resistor("R2", 10e3, "b", "c"), capacitor("C1", 22e-9, "b", "out"), capacitor("C2", 4.7e-9, "c", "half"),
        dual("IC1", "out", "out", "c"),
    )  # fmt: skip
    ideal = replace(
        devices.typical(devices.OPAMP_TL072), gain_open_loop=1e7, gain_bandwidth=np.inf, resistance_output_open=0.01
    )
    (one,) = circuit.corners(
        built, values=lossless(built) | {"IC1": ideal}, frequency_from=10.0, frequency_to=1e5, **BETWEEN
    ).corners
    assert one.frequency == pytest.approx(1 / (2 * np.pi * 1e4 * np.sqrt(22e-9 * 4.7e-9)), rel=1e-6)
    assert one.quality == pytest.approx(np.sqrt(22 / 4.7) / 2, rel=1e-6)


@pytest.mark.parametrize(("build", "lowest"), [("jfet-booster", 1.0), ("optical-compressor", 0.5)])
def test_sensitivities_are_differences_of_solved_boards(build, lowest):
    """Each part 0.1 % up and down, operating point and all; a corner keeps its place in the list."""
    built = assemble(BUILDS / build / "parts.csv", supply=9.0)
    whole = circuit.corners(built, frequency_from=lowest)
    named = {name for one in whole.corners for name, share in one.sensitivities.items() if abs(share) > 0.05}
    tried = [name for name in sorted(named) if built_value(built, name)]
    assert len(tried) >= 4
    for name in tried:
        value = built_value(built, name)
        allowed = 5e-4 if name[0] == "C" else 2e-5  # the leakage of a larger electrolytic is larger, here it is held
        up, down = (
            circuit.corners(built, frequency_from=lowest, values={name: value * (1 + step)}).corners
            for step in (1e-3, -1e-3)
        )
        for one, high, low in zip(whole.corners, up, down, strict=True):
            slope = np.log(high.frequency / low.frequency) / np.log(1.001 / 0.999)
            assert one.sensitivities[name] == pytest.approx(slope, abs=allowed), (one.frequency, name)


def built_value(built, name):
    """Return the value of a resistor or capacitor, nothing for other names."""
    parts = {one.part.reference: one.part for one in built.parts}
    known = name in parts and parts[name].kind != "potentiometer" and parts[name].unit in ("Ω", "F")
    return parts[name].value if known else None


def test_all_capacitors_together_move_every_corner_by_the_same():
    """Twice every capacitor halves every frequency: the sensitivities of what stores sum to -1 (Euler)."""
    built = assemble(BUILDS / "jfet-booster" / "parts.csv", supply=9.0)
    within = ("junction", "gate to drain", "gate to source", "base to collector", "base to emitter")
    for one in circuit.corners(built).corners:
        stored = [share for name, share in one.sensitivities.items() if name[0] == "C" or name.endswith(within)]
        assert sum(stored) == pytest.approx(-1.0, abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_random_ladders_have_the_poles_of_their_state_space(seed):
    random = np.random.default_rng(seed)
    ohms, farads = 10 ** random.uniform(3, 5, 4), 10 ** random.uniform(-9, -7, 4)
    nets = ["in", "n1", "n2", "n3", "out"]
    built = board(
        *(resistor(f"R{k + 1}", ohms[k], nets[k], nets[k + 1]) for k in range(4)),
        *(capacitor(f"C{k + 1}", farads[k], nets[k + 1], "ground") for k in range(4)),
    )
    siemens = 1 / ohms
    matrix = np.diag(siemens + np.r_[siemens[1:], 0.0]) - np.diag(siemens[1:], 1) - np.diag(siemens[1:], -1)
    poles = np.sort(np.abs(np.linalg.eigvals(matrix / farads[:, None]))) / (2 * np.pi)
    found = circuit.corners(built, values=lossless(built), frequency_from=0.0, frequency_to=1e9, **BETWEEN)
    assert sum(one.count for one in found.corners) == 4
    ours = np.concatenate([[one.frequency] * one.count for one in found.corners])
    assert np.prod(ours) == pytest.approx(np.prod(poles), rel=1e-9)
    if len(found.corners) == 4:
        np.testing.assert_allclose(ours, poles, rtol=1e-9)


@pytest.mark.parametrize(("gain", "unstable"), [(27.0, False), (32.0, True)])
def test_a_phase_shift_oscillator_starts_from_a_gain_of_29(gain, unstable):
    """Three equal high-pass sections into an inverting stage: (1 + A) y^3 + 6 y^2 + 5 y + 1 = 0 with y = s R C."""
    ohms, farads = 10e3, 10e-9
    built = board(
        *HALF, capacitor("C1", farads, "out", "a"), resistor("R1", ohms, "a", "half"), capacitor("C2", farads, "a", "b"),
        resistor("R2", ohms, "b", "half"), capacitor("C3", farads, "b", "c"), resistor("R3", ohms, "c", "minus"),
        resistor("R4", gain * ohms, "minus", "out"), dual("IC1", "out", "minus", "half"), resistor("R5", 1e9, "in", "minus"),
    )  # fmt: skip
    found = circuit.corners(
        built, values=lossless(built), net_in="in", net_out="out", frequency_from=10.0, frequency_to=1e5
    )
    told = [one for one in found.cautions if "oscillates" in one.what]
    assert bool(told) == unstable
    if unstable:
        (one,) = (one for one in found.corners if one.effect == "unstable")
        grows = max(np.roots([1 + gain, 6.0, 5.0, 1.0]), key=lambda root: root.real)
        assert one.frequency == pytest.approx(abs(grows) / (2 * np.pi * ohms * farads), rel=1e-3)
        assert "about" in told[0].what


def test_a_pair_that_undoes_itself_is_hidden():
    """A filter of the supply is no corner of a signal that does not go through it."""
    built = board(
        resistor("R1", 100.0, "rail", "clean"), capacitor("C1", 100e-6, "clean", "ground"), resistor("R2", 10e3, "clean", "ground"),
        capacitor("C2", 22e-9, "in", "out"), resistor("R3", 1e6, "out", "ground"),
    )  # fmt: skip
    found = circuit.corners(built, values=lossless(built), **BETWEEN)
    (one,) = found.corners
    assert found.hidden == 1 and one.set_by == "C2 −1.00, R3 −1.00"


def test_what_has_no_corners_says_so():
    plain = board(resistor("R1", 1e3, "in", "out"), resistor("R2", 1e3, "out", "ground"))
    assert circuit.corners(plain, net_in="in", net_out="out").corners == ()
    with pytest.raises(ValueError, match=r"corners are those of one unit, got arrays of 2: .* ask for each unit"):
        circuit.corners(plain, net_in="in", net_out="out", values={"R1": np.array([1e3, 2e3])})
    with pytest.raises(ValueError, match="nothing passes"):
        circuit.corners(plain, net_in="in", net_out="ground")
    with pytest.raises(ValueError, match="frequency_from"):
        circuit.corners(plain, net_in="in", net_out="out", frequency_from=-1.0)
