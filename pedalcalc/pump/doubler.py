"""Voltage doubler of a converter and two diodes.

Two of the converter's four switches swing one end of the flying capacitor
between ground and supply, two diodes do the rest. Both obey the junction law
at every moment; nothing about them is a constant drop or a slope.

              D1          D2
    V+ o----->|----+----->|----+----o V_out
                   |           |
                  === C1      === C2
                   |           |
    pin 2 (0/V+) o-+          ground
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import is_a, one_of
from pedalcalc._base import elementwise_root, formula
from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity
from pedalcalc._refusal import among
from pedalcalc._result import Number, caution_above
from pedalcalc.devices import Converter, Diode
from pedalcalc.pump._pulse import Circuit
from pedalcalc.pump._settled import settle
from pedalcalc.pump._stage import (
    LOW_PIN,
    Amperes,
    Converters,
    Farads,
    Hertz,
    Ohms,
    Output,
    Pump,
    Volts,
    open_cautions,
    ripple_sum,
    stage_cautions,
    stage_result,
)

__all__ = ["doubler"]

Array = NDArray[np.float64]


def one_of_equal(
    supply: Array,
    load: Array,
    switch: Array,
    f: Array,
    c1: Array,
    esr1: Array,
    c2: Array,
    esr2: Array,
    n: Array,
    diode: tuple[Number, Number, Number],
) -> Circuit:
    """Return one of `n` equal converters with its share of the load and of the output capacitor."""
    i_s, ideality, r_s = (np.asarray(part, float) for part in diode)
    return Circuit(
        supply, load / n, 1 / f, c1, c2 / n, switch + esr1, esr2 * n, r_s, i_s, ideality * VOLTAGE_THERMAL_300K
    )


@formula
def doubler(
    *,
    voltage_supply: Volts,
    resistance_feed: Ohms,
    resistance_switch: Ohms,
    current_idle: Amperes,
    frequency_pump: Hertz,
    capacitance_pump: Farads,
    resistance_esr_pump: Ohms,
    capacitance_output: AboveZeroToInfinity,
    resistance_esr_output: Ohms,
    voltage_rating_pump: AboveZero,
    voltage_rating_output: AboveZero,
    count: Converters,
    low_pin: str,
    diode: Diode,
    converter: Converter,
    current_load: Amperes = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
) -> Pump:
    """Find the output of a voltage doubler made of a converter and two diodes.

    Both diodes obey the junction law with their series resistance throughout
    the period, forward and reverse. Only two of the converter's four switches
    are in use.

    Parameters
    ----------
    voltage_supply : array_like
        Supply ahead of `resistance_feed` [V], at least 0 and at most 1000.
    resistance_feed : array_like
        Resistance ahead of the converter's supply capacitor: battery, filter resistor [Ω], at least 0 and at most 1000000.
    resistance_switch : array_like
        One of the converter's switches [Ω], at least 0 and at most 1000000; see `Converter.resistance_switch`.
    current_idle : array_like
        The converter's own current [A], at least 0 and at most 100.
    frequency_pump : array_like
        Pump frequency, half the oscillator's [Hz], above 0 and at most 10000000.
    capacitance_pump : array_like
        Flying capacitor [F], at least 0 and at most 1; 0 for a missing one, or a converter that does not switch.
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
        Converters in parallel, each with its own flying capacitor and diodes [1], at least 1 and at most 1000, a whole number.
    low_pin : str
        Low-voltage pin "open" or "grounded".
    diode : Diode
        Both diodes (`pedalcalc.devices`), at 300 K.
    converter : Converter
        Converter record, for its limits (`pedalcalc.devices`).
    current_load : array_like
        Constant load current [A], at least 0 and at most 100; none unless stated.
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
    RuntimeError
        If an overloaded state, or the current of a resistance, does not converge.

    Notes
    -----
    The settled state follows from charge balance: what the flying capacitor takes
    from the supply through one diode in half a period it gives through the other in
    the next. The load is a constant current (that of a resistance is taken at the mean
    voltage), the supply is held by a capacitor at the converter, and voltages are means over a
    period, as a meter reads them.
    V = 2 V_S - 2 V_D - I R is left of it where V_D and R do not change with the load.

    `voltage_drop_diodes` is what both diodes drop, in the mean over the charge they
    carry; with a fast pump that is their drop at twice the load. `resistance_thevenin`
    is by how much the output falls for a little more load, the diodes' part of it
    included: limits 1/(f C1) and 2 (2 R_sw + 2 r_d). `resistance_sum` bounds it where the
    output capacitor is several times the flying one. `voltage_ripple_sum` is the makers'
    I (1/(2 f C2) + 2 R_ESR2).

    The supply gives 2 I + I_idle and the diodes' saturation current. Without load the
    output stays 2 n V_T ln 2 below twice the supply, because each diode passes its
    saturation current back while the other conducts.

    The output falls no lower than the supply less two diode drops at the load: overloaded,
    the supply comes straight through both diodes and gives I instead of 2 I. There is no
    closed form in between; those cases are stepped in time until the mean output stands
    within 0.1 mV. They cost milliseconds each.

    References
    ----------
    SHEET-TL7660 page 1 for the circuit; SHOCKLEY, the diode law; SHEET-SP682 page 5, the ripple's sum; DERIVED, the
    settled state.

    Examples
    --------
    >>> from pedalcalc.devices import CONVERTER_1044S, DIODE_1N5817, typical
    >>> double = doubler(
    ...     voltage_supply=9.0, current_load=0.005, resistance_feed=0.0,
    ...     resistance_switch=CONVERTER_1044S.resistance_switch.typical, current_idle=300e-6, frequency_pump=22.5e3,
    ...     capacitance_pump=10e-6, resistance_esr_pump=1.0, capacitance_output=47e-6, resistance_esr_output=0.5,
    ...     voltage_rating_pump=16.0, voltage_rating_output=35.0, count=1, low_pin="open", diode=typical(DIODE_1N5817),
    ...     converter=CONVERTER_1044S,
    ... )
    >>> print(f"{double.voltage_output:.2f} V, {double.efficiency:.2f}")
    17.42 V, 0.94
    """
    supply, current, resistor, source = voltage_supply, current_load, resistance_load, resistance_feed
    switch, idle, f, c1, esr1 = resistance_switch, current_idle, frequency_pump, capacitance_pump, resistance_esr_pump
    c2, esr2, rating1, rating2 = capacitance_output, resistance_esr_output, voltage_rating_pump, voltage_rating_output
    n = count
    one_of("low_pin", low_pin, LOW_PIN)
    is_a("diode", diode, Diode)
    is_a("converter", converter, Converter)
    law = (diode.current_saturation, diode.ideality, diode.resistance_series)
    load = _both_loads(current, resistor, (supply, source, switch, idle, f, c1, esr1, c2, esr2, n), law)
    circuit = one_of_equal(supply, load, switch, f, c1, esr1, c2, esr2, n, law)
    settled, pin = settle(circuit, source * n, idle)
    drawn = n * (settled.drawn + idle)
    pin = pin + 0 * (rating1 + rating2)
    with np.errstate(divide="ignore"):
        slow = np.asarray(1 / (f * c1 * n))
    slope = circuit.nvt / (2 * (circuit.load + circuit.current_saturation)) + circuit.resistance_diode
    fast = np.asarray(4 * (circuit.resistance_pump + slope) / n + esr2)
    output = Output(
        settled.output,
        settled.diodes,
        settled.resistance / n,
        slow,
        fast,
        settled.ripple,
        ripple_sum(load, f, c2, esr2),
        settled.ripple_pump,
        settled.tone,
    )
    capacitors = (("flying capacitor", 1, rating1), ("output capacitor", 2, rating2))
    cautions = open_cautions(converter, supply, capacitors) + stage_cautions(converter, pin, load, n, f, low_pin)
    cautions += caution_above(
        f"the {diode.name} carries more than it is made for", "use a larger diode", load / n, diode.current_max, "A"
    )
    return stage_result(output, supply, pin, 2 * pin, load, drawn, 1.0, cautions, f)


def _both_loads(
    current: Array, resistor: Array, circuit: tuple[Array, ...], diode: tuple[Number, Number, Number]
) -> Array:
    """Return the current on which the output and both loads agree."""
    if np.all(np.isinf(resistor)):
        return current
    parts = np.broadcast_arrays(current, resistor, *circuit, *diode)

    def output(load: Array, *values: Array) -> Array:
        _, _, supply, source, switch, idle, f, c1, esr1, c2, esr2, n, *law = values
        one = one_of_equal(supply, load, switch, f, c1, esr1, c2, esr2, n, (law[0], law[1], law[2]))
        return settle(one, source * n, idle)[0].output

    load = np.array(parts[0] + 0 * np.sum(np.where(np.isinf(parts), 0.0, parts), axis=0))
    # A resistance draws nothing from a supply that gives nothing.
    live = np.isfinite(parts[1]) & ((output(0 * load, *parts) > 1e-9) | (load > 0))
    few = [part[live] for part in parts]

    def excess(load: Array, place: Array, *values: Array) -> Array:
        with among(few[0].shape, place.astype(int)):  # the search goes on without those that it has found
            return np.asarray(values[0] + output(load, *values) / values[1] - load)

    with among(live.shape, np.flatnonzero(live)):
        most = few[0] + 2 * few[2] / few[1]
        load[live] = elementwise_root(excess, 0 * few[0], most, np.arange(float(few[0].size)), *few)
    return load
