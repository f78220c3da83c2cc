"""From a wanted current back to the resistors of a bipolar stage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._arguments import Stock, is_a, numeric
from pedalcalc._base import formula, scalar, search
from pedalcalc._ranges import KELVIN, TEMPERATURE_RECORD, AboveZero, AnyNumber, AtLeastZero, Kelvin, ZeroToInfinity
from pedalcalc._refusal import must, refused
from pedalcalc._result import Number, Result, quantity
from pedalcalc._units import shown
from pedalcalc.bjt._points import Array
from pedalcalc.bjt._solved import law
from pedalcalc.devices import Bjt, typical
from pedalcalc.laws.transistors import BipolarFigures
from pedalcalc.values._series import ladder, nearest

__all__ = ["DividerDesign", "base_resistor", "choose_divider_bias", "feedback_resistor"]


#: How an error names a resistor that no stock has.
ASKS = "current_wanted and voltage_supply must ask for resistors of"


@dataclass(frozen=True, slots=True, eq=False)
class DividerDesign(Result):
    """Resistors of a divider-biased stage."""

    resistance_top: Number = quantity("Ω", "divider, base to collector supply")
    resistance_bottom: Number = quantity("Ω", "divider, base to emitter supply")
    resistance_collector: Number = quantity("Ω", "collector resistor")
    resistance_emitter: Number = quantity("Ω", "emitter resistor")


def _drop(transport: Array, numbers: BipolarFigures, constant: bool) -> Array:
    """Return the base-emitter voltage at a transport current, the collector junction in reverse."""
    junction = numbers.junction
    if constant:
        return np.asarray(junction.knee + transport * junction.resistance)
    return np.asarray(junction.slope * np.log1p(transport / junction.saturation) + transport * junction.resistance)


def _base(current: Array, transistor: Any, temperature: Array) -> tuple[Array, Array]:
    """Return base-emitter voltage and base current of a wanted emitter current, the collector junction in reverse."""
    numbers, slope, constant = law(transistor, temperature)
    saturation = np.asarray(0.0) if constant else numbers.junction.saturation
    transport = (current - saturation) / (1 + 1 / numbers.gain)
    base = transport / numbers.gain - numbers.back * saturation
    if np.any((base <= 0) & np.isfinite(numbers.gain)):
        least = np.broadcast_to(
            saturation + (1 + 1 / numbers.gain) * numbers.gain * numbers.back * saturation, base.shape
        )
        bad = (base <= 0) & np.isfinite(numbers.gain)
        leaks = shown(float(least[bad][0]), "A")
        raise refused("current_wanted", f"above the {leaks} that transistor leaks with its base open", current, bad)
    return np.asarray(_drop(transport, numbers, constant) + 0.0 * slope), np.asarray(base)


def _left_over(left: Array, base: Array, supply: str) -> Array:
    """Return the resistor that takes `left` volts at the base current; none flows with an infinite gain."""
    if np.any(short := left < 0):
        raise must(
            f"{supply} must drive current_wanted through the other resistors, "
            f"but {shown(float(-left[short].flat[0]), 'V')} are wanting",
            short,
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where(base <= 0, np.inf, left / base)
    return np.asarray(np.where(left == 0, 0.0 * left, found) + 0.0 * base)


@formula
def base_resistor(
    current_wanted: AboveZero,
    *,
    voltage_base_supply: AnyNumber,
    transistor: Bjt,
    resistance_emitter: ZeroToInfinity = 0.0,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> Number:
    """Find the base resistor for a wanted emitter current.

    Exact: `base_bias` with it draws that current, as long as the collector resistor lets it.

    Parameters
    ----------
    current_wanted : array_like
        Wanted emitter current [A], above 0.
    voltage_base_supply : array_like
        Voltage the base resistor hangs on, counted from the far end of the emitter resistor [V].
    transistor : devices.Bjt
        One part; a gain of inf ignores the base current, an ideality of 0 is the constant base-emitter drop.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf; none if not given.
    temperature : array_like
        Junction temperature [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    float or ndarray
        Base resistor [Ω]; inf with an infinite gain.

    Raises
    ------
    ValueError
        If an argument is outside its range, the supply cannot drive that current through the emitter resistor at all,
        or the transistor leaks more.
    TypeError
        If `transistor` is not a bipolar record, or is a type.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    RB = (VBB - VBE - IE RE)/IB, VBE by the law at that current, IB = IE/(beta + 1) less the leakage. A text that counts
    beta for beta + 1 has a gain of beta - 1; one that adds re = VT/IE to the resistors counts it in RE.

    References
    ----------
    KUPHALDT-3, ch. 4, equations 13060, 13062 and 13067; DERIVED, VBE by the law.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> part = replace(devices.typical(devices.BJT_2N3904), current_gain=100)
    >>> round(base_resistor(1e-3, voltage_base_supply=10.0, transistor=part))
    944166
    """
    i_e, vbb, r_e = current_wanted, voltage_base_supply, resistance_emitter
    drop, base = _base(i_e, transistor, temperature)
    return _left_over(np.asarray(vbb - drop - i_e * r_e), base, "voltage_base_supply")


@formula
def feedback_resistor(
    current_wanted: AboveZero,
    *,
    voltage_supply: AtLeastZero,
    resistance_collector: ZeroToInfinity,
    transistor: Bjt,
    resistance_emitter: ZeroToInfinity = 0.0,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> Number:
    """Find the collector-to-base resistor for a wanted emitter current.

    Exact: `collector_feedback_bias` with it draws that current.

    Parameters
    ----------
    current_wanted : array_like
        Wanted emitter current [A], above 0.
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    transistor : devices.Bjt
        One part; a gain of inf ignores the base current, an ideality of 0 is the constant base-emitter drop.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf; none if not given.
    temperature : array_like
        Junction temperature [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    float or ndarray
        Feedback resistor [Ω]; inf with an infinite gain.

    Raises
    ------
    ValueError
        If an argument is outside its range, the supply cannot drive that current through the other resistors, or the
        transistor leaks more.
    TypeError
        If `transistor` is not a bipolar record, or is a type.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    RF = (V - VBE - IE (RC + RE))/IB, VBE by the law at that current, IB = IE/(beta + 1) less the leakage.

    References
    ----------
    KUPHALDT-3, ch. 4, equation 13063; DERIVED, VBE by the law.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> part = replace(devices.typical(devices.BJT_2N3904), current_gain=100)
    >>> round(feedback_resistor(1e-3, voltage_supply=10.0, resistance_collector=4.7e3, transistor=part))
    469466
    """
    i_e, vcc, r_c, r_e = current_wanted, voltage_supply, resistance_collector, resistance_emitter
    drop, base = _base(i_e, transistor, temperature)
    return _left_over(np.asarray(vcc - drop - i_e * (r_c + r_e)), base, "voltage_supply")


@search
def choose_divider_bias(
    current_wanted: ArrayLike,
    *,
    voltage_supply: ArrayLike,
    transistor: Bjt,
    stock: Stock | None = None,
    fraction_emitter: ArrayLike = 0.1,
    fraction_transistor: ArrayLike = 0.5,
    stiffness: ArrayLike = 0.01,
    temperature: ArrayLike = TEMPERATURE_RECORD,
) -> DividerDesign:
    """Choose the four resistors of a divider-biased stage for a wanted collector current.

    A first answer by the usual shares; `divider_bias` says where the stage with them really sits.

    Parameters
    ----------
    current_wanted : array_like
        Wanted collector current [A], above 0.
    voltage_supply : array_like
        Supply [V], 0 or more.
    transistor : devices.Bjt
        A part, or a type, of which the typical part counts.
    stock : str or list
        A series such as `E12`, or the values of a drawer; not rounded to stock if not given.
    fraction_emitter : array_like
        Share of the supply across the emitter resistor [1], above 0 and below 1; a tenth if not given.
    fraction_transistor : array_like
        Share of the supply between collector and emitter [1], 0 to below 1, with the emitter's at most 1; half if not given.
    stiffness : array_like
        Lower divider resistor over beta times the emitter resistor [1], above 0; a hundredth if not given.
    temperature : array_like
        Junction temperature [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    DividerDesign
        Four resistors [Ω], from stock or exact; the divider's are inf with an infinite gain.

    Raises
    ------
    ValueError
        If an argument is outside its range, both shares exceed the whole supply, or the supply leaves nothing above
        the base.
    TypeError
        If `transistor` is not a bipolar record.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    RE = f V/IC, RC from what is left, R2 = s beta RE, R1 = R2 (V - VB)/VB with VB = IC RE + VBE, VBE by the law at that
    current. Each resistor is rounded before the next is computed from it.

    References
    ----------
    MALVINO-BATES, ex. 8-4, with its shares; DERIVED, VBE by the law.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> four = choose_divider_bias(1e-3, voltage_supply=9.0, transistor=devices.BJT_BC549B, stock="E12")
    >>> four.resistance_top, four.resistance_bottom, four.resistance_collector, four.resistance_emitter
    (12000.0, 2200.0, 3900.0, 820.0)
    """
    i_c = numeric("current_wanted", current_wanted, above=0)
    vcc = numeric("voltage_supply", voltage_supply, least=0)
    numbers, _, constant = law(typical(is_a("transistor", transistor, Bjt)), KELVIN("temperature", temperature))
    f_e = numeric("fraction_emitter", fraction_emitter, above=0, below=1)
    f_t = numeric("fraction_transistor", fraction_transistor, least=0, below=1)
    s = numeric("stiffness", stiffness, above=0)
    if np.any(bad := f_e + f_t > 1):
        raise must(
            f"fraction_emitter and fraction_transistor must not exceed 1 together, got {(f_e + f_t)[bad].flat[0]:g}",
            bad,
        )

    def rounded(ohms: Any) -> Any:
        return np.asarray(ohms if stock is None else nearest(ASKS, ohms, ladder(stock)))

    r_e = rounded(f_e * vcc / i_c)
    r_c = rounded((1 - f_e - f_t) * vcc / i_c)
    base = i_c * r_e + _drop(i_c, numbers, constant)
    if np.any(bad := base >= vcc):
        wanted = shown(float(np.broadcast_to(base, bad.shape)[bad][0]), "V")
        allowed = f"above the {wanted} that the emitter's share and the base-emitter drop take together"
        raise refused("voltage_supply", allowed, vcc, bad)
    bottom = rounded(s * numbers.gain * r_e)
    top = rounded(bottom * ((vcc - base) / base))
    same = np.where(np.isnan(top), np.nan, 0.0)
    return DividerDesign(
        resistance_top=scalar(top),
        resistance_bottom=scalar(bottom),
        resistance_collector=scalar(r_c + same),
        resistance_emitter=scalar(r_e + same),
    )
