"""A part that is warmer or colder, as a record of its own."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np

from pedalcalc._arguments import LARGEST
from pedalcalc._base import formula
from pedalcalc._figure import figure, known
from pedalcalc._ranges import TEMPERATURE_RECORD, Kelvin
from pedalcalc._record import Device, specimen
from pedalcalc._refusal import refused
from pedalcalc._result import Array
from pedalcalc.devices import Bjt, Coupler, Diode, Jfet, Ldr, Led, Mosfet, Zener
from pedalcalc.laws import cells, junctions, transistors

D = TypeVar("D", bound=Device)

#: Temperature rise [K] that doubles the leakage of silicon, common practice.
DOUBLING_SILICON = 10.0


@formula
def at_temperature(record: D, *, temperature: Kelvin) -> D:
    """Return a part as it is at another temperature.

    Saturation currents rise with the energy gap, so a junction drops less; its curve is steeper by T/300 in volts,
    which the ideality of the record takes in, so that every function computes with the record as it stands. Zener
    voltages drift, leakages double, a lamp's light and a cell's resistance move by their coefficients.

    Parameters
    ----------
    record : Led, Diode, Zener, Bjt, Jfet, Mosfet, Ldr or Coupler
        One part at 300 K (`devices.typical` makes one of a type), for which all records are stated.
    temperature : array_like
        Absolute temperature of the part [K], above 0 to 5000; 20 °C are 293.15 K.

    Returns
    -------
    Device
        A record of the same class. Hand it to functions in place of a temperature, not together with one.

    Raises
    ------
    ValueError
        If the temperature is not above 0, or the record lacks a figure that the temperature needs.
    TypeError
        If `record` is a type, or of a class for which no temperature law is known.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    Is(T) = Is (T/T0)^(3/n) exp((T/T0 - 1) Eg q/(n k T)), T0 = 300 K. The record's drop at its reference current becomes
    n k T/q ln(1 + I/Is(T)) + I Rs. Zener: VZ (1 + TC (T - T0)); germanium's Icbo doubles by the record's step,
    leakage of silicon every 10 K. Straight lines for cells and light: R (1 + c (T - T0)). The channel of a
    field-effect transistor stays as it is.

    References
    ----------
    MEMORY, the law of circuit simulators for the saturation current; FLOYD-DEVICES, ex. 3.3, the Zener drift; PRACTICE,
    leakage doubling every 10 K; SHEET-NSL28, the drift of coupled cells.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> from pedalcalc.laws import junction_voltage
    >>> diode = devices.typical(devices.DIODE_1N4148)
    >>> cold, warm = (at_temperature(diode, temperature=kelvin) for kelvin in (280.0, 320.0))
    >>> slope = (junction_voltage(1e-3, junction=warm) - junction_voltage(1e-3, junction=cold)) / 40
    >>> print(f"{slope * 1000:.1f} mV/K")
    -2.0 mV/K
    """
    if not isinstance(record, (Led, Diode, Zener, Bjt, Jfet, Mosfet, Ldr, Coupler)):
        raise TypeError(
            f"record must be a Led, Diode, Zener, Bjt, Jfet, Mosfet, Ldr or Coupler, for no other is a temperature law known: "
            f"not {type(record).__name__}"
        )
    return moved(specimen("record", record, type(record)), temperature)


def moved(record: Any, t: Array) -> Any:
    """Return the record of a specimen at a checked temperature."""
    if np.all(t == TEMPERATURE_RECORD):
        return record
    rise = t - TEMPERATURE_RECORD
    changes: dict[str, Any] = {"origin": f"{record.origin}; moved to another temperature"}
    if isinstance(record, Coupler):
        changes |= {"led": moved(record.led, t), "cell": moved(record.cell, t)}
        changes["illuminance_reference"] = figure(record, "illuminance_reference") * _light(record.led, rise)
    elif isinstance(record, Ldr):
        law = cells.cell_figures(record, t)
        changes |= {
            "resistance_10lx": law.resistance_10lx,
            "resistance_dark": figure(record, "resistance_dark")
            * (law.resistance_10lx / figure(record, "resistance_10lx")),
            "resistance_floor": law.floor,
        }
    else:
        changes |= _junction(record, t)
        leak = "current_gate_leakage" if isinstance(record, Jfet) else "current_leakage"
        if any(part.name == leak for part in fields(record)):
            changes[leak] = figure(record, leak) * np.exp2(rise / DOUBLING_SILICON)
            if np.any(bad := changes[leak] > LARGEST):
                raise refused(
                    "temperature", f"low enough that {record.name!r} leaks no more than a float holds", t, bad
                )
    if isinstance(record, Led):
        changes["luminous_intensity"] = figure(record, "luminous_intensity") * _light(record, rise)
    if isinstance(record, Zener):
        drift = known(record, "temperature_coefficient", "another temperature than 300 K")
        changes["voltage_zener"] = figure(record, "voltage_zener") * (1 + drift * rise)
    if isinstance(record, Bjt) and record.material == "germanium":
        changes["current_collector_base_leakage"] = transistors.leakage(record, t)
    return replace(
        record, **{name: value[()] if isinstance(value, np.ndarray) else value for name, value in changes.items()}
    )


def _junction(record: Any, t: Array) -> dict[str, Any]:
    """Return drop and ideality of a record's junction; what it does at T, written as a law at 300 K."""
    if np.all(np.isnan(figure(record, "voltage_forward"))):
        return {}
    i_s, nvt = junctions.saturation(record, t)
    reference = figure(record, "current_reference")
    with np.errstate(divide="ignore", invalid="ignore"):
        drop = nvt * np.log1p(reference / i_s) + reference * figure(record, "resistance_series")
    straight = figure(record, "ideality") == 0
    return {
        "voltage_forward": np.where(straight, figure(record, "voltage_forward") + 0.0 * t, drop),
        "ideality": figure(record, "ideality") * t / TEMPERATURE_RECORD,
    }


def _light(lamp: Led, rise: Array) -> Array:
    """Return a lamp's light as a multiple of that at 300 K."""
    if np.all(np.isnan(figure(lamp, "light_temperature_coefficient"))):
        return np.asarray(np.nan * rise)
    light = np.asarray(1 + figure(lamp, "light_temperature_coefficient") * rise)
    if np.any(bad := light <= 0):
        allowed = f"where {lamp.name!r} gives any light by its light_temperature_coefficient"
        raise refused("temperature", allowed, rise + TEMPERATURE_RECORD, bad)
    return light
