"""An LED record from a builder's own meter readings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import is_a, numeric
from pedalcalc._base import fit
from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc._ranges import TEMPERATURE_RECORD
from pedalcalc._result import Caution, Result, caution_above, caution_below, quantity
from pedalcalc._units import shown
from pedalcalc.devices import Led, typical
from pedalcalc.led._string import across

#: Voltage [V] that a fitted curve may miss a reading by, and the ideality factors that lamps show.
RESIDUAL_FAIR = 0.02
IDEALITY_USUAL = (1.0, 6.0)
#: A miss [V] below which no meter and no lamp is steady: rounding of the computation, and written as none.
RESIDUAL_NONE = 1e-9
#: How far [V] from the typical drop of its class a lamp may lie, where the record gives no wider range.
CLASS_WIDE = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class LedFit(Result):
    """A lamp fitted to readings; each residual is measured minus fitted voltage."""

    led: Led = quantity("record", "fitted lamp")
    current_saturation: float = quantity("A", "saturation current")
    ideality: float = quantity("1", "ideality factor")
    resistance_series: float = quantity("Ω", "series resistance")
    voltage_residual: float = quantity("V", "largest miss of a reading")
    voltage_residuals: tuple[float, ...] = quantity("records", "measured minus fitted voltage")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@fit
def fit_led(*, current: ArrayLike, voltage: ArrayLike, led: Led) -> LedFit:
    """Fit a lamp to two or more measured pairs of current and voltage.

    Put the lamp in series with a few different resistors on a supply that its
    drop leaves some volts of, from about 0.1 to 20 mA. Read the voltage across the
    lamp, and the current as the voltage across the resistor over its measured resistance.

    Parameters
    ----------
    current : array_like
        Currents through the lamp [A], > 0 and at most 1; NaN for a reading not taken.
    voltage : array_like
        Voltages across the lamp [V], > 0, in the same order.
    led : Led
        Record of the colour class; it gives what the readings do not: ratings, light, and with two
        pairs the series resistance.

    Returns
    -------
    LedFit
        Lamp record through the middle of the readings, with no ranges left; the numbers of its law, how
        far the readings are missed [V], and cautions.

    Raises
    ------
    ValueError
        If fewer than two pairs are there, the arrays differ in length, a current is repeated, or the
        voltage does not rise with the current (readings swapped, misread or from different lamps).
    TypeError
        If `led` is not an LED record.

    Notes
    -----
    V = n Vt ln(I/Is) + I Rs at 300 K is linear in n Vt, Rs and -n Vt ln Is: least squares with three
    or more pairs (Rs held at 0 where it would come out negative), the two first with the class's Rs with two.
    Caution where a reading is missed by more than 20 mV, n lies outside 1 to 6, or the drop is not that of the class.
    A miss below a nanovolt, which two pairs leave by rounding, is given as none.

    References
    ----------
    SHOCKLEY, the law; DERIVED, its linear form for I far above Is; MEMORY, usual ideality factors.

    Examples
    --------
    >>> from pedalcalc.devices import LED_RED_ALINGAP
    >>> fitted = fit_led(current=[0.5e-3, 5e-3], voltage=[1.70, 1.84], led=LED_RED_ALINGAP)
    >>> print(f"n = {fitted.ideality:.2f}, {fitted.resistance_series:.0f} Ω")
    n = 2.05, 4 Ω
    """
    i = numeric("current", current, above=0, most=1)
    v = numeric("voltage", voltage, above=0)
    is_a("led", led, Led)
    if i.ndim != 1 or v.shape != i.shape:
        raise ValueError(
            f"current and voltage must be two lists of the same length, got shapes {i.shape} and {v.shape}"
        )
    known = ~(np.isnan(i) | np.isnan(v))
    order = np.argsort(i[known], kind="stable")
    i, v = i[known][order], v[known][order]
    if i.size < 2:
        raise ValueError(f"current and voltage must hold at least two pairs to fit a lamp, got {i.size}")
    _refuse_contradictions(i, v)
    nvt, r_s, offset = _three(i, v) if i.size > 2 else _two(i, v, float(typical(led).resistance_series))
    # offset = -n Vt ln Is; the law's ln(1 + I/Is) is ln(I/Is) to the last digit for any lamp.
    i_s = float(np.exp(-offset / nvt))
    if i_s == 0:
        raise ValueError(
            f"voltage must rise more with current than this: no lamp is so steep, got {shown(v[0], 'V')} to {shown(v[-1], 'V')}"
        )
    missed = v - (nvt * np.log1p(i / i_s) + i * r_s)
    missed = np.where(np.abs(missed) < RESIDUAL_NONE, 0.0, missed)
    residuals = np.full(known.shape, np.nan)
    residuals[np.flatnonzero(known)[order]] = missed
    worst, ideality = float(np.max(np.abs(missed))), nvt / VOLTAGE_THERMAL_300K
    middle = float(np.sqrt(i[0] * i[-1]))
    at_middle = nvt * float(np.log1p(middle / i_s)) + middle * r_s
    of_class = float(across(np.asarray(middle), typical(led), np.asarray(TEMPERATURE_RECORD)))
    again = "read again: the lamp warms up at high current, and the meter's current range drops volts"
    return LedFit(
        led=replace(
            typical(led),
            name=f"{led.name}, measured",
            origin=f"fitted to {i.size} own readings from {i[0]:g} to {i[-1]:g} A; ratings and light: {led.origin}",
            voltage_forward=at_middle,
            current_reference=middle,
            ideality=ideality,
            resistance_series=r_s,
        ),
        current_saturation=i_s,
        ideality=ideality,
        resistance_series=r_s,
        voltage_residual=worst,
        voltage_residuals=tuple(float(part) for part in residuals),
        cautions=(
            *caution_above(
                f"Readings do not suit {led.name}",
                "name the class of your lamp's colour, or look whether another lamp was measured",
                abs(at_middle - of_class),
                max(CLASS_WIDE, float(np.max(led.voltage_spread))),
                "V",
            ),
            *caution_above("Reading far from the fitted curve", again, worst, RESIDUAL_FAIR, "V"),
            *caution_above("Ideality factor high for a lamp", again, ideality, IDEALITY_USUAL[1], "1"),
            *caution_below("Ideality factor low for a lamp", again, ideality, IDEALITY_USUAL[0], "1"),
        ),
    )


def _refuse_contradictions(i: NDArray[np.float64], v: NDArray[np.float64]) -> None:
    """Refuse readings that no one lamp can give."""
    for (i_1, v_1), (i_2, v_2) in zip(zip(i, v, strict=True), zip(i[1:], v[1:], strict=True), strict=False):
        if i_1 == i_2:
            raise ValueError(f"current must differ between pairs, got {shown(i_1, 'A')} twice")
        if v_2 <= v_1:
            raise ValueError(
                f"voltage must rise with current, got {shown(v_1, 'V')} at {shown(i_1, 'A')} but {shown(v_2, 'V')} at "
                f"{shown(i_2, 'A')}; "
                "are current and voltage swapped, or two lamps mixed up?"
            )


def _two(i: NDArray[np.float64], v: NDArray[np.float64], r_s: float) -> tuple[float, float, float]:
    """Return n Vt, Rs and the offset through two pairs, Rs given."""
    junction = v - i * r_s
    if junction[1] <= junction[0]:
        raise ValueError(
            f"voltage must rise by more than the {shown(r_s, 'Ω')} of the colour class alone would drop, "
            f"got {shown(v[0], 'V')} at {shown(i[0], 'A')} and {shown(v[1], 'V')} at {shown(i[1], 'A')}; "
            "take a third pair at a lower current"
        )
    nvt = float((junction[1] - junction[0]) / np.log(i[1] / i[0]))
    return nvt, r_s, float(junction[0] - nvt * np.log(i[0]))


def _three(i: NDArray[np.float64], v: NDArray[np.float64]) -> tuple[float, float, float]:
    """Return n Vt, Rs >= 0 and the offset that fit three or more pairs best."""
    columns = np.column_stack([np.log(i), i, np.ones_like(i)])
    size = np.abs(columns).max(axis=0)
    nvt, r_s, offset = (float(part) for part in np.linalg.lstsq(columns / size, v)[0] / size)
    if r_s < 0:
        nvt, offset = (float(part) for part in np.linalg.lstsq(columns[:, [0, 2]], v)[0])
        r_s = 0.0
    if nvt <= 0:
        raise ValueError(
            "voltage must follow a lamp's curve, steep at low and flat at high current, got one that is a plain "
            f"resistance from {shown(i[0], 'A')} to {shown(i[-1], 'A')}; spread the currents over a decade or more"
        )
    return nvt, r_s, offset
