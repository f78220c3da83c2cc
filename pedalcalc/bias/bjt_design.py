"""From a wanted current back to the resistors of a bipolar stage, by the constant-drop rule.

The answer is a first value to round to stock; run it through the exact
functions (`bjt_divider` and its sisters) before soldering.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, formula, numeric, quantity, resistance, scalar
from pedalcalc.bias._bjt_ruled import by_convention
from pedalcalc.bias._points import checked_gain

__all__ = [
    "DividerDesign",
    "base_resistor_for_current",
    "collector_current_limit",
    "divider_for_current",
    "feedback_resistor_for_current",
]


@dataclass(frozen=True, slots=True, eq=False)
class DividerDesign(Result):
    """Resistors of a divider-biased stage before rounding to stock."""

    resistance_top: Number = quantity("Ω", "divider, base to collector supply")
    resistance_bottom: Number = quantity("Ω", "divider, base to emitter supply")
    resistance_collector: Number = quantity("Ω", "collector resistor")
    resistance_emitter: Number = quantity("Ω", "emitter resistor")


@formula
def base_resistor_for_current(
    current_wanted: ArrayLike,
    *,
    voltage_base_supply: ArrayLike,
    current_gain: ArrayLike,
    resistance_emitter: ArrayLike = 0.0,
    resistance_emitter_dynamic: ArrayLike = 0.0,
    voltage_base_emitter: ArrayLike = 0.7,
    convention: str = "beta plus one",
) -> Number:
    """Find the base resistor for a wanted emitter current.

    Parameters
    ----------
    current_wanted : array_like
        Wanted emitter current [A], above 0.
    voltage_base_supply : array_like
        Voltage the base resistor hangs on, counted from the far end of the emitter resistor [V].
    current_gain : array_like
        Current gain beta [1], above 0, or inf.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 or more, finite; none if not given.
    resistance_emitter_dynamic : array_like
        re = VT/IE where a text adds it to the emitter resistor [Ω]; left out if not given.
    voltage_base_emitter : array_like
        Base-emitter drop [V], 0 or more; the customary 0.7 V if not given.
    convention : str
        `beta plus one` or `beta`.

    Returns
    -------
    float or ndarray
        Base resistor [Ω]; inf with an infinite gain.

    Raises
    ------
    ValueError
        If an argument is outside its range, or the supply cannot drive that current
        through the emitter resistor at all.

    Notes
    -----
    RB = b ((VBB - VBE)/IE - RE - re), b = beta + 1 or beta.

    References
    ----------
    KUPHALDT-3, ch. 4, equations 13060, 13062 and 13067.

    Examples
    --------
    >>> round(base_resistor_for_current(1e-3, voltage_base_supply=10.0, current_gain=100, convention="beta"))
    930000
    """
    i_e = numeric("current_wanted", current_wanted, above=0)
    vbb = numeric("voltage_base_supply", voltage_base_supply)
    _, b, _ = by_convention(current_gain, convention)
    r_e = numeric("resistance_emitter", resistance_emitter, least=0, infinity=True)
    dynamic = numeric("resistance_emitter_dynamic", resistance_emitter_dynamic, least=0, infinity=True)
    drop = numeric("voltage_base_emitter", voltage_base_emitter, least=0)
    return _times_gain(b, (vbb - drop) / i_e - r_e - dynamic)


@formula
def feedback_resistor_for_current(
    current_wanted: ArrayLike,
    *,
    voltage_supply: ArrayLike,
    current_gain: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike = 0.0,
    voltage_base_emitter: ArrayLike = 0.7,
    convention: str = "beta plus one",
) -> Number:
    """Find the collector-to-base resistor for a wanted emitter current.

    Parameters
    ----------
    current_wanted : array_like
        Wanted emitter current [A], above 0.
    voltage_supply : array_like
        Supply [V], 0 or more.
    current_gain : array_like
        Current gain beta [1], above 0, or inf.
    resistance_collector : array_like
        Collector resistor [Ω], 0 or more, finite.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 or more, finite; none if not given.
    voltage_base_emitter : array_like
        Base-emitter drop [V], 0 or more; the customary 0.7 V if not given.
    convention : str
        `beta plus one` or `beta`.

    Returns
    -------
    float or ndarray
        Feedback resistor [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range, or the supply cannot drive that current
        through the collector resistor.

    Notes
    -----
    RF = b ((V - VBE)/IE - RC - RE), b = beta + 1 or beta.

    References
    ----------
    KUPHALDT-3, ch. 4, equation 13063.

    Examples
    --------
    >>> round(feedback_resistor_for_current(1e-3, voltage_supply=10.0, current_gain=100,
    ...                                     resistance_collector=4.7e3, convention="beta"))
    460000
    """
    i_e = numeric("current_wanted", current_wanted, above=0)
    vcc = numeric("voltage_supply", voltage_supply, least=0)
    _, b, _ = by_convention(current_gain, convention)
    r_c = numeric("resistance_collector", resistance_collector, least=0, infinity=True)
    r_e = numeric("resistance_emitter", resistance_emitter, least=0, infinity=True)
    drop = numeric("voltage_base_emitter", voltage_base_emitter, least=0)
    return _times_gain(b, (vcc - drop) / i_e - r_c - r_e)


def _times_gain(b: Number, left: Number) -> Number:
    if np.any(np.asarray(left) < 0):
        raise ValueError("current_wanted is more than the supply drives through the other resistors")
    with np.errstate(invalid="ignore"):
        return scalar(np.where(np.asarray(left) == 0, 0.0 * np.asarray(left), b * np.asarray(left)))  # type: ignore[no-any-return]


@formula
def divider_for_current(
    current_wanted: ArrayLike,
    *,
    voltage_supply: ArrayLike,
    current_gain: ArrayLike,
    fraction_emitter: ArrayLike = 0.1,
    fraction_transistor: ArrayLike = 0.5,
    stiffness: ArrayLike = 0.01,
    voltage_base_emitter: ArrayLike = 0.7,
) -> DividerDesign:
    """Find the four resistors of a divider-biased stage for a wanted collector current.

    A tenth of the supply across the emitter resistor, half across the
    transistor, the rest across the collector resistor, and a divider that is
    stiff (0.01) or firm (0.1) against the base.

    Parameters
    ----------
    current_wanted : array_like
        Wanted collector current [A], above 0.
    voltage_supply : array_like
        Supply [V], above the base-emitter drop.
    current_gain : array_like
        Lowest current gain to be expected [1], above 0, finite.
    fraction_emitter : array_like
        Share of the supply across the emitter resistor [1], 0 to 1.
    fraction_transistor : array_like
        Share of the supply across the transistor [1], 0 to 1.
    stiffness : array_like
        Lower divider resistor over beta times the emitter resistor [1], above 0.
    voltage_base_emitter : array_like
        Base-emitter drop [V], 0 or more; the customary 0.7 V if not given.

    Returns
    -------
    DividerDesign
        Four resistances [Ω] before rounding to stock.

    Raises
    ------
    ValueError
        If an argument is outside its range, or nothing is left for a resistor.

    Notes
    -----
    RE = fE V/IC, RC = (1 - fE - fT) V/IC, R2 = s beta RE,
    R1 = R2 (V - VB)/VB with VB = fE V + VBE.

    References
    ----------
    MALVINO-BATES, ch. 8, VDB design guideline, ex. 8-4.

    Examples
    --------
    >>> design = divider_for_current(10e-3, voltage_supply=10.0, current_gain=100)
    >>> round(design.resistance_top, 2), round(design.resistance_bottom), round(design.resistance_collector)
    (488.24, 100, 400)
    """
    i_c = numeric("current_wanted", current_wanted, above=0)
    vcc = numeric("voltage_supply", voltage_supply, least=0)
    beta = checked_gain(current_gain)
    f_e = numeric("fraction_emitter", fraction_emitter, above=0, below=1)
    f_t = numeric("fraction_transistor", fraction_transistor, least=0, below=1)
    s = numeric("stiffness", stiffness, above=0)
    drop = numeric("voltage_base_emitter", voltage_base_emitter, least=0)
    if np.any(f_e + f_t > 1):
        raise ValueError("fraction_emitter and fraction_transistor must not exceed 1 together")
    base = f_e * vcc + drop
    if np.any(base >= vcc):
        raise ValueError("voltage_supply must exceed the emitter's share and the base-emitter drop together")
    r_e = f_e * vcc / i_c
    r_c = (1 - f_e - f_t) * vcc / i_c
    bottom = s * beta * r_e
    top = bottom * ((vcc - base) / base)
    same = np.where(np.isnan(top), np.nan, 0.0)  # a gain without limit leaves the divider open
    return DividerDesign(scalar(top), scalar(bottom), scalar(r_c + same), scalar(r_e + same))


@formula
def collector_current_limit(
    voltage_supply: ArrayLike,
    *,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike = 0.0,
    voltage_saturation: ArrayLike = 0.2,
) -> Number:
    """Find the largest collector current the resistors let through, at saturation.

    Parameters
    ----------
    voltage_supply : array_like
        Supply across resistors and transistor [V], 0 or more.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf; none if not given.
    voltage_saturation : array_like
        Collector-emitter voltage in saturation [V], 0 or more; texts take 0 to 0.3.

    Returns
    -------
    float or ndarray
        Saturation current [A]: the top end of the DC load line.

    Raises
    ------
    ValueError
        If an argument is outside its range or both resistors are 0.

    Notes
    -----
    IC(sat) = (V - VCE(sat))/(RC + RE), base current left out; 0 when the supply is below VCE(sat).

    References
    ----------
    FLOYD-DEVICES, ch. 4 and 5, DC load line; BOYLESTAD-NASHELSKY, ch. 4.

    Examples
    --------
    >>> round(1e3 * collector_current_limit(12.0, resistance_collector=2.2e3, voltage_saturation=0.0), 2)
    5.45
    """
    vcc = numeric("voltage_supply", voltage_supply, least=0)
    total = resistance("resistance_collector", resistance_collector) + resistance(
        "resistance_emitter", resistance_emitter
    )
    v_sat = numeric("voltage_saturation", voltage_saturation, least=0)
    if np.any(total == 0):
        raise ValueError("resistance_collector and resistance_emitter must not both be 0: nothing limits the current")
    return scalar(np.maximum(vcc - v_sat, 0.0) / total)  # type: ignore[no-any-return]
