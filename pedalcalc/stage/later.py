"""Stages of other shapes, which a solver for whole circuits will answer one day."""

from __future__ import annotations

import numpy as np

from pedalcalc._base import formula, parallel
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, ZeroToInfinity
from pedalcalc.stage._stage import Stage, bipolar, stage

__all__ = ["collector_feedback_stage", "common_base", "common_gate"]


@formula
def common_base(
    *,
    transconductance: AboveZero,
    resistance_base_emitter: AboveZeroToInfinity,
    resistance_collector: ZeroToInfinity,
    resistance_emitter: ZeroToInfinity = np.inf,
    resistance_load: ZeroToInfinity = np.inf,
    resistance_generator: ZeroToInfinity = 0.0,
) -> Stage:
    """Find gain and impedances of a common-base stage, its base held still.

    Parameters
    ----------
    transconductance : array_like
        gm [S], above 0.
    resistance_base_emitter : array_like
        rπ [Ω], above 0; inf ignores the base current.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf; none (a current source) if not given.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_generator : array_like
        Resistance of the generator or of the stage before [Ω], 0 to inf; none if not given.

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
    A = gm (RC || RL); Zin = re || RE, re = 1/(gm + 1/rπ).

    References
    ----------
    FLOYD-DEVICES, ex. 6.11.

    Examples
    --------
    >>> base = common_base(transconductance=1 / 23.48, resistance_base_emitter=float("inf"), resistance_collector=2.2e3,
    ...                    resistance_load=10e3)
    >>> round(base.gain_signed, 1)
    76.8
    """
    _, _, dynamic = bipolar(transconductance, resistance_base_emitter)
    gain = np.asarray(transconductance * parallel(resistance_collector, resistance_load))
    return stage(gain, dynamic, resistance_emitter, resistance_collector, resistance_generator)


@formula
def common_gate(
    transconductance: AboveZero,
    *,
    resistance_drain: ZeroToInfinity,
    resistance_source_pin: ZeroToInfinity = np.inf,
    resistance_load: ZeroToInfinity = np.inf,
    resistance_generator: ZeroToInfinity = 0.0,
    resistance_transistor: AboveZeroToInfinity = np.inf,
) -> Stage:
    """Find gain and impedances of a common-gate stage.

    Parameters
    ----------
    transconductance : array_like
        gm [S], above 0.
    resistance_drain : array_like
        Drain resistor [Ω], 0 to inf.
    resistance_source_pin : array_like
        Source resistor [Ω], 0 to inf; none (a current source) if not given.
    resistance_load : array_like
        Load [Ω], 0 to inf; none if not given.
    resistance_generator : array_like
        Resistance of the signal source [Ω], 0 to inf; none if not given.
    resistance_transistor : array_like
        Output resistance of the transistor, 1/yos [Ω], above 0 to inf; ignored if not given.

    Returns
    -------
    Stage
        Gain [1], source, input and output impedance [Ω]; the output impedance for an input held still.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    A = (gm + 1/rd)(R || rd), R = RD || RL; Zsource = (1 + R/rd)/(gm + 1/rd).

    References
    ----------
    DERIVED, Kirchhoff's laws.

    Examples
    --------
    >>> gate = common_gate(4e-3, resistance_drain=2.2e3)
    >>> round(gate.gain, 2), round(gate.impedance_input)
    (8.8, 250)
    """
    g, r_o, r_d = transconductance, resistance_transistor, resistance_drain
    load = parallel(r_d, resistance_load)
    g_total = g + 1 / r_o
    with np.errstate(invalid="ignore"):
        device = np.where(
            np.isinf(r_o), 1 / g_total + 0 * np.where(np.isinf(load), 0.0, load), (1 + load / r_o) / g_total
        )
    gain, z_out = np.asarray(g_total * parallel(load, r_o)), parallel(r_d, r_o)
    return stage(gain, device, resistance_source_pin, z_out, resistance_generator)


@formula
def collector_feedback_stage(
    *,
    transconductance: AboveZero,
    resistance_base_emitter: AboveZeroToInfinity,
    resistance_feedback: AboveZeroToInfinity,
    resistance_collector: ZeroToInfinity,
    resistance_load: ZeroToInfinity = np.inf,
    resistance_generator: ZeroToInfinity = 0.0,
    resistance_transistor: AboveZeroToInfinity = np.inf,
) -> Stage:
    """Find gain and impedances of a common-emitter stage with a resistor from collector to base.

    Emitter at ground. The resistor feeds back signal as well as bias, so the
    input impedance is low and the gain from a generator depends on its resistance.

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
    resistance_generator : array_like
        Resistance of the generator or of the stage before [Ω], 0 to inf; none if not given.
    resistance_transistor : array_like
        Output resistance ro of the transistor [Ω], above 0 to inf; ignored if not given.

    Returns
    -------
    Stage
        Gain [1], input and output impedance [Ω]; `impedance_device` is the base without the feedback
        resistor, the output impedance includes what the generator's resistance makes of the feedback.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    A = (1/RF - gm)(RC || RL || ro || RF); Zin = rπ || RF/(1 - A);
    Zout = RC || ro || (RF + Rs')/(1 + gm Rs'), Rs' = Rgen || rπ. Texts shorten this to
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
    g, r_pi, r_f = transconductance, resistance_base_emitter, resistance_feedback
    r_c, r_o, generator = resistance_collector, resistance_transistor, resistance_generator
    load = parallel(r_c, resistance_load, r_o, r_f)
    with np.errstate(divide="ignore", invalid="ignore"):
        # Nothing at all at the collector: the feedback resistor is then the only load.
        gain = np.where(np.isinf(load), -np.inf, (1 / r_f - g) * load)
        fed_back = np.where(np.isinf(r_f), np.inf, r_f / (1 - gain))
        drive = parallel(generator, r_pi)
        back = np.where(np.isinf(r_f), np.inf, np.where(np.isinf(drive), 1 / g, (r_f + drive) / (1 + g * drive)))
    z_out = parallel(r_c, r_o, back)
    missing = np.isnan(g) | np.isnan(r_f) | np.isnan(load)
    gain, fed_back = np.where(missing, np.nan, gain), np.where(missing, np.nan, fed_back)
    return stage(gain, r_pi, fed_back, z_out, generator)
