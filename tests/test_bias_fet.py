"""Field-effect bias, trimming, measuring and small signal: root finder, sympy, limits, inverse pairs, refusals."""

from __future__ import annotations

import numpy as np
import pytest
import sympy as sp
from scipy.optimize import brentq

from pedalcalc import bias
from pedalcalc.devices import JFET_2N5457, JFET_2N5460

INF = float("inf")
COUNT = 300


def _current(u, v, k):
    """Shichman and Hodges's square law, both regions."""
    return np.where(u <= 0, 0.0, np.where(v >= u, k * u * u, k * v * (2 * u - v)))


def _by_root_finder(gate, off, k, vdd, r_d, r_s):
    def excess(i):
        return float(_current(gate - i * r_s - off, vdd - i * (r_d + r_s), k)) - i

    return brentq(excess, 0.0, vdd / (r_d + r_s), xtol=1e-18, rtol=1e-15)


def test_jfet_against_a_bracketing_root_finder():
    random = np.random.default_rng(1)
    vdd = random.uniform(5, 18, COUNT)
    off = -random.uniform(0.3, 6, COUNT)
    i_dss = random.uniform(0.2e-3, 12e-3, COUNT)
    r_d, r_s = 10 ** random.uniform(2.5, 4.5, COUNT), 10 ** random.uniform(1, 4.5, COUNT)
    gate = random.uniform(0, 3, COUNT)
    point = bias.jfet_source_bias(
        vdd,
        resistance_drain=r_d,
        resistance_source_pin=r_s,
        current_drain_zero_bias=i_dss,
        voltage_gate_source_off=off,
        voltage_gate=gate,
    )
    assert {"ohmic", "constant current"} == set(point.region)
    for n in range(COUNT):
        i = _by_root_finder(gate[n], off[n], i_dss[n] / off[n] ** 2, vdd[n], r_d[n], r_s[n])
        assert point.current_drain[n] == pytest.approx(i, rel=1e-9)
        assert point.voltage_drain[n] == pytest.approx(vdd[n] - i * r_d[n], rel=1e-8)
        assert point.voltage_gate_source[n] == pytest.approx(gate[n] - i * r_s[n], rel=1e-8, abs=1e-9)


def test_mosfet_against_a_bracketing_root_finder():
    random = np.random.default_rng(2)
    for _ in range(60):
        vdd, th, k = random.uniform(5, 15), random.uniform(0.8, 3), 10 ** random.uniform(-3.5, -1)
        top, bottom = 10 ** random.uniform(5, 7, 2)
        r_d, r_s = 10 ** random.uniform([3, 1], [5, 4])
        point = bias.mosfet_divider(
            vdd,
            resistance_top=top,
            resistance_bottom=bottom,
            resistance_drain=r_d,
            resistance_source_pin=r_s,
            voltage_threshold=th,
            transconductance_parameter=k,
        )
        gate = vdd * bottom / (top + bottom)
        i = _by_root_finder(gate, th, k, vdd, r_d, r_s) if gate > th else 0.0
        assert point.current_drain == pytest.approx(i, rel=1e-9)
        fed = bias.mosfet_drain_feedback(
            vdd,
            resistance_drain=r_d,
            resistance_source_pin=r_s,
            voltage_threshold=th,
            transconductance_parameter=k,
        )
        i = brentq(
            lambda i, k=k, vdd=vdd, r=r_d + r_s, th=th: k * max(vdd - i * r - th, 0) ** 2 - i,
            0,
            vdd / (r_d + r_s),
            xtol=1e-18,
            rtol=1e-15,
        )
        assert fed.current_drain == pytest.approx(i, rel=1e-9)
        assert fed.voltage_gate == pytest.approx(fed.voltage_drain, rel=1e-9)
        assert fed.region == "constant current"


def test_source_bias_root_against_sympy():
    i, k, a, r = sp.symbols("I k a R", positive=True)
    roots = sp.solve(i - k * (a - i * r) ** 2, i)
    values = {k: sp.Rational(3, 4000), a: sp.Rational(9, 5), r: 1000}
    smaller = min(float(root.subs(values)) for root in roots)  # the other root has VGS beyond cut-off
    point = bias.jfet_source_bias(
        9.0,
        resistance_drain=1e3,
        resistance_source_pin=1e3,
        current_drain_zero_bias=0.75e-3 * 1.8**2,
        voltage_gate_source_off=-1.8,
    )
    assert point.current_drain == pytest.approx(smaller, rel=1e-12)


JFET = {"current_drain_zero_bias": 3e-3, "voltage_gate_source_off": -1.8}


def _stage(**changes):
    return bias.jfet_source_bias(
        **({"voltage_supply": 9.0, "resistance_drain": 2.2e3, "resistance_source_pin": 470.0} | JFET | changes)
    )


def test_shorted_and_open_parts_give_the_true_limit():
    assert _stage(resistance_source_pin=0.0).current_drain == pytest.approx(3e-3)
    assert _stage(resistance_drain=0.0).voltage_drain == 9
    floating = _stage(resistance_source_pin=INF)
    assert floating.current_drain == 0 and floating.voltage_source_pin == pytest.approx(1.8)
    assert floating.voltage_drain == 9 and floating.region == "cut off"
    low = _stage(resistance_source_pin=INF, voltage_supply=1.0)
    assert low.voltage_source_pin == pytest.approx(1.0) and low.voltage_drain_source == 0
    open_drain = _stage(resistance_drain=INF)
    assert open_drain.current_drain == 0 and open_drain.voltage_drain == 0 and open_drain.region == "ohmic"
    off = _stage(voltage_gate=-2.0)
    assert off.region == "cut off" and off.current_drain == 0 and off.voltage_drain == 9
    assert off.transconductance == 0 and off.resistance_channel == INF
    assert _stage(voltage_gate=-2.0, resistance_drain=INF).voltage_drain == 0
    idle = _stage(voltage_gate=-2.0, resistance_source_pin=INF)
    assert idle.region == "cut off" and idle.current_drain == 0 and idle.voltage_drain == 9
    assert idle.voltage_source_pin == 0 and idle.power == 0
    dead = _stage(voltage_supply=0.0)
    assert dead.current_drain == 0 and dead.voltage_drain == 0


def test_ohmic_region_is_found_and_cautioned():
    hard = _stage(resistance_source_pin=0.0, resistance_drain=10e3)
    assert hard.region == "ohmic" and any("ohmic" in caution.what for caution in hard.cautions)
    step = 1e-6
    k = 3e-3 / 1.8**2
    u, v = 1.8, hard.voltage_drain_source
    assert hard.transconductance == pytest.approx((_current(u + step, v, k) - _current(u - step, v, k)) / (2 * step))
    slope = (_current(u, v + step, k) - _current(u, v - step, k)) / (2 * step)
    assert hard.resistance_channel == pytest.approx(1 / slope, rel=1e-6)
    assert hard.swing_down == 0


def test_forward_gate_is_cautioned():
    assert any("gate junction" in c.what for c in _stage(voltage_gate=3.0, resistance_source_pin=10.0).cautions)


def test_p_channel_is_the_mirror_image():
    n = _stage()
    p = _stage(polarity="p", voltage_gate_source_off=1.8)
    assert p.voltage_drain == pytest.approx(9 - n.voltage_drain) and p.voltage_gate == 9
    assert p.voltage_gate_source == pytest.approx(-n.voltage_gate_source) and p.swing_up == n.swing_down
    for point in (n, p):  # what a meter shows with its red probe on the first-named pin
        assert point.voltage_gate_source == pytest.approx(point.voltage_gate - point.voltage_source_pin)
        assert point.voltage_drain_source == pytest.approx(point.voltage_drain - point.voltage_source_pin)
    assert p.voltage_drain_source < 0 < p.current_drain and p.power == n.power
    mos = {
        "resistance_top": 2.2e6,
        "resistance_bottom": 1e6,
        "resistance_drain": 4.7e3,
        "resistance_source_pin": 470.0,
        "voltage_threshold": 2.1,
        "transconductance_parameter": 0.07,
    }
    assert bias.mosfet_divider(9.0, polarity="p", **mos).voltage_gate == pytest.approx(
        9 - bias.mosfet_divider(9.0, **mos).voltage_gate
    )
    assert JFET_2N5457.voltage_gate_source_off.high < 0 < JFET_2N5460.voltage_gate_source_off.low


def test_fixed_resistor_moves_the_drain_from_rail_to_rail_over_the_type():
    # Spread of VGS(off) and IDSS of the 2N5457 (SHEET-2N5457-1996): why the stage is trimmed.
    off, i_dss = JFET_2N5457.voltage_gate_source_off, JFET_2N5457.current_drain_zero_bias
    point = _stage(
        current_drain_zero_bias=np.array([i_dss.low, i_dss.high]),
        voltage_gate_source_off=np.array([off.high, off.low]),
        resistance_drain=4.7e3,
    )
    assert point.voltage_drain[0] > 6 and point.region[1] == "ohmic"


def test_trims_hold_in_the_ohmic_region_too_and_say_so():
    wanted = np.array([0.1, 0.5, 1.0, 1.799999, 1.8, 1.800001, 5.0])
    regions = ["ohmic"] * 4 + ["constant current"] * 3
    trim = bias.jfet_trim_source(wanted, voltage_supply=9.0, resistance_drain=47e3, **JFET)
    back = _stage(resistance_drain=47e3, resistance_source_pin=trim.resistance_source_pin)
    np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-9)
    assert list(trim.region) == regions and trim.cautions[0].count == 4
    for r_s in (0.0, 1e3):
        trim = bias.jfet_trim_drain(wanted, voltage_supply=9.0, resistance_source_pin=r_s, **JFET)
        back = _stage(resistance_drain=trim.resistance_drain, resistance_source_pin=r_s)
        np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-9)
        np.testing.assert_allclose(back.voltage_gate_source, trim.voltage_gate_source, rtol=1e-9)
        assert list(trim.region) == regions
    both = bias.jfet_resistors_for_current(1e-3, voltage_supply=9.0, voltage_drain_source=0.7, **JFET)
    back = _stage(resistance_drain=both.resistance_drain, resistance_source_pin=both.resistance_source_pin)
    assert both.region == back.region == "ohmic"
    np.testing.assert_allclose([back.current_drain, back.voltage_drain_source], [1e-3, 0.7], rtol=1e-9)
    shut = bias.jfet_trim_drain(0.0, voltage_supply=9.0, resistance_source_pin=1e3, **JFET)
    assert np.isinf(shut.resistance_drain) and shut.current_drain == 0


@pytest.mark.parametrize("gate", [0.0, 1.0])
def test_trims_put_the_drain_where_it_is_wanted(gate):
    wanted = np.array([4.5, 5.0, 6.0])
    trim = bias.jfet_trim_source(wanted, voltage_supply=9.0, resistance_drain=4.7e3, voltage_gate=gate, **JFET)
    back = _stage(resistance_drain=4.7e3, resistance_source_pin=trim.resistance_source_pin, voltage_gate=gate)
    np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-9)
    np.testing.assert_allclose(
        back.voltage_drain_source - (back.voltage_gate_source + 1.8), trim.voltage_margin, rtol=1e-6
    )
    trim = bias.jfet_trim_drain(wanted, voltage_supply=9.0, resistance_source_pin=1e3, voltage_gate=gate, **JFET)
    back = _stage(resistance_drain=trim.resistance_drain, resistance_source_pin=1e3, voltage_gate=gate)
    np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-9)
    both = bias.jfet_resistors_for_current(
        1e-3, voltage_supply=9.0, voltage_drain_source=3.0, voltage_gate=gate, **JFET
    )
    back = _stage(
        resistance_drain=both.resistance_drain, resistance_source_pin=both.resistance_source_pin, voltage_gate=gate
    )
    assert back.current_drain == pytest.approx(1e-3) and back.voltage_drain_source == pytest.approx(3.0)


def test_two_readings_give_the_device_back():
    meter = 10e6
    for off, i_dss in ((-0.5, 0.4e-3), (-1.8, 3e-3), (-4.0, 9e-3)):
        readings = [
            bias.jfet_source_bias(
                18.0,
                resistance_drain=0.0,
                resistance_source_pin=r * meter / (r + meter),
                current_drain_zero_bias=i_dss,
                voltage_gate_source_off=off,
            ).voltage_source_pin
            for r in (470.0, 47e3)
        ]
        found = bias.jfet_fit(
            readings[0],
            resistance_source_first=470.0,
            voltage_source_second=readings[1],
            resistance_source_second=47e3,
            resistance_meter=meter,
        )
        assert found.voltage_gate_source_off == pytest.approx(off, rel=1e-9)
        assert found.current_drain_zero_bias == pytest.approx(i_dss, rel=1e-9)
        assert found.transconductance_zero_bias == pytest.approx(-2 * i_dss / off, rel=1e-9)


def test_meter_reads_cut_off_low_because_the_current_is_never_zero():
    reading = bias.jfet_cut_off_reading(-2.0, current_drain_zero_bias=3e-3, resistance_meter=10e6)
    same = bias.jfet_source_bias(
        9.0,
        resistance_drain=0.0,
        resistance_source_pin=10e6,
        current_drain_zero_bias=3e-3,
        voltage_gate_source_off=-2.0,
    )
    assert reading.voltage_read == pytest.approx(same.voltage_source_pin, rel=1e-9)
    assert reading.voltage_read == pytest.approx(2.0 * (1 - reading.shortfall))
    back = bias.jfet_cut_off_from_reading(reading.voltage_read, current_drain_zero_bias=3e-3, resistance_meter=10e6)
    assert back.voltage_gate_source_off == pytest.approx(-2.0, rel=1e-12)
    assert back.shortfall == pytest.approx(reading.shortfall, rel=1e-9)
    ideal = bias.jfet_cut_off_reading(-2.0, current_drain_zero_bias=3e-3, resistance_meter=INF)
    assert ideal.voltage_read == 2 and ideal.shortfall == 0
    poor = bias.jfet_cut_off_reading(-2.0, current_drain_zero_bias=3e-3, resistance_meter=1e6)
    assert poor.shortfall > 3 * reading.shortfall


def test_inverse_pair_of_the_square_law():
    v = bias.jfet_gate_source_voltage(1.2e-3, **JFET)
    assert bias.jfet_current(v, **JFET) == pytest.approx(1.2e-3)
    assert bias.jfet_current(-2.0, **JFET) == 0
    assert bias.jfet_transconductance(-2.5, transconductance_zero_bias=4e-3, voltage_gate_source_off=-1.8) == 0
    k = bias.mosfet_parameter(0.2, voltage_gate_source_on=4.0, voltage_threshold=2.0)
    assert bias.mosfet_current(4.0, voltage_threshold=2.0, transconductance_parameter=k) == pytest.approx(0.2)
    assert bias.mosfet_current(1.0, voltage_threshold=2.0, transconductance_parameter=k) == 0
    # RS = |VGS(off)|/IDSS settles at (3 - sqrt 5)/2 of IDSS.
    point = _stage(resistance_source_pin=bias.jfet_source_rule(**JFET), resistance_drain=0.0)
    assert point.current_drain / 3e-3 == pytest.approx((3 - 5**0.5) / 2)
    assert bias.jfet_drain_voltage_linear(9.0, resistance_drain=INF, **JFET) == 0
    assert bias.load_line_voltage(0.0, voltage_supply=9.0, resistance_drain=INF) == 9
    reading = bias.fet_from_drain_voltage(9.0, voltage_supply=9.0, resistance_drain=INF, resistance_source_pin=INF)
    assert reading.current_drain == 0 and reading.voltage_source_pin == 0


def test_small_signal_against_sympy():
    g, r_o, r_d, r_s = sp.symbols("g r_o R_D R_S", positive=True)
    vg, vs, vd, i = sp.symbols("v_g v_s v_d i")
    source = sp.solve(
        [vd / r_d + g * (vg - vs) + (vd - vs) / r_o, vs / r_s - g * (vg - vs) - (vd - vs) / r_o], [vd, vs], dict=True
    )[0]
    out = sp.solve([g * -vs + (vd - vs) / r_o - 1, vs / r_s + g * vs - (vd - vs) / r_o], [vd, vs], dict=True)[0][vd]
    follow = sp.solve(vs / r_s - g * (vg - vs) + vs / r_o, vs)[0]
    gate = sp.solve([vd / r_d - g * vs + (vd - vs) / r_o, i - g * vs - (vs - vd) / r_o], [vd, i], dict=True)[0]
    numbers = {g: 4e-3, r_o: 40e3, r_d: 4.7e3, r_s: 220.0}
    stage = bias.common_source(4e-3, resistance_drain=4.7e3, resistance_source_pin=220.0, resistance_transistor=40e3)
    assert stage.gain_signed == pytest.approx(float((source[vd] / vg).subs(numbers)), rel=1e-12)
    z = float(out.subs(numbers))
    assert stage.impedance_output == pytest.approx(4.7e3 * z / (4.7e3 + z), rel=1e-12)
    follower = bias.source_follower(4e-3, resistance_source_pin=220.0, resistance_transistor=40e3)
    assert follower.gain_signed == pytest.approx(float((follow / vg).subs(numbers)), rel=1e-12)
    common = bias.common_gate(4e-3, resistance_drain=4.7e3, resistance_transistor=40e3)
    assert common.gain_signed == pytest.approx(float((gate[vd] / vs).subs(numbers)), rel=1e-12)
    assert common.impedance_input == pytest.approx(float((vs / gate[i]).subs(numbers)), rel=1e-12)
    assert bias.common_source(4e-3, resistance_drain=0.0).gain == 0
    assert bias.common_source(4e-3, resistance_drain=1e3, resistance_source_pin=INF).gain == 0
    assert bias.common_source(4e-3, resistance_drain=INF, resistance_transistor=40e3).gain == pytest.approx(160)
    assert bias.source_follower(4e-3, resistance_source_pin=0.0).gain == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: _stage(voltage_gate_source_off=1.8), "below 0 for an n-channel"),
        (lambda: _stage(polarity="p"), "above 0 for a p-channel"),
        (lambda: _stage(polarity="N"), "polarity must be one of"),
        (lambda: bias.jfet_current(0.0, current_drain_zero_bias=1e-3, voltage_gate_source_off=0.0), "must not be 0"),
        (
            lambda: bias.jfet_trim_source(9.0, voltage_supply=9.0, resistance_drain=4.7e3, **JFET),
            "below voltage_supply",
        ),
        (lambda: bias.jfet_trim_source(1.0, voltage_supply=9.0, resistance_drain=1e3, **JFET), "too small"),
        (
            lambda: bias.jfet_trim_drain(5.0, voltage_supply=9.0, resistance_source_pin=1e3, voltage_gate=-3.0, **JFET),
            "voltage_gate",
        ),
        (lambda: bias.jfet_trim_drain(10.0, voltage_supply=9.0, resistance_source_pin=1e3, **JFET), "voltage_drain"),
        (
            lambda: bias.jfet_resistors_for_current(1e-3, voltage_supply=9.0, voltage_drain_source=0.0, **JFET),
            "voltage_drain_source must be above 0",
        ),
        (
            lambda: bias.fet_from_drain_voltage(
                5.0, voltage_supply=9.0, resistance_drain=4.7e3, resistance_source_pin=np.inf
            ),
            "resistance_source_pin must be finite",
        ),
        (
            lambda: bias.jfet_resistors_for_current(1e-3, voltage_supply=9.0, voltage_drain_source=9.0, **JFET),
            "voltage_drain_source",
        ),
        (lambda: bias.source_resistor(1e-3, voltage_gate_source=0.5), "voltage_gate_source"),
        (
            lambda: bias.jfet_fit(
                1.5, resistance_source_first=470.0, voltage_source_second=0.5, resistance_source_second=22e3
            ),
            "contradicts",
        ),
        (
            lambda: bias.jfet_fit(
                0.5,
                resistance_source_first=1e3,
                voltage_source_second=0.9,
                resistance_source_second=2e3,
                voltage_gate=20.0,
            ),
            "do not fit",
        ),
        (
            lambda: bias.jfet_cut_off_from_reading(2.0, current_drain_zero_bias=1e-7, resistance_meter=1e6),
            "impossible",
        ),
        (
            lambda: bias.fet_from_drain_voltage(10.0, voltage_supply=9.0, resistance_drain=1e3),
            "must not exceed voltage_supply",
        ),
        (
            lambda: bias.mosfet_parameter(0.1, voltage_gate_source_on=1.0, voltage_threshold=2.0),
            "must exceed voltage_threshold",
        ),
    ],
)
def test_refusals(call, words):
    with pytest.raises(ValueError, match=words):
        call()


@pytest.mark.parametrize("polarity", ["n", "p"])
def test_gate_on_a_divider_is_a_gate_at_the_divided_supply(polarity):
    sign = 1.0 if polarity == "n" else -1.0
    rest = {"resistance_drain": 4.7e3, "resistance_source_pin": [470.0, 4.7e3, 22e3], "polarity": polarity}
    rest |= {"current_drain_zero_bias": 3e-3, "voltage_gate_source_off": sign * -1.8}
    point = bias.jfet_divider(9.0, resistance_top=2.2e6, resistance_bottom=1e6, **rest)
    known = bias.jfet_source_bias(9.0, voltage_gate=9.0 / 3.2, **rest)
    for field in ("voltage_gate", "voltage_source_pin", "voltage_drain", "current_drain"):
        np.testing.assert_allclose(getattr(point, field), getattr(known, field), rtol=1e-12)
    assert list(point.region) == list(known.region)


def test_transconductance_at_zero_bias_is_the_slope_there():
    step = 1e-6
    one = {"voltage_gate_source_off": -1.8, "current_drain_zero_bias": 3e-3}
    slope = (bias.jfet_current(0.0, **one) - bias.jfet_current(-step, **one)) / step
    found = bias.jfet_transconductance_zero_bias(3e-3, voltage_gate_source_off=-1.8)
    assert found == pytest.approx(slope, rel=1e-5)


def test_drain_feedback_with_an_open_source_floats_to_pinch_off():
    device = {"voltage_threshold": 2.1, "transconductance_parameter": 0.07}
    open_source = bias.mosfet_drain_feedback(9.0, resistance_drain=1e4, resistance_source_pin=np.inf, **device)
    nearly = bias.mosfet_drain_feedback(9.0, resistance_drain=1e4, resistance_source_pin=1e13, **device)
    assert open_source.region == "cut off" and open_source.current_drain == 0
    for name in ("voltage_gate", "voltage_drain", "voltage_source_pin", "swing_down"):
        np.testing.assert_allclose(getattr(open_source, name), getattr(nearly, name), atol=1e-4)
