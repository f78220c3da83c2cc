"""One valid call of every public function of `pedalcalc.bias`; the checks stand in test_bias_*.py."""

from __future__ import annotations

from pedalcalc import bias
from pedalcalc.devices import BJT_2N3904, BJT_AC128, BJT_BC549C

_DIVIDER = {"resistance_top": 68e3, "resistance_bottom": 15e3}
_RULE = {
    "current_gain": 150,
    "voltage_base_emitter": 0.7,
    "voltage_thermal": 0.026,
    "convention": "beta plus one",
    "polarity": "npn",
}
_EXACT = {"current_gain": 150, "transistor": BJT_2N3904, "temperature": 300.0}

CALLS = {
    "bjt_divider": {
        "voltage_supply": 9.0,
        **_DIVIDER,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 1e3,
        **_EXACT,
    },
    "bjt_follower": {"voltage_supply": 9.0, **_DIVIDER, "resistance_emitter": 1e3, **_EXACT},
    "bjt_base_resistor": {
        "voltage_supply": 9.0,
        "voltage_base_supply": 9.0,
        "resistance_base": 1e6,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 100.0,
        **_EXACT,
    },
    "bjt_emitter_bias": {
        "voltage_supply": 9.0,
        "voltage_supply_emitter": 9.0,
        "resistance_base": 100e3,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 8.2e3,
        **_EXACT,
    },
    "bjt_collector_feedback": {
        "voltage_supply": 9.0,
        "resistance_feedback": 1e6,
        "resistance_collector": 10e3,
        "resistance_emitter": 100.0,
        **_EXACT,
    },
    "bjt_divider_readings": {
        "voltage_supply": 9.0,
        **_DIVIDER,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 1e3,
        "current_gain": 150,
        "transistor": BJT_2N3904,
        "resistance_meter": 1e6,
        "temperature": 300.0,
    },
    "bjt_divider_rule": {
        "voltage_supply": 9.0,
        **_DIVIDER,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 1e3,
        "voltage_saturation": 0.2,
        **_RULE,
    },
    "bjt_base_resistor_rule": {
        "voltage_supply": 9.0,
        "voltage_base_supply": 9.0,
        "resistance_base": 1e6,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 100.0,
        "voltage_saturation": 0.2,
        **_RULE,
    },
    "bjt_emitter_bias_rule": {
        "voltage_supply": 9.0,
        "voltage_supply_emitter": 9.0,
        "resistance_base": 100e3,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 8.2e3,
        "voltage_saturation": 0.2,
        **_RULE,
    },
    "bjt_collector_feedback_rule": {
        "voltage_supply": 9.0,
        "resistance_feedback": 1e6,
        "resistance_collector": 10e3,
        "resistance_emitter": 100.0,
        **_RULE,
    },
    "base_resistor_for_current": {
        "current_wanted": 1e-3,
        "voltage_base_supply": 9.0,
        "current_gain": 150,
        "resistance_emitter": 100.0,
        "resistance_emitter_dynamic": 26.0,
        "voltage_base_emitter": 0.7,
        "convention": "beta",
    },
    "feedback_resistor_for_current": {
        "current_wanted": 0.5e-3,
        "voltage_supply": 9.0,
        "current_gain": 150,
        "resistance_collector": 10e3,
        "resistance_emitter": 100.0,
        "voltage_base_emitter": 0.7,
        "convention": "beta",
    },
    "divider_for_current": {
        "current_wanted": 1e-3,
        "voltage_supply": 9.0,
        "current_gain": 150,
        "fraction_emitter": 0.1,
        "fraction_transistor": 0.5,
        "stiffness": 0.01,
        "voltage_base_emitter": 0.7,
    },
    "collector_current_limit": {
        "voltage_supply": 9.0,
        "resistance_collector": 4.7e3,
        "resistance_emitter": 1e3,
        "voltage_saturation": 0.2,
    },
    "leakage_at_temperature": {"temperature": 310.0, "transistor": BJT_AC128},
    "collector_emitter_leakage": {"current_collector_base_leakage": 3e-6, "current_gain": 80},
    "true_current_gain": {"current_collector": 1.1e-3, "current_collector_open": 0.3e-3, "current_base": 10e-6},
}


def test_every_record_solves_a_stage():
    for name in ("BJT_2N3904", "BJT_2N5088", "BJT_BC549B", "BJT_BC549C", "BJT_AC128", "BJT_OC44", "BJT_2N3906"):
        record = getattr(__import__("pedalcalc.devices").devices, name)
        point = bias.bjt_divider(**(CALLS["bjt_divider"] | {"transistor": record}))
        assert point.region == "active", name
    assert [role for _, _, role in BJT_BC549C.pinouts[0].entries] == ["collector", "base", "emitter"]
