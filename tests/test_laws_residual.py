"""Every operating point of the closed forms, put into the laws of its parts: Kirchhoff's current law at each node.

The circuits are written out here once more, as resistors and parts between named nodes, and the laws are the public
functions of `pedalcalc.laws`; nothing of the closed forms is used but the voltages that they print.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import bjt, devices, fet, laws, led, opamp, pump, supply, switching
from tests.test_pump import CALLS as PUMP_CALLS

INF = float("inf")
TOLERANCE = 1e-9


def _random(seed, count=200, **ranges):
    """Values even by ratio between two ends, one array a name."""
    random = np.random.default_rng(seed)
    return {name: low * (high / low) ** random.uniform(size=count) for name, (low, high) in ranges.items()}


def _closes(*currents, where, digits=0.0):
    """Assert that currents into a node cancel, to 1e-9 of the largest of them.

    `digits` is what the last digits of the printed volts are worth in amperes, where next to nothing flows.
    """
    currents = np.broadcast_arrays(*currents)
    left = np.abs(np.sum(currents, axis=0))
    allowed = TOLERANCE * np.max(np.abs(currents), axis=0) + 2e-15 * digits
    assert np.all(left <= allowed), f"{where}: {np.max(left / allowed):.3g} times what is allowed is left over"


# --- bipolar stages ----------------------------------------------------------------------------------------------------

BJTS = [
    devices.BJT_2N3904,
    devices.BJT_2N3906,
    devices.BJT_BC549C,
    devices.BJT_AC128,
    replace(devices.BJT_2N3904, name="2N3904 with 2 Ω", resistance_series=2.0),
]


def _part(transistor, parts):
    return replace(devices.typical(transistor), current_gain=parts["current_gain"])


def _without_gain(parts):
    return {name: value for name, value in parts.items() if name != "current_gain"}


def _bipolar(point, transistor, gain, kelvin):
    part = replace(devices.typical(transistor), current_gain=gain)
    return laws.bipolar(
        voltage_base=point.voltage_base,
        voltage_collector=point.voltage_collector,
        voltage_emitter=point.voltage_emitter,
        transistor=part,
        temperature=kelvin,
    )


def _as_printed(point, flow, transistor):
    """The printed currents are those of the law, counted the way they flow in a working part, and so is the region."""
    sign = 1 if transistor.polarity == "npn" else -1
    for name, law in (
        ("current_base", flow.current_base),
        ("current_collector", flow.current_collector),
        ("current_emitter", -np.asarray(flow.current_emitter)),
    ):
        scale = np.maximum(np.abs(flow.current_emitter), np.abs(flow.current_collector))
        np.testing.assert_allclose(
            np.asarray(getattr(point, name)) / scale, sign * law / scale, atol=1e-8, err_msg=name
        )
    same = {"active", "saturated", "cut off"}
    clear = np.isin(flow.region, list(same))
    assert np.all(np.asarray(point.region)[clear] == np.asarray(flow.region)[clear])
    active = np.asarray(point.region) == "active"
    np.testing.assert_allclose(point.transconductance[active], np.asarray(flow.transconductance)[active], rtol=1e-6)
    np.testing.assert_allclose(
        1 / point.resistance_base_emitter[active], np.asarray(flow.conductance_base_emitter)[active], rtol=1e-6
    )


@pytest.mark.parametrize("transistor", BJTS, ids=lambda record: record.name)
@pytest.mark.parametrize("kelvin", [300.0, 313.0])
def test_divider_stage_and_follower(transistor, kelvin):
    parts = _random(
        1,
        resistance_top=(5e3, 2e6),
        resistance_bottom=(5e3, 2e6),
        resistance_collector=(100, 100e3),
        resistance_emitter=(10, 30e3),
        current_gain=(40, 800),
        voltage_supply=(4, 18),
    )
    far = parts["voltage_supply"] if transistor.polarity == "pnp" else 0.0  # where the emitter side hangs
    near = parts["voltage_supply"] - far
    for follower in (False, True):
        stage = _without_gain(parts) | ({"resistance_collector": 0.0} if follower else {})
        point = bjt.divider_bias(transistor=_part(transistor, parts), temperature=kelvin, **stage)
        flow = _bipolar(point, transistor, parts["current_gain"], kelvin)
        _as_printed(point, flow, transistor)
        base, emitter, vcc = point.voltage_base, point.voltage_emitter, parts["voltage_supply"]
        _closes(
            (near - base) / parts["resistance_top"],
            (far - base) / parts["resistance_bottom"],
            -flow.current_base,
            where="base",
        )
        through = (far - emitter) / parts["resistance_emitter"]
        _closes(through, -flow.current_emitter, where="emitter", digits=vcc / parts["resistance_emitter"])
        if not follower:
            through = (near - point.voltage_collector) / parts["resistance_collector"]
            _closes(through, -flow.current_collector, where="collector", digits=vcc / parts["resistance_collector"])


@pytest.mark.parametrize("transistor", BJTS, ids=lambda record: record.name)
@pytest.mark.parametrize("kelvin", [300.0, 283.0])
def test_base_resistor_and_two_supplies(transistor, kelvin):
    parts = _random(
        2,
        resistance_base=(5e3, 5e6),
        resistance_collector=(100, 100e3),
        resistance_emitter=(10, 30e3),
        current_gain=(40, 800),
        voltage_supply=(4, 18),
    )
    vcc, pnp = parts["voltage_supply"], transistor.polarity == "pnp"
    rest = _without_gain(parts) | {"transistor": _part(transistor, parts), "temperature": kelvin}
    point = bjt.base_bias(voltage_base_supply=vcc, **rest)
    near, far = (0.0 * vcc, vcc) if pnp else (vcc, 0.0 * vcc)
    _three_nodes(point, near, near, far, parts, transistor, kelvin)
    point = bjt.base_bias(voltage_base_supply=0.0, voltage_supply_emitter=0.7 * vcc, **rest)
    sign = -1.0 if pnp else 1.0
    _three_nodes(point, 0.0 * vcc, sign * vcc, -sign * 0.7 * vcc, parts, transistor, kelvin)


def _three_nodes(point, at_base, at_collector, at_emitter, parts, transistor, kelvin):
    flow = _bipolar(point, transistor, parts["current_gain"], kelvin)
    _as_printed(point, flow, transistor)
    for name, source, into in (
        ("base", at_base, flow.current_base),
        ("collector", at_collector, flow.current_collector),
        ("emitter", at_emitter, flow.current_emitter),
    ):
        through = (source - getattr(point, f"voltage_{name}")) / parts[f"resistance_{name}"]
        _closes(through, -into, where=name, digits=parts["voltage_supply"] / parts[f"resistance_{name}"])


@pytest.mark.parametrize(
    "transistor", [part for part in BJTS if part.material == "silicon"], ids=lambda record: record.name
)
def test_collector_feedback(transistor):
    parts = _random(
        3,
        resistance_feedback=(20e3, 5e6),
        resistance_collector=(500, 50e3),
        resistance_emitter=(10, 5e3),
        current_gain=(40, 800),
        voltage_supply=(4, 18),
    )
    point = bjt.collector_feedback_bias(transistor=_part(transistor, parts), **_without_gain(parts))
    flow = _bipolar(point, transistor, parts["current_gain"], 300.0)
    _as_printed(point, flow, transistor)
    vcc = parts["voltage_supply"]
    near, far = (0.0 * vcc, vcc) if transistor.polarity == "pnp" else (vcc, 0.0 * vcc)
    back = (point.voltage_collector - point.voltage_base) / parts["resistance_feedback"]
    _closes(back, -flow.current_base, where="base")
    _closes(
        (near - point.voltage_collector) / parts["resistance_collector"],
        -back,
        -flow.current_collector,
        where="collector",
        digits=vcc / parts["resistance_collector"],
    )
    through = (far - point.voltage_emitter) / parts["resistance_emitter"]
    _closes(through, -flow.current_emitter, where="emitter", digits=vcc / parts["resistance_emitter"])


@pytest.mark.parametrize("transistor", [devices.BJT_2N3904, devices.BJT_AC128], ids=lambda record: record.name)
def test_the_swing_ends_where_the_law_saturates(transistor):
    # Lower the collector of an active stage by its room to swing down (up in a PNP) at the same transport current: the
    # very edge of the law's saturation.
    parts = _random(
        5,
        resistance_top=(20e3, 2e6),
        resistance_bottom=(5e3, 2e5),
        resistance_collector=(100, 30e3),
        resistance_emitter=(100, 5e3),
        current_gain=(40, 800),
    )
    point = bjt.divider_bias(9.0, transistor=_part(transistor, parts), **_without_gain(parts))
    active = np.asarray(point.region) == "active"
    assert np.count_nonzero(active) > 50
    sign = 1.0 if transistor.polarity == "npn" else -1.0
    room = point.swing_down if sign > 0 else point.swing_up
    part = replace(devices.typical(transistor), current_gain=parts["current_gain"][active])
    for share, region in ((1 - 1e-6, "active"), (1 + 1e-6, "saturated")):
        lowered = point.voltage_collector - sign * room * share
        flow = laws.bipolar(
            voltage_base=point.voltage_base[active],
            voltage_collector=lowered[active],
            voltage_emitter=point.voltage_emitter[active],
            transistor=part,
        )
        assert np.all(np.asarray(flow.region) == region)


# --- field-effect stages -----------------------------------------------------------------------------------------------


def _channel(point, part):
    return laws.channel(
        voltage_gate=point.voltage_gate,
        voltage_drain=point.voltage_drain,
        voltage_source_pin=point.voltage_source_pin,
        fet=part,
    )


def _fet_nodes(point, part, parts, polarity):
    flow = _channel(point, part)
    vdd = parts["voltage_supply"]
    near, far = (0.0 * vdd, vdd) if polarity == "p" else (vdd, 0.0 * vdd)
    _closes((near - point.voltage_drain) / parts["resistance_drain"], -flow.current_drain, where="drain")
    _closes((far - point.voltage_source_pin) / parts["resistance_source_pin"], flow.current_drain, where="source")
    np.testing.assert_allclose(point.current_drain, np.abs(flow.current_drain), rtol=1e-9, atol=1e-15)
    assert np.all(point.region == flow.region)
    np.testing.assert_allclose(point.transconductance, flow.transconductance, rtol=1e-7, atol=1e-12)
    with np.errstate(divide="ignore"):
        np.testing.assert_allclose(1 / point.resistance_channel, flow.conductance_drain, rtol=1e-7, atol=1e-12)


@pytest.mark.parametrize("polarity", ["n", "p"])
def test_jfet_stages(polarity):
    parts = _random(6, resistance_drain=(300, 50e3), resistance_source_pin=(50, 20e3), voltage_supply=(5, 18))
    figures = _random(7, current_drain_zero_bias=(0.3e-3, 15e-3), voltage_gate_source_off=(0.4, 6))
    sign = -1.0 if polarity == "n" else 1.0
    off = sign * figures["voltage_gate_source_off"]
    kind = devices.JFET_2N5457 if polarity == "n" else devices.JFET_2N5460
    part = replace(
        devices.typical(kind), current_drain_zero_bias=figures["current_drain_zero_bias"], voltage_gate_source_off=off
    )
    plain = fet.self_bias(fet=part, **parts)
    assert {"ohmic", "constant current"} <= set(plain.region)
    _fet_nodes(plain, part, parts, polarity)
    divided = fet.self_bias(resistance_top=2.2e6, resistance_bottom=0.47e6, fet=part, **parts)
    _fet_nodes(divided, part, parts, polarity)


@pytest.mark.parametrize("polarity", ["n", "p"])
def test_mosfet_stages(polarity):
    parts = _random(8, resistance_drain=(100, 50e3), resistance_source_pin=(10, 10e3), voltage_supply=(5, 18))
    device = _random(9, voltage_threshold=(0.5, 3.0), transconductance_parameter=(1e-3, 0.2))
    part = replace(devices.typical(devices.MOSFET_BS170), polarity=polarity, voltage_gate_on=10.0, **device)
    divided = fet.self_bias(resistance_top=2.2e6, resistance_bottom=1e6, fet=part, **parts)
    assert {"ohmic", "constant current"} <= set(divided.region)
    _fet_nodes(divided, part, parts, polarity)


# --- op-amp stages -----------------------------------------------------------------------------------------------------

OP_AMPS = [
    devices.typical(kind)
    for kind in (devices.OPAMP_TL072, devices.OPAMP_NE5532, devices.OPAMP_LM358, devices.OPAMP_4558)
]


def _amplifier(point, op_amp, vcc):
    return laws.amplifier(
        voltage_noninverting=point.voltage_noninverting,
        voltage_inverting=point.voltage_inverting,
        voltage_output=point.voltage_output,
        voltage_positive=vcc,
        voltage_negative=0.0,
        op_amp=op_amp,
    )


def _op_amp_nodes(point, flow, feedback, leg, to_leg):
    """Close the books at output and inverting input; the output is relative to what its resistance can deliver."""
    back = (point.voltage_output - point.voltage_inverting) / feedback
    given = -np.asarray(flow.current_output)
    short = np.abs(flow.voltage_internal) * np.asarray(flow.conductance_output)
    assert np.all(np.abs(given - back) <= TOLERANCE * np.maximum(short, np.abs(back))), "output"
    from_leg = (to_leg - point.voltage_inverting) / leg
    left = np.abs(back + from_leg - flow.current_inverting)
    # The pins are printed as volts to ground, of which a resistor's current keeps fewer digits.
    scale = np.maximum(np.abs(back), np.abs(point.voltage_output) / feedback)
    assert np.all(left <= TOLERANCE * scale), "inverting input"


@pytest.mark.parametrize("op_amp", OP_AMPS, ids=lambda record: record.name)
@pytest.mark.parametrize("straight", [False, True], ids=["capacitor in the gain leg", "gain leg on the reference"])
def test_noninverting_stage(op_amp, straight):
    parts = _random(
        10,
        resistance_bias=(10e3, 2e6),
        resistance_feedback=(1e3, 1e6),
        resistance_ground=(100, 100e3),
        voltage_supply=(9, 18),
    )
    vcc = parts["voltage_supply"]
    reference = np.random.default_rng(11).uniform(0.35, 0.6, vcc.shape) * vcc
    point = opamp.noninverting(
        voltage_half_supply=reference,
        resistance_half_supply=0.0,
        capacitance_input=22e-9,
        capacitance_gain=INF if straight else 1e-6,
        op_amp=op_amp,
        meter=devices.METER_DIGITAL,
        **parts,
    )
    flow = _amplifier(point, op_amp, vcc)
    leg = parts["resistance_ground"] if straight else INF
    _op_amp_nodes(point, flow, parts["resistance_feedback"], leg, reference)
    at_pin = (reference - point.voltage_noninverting) / parts["resistance_bias"]
    assert np.all(np.abs(at_pin - flow.current_noninverting) <= TOLERANCE * reference / parts["resistance_bias"]), (
        "non-inverting input"
    )


@pytest.mark.parametrize("op_amp", OP_AMPS, ids=lambda record: record.name)
def test_follower_and_inverting_stage(op_amp):
    vcc = np.linspace(9.0, 18.0, 40)
    reference = {"voltage_half_supply": 0.48 * vcc, "resistance_half_supply": 5e3, "meter": devices.METER_DIGITAL}
    follower = opamp.follower(vcc, resistance_bias=1e6, capacitance_input=22e-9, op_amp=op_amp, **reference)
    np.testing.assert_array_equal(follower.voltage_output, follower.voltage_inverting)
    flow = _amplifier(follower, op_amp, vcc)
    short = np.abs(flow.voltage_internal) * np.asarray(flow.conductance_output)
    assert np.all(np.abs(flow.current_output + flow.current_inverting) <= TOLERANCE * short)
    inverting = opamp.inverting(
        vcc,
        resistance_feedback=470e3,
        resistance_input=10e3,
        capacitance_input=1e-6,
        resistance_compensation=100e3,
        op_amp=op_amp,
        **reference,
    )
    _op_amp_nodes(inverting, _amplifier(inverting, op_amp, vcc), 470e3, INF, 0.0)


# --- lamps, supply and pump --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "lamp", [devices.LED_RED_GAASP, devices.LED_BLUE, devices.LED_WHITE], ids=lambda record: record.name
)
@pytest.mark.parametrize("count", [1, 3])
def test_lamps_behind_a_resistor(lamp, count):
    part = devices.typical(lamp)
    volts = np.linspace(-4.5, 18.0, 100)[:, np.newaxis]
    ohms = np.array([10.0, 470.0, 3.3e3, 1e6])
    point = led.operating_point(volts, resistance=ohms, led=[part] * count)
    flow = laws.junction(point.voltage_led / count, junction=part)
    _closes(point.voltage_resistor / ohms, -flow.current, where="lamp")
    _closes(point.current, -flow.current, where="printed current")
    np.testing.assert_allclose(point.voltage_led + point.voltage_resistor, np.broadcast_to(volts, (100, 4)), rtol=1e-12)
    same = laws.junction_in_series(volts, resistance=ohms, junction=part, count=count)
    np.testing.assert_allclose(point.current, same.current, rtol=1e-10)


@pytest.mark.parametrize("diode", [devices.DIODE_1N5817, devices.DIODE_1N4001], ids=lambda record: record.name)
def test_supply_diodes(diode):
    part = devices.typical(diode)
    current = np.geomspace(1e-6, 0.5, 30)
    series = supply.series_diode(voltage_supply=9.0, current_load=current, diode=part)
    _closes(laws.junction(9.0 - series.voltage_output, junction=part).current, -current, where="series diode")
    load = np.geomspace(20.0, 1e7, 30)
    loaded = supply.series_diode(voltage_supply=9.0, resistance_load=load, diode=part)
    _closes(
        laws.junction(loaded.voltage_drop, junction=part).current, -loaded.voltage_output / load, where="loaded diode"
    )
    shunt = supply.shunt_diode(
        voltage_supply=9.0, current_load=0.01, resistance_series=load, current_fuse=INF, diode=part
    )
    _closes(
        (9.0 - shunt.voltage_reverse) / load,
        -laws.junction(shunt.voltage_reverse, junction=part).current,
        where="shunt diode",
    )


def test_indicator_lit_and_read_by_a_meter():
    """Lit, the lamp takes what its resistor gives; bypassed it passes what the meter at its cathode takes."""
    part = devices.typical(devices.LED_RED_GAASP)
    volts, ohms, meter = np.array([[3.0], [9.0], [18.0]]), np.array([330.0, 3.9e3, 47e3]), 1e6
    point = switching.indicator_states(volts, resistance_led=ohms, led=part, wiring="grounded", resistance_meter=meter)
    anode = point.voltage_anode_engaged
    _closes((volts - anode) / ohms, -laws.junction(anode, junction=part).current, where="lit")
    cathode = point.voltage_cathode_bypassed
    taken = cathode / meter
    _closes(laws.junction(volts - ohms * taken - cathode, junction=part).current, -taken, where="read", digits=1e-3)


@pytest.mark.parametrize("mosfet", [devices.MOSFET_IRF9540, devices.MOSFET_LOGIC_P, devices.MOSFET_BS250])
def test_supply_mosfet(mosfet):
    part = devices.typical(mosfet)
    volts = np.linspace(1.0, 12.0, 23)[:, np.newaxis]
    current = np.array([1e-4, 0.02, 0.15])
    point = supply.series_mosfet(voltage_supply=volts, current_load=current, mosfet=part)
    # Drain to the supply, source to the build, gate to ground; the body diode points from drain to source.
    channel = laws.channel(
        voltage_gate=0.0,
        voltage_drain=volts,
        voltage_source_pin=point.voltage_output,
        fet=replace(part, transconductance_parameter=np.nan),
    )
    body = laws.junction(point.voltage_drop, junction=part)
    _closes(channel.current_drain, body.current, -current, where="source")


def test_zener_regulator():
    part = replace(
        devices.typical(devices.ZENER_BZX55C5V1), voltage_zener=6.8, current_test=5e-3, resistance_slope=20.0
    )
    parts = _random(12, voltage_supply=(2, 30), resistance=(50, 5e3), resistance_load=(100, 1e6))
    point = supply.zener_regulator(zener=part, **parts)
    assert point.regulates.any() and not point.regulates.all()
    flow = laws.junction(-np.asarray(point.voltage_output), junction=part)
    # The straight line of the textbooks leaves out the picoamperes that the junction passes in reverse.
    _closes(
        (parts["voltage_supply"] - point.voltage_output) / parts["resistance"],
        -point.voltage_output / parts["resistance_load"],
        flow.current + part.current_saturation,
        where="Zener",
    )
    held = laws.junction_in_series(-parts["voltage_supply"], resistance=parts["resistance"], junction=part)
    free = supply.zener_regulator(voltage_supply=parts["voltage_supply"], resistance=parts["resistance"], zener=part)
    np.testing.assert_allclose(free.voltage_output, -held.voltage_junction, rtol=1e-8)


def test_pump_diodes_drop_what_the_law_says_at_their_pulse():
    # Fast, with large capacitors without series resistance, each pulse is even and fills its half period.
    call = PUMP_CALLS["doubler"] | {"frequency_pump": 1e6, "capacitance_pump": 1e-3, "capacitance_output": 1e-3}
    load = np.array([1e-4, 1e-3, 5e-3, 20e-3])
    call |= {"current_load": load, "resistance_esr_pump": 0.0, "resistance_esr_output": 0.0, "count": 1}
    double = pump.doubler(**call | {"resistance_load": np.inf})
    pulse = laws.junction(double.voltage_drop_diodes / 2, junction=call["diode"])
    # Twice the load for half the time, and what the other diode leaks meanwhile.
    np.testing.assert_allclose(pulse.current, 2 * load + call["diode"].current_saturation, rtol=1e-4)
