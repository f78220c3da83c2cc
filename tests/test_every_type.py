"""Every type of the tables on a board of its own: its pins are found, and it stands where its closed form says."""

from __future__ import annotations

import re

import pytest

from pedalcalc import bjt, circuit, devices, fet, laws
from pedalcalc.devices import Bjt, Diode, Jfet, OpAmp, Zener
from tests.circuit_parts import NAN, board, part, resistor


def _types(kind):
    return [name for name in sorted(devices.__all__) if isinstance(getattr(devices, name), kind)]


def _turned(polarity, one, other):
    return (one, other) if polarity in ("npn", "n") else (other, one)


@pytest.mark.parametrize("name", _types(Bjt))
def test_a_transistor_in_a_divider_stage(name):
    record = getattr(devices, name)
    high, low = _turned(record.polarity, "rail", "ground")
    one = board(
        resistor("R1", 100e3, high, "base"), resistor("R2", 22e3, "base", low), resistor("R3", 4.7e3, high, "collector"),
        resistor("R4", 1e3, "emitter", low),
        part("Q1", "transistor", NAN, "", record.name, base="base", collector="collector", emitter="emitter"),
    )  # fmt: skip
    volts = circuit.operating_point(one).voltages
    point = bjt.divider_bias(
        9.0, resistance_top=100e3, resistance_bottom=22e3, resistance_collector=4.7e3, resistance_emitter=1e3,
        transistor=devices.typical(record),
    )  # fmt: skip
    assert volts["emitter"] == pytest.approx(point.voltage_emitter, rel=1e-6)
    measured = abs(volts["emitter"] - (0.0 if low == "ground" else 9.0))
    # By hand (common practice): a drop of 0.1 to 0.35 V for germanium, 0.5 to 0.75 V for silicon, and little base current.
    drop = 1.62 - measured
    assert 0.05 < drop < 0.4 if record.material == "germanium" else 0.5 < drop < 0.85


@pytest.mark.parametrize("name", _types(Jfet))
def test_a_jfet_on_its_source_resistor(name):
    record = getattr(devices, name)
    high, low = _turned(record.polarity, "rail", "ground")
    one = board(
        resistor("R1", 1e6, "gate", low), resistor("R2", 1e3, high, "drain"), resistor("R3", 2.2e3, "source", low),
        part("Q1", "transistor", NAN, "", record.name, gate="gate", drain="drain", source="source"),
    )  # fmt: skip
    volts = circuit.operating_point(one).voltages
    point = fet.self_bias(9.0, resistance_drain=1e3, resistance_source_pin=2.2e3, fet=devices.typical(record))
    assert volts["source"] == pytest.approx(point.voltage_source_pin, abs=2e-3)
    # The gate stands back from the source by less than what cuts the usual one off.
    assert 0.2 < abs(volts["source"] - volts["gate"]) < abs(devices.typical(record).voltage_gate_source_off)


@pytest.mark.parametrize("name", _types(OpAmp))
def test_every_amplifier_of_a_package_follows(name):
    record = getattr(devices, name)
    units = {}
    for pin in record.pinouts[0].entries:
        units.setdefault(pin.unit, {})[pin.role] = pin.pin
    count = max(1, len([unit for unit in units if unit]))
    pins, strings = {}, []
    for pin in record.pinouts[0].entries:
        net = {
            "output": f"out{pin.unit}", "inverting input": f"out{pin.unit}", "non-inverting input": f"in{pin.unit}",
            "negative rail": "ground", "positive rail": "rail", "not connected": "not connected",
        }[pin.role]  # fmt: skip
        pins[f"_{pin.pin}"] = net
    for k, unit in enumerate(sorted({pin.unit for pin in record.pinouts[0].entries if pin.role == "output"})):
        top = 10e3 + 1e3 * k
        strings += [
            resistor(f"R{2 * k + 1}", top, "rail", f"in{unit}"),
            resistor(f"R{2 * k + 2}", 10e3, f"in{unit}", "ground"),
        ]
    volts = circuit.operating_point(
        board(*strings, part("IC1", "integrated circuit", NAN, "", record.name, **pins), supply=18.0)
    ).voltages
    outs = sorted(net for net in volts if net.startswith("out"))
    assert len(outs) == count
    for k, net in enumerate(outs):
        assert volts[net] == pytest.approx(18.0 * 10 / (20 + k), abs=0.02)


@pytest.mark.parametrize("name", _types(Diode))
def test_a_diode_behind_a_resistor(name):
    record = getattr(devices, name)
    one = board(
        resistor("R1", 1e3, "rail", "anode"), part("D1", "diode", NAN, "", record.name, anode="anode", cathode="ground")
    )
    drop = circuit.operating_point(one).voltages["anode"]
    law = devices.typical(record)
    assert drop == pytest.approx(
        float(laws.junction_in_series(9.0, resistance=1e3, junction=law).voltage_junction), rel=1e-6
    )
    assert 0.1 < drop < 0.8


@pytest.mark.parametrize("name", _types(Zener))
def test_a_zener_diode_holds_its_volts(name):
    record = getattr(devices, name)
    wanted = devices.typical(record)
    supply = 1.5 * wanted.voltage_zener
    one = board(
        resistor("R1", 0.5 * wanted.voltage_zener / wanted.current_test, "rail", "held"),
        part("D1", "diode", NAN, "", record.name, cathode="held", anode="ground"), supply=supply,
    )  # fmt: skip
    assert circuit.operating_point(one).voltages["held"] == pytest.approx(wanted.voltage_zener, rel=1e-3)


#: Leads from left to right, flat side towards you (from memory; the metal can: from the tab on).
LEADS = {
    "REGULATOR_78L05": "output ground input", "REGULATOR_78L12": "output ground input",
    "REGULATOR_79L05": "ground input output", "REGULATOR_79L12": "ground input output",
    "REGULATOR_LM317L": "adjust output input",
    "BJT_2SC1815": "emitter collector base", "BJT_BC547B": "collector base emitter", "BJT_BC557B": "collector base emitter",
    "BJT_2N4401": "emitter base collector", "BJT_MPSA18": "emitter base collector", "BJT_BC108": "emitter base collector",
    "JFET_J112": "drain source gate", "JFET_MPF102": "drain source gate", "JFET_2N3819": "drain gate source",
}  # fmt: skip


@pytest.mark.parametrize("name", LEADS)
def test_leads_stand_in_the_order_of_the_trade(name):
    assert [pin.role for pin in getattr(devices, name).pinouts[0].entries] == LEADS[name].split()


@pytest.mark.parametrize("name", [name for name in _types(Bjt) if re.fullmatch(r"BJT_BC\d+[ABC]", name)])
def test_the_letter_of_a_european_type_is_its_gain_group(name):
    # from memory: A 110 to 220, B 200 to 450, C 420 to 800; pnp A 125 to 250, B 220 to 475, C 420 to 800
    record = getattr(devices, name)
    groups = {"A": (110, 220), "B": (200, 450), "C": (420, 800)}
    if record.polarity == "pnp":
        groups |= {"A": (125, 250), "B": (220, 475)}
    assert (record.current_gain.low, record.current_gain.high) == groups[name[-1]]
    assert record.current_gain.low < devices.typical(record).current_gain < record.current_gain.high


@pytest.mark.parametrize("name", _types(Zener))
def test_a_zener_diode_has_the_volts_of_its_name(name):
    # 1N47..A from memory: 5 % each way; BZX55C: the C is 5 %, rounded to a tenth of a volt and cut where the next begins
    record = getattr(devices, name)
    volts = record.voltage_zener
    if told := re.search(r"BZX55C(\d+)V?(\d?)", name):
        assert volts.typical == float(f"{told[1]}.{told[2] or 0}")
    else:
        wanted = {28: 3.3, 33: 5.1, 34: 5.6, 35: 6.2, 36: 6.8, 39: 9.1, 40: 10.0, 42: 12.0, 44: 15.0, 46: 18.0}
        assert volts.typical == wanted[int(name[-3:-1])]
        assert (volts.low, volts.high) == pytest.approx((0.95 * volts.typical, 1.05 * volts.typical), abs=6e-3)
    assert volts.low == pytest.approx(0.95 * volts.typical, rel=0.035)
    assert volts.high == pytest.approx(1.05 * volts.typical, rel=0.035)
