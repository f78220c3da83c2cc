"""Small-signal stages of one bipolar transistor by the hybrid-pi model: gm, rπ and ro."""

from __future__ import annotations

import numpy as np

from pedalcalc._base import formula, parallel
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, ZeroToInfinity
from pedalcalc.stage._stage import Array, Stage, bipolar, stage

__all__ = ["common_emitter", "emitter_follower"]


@formula
def common_emitter(
    *,
    transconductance: AboveZero,
    resistance_base_emitter: AboveZeroToInfinity,
    resistance_collector: ZeroToInfinity,
    resistance_emitter: ZeroToInfinity = 0.0,
    resistance_load: ZeroToInfinity = np.inf,
    resistance_bias: ZeroToInfinity = np.inf,
    resistance_generator: ZeroToInfinity = 0.0,
    resistance_transistor: AboveZeroToInfinity = np.inf,
) -> Stage:
    """Find gain and impedances of a common-emitter stage.

    Parameters
    ----------
    transconductance : array_like
        gm [S], above 0.
    resistance_base_emitter : array_like
        rπ [Ω], above 0; inf ignores the base current.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor without bypass [Ω], 0 to inf; 0 (all bypassed) if not given.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_bias : array_like
        Base resistors in parallel [Ω], 0 to inf; none if not given.
    resistance_generator : array_like
        Resistance of the generator or of the stage before [Ω], 0 to inf; none if not given.
    resistance_transistor : array_like
        Output resistance ro of the transistor [Ω], above 0 to inf; ignored if not given.

    Returns
    -------
    Stage
        Gain [1], base, input and output impedance [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    beta = gm rπ; where a text gives the emitter resistance re = VT/IE and no base current, gm = 1/re and rπ is inf.
    Zbase = rπ + RE ((beta + 1) + R/ro)/(1 + (R + RE)/ro) with
    R = RC || RL, and A = (R || ro)(-beta/Zbase + (1 - rπ/Zbase)/ro).

    References
    ----------
    NEAMEN, ex. 4.1 and 4.4; BOYLESTAD-NASHELSKY, ex. 5.2, 5.3; FLOYD-DEVICES, ex. 6.5, 6.6; DERIVED, the general form.

    Examples
    --------
    >>> amp = common_emitter(transconductance=0.0365385, resistance_base_emitter=2736.8,
    ...     resistance_collector=6e3, resistance_bias=5.9e3, resistance_generator=500.0, resistance_transistor=105.26e3)
    >>> round(amp.gain_overall, 1)
    -163.6
    """
    alpha, b, dynamic = bipolar(transconductance, resistance_base_emitter)
    return _common_emitter(
        alpha,
        b,
        dynamic,
        resistance_emitter,
        resistance_collector,
        resistance_load,
        resistance_bias,
        resistance_generator,
        resistance_transistor,
    )


def _common_emitter(
    alpha: Array,
    b: Array,
    dynamic: Array,
    r_e: Array,
    r_c: Array,
    r_l: Array,
    bias: Array,
    generator: Array,
    r_o: Array,
) -> Stage:
    """Solve the stage with base impedance b per ohm of emitter and collector current alpha of emitter's.

    Everything is divided by b, so that an infinite gain stays legal.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        load = parallel(r_c, r_l)
        g_o = 1 / r_o
        no_o = np.isinf(r_o)
        # Emitter resistance as the base sees it, over b; with ro the collector load shunts part of it,
        # and an open emitter still has the way through ro into the load.
        lift = np.where(no_o, 1.0, (1 + load * g_o / b) / (1 + (load + r_e) * g_o))
        lift = np.where(np.isinf(load) & ~no_o, 1 / b, lift)
        seen = np.where(r_e == 0, 0.0, r_e * lift)
        seen = np.where(np.isinf(r_e), r_o + np.where(np.isinf(load), np.inf, load / b), seen)
        per_b = dynamic + seen
        z_base = b * per_b
        output = np.where(no_o, load, parallel(load, r_o))
        followed = np.where(np.isinf(dynamic), 0.0, np.where(np.isinf(seen), 1.0, seen / per_b))
        feed = np.where(no_o, 0.0, followed * g_o)
        driven = feed - np.where(np.isinf(per_b), 0.0, alpha / per_b)
        gain = np.where(driven == 0, 0.0, output * driven)  # an open emitter drives nothing, into an open circuit too
        # Looking back into the collector: ro raised by the emitter resistor's feedback.
        drive = as_seen_by_emitter(parallel(bias, generator), b)
        behind = np.where(dynamic == 0, 0.0, b * dynamic) + parallel(bias, generator)
        shunt = np.where(r_e == 0, 0.0, parallel(r_e, behind))
        z_c = np.where(no_o, np.inf, r_o * (1 + _raise(alpha, dynamic, drive, r_e, b)) + shunt)
        z_out = parallel(r_c, z_c)
    missing = np.isnan(alpha + b + dynamic) | np.isnan(r_e) | np.isnan(load) | np.isnan(r_o)
    gain = np.where(missing, np.nan, gain)
    return stage(gain, z_base, bias, z_out, generator)


def _raise(alpha: Array, dynamic: Array, drive: Array, r_e: Array, b: Array) -> Array:
    """Return beta RE/(rπ + RE + Rdrive) with all of it divided by b."""
    cut = np.isinf(dynamic + drive)  # no base current at all: nothing raises ro
    return np.asarray(np.where((r_e == 0) | cut, 0.0, alpha / (1 / b + (dynamic + drive) / r_e)))


def as_seen_by_emitter(at_base: Array, b: Array) -> Array:
    """Return what a resistance at the base is at the emitter; an open base stays open at any gain."""
    return np.where(np.isinf(at_base), np.inf, at_base / b)


@formula
def emitter_follower(
    *,
    transconductance: AboveZero,
    resistance_base_emitter: AboveZeroToInfinity,
    resistance_emitter: ZeroToInfinity,
    resistance_load: ZeroToInfinity = np.inf,
    resistance_bias: ZeroToInfinity = np.inf,
    resistance_generator: ZeroToInfinity = 0.0,
    resistance_transistor: AboveZeroToInfinity = np.inf,
) -> Stage:
    """Find gain and impedances of an emitter follower.

    Parameters
    ----------
    transconductance : array_like
        gm [S], above 0.
    resistance_base_emitter : array_like
        rπ [Ω], above 0; inf ignores the base current.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_bias : array_like
        Base resistors in parallel [Ω], 0 to inf; none if not given.
    resistance_generator : array_like
        Resistance of the generator or of the stage before [Ω], 0 to inf; none if not given.
    resistance_transistor : array_like
        Output resistance ro of the transistor [Ω], above 0 to inf; ignored if not given.

    Returns
    -------
    Stage
        Gain [1], base, input and output impedance [Ω]; the output impedance without the load.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    A = R/(re + R), re = rπ/b, b = gm rπ + 1, R = RE || RL || ro; Zbase = b (re + R); Zout = RE || ro || (re + (Rbias || Rgen)/b).
    The collector stands still for signals, so ro lies in parallel with RE.

    References
    ----------
    MALVINO-BATES, ex. 11-1, 11-3, 11-5.

    Examples
    --------
    >>> follower = emitter_follower(transconductance=0.04, resistance_base_emitter=5e3, resistance_emitter=4.3e3,
    ...                             resistance_load=10e3, resistance_bias=5e3)
    >>> round(follower.gain_signed, 4), round(follower.impedance_input)
    (0.9918, 4959)
    """
    _, b, dynamic = bipolar(transconductance, resistance_base_emitter)
    r_e = parallel(resistance_emitter, resistance_transistor)
    load = parallel(r_e, resistance_load)
    bias, generator = resistance_bias, resistance_generator
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(load == 0, 0.0, 1 / (1 + dynamic / load))
        z_base = b * (dynamic + load)
        z_out = parallel(r_e, dynamic + as_seen_by_emitter(parallel(bias, generator), b))
    missing = np.isnan(dynamic) | np.isnan(load)
    return stage(np.where(missing, np.nan, gain), z_base, bias, z_out, generator)
