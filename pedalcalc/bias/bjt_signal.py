"""Small-signal stages of one bipolar transistor.

The re model (emitter resistance re = VT/IE) and the hybrid-pi model (gm, rπ,
ro) of the same transistor. `convention` says whether the base sees emitter
resistances multiplied by beta + 1, exactly, or by beta, as many texts write.
Resistances that are not there: load and output resistance inf, source 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, fit_together, formula, numeric, parallel, quantity, resistance, scalar
from pedalcalc.bias._bjt_ruled import by_convention
from pedalcalc.bias._points import Array, checked_gain
from pedalcalc.bias.stage import Stage, stage
from pedalcalc.devices._law import VOLTAGE_THERMAL_300K

__all__ = [
    "HybridPi",
    "common_base",
    "common_emitter",
    "common_emitter_hybrid",
    "emitter_follower",
    "emitter_resistance",
    "hybrid_pi",
]


@dataclass(frozen=True, slots=True, eq=False)
class HybridPi(Result):
    """Hybrid-pi parameters."""

    transconductance: Number = quantity("S", "transconductance gm")
    resistance_base_emitter: Number = quantity("Ω", "base-emitter resistance rπ")
    resistance_transistor: Number = quantity("Ω", "output resistance ro")


@formula
def emitter_resistance(current_emitter: ArrayLike, *, voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K) -> Number:
    """Find the dynamic emitter resistance.

    Parameters
    ----------
    current_emitter : array_like
        Emitter current [A], 0 or more.
    voltage_thermal : array_like
        Thermal voltage kT/q [V], above 0; texts take 0.025 or 0.026.

    Returns
    -------
    float or ndarray
        re [Ω]; inf with no current.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    re = VT/IE.

    References
    ----------
    KUPHALDT-3, ch. 4, amplifier impedances.

    Examples
    --------
    >>> round(emitter_resistance(1e-3, voltage_thermal=0.026), 6)
    26.0
    """
    i_e = numeric("current_emitter", current_emitter, least=0)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    with np.errstate(divide="ignore"):
        return scalar(v_t / i_e)  # type: ignore[no-any-return]


@formula
def hybrid_pi(
    current_collector: ArrayLike,
    *,
    current_gain: ArrayLike,
    voltage_early: ArrayLike = np.inf,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> HybridPi:
    """Find the hybrid-pi parameters at a collector current.

    Parameters
    ----------
    current_collector : array_like
        Collector current [A], above 0.
    current_gain : array_like
        Current gain beta [1], above 0, or inf.
    voltage_early : array_like
        Early voltage [V], above 0; inf (no Early effect) if not given.
    voltage_thermal : array_like
        Thermal voltage kT/q [V], above 0.

    Returns
    -------
    HybridPi
        gm [S], rπ and ro [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    gm = IC/VT, rπ = beta VT/IC, ro = VA/IC.

    References
    ----------
    NEAMEN, ex. 4.1 and 4.4.

    Examples
    --------
    >>> round(hybrid_pi(1e-3, current_gain=100, voltage_thermal=0.026).resistance_base_emitter)
    2600
    """
    i_c = numeric("current_collector", current_collector, above=0)
    beta = checked_gain(current_gain)
    v_a = numeric("voltage_early", voltage_early, above=0, infinity=True)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    fit_together(current_collector=i_c, current_gain=beta, voltage_early=v_a, voltage_thermal=v_t)
    return HybridPi(scalar(i_c / v_t), scalar(beta * v_t / i_c), scalar(v_a / i_c))


@formula
def common_emitter(
    *,
    resistance_emitter_dynamic: ArrayLike,
    current_gain: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike = 0.0,
    resistance_load: ArrayLike = np.inf,
    resistance_bias: ArrayLike = np.inf,
    resistance_source: ArrayLike = 0.0,
    resistance_transistor: ArrayLike = np.inf,
    convention: str = "beta plus one",
) -> Stage:
    """Find gain and impedances of a common-emitter stage by the re model.

    Parameters
    ----------
    resistance_emitter_dynamic : array_like
        Emitter resistance re = VT/IE [Ω], 0 or more; 0 drops it as some texts do.
    current_gain : array_like
        Current gain beta [1], above 0; inf ignores the base current.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor without bypass [Ω], 0 to inf; 0 (all bypassed) if not given.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_bias : array_like
        Base resistors in parallel [Ω], 0 to inf; none if not given.
    resistance_source : array_like
        Source resistance [Ω], 0 to inf; none if not given.
    resistance_transistor : array_like
        Output resistance ro of the transistor [Ω], above 0 to inf; ignored if not given.
    convention : str
        `beta plus one` or `beta`.

    Returns
    -------
    Stage
        Gain [1], base, input and output impedance [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range, or re and the emitter resistor are both 0.

    Notes
    -----
    Without ro: A = -(RC || RL)/(re + RE) times beta/(beta + 1), Zbase =
    (beta + 1)(re + RE); the convention `beta` drops the ones. With ro and RE the
    four-node circuit is solved exactly.

    References
    ----------
    BOYLESTAD-NASHELSKY, ex. 5.2, 5.3; FLOYD-DEVICES, ex. 6.5, 6.6; DERIVED, with ro.

    Examples
    --------
    >>> bare = common_emitter(resistance_emitter_dynamic=6.58, current_gain=150, resistance_collector=1e3,
    ...                       convention="beta")
    >>> round(bare.gain_signed, 2)
    -151.98
    """
    _, b, alpha = by_convention(current_gain, convention)
    dynamic = numeric("resistance_emitter_dynamic", resistance_emitter_dynamic, least=0, infinity=True)
    r_e = resistance("resistance_emitter", resistance_emitter)
    if np.any((dynamic == 0) & (r_e == 0)):
        raise ValueError("resistance_emitter_dynamic and resistance_emitter must not both be 0: the gain has no limit")
    return _common_emitter(
        alpha,
        b,
        dynamic,
        r_e,
        resistance("resistance_collector", resistance_collector),
        resistance("resistance_load", resistance_load),
        resistance("resistance_bias", resistance_bias),
        resistance("resistance_source", resistance_source),
        numeric("resistance_transistor", resistance_transistor, above=0, infinity=True),
    )


@formula
def common_emitter_hybrid(
    *,
    transconductance: ArrayLike,
    resistance_base_emitter: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike = 0.0,
    resistance_load: ArrayLike = np.inf,
    resistance_bias: ArrayLike = np.inf,
    resistance_source: ArrayLike = 0.0,
    resistance_transistor: ArrayLike = np.inf,
) -> Stage:
    """Find gain and impedances of a common-emitter stage by the hybrid-pi model.

    Parameters
    ----------
    transconductance : array_like
        gm [S], above 0.
    resistance_base_emitter : array_like
        rπ [Ω], above 0, finite.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor without bypass [Ω], 0 to inf; 0 (all bypassed) if not given.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_bias : array_like
        Base resistors in parallel [Ω], 0 to inf; none if not given.
    resistance_source : array_like
        Source resistance [Ω], 0 to inf; none if not given.
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
    beta = gm rπ. Zbase = rπ + RE ((beta + 1) + R/ro)/(1 + (R + RE)/ro) with
    R = RC || RL, and A = (R || ro)(-beta/Zbase + (1 - rπ/Zbase)/ro).

    References
    ----------
    NEAMEN, ex. 4.1 and 4.4; DERIVED, the general form.

    Examples
    --------
    >>> stage = common_emitter_hybrid(transconductance=0.0365385, resistance_base_emitter=2736.8,
    ...     resistance_collector=6e3, resistance_bias=5.9e3, resistance_source=500.0, resistance_transistor=105.26e3)
    >>> round(stage.gain_overall, 1)
    -163.6
    """
    g_m = numeric("transconductance", transconductance, above=0)
    r_pi = numeric("resistance_base_emitter", resistance_base_emitter, above=0)
    b = g_m * r_pi + 1
    return _common_emitter(
        g_m * r_pi / b,
        b,
        r_pi / b,
        resistance("resistance_emitter", resistance_emitter),
        resistance("resistance_collector", resistance_collector),
        resistance("resistance_load", resistance_load),
        resistance("resistance_bias", resistance_bias),
        resistance("resistance_source", resistance_source),
        numeric("resistance_transistor", resistance_transistor, above=0, infinity=True),
    )


def _common_emitter(
    alpha: Array, b: Array, dynamic: Array, r_e: Array, r_c: Array, r_l: Array, bias: Array, source: Array, r_o: Array
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
        gain = output * (feed - np.where(np.isinf(per_b), 0.0, alpha / per_b))
        # Looking back into the collector: ro raised by the emitter resistor's feedback.
        drive = _as_seen_by_emitter(parallel(bias, source), b)
        behind = np.where(dynamic == 0, 0.0, b * dynamic) + parallel(bias, source)
        shunt = np.where(r_e == 0, 0.0, parallel(r_e, behind))
        z_c = np.where(no_o, np.inf, r_o * (1 + _raise(alpha, dynamic, drive, r_e, b)) + shunt)
        z_out = parallel(r_c, z_c)
    missing = np.isnan(alpha + b + dynamic) | np.isnan(r_e) | np.isnan(load) | np.isnan(r_o)
    gain = np.where(missing, np.nan, gain)
    return stage(gain, z_base, bias, z_out, source)


def _raise(alpha: Array, dynamic: Array, drive: Array, r_e: Array, b: Array) -> Array:
    """Return beta RE/(rπ + RE + Rdrive) with all of it divided by b."""
    cut = np.isinf(dynamic + drive)  # no base current at all: nothing raises ro
    return np.asarray(np.where((r_e == 0) | cut, 0.0, alpha / (1 / b + (dynamic + drive) / r_e)))


def _as_seen_by_emitter(at_base: Array, b: Array) -> Array:
    """Return what a resistance at the base is at the emitter; an open base stays open at any gain."""
    return np.where(np.isinf(at_base), np.inf, at_base / b)


@formula
def emitter_follower(
    *,
    resistance_emitter_dynamic: ArrayLike,
    current_gain: ArrayLike,
    resistance_emitter: ArrayLike,
    resistance_load: ArrayLike = np.inf,
    resistance_bias: ArrayLike = np.inf,
    resistance_source: ArrayLike = 0.0,
    resistance_transistor: ArrayLike = np.inf,
    convention: str = "beta plus one",
) -> Stage:
    """Find gain and impedances of an emitter follower.

    Parameters
    ----------
    resistance_emitter_dynamic : array_like
        Emitter resistance re = VT/IE [Ω], 0 or more; 0 drops it as some texts do.
    current_gain : array_like
        Current gain beta [1], above 0, or inf; of a Darlington pair the product of both.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_bias : array_like
        Base resistors in parallel [Ω], 0 to inf; none if not given.
    resistance_source : array_like
        Source resistance [Ω], 0 to inf; none if not given.
    resistance_transistor : array_like
        Output resistance ro of the transistor [Ω], above 0 to inf; ignored if not given.
    convention : str
        `beta plus one` or `beta`.

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
    A = R/(re + R), R = RE || RL || ro; Zbase = b (re + R); Zout = RE || ro || (re + (Rbias || Rsrc)/b).
    The collector stands still for signals, so ro lies in parallel with RE.

    References
    ----------
    MALVINO-BATES, ex. 11-1, 11-3, 11-5.

    Examples
    --------
    >>> follower = emitter_follower(resistance_emitter_dynamic=25.0, current_gain=200, resistance_emitter=4.3e3,
    ...                             resistance_load=10e3, resistance_bias=5e3, convention="beta")
    >>> round(follower.impedance_device), round(follower.impedance_input)
    (606399, 4959)
    """
    _, b, _ = by_convention(current_gain, convention)
    dynamic = numeric("resistance_emitter_dynamic", resistance_emitter_dynamic, least=0, infinity=True)
    r_o = numeric("resistance_transistor", resistance_transistor, above=0, infinity=True)
    r_e = parallel(resistance("resistance_emitter", resistance_emitter), r_o)
    load = parallel(r_e, resistance("resistance_load", resistance_load))
    bias, source = resistance("resistance_bias", resistance_bias), resistance("resistance_source", resistance_source)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(dynamic == 0, 1.0 + 0 * load * (dynamic > 0), 1 / (1 + dynamic / load))
        gain = np.where(load == 0, 0.0, gain)
        z_base = np.where(dynamic + load == 0, 0.0, b * (dynamic + load))
        z_out = parallel(r_e, dynamic + _as_seen_by_emitter(parallel(bias, source), b))
    missing = np.isnan(dynamic) | np.isnan(load)
    return stage(np.where(missing, np.nan, gain), z_base, bias, z_out, source)


@formula
def common_base(
    *,
    resistance_emitter_dynamic: ArrayLike,
    current_gain: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike = np.inf,
    resistance_load: ArrayLike = np.inf,
    resistance_source: ArrayLike = 0.0,
    convention: str = "beta plus one",
) -> Stage:
    """Find gain and impedances of a common-base stage, its base held still.

    Parameters
    ----------
    resistance_emitter_dynamic : array_like
        Emitter resistance re = VT/IE [Ω], above 0.
    current_gain : array_like
        Current gain beta [1], above 0, or inf.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf; none (a current source) if not given.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_source : array_like
        Source resistance [Ω], 0 to inf; none if not given.
    convention : str
        `beta plus one` or `beta`.

    Returns
    -------
    Stage
        Gain [1], emitter, input and output impedance [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    A = alpha (RC || RL)/re; Zin = re || RE.

    References
    ----------
    FLOYD-DEVICES, ex. 6.11.

    Examples
    --------
    >>> base = common_base(resistance_emitter_dynamic=23.48, current_gain=float("inf"), resistance_collector=2.2e3,
    ...                    resistance_load=10e3)
    >>> round(base.gain_signed, 1)
    76.8
    """
    _, _, alpha = by_convention(current_gain, convention)
    dynamic = numeric("resistance_emitter_dynamic", resistance_emitter_dynamic, above=0, infinity=True)
    r_c = resistance("resistance_collector", resistance_collector)
    load = parallel(r_c, resistance("resistance_load", resistance_load))
    r_e = resistance("resistance_emitter", resistance_emitter)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(np.isinf(dynamic), 0.0, alpha * load / dynamic)
    return stage(
        gain, dynamic, r_e, np.broadcast_arrays(r_c, gain)[0] + 0.0, resistance("resistance_source", resistance_source)
    )
