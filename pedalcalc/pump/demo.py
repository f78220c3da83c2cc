"""The supply of the demo build: 9 V in, doubled for the op-amps."""

from __future__ import annotations

from pedalcalc._base import search
from pedalcalc.devices import CONVERTER_1044S, DIODE_1N5817, OPAMP_TL072, typical
from pedalcalc.pump.budget import RailCircuit

__all__ = ["example"]


@search
def example() -> RailCircuit:
    """Return the supply of the demo build.

    A Schottky diode and 10 Ω ahead of a 12 V converter with its boost pin tied
    to the supply, so that the pump runs above hearing; two Schottky diodes
    double the voltage; 47 Ω and 100 µF keep the pump's ripple off the rail.

    Returns
    -------
    RailCircuit
        A doubled rail for TL072-class op-amps, typical figures.

    References
    ----------
    SHEET-1044S for the converter; PRACTICE for the values around it.

    Examples
    --------
    >>> rail = example()
    >>> print(f"{rail.rail_kind}, {rail.converter.name}, {rail.frequency_pump / 1e3:g} kHz")
    doubled, 1044S, 22.5 kHz
    """
    converter = CONVERTER_1044S
    return RailCircuit(
        rail_kind="doubled",
        diode_protection=typical(DIODE_1N5817),
        resistance_filter_in=10.0,
        converter=converter,
        diode_pump=typical(DIODE_1N5817),
        resistance_switch=converter.resistance_switch.typical,
        current_idle=converter.current_idle_boosted.typical,
        frequency_pump=converter.frequency_pump_boosted,
        capacitance_pump=10e-6,
        resistance_esr_pump=1.0,
        capacitance_output=47e-6,
        resistance_esr_output=0.5,
        voltage_rating_pump=25.0,
        voltage_rating_output=35.0,
        low_pin="open",
        resistance_filter_out=47.0,
        capacitance_filter_out=100e-6,
        resistance_esr_filter=0.3,
        op_amp=OPAMP_TL072,
        headroom_top=OPAMP_TL072.headroom_top.typical,
        headroom_bottom=OPAMP_TL072.headroom_bottom.typical,
        input_margin_bottom=OPAMP_TL072.input_margin_bottom.typical,
        reference_share=0.5,
    )
