"""Stages against their laws written out here a second time, from the figures of their records alone, solved by scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import Boltzmann, elementary_charge
from scipy.optimize import brentq, fsolve

from pedalcalc import circuit, devices
from tests.circuit_parts import NAN, board, capacitor, lossless, part, resistor

VT = Boltzmann * 300 / elementary_charge
HERTZ = np.array([20.0, 1e3, 1e5, 1e7])
ENDS = {"frequency": HERTZ, "net_in": "in", "net_out": "out", "resistance_generator": 10e3, "resistance_load": 1e6}


def _saturation(record):
    """I = Is (exp((V - I Rs)/(n Vt)) - 1) through the record's point."""
    inner = record.voltage_forward - record.current_reference * record.resistance_series
    return record.current_reference / np.expm1(inner / (record.ideality * VT))


def _passed(two, three, size):
    """Return the output (last) for one volt behind 10 kΩ at the first node: admittances, and what a transistor adds."""
    found = []
    for s in 2j * np.pi * HERTZ:
        matrix = np.zeros((size, size), complex)
        for a, b, siemens, farads in ((0, -1, 1e-4, 0.0), (size - 1, -1, 1e-6, 0.0), *two):
            flow = siemens + s * farads
            for row, column, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
                if row >= 0 and column >= 0:
                    matrix[row, column] += sign * flow
        matrix += three
        found.append(np.linalg.solve(matrix, np.eye(size)[0] * 1e-4)[-1])
    return np.array(found)


def test_an_emitter_stage_by_its_two_junctions():
    own = devices.typical(devices.BJT_BC549C)
    i_s, gain, back = _saturation(own), own.current_gain, own.current_gain_reverse
    built = board(
        resistor("R1", 100e3, "rail", "base"), resistor("R2", 22e3, "base", "ground"), resistor("R3", 4.7e3, "rail", "top"),
        resistor("R4", 1e3, "foot", "ground"), capacitor("C1", 1e-6, "in", "base"), capacitor("C2", 10e-6, "foot", "ground"),
        capacitor("C3", 1e-6, "top", "out"),
        part("Q1", "transistor", NAN, "", "BC549C", base="base", collector="top", emitter="foot"),
    )  # fmt: skip

    def currents(base, top, foot):
        e1, e2 = i_s * np.expm1((base - foot) / VT), i_s * np.expm1((base - top) / VT)
        return e1 / gain + e2 / back, e1 - (1 + 1 / back) * e2

    def left(volts):
        base, top, foot = volts
        ib, ic = currents(*volts)
        return 1e3 * np.array([(9 - base) / 100e3 - base / 22e3 - ib, (9 - top) / 4.7e3 - ic, ib + ic - foot / 1e3])

    base, top, foot = fsolve(left, [1.6, 5.0, 1.0], xtol=1e-12)
    volts = circuit.operating_point(built, values=lossless(built)).voltages
    assert [volts[net] for net in ("base", "top", "foot")] == pytest.approx([base, top, foot], rel=1e-10)
    g1, g2 = (i_s * np.exp(across / VT) / VT for across in (base - foot, base - top))
    # nodes: in, base, top, foot, out
    into_base = np.array([0, g1 / gain + g2 / back, -g2 / back, -g1 / gain, 0])
    into_top = np.array([0, g1 - (1 + 1 / back) * g2, (1 + 1 / back) * g2, -g1, 0])
    law = np.array([0 * into_top, into_base, into_top, -into_base - into_top, 0 * into_top])
    two = [
        (0, 1, 0.0, 1e-6), (1, -1, 1 / 100e3 + 1 / 22e3, 0.0), (2, -1, 1 / 4.7e3, 0.0), (3, -1, 1e-3, 10e-6), (2, 4, 0.0, 1e-6),
        (1, 2, 0.0, own.capacitance_base_collector), (1, 3, 0.0, own.capacitance_base_emitter),
    ]  # fmt: skip
    seen = circuit.response(built, values=lossless(built), **ENDS).response
    np.testing.assert_allclose(seen, _passed(two, law, 5), rtol=1e-9)


def test_a_source_stage_by_the_square_law_and_its_gate():
    own = devices.typical(devices.JFET_2N5457)
    k, off = own.current_drain_zero_bias / own.voltage_gate_source_off**2, own.voltage_gate_source_off
    i_s = _saturation(own)
    built = board(
        resistor("R1", 1e6, "gate", "ground"), resistor("R2", 3.3e3, "rail", "top"), resistor("R3", 560.0, "foot", "ground"),
        capacitor("C1", 10e-9, "in", "gate"), capacitor("C2", 1e-6, "top", "out"), capacitor("C3", 22e-6, "foot", "ground"),
        part("Q1", "transistor", NAN, "", "2N5457", gate="gate", drain="top", source="foot"),
    )  # fmt: skip

    def left(volts):
        gate, top, foot = volts
        drain = k * (max(gate - foot - off, 0) ** 2 - max(gate - top - off, 0) ** 2)
        ahead, behind = i_s * np.expm1((gate - foot) / VT), i_s * np.expm1((gate - top) / VT)
        return [
            1e6 * (gate / 1e6 + ahead + behind),
            1e3 * ((9 - top) / 3.3e3 - drain + behind),
            1e3 * (drain + ahead - foot / 560),
        ]

    gate, top, foot = fsolve(left, [0.0, 6.0, 0.5], xtol=1e-12)
    volts = circuit.operating_point(built, values=lossless(built)).voltages
    assert [volts[net] for net in ("top", "foot")] == pytest.approx([top, foot], rel=1e-10)
    gm = 2 * k * (gate - foot - off)
    law = np.zeros((5, 5))
    law[2, 1], law[2, 3], law[3, 1], law[3, 3] = gm, -gm, -gm, gm
    two = [
        (0, 1, 0.0, 10e-9), (1, -1, 1e-6, 0.0), (2, -1, 1 / 3.3e3, 0.0), (3, -1, 1 / 560, 22e-6), (2, 4, 0.0, 1e-6),
        (1, 2, 0.0, own.capacitance_gate_drain), (1, 3, 0.0, own.capacitance_gate_source),
    ]  # fmt: skip
    seen = circuit.response(built, values=lossless(built), **ENDS).response
    np.testing.assert_allclose(seen, _passed(two, law, 5), rtol=1e-8)


def test_a_zener_and_a_coupler_stand_where_their_laws_say():
    own = devices.typical(devices.ZENER_BZX55C5V1)
    built = board(
        resistor("R1", 470.0, "rail", "a"), resistor("R2", 2e3, "a", "ground"),
        part("D1", "diode", NAN, "", "BZX55C5V1", anode="ground", cathode="a"),
    )  # fmt: skip
    knee = own.voltage_zener - own.current_test * own.resistance_slope
    assert circuit.operating_point(built).voltages["a"] == pytest.approx(
        (9 / 470 + knee / own.resistance_slope) / (1 / 470 + 1 / 2e3 + 1 / own.resistance_slope), rel=1e-9
    )
    pair = devices.typical(devices.COUPLER_NSL28)
    lamp, cell = pair.led, pair.cell
    built = board(
        resistor("R1", 2.2e3, "rail", "a"), resistor("R2", 4.7e3, "b", "ground"),
        part("OC1", "coupler", NAN, "", "NSL-28", LED_anode="a", LED_cathode="ground", cell_a="rail", cell_b="b"),
    )  # fmt: skip

    def drop(amps):
        return lamp.ideality * VT * np.log1p(amps / _saturation(lamp)) + amps * lamp.resistance_series

    amps = brentq(lambda amps: 9 - 2.2e3 * amps - drop(amps), 1e-9, 1e-2, xtol=1e-18)
    light = pair.illuminance_reference * (amps / pair.current_reference) ** pair.light_exponent
    layer = 1 / cell.resistance_dark + (light / 10) ** cell.gamma / cell.resistance_10lx
    volts = circuit.operating_point(built).voltages
    assert volts["a"] == pytest.approx(drop(amps), rel=1e-10)
    assert volts["b"] == pytest.approx(9 * 4.7e3 / (4.7e3 + 1 / layer + cell.resistance_floor), rel=1e-10)
