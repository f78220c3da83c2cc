"""Formulas of sub-circuits: against textbook formulas by sympy, printed figures, and the numbers of the whole board."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sympy
from sympy import ZZ
from sympy.polys.rings import ring

from pedalcalc import circuit, devices, report
from pedalcalc.board import assemble
from pedalcalc.circuit import _symbols
from tests.circuit_parts import NAN, board, capacitor, lossless, part, resistor
from tests.conftest import ROOT
from tests.test_circuit_corners import HALF, dual

BUILDS = ROOT / "notebooks" / "builds"
IDEAL = replace(
    devices.typical(devices.OPAMP_TL072), gain_open_loop=1e7, gain_bandwidth=np.inf, resistance_output_open=0.01
)

# The loaded twin-T of the published rows: frequency [Hz], printed gain, what its digits allow.
TWIN_T = [
    (200.0, 0.54, 5e-5),
    (747.4, 0.02832, 9e-5),
    (815.8, 0.01126, 3.9e-5),
    (884.2, 0.04796, 1.5e-4),
    (1500.0, 0.298, 5e-5),
]


def same(found, text):
    """Tell whether a formula is the one in the text, by sympy."""
    expected = sympy.sympify(text, locals={name: sympy.Symbol(name) for name in (*found.symbols, "s")})
    return sympy.simplify(found.numerator / found.denominator - expected) == 0


def test_two_sections_of_a_ladder():
    built = board(
        resistor("R1", 10e3, "in", "a"), capacitor("C1", 10e-9, "a", "ground"), resistor("R2", 22e3, "a", "out"),
        capacitor("C2", 4.7e-9, "out", "ground"),
    )  # fmt: skip
    found = circuit.transfer_function(built, net_in="in", net_out="out", nets=["a"])
    assert same(found, "1/(C1*C2*R1*R2*s**2 + (C1*R1 + C2*R1 + C2*R2)*s + 1)")
    assert found.deviation_db < 0.1 and found.cautions == ()
    assert found.symbols == {"R1": 10e3, "R2": 22e3, "C1": 10e-9, "C2": 4.7e-9}


@pytest.mark.parametrize("seed", range(5))
def test_random_networks_are_their_numbers(seed):
    """Resistors, capacitors and a coil at random between five nets: the formula against nodal equations by numpy."""
    random = np.random.default_rng(seed)
    nets = ["in", "a", "b", "out", "ground"]
    pairs = [("in", "a"), ("a", "b"), ("b", "out"), ("out", "ground")]
    pairs += [tuple(random.choice(nets, 2, replace=False)) for _ in range(5)]
    sizes = 10 ** random.uniform(3, 5, 4), 10 ** random.uniform(-9, -7, 4), [0.05]
    made = [resistor(f"R{k}", sizes[0][k], *pairs[k]) for k in range(4)]
    made += [capacitor(f"C{k}", sizes[1][k], *pairs[4 + k]) for k in range(4)]
    made += [part("L1", "inductor", 0.05, "H", "50m", _1=pairs[8][0], _2=pairs[8][1])]
    found = circuit.transfer_function(board(*made), net_in="in", net_out="out", nets=["a", "b"])
    put = {sympy.Symbol(name): value for name, value in found.symbols.items()}
    at = {net: k for k, net in enumerate(nets)}
    for hertz in (31.0, 1e3, 12e3):
        s = 2j * np.pi * hertz
        matrix = np.zeros((5, 5), complex)
        flows = [*(1 / sizes[0]), *(s * sizes[1]), 1 / (s * 0.05)]
        for (one, other), flow in zip(pairs, flows, strict=True):
            ends = np.zeros(5)
            ends[at[one]], ends[at[other]] = 1.0, -1.0
            matrix += flow * np.outer(ends, ends)
        volts = np.linalg.solve(matrix[1:4, 1:4], -matrix[1:4, 0])
        value = complex((found.numerator / found.denominator).subs(put).subs(sympy.Symbol("s"), s))
        assert value == pytest.approx(volts[2], rel=1e-9)


@pytest.mark.parametrize(
    ("parts", "text"),
    [
        ([("R1", "foot", "half"), ("R2", "foot", "out")], "1 + R2/R1"),
        ([("R1", "foot", "half"), ("R2", "foot", "out"), ("C1", "foot", "out")], "1 + R2/R1/(1 + s*C1*R2)"),
    ],
)
def test_stages_of_an_op_amp(parts, text):
    made = [
        (resistor if name[0] == "R" else capacitor)(name, 1e4 if name[0] == "R" else 1e-10, a, b)
        for name, a, b in parts
    ]
    built = board(*HALF, resistor("R3", 1e5, "plus", "half"), *made, dual("IC1", "out", "foot", "plus"))
    found = circuit.transfer_function(
        built, net_in="plus", net_out="out", nets=["foot"], values=lossless(built) | {"IC1": IDEAL}
    )
    assert same(found, text) and found.deviation_db < 1e-4


def test_a_filter_of_second_order():
    built = board(
        *HALF, resistor("R1", 10e3, "in", "b"), resistor("R2", 10e3, "b", "c"), capacitor("C1", 22e-9, "b", "out"),
        capacitor("C2", 4.7e-9, "c", "half"), dual("IC1", "out", "out", "c"), resistor("R3", 1e6, "in", "half"),
    )  # fmt: skip
    found = circuit.transfer_function(
        built, net_in="in", net_out="out", nets=["b", "c"], values=lossless(built) | {"IC1": IDEAL}
    )
    assert same(found, "1/(1 + s*C2*(R1 + R2) + s**2*C1*C2*R1*R2)")
    assert found.deviation_db < 1e-4


def test_a_common_emitter_stage():
    transistor = part("Q1", "transistor", NAN, "", "BC549C", base="base", collector="out", emitter="emitter")
    built = board(
        resistor("R1", 47e3, "rail", "base"), resistor("R2", 10e3, "base", "ground"), resistor("R3", 4.7e3, "rail", "out"),
        resistor("R4", 1e3, "emitter", "ground"), transistor,
    )  # fmt: skip
    found = circuit.transfer_function(built, net_in="base", net_out="out", nets=["emitter"])
    assert same(found, "-gm_Q1*r_pi_Q1*R3/(r_pi_Q1 + R4*(1 + gm_Q1*r_pi_Q1))")
    assert found.deviation_db < 1e-4  # the transistor's own capacitances


def test_the_loaded_twin_t_by_its_formula():
    built = board(
        resistor("R1", 200.0, "in", "upper"), resistor("R2", 200.0, "upper", "out"), resistor("R3", 100.0, "lower", "ground"),
        capacitor("C1", 2e-6, "upper", "ground"), capacitor("C2", 1e-6, "in", "lower"), capacitor("C3", 1e-6, "lower", "out"),
    )  # fmt: skip
    found = circuit.transfer_function(
        built,
        net_in="in",
        net_out="out",
        nets=["upper", "lower"],
        bridges={("out", "ground"): 1e3},
        values=lossless(built),
    )
    assert found.symbols["R_out_ground"] == 1e3
    put = {sympy.Symbol(name): value for name, value in found.symbols.items()}
    for hertz, printed, allowed in TWIN_T:
        s = 2j * np.pi * hertz
        value = complex((found.numerator / found.denominator).subs(put).subs(sympy.Symbol("s"), s))
        assert abs(abs(value) - printed) <= allowed


@pytest.mark.parametrize(
    ("build", "first", "last", "nets", "text"),
    [
        ("optical-compressor", "cell node", "made up", ["make-up feedback"], "1 + R8/R9"),
        (
            "optical-compressor", "input", "cell node", ["biased input", "buffered"],
            "s*C1*R6/(1 + s*C1*R6)*R_U1/(R7 + R_U1)",
        ),
    ],
)  # fmt: skip
def test_the_builds_speak_in_their_own_references(build, first, last, nets, text):
    built = assemble(BUILDS / build / "parts.csv", supply=9.0)
    found = circuit.transfer_function(built, net_in=first, net_out=last, nets=nets)
    assert same(found, text) and found.deviation_db < 0.1
    shown = report.formula(found.text)
    assert shown.text == found.text and "<mfrac>" in shown.mathml


def test_two_transistors_and_a_capacitor_are_the_board():
    """Left out: the supply's filter, and the series resistance of electrolytics."""
    built = assemble(BUILDS / "jfet-booster" / "parts.csv", supply=9.0)
    found = circuit.transfer_function(built, net_in="gate", net_out="drain", nets=["source", "emitter", "level top"])
    assert found.deviation_db < 0.3 and {"gm_Q1", "gm_Q2", "r_pi_Q2", "C2", "VR1_23"} <= set(found.symbols)


def test_what_a_formula_leaves_out_is_told():
    built = assemble(BUILDS / "jfet-booster" / "parts.csv", supply=9.0)
    found = circuit.transfer_function(built, net_in="gate", net_out="emitter", nets=["source", "drain"])
    assert found.deviation_db > 1.0
    assert "leaves out" in found.cautions[0].what


def test_what_has_no_formula_is_refused():
    built = assemble(BUILDS / "jfet-booster" / "parts.csv", supply=9.0)
    with pytest.raises(ValueError, match=r"inner nets are too many .* take the table of `corners`"):
        circuit.transfer_function(built, net_in="effect in", net_out="effect out")
    with pytest.raises(ValueError, match="net_in: 'supply in' is held"):
        circuit.transfer_function(built, net_in="supply in", net_out="drain", nets=[])
    with pytest.raises(ValueError, match="nets: there is no net 'sauce'"):
        circuit.transfer_function(built, net_in="gate", net_out="drain", nets=["sauce"])
    with pytest.raises(ValueError, match="is the same as"):
        circuit.transfer_function(built, net_in="output", net_out="effect out", nets=[])
    with pytest.raises(ValueError, match="values of one unit"):
        circuit.transfer_function(built, net_in="gate", net_out="drain", nets=[], values={"R4": np.array([1e3, 2e3])})
    pumped = assemble(BUILDS / "optical-compressor" / "parts.csv", supply=9.0)
    with pytest.raises(ValueError, match="moves with a charge pump"):
        circuit.transfer_function(pumped, net_in="pump supply", net_out="doubled", nets=["flying"])
    with pytest.raises(ValueError, match="an op-amp's feedback lies outside"):
        circuit.transfer_function(pumped, net_in="input", net_out="made up", nets=["biased input"])


@pytest.mark.parametrize("seed", range(12))
def test_factors_are_those_of_sympy(seed):
    # sums of products with disjoint symbols, multiplied out, with powers of s and a number before them
    chosen = np.random.default_rng(seed)
    domain, s, *symbols = ring("s,a,b,c,d,e,f", ZZ)
    whole = domain(int(chosen.choice([-6, -1, 1, 4]))) * s ** int(chosen.integers(0, 3))
    at = 0
    while at < len(symbols):
        some = symbols[at : at + int(chosen.integers(1, 4))]
        at += len(some)
        one = domain(0)
        for powers in np.ndindex(*(2,) * len(some)):
            term = domain(int(chosen.integers(-2, 3))) * (s if chosen.random() < 0.5 else domain(1))
            for symbol, power in zip(some, powers, strict=True):
                term = term * symbol**power
            one += term
        whole = whole * (one or domain(3))
    number, factors = _symbols._factored(whole)
    expected, pieces = whole.factor_list()
    assert number == expected
    assert sorted(map(str, factors)) == sorted(map(str, pieces))
