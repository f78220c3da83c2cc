"""How the held voltage falls when the signal has gone, leakages included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AnyNumber, AtLeastZero, ZeroToInfinity
from pedalcalc._result import Caution, Number, Result, caution_above, quantity
from pedalcalc.sidechain._detector import inverse

LEAKAGE_SHARE = 0.1  # of the release current, beyond which leakage sets the release


@dataclass(frozen=True, slots=True, eq=False)
class Droop(Result):
    """Result of `hold_droop`; every field but `cautions` has the broadcast shape of the inputs."""

    voltage: Number = quantity("V", "voltage left")
    voltage_lost: Number = quantity("V", "voltage lost")
    time_constant: Number = quantity("s", "release time constant")
    current_release: Number = quantity("A", "release current at the start")
    current_away: Number = quantity("A", "leakages together")
    leakage_ratio: Number = quantity("1", "leakage over release current", percent=True)
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def hold_droop(
    time: AtLeastZero,
    *,
    voltage_hold: AtLeastZero,
    capacitance_hold: AboveZero,
    resistance_release: ZeroToInfinity,
    resistance_load: ZeroToInfinity = np.inf,
    current_capacitor: AtLeastZero = 0.0,
    current_diode: AtLeastZero = 0.0,
    current_bias: AnyNumber = 0.0,
) -> Droop:
    """Find what is left of a held voltage a while after the signal has stopped.

    Parameters
    ----------
    time : array_like
        Time since the signal stopped [s], at least 0.
    voltage_hold : array_like
        Held voltage at that moment [V], at least 0.
    capacitance_hold : array_like
        Hold capacitor [F], above 0.
    resistance_release : array_like
        Resistance R_r across the capacitor [Ω], 0 to infinity.
    resistance_load : array_like
        Further resistance to ground, such as a meter [Ω], 0 to infinity; open unless stated.
    current_capacitor : array_like
        Leakage of the capacitor [A], at least 0, such as `current_leakage` of `devices.capacitor`; none unless stated.
    current_diode : array_like
        Reverse current of the rectifier diode [A], at least 0; none unless stated.
    current_bias : array_like
        Input current of the op-amp that reads the capacitor [A], negative if it flows into the
        capacitor; none unless stated.

    Returns
    -------
    Droop
        Voltage left and lost, release time constant, the release current at the start, the leakages
        together, their ratio, and a caution where leakage exceeds a tenth of the release
        current. Leakage is constant until the capacitor is empty; the voltage does not go below 0.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    v = v_0 e^(−t/RC) − I R (1 − e^(−t/RC)), R = R_r || R_L; without any R, v = v_0 − I t/C.

    References
    ----------
    DERIVED: Kirchhoff's current law at the capacitor. PRACTICE: a tenth as the limit.

    Examples
    --------
    >>> droop = hold_droop(0.5, voltage_hold=2, capacitance_hold=1e-6, resistance_release=1e6, current_capacitor=3e-6)
    >>> print(f"{droop.voltage:.3f} V left; leakage is {droop.leakage_ratio:.1f} times the release current")
    0.033 V left; leakage is 1.5 times the release current
    """
    hold, capacitance = voltage_hold, capacitance_hold
    conductance = inverse(resistance_release) + inverse(resistance_load)
    away = current_capacitor + current_diode + current_bias
    with np.errstate(divide="ignore", invalid="ignore", under="ignore", over="ignore"):
        tau = capacitance / conductance
        elapsed = np.where(time == 0, 0.0, time * conductance / capacitance)
        reached = np.where(elapsed == 0, 1.0, -np.expm1(-elapsed) / elapsed)
        voltage = hold * np.exp(-elapsed) - away * time / capacitance * reached
        drawn = np.where(hold == 0, 0.0, hold * conductance)
        ratio = np.where(away == 0, 0.0, away / drawn + 0.0)  # never -0
    unknown = np.isnan(time + hold + capacitance + conductance + away)
    voltage = np.where(unknown, np.nan, np.where(voltage < 0, 0.0, voltage))
    ratio = np.where(np.isnan(away + drawn), np.nan, ratio)
    cautions = caution_above(
        "leakage out of the hold capacitor over the release current",
        "use a film capacitor, a low-leakage diode or a FET-input op-amp, or a larger capacitor with a smaller "
        "release resistance",
        np.abs(ratio),
        LEAKAGE_SHARE,
        "%",
    )
    return Droop(
        voltage=voltage,
        voltage_lost=hold - voltage,
        time_constant=tau,
        current_release=drawn,
        current_away=away,
        leakage_ratio=ratio,
        cautions=cautions,
    )
