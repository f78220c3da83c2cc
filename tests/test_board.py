"""A build from its list: what stands in parts.csv is what is computed."""

from __future__ import annotations

import csv
import dataclasses
import functools
import re

import numpy as np
import pytest

from pedalcalc import bench, board, circuit, compressor, devices, laws, opto, parts, supply
from pedalcalc._record import ends
from pedalcalc._result import Spread
from pedalcalc.board import BOOSTER_ROLES, OPTICAL_ROLES
from pedalcalc.board._agreed import agreed
from pedalcalc.board._dynamics import DrawnParts, told_threshold
from pedalcalc.board._rows import Parts, told_range
from pedalcalc.catalogue import find_device
from pedalcalc.values import read_value
from tests.circuit_parts import resistor
from tests.conftest import ROOT

BUILDS = ROOT / "notebooks" / "builds"
COMPRESSOR = BUILDS / "optical-compressor" / "parts.csv"
BOOSTER = BUILDS / "jfet-booster" / "parts.csv"
SUPPLY = (8.55, 9.0, 9.45)
WANTED = {
    "current_wanted": 1.5e-3, "current_led": 2e-3, "reduction_db": 20.0, "threshold_dbv": -25.0,
    "time_attack_wanted": 5e-3, "time_release_wanted": 0.1, "frequency_corner": 8.0,
}  # fmt: skip
BOOST_WANTED = {
    "current_ratio": 0.36, "current_emitter": 0.5e-3, "current_wanted": 1.5e-3, "frequency": 82.0,
    "resistance_generator": 10e3, "resistance_load": 470e3,
}  # fmt: skip
EITHER_CASE = [{"values": {"R1": 1e3}}, {"values": {"r1": 1e3}}, {"faults": {"R1": "open"}}, {"faults": {"r1": "open"}}]
AROUND = {"resistance_generator": 10e3, "resistance_load": 1e6}


@functools.cache
def compressor_build():
    return board.assemble(COMPRESSOR, supply=SUPPLY, rotations={"VR1": 1.0, "VR2": 0.3, "VR3": 0.3})


@functools.cache
def booster_build():
    return board.assemble(BOOSTER, supply=(7.0, 9.0, 9.6))


def stages(build):
    fed = board.doubled_supply(build, roles=OPTICAL_ROLES)
    return fed, board.optical_compressor(build, supplied=fed, roles=OPTICAL_ROLES, **AROUND)


PLAIN, (FED, STAGES) = compressor_build(), stages(compressor_build())
CALLS = {
    "assemble": {"parts": COMPRESSOR, "supply": SUPPLY},
    "changed": {"board": PLAIN},
    "compared": {"board": PLAIN},
    "doubled_supply": {"board": PLAIN, "roles": OPTICAL_ROLES},
    "jfet_booster": {"board": booster_build(), "roles": BOOSTER_ROLES} | BOOST_WANTED,
    "optical_compressor": {"board": PLAIN, "supplied": FED, "roles": OPTICAL_ROLES} | AROUND,
    "optical_design": {"board": PLAIN, "supplied": FED, "optical": STAGES, "roles": OPTICAL_ROLES} | WANTED,
    "optical_timing": {"board": PLAIN, "optical": STAGES, "roles": OPTICAL_ROLES},
    "own_part": {"path": BOOSTER.parent / "readings" / "q1.csv", "device": devices.JFET_2N5457},
}


def life(build, current):
    return supply.battery_life(current_load=current, voltage_end=7.0, battery=build.record("B1")).hours_life


def figures(build):
    """Return what the compressor's sheet rests on, by a short name."""
    fed, built = stages(build)
    circuit, budget = built.compressor, fed.budget
    return {
        "rail": budget.voltage_positive, "drawn": budget.current_supply, "half": fed.half.voltage_output / budget.voltage_positive,
        "settle": fed.half.time_settle, "tone": budget.voltage_tone, "swing": budget.voltage_positive - budget.voltage_high,
        "lamp": fed.current_direct, "led": fed.current_led, "side rail": budget.voltage_positive[1] - 2 * fed.voltage_rail[1],
        "diode": fed.voltage_diode, "low": built.frequency_low, "low out": built.frequency_low_output,
        "biased": built.follower.voltage_noninverting_read / budget.voltage_positive, "make-up": circuit.gain_makeup,
        "arm": circuit.resistance_input, "side gain": circuit.gain_sidechain, "attack": circuit.resistance_attack,
        "release": circuit.resistance_release, "hold": circuit.capacitance_hold, "R led": circuit.resistance_led,
        "cell": circuit.coupler.cell.resistance_10lx, "thump in": built.thump_in.voltage_step, "thump out": built.thump_out.voltage_step,
        "thump lamp": built.rail_step.voltage_step_rail, "thump time": built.rail_step.time_constant, "rectifier": {"full": 2.0, "half": 1.0}[circuit.rectifier],
        "level": build.control("VR4").resistance_total, "unplugged": built.states.current_unplugged,
        "life": life(build, budget.current_supply[1]),
    }  # fmt: skip


def moved(before, after):
    return {name for name in before if not np.allclose(before[name], after[name], rtol=1e-9, atol=0)}


def booster_figures(build):
    """Return what the booster's sheet rests on, by a short name."""
    found = board.jfet_booster(build, roles=BOOSTER_ROLES, **BOOST_WANTED)
    return {
        "protected": found.safe.voltage_output, "rail": found.filtered.voltage_output, "hum": found.filtered.frequency_corner,
        "drain current": found.jfet.current_drain, "drain": found.jfet.voltage_drain, "source": found.jfet.voltage_source_pin,
        "emitter": found.follower.voltage_emitter, "emitter current": found.follower.current_emitter,
        "gain": found.gain, "plain": found.gain_plain, "z in": found.impedance_input, "low": found.frequency_low,
        "low bypass": found.frequency_low_bypass, "low out": found.frequency_low_output, "peak": found.voltage_peak,
        "lamp": found.lights.current_engaged, "thump in": found.thump_in.voltage_step, "thump out": found.thump_out.voltage_step,
        "level": build.control("VR1").resistance_total, "unplugged": found.states.current_unplugged,
        "life": life(build, found.states.current_engaged),
    }  # fmt: skip


@functools.cache
def plain_figures():
    """Return the figures of both lists as they stand, computed once for all swaps."""
    return figures(PLAIN), booster_figures(booster_build())


# What hangs on the supply moves together; what each part moves besides is written beside it.
FEED = "biased drawn lamp life led rail side-rail thump-in thump-lamp thump-out tone"
SWAPS = {
    "R1": ("20R", FEED + " thump-time"), "R2": ("94R", FEED), "R3": ("20k", FEED + " half settle"),
    "R4": ("20k", FEED + " half settle"), "R5": ("4M4", "thump-in"), "R6": ("2M", "biased low"), "R7": ("78k", "arm"),
    "R8": ("66k", "make-up thump-in low-out"), "R9": ("20k", "make-up thump-in low-out"), "R10": ("136k", "side-gain"),
    "R11": ("20k", "side-gain"), "R12": ("20k", "rectifier"), "R13": ("20k", "rectifier side-gain"),
    "R14": ("5k4", "attack"), "R15": ("200k", "release"), "R16": ("5k4", "R-led led side-rail"), "R17": ("9k4", FEED),
    "R18": ("4M4", "low-out thump-out"), "D1": ("1N4148", FEED), "D2": ("1N4148", FEED), "D3": ("1N4148", FEED),
    "D4": ("1N5817", "diode led side-rail"), "D5": ("1N5817", "diode led side-rail"), "IC1": ("7660", FEED),
    "IC2": ("NE5532", FEED + " low-out"), "IC3": ("TL072", FEED), "IC4": ("TL072", FEED), "C1": ("44n", "low"),
    "C2": ("2u", "hold"), "C3": ("2u", "low-out thump-out"), "C4": ("200n", ""), "C5": ("200u", "thump-time"),
    "C6": ("20u", FEED), "C7": ("94u", FEED), "C8": ("200u", "tone"), "C9": ("94u", "settle"),
    "U1": ("white LED and GL5528", "led side-rail"), "VR1": ("200k linear", ""), "VR2": ("44k linear", "attack"),
    "VR3": ("2M log", "release"), "VR4": ("200k log", "level low-out thump-out"), "D6": ("blue LED", FEED),
    "B1": ("9 V zinc-carbon", "life"),
}  # fmt: skip
RUNS = "drain emitter emitter-current gain lamp life low-out peak plain protected rail thump-in thump-out"
OHMIC = RUNS + " drain-current low-bypass source"
BOOSTER_SWAPS = {
    "R1": ("200R", RUNS + " hum"), "R2": ("4M4", "thump-in"), "R3": ("2M", "low thump-in z-in"), "R4": ("7k8", OHMIC),
    "R5": ("1k64", OHMIC), "R6": ("20k", RUNS), "R7": ("9k4", RUNS), "R8": ("2M", "gain low-out peak plain thump-in thump-out"),
    "D1": ("1N4148", RUNS), "C1": ("44n", "low"), "C2": ("66u", "low-bypass"), "C3": ("2u", "low-out thump-out"),
    "C4": ("200u", "hum"), "C5": ("200n", ""), "Q1": ("J201", OHMIC), "Q2": ("2N5088", RUNS),
    "VR1": ("200k log", "gain level low-out peak plain thump-in thump-out"), "D2": ("blue LED", RUNS),
    "B1": ("9 V zinc-carbon", "life"),
}  # fmt: skip
#: A socket or a switch of another type has other contacts: with those of the list it is refused, and the list says more.
OTHER_CONTACTS = {
    "J1": ("mono 6.35 mm", "J1: pin 'ring' is not known; the pins are tip, sleeve"),
    "J2": ("stereo 6.35 mm", "J2: missing: ring; a pin that is left open is written 'ring: not connected'"),
    "J3": ("battery clip", "J3: pin 'centre' is not known; the pins are plus, minus"),
    "X1": ("2.1 mm barrel", "X1: pin 'plus' is not known; the pins are centre, outer, outer switch"),
    "S1": ("DPDT footswitch", "S1: pin 'pole 3 common' is not known"),
}


@pytest.mark.parametrize("reference", SWAPS)
def test_each_part_of_the_compressor_moves_what_it_should_and_nothing_else(reference):
    text, expected = SWAPS[reference]
    found = moved(plain_figures()[0], figures(board.changed(PLAIN, **{reference: text})))
    assert found == {name.replace("-", " ") if name != "make-up" else name for name in expected.split()}


@pytest.mark.parametrize("reference", BOOSTER_SWAPS)
def test_each_part_of_the_booster_moves_what_it_should_and_nothing_else(reference):
    text, expected = BOOSTER_SWAPS[reference]
    build = booster_build()
    found = moved(plain_figures()[1], booster_figures(board.changed(build, **{reference: text})))
    assert found == {name.replace("-", " ") for name in expected.split()}


def test_every_part_of_both_lists_is_swapped():
    for build, swaps in ((PLAIN, SWAPS), (booster_build(), BOOSTER_SWAPS)):
        assert {found.part.reference for found in build.parts} == set(swaps) | set(OTHER_CONTACTS)


@pytest.mark.parametrize("reference", OTHER_CONTACTS)
def test_a_socket_of_other_contacts_is_refused_with_its_place(reference):
    text, told = OTHER_CONTACTS[reference]
    for build in (PLAIN, booster_build()):
        with pytest.raises(ValueError, match=rf"parts.csv, line \d+, {told}"):
            board.changed(build, **{reference: text})


def rewired(path, **nets):
    """Return a list with some parts joined otherwise: by reference a type, and its pins with their nets."""
    return tuple(
        dataclasses.replace(
            part, value_text=nets[part.reference][0], connections=tuple(map(parts.Connection._make, nets[part.reference][1].items()))
        ) if part.reference in nets else part
        for part in parts.read_parts(path)
    )  # fmt: skip


def test_a_jack_that_does_not_switch_the_battery_moves_what_it_draws_unplugged():
    """With a mono jack the battery's minus stays on ground: unplugged it goes on, less its indicator, and that is told."""
    apart = {
        "J1": ("mono 6.35 mm", {"tip": "input jack", "sleeve": "ground"}),
        "X1": ("battery clip", {"plus": "battery plus", "minus": "ground"}),
        "B1": ("9 V alkaline", {"plus": "battery plus", "minus": "ground"}),
    }
    build = board.assemble(rewired(COMPRESSOR, **apart), supply=SUPPLY, rotations=PLAIN.rotations)
    assert moved(plain_figures()[0], figures(build)) == {"unplugged"}
    fed, built = stages(build)
    assert built.states.current_unplugged == pytest.approx(fed.budget.current_supply[1] - fed.current_direct[1])
    assert any("stays on with the plug pulled out" in caution.what for caution in built.cautions)
    boosted = board.assemble(rewired(BOOSTER, **apart), supply=(7.0, 9.0, 9.6))
    assert moved(plain_figures()[1], booster_figures(boosted)) == {"unplugged"}
    told = board.jfet_booster(boosted, roles=BOOSTER_ROLES, **BOOST_WANTED)
    assert any("stays on with the plug pulled out" in caution.what for caution in told.states.cautions)


def test_a_battery_past_the_break_contact_meets_the_adaptor():
    """Clipped straight to the supply it is charged by what stands in the barrel connector."""
    clipped = {name: (text, {"plus": "supply in", "minus": "battery minus"})
               for name, text in (("X1", "battery clip"), ("B1", "9 V alkaline"))}  # fmt: skip
    build = board.assemble(rewired(COMPRESSOR, **clipped), supply=SUPPLY)
    found = [c for c in board.doubled_supply(build, roles=OPTICAL_ROLES).cautions if "charged" in c.what]
    assert [(c.value, c.limit) for c in found] == [(9.45, 5.4)] and found[0].what.startswith("B1 and an adaptor in J3")
    boosted = board.assemble(rewired(BOOSTER, **clipped), supply=9.0)
    told = board.jfet_booster(boosted, roles=BOOSTER_ROLES, **BOOST_WANTED).cautions
    assert any(caution.what.startswith("B1 and an adaptor in J3 meet") for caution in told)
    assert not any("charged" in caution.what for caution in FED.cautions)


def test_the_coupler_moves_the_cell():
    """A white lamp gives the cell more light at the same current, so the threshold falls."""
    other = stages(board.changed(PLAIN, U1="white LED and GL5528"))[1].compressor
    for built in (STAGES.compressor, other):
        assert built.coupler.cell.gamma > 0
    at = [
        float(opto.coupler_point(1e-3, coupler=built.coupler).resistance_cell) for built in (STAGES.compressor, other)
    ]
    assert at[1] < at[0]


# --- the supply, held to Kirchhoff's laws and to the rooms above


@pytest.mark.parametrize(
    "fitted", [{}, {"IC2": "NE5532", "D1": "1N4148", "D2": "1N4148", "D3": "1N4148"}, {"R1": "100R"}]
)
def test_supply_and_load_agree(fitted):
    """Currents at every node add up: rail, pump pin, both lamps, by the junction law alone."""
    build = board.changed(PLAIN, **fitted)
    fed = board.doubled_supply(build, roles=OPTICAL_ROLES)
    budget = fed.budget
    quiet = sum(2 * np.array(ends(build.record(name).current_quiescent)[::-1]) for name in ("IC2", "IC3", "IC4"))
    divider = budget.voltage_positive / (build.resistance("R3") + build.resistance("R4"))
    np.testing.assert_allclose(fed.current_load, quiet + divider, rtol=1e-6)
    idle = np.array(ends(build.record("IC1").current_idle_boosted)[::-1])
    np.testing.assert_allclose(
        budget.current_supply,
        2 * fed.current_load + fed.current_direct + idle + fed.rail.diode_pump.current_saturation,
        rtol=1e-6,
    )
    lamp = build.device("D6")
    across = budget.voltage_pin - fed.current_direct * build.resistance("R17")
    np.testing.assert_allclose(laws.junction(across, junction=lamp).current, fed.current_direct, rtol=1e-5)
    held = fed.voltage_rail - fed.voltage_diode
    conducts = held > 1.0
    lit = build.device("U1").led
    across = (held - fed.current_led * build.resistance("R16"))[conducts]
    np.testing.assert_allclose(laws.junction(across, junction=lit).current, fed.current_led[conducts], rtol=1e-5)


def test_another_op_amp_and_slower_diodes_give_the_room_s_own_answer():
    """The records themselves, put into the voltage budget by hand."""
    build = board.changed(PLAIN, IC2="NE5532", D1="1N4148", D2="1N4148", D3="1N4148")
    fed = board.doubled_supply(build, roles=OPTICAL_ROLES)
    diode = devices.typical(devices.DIODE_1N4148)
    rail = dataclasses.replace(
        board.doubled_supply(PLAIN, roles=OPTICAL_ROLES).rail,
        diode_protection=diode,
        diode_pump=diode,
        op_amp=devices.OPAMP_NE5532,
    )
    own = supply.voltage_budget(
        voltage_supply=np.array(SUPPLY), current_load=fed.current_load, current_direct=fed.current_direct,
        voltage_peak=2.0, rail=rail,
    )  # fmt: skip
    np.testing.assert_allclose(fed.budget.voltage_positive, own.voltage_positive, rtol=1e-8)
    assert fed.budget.voltage_positive[1] < 14 < FED.budget.voltage_positive[1]


def test_a_supply_filter_s_capacitor_of_too_few_volts_is_told_once_by_its_own_name():
    build = board.changed(board.assemble(BOOSTER, supply=9.0), C4="100u 6.3V")
    found = board.jfet_booster(build, roles=BOOSTER_ROLES, **BOOST_WANTED).cautions
    assert [one.what for one in found if one.limit == 6.3] == [
        "C4: the capacitor's voltage rating is below the supply: an electrolytic can burst"
    ]
    starved = board.jfet_booster(board.changed(build, R5="82R"), roles=BOOSTER_ROLES, **BOOST_WANTED).cautions
    assert "burst" in starved[0].what and any(
        "turns ohmic" in one.what for one in starved[1:]
    )  # what harms comes first
    (told,) = circuit.operating_point(build).cautions  # a sheet tells it in place of the other
    assert told.what == "C4 (100u) stands more than its rated voltage" and "it can burst" in told.action


def test_another_converter_brings_its_cautions():
    found = board.doubled_supply(board.changed(PLAIN, IC1="7660"), roles=OPTICAL_ROLES)
    assert any("audio band" in caution.what for caution in found.cautions)
    fresh = board.assemble(COMPRESSOR, supply=("7V", "9V", "9.6V"))
    found = board.doubled_supply(board.changed(fresh, IC1="7660"), roles=OPTICAL_ROLES)
    assert {"audio band", "within half a volt"} <= {
        word for word in ("audio band", "within half a volt") for c in found.cautions if word in c.what
    }


def test_no_signal_means_a_dark_coupler():
    """With the lamp dark the supply carries what rests on the rail twice, the indicator, and the converter: 10.6 mA."""
    assert 10.4e-3 < FED.budget.current_supply[1] < 10.8e-3
    assert np.all(FED.budget_lit.current_supply > FED.budget.current_supply)


@pytest.mark.parametrize(
    "fitted",
    [{"R1": "1k"}, {"R1": "10k"}, {"R17": "470R"}, {"C1": "10n"}, {"R16": "100k"}, {"C6": "1u"}, {"R4": "220R"}],
)
def test_a_drawer_value_is_computed_with_cautions(fitted):
    fed, built = stages(board.changed(PLAIN, **fitted))
    board.optical_design(PLAIN, supplied=fed, optical=built, roles=OPTICAL_ROLES, **WANTED)
    assert np.all(np.isfinite(fed.budget.voltage_positive))


def test_a_capacitor_below_what_it_can_meet_is_told():
    """C9 meets the whole rail with R4 open, C8 twice the supply without load, C5 the supply: 9.45 V at most."""
    for reference, rated in (("C9", 16.0), ("C8", 18.8), ("C5", 9.4)):
        weak = tuple(
            dataclasses.replace(part, voltage_max=rated) if part.reference == reference else part
            for part in parts.read_parts(COMPRESSOR)
        )
        found = board.doubled_supply(board.assemble(weak, supply=SUPPLY), roles=OPTICAL_ROLES)
        assert any(caution.what.startswith(reference) for caution in found.cautions)
        assert not any(caution.what.startswith(reference) for caution in FED.cautions)


def test_first_power_reads_what_the_supply_gives():
    """Across 100 Ω: without ICs the current of the resistor chain alone, with all the signal the most of the supply."""
    steps = {step.what: step for step in STAGES.power_steps}
    healthy = {line.what for line in bench.first_power(PLAIN, count=20).rows}
    assert healthy == {"healthy, engaged", "healthy, bypassed", "a dead short"}  # told there, once for all builds
    assert not any("no signal" in what for what in steps)
    most = np.max(FED.budget_lit.current_supply)
    assert steps["engaged, loudest signal, at most"].current == pytest.approx(most)
    for step in steps.values():
        assert step.voltage_across == pytest.approx(100 * step.current)
        assert step.power == pytest.approx(100 * step.current**2)
    # R1, R2, R3 and R4 behind three Schottky diodes: by the diodes' law all of the supply is somewhere.
    bare = steps["no ICs in their sockets, indicator dark"].current
    drops = sum(float(laws.junction_voltage(bare, junction=PLAIN.device(name))) for name in ("D1", "D2", "D3"))
    chain = sum(PLAIN.resistance(name) for name in ("R1", "R2", "R3", "R4"))
    assert bare * chain + drops == pytest.approx(9.0, rel=1e-6)
    assert steps["on its battery, plug pulled out"].current == 0


def test_a_capacitor_s_resistance_at_the_pump_s_tone_is_a_quarter_of_its_loss_at_120_hz():
    """tan delta/(2 pi f C) at 120 Hz by the record, a quarter of it at tens of kilohertz (from memory), typical loss 0.16."""
    for got, farads in (
        (FED.rail.resistance_esr_pump, 10e-6),
        (FED.rail.resistance_esr_output, 47e-6),
        (FED.rail.resistance_esr_filter, 100e-6),
    ):
        assert got == pytest.approx(0.25 * 0.16 / (2 * np.pi * 120 * farads), rel=1e-9) or got == 0.05  # the leads


def test_the_booster_s_indicator_steps_the_battery_s_own_resistance():
    """The lamp's current through 3 Ω of battery and clip (common practice), heard through the follower."""
    found = board.jfet_booster(booster_build(), roles=BOOSTER_ROLES, **BOOST_WANTED)
    assert found.rail_step.voltage_step_rail == pytest.approx(3.0 * found.lights.current_engaged[1], rel=1e-6)
    assert found.rail_step.voltage_step == pytest.approx(found.rail_step.voltage_step_rail * found.gain_follower)


def test_the_worst_op_amp_leaves_the_smallest_peak():
    """TL072 at its worst by its sheet: 3 V to either rail for the output, 4 V to both for the input, for the typical 1.5 and 3."""
    rail = float(np.min(FED.budget.voltage_positive))
    half = float(np.asarray(FED.half.voltage_output)[np.argmin(FED.budget.voltage_positive)])
    assert STAGES.voltage_peak_follower_worst == pytest.approx(min(half - 4.0, rail - 4.0 - half), abs=0.02)
    assert STAGES.voltage_peak_makeup_worst == pytest.approx(min(half - 3.0, rail - 3.0 - half), abs=0.02)
    assert STAGES.voltage_peak_makeup_worst < np.min(STAGES.makeup.voltage_peak)


def test_an_untimed_cell_is_timed_with_half_and_twice_its_times():
    """A class knows a cell's times within a factor of two (common practice): the slowed circuit by hand."""
    found = {timed.name: timed for timed in board.optical_timing(PLAIN, optical=STAGES, roles=OPTICAL_ROLES)}
    low, high = read_times(found["both slow"].text_release)
    slow = dataclasses.replace(STAGES.compressor, resistance_attack=24.7e3, resistance_release=1.1e6)
    cell = slow.coupler.cell
    for factor, told in ((0.5, low), (2.0, high)):
        timed = dataclasses.replace(
            slow, coupler=dataclasses.replace(slow.coupler, cell=dataclasses.replace(
                cell, time_rise_10lx=factor * cell.time_rise_10lx, time_fall_10lx=factor * cell.time_fall_10lx)))  # fmt: skip
        assert compressor.attack_release(timed, definition=compressor.SETTLE_2DB).time_release == pytest.approx(
            told, rel=0.03
        )


def read_times(text):
    """Return the ends of a range, such as 400 ms to 1.2 s; the first has the unit of the last where it has none."""
    ends = [end.split("\N{NO-BREAK SPACE}") for end in text.split(" to ")]
    return [float(end[0]) * {"s": 1.0, "ms": 1e-3}[(end if len(end) > 1 else ends[-1])[1]] for end in ends]


# --- controls


def test_controls_turn_the_way_they_are_wired():
    """Pins 2 and 3 joined: the resistance grows clockwise with the law; 1 and 2 joined: it falls."""
    turned = [0.0, 0.5, 1.0]
    np.testing.assert_allclose(PLAIN.control("VR3", turned).resistance, [0.0, 150e3, 1e6], rtol=1e-9)
    other = tuple(
        dataclasses.replace(part, connections=tuple(
            parts.Connection(pin, net) for pin, net in (("1", "reference"), ("2", "reference"), ("3", "release"))
        )) if part.reference == "VR3" else part
        for part in parts.read_parts(COMPRESSOR)
    )  # fmt: skip
    np.testing.assert_allclose(
        board.assemble(other, supply=9.0).control("VR3", turned).resistance, [1e6, 850e3, 0.0], rtol=1e-9
    )
    assert np.all(np.diff(PLAIN.control("VR2", turned).resistance) > 0)


# --- the booster, by its own laws


def test_behind_megohms_the_rail_stands_where_the_op_amps_leave_it():
    """By hand: below their lowest supply of 7 V three packages of 3.6 mA are 1.94 kΩ, beside them the divider's 20 kΩ."""
    found = board.doubled_supply(board.changed(PLAIN, R2="10M"), roles=OPTICAL_ROLES)
    doubled = found.budget.voltage_positive[1] + found.budget.loss_filter_out[1]
    hangs = 3.6e-3 / 7 + 1 / 20e3
    assert found.budget.voltage_positive[1] == pytest.approx(doubled / (1 + 10e6 * hangs), rel=1e-6)
    (told,) = [one for one in found.cautions if one.what.startswith("R2 drops nearly all the supply")]
    assert told.unit == "%" and 0.99 < told.value < 1
    little = board.doubled_supply(board.changed(PLAIN, R17="0R"), roles=OPTICAL_ROLES)
    assert 6.9 < little.budget.voltage_positive[0] < 7.0  # a little under their lowest supply, and no resistor's fault
    assert not any("nearly all the supply" in one.what for one in little.cautions)


def test_an_op_amp_lights_a_lamp_with_no_more_than_it_gives():
    found = board.doubled_supply(board.changed(PLAIN, R16="1R"), roles=OPTICAL_ROLES)
    most = PLAIN.device("IC4").current_output_max
    np.testing.assert_allclose(found.current_led[1:], most)
    assert found.current_led[0] < most  # the lowest supply leaves no volts for as much
    assert any("IC4 gives the lamp of U1 no more" in one.what for one in found.cautions)


@pytest.mark.parametrize("ohms", ["2k", "5k", "10M"])
def test_a_supply_resistor_far_off_is_computed_as_far_as_a_pump_can_run(ohms):
    found = board.doubled_supply(board.changed(PLAIN, R1=ohms), roles=OPTICAL_ROLES)
    what = [one.what for one in found.cautions]
    assert any(one.startswith("R1 drops nearly all the supply") for one in what)
    assert any("those of 5\N{NO-BREAK SPACE}kΩ, and yours are lower still" in one for one in what) == (ohms == "10M")
    through = found.budget.current_supply * found.rail.resistance_filter_in
    np.testing.assert_allclose(found.budget.loss_filter, through, rtol=1e-9)


@pytest.mark.parametrize("ohms", ["500R", "2k", "5k"])
def test_behind_a_large_supply_resistor_it_draws_what_the_whole_circuit_does(ohms):
    """The supply's current, which is told also where no op-amp's output is: converter and op-amps starve in proportion in both."""
    fitted = board.changed(board.assemble(COMPRESSOR, supply=9.0), R1=ohms)
    drawn = board.doubled_supply(fitted, roles=OPTICAL_ROLES).budget.current_supply
    whole = circuit.operating_point(fitted).current_supply
    np.testing.assert_allclose(drawn[1], whole, rtol=5e-4)


def test_next_to_no_compression_is_told():
    for fitted in ({"R7": "0R"}, {"R2": "10M"}):
        _, found = stages(board.changed(PLAIN, **fitted))
        assert any("makes next to no compression" in one.what for one in found.cautions)
    assert not any("makes next to no compression" in one.what for one in STAGES.cautions)


def test_booster_obeys_the_square_law_and_kirchhoff():
    build = board.assemble(BOOSTER, supply=9.0, readings={"Q1": "readings/q1.csv"})
    found = board.jfet_booster(build, roles=BOOSTER_ROLES, **BOOST_WANTED)
    jfet, fet = found.jfet, build.device("Q1")
    square = fet.current_drain_zero_bias * (1 - jfet.voltage_gate_source / fet.voltage_gate_source_off) ** 2
    np.testing.assert_allclose(jfet.current_drain, square, rtol=1e-9)
    np.testing.assert_allclose(jfet.voltage_source_pin, jfet.current_drain * 820, rtol=1e-9)
    through = jfet.current_drain + found.follower.current_emitter
    np.testing.assert_allclose(
        found.safe.voltage_output - found.filtered.voltage_output, through * build.resistance("R1"), rtol=1e-6
    )
    np.testing.assert_allclose(
        found.filtered.voltage_output - jfet.voltage_drain,
        (jfet.current_drain + found.follower.current_base) * build.resistance("R4"),
        rtol=1e-6,
    )


@pytest.mark.parametrize("emitter", ["10k", "10R", "0R"])
def test_the_booster_stands_where_the_whole_circuit_does(emitter):
    """A shorted emitter's base current pulls the drain down so far that the JFET turns ohmic; a link counts as 10 mΩ."""
    build = board.changed(booster_build(), R6=emitter)
    found, whole = (
        board.jfet_booster(build, roles=BOOSTER_ROLES, **BOOST_WANTED),
        circuit.operating_point(build).voltages,
    )
    for net, volts in (
        ("rail", found.filtered.voltage_output), ("drain", found.jfet.voltage_drain), ("drain", found.follower.voltage_base),
        ("source", found.jfet.voltage_source_pin), ("emitter", found.follower.voltage_emitter),
    ):  # fmt: skip
        assert volts[1] == pytest.approx(whole[net], abs=2e-3), net


@pytest.mark.parametrize("emitter", ["10k", "1k"])
def test_the_drain_is_read_as_a_resistor_of_the_meter_s_size_leaves_it(emitter):
    """The whole circuit with that resistor from the drain to ground; the follower's base current is in both."""
    build = board.changed(booster_build(), R6=emitter)
    points = board.jfet_booster(build, roles=BOOSTER_ROLES, **BOOST_WANTED).test_points
    (read,) = [one for one in points if one.place == "Q1 drain, Q2 base"]
    meter = resistor("R99", build.meter.resistance_meter, "drain", "ground")
    listed = [
        dataclasses.replace(p, value=read_value(emitter, unit="Ω"), value_text=emitter) if p.reference == "R6" else p
        for p in parts.read_parts(BOOSTER)
    ]
    whole = circuit.operating_point(board.assemble([*listed, meter], supply=9.0)).voltages["drain"]
    assert read.voltage == pytest.approx(whole, abs=1e-3)


@pytest.mark.parametrize("fitted", [{"R1": "10M"}, {"R6": "1R"}, {"R1": "10k", "R6": "1R"}, {"R1": "100k"}])
def test_a_booster_far_off_costs_no_page(fitted):
    """A decimal slip in the list: the filter's resistor still carries what both stages take, and it is told."""
    build = board.changed(booster_build(), **fitted)
    found = board.jfet_booster(build, roles=BOOSTER_ROLES, **BOOST_WANTED)
    taken = found.jfet.current_drain + found.follower.current_emitter
    lost = found.safe.voltage_output - found.filtered.voltage_output
    np.testing.assert_allclose(lost, taken * build.resistance("R1"), rtol=1e-3)
    assert found.cautions


def test_booster_out_of_its_range_is_told():
    found = board.jfet_booster(board.changed(booster_build(), R4="22k"), roles=BOOSTER_ROLES, **BOOST_WANTED)
    assert any("ohmic" in caution.what for caution in found.cautions)


# --- own readings


def written(path, rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["date_time", "what", "place", "value", "unit", "condition"])
        table.writerows([["2026-03-14 10:32", *row] for row in rows])
    return path


def coupler_rows(truth, amps=(5e-5, 2e-4, 1e-3, 4e-3)):
    for k, current in enumerate(amps):
        yield "LED current", "coupler 1", current, "A", f"step {k}"
        yield (
            "LDR resistance",
            "coupler 1",
            float(opto.coupler_point(current, coupler=truth).resistance_cell),
            "Ω",
            f"step {k}",
        )


def test_a_measured_coupler_takes_the_place_of_its_class(tmp_path):
    """Readings made by the law R = floor + k I^-p are met again; timed, nothing is of the class any more."""
    truth = devices.typical(devices.COUPLER_WHITE_GL5528)
    rows = [*coupler_rows(truth), ("LDR resistance", "coupler 1", "open", "Ω", "dark for 10 s")]
    path = written(tmp_path / "u1.csv", rows)
    build = board.assemble(COMPRESSOR, supply=9.0, readings={"U1": path})
    np.testing.assert_allclose(
        opto.coupler_point([1e-4, 1e-3, 3e-3], coupler=build.device("U1")).resistance_cell,
        opto.coupler_point([1e-4, 1e-3, 3e-3], coupler=truth).resistance_cell, rtol=0.02,
    )  # fmt: skip
    assert np.isnan(build.own("U1").time_factor)
    timed = [
        *rows, ("LDR fall time", "coupler 1", "47m", "s", "2 mA off, to 4k7"), ("LDR rise time", "coupler 1", "6m", "s", "2 mA on, to 600")
    ]  # fmt: skip
    build = board.assemble(COMPRESSOR, supply=9.0, readings={"U1": written(tmp_path / "timed.csv", timed)})
    assert build.own("U1").time_factor > 1
    alone = board.own_part(tmp_path / "timed.csv", device=board.assemble(COMPRESSOR, supply=9.0).record("U1"))
    assert (repr(alone.device), alone.time_factor) == (repr(build.record("U1")), build.own("U1").time_factor)
    _, built = stages(build)
    found = board.optical_timing(build, optical=built, roles=OPTICAL_ROLES)
    assert {timing.text_cell for timing in found} == {"as you timed it"}
    assert "readings in timed.csv" in board.compared(build)[0].reason


def test_a_lower_bound_is_no_reading_of_a_lit_cell(tmp_path):
    """Over the meter's range is a bound in the dark, and refused with the LED lit."""
    truth = devices.typical(devices.COUPLER_WHITE_GL5528)
    dark = [
        ("LDR resistance", "coupler 1", ">5M", "Ω", "LED out, dark"),
        ("LDR resistance", "coupler 1", ">9M", "Ω", "darker"),
    ]
    build = board.assemble(
        COMPRESSOR, supply=9.0, readings={"U1": written(tmp_path / "u1.csv", [*coupler_rows(truth), *dark])}
    )
    assert build.device("U1").cell.resistance_dark > 8.9e6
    lit = [("LED current", "coupler 1", "1u", "A", "dim"), ("LDR resistance", "coupler 1", ">5M", "Ω", "dim")]
    with pytest.raises(ValueError, match=r"U1: lit.csv: readings: LDR resistance .* is only a lower bound"):
        board.assemble(
            COMPRESSOR, supply=9.0, readings={"U1": written(tmp_path / "lit.csv", [*coupler_rows(truth), *lit])}
        )
    other = [("LDR resistance", "coupler 2", "9M", "Ω", "dark")]
    with pytest.raises(ValueError, match="several couplers"):
        board.assemble(
            COMPRESSOR, supply=9.0, readings={"U1": written(tmp_path / "two.csv", [*coupler_rows(truth), *other])}
        )


def test_a_part_alone_is_read_as_a_board_reads_it():
    """The same file by its name and through the list; a part of another type or kind is refused."""
    path = BOOSTER.parent / "readings" / "q1.csv"
    found = board.own_part(path, device=devices.JFET_2N5457)
    assert repr(found.device) == repr(board.assemble(BOOSTER, supply=9.0, readings={"Q1": path}).record("Q1"))
    assert (found.reference, found.count, found.path) == ("", 2, "q1.csv")
    with pytest.raises(ValueError, match=r"path q1.csv holds readings of a 2N5457, device is J201"):
        board.own_part(path, device=devices.JFET_J201)
    with pytest.raises(ValueError, match=r"q1\.csv: "):
        board.own_part(path, device=devices.COUPLER_GREEN_GL5528)
    with pytest.raises(ValueError, match="device must be a coupler, indicator, JFET, transistor, got TL072"):
        board.own_part(path, device=devices.OPAMP_TL072)
    with pytest.raises(FileNotFoundError, match=r"path must be the path of a file that is there, not .*q9.csv"):
        board.own_part(path.with_name("q9.csv"), device=devices.JFET_2N5457)


def test_a_resistance_of_nothing_as_condition_is_refused(tmp_path):
    cell = [
        *coupler_rows(devices.typical(devices.COUPLER_GREEN_GL5528)),
        ("LDR fall time", "coupler 1", "47m", "s", "2 mA off, to 0"),
    ]
    with pytest.raises(
        ValueError, match=r"cell.csv: condition '2 mA off, to 0' of LDR fall time must tell a resistance above 0"
    ):
        board.own_part(written(tmp_path / "cell.csv", cell), device=devices.COUPLER_GREEN_GL5528)
    lamp = [("resistor voltage", "D1", "1", "V", "0 Ω"), ("LED voltage", "D1", "2", "V", "0 Ω")]
    with pytest.raises(
        ValueError, match=r"lamp.csv: resistor voltage must have a resistor above 0 as condition, got '0 Ω'"
    ):
        board.own_part(written(tmp_path / "lamp.csv", lamp), device=devices.LED_GREEN_GAP)


def test_what_the_fits_doubt_reaches_the_board(tmp_path):
    """Two currents less than a decade apart and one time each way: told of the board and its supply, gone with the part."""
    truth = devices.typical(devices.COUPLER_GREEN_GAP_GL5528)
    rows = [
        *coupler_rows(truth, amps=(1e-3, 2e-3)),
        ("LDR fall time", "coupler 1", "47m", "s", "2 mA off, to 47k"), ("LDR rise time", "coupler 1", "6m", "s", "2 mA on, to 6k"),
    ]  # fmt: skip
    build = board.assemble(COMPRESSOR, supply=9.0, readings={"U1": written(tmp_path / "u1.csv", rows)})
    for words in ("U1: the readings span less than a decade", "U1: two readings", "U1: no time to spare"):
        for cautions in (build.cautions, board.doubled_supply(build, roles=OPTICAL_ROLES).cautions):
            assert sum(caution.what.startswith(words) for caution in cautions) == 1
    assert board.changed(build, U1="white LED and GL5528").cautions == ()
    assert board.changed(build, R1="22R").cautions == build.cautions


@pytest.mark.parametrize(
    ("meter", "column", "across"), [("digital", "", 10e6), ("pointer", "", 50e3), ("digital", "pointer", 50e3)]
)
def test_a_measured_jfet_meets_its_readings(tmp_path, meter, column, across):
    """Square law at both resistors, the meter across each: 10 MΩ, or 20 kΩ/V on the range of 2.5 V that holds both."""
    head, *told = (BOOSTER.parent / "readings" / "q1.csv").read_text(encoding="utf-8").splitlines()
    read = tmp_path / "q1.csv"
    read.write_text("\n".join([head + ",meter", *(f"{line},{column}" for line in told)]), encoding="utf-8")
    build = board.assemble(BOOSTER, supply=9.0, readings={"Q1": read}, meter=find_device(meter))
    mine = build.device("Q1")
    for volts, ohms in ((0.531, 470.0), (1.558, 47e3)):
        current = mine.current_drain_zero_bias * (1 + volts / mine.voltage_gate_source_off) ** 2
        np.testing.assert_allclose(current, volts / ohms + volts / across, rtol=1e-9)


def test_readings_of_another_type_are_not_used():
    build = board.assemble(
        [dataclasses.replace(p, value_text="J201") if p.reference == "Q1" else p for p in parts.read_parts(BOOSTER)],
        supply=9.0, readings={"Q1": BOOSTER.parent / "readings" / "q1.csv"},
    )  # fmt: skip
    assert build.own("Q1") is None
    assert "2N5457" in build.cautions[0].what and "J201" in build.cautions[0].what


def test_a_measured_led_and_transistor(tmp_path):
    lamp = written(tmp_path / "d2.csv", [
        row for k, (amps, volts) in enumerate([("0.5m", "1.70"), ("5m", "1.84")])
        for row in (("LED current", "D2", amps, "A", f"step {k}"), ("LED voltage", "D2", volts, "V", f"step {k}"))
    ])  # fmt: skip
    gain = written(tmp_path / "q2.csv", [
        ("collector current", "Q2", "1.1m", "A", "one"), ("base current", "Q2", "10u", "A", "one"), ("leakage", "Q2", "0.3m", "A", "base open"),
    ])  # fmt: skip
    build = board.assemble(BOOSTER, supply=9.0, readings={"D2": lamp, "Q2": gain})
    np.testing.assert_allclose(laws.junction(1.84, junction=build.device("D2")).current, 5e-3, rtol=1e-3)
    # (1.1 mA - 0.3 mA)/10 µA
    np.testing.assert_allclose(build.device("Q2").current_gain, 80.0)
    # Iceo = (gain + 1) Icbo
    np.testing.assert_allclose(build.device("Q2").current_collector_base_leakage, 0.3e-3 / 81)


def test_a_measured_leaky_transistor_leaks_on_the_board_as_it_did_when_read(tmp_path):
    # Invented readings: 0.3 mA with the base open, 1.1 mA at 10 µA into the base. DERIVED: IC = Iceo + hFE IB while active.
    read = written(tmp_path / "q1.csv", [
        ("collector current", "Q1", "1.1m", "A", "one"), ("base current", "Q1", "10u", "A", "one"), ("leakage", "Q1", "0.3m", "A", "base open"),
    ])  # fmt: skip
    listed = tmp_path / "parts.csv"
    listed.write_text(
        "reference,kind,value,fitted,tolerance,rating,connections,note\n"
        'J1,jack,mono 6.35 mm,,,,"tip: base, sleeve: ground",input\n'
        'B1,battery,9 V zinc-carbon,,,,"plus: ground, minus: rail",\n'
        'R1,resistor,1M,,5%,,"1: rail, 2: base",\n'
        'R2,resistor,2k2,,5%,,"1: rail, 2: collector",\n'
        'Q1,transistor,AC128,,,,"base: base, collector: collector, emitter: ground",\n',
        encoding="utf-8",
    )
    build = board.assemble(listed, supply=9.0, readings={"Q1": read})
    assert build.cautions == ()
    volts = circuit.operating_point(build).voltages
    into, through = (volts["base"] - volts["rail"]) / 1e6, (volts["collector"] - volts["rail"]) / 2.2e3
    assert through == pytest.approx(0.3e-3 + 80 * into, rel=1e-6)
    # Less than the 36 µA that its type's junctions would let through: the part's own let through what was read.
    read.write_text(read.read_text(encoding="utf-8").replace("0.3m", "2u"), encoding="utf-8")
    build = board.assemble(listed, supply=9.0, readings={"Q1": read})
    assert build.cautions == ()
    open_base = dataclasses.replace(build, parts=tuple(one for one in build.parts if one.part.reference != "R1"))
    volts = circuit.operating_point(open_base).voltages
    assert volts["rail"] - volts["collector"] == pytest.approx(-2e-6 * 2.2e3, rel=1e-4)


def test_a_germanium_part_whose_leakage_nobody_read_leaks_as_usual(tmp_path):
    """By hand: of 1.1 mA at 10 µA an AC128's 3 µA, amplified too, leave a gain of (1100 - 3)/(10 + 3)."""
    rows = [("collector current", "Q2", "1.1m", "A", "one"), ("base current", "Q2", "10u", "A", "one")]
    listed = [
        dataclasses.replace(p, value_text="AC128") if p.reference == "Q2" else p for p in parts.read_parts(BOOSTER)
    ]
    for more in ([], [("leakage", "Q2", "0", "A", "base open")]):
        build = board.assemble(listed, supply=9.0, readings={"Q2": written(tmp_path / "q2.csv", rows + more)})
        gain = (1100 - 3) / (10 + 3)
        assert build.device("Q2").current_gain == pytest.approx(gain)
        assert build.device("Q2").current_collector_base_leakage == pytest.approx(3e-6)
        (told,) = build.cautions
        assert told.what.startswith("Q2: no leakage was read") and told.value == pytest.approx(3e-6 * (1 + gain))
    silicon = board.assemble(BOOSTER, supply=9.0, readings={"Q2": written(tmp_path / "q2.csv", rows)})
    assert silicon.cautions == () and silicon.device("Q2").current_gain == pytest.approx(110.0)


def test_a_lamp_is_measured_across_a_resistor_too(tmp_path):
    """The same three points as currents, and as volts across resistors of 10 kΩ, 2.2 kΩ and 470 Ω."""
    points = [("10 kΩ", 10e3, 0.7e-3, 1.72), ("2.2k", 2.2e3, 3e-3, 1.80), ("470 Ω", 470.0, 12e-3, 1.92)]
    files = {"current": [], "resistor": []}
    for condition, ohms, amps, volts in points:
        files["current"] += [("LED current", "D2", amps, "A", condition), ("LED voltage", "D2", volts, "V", condition)]
        across = ("resistor voltage", "D2", amps * ohms, "V", condition)
        files["resistor"] += [across, ("LED voltage", "D2", volts, "V", condition)]
    one, other = (
        board.assemble(BOOSTER, supply=9.0, readings={"D2": written(tmp_path / f"{name}.csv", rows)}).device("D2")
        for name, rows in files.items()
    )
    assert other.voltage_forward == pytest.approx(one.voltage_forward, rel=1e-9)
    assert other.ideality == pytest.approx(one.ideality, rel=1e-6)
    bare = written(tmp_path / "bare.csv", [("resistor voltage", "D2", 7.0, "V", "one")])
    with pytest.raises(ValueError, match="resistor voltage must be in V with the resistor as condition"):
        board.assemble(BOOSTER, supply=9.0, readings={"D2": bare})


@pytest.mark.parametrize(
    "cell", ["2N5457, readings/q1.csv", "readings/q1.csv", "2n5457 (readings/q1.csv)", "2N5457: readings\\q1.csv"]
)
def test_a_cell_of_the_list_may_name_the_readings(tmp_path, cell):
    text = BOOSTER.read_text(encoding="utf-8")
    text = text.replace("Q1,transistor,2N5457,,", f'Q1,transistor,2N5457,"{cell}",')
    home = tmp_path / "parts.csv"
    home.write_text(text, encoding="utf-8")
    (tmp_path / "readings").mkdir()
    (tmp_path / "readings" / "q1.csv").write_bytes((BOOSTER.parent / "readings" / "q1.csv").read_bytes())
    assert board.assemble(home, supply=9.0).own("Q1").path == "q1.csv"


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ([("source voltage", "Q1", "0.5", "V", "470 Ω")], "Q1: q1.csv: two readings"),
        ([("source voltage", "Q1", "0.5", "V", "gate open"), ("source voltage", "Q1", "1", "V", "47 kΩ")], "resistor at the source"),
    ],
)  # fmt: skip
def test_readings_that_do_not_do_are_refused_with_the_place(tmp_path, rows, told):
    with pytest.raises(ValueError, match=told):
        board.assemble(BOOSTER, supply=9.0, readings={"Q1": written(tmp_path / "q1.csv", rows)})


# --- words


def test_differences_are_told_in_the_list_s_own_words():
    build = board.changed(PLAIN, C5="22u", IC2="NE5532", VR3="1M linear")
    found = {row.reference: row.reason for row in board.compared(build)}
    assert found == {
        "C5": "listed 100u, fitted 22u: 78 % less", "IC2": "listed TL072, fitted NE5532", "VR3": "listed 1M log, fitted 1M linear",
    }  # fmt: skip
    assert board.compared(board.changed(build, C5="100u", IC2="TL072", VR3="1M log")) == ()


@pytest.mark.parametrize(
    ("ask", "told"),
    [
        (lambda: PLAIN.resistance("R99"), "parts.csv has no R99; near it are"),
        (lambda: PLAIN.resistance("C1"), r"parts.csv, line \d+, C1: a resistor is wanted there"),
        (lambda: PLAIN.control("R1"), "R1: a resistor is no control"),
        (lambda: PLAIN.net("IC1", "9"), "there is no pin '9'"),
        (lambda: PLAIN.device("IC2", devices.Converter), r"line \d+, IC2: 'TL072' is no charge-pump converter; fit one there"),
        (lambda: board.changed(PLAIN, R7="forty"), "R7: "),
        (lambda: board.changed(PLAIN, IC2="TL999"), "IC2: text 'TL999' fits no part"),
        (lambda: board.doubled_supply(PLAIN, roles={}), "roles must say which part is the"),
        (lambda: board.assemble(COMPRESSOR, supply="a pile"), "fits no part|supply must be"),
        (lambda: board.assemble(COMPRESSOR, supply=(9.0, 8.0, 7.0)), "lowest, usual and highest"),
        (lambda: board.assemble(COMPRESSOR, supply=9.0, rotations={"VR1": 2.0}), "rotations: VR1 must be at least 0"),
        (lambda: board.assemble(BOOSTER, supply=9.0, readings={"Q1": "none.csv"}), "line 16, Q1: its file of readings is not there"),
        (lambda: board.assemble(COMPRESSOR, supply=9.0, readings={"R1": BOOSTER.parent / "readings/q1.csv"}), "not of a resistor"),
    ],
)  # fmt: skip
def test_errors_name_the_place_and_the_cure(ask, told):
    with pytest.raises((ValueError, FileNotFoundError), match=told):
        ask()


def test_a_part_given_twice_in_either_case_is_refused():
    build, twice = board.assemble(BOOSTER, supply=9.0), "must name {} once, got '{}' and '{}'"
    with pytest.raises(ValueError, match=twice.format("VR1", "vr1", "VR1")):
        board.assemble(BOOSTER, supply=9.0, rotations={"vr1": 0.2, "VR1": 0.8})
    with pytest.raises(ValueError, match=twice.format("Q1", "Q1", "q1")):
        board.assemble(BOOSTER, supply=9.0, readings={"Q1": "readings/q1.csv", "q1": "readings/q1.csv"})
    for given in ("values", "faults"):
        with pytest.raises(ValueError, match=f"{given} {twice.format('R1', 'R1', 'r1')}"):
            circuit.operating_point(build, **{given: {"R1": "open", "r1": "missing"}})
    with pytest.raises(ValueError, match=f"fitted {twice.format('R1', 'R1', 'r1')}"):
        board.changed(build, R1="1k", r1="2k2")
    with pytest.raises(ValueError, match=f"fitted {twice.format('R1', 'R1', 'r1')}"):
        bench.changes(build, fitted={"R1": "1k", "r1": "2k2"})


def test_references_are_read_in_either_case():
    build = board.assemble(BOOSTER, supply=9.0, rotations={"vr1": 0.2}, readings={"q1": "readings/q1.csv"})
    assert build.control("VR1").rotation == build.control("vr1").rotation == 0.2
    assert build.device("Q1").name == build.device("q1").name == "2N5457, measured"
    solved = [circuit.operating_point(build, **given).voltages["rail"] for given in EITHER_CASE]
    assert solved[0] == solved[1] < 9.0 and solved[2] == solved[3] == pytest.approx(0, abs=1e-9)
    with pytest.raises(TypeError, match=r"rotations must be a dictionary of positions by reference, not \{1: 0.5\}"):
        board.assemble(BOOSTER, supply=9.0, rotations={1: 0.5})
    with pytest.raises(TypeError, match="reference must be text, not 5"):
        build.part(5)


def test_a_battery_or_an_adaptor_sags_with_the_load():
    for given, record in (("9 V alkaline", devices.BATTERY_9V_ALKALINE), (devices.ADAPTOR_9V_UNREGULATED,) * 2):
        build = board.assemble(COMPRESSOR, supply=given)
        assert build.supply is record
        fed = board.doubled_supply(build, roles=OPTICAL_ROLES)
        np.testing.assert_allclose(fed.budget.voltage_supply, build.voltages(fed.budget.current_supply), rtol=1e-6)
        assert np.all(build.voltages(0.0) > build.voltages(20e-3))
    # Nine tenths used, half used and fresh (common practice), on the straight pieces 9.5 V, 7.74 V at 0.8, 5.4 V of the record.
    block = board.assemble(COMPRESSOR, supply="9 V alkaline")
    np.testing.assert_allclose(block.voltages(0.0), [7.74 - 2.34 / 2, 9.5 - 1.76 * 5 / 8, 9.5])


def test_asked_and_got_stand_together():
    found = board.optical_design(PLAIN, supplied=FED, optical=STAGES, roles=OPTICAL_ROLES, **WANTED)
    assert all(target.text_got and target.reason for target in found.targets)
    # The threshold got is where the static curve, run by the compressor's room, is 1 dB down.
    got = next(target for target in found.targets if "threshold" in target.what)
    level = float(got.text_got.split()[0].replace("−", "-"))
    curve = compressor.static_curve([level], compressor=STAGES.compressor)
    assert abs(float(np.asarray(curve.gain_reduction_db)[0]) - 1) < 0.1


def test_the_design_wants_what_the_laws_of_its_parts_want():
    """Half the signal is left where arm and lit cell are equal; lamp, resistor and rail by Kirchhoff; input by f = 1/(2 pi R C)."""
    wanted = WANTED | {"reduction_db": 20 * np.log10(2)}
    rows = board.optical_design(PLAIN, supplied=FED, optical=STAGES, roles=OPTICAL_ROLES, **wanted).design_parts
    said = {row.reference.split(",")[0]: row.text_wanted.replace("\N{NO-BREAK SPACE}", "").rstrip("ΩF") for row in rows}
    lit = float(opto.coupler_point(2e-3, coupler=PLAIN.device("U1")).resistance_cell)
    assert read_value(said["R7"], unit="Ω") == pytest.approx(lit, rel=5e-3)
    held = FED.voltage_rail[1] - FED.voltage_diode
    lamp = (held - float(laws.junction_voltage(2e-3, junction=PLAIN.device("U1").led))) / 2e-3
    assert read_value(said["R16"], unit="Ω") == pytest.approx(lamp, rel=5e-3)
    assert read_value(said["C1"], unit="F") == pytest.approx(1 / (2 * np.pi * 8.0 * 1e6), rel=5e-3)


def test_bypassed_the_indicator_is_dark_and_draws_nothing():
    build = dataclasses.replace(PLAIN, bypassed=True)
    fed = board.doubled_supply(build, roles=OPTICAL_ROLES)
    np.testing.assert_array_equal(fed.current_direct, 0.0)
    assert np.all(fed.budget.current_supply < FED.budget.current_supply)
    off = board.jfet_booster(dataclasses.replace(booster_build(), bypassed=True), roles=BOOSTER_ROLES, **BOOST_WANTED)
    on = board.jfet_booster(booster_build(), roles=BOOSTER_ROLES, **BOOST_WANTED)
    assert np.all(off.filtered.voltage_output > on.filtered.voltage_output)


@pytest.mark.parametrize(
    ("fitted", "told"),
    [
        ({"Q2": "AC128"}, r"line \d+, Q2: 'AC128' is of the other polarity"),
        ({"Q1": "BS170"}, r"line \d+, Q1: 'BS170' is no JFET; fit one there"),
    ],
)
def test_what_is_no_such_circuit_is_refused_with_the_place(fitted, told):
    with pytest.raises(ValueError, match=told):
        board.jfet_booster(board.changed(booster_build(), **fitted), roles=BOOSTER_ROLES, **BOOST_WANTED)


def test_drawn_units_lie_within_what_their_parts_allow():
    parts = DrawnParts(Parts(PLAIN, OPTICAL_ROLES), 500)
    for role, tolerance in (("arm", 0.01), ("lamp resistor", 0.05)):
        off = parts.ohms(role) / PLAIN.resistance(OPTICAL_ROLES[role]) - 1
        assert np.max(np.abs(off)) <= tolerance
        assert np.ptp(off) > 1.9 * tolerance  # even over its whole width
        np.testing.assert_array_equal(parts.ohms(role), parts.ohms(role))  # a part has one value in all its places
    assert np.max(np.abs(parts.farads("hold") / PLAIN.capacitance(OPTICAL_ROLES["hold"]) - 1)) <= 0.1
    coupler = parts.one("coupler", devices.Coupler)
    for current in (1e-5, 1e-3, 5e-3):
        drawn = opto.coupler_point(current, coupler=coupler).resistance_cell
        band = opto.coupler_band(current, coupler=PLAIN.record(OPTICAL_ROLES["coupler"]))
        assert band.resistance_low < np.min(drawn) < band.resistance_cell < np.max(drawn) < band.resistance_high
    dark = np.log(
        coupler.cell.resistance_dark / devices.typical(PLAIN.record(OPTICAL_ROLES["coupler"])).cell.resistance_dark
    )
    assert np.std(dark) == pytest.approx(np.log(3) / 3, rel=0.1) and np.max(np.abs(dark)) <= np.log(3) + 1e-9


def test_bands_of_the_dynamics_hold_the_usual_unit():
    found = board.optical_compressor(PLAIN, supplied=FED, roles=OPTICAL_ROLES, **AROUND, count=60)
    (band,) = found.dynamics
    level = np.linspace(-60.0, 6.0, 133)
    curve = compressor.static_curve(level, compressor=found.compressor)
    usual = compressor.curve_features(level, level_out_dbv=curve.level_out_dbv)
    timed = compressor.attack_release(found.compressor, definition=compressor.SETTLE_2DB)
    assert (band.count, band.count_timed) == (60, 32)
    for name, value in (("threshold_dbv", usual.threshold_dbv), ("ratio", usual.ratio)):
        assert getattr(band, name).low < value < getattr(band, name).high
    for name in ("time_attack", "time_release"):
        spread = getattr(band, name)
        assert spread.low <= spread.typical <= spread.high
        assert spread.low < getattr(timed, name) < spread.high
    assert not STAGES.dynamics
    with pytest.raises(ValueError, match="count"):
        board.optical_compressor(PLAIN, supplied=FED, roles=OPTICAL_ROLES, **AROUND, count=0)


def test_the_targets_tell_the_drawn_threshold_as_a_range():
    """At another position of the control the band moves with the level that the control passes."""
    build = board.assemble(COMPRESSOR, supply=SUPPLY, rotations={"VR1": 0.5, "VR2": 0.3, "VR3": 0.3})
    full, half = (
        board.optical_compressor(one, supplied=board.doubled_supply(one, roles=OPTICAL_ROLES), roles=OPTICAL_ROLES, **AROUND, count=40)
        for one in (PLAIN, build)
    )  # fmt: skip
    told = [
        next(
            target
            for target in board.optical_design(one, supplied=FED, optical=drawn, roles=OPTICAL_ROLES, **WANTED).targets
            if target.what.startswith("threshold")
        )
        for one, drawn in ((PLAIN, full), (build, half))
    ]
    assert told[0].text_got == told[1].text_got == full.dynamics[0].text_threshold_1db
    assert re.fullmatch(r"−[0-9.]+ to −[0-9.]+\sdBV", told[0].text_got)
    assert "coupler any of its class" in told[0].reason
    assert half.dynamics[0].threshold_1db_dbv.low == pytest.approx(
        full.dynamics[0].threshold_1db_dbv.low + 6.02, abs=0.01
    )
    design = board.optical_design(PLAIN, supplied=FED, optical=full, roles=OPTICAL_ROLES, **WANTED)
    attack = next(target for target in design.targets if target.what.startswith("fastest attack"))
    assert f"is longer, {full.dynamics[0].text_attack} as the controls stand" in attack.reason


def test_of_a_measured_coupler_those_are_drawn_that_fit_its_readings(tmp_path):
    truth = devices.typical(devices.COUPLER_WHITE_GL5528)
    rows = coupler_rows(truth, amps=np.geomspace(3e-5, 5e-3, 7))
    build = board.assemble(COMPRESSOR, supply=9.0, readings={"U1": written(tmp_path / "u1.csv", rows)})
    fit = build.own("U1").result
    coupler = DrawnParts(Parts(build, OPTICAL_ROLES), 2000).one("coupler", devices.Coupler)
    for current in (1e-4, 1e-3, 5e-3):
        drawn = opto.coupler_point(current, coupler=coupler).resistance_cell
        band = opto.coupler_band(current, coupler=fit)
        inside = np.mean((band.resistance_low < drawn) & (drawn < band.resistance_high))
        assert inside == pytest.approx(0.95, abs=0.015)
    # Nobody timed it: a factor of two either way is three standard deviations; rise and fall belong together.
    pace = coupler.cell.time_rise_10lx / build.device("U1").cell.time_rise_10lx
    assert np.std(np.log(pace)) == pytest.approx(np.log(2) / 3, rel=0.05)
    np.testing.assert_allclose(coupler.cell.time_fall_10lx / build.device("U1").cell.time_fall_10lx, pace)
    supplied = board.doubled_supply(build, roles=OPTICAL_ROLES)
    (band,) = board.optical_compressor(build, supplied=supplied, roles=OPTICAL_ROLES, **AROUND, count=40).dynamics
    assert band.text_coupler == "those that fit your readings"
    assert -40 < band.threshold_dbv.low < band.threshold_dbv.high < -15


def test_units_that_do_not_compress_are_told_of():
    assert told_threshold(Spread(-26.0, -25.0, np.inf)).endswith("some units do not compress")
    assert told_threshold(Spread(np.inf, np.inf, np.inf)) == "does not compress"
    assert told_range(0.016, 0.084, "s", 2) == "16 to 84\N{NO-BREAK SPACE}ms"
    assert told_range(0.4, 1.2, "s", 2) == "400\N{NO-BREAK SPACE}ms to 1.2\N{NO-BREAK SPACE}s"
    assert told_range(0.4, 0.4, "s", 2) == "400\N{NO-BREAK SPACE}ms"


def test_a_type_of_one_s_own_table_is_fitted_later_too(tmp_path, monkeypatch):
    table = tmp_path / "drawer.csv"
    table.write_text(
        "diode,name,also,voltage_forward [V],current_reference [mA],ideality,resistance_series [Ω],origin\n"
        "mine,MY-D,,0.65,1,1.8,0.6,own readings\n",
        encoding="utf-8",
    )
    monkeypatch.chdir(tmp_path)
    build = board.assemble(COMPRESSOR, supply=SUPPLY, tables=["drawer.csv"])
    monkeypatch.chdir(ROOT)
    moved = board.changed(board.changed(build, R1="22R"), D4="MY-D")
    assert moved.device("D4").voltage_forward == 0.65
    with pytest.raises(ValueError, match="'MY-D' fits no part"):
        board.changed(PLAIN, D4="MY-D")


def test_connectors_without_a_plug_are_told_when_a_board_is_assembled():
    jack = next(found.part for found in PLAIN.parts if found.part.kind == "jack")
    assert board.assemble(COMPRESSOR, supply=SUPPLY, unplugged=[jack.reference]).unplugged == (jack.reference,)
    with pytest.raises(ValueError, match="unplugged must name jacks and connectors; R1 is a resistor"):
        board.assemble(COMPRESSOR, supply=SUPPLY, unplugged=["R1"])
    with pytest.raises(ValueError, match="has no J99"):
        board.assemble(COMPRESSOR, supply=SUPPLY, unplugged=["J99"])
    with pytest.raises(TypeError, match="unplugged must be a list of references"):
        board.assemble(COMPRESSOR, supply=SUPPLY, unplugged="J1")


@pytest.mark.parametrize(
    ("build", "solved"),
    [
        pytest.param("optical-compressor", "optical", id="compressor"),
        pytest.param("jfet-booster", "booster", id="booster"),
    ],
)
def test_every_caution_names_the_part_of_the_list_that_it_is_about(build, solved):
    """A builder looks for IC2 on the board, not for one of three TL072."""
    path = ROOT / "notebooks" / "builds" / build / "parts.csv"
    lists = [(9.0, {}), (3.0, {}), (13.0, {}), (45.0, {})]
    lists += [
        (9.0, {"R3": "22k", "C6": "1u"}),
        (9.0, {"R17": "100R"}),
        (9.0, {"R5": "100M", "C1": "10u"}),
        (9.0, {"R7": "100R"}),
    ]
    told = 0
    for supplied, swaps in lists:
        here = {name: text for name, text in swaps.items() if f"\n{name}," in path.read_text(encoding="utf-8")}
        try:
            found = board.changed(board.assemble(path, supply=supplied), **here)
            made = (
                board.jfet_booster(found, roles=BOOSTER_ROLES, **BOOST_WANTED).cautions
                if solved == "booster"
                else cautions_of_compressor(found)
            )
        except ValueError:  # some part does not go there
            continue
        names = [one.part.reference for one in found.parts]
        for one in made:
            assert any(re.search(rf"\b{name}\b", one.what) for name in names), one.what
            told += 1
    assert told > 5


def cautions_of_compressor(found):
    fed = board.doubled_supply(found, roles=OPTICAL_ROLES)
    built = board.optical_compressor(
        found, supplied=fed, roles=OPTICAL_ROLES, resistance_generator=10e3, resistance_load=1e6
    )
    return fed.cautions + built.cautions


def test_a_step_that_nobody_hears_is_told_so():
    build = board.assemble(ROOT / "notebooks" / "builds" / "jfet-booster" / "parts.csv", supply=9.0)
    built = board.jfet_booster(build, roles=BOOSTER_ROLES, **BOOST_WANTED)
    told = {row.name: row.text_step for row in built.thumps}
    assert built.thump_in.voltage_step < 1e-6
    assert told["input, C1 with R2"] == "none to hear"
    assert built.thump_in.voltage_step_open > 1e-3
    assert told["the same without R2"].endswith(" mV")


def test_no_step_is_told_beyond_what_the_op_amps_can_swing():
    """Open, each capacitor would step by volts that the op-amp behind or before it cannot give."""
    build = board.assemble(COMPRESSOR, supply=9.0)
    fed = board.doubled_supply(build, roles=OPTICAL_ROLES)
    built = board.optical_compressor(
        build, supplied=fed, roles=OPTICAL_ROLES, resistance_generator=10e3, resistance_load=1e6
    )
    most = float(fed.budget.swing_peak[1])
    assert min(built.thump_in.voltage_step_open, built.thump_out.voltage_step_open) > most
    told = {row.name: row.text_step for row in built.thumps}
    assert told["the same without R5"] == told["the same with VR4 open"] == f"{most:.1f} V"


def test_a_leaking_base_may_give_current():
    """A straight line by hand: x = -1 µA - x/10 holds at -1/1.1 µA, which a supply's current can never be."""
    held = lambda x: -1e-6 - 0.1 * x
    assert agreed(held, np.zeros((1, 1)), what="base", least=-np.inf)[0, 0] == pytest.approx(-1e-6 / 1.1)
    with pytest.raises(RuntimeError, match="base"):
        agreed(held, np.zeros((1, 1)), what="base")


def test_a_link_for_the_emitter_s_resistor_is_no_follower_that_does_not_conduct():
    linked = board.changed(booster_build(), R6="0R")
    found = board.jfet_booster(linked, roles=BOOSTER_ROLES, **BOOST_WANTED)
    assert np.all(found.follower.current_emitter > 1e-2)
    assert not [one.what for one in found.cautions if "does not conduct" in one.what]


def test_what_is_computed_with_another_resistor_says_so_first():
    far = board.changed(board.assemble(BUILDS / "optical-compressor" / "parts.csv", supply=(8.55, 9.0, 9.45)), R1="1M")
    told = board.doubled_supply(far, roles=OPTICAL_ROLES).cautions[0]
    assert "lets so little through" in told.what and told.value == 1e6


def test_what_follows_from_a_starved_supply_is_not_told_beside_its_cause():
    """Op-amps that do not run have no swing, no input range and no compression: each of them said so, in 24 cautions."""
    build = board.changed(PLAIN, R1="10k")
    fed = board.doubled_supply(build, roles=OPTICAL_ROLES)
    told = board.optical_compressor(build, supplied=fed, roles=OPTICAL_ROLES, **AROUND).cautions + fed.cautions
    for words, count in (("op-amps do not run", 1), ("rails are below", 2), ("next to no compression", 1)):
        assert sum(words in one.what for one in told) == count
    assert not [one.what for one in told if re.search("swing|input|low-voltage pin|lowest supply", one.what)]
