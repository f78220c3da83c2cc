"""Switched-capacitor converters and the voltage budget."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
import sympy as sp
from scipy.linalg import expm

from pedalcalc import devices, pump, rc, supply

INF = float("inf")
SCHOTTKY = devices.typical(devices.DIODE_1N5817)
SILICON = devices.typical(devices.DIODE_1N4148)
_STAGE = {
    "voltage_supply": 9.0,
    "current_load": 0.005,
    "resistance_source": 2.0,
    "resistance_switch": 7.0,
    "current_idle": 80e-6,
    "frequency_pump": 5e3,
    "capacitance_pump": 10e-6,
    "resistance_esr_pump": 1.0,
    "capacitance_output": 47e-6,
    "resistance_esr_output": 0.5,
    "voltage_rating_pump": 16.0,
    "voltage_rating_output": 35.0,
    "count": 1.0,
    "low_pin": "open",
    "converter": devices.CONVERTER_1044S,
}
RAIL = pump.RailCircuit(
    rail_kind="doubled",
    diode_protection=SCHOTTKY,
    resistance_filter_in=10.0,
    converter=devices.CONVERTER_1044S,
    diode_pump=SCHOTTKY,
    resistance_switch=7.2,
    current_idle=300e-6,
    frequency_pump=22.5e3,
    capacitance_pump=10e-6,
    resistance_esr_pump=1.0,
    capacitance_output=47e-6,
    resistance_esr_output=0.5,
    voltage_rating_pump=16.0,
    voltage_rating_output=35.0,
    low_pin="open",
    resistance_filter_out=47.0,
    capacitance_filter_out=100e-6,
    resistance_esr_filter=0.3,
    op_amp=devices.OPAMP_TL072,
    headroom_top=1.5,
    headroom_bottom=1.5,
    input_margin_bottom=3.0,
    reference_share=0.5,
)
_BUDGET = {"voltage_supply": 9.0, "current_load": 0.006, "current_direct": 0.002, "voltage_peak": 2.0, "rail": RAIL}
_CYCLE = {
    "frequency_pump": 5e3,
    "capacitance_pump": 10e-6,
    "resistance_charge": 11.5,
    "resistance_deliver": 13.0,
    "capacitance_output": 22e-6,
    "resistance_esr_output": 0.8,
}
CALLS = {
    "pump_frequency": {"frequency_oscillator": 10e3},
    "slow_resistance": {"frequency_pump": 5e3, "capacitance_pump": 10e-6},
    "flying_reactance": {"frequency": 10e3, "capacitance_pump": 10e-6},
    "inverter_resistance_sum": {
        "resistance_switches": 23.0,
        "frequency_pump": 5e3,
        "capacitance_pump": 10e-6,
        "resistance_esr_pump": 1.0,
        "resistance_esr_output": 0.5,
    },
    "doubling_inverter_resistance_sum": {
        "resistance_switch": 5.0,
        "frequency_pump": 10e3,
        "capacitance_first": 10e-6,
        "capacitance_second": 22e-6,
        "resistance_esr_first": 1.0,
        "resistance_esr_second": 0.5,
        "resistance_esr_output": 0.3,
    },
    "ripple_sum": {
        "current_load": 0.010,
        "frequency_pump": 5e3,
        "capacitance_output": 10e-6,
        "resistance_esr_output": 1.0,
    },
    "doubler_voltage": {
        "voltage_supply": 9.0,
        "voltage_forward": 0.3,
        "current_load": 0.005,
        "resistance_thevenin": 50.0,
    },
    "cascade": {"voltage_supply": 9.0, "current_load": 0.002, "resistance_thevenin": 55.0, "count": 2.0},
    "pump_cycle": {"current_load": 0.010, **_CYCLE},
    "pump_start_time": {"tolerance": 0.05, **_CYCLE},
    "inverter": _STAGE,
    "doubler": _STAGE | {"diode": SCHOTTKY},
    "doubler_resistive": {key: value for key, value in _STAGE.items() if key != "current_load"}
    | {"resistance_load": 3300.0, "diode": SILICON},
    "doubler_start_time": {
        key: value
        for key, value in _STAGE.items()
        if "rating" not in key and key not in {"resistance_source", "current_idle", "low_pin", "converter"}
    }
    | {"tolerance": 0.05, "diode": SCHOTTKY},
    "example": {},
    "rail_cases": {"rail": RAIL},
    "voltage_budget": _BUDGET,
    "budget_steps": {"budget": pump.voltage_budget(**_BUDGET)},
}


def call(name, **changes):
    return getattr(pump, name)(**(CALLS[name] | changes))


def warnings_of(result):
    return " ".join(caution.what for caution in result.cautions)


# An independent solution: matrix exponentials of the two phases, fixed point of the period. ------------------


def phases(load, f, c1, r1, c2, esr, r2, e1, e2):
    """State (flying voltage, output voltage, 1): charging from e1 through r1, delivering e2 + flying through r2."""
    loop = r2 + esr
    charge = np.array([[-1 / (r1 * c1), 0, e1 / (r1 * c1)], [0, 0, -load / c2], [0, 0, 0]])
    into = np.array([1, -1, e2 + esr * load]) / loop  # delivered current
    deliver = np.array([-into / c1, into / c2 - np.array([0, 0, load / c2]), [0, 0, 0]])
    return charge, deliver, into


def simulate(load, f, c1, r1, c2, esr, r2, e1=0.0, e2=0.0, points=600):
    """Return mean and peak-to-peak output, rms at the pump frequency, in periodic steady state."""
    half = 0.5 / f
    charge, deliver, into = phases(load, f, c1, r1, c2, esr, r2, e1, e2)
    period = expm(charge * half) @ expm(deliver * half)
    state = np.append(np.linalg.solve(np.eye(2) - period[:2, :2], period[:2, 2]), 1.0)
    volts = []
    for matrix, current in ((deliver, into), (charge, np.zeros(3))):
        step = expm(matrix * half / points)
        for k in range(points + 1):
            volts.append(state[1] + esr * (current @ state - load))
            if k < points:
                state = step @ state
    volts = np.array(volts)
    t = np.concatenate([np.linspace(0, half, points + 1), np.linspace(half, 2 * half, points + 1)])
    mean = np.trapezoid(volts, t) * f
    tone = np.sqrt(2) * abs(np.trapezoid(volts * np.exp(-2j * np.pi * f * t), t)) * f
    return mean, np.ptp(volts), tone


GRID = list(
    itertools.product(
        (500.0, 5e3, 22.5e3),  # pump frequency
        (1e-6, 10e-6, 100e-6),  # flying capacitor
        (
            (1e-2, 0.0),
            (47e-6, 0.5),
            (10e-6, 3.0),
            (4.7e-6, 0.0),
        ),  # output capacitor (the first is stiff), its resistance
    )
)


@pytest.mark.parametrize(("f", "c1", "output"), GRID)
def test_inverter_against_cycle_by_cycle_simulation(f, c1, output):
    c2, esr = output
    found = call(
        "inverter",
        resistance_source=0.0,
        current_load=0.01,
        frequency_pump=f,
        capacitance_pump=c1,
        capacitance_output=c2,
        resistance_esr_output=esr,
    )
    loop = 2 * 7.0 + 1.0
    mean, ripple, tone = simulate(0.01, f, c1, loop, c2, esr, loop, e1=9.0)
    assert found.resistance_thevenin == pytest.approx((9.0 - mean) / 0.01, rel=1e-3)
    assert found.voltage_ripple == pytest.approx(ripple, rel=5e-3)
    assert found.voltage_tone == pytest.approx(tone, rel=5e-3)
    assert found.voltage_output == pytest.approx(-mean, abs=1e-3 * (9.0 - mean))


def test_coth_form_from_charge_balance():
    """Two exponential exchanges a period, solved by sympy, against the printed form and the code."""
    dv, c, r, f = sp.symbols("dv c r f", positive=True)
    decay = sp.exp(-1 / (2 * f * r * c))
    after, before = sp.symbols("after before")
    steady = sp.solve(
        [sp.Eq(before, dv - (dv - after) * decay), sp.Eq(after, before * decay)], [before, after], dict=True
    )[0]
    resistance = sp.simplify(dv / (f * c * (steady[before] - steady[after])))
    values = {c: 10e-6, r: 11.5, f: 5e3}
    coth = sp.coth(1 / (4 * f * r * c)) / (f * c)
    assert float(resistance.subs(values)) == pytest.approx(float(coth.subs(values)), rel=1e-12)
    stiff = call(
        "pump_cycle",
        resistance_charge=11.5,
        resistance_deliver=11.5,
        capacitance_output=INF,
        resistance_esr_output=0.0,
    )
    assert stiff.resistance_thevenin == pytest.approx(float(coth.subs(values)), rel=1e-12)
    assert stiff.voltage_ripple == 0


def test_limits_of_the_output_resistance():
    slow = call("pump_cycle", frequency_pump=10.0, capacitance_output=INF, resistance_esr_output=0.0)
    assert slow.resistance_thevenin == pytest.approx(slow.resistance_slow, rel=1e-12)
    fast = call("pump_cycle", frequency_pump=1e7)
    assert fast.resistance_thevenin == pytest.approx(fast.resistance_fast, rel=1e-3)
    assert fast.resistance_fast == 2 * (11.5 + 13.0) + 0.8
    shorted = call("pump_cycle", resistance_charge=0.0, resistance_deliver=0.0, resistance_esr_output=0.0)
    near = call("pump_cycle", resistance_charge=1e-6, resistance_deliver=1e-6, resistance_esr_output=0.0)
    for field in ("resistance_thevenin", "voltage_ripple", "voltage_tone"):
        assert getattr(shorted, field) == pytest.approx(getattr(near, field), rel=1e-4)


def test_exact_lies_between_the_limits_and_their_sum():
    rng = np.random.default_rng(3)
    n = 5000
    found = pump.pump_cycle(
        current_load=0.01,
        frequency_pump=10 ** rng.uniform(2, 5, n),
        capacitance_pump=10 ** rng.uniform(-7, -3, n),
        resistance_charge=10 ** rng.uniform(-1, 2, n),
        resistance_deliver=10 ** rng.uniform(-1, 2, n),
        capacitance_output=INF,
        resistance_esr_output=0.0,
    )
    assert np.all(found.resistance_thevenin <= found.resistance_sum * (1 + 1e-12))
    assert np.all(found.resistance_thevenin >= np.maximum(found.resistance_slow, found.resistance_fast) * (1 - 1e-12))


def test_scaling_of_the_cycle():
    """Impedance scaling: resistances times k, capacitances over k; and time scaling."""
    base = call("pump_cycle")
    scaled = pump.pump_cycle(
        current_load=0.010,
        frequency_pump=5e3,
        capacitance_pump=10e-6 / 3,
        resistance_charge=11.5 * 3,
        resistance_deliver=13.0 * 3,
        capacitance_output=22e-6 / 3,
        resistance_esr_output=0.8 * 3,
    )
    quick = pump.pump_cycle(
        **(CALLS["pump_cycle"] | {"frequency_pump": 5e4, "capacitance_pump": 1e-6, "capacitance_output": 2.2e-6})
    )
    for field in dataclasses.fields(base):
        assert getattr(scaled, field.name) == pytest.approx(3 * getattr(base, field.name), rel=1e-10)
        assert getattr(quick, field.name) == pytest.approx(getattr(base, field.name), rel=1e-10)


@pytest.mark.parametrize("band", [0.3, 0.05, 0.01])
@pytest.mark.parametrize(("c2", "esr"), [(100e-6, 0.0), (22e-6, 0.8), (2.2e-6, 0.0)])
def test_start_time_against_counting_periods(band, c2, esr):
    f, c1, r1, r2 = 5e3, 10e-6, 11.5, 13.0
    half = 0.5 / f
    charge, deliver, _ = phases(0.0, f, c1, r1, c2, esr, r2, 9.0, 0.0)
    period = expm(deliver * half) @ expm(charge * half)
    state = np.array([0.0, 0.0, 1.0])
    count = 0
    while state[1] < 9.0 * (1 - band):
        state = period @ state
        count += 1
    time = call("pump_start_time", tolerance=band, capacitance_output=c2, resistance_esr_output=esr)
    assert count - 1.01 <= time * f <= count + 1e-6


def test_start_time_limits():
    assert call("pump_start_time", capacitance_output=INF) == INF
    assert call("pump_start_time", tolerance=1.0) == 0
    quick = call("pump_start_time", resistance_charge=0.0, resistance_deliver=0.0, resistance_esr_output=0.0)
    # Each period leaves the share C2/(C1 + C2) of what is missing.
    assert quick * 5e3 == pytest.approx(np.log(0.05) / np.log(22 / 32), rel=1e-9)


# Makers' sums ----------------------------------------------------------------


def test_sum_is_slow_plus_fast():
    total = call("inverter_resistance_sum")
    stage = call("inverter", resistance_switch=23.0 / 4)
    assert total == pytest.approx(stage.resistance_sum, rel=1e-12)
    assert stage.resistance_thevenin < total


def test_ripple_sum_is_the_exact_ripple_of_a_fast_pump():
    fast = call("pump_cycle", frequency_pump=100e3, capacitance_pump=1e-3, capacitance_output=1e-3)
    rough = pump.ripple_sum(
        current_load=0.010, frequency_pump=100e3, capacitance_output=1e-3, resistance_esr_output=0.8
    )
    assert fast.voltage_ripple == pytest.approx(rough, rel=2e-2)


def test_cascade_against_stage_by_stage():
    v, i, r = sp.symbols("v i r")
    for n in (1, 2, 3, 5):
        # Magnitudes; each stage works between its two forerunners' outputs and loses its own current times r.
        outputs = [sp.Integer(0), v - n * i * r]
        for k in range(2, n + 1):
            outputs.append(2 * outputs[-1] - outputs[-2] - (n - k + 1) * i * r)
        expected = sp.expand(outputs[n])
        found = pump.cascade(voltage_supply=9.0, current_load=0.002, resistance_thevenin=55.0, count=n)
        assert -found.voltage_output == pytest.approx(float(expected.subs({v: 9.0, i: 0.002, r: 55.0})), rel=1e-12)
    with pytest.raises(ValueError, match="whole"):
        call("cascade", count=1.5)


# Stages ----------------------------------------------------------------------


def test_power_and_charge_balance():
    minus = call("inverter")
    assert minus.current_supply == pytest.approx(0.005 + 80e-6)
    assert minus.power == pytest.approx(9.0 * minus.current_supply + minus.voltage_output * 0.005)
    double = call("doubler")
    assert double.current_supply == pytest.approx(2 * 0.005 + 80e-6 + SCHOTTKY.current_saturation)
    assert double.voltage_output == pytest.approx(
        double.voltage_ideal - double.voltage_drop_diodes - double.voltage_drop_pump, rel=1e-12
    )
    assert double.efficiency == pytest.approx(double.voltage_output * 0.005 / (9.0 * double.current_supply))


def test_doubler_fast_limit_has_two_switches_and_two_slopes():
    fast = call(
        "doubler", frequency_pump=1e6, capacitance_pump=1e-3, resistance_esr_pump=0.0, resistance_esr_output=0.0
    )
    nvt = SCHOTTKY.ideality * 1.380649e-23 * 300 / 1.602176634e-19
    # Each pulse is even, and carries what the load takes and what the other diode leaks meanwhile, in half the time.
    pulse = 2 * (0.005 + SCHOTTKY.current_saturation)
    slope = nvt / pulse + SCHOTTKY.resistance_series
    assert fast.resistance_thevenin == pytest.approx(2 * (7.0 + 7.0 + 2 * slope), rel=1e-4)
    # The drop there is that of the diodes at twice the load current.
    drop = nvt * np.log(pulse / SCHOTTKY.current_saturation) + 0.010 * 0.051
    assert fast.voltage_drop_diodes == pytest.approx(2 * drop, rel=1e-4)
    assert fast.voltage_drop_pump == pytest.approx(pulse / 2 * 2 * 14.0, rel=1e-3)


def test_resistive_load_is_self_consistent():
    loads = np.array([150.0, 3300.0, 1e6, INF])
    found = call("doubler_resistive", resistance_load=loads)
    again = call("doubler", current_load=found.voltage_output / loads, diode=SILICON)
    np.testing.assert_allclose(again.voltage_output, found.voltage_output, rtol=1e-10)
    assert np.all(np.diff(found.voltage_output) > 0)


def test_parallel_converters_divide_the_resistance():
    one = call("inverter", resistance_esr_output=0.0, capacitance_output=INF)
    three = call("inverter", resistance_esr_output=0.0, capacitance_output=INF, count=3)
    assert three.resistance_thevenin == pytest.approx(one.resistance_thevenin / 3, rel=1e-12)
    with pytest.raises(ValueError, match="count must be a whole number"):
        call("inverter", count=1.5)


@pytest.mark.parametrize("converter", [devices.CONVERTER_7660, devices.CONVERTER_1044S, devices.CONVERTER_7662])
def test_switch_of_the_record_gives_the_sheet_s_output_resistance(converter):
    for figure in ("typical", "high"):
        found = call(
            "inverter",
            resistance_switch=getattr(converter.resistance_switch, figure),
            frequency_pump=pump.pump_frequency(converter.frequency_oscillator),
            resistance_esr_pump=0.0,
            capacitance_output=INF,
            resistance_esr_output=0.0,
            converter=converter,
        )
        assert found.resistance_thevenin == pytest.approx(getattr(converter.resistance_thevenin, figure), rel=1e-9)


def test_caution_about_the_tone_says_how_loud_it_is_behind_the_filter():
    slow = dataclasses.replace(RAIL, rail_kind="doubled", frequency_pump=5e3)
    found = pump.voltage_budget(voltage_supply=9.0, current_load=6e-3, current_direct=0.0, voltage_peak=1.0, rail=slow)
    told = next(caution.what for caution in found.cautions if "audio band" in caution.what)
    assert f"{found.level_tone_dbv:.0f} dBV behind the last filter" in told
    bare = call("inverter", frequency_pump=np.array([5e3, 22.5e3]))
    assert f"{bare.level_tone_dbv[0]:.0f} dBV on the output" in warnings_of(bare)
    nothing = call("inverter", current_load=0.0, frequency_pump=5e3)
    assert "-inf dBV" in warnings_of(nothing) and nothing.efficiency == 0


def test_stage_cautions():
    quiet = call("inverter", frequency_pump=22.5e3)
    assert not quiet.cautions
    assert "audio band" in warnings_of(call("inverter"))
    old = devices.CONVERTER_7660
    assert "within half a volt" in warnings_of(call("inverter", voltage_supply=9.6, converter=old))
    beyond = warnings_of(call("inverter", voltage_supply=12.9, converter=old))
    assert "more than its supply limit" in beyond and "within half" not in beyond
    assert "below the lowest supply" in warnings_of(call("inverter", voltage_supply=1.2))
    assert "lift" in " ".join(c.action for c in call("inverter", low_pin="grounded").cautions)
    assert "is open" in warnings_of(call("inverter", voltage_supply=2.9))
    assert "flying capacitor sees" in warnings_of(call("inverter", voltage_rating_pump=6.3))
    assert "output capacitor sees" in warnings_of(call("doubler", voltage_rating_output=16.0))
    assert "more load than the sheet" in warnings_of(call("inverter", current_load=0.025))
    assert "too much load" in warnings_of(call("inverter", current_load=0.06))
    assert "more than it is made for" in warnings_of(
        call("doubler", current_load=0.25, diode=SILICON, resistance_switch=0.0)
    )
    with pytest.raises(ValueError, match="low_pin"):
        call("inverter", low_pin="up")


# Budget ----------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["single", "doubled", "split"])
def test_budget_is_the_composition_of_its_steps(kind):
    rail = dataclasses.replace(RAIL, rail_kind=kind)
    found = call("voltage_budget", rail=rail)
    drawn = {"single": 0.008, "doubled": 0.0143 + SCHOTTKY.current_saturation, "split": 0.0143}[kind]
    assert found.current_supply == pytest.approx(drawn, rel=1e-12)
    safe = supply.series_diode(voltage_supply=9.0, current_load=drawn, diode=RAIL.diode_protection)
    pin = safe.voltage_output - 10.0 * drawn
    assert found.voltage_pin == pytest.approx(pin, rel=1e-12)
    parts = {key: getattr(RAIL, key) for key in _STAGE if hasattr(RAIL, key)} | {
        "voltage_supply": pin,
        "current_load": 0.006,
        "resistance_source": 0.0,
        "count": 1,
    }
    if kind == "doubled":
        stage = pump.doubler(diode=RAIL.diode_pump, **parts)
        rails = (stage.voltage_output - 0.006 * 47.0, 0.0)
    elif kind == "split":
        stage = pump.inverter(**parts)
        rails = (pin, stage.voltage_output + 0.006 * 47.0)
    else:
        rails = (pin - 0.006 * 47.0, 0.0)
    assert (found.voltage_positive, found.voltage_negative) == pytest.approx(rails, rel=1e-12)
    idle = 0.0 if kind == "split" else rails[0] / 2
    assert found.voltage_idle == pytest.approx(idle, abs=1e-12)
    peak = min(rails[0] - 1.5 - idle, idle - rails[1] - 1.5)
    assert found.voltage_swing == pytest.approx(2 * peak)
    assert found.level_max_dbv == pytest.approx(20 * np.log10(peak / np.sqrt(2)))
    assert found.headroom_db == pytest.approx(20 * np.log10(peak / 2.0))
    steps = pump.budget_steps(found).steps_budget
    assert steps[0].voltage_high == 9.0
    assert steps[-1].voltage_high - steps[-1].voltage_low == pytest.approx(found.voltage_swing)
    # Every loss is the fall of the span, but for the converter, which adds.
    for before, after in itertools.pairwise(steps):
        if after.name != "loss-free converter":
            span_before = before.voltage_high - before.voltage_low
            assert span_before - after.voltage_drop == pytest.approx(after.voltage_high - after.voltage_low, rel=1e-9)


def test_budget_cases_run_from_worst_to_best():
    rail = pump.rail_cases(RAIL)
    assert rail.resistance_switch[0] == devices.CONVERTER_1044S.resistance_switch.high
    assert rail.current_idle[0] == devices.CONVERTER_1044S.current_idle_boosted.high
    slow = pump.rail_cases(dataclasses.replace(RAIL, frequency_pump=5e3))
    assert slow.current_idle[0] == devices.CONVERTER_1044S.current_idle.high
    source = supply.adaptor_voltage(0.0143, adaptor=devices.ADAPTOR_9V_REGULATED)
    found = call(
        "voltage_budget",
        voltage_supply=np.array([source.voltage_supply_min, source.voltage_supply, source.voltage_supply_max]),
        rail=rail,
    )
    assert np.all(np.diff(found.voltage_swing) > 0) and found.voltage_swing.shape == (3,)


def test_budget_cautions():
    assert not call("voltage_budget").cautions
    assert "clips" in warnings_of(call("voltage_budget", voltage_peak=8.0))
    assert "too near its negative rail" in warnings_of(call("voltage_budget", voltage_peak=5.5))
    assert "below what the TL072 needs" in warnings_of(call("voltage_budget", voltage_supply=3.6))
    flat = call("voltage_budget", voltage_supply=1.9)
    assert "no swing" in warnings_of(flat) and flat.voltage_swing == 0 and flat.level_max_dbv == -INF
    assert "exceed what the TL072" in warnings_of(call("voltage_budget", voltage_supply=19.0))
    assert call("voltage_budget", voltage_peak=0.0).headroom_db == INF
    with pytest.raises(ValueError, match="resistance_filter_in"):
        call("voltage_budget", voltage_supply=0.2)
    with pytest.raises(ValueError, match="rail_kind"):
        call("voltage_budget", rail=dataclasses.replace(RAIL, rail_kind="tripled"))
    with pytest.raises(TypeError, match="rail must be a RailCircuit"):
        call("voltage_budget", rail=9.0)


def test_converter_is_held_to_its_limit_at_switch_on():
    """14 V through 100 ohm leave a 12 V part 11.7 V under load, but nearly all of it before the load draws."""
    rail = dataclasses.replace(RAIL, resistance_filter_in=100.0)
    found = call("voltage_budget", voltage_supply=14.0, current_load=0.010, rail=rail)
    assert found.voltage_pin < 11.75
    (limit,) = [caution for caution in found.cautions if "at switch-on" in caution.what]
    assert "more than its supply limit" in limit.what and "latch up and die" in limit.what
    drop = supply.series_diode(voltage_supply=14.0, current_load=RAIL.current_idle, diode=RAIL.diode_protection)
    assert limit.value == pytest.approx(14.0 - drop.voltage_drop, rel=1e-12) and limit.limit == 12.0
    assert 0.05 < drop.voltage_drop < 0.1  # Schottky diode at 0.3 mA
    old = dataclasses.replace(RAIL, converter=devices.CONVERTER_7660)
    near = warnings_of(call("voltage_budget", voltage_supply=9.7, rail=old))
    assert "within half a volt of its limit" in near and "latch up" not in near
    # The inverter of a split rail likewise, and the capacitors' ratings at the same moment.
    split = dataclasses.replace(rail, rail_kind="split", voltage_rating_pump=13.0)
    told = warnings_of(call("voltage_budget", voltage_supply=14.0, current_load=0.010, rail=split))
    assert "more than its supply limit" in told and "flying capacitor sees" in told


@pytest.mark.parametrize(
    ("name", "supply", "open_pin", "grounded_pin"),
    [  # from memory of the sheets: 7660 3 to 10 V open, 1.5 to 3.5 V grounded; 1044 as one likes from 3 V; 7662 8 to 11 V
        ("7660", 9.0, True, False), ("7660", 3.2, True, True), ("7660", 2.5, False, True), ("7662", 8.7, False, True),
        ("7662", 15.0, True, False), ("MAX1044", 9.0, True, True), ("LTC1044", 2.5, False, True), ("1044S", 9.0, True, False),
    ],
)  # fmt: skip
def test_the_low_voltage_pin_goes_by_type(name, supply, open_pin, grounded_pin):
    kept = {"converter": getattr(devices, f"CONVERTER_{name}"), "voltage_supply": supply, "resistance_source": 0.0}
    for low_pin, right in (("open", open_pin), ("grounded", grounded_pin)):
        told = warnings_of(call("inverter", **kept, low_pin=low_pin))
        assert ("low-voltage pin" not in told) == right, (low_pin, told)


def test_the_first_makers_inverter_needs_a_diode():
    """Above 6.5 V (NOTE-AN051); the doubler leaves the output pin open, and later types need none."""
    old = {"converter": devices.CONVERTER_7660, "resistance_source": 0.0}
    assert "latch up as an inverter" in warnings_of(call("inverter", voltage_supply=6.6, **old))
    assert "as an inverter" not in warnings_of(call("inverter", voltage_supply=6.4, **old))
    assert "as an inverter" not in warnings_of(call("doubler", voltage_supply=9.0, **old))
    assert "as an inverter" not in warnings_of(call("inverter", converter=devices.CONVERTER_7660A))


def test_pump_tone_on_the_rail_is_filtered():
    loud = call("voltage_budget", rail=dataclasses.replace(RAIL, resistance_filter_out=0.0))
    quiet = call("voltage_budget")
    through = rc.lowpass_response(22.5e3, resistance=47.0, capacitance=100e-6, resistance_esr=0.3)
    assert quiet.voltage_tone == pytest.approx(loud.voltage_tone * through.gain, rel=1e-12)


def test_doubling_converter_is_two_pumps_in_the_slow_limit_and_pays_for_each_switch():
    lossless = {"resistance_switch": 0.0, "resistance_esr_first": 0.0, "resistance_esr_second": 0.0}
    slow = pump.doubling_inverter_resistance_sum(
        **CALLS["doubling_inverter_resistance_sum"] | lossless | {"resistance_esr_output": 0.0}
    )
    assert slow == pytest.approx(1 / (10e3 * 10e-6) + 1 / (10e3 * 22e-6), rel=1e-12)
    # 16 R_sw, 4 R_ESR of each flying capacitor and R_ESR of the output, as SP682DS/07 p. 5 sums them.
    whole = pump.doubling_inverter_resistance_sum(**CALLS["doubling_inverter_resistance_sum"])
    assert whole - slow == pytest.approx(16 * 5.0 + 4 * 1.5 + 0.3, rel=1e-12)


def test_every_converter_says_which_pin_is_which():
    for name in ("7660", "7660A", "MAX1044", "LTC1044", "1044S", "7662"):
        part = getattr(devices, f"CONVERTER_{name}")
        (order,) = part.pinouts
        pins = {pin: role for pin, _, role in order.entries}
        assert list(pins) == list("12345678") and pins["8"] == "supply" and pins["6"] == "low-voltage pin"
        assert (pins["1"] == "boost") != np.isnan(part.frequency_boosted)
