"""Op-amp stages with several inputs."""

from __future__ import annotations

import numpy as np
import pytest
import sympy as sp

from pedalcalc import opamp
from tests.test_opamp import CALLS

INF = float("inf")


def test_summing_and_difference_stage_against_sympy():
    v1, v2, v3, r1, r2, r3, rf, vo = sp.symbols("v1 v2 v3 r1 r2 r3 rf vo")
    node = sp.solve(v1 / r1 + v2 / r2 + v3 / r3 + vo / rf, vo)[0]
    numbers = {v1: 0.2, v2: -0.1, v3: 0.05, r1: 10e3, r2: 22e3, r3: 4.7e3, rf: 100e3}
    found = opamp.summing_output((0.2, -0.1, 0.05), resistances_input=(10e3, 22e3, 4.7e3), resistance_feedback=100e3)
    assert found == pytest.approx(float(node.subs(numbers)), rel=1e-12)
    vm = sp.symbols("vm")
    plus = sp.solve((v2 - vm) / r2 - vm / r3, vm)[0]
    node = sp.solve((v1 - plus) / r1 - (plus - vo) / rf, vo)[0]
    numbers = {v1: 0.5, v2: 0.7, r1: 10e3, rf: 100e3, r2: 12e3, r3: 90e3}
    assert opamp.difference_output(**CALLS["difference_output"]) == pytest.approx(float(node.subs(numbers)), rel=1e-12)


def test_summing_and_difference_stage_in_their_limits():
    one = opamp.summing_output((0.3,), resistances_input=(10e3,), resistance_feedback=47e3)
    assert one == pytest.approx(-0.3 * 4.7)
    left_open = opamp.summing_output((0.3, 5.0), resistances_input=(10e3, INF), resistance_feedback=47e3)
    assert left_open == pytest.approx(one)
    many = opamp.summing_output(
        (np.array([0.1, np.nan]), 0.2), resistances_input=(10e3, 10e3), resistance_feedback=np.array([10e3, 20e3])
    )
    np.testing.assert_allclose(many, [-0.3, np.nan])
    plain = {
        "voltage_inverting": 0.0,
        "voltage_noninverting": 0.1,
        "resistance_generator": 0.0,
        "resistance_ground": INF,
    }
    straight = opamp.difference_output(**plain, resistance_input=10e3, resistance_feedback=90e3)
    assert straight == pytest.approx(1.0)
    assert opamp.difference_output(**plain, resistance_input=INF, resistance_feedback=0.0) == pytest.approx(0.1)


def test_summing_stage_refuses_what_does_not_pair():
    with pytest.raises(ValueError, match="equally many"):
        opamp.summing_output((0.1, 0.2), resistances_input=(10e3,), resistance_feedback=10e3)
    with pytest.raises(ValueError, match="equally many"):
        opamp.summing_output((), resistances_input=(), resistance_feedback=10e3)
    with pytest.raises(ValueError, match="resistances_input"):
        opamp.summing_output((0.1,), resistances_input=(0.0,), resistance_feedback=10e3)
    with pytest.raises(TypeError, match="voltages_input"):
        opamp.summing_output(0.1, resistances_input=(10e3,), resistance_feedback=10e3)
