"""How long a two-diode doubler takes to come up."""

from __future__ import annotations

import numpy as np

from pedalcalc._arguments import is_a
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero
from pedalcalc._refusal import among
from pedalcalc._result import Number
from pedalcalc.devices import Diode
from pedalcalc.pump._settled import settle
from pedalcalc.pump._stage import Amperes, Converters, FaradsAboveZero, Hertz, Ohms, Volts
from pedalcalc.pump._start import periods_to
from pedalcalc.pump.doubler import one_of_equal

__all__ = ["start_time"]

#: An output [V] this low is none.
_NONE = 1e-6


@formula
def start_time(
    tolerance: AboveZero,
    *,
    voltage_supply: Volts,
    current_load: Amperes,
    resistance_switch: Ohms,
    frequency_pump: Hertz,
    capacitance_pump: FaradsAboveZero,
    resistance_esr_pump: Ohms,
    capacitance_output: FaradsAboveZero,
    resistance_esr_output: Ohms,
    count: Converters,
    diode: Diode,
) -> Number:
    """Find how long a two-diode doubler takes from empty capacitors until its output is within a band of the final voltage.

    The supply comes straight through both diodes first, then the pump lifts the
    output period by period, its diodes obeying the junction law throughout.

    Parameters
    ----------
    tolerance : array_like
        Band, as a share of the final voltage [1], above 0, such as 0.05.
    voltage_supply : array_like
        Supply at the converter's pin, there from the first moment on [V], at least 0 and at most 1000.
    current_load : array_like
        Load current, drawn from the first moment on [A], at least 0 and at most 100.
    resistance_switch : array_like
        One of the converter's switches [Ω], at least 0 and at most 1000000; see `Converter.resistance_switch`.
    frequency_pump : array_like
        Pump frequency, half the oscillator's [Hz], above 0 and at most 10000000.
    capacitance_pump : array_like
        Flying capacitor [F], above 0 and at most 1.
    resistance_esr_pump : array_like
        Its equivalent series resistance [Ω], at least 0 and at most 1000000.
    capacitance_output : array_like
        Output capacitor [F], above 0 and at most 1.
    resistance_esr_output : array_like
        Its equivalent series resistance [Ω], at least 0 and at most 1000000.
    count : array_like
        Converters in parallel, each with its own flying capacitor and diodes [1], at least 1 and at most 1000, a whole number.
    diode : Diode
        Both diodes (`pedalcalc.devices`), at 300 K.

    Returns
    -------
    float or ndarray
        Time [s], good to half a per cent and half a period; inf where the output never gets above ground.

    Raises
    ------
    ValueError
        If a value is out of range, or `count` is not whole.
    RuntimeError
        If a state does not converge.

    Notes
    -----
    The output counts as its mean over a period, as a meter reads it, and the final
    voltage is that of `doubler`. Without any load the last tenths of a volt come slowly,
    because a diode's current then falls as one over the time: behind silicon diodes a band
    of 1 % can take minutes. With a meter of 10 MΩ as the only load it takes half a second.

    References
    ----------
    SHOCKLEY, the diode law; DERIVED, the map of one period.

    Examples
    --------
    >>> from pedalcalc.devices import CONVERTER_1044S, DIODE_1N5817, typical
    >>> time = start_time(
    ...     0.05, voltage_supply=9.0, current_load=0.005,
    ...     resistance_switch=CONVERTER_1044S.resistance_switch.typical, frequency_pump=22.5e3,
    ...     capacitance_pump=10e-6, resistance_esr_pump=1.0, capacitance_output=47e-6, resistance_esr_output=0.5,
    ...     count=1, diode=typical(DIODE_1N5817),
    ... )
    >>> print(f"{1000 * time:.1f} ms")
    4.4 ms
    """
    band, supply, load, switch, f = tolerance, voltage_supply, current_load, resistance_switch, frequency_pump
    c1, esr1, c2, esr2, n = capacitance_pump, resistance_esr_pump, capacitance_output, resistance_esr_output, count
    is_a("diode", diode, Diode)
    law = (diode.current_saturation, diode.ideality, diode.resistance_series)
    circuit = one_of_equal(supply, load, switch, f, c1, esr1, c2, esr2, n, law)
    final = settle(circuit, np.zeros(()), np.zeros(()))[0].output
    band, final, *parts = np.broadcast_arrays(band, final, *circuit)
    time = np.where(np.isnan(band + final), np.nan, np.where(band < 1, np.inf, 0.0))
    starts = (band < 1) & (final > _NONE)
    chosen = type(circuit)(*(part[starts] for part in parts))
    aim = final[starts]
    with np.errstate(all="ignore"), among(starts.shape, np.flatnonzero(starts)):
        time[starts] = (periods_to(chosen, (1 - band[starts]) * aim, aim) + 0.5) * chosen.period
    return time
