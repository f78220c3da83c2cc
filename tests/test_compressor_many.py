"""Many units at once: each must come out as it does alone.

A unit alone is held to the differential equations in test_compressor_oracle.py. Alone and among many it runs the same
arithmetic; settled states are sought to 1e-4 of ln conductance and corrected by the last step, which leaves a few
millionths of a decibel, and where the cell hardly moves in a period some hundred times as much.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pedalcalc import compressor as room
from pedalcalc import devices
from pedalcalc.compressor import circuit as circuits
from pedalcalc.compressor import many_threshold, static
from pedalcalc.compressor.circuit import taken, units_of
from tests.test_compressor_settled import HUNTING

CHANGE = dataclasses.replace
COUNT = 4
LEVEL = np.linspace(-40.0, -5.0, 36)
COUPLERS = {"direct": devices.COUPLER_GREEN_GAP_GL5528, "capacitor": devices.COUPLER_WHITE_GL5528}
CLOSE_DB = 1e-5


def _units(count=COUNT, seed=1, **parts):
    """Return units whose resistors and capacitor are within a tenth of the example's, couplers drawn from a type."""
    random = np.random.default_rng(seed)

    def near(value):
        return value * (1 + 0.1 * random.uniform(-1, 1, count))

    coupler = COUPLERS.get(parts.get("drive", "buffered"), devices.COUPLER_GREEN_GL5528)
    usual = {
        "resistance_input": near(47e3),
        "resistance_attack": near(4.7e3),
        "resistance_release": near(220e3),
        "capacitance_hold": near(1e-6),
        "resistance_led": near(4.7e3),
        "gain_sidechain": near(10.0),
        "voltage_rail": near(7.0),
        "coupler": devices.drawn(coupler, count=count, seed=seed),
    }
    return CHANGE(room.example(), **(usual | parts))


@pytest.fixture
def together(monkeypatch):
    """Compute even a few units together."""
    monkeypatch.setattr(static, "_FEW", 0)


@pytest.mark.usefixtures("together")
@pytest.mark.parametrize(
    ("placement", "drive", "sense", "rectifier"),
    [
        ("shunt", "buffered", "after", "full"),
        ("shunt", "capacitor", "after", "half"),
        ("shunt", "direct", "before", "full"),
        ("series", "buffered", "before", "half"),
        ("series", "direct", "after", "full"),
        ("feedback", "buffered", "after", "half"),
        ("feedback", "capacitor", "before", "full"),
        ("feedback", "direct", "after", "half"),
    ],
)
def test_each_unit_has_the_static_curve_that_it_has_alone(placement, drive, sense, rectifier):
    units = _units(placement=placement, drive=drive, sense=sense, rectifier=rectifier)
    curves = room.static_curve(LEVEL, compressor=units)
    assert curves.level_out_dbv.shape == (COUNT, LEVEL.size)
    for index in range(COUNT):
        alone = room.static_curve(LEVEL, compressor=taken(units, index))
        np.testing.assert_array_equal(curves.equilibria[index], alone.equilibria)
        for name in ("level_out_dbv", "level_out_falling_dbv", "gain_reduction_db"):
            np.testing.assert_allclose(getattr(curves, name)[index], getattr(alone, name), atol=CLOSE_DB, rtol=0)
        np.testing.assert_allclose(curves.resistance_cell[index], alone.resistance_cell, rtol=1e-5)
        np.testing.assert_allclose(curves.current_led[index], alone.current_led, rtol=1e-5, atol=1e-12)


@pytest.mark.parametrize(
    ("placement", "drive", "sense", "frequency"),
    [
        ("shunt", "buffered", "after", 1000.0),
        ("shunt", "buffered", "after", 82.0),
        ("shunt", "capacitor", "before", 1000.0),
        ("shunt", "direct", "after", 1000.0),
        ("feedback", "buffered", "before", 1000.0),
        ("feedback", "capacitor", "after", 1000.0),
        ("feedback", "direct", "before", 82.0),
    ],
)
def test_each_unit_has_the_gain_for_a_threshold_that_it_has_alone(placement, drive, sense, frequency):
    units = _units(placement=placement, drive=drive, sense=sense, seed=2)
    gains = room.gain_for_threshold(-25.0, compressor=units, frequency=frequency)
    alone = [
        room.gain_for_threshold(-25.0, compressor=taken(units, index), frequency=frequency) for index in range(COUNT)
    ]
    np.testing.assert_allclose(gains, alone, rtol=1e-7)


def test_a_gain_for_a_threshold_gives_that_threshold_to_every_unit():
    units = _units(200, seed=3)
    gains = room.gain_for_threshold(-25.0, compressor=units, reduction_db=2.0)
    curves = room.static_curve([-26.0, -25.0, -24.0], compressor=CHANGE(units, gain_sidechain=gains))
    np.testing.assert_allclose(curves.gain_reduction_db[:, 1], 2.0, atol=0.005)


def test_the_search_between_the_ends_finds_what_secants_find(monkeypatch):
    units = _units()
    expected = room.gain_for_threshold(-25.0, compressor=units)
    monkeypatch.setattr(many_threshold, "_SECANTS", 0)
    np.testing.assert_allclose(room.gain_for_threshold(-25.0, compressor=units), expected, rtol=1e-7)


@pytest.mark.usefixtures("together")
def test_units_are_computed_in_blocks_and_errors_name_their_place(monkeypatch):
    units = _units(7)
    whole = room.gain_for_threshold(-25.0, compressor=units), room.static_curve(LEVEL, compressor=units)
    monkeypatch.setattr(circuits, "BLOCK", 3)
    np.testing.assert_allclose(room.gain_for_threshold(-25.0, compressor=units), whole[0], rtol=1e-7)
    pieces = room.static_curve(LEVEL, compressor=units)
    np.testing.assert_allclose(pieces.level_out_dbv, whole[1].level_out_dbv, atol=CLOSE_DB)
    weak = CHANGE(units, voltage_rail=np.where(np.arange(7) == 5, 1.2, 7.0))
    with pytest.raises(ValueError, match=r"reduction_db must be below .* rail of 1\.2 V, got 30 dB at index \(5,\)"):
        room.gain_for_threshold(-25.0, compressor=weak, reduction_db=30.0)


@pytest.mark.usefixtures("together")
def test_a_single_different_part_makes_units_of_all():
    units = CHANGE(room.example(), resistance_led=[2.2e3, 4.7e3, 10e3])
    assert units_of(units) == 3
    assert units_of(room.example()) is None
    assert units_of(taken(units, 1)) is None
    curves = room.static_curve(LEVEL, compressor=units)
    alone = room.static_curve(LEVEL, compressor=room.example())
    np.testing.assert_allclose(curves.level_out_dbv[1], alone.level_out_dbv, atol=CLOSE_DB)


def test_features_of_many_curves_are_those_of_each():
    curves = room.static_curve(LEVEL, compressor=_units(gain_sidechain=np.array([1e-3, 5.0, 10.0, 50.0])))
    many = room.curve_features(LEVEL, level_out_dbv=curves.level_out_dbv)
    assert list(many.compresses) == [False, True, True, True]
    for index, out in enumerate(curves.level_out_dbv):
        one = room.curve_features(LEVEL, level_out_dbv=out)
        for field in dataclasses.fields(one):
            if field.name != "cautions":
                assert getattr(many, field.name)[index] == pytest.approx(getattr(one, field.name), rel=1e-12)


def test_cautions_of_many_curves_tell_how_many():
    level = np.linspace(-60.0, 0.0, 61)
    jump, bent = level + np.where(level > -20, 17.0, 0.0), level - 0.5 * (level + 60)
    rows = room.curve_features(level, level_out_dbv=[level, jump, bent, jump - 5, level + 0.2 * (level + 60)])
    assert list(rows.compresses) == [False, False, True, False, False]
    assert [(caution.count, caution.value) for caution in rows.cautions] == [(3, 17), (1, pytest.approx(0.5))]
    assert "expands" in rows.cautions[0].what


@pytest.mark.parametrize("few", [0, 48])
def test_cautions_count_the_units(monkeypatch, few):
    monkeypatch.setattr(static, "_FEW", few)
    units = _units(resistance_led=np.array([4.7e3, 47.0, 4.7e3, 47.0]), sense="before")
    curves = room.static_curve([-20.0, 0.0], compressor=units)
    (caution,) = curves.cautions
    assert caution.count == 2
    assert caution.value == pytest.approx(np.max(curves.current_led))


@pytest.mark.parametrize("few", [0, 48])
def test_hunting_units_are_counted_and_the_worst_is_followed(monkeypatch, few):
    monkeypatch.setattr(static, "_FEW", few)
    gain = room.gain_for_threshold(-28.0, compressor=HUNTING)
    units = CHANGE(HUNTING, gain_sidechain=gain * np.array([1e-3, 1.0, 1.3]))
    level, tone = np.linspace(-30.0, -10.0, 11), 83.0
    swings = []
    for index in range(3):
        alone = room.static_curve(level, compressor=taken(units, index), frequency=tone)
        swings.append(next((caution.value for caution in alone.cautions if "hunts" in caution.what), 0.0))
    assert swings[0] == 0 < swings[2]
    curves = room.static_curve(level, compressor=units, frequency=tone)
    (caution,) = (caution for caution in curves.cautions if "hunts" in caution.what)
    assert caution.count == np.count_nonzero(swings)
    # How far it swings while it is watched depends on the last digit of where it set out from: the swing never repeats.
    assert max(swings) / 3 < caution.value < 3 * max(swings)


def test_units_that_do_not_fit_together_are_refused():
    with pytest.raises(ValueError, match=r"one length.*resistance_input \(2,\).*resistance_led \(3,\)"):
        CHANGE(room.example(), resistance_input=np.full(2, 47e3), resistance_led=np.full(3, 4.7e3))
    coupler = devices.drawn(devices.COUPLER_GREEN_GL5528, count=5, seed=1)
    with pytest.raises(ValueError, match=r"one length.*coupler\.cell\.resistance_10lx \(5,\)"):
        CHANGE(room.example(), resistance_input=np.full(2, 47e3), coupler=coupler)


@pytest.mark.parametrize(
    "call",
    [
        lambda units: room.attack_release(units, definition=room.SETTLE_2DB),
        lambda units: room.step_response(units, level_low_dbv=-30.0, level_high_dbv=-10.0),
        lambda units: room.ripple_distortion(units, level_in_dbv=-10.0),
        lambda units: room.render(np.zeros(4800), sample_rate=48_000.0, compressor=units),
    ],
)
def test_what_runs_in_time_takes_one_unit(call):
    with pytest.raises(ValueError, match=r"compressor must be one unit .* resistance_led holds 2"):
        call(CHANGE(room.example(), resistance_led=np.array([4.7e3, 5.1e3])))
