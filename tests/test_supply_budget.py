"""The voltage budget: from the adaptor's label to the swing of an op-amp stage."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest

from pedalcalc import devices, pump, rc, supply
from pedalcalc._record import ends

INF = float("inf")
SCHOTTKY = devices.typical(devices.DIODE_1N5817)
RAIL = supply.RailCircuit(
    rail_kind="doubled",
    diode_protection=SCHOTTKY,
    resistance_filter_in=10.0,
    converter=devices.typical(devices.CONVERTER_1044S),
    diode_pump=SCHOTTKY,
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
    op_amp=devices.typical(devices.OPAMP_TL072),
    reference_share=0.5,
)
BUDGET = {"voltage_supply": 9.0, "current_load": 0.006, "current_direct": 0.002, "voltage_peak": 2.0, "rail": RAIL}


def call(**changes):
    return supply.voltage_budget(**(BUDGET | changes))


def told_by(result):
    return " ".join(caution.what for caution in result.cautions)


def test_caution_about_the_tone_says_how_loud_it_is_behind_the_filter():
    slow = dataclasses.replace(RAIL, rail_kind="doubled", frequency_pump=5e3)
    found = supply.voltage_budget(
        voltage_supply=9.0, current_load=6e-3, current_direct=0.0, voltage_peak=1.0, rail=slow
    )
    told = next(caution.what for caution in found.cautions if "audio band" in caution.what)
    assert f"{found.level_tone_dbv:.1f} dBV behind the last filter".replace("-", "−") in told


@pytest.mark.parametrize("kind", ["single", "doubled", "split"])
def test_budget_is_the_composition_of_its_steps(kind):
    rail = dataclasses.replace(RAIL, rail_kind=kind)
    found = call(rail=rail)
    drawn = {"single": 0.008, "doubled": 0.0143 + SCHOTTKY.current_saturation, "split": 0.0143}[kind]
    assert found.current_supply == pytest.approx(drawn, rel=1e-12)
    safe = supply.series_diode(voltage_supply=9.0, current_load=drawn, diode=RAIL.diode_protection)
    pin = safe.voltage_output - 10.0 * drawn
    assert found.voltage_pin == pytest.approx(pin, rel=1e-12)
    both = ("frequency_pump", "capacitance_pump", "resistance_esr_pump", "capacitance_output", "resistance_esr_output")
    rest = ("voltage_rating_pump", "voltage_rating_output", "low_pin", "converter")
    parts = {name: getattr(RAIL, name) for name in both + rest} | {
        "voltage_supply": pin,
        "current_load": 0.006,
        "resistance_feed": 0.0,
        "resistance_switch": RAIL.converter.resistance_switch,
        "current_idle": RAIL.converter.current_idle_boosted,
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
    steps = found.steps_budget
    assert steps[0].voltage_high == 9.0
    assert steps[-1].voltage_high - steps[-1].voltage_low == pytest.approx(found.voltage_swing)
    # Every loss is the fall of the span, but for the converter, which adds.
    for before, after in itertools.pairwise(steps):
        if after.name != "loss-free converter":
            span_before = before.voltage_high - before.voltage_low
            assert span_before - after.voltage_drop == pytest.approx(after.voltage_high - after.voltage_low, rel=1e-9)


@pytest.mark.parametrize(("frequency", "which"), [(22.5e3, "current_idle_boosted"), (5e3, "current_idle")])
def test_types_give_three_cases_from_worst_to_best(frequency, which):
    """Each case is the budget of parts whose figures all stand at that end at once."""
    converter, op_amp = devices.CONVERTER_1044S, devices.OPAMP_TL072
    rail = dataclasses.replace(RAIL, converter=converter, op_amp=op_amp, frequency_pump=frequency)
    source = supply.adaptor_voltage(0.0143, adaptor=devices.ADAPTOR_9V_REGULATED)
    volts = np.array([source.voltage_supply_min, source.voltage_supply, source.voltage_supply_max])
    found = call(voltage_supply=volts, rail=rail)
    assert np.all(np.diff(found.voltage_swing) > 0) and found.voltage_swing.shape == (3,)
    for place, end in enumerate((2, 1, 0)):
        draws, margin, *headroom = (
            ends(figure)[end]
            for figure in (
                getattr(converter, which), op_amp.input_margin_bottom, op_amp.headroom_top, op_amp.headroom_bottom
            )
        )  # fmt: skip
        pumping = dataclasses.replace(
            converter, resistance_thevenin=ends(converter.resistance_thevenin)[end], **{which: draws}
        )
        swinging = dataclasses.replace(
            devices.typical(op_amp), headroom_top=headroom[0], headroom_bottom=headroom[1], input_margin_bottom=margin
        )
        one = call(voltage_supply=volts[place], rail=dataclasses.replace(rail, converter=pumping, op_amp=swinging))
        for field in ("voltage_positive", "voltage_swing", "current_supply", "headroom_db"):
            assert getattr(found, field)[place] == pytest.approx(getattr(one, field), rel=1e-12)


def test_budget_cautions():
    assert not call().cautions
    assert "clips" in told_by(call(voltage_peak=8.0))
    assert "too near its negative rail" in told_by(call(voltage_peak=5.5))
    assert "below what the TL072 needs" in told_by(call(voltage_supply=3.6))
    flat = call(voltage_supply=1.9)
    assert "no swing" in told_by(flat) and flat.voltage_swing == 0 and flat.level_max_dbv == -INF
    assert "clips" not in told_by(flat)  # told already
    assert "exceed what the TL072" in told_by(call(voltage_supply=19.0))
    assert call(voltage_peak=0.0).headroom_db == INF
    with pytest.raises(ValueError, match="resistance_filter_in"):
        call(voltage_supply=0.2)
    with pytest.raises(ValueError, match="rail_kind"):
        call(rail=dataclasses.replace(RAIL, rail_kind="tripled"))
    with pytest.raises(TypeError, match="rail must be a RailCircuit"):
        call(rail=9.0)


def test_converter_is_held_to_its_limit_at_switch_on():
    """14 V through 100 ohm leave a 12 V part 11.7 V under load, but nearly all of it before the load draws."""
    rail = dataclasses.replace(RAIL, resistance_filter_in=100.0)
    found = call(voltage_supply=14.0, current_load=0.010, rail=rail)
    assert found.voltage_pin < 11.75
    (limit,) = [caution for caution in found.cautions if "at switch-on" in caution.what]
    assert "more than its supply limit" in limit.what and "latch up and die" in limit.what
    drop = supply.series_diode(
        voltage_supply=14.0, current_load=RAIL.converter.current_idle_boosted, diode=RAIL.diode_protection
    )
    assert limit.value == pytest.approx(14.0 - drop.voltage_drop, rel=1e-12) and limit.limit == 12.0
    assert 0.05 < drop.voltage_drop < 0.1  # Schottky diode at 0.3 mA
    old = dataclasses.replace(RAIL, converter=devices.typical(devices.CONVERTER_7660))
    near = told_by(call(voltage_supply=9.7, rail=old))
    assert "within half a volt of its limit" in near and "latch up" not in near
    # The inverter of a split rail likewise, and the capacitors' ratings at the same moment.
    split = dataclasses.replace(rail, rail_kind="split", voltage_rating_pump=13.0)
    told = told_by(call(voltage_supply=14.0, current_load=0.010, rail=split))
    assert "more than its supply limit" in told and "flying capacitor sees" in told


def test_pump_tone_on_the_rail_is_filtered():
    loud = call(rail=dataclasses.replace(RAIL, resistance_filter_out=0.0))
    quiet = call()
    through = rc.lowpass_response(22.5e3, resistance=47.0, capacitance=100e-6, resistance_esr=0.3)
    assert quiet.voltage_tone == pytest.approx(loud.voltage_tone * through.gain, rel=1e-12)
