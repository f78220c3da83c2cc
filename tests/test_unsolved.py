"""An iteration that finds no end is an error whose index is the caller's own, whichever elements it was working on.

Each iteration is made to fail at the last element, or the first, that it works on.
"""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy.optimize import elementwise

from pedalcalc import bjt, led, opto, pump, rc, sidechain, supply
from pedalcalc._refusal import Unsolved, among
from pedalcalc.devices import LED_RED_ALINGAP, LED_RED_GAASP, typical
from pedalcalc.opto import response
from pedalcalc.pump import _repeating, _start
from pedalcalc.sidechain import _newton
from tests import test_bjt, test_opto, test_pump, test_sidechain, test_supply


@pytest.fixture
def stuck(monkeypatch):
    """Let the search by brackets fail at the last element that it is given."""
    real = elementwise.find_root

    def find_root(*given, **named):
        found = real(*given, **named)
        success = np.array(found.success)
        success.flat[-1] = False
        found.success = success
        return found

    monkeypatch.setattr(elementwise, "find_root", find_root)


def _index(function, call):
    """Return the index that the error tells, or nothing where it tells none."""
    with pytest.raises(RuntimeError) as error:
        function(**call)
    told = re.search(r" at index (\(.*\))$", str(error.value))
    assert "element" not in str(error.value)
    return told and tuple(int(part) for part in re.findall(r"\d+", told[1]))


@pytest.mark.usefixtures("stuck")
def test_a_saturated_transistor():
    call = test_bjt.CALLS["divider_bias"]
    collector = np.array([[1e3, 500e3, 1e3], [1e3, 500e3, 1e3]])
    assert _index(bjt.divider_bias, call | {"resistance_collector": collector}) == (1, 1)
    free = test_bjt.CALLS["base_bias"] | {"resistance_base": np.array([np.inf, 100e3, np.inf, 100e3])}
    assert _index(bjt.base_bias, free | {"voltage_base_supply": 0.0}) == (2,)


@pytest.mark.usefixtures("stuck")
def test_a_string_of_lamps_a_chain_a_detector_and_a_mosfet():
    supplies = np.array([[8.0, 9.0], [9.5, 10.0]])
    lamps = [typical(LED_RED_ALINGAP), typical(LED_RED_GAASP)]
    assert _index(led.operating_point, {"led": lamps, "voltage": supplies, "resistance": 1e3}) == (1, 1)
    corners = {"frequency_corners_highpass": (np.array([10.0, 20.0, 30.0]),), "frequency_corners_lowpass": (20e3,)}
    assert _index(rc.chain_band, corners) == (2,)
    timing = test_sidechain.CALLS["detector_timing"] | {"voltage_peak": np.array([1.0, 2.0])}
    assert _index(sidechain.detector_timing, timing) == (1,)
    mosfet = test_supply.CALLS["series_mosfet"] | {"current_load": np.array([[0.01], [0.02]])}
    assert _index(supply.series_mosfet, mosfet) == (1, 0)
    assert _index(supply.series_mosfet, mosfet | {"current_load": 0.01}) is None


def test_overlapping_diodes(monkeypatch):
    real = _repeating._repeating

    def repeating(*given):
        found, astray = real(*given)
        astray = np.array(astray)
        astray[-1] = True
        return found, astray

    monkeypatch.setattr(_repeating, "_repeating", repeating)
    # The second and the last draw so much that the supply comes straight through.
    loads = np.array([[1e-3, 0.5], [1e-3, 1e-3], [0.6, 1e-3]])
    call = test_pump.CALLS["doubler"] | {"resistance_load": np.inf, "current_load": loads}
    assert _index(pump.doubler, call) == (2, 0)
    resistors = np.array([[10e3], [np.inf], [10.0]])
    assert _index(pump.doubler, call | {"current_load": 0.0, "resistance_load": resistors}) == (2, 0)


def test_a_start_that_is_not_followed_to_its_end(monkeypatch):
    monkeypatch.setattr(_start, "range", lambda _: iter([0]), raising=False)
    call = test_pump.CALLS["start_time"] | {"tolerance": np.array([2.0, 1.5, 0.05, 0.01])}
    assert _index(pump.start_time, call) == (2,)


def test_angles_of_conduction(monkeypatch):
    monkeypatch.setattr(_newton, "MOST_STEPS", 0)
    ripple = test_sidechain.CALLS["detector_ripple"] | {"frequency": np.array([[41.2], [82.4]])}
    assert _index(sidechain.detector_ripple, ripple) == (0, 0)
    # Half-waves of one burst are nothing that the caller knows by number.
    assert _index(sidechain.tone_burst, test_sidechain.CALLS["tone_burst"] | {"time_burst": 10.0}) is None


def test_the_fall_of_a_cell(monkeypatch):
    monkeypatch.setattr(response, "range", lambda count: range(1 if count == 60 else count), raising=False)
    current = np.array([[1e-3, 1e-3, 1e-4], [1e-3, 1e-4, 1e-4]])
    call = test_opto.CALLS["coupler_response"] | {"current": current, "current_start": 1e-4}
    assert _index(opto.coupler_response, call | {"time": [0.0, 0.01, 0.2]}) == (1, 1)


def test_places_of_an_iteration_inside_an_iteration():
    with pytest.raises(Unsolved, match=r"^lost at index \(1, 2\)$"), among((2, 3), [0, 5]), among((2,), [1]):
        raise Unsolved("lost", np.array([True]))
    with pytest.raises(Unsolved, match=r"^lost$"), among():
        raise Unsolved("lost", np.array([False, True]))
