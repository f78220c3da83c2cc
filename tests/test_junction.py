"""A Zener diode behind a resistor, against Kirchhoff's laws."""

from __future__ import annotations

import numpy as np
import pytest

from pedalcalc import junction

CALLS = {
    "zener_regulator": {
        "voltage_supply": 18,
        "resistance": 270,
        "voltage_zener": 10,
        "resistance_load": 1000,
        "resistance_zener": 7,
        "current_test": 0.005,
    },
}


def test_zener_regulator_obeys_kirchhoff():
    import sympy

    v, i_z = sympy.symbols("v i_z")
    test = sympy.Rational(5, 1000)
    solved = sympy.solve([(18 - v) / 270 - v / 1000 - i_z, v - 10 - 7 * (i_z - test)], [v, i_z])
    point = junction.zener_regulator(
        18, resistance=270, voltage_zener=10, resistance_load=1000, resistance_zener=7, current_test=0.005
    )
    assert point.voltage_output == pytest.approx(float(solved[v]), rel=1e-13)
    assert point.current_zener == pytest.approx(float(solved[i_z]), rel=1e-13)
    assert point.current == pytest.approx(point.current_load + point.current_zener)


def test_zener_voltage_is_the_sheets_at_its_test_current():
    # 6.8 V at 5 mA with 20 Ω: at the test current the very sheet value, and on 10 V through 500 Ω
    # (10 - v)/500 = 5 mA + (v - 6.8)/20, v = 6.82692.
    sheet = {"voltage_zener": 6.8, "resistance_zener": 20.0, "current_test": 0.005}
    on_sheet = junction.zener_regulator(6.8 + 0.005 * 500, resistance=500.0, resistance_load=np.inf, **sheet)
    assert on_sheet.voltage_output == pytest.approx(6.8, rel=1e-14)
    point = junction.zener_regulator(10.0, resistance=500.0, resistance_load=np.inf, **sheet)
    assert point.voltage_output == pytest.approx(6.8269230769, rel=1e-10)
    assert point.current_load == 0, "an open load takes nothing, not a rounding error"
    for wrong, words in (
        ({"resistance_zener": 20.0}, "current_test must be given"),
        ({"resistance_zener": 20.0, "current_test": 0.4}, "must be below voltage_zener"),
    ):
        with pytest.raises(ValueError, match=words):
            junction.zener_regulator(10.0, resistance=500.0, voltage_zener=6.8, resistance_load=np.inf, **wrong)


def test_zener_regulator_at_its_edges():
    at = {"voltage_zener": 10, "resistance": 270}
    low = junction.zener_regulator(9, resistance_load=1000, **at)
    assert not low.regulates
    assert low.current_zener == 0
    assert low.voltage_output == pytest.approx(9 * 1000 / 1270)
    assert junction.zener_regulator(18, resistance_load=0, **at).voltage_output == 0
    assert junction.zener_regulator(18, resistance_load=0, **at).current == pytest.approx(18 / 270)
    free = junction.zener_regulator(18, resistance_load=np.inf, **at)
    assert (free.current_load, free.current_zener) == (0, pytest.approx(8 / 270))
    cut = junction.zener_regulator(18, resistance=np.inf, voltage_zener=10, resistance_load=1000)
    assert (cut.voltage_output, cut.current, cut.regulates) == (0, 0, False)
    nothing = junction.zener_regulator(18, resistance=np.inf, voltage_zener=10, resistance_load=np.inf)
    assert (nothing.voltage_output, nothing.current) == (0, 0)
