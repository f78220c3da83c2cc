"""How long capacitors take: against RC by hand, the board in time, and equations integrated by scipy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from pedalcalc import bench, devices
from pedalcalc.board import assemble
from pedalcalc.circuit import waveform
from pedalcalc.circuit.operating import solved_board
from pedalcalc.circuit.settling import settling
from pedalcalc.laws import junction
from tests.circuit_parts import board, capacitor, lossless, part, resistor
from tests.conftest import ROOT

BUILDS = ROOT / "notebooks" / "builds"
COMPRESSOR = assemble(BUILDS / "optical-compressor" / "parts.csv", supply=9.0)


def times_of(build, **values):
    found, system, solved = solved_board(build, values=values)
    return {one.name: one for one in settling(found, system, solved)}


def test_a_half_supply_has_the_divider_s_time():
    # R1 parallel R2 times both capacitors; units of R1 at once
    given = np.array([10e3, 22e3])
    build = board(
        resistor("R1", 10e3, "rail", "half"), resistor("R2", 10e3, "half", "ground"),
        capacitor("C1", 10e-6, "half", "ground"), capacitor("C2", 100e-9, "ground", "half"),
    )  # fmt: skip
    found = times_of(build, R1=given, C1=10e-6)
    assert set(found) == {"C1"}
    assert found["C1"].rest == pytest.approx(10.1e-6 / (1 / given + 1e-4), rel=1e-4)  # but for 1e-5 of leakage
    assert np.isnan(found["C1"].driven).all()


def test_a_detector_charges_through_its_diode_and_lets_go_without():
    # what the op-amp drives comes through the attack's resistor; by hand C Ra || Rr, and C Rr
    build = board(
        resistor("R1", 1e3, "drive", "ground"), part("D1", "diode", float("nan"), "", "1N4148", anode="drive", cathode="peak"),
        resistor("R2", 4.7e3, "peak", "hold"), resistor("R3", 220e3, "hold", "ground"), resistor("R4", 1e3, "rail", "ground"),
        capacitor("C1", 1e-6, "hold", "ground"),
    )  # fmt: skip
    one = times_of(build, C1=1e-6)["C1"]
    amps = junction(np.array([-1e-4, 1e-4]), junction=devices.typical(devices.DIODE_1N4148)).current
    flow = float(np.diff(amps)[0]) / 2e-4  # 18 MΩ with nothing across it
    assert one.rest[0] == pytest.approx(1e-6 / (1 / 220e3 + flow), rel=1e-3)
    assert one.driven[0] == pytest.approx(1e-6 / (1 / 5.7e3 + 1 / 220e3), rel=1e-3)


def test_the_compressor_s_detector_and_reference_are_those_of_its_list():
    # by hand: R14 and half of VR2 in charge, R15 and VR3 as it stands without; C9 on R3 and R4
    found = times_of(COMPRESSOR)
    release = 100e3 + 0.15 * 1e6  # of a logarithmic track half way
    assert found["C9"].rest[0] == pytest.approx(47e-6 * 5e3, rel=0.02)
    assert found["C2"].rest[0] == pytest.approx(1e-6 * release, rel=0.05)  # two diodes at rest beside it
    assert found["C2"].driven[0] == pytest.approx(1e-6 / (1 / 13.7e3 + 1 / release), rel=0.01)


def test_a_board_that_is_switched_on_settles_as_told():
    # the board in time by the trapezoidal rule, all capacitors empty; the filter ahead of the divider comes first
    build = assemble(BUILDS / "your-build" / "parts.csv", supply=9.0)
    told = float(times_of(build)["C5"].rest[0]) * np.log(100.0)
    seen = waveform(build, time=np.concatenate([np.linspace(0, 0.05, 50), np.linspace(0.055, 5.0, 400)]), start="off")
    half = np.asarray(seen.voltages["half supply"])
    left = np.abs(half / half[-1] - 1)
    last = seen.time[np.flatnonzero(left > 0.01)[-1]]
    assert last == pytest.approx(told, rel=0.04)


def test_two_sections_have_their_own_times():
    # by scipy: with the second capacitor taken off, the first falls from 1 V to exp(-1) after its time
    build = board(
        resistor("R1", 10e3, "rail", "one"), resistor("R2", 10e3, "one", "two"), resistor("R3", 30e3, "two", "ground"),
        capacitor("C1", 1e-6, "one", "ground"), capacitor("C2", 2e-6, "two", "ground"),
    )  # fmt: skip
    found = times_of(build)
    for name, farads, ohms in (("C1", 1e-6, 1 / (1 / 10e3 + 1 / 40e3)), ("C2", 2e-6, 1 / (1 / 20e3 + 1 / 30e3))):
        after = float(found[name].rest[0])
        run = solve_ivp(lambda _, v, ohms=ohms, farads=farads: -v / (ohms * farads), (0, after), [1.0], rtol=1e-9)
        assert run.y[0, -1] == pytest.approx(np.exp(-1), rel=1e-3)


@pytest.mark.parametrize(
    ("swap", "told"),
    [
        ({"C9": "100u"}, "changes a time: settling of half supply 1.1 s before, 2.3 s after"),
        ({"C2": "2u2"}, "changes times: discharging of hold 1.1 s before, 2.5 s after; charging of hold 60 ms before, 130 ms after"),
        ({"R14": "10k"}, "changes a time: charging of hold 60 ms before, 89 ms after"),
    ],
)  # fmt: skip
def test_a_time_that_changes_is_told(swap, told):
    assert bench.changes(COMPRESSOR, fitted=swap, count=30)[0].verdict == told


def test_a_time_is_told_by_the_step_and_may_stay_within_its_band():
    # 1 µF of 20 % on half of 10 kΩ: to 2.2 µF is beyond every band, to 1.15 µF within it but more than a tenth
    parts = [
        resistor("R1", 10e3, "rail", "half"), resistor("R2", 10e3, "half", "ground"),
        replace(capacitor("C1", 1e-6, "half", "ground"), tolerance_low=-0.2, tolerance_high=0.2),
    ]  # fmt: skip
    build = board(*parts)
    step = bench.changes(build, fitted={"C1": "2u2"}, count=30)[0]
    assert step.verdict == "changes a time: settling of half 23 ms before, 51 ms after"
    move = step.moves[0]
    assert move.before == pytest.approx(5e3 * 1e-6 * np.log(100), rel=1e-3)
    assert move.after == pytest.approx(2.2 * move.before, rel=1e-3)
    assert not move.audible
    assert bench.changes(build, fitted={"C1": "1.15u"}, count=30)[0].moves
    assert bench.changes(build, fitted={"C1": "1.05u"}, count=30)[0].verdict == "within tolerance"


@pytest.mark.parametrize("ideal", [True, False])
def test_a_capacitor_that_hangs_on_nothing_in_some_units_has_no_time_there(ideal):
    # by hand R C, with 5 kΩ of the divider; where R3 or R2 is open only insulation, or nothing, holds an end
    build = board(
        resistor("R1", 10e3, "rail", "half"), resistor("R2", 10e3, "half", "ground"), capacitor("C1", 1e-6, "half", "far"),
        resistor("R3", 100e3, "far", "ground"), capacitor("C2", 1e-6, "rail", "other"), resistor("R4", 1e6, "other", "ground"),
    )  # fmt: skip
    inf = float("inf")
    clean = lossless(build) if ideal else {}
    found = times_of(build, R3=np.array([100e3, inf, 100e3]), R1=[10e3, 10e3, inf], R2=[10e3, 10e3, inf], **clean)
    assert found["C1"].rest == pytest.approx([0.105, np.nan, np.nan], rel=1e-3, nan_ok=True)
    assert found["C2"].rest == pytest.approx(1.0, rel=1e-3)
