"""What the indicator and the current do in both states of the footswitch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import one_of
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZeroToInfinity, AtLeastZero, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc._refusal import refused
from pedalcalc._result import Caution, Number, Result, caution_above, quantity
from pedalcalc.devices import Led
from pedalcalc.laws import junction_in_series

Array = NDArray[np.float64]


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


@formula
def indicator_states(
    voltage_supply: AtLeastZero,
    *,
    resistance_led: ZeroToInfinity,
    led: Led,
    wiring: str,
    resistance_meter: AboveZeroToInfinity = 10e6,
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
        Input resistance of the meter [Ω], above 0 to inf; the usual 10 MΩ if not given.

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
    >>> from pedalcalc.devices import LED_RED_ALINGAP, typical
    >>> states = indicator_states(9.0, resistance_led=4.7e3, led=typical(LED_RED_ALINGAP), wiring="grounded")
    >>> round(1e3 * states.current_engaged, 1), states.current_bypassed, round(states.voltage_cathode_bypassed, 1)
    (1.5, 0.0, 7.7)
    """
    v, r, meter = voltage_supply, resistance_led, resistance_meter
    specimen("led", led, Led)
    one_of("wiring", wiring, ("grounded", "fed"))
    if np.any(bad := r + led.resistance_series == 0):
        allowed = "above 0 for a lamp without series resistance, since nothing limits the current"
        raise refused("resistance_led", allowed, r, bad)
    current = _lamp(led, v, r)
    with np.errstate(divide="ignore", invalid="ignore"):
        drop = np.where(np.isinf(r), 0.0, v - current * np.where(np.isinf(r), 0.0, r))
        # The meter at the anode carries its share when the lamp is dark.
        anode = np.where(np.isinf(r), 0.0, v / (1 + r / meter))
        through = np.where(np.isinf(meter), np.nan, _lamp(led, v, r + np.where(np.isinf(meter), 0.0, meter)))
        cathode = np.where(
            np.isinf(meter), np.where(np.isinf(r), 0.0, v), through * np.where(np.isinf(meter), 1.0, meter)
        )
    if wiring == "fed":
        anode, cathode = anode * 0.0, cathode * 0.0
    return IndicatorStates(
        current_engaged=current,
        current_bypassed=current * 0.0,
        voltage_anode_engaged=drop,
        voltage_cathode_engaged=current * 0.0,
        voltage_anode_bypassed=anode,
        voltage_cathode_bypassed=cathode,
        cautions=caution_above(
            f"{led.name}: more current than it is made for",
            "raise the series resistor",
            current,
            led.current_max,
            "A",
        ),
    )


def _lamp(led: Led, voltage: Array, resistance: Array) -> Array:
    return np.asarray(junction_in_series(voltage, resistance=resistance, junction=led).current)


@formula
def current_states(
    current_circuit: AtLeastZero, *, current_led: AtLeastZero, power_source: str, jack: str, plug: str
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
    battery = one_of("power_source", power_source, ("battery", "adaptor")) == "battery"
    switched = one_of("jack", jack, ("stereo", "mono")) == "stereo" and battery
    dark = one_of("plug", plug, ("mono", "stereo")) == "stereo" and switched
    on = 0.0 if dark else 1.0
    engaged, bypassed = (current_circuit + current_led) * on, current_circuit * on
    idle = current_circuit * (0.0 if switched else 1.0)
    cautions: tuple[Caution, ...] = ()
    if dark:
        cautions += (
            Caution(
                "a stereo plug does not switch the battery on",
                "use a mono plug",
                float(np.max(current_circuit)),
                0.0,
                "A",
            ),
        )
    if battery and not switched:
        cautions += caution_above(
            "the battery stays on with the plug pulled out", "use a stereo jack as switch", idle, 0.0, "A"
        )
    return CurrentStates(current_engaged=engaged, current_bypassed=bypassed, current_unplugged=idle, cautions=cautions)
