"""Field-effect bias, trimming and measuring: root finder, sympy, limits, inverse pairs, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sympy as sp
from scipy.optimize import brentq

from pedalcalc import devices, fet, laws
from pedalcalc.devices import JFET_2N5457, JFET_2N5460, METER_DIGITAL, METER_POINTER, MOSFET_2N7000

INF = float("inf")
COUNT = 300


def _jfet(current, off):
    kind = JFET_2N5457 if np.all(np.asarray(off) < 0) else JFET_2N5460
    return replace(devices.typical(kind), current_drain_zero_bias=current, voltage_gate_source_off=off)


def _mosfet(threshold, strength, polarity="n"):
    part = replace(devices.typical(MOSFET_2N7000), polarity=polarity, voltage_gate_on=100.0)
    return replace(part, voltage_threshold=threshold, transconductance_parameter=strength)


MINE = _jfet(3e-3, -1.8)

CALLS = {
    "self_bias": {
        "voltage_supply": 9.0,
        "resistance_drain": 2.2e3,
        "resistance_source_pin": 3.3e3,
        "fet": MINE,
        "resistance_top": 2.2e6,
        "resistance_bottom": 470e3,
        "voltage_gate": 0.1,
    },
    "trim_source": {
        "voltage_drain": 5.0,
        "voltage_supply": 9.0,
        "resistance_drain": 4.7e3,
        "voltage_gate": 0.1,
        "fet": MINE,
    },
    "trim_drain": {
        "voltage_drain": 5.0,
        "voltage_supply": 9.0,
        "resistance_source_pin": 1e3,
        "voltage_gate": 0.1,
        "fet": MINE,
    },
    "resistors_for_current": {
        "current_wanted": 1e-3,
        "voltage_supply": 9.0,
        "voltage_drain_source": 4.0,
        "voltage_gate": 0.1,
        "fet": MINE,
    },
    "fit_jfet": {
        "voltage_source_pin": np.array([0.53, 1.5]),
        "resistance_source_pin": np.array([470.0, 22e3]),
        "meter": METER_DIGITAL,
        "fet": JFET_2N5457,
        "voltage_gate": 0.0,
        "current_drain_zero_bias": 2.3e-3,
    },
}


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
    point = fet.self_bias(
        vdd,
        resistance_drain=r_d,
        resistance_source_pin=r_s,
        fet=_jfet(i_dss, off),
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
        point = fet.self_bias(
            vdd,
            resistance_top=top,
            resistance_bottom=bottom,
            resistance_drain=r_d,
            resistance_source_pin=r_s,
            fet=_mosfet(th, k),
        )
        gate = vdd * bottom / (top + bottom)
        i = _by_root_finder(gate, th, k, vdd, r_d, r_s) if gate > th else 0.0
        assert point.current_drain == pytest.approx(i, rel=1e-9)


def test_source_bias_root_against_sympy():
    i, k, a, r = sp.symbols("I k a R", positive=True)
    roots = sp.solve(i - k * (a - i * r) ** 2, i)
    values = {k: sp.Rational(3, 4000), a: sp.Rational(9, 5), r: 1000}
    smaller = min(float(root.subs(values)) for root in roots)  # the other root has VGS beyond cut-off
    point = fet.self_bias(
        9.0,
        resistance_drain=1e3,
        resistance_source_pin=1e3,
        fet=_jfet(0.75e-3 * 1.8**2, -1.8),
    )
    assert point.current_drain == pytest.approx(smaller, rel=1e-12)


JFET = {"fet": MINE}


def _stage(**changes):
    return fet.self_bias(
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
    # Half a volt forward a silicon junction begins to conduct (common practice).
    for forward, told in ((0.49, False), (0.51, True)):
        point = _stage(voltage_gate=forward, resistance_source_pin=0.0)
        assert any("gate junction" in caution.what for caution in point.cautions) == told


def test_p_channel_is_the_mirror_image():
    n = _stage()
    p = _stage(fet=_jfet(3e-3, 1.8))
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
    }
    assert fet.self_bias(9.0, fet=_mosfet(2.1, 0.07, "p"), **mos).voltage_gate == pytest.approx(
        9 - fet.self_bias(9.0, fet=_mosfet(2.1, 0.07), **mos).voltage_gate
    )
    assert JFET_2N5457.voltage_gate_source_off.high < 0 < JFET_2N5460.voltage_gate_source_off.low


def test_fixed_resistor_moves_the_drain_from_rail_to_rail_over_the_type():
    # Spread of VGS(off) and IDSS of the 2N5457 (SHEET-2N5457-1996): why the stage is trimmed.
    off, i_dss = JFET_2N5457.voltage_gate_source_off, JFET_2N5457.current_drain_zero_bias
    point = _stage(
        fet=_jfet(np.array([i_dss.low, i_dss.high]), np.array([off.high, off.low])),
        resistance_drain=4.7e3,
    )
    assert point.voltage_drain[0] > 6 and point.region[1] == "ohmic"


def test_trims_hold_in_the_ohmic_region_too_and_say_so():
    wanted = np.array([0.1, 0.5, 1.0, 1.799999, 1.8, 1.800001, 5.0])
    regions = ["ohmic"] * 4 + ["constant current"] * 3
    trim = fet.trim_source(wanted, voltage_supply=9.0, resistance_drain=47e3, **JFET)
    back = _stage(resistance_drain=47e3, resistance_source_pin=trim.resistance_source_pin)
    np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-9)
    assert list(trim.region) == regions and trim.cautions[0].count == 4
    for r_s in (0.0, 1e3):
        trim = fet.trim_drain(wanted, voltage_supply=9.0, resistance_source_pin=r_s, **JFET)
        back = _stage(resistance_drain=trim.resistance_drain, resistance_source_pin=r_s)
        np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-9)
        np.testing.assert_allclose(back.voltage_gate_source, trim.voltage_gate_source, rtol=1e-9)
        assert list(trim.region) == regions
    both = fet.resistors_for_current(1e-3, voltage_supply=9.0, voltage_drain_source=0.7, **JFET)
    back = _stage(resistance_drain=both.resistance_drain, resistance_source_pin=both.resistance_source_pin)
    assert both.region == back.region == "ohmic"
    np.testing.assert_allclose([back.current_drain, back.voltage_drain_source], [1e-3, 0.7], rtol=1e-9)
    shut = fet.trim_drain(0.0, voltage_supply=9.0, resistance_source_pin=1e3, **JFET)
    assert np.isinf(shut.resistance_drain) and shut.current_drain == 0


@pytest.mark.parametrize("gate", [0.0, 1.0])
def test_trims_put_the_drain_where_it_is_wanted(gate):
    wanted = np.array([4.5, 5.0, 6.0])
    trim = fet.trim_source(wanted, voltage_supply=9.0, resistance_drain=4.7e3, voltage_gate=gate, **JFET)
    back = _stage(resistance_drain=4.7e3, resistance_source_pin=trim.resistance_source_pin, voltage_gate=gate)
    np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-9)
    np.testing.assert_allclose(
        back.voltage_drain_source - (back.voltage_gate_source + 1.8), trim.voltage_margin, rtol=1e-6
    )
    trim = fet.trim_drain(wanted, voltage_supply=9.0, resistance_source_pin=1e3, voltage_gate=gate, **JFET)
    back = _stage(resistance_drain=trim.resistance_drain, resistance_source_pin=1e3, voltage_gate=gate)
    np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-9)
    both = fet.resistors_for_current(1e-3, voltage_supply=9.0, voltage_drain_source=3.0, voltage_gate=gate, **JFET)
    back = _stage(
        resistance_drain=both.resistance_drain, resistance_source_pin=both.resistance_source_pin, voltage_gate=gate
    )
    assert back.current_drain == pytest.approx(1e-3) and back.voltage_drain_source == pytest.approx(3.0)


def _read(part, ohms, meter=10e6, gate=0.0):
    """What a meter shows at the source behind `ohms`, its own resistance across them."""
    with np.errstate(invalid="ignore"):
        both = 1 / (1 / np.asarray(ohms) + 1 / meter)
    point = fet.self_bias(18.0, resistance_drain=0.0, resistance_source_pin=both, fet=part, voltage_gate=gate)
    return point.voltage_source_pin


@pytest.mark.parametrize("gate", [0.0, 1.5])
@pytest.mark.parametrize(("off", "i_dss"), [(-0.5, 0.4e-3), (-1.8, 3e-3), (-4.0, 9e-3)])
def test_readings_give_the_device_back(off, i_dss, gate):
    part = _jfet(i_dss, off)
    for ohms in ([470.0, 47e3], [470.0, 4.7e3, 47e3, INF]):
        found = fet.fit_jfet(
            _read(part, ohms, gate=gate),
            resistance_source_pin=ohms,
            meter=METER_DIGITAL,
            fet=JFET_2N5457,
            voltage_gate=gate,
        )
        assert found.voltage_gate_source_off == pytest.approx(off, rel=1e-9)
        assert found.current_drain_zero_bias == pytest.approx(i_dss, rel=1e-9)
        assert found.transconductance == pytest.approx(-2 * i_dss / off, rel=1e-9)
        assert found.voltage_max == JFET_2N5457.voltage_max and found.polarity == "n"


def test_meter_alone_reads_cut_off_low_because_the_current_is_never_zero():
    part = _jfet(3e-3, -2.0)
    good, poor = _read(part, INF), _read(part, INF, meter=1e6)
    assert 1 - poor / 2 > 3 * (1 - good / 2) > 0
    # V = |VGS(off)| (1 - sqrt(V/(Rm IDSS))), the square law at the meter's own current.
    assert good == pytest.approx(2.0 * (1 - np.sqrt(good / 10e6 / 3e-3)), rel=1e-12)
    common = {"resistance_source_pin": INF, "meter": METER_DIGITAL, "fet": JFET_2N5457}
    back = fet.fit_jfet(good, current_drain_zero_bias=3e-3, **common)
    assert back.voltage_gate_source_off == pytest.approx(-2.0, rel=1e-12)
    assert back.current_drain_zero_bias == pytest.approx(3e-3, rel=1e-12)
    ideal = replace(METER_DIGITAL, resistance_meter=INF)
    assert fet.fit_jfet(
        [2.0], current_drain_zero_bias=3e-3, **(common | {"meter": ideal})
    ).voltage_gate_source_off == pytest.approx(-2.0)


def test_more_readings_average_their_errors():
    part, random = _jfet(3e-3, -1.8), np.random.default_rng(4)
    few, many = np.array([470.0, 47e3]), np.array([220.0, 470.0, 1e3, 4.7e3, 10e3, 47e3, 100e3])
    spread = {}
    for name, ohms in (("few", few), ("many", many)):
        found = [
            fet.fit_jfet(
                _read(part, ohms) * (1 + 0.02 * random.standard_normal(ohms.size)),
                resistance_source_pin=ohms,
                meter=METER_DIGITAL,
                fet=JFET_2N5457,
            )
            for _ in range(200)
        ]
        spread[name] = np.std([one.current_drain_zero_bias for one in found])
        assert np.median([one.voltage_gate_source_off for one in found]) == pytest.approx(-1.8, rel=0.02)
    assert spread["many"] < spread["few"]


def test_unread_places_are_left_out_and_a_p_channel_has_its_own_sign():
    part = _jfet(3e-3, -1.8)
    read = np.append(_read(part, [470.0, 47e3]), np.nan)
    found = fet.fit_jfet(read, resistance_source_pin=[470.0, 47e3, 1e3], meter=METER_DIGITAL, fet=JFET_2N5460)
    assert found.voltage_gate_source_off == pytest.approx(1.8) and found.polarity == "p"


def test_a_source_resistor_of_cut_off_over_zero_bias_current_settles_at_the_golden_share():
    # RS = |VGS(off)|/IDSS settles at (3 - sqrt 5)/2 of IDSS.
    point = _stage(resistance_source_pin=1.8 / 3e-3, resistance_drain=0.0)
    assert point.current_drain / 3e-3 == pytest.approx((3 - 5**0.5) / 2)


def test_trims_and_designs_of_mosfets_and_p_channels_give_their_stage():
    for part in (_mosfet(2.1, 0.07), _mosfet(2.1, 0.07, "p"), _jfet(3e-3, 1.8)):
        gate = 3.0 if isinstance(part, devices.Mosfet) else 0.0
        p = part.polarity == "p"
        wanted = np.array([0.4, 5.0]) if not p else 9.0 - np.array([0.4, 5.0])
        trim = fet.trim_source(wanted, voltage_supply=9.0, resistance_drain=47e3, fet=part, voltage_gate=gate)
        stage = {"voltage_supply": 9.0, "fet": part, "voltage_gate": gate}
        back = fet.self_bias(resistance_drain=47e3, resistance_source_pin=trim.resistance_source_pin, **stage)
        np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-8)
        for name in ("voltage_gate_source", "voltage_drain_source"):
            np.testing.assert_allclose(getattr(back, name), getattr(trim, name), rtol=1e-8)
        assert list(trim.region) == list(back.region) == ["ohmic", "constant current"]
        trim = fet.trim_drain(wanted, voltage_supply=9.0, resistance_source_pin=1e3, fet=part, voltage_gate=gate)
        back = fet.self_bias(resistance_drain=trim.resistance_drain, resistance_source_pin=1e3, **stage)
        np.testing.assert_allclose(back.voltage_drain, wanted, rtol=1e-8)
        sign = -1.0 if p else 1.0
        both = fet.resistors_for_current(
            0.5e-3, voltage_supply=9.0, voltage_drain_source=sign * 3.0, fet=part, voltage_gate=gate
        )
        back = fet.self_bias(
            resistance_drain=both.resistance_drain, resistance_source_pin=both.resistance_source_pin, **stage
        )
        assert back.current_drain == pytest.approx(0.5e-3) and back.voltage_drain_source == pytest.approx(sign * 3.0)


def test_ratings_are_watched():
    hot = fet.self_bias(
        30.0, resistance_drain=10.0, resistance_source_pin=0.0, voltage_gate=10.0, fet=devices.typical(MOSFET_2N7000)
    )
    words = " ".join(caution.what for caution in hot.cautions)
    assert "heat" in words and "drain current" in words
    high = _stage(voltage_supply=40.0)
    assert any("drain-source voltage" in caution.what for caution in high.cautions)


@pytest.mark.parametrize("polarity", ["n", "p"])
def test_gate_on_a_divider_is_a_gate_at_the_divided_supply(polarity):
    sign = 1.0 if polarity == "n" else -1.0
    rest = {"resistance_drain": 4.7e3, "resistance_source_pin": [470.0, 4.7e3, 22e3], "fet": _jfet(3e-3, -1.8 * sign)}
    point = fet.self_bias(9.0, resistance_top=2.2e6, resistance_bottom=1e6, **rest)
    known = fet.self_bias(9.0, voltage_gate=9.0 / 3.2, **rest)
    for field in ("voltage_gate", "voltage_source_pin", "voltage_drain", "current_drain"):
        np.testing.assert_allclose(getattr(point, field), getattr(known, field), rtol=1e-12)
    assert list(point.region) == list(known.region)
    np.testing.assert_allclose(point.current_supply - known.current_supply, 9.0 / 3.2e6, rtol=1e-9)
    lifted = fet.self_bias(9.0, resistance_top=2.2e6, resistance_bottom=1e6, voltage_gate=1.0, **rest)
    np.testing.assert_allclose(lifted.current_supply - lifted.current_drain, 8.0 / 3.2e6, rtol=1e-9)
    gate = 1.0 + 8.0 / 3.2
    np.testing.assert_allclose(lifted.voltage_gate, gate if polarity == "n" else 9.0 - gate, rtol=1e-12)


def test_points_obey_the_channel_law():
    point = _stage(resistance_source_pin=np.array([0.0, 470.0, 10e3]))
    flow = laws.channel(
        voltage_gate=0.0, voltage_drain=point.voltage_drain, voltage_source_pin=point.voltage_source_pin, fet=MINE
    )
    np.testing.assert_allclose(flow.current_drain, point.current_drain, rtol=1e-9)


def _fit(volts, ohms=(470.0, 22e3), **changes):
    return fet.fit_jfet(
        volts, **({"resistance_source_pin": ohms, "meter": METER_DIGITAL, "fet": JFET_2N5457} | changes)
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: _stage(fet=JFET_2N5457), "devices.typical"),
        (lambda: _stage(fet="2N5457"), "fet must be a Jfet or Mosfet record"),
        (lambda: _stage(resistance_top=0.0, resistance_bottom=0.0), "shorts the supply"),
        (lambda: fet.trim_source(9.0, voltage_supply=9.0, resistance_drain=4.7e3, **JFET), "within the supply"),
        (lambda: fet.trim_source(1.0, voltage_supply=9.0, resistance_drain=1e3, **JFET), "fet must pass"),
        (
            lambda: fet.trim_drain(5.0, voltage_supply=9.0, resistance_source_pin=1e3, voltage_gate=-3.0, **JFET),
            "voltage_gate",
        ),
        (lambda: fet.trim_drain(10.0, voltage_supply=9.0, resistance_source_pin=1e3, **JFET), "voltage_drain"),
        (
            lambda: fet.resistors_for_current(1e-3, voltage_supply=9.0, voltage_drain_source=0.0, **JFET),
            "voltage_drain_source must be above 0",
        ),
        (
            lambda: fet.resistors_for_current(5e-3, voltage_supply=90.0, voltage_drain_source=4.0, **JFET),
            "fet must pass",
        ),
        (
            lambda: fet.resistors_for_current(1e-3, voltage_supply=9.0, voltage_drain_source=9.0, **JFET),
            "voltage_drain_source",
        ),
        (lambda: _fit([1.5, 0.5]), "must not contradict"),
        (lambda: _fit([0.5, 0.9], (1e3, 2e3), voltage_gate=20.0), "must fit a JFET"),
        (
            lambda: _fit(2.0, INF, current_drain_zero_bias=1e-7, meter=replace(METER_DIGITAL, resistance_meter=1e6)),
            "must not contradict",
        ),
        (lambda: _fit(0.5, 470.0), "at least two different readings"),
        (lambda: _fit([0.5, -1.0]), "voltage_source_pin must be above 0"),
        (lambda: _fit([0.5, 1.5], meter=METER_POINTER), "resistance_per_volt times the range"),
    ],
)
def test_refusals(call, words):
    with pytest.raises((ValueError, TypeError), match=words):
        call()


def test_a_square_beyond_all_numbers_does_not_end_the_channel():
    """Gate far above a source on an enormous resistor: it follows the drain, and that resistor takes what Ohm's law says."""
    part = replace(devices.typical(devices.JFET_2N5457), voltage_gate_source_off=-1.5, current_drain_zero_bias=3e-3)
    found = fet.self_bias(9.0, resistance_drain=1e3, resistance_source_pin=1e90, voltage_gate=1e90, fet=part)
    assert found.current_drain == pytest.approx(9e-90)
    assert found.voltage_source_pin == pytest.approx(9.0)
