"""The stock resistor of an indicator lamp, by the exact currents over supply, lamp and resistor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc import devices
from pedalcalc._base import (
    Caution,
    Number,
    Result,
    caution_above,
    caution_below,
    formula,
    is_a,
    numeric,
    quantity,
    search,
)
from pedalcalc.devices import Led
from pedalcalc.junction import VOLTAGE_THERMAL_300K, junction_voltage
from pedalcalc.laws.diodes import whole
from pedalcalc.led.point import (
    CURRENT_DARK,
    lamp_current,
    perceived_brightness,
    visible_currents,
)
from pedalcalc.led.rule import rating_name, resistor_rating
from pedalcalc.values import nearest_value, value_above, value_below, write_value

#: Rows above and below the recommended one in a table of stock values.
NEIGHBOURS = 2


@dataclass(frozen=True, slots=True, eq=False)
class CurrentRange(Result):
    """Lowest, typical and highest current, and the worst power."""

    current_low: Number = quantity("A", "lowest current")
    current_typical: Number = quantity("A", "typical current")
    current_high: Number = quantity("A", "highest current")
    power_led: Number = quantity("W", "highest power in each lamp")
    power_resistor: Number = quantity("W", "highest power in the resistor")


@dataclass(frozen=True, slots=True, eq=False)
class ResistorOption(Result):
    """One stock resistor and what it does."""

    resistance: float = quantity("Ω", "resistor")
    current_low: float = quantity("A", "lowest current")
    current_typical: float = quantity("A", "typical current")
    current_high: float = quantity("A", "highest current")
    power_resistor: float = quantity("W", "highest power in the resistor")
    power_rating: float = quantity("W", "rating to buy")
    light_relative: float = quantity("1", "light against wanted")
    brightness_relative: float = quantity("1", "looks as bright as wanted, times")


@dataclass(frozen=True, slots=True, eq=False)
class ResistorChoice(Result):
    """A short table of stock resistors, the recommended one, and why."""

    stock_options: tuple[ResistorOption, ...] = quantity("records", "stock values")
    recommended: ResistorOption = quantity("record", "recommended")
    reason: str = quantity("text", "reason")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def current_range(
    *,
    voltage_supply_min: ArrayLike,
    voltage_supply: ArrayLike,
    voltage_supply_max: ArrayLike,
    resistance: ArrayLike,
    tolerance: ArrayLike,
    led: Led,
    led_count: ArrayLike = 1,
) -> CurrentRange:
    """Find the lowest, typical and highest current that a resistor can give.

    Lowest: lowest supply, lamps of the highest drop, resistor at its upper limit;
    highest: the other way round.

    Parameters
    ----------
    voltage_supply_min : array_like
        Lowest supply voltage [V], at least 0.
    voltage_supply : array_like
        Usual supply voltage [V], between lowest and highest.
    voltage_supply_max : array_like
        Highest supply voltage [V].
    resistance : array_like
        Resistor in series [Ω], 0 to inf.
    tolerance : array_like
        Tolerance of the resistor [1], 0 to below 1.
    led : Led
        Lamp record; of a type, both ends of its range of drops are taken.
    led_count : array_like
        How many such lamps are in series [1], a whole number, at least 1.

    Returns
    -------
    CurrentRange
        Currents [A] and highest powers [W].

    Raises
    ------
    ValueError
        If an argument is outside its range, or the supply voltages are not in order.
    TypeError
        If `led` is not an LED record.

    References
    ----------
    DERIVED, worst case: the current rises with the supply, falls with drop and resistance.

    Examples
    --------
    >>> from pedalcalc.devices import LED_RED_GAASP
    >>> found = current_range(
    ...     voltage_supply_min=7, voltage_supply=9, voltage_supply_max=9.6,
    ...     resistance=3300, tolerance=0.05, led=LED_RED_GAASP)
    >>> print(f"{found.current_low * 1000:.1f} to {found.current_high * 1000:.1f} mA")
    1.4 to 2.5 mA
    """
    low = numeric("voltage_supply_min", voltage_supply_min, least=0)
    typical = numeric("voltage_supply", voltage_supply, least=0)
    high = numeric("voltage_supply_max", voltage_supply_max, least=0)
    _in_order("voltage_supply_min", low, "voltage_supply", typical)
    _in_order("voltage_supply", typical, "voltage_supply_max", high)
    r = numeric("resistance", resistance, least=0, infinity=True)
    t = numeric("tolerance", tolerance, least=0, below=1)
    n = whole("led_count", led_count)
    is_a("led", led, Led)
    v_t = np.asarray(VOLTAGE_THERMAL_300K)
    weak, usual, strong = devices.low(led), devices.typical(led), devices.high(led)
    r_low = np.asarray(r * (1 - t))
    current_high = lamp_current(high, r_low, strong, n, v_t)
    current_weak = lamp_current(high, r_low, weak, n, v_t)
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        drop, drop_weak = (np.where(np.isinf(r_low), high, i * r_low) for i in (current_high, current_weak))
        power_led = np.maximum(current_high * (high - drop), current_weak * (high - drop_weak))
        # A lamp takes most where it drops half the supply; some lamp between the extremes may.
        between = (drop > high / 2) & (drop_weak < high / 2)
        power_led = np.asarray(np.where(between, high**2 / (4 * r_low), power_led) / n)
    return CurrentRange(
        current_low=lamp_current(low, np.asarray(r * (1 + t)), weak, n, v_t)[()],
        current_typical=lamp_current(typical, r, usual, n, v_t)[()],
        current_high=current_high[()],
        power_led=power_led[()],
        power_resistor=np.asarray(current_high * drop)[()],
    )


def _in_order(low_name: str, low: NDArray[np.float64], high_name: str, high: NDArray[np.float64]) -> None:
    low, high = np.broadcast_arrays(low, high)
    if np.any(low > high):
        first = np.flatnonzero(low > high)[0]
        raise ValueError(
            f"{low_name} must be at most {high_name} ({high.flat[first]:g}), got {low.flat[first]:g}; are they swapped?"
        )


@search
def choose_resistor(
    *,
    voltage_supply_min: float,
    voltage_supply: float,
    voltage_supply_max: float,
    led: Led,
    current_wanted: float,
    series: str,
    tolerance: float,
    led_count: int = 1,
) -> ResistorChoice:
    """Choose the stock resistor of an indicator lamp.

    Parameters
    ----------
    voltage_supply_min : float
        Lowest supply voltage, such as a used battery's [V], at least 0.
    voltage_supply : float
        Usual supply voltage [V].
    voltage_supply_max : float
        Highest supply voltage, such as a fresh battery's or an adaptor's [V].
    led : Led
        Lamp record; measure yours with `fit_led` to narrow its spread.
    current_wanted : float
        Wanted current at the usual supply [A], > 0.
    series : str
        Preferred-number series to choose from, such as E12.
    tolerance : float
        Tolerance of the resistors [1], 0 to below 1.
    led_count : int
        How many such lamps are in series [1], at least 1.

    Returns
    -------
    ResistorChoice
        Five stock values with lowest, typical and highest current [A], power and rating to buy [W],
        light against the wanted current and how bright that looks [1]; the recommended one, the
        reason in words, and cautions about it.

    Raises
    ------
    ValueError
        If an argument is outside its range, the supply limits are swapped, or the usual supply does not
        reach the drop of the lamps.
    TypeError
        If `led` is not an LED record.

    Notes
    -----
    Recommended is the stock value whose typical current is nearest by ratio to the wanted one; if a lamp
    could then exceed its current or power rating, the smallest stock value at which none can.

    References
    ----------
    PRACTICE, resistors at no more than half their rating; MEMORY, light and brightness laws;
    IEC-60063, stock values.

    Examples
    --------
    >>> from pedalcalc.devices import LED_RED_GAASP
    >>> choice = choose_resistor(
    ...     voltage_supply_min=7, voltage_supply=9, voltage_supply_max=9.6,
    ...     led=LED_RED_GAASP, current_wanted=0.002, series="E12", tolerance=0.05)
    >>> print([option.resistance for option in choice.stock_options])
    [2700.0, 3300.0, 3900.0, 4700.0, 5600.0]
    >>> print(choice.reason)
    3.90 kΩ: its typical 1.85 mA is nearest to the wanted 2.00 mA. Between the lowest supply with the
    highest drop and the highest supply with the lowest drop it gives 1.23 mA to 2.16 mA, which the
    lamp stands. It turns 17.3 mW into heat at most, so buy 1/8 W or more.
    """
    supply = {
        "voltage_supply_min": _one("voltage_supply_min", voltage_supply_min, least=0),
        "voltage_supply": _one("voltage_supply", voltage_supply, least=0),
        "voltage_supply_max": _one("voltage_supply_max", voltage_supply_max, least=0),
    }
    is_a("led", led, Led)
    wanted = _one("current_wanted", current_wanted, above=0)
    tolerance = _one("tolerance", tolerance, least=0, below=1)
    count = int(whole("led_count", _one("led_count", led_count, least=1)))
    at: dict[str, Any] = {**supply, "tolerance": tolerance, "led": led, "led_count": count}

    usual = devices.typical(led)
    drop = count * float(
        junction_voltage(
            wanted,
            current_saturation=usual.current_saturation,
            ideality=usual.ideality,
            resistance_series=usual.resistance_series,
        )
    )
    if supply["voltage_supply"] <= drop:
        raise ValueError(
            f"voltage_supply must be above {drop:.3g} V, the drop of {count} {led.name} at {wanted:g} A, "
            f"got {supply['voltage_supply']:g}; take fewer lamps in series or more volts"
        )
    best = float(nearest_value((supply["voltage_supply"] - drop) / wanted, stock=series))
    # The typical current decides, and it is not quite inverse to the resistance: compare the neighbours.
    trial = [float(value_below(best / 1.0001, stock=series)), best, float(value_above(best * 1.0001, stock=series))]
    best = min(trial, key=lambda r: abs(np.log(current_range(resistance=r, **at).current_typical / wanted)))
    nearest = best
    while not _stands(current_range(resistance=best, **at), led):
        best = float(value_above(best * 1.0001, stock=series))
    ladder = [best]
    for _ in range(NEIGHBOURS):
        ladder = [float(value_below(ladder[0] / 1.0001, stock=series)), *ladder]
        ladder += [float(value_above(ladder[-1] * 1.0001, stock=series))]
    options = tuple(_option(r, current_range(resistance=r, **at), led, wanted) for r in ladder)
    recommended = options[NEIGHBOURS]
    return ResistorChoice(
        stock_options=options,
        recommended=recommended,
        reason=_reason(recommended, wanted, nearest),
        cautions=_choice_cautions(recommended, usual),
    )


def _one(name: str, value: ArrayLike, **limits: float) -> float:
    number = numeric(name, value, **limits)  # type: ignore[arg-type]
    if number.ndim or np.isnan(number):
        raise ValueError(f"{name} must be one known number to choose a part, got {value!r}")
    return float(number)


def _stands(found: CurrentRange, led: Led) -> bool:
    return bool(found.current_high <= led.current_max and found.power_led <= led.power_max)


def _option(resistance: float, found: CurrentRange, led: Led, wanted: float) -> ResistorOption:
    light = float((max(found.current_typical, 0.0) / wanted) ** led.light_exponent)
    power = float(found.power_resistor)
    return ResistorOption(
        resistance=resistance,
        current_low=float(found.current_low),
        current_typical=float(found.current_typical),
        current_high=float(found.current_high),
        power_resistor=power,
        power_rating=float(resistor_rating(power)),
        light_relative=light,
        brightness_relative=float(perceived_brightness(light)),
    )


def _reason(option: ResistorOption, wanted: float, nearest: float) -> str:
    def say(value: float, unit: str) -> str:
        return write_value(value, unit=unit, digits=3)

    if option.resistance == nearest:
        first = (
            f"{say(option.resistance, 'Ω')}: its typical {say(option.current_typical, 'A')} is nearest "
            f"to the wanted {say(wanted, 'A')}."
        )
    else:
        first = (
            f"{say(option.resistance, 'Ω')}: the smallest value at which no lamp can exceed its rating; "
            f"{say(nearest, 'Ω')} would come nearer to the wanted {say(wanted, 'A')}, "
            f"this one typically gives {say(option.current_typical, 'A')}."
        )
    return (
        f"{first} Between the lowest supply with the highest drop and the highest supply with the lowest drop "
        f"it gives {say(option.current_low, 'A')} to {say(option.current_high, 'A')}, which the lamp stands. "
        f"It turns {say(option.power_resistor, 'W')} into heat at most, so buy {rating_name(option.power_rating)} or more."
    )


def _choice_cautions(option: ResistorOption, led: Led) -> tuple[Caution, ...]:
    dim, dazzling = visible_currents(led)
    return (
        *caution_above(
            "LED dazzles",
            "take a larger resistor, or a diffused lamp, until it pleases",
            option.current_typical,
            dazzling,
            "A",
        ),
        *caution_below("LED too dark to see well", "want a higher current", option.current_typical, dim, "A"),
        *caution_below(
            "LED goes dark at the lowest supply",
            "fewer lamps in series, a lamp of lower drop, or more volts",
            option.current_low,
            max(CURRENT_DARK, 0.1 * option.current_typical),
            "A",
        ),
    )
