"""The stock resistor of an indicator lamp, by the exact currents over supply, lamp and resistor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pedalcalc import devices
from pedalcalc._arguments import Stock, lowest_usual_highest, one_number
from pedalcalc._base import search
from pedalcalc._ranges import TEMPERATURE_RECORD
from pedalcalc._refusal import refused
from pedalcalc._result import Caution, Result, caution_above, caution_below, quantity
from pedalcalc._stock import drawer
from pedalcalc._units import shown
from pedalcalc.devices import Led
from pedalcalc.led._string import Lamps, across, lamps, string_current, words
from pedalcalc.led.point import CURRENT_DARK, brightness, visible_currents
from pedalcalc.rc.rating import RATINGS, rating_name, resistor_rating
from pedalcalc.values import write_value

#: From where to where [Ω] a series is searched; a drawer's own list is searched whole.
RESISTORS = (1e-3, 1e9)
#: The most that a resistor may burn, at half the highest rating in trade [W].
HOTTEST = float(RATINGS[-1]) / 2
#: Rows above and below the recommended one in a table of stock values.
NEIGHBOURS = 2
#: Tolerance [1] of the resistors that are commonly stocked.
TOLERANCE_USUAL = 0.05
_ROOM = np.asarray(TEMPERATURE_RECORD)


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


class _Range(NamedTuple):
    """Lowest, typical and highest current [A], highest power of each lamp and of the resistor [W]."""

    low: float
    typical: float
    high: float
    power_led: tuple[float, ...]
    power_resistor: float


class _Case(NamedTuple):
    """What a resistor is chosen for: supply, weak, usual and strong lamps, tolerance."""

    supply: tuple[float, float, float]
    weak: tuple[Led, ...]
    usual: tuple[Led, ...]
    strong: tuple[Led, ...]
    tolerance: float


@search
def choose_resistor(
    led: Lamps,
    *,
    voltage_supply: float | tuple[float, float, float],
    current_wanted: float,
    stock: Stock,
    tolerance: float = TOLERANCE_USUAL,
) -> ResistorChoice:
    """Choose the stock resistor of an indicator lamp, or of several in series.

    Parameters
    ----------
    led : Led or sequence of Led
        Lamp, or a list of those in series; types or single lamps. Measure yours with `fit_led` to narrow its spread.
    voltage_supply : float or triple of float
        Supply [V], above the drop of the lamps: one voltage, or lowest (a used battery's, at least 0), usual and highest
        (a fresh battery's or an adaptor's).
    current_wanted : float
        Wanted current at the usual supply [A], > 0.
    stock : str or list
        Resistors in stock: a series such as "E12", or the values of a drawer, as `values.stock_values` takes them.
    tolerance : float
        Tolerance of the resistors [1], 0 to below 1; 5 % if not given.

    Returns
    -------
    ResistorChoice
        Up to five stock values with lowest, typical and highest current [A], power and rating to buy [W],
        light against the wanted current and how bright that looks [1]; the recommended one, the
        reason in words, and cautions about it.

    Raises
    ------
    ValueError
        If an argument is outside its range, the supply limits are swapped, the usual supply does not reach the
        drop of the lamps, or the stock holds no resistor at which they stay within their ratings.
    TypeError
        If `led` is not an LED record or a list of such.

    Notes
    -----
    Lowest current: lowest supply, lamps of the highest drop, resistor at its upper limit; highest: the other way round.
    Recommended is the stock value whose typical current is nearest by ratio to the wanted one; if a lamp
    could then exceed its current or power rating, the smallest stock value at which none can.

    References
    ----------
    PRACTICE, resistors at no more than half their rating; MEMORY, light and brightness laws;
    IEC-60063, stock values; DERIVED, worst case: the current rises with the supply, falls with drop and resistance.

    Examples
    --------
    >>> from pedalcalc.devices import LED_RED_GAASP
    >>> choice = choose_resistor(LED_RED_GAASP, voltage_supply=(7.0, 9.0, 9.6), current_wanted=2e-3, stock="E12")
    >>> print([option.resistance for option in choice.stock_options])
    [2700.0, 3300.0, 3900.0, 4700.0, 5600.0]
    >>> print(choice.reason)
    3.90 kΩ: its typical 1.85 mA is nearest to the wanted 2.00 mA. Between the lowest supply with the
    highest drop and the highest supply with the lowest drop it gives 1.23 mA to 2.16 mA, which the
    lamp stands. It turns 17.3 mW into heat at most, so buy 1/8 W or more.
    """
    string = lamps(led, types=True)
    supply = lowest_usual_highest("voltage_supply", voltage_supply, least=0)
    wanted = one_number("current_wanted", current_wanted, above=0)
    part = one_number("tolerance", tolerance, least=0, below=1)
    weak, usual, strong = (tuple(map(end, string)) for end in (devices.low, devices.typical, devices.high))
    case = _Case(supply, weak, usual, strong, part)
    known = drawer(stock, "stock", *RESISTORS)
    drop = float(sum(across(np.asarray(wanted), lamp, _ROOM) for lamp in usual))
    if supply[1] <= drop:
        raise ValueError(
            f"voltage_supply must be above {shown(float(f'{drop:.3g}'), 'V')}, the drop of {words(string)} at "
            f"{shown(wanted, 'A')}, got {shown(supply[1], 'V')}; take fewer lamps in series or more volts"
        )
    # The typical current decides; it falls as the resistance rises.
    typical = string_current(np.asarray(supply[1]), known, usual, _ROOM)
    nearest = place = int(np.argmin(np.abs(np.log(np.maximum(typical, 1e-300) / wanted))))
    while not _stands(_range(float(known[place]), case), string):
        place += 1
        if place == known.size:
            raise ValueError(
                f"stock must hold a resistor at which no lamp exceeds its rating, got up to {shown(float(known[-1]), 'Ω')}"
            )
    if (burns := _range(float(known[place]), case).power_resistor) > HOTTEST:
        allowed = f"low enough for a resistor of {RATINGS[-1]:g} W at half of that: {shown(float(known[place]), 'Ω')} would burn "
        raise refused("voltage_supply", f"{allowed}{shown(float(f'{burns:.3g}'), 'W')}", supply[2])
    window = range(max(place - NEIGHBOURS, 0), min(place + NEIGHBOURS + 1, known.size))
    ranges = {k: _range(float(known[k]), case) for k in window}
    # A neighbour for which no resistor is large enough is none.
    options = {
        k: _option(float(known[k]), r, usual[0], wanted) for k, r in ranges.items() if r.power_resistor <= HOTTEST
    }
    recommended = options[place]
    return ResistorChoice(
        stock_options=tuple(options.values()),
        recommended=recommended,
        reason=_reason(recommended, wanted, float(known[nearest])),
        cautions=_choice_cautions(recommended, usual),
    )


def _range(resistance: float, case: _Case) -> _Range:
    """Return the lowest, typical and highest current that a resistor can give, and the worst powers."""
    low, usual, high = (np.asarray(volts) for volts in case.supply)
    least, most = np.asarray(resistance * (1 - case.tolerance)), np.asarray(resistance * (1 + case.tolerance))
    current_high = float(string_current(high, least, case.strong, _ROOM))
    current_weak = float(string_current(high, least, case.weak, _ROOM))
    power_led = tuple(
        max(current_high * float(across(np.asarray(current_high), bright, _ROOM)),
            current_weak * float(across(np.asarray(current_weak), dim, _ROOM)))
        for bright, dim in zip(case.strong, case.weak, strict=True)
    )  # fmt: skip
    drop, drop_weak, half = current_high * float(least), current_weak * float(least), float(high) / 2
    if drop > half > drop_weak:
        # Lamps take most together where they drop half the supply; some between the extremes may.
        most_together, sums = float(high) ** 2 / (4 * float(least)), sum(power_led)
        power_led = tuple(power * most_together / sums if most_together > sums else power for power in power_led)
    return _Range(
        low=float(string_current(low, most, case.weak, _ROOM)),
        typical=float(string_current(usual, np.asarray(resistance), case.usual, _ROOM)),
        high=current_high,
        power_led=power_led,
        power_resistor=current_high * drop,
    )


def _stands(found: _Range, string: tuple[Led, ...]) -> bool:
    return all(
        found.high <= lamp.current_max and power <= lamp.power_max
        for lamp, power in zip(string, found.power_led, strict=True)
    )


def _option(resistance: float, found: _Range, led: Led, wanted: float) -> ResistorOption:
    looks = brightness(found.typical, led=led, current_wanted=wanted)
    return ResistorOption(
        resistance=resistance,
        current_low=found.low,
        current_typical=found.typical,
        current_high=found.high,
        power_resistor=found.power_resistor,
        power_rating=float(resistor_rating(found.power_resistor)),
        light_relative=float(looks.light_relative),
        brightness_relative=float(looks.brightness_relative),
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


def _choice_cautions(option: ResistorOption, string: tuple[Led, ...]) -> tuple[Caution, ...]:
    dim = max(float(visible_currents(lamp)[0]) for lamp in string)
    dazzling = min(float(visible_currents(lamp)[1]) for lamp in string)
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
