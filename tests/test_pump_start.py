"""How long a two-diode doubler takes to come up, against exponential diodes stepped in time."""

from __future__ import annotations

import numpy as np
import pytest

from pedalcalc import devices, pump
from pedalcalc.pump import _start
from pedalcalc.pump._pulse import Circuit
from tests.oracle_pump import REST, SILICON, compare_starts, draw, start_error

INF = float("inf")
_START = {
    "voltage_supply": 9.0,
    "current_load": 0.005,
    "resistance_switch": 7.0,
    "frequency_pump": 5e3,
    "capacitance_pump": 10e-6,
    "resistance_esr_pump": 1.0,
    "capacitance_output": 47e-6,
    "resistance_esr_output": 0.5,
    "count": 1,
    "diode": devices.typical(devices.DIODE_1N5817),
}


def test_start_time_against_diodes_stepped_in_time():
    ours, theirs = compare_starts(draw(16, 3, steps=24, c2=(1e-6, 12e-6), c1=(2e-6, 100e-6)), (0.3, 0.05, 0.02), 120)
    known = ~np.isnan(theirs)
    assert known.sum() > 30
    assert np.max(start_error(ours, theirs)[known]) < 0.5


def test_leaps_over_many_periods_agree_with_counting_each():
    """Down to a creep of millivolts a period behind silicon diodes without load."""
    i_s, nvt, r_s = SILICON
    circuits = [
        (9.0, 0.0, 2e-6, 4.7e-6),
        (9.0, 1e-5, 2e-6, 4.7e-6),
        (5.0, 0.003, 1e-6, 68e-6),
        (9.0, 0.04, 1e-6, 22e-6),
    ]
    supply, load, c1, c2 = (np.array(part) for part in zip(*circuits, strict=True))
    parts = np.broadcast_arrays(supply, load, 1e-4, c1, c2, 9.0, 0.5, r_s, i_s, nvt)
    circuit = Circuit(*(np.array(part) for part in parts))
    state, means = np.zeros((2, 4)), []
    with np.errstate(all="ignore"):
        for _ in range(1500):
            state, mean = _start.one_map(circuit, state)
            means.append(mean)
    means = np.array(means)
    final = means[-1] + 0.05
    for share in (0.9, 0.96, 0.99):
        aim = share * means[-1]
        after = np.array([np.argmax(column >= level) for column, level in zip(means.T, aim, strict=True)])
        counted = np.array(
            [k - (means[k, e] - aim[e]) / (means[k, e] - means[k - 1, e]) if k else 0.0 for e, k in enumerate(after)]
        )
        with np.errstate(all="ignore"):
            leapt = _start.periods_to(circuit, aim, final)
        assert leapt == pytest.approx(counted, rel=0.01, abs=0.05)


def test_start_time_limits():
    def time(tolerance=0.05, **changes):
        return pump.start_time(tolerance, **_START | changes)

    assert time(1.0) == 0 and np.isnan(time(np.nan))
    assert time(voltage_supply=0.0) == INF and time(voltage_supply=0.0, current_load=0.0) == INF
    bands = time(np.array([0.5, 0.2, 0.05, 0.01, 1e-3]))
    assert np.all(np.diff(bands) > 0)
    assert bands[0] <= 1.5 / 5e3  # the supply alone gives half of it at once
    three = time(count=3, current_load=0.015, capacitance_output=3 * 47e-6, resistance_esr_output=0.5 / 3)
    assert three == pytest.approx(time(), rel=1e-9)
    # The rate of the last approach is that of the settled state: output resistance times capacitors, roughly.
    stage = pump.doubler(**_START, **REST, converter=devices.CONVERTER_1044S)
    decade = time(1e-4) - time(1e-3)
    assert decade == pytest.approx(np.log(10) * stage.resistance_thevenin * 47e-6, rel=0.25)
    with pytest.raises(ValueError, match="capacitance_pump"):
        time(capacitance_pump=0.0)
