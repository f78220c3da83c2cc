"""Switched-capacitor voltage inverter: all four switches carry the flying capacitor to the upside-down output."""

from __future__ import annotations

import numpy as np

from pedalcalc._arguments import is_a, one_of
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity
from pedalcalc.devices import Converter
from pedalcalc.pump._cycle import solve_cycle
from pedalcalc.pump._stage import (
    LOW_PIN,
    Amperes,
    Converters,
    Hertz,
    Ohms,
    Output,
    Pump,
    Volts,
    open_cautions,
    output_diode_caution,
    ripple_sum,
    stage_cautions,
    stage_result,
)

__all__ = ["inverter"]


@formula
def inverter(
    *,
    voltage_supply: Volts,
    resistance_feed: Ohms,
    resistance_switch: Ohms,
    current_idle: Amperes,
    frequency_pump: Hertz,
    capacitance_pump: AboveZero,
    resistance_esr_pump: Ohms,
    capacitance_output: AboveZeroToInfinity,
    resistance_esr_output: Ohms,
    voltage_rating_pump: AboveZero,
    voltage_rating_output: AboveZero,
    count: Converters,
    low_pin: str,
    converter: Converter,
    current_load: Amperes = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
) -> Pump:
    """Find the output of a switched-capacitor voltage inverter under load.

    The output is negative: the plus of its capacitor goes to ground.

    Parameters
    ----------
    voltage_supply : array_like
        Supply ahead of `resistance_feed` [V], at least 0 and at most 1000.
    resistance_feed : array_like
        Resistance ahead of the converter's supply capacitor: battery, filter resistor [Ω], at least 0 and at most 1000000.
    resistance_switch : array_like
        One of the converter's four switches [Ω], at least 0 and at most 1000000; see `Converter.resistance_switch`.
    current_idle : array_like
        The converter's own current [A], at least 0 and at most 100.
    frequency_pump : array_like
        Pump frequency, half the oscillator's [Hz], above 0 and at most 10000000.
    capacitance_pump : array_like
        Flying capacitor [F], above 0; far beyond use it is a short for the pump.
    resistance_esr_pump : array_like
        Its equivalent series resistance [Ω], at least 0 and at most 1000000.
    capacitance_output : array_like
        Output capacitor [F], above 0; inf is a stiff output.
    resistance_esr_output : array_like
        Its equivalent series resistance [Ω], at least 0 and at most 1000000.
    voltage_rating_pump : array_like
        Voltage printed on the flying capacitor [V], above 0.
    voltage_rating_output : array_like
        Voltage printed on the output capacitor [V], above 0.
    count : array_like
        Converters in parallel, each with its own flying capacitor [1], at least 1 and at most 1000, a whole number.
    low_pin : str
        Low-voltage pin "open" or "grounded".
    converter : Converter
        Converter record, for its limits (`pedalcalc.devices`).
    current_load : array_like
        Constant current of the load between ground and the negative output [A], at least 0 and at most 100; none unless stated.
    resistance_load : array_like
        What the load draws as a resistance [Ω], above 0; none (inf) unless stated.

    Returns
    -------
    Pump
        Voltages [V], resistances [Ω], ripple and tone [V], current [A], power [W],
        efficiency [1] and cautions.

    Raises
    ------
    ValueError
        If a value is out of range, `count` is not whole, or `low_pin` is another word.

    Notes
    -----
    Two switches in each phase; the exact periodic state of the flying capacitor. With a stiff
    output and equal resistances R in both phases the output resistance is
    1/(f C1) coth(1/(4 f R C1)); limits 1/(f C1) and 8 R_sw + 4 R_ESR1 + R_ESR2. The supply is
    held by a capacitor at the converter, so `resistance_feed` carries the mean current, I + I_idle.
    Voltages are means over a period, as a meter reads them.

    The makers' sums stand beside it: `resistance_sum` adds both limits, `voltage_ripple_sum` is
    I (1/(2 f C2) + 2 R_ESR2).

    References
    ----------
    SHEET-7660-B page 9, the sums; SHEET-SP682 page 5, the ripple; SEEMAN-SANDERS, both limits; DERIVED, the exact state.

    Examples
    --------
    >>> from pedalcalc.devices import CONVERTER_1044S
    >>> minus = inverter(
    ...     voltage_supply=9.0, current_load=0.005, resistance_feed=2.0,
    ...     resistance_switch=CONVERTER_1044S.resistance_switch.typical, current_idle=80e-6, frequency_pump=5e3,
    ...     capacitance_pump=10e-6, resistance_esr_pump=1.0, capacitance_output=47e-6, resistance_esr_output=0.5,
    ...     voltage_rating_pump=16.0, voltage_rating_output=16.0, count=1, low_pin="open", converter=CONVERTER_1044S,
    ... )
    >>> print(f"{minus.voltage_output:.2f} V, {minus.resistance_thevenin:.1f} Ω")
    -8.67 V, 64.5 Ω
    """
    supply, current, resistor, source = voltage_supply, current_load, resistance_load, resistance_feed
    switch, idle, f, c1, esr1 = resistance_switch, current_idle, frequency_pump, capacitance_pump, resistance_esr_pump
    c2, esr2, rating1, rating2 = capacitance_output, resistance_esr_output, voltage_rating_pump, voltage_rating_output
    n = count
    one_of("low_pin", low_pin, LOW_PIN)
    is_a("converter", converter, Converter)
    phase = (2 * switch + esr1) / n
    cycle = solve_cycle(f, n * c1, phase, phase, c2, esr2)
    inside = source + cycle.resistance_thevenin
    at_rest = supply - source * n * idle
    # A resistance draws nothing from a supply that the converter's own current uses up.
    ways = resistor + inside
    with np.errstate(invalid="ignore"):  # no difference of two large numbers where little is pumped
        part = np.where(np.isinf(resistor), 1.0, resistor / ways)
    load = np.where(at_rest < 0, current, current * part + at_rest / ways)
    drawn = load + n * idle
    pin = supply - source * drawn + 0 * (rating1 + rating2)
    out = pin - load * cycle.resistance_thevenin
    capacitors = (("flying capacitor", 1, rating1), ("output capacitor", 1, rating2))
    cautions = open_cautions(converter, supply, capacitors) + stage_cautions(converter, pin, load, n, f, low_pin)
    cautions += output_diode_caution(converter, pin)
    output = Output(
        out,
        0.0 * load,
        cycle.resistance_thevenin,
        cycle.resistance_slow,
        cycle.resistance_fast,
        load * cycle.ripple,
        ripple_sum(load, f, c2, esr2),
        load * cycle.ripple_pump,
        load * cycle.tone,
    )
    return stage_result(output, supply, pin, pin, load, drawn, -1.0, cautions, f)
