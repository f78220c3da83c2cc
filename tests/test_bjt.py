"""One valid call of every public function of `pedalcalc.bjt`, and what its records owe; more in test_bjt_bias.py."""

from __future__ import annotations

import dataclasses
import importlib
from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import bjt, devices
from pedalcalc.devices import BJT_2N3904, BJT_AC128, BJT_BC549C, METER_CHEAP
from tests import test_contract

_PART = replace(devices.typical(BJT_2N3904), current_gain=150.0)
_EXACT = {"transistor": _PART, "temperature": 300.0}
_DIVIDER = {
    "voltage_supply": 9.0,
    "resistance_top": 68e3,
    "resistance_bottom": 15e3,
    "resistance_collector": 4.7e3,
    "resistance_emitter": 1e3,
    **_EXACT,
}

CALLS = {
    "divider_bias": _DIVIDER,
    "base_bias": {
        "voltage_supply": 9.0,
        "voltage_base_supply": 1.0,
        "resistance_base": 100e3,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 8.2e3,
        "voltage_supply_emitter": 9.0,
        **_EXACT,
    },
    "collector_feedback_bias": {
        "voltage_supply": 9.0,
        "resistance_feedback": 1e6,
        "resistance_collector": 10e3,
        "resistance_emitter": 100.0,
        **_EXACT,
    },
    "divider_readings": {**_DIVIDER, "meter": METER_CHEAP},
    "base_resistor": {
        "current_wanted": 1e-3,
        "voltage_base_supply": 9.0,
        "resistance_emitter": 100.0,
        **_EXACT,
    },
    "feedback_resistor": {
        "current_wanted": 0.5e-3,
        "voltage_supply": 9.0,
        "resistance_collector": 10e3,
        "resistance_emitter": 100.0,
        **_EXACT,
    },
    "choose_divider_bias": {
        "current_wanted": 1e-3,
        "voltage_supply": 9.0,
        "stock": "E12",
        "fraction_emitter": 0.1,
        "fraction_transistor": 0.5,
        "stiffness": 0.01,
        **_EXACT,
    },
    "fit_bjt": {
        "current_collector": 1.1e-3,
        "current_collector_open": 0.3e-3,
        "current_base": 10e-6,
        "transistor": BJT_AC128,
        "temperature": 300.0,
    },
}


def test_every_record_solves_a_stage():
    for name in ("BJT_2N3904", "BJT_2N5088", "BJT_BC549B", "BJT_BC549C", "BJT_AC128", "BJT_OC44", "BJT_2N3906"):
        part = replace(devices.typical(getattr(devices, name)), current_gain=150.0)
        point = bjt.divider_bias(**(_DIVIDER | {"transistor": part}))
        assert point.region == "active", name
    assert [role for _, _, role in BJT_BC549C.pinouts[0].entries] == ["collector", "base", "emitter"]


@pytest.mark.parametrize("name", ["divider_bias", "base_bias", "collector_feedback_bias", "divider_readings"])
def test_types_are_refused_by_the_bias_functions(name):
    with pytest.raises(TypeError, match=r"devices\.typical"):
        getattr(bjt, name)(**(CALLS[name] | {"transistor": BJT_2N3904}))


def test_many_units_are_one_record():
    gains = np.array([100.0, 150.0, 300.0])
    lot = bjt.divider_bias(**(_DIVIDER | {"transistor": replace(_PART, current_gain=gains)}))
    one = bjt.divider_bias(**_DIVIDER)
    assert lot.current_collector.shape == (3,) and lot.current_collector[1] == one.current_collector
    drawn = bjt.divider_bias(**(_DIVIDER | {"transistor": devices.drawn(BJT_2N3904, count=50, seed=1)}))
    assert np.ptp(drawn.current_collector) > 0 and np.all(drawn.region == "active")


def test_a_fitted_transistor_gives_its_readings_back():
    # The tester: base current into the base, or none, collector straight on the supply.
    part = replace(devices.typical(BJT_AC128), current_gain=80.0)
    tester = {"voltage_supply": 9.0, "resistance_collector": 0.0, "resistance_emitter": 0.0, "transistor": part}
    open_base = bjt.base_bias(voltage_base_supply=9.0, resistance_base=np.inf, **tester).current_collector
    pushed = bjt.base_bias(voltage_base_supply=1e4, resistance_base=1e9, **tester)
    found = bjt.fit_bjt(
        pushed.current_collector,
        current_collector_open=open_base,
        current_base=pushed.current_base,
        transistor=BJT_AC128,
    )
    assert found.current_gain == pytest.approx(80.0, rel=1e-6)
    assert found.current_collector_base_leakage == pytest.approx(part.current_collector_base_leakage, rel=1e-6)
    assert found.polarity == "pnp" and found.current_for_gain == pushed.current_collector
    warm = bjt.fit_bjt(1e-3, current_collector_open=0.2e-3, current_base=8e-6, transistor=BJT_AC128, temperature=309.6)
    cool = bjt.fit_bjt(1e-3, current_collector_open=0.2e-3, current_base=8e-6, transistor=BJT_AC128)
    assert warm.current_collector_base_leakage == pytest.approx(cool.current_collector_base_leakage / 2)
    assert warm.current_gain == cool.current_gain == pytest.approx(100.0)


@pytest.mark.parametrize("kind", [BJT_AC128, devices.BJT_OC44], ids=["AC128", "OC44"])
@pytest.mark.parametrize("kelvin", [293.15, 300.0, 308.0])
@pytest.mark.parametrize("leak", [0.3e-3, 2e-6, 50e-9])
def test_readings_of_a_leaky_transistor_come_back_from_its_fit(kind, kelvin, leak):
    # Invented readings: 1.1 mA at 10 µA into the base; 0.3 mA with the base open, a gain of 80 beyond the leakage; or less
    # than the 36 µA that the type's junctions let through, so that those of the part itself let less through.
    mine = bjt.fit_bjt(1.1e-3, current_collector_open=leak, current_base=10e-6, transistor=kind, temperature=kelvin)
    tester = {"voltage_supply": 9.0, "resistance_collector": 0.0, "resistance_emitter": 0.0, "temperature": kelvin}
    rest = bjt.base_bias(voltage_base_supply=9.0, resistance_base=np.inf, transistor=mine, **tester)
    assert rest.current_collector == pytest.approx(leak, rel=1e-6)
    pushed = bjt.base_bias(voltage_base_supply=1e6, resistance_base=1e6 / 10e-6, transistor=mine, **tester)
    assert pushed.current_collector == pytest.approx(1.1e-3, rel=1e-6)
    typical = devices.typical(kind).voltage_forward
    assert mine.voltage_forward == typical if leak == 0.3e-3 else typical < mine.voltage_forward < typical + 0.2
    none = bjt.fit_bjt(1.1e-3, current_collector_open=0.0, current_base=10e-6, transistor=kind, temperature=kelvin)
    assert none.voltage_forward == typical  # a meter that shows nothing tells nothing of the junctions


@pytest.mark.parametrize("name", ["current_collector", "current_collector_open", "current_base", "temperature"])
def test_a_reading_that_is_none_is_refused_by_name(name):
    with pytest.raises(ValueError, match=rf"^{name} must be known"):
        bjt.fit_bjt(**(CALLS["fit_bjt"] | {name: np.nan}))
    with pytest.raises(ValueError, match=rf"^{name} must be known.* at index \(1,\)"):
        bjt.fit_bjt(**(CALLS["fit_bjt"] | {name: np.array([CALLS["fit_bjt"][name], np.nan])}))


def test_a_leaky_part_of_some_ohms_gives_its_readings_back():
    """A record of one's own with 20 Ω in its junctions: with the base open next to nothing drops across them, at the reference 20 mV."""
    kind = replace(devices.typical(BJT_AC128), resistance_series=20.0, voltage_forward=0.17)
    mine = bjt.fit_bjt(1.1e-3, current_collector_open=2e-6, current_base=10e-6, transistor=kind)
    open_base = {
        "voltage_base_supply": 9.0,
        "resistance_base": np.inf,
        "resistance_collector": 0.0,
        "resistance_emitter": 0.0,
    }
    found = bjt.base_bias(voltage_supply=9.0, transistor=mine, **open_base)
    assert found.current_collector == pytest.approx(2e-6, rel=1e-6)


@pytest.mark.parametrize("room", ["bjt", "fet", "opamp", "stage"])
def test_results_share_no_memory_with_their_inputs(room):
    calls = importlib.import_module(f"tests.test_{room}").CALLS
    functions = importlib.import_module(f"pedalcalc.{room}")
    for name, call in calls.items():
        if getattr(functions, name).kind != "formula":
            continue
        arrays = {key: np.full(3, value) for key, value in call.items() if isinstance(value, (int, float))}
        result = getattr(functions, name)(**(call | arrays))
        found = (
            [result]
            if isinstance(result, np.ndarray)
            else [getattr(result, f.name) for f in dataclasses.fields(result)]
        )
        for value in found:
            if isinstance(value, np.ndarray):
                assert not any(np.shares_memory(value, array) for array in arrays.values()), name


@pytest.mark.parametrize("gain", [150.0, np.inf])
@pytest.mark.parametrize("name", ["divider_bias", "base_bias", "collector_feedback_bias", "base_resistor"])
@pytest.mark.filterwarnings("ignore::pedalcalc._result.ModelRangeWarning")
def test_a_constant_drop_owes_what_every_formula_owes(name, gain, monkeypatch):
    part = replace(_PART, ideality=0.0, voltage_forward=0.7, current_gain=gain)
    monkeypatch.setitem(CALLS, name, CALLS[name] | {"transistor": part})
    function = getattr(bjt, name)
    test_contract.test_shorts_and_opens_leave_no_silent_nan("bjt", name, function)
    test_contract.test_no_result_is_minus_zero("bjt", name, function, 0.0)
    if np.isfinite(gain):
        test_contract.test_formula_keeps_nan_in_its_place("bjt", name, function)
        test_contract.test_formula_broadcasts_element_by_element("bjt", name, function)
