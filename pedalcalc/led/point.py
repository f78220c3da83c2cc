"""What one LED, or several in series, does behind a resistor."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import (
    Caution,
    Number,
    Result,
    caution_above,
    caution_below,
    formula,
    is_a,
    numeric,
    numeric_view,
    quantity,
)
from pedalcalc.devices import Led, Spread
from pedalcalc.devices._record import specimen
from pedalcalc.junction import VOLTAGE_THERMAL_300K, junction_voltage
from pedalcalc.laws._wright import BLOCK, blocks, solve_block, solve_series
from pedalcalc.laws.diodes import whole

Floats = NDArray[np.float64]

#: Below this current [A] a lamp is called dark.
CURRENT_DARK = 1e-6
#: Luminous intensity [cd] under which an indicator is hard to see and over which it dazzles; where a lamp's
#: intensity is not known, the current [A] under which it is hard to see. All three from memory, a matter of taste.
INTENSITY_DIM = 1e-3
INTENSITY_DAZZLING = 0.2
CURRENT_DIM = 0.5e-3


@dataclass(frozen=True, slots=True, eq=False)
class LedPoint(Result):
    """Where lamps in series with a resistor settle."""

    current: Number = quantity("A", "current")
    voltage_led: Number = quantity("V", "voltage across each lamp")
    voltage_resistor: Number = quantity("V", "voltage across the resistor")
    power_led: Number = quantity("W", "power in each lamp")
    power_resistor: Number = quantity("W", "power in the resistor")
    rating_share: Number = quantity("1", "share of the resistor's rating")
    conducts: bool | NDArray[np.bool_] = quantity("bool", "conducts")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def operating_point(
    voltage: ArrayLike,
    *,
    resistance: ArrayLike,
    led: Led,
    led_count: ArrayLike = 1,
    power_rating: ArrayLike = 0.25,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> LedPoint:
    """Find the exact operating point of LEDs in series with a resistor.

    Parameters
    ----------
    voltage : array_like
        Voltage across lamps and resistor together [V]; negative where they are connected backwards.
    resistance : array_like
        Resistor in series [Ω], 0 to inf.
    led : Led
        Lamp record.
    led_count : array_like
        How many such lamps are in series [1], a whole number, at least 1.
    power_rating : array_like
        Power rating of the resistor [W], > 0; a quarter watt if not given, the usual stock.
    voltage_thermal : array_like
        Thermal voltage [V], > 0; 300 K if not given, for which records are stated.

    Returns
    -------
    LedPoint
        Current [A], voltage across each lamp and across the resistor [V], power in each [W],
        the share of the resistor's rating that it uses [1], whether a current of a microampere or more flows, and cautions.

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `led` is not an LED record.

    Notes
    -----
    N lamps are one junction with N times the ideality and series resistance. Solved
    in closed form (`junction.series_current`), so a lamp just under its drop shows its true small current.
    A real lamp's reverse current is larger than the law's, and its ratings fall as it gets warm.
    Cautions: lamp beyond its current, power or reverse voltage; resistor beyond its rating;
    backwards; supply below the drop; too dark (under 1 mcd, or 0.5 mA where the intensity is not
    known); dazzling (over 0.2 cd, what a high-brightness lamp reaches at 1 to 5 mA).

    References
    ----------
    BANWELL-JAYAKUMAR, the exact solution; MEMORY, what is too dark and too bright.

    Examples
    --------
    >>> from pedalcalc.devices import LED_RED_GAASP, typical
    >>> point = operating_point(9, resistance=3300, led=typical(LED_RED_GAASP))
    >>> print(f"{point.current * 1000:.2f} mA, {point.voltage_led:.2f} V")
    2.18 mA, 1.81 V
    """
    v = numeric_view("voltage", voltage)
    r = numeric_view("resistance", resistance, least=0, infinity=True)
    n = whole("led_count", led_count)
    rating = numeric("power_rating", power_rating, above=0)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    specimen("led", led, Led)
    law = (np.asarray(part, float) for part in (led.current_saturation, led.ideality, led.resistance_series))
    parts = (v, r, n, rating, v_t, *law)
    shape = np.broadcast_shapes(*(part.shape for part in parts))
    # One allocation for all fields, filled piece by piece: a million points must not cost ten passes over memory.
    fields, conducts = np.empty((len(_NUMBERS), *shape)), np.empty(shape, dtype=bool)
    if conducts.size <= BLOCK:
        _fill(fields, conducts, *parts)
    else:
        for rows, piece in blocks(*parts):
            _fill(fields[:, rows], conducts[rows], *piece)
    point = LedPoint(
        **{name: field[()] for name, field in zip(_NUMBERS, fields, strict=True)}, conducts=conducts[()], cautions=()
    )
    return replace(
        point,
        cautions=point_cautions(v, np.asarray(point.current), np.asarray(point.power_led), led, n)
        + caution_above(
            "Resistor over its rating",
            "take a larger rating or a higher resistance",
            point.power_resistor,
            rating,
            "W",
        ),
    )


_NUMBERS = ("current", "voltage_led", "voltage_resistor", "power_led", "power_resistor", "rating_share")


def _fill(
    fields: Floats,
    conducts: NDArray[np.bool_],
    v: Floats,
    r: Floats,
    n: Floats,
    rating: Floats,
    v_t: Floats,
    i_s: Floats,
    ideality: Floats,
    r_s: Floats,
) -> None:
    """Fill the numeric fields of `LedPoint` and `conducts` for checked arrays."""
    current, each, drop, power_led, power_resistor, share = (fields[k, ...] for k in range(len(_NUMBERS)))
    solve_block(v, np.asarray(r + n * r_s), i_s, np.asarray(n * ideality * v_t), out=current)
    with np.errstate(invalid="ignore", over="ignore", under="ignore"):
        np.multiply(current, r, out=drop)
        if r.size and not r.max() < np.inf:
            np.copyto(drop, v, where=np.isinf(r) & ~np.isnan(current))
        np.subtract(v, drop, out=each)
        if np.any(n != 1):
            np.divide(each, n, out=each)
        np.multiply(current, each, out=power_led)
        np.multiply(current, drop, out=power_resistor)
        np.divide(power_resistor, rating, out=share)
    np.greater_equal(current, CURRENT_DARK, out=conducts)


def lamp_current(v: Floats, r: Floats, led: Led, n: Floats, v_t: Floats) -> Floats:
    """Return the current through `n` lamps and a resistor, all arguments checked."""
    i_s, ideality, r_s = (
        np.asarray(part, float) for part in (led.current_saturation, led.ideality, led.resistance_series)
    )
    return solve_series(v, r + n * r_s, i_s, np.asarray(n * ideality * v_t))


def point_cautions(v: Floats, current: Floats, power_led: Floats, led: Led, n: Floats) -> tuple[Caution, ...]:
    """Return what can be wrong with lamps at this voltage and current."""
    dim, dazzling = visible_currents(led)
    found = (
        *caution_above("LED over its highest current", "take a larger resistor", current, led.current_max, "A"),
        *caution_above("LED over its highest power", "take a larger resistor", power_led, led.power_max, "W"),
        *caution_above(
            "LED dazzles", "take a larger resistor, or a diffused lamp, until it pleases", current, dazzling, "A"
        ),
    )
    if not v.size or not v.min() >= 0:
        found += caution_below(
            "LED over its reverse voltage",
            "turn the supply or the lamp round at once, or add a diode the other way round across it",
            v,
            -np.asarray(led.voltage_reverse_max),
            "V",
        )
        found += caution_below(
            "LED backwards", "the longer lead, mostly the plus, goes towards the plus of the supply", v, 0.0, "V"
        )
    if not current.size or not current.min() >= CURRENT_DARK:
        dark = current < CURRENT_DARK
        need = junction_voltage(
            CURRENT_DARK,
            current_saturation=led.current_saturation,
            ideality=led.ideality,
            resistance_series=led.resistance_series,
        )
        v_dark, need, i_dark = (np.broadcast_to(part, dark.shape)[dark] for part in (v, n * need, current))
        found += caution_below(
            "Supply below the drop of the lamps",
            "fewer lamps in series, a lamp of lower drop, or more volts",
            v_dark[v_dark >= 0],
            need[v_dark >= 0],
            "V",
        )
        found += caution_below(
            "LED dark although the supply is high enough",
            "take a much smaller resistor, or look for an open joint",
            i_dark[v_dark >= need],
            CURRENT_DARK,
            "A",
        )
        current, dim = (np.broadcast_to(part, dark.shape)[~dark] for part in (current, np.asarray(dim)))
    return found + caution_below("LED too dark to see well", "take a smaller resistor", current, dim, "A")


def visible_currents(led: Led) -> tuple[Number, Number]:
    """Return the currents from which a lamp is well seen, and from which it dazzles (NaN if not known)."""
    intensity = np.asarray(led.luminous_intensity, float)
    with np.errstate(divide="ignore", over="ignore"):
        dim = led.current_for_light * (INTENSITY_DIM / intensity) ** (1 / np.asarray(led.light_exponent))
        dazzling = led.current_for_light * (INTENSITY_DAZZLING / intensity) ** (1 / np.asarray(led.light_exponent))
    return np.where(np.isnan(dim), CURRENT_DIM, dim)[()], dazzling


@formula
def shifted_lamp(led: Led, *, voltage_drop_shift: ArrayLike) -> Led:
    """Return a lamp of the same kind whose drop lies higher or lower.

    Lamps of one type differ in drop; `devices.low` and `devices.high` give the extremes.

    Parameters
    ----------
    led : Led
        Lamp record.
    voltage_drop_shift : array_like
        How much higher the drop is at a given current [V], negative for lower.

    Returns
    -------
    Led
        Record with another forward voltage at the reference current.

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `led` is not an LED record.

    Notes
    -----
    The saturation current follows the shifted point, which moves the curve sideways
    wherever the current is far above it, and leaves it through zero.

    References
    ----------
    DERIVED, from the junction law.

    Examples
    --------
    >>> from pedalcalc.devices import LED_RED_GAASP, typical
    >>> high = shifted_lamp(typical(LED_RED_GAASP), voltage_drop_shift=0.2)
    >>> point = operating_point(9, resistance=3300, led=high)
    >>> print(f"{point.voltage_led:.2f} V")
    2.00 V
    """
    is_a("led", led, Led)
    shift = numeric("voltage_drop_shift", voltage_drop_shift)
    drop = led.voltage_forward
    if isinstance(drop, Spread):
        return replace(led, voltage_forward=Spread(*((part + shift)[()] for part in drop)))
    return replace(led, voltage_forward=(np.asarray(drop, float) + shift)[()])


@formula
def luminous_intensity(current: ArrayLike, *, led: Led) -> Number:
    """Find how bright a lamp is on its axis at a current.

    Parameters
    ----------
    current : array_like
        Current [A]; no light for zero or reverse current.
    led : Led
        Lamp record.

    Returns
    -------
    float or ndarray
        Luminous intensity [cd]; NaN where the record has none.

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `led` is not an LED record.

    Notes
    -----
    Iv = Iv_ref (I / I_ref)^p, fair from about 1 to 20 mA. Makers sort lamps into classes
    1.3 to 2 times wide, and a clear narrow lens concentrates the same light.

    References
    ----------
    MEMORY, the power law and its exponents.

    Examples
    --------
    >>> from pedalcalc.devices import LED_BLUE, typical
    >>> print(f"{luminous_intensity(0.002, led=typical(LED_BLUE)) * 1000:.0f} mcd")
    107 mcd
    """
    i = numeric("current", current)
    specimen("led", led, Led)
    with np.errstate(invalid="ignore"):
        light = led.luminous_intensity * (np.maximum(i, 0.0) / led.current_for_light) ** led.light_exponent
    return np.asarray(light)[()]


@formula
def perceived_brightness(light_relative: ArrayLike) -> Number:
    """Find how much brighter a lamp looks when it gives more light.

    Parameters
    ----------
    light_relative : array_like
        Light as a multiple of what it is compared with [1], at least 0.

    Returns
    -------
    float or ndarray
        Perceived brightness as a multiple [1].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Cube-root law of perception (Stevens): half the light looks four fifths as bright.

    References
    ----------
    MEMORY, S. S. Stevens' power law for brightness.

    Examples
    --------
    >>> print(f"{perceived_brightness(0.5):.2f}")
    0.79
    """
    return np.asarray(np.cbrt(numeric("light_relative", light_relative, least=0)))[()]
