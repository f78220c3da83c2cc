"""Switched-capacitor converters: inverter and doubler, their limits, sums and cautions."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import sympy as sp
from scipy.linalg import expm

from pedalcalc import devices, pump
from pedalcalc._number_text import cell_text
from pedalcalc.pump._cycle import solve_cycle

INF = float("inf")
SCHOTTKY = devices.typical(devices.DIODE_1N5817)
SILICON = devices.typical(devices.DIODE_1N4148)
_STAGE = {
    "voltage_supply": 9.0,
    "current_load": 0.005,
    "resistance_feed": 2.0,
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
_CYCLE = {"frequency": 5e3, "pump": 10e-6, "charge": 11.5, "deliver": 13.0, "output": 22e-6, "esr": 0.8}
CALLS = {
    "inverter": _STAGE | {"resistance_load": 33e3},
    "doubler": _STAGE | {"resistance_load": 33e3, "diode": SCHOTTKY},
    "start_time": {
        key: value
        for key, value in _STAGE.items()
        if "rating" not in key and key not in {"resistance_feed", "current_idle", "low_pin", "converter"}
    }
    | {"tolerance": 0.05, "diode": SCHOTTKY},
}


def call(name, **changes):
    """Call a stage with a constant current as its only load, unless changed."""
    only = {} if name == "start_time" else {"resistance_load": INF}
    return getattr(pump, name)(**(CALLS[name] | only | changes))


def cycle(**changes):
    """Solve one flying capacitor under a load of one ampere."""
    return solve_cycle(*(np.asarray(value, float) for value in (_CYCLE | changes).values()))


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
        resistance_feed=0.0,
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
    stiff = cycle(charge=11.5, deliver=11.5, output=INF, esr=0.0)
    assert stiff.resistance_thevenin == pytest.approx(float(coth.subs(values)), rel=1e-12)
    assert stiff.ripple == 0


def test_limits_of_the_output_resistance():
    slow = cycle(frequency=10.0, output=INF, esr=0.0)
    assert slow.resistance_thevenin == pytest.approx(slow.resistance_slow, rel=1e-12)
    fast = cycle(frequency=1e7)
    assert fast.resistance_thevenin == pytest.approx(fast.resistance_fast, rel=1e-3)
    assert fast.resistance_fast == 2 * (11.5 + 13.0) + 0.8
    shorted = cycle(charge=0.0, deliver=0.0, esr=0.0)
    near = cycle(charge=1e-6, deliver=1e-6, esr=0.0)
    for field in ("resistance_thevenin", "ripple", "tone"):
        assert getattr(shorted, field) == pytest.approx(getattr(near, field), rel=1e-4)


def test_exact_lies_between_the_limits_and_their_sum():
    rng = np.random.default_rng(3)
    n = 5000
    found = cycle(
        frequency=10 ** rng.uniform(2, 5, n),
        pump=10 ** rng.uniform(-7, -3, n),
        charge=10 ** rng.uniform(-1, 2, n),
        deliver=10 ** rng.uniform(-1, 2, n),
        output=INF,
        esr=0.0,
    )
    total = found.resistance_slow + found.resistance_fast
    assert np.all(found.resistance_thevenin <= total * (1 + 1e-12))
    assert np.all(found.resistance_thevenin >= np.maximum(found.resistance_slow, found.resistance_fast) * (1 - 1e-12))


def test_scaling_of_the_cycle():
    """Impedance scaling: resistances times k, capacitances over k; and time scaling."""
    base = cycle()
    scaled = cycle(pump=10e-6 / 3, charge=11.5 * 3, deliver=13.0 * 3, output=22e-6 / 3, esr=0.8 * 3)
    quick = cycle(frequency=5e4, pump=1e-6, output=2.2e-6)
    for name, value in base._asdict().items():
        assert getattr(scaled, name) == pytest.approx(3 * value, rel=1e-10)
        assert getattr(quick, name) == pytest.approx(value, rel=1e-10)


# Makers' sums ----------------------------------------------------------------


def test_resistance_sum_is_the_makers_and_bounds_the_exact_one():
    """R = 2 R_SW + 1/(f C1) + 4 R_ESR1 + R_ESR2, R_SW all four switches, SHEET-7660-B page 9."""
    stage = call("inverter", resistance_switch=23.0 / 4)
    assert stage.resistance_sum == pytest.approx(2 * 23.0 + 1 / (5e3 * 10e-6) + 4 * 1.0 + 0.5, rel=1e-12)
    assert stage.resistance_thevenin < stage.resistance_sum


def test_ripple_sum_is_the_exact_ripple_of_a_fast_pump():
    """V_pp = I (1/(2 f C2) + 2 R_ESR2), SHEET-SP682 page 5."""
    large = {"frequency_pump": 100e3, "capacitance_pump": 1e-3, "capacitance_output": 1e-3}
    for name in ("inverter", "doubler"):
        found = call(name, **large)
        assert found.voltage_ripple_sum == pytest.approx(0.005 * (1 / (2 * 100e3 * 1e-3) + 2 * 0.5), rel=1e-12)
        assert found.voltage_ripple == pytest.approx(found.voltage_ripple_sum, rel=2e-2)


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
    for name, part in (("inverter", {}), ("doubler", {"diode": SILICON})):
        for current in (0.0, 1e-3):
            found = call(name, resistance_load=loads, current_load=current, **part)
            total = current + np.abs(found.voltage_output) / loads
            np.testing.assert_allclose(found.current_load, total, rtol=1e-9)
            again = call(name, current_load=total, **part)
            np.testing.assert_allclose(again.voltage_output, found.voltage_output, rtol=1e-10)
            assert np.all(np.diff(np.abs(found.voltage_output)) > 0)


def test_parallel_converters_divide_the_resistance():
    one = call("inverter", resistance_esr_output=0.0, capacitance_output=INF)
    three = call("inverter", resistance_esr_output=0.0, capacitance_output=INF, count=3)
    # The idle current of each flows through the feed too: what is left feeds a load of resistance behind the output's own.
    fed = call("inverter", resistance_feed=500.0, current_idle=1e-3, resistance_load=10e3, current_load=0.0, count=3)
    load = (9.0 - 500.0 * 3e-3) / (10e3 + 500.0 + fed.resistance_thevenin)
    assert -fed.voltage_output / 10e3 == pytest.approx(load, rel=1e-12)
    assert three.resistance_thevenin == pytest.approx(one.resistance_thevenin / 3, rel=1e-12)
    with pytest.raises(ValueError, match="count must be a whole number"):
        call("inverter", count=1.5)


@pytest.mark.parametrize("converter", [devices.CONVERTER_7660, devices.CONVERTER_1044S, devices.CONVERTER_7662])
def test_switch_of_the_record_gives_the_sheet_s_output_resistance(converter):
    for figure in ("typical", "high"):
        found = call(
            "inverter",
            resistance_switch=getattr(converter.resistance_switch, figure),
            frequency_pump=converter.frequency_pump,
            resistance_esr_pump=0.0,
            capacitance_output=INF,
            resistance_esr_output=0.0,
            converter=converter,
        )
        assert found.resistance_thevenin == pytest.approx(getattr(converter.resistance_thevenin, figure), rel=1e-9)


def test_caution_about_the_tone_says_how_loud_it_is():
    bare = call("inverter", frequency_pump=np.array([5e3, 22.5e3]))
    assert f"{cell_text(bare.level_tone_dbv[0], 'dBV')} on the output" in warnings_of(bare)  # as a table writes it
    nothing = call("inverter", current_load=0.0, frequency_pump=5e3)
    assert "\N{MINUS SIGN}inf dBV" in warnings_of(nothing) and nothing.efficiency == 0


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


@pytest.mark.parametrize(
    ("name", "supply", "open_pin", "grounded_pin"),
    [  # from memory of the sheets: 7660 3 to 10 V open, 1.5 to 3.5 V grounded; 1044 as one likes from 3 V; 7662 8 to 11 V
        ("7660", 9.0, True, False), ("7660", 3.2, True, True), ("7660", 2.5, False, True), ("7662", 8.7, False, True),
        ("7662", 15.0, True, False), ("MAX1044", 9.0, True, True), ("LTC1044", 2.5, False, True), ("1044S", 9.0, True, False),
    ],
)  # fmt: skip
def test_the_low_voltage_pin_goes_by_type(name, supply, open_pin, grounded_pin):
    kept = {"converter": getattr(devices, f"CONVERTER_{name}"), "voltage_supply": supply, "resistance_feed": 0.0}
    for low_pin, right in (("open", open_pin), ("grounded", grounded_pin)):
        told = warnings_of(call("inverter", **kept, low_pin=low_pin))
        assert ("low-voltage pin" not in told) == right, (low_pin, told)


def test_the_first_makers_inverter_needs_a_diode():
    """Above 6.5 V (NOTE-AN051); the doubler leaves the output pin open, and later types need none."""
    old = {"converter": devices.CONVERTER_7660, "resistance_feed": 0.0}
    assert "latch up as an inverter" in warnings_of(call("inverter", voltage_supply=6.6, **old))
    assert "as an inverter" not in warnings_of(call("inverter", voltage_supply=6.4, **old))
    assert "as an inverter" not in warnings_of(call("doubler", voltage_supply=9.0, **old))
    assert "as an inverter" not in warnings_of(call("inverter", converter=devices.CONVERTER_7660A))


def test_every_converter_says_which_pin_is_which():
    for name in ("7660", "7660A", "MAX1044", "LTC1044", "1044S", "7662"):
        part = getattr(devices, f"CONVERTER_{name}")
        (order,) = part.pinouts
        pins = {pin: role for pin, _, role in order.entries}
        assert list(pins) == list("12345678") and pins["8"] == "supply" and pins["6"] == "low-voltage pin"
        assert (pins["1"] == "boost") != np.isnan(part.frequency_boosted)


@pytest.mark.parametrize(
    ("key", "value", "most"),
    [
        ("voltage_supply", 1e20, "1 kV"),
        ("current_load", 1e6, "100 A"),
        ("resistance_switch", 1e7, "1 MΩ"),
        ("resistance_esr_output", 1e20, "1 MΩ"),
        ("frequency_pump", 1e20, "10 MHz"),
        ("count", 1e20, "1000"),
    ],
)
def test_what_no_converter_lives_on_is_refused_at_once(key, value, most):
    for name in ("doubler", "inverter", "start_time"):
        with pytest.raises(ValueError, match=f"^{key} must be .* and at most {most}"):
            call(name, **{key: value})


def test_a_flying_capacitor_beyond_use_is_refused_where_it_takes_long():
    """The inverter's closed form takes it for a short, as makers do for its least resistance."""
    for name in ("doubler", "start_time"):
        with pytest.raises(ValueError, match=r"^capacitance_pump must be .* and at most 1 F"):
            call(name, capacitance_pump=10.0)
    assert call("inverter", capacitance_pump=1e30).resistance_slow < 1e-20


def test_an_inverter_that_hardly_pumps_leaves_its_output_to_the_load():
    # by hand: what is pumped goes to nothing with the frequency, and the current alone stands across the resistor
    for frequency in (1e-30, 1e-99):
        found = pump.inverter(**(CALLS["inverter"] | {"frequency_pump": frequency}))
        np.testing.assert_allclose(found.voltage_output, 5e-3 * 33e3, rtol=1e-12)
    # at rest the current goes through all there is in its way
    found = pump.inverter(**(CALLS["inverter"] | {"resistance_load": np.inf}))
    np.testing.assert_allclose(found.current_load, 5e-3, rtol=1e-12)


def test_a_start_without_a_pump_capacitor_to_speak_of_is_told():
    with pytest.raises(RuntimeError, match="did not converge"):
        pump.start_time(**(CALLS["start_time"] | {"capacitance_pump": 1e-30}))
