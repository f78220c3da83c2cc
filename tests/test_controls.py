"""Knobs against their formula, node equations, and the makers' word for the percentage."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pedalcalc import controls, devices

LINEAR, LOG, REVERSE = (
    devices.typical(record) for record in (devices.TAPER_LINEAR, devices.TAPER_LOG, devices.TAPER_REVERSE_LOG)
)
BENT = replace(LOG, rotation_knee=0.6)
inf = np.inf

CALLS = {
    "potentiometer": {"rotation": 0.3, "resistance_total": 1e6, "taper": LOG},
    "rheostat_resistance": {
        "rotation": 0.3,
        "resistance_total": 1e6,
        "taper": BENT,
        "lug": "counterclockwise",
        "resistance_stop": 47e3,
    },
    "rotation_for": {"track_fraction": 0.3, "taper": LOG},
    "level_control": {
        "rotation": 0.3,
        "resistance_total": 100e3,
        "taper": LOG,
        "resistance_generator": 10e3,
        "resistance_load": 1e6,
    },
}


def _fraction(rotation, taper):
    return controls.potentiometer(rotation, resistance_total=1.0, taper=taper).track_fraction


def _of(middle, knee=float("nan")):
    return replace(LOG, fraction_middle=middle, rotation_knee=knee)


@pytest.mark.parametrize("middle", [0.1, 0.5, 0.9])
def test_taper_ends_and_middle(middle):
    np.testing.assert_allclose(_fraction([0, 0.5, 1], _of(middle)), [0, middle, 1], rtol=1e-14, atol=0)


@given(st.floats(0, 1), st.floats(0.01, 0.99), st.floats(0.05, 0.95))
def test_taper_inverse_pair(rotation, middle, knee):
    for taper in (_of(middle), _of(middle, knee)):
        back = controls.rotation_for(_fraction(rotation, taper), taper=taper)
        assert back == pytest.approx(rotation, rel=1e-9, abs=1e-11)


@given(st.floats(0, 1), st.floats(0.02, 0.49))
def test_reverse_track_is_the_same_track_turned_over(rotation, middle):
    assert _fraction(rotation, _of(1 - middle)) == pytest.approx(1 - _fraction(1 - rotation, _of(middle)), abs=1e-13)


def test_smooth_taper_follows_its_formula():
    b = ((1 - 0.15) / 0.15) ** 2
    x = np.linspace(0, 1, 11)
    np.testing.assert_allclose(_fraction(x, _of(0.15)), (b**x - 1) / (b - 1), rtol=1e-12)
    np.testing.assert_allclose(_fraction(x, _of(0.5 - 1e-13)), x, atol=1e-12)


def test_two_pieces():
    x = [0, 0.3, 0.6, 0.8, 1]
    np.testing.assert_allclose(_fraction(x, _of(0.2, 0.6)), np.interp(x, [0, 0.6, 1], [0, 0.2, 1]), rtol=1e-14)


def test_many_knobs_at_once():
    many = devices.drawn(devices.TAPER_LOG, count=50, seed=1)
    found = _fraction(0.5, many)
    assert found.shape == (50,) and np.all((found >= 0.1) & (found <= 0.2))


def test_potentiometer_and_rheostat():
    call = {"rotation": 0.3, "resistance_total": 1e6, "taper": LOG}
    parts = controls.potentiometer(**call)
    assert parts.resistance_counterclockwise + parts.resistance_clockwise == pytest.approx(1e6)
    rising = controls.rheostat_resistance(**call, lug="counterclockwise", resistance_stop=47e3)
    falling = controls.rheostat_resistance(**call, lug="clockwise", resistance_stop=47e3)
    assert rising == pytest.approx(47e3 + parts.resistance_counterclockwise)
    assert falling == pytest.approx(47e3 + parts.resistance_clockwise)
    with pytest.raises(ValueError, match="lug must be one of"):
        controls.rheostat_resistance(**call, lug="left", resistance_stop=0)


@pytest.mark.parametrize("name", CALLS)
def test_a_type_is_refused(name):
    with pytest.raises(TypeError, match=r"taper must be one part .*devices\.typical\(taper\)"):
        getattr(controls, name)(**CALLS[name] | {"taper": devices.TAPER_LOG})
    with pytest.raises(TypeError, match="taper must be a Taper record"):
        getattr(controls, name)(**CALLS[name] | {"taper": "log"})


@given(st.floats(0.01, 0.99), st.floats(1.0, 1e6), st.floats(1e2, 1e8))
def test_level_against_the_node_equations(rotation, generator, load):
    found = controls.level_control(
        rotation, resistance_total=50e3, taper=LOG, resistance_generator=generator, resistance_load=load
    )
    parts = controls.potentiometer(rotation, resistance_total=50e3, taper=LOG)
    g, a, b, c = (
        1 / r for r in (generator, parts.resistance_clockwise, parts.resistance_counterclockwise, load)
    )  # nodes: top of the track, wiper
    top, wiper = np.linalg.solve([[g + a, -a], [-a, a + b + c]], [g, 0.0])
    assert found.gain == pytest.approx(wiper, rel=1e-9)
    assert found.gain_db == pytest.approx(20 * np.log10(wiper), abs=1e-8)
    assert found.resistance_input == pytest.approx(top / ((1 - top) * g), rel=1e-5)
    # One ampere into the wiper, the generator silent and the load taken off, raises it by the resistance seen there.
    seen = np.linalg.solve([[g + a, -a], [-a, a + b]], [0.0, 1.0])[1]
    assert found.resistance_output == pytest.approx(seen, rel=1e-9)


def test_level_limits():
    def level(rotation, **more):
        return controls.level_control(rotation, resistance_total=100e3, taper=LINEAR, **more)

    assert (level(0.0).gain, level(0.0).gain_db, level(0.0).resistance_output) == (0, -inf, 0)
    assert (level(1.0).gain, level(1.0).gain_db, level(1.0).resistance_output) == (1, 0, 0)
    assert level(1.0, resistance_generator=100e3).gain == 0.5
    assert level(0.5, resistance_load=0.0).gain == 0
    assert level(0.5, resistance_generator=inf).gain == 0
    assert level(0.5).resistance_input == 100e3
    assert REVERSE.fraction_middle == pytest.approx(1 - LOG.fraction_middle)
