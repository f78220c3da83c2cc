"""Adaptors: what the label's voltage turns into, the ripple of a reservoir capacitor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Caution, Number, Result, caution_above, formula, is_a, numeric, one_of, quantity
from pedalcalc.devices import Adaptor
from pedalcalc.devices._record import ends

__all__ = ["AdaptorVoltage", "Reservoir", "adaptor_voltage", "reservoir", "reservoir_loaded", "reservoir_ripple"]


Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class AdaptorVoltage(Result):
    """What an adaptor delivers, to be held against its label."""

    voltage_supply_min: Number = quantity("V", "lowest voltage at this load")
    voltage_supply: Number = quantity("V", "typical voltage at this load")
    voltage_supply_max: Number = quantity("V", "highest voltage at this load")
    voltage_open_max: Number = quantity("V", "highest voltage with nothing connected")
    resistance_internal: Number = quantity("Ω", "fall of the typical voltage per ampere")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def adaptor_voltage(current_load: ArrayLike, *, adaptor: Adaptor) -> AdaptorVoltage:
    """Find the voltage an adaptor delivers at a load: lowest, typical and highest.

    Parameters
    ----------
    current_load : array_like
        Current drawn [A], at least 0.
    adaptor : Adaptor
        Adaptor record (`pedalcalc.devices`).

    Returns
    -------
    AdaptorVoltage
        Voltages [V], internal resistance [Ω] and cautions.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    A straight line from the open-circuit voltage to that at the rated current.

    References
    ----------
    UNREGULATED for the rise without load; MEMORY for the tolerances.

    Examples
    --------
    >>> from pedalcalc.devices import ADAPTOR_9V_UNREGULATED
    >>> idle = adaptor_voltage(0.010, adaptor=ADAPTOR_9V_UNREGULATED)
    >>> print(f"{idle.voltage_supply_min:.1f}, {idle.voltage_supply:.1f}, {idle.voltage_supply_max:.1f}")
    11.9, 12.9, 13.9
    """
    current = numeric("current_load", current_load, least=0)
    is_a("adaptor", adaptor, Adaptor)
    share = current / adaptor.current_max
    open_, loaded = ends(adaptor.voltage_open), ends(adaptor.voltage_rated)
    low, typical, high = (free + (rated - free) * share for free, rated in zip(open_, loaded, strict=True))
    internal = (open_.typical - loaded.typical) / adaptor.current_max + 0 * share
    cautions = caution_above(
        "more current than the adaptor is rated for: it sags, hums and gets hot",
        "use an adaptor of a higher rated current",
        current,
        adaptor.current_max,
        "A",
    ) + caution_above(
        "this adaptor stands well above its label at a light load: parts rated for the label can be damaged",
        "measure it with nothing connected, or use a regulated one",
        high,
        1.1 * adaptor.voltage_label,
        "V",
    )
    return AdaptorVoltage(low[()], typical[()], high[()], (open_.high + 0 * share)[()], internal[()], cautions)


_PULSES = {"half": 1.0, "full": 2.0}


@formula
def reservoir_ripple(
    *, current_load: ArrayLike, frequency: ArrayLike, capacitance: ArrayLike, rectifier: str
) -> Number:
    """Find the peak-to-peak ripple of a reservoir capacitor.

    The load empties the capacitor at a constant current between the peaks.

    Parameters
    ----------
    current_load : array_like
        Direct current drawn [A], at least 0.
    frequency : array_like
        Mains frequency [Hz], > 0.
    capacitance : array_like
        Reservoir capacitor [F], > 0.
    rectifier : str
        "half" (one diode) or "full" (bridge, or two diodes on a centre tap).

    Returns
    -------
    float or ndarray
        Ripple, peak to peak [V].

    Raises
    ------
    ValueError
        If a value is out of range, or `rectifier` is another word.

    Notes
    -----
    I/(f C) half wave, I/(2 f C) full wave: an upper bound, since the capacitor
    is recharged before the whole period is over.

    References
    ----------
    MALVINO-BATES chapter 4; KUPHALDT-3 chapter 3.

    Examples
    --------
    >>> value = reservoir_ripple(current_load=0.010, frequency=50.0, capacitance=1000e-6, rectifier="full")
    >>> print(f"{value:g}")
    0.1
    """
    current = numeric("current_load", current_load, least=0)
    f = numeric("frequency", frequency, above=0, infinity=True)
    c = numeric("capacitance", capacitance, above=0)
    pulses = _PULSES[one_of("rectifier", rectifier, tuple(_PULSES))]
    return (current / (pulses * f * c))[()]


@dataclass(frozen=True, slots=True, eq=False)
class Reservoir(Result):
    """Rectifier and reservoir capacitor: direct voltage and ripple."""

    voltage_peak: Number = quantity("V", "peak of the winding")
    voltage_output: Number = quantity("V", "direct voltage, peak less diodes")
    voltage_mean: Number = quantity("V", "mean voltage, half the ripple less")
    current_load: Number = quantity("A", "load current")
    voltage_ripple: Number = quantity("V", "ripple, peak to peak")
    voltage_ripple_rms: Number = quantity("V", "ripple, rms of a triangle")
    ripple_ratio: Number = quantity("1", "rms ripple over mean voltage")


@formula
def reservoir(
    *,
    voltage_rms: ArrayLike,
    voltage_drop: ArrayLike,
    resistance_load: ArrayLike,
    frequency: ArrayLike,
    capacitance: ArrayLike,
    rectifier: str,
) -> Reservoir:
    """Find direct voltage and ripple of an unregulated supply: winding, rectifier, reservoir.

    Explains why an unregulated adaptor reads far above its label without load
    and hums under load. To understand one, not to build one: mains work is for
    qualified people.

    Parameters
    ----------
    voltage_rms : array_like
        Winding voltage [V] rms, at least 0.
    voltage_drop : array_like
        Drop of all conducting diodes together [V], at least 0; 0 for ideal ones.
    resistance_load : array_like
        Load [Ω], > 0; inf for none.
    frequency : array_like
        Mains frequency [Hz], > 0.
    capacitance : array_like
        Reservoir capacitor [F], > 0.
    rectifier : str
        "half" or "full".

    Returns
    -------
    Reservoir
        Peak, direct and mean voltage [V], current [A], ripple peak to peak and rms [V], ratio [1].

    Raises
    ------
    ValueError
        If a value is out of range, or `rectifier` is another word.

    Notes
    -----
    V = sqrt(2) V_rms - drop, I = V/R_L, ripple as `reservoir_ripple`, its rms
    V_pp/(2 sqrt 3). A winding that does not reach the diodes' drop gives 0.

    References
    ----------
    MALVINO-BATES examples 4-6 to 4-9; BOYLESTAD-NASHELSKY chapter 15 for the rms.

    Examples
    --------
    >>> supply = reservoir(
    ...     voltage_rms=24.0, voltage_drop=0.0, resistance_load=5e3, frequency=60.0, capacitance=100e-6, rectifier="half"
    ... )
    >>> print(f"{supply.voltage_ripple:.2f}")
    1.13
    """
    rms = numeric("voltage_rms", voltage_rms, least=0)
    drop = numeric("voltage_drop", voltage_drop, least=0)
    load = numeric("resistance_load", resistance_load, above=0, infinity=True)
    f = numeric("frequency", frequency, above=0, infinity=True)
    c = numeric("capacitance", capacitance, above=0)
    pulses = _PULSES[one_of("rectifier", rectifier, tuple(_PULSES))]
    peak = np.sqrt(2) * rms
    direct = np.where(peak < drop, 0.0, peak - drop)
    return _reservoir(peak, np.asarray(direct), np.asarray(direct / load), pulses * f * c)


def _reservoir(peak: Array, direct: Array, current: Array, steepness: Array) -> Reservoir:
    """Finish a reservoir; `steepness` is the load current over the ripple."""
    ripple = current / steepness
    effective = ripple / (2 * np.sqrt(3))
    mean = direct - ripple / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(effective == 0, 0.0, effective / mean)
    return Reservoir(peak[()], direct[()], mean[()], current[()], ripple[()], effective[()], ratio[()])


@formula
def reservoir_loaded(
    *,
    voltage_peak: ArrayLike,
    current_load: ArrayLike,
    frequency: ArrayLike,
    capacitance: ArrayLike,
    rectifier: str,
) -> Reservoir:
    """Find mean voltage and ripple of a reservoir capacitor from its peak voltage and a load current.

    Parameters
    ----------
    voltage_peak : array_like
        Peak that the capacitor is charged to, diodes deducted [V], at least 0.
    current_load : array_like
        Direct current drawn [A], at least 0.
    frequency : array_like
        Mains frequency [Hz], > 0.
    capacitance : array_like
        Reservoir capacitor [F], > 0.
    rectifier : str
        "half" or "full".

    Returns
    -------
    Reservoir
        Peak, direct and mean voltage [V], current [A], ripple peak to peak and rms [V], ratio [1].

    Raises
    ------
    ValueError
        If a value is out of range, or `rectifier` is another word.

    Notes
    -----
    Mean V_p - V_pp/2, ripple rms V_pp/(2 sqrt 3) = I/(4 sqrt 3 f C) for a full
    wave: at 60 Hz the texts' 2.4 I/C in mA and µF.

    References
    ----------
    BOYLESTAD-NASHELSKY chapter 15; MALVINO-BATES chapter 4.

    Examples
    --------
    >>> supply = reservoir_loaded(
    ...     voltage_peak=30.0, current_load=0.050, frequency=60.0, capacitance=100e-6, rectifier="full"
    ... )
    >>> print(f"{supply.voltage_mean:.1f} V with {supply.voltage_ripple_rms:.1f} V of ripple")
    27.9 V with 1.2 V of ripple
    """
    peak = numeric("voltage_peak", voltage_peak, least=0)
    current = numeric("current_load", current_load, least=0)
    f = numeric("frequency", frequency, above=0, infinity=True)
    c = numeric("capacitance", capacitance, above=0)
    pulses = _PULSES[one_of("rectifier", rectifier, tuple(_PULSES))]
    return _reservoir(peak, peak, current, np.asarray(pulses * f * c))
