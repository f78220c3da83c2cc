"""What clips first, and what leaves its region without being heard: levels by hand, with the diodes' own law."""

from __future__ import annotations

from pathlib import Path

import pytest

from pedalcalc import devices, laws
from pedalcalc.board import assemble
from pedalcalc.sheet import _sound

BUILDS = Path(__file__).parents[1] / "notebooks" / "builds"
HEAD = "reference,kind,value,fitted,tolerance,rating,connections,note\n"
#: An amplifier from 'in' to 'out': inverting, 10 kΩ in and {0} back, at half of 18 V; its second half follows nothing.
AMPLIFIER = HEAD + (
    'X1,connector,battery clip,,,,"plus: rail, minus: ground",\n'
    'R1,resistor,10k,,1%,,"1: rail, 2: half",\n'
    'R2,resistor,10k,,1%,,"1: half, 2: ground",\n'
    'C1,electrolytic capacitor,1000u,,20%,25 V,"plus: half, minus: ground",\n'
    'C2,film capacitor,10u,,10%,63 V,"1: in, 2: fed",\n'
    'R3,resistor,10k,,1%,,"1: fed, 2: sum",\n'
    'R4,resistor,100k,,1%,,"1: sum, 2: made",\n'
    'C3,film capacitor,10u,,10%,63 V,"1: made, 2: out",\n'
    'R5,resistor,100k,,1%,,"1: out, 2: ground",\n'
    'IC1,integrated circuit,TL072,,,36 V,"1: made, 2: sum, 3: half, 4: ground, 5: out2 in, 6: out2, 7: out2, 8: rail",\n'
)
IDLE = 'R6,resistor,100k,,1%,,"1: out2 in, 2: half",\n'
BACK = 'D1,diode,1N4148,,,,"anode: sum, cathode: made",\nD2,diode,1N4148,,,,"anode: made, cathode: sum",\n'
#: Behind the follower that looks at 'made': a rectifier on 1 µF and 100 kΩ.
SIDE = (
    'R6,resistor,100k,,1%,,"1: out2 in, 2: made",\n'
    'D3,diode,1N4148,,,,"anode: out2, cathode: held",\n'
    'C4,film capacitor,1u,,10%,63 V,"1: held, 2: half",\n'
    'R7,resistor,100k,,1%,,"1: held, 2: half",\n'
)
WAYS = _sound.Ways("in", "out", 0.0, 1e6)


def built(tmp_path, text):
    path = tmp_path / "parts.csv"
    path.write_text(text, encoding="utf-8")
    return assemble(path, supply=18.0)


def test_diodes_in_the_feedback_are_told_where_they_halve_its_resistance(tmp_path):
    # by hand: a diode as steep as 100 kΩ carries n Vt/R; with the resistor's current that is what 10 kΩ must bring
    found = _sound.clipping(built(tmp_path, AMPLIFIER + IDLE + BACK), WAYS)
    record = devices.typical(devices.DIODE_1N4148)
    current = record.ideality * 0.02585 / 100e3
    across = float(laws.junction_voltage(current, junction=record))
    level = 10e3 * (across / 100e3 + current)
    assert {"D1", "D2"} == set(list(found.levels)[:2])
    assert found.levels["D1"] == pytest.approx(level, rel=0.1)
    assert found.levels["D2"] == pytest.approx(level, rel=0.1)
    assert found.swing == pytest.approx(across, rel=0.1)
    assert not found.unheard


def test_what_clips_below_a_thousandth_of_a_volt_is_not_out_at_rest(tmp_path):
    """By hand: 100 kΩ over 10 Ω make 10,000; a TL072 leaves 1.5 V of each half of 18 V (its sheet's typical swing)."""
    much = AMPLIFIER.replace("R3,resistor,10k", "R3,resistor,10R").replace(
        "C2,film capacitor,10u", "C2,film capacitor,1000u"
    )
    found = _sound.clipping(built(tmp_path, much + IDLE), WAYS)
    assert found.at_rest == () and list(found.levels) == ["IC1 unit 1"]
    assert found.levels["IC1 unit 1"] == pytest.approx((9.0 - 1.5) / 10e3, rel=0.15)


@pytest.mark.parametrize(("kind", "told"), [("LM358", True), ("TL072", False)])
def test_an_op_amp_that_is_too_slow_for_the_edges_is_told(tmp_path, kind, told):
    """1 V peak times 100 crosses zero at 2 pi 1 kHz 100 V = 0.63 V/us by hand; an LM358 does some 0.3 V/us (maker's sheet)."""
    text = AMPLIFIER.replace("R4,resistor,100k", "R4,resistor,1M").replace("TL072", kind) + IDLE
    shown = str(_sound.clipping_section(built(tmp_path, text), WAYS))
    assert ("With 1.0 V peak from the guitar, 1 kHz:" in shown) == told
    assert ("the output of IC1 unit 1 would have to move faster than it can" in shown) == told


def test_a_rectifier_behind_a_follower_is_not_heard_and_the_last_op_amp_is(tmp_path):
    board = built(tmp_path, AMPLIFIER + SIDE)
    found = _sound.clipping(board, WAYS)
    record = board.device("IC1")
    room = 9.0 - max(float(record.headroom_top), float(record.headroom_bottom))
    assert list(found.levels) == ["IC1 unit 1"]
    assert found.levels["IC1 unit 1"] == pytest.approx(room / 10, rel=0.06)  # by hand: headroom over the gain of 10
    # by hand: a diode's drop over the gain of 10, at a current between microamperes and milliamperes
    assert 0.01 < found.unheard["D3"] < 0.07
    shown = str(_sound.clipping_section(board, WAYS))
    assert shown.index("IC1 unit 1 is the first") < shown.index("is not heard at the output") < shown.index("D3")


def test_the_same_rectifier_across_the_output_is_heard(tmp_path):
    side = SIDE.replace("anode: out2, cathode: held", "anode: clipped, cathode: held")
    side += 'R8,resistor,10k,,1%,,"1: made, 2: clipped",\n'
    text = AMPLIFIER.replace("1: made, 2: out", "1: clipped, 2: out") + side.replace(
        "1: held, 2: half", "1: held, 2: half"
    )
    found = _sound.clipping(built(tmp_path, text), WAYS)
    assert next(iter(found.levels)) == "D3"


def test_the_compressor_tells_its_make_up_and_not_its_side_chain():
    board = assemble(BUILDS / "optical-compressor" / "parts.csv", supply=9.0)
    found = _sound.clipping(board, _sound.Ways("", "", 10e3, 1e6))
    assert list(found.levels) == ["IC2 unit 2", "IC2 unit 1"]
    assert {"D4", "D5", "IC3 unit 1", "IC3 unit 2"} <= set(found.unheard)
