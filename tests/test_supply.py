"""Supply: protection, filter, half-supply reference, battery, adaptor, regulators, current budget."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import sympy as sp
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.signal import freqs

from pedalcalc import devices, supply
from pedalcalc._result import ModelRangeWarning
from pedalcalc.devices import Spread
from tests.test_supply_budget import BUDGET

INF = float("inf")
SCHOTTKY = devices.typical(devices.DIODE_1N5817)
SILICON = devices.typical(devices.DIODE_1N4148)
RECTIFIER = devices.typical(devices.DIODE_1N4001)
SMOOTHER = dataclasses.replace(
    devices.capacitor(devices.typical(devices.CAPACITOR_ELECTROLYTIC), capacitance=100e-6, voltage_rating=25.0),
    loss_tangent=0.0,
    resistance_lead=0.5,
)
ZENER = dataclasses.replace(
    devices.typical(devices.ZENER_BZX55C5V1), voltage_zener=6.8, current_test=0.005, resistance_slope=20.0
)
SMALL_MOSFET = devices.typical(devices.MOSFET_BS250)
_DRAWS = (
    supply.Draw("op-amps", Spread(2e-3, 3e-3, 5e-3)),
    supply.Draw("indicator LED", Spread(1e-3, 2e-3, 3e-3)),
)
CALLS = {
    "series_diode": {"voltage_supply": 9.0, "current_load": 0.010, "resistance_load": 9e3, "diode": SCHOTTKY},
    "series_mosfet": {"voltage_supply": 9.0, "current_load": 0.020, "mosfet": SMALL_MOSFET},
    "shunt_diode": {
        "voltage_supply": 9.0,
        "current_load": 0.010,
        "resistance_series": 10.0,
        "current_fuse": 0.1,
        "diode": RECTIFIER,
    },
    "zener_regulator": {
        "voltage_supply": 12.0,
        "resistance": 220.0,
        "zener": ZENER,
        "current_load": 0.005,
        "resistance_load": 1e3,
        "current_zener_min": 0.001,
    },
    "supply_filter": {
        "voltage_supply": 9.0,
        "current_load": 0.010,
        "resistance_load": 9e3,
        "resistance_series": 100.0,
        "capacitor": SMOOTHER,
        "power_rating": 0.25,
        "voltage_ripple": 0.1,
        "frequency": 100.0,
    },
    "choose_filter": {
        "voltage_wanted": 8.0,
        "voltage_supply": 9.0,
        "current_load": 0.010,
        "voltage_ripple": 0.1,
        "voltage_ripple_wanted": 5e-3,
        "capacitor": devices.CAPACITOR_ELECTROLYTIC,
        "stock_resistance": "E12",
        "stock_capacitance": "E6",
        "frequency": 100.0,
    },
    "half_supply": {
        "voltage_supply": 9.0,
        "resistance_top": 10e3,
        "resistance_bottom": 12e3,
        "resistance_load": 1e6,
        "current_load": 1e-6,
        "capacitance": 47e-6,
        "tolerance": 0.05,
    },
    "battery_voltage": {
        "used": 0.5,
        "current_load": 0.010,
        "resistance_load": 900.0,
        "battery": devices.BATTERY_9V_ALKALINE,
    },
    "battery_life": {
        "current_load": 0.010,
        "resistance_load": 900.0,
        "voltage_end": 7.0,
        "battery": devices.BATTERY_9V_ALKALINE,
    },
    "voltage_budget": BUDGET,
    "adaptor_voltage": {"current_load": 0.010, "adaptor": devices.ADAPTOR_9V_UNREGULATED},
    "current_budget": {"draws": _DRAWS},
    "daisy_chain": {
        "budgets": (supply.current_budget(_DRAWS),),
        "current_available": 0.3,
        "resistance_lead": 0.2,
    },
}


def call(name, **changes):
    return getattr(supply, name)(**(CALLS[name] | changes))


def actions(result):
    return " ".join(caution.what for caution in result.cautions)


# Protection ------------------------------------------------------------------


@pytest.mark.parametrize("diode", [SCHOTTKY, RECTIFIER, SILICON])
def test_series_diode_against_a_bracketing_root_finder(diode):
    rng = np.random.default_rng(1)
    for supply_voltage, load in zip(rng.uniform(1, 18, 20), 10 ** rng.uniform(1, 6, 20), strict=True):
        found = supply.series_diode(voltage_supply=supply_voltage, resistance_load=load, diode=diode)
        nvt = diode.ideality * 1.380649e-23 * 300 / 1.602176634e-19

        def kirchhoff(current, load=load, nvt=nvt, volts=supply_voltage):
            return (
                nvt * np.log1p(current / diode.current_saturation) + current * (diode.resistance_series + load) - volts
            )

        assert found.current_load == pytest.approx(brentq(kirchhoff, 0, 20 / load, xtol=1e-18), rel=1e-9)
        same = supply.series_diode(voltage_supply=supply_voltage, current_load=found.current_load, diode=diode)
        assert same.voltage_output == pytest.approx(found.voltage_output, rel=1e-12)
        assert found.power == pytest.approx(found.voltage_drop * found.current_load, rel=1e-12)
        both = supply.series_diode(voltage_supply=supply_voltage, current_load=0.004, resistance_load=load, diode=diode)

        def node(current, load=load, nvt=nvt, volts=supply_voltage):
            drop = nvt * np.log1p(current / diode.current_saturation) + current * diode.resistance_series
            return 0.004 + (volts - drop) / load - current

        assert both.current_load == pytest.approx(brentq(node, 0, 0.004 + 20 / load, xtol=1e-18), rel=1e-9)


def test_series_diode_cautions():
    assert not call("series_diode").cautions
    assert "more current" in actions(call("series_diode", current_load=2.0))
    assert "reversed supply" in actions(call("series_diode", voltage_supply=18.0))
    assert "gets nothing" in actions(call("series_diode", voltage_supply=0.1))
    open_load = call("series_diode", current_load=0.0, resistance_load=INF)
    assert open_load.current_load == 0 and open_load.voltage_output == 9.0
    with pytest.raises(TypeError, match=r"devices\.typical"):
        call("series_diode", diode=devices.DIODE_1N4001)


def test_series_diode_of_ideality_0_is_the_textbook_drop():
    """The constant drop of the textbooks: 0.7 V off the supply, nothing below it."""
    plain = dataclasses.replace(RECTIFIER, voltage_forward=0.7, ideality=0.0, resistance_series=0.0)
    drawn = supply.series_diode(voltage_supply=9.0, current_load=0.010, diode=plain)
    assert drawn.voltage_output == pytest.approx(8.3)
    loaded = supply.series_diode(voltage_supply=[0.5, 9.0], resistance_load=1e3, diode=plain)
    np.testing.assert_allclose(loaded.voltage_output, [0.0, 8.3], atol=1e-15)
    np.testing.assert_allclose(loaded.current_load, [0.0, 8.3e-3], atol=1e-15)


def test_mosfet_drop_is_current_times_resistance_when_fully_on():
    part = devices.typical(devices.MOSFET_IRF9540)
    found = supply.series_mosfet(voltage_supply=10.0, current_load=0.02, mosfet=part)
    assert found.voltage_drop == pytest.approx(0.02 * part.resistance_on, rel=1e-3)


def test_mosfet_below_its_threshold_is_its_body_diode():
    part = SMALL_MOSFET
    found = supply.series_mosfet(voltage_supply=2.0, current_load=0.02, mosfet=part)
    nvt = part.ideality * 1.380649e-23 * 300 / 1.602176634e-19
    diode = nvt * np.log1p(0.02 / part.current_saturation) + 0.02 * part.resistance_series
    assert found.voltage_drop == pytest.approx(diode, rel=1e-9)
    assert "not fully on" in actions(found)


def test_mosfet_drop_satisfies_kirchhoff_between():
    part = SMALL_MOSFET
    volts = np.linspace(2.3, 5.0, 7)
    found = supply.series_mosfet(voltage_supply=volts, current_load=0.05, mosfet=part)
    nvt = part.ideality * 1.380649e-23 * 300 / 1.602176634e-19
    strength = 1 / (part.resistance_on * (part.voltage_gate_on - part.voltage_threshold))
    for supply_voltage, drop in zip(volts, found.voltage_drop, strict=True):
        overdrive = supply_voltage - part.voltage_threshold
        inside = min(drop, overdrive)
        channel = strength * (overdrive * inside - inside**2 / 2)
        body = brentq(
            lambda i, drop=drop: nvt * np.log1p(i / part.current_saturation) + i * part.resistance_series - drop, 0, 1
        )
        assert channel + body == pytest.approx(0.05, rel=1e-7)
    assert np.all(np.diff(found.voltage_drop) < 0)


def test_mosfet_cautions_and_no_current():
    assert call("series_mosfet", current_load=0.0).voltage_drop == 0
    assert "gate voltage" in actions(call("series_mosfet", voltage_supply=24.0))
    assert "more current" in actions(call("series_mosfet", current_load=0.5))
    assert "exceeds what" in actions(call("series_mosfet", voltage_supply=24.0))


def test_shunt_diode_cautions_and_balance():
    blown = call("shunt_diode")
    assert not blown.cautions
    assert blown.current_fault * 10.0 + blown.voltage_reverse == pytest.approx(9.0, rel=1e-12)
    nofuse = call("shunt_diode", current_fuse=INF)
    assert "there is no fuse" in actions(nofuse) and "carry 806 mA" in actions(nofuse)  # 9 V less a junction over 10 Ω
    assert "no fuse blows" not in actions(nofuse)
    many = call("shunt_diode", current_fuse=np.array([INF, 0.1, INF]), resistance_series=np.array([20.0, 1.0, 10.0]))
    (told,) = [caution for caution in many.cautions if "there is no fuse" in caution.what]
    assert "carry 806 mA" in told.what and told.count == 2  # the most of those that have none
    hot = next(caution for caution in nofuse.cautions if "gets hot" in caution.what)
    assert hot.value == pytest.approx(nofuse.power_resistor) and hot.value > 0.25
    assert "more than it is made for" in actions(call("shunt_diode", resistance_series=1.0))
    assert "more than the fuse carries" in actions(call("shunt_diode", current_load=0.2))


# Filter ----------------------------------------------------------------------


def test_filter_against_sympy_and_scipy_signal():
    s, r, c, e, load = sp.symbols("s r c e load", positive=True)
    v = sp.symbols("v")
    node = sp.solve(sp.Eq((1 - v) / r, v / load + v / (e + 1 / (s * c))), v)[0]
    numerator, denominator = sp.fraction(sp.simplify(node))
    values = {r: 47.0, c: 220e-6, e: 0.3, load: 680.0}
    f = np.geomspace(0.1, 1e6, 50)
    _, h = freqs(
        [float(x) for x in sp.Poly(numerator.subs(values), s).all_coeffs()],
        [float(x) for x in sp.Poly(denominator.subs(values), s).all_coeffs()],
        worN=2 * np.pi * f,
    )
    part = dataclasses.replace(SMOOTHER, capacitance=220e-6, resistance_lead=0.3)
    got = call("supply_filter", frequency=f, resistance_series=47.0, capacitor=part, resistance_load=680.0)
    np.testing.assert_allclose(got.gain_db, 20 * np.log10(np.abs(h)), rtol=1e-10)
    np.testing.assert_allclose(got.voltage_ripple, 0.1 * np.abs(h), rtol=1e-10)
    # Kirchhoff: what the resistor carries is what both loads draw.
    np.testing.assert_allclose(got.voltage_drop / 47.0, 0.010 + got.voltage_output / 680.0, rtol=1e-12)
    assert got.power == pytest.approx(got.voltage_drop**2 / 47.0, rel=1e-12)


def test_filter_limits():
    plain = {"resistance_load": INF}
    assert call("supply_filter", frequency=0.0, **plain).gain_db == 0
    still = call("supply_filter", frequency=INF, **plain)
    assert still.gain_db == pytest.approx(20 * np.log10(0.5 / 100.5), rel=1e-12)
    assert still.gain_floor_db == pytest.approx(still.gain_db, rel=1e-12)
    lossless = dataclasses.replace(SMOOTHER, resistance_lead=0.0)
    assert call("supply_filter", frequency=INF, capacitor=lossless, **plain).gain_db == -INF
    corner = call("supply_filter", **plain).frequency_corner
    at_corner = call("supply_filter", frequency=corner, capacitor=lossless, **plain)
    assert at_corner.gain_db == pytest.approx(-3.01, abs=0.03)
    none = call("supply_filter", resistance_series=0.0)
    assert none.gain_floor_db == 0 and none.gain_db == 0 and none.voltage_output == 9.0
    assert call("supply_filter", voltage_ripple=0.0).ripple_ratio == 0
    with pytest.raises(TypeError, match=r"devices\.typical"):
        call("supply_filter", capacitor=devices.CAPACITOR_ELECTROLYTIC)
    with pytest.raises(ValueError, match=r"devices\.capacitor"):
        call("supply_filter", capacitor=devices.typical(devices.CAPACITOR_ELECTROLYTIC))


def test_filter_cautions():
    assert not call("supply_filter").cautions
    weak = dataclasses.replace(SMOOTHER, voltage_max=6.3)
    assert "burst" in actions(call("supply_filter", capacitor=weak))
    assert "gets hot" in actions(call("supply_filter", current_load=0.06))
    assert "whole supply" in actions(call("supply_filter", current_load=0.1))


def test_chosen_filters_are_those_that_serve():
    """Every pair of a small drawer, judged by hand: sqrt(1 + (x ESR)²)/sqrt(1 + (x (R + ESR))²) with x = 2 pi f C."""
    ohms, farads = [10.0, 22.0, 47.0, 82.0, 100.0, 220.0], [47e-6, 100e-6, 220e-6, 470e-6, 1e-3]
    found = call("choose_filter", stock_resistance=ohms, stock_capacitance=farads, voltage_supply=(9.0, 9.6, 10.0))
    serve = []
    for r in ohms:
        for c in farads:
            x, esr = 2 * np.pi * 100 * c, max(0.24 / (2 * np.pi * 120 * c), 0.05)
            ripple = 0.1 * np.hypot(1, x * esr) / np.hypot(1, x * (r + esr))
            if 9.0 - 0.010 * r >= 8.0 - 1e-12 and ripple <= 5e-3:
                serve.append((c, r, ripple))
                break
    serve.sort()
    np.testing.assert_allclose(found.capacitance, [pair[0] for pair in serve])
    np.testing.assert_allclose(found.resistance_series, [pair[1] for pair in serve])
    np.testing.assert_allclose(found.voltage_ripple, [pair[2] for pair in serve], rtol=1e-12)
    np.testing.assert_allclose(found.voltage_output, 9.0 - 0.010 * found.resistance_series)
    with pytest.raises(ValueError, match="voltage_ripple_wanted"):
        call("choose_filter", voltage_ripple_wanted=1e-6)
    with pytest.raises(ValueError, match="stock_resistance"):
        call("choose_filter", stock_resistance=[1e3, 2.2e3])
    with pytest.raises(ValueError, match="voltage_wanted"):
        call("choose_filter", voltage_wanted=9.0)


# Half-supply reference -------------------------------------------------------


def test_half_supply_against_sympy():
    v, vs, t, b, load, i = sp.symbols("v vs t b load i", positive=True)
    node = sp.solve(sp.Eq((vs - v) / t, v / b + v / load + i), v)[0]
    values = {vs: 9.0, t: 10e3, b: 12e3, load: 1e6, i: 1e-6}
    found = call("half_supply")
    assert found.voltage_output == pytest.approx(float(node.subs(values)), rel=1e-12)
    assert found.resistance_thevenin == pytest.approx(float(-sp.diff(node, i).subs(values)), rel=1e-12)
    assert found.current == pytest.approx((9.0 - found.voltage_output) / 10e3, rel=1e-12)


def test_half_supply_settles_when_time_stepping_says_so():
    found = call("half_supply", tolerance=0.02, current_load=0.0)

    def charge(_, v):
        return ((9.0 - v) / 10e3 - v / 12e3 - v / 1e6) / 47e-6

    def inside(_, v):
        return v[0] - 0.98 * found.voltage_output

    inside.terminal = True
    run = solve_ivp(charge, (0, 10), [0.0], events=inside, rtol=1e-10, atol=1e-12)
    assert found.time_settle == pytest.approx(run.t_events[0][0], rel=1e-6)
    assert call("half_supply", tolerance=1.0).time_settle == 0


def test_half_supply_limits_and_cautions():
    assert call("half_supply", resistance_top=0.0, current_load=0.0).voltage_output == 9.0
    assert call("half_supply", resistance_top=INF, current_load=0.0).voltage_output == 0
    assert call("half_supply", resistance_bottom=0.0).voltage_output == 0
    open_below = call("half_supply", resistance_bottom=INF, resistance_load=INF, current_load=0.0)
    assert open_below.voltage_output == 9.0 and open_below.resistance_thevenin == 10e3
    # Without an upper resistor the supply feeds the lower one, the load and what is drawn straight.
    straight = call("half_supply", resistance_top=0.0, resistance_bottom=9e3, resistance_load=4.5e3, current_load=1e-3)
    assert straight.current == pytest.approx(1e-3 + 2e-3 + 1e-3)
    with pytest.raises(ValueError, match="dead short"):
        call("half_supply", resistance_top=0.0, resistance_bottom=0.0)
    with pytest.raises(ValueError, match="floats"):
        call("half_supply", resistance_top=INF, resistance_bottom=INF, resistance_load=INF)
    assert "tenth" in actions(call("half_supply", current_load=1e-4))
    assert "two seconds" in actions(call("half_supply", capacitance=470e-6))


# Battery ---------------------------------------------------------------------

BATTERIES = [
    devices.BATTERY_9V_ALKALINE,
    devices.BATTERY_9V_ZINC_CARBON,
    devices.BATTERY_9V_NIMH,
    devices.BATTERY_9V_LITHIUM,
]


@pytest.mark.parametrize("battery", BATTERIES, ids=lambda battery: battery.chemistry)
@pytest.mark.parametrize(
    ("load", "current", "end"),
    [(1000.0, 0.0, 7.2), (2700.0, 0.0, 8.4), (10e3, 0.0, 7.0), (1500.0, 0.006, 7.0), (INF, 0.010, 7.5)],
)
def test_life_against_time_stepping(battery, load, current, end):
    charge = battery.charge.typical

    def state(s):
        return supply.battery_voltage(min(s, 1.0), resistance_load=load, current_load=current, battery=battery)

    def empty(_, s):
        return state(s[0]).voltage_output - end

    empty.terminal = True
    run = solve_ivp(
        lambda _, s: [state(s[0]).current_load / charge],
        (0, 1e8),
        [0.0],
        events=empty,
        rtol=1e-9,
        atol=1e-12,
        max_step=2e4,
    )
    found = supply.battery_life(resistance_load=load, current_load=current, voltage_end=end, battery=battery)
    assert found.time_life == pytest.approx(run.t_events[0][0], rel=1e-5)
    assert found.used == pytest.approx(run.y_events[0][0][0], rel=1e-5)


@pytest.mark.parametrize("battery", BATTERIES, ids=lambda battery: battery.chemistry)
def test_battery_voltage_obeys_kirchhoff_and_ohm(battery):
    used = np.linspace(0.0, 1.0, 11)[:, np.newaxis]
    load = np.array([1e3, 1e4, 1e9])
    found = supply.battery_voltage(used, current_load=0.005, resistance_load=load, battery=battery)
    np.testing.assert_allclose(found.current_load, 0.005 + found.voltage_output / load, rtol=1e-12)
    np.testing.assert_allclose(
        found.voltage_output, found.voltage_open - found.current_load * found.resistance_internal, rtol=1e-12
    )


@pytest.mark.parametrize("battery", BATTERIES, ids=lambda battery: battery.chemistry)
def test_constant_current_life_ends_at_the_end_voltage(battery):
    for end in np.linspace(battery.voltage_empty, battery.voltage_fresh - 1.0, 6):
        life = supply.battery_life(current_load=0.010, voltage_end=end, battery=battery)
        there = supply.battery_voltage(life.used, current_load=0.010, battery=battery)
        assert there.voltage_output == pytest.approx(end, rel=1e-12)
        assert life.time_life * 0.010 == pytest.approx(life.used * battery.charge.typical, rel=1e-12)
        assert life.time_life_min <= life.time_life <= life.time_life_max
        assert life.hours_life * 3600 == pytest.approx(life.time_life)


def test_battery_limits():
    idle = supply.battery_life(voltage_end=7.0, battery=devices.BATTERY_9V_ALKALINE)
    assert idle.time_life == INF
    alone = {"resistance_load": INF}
    flat = call("battery_life", voltage_end=9.6, **alone)
    assert flat.time_life == 0 and "even a fresh" in actions(flat)
    deep = call("battery_life", voltage_end=4.0, **alone)
    assert deep.used == 1 and "without harm" in actions(deep)
    assert deep.time_life == pytest.approx(devices.BATTERY_9V_ALKALINE.charge.typical / 0.010, rel=1e-12)
    with pytest.warns(ModelRangeWarning, match="less charge"):
        call("battery_life", current_load=0.3)
    with pytest.warns(ModelRangeWarning, match="less charge"):
        short = call("battery_voltage", resistance_load=0.0, current_load=0.0, used=0.0)
    assert short.current_load == 9.5 / 2.0 and short.voltage_output == 0
    with pytest.warns(ModelRangeWarning, match="less charge"):
        call("battery_life", resistance_load=20.0)
    with pytest.warns(ModelRangeWarning, match="less charge") as told:
        call("battery_voltage", current_load=0.3)
    assert told[0].filename == __file__  # the line that called, none of the package's
    with pytest.raises(ValueError, match="used"):
        call("battery_voltage", used=1.2)


# Adaptor ---------------------------------------------------------------------


def test_adaptor_voltage_at_both_ends():
    part = devices.ADAPTOR_9V_UNREGULATED
    idle = supply.adaptor_voltage(0.0, adaptor=part)
    assert (idle.voltage_supply_min, idle.voltage_supply, idle.voltage_supply_max) == part.voltage_open
    full = supply.adaptor_voltage(part.current_max, adaptor=part)
    np.testing.assert_allclose(
        (full.voltage_supply_min, full.voltage_supply, full.voltage_supply_max), part.voltage_rated
    )
    assert full.voltage_supply == pytest.approx(idle.voltage_supply - part.current_max * full.resistance_internal)
    assert "above its label" in actions(idle)
    assert "rated for" in actions(supply.adaptor_voltage(0.6, adaptor=part))
    steady = supply.adaptor_voltage(0.1, adaptor=devices.ADAPTOR_9V_REGULATED)
    assert not steady.cautions and steady.resistance_internal == 0


# Regulators ------------------------------------------------------------------


# Current budget --------------------------------------------------------------


def test_budget_sums_and_refusals():
    whole = supply.current_budget(_DRAWS)
    assert (whole.current_min, whole.current_typical, whole.current_max) == pytest.approx((3e-3, 5e-3, 8e-3))
    unknown = supply.current_budget((supply.Draw("odd part", Spread(np.nan, 1e-3, 2e-3)),))
    assert np.isnan(unknown.current_min) and unknown.current_max == 2e-3
    drawn = supply.current_budget((supply.Draw("many", Spread(np.zeros(3), np.ones(3), 2 * np.ones(3))),))
    assert drawn.current_max.shape == (3,)
    assert supply.current_budget(()).current_max == 0
    with pytest.raises(ValueError, match="indicator LED must rise"):
        supply.current_budget((supply.Draw("indicator LED", Spread(3e-3, 2e-3, 1e-3)),))
    with pytest.raises(ValueError, match="current of LED must be at least 0"):
        supply.current_budget((supply.Draw("LED", Spread(-1e-3, 2e-3, 3e-3)),))
    with pytest.raises(TypeError, match="draws must be a tuple"):
        supply.current_budget([1])
    with pytest.raises(TypeError, match="Draw"):
        supply.current_budget((1,))
    with pytest.raises(TypeError, match="Spread"):
        supply.current_budget((supply.Draw("LED", 2e-3),))


def test_daisy_chain():
    whole = supply.current_budget(_DRAWS)
    chain = supply.daisy_chain(budgets=(whole,) * 5, current_available=0.030, resistance_lead=0.5)
    assert chain.current_max == pytest.approx(0.040) and chain.current_wanted == pytest.approx(0.050)
    assert chain.voltage_ground == pytest.approx(0.020)
    assert chain.current_margin == pytest.approx(-0.010)
    assert "more than the adaptor" in actions(chain)
    assert not call("daisy_chain").cautions
    with pytest.raises(TypeError, match="budgets must be a tuple"):
        call("daisy_chain", budgets=whole)
    with pytest.raises(TypeError, match="CurrentBudget"):
        call("daisy_chain", budgets=(1,))


def test_zener_regulator_obeys_kirchhoff():
    v, i_z = sp.symbols("v i_z")
    test = sp.Rational(5, 1000)
    node = (12 - v) / 220 - v / 1000 - sp.Rational(5, 1000) - i_z
    solved = sp.solve([node, v - sp.Rational(68, 10) - 20 * (i_z - test)], [v, i_z])
    point = call("zener_regulator")
    assert point.voltage_output == pytest.approx(float(solved[v]), rel=1e-13)
    assert point.current_zener == pytest.approx(float(solved[i_z]), rel=1e-13)
    assert point.current == pytest.approx(point.current_load + point.current_zener)
    assert point.regulates and not point.cautions
    # At its test current the zener has the very voltage of the sheet.
    on_sheet = supply.zener_regulator(voltage_supply=6.8 + 0.005 * 500, resistance=500.0, zener=ZENER)
    assert on_sheet.voltage_output == pytest.approx(6.8, rel=1e-14)
    assert on_sheet.current_load == 0


@pytest.mark.parametrize("slope", [0.0, 20.0])
def test_zener_limits_are_where_the_zener_meets_them(slope):
    zener = dataclasses.replace(ZENER, resistance_slope=slope)
    here = call("zener_regulator", zener=zener)
    for volts in (here.voltage_supply_min, here.voltage_supply_max):
        point = call("zener_regulator", zener=zener, voltage_supply=volts)
        if volts == here.voltage_supply_min:
            assert point.current_zener == pytest.approx(0.001, rel=1e-9)
        else:
            assert point.power_zener == pytest.approx(zener.power_max, rel=1e-9)
    largest = call("zener_regulator", zener=zener, resistance=here.resistance_max)
    assert largest.current_zener == pytest.approx(0.001, rel=1e-9)
    drawn = {"zener": zener, "resistance_load": INF, "voltage_supply": 40.0}
    span = call("zener_regulator", **drawn)
    heavy = call("zener_regulator", current_load=span.current_load_max, **drawn)
    light = call("zener_regulator", current_load=span.current_load_min, **drawn)
    assert heavy.current_zener == pytest.approx(0.001, rel=1e-9)
    assert light.power_zener == pytest.approx(zener.power_max, rel=1e-9)


def test_zener_regulator_at_its_edges():
    low = call("zener_regulator", voltage_supply=6.0, current_load=0.0)
    assert not low.regulates and low.current_zener == 0 and low.resistance_max == 0
    assert low.voltage_output == pytest.approx(6 * 1000 / 1220)
    assert low.current_load_max == 0 and "follows the supply" in actions(low)
    idle = supply.zener_regulator(voltage_supply=12.0, resistance=220.0, zener=ZENER)
    assert idle.resistance_max == INF and idle.current_load_min == 0
    assert "hotter" in actions(call("zener_regulator", resistance=22.0))
    assert "more than the resistor passes" in actions(call("zener_regulator", current_load=0.1))
    with pytest.raises(TypeError, match=r"devices\.typical"):
        call("zener_regulator", zener=devices.ZENER_BZX55C5V1)


def test_a_battery_that_nothing_drains_below_its_own_end_lasts_no_time():
    assert (
        supply.battery_life(
            voltage_end=20.0, current_load=0.0, resistance_load=np.inf, battery=devices.BATTERY_9V_ALKALINE
        ).hours_life
        == 0
    )
