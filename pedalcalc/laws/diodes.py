"""A junction from volts to amperes and back, alone and behind a resistor; the law itself is in `junctions`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._base import formula
from pedalcalc._junction import Junction
from pedalcalc._ranges import TEMPERATURE_RECORD, AnyNumber, Count, Kelvin, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc._refusal import refused
from pedalcalc._result import Array, Number, Result, quantity
from pedalcalc._units import shown
from pedalcalc.laws._wright import log_current
from pedalcalc.laws.junctions import CURRENT_STRAIGHT, Figures, branch, figures, settled_current

#: Current [A] above which a junction is said to conduct.
CURRENT_CONDUCTS = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class JunctionBranch(Result):
    """Current through a junction, and its slope against the voltage."""

    current: Number = quantity("A", "current")
    conductance_dynamic: Number = quantity("S", "slope of the current against the voltage")


@dataclass(frozen=True, slots=True, eq=False)
class JunctionPoint(Result):
    """Where a junction behind a resistor settles; the part is measured at its terminals, series resistance included."""

    current: Number = quantity("A", "current")
    voltage_junction: Number = quantity("V", "voltage across the part")
    voltage_resistor: Number = quantity("V", "voltage across the resistor")
    resistance_dynamic: Number = quantity("Ω", "slope resistance of the part")
    power_junction: Number = quantity("W", "power in the part")
    power_resistor: Number = quantity("W", "power in the resistor")
    region: Any = quantity("text", "region")


@formula
def junction(voltage: AnyNumber, *, junction: Any, temperature: Kelvin = TEMPERATURE_RECORD) -> JunctionBranch:
    """Find the current through a junction, with its slope, from the voltage across the part.

    Parameters
    ----------
    voltage : array_like
        Voltage across the part, series resistance included, counted forward [V], any sign.
    junction : Led, Diode, Zener, Bjt, Jfet or Mosfet
        One part (`devices.typical` makes one of a type): the lamp or diode, a transistor's base-emitter junction, a JFET's
        gate junction, a MOSFET's body diode.
    temperature : array_like
        Absolute temperature of the junction [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    JunctionBranch
        Current [A] and slope dI/dV [S]. A part without series resistance goes on straight beyond a million amperes,
        where no part is; a constant drop without one has no limit at all.

    Raises
    ------
    ValueError
        If an argument is outside its range, or the record lacks what another temperature needs.
    TypeError
        If `junction` is not a record with a junction, or is a type.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    I = Is (exp((V - I Rs)/(n Vt)) - 1), Is through the record's point; with ideality 0 the straight lines
    I = max(V - knee, 0)/Rs. A Zener diode adds -max(-V - knee, 0)/rz, its line through the sheet's test point.
    The reverse current of a real part is larger than Is, by surface leakage.

    References
    ----------
    SHOCKLEY, the law; BANWELL-JAYAKUMAR, its exact solution with a resistance; DERIVED, the slope.

    Examples
    --------
    The law is written in one point of the sheet, here 1.8 V at 2 mA:

    >>> from pedalcalc import devices
    >>> red = devices.typical(devices.LED_RED_GAASP)
    >>> lamp = junction(red.voltage_forward, junction=red)
    >>> print(f"{lamp.current * 1000:.1f} mA, {1 / lamp.conductance_dynamic:.2f} Ω")
    2.0 mA, 30.85 Ω
    """
    law = figures(_part(junction), temperature)
    current = settled_current(voltage, np.asarray(0.0), np.asarray(1.0), law)
    plain, slope = branch(voltage, law)
    bare = (law.resistance == 0) & (law.slope > 0) & (current > CURRENT_STRAIGHT)
    return JunctionBranch(current=np.where(bare, plain, current), conductance_dynamic=slope)


@formula
def junction_voltage(current: AnyNumber, *, junction: Any, temperature: Kelvin = TEMPERATURE_RECORD) -> Number:
    """Find the voltage across a junction from the current through it.

    The inverse of `junction`.

    Parameters
    ----------
    current : array_like
        Current, counted forward [A]; in reverse at most the saturation current, unless the part breaks down.
    junction : Led, Diode, Zener, Bjt, Jfet or Mosfet
        One part (`devices.typical` makes one of a type), as for `junction`.
    temperature : array_like
        Absolute temperature of the junction [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    float or ndarray
        Voltage across the part, series resistance included [V]; -inf at exactly minus the saturation current of a part
        that does not break down.

    Raises
    ------
    ValueError
        If an argument is outside its range, or more reverse current is asked than the part passes.
    TypeError
        If `junction` is not a record with a junction, or is a type.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    V = n Vt ln(1 + I/Is) + I Rs, or in breakdown the sheet's line -(VZ + (I - IZT) rz).

    References
    ----------
    SHOCKLEY, the law; DERIVED, its inverse.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> print(f"{junction_voltage(10e-3, junction=devices.typical(devices.LED_RED_GAASP)):.2f} V")
    1.92 V
    """
    i = current
    law = figures(_part(junction), temperature)
    i_s, nvt = law.saturation, law.slope
    with np.errstate(all="ignore"):
        forward = np.where(nvt == 0, np.where(i > 0, law.knee, 0.0), nvt * log_current(np.maximum(i, -i_s), i_s))
        forward = forward + i * law.resistance
        if law.breakdown is None:
            if np.any(bad := i < -i_s):
                least = shown(float(np.broadcast_to(-i_s, bad.shape)[bad][0]) + 0.0, "A")
                allowed = f"at least {least} (minus the saturation current), since no more flows in reverse"
                raise refused("current", allowed, i, bad)
            return np.asarray(forward)
        knee, behind = law.breakdown
        back = -(knee + np.maximum(-i - i_s, 0.0) * behind)
        return np.asarray(np.where((i < 0) & ((i <= -i_s) | (forward < -knee)), back, forward))


@formula
def junction_in_series(
    voltage: AnyNumber,
    *,
    resistance: ZeroToInfinity,
    junction: Any,
    count: Count = 1,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> JunctionPoint:
    """Find where one junction, or several in a row, settles behind a resistor.

    Current, both voltages, the slope resistance and both powers, exact forward, blocking and in breakdown. With a
    specimen of ideality 0 this is the constant drop of the textbooks, with series resistance their two straight lines.

    Parameters
    ----------
    voltage : array_like
        Voltage across resistor and junctions together, counted forward [V], any sign.
    resistance : array_like
        Resistor [Ω], 0 to inf; the part brings its own series resistance along.
    junction : Led, Diode, Zener, Bjt, Jfet or Mosfet
        One part (`devices.typical` makes one of a type), as for `junction`.
    count : array_like
        How many such parts are in series [1], at least 1, a whole number.
    temperature : array_like
        Absolute temperature of the junction [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    JunctionPoint
        Current [A], voltages across all parts together and across the resistor [V], slope resistance of the parts [Ω],
        powers [W], and `region`: forward, blocks, or breakdown.

    Raises
    ------
    ValueError
        If an argument is outside its range, or the record lacks what another temperature needs.
    TypeError
        If `junction` is not a record with a junction, or is a type.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    N parts in series are one of N times the ideality, series resistance, knee and breakdown voltage. An open circuit
    has the whole voltage across the gap. A microampere or more counts as forward.

    References
    ----------
    BANWELL-JAYAKUMAR, the exact solution; KUPHALDT-3, ch. 3, the constant drop; DERIVED, slope and powers.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> point = junction_in_series(9, resistance=3300, junction=devices.typical(devices.LED_RED_GAASP))
    >>> print(f"{point.current * 1000:.2f} mA, {point.voltage_junction:.2f} V, {point.region}")
    2.18 mA, 1.81 V, forward
    """
    return _settle(voltage, resistance, count, figures(_part(junction), temperature))


def _part(record: Any) -> Any:
    """Return a specimen with a junction, or refuse it."""
    return specimen("junction", record, Junction)  # type: ignore[arg-type]  # what all such records share


def _settle(v: Array, r: Array, n: Array, law: Figures) -> JunctionPoint:
    """Return the point of `n` junctions behind a resistor for checked arrays."""
    current = settled_current(v, r, n, law)
    v, r, n, i_s, nvt, series, current = np.broadcast_arrays(
        v, r, n, law.saturation, law.slope, law.resistance, current
    )
    with np.errstate(all="ignore"):
        drop = np.where(np.isinf(r), v, np.where((current == 0) | (r == 0), 0.0 * v, current * r))
        part = v - drop
        # Where the resistor takes most of the voltage the law itself has more digits of what is left.
        by_law = n * (nvt * log_current(np.maximum(current, -0.5 * i_s), i_s) + current * series)
        small = (np.abs(part) < np.abs(drop)) & (current > -0.5 * i_s) & (nvt > 0) & ~np.isinf(r)
        part = np.where(small, by_law, part)
        _, slope = branch(np.asarray(part / n), law)
        return JunctionPoint(
            current=current + 0.0,
            voltage_junction=part,
            voltage_resistor=drop + 0.0,
            resistance_dynamic=n / slope,
            power_junction=current * part + 0.0,
            power_resistor=current * drop + 0.0,
            region=_regions(part, current, n, law),
        )


def _regions(part: Array, current: Array, n: Array, law: Figures) -> Any:
    """Return in words what each junction does."""
    region = np.full(current.shape, "blocks", dtype="<U9")
    region[current >= CURRENT_CONDUCTS] = "forward"
    if law.breakdown is not None:
        region[(-part > n * law.breakdown[0]) & (current < 0)] = "breakdown"
    region[np.isnan(current)] = "unknown"
    return region
