"""Small-signal stages of one field-effect transistor, JFET or MOSFET.

Resistances that are not there: load and output resistance inf, source 0.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import formula, numeric, parallel, resistance
from pedalcalc.stage._stage import Array, Stage, stage

__all__ = ["common_source", "source_follower"]


def channel(transconductance: ArrayLike, resistance_transistor: ArrayLike) -> tuple[Array, Array]:
    return (
        numeric("transconductance", transconductance, above=0),
        numeric("resistance_transistor", resistance_transistor, above=0, infinity=True),
    )


@formula
def common_source(
    transconductance: ArrayLike,
    *,
    resistance_drain: ArrayLike,
    resistance_source_pin: ArrayLike = 0.0,
    resistance_load: ArrayLike = np.inf,
    resistance_bias: ArrayLike = np.inf,
    resistance_generator: ArrayLike = 0.0,
    resistance_transistor: ArrayLike = np.inf,
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
    g, r_o = channel(transconductance, resistance_transistor)
    r_d = resistance("resistance_drain", resistance_drain)
    r_s = resistance("resistance_source_pin", resistance_source_pin)
    r_l = resistance("resistance_load", resistance_load)
    with np.errstate(divide="ignore", invalid="ignore"):
        load = parallel(r_d, r_l)
        # Divided by the load so that an open one gives the transistor's own gain.
        gain = -g / ((1 + g * r_s + r_s / r_o) / load + 1 / r_o)
        gain = np.where(load == 0, 0.0, np.where(np.isinf(r_s), 0.0, gain))
        z_out = parallel(r_d, np.where(np.isinf(r_o), np.inf, r_o + r_s * (1 + g * r_o)))
    gain = np.where(np.isnan(load) | np.isnan(r_s) | np.isnan(g) | np.isnan(r_o), np.nan, gain)
    bias = resistance("resistance_bias", resistance_bias)
    return stage(
        gain, np.full_like(gain, np.inf), bias, z_out, resistance("resistance_generator", resistance_generator)
    )


@formula
def source_follower(
    transconductance: ArrayLike,
    *,
    resistance_source_pin: ArrayLike,
    resistance_load: ArrayLike = np.inf,
    resistance_bias: ArrayLike = np.inf,
    resistance_generator: ArrayLike = 0.0,
    resistance_transistor: ArrayLike = np.inf,
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
    g, r_o = channel(transconductance, resistance_transistor)
    r_s = resistance("resistance_source_pin", resistance_source_pin)
    load = parallel(r_s, resistance("resistance_load", resistance_load), r_o)
    with np.errstate(divide="ignore"):
        gain = np.asarray(1 / (1 + 1 / (g * load)))
    bias = resistance("resistance_bias", resistance_bias)
    source = resistance("resistance_generator", resistance_generator)
    return stage(gain, np.full_like(gain, np.inf), bias, parallel(r_s, r_o, 1 / g), source)
