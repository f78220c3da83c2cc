"""Small-signal stages of one field-effect transistor, JFET or MOSFET.

Resistances that are not there: load and output resistance inf, source 0.
"""

from __future__ import annotations

import numpy as np

from pedalcalc._base import formula, parallel
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, ZeroToInfinity
from pedalcalc.stage._stage import Stage, stage

__all__ = ["common_source", "source_follower"]


@formula
def common_source(
    transconductance: AboveZero,
    *,
    resistance_drain: ZeroToInfinity,
    resistance_source_pin: ZeroToInfinity = 0.0,
    resistance_load: ZeroToInfinity = np.inf,
    resistance_bias: ZeroToInfinity = np.inf,
    resistance_generator: ZeroToInfinity = 0.0,
    resistance_transistor: AboveZeroToInfinity = np.inf,
) -> Stage:
    """Find gain and impedances of a common-source stage.

    Parameters
    ----------
    transconductance : array_like
        gm [S], above 0.
    resistance_drain : array_like
        Drain resistor [Ω], 0 to inf.
    resistance_source_pin : array_like
        Source resistor without bypass [Ω], 0 to inf; 0 (all bypassed) if not given.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_bias : array_like
        Gate resistors in parallel [Ω], 0 to inf; none if not given.
    resistance_generator : array_like
        Resistance of the signal source [Ω], 0 to inf; none if not given.
    resistance_transistor : array_like
        Output resistance of the transistor, 1/yos [Ω], above 0 to inf; ignored if not given.

    Returns
    -------
    Stage
        Gain [1], gate, input and output impedance [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    A = -gm R/(1 + gm RS + (R + RS)/rd), R = RD || RL; Zout = RD || (rd + RS (1 + gm rd)).

    References
    ----------
    FLOYD-DEVICES, ex. 8.3; BOYLESTAD-NASHELSKY, ex. 8.7; DERIVED, with rd and RS.

    Examples
    --------
    >>> round(common_source(4e-3, resistance_drain=1.5e3, resistance_source_pin=560.0).gain, 2)
    1.85
    """
    g, r_o, r_d, r_s = transconductance, resistance_transistor, resistance_drain, resistance_source_pin
    with np.errstate(divide="ignore", invalid="ignore"):
        load = parallel(r_d, resistance_load)
        # Divided by the load so that an open one gives the transistor's own gain.
        gain = -g / ((1 + g * r_s + r_s / r_o) / load + 1 / r_o)
        gain = np.where(load == 0, 0.0, np.where(np.isinf(r_s), 0.0, gain))
        z_out = parallel(r_d, np.where(np.isinf(r_o), np.inf, r_o + r_s * (1 + g * r_o)))
    gain = np.where(np.isnan(load) | np.isnan(r_s) | np.isnan(g) | np.isnan(r_o), np.nan, gain)
    return stage(gain, np.full_like(gain, np.inf), resistance_bias, z_out, resistance_generator)


@formula
def source_follower(
    transconductance: AboveZero,
    *,
    resistance_source_pin: ZeroToInfinity,
    resistance_load: ZeroToInfinity = np.inf,
    resistance_bias: ZeroToInfinity = np.inf,
    resistance_generator: ZeroToInfinity = 0.0,
    resistance_transistor: AboveZeroToInfinity = np.inf,
) -> Stage:
    """Find gain and impedances of a source follower.

    Parameters
    ----------
    transconductance : array_like
        gm [S], above 0.
    resistance_source_pin : array_like
        Source resistor [Ω], 0 to inf.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_bias : array_like
        Gate resistors in parallel [Ω], 0 to inf; none if not given.
    resistance_generator : array_like
        Resistance of the signal source [Ω], 0 to inf; none if not given.
    resistance_transistor : array_like
        Output resistance of the transistor, 1/yos [Ω], above 0 to inf; ignored if not given.

    Returns
    -------
    Stage
        Gain [1], gate, input and output impedance [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    A = gm R/(1 + gm R), R = RS || RL || rd; Zout = RS || rd || 1/gm.

    References
    ----------
    MALVINO-BATES, ch. 14, source follower; DERIVED.

    Examples
    --------
    >>> follower = source_follower(2e-3, resistance_source_pin=1e3)
    >>> round(follower.gain, 4), round(follower.impedance_output)
    (0.6667, 333)
    """
    g, r_o, r_s = transconductance, resistance_transistor, resistance_source_pin
    load = parallel(r_s, resistance_load, r_o)
    with np.errstate(divide="ignore"):
        gain = np.asarray(1 / (1 + 1 / (g * load)))
    z_gate, z_out = np.full_like(gain, np.inf), parallel(r_s, r_o, 1 / g)
    return stage(gain, z_gate, resistance_bias, z_out, resistance_generator)
