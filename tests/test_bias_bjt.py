"""Bipolar bias and small signal: root finder, sympy, limits, inverse pairs, refusals."""

from __future__ import annotations

import itertools
from dataclasses import replace

import mpmath as mp
import numpy as np
import pytest
import sympy as sp
from scipy.optimize import brentq

from pedalcalc import bias
from pedalcalc.devices import BJT_2N3904, BJT_2N3906, BJT_AC128, BJT_BC549C, BJT_OC44, Spread

INF = float("inf")
T = 298.15
VT = 1.380649e-23 * T / 1.602176634e-19
COUNT = 60


def _law(transistor):
    """Saturation current and 1/reverse gain at 25 °C, written out anew; germanium leaks through its own diode."""
    gap = transistor.energy_gap * 1.602176634e-19 / 1.380649e-23
    i_s = transistor.current_saturation * (T / 300) ** 3 * np.exp(gap * (1 / 300 - 1 / T))
    leak = transistor.current_collector_base_leakage.typical if transistor.material == "germanium" else 0.0
    return i_s, 1 / transistor.current_gain_reverse + leak / i_s


def _by_root_finder(transistor, vbb, rb, vcc, rc, vee, re, beta):
    """Solve both junction voltages of the Ebers-Moll circuit by two nested bracketing searches."""
    i_s, r = _law(transistor)

    def currents(x, y):
        e1, e2 = i_s * np.expm1(x / VT), i_s * np.expm1(y / VT)
        return e1 / beta + r * e2, e1 - (1 + r) * e2

    def base(y):
        def loop(x):
            ib, ic = currents(x, y)
            return vbb - vee - ib * rb - (ib + ic) * re - x

        return brentq(loop, -1e6, 3.0, xtol=1e-16, rtol=1e-15)

    def collector(y):
        x = base(y)
        ib, ic = currents(x, y)
        return vbb - ib * rb - y - (vcc - ic * rc)

    y = brentq(collector, -40.0, 0.8 if transistor.material == "silicon" else 0.3, xtol=1e-16, rtol=1e-15)
    return *currents(base(y), y), base(y)


def _random(seed):
    random = np.random.default_rng(seed)
    return {
        "voltage_supply": random.uniform(3, 18, COUNT),
        "resistance_top": 10 ** random.uniform(3.5, 6, COUNT),
        "resistance_bottom": 10 ** random.uniform(3.5, 6, COUNT),
        "resistance_collector": 10 ** random.uniform(2.5, 5, COUNT),
        "resistance_emitter": 10 ** random.uniform(1, 4.5, COUNT),
        "current_gain": random.uniform(40, 800, COUNT),
    }


@pytest.mark.parametrize("transistor", [BJT_2N3904, BJT_AC128], ids=["silicon", "germanium"])
def test_divider_against_a_bracketing_root_finder(transistor):
    stage = _random(1)
    point = bias.bjt_divider(transistor=transistor, **stage)
    assert {"active", "saturated"} <= set(point.region)
    for n in range(COUNT):
        vcc, top, bottom, rc, re, beta = (stage[key][n] for key in stage)
        ib, ic, x = _by_root_finder(
            transistor, vcc * bottom / (top + bottom), top * bottom / (top + bottom), vcc, rc, 0.0, re, beta
        )
        assert point.current_collector[n] == pytest.approx(ic, rel=1e-9)
        assert point.current_base[n] == pytest.approx(ib, rel=1e-9)
        assert point.voltage_base_emitter[n] == pytest.approx(x, rel=1e-9)


def test_two_supplies_and_base_resistor_against_a_bracketing_root_finder():
    random = np.random.default_rng(2)
    for _ in range(30):
        vcc, vee = random.uniform(3, 15, 2)
        rb, rc, re = 10 ** random.uniform([4, 2.5, 2.5], [6, 4.5, 4.5])
        beta = random.uniform(50, 500)
        point = bias.bjt_emitter_bias(
            vcc,
            voltage_supply_emitter=vee,
            resistance_base=rb,
            resistance_collector=rc,
            resistance_emitter=re,
            current_gain=beta,
            transistor=BJT_2N3904,
        )
        ib, ic, _ = _by_root_finder(BJT_2N3904, 0.0, rb, vcc, rc, -vee, re, beta)
        assert (point.current_base, point.current_collector) == pytest.approx((ib, ic), rel=1e-9)
        point = bias.bjt_base_resistor(
            vcc,
            voltage_base_supply=vee,
            resistance_base=rb,
            resistance_collector=rc,
            resistance_emitter=re,
            current_gain=beta,
            transistor=BJT_2N3904,
        )
        ib, ic, _ = _by_root_finder(BJT_2N3904, vee, rb, vcc, rc, 0.0, re, beta)
        assert (point.current_base, point.current_collector) == pytest.approx((ib, ic), rel=1e-9)


def test_collector_feedback_against_a_bracketing_root_finder():
    random = np.random.default_rng(3)
    i_s, r = _law(BJT_2N3904)
    for _ in range(30):
        vcc, beta = random.uniform(3, 15), random.uniform(50, 500)
        rf, rc, re = 10 ** random.uniform([4, 3, 1], [6.5, 4.5, 3])

        def loop(x, vcc=vcc, beta=beta, rf=rf, rc=rc, re=re):
            # The collector junction stays in reverse by IB RF, whose current is known once that is.
            def base(ib):
                return i_s * np.expm1(x / VT) / beta + r * i_s * np.expm1(-ib * rf / VT) - ib

            ib = brentq(base, -1e-9, 1.0, xtol=1e-18, rtol=1e-15)
            ic = i_s * np.expm1(x / VT) - (1 + r) * i_s * np.expm1(-ib * rf / VT)
            return vcc - (ib + ic) * (rc + re) - ib * rf - x

        x = brentq(loop, 0.2, 0.9, xtol=1e-16, rtol=1e-15)
        point = bias.bjt_collector_feedback(
            vcc,
            resistance_feedback=rf,
            resistance_collector=rc,
            resistance_emitter=re,
            current_gain=beta,
            transistor=BJT_2N3904,
        )
        assert point.voltage_base_emitter == pytest.approx(x, rel=1e-9)
        assert point.voltage_collector == pytest.approx(vcc - point.current_emitter * rc, rel=1e-12)
        assert point.voltage_emitter == pytest.approx(point.current_emitter * re, rel=1e-9)
        assert point.voltage_base == pytest.approx(point.voltage_collector - point.current_base * rf, rel=1e-9)


def test_nodes_obey_kirchhoff():
    stage = _random(4)
    point = bias.bjt_divider(transistor=BJT_BC549C, **stage)
    vcc, top, bottom = (stage[key] for key in ("voltage_supply", "resistance_top", "resistance_bottom"))
    into = (vcc - point.voltage_base) / top - point.voltage_base / bottom
    np.testing.assert_allclose(into, point.current_base, rtol=1e-7, atol=1e-15)
    np.testing.assert_allclose(point.voltage_emitter, point.current_emitter * stage["resistance_emitter"], 1e-9, 1e-12)
    np.testing.assert_allclose(
        point.current_supply, point.current_collector + (vcc - point.voltage_base) / top, rtol=1e-9
    )
    heat = (
        vcc * point.current_supply
        - point.current_collector**2 * stage["resistance_collector"]
        - point.current_emitter**2 * stage["resistance_emitter"]
        - (vcc - point.voltage_base) ** 2 / top
        - point.voltage_base**2 / bottom
    )
    np.testing.assert_allclose(point.power, heat, rtol=1e-6, atol=1e-12)


def test_pnp_is_the_mirror_image():
    stage = {key: values[:5] for key, values in _random(5).items()}
    npn = bias.bjt_divider(transistor=BJT_2N3904, **stage)
    pnp = bias.bjt_divider(transistor=replace(BJT_2N3904, polarity="pnp"), **stage)
    np.testing.assert_allclose(pnp.voltage_collector, stage["voltage_supply"] - npn.voltage_collector)
    np.testing.assert_array_equal(pnp.swing_up, npn.swing_down)
    two = {
        "voltage_supply": 9.0,
        "voltage_supply_emitter": 9.0,
        "resistance_base": 100e3,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 8.2e3,
        "current_gain": 200,
    }
    plus = bias.bjt_emitter_bias(transistor=BJT_2N3904, **two)
    minus = bias.bjt_emitter_bias(transistor=replace(BJT_2N3904, polarity="pnp"), **two)
    assert minus.voltage_emitter == -plus.voltage_emitter > 0
    rule = bias.bjt_divider_rule(
        9.0,
        resistance_top=68e3,
        resistance_bottom=15e3,
        resistance_collector=4.7e3,
        resistance_emitter=1e3,
        current_gain=150,
        polarity="pnp",
    )
    assert rule.voltage_emitter > rule.voltage_base > rule.voltage_collector


STAGE = {
    "resistance_top": 68e3,
    "resistance_bottom": 15e3,
    "resistance_collector": 4.7e3,
    "resistance_emitter": 1e3,
    "current_gain": 200,
    "transistor": BJT_2N3904,
}


def _stage(**changes):
    return bias.bjt_divider(9.0, **(STAGE | changes))


def test_shorted_and_open_parts_give_the_true_limit():
    assert _stage(resistance_collector=0.0).voltage_collector == pytest.approx(9.0, rel=1e-12)
    idle = _stage(resistance_emitter=INF)
    assert idle.current_emitter == 0 and idle.region == "cut off"
    assert idle.current_collector == pytest.approx(0.0, abs=1e-11)
    assert idle.voltage_base == pytest.approx(9 * 15 / 83, rel=1e-6)
    open_top = _stage(resistance_top=INF)
    assert open_top.region == "cut off" and open_top.voltage_base == pytest.approx(0.0, abs=1e-6)
    assert open_top.current_supply == pytest.approx(0.0, abs=1e-12)
    full = _stage(resistance_bottom=INF)
    assert full.region == "saturated"
    assert full.voltage_collector_emitter < 0.2
    no_collector = _stage(resistance_collector=INF)
    assert no_collector.current_collector == 0 and no_collector.region == "saturated"
    # With the collector open the base alone feeds the emitter through its diode: base loop of base current only.
    v_th, r_th = 9 * 15 / 83, 68e3 * 15e3 / 83e3
    assert no_collector.current_emitter == pytest.approx(
        (v_th - no_collector.voltage_base_emitter) / (r_th + 1e3), rel=1e-9
    )
    on_supply = _stage(resistance_top=0.0)
    assert on_supply.voltage_base == pytest.approx(9.0, rel=1e-12)
    assert on_supply.current_supply == pytest.approx(
        on_supply.current_collector + on_supply.current_base + 9 / 15e3, rel=1e-12
    )
    dead = bias.bjt_divider(0.0, **STAGE)
    assert dead.current_collector == pytest.approx(0.0, abs=1e-15) and dead.region == "cut off"


def test_open_base_and_emitter_resistors_leave_nodes_floating_quietly():
    common = {"voltage_base_supply": 9.0, "resistance_collector": 4.7e3, "current_gain": 200, "transistor": BJT_2N3904}
    floating = bias.bjt_base_resistor(9.0, resistance_base=INF, resistance_emitter=1e3, **common)
    assert floating.current_base == 0 and floating.region == "cut off"
    assert floating.voltage_emitter == pytest.approx(0.0, abs=1e-6)
    both = bias.bjt_base_resistor(9.0, resistance_base=INF, resistance_emitter=INF, **common)
    assert both.current_base == both.current_emitter == 0
    feedback = bias.bjt_collector_feedback(
        9.0,
        resistance_feedback=1e6,
        resistance_collector=INF,
        resistance_emitter=100.0,
        current_gain=200,
        transistor=BJT_2N3904,
    )
    assert feedback.current_collector == pytest.approx(0.0, abs=1e-12)
    assert feedback.voltage_emitter == pytest.approx(0.0, abs=1e-9)
    diode = bias.bjt_collector_feedback(
        9.0,
        resistance_feedback=0.0,
        resistance_collector=10e3,
        resistance_emitter=0.0,
        current_gain=200,
        transistor=BJT_2N3904,
    )
    assert diode.voltage_collector == pytest.approx(diode.voltage_base, abs=1e-9)


def test_deep_saturation_keeps_the_books():
    point = bias.bjt_base_resistor(
        9.0,
        voltage_base_supply=9.0,
        resistance_base=10e3,
        resistance_collector=1e3,
        resistance_emitter=0.0,
        current_gain=200,
        transistor=BJT_2N3904,
    )
    assert point.region == "saturated" and 0 < point.voltage_collector_emitter < 0.1
    assert point.current_collector == pytest.approx((9 - point.voltage_collector) / 1e3, rel=1e-9)
    assert any("saturated" in caution.what for caution in point.cautions)


def test_infinite_gain_is_the_limit_of_large_gain():
    ideal, large = _stage(current_gain=INF), _stage(current_gain=1e12)
    assert ideal.current_base == pytest.approx(0.0, abs=1e-13)
    assert ideal.current_emitter == pytest.approx(large.current_emitter, rel=1e-9)
    assert ideal.error_stiff == pytest.approx(0.0, abs=1e-9)


def test_stiff_shortcut_is_flagged_with_how_much():
    stiff = _stage(resistance_top=6.8e3, resistance_bottom=1.5e3)
    assert abs(stiff.error_stiff) < 0.01 and not stiff.cautions
    weak = _stage(resistance_top=680e3, resistance_bottom=150e3)
    caution = next(c for c in weak.cautions if "stiff" in c.what)
    assert caution.value == pytest.approx(weak.error_stiff) and weak.error_stiff > 0.3
    assert weak.current_stiff == pytest.approx((9 * 15 / 83 - weak.voltage_base_emitter) / 1e3)


def test_ratings_are_watched():
    hot = _stage(
        resistance_top=1e3, resistance_bottom=1e3, resistance_emitter=10.0, resistance_collector=0.0, current_gain=300
    )
    words = " ".join(caution.what for caution in hot.cautions)
    assert "heat" in words and "collector current" in words
    high = bias.bjt_divider(60.0, **(STAGE | {"resistance_bottom": 1e3}))
    assert any("collector-emitter voltage" in caution.what for caution in high.cautions)


def test_silicon_junction_falls_two_millivolts_a_kelvin():
    # Common textbook figure for silicon near room temperature: -2 mV/K (FLOYD-DEVICES and others).
    cold, warm = _stage(temperature=298.15), _stage(temperature=308.15)
    slope = (warm.voltage_base_emitter - cold.voltage_base_emitter) / 10
    assert -2.3e-3 < slope < -1.6e-3


def test_germanium_leaks_as_the_hobby_reading_says():
    # GERMANIUM-NOTE: 75 µA near 20 °C and 320 µA near 40 °C, a factor of 4.27 in 20 K.
    ratio = bias.leakage_at_temperature(313.15, transistor=BJT_AC128) / bias.leakage_at_temperature(
        293.15, transistor=BJT_AC128
    )
    assert ratio == pytest.approx(320 / 75, rel=0.01)


def test_open_base_current_of_germanium_is_iceo():
    leaky = replace(BJT_AC128, current_collector_base_leakage=Spread(np.nan, 5e-6, np.nan), current_gain_reverse=1e12)
    point = bias.bjt_base_resistor(
        9.0,
        voltage_base_supply=0.0,
        resistance_base=INF,
        resistance_collector=100.0,
        resistance_emitter=0.0,
        current_gain=99,
        transistor=leaky,
    )
    assert point.current_collector == pytest.approx(bias.collector_emitter_leakage(5e-6, current_gain=99), rel=0.02)
    hot = bias.bjt_divider(9.0, **(STAGE | {"transistor": leaky, "temperature": 318.15}))
    cool = bias.bjt_divider(9.0, **(STAGE | {"transistor": leaky, "temperature": 298.15}))
    assert hot.current_collector > cool.current_collector * 1.05
    assert cool.current_base < hot.current_collector / 99


def _nodes(transistor, temperature, beta, resistance_base, rc, re, *, feedback, start):
    """Solve base, collector and emitter voltage on 9 V by Kirchhoff's current law, both junctions, in 40 digits."""
    mp.mp.dps = 40
    gap = transistor.energy_gap * 1.602176634e-19 / 1.380649e-23
    i_s = transistor.current_saturation * (temperature / 300) ** 3 * np.exp(gap * (1 / 300 - 1 / temperature))
    leak = transistor.current_collector_base_leakage.typical * 2 ** (
        (temperature - T) / transistor.temperature_doubling
    )
    i_s, leak, vt = mp.mpf(i_s), mp.mpf(leak), mp.mpf(transistor.ideality * VT * temperature / T)
    through = mp.mpf(0) if np.isinf(resistance_base) else 1 / mp.mpf(resistance_base)

    def kirchhoff(vb, vc, ve):
        e1, e2 = i_s * mp.expm1((vb - ve) / vt), i_s * mp.expm1((vb - vc) / vt)
        back = e2 / transistor.current_gain_reverse + leak * mp.expm1((vb - vc) / vt)  # and the leakage's own diode
        ib, ic = e1 / beta + back, e1 - e2 - back
        from_top = ((vc if feedback else 9) - vb) * through
        return [from_top - ib, (9 - vc) / rc - ic - (from_top if feedback else 0), ve - re * (ib + ic)]

    return [float(volts) for volts in mp.findroot(kirchhoff, start, tol=1e-28, maxsteps=300)]


@pytest.mark.parametrize("transistor", [BJT_AC128, BJT_OC44], ids=["AC128", "OC44"])
@pytest.mark.parametrize("feedback", [True, False], ids=["collector feedback", "base resistor"])
def test_leakage_saturates_a_germanium_stage_with_its_base_open_or_nearly_so(transistor, feedback):
    saturated = 0
    for temperature, rc, re, beta, rb in itertools.product(
        (298.15, 323.15), (1e3, 10e3, 100e3), (0.0, 220.0), (70.0, 300.0), (INF, 1e9, 22e6)
    ):
        common = {
            "resistance_collector": rc,
            "resistance_emitter": re,
            "current_gain": beta,
            "transistor": transistor,
            "temperature": temperature,
        }
        if feedback:
            point = bias.bjt_collector_feedback(9.0, resistance_feedback=rb, **common)
        else:
            point = bias.bjt_base_resistor(9.0, voltage_base_supply=9.0, resistance_base=rb, **common)
        got = [9 - point.voltage_base, 9 - point.voltage_collector, 9 - point.voltage_emitter]  # of a PNP
        vb, vc, ve = _nodes(transistor, temperature, beta, rb, rc, re, feedback=feedback, start=got)
        assert got == pytest.approx([vb, vc, ve], abs=1e-9)
        assert point.voltage_collector_emitter == pytest.approx(vc - ve, abs=1e-9)
        # Saturated where the collector takes less than its junction in full reverse would let through, by a twentieth.
        blocked = _nodes(transistor, temperature, beta, rb, 1e-3, re, feedback=feedback, start=[ve + 0.2, 9, ve])
        short = 1 - ((9 - vc) / rc) / ((9 - blocked[1]) / 1e-3)
        if re == 0 and np.isinf(rb) and abs(short - 0.05) > 0.01:
            assert (point.region == "saturated") == (short > 0.05)
        saturated += point.region == "saturated"
    assert 10 < saturated < 60


def test_open_base_without_leakage_or_with_endless_gain():
    parts = {"resistance_feedback": INF, "resistance_collector": 10e3, "resistance_emitter": 0.0}
    silicon = bias.bjt_collector_feedback(9.0, **parts, current_gain=200, transistor=BJT_2N3904)
    assert silicon.region == "cut off" and silicon.voltage_collector == pytest.approx(9.0, abs=1e-6)
    # Whatever leaks is amplified without end: the resistor alone limits it, and the collector junction idles.
    endless = bias.bjt_collector_feedback(9.0, **parts, current_gain=INF, transistor=BJT_AC128)
    large = bias.bjt_collector_feedback(9.0, **parts, current_gain=1e9, transistor=BJT_AC128)
    assert endless.voltage_collector_emitter == pytest.approx(large.voltage_collector_emitter, abs=1e-6)
    assert endless.voltage_collector_emitter == pytest.approx(endless.voltage_base_emitter, abs=1e-12)
    assert large.region == "saturated"
    assert bias.collector_emitter_leakage(0.0, current_gain=INF) == 0
    assert bias.true_current_gain(1e-3, current_collector_open=0.0, current_base=1e-5) == pytest.approx(100)


def test_meter_is_a_resistor_to_ground():
    stage = {key: value for key, value in STAGE.items() if key != "resistance_bottom"}
    meter = bias.bjt_divider_readings(9.0, resistance_bottom=150e3, resistance_meter=1e6, **stage)
    loaded = bias.bjt_divider(9.0, resistance_bottom=150e3 * 1e6 / 1.15e6, **stage)
    assert meter.voltage_base_read == pytest.approx(loaded.voltage_base, rel=1e-9)
    ideal = bias.bjt_divider_readings(9.0, resistance_bottom=150e3, resistance_meter=INF, **stage)
    true = bias.bjt_divider(9.0, resistance_bottom=150e3, **stage)
    assert (ideal.voltage_base_read, ideal.voltage_collector_read, ideal.voltage_emitter_read) == pytest.approx(
        (true.voltage_base, true.voltage_collector, true.voltage_emitter), rel=1e-9
    )
    active = {**STAGE, "resistance_meter": 10e3}
    plain = _stage()
    shown = bias.bjt_divider_readings(9.0, **active)
    assert shown.voltage_collector_read == pytest.approx(
        (9 * 10 / 14.7) - plain.current_collector * 4.7e3 * 10 / 14.7, rel=1e-6
    )
    mirrored = bias.bjt_divider_readings(9.0, **(active | {"transistor": BJT_2N3906}))
    assert mirrored.voltage_collector_read == pytest.approx(
        bias.bjt_divider(9.0, **(STAGE | {"transistor": BJT_2N3906})).current_collector * 4.7e3 * 10 / 14.7, rel=1e-6
    )


def test_rule_agrees_with_exact_when_given_its_drop():
    point = _stage()
    rule = bias.bjt_divider_rule(
        9.0,
        voltage_base_emitter=point.voltage_base_emitter,
        voltage_thermal=VT,
        **{key: value for key, value in STAGE.items() if key != "transistor"},
    )
    for name in (
        "current_base",
        "current_collector",
        "voltage_collector",
        "current_supply",
        "resistance_emitter_dynamic",
    ):
        assert getattr(rule, name) == pytest.approx(getattr(point, name), rel=1e-6), name


def test_rule_saturates_and_cuts_off():
    base = {"voltage_base_supply": 9.0, "current_gain": 200, "voltage_saturation": 0.1}
    full = bias.bjt_base_resistor_rule(
        9.0, resistance_base=47e3, resistance_collector=4.7e3, resistance_emitter=470.0, **base
    )
    assert full.region == "saturated"
    assert full.voltage_collector - full.voltage_emitter == pytest.approx(0.1)
    assert full.current_emitter == pytest.approx(full.current_base + full.current_collector)
    assert full.voltage_base == pytest.approx(9 - full.current_base * 47e3)
    assert full.voltage_collector == pytest.approx(9 - full.current_collector * 4.7e3)
    open_c = bias.bjt_base_resistor_rule(
        9.0, resistance_base=47e3, resistance_collector=INF, resistance_emitter=470.0, **base
    )
    assert open_c.current_collector == 0 and open_c.region == "saturated"
    straight = bias.bjt_base_resistor_rule(
        9.0, resistance_base=47e3, resistance_collector=0.0, resistance_emitter=0.0, **base
    )
    assert straight.region == "active" and straight.voltage_collector == 9
    off = bias.bjt_base_resistor_rule(
        9.0,
        resistance_base=47e3,
        resistance_collector=4.7e3,
        resistance_emitter=INF,
        **(base | {"voltage_base_supply": 0.3}),
    )
    assert off.region == "cut off" and off.current_collector == 0 and off.resistance_emitter_dynamic == INF
    feedback = bias.bjt_collector_feedback_rule(
        0.5, resistance_feedback=1e6, resistance_collector=10e3, resistance_emitter=0.0, current_gain=100
    )
    assert feedback.region == "cut off"


def test_designs_are_undone_by_the_bias_rules():
    rb = bias.base_resistor_for_current(1e-3, voltage_base_supply=9.0, current_gain=150, resistance_emitter=470.0)
    back = bias.bjt_base_resistor_rule(
        9.0,
        voltage_base_supply=9.0,
        resistance_base=rb,
        resistance_collector=1e3,
        resistance_emitter=470.0,
        current_gain=150,
    )
    assert back.current_emitter == pytest.approx(1e-3, rel=1e-12)
    rf = bias.feedback_resistor_for_current(
        0.4e-3, voltage_supply=9.0, current_gain=150, resistance_collector=10e3, resistance_emitter=100.0
    )
    back = bias.bjt_collector_feedback_rule(
        9.0, resistance_feedback=rf, resistance_collector=10e3, resistance_emitter=100.0, current_gain=150
    )
    assert back.current_emitter == pytest.approx(0.4e-3, rel=1e-12)
    four = bias.divider_for_current(1e-3, voltage_supply=9.0, current_gain=150)
    back = bias.bjt_divider_rule(
        9.0,
        resistance_top=four.resistance_top,
        resistance_bottom=four.resistance_bottom,
        resistance_collector=four.resistance_collector,
        resistance_emitter=four.resistance_emitter,
        current_gain=INF,
    )
    assert back.current_collector == pytest.approx(1e-3)
    assert back.voltage_collector_emitter == pytest.approx(4.5)
    assert bias.base_resistor_for_current(1e-3, voltage_base_supply=0.7, current_gain=INF) == 0


def _common_emitter_by_sympy():
    """Solve the four-node hybrid-pi stage from Kirchhoff's current law."""
    gm, rpi, ro, re, load, rs = sp.symbols("g_m r_pi r_o R_E R_L R_s", positive=True)
    vb, ve, vc, i = sp.symbols("v_b v_e v_c i")
    nodes = [
        ve / re - (vb - ve) / rpi - gm * (vb - ve) - (vc - ve) / ro,
        vc / load + gm * (vb - ve) + (vc - ve) / ro,
        i - (vb - ve) / rpi,
    ]
    found = sp.solve(nodes, [ve, vc, i], dict=True)[0]
    gain, z_base = sp.simplify(found[vc] / vb), sp.simplify(vb / found[i])
    # Output: a test current into the collector, base through the source resistance to ground.
    out = [
        ve / re + (ve - vb) / rpi - gm * (vb - ve) - (vc - ve) / ro,
        gm * (vb - ve) + (vc - ve) / ro - 1,
        vb / rs + (vb - ve) / rpi,
    ]
    z_out = sp.solve(out, [vb, ve, vc], dict=True)[0][vc]
    return (gm, rpi, ro, re, load, rs), gain, z_base, z_out


def test_common_emitter_against_sympy():
    symbols, gain, z_base, z_out = _common_emitter_by_sympy()
    numbers = sp.lambdify(symbols, [gain, z_base, z_out])
    random = np.random.default_rng(6)
    for _ in range(20):
        gm, rpi, ro, re, rc, rs = 10 ** random.uniform([-3, 3, 4, 1, 3, 2], [-1, 4, 5.5, 3.5, 4.5, 4.5])
        expected = numbers(gm, rpi, ro, re, rc, rs)
        stage = bias.common_emitter_hybrid(
            transconductance=gm,
            resistance_base_emitter=rpi,
            resistance_collector=rc,
            resistance_emitter=re,
            resistance_source=rs,
            resistance_transistor=ro,
        )
        assert stage.gain_signed == pytest.approx(expected[0], rel=1e-9)
        assert stage.impedance_device == pytest.approx(expected[1], rel=1e-9)
        assert stage.impedance_output == pytest.approx(rc * expected[2] / (rc + expected[2]), rel=1e-9)
        assert stage.gain_overall == pytest.approx(expected[0] * expected[1] / (expected[1] + rs), rel=1e-9)
        b = gm * rpi + 1
        same = bias.common_emitter(
            resistance_emitter_dynamic=rpi / b,
            current_gain=b - 1,
            resistance_collector=rc,
            resistance_emitter=re,
            resistance_transistor=ro,
        )
        assert same.gain_signed == pytest.approx(expected[0], rel=1e-9)


def test_common_emitter_limits():
    common = {"resistance_emitter_dynamic": 26.0, "current_gain": 100, "resistance_collector": 4.7e3}
    assert bias.common_emitter(**common, resistance_load=0.0).gain == 0
    assert bias.common_emitter(**common, resistance_emitter=INF).gain == 0
    assert bias.common_emitter(**common, resistance_source=INF).gain_overall == 0
    own = bias.common_emitter(**(common | {"resistance_collector": INF}), resistance_transistor=75e3)
    assert own.gain_signed == pytest.approx(-75e3 / 26 * 100 / 101)
    lifted = bias.common_emitter(
        **(common | {"resistance_collector": INF}), resistance_transistor=75e3, resistance_emitter=100.0
    )
    near = bias.common_emitter(
        **(common | {"resistance_collector": 1e13}), resistance_transistor=75e3, resistance_emitter=100.0
    )
    assert lifted.gain_signed == pytest.approx(near.gain_signed, rel=1e-6)
    silent = bias.common_emitter(**(common | {"resistance_emitter_dynamic": INF}))
    assert silent.gain == 0 and silent.gain_db == -INF
    pi = bias.hybrid_pi(1e-3, current_gain=INF, voltage_thermal=0.026)
    assert pi.resistance_base_emitter == INF and pi.resistance_transistor == INF


def test_collector_feedback_stage_against_sympy():
    gm, rpi, rf, rc, rs, ro = sp.symbols("g_m r_pi R_F R_C R_s r_o", positive=True)
    vb, vc, i = sp.symbols("v_b v_c i")
    at_collector = vc / rc + vc / ro + gm * vb + (vc - vb) / rf
    forward = sp.solve([at_collector, i - vb / rpi - (vb - vc) / rf], [vc, i], dict=True)[0]
    back = sp.solve([at_collector - 1, vb / rs + vb / rpi + (vb - vc) / rf], [vb, vc], dict=True)[0][vc]
    numbers = {gm: 0.0385, rpi: 3.9e3, rf: 47e3, rc: 4.7e3, rs: 600.0, ro: 75e3}
    amp = bias.collector_feedback_stage(
        transconductance=0.0385,
        resistance_base_emitter=3.9e3,
        resistance_feedback=47e3,
        resistance_collector=4.7e3,
        resistance_source=600.0,
        resistance_transistor=75e3,
    )
    assert amp.gain_signed == pytest.approx(float((forward[vc] / vb).subs(numbers)), rel=1e-12)
    assert amp.impedance_input == pytest.approx(float((vb / forward[i]).subs(numbers)), rel=1e-12)
    assert amp.impedance_output == pytest.approx(float(back.subs(numbers)), rel=1e-12)
    plain = {"transconductance": 0.0385, "resistance_base_emitter": 3.9e3, "resistance_collector": 4.7e3}
    without = bias.collector_feedback_stage(resistance_feedback=INF, **plain)
    assert without.gain_signed == pytest.approx(bias.common_emitter_hybrid(**plain).gain_signed)
    assert without.impedance_input == pytest.approx(3.9e3)


def test_alpha_and_beta_are_inverse():
    assert bias.common_emitter_current_gain(bias.common_base_current_gain(173.0)) == pytest.approx(173.0)
    assert bias.common_base_current_gain(INF) == 1 and bias.common_emitter_current_gain(1.0) == INF


def test_follower_against_sympy():
    gm, rpi, re, rs = sp.symbols("g_m r_pi R_E R_s", positive=True)
    vb, ve = sp.symbols("v_b v_e")
    gain = sp.solve(ve / re - (vb - ve) / rpi - gm * (vb - ve), ve)[0] / vb
    out = sp.solve([ve / re - (vb - ve) / rpi - gm * (vb - ve) - 1, vb / rs + (vb - ve) / rpi], [vb, ve], dict=True)[0][
        ve
    ]
    numbers = {gm: 0.0385, rpi: 3.9e3, re: 2.2e3, rs: 10e3}
    beta = 0.0385 * 3.9e3
    stage = bias.emitter_follower(
        resistance_emitter_dynamic=3.9e3 / (beta + 1),
        current_gain=beta,
        resistance_emitter=2.2e3,
        resistance_source=10e3,
    )
    assert stage.gain == pytest.approx(float(gain.subs(numbers)), rel=1e-12)
    assert stage.impedance_output == pytest.approx(float(out.subs(numbers)), rel=1e-12)
    dropped = {"current_gain": 100, "resistance_emitter_dynamic": 0.0}
    assert bias.emitter_follower(**dropped, resistance_emitter=1e3).gain == 1
    assert bias.emitter_follower(**(dropped | {"resistance_emitter_dynamic": 26.0}), resistance_emitter=0.0).gain == 0
    assert bias.common_base(resistance_emitter_dynamic=INF, current_gain=100, resistance_collector=1e3).gain == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: _stage(resistance_top=0.0, resistance_bottom=0.0), "shorts the supply"),
        (lambda: _stage(resistance_top=0.0, resistance_emitter=0.0), "nothing limits"),
        (lambda: _stage(transistor="2N3904"), "transistor"),
        (
            lambda: bias.bjt_divider_rule(
                9.0,
                resistance_top=1e3,
                resistance_bottom=1e3,
                resistance_collector=1e3,
                resistance_emitter=0.0,
                current_gain=INF,
            ),
            "nothing limits",
        ),
        (
            lambda: bias.bjt_divider_rule(
                9.0,
                resistance_top=1e3,
                resistance_bottom=1e3,
                resistance_collector=1e3,
                resistance_emitter=1e3,
                current_gain=100,
                convention="alpha",
            ),
            "convention must be one of",
        ),
        (
            lambda: bias.bjt_divider_rule(
                9.0,
                resistance_top=1e3,
                resistance_bottom=1e3,
                resistance_collector=1e3,
                resistance_emitter=1e3,
                current_gain=100,
                polarity="NPN",
            ),
            "polarity must be one of",
        ),
        (
            lambda: bias.base_resistor_for_current(
                1e-2, voltage_base_supply=9.0, current_gain=100, resistance_emitter=1e3
            ),
            "current_wanted",
        ),
        (
            lambda: bias.divider_for_current(
                1e-3, voltage_supply=9.0, current_gain=100, fraction_emitter=0.6, fraction_transistor=0.5
            ),
            "together",
        ),
        (lambda: bias.divider_for_current(1e-3, voltage_supply=0.7, current_gain=100), "voltage_supply"),
        (lambda: bias.collector_current_limit(9.0, resistance_collector=0.0), "both be 0"),
        (
            lambda: bias.common_emitter(resistance_emitter_dynamic=0.0, current_gain=100, resistance_collector=1e3),
            "both be 0",
        ),
        (
            lambda: bias.true_current_gain(1e-4, current_collector_open=2e-4, current_base=1e-5),
            "current_collector_open",
        ),
    ],
)
def test_refusals(call, words):
    with pytest.raises((ValueError, TypeError), match=words):
        call()


def test_saturation_limit_of_the_load_line():
    assert bias.collector_current_limit(0.1, resistance_collector=1e3) == 0
    assert bias.collector_current_limit(9.0, resistance_collector=INF) == 0


def test_a_follower_is_a_divider_stage_without_collector_resistor():
    parts = {"resistance_top": 470e3, "resistance_bottom": 470e3, "resistance_emitter": np.array([100.0, 1e4, 1e6])}
    parts |= {"current_gain": 400.0, "transistor": BJT_2N3904}
    follower, stage = bias.bjt_follower(9.0, **parts), bias.bjt_divider(9.0, resistance_collector=0.0, **parts)
    for field in ("voltage_base", "voltage_emitter", "voltage_collector", "current_collector"):
        np.testing.assert_allclose(getattr(follower, field), getattr(stage, field), rtol=1e-12)
    thevenin = (4.5 - follower.voltage_base) / 235e3  # base current through both resistors side by side
    np.testing.assert_allclose(follower.voltage_emitter / parts["resistance_emitter"], 401 * thevenin, rtol=1e-6)


def test_emitter_resistance_is_the_slope_of_the_junction():
    """The slope of VT ln(IE/IS) at IE."""
    current, step = np.array([1e-5, 1e-3]), 1e-6
    slope = VT * (np.log(current * (1 + step)) - np.log(current)) / (current * step)
    np.testing.assert_allclose(bias.emitter_resistance(current, voltage_thermal=VT), slope, rtol=1e-5)


@pytest.mark.parametrize("broken", ["resistance_feedback", "resistance_collector", "resistance_emitter"])
def test_open_collector_feedback_rests_where_the_exact_law_leaves_it(broken):
    parts = {
        "resistance_feedback": 1e6,
        "resistance_collector": 1e4,
        "resistance_emitter": 100.0,
        "current_gain": 150.0,
    }
    parts[broken] = np.inf
    rule = bias.bjt_collector_feedback_rule(9.0, **parts)
    exact = bias.bjt_collector_feedback(9.0, **parts, transistor=BJT_2N3904)
    assert rule.region == exact.region == "cut off"
    for name in ("voltage_base", "voltage_collector", "voltage_emitter", "swing_up", "swing_down"):
        np.testing.assert_allclose(getattr(rule, name), getattr(exact, name), atol=0.1)


def test_gain_without_limit_leaves_the_designed_divider_open():
    design = bias.divider_for_current(1e-3, voltage_supply=9.0, current_gain=np.inf)
    assert np.isinf(design.resistance_top) and np.isinf(design.resistance_bottom)
    np.testing.assert_allclose([design.resistance_collector, design.resistance_emitter], [3.6e3, 900.0])
