"""Bipolar bias and small signal: root finder, sympy, limits, inverse pairs, refusals."""

from __future__ import annotations

import itertools
from dataclasses import replace

import mpmath as mp
import numpy as np
import pytest
from scipy.optimize import brentq

from pedalcalc import bjt, devices, laws
from pedalcalc.devices import BJT_2N3904, BJT_2N3906, BJT_AC128, BJT_BC549C, BJT_OC44, METER_CHEAP, Spread

INF = float("inf")
T = 300.0
VT = 1.380649e-23 * T / 1.602176634e-19
COUNT = 60


def _with_gain(function, **fixed):
    """Return the function with the typical part of a type, or any part, and a current gain of its own."""

    def call(*supply, transistor, current_gain=None, **parts):
        if isinstance(transistor, devices.Bjt):
            part = devices.typical(transistor)
            transistor = part if current_gain is None else replace(part, current_gain=current_gain)
        return function(*supply, transistor=transistor, **fixed, **parts)

    return call


_divider = _with_gain(bjt.divider_bias)
_base = _with_gain(bjt.base_bias)
_two_supplies = _with_gain(bjt.base_bias, voltage_base_supply=0.0)
_feedback = _with_gain(bjt.collector_feedback_bias)
_readings = _with_gain(bjt.divider_readings)


def _own_leak(i_s, gain, gain_reverse):
    """What both junctions alone let from collector to base with the emitter open (EBERS-MOLL's Ico, from memory)."""
    forward, reverse = gain / (gain + 1), gain_reverse / (gain_reverse + 1)  # the two alphas
    return i_s / reverse * (1 - forward * reverse)


def _law(transistor, beta):
    """Saturation current and 1/reverse gain at 300 K, written out anew; what germanium leaks beyond its own is a diode's."""
    gap = transistor.energy_gap * 1.602176634e-19 / 1.380649e-23
    i_s = transistor.current_saturation * (T / 300) ** 3 * np.exp(gap * (1 / 300 - 1 / T))
    leak = transistor.current_collector_base_leakage.typical if transistor.material == "germanium" else 0.0
    beyond = max(leak - _own_leak(i_s, beta, transistor.current_gain_reverse), 0.0)
    return i_s, 1 / transistor.current_gain_reverse + beyond / i_s


def _by_root_finder(transistor, vbb, rb, vcc, rc, vee, re, beta):
    """Solve both junction voltages of the Ebers-Moll circuit by two nested bracketing searches."""
    i_s, r = _law(transistor, beta)

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
    point = _divider(transistor=transistor, **stage)
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
        point = _two_supplies(
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
        point = _base(
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
    i_s, r = _law(BJT_2N3904, 1.0)  # silicon's leakage is not counted, whatever the gain
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
        point = _feedback(
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
    point = _divider(transistor=BJT_BC549C, **stage)
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
    npn = _divider(transistor=BJT_2N3904, **stage)
    pnp = _divider(transistor=replace(BJT_2N3904, polarity="pnp"), **stage)
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
    plus = _two_supplies(transistor=BJT_2N3904, **two)
    minus = _two_supplies(transistor=replace(BJT_2N3904, polarity="pnp"), **two)
    assert minus.voltage_emitter == -plus.voltage_emitter > 0


IDEAL = replace(METER_CHEAP, resistance_meter=INF)
STAGE = {
    "resistance_top": 68e3,
    "resistance_bottom": 15e3,
    "resistance_collector": 4.7e3,
    "resistance_emitter": 1e3,
    "current_gain": 200,
    "transistor": BJT_2N3904,
}


def _stage(**changes):
    return _divider(9.0, **(STAGE | changes))


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
    dead = _divider(0.0, **STAGE)
    assert dead.current_collector == pytest.approx(0.0, abs=1e-15) and dead.region == "cut off"


def test_open_base_and_emitter_resistors_leave_nodes_floating_quietly():
    common = {"voltage_base_supply": 9.0, "resistance_collector": 4.7e3, "current_gain": 200, "transistor": BJT_2N3904}
    floating = _base(9.0, resistance_base=INF, resistance_emitter=1e3, **common)
    assert floating.current_base == 0 and floating.region == "cut off"
    assert floating.voltage_emitter == pytest.approx(0.0, abs=1e-6)
    both = _base(9.0, resistance_base=INF, resistance_emitter=INF, **common)
    assert both.current_base == both.current_emitter == 0
    feedback = _feedback(
        9.0,
        resistance_feedback=1e6,
        resistance_collector=INF,
        resistance_emitter=100.0,
        current_gain=200,
        transistor=BJT_2N3904,
    )
    assert feedback.current_collector == pytest.approx(0.0, abs=1e-12)
    assert feedback.voltage_emitter == pytest.approx(0.0, abs=1e-9)
    diode = _feedback(
        9.0,
        resistance_feedback=0.0,
        resistance_collector=10e3,
        resistance_emitter=0.0,
        current_gain=200,
        transistor=BJT_2N3904,
    )
    assert diode.voltage_collector == pytest.approx(diode.voltage_base, abs=1e-9)


def test_deep_saturation_keeps_the_books():
    point = _base(
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
    # On both sides of three hundredths: the softer the divider, the further off the shortcut.
    for softer, told in ((-1e-3, False), (1e-3, True)):
        size = brentq(
            lambda k, wanted=0.03 + softer: _stage(resistance_top=k * 6.8e3, resistance_bottom=k * 1.5e3).error_stiff - wanted,
            1.0, 20.0,
        )  # fmt: skip
        soft = _stage(resistance_top=size * 6.8e3, resistance_bottom=size * 1.5e3)
        assert any("shortcut" in caution.what for caution in soft.cautions) == told
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
    high = _divider(60.0, **(STAGE | {"resistance_bottom": 1e3}))
    assert any("collector-emitter voltage" in caution.what for caution in high.cautions)


def test_silicon_junction_falls_two_millivolts_a_kelvin():
    # Common textbook figure for silicon near room temperature: -2 mV/K (FLOYD-DEVICES and others).
    cold, warm = _stage(temperature=300.0), _stage(temperature=310.0)
    slope = (warm.voltage_base_emitter - cold.voltage_base_emitter) / 10
    assert -2.3e-3 < slope < -1.6e-3


def test_open_base_current_of_germanium_is_iceo():
    leaky = replace(BJT_AC128, current_collector_base_leakage=Spread(np.nan, 5e-6, np.nan), current_gain_reverse=1e12)
    point = _base(
        9.0,
        voltage_base_supply=0.0,
        resistance_base=INF,
        resistance_collector=100.0,
        resistance_emitter=0.0,
        current_gain=99,
        transistor=leaky,
    )
    assert point.current_collector == pytest.approx(5e-6 * 100, rel=1e-9)
    hot = _divider(9.0, **(STAGE | {"transistor": leaky, "temperature": 318.15}))
    cool = _divider(9.0, **(STAGE | {"transistor": leaky, "temperature": 300.0}))
    assert hot.current_collector > cool.current_collector * 1.05
    assert cool.current_base < hot.current_collector / 99


def _kirchhoff(transistor, temperature, beta, resistance_base, rc, re, *, feedback, start):
    """Solve base, collector and emitter voltage on 9 V by Kirchhoff's current law, both junctions, in 40 digits."""
    mp.mp.dps = 40
    part = devices.typical(transistor)
    gap = part.energy_gap * 1.602176634e-19 / 1.380649e-23
    i_s = part.current_saturation * (temperature / 300) ** 3 * np.exp(gap * (1 / 300 - 1 / temperature))
    leak = part.current_collector_base_leakage * 2 ** ((temperature - T) / part.temperature_doubling)
    beyond = max(leak - _own_leak(i_s, beta, part.current_gain_reverse), 0.0)
    i_s, beyond, vt = mp.mpf(i_s), mp.mpf(beyond), mp.mpf(part.ideality * VT * temperature / T)
    through = mp.mpf(0) if np.isinf(resistance_base) else 1 / mp.mpf(resistance_base)

    def kirchhoff(vb, vc, ve):
        e1, e2 = i_s * mp.expm1((vb - ve) / vt), i_s * mp.expm1((vb - vc) / vt)
        back = e2 / part.current_gain_reverse + beyond * mp.expm1((vb - vc) / vt)  # and the leakage's own diode
        ib, ic = e1 / beta + back, e1 - e2 - back
        from_top = ((vc if feedback else 9) - vb) * through
        return [from_top - ib, (9 - vc) / rc - ic - (from_top if feedback else 0), ve - re * (ib + ic)]

    return [float(volts) for volts in mp.findroot(kirchhoff, start, tol=1e-28, maxsteps=300)]


@pytest.mark.parametrize("transistor", [BJT_AC128, BJT_OC44], ids=["AC128", "OC44"])
@pytest.mark.parametrize("feedback", [True, False], ids=["collector feedback", "base resistor"])
def test_leakage_saturates_a_germanium_stage_with_its_base_open_or_nearly_so(transistor, feedback):
    saturated = 0
    for temperature, rc, re, beta, rb in itertools.product(
        (300.0, 323.15), (1e3, 10e3, 100e3), (0.0, 220.0), (70.0, 300.0), (INF, 1e9, 22e6)
    ):
        common = {
            "resistance_collector": rc,
            "resistance_emitter": re,
            "current_gain": beta,
            "transistor": transistor,
            "temperature": temperature,
        }
        if feedback:
            point = _feedback(9.0, resistance_feedback=rb, **common)
        else:
            point = _base(9.0, voltage_base_supply=9.0, resistance_base=rb, **common)
        got = [9 - point.voltage_base, 9 - point.voltage_collector, 9 - point.voltage_emitter]  # of a PNP
        vb, vc, ve = _kirchhoff(transistor, temperature, beta, rb, rc, re, feedback=feedback, start=got)
        assert got == pytest.approx([vb, vc, ve], abs=1e-9)
        assert -point.voltage_collector_emitter == pytest.approx(vc - ve, abs=1e-9)
        # Saturated where the collector takes less than its junction in full reverse would let through, by a twentieth.
        blocked = _kirchhoff(transistor, temperature, beta, rb, 1e-3, re, feedback=feedback, start=[ve + 0.2, 9, ve])
        short = 1 - ((9 - vc) / rc) / ((9 - blocked[1]) / 1e-3)
        if re == 0 and np.isinf(rb) and abs(short - 0.05) > 0.01:
            assert (point.region == "saturated") == (short > 0.05)
        saturated += point.region == "saturated"
    assert 10 < saturated < 60


@pytest.mark.parametrize("kind", [BJT_AC128, BJT_OC44], ids=["AC128", "OC44"])
@pytest.mark.parametrize("ohms", [2.2e3, 100e3], ids=["active", "saturated"])
def test_open_base_of_a_part_with_resistance_obeys_its_law(kind, ohms):
    """Put back into the branch law: no base current, and the collector's is that of its resistor."""
    part = replace(devices.typical(kind), resistance_series=100.0, current_collector_base_leakage=40e-6)
    point = _base(
        9.0, voltage_base_supply=0.0, resistance_base=INF, resistance_collector=ohms, resistance_emitter=100.0,
        transistor=part, current_gain=12.0,
    )  # fmt: skip
    part = replace(part, current_gain=12.0)
    nodes = {name: getattr(point, name) for name in ("voltage_base", "voltage_collector", "voltage_emitter")}
    found = laws.bipolar(transistor=part, **nodes)
    assert found.region == point.region == ("active" if ohms < 1e4 else "saturated")
    assert found.current_base == pytest.approx(0, abs=1e-11)
    assert -found.current_collector == pytest.approx(point.current_collector, rel=1e-9)
    assert point.voltage_collector / ohms == pytest.approx(point.current_collector, rel=1e-12)


@pytest.mark.parametrize("resistance_series", [0.0, 3.0])
def test_room_to_swing_down_ends_where_the_law_saturates(resistance_series):
    """The same base-emitter voltage, the collector brought down by that room: active above it, saturated below."""
    part = replace(devices.typical(BJT_2N3904), resistance_series=resistance_series, current_gain=STAGE["current_gain"])
    point = _stage(transistor=part)
    nodes = {"voltage_base": point.voltage_base_emitter, "voltage_emitter": 0.0, "transistor": part}
    edge = point.voltage_collector_emitter - point.swing_down
    above, under = (laws.bipolar(voltage_collector=edge + off, **nodes).region for off in (1e-6, -1e-6))
    assert (above, under) == ("active", "saturated")


def test_open_base_without_leakage_or_with_endless_gain():
    parts = {"resistance_feedback": INF, "resistance_collector": 10e3, "resistance_emitter": 0.0}
    silicon = _feedback(9.0, **parts, current_gain=200, transistor=BJT_2N3904)
    assert silicon.region == "cut off" and silicon.voltage_collector == pytest.approx(9.0, abs=1e-6)
    # Whatever leaks is amplified without end: the resistor alone limits it, and the collector junction idles.
    endless = _feedback(9.0, **parts, current_gain=INF, transistor=BJT_AC128)
    large = _feedback(9.0, **parts, current_gain=1e9, transistor=BJT_AC128)
    assert endless.voltage_collector_emitter == pytest.approx(large.voltage_collector_emitter, abs=1e-6)
    assert endless.voltage_collector_emitter == pytest.approx(endless.voltage_base_emitter, abs=1e-12)
    assert large.region == "saturated"


@pytest.mark.parametrize("kelvin", [293.15, 303.0, 313.0])
def test_small_signal_figures_of_leaky_germanium_are_the_slopes_of_the_law(kelvin):
    # The leakage flows in the base lead but does not follow the base voltage: VT/IB counted it as if it did.
    beta, vt = 90.0, 1.380649e-23 * kelvin / 1.602176634e-19
    point = _base(
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
    leak = laws.at_temperature(devices.typical(BJT_AC128), temperature=kelvin).current_collector_base_leakage
    # beyond the leakage flows the transport current plus Is (1 + 1/beta_r), 0.2 % here
    assert point.resistance_base_emitter == pytest.approx(beta * vt / (point.current_collector - leak), rel=0.02)
    assert point.current_base < 0 or vt / point.current_base > 1.2 * point.resistance_base_emitter


def test_nothing_at_all_is_no_minus_nothing():
    """No supply and an open base: every figure is 0 and none is written with a minus sign."""
    for stage in (
        _feedback(0.0, resistance_feedback=INF, resistance_collector=4.7e3, resistance_emitter=100.0, transistor=BJT_2N3904),
        _base(0.0, voltage_base_supply=0.0, resistance_base=INF, resistance_collector=4.7e3, resistance_emitter=100.0, transistor=BJT_2N3904),
    ):  # fmt: skip
        for name in ("voltage_base_emitter", "current_base", "current_collector", "current_emitter", "current_supply"):
            value = getattr(stage, name)
            assert value == 0 and not np.signbit(value), name


def test_meter_is_a_resistor_to_ground():
    stage = {key: value for key, value in STAGE.items() if key != "resistance_bottom"}
    meter = _readings(9.0, resistance_bottom=150e3, meter=METER_CHEAP, **stage)
    loaded = _divider(9.0, resistance_bottom=150e3 * 1e6 / 1.15e6, **stage)
    assert meter.voltage_base_read == pytest.approx(loaded.voltage_base, rel=1e-9)
    ideal = _readings(9.0, resistance_bottom=150e3, meter=IDEAL, **stage)
    true = _divider(9.0, resistance_bottom=150e3, **stage)
    assert (ideal.voltage_base_read, ideal.voltage_collector_read, ideal.voltage_emitter_read) == pytest.approx(
        (true.voltage_base, true.voltage_collector, true.voltage_emitter), rel=1e-9
    )
    active = {**STAGE, "meter": replace(METER_CHEAP, resistance_meter=10e3)}
    plain = _stage()
    shown = _readings(9.0, **active)
    assert shown.voltage_collector_read == pytest.approx(
        (9 * 10 / 14.7) - plain.current_collector * 4.7e3 * 10 / 14.7, rel=1e-6
    )
    mirrored = _readings(9.0, **(active | {"transistor": BJT_2N3906}))
    assert mirrored.voltage_collector_read == pytest.approx(
        _divider(9.0, **(STAGE | {"transistor": BJT_2N3906})).current_collector * 4.7e3 * 10 / 14.7, rel=1e-6
    )
    # By Thevenin's theorem the meter at an emitter is another supply and resistor: an npn's at ground, a pnp's below the plus.
    top, bottom, r_e = (STAGE[f"resistance_{name}"] for name in ("top", "bottom", "emitter"))
    share, behind = 10e3 / (10e3 + r_e), r_e * 10e3 / (10e3 + r_e)
    assert shown.voltage_emitter_read == pytest.approx(
        _divider(9.0, **(STAGE | {"resistance_emitter": behind})).voltage_emitter, rel=1e-9
    )
    base, plus = 9 * top / (top + bottom), 9 * share
    read = _base(
        plus, voltage_base_supply=plus - base, resistance_base=top * bottom / (top + bottom),
        resistance_collector=STAGE["resistance_collector"], resistance_emitter=behind, transistor=BJT_2N3906,
        **{name: value for name, value in STAGE.items() if name in ("current_gain", "temperature")},
    )  # fmt: skip
    assert mirrored.voltage_emitter_read == pytest.approx(read.voltage_emitter, rel=1e-6)


def _textbook(part, drop=0.7):
    """The same part with the constant base-emitter drop."""
    return replace(devices.typical(part), ideality=0.0, voltage_forward=drop)


@pytest.mark.parametrize("resistance_series", [0.0, 5.0])
@pytest.mark.parametrize("kind", [BJT_2N3904, BJT_2N3906], ids=["npn", "pnp"])
def test_constant_drop_obeys_both_loops_and_its_law(kind, resistance_series):
    stage = _random(9)
    part = replace(_textbook(kind), resistance_series=resistance_series, current_gain=stage.pop("current_gain"))
    point = bjt.divider_bias(transistor=part, **stage)
    assert {"active", "saturated", "cut off"} <= set(point.region)
    sign = 1.0 if part.polarity == "npn" else -1.0
    vcc = stage["voltage_supply"]
    base, collector, emitter = (
        value if sign > 0 else vcc - value
        for value in (point.voltage_base, point.voltage_collector, point.voltage_emitter)
    )
    # Kirchhoff at each node, from the printed volts.
    into = (vcc - base) / stage["resistance_top"] - base / stage["resistance_bottom"]
    np.testing.assert_allclose(into, point.current_base, rtol=1e-8, atol=1e-13)
    np.testing.assert_allclose((vcc - collector) / stage["resistance_collector"], point.current_collector, 1e-8, 1e-13)
    np.testing.assert_allclose(emitter / stage["resistance_emitter"], point.current_emitter, 1e-8, 1e-13)
    np.testing.assert_allclose(point.current_emitter, point.current_base + point.current_collector, 1e-9, 1e-15)
    # The two straight junctions, whose knee is the record's drop less what its series resistance takes.
    back = 1 / part.current_gain_reverse
    knee = part.voltage_forward - part.current_reference * resistance_series
    e2 = np.where(point.region == "saturated", np.maximum(base - collector - knee, 0.0), 0.0)
    active, saturated = point.region == "active", point.region == "saturated"
    transport = np.where(active, point.current_collector, np.nan)[active]
    np.testing.assert_allclose((base - emitter)[active], knee + transport * resistance_series, rtol=1e-9)
    np.testing.assert_allclose(point.current_base[active] * part.current_gain[active], transport, rtol=1e-7)
    if resistance_series:
        e2 = e2[saturated] / resistance_series
        e1 = ((base - emitter)[saturated] - knee) / resistance_series
        np.testing.assert_allclose(e1 - (1 + back) * e2, point.current_collector[saturated], rtol=1e-6)
        np.testing.assert_allclose(
            e1 / part.current_gain[saturated] + back * e2, point.current_base[saturated], rtol=1e-5
        )
    else:
        np.testing.assert_allclose(collector[saturated], emitter[saturated], atol=1e-9)
    off = point.region == "cut off"
    assert np.all((base - emitter)[off] <= knee) and np.all(point.current_collector[off] == 0)
    at_pins = 1 / (VT / transport + resistance_series)  # kT/q over the current, the series resistance before it
    np.testing.assert_allclose(point.transconductance[active], at_pins, rtol=1e-12)


def test_constant_drop_agrees_with_the_law_when_given_its_drop():
    point = _stage()
    rule = _stage(transistor=_textbook(BJT_2N3904, point.voltage_base_emitter))
    for name in (
        "current_base",
        "current_collector",
        "voltage_collector",
        "current_supply",
        "resistance_emitter_dynamic",
        "transconductance",
    ):
        assert getattr(rule, name) == pytest.approx(getattr(point, name), rel=1e-6), name


def test_constant_drop_saturates_and_cuts_off():
    part = replace(_textbook(BJT_2N3904), current_gain=200.0)
    base = {"voltage_base_supply": 9.0, "resistance_base": 47e3, "transistor": part}
    full = bjt.base_bias(9.0, resistance_collector=4.7e3, resistance_emitter=470.0, **base)
    assert full.region == "saturated" and full.voltage_collector_emitter == pytest.approx(0.0, abs=1e-12)
    assert full.voltage_collector == pytest.approx(9 - full.current_collector * 4.7e3)
    open_c = bjt.base_bias(9.0, resistance_collector=INF, resistance_emitter=470.0, **base)
    assert open_c.current_collector == 0 and open_c.region == "saturated"
    assert open_c.current_emitter == pytest.approx(8.3 / (47e3 + 470))
    straight = bjt.base_bias(9.0, resistance_collector=0.0, resistance_emitter=0.0, **base)
    assert straight.region == "active" and straight.voltage_collector == 9
    off = bjt.base_bias(
        9.0, resistance_collector=4.7e3, resistance_emitter=INF, **(base | {"voltage_base_supply": 0.3})
    )
    assert off.region == "cut off" and off.current_collector == 0 and off.resistance_emitter_dynamic == INF
    weak = bjt.collector_feedback_bias(
        0.5, resistance_feedback=1e6, resistance_collector=10e3, resistance_emitter=0.0, transistor=part
    )
    assert weak.region == "cut off"


@pytest.mark.parametrize("broken", ["resistance_feedback", "resistance_collector", "resistance_emitter"])
def test_open_collector_feedback_rests_where_the_law_leaves_it(broken):
    parts = {"resistance_feedback": 1e6, "resistance_collector": 1e4, "resistance_emitter": 100.0}
    parts[broken] = np.inf
    rule = bjt.collector_feedback_bias(9.0, **parts, transistor=_textbook(BJT_2N3904))
    exact = bjt.collector_feedback_bias(9.0, **parts, transistor=devices.typical(BJT_2N3904))
    assert rule.region == exact.region == "cut off"
    for name in ("voltage_base", "voltage_collector", "voltage_emitter", "swing_up"):
        np.testing.assert_allclose(getattr(rule, name), getattr(exact, name), atol=0.1)
    # The law saturates with 0.15 to 0.2 V left, a constant drop with none.
    np.testing.assert_allclose(rule.swing_down, exact.swing_down, atol=0.2)


@pytest.mark.parametrize("kelvin", [300.0, 320.0])
@pytest.mark.parametrize(
    "part",
    [devices.typical(BJT_2N3904), devices.typical(BJT_2N3906), devices.typical(BJT_AC128), _textbook(BJT_2N3904)],
    ids=["npn", "pnp", "germanium", "constant drop"],
)
def test_designs_are_undone_by_the_bias_functions(part, kelvin):
    part = replace(part, current_gain=150.0, resistance_series=2.0)
    wanted = np.array([0.5e-3, 0.9e-3]) if part.material == "silicon" else np.array([2.5e-3, 3.5e-3])
    device = {"transistor": part, "temperature": kelvin}
    ohms = bjt.base_resistor(wanted, voltage_base_supply=9.0, resistance_emitter=470.0, **device)
    back = bjt.base_bias(
        9.0, voltage_base_supply=9.0, resistance_base=ohms, resistance_collector=1e3, resistance_emitter=470.0, **device
    )
    np.testing.assert_allclose(back.current_emitter, wanted, rtol=1e-9)
    ohms = bjt.feedback_resistor(
        wanted, voltage_supply=9.0, resistance_collector=2e3, resistance_emitter=100.0, **device
    )
    back = bjt.collector_feedback_bias(
        9.0, resistance_feedback=ohms, resistance_collector=2e3, resistance_emitter=100.0, **device
    )
    np.testing.assert_allclose(back.current_emitter, wanted, rtol=1e-9)


def test_designed_dividers_give_the_current_they_were_asked_for():
    part = replace(devices.typical(BJT_2N3904), current_gain=150.0)
    four = bjt.choose_divider_bias(1e-3, voltage_supply=9.0, transistor=part)
    resistors = {name: getattr(four, name) for name in ("resistance_top", "resistance_bottom")}
    resistors |= {"resistance_collector": four.resistance_collector, "resistance_emitter": four.resistance_emitter}
    stiff = bjt.divider_bias(9.0, **resistors, transistor=replace(part, current_gain=1e15))
    assert stiff.current_collector == pytest.approx(1e-3, rel=1e-9)
    assert stiff.voltage_collector_emitter == pytest.approx(4.5, rel=1e-9)
    stock = bjt.choose_divider_bias(1e-3, voltage_supply=9.0, transistor=BJT_2N3904, stock="E24")
    built = bjt.divider_bias(
        9.0,
        resistance_top=stock.resistance_top,
        resistance_bottom=stock.resistance_bottom,
        resistance_collector=stock.resistance_collector,
        resistance_emitter=stock.resistance_emitter,
        transistor=part,
    )
    assert built.current_collector == pytest.approx(1e-3, rel=0.1) and built.region == "active"
    design = bjt.choose_divider_bias(1e-3, voltage_supply=9.0, transistor=replace(part, current_gain=INF))
    assert np.isinf(design.resistance_top) and np.isinf(design.resistance_bottom)
    np.testing.assert_allclose([design.resistance_collector, design.resistance_emitter], [3.6e3, 900.0])
    ideal = replace(_textbook(BJT_2N3904), current_gain=INF)
    assert bjt.base_resistor(1e-3, voltage_base_supply=0.7, transistor=ideal) == 0
    assert bjt.base_resistor(1e-3, voltage_base_supply=9.0, transistor=ideal) == INF


def test_a_stage_without_collector_resistor_is_a_follower():
    parts = {"resistance_top": 470e3, "resistance_bottom": 470e3, "resistance_emitter": np.array([100.0, 1e4, 1e6])}
    part = replace(devices.typical(BJT_2N3904), current_gain=400.0)
    follower = bjt.divider_bias(9.0, resistance_collector=0.0, transistor=part, **parts)
    nearly = bjt.divider_bias(9.0, resistance_collector=1e-9, transistor=part, **parts)
    for field in ("voltage_base", "voltage_emitter", "voltage_collector", "current_collector"):
        np.testing.assert_allclose(getattr(follower, field), getattr(nearly, field), rtol=1e-9)
    # The emitter may rise until the transistor saturates, which it does with a few tenths of a volt left, and fall to ground.
    np.testing.assert_allclose(follower.swing_down, follower.voltage_emitter)
    left = 9.0 - follower.voltage_emitter - follower.swing_up
    assert np.all((left > 0.1) & (left < 0.25)) and np.all(nearly.swing_up < 1e-9)
    mixed = bjt.divider_bias(9.0, resistance_collector=np.array([0.0, 1e3, 0.0]), transistor=part, **parts)
    assert mixed.swing_down[0] == follower.swing_down[0] and mixed.swing_down[1] != follower.swing_down[1]
    pnp = bjt.divider_bias(9.0, resistance_collector=0.0, transistor=replace(part, polarity="pnp"), **parts)
    np.testing.assert_allclose(pnp.swing_up, follower.swing_down)
    thevenin = (4.5 - follower.voltage_base) / 235e3  # base current through both resistors side by side
    np.testing.assert_allclose(follower.voltage_emitter / parts["resistance_emitter"], 401 * thevenin, rtol=1e-6)


def test_a_pnp_between_two_supplies_mirrors_at_ground():
    rest = {"resistance_base": 100e3, "resistance_collector": 4.7e3, "resistance_emitter": 8.2e3}
    npn = devices.typical(BJT_2N3904)
    one = bjt.base_bias(9.0, voltage_base_supply=1.0, voltage_supply_emitter=9.0, transistor=npn, **rest)
    other = bjt.base_bias(
        9.0, voltage_base_supply=1.0, voltage_supply_emitter=9.0, transistor=replace(npn, polarity="pnp"), **rest
    )
    for name in ("voltage_base", "voltage_collector", "voltage_emitter"):
        assert getattr(other, name) == -getattr(one, name)
    # Two supplies are one of their sum, the base lifted by the lower one.
    lifted = bjt.base_bias(18.0, voltage_base_supply=10.0, transistor=npn, **rest)
    assert lifted.voltage_collector == pytest.approx(one.voltage_collector + 9.0, rel=1e-9)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: _stage(resistance_top=0.0, resistance_bottom=0.0), "shorts the supply"),
        (lambda: _stage(resistance_top=0.0, resistance_emitter=0.0), "nothing limits"),
        (lambda: _stage(resistance_emitter=0.0, current_gain=INF), "resistance_emitter must be above 0"),
        (lambda: _stage(transistor="2N3904"), "transistor"),
        (lambda: _stage(transistor=_textbook(BJT_2N3904), resistance_emitter=0.0, current_gain=INF), "nothing limits"),
        (
            lambda: _stage(transistor=replace(devices.typical(BJT_2N3904), ideality=np.array([0.0, 1.0]))),
            "for all units or for none",
        ),
        (
            lambda: bjt.base_bias(
                0.0,
                voltage_base_supply=9.0,
                resistance_base=0.0,
                resistance_collector=0.0,
                resistance_emitter=1e3,
                transistor=_textbook(BJT_2N3904),
            ),
            "resistance_collector must be above 0",
        ),
        (
            lambda: bjt.base_resistor(
                1e-2, voltage_base_supply=9.0, resistance_emitter=1e3, transistor=devices.typical(BJT_2N3904)
            ),
            "must drive current_wanted through the other resistors",
        ),
        (
            lambda: bjt.base_resistor(1e-6, voltage_base_supply=9.0, transistor=devices.typical(BJT_AC128)),
            "must be above the .* that transistor leaks",
        ),
        (lambda: bjt.base_resistor(1e-3, voltage_base_supply=9.0, transistor=BJT_2N3904), "devices.typical"),
        (
            lambda: bjt.choose_divider_bias(
                1e-3, voltage_supply=9.0, transistor=BJT_2N3904, fraction_emitter=0.6, fraction_transistor=0.5
            ),
            "together",
        ),
        (lambda: bjt.choose_divider_bias(1e-3, voltage_supply=0.7, transistor=BJT_2N3904), "voltage_supply"),
        (lambda: bjt.choose_divider_bias(1e-3, voltage_supply=9.0, transistor="2N3904"), "transistor"),
        (
            lambda: bjt.fit_bjt(1e-4, current_collector_open=2e-4, current_base=1e-5, transistor=BJT_AC128),
            "current_collector_open",
        ),
        (lambda: _readings(9.0, **STAGE, meter=10e6), "meter must be a Meter"),
    ],
)
def test_refusals(call, words):
    with pytest.raises((ValueError, TypeError), match=words):
        call()


def test_volts_that_swallow_those_of_the_junctions_are_refused():
    # an open collector stands at a junction's volts from the emitter, which 1e99 V in 16 digits do not show
    with pytest.raises(ValueError, match="voltage_supply and resistance_emitter must be small enough"):
        bjt.divider_bias(
            1e99, resistance_top=np.inf, resistance_bottom=15e3, resistance_collector=np.inf, resistance_emitter=1e99,
            transistor=devices.typical(BJT_2N3904),
        )  # fmt: skip
