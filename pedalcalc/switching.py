"""What footswitch and jack wiring do to the electrics: indicator, battery jack, pull-downs, thumps.

::

    indicator grounded by the footswitch      indicator fed by the footswitch
    +V --R--|>|--o/ o-- 0V                    +V --o/ o--R--|>|-- 0V

    pull-downs at both ends of a bypassed circuit
    in --+--C--[ DC inside ]--C--+-- out
         Rpd                     Rpd
         0V                      0V

The footswitch is the usual 3PDT: two poles for the signal, one for the
indicator. Contacts are ideal. A coupling capacitor leaks like a resistor of
its DC voltage over its leakage current.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import (
    Caution,
    Number,
    Result,
    caution_above,
    fit_together,
    formula,
    is_a,
    numeric,
    one_of,
    quantity,
)
from pedalcalc.devices import Led
from pedalcalc.junction import series_current

__all__ = [
    "CurrentStates",
    "IndicatorStates",
    "IndicatorThump",
    "PulldownThump",
    "current_states",
    "indicator_states",
    "indicator_thump",
    "pulldown_for_step",
    "pulldown_thump",
]

Array = NDArray[np.float64]

#: A thump above this at the output is heard over a quiet amplifier.
STEP_AUDIBLE = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class IndicatorStates(Result):
    """Indicator engaged and bypassed; voltages to ground as the meter reads them."""

    current_engaged: Number = quantity("A", "indicator current, engaged")
    current_bypassed: Number = quantity("A", "indicator current, bypassed")
    voltage_anode_engaged: Number = quantity("V", "anode, engaged")
    voltage_cathode_engaged: Number = quantity("V", "cathode, engaged")
    voltage_anode_bypassed: Number = quantity("V", "anode, bypassed")
    voltage_cathode_bypassed: Number = quantity("V", "cathode, bypassed")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@dataclass(frozen=True, slots=True, eq=False)
class CurrentStates(Result):
    """What the supply or battery gives in each state."""

    current_engaged: Number = quantity("A", "engaged")
    current_bypassed: Number = quantity("A", "bypassed")
    current_unplugged: Number = quantity("A", "plug pulled out of the input")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@dataclass(frozen=True, slots=True, eq=False)
class PulldownThump(Result):
    """The step a coupling capacitor puts on the signal when the footswitch connects it."""

    voltage_plate_open: Number = quantity("V", "outer plate without pull-down")
    voltage_plate: Number = quantity("V", "outer plate with pull-down")
    voltage_read: Number = quantity("V", "outer plate, as the meter reads it")
    voltage_step_open: Number = quantity("V", "step at the output without pull-down")
    voltage_step: Number = quantity("V", "step at the output with pull-down")
    time_constant: Number = quantity("s", "step dies away with")
    time_discharge: Number = quantity("s", "plate discharges in bypass with")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@dataclass(frozen=True, slots=True, eq=False)
class IndicatorThump(Result):
    """The step the indicator's current puts on the rail and, through it, on the signal."""

    voltage_step_rail: Number = quantity("V", "step of the rail")
    voltage_step: Number = quantity("V", "step at the output")
    time_constant: Number = quantity("s", "rail settles with")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def _scalar(value: ArrayLike) -> Number:
    array = np.asarray(value, float)
    return float(array) if array.ndim == 0 else array


@formula
def indicator_states(
    voltage_supply: ArrayLike,
    *,
    resistance_led: ArrayLike,
    led: Led,
    wiring: str,
    resistance_meter: ArrayLike = 10e6,
) -> IndicatorStates:
    """Find current and test points of the indicator in both states of the footswitch.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_led : array_like
        Resistor in series with the indicator, on its supply side [Ω], 0 to inf.
    led : devices.Led
        Part record of the indicator.
    wiring : str
        `grounded`: the footswitch joins the cathode to ground; `fed`: it joins
        the resistor to the supply. Both are dark in bypass.
    resistance_meter : array_like
        Input resistance of the meter [Ω], above 0; the usual 10 MΩ if not given.

    Returns
    -------
    IndicatorStates
        Currents [A] and voltages [V] of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the current.

    Notes
    -----
    Engaged: the exact series current. Bypassed and `grounded`, the open cathode
    stands near the supply: the meter itself completes the circuit, so it reads the
    supply less the drop at that tiny current. Bypassed and `fed`, both pins are at 0 V.

    References
    ----------
    DERIVED, diode law and Kirchhoff's laws.

    Examples
    --------
    >>> from pedalcalc.devices import LED_RED_ALINGAP
    >>> states = indicator_states(9.0, resistance_led=4.7e3, led=LED_RED_ALINGAP, wiring="grounded")
    >>> round(1e3 * states.current_engaged, 1), states.current_bypassed, round(states.voltage_cathode_bypassed, 1)
    (1.5, 0.0, 7.7)
    """
    v = numeric("voltage_supply", voltage_supply, least=0)
    r = numeric("resistance_led", resistance_led, least=0, infinity=True)
    meter = numeric("resistance_meter", resistance_meter, above=0, infinity=True)
    is_a("led", led, Led)
    one_of("wiring", wiring, ("grounded", "fed"))
    series = r + led.resistance_series
    if np.any(series == 0):
        raise ValueError(
            "resistance_led must be above 0 for a lamp without series resistance: nothing limits the current"
        )
    current = _lamp(led, v, series)
    with np.errstate(divide="ignore", invalid="ignore"):
        drop = np.where(np.isinf(r), 0.0, v - current * np.where(np.isinf(r), 0.0, r))
        # The meter at the anode carries its share when the lamp is dark.
        anode = np.where(np.isinf(r), 0.0, v / (1 + r / meter))
        through = np.where(np.isinf(meter), np.nan, _lamp(led, v, series + np.where(np.isinf(meter), 0.0, meter)))
        cathode = np.where(
            np.isinf(meter), np.where(np.isinf(r), 0.0, v), through * np.where(np.isinf(meter), 1.0, meter)
        )
    if wiring == "fed":
        anode, cathode = anode * 0.0, cathode * 0.0
    return IndicatorStates(
        _scalar(current),
        _scalar(current * 0.0),
        _scalar(drop),
        _scalar(current * 0.0),
        _scalar(anode),
        _scalar(cathode),
        caution_above(
            f"{led.name}: more current than it is made for",
            "raise the series resistor",
            current,
            led.current_max,
            "A",
        ),
    )


def _lamp(led: Led, voltage: Array, resistance: Array) -> Array:
    return np.asarray(
        series_current(voltage, resistance=resistance, current_saturation=led.current_saturation, ideality=led.ideality)
    )


@formula
def current_states(
    current_circuit: ArrayLike, *, current_led: ArrayLike, power_source: str, jack: str, plug: str
) -> CurrentStates:
    """Find the current drawn engaged, bypassed and unplugged.

    A bypassed circuit stays powered: only the indicator goes dark. A stereo input
    jack switches the battery: a mono plug joins its ring to its sleeve and so
    completes the battery's negative lead.

    Parameters
    ----------
    current_circuit : array_like
        Current of the circuit without the indicator [A], 0 or more.
    current_led : array_like
        Current of the indicator [A], 0 or more.
    power_source : str
        `battery` or `adaptor`; the jack switches the battery only.
    jack : str
        Input jack: `stereo` (its ring carries the battery's negative lead) or `mono` (no battery switch).
    plug : str
        Plug in the input jack: `mono` or `stereo`. A stereo plug leaves the ring open: no power.

    Returns
    -------
    CurrentStates
        Three currents [A], and a caution where the battery stays on unplugged or never comes on.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Pull the plug to switch the battery off; the output plug does not matter.

    References
    ----------
    PRACTICE, stereo jack as battery switch.

    Examples
    --------
    >>> states = current_states(1.2e-3, current_led=1.5e-3, power_source="battery", jack="stereo", plug="mono")
    >>> round(1e3 * states.current_engaged, 1), round(1e3 * states.current_bypassed, 1), states.current_unplugged
    (2.7, 1.2, 0.0)
    """
    circuit = numeric("current_circuit", current_circuit, least=0)
    lamp = numeric("current_led", current_led, least=0)
    battery = one_of("power_source", power_source, ("battery", "adaptor")) == "battery"
    switched = one_of("jack", jack, ("stereo", "mono")) == "stereo" and battery
    dark = one_of("plug", plug, ("mono", "stereo")) == "stereo" and switched
    on = 0.0 if dark else 1.0
    engaged, bypassed = (circuit + lamp) * on, (circuit + 0.0 * lamp) * on
    idle = (circuit + 0.0 * lamp) * (0.0 if switched else 1.0)
    cautions: tuple[Caution, ...] = ()
    if dark:
        cautions += (
            Caution(
                "a stereo plug does not switch the battery on", "use a mono plug", float(np.max(circuit)), 0.0, "A"
            ),
        )
    if battery and not switched:
        cautions += caution_above(
            "the battery stays on with the plug pulled out", "use a stereo jack as switch", idle, 0.0, "A"
        )
    return CurrentStates(_scalar(engaged), _scalar(bypassed), _scalar(idle), cautions)


@formula
def pulldown_thump(
    voltage_across: ArrayLike,
    *,
    current_leakage: ArrayLike,
    resistance_pulldown: ArrayLike,
    resistance_load: ArrayLike,
    capacitance: ArrayLike,
    gain: ArrayLike,
    resistance_meter: ArrayLike = 10e6,
) -> PulldownThump:
    """Find the thump of a coupling capacitor when the footswitch connects its outer plate.

    In bypass the outer plate hangs on the pull-down alone and takes the voltage
    that the capacitor's leakage makes there; without a pull-down it creeps up to
    the whole DC voltage. Connecting it to the load takes that voltage away in an instant.

    Parameters
    ----------
    voltage_across : array_like
        DC voltage across the capacitor when its outer plate is at 0 V [V], any sign.
    current_leakage : array_like
        Leakage current of the capacitor at that voltage [A], 0 or more.
    resistance_pulldown : array_like
        Pull-down resistor [Ω], 0 to inf; inf is none.
    resistance_load : array_like
        What the footswitch connects: the instrument at the input, the next input at the output [Ω], 0 to inf.
    capacitance : array_like
        Coupling capacitor [F], above 0.
    gain : array_like
        Gain from that plate to the output, as a size [1], 0 or more: 1 at the output end.
    resistance_meter : array_like
        Input resistance of the meter [Ω], above 0; the usual 10 MΩ if not given.

    Returns
    -------
    PulldownThump
        Voltages and steps [V], times [s] and a caution above 10 mV.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Leakage resistance RL = V/I; plate at V R/(R + RL), close to I R. Step: the plate before less
    the plate after, times the gain. It dies away with C (R || Rload).

    References
    ----------
    DERIVED, voltage divider; PRACTICE, pull-downs at both ends.

    Examples
    --------
    >>> thump = pulldown_thump(4.5, current_leakage=0.1e-6, resistance_pulldown=1e6, resistance_load=10e3,
    ...                        capacitance=22e-9, gain=1.0)
    >>> round(thump.voltage_step_open, 2), round(thump.voltage_step, 3)
    (4.5, 0.097)
    """
    v = numeric("voltage_across", voltage_across)
    leak = numeric("current_leakage", current_leakage, least=0)
    r = numeric("resistance_pulldown", resistance_pulldown, least=0, infinity=True)
    load = numeric("resistance_load", resistance_load, least=0, infinity=True)
    c = numeric("capacitance", capacitance, above=0)
    a = numeric("gain", gain, least=0, infinity=True)
    meter = numeric("resistance_meter", resistance_meter, above=0, infinity=True)
    if np.any(np.isinf(a)):
        raise ValueError("gain must be finite")
    fit_together(
        voltage_across=v,
        current_leakage=leak,
        resistance_pulldown=r,
        resistance_load=load,
        capacitance=c,
        gain=a,
        resistance_meter=meter,
    )
    both = _parallel(r, load)
    plate, connected = _plate(v, leak, r), _plate(v, leak, both)
    alone = _plate(v, leak, np.full_like(both, np.inf))
    after = _plate(v, leak, np.asarray(load))
    step, step_open = a * np.abs(plate - connected), a * np.abs(alone - after)
    cautions = caution_above(
        "footswitch thump",
        "lower the pull-down, or use a film capacitor, which hardly leaks",
        step,
        STEP_AUDIBLE,
        "V",
    )
    metered = _plate(v, leak, _parallel(r, meter))
    fields: list[Any] = [_scalar(part) for part in (alone, plate, metered, step_open, step, c * both, c * r)]
    return PulldownThump(*[*fields, cautions])


def _parallel(a: Array, b: Array) -> Array:
    with np.errstate(divide="ignore"):
        return np.asarray(1 / (1 / a + 1 / b))


def _plate(v: Array, leak: Array, r: Array) -> Array:
    """Return V R/(R + V/I); with no leakage the plate stays at 0 however long it waits, unless nothing holds it."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 1 / (1 + np.abs(v) / (leak * r))
        share = np.where((leak == 0) & ~np.isnan(r), 0.0, np.where(r == 0, 0.0, np.where(np.isinf(r), 1.0, share)))
    missing = np.isnan(v) | np.isnan(leak) | np.isnan(r)
    return np.asarray(np.where(missing, np.nan, np.where(v == 0, 0.0, v * share)))


@formula
def pulldown_for_step(
    voltage_step: ArrayLike, *, voltage_across: ArrayLike, current_leakage: ArrayLike, gain: ArrayLike
) -> Number:
    """Find the largest pull-down that keeps the thump under a step.

    Parameters
    ----------
    voltage_step : array_like
        Largest step wanted at the output [V], above 0.
    voltage_across : array_like
        DC voltage across the capacitor [V], any sign.
    current_leakage : array_like
        Leakage current of the capacitor at that voltage [A], 0 or more.
    gain : array_like
        Gain from that plate to the output, as a size [1], 0 or more.

    Returns
    -------
    float or ndarray
        Pull-down [Ω]; inf where none is needed.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    R = (V/I) s/(V - s), s the step over the gain: `pulldown_thump` turned round for a
    load that is small beside the pull-down.

    References
    ----------
    DERIVED, inverse of `pulldown_thump`.

    Examples
    --------
    >>> round(pulldown_for_step(0.01, voltage_across=4.5, current_leakage=10e-9, gain=1.0) / 1e6, 2)
    1.0
    """
    step = numeric("voltage_step", voltage_step, above=0)
    v = np.abs(numeric("voltage_across", voltage_across))
    leak = numeric("current_leakage", current_leakage, least=0)
    a = numeric("gain", gain, least=0, infinity=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        s = step / a
        r = np.where((s >= v) | (leak == 0), np.inf, v / leak * s / (v - s))
    return _scalar(np.where(np.isnan(step) | np.isnan(v) | np.isnan(leak) | np.isnan(a), np.nan, r))


@formula
def indicator_thump(
    current_led: ArrayLike,
    *,
    resistance_supply: ArrayLike,
    capacitance: ArrayLike,
    fraction_coupled: ArrayLike,
    gain: ArrayLike,
) -> IndicatorThump:
    """Find the thump of the indicator's turn-on through the supply.

    The indicator's current steps the rail down by its drop across whatever
    resistance the supply has in front of the indicator; part of that reaches the signal.

    Parameters
    ----------
    current_led : array_like
        Indicator current [A], 0 or more.
    resistance_supply : array_like
        Resistance that circuit and indicator share: battery, protection diode's slope, filter
        resistor, ground lead [Ω], 0 or more.
    capacitance : array_like
        Rail capacitor behind that resistance [F], 0 or more.
    fraction_coupled : array_like
        Share of a rail step that reaches the signal [1], 0 to 1: a half for an unfiltered
        half-supply divider, 1 for a drain or collector resistor on that rail.
    gain : array_like
        Gain from there to the output, as a size [1], 0 or more.

    Returns
    -------
    IndicatorThump
        Steps [V], settling time constant [s] and a caution above 10 mV.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Step I R; with a rail capacitor it comes on as 1 - exp(-t/(R C)): the slower, the less thump. Take the indicator
    from ahead of the filter resistor and only the battery's own resistance is left.

    References
    ----------
    DERIVED, Ohm's law and one time constant.

    Examples
    --------
    >>> thump = indicator_thump(1.5e-3, resistance_supply=100.0, capacitance=100e-6, fraction_coupled=0.5, gain=1.0)
    >>> round(thump.voltage_step_rail, 3), round(thump.voltage_step, 4), round(thump.time_constant, 4)
    (0.15, 0.075, 0.01)
    """
    i = numeric("current_led", current_led, least=0)
    r = numeric("resistance_supply", resistance_supply, least=0)
    c = numeric("capacitance", capacitance, least=0)
    share = numeric("fraction_coupled", fraction_coupled, least=0, most=1)
    a = numeric("gain", gain, least=0, infinity=True)
    if np.any(np.isinf(a)):
        raise ValueError("gain must be finite")
    fit_together(current_led=i, resistance_supply=r, capacitance=c, fraction_coupled=share, gain=a)
    rail = i * r
    step = rail * share * a
    return IndicatorThump(
        _scalar(rail),
        _scalar(step),
        _scalar(r * c),
        caution_above(
            "indicator thump",
            "feed the indicator from ahead of the filter resistor, or lower its current",
            step,
            STEP_AUDIBLE,
            "V",
        ),
    )
