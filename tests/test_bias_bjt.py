"""Bipolar bias and small signal: root finder, sympy, limits, inverse pairs, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from pedalcalc import bias
from pedalcalc.devices import BJT_2N3904, BJT_2N3906, BJT_AC128, BJT_BC549C, Spread

INF = float("inf")
T = 300.0
VT = 1.380649e-23 * T / 1.602176634e-19
COUNT = 60


def _law(transistor):
    """Saturation current and 1/reverse gain at 300 K, written out anew; germanium leaks through its own diode."""
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
        assert point.voltage_base_emitter[n] == pytest.approx(x if transistor.polarity == "npn" else -x, rel=1e-9)


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
    for point in (npn, pnp):  # every voltage between two pins is what a meter with its red probe on the first shows
        np.testing.assert_allclose(point.voltage_base_emitter, point.voltage_base - point.voltage_emitter, rtol=1e-9)
        np.testing.assert_allclose(
            point.voltage_collector_emitter, point.voltage_collector - point.voltage_emitter, rtol=1e-9, atol=1e-12
        )
    for name in ("current_base", "current_collector", "current_emitter", "power", "error_stiff", "current_supply"):
        np.testing.assert_allclose(getattr(pnp, name), getattr(npn, name), rtol=1e-12, err_msg=name)
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
    cold, warm = _stage(temperature=300.0), _stage(temperature=310.0)
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
    cool = bias.bjt_divider(9.0, **(STAGE | {"transistor": leaky, "temperature": 300.0}))
    assert hot.current_collector > cool.current_collector * 1.05
    assert cool.current_base < hot.current_collector / 99
    assert bias.collector_emitter_leakage(0.0, current_gain=INF) == 0
    assert bias.true_current_gain(1e-3, current_collector_open=0.0, current_base=1e-5) == pytest.approx(100)


@pytest.mark.parametrize("kelvin", [293.15, 303.0, 313.0])
def test_small_signal_figures_of_leaky_germanium_are_the_slopes_of_the_law(kelvin):
    # The leakage flows in the base lead but does not follow the base voltage: VT/IB counted it as if it did.
    beta, vt = 90.0, 1.380649e-23 * kelvin / 1.602176634e-19
    point = bias.bjt_base_resistor(
        9.0,
        voltage_base_supply=9.0,
        resistance_base=1.5e6,
        resistance_collector=4.7e3,
        resistance_emitter=100.0,
        current_gain=beta,
        transistor=BJT_AC128,
        temperature=kelvin,
    )
    assert point.region == "active"
    gap = BJT_AC128.energy_gap * 1.602176634e-19 / 1.380649e-23
    i_s = BJT_AC128.current_saturation * (kelvin / 300) ** 3 * np.exp(gap * (1 / 300 - 1 / kelvin))

    def transport(forward):
        return i_s * np.expm1(forward / vt)

    x, step = -point.voltage_base_emitter, 1e-6  # it is a PNP
    gm = (transport(x + step) - transport(x - step)) / (2 * step)
    assert point.transconductance == pytest.approx(gm, rel=1e-8)
    assert point.resistance_base_emitter == pytest.approx(beta / gm, rel=1e-8)
    leak = bias.leakage_at_temperature(kelvin, transistor=BJT_AC128)
    # beyond the leakage flows the transport current plus Is (1 + 1/beta_r), 0.2 % here
    assert point.resistance_base_emitter == pytest.approx(beta * vt / (point.current_collector - leak), rel=0.02)
    assert point.current_base < 0 or vt / point.current_base > 1.2 * point.resistance_base_emitter


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


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: _stage(resistance_top=0.0, resistance_bottom=0.0), "shorts the supply"),
        (lambda: _stage(resistance_top=0.0, resistance_emitter=0.0), "nothing limits"),
        (lambda: _stage(resistance_emitter=0.0, current_gain=INF), "resistance_emitter must be above 0"),
        (lambda: _stage(transistor="2N3904"), "transistor"),
        (
            lambda: bias.bjt_base_resistor_rule(
                0.0,
                voltage_base_supply=9.0,
                resistance_base=1e3,
                resistance_collector=0.0,
                resistance_emitter=0.0,
                current_gain=100,
            ),
            "resistance_collector must be above 0",
        ),
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
