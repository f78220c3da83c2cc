"""The detector of a side-chain against quadrature, time stepping and sympy."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest

from pedalcalc import sidechain

CALLS = {
    "charging_current_average": {
        "voltage_peak": 2.0,
        "voltage_hold": 0.7,
        "resistance_attack": 1e3,
        "rectifier": "full",
    },
}


@pytest.mark.parametrize("rectifier", ["full", "half"])
@pytest.mark.parametrize("hold", [0.0, 0.3, 1.0, 1.9, 2 - 1e-6, 2 - 1e-12])
def test_average_charge_against_mpmath(rectifier, hold):
    with mpmath.workdps(60):
        peak, held = mpmath.mpf(2), mpmath.mpf(hold)
        exact = (mpmath.sqrt(peak**2 - held**2) - held * mpmath.acos(held / peak)) / mpmath.pi / 47
        exact *= 2 if rectifier == "full" else 1
        got = sidechain.charging_current_average(2.0, voltage_hold=hold, resistance_attack=47.0, rectifier=rectifier)
        assert abs(got / exact - 1) < 1e-14


def test_average_charge_limits():
    def law(peak, hold, attack):
        return sidechain.charging_current_average(peak, voltage_hold=hold, resistance_attack=attack, rectifier="full")

    assert law(1.0, 2.0, 1e3) == 0
    assert law(1.0, 0.5, np.inf) == 0
    assert law(1.0, 0.5, 0.0) == np.inf
    assert law(1.0, 1.0, 0.0) == 0
    assert law(0.0, 0.0, 0.0) == 0
    np.testing.assert_array_equal(np.isnan(law([1.0, np.nan, 2.0], 0.5, 1e3)), [False, True, False])
    np.testing.assert_allclose(law(3e3, 1e3, 1e3), 1e3 * law(3.0, 1.0, 1e3), rtol=1e-14)
    with pytest.raises(ValueError, match="rectifier must be one of full, half"):
        sidechain.charging_current_average(1.0, voltage_hold=0.0, resistance_attack=1.0, rectifier="bridge")
