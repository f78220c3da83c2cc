"""What a meter shows at the pins of a divider-biased stage, until a bench asks a whole circuit.

The meter is a resistor from the pin to ground. At the base it shifts the whole
operating point, so the stage is solved again with the meter in place, once for each pin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import formula, thevenin
from pedalcalc._figure import meter_resistance
from pedalcalc._ranges import TEMPERATURE_RECORD, AtLeastZero, Kelvin, ZeroToInfinity
from pedalcalc._result import Number, Result, quantity
from pedalcalc.bjt._points import Array
from pedalcalc.bjt._solved import solved
from pedalcalc.devices import Bjt, Meter

__all__ = ["BjtReadings", "divider_readings"]


@dataclass(frozen=True, slots=True, eq=False)
class BjtReadings(Result):
    """Voltages to ground as a real meter shows them, one pin at a time."""

    voltage_base_read: Number = quantity("V", "base, as the meter reads it")
    voltage_collector_read: Number = quantity("V", "collector, as the meter reads it")
    voltage_emitter_read: Number = quantity("V", "emitter, as the meter reads it")


@formula
def divider_readings(
    voltage_supply: AtLeastZero,
    *,
    resistance_top: ZeroToInfinity,
    resistance_bottom: ZeroToInfinity,
    resistance_collector: ZeroToInfinity,
    resistance_emitter: ZeroToInfinity,
    transistor: Bjt,
    meter: Meter,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> BjtReadings:
    """Find what a meter shows at base, collector and emitter behind a base divider.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_top : array_like
        Divider resistor between base and collector supply [Ω], 0 to inf.
    resistance_bottom : array_like
        Divider resistor between base and the supply of the emitter [Ω], 0 to inf.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf; 0 for a follower.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    transistor : devices.Bjt
        One part.
    meter : devices.Meter
        The meter; an ideal one has a resistance of inf.
    temperature : array_like
        Junction temperature [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    BjtReadings
        Three readings [V] of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the base current.
    TypeError
        If `transistor` is not a bipolar record or is a type, or `meter` is not a meter.
    RuntimeError
        If a saturated element does not converge.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    Each node is replaced by Thevenin's equivalent of its own resistor and the meter.

    References
    ----------
    DERIVED, Kirchhoff's laws and the transport form of the Ebers-Moll equations.

    Examples
    --------
    >>> from pedalcalc.devices import BJT_2N5088, METER_CHEAP, METER_DIGITAL, typical
    >>> stage = dict(resistance_top=1e6, resistance_bottom=1e6, resistance_collector=0.0, resistance_emitter=10e3,
    ...              transistor=typical(BJT_2N5088))
    >>> round(divider_readings(9.0, meter=METER_DIGITAL, **stage).voltage_base_read, 2)
    3.98
    >>> round(divider_readings(9.0, meter=METER_CHEAP, **stage).voltage_base_read, 2)
    2.86
    """
    vcc, r_c, r_e = voltage_supply, resistance_collector, resistance_emitter
    own = meter_resistance(meter)
    v_th, r_th = thevenin(vcc, resistance_top, resistance_bottom)
    zero = np.asarray(0.0)
    ground = vcc if getattr(transistor, "polarity", "npn") == "pnp" else zero

    def read(name: str, vb: Array, rb: Array, vc: Array, rc: Array, ve: Array, re: Array) -> Number:
        fields = solved(vb, rb, vc, rc, ve, re, transistor, temperature, follower=False, offset=vcc)
        return fields[name]

    base = _loaded(v_th, r_th, ground, own)
    collector = _loaded(vcc, r_c, ground, own)
    emitter = _loaded(zero, r_e, ground, own)
    return BjtReadings(
        voltage_base_read=read("voltage_base", *base, vcc, r_c, zero, r_e),
        voltage_collector_read=read("voltage_collector", v_th, r_th, *collector, zero, r_e),
        voltage_emitter_read=read("voltage_emitter", v_th, r_th, vcc, r_c, *emitter),
    )


def _loaded(voltage: Array, series: Array, ground: Array, meter: Array) -> tuple[Array, Array]:
    """Return a source behind a resistor with the meter across it."""
    share, behind = thevenin(np.asarray(1.0), series, meter)
    return np.asarray(ground + (voltage - ground) * share), behind
