"""What one LED, or several in series, does behind a resistor, and how bright it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import formula
from pedalcalc._ranges import TEMPERATURE_RECORD, AboveZero, AnyNumber, Kelvin, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc._result import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc.devices import Led
from pedalcalc.laws._wright import BLOCK, blocks
from pedalcalc.laws.junctions import Figures
from pedalcalc.led._string import Floats, Lamps, across, counted, current_by, drop_by, lamps, laws_of

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
    voltage_led: Number = quantity("V", "voltage across the lamp, or all lamps together")
    voltage_resistor: Number = quantity("V", "voltage across the resistor")
    power_led: Number = quantity("W", "power in the lamp, of several the one that gets most")
    power_resistor: Number = quantity("W", "power in the resistor")
    rating_share: Number = quantity("1", "share of the resistor's rating", percent=True)
    conducts: bool | NDArray[np.bool_] = quantity("bool", "conducts")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@dataclass(frozen=True, slots=True, eq=False)
class Brightness(Result):
    """How bright a lamp is, and how bright it looks beside the wanted current."""

    luminous_intensity: Number = quantity("cd", "luminous intensity")
    light_relative: Number = quantity("1", "light against wanted")
    brightness_relative: Number = quantity("1", "looks as bright as wanted, times")


@formula
def operating_point(
    voltage: AnyNumber,
    *,
    resistance: ZeroToInfinity,
    led: Lamps,
    power_rating: AboveZero = 0.25,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> LedPoint:
    """Find the exact operating point of one LED, or several in series, behind a resistor.

    Parameters
    ----------
    voltage : array_like
        Voltage across lamps and resistor together [V]; negative where they are connected backwards.
    resistance : array_like
        Resistor in series [Ω], 0 to inf.
    led : Led or sequence of Led
        One lamp (`devices.typical` makes one of a type), or a list of those in series, alike or not.
    power_rating : array_like
        Power rating of the resistor [W], > 0; a quarter watt if not given, the usual stock.
    temperature : array_like
        Absolute temperature of the lamps [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    LedPoint
        Current [A], voltage across all lamps together and across the resistor [V], power in the lamp that gets
        most and in the resistor [W], the share of the resistor's rating that it uses [1], whether a current of a
        microampere or more flows, and cautions.

    Raises
    ------
    ValueError
        If an argument is outside its range, or another temperature needs what the record lacks.
    TypeError
        If `led` is not a lamp or a list of them, or is a type.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    N lamps alike are one junction with N times the ideality and series resistance, solved in closed form
    (`laws.junction_in_series`), so a lamp just under its drop shows its true small current; different lamps are solved by
    bracketing. A real lamp's reverse current is larger than the law's, and its ratings fall as it gets warm.
    Cautions: lamp beyond its current, power or reverse voltage; resistor beyond its rating;
    backwards; supply below the drop; too dark (under 1 mcd, or 0.5 mA where the intensity is not
    known); dazzling (over 0.2 cd, what a high-brightness lamp reaches at 1 to 5 mA).

    References
    ----------
    BANWELL-JAYAKUMAR, the exact solution; MEMORY, what is too dark and too bright.

    Examples
    --------
    >>> from pedalcalc.devices import LED_BLUE, LED_RED_GAASP, typical
    >>> point = operating_point(9, resistance=3300, led=typical(LED_RED_GAASP))
    >>> print(f"{point.current * 1000:.2f} mA, {point.voltage_led:.2f} V")
    2.18 mA, 1.81 V
    >>> point = operating_point(9, resistance=3300, led=[typical(LED_RED_GAASP), typical(LED_BLUE)])
    >>> print(f"{point.current * 1000:.2f} mA, {point.voltage_led:.2f} V")
    1.35 mA, 4.54 V
    """
    string = lamps(led)
    fields = _fields(voltage, resistance, power_rating, string, temperature)
    current, across_all, drop, power_led, power_resistor, share = fields
    ends = current.min(initial=np.inf), current.max(initial=-np.inf)
    return LedPoint(
        current=current,
        voltage_led=across_all,
        voltage_resistor=drop,
        power_led=power_led,
        power_resistor=power_resistor,
        rating_share=share,
        conducts=np.ones(current.shape, bool) if ends[0] >= CURRENT_DARK else current >= CURRENT_DARK,
        cautions=point_cautions(voltage, current, power_led, string, ends)
        + caution_above(
            "Resistor over its rating", "take a larger rating or a higher resistance", power_resistor, power_rating, "W"
        ),
    )


def _fields(v: Floats, r: Floats, rating: Floats, string: tuple[Led, ...], warm: Floats) -> Floats:
    """Return current, voltages, powers and share of the rating; many points piece by piece, at hand of the processor."""
    laws = laws_of(string, warm)
    plain = all(np.ndim(part) == 0 for law, _ in laws for part in law[:4])
    shape = np.broadcast_shapes(v.shape, r.shape, rating.shape)
    if not plain or math.prod(shape) <= BLOCK:
        return _piece(v, r, rating, laws, out=None)
    found = np.empty((6, *shape))
    for rows, (volts, ohms, rated) in blocks(v, r, rating):
        _piece(volts, ohms, rated, laws, out=found[:, rows])
    return found


def _piece(v: Floats, r: Floats, rating: Floats, laws: list[tuple[Figures, int]], *, out: Floats | None) -> Floats:
    """Fill the six fields of some points into `out`, or into an array of their own."""
    current = current_by(v, r, laws, out=None if out is None else out[0])
    if out is None:
        out = np.empty((6, *np.broadcast_shapes(current.shape, rating.shape)))
    found = out[0, ...]
    if not np.may_share_memory(current, found):
        found[...] = current
    across_all, drop, power_led, power_resistor, share = (out[place, ...] for place in range(1, 6))
    with np.errstate(invalid="ignore", over="ignore", under="ignore"):
        np.multiply(found, r, out=drop)
        if not r.max() < np.inf:
            np.copyto(drop, v, where=np.isinf(r) & ~np.isnan(found))
        np.subtract(v, drop, out=across_all)
        if len(laws) == 1:
            np.multiply(found, across_all, out=power_led)
            if laws[0][1] > 1:
                power_led /= laws[0][1]
        else:
            np.multiply(found, np.max([drop_by(current, law) for law, _ in laws], axis=0), out=power_led)
        np.multiply(found, drop, out=power_resistor)
        np.multiply(power_resistor, 1 / rating, out=share)  # a rating is one number for most: one division
    return out


def point_cautions(
    v: Floats, current: Floats, power_led: Floats, string: tuple[Led, ...], ends: tuple[float, float]
) -> tuple[Caution, ...]:
    """Return what can be wrong with a string of lamps at this voltage and current, each thing once.

    `ends` are the lowest and the highest current: where they are harmless nothing else is looked at. NaN is never harmless.
    """
    kinds = [lamp for lamp, _ in counted(string)]
    lowest, highest = ends
    found = [caution for lamp in kinds for caution in _bright_cautions(current, highest, power_led, lamp)]
    forward = v.size and v.min() >= 0
    v = np.broadcast_to(v, current.shape)
    if not forward:
        reverse = np.min(np.broadcast_arrays(*(np.asarray(lamp.voltage_reverse_max, float) for lamp in kinds)), axis=0)
        found += caution_below(
            "LED over its reverse voltage",
            "turn the supply or the lamp round at once, or add a diode the other way round across it",
            v,
            -reverse,
            "V",
        )
        found += caution_below(
            "LED backwards", "the longer lead, mostly the plus, goes towards the plus of the supply", v, 0.0, "V"
        )
    if not current.size or not lowest >= CURRENT_DARK:
        dark = current < CURRENT_DARK
        at_300 = np.asarray(TEMPERATURE_RECORD)
        need = sum(count * across(np.asarray(CURRENT_DARK), lamp, at_300) for lamp, count in counted(string))
        v_dark, need, i_dark = (np.broadcast_to(part, dark.shape)[dark] for part in (v, np.asarray(need), current))
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
    for lamp in kinds:
        shining, dim = current, np.asarray(visible_currents(lamp)[0])
        if lowest >= np.max(dim):
            continue
        if current.size and not lowest >= CURRENT_DARK:
            lit = current >= CURRENT_DARK
            shining, dim = current[lit], np.broadcast_to(dim, current.shape)[lit]
        found += caution_below("LED too dark to see well", "take a smaller resistor", shining, dim, "A")
    return tuple({caution.what: caution for caution in reversed(found)}.values())[::-1]


def _bright_cautions(current: Floats, highest: float, power_led: Floats, led: Led) -> tuple[Caution, ...]:
    """Return what a current, at most the `highest`, can do to a lamp or to the eye."""
    more, dazzling = "take a larger resistor", visible_currents(led)[1]
    found: tuple[Caution, ...] = ()
    if not highest <= np.min(led.current_max):
        found += caution_above("LED over its highest current", more, current, led.current_max, "A")
    found += caution_above("LED over its highest power", more, power_led, led.power_max, "W")
    if not highest <= np.min(dazzling):
        found += caution_above("LED dazzles", f"{more}, or a diffused lamp, until it pleases", current, dazzling, "A")
    return found


def visible_currents(led: Led) -> tuple[Number, Number]:
    """Return the currents from which a lamp is well seen, and from which it dazzles (NaN if not known)."""
    intensity = np.asarray(led.luminous_intensity, float)
    with np.errstate(divide="ignore", over="ignore"):
        dim = led.current_for_light * (INTENSITY_DIM / intensity) ** (1 / np.asarray(led.light_exponent))
        dazzling = led.current_for_light * (INTENSITY_DAZZLING / intensity) ** (1 / np.asarray(led.light_exponent))
    return np.where(np.isnan(dim), CURRENT_DIM, dim)[()], dazzling


@formula
def brightness(current: AnyNumber, *, led: Led, current_wanted: AboveZero) -> Brightness:
    """Find how bright a lamp is on its axis, and how bright it looks beside another current.

    Parameters
    ----------
    current : array_like
        Current [A]; no light for zero or reverse current.
    led : Led
        One lamp (`devices.typical` makes one of a type).
    current_wanted : array_like
        Current whose light it is compared with [A], above 0.

    Returns
    -------
    Brightness
        Luminous intensity [cd], NaN where the record has none; light and looks as multiples of those at the
        wanted current [1].

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `led` is not an LED record, or is a type.

    Notes
    -----
    Iv = Iv_ref (I / I_ref)^p, fair from about 1 to 20 mA. Makers sort lamps into classes
    1.3 to 2 times wide, and a clear narrow lens concentrates the same light. Looks go with the cube root of the
    light (Stevens): half the light looks four fifths as bright.

    References
    ----------
    MEMORY, the power law and its exponents; MEMORY, S. S. Stevens' power law for brightness.

    Examples
    --------
    >>> from pedalcalc.devices import LED_BLUE, typical
    >>> found = brightness(0.002, led=typical(LED_BLUE), current_wanted=0.004)
    >>> print(f"{found.luminous_intensity * 1000:.0f} mcd, looks {found.brightness_relative:.2f} times as bright")
    107 mcd, looks 0.81 times as bright
    """
    i = np.maximum(current, 0.0)
    specimen("led", led, Led)
    with np.errstate(invalid="ignore"):
        light = led.luminous_intensity * (i / led.current_for_light) ** led.light_exponent
        relative = (i / current_wanted) ** led.light_exponent
    return Brightness(luminous_intensity=light, light_relative=relative, brightness_relative=np.cbrt(relative))
