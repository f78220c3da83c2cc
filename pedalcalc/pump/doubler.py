"""Voltage doubler of a converter and two diodes.

Two of the converter's four switches swing one end of the flying capacitor
between ground and supply, two diodes do the rest.

              D1          D2
    V+ o----->|----+----->|----+----o V_out
                   |           |
                  === C1      === C2
                   |           |
    pin 2 (0/V+) o-+          ground
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, caution_above, formula, is_a, numeric, one_of
from pedalcalc.devices import Converter, Diode
from pedalcalc.junction import dynamic_resistance, junction_voltage
from pedalcalc.pump._stage import LOW_PIN, Pump, stage_cautions, stage_result
from pedalcalc.pump.cycle import Cycle, solve_cycle
from pedalcalc.pump.sums import whole

__all__ = ["doubler", "doubler_resistive"]

Array = NDArray[np.float64]


def _line(
    pulse: Array, current_saturation: Number, ideality: Number, resistance_series: Number
) -> tuple[Array, Array, Array]:
    """Return a diode's pulse current with drop and slope there."""
    drop = junction_voltage(
        pulse, current_saturation=current_saturation, ideality=ideality, resistance_series=resistance_series
    )
    slope = dynamic_resistance(pulse, ideality=ideality, current_saturation=current_saturation)
    return pulse, np.asarray(drop), np.asarray(slope + resistance_series)


def _output(
    load: Array,
    supply: Array,
    source: Array,
    switch: Array,
    idle: Array,
    f: Array,
    c1: Array,
    esr1: Array,
    c2: Array,
    esr2: Array,
    n: Array,
    *,
    line: tuple[Array, Array, Array],
) -> tuple[Array, Cycle, Array, Array]:
    """Return output voltage, cycle, supply current and pin voltage of a doubler."""
    pulse, drop, slope = line
    phase = (switch + slope + esr1) / n
    cycle = solve_cycle(f, n * c1, phase, phase, c2, esr2)
    drawn = 2 * load + n * idle
    pin = supply - source * drawn
    return 2 * pin - 2 * (drop - pulse * slope) - load * cycle.resistance_thevenin, cycle, drawn, pin


@formula
def doubler(
    *,
    voltage_supply: ArrayLike,
    current_load: ArrayLike,
    resistance_source: ArrayLike,
    resistance_switch: ArrayLike,
    current_idle: ArrayLike,
    frequency_pump: ArrayLike,
    capacitance_pump: ArrayLike,
    resistance_esr_pump: ArrayLike,
    capacitance_output: ArrayLike,
    resistance_esr_output: ArrayLike,
    voltage_rating_pump: ArrayLike,
    voltage_rating_output: ArrayLike,
    count: ArrayLike,
    low_pin: str,
    diode: Diode,
    converter: Converter,
) -> Pump:
    """Find the output of a voltage doubler made of a converter and two diodes.

    Each diode is a straight line through its true operating point at the pulse
    current: twice the load at 50 % duty. Only two of the converter's four
    switches are in use.

    Parameters
    ----------
    voltage_supply : array_like
        Supply ahead of `resistance_source` [V], at least 0.
    current_load : array_like
        Load current [A], at least 0.
    resistance_source : array_like
        Resistance ahead of the converter's supply capacitor: battery, filter resistor [Ω], at least 0.
    resistance_switch : array_like
        One of the converter's switches [Ω], at least 0; see `Converter.resistance_switch`.
    current_idle : array_like
        The converter's own current [A], at least 0.
    frequency_pump : array_like
        Pump frequency, half the oscillator's [Hz], > 0.
    capacitance_pump : array_like
        Flying capacitor [F], > 0.
    resistance_esr_pump : array_like
        Its equivalent series resistance [Ω], at least 0.
    capacitance_output : array_like
        Output capacitor [F], > 0; inf is a stiff output.
    resistance_esr_output : array_like
        Its equivalent series resistance [Ω], at least 0.
    voltage_rating_pump : array_like
        Voltage printed on the flying capacitor [V], > 0.
    voltage_rating_output : array_like
        Voltage printed on the output capacitor [V], > 0.
    count : array_like
        Converters in parallel, each with its own flying capacitor and diodes [1], whole, at least 1.
    low_pin : str
        Low-voltage pin "open" or "grounded".
    diode : Diode
        Both diodes (`pedalcalc.devices`), at 300 K.
    converter : Converter
        Converter record, for its limits (`pedalcalc.devices`).

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
    V = 2 V_S - 2 V_D - I R, V_D where the diode's line meets zero current;
    R from the exact solution of `pump_cycle` with one switch and one diode
    slope in each phase: limits 1/(f C1) and 2 (2 R_sw + 2 r_d) with equal
    switches. `voltage_drop_diodes` is what both diodes drop at the pulse
    current; their slopes are counted there and not in `voltage_drop_pump`.
    The supply gives 2 I + I_idle. Far beyond the caution about too much load the
    supply comes straight through both diodes and holds the output up near
    V_S - 2 V_D; that is not modelled. With true exponential diodes, whose drop dies
    away with the pulse, the output lies up to 0.1 V higher where the slow limit rules.

    References
    ----------
    SHEET-TL7660 page 1 for the circuit; DERIVED.

    Examples
    --------
    >>> from pedalcalc.devices import CONVERTER_1044S, DIODE_1N5817, typical
    >>> double = doubler(
    ...     voltage_supply=9.0, current_load=0.005, resistance_source=0.0,
    ...     resistance_switch=CONVERTER_1044S.resistance_switch.typical, current_idle=300e-6, frequency_pump=22.5e3,
    ...     capacitance_pump=10e-6, resistance_esr_pump=1.0, capacitance_output=47e-6, resistance_esr_output=0.5,
    ...     voltage_rating_pump=16.0, voltage_rating_output=35.0, count=1, low_pin="open", diode=typical(DIODE_1N5817),
    ...     converter=CONVERTER_1044S,
    ... )
    >>> print(f"{double.voltage_output:.2f} V, {double.efficiency:.2f}")
    17.42 V, 0.94
    """
    supply = numeric("voltage_supply", voltage_supply, least=0)
    load = numeric("current_load", current_load, least=0)
    source = numeric("resistance_source", resistance_source, least=0)
    switch = numeric("resistance_switch", resistance_switch, least=0)
    idle = numeric("current_idle", current_idle, least=0)
    f = numeric("frequency_pump", frequency_pump, above=0)
    c1 = numeric("capacitance_pump", capacitance_pump, above=0)
    esr1 = numeric("resistance_esr_pump", resistance_esr_pump, least=0)
    c2 = numeric("capacitance_output", capacitance_output, above=0, infinity=True)
    esr2 = numeric("resistance_esr_output", resistance_esr_output, least=0)
    rating1 = numeric("voltage_rating_pump", voltage_rating_pump, above=0)
    rating2 = numeric("voltage_rating_output", voltage_rating_output, above=0)
    n = whole("count", count)
    one_of("low_pin", low_pin, LOW_PIN)
    is_a("diode", diode, Diode)
    is_a("converter", converter, Converter)
    line = _line(2 * load / n, diode.current_saturation, diode.ideality, diode.resistance_series)
    out, cycle, drawn, pin = _output(load, supply, source, switch, idle, f, c1, esr1, c2, esr2, n, line=line)
    pin = pin + 0 * (rating1 + rating2)
    drop = line[1]
    cautions = stage_cautions(
        converter,
        pin,
        supply,
        load,
        n,
        f,
        low_pin,
        (("flying capacitor", supply, rating1), ("output capacitor", 2 * supply, rating2)),
    ) + caution_above(
        f"the {diode.name} carries more than it is made for", "use a larger diode", load / n, diode.current_max, "A"
    )
    return stage_result(cycle, supply, pin, 2 * pin, 2 * drop, out, load, drawn, 1.0, cautions, f)


@formula
def doubler_resistive(
    *,
    voltage_supply: ArrayLike,
    resistance_load: ArrayLike,
    resistance_source: ArrayLike,
    resistance_switch: ArrayLike,
    current_idle: ArrayLike,
    frequency_pump: ArrayLike,
    capacitance_pump: ArrayLike,
    resistance_esr_pump: ArrayLike,
    capacitance_output: ArrayLike,
    resistance_esr_output: ArrayLike,
    voltage_rating_pump: ArrayLike,
    voltage_rating_output: ArrayLike,
    count: ArrayLike,
    low_pin: str,
    diode: Diode,
    converter: Converter,
) -> Pump:
    """Find the output of a two-diode doubler into a resistance.

    The load current that output voltage and load agree on, with the diodes'
    drop and slope at twice that very current; then as `doubler`.

    Parameters
    ----------
    voltage_supply : array_like
        Supply ahead of `resistance_source` [V], at least 0.
    resistance_load : array_like
        Load [Ω], > 0; inf for none.
    resistance_source : array_like
        Resistance ahead of the converter's supply capacitor: battery, filter resistor [Ω], at least 0.
    resistance_switch : array_like
        One of the converter's switches [Ω], at least 0; see `Converter.resistance_switch`.
    current_idle : array_like
        The converter's own current [A], at least 0.
    frequency_pump : array_like
        Pump frequency, half the oscillator's [Hz], > 0.
    capacitance_pump : array_like
        Flying capacitor [F], > 0.
    resistance_esr_pump : array_like
        Its equivalent series resistance [Ω], at least 0.
    capacitance_output : array_like
        Output capacitor [F], > 0; inf is a stiff output.
    resistance_esr_output : array_like
        Its equivalent series resistance [Ω], at least 0.
    voltage_rating_pump : array_like
        Voltage printed on the flying capacitor [V], > 0.
    voltage_rating_output : array_like
        Voltage printed on the output capacitor [V], > 0.
    count : array_like
        Converters in parallel, each with its own flying capacitor and diodes [1], whole, at least 1.
    low_pin : str
        Low-voltage pin "open" or "grounded".
    diode : Diode
        Both diodes (`pedalcalc.devices`), at 300 K.
    converter : Converter
        Converter record, for its limits (`pedalcalc.devices`).

    Returns
    -------
    Pump
        As `doubler`; the load current is `voltage_output` over `resistance_load`.

    Raises
    ------
    ValueError
        If a value is out of range, `count` is not whole, or `low_pin` is another word.
    RuntimeError
        If the solution does not converge.

    Notes
    -----
    The load is taken as constant within a period, which is good where the
    ripple is small against the output.

    References
    ----------
    SHEET-TL7660 page 1 for the circuit; DERIVED.

    Examples
    --------
    >>> from pedalcalc.devices import CONVERTER_1044S, DIODE_1N4148, typical
    >>> double = doubler_resistive(
    ...     voltage_supply=9.0, resistance_load=3300.0, resistance_source=0.0,
    ...     resistance_switch=CONVERTER_1044S.resistance_switch.typical, current_idle=300e-6, frequency_pump=22.5e3,
    ...     capacitance_pump=10e-6, resistance_esr_pump=1.0, capacitance_output=47e-6, resistance_esr_output=0.5,
    ...     voltage_rating_pump=16.0, voltage_rating_output=35.0, count=1, low_pin="open", diode=typical(DIODE_1N4148),
    ...     converter=CONVERTER_1044S,
    ... )
    >>> print(f"{double.voltage_output:.2f} V")
    16.45 V
    """
    from scipy.optimize.elementwise import find_root

    supply = numeric("voltage_supply", voltage_supply, least=0)
    resistor = numeric("resistance_load", resistance_load, above=0, infinity=True)
    source = numeric("resistance_source", resistance_source, least=0)
    switch = numeric("resistance_switch", resistance_switch, least=0)
    idle = numeric("current_idle", current_idle, least=0)
    f = numeric("frequency_pump", frequency_pump, above=0)
    c1 = numeric("capacitance_pump", capacitance_pump, above=0)
    esr1 = numeric("resistance_esr_pump", resistance_esr_pump, least=0)
    c2 = numeric("capacitance_output", capacitance_output, above=0, infinity=True)
    esr2 = numeric("resistance_esr_output", resistance_esr_output, least=0)
    n = whole("count", count)
    is_a("diode", diode, Diode)
    law = (diode.current_saturation, diode.ideality, diode.resistance_series)
    parts = np.broadcast_arrays(supply, resistor, source, switch, idle, f, c1, esr1, c2, esr2, n, *law)

    def excess(load: Array, *values: Array) -> Array:
        supply, resistor, source, switch, idle, f, c1, esr1, c2, esr2, n, i_s, ideality, r_s = values
        line = _line(2 * load / n, i_s, ideality, r_s)
        out = _output(load, supply, source, switch, idle, f, c1, esr1, c2, esr2, n, line=line)[0]
        return np.asarray(out / resistor - load)

    least = np.zeros(parts[0].shape)
    with np.errstate(invalid="ignore"):
        dead = ~(excess(least, *parts) > 0)  # nothing drawn: no load, or a source that cannot feed the converter
        most = np.where(dead, 1.0, 2 * parts[0] / parts[1])
    found = find_root(excess, (least, most), args=parts)
    if not np.all(found.success | dead):
        raise RuntimeError(f"load current did not converge at index {tuple(np.argwhere(~(found.success | dead))[0])}")
    unknown = np.isnan(np.sum(np.where(np.isinf(parts), 0.0, parts), axis=0))
    return doubler(
        voltage_supply=supply,
        current_load=np.where(unknown, np.nan, np.where(dead, 0.0, found.x)),
        resistance_source=source,
        resistance_switch=switch,
        current_idle=idle,
        frequency_pump=f,
        capacitance_pump=c1,
        resistance_esr_pump=esr1,
        capacitance_output=c2,
        resistance_esr_output=esr2,
        voltage_rating_pump=voltage_rating_pump,
        voltage_rating_output=voltage_rating_output,
        count=n,
        low_pin=low_pin,
        diode=diode,
        converter=converter,
    )
