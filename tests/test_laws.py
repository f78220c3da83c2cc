"""The laws of single parts, against outside solvers, differences and brute force."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from pedalcalc import devices, laws
from pedalcalc._result import ModelRangeWarning
from pedalcalc.laws import junctions

INF = float("inf")
BOLTZMANN, CHARGE = 1.380649e-23, 1.602176634e-19
VT = BOLTZMANN * 300 / CHARGE

RED = devices.typical(devices.LED_RED_GAASP)
DIODE = devices.typical(devices.DIODE_1N4148)
SCHOTTKY = devices.typical(devices.DIODE_1N5817)
ZENER = replace(devices.typical(devices.ZENER_BZX55C5V1), voltage_zener=6.8, current_test=5e-3, resistance_slope=20.0)
NPN = replace(devices.typical(devices.BJT_2N3904), current_gain=150.0)
PNP = replace(devices.typical(devices.BJT_2N3906), current_gain=150.0)
GERMANIUM = replace(devices.typical(devices.BJT_AC128), current_gain=90.0)
JFET = replace(devices.typical(devices.JFET_2N5457), current_drain_zero_bias=3e-3, voltage_gate_source_off=-1.8)
P_JFET = replace(devices.typical(devices.JFET_2N5460), current_drain_zero_bias=3e-3, voltage_gate_source_off=1.8)
MOSFET = devices.typical(devices.MOSFET_BS170)
P_MOSFET = devices.typical(devices.MOSFET_IRF9540)
OP_AMP = devices.typical(devices.OPAMP_TL072)
CELL = devices.typical(devices.LDR_NORP12)
COUPLER = devices.typical(devices.COUPLER_NSL28)

CALLS = {
    "junction": {"voltage": 1.7, "junction": RED, "temperature": 300.0},
    "junction_voltage": {"current": 0.002, "junction": RED, "temperature": 310.0},
    "junction_in_series": {"voltage": 9.0, "resistance": 3300.0, "junction": RED, "count": 2, "temperature": 300.0},
    "bipolar": {
        "voltage_base": 1.65,
        "voltage_collector": 5.0,
        "voltage_emitter": 1.0,
        "transistor": NPN,
        "temperature": 300.0,
    },
    "channel": {"voltage_gate": 0.1, "voltage_drain": 5.0, "voltage_source_pin": 0.6, "fet": JFET},
    "amplifier": {
        "voltage_noninverting": 4.5,
        "voltage_inverting": 4.499995,
        "voltage_output": 4.7,
        "voltage_positive": 9.0,
        "voltage_negative": 0.0,
        "op_amp": OP_AMP,
    },
    "cell": {"illuminance": 100.0, "cell": CELL, "temperature": 300.0},
    "cell_rates": {"conductance": 1e-3, "illuminance": 20.0, "cell": CELL, "temperature": 300.0},
    "at_temperature": {"record": DIODE, "temperature": 320.0},
}


def ideal(drop, resistance=0.0):
    """A textbook's diode: a constant drop, or two straight lines."""
    return replace(
        DIODE,
        voltage_forward=drop + 1e-3 * resistance,
        current_reference=1e-3,
        ideality=0.0,
        resistance_series=resistance,
    )


# --- junctions ---------------------------------------------------------------------------------------------------------


def _by_mpmath(record, volts, resistance=0.0, kelvin=300.0):
    """Solve V = n Vt ln(1 + I/Is) + I R with fifty digits, Is through the record's point at 300 K."""
    with mpmath.workdps(50):
        n, series = mpmath.mpf(record.ideality), mpmath.mpf(record.resistance_series)
        vt0 = mpmath.mpf(BOLTZMANN) * 300 / mpmath.mpf(CHARGE)
        at, drop = mpmath.mpf(record.current_reference), mpmath.mpf(record.voltage_forward)
        i_s = at / mpmath.expm1((drop - at * series) / (n * vt0))
        vt = vt0 * kelvin / 300
        if kelvin != 300:
            ratio = mpmath.mpf(kelvin) / 300
            gap = mpmath.mpf(record.energy_gap)
            i_s *= ratio ** (3 / n) * mpmath.exp((ratio - 1) * gap / (n * vt))
        total = series + mpmath.mpf(resistance)
        if total == 0:
            return float(i_s * mpmath.expm1(volts / (n * vt)))
        x = i_s * total / (n * vt)
        # W(z) of a huge z by its logarithm: w + ln w = ln z.
        log_z = mpmath.log(x) + x + mpmath.mpf(volts) / (n * vt)
        w = mpmath.lambertw(mpmath.exp(log_z)).real
        return float(w * n * vt / total - i_s)


@pytest.mark.parametrize("record", [RED, DIODE, SCHOTTKY], ids=lambda record: record.name)
@pytest.mark.parametrize("kelvin", [300.0, 260.0, 330.0])
def test_junction_against_fifty_digits(record, kelvin):
    for volts in (-20.0, -0.3, -1e-6, 1e-9, 0.05, 0.6, 1.8, 5.0, 30.0):
        exact = _by_mpmath(record, volts, kelvin=kelvin)
        assert laws.junction(volts, junction=record, temperature=kelvin).current == pytest.approx(exact, rel=1e-11)
        point = laws.junction_in_series(volts, resistance=1e3, junction=record, temperature=kelvin)
        exact = _by_mpmath(record, volts, 1e3, kelvin)
        assert point.current == pytest.approx(exact, rel=1e-11)
        assert point.voltage_resistor == pytest.approx(exact * 1e3, rel=1e-11)


def test_junction_against_an_independent_package():
    # pvlib, an open package for solar cells: its single-diode equation without light is this junction.
    from pvlib.pvsystem import i_from_v

    volts = np.linspace(0.3, 2.5, 40)
    theirs = -i_from_v(volts, 0.0, RED.current_saturation, RED.resistance_series, np.inf, RED.ideality * VT)
    np.testing.assert_allclose(laws.junction(volts, junction=RED).current, theirs, rtol=1e-9)


def test_large_drive_ends_in_the_straight_line_of_the_series_resistance():
    huge = laws.junction([1e3, 1e6, 1e12], junction=RED)
    np.testing.assert_allclose(np.diff(huge.current) / [1e6 - 1e3, 1e12 - 1e6], 1 / RED.resistance_series, rtol=1e-4)
    np.testing.assert_allclose(huge.conductance_dynamic[1:], 1 / RED.resistance_series, rtol=1e-6)
    assert laws.junction(-1e12, junction=RED).current == pytest.approx(-RED.current_saturation, rel=1e-12)


def test_the_record_s_point_lies_on_the_law():
    for record in (RED, DIODE, SCHOTTKY, NPN, JFET, MOSFET, ideal(0.7, 20.0)):
        branch = laws.junction(record.voltage_forward, junction=record)
        assert branch.current == pytest.approx(record.current_reference, rel=1e-9), record.name
        assert laws.junction_voltage(record.current_reference, junction=record) == pytest.approx(
            record.voltage_forward, rel=1e-12
        )


@pytest.mark.parametrize("record", [RED, DIODE, replace(DIODE, resistance_series=0.0), ZENER, ideal(0.7, 20.0)])
def test_slope_is_the_difference_quotient(record):
    volts = np.array([-8.0, -7.0, -0.2, -0.01, 0.0, 0.02, 0.5, 0.75, 0.9])
    step = 1e-6
    branch = laws.junction(volts, junction=record)
    ends = [laws.junction(volts + side * step, junction=record).current for side in (-1, 1)]
    scale = np.maximum(np.abs(branch.conductance_dynamic), 1e-12)
    np.testing.assert_allclose((ends[1] - ends[0]) / (2 * step) / scale, branch.conductance_dynamic / scale, atol=2e-5)


@pytest.mark.parametrize("record", [RED, DIODE, SCHOTTKY, ZENER, ideal(0.7, 20.0)], ids=lambda record: record.name)
@given(exponent=st.floats(-9, 0), kelvin=st.sampled_from([300.0, 280.0, 320.0]))
@settings(max_examples=40)
def test_voltage_and_current_are_inverse(record, exponent, kelvin):
    current = 10.0**exponent
    volts = laws.junction_voltage(current, junction=record, temperature=kelvin)
    assert laws.junction(volts, junction=record, temperature=kelvin).current == pytest.approx(current, rel=1e-9)


def test_constant_drop_and_two_straight_lines():
    # MALVINO-BATES ex. 5-12: 50 V, 2.2 kΩ and a drop of 2 V give 21.82 mA. SEDRA-SMITH ex. 3.5: 5 V, 1 kΩ, 0.65 V and 20 Ω
    # give 4.26 mA and 0.735 V.
    assert laws.junction_in_series(50, resistance=2200, junction=ideal(2.0)).current == pytest.approx(
        21.82e-3, abs=5e-6
    )
    two = laws.junction_in_series(5, resistance=1000, junction=ideal(0.65, 20.0))
    assert two.current == pytest.approx(4.26e-3, abs=5e-6) and two.voltage_junction == pytest.approx(0.735, abs=5e-4)
    assert two.resistance_dynamic == 20 and two.region == "forward"
    below = laws.junction_in_series([0.5, -3.0], resistance=1000, junction=ideal(0.65))
    np.testing.assert_array_equal(below.current, [0.0, 0.0])
    np.testing.assert_array_equal(below.voltage_junction, [0.5, -3.0])
    np.testing.assert_array_equal(below.resistance_dynamic, [INF, INF])
    assert list(below.region) == ["blocks", "blocks"]
    assert laws.junction(2.5, junction=ideal(2.0)).current == INF
    assert laws.junction(2.0, junction=ideal(2.0)).current == 0
    assert laws.junction_voltage([0.0, 1e-3], junction=ideal(2.0)).tolist() == [0.0, 2.0]
    # A junction of ever smaller ideality ends there.
    sharp = replace(ideal(0.65, 20.0), ideality=0.05)
    assert laws.junction_in_series(5, resistance=1000, junction=sharp).current == pytest.approx(two.current, rel=1e-3)
    with pytest.raises(ValueError, match=r"ideality of .* is too small"):
        laws.junction(0.7, junction=replace(ideal(0.65), ideality=1e-3))


def test_zener_obeys_its_sheet_forward_and_in_reverse():
    # 6.8 V at 5 mA with 20 Ω, on 10 V through 500 Ω: (10 - v)/500 = 5 mA + (v - 6.8)/20, v = 6.82692 V.
    assert laws.junction_voltage(-5e-3, junction=ZENER) == pytest.approx(-6.8, rel=1e-12)
    assert laws.junction(-6.8, junction=ZENER).current == pytest.approx(-5e-3, rel=1e-9)
    point = laws.junction_in_series(-10.0, resistance=500.0, junction=ZENER)
    assert point.voltage_junction == pytest.approx(-6.8269230769, rel=1e-9) and point.region == "breakdown"
    assert point.resistance_dynamic == pytest.approx(20.0)
    assert laws.junction_in_series(5.0, resistance=500.0, junction=ZENER).region == "forward"
    assert laws.junction_in_series(-6.0, resistance=500.0, junction=ZENER).region == "blocks"
    stiff = replace(ZENER, resistance_slope=0.0)
    assert laws.junction_in_series(-10.0, resistance=500.0, junction=stiff).voltage_junction == pytest.approx(-6.8)
    assert laws.junction_in_series(-10.0, resistance=0.0, junction=stiff).current == -INF
    assert laws.junction_voltage(-1.0, junction=stiff) == pytest.approx(-6.8)
    two = laws.junction_in_series(-20.0, resistance=500.0, junction=ZENER, count=2)
    assert two.voltage_junction == pytest.approx(2 * laws.junction_voltage(two.current, junction=ZENER), rel=1e-12)


@pytest.mark.parametrize("record", [RED, DIODE, ZENER, ideal(0.7, 20.0), ideal(0.7)], ids=lambda record: record.name)
@pytest.mark.parametrize("count", [1, 3])
def test_series_point_meets_the_branch_and_the_resistor(record, count):
    volts = np.array([-40.0, -9.0, -6.6, -0.5, -1e-9, 0.0, 1e-9, 0.3, 0.75, 2.5, 9.0, 60.0])[:, np.newaxis]
    ohms = np.array([0.1, 47.0, 3.3e3, 1e7])
    point = laws.junction_in_series(volts, resistance=ohms, junction=record, count=count)
    np.testing.assert_allclose(
        point.voltage_junction + point.voltage_resistor, np.broadcast_to(volts, (12, 4)), rtol=1e-12, atol=1e-20
    )
    np.testing.assert_allclose(point.voltage_resistor, point.current * ohms, rtol=1e-12)
    if record.ideality and record is not ZENER:
        back = laws.junction_voltage(np.maximum(point.current, -0.5 * record.current_saturation), junction=record)
        forward = point.current > -0.5 * record.current_saturation
        np.testing.assert_allclose(count * back[forward], point.voltage_junction[forward], rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(point.power_junction, point.current * point.voltage_junction, rtol=1e-12)
    assert np.all(point.resistance_dynamic >= 0)


def test_open_and_shorted_resistor():
    gap = laws.junction_in_series([9.0, -9.0], resistance=INF, junction=RED)
    np.testing.assert_array_equal(gap.current, [0.0, 0.0])
    np.testing.assert_array_equal(gap.voltage_resistor, [9.0, -9.0])
    np.testing.assert_array_equal(gap.voltage_junction, [0.0, 0.0])
    short = laws.junction_in_series(1.8, resistance=0.0, junction=RED)
    assert short.voltage_junction == 1.8 and short.current == laws.junction(1.8, junction=RED).current
    gap = laws.junction_in_series(-20.0, resistance=INF, junction=ZENER)
    assert gap.current == 0 and gap.region == "blocks"


def test_branch_for_solvers_says_the_same_without_checks():
    volts = np.linspace(-8, 3, 200)
    for record in (RED, DIODE, replace(DIODE, resistance_series=0.0), ZENER, ideal(0.7, 20.0)):
        law = junctions.figures(record, np.asarray(300.0))
        current, slope = junctions.branch(volts, law)
        branch = laws.junction(volts, junction=record)
        np.testing.assert_allclose(current, branch.current, rtol=1e-9, atol=1e-15 * float(law.saturation))
        np.testing.assert_array_equal(slope, branch.conductance_dynamic)


# --- bipolar transistors -----------------------------------------------------------------------------------------------


def _classic(record, vbe, vbc):
    """The injection form of the same model, alpha_F I_ES = alpha_R I_CS = Is: emitter and collector currents, npn."""
    beta, back = record.current_gain, record.current_gain_reverse
    forward, reverse = beta / (1 + beta), back / (1 + back)
    i_s = record.current_saturation
    i_f, i_r = i_s / forward * np.expm1(vbe / VT), i_s / reverse * np.expm1(vbc / VT)
    return i_f - reverse * i_r, forward * i_f - i_r


def _terminals(record, vbe, vbc, kelvin=300.0):
    return laws.bipolar(
        voltage_base=0.0, voltage_collector=-vbc, voltage_emitter=-vbe, transistor=record, temperature=kelvin
    )


@given(vbe=st.floats(-5, 0.75), vbc=st.floats(-9, 0.75))
@settings(max_examples=100)
def test_bipolar_is_the_injection_form_of_ebers_and_moll(vbe, vbc):
    found = _terminals(NPN, vbe, vbc)
    emitter, collector = _classic(NPN, vbe, vbc)
    scale = max(abs(emitter), abs(collector), NPN.current_saturation)
    assert found.current_emitter == pytest.approx(-emitter, rel=1e-9, abs=1e-12 * scale)
    assert found.current_collector == pytest.approx(collector, rel=1e-9, abs=1e-12 * scale)
    assert found.current_base + found.current_collector + found.current_emitter == pytest.approx(0, abs=1e-12 * scale)


@given(vbe=st.floats(-5, 0.8), vbc=st.floats(-9, 0.8), series=st.sampled_from([0.0, 1.0]))
@settings(max_examples=100)
def test_no_transistor_gives_power_away(vbe, vbc, series):
    for record in (NPN, GERMANIUM):
        record = replace(record, resistance_series=series)
        found = _terminals(record, vbe, vbc)
        power = -found.current_collector * vbc - found.current_emitter * vbe
        scale = abs(found.current_collector * vbc) + abs(found.current_emitter * vbe)
        assert power >= -1e-9 * scale - 1e-20 * record.current_saturation


def test_swapped_legs_leave_the_reverse_gain():
    swapped = laws.bipolar(voltage_base=0.65, voltage_collector=0.0, voltage_emitter=5.0, transistor=NPN)
    assert swapped.region == "reverse"
    assert swapped.current_emitter / swapped.current_base == pytest.approx(NPN.current_gain_reverse, rel=1e-6)
    right = laws.bipolar(voltage_base=0.65, voltage_collector=5.0, voltage_emitter=0.0, transistor=NPN)
    assert right.region == "active"
    assert right.current_collector / right.current_base == pytest.approx(150, rel=1e-6)


def test_pnp_is_the_mirror_image():
    mirrored = replace(NPN, polarity="pnp")
    for volts in ((0.65, 5.0, 0.0), (0.7, 0.1, 0.0), (0.65, 0.0, 5.0), (-1.0, 3.0, 0.0)):
        names = ("voltage_base", "voltage_collector", "voltage_emitter")
        plus = laws.bipolar(**dict(zip(names, volts, strict=True)), transistor=NPN)
        minus = laws.bipolar(**dict(zip(names, (-v for v in volts), strict=True)), transistor=mirrored)
        for name in ("current_base", "current_collector", "current_emitter"):
            assert getattr(minus, name) == -getattr(plus, name)
        for name in ("transconductance", "transconductance_reverse", "conductance_base_emitter"):
            assert getattr(minus, name) == getattr(plus, name)
        assert minus.region == plus.region
    assert (
        laws.bipolar(voltage_base=8.35, voltage_collector=2.0, voltage_emitter=9.0, transistor=PNP).region == "active"
    )


@pytest.mark.parametrize("record", [NPN, PNP, GERMANIUM, replace(NPN, resistance_series=2.0)], ids=lambda r: r.name)
def test_bipolar_slopes_are_difference_quotients(record):
    sign, step = (1 if record.polarity == "npn" else -1), 1e-7
    for forward in ((0.62, -4.0), (0.66, 0.55), (-3.0, 0.6), (0.1, -0.1)):
        be, bc = (sign * volts for volts in forward)
        here = _terminals(record, be, bc)
        for moved, base, collector in (
            ((step, 0.0), here.conductance_base_emitter, here.transconductance),
            ((0.0, step), here.conductance_base_collector, here.transconductance_reverse),
        ):
            up = _terminals(record, be + moved[0], bc + moved[1])
            down = _terminals(record, be - moved[0], bc - moved[1])
            for name, slope in (("current_base", base), ("current_collector", collector)):
                quotient = (getattr(up, name) - getattr(down, name)) / (2 * step)
                assert quotient == pytest.approx(slope, rel=1e-5, abs=1e-8), (forward, name)


def _leaks(record, *, open_pin, kelvin=300.0):
    """Collector current at 9 V of an npn with its base or its emitter open, found by bracketing."""

    def through(vbe):
        return getattr(_terminals(record, vbe, vbe - 9.0, kelvin), f"current_{open_pin}")

    vbe = brentq(through, -0.3, 0.3, xtol=1e-15)
    return _terminals(record, vbe, vbe - 9.0, kelvin).current_collector


def test_germanium_leaks_what_its_record_says():
    # By definition: Icbo flows with the emitter open. DERIVED: with the base open it is base current, Iceo = (1 + beta) Icbo.
    record = replace(GERMANIUM, polarity="npn")
    warm, icbo = 300 + record.temperature_doubling, record.current_collector_base_leakage
    assert _leaks(record, open_pin="emitter") == pytest.approx(icbo, rel=1e-9)
    assert _leaks(record, open_pin="base") == pytest.approx((1 + 90) * icbo, rel=1e-9)
    for open_pin in ("emitter", "base"):
        assert _leaks(record, open_pin=open_pin, kelvin=warm) / _leaks(record, open_pin=open_pin) == pytest.approx(2)
    # Less than its two junctions let through (EBERS-MOLL's Ico = Is (1 - alpha alpha_reverse)/alpha_reverse) none leaks.
    tight, alpha, reverse = replace(record, current_collector_base_leakage=1e-9), 90 / 91, 10 / 11
    ico = record.current_saturation / reverse * (1 - alpha * reverse)
    assert _leaks(tight, open_pin="emitter") == pytest.approx(ico, rel=1e-9)
    assert _leaks(tight, open_pin="base") == pytest.approx(91 * ico, rel=1e-9)


def test_a_solvers_wild_guesses_stay_numbers():
    # Beyond a million amperes a junction without series resistance goes on along its tangent, slope and all.
    for volts in (5.0, 1e3, -1e6, 1e99):
        wild = laws.bipolar(voltage_base=volts, voltage_collector=0.0, voltage_emitter=0.0, transistor=NPN)
        found = [
            getattr(wild, name) for name in ("current_base", "current_collector", "current_emitter", "transconductance")
        ]
        assert np.all(np.isfinite(found)), volts
    bare = replace(DIODE, resistance_series=0.0)
    edge = DIODE.ideality * VT * np.log(1e6 / bare.current_saturation)
    below, at, above = laws.junction(edge + np.array([-1e-6, 0.0, 1e-6]), junction=bare).current
    assert at - below == pytest.approx(above - at, rel=1e-4), "once differentiable"
    lower, upper = laws.junction(edge + np.array([1.0, 2.0]), junction=bare).current
    assert upper - lower == pytest.approx(laws.junction(edge + 3.0, junction=bare).conductance_dynamic, rel=1e-9)


def test_regions_of_a_bipolar_transistor():
    regions = {
        (0.65, 5.0, 0.0): "active",
        (0.65, 0.05, 0.0): "saturated",
        (0.65, 0.0, 5.0): "reverse",
        (0.2, 5.0, 0.0): "cut off",
        (np.nan, 5.0, 0.0): "unknown",
    }
    for (base, collector, emitter), region in regions.items():
        found = laws.bipolar(voltage_base=base, voltage_collector=collector, voltage_emitter=emitter, transistor=NPN)
        assert found.region == region


# --- field-effect transistors ------------------------------------------------------------------------------------------


def _shichman_hodges(k, vt, vgs, vds):
    """The textbook's three regions, drain and source told apart by hand."""
    if vds < 0:
        return -_shichman_hodges(k, vt, vgs - vds, -vds)
    u = vgs - vt
    if u <= 0:
        return 0.0
    return k * u**2 if vds >= u else k * vds * (2 * u - vds)


@given(vgs=st.floats(-6, 4), vds=st.floats(-10, 10))
@settings(max_examples=200)
def test_channel_is_the_textbooks_three_regions_either_way_round(vgs, vds):
    k = 3e-3 / 1.8**2
    here = laws.channel(voltage_gate=vgs, voltage_drain=vds, voltage_source_pin=0.0, fet=JFET)
    assert here.current_drain == pytest.approx(_shichman_hodges(k, -1.8, vgs, vds), rel=1e-9, abs=1e-15)
    swapped = laws.channel(voltage_gate=vgs, voltage_drain=0.0, voltage_source_pin=vds, fet=JFET)
    assert swapped.current_drain == -here.current_drain
    mirrored = laws.channel(voltage_gate=-vgs, voltage_drain=-vds, voltage_source_pin=0.0, fet=P_JFET)
    assert mirrored.current_drain == -here.current_drain and mirrored.region == here.region
    assert here.conductance_source == pytest.approx(here.conductance_drain + here.transconductance, abs=1e-15)
    step = 1e-6
    for name, slope in (
        ("voltage_gate", here.transconductance),
        ("voltage_drain", here.conductance_drain),
        ("voltage_source_pin", -here.conductance_source),
    ):
        at = {"voltage_gate": vgs, "voltage_drain": vds, "voltage_source_pin": 0.0}
        up, down = (laws.channel(**(at | {name: at[name] + side * step}), fet=JFET).current_drain for side in (1, -1))
        assert (up - down) / (2 * step) == pytest.approx(slope, abs=4e-9)


def test_channel_published_points():
    # FLOYD-DEVICES ex. 7.3: IDSS 9 mA, VGS(off) -8 V, at -4 V 2.25 mA; BOYLESTAD-NASHELSKY ex. 8.2: 8 mA and -4 V
    # have a zero-bias transconductance of 4 mS; FLOYD-DEVICES ex. 7.14: 500 mA at 10 V with a 1 V threshold, 98.7 mA at 5 V.
    part = replace(JFET, current_drain_zero_bias=9e-3, voltage_gate_source_off=-8.0)
    found = laws.channel(voltage_gate=-4.0, voltage_drain=15.0, voltage_source_pin=0.0, fet=part)
    assert found.current_drain == pytest.approx(2.25e-3) and found.region == "constant current"
    part = replace(JFET, current_drain_zero_bias=8e-3, voltage_gate_source_off=-4.0)
    found = laws.channel(voltage_gate=0.0, voltage_drain=15.0, voltage_source_pin=0.0, fet=part)
    assert found.transconductance_zero_bias == found.transconductance == pytest.approx(4e-3)
    part = replace(MOSFET, voltage_threshold=1.0, transconductance_parameter=0.5 / 81)
    found = laws.channel(voltage_gate=5.0, voltage_drain=10.0, voltage_source_pin=0.0, fet=part)
    assert found.current_drain == pytest.approx(98.8e-3, abs=0.05e-3) and found.transconductance_zero_bias == 0


def test_power_mosfet_takes_its_channel_from_the_on_resistance():
    part = replace(P_MOSFET, transconductance_parameter=np.nan)
    small = 1e-6
    on = laws.channel(voltage_gate=-part.voltage_gate_on, voltage_drain=-small, voltage_source_pin=0.0, fet=part)
    assert -small / on.current_drain == pytest.approx(part.resistance_on, rel=1e-5)
    with pytest.raises(ValueError, match=r"resistance_on of .* is not known"):
        laws.channel(
            voltage_gate=0.0,
            voltage_drain=1.0,
            voltage_source_pin=0.0,
            fet=replace(part, resistance_on=np.nan),
        )


def test_regions_of_a_channel():
    for vds, vgs, region in (
        (5.0, 0.0, "constant current"),
        (0.5, 0.0, "ohmic"),
        (5.0, -2.0, "cut off"),
        (-5.0, 0.0, "ohmic"),
        (-5.0, -4.0, "constant current"),
        (np.nan, 0.0, "unknown"),
    ):
        found = laws.channel(voltage_gate=vgs, voltage_drain=vds, voltage_source_pin=0.0, fet=JFET)
        assert found.region == region, (vds, vgs)


# --- op-amps -----------------------------------------------------------------------------------------------------------


def _op_amp(**changes):
    return laws.amplifier(**(CALLS["amplifier"] | changes))


@pytest.mark.parametrize(("key", "rail", "way"), [("OPAMP_LM358", 9.0, 1.0), ("OPAMP_NE5532", 0.0, -1.0)])
def test_a_bias_current_ends_beyond_the_rail_to_which_it_leads(key, rail, way):
    """From 0.3 to 0.9 V beyond, in proportion; within the supply and beyond the other rail it is the sheet's."""
    part = devices.typical(getattr(devices, key))
    held = {"voltage_output": 4.0, "voltage_positive": 9.0, "voltage_negative": 0.0, "op_amp": part}
    for beyond, share in ((-10.0, 1.0), (0.2, 1.0), (0.6, 0.5), (0.75, 0.25), (0.9, 0.0), (50.0, 0.0)):
        seen = laws.amplifier(voltage_noninverting=rail + way * beyond, voltage_inverting=4.5, **held)
        assert seen.current_noninverting == pytest.approx(-way * share * part.current_bias, abs=1e-20)
        assert seen.current_inverting == pytest.approx(-way * part.current_bias)
        five = [
            getattr(seen, f"current_{pin}") for pin in ("noninverting", "inverting", "output", "positive", "negative")
        ]
        assert sum(five) == pytest.approx(0.0, abs=1e-15)


def test_amplifier_between_its_limits():
    linear = _op_amp()
    assert linear.region == "linear" and linear.predictable
    assert linear.voltage_internal == pytest.approx(4.5 + OP_AMP.gain_open_loop * 5e-6, rel=1e-6)
    assert linear.current_output == pytest.approx((4.7 - linear.voltage_internal) / OP_AMP.resistance_output_open)
    moved = replace(OP_AMP, voltage_offset_signed=-5e-6)
    assert _op_amp(op_amp=moved).voltage_internal == pytest.approx(4.5, abs=1e-9), "the offset stands against the input"
    top = _op_amp(voltage_inverting=4.4, voltage_output=7.0)
    assert top.region == "at the top" and top.voltage_internal == 9.0 - OP_AMP.headroom_top
    bottom = _op_amp(voltage_inverting=4.6, voltage_output=2.0)
    assert bottom.region == "at the bottom" and bottom.voltage_internal == OP_AMP.headroom_bottom
    assert bottom.current_output > 0, "a sinking output takes current"
    shorted = _op_amp(voltage_inverting=4.0, voltage_output=0.0, op_amp=replace(OP_AMP, current_output_max=20e-3))
    assert shorted.region == "current limit" and shorted.current_output == -20e-3
    without = _op_amp(voltage_inverting=4.0, voltage_output=0.0, op_amp=replace(OP_AMP, current_output_max=np.nan))
    assert without.current_output == pytest.approx(-7.5 / OP_AMP.resistance_output_open)
    assert _op_amp(voltage_noninverting=np.nan).region == "unknown"


@given(
    plus=st.floats(0, 9),
    minus=st.floats(0, 9),
    near=st.floats(-1e-5, 1e-5),
    out=st.floats(0, 9),
    bottom=st.floats(-9, 3),
)
@settings(max_examples=100)
def test_amplifier_keeps_the_books_and_its_slopes(plus, minus, near, out, bottom):
    for inverting in (minus, plus + near):
        at = {
            "voltage_noninverting": plus,
            "voltage_inverting": inverting,
            "voltage_output": out,
            "voltage_positive": 9.0,
            "voltage_negative": bottom,
        }
        for part in (OP_AMP, devices.typical(devices.OPAMP_NE5532)):
            here = laws.amplifier(**at, op_amp=part)
            into = (
                here.current_output,
                here.current_noninverting,
                here.current_inverting,
                here.current_positive,
                here.current_negative,
            )
            assert sum(into) == pytest.approx(0, abs=1e-15 + 1e-12 * max(map(abs, into)))
            assert here.current_positive > 0 > here.current_negative
        law = laws.amplifiers.amplifier_figures(OP_AMP)
        core = laws.amplifiers.amplifier_branch(*(np.asarray(x) for x in (plus - inverting, out, 9.0, bottom)), law)
        here = laws.amplifier(**at, op_amp=OP_AMP)
        steps = {
            "voltage_noninverting": 1e-9,
            "voltage_output": 1e-4,
            "voltage_positive": 1e-4,
            "voltage_negative": 1e-4,
        }
        slopes = {
            "voltage_noninverting": core.given_by_inputs,
            "voltage_output": core.given_by_output,
            "voltage_positive": core.given_by_positive,
            "voltage_negative": core.given_by_negative,
        }
        for name, step in steps.items():
            ends = [laws.amplifier(**(at | {name: at[name] + side * step}), op_amp=OP_AMP) for side in (1, -1)]
            if not (ends[0].region == ends[1].region == here.region):
                continue  # a corner between them
            quotient = (ends[1].current_output - ends[0].current_output) / (2 * step)
            assert quotient == pytest.approx(float(slopes[name]), rel=1e-4, abs=1e-8), name


def test_a_supply_below_both_headrooms_leaves_one_voltage():
    part = replace(OP_AMP, headroom_top=1.5, headroom_bottom=1.0)
    for plus in (0.4, 0.6):
        dead = _op_amp(
            voltage_noninverting=plus, voltage_inverting=0.5, voltage_output=0.0, voltage_positive=1.0, op_amp=part
        )
        assert dead.voltage_internal == pytest.approx(1.0 * 1.0 / 2.5)


def test_inputs_beyond_the_range_are_not_predictable_unless_the_type_is_known_to_behave():
    low = {"voltage_noninverting": 1.0, "voltage_inverting": 1.1}
    assert OP_AMP.below_input_range == "turns phase"
    assert _op_amp(**low).region == "not predictable" and not _op_amp(**low).predictable
    good = replace(OP_AMP, below_input_range="keeps phase")
    assert _op_amp(**low, op_amp=good).region == "at the bottom" and _op_amp(**low, op_amp=good).predictable
    high = {"voltage_noninverting": 9.5, "voltage_inverting": 9.4}
    assert _op_amp(**high, op_amp=replace(OP_AMP, above_input_range="not known")).region == "not predictable"


# --- photocells --------------------------------------------------------------------------------------------------------


def test_cell_at_the_sheets_two_levels_and_back():
    # LDR-232-3816: 9 kΩ at 10 lx beside 1 MΩ dark, 400 Ω at 1000 lx.
    found = laws.cell([10.0, 1000.0], cell=CELL)
    np.testing.assert_allclose(found.resistance_cell, [1 / (1 / 9e3 + 1 / 1e6), 400.0], rtol=1e-3)
    back = laws.cell(resistance_cell=found.resistance_cell, cell=CELL)
    np.testing.assert_allclose(back.illuminance, [10.0, 1000.0], rtol=1e-9)
    dark = laws.cell(resistance_cell=[2e6, INF], cell=CELL)
    np.testing.assert_array_equal(dark.illuminance, [0.0, 0.0])
    np.testing.assert_allclose(dark.resistance_cell, 1e6)
    floored = replace(CELL, resistance_floor=60.0)
    assert laws.cell(resistance_cell=50.0, cell=floored).illuminance == INF
    assert laws.cell(resistance_cell=50.0, cell=floored).resistance_cell == 60.0
    for light in (0.5, 10.0, 300.0):
        ends = laws.cell([light * (1 - 1e-6), light * (1 + 1e-6)], cell=CELL).conductance
        slope = (ends[1] - ends[0]) / (2e-6 * light)
        assert laws.cell(light, cell=CELL).conductance_slope_light == pytest.approx(slope, rel=1e-6)
    assert laws.cell(0.0, cell=CELL).conductance_slope_light == INF
    assert laws.cell(0.0, cell=replace(CELL, gamma=1.0)).conductance_slope_light == pytest.approx(1 / 90e3)
    assert laws.cell(0.0, cell=replace(CELL, gamma=1.5)).conductance_slope_light == 0


def test_cell_rates_move_the_cell_as_the_sheet_times_it():
    # LDR-232-3816: 18 ms from the dark to 1.1 times the lit resistance at 10 lx, 48 ms from 1000 lx to ten times it.
    from scipy.integrate import solve_ivp

    lit = float(laws.cell(10.0, cell=CELL).conductance)

    def rising(_, g):
        return [float(laws.cell_rates(g[0], illuminance=10.0, cell=CELL).conductance_rate)]

    there = solve_ivp(rising, (0, 18e-3), [1e-6], rtol=1e-8, atol=1e-12).y[0][-1]
    assert lit / there == pytest.approx(1.1, rel=1e-3)

    def falling(_, g):
        return [float(laws.cell_rates(max(g[0], 0.0), illuminance=0.0, cell=CELL).conductance_rate)]

    start = float(laws.cell(1000.0, cell=CELL).conductance)
    there = solve_ivp(falling, (0, 48e-3), [start], rtol=1e-8, atol=1e-12).y[0][-1]
    assert start / there == pytest.approx(10.0, rel=2e-3)
    still = laws.cell_rates(1e-6, illuminance=0.0, cell=CELL)
    assert still.conductance_rate == 0 and still.time_constant_rise == still.time_constant_fall == INF


# --- temperature -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "record", [RED, DIODE, SCHOTTKY, ZENER, NPN, GERMANIUM, JFET, MOSFET], ids=lambda record: record.name
)
@pytest.mark.parametrize("kelvin", [250.0, 273.15, 318.0, 360.0])
def test_a_moved_record_is_the_law_at_that_temperature(record, kelvin):
    moved = laws.at_temperature(record, temperature=kelvin)
    for current in (1e-6, 1e-4, 1e-2):
        there = laws.junction_voltage(current, junction=record, temperature=kelvin)
        assert laws.junction_voltage(current, junction=moved) == pytest.approx(there, rel=1e-10)
    volts = np.linspace(-9.0, 0.8, 50)
    there = laws.junction(volts, junction=record, temperature=kelvin)
    here = laws.junction(volts, junction=moved)
    np.testing.assert_allclose(here.current, there.current, rtol=1e-8)
    np.testing.assert_allclose(here.conductance_dynamic, there.conductance_dynamic, rtol=1e-8, atol=1e-30)
    if record in (NPN, GERMANIUM):
        at = {"voltage_base": 0.6, "voltage_collector": 0.5, "voltage_emitter": 0.0}
        there, here = laws.bipolar(**at, transistor=record, temperature=kelvin), laws.bipolar(**at, transistor=moved)
        for name in ("current_base", "current_collector", "transconductance"):
            assert getattr(here, name) == pytest.approx(getattr(there, name), rel=1e-8)


def test_cells_and_couplers_that_are_moved():
    # SHEET-NSL28: 0.7 %/K of the whole coupler, LED above 5 mA.
    part = replace(COUPLER.cell, resistance_temperature_coefficient=0.007)
    warm = laws.at_temperature(part, temperature=320.0)
    for light in (0.0, 10.0, 1e4):
        cold = laws.cell(light, cell=part).resistance_cell
        assert laws.cell(light, cell=warm).resistance_cell == pytest.approx(1.14 * cold)
        assert laws.cell(light, cell=part, temperature=320.0).resistance_cell == pytest.approx(1.14 * cold)
    lamp = replace(COUPLER.led, light_temperature_coefficient=-0.005)
    both = laws.at_temperature(replace(COUPLER, cell=part, led=lamp), temperature=320.0)
    assert both.illuminance_reference == pytest.approx(0.9 * COUPLER.illuminance_reference)
    assert both.led.luminous_intensity == pytest.approx(0.9 * lamp.luminous_intensity)
    assert both.cell.resistance_10lx == pytest.approx(1.14 * part.resistance_10lx)
    for name, value, kelvin in (("resistance_temperature_coefficient", 0.007, 150.0),):
        with (
            pytest.warns(ModelRangeWarning),
            pytest.raises(ValueError, match=f"temperature must be .* {name}, got 150 K"),
        ):
            laws.at_temperature(replace(part, **{name: value}), temperature=kelvin)
    with pytest.raises(ValueError, match=r"temperature must be .* light_temperature_coefficient, got"):
        laws.at_temperature(replace(lamp, light_temperature_coefficient=-0.05), temperature=330.0)


def test_published_drifts():
    # FLOYD-DEVICES ex. 3.3: 8.2 V with 0.05 %/K, 35 K warmer: 8.343 V. Common practice: silicon falls 2 mV/K, its leakage
    # doubles every 10 K, here 5 nA to 640 nA in 70 K.
    part = replace(ZENER, voltage_zener=8.2, temperature_coefficient=5e-4)
    assert laws.at_temperature(part, temperature=335.0).voltage_zener == pytest.approx(8.343, abs=1e-3)
    leaky = replace(DIODE, current_leakage=5e-9)
    assert laws.at_temperature(leaky, temperature=370.0).current_leakage == pytest.approx(640e-9)
    drops = laws.junction_voltage(1e-3, junction=NPN, temperature=[295.0, 305.0])
    assert -2.2e-3 < np.diff(drops)[0] / 10 < -1.8e-3


def test_degrees_celsius_do_not_pass_for_kelvin():
    for call in (
        lambda t: laws.junction(0.6, junction=DIODE, temperature=t),
        lambda t: laws.junction_voltage(1e-3, junction=DIODE, temperature=t),
        lambda t: laws.junction_in_series(9.0, resistance=1e3, junction=DIODE, temperature=t),
        lambda t: laws.bipolar(**(CALLS["bipolar"] | {"temperature": t})),
        lambda t: laws.cell(10.0, cell=CELL, temperature=t),
        lambda t: laws.cell_rates(1e-3, illuminance=10.0, cell=CELL, temperature=t),
        lambda t: laws.at_temperature(DIODE, temperature=t),
    ):
        for odd in (25.0, 410.0, [300.0, 220.0]):
            # A cell's straight line ends before 25 K: refused as well, after the warning.
            with (
                pytest.warns(ModelRangeWarning, match=r"degrees Celsius plus 273\.15 are kelvin"),
                suppress(ValueError),
            ):
                call(odd)
        with pytest.raises(ValueError, match="temperature"):
            call(-5.0)
    assert laws.at_temperature(DIODE, temperature=300.0) is DIODE


# --- refusals ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: laws.junction(1.0, junction=devices.LED_RED_GAASP), "devices.typical"),
        (lambda: laws.junction_voltage(1e-3, junction=devices.DIODE_1N5817), "devices.typical"),
        (lambda: laws.junction_in_series(9.0, resistance=1e3, junction=devices.LED_BLUE), "devices.typical"),
        (lambda: laws.bipolar(**(CALLS["bipolar"] | {"transistor": devices.BJT_2N3904})), "devices.typical"),
        (lambda: laws.channel(**(CALLS["channel"] | {"fet": devices.JFET_2N5457})), "devices.typical"),
        (lambda: laws.amplifier(**(CALLS["amplifier"] | {"op_amp": devices.OPAMP_TL072})), "devices.typical"),
        (lambda: laws.cell(10.0, cell=devices.LDR_GL5528), "devices.typical"),
        (lambda: laws.cell_rates(1e-3, illuminance=10.0, cell=devices.LDR_GL5528), "devices.typical"),
        (lambda: laws.at_temperature(devices.BJT_2N3904, temperature=310.0), "devices.typical"),
        (lambda: laws.junction(1.0, junction=CELL), "junction must be"),
        (lambda: laws.channel(**(CALLS["channel"] | {"fet": NPN})), "fet must be"),
        (lambda: laws.at_temperature(OP_AMP, temperature=310.0), "record must be"),
        (lambda: laws.junction_voltage(-1.0, junction=RED), "no more flows in reverse"),
        (lambda: laws.junction_voltage(-1e-3, junction=ideal(0.7)), "no more flows in reverse"),
        (lambda: laws.junction_in_series(9.0, resistance=1e3, junction=RED, count=1.5), "count must be a whole number"),
        (lambda: laws.junction(1.0, junction=replace(DIODE, energy_gap=np.nan), temperature=310.0), "energy_gap of"),
        (
            lambda: laws.junction(-9.0, junction=replace(ZENER, temperature_coefficient=np.nan), temperature=310.0),
            "temperature_coefficient of",
        ),
        (lambda: laws.cell(cell=CELL), "not both"),
        (lambda: laws.cell(10.0, resistance_cell=1e3, cell=CELL), "not both"),
        (lambda: _op_amp(voltage_positive=-1.0), "voltage_positive must be at least voltage_negative"),
        (lambda: _op_amp(op_amp=replace(OP_AMP, gain_open_loop=INF)), "gain_open_loop of"),
        (lambda: _op_amp(op_amp=replace(OP_AMP, resistance_output_open=0.0)), "resistance_output_open of"),
    ],
)
def test_refusals(call, words):
    with pytest.raises((TypeError, ValueError), match=words):
        call()


@pytest.mark.parametrize("back", [0.2, 5.0])
def test_saturation_begins_where_the_collector_has_lost_a_twentieth(back):
    """The base current held, the collector brought down until its current is 5 % below that of a blocking junction."""
    part = replace(devices.typical(devices.BJT_2N3904), current_gain=200.0, current_gain_reverse=back)

    def at(collector):
        def missing(base):
            return (
                laws.bipolar(
                    transistor=part, voltage_base=base, voltage_collector=collector, voltage_emitter=0.0
                ).current_base
                - 1e-5
            )

        base = brentq(missing, 0.2, 0.9, xtol=1e-14)
        return laws.bipolar(transistor=part, voltage_base=base, voltage_collector=collector, voltage_emitter=0.0)

    high, low = 5.0, 0.01
    assert (at(high).region, at(low).region) == ("active", "saturated")
    for _ in range(50):
        middle = 0.5 * (high + low)
        high, low = (middle, low) if at(middle).region == "active" else (high, middle)
    assert at(high).current_collector / at(5.0).current_collector == pytest.approx(0.95, abs=1e-5)


def test_no_more_than_the_saturation_current_flows_in_reverse():
    part = devices.typical(devices.DIODE_1N4148)
    least = -float(part.current_saturation)
    assert laws.junction_voltage(0.999 * least, junction=part) < -0.2
    with pytest.raises(ValueError, match=r"^current must be at least -.* \(minus the saturation current\)"):
        laws.junction_voltage(1.001 * least, junction=part)
