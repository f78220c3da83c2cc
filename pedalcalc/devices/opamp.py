"""Op-amp records: what a pedal's supply leaves of each type.

Headroom is given in volts from each rail, taken from the sheet's ±15 V figures
and assumed to stay the same on a lower supply (usual, not guaranteed).
"""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._base import quantity
from pedalcalc.devices._record import Device, Spread
from pedalcalc.devices.transistor import LeadOrder

__all__ = ["OPAMP_4558", "OPAMP_LM358", "OPAMP_NE5532", "OPAMP_TL062", "OPAMP_TL072", "OpAmp"]

_NAN = float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class OpAmp(Device):
    """One amplifier of an op-amp package.

    `headroom_top` and `headroom_bottom` say how near the output comes to each
    rail, `input_margin_top` and `input_margin_bottom` how near the inputs may
    come. `current_bias` is a size; `bias_direction` is `in` where it flows into
    the pins (NPN inputs) and `out` where it flows out of them (PNP inputs).
    """

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    voltage_supply_min: float = quantity("V", "lowest total supply")
    voltage_supply_max: float = quantity("V", "highest total supply")
    current_quiescent: Spread = quantity("A", "supply current of each amplifier")
    gain_open_loop: Spread = quantity("1", "open-loop gain")
    gain_bandwidth: Spread = quantity("Hz", "gain-bandwidth product")
    slew_rate: Spread = quantity("V/s", "slew rate")
    voltage_offset: Spread = quantity("V", "input offset, size")
    current_bias: Spread = quantity("A", "input bias current, size")
    bias_direction: str = quantity("text", "bias current flows in or out")
    resistance_output_open: float = quantity("Ω", "open-loop output resistance")
    headroom_top: Spread = quantity("V", "output to positive rail")
    headroom_bottom: Spread = quantity("V", "output to negative rail")
    input_margin_top: Spread = quantity("V", "input to positive rail")
    input_margin_bottom: Spread = quantity("V", "input to negative rail")
    lead_order: tuple[LeadOrder, ...] = quantity("records", "order of the leads")


_DUAL = (
    LeadOrder(
        "DIP-8 dual",
        "1 out A, 2 in- A, 3 in+ A, 4 negative rail, 5 in+ B, 6 in- B, 7 out B, 8 positive rail",
        "from above, notch or dot at the left, pin 1 bottom left, counted anticlockwise",
        "from memory; the usual dual op-amp order",
    ),
)

OPAMP_TL072 = OpAmp(
    name="TL072",
    source="supply current, output swing and input range from SHEET-TL072 (±15 V); the rest from memory",
    voltage_supply_min=7.0,
    voltage_supply_max=36.0,
    current_quiescent=Spread(_NAN, 1.4e-3, 2.5e-3),
    gain_open_loop=Spread(25e3, 200e3, _NAN),
    gain_bandwidth=Spread(2.5e6, 3e6, _NAN),
    slew_rate=Spread(8e6, 13e6, _NAN),
    voltage_offset=Spread(_NAN, 3e-3, 10e-3),
    current_bias=Spread(_NAN, 65e-12, 200e-12),
    bias_direction="out",
    resistance_output_open=128.0,
    headroom_top=Spread(_NAN, 1.5, 3.0),
    headroom_bottom=Spread(_NAN, 1.5, 3.0),
    input_margin_top=Spread(_NAN, 0.0, 4.0),
    input_margin_bottom=Spread(_NAN, 3.0, 4.0),
    lead_order=_DUAL,
)
OPAMP_TL062 = OpAmp(
    name="TL062",
    source="from memory; output swing and input range taken as those of the TL072",
    voltage_supply_min=7.0,
    voltage_supply_max=36.0,
    current_quiescent=Spread(_NAN, 0.2e-3, 0.25e-3),
    gain_open_loop=Spread(3e3, 6e3, _NAN),
    gain_bandwidth=Spread(_NAN, 1e6, _NAN),
    slew_rate=Spread(1.5e6, 3.5e6, _NAN),
    voltage_offset=Spread(_NAN, 3e-3, 15e-3),
    current_bias=Spread(_NAN, 30e-12, 200e-12),
    bias_direction="out",
    resistance_output_open=220.0,
    headroom_top=Spread(_NAN, 1.5, 3.0),
    headroom_bottom=Spread(_NAN, 1.5, 3.0),
    input_margin_top=Spread(_NAN, 0.0, 4.0),
    input_margin_bottom=Spread(_NAN, 3.0, 4.0),
    lead_order=_DUAL,
)
OPAMP_4558 = OpAmp(
    name="4558",
    source="from memory",
    voltage_supply_min=8.0,
    voltage_supply_max=36.0,
    current_quiescent=Spread(_NAN, 1.15e-3, 2.3e-3),
    gain_open_loop=Spread(20e3, 200e3, _NAN),
    gain_bandwidth=Spread(_NAN, 3e6, _NAN),
    slew_rate=Spread(_NAN, 1.7e6, _NAN),
    voltage_offset=Spread(_NAN, 0.5e-3, 6e-3),
    current_bias=Spread(_NAN, 60e-9, 500e-9),
    bias_direction="out",
    resistance_output_open=75.0,
    headroom_top=Spread(_NAN, 1.0, 3.0),
    headroom_bottom=Spread(_NAN, 1.5, 3.0),
    input_margin_top=Spread(_NAN, 1.0, 3.0),
    input_margin_bottom=Spread(_NAN, 1.5, 3.0),
    lead_order=_DUAL,
)
OPAMP_NE5532 = OpAmp(
    name="NE5532",
    source="from memory",
    voltage_supply_min=6.0,
    voltage_supply_max=44.0,
    current_quiescent=Spread(_NAN, 4e-3, 8e-3),
    gain_open_loop=Spread(15e3, 100e3, _NAN),
    gain_bandwidth=Spread(_NAN, 10e6, _NAN),
    slew_rate=Spread(_NAN, 9e6, _NAN),
    voltage_offset=Spread(_NAN, 0.5e-3, 4e-3),
    current_bias=Spread(_NAN, 200e-9, 800e-9),
    bias_direction="in",
    resistance_output_open=75.0,
    headroom_top=Spread(_NAN, 1.5, 3.0),
    headroom_bottom=Spread(_NAN, 1.5, 3.0),
    input_margin_top=Spread(_NAN, 2.0, 3.0),
    input_margin_bottom=Spread(_NAN, 2.0, 3.0),
    lead_order=_DUAL,
)
OPAMP_LM358 = OpAmp(
    name="LM358",
    source="from memory; crosses over audibly between sinking and sourcing",
    voltage_supply_min=3.0,
    voltage_supply_max=32.0,
    current_quiescent=Spread(_NAN, 0.35e-3, 0.6e-3),
    gain_open_loop=Spread(25e3, 100e3, _NAN),
    gain_bandwidth=Spread(_NAN, 0.7e6, _NAN),
    slew_rate=Spread(_NAN, 0.3e6, _NAN),
    voltage_offset=Spread(_NAN, 3e-3, 7e-3),
    current_bias=Spread(_NAN, 45e-9, 250e-9),
    bias_direction="out",
    resistance_output_open=300.0,
    headroom_top=Spread(_NAN, 1.5, 2.0),
    headroom_bottom=Spread(_NAN, 0.02, 0.1),
    input_margin_top=Spread(_NAN, 1.5, 2.0),
    input_margin_bottom=Spread(_NAN, 0.0, 0.0),
    lead_order=_DUAL,
)
