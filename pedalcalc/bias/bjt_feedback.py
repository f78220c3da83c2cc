"""Small signals of the collector-feedback stage, and the two current gains of one transistor."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula, numeric, parallel, resistance, scalar
from pedalcalc.bias._points import checked_gain
from pedalcalc.bias.stage import Stage, stage

__all__ = ["collector_feedback_stage", "common_base_current_gain", "common_emitter_current_gain"]


@formula
def collector_feedback_stage(
    *,
    transconductance: ArrayLike,
    resistance_base_emitter: ArrayLike,
    resistance_feedback: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_load: ArrayLike = np.inf,
    resistance_source: ArrayLike = 0.0,
    resistance_transistor: ArrayLike = np.inf,
) -> Stage:
    """Find gain and impedances of a common-emitter stage with a resistor from collector to base.

    Emitter at ground. The resistor feeds back signal as well as bias, so the
    input impedance is low and the gain from a source depends on its resistance.

    Parameters
    ----------
    transconductance : array_like
        gm [S], above 0.
    resistance_base_emitter : array_like
        rπ [Ω], above 0; inf is a FET, whose gate takes no current.
    resistance_feedback : array_like
        Resistor from collector to base [Ω], above 0 to inf.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_source : array_like
        Source resistance [Ω], 0 to inf; none if not given.
    resistance_transistor : array_like
        Output resistance ro of the transistor [Ω], above 0 to inf; ignored if not given.

    Returns
    -------
    Stage
        Gain [1], input and output impedance [Ω]; `impedance_device` is the base without the feedback
        resistor, the output impedance includes what the source resistance makes of the feedback.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    A = (1/RF - gm)(RC || RL || ro || RF); Zin = rπ || RF/(1 - A);
    Zout = RC || ro || (RF + Rs')/(1 + gm Rs'), Rs' = Rsrc || rπ. Texts shorten this to
    A = -RC/re, Zin = re/(1/beta + RC/RF), Zout = RC || RF.

    References
    ----------
    BOYLESTAD-NASHELSKY, ch. 5, collector feedback; DERIVED, Kirchhoff's current law at base and collector.

    Examples
    --------
    >>> amp = collector_feedback_stage(transconductance=0.0385, resistance_base_emitter=7.5e3,
    ...                                resistance_feedback=470e3, resistance_collector=4.7e3)
    >>> round(amp.gain_signed), round(amp.impedance_input)
    (-179, 1936)
    """
    g = numeric("transconductance", transconductance, above=0)
    r_pi = numeric("resistance_base_emitter", resistance_base_emitter, above=0, infinity=True)
    r_f = numeric("resistance_feedback", resistance_feedback, above=0, infinity=True)
    r_c = resistance("resistance_collector", resistance_collector)
    r_o = numeric("resistance_transistor", resistance_transistor, above=0, infinity=True)
    source = resistance("resistance_source", resistance_source)
    load = parallel(r_c, resistance("resistance_load", resistance_load), r_o, r_f)
    with np.errstate(divide="ignore", invalid="ignore"):
        # Nothing at all at the collector: the feedback resistor is then the only load.
        gain = np.where(np.isinf(load), -np.inf, (1 / r_f - g) * load)
        fed_back = np.where(np.isinf(r_f), np.inf, r_f / (1 - gain))
        drive = parallel(source, r_pi)
        back = np.where(np.isinf(r_f), np.inf, np.where(np.isinf(drive), 1 / g, (r_f + drive) / (1 + g * drive)))
    z_out = parallel(r_c, r_o, back)
    missing = np.isnan(g) | np.isnan(r_f) | np.isnan(load)
    gain, fed_back = np.where(missing, np.nan, gain), np.where(missing, np.nan, fed_back)
    return stage(gain, np.broadcast_arrays(r_pi, gain)[0] + 0.0, fed_back, z_out, source)


@formula
def common_base_current_gain(current_gain: ArrayLike) -> Number:
    """Find alpha, collector over emitter current, from beta.

    Parameters
    ----------
    current_gain : array_like
        Current gain beta [1], above 0, or inf.

    Returns
    -------
    float or ndarray
        alpha [1], below 1; 1 for an infinite beta.

    Raises
    ------
    ValueError
        If the gain is not above 0.

    Notes
    -----
    alpha = beta/(beta + 1).

    References
    ----------
    KUPHALDT-3, ch. 4, the common-base amplifier.

    Examples
    --------
    >>> round(common_base_current_gain(100), 4)
    0.9901
    """
    return scalar(1 / (1 + 1 / checked_gain(current_gain)))  # type: ignore[no-any-return]


@formula
def common_emitter_current_gain(current_gain_common_base: ArrayLike) -> Number:
    """Find beta, collector over base current, from alpha.

    Parameters
    ----------
    current_gain_common_base : array_like
        Current gain alpha [1], above 0 and at most 1.

    Returns
    -------
    float or ndarray
        beta [1]; inf for an alpha of 1.

    Raises
    ------
    ValueError
        If alpha is not above 0 or exceeds 1.

    Notes
    -----
    beta = alpha/(1 - alpha).

    References
    ----------
    KUPHALDT-3, ch. 4, the common-base amplifier.

    Examples
    --------
    >>> round(common_emitter_current_gain(0.99), 6)
    99.0
    """
    alpha = numeric("current_gain_common_base", current_gain_common_base, above=0, most=1)
    with np.errstate(divide="ignore"):
        return scalar(alpha / (1 - alpha))  # type: ignore[no-any-return]
