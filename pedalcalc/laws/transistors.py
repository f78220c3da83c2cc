"""Bipolar and field-effect transistors: terminal volts to terminal amperes and slopes, whichever way round they are wired.

Bipolar, the transport form of J. J. Ebers and J. L. Moll, in npn signs::

    e1 = Is (exp(Vbe/(n Vt)) - 1)      e2 = Is (exp(Vbc/(n Vt)) - 1)
    Ic = e1 - (1 + r) e2               Ib = e1/beta + r e2
    r  = 1/beta_reverse, in germanium Icbo/Is - 1/(beta + 1) where that is more

Icbo is by its definition what flows from collector to base with the emitter open, all of it: with Ib + Ic = 0 and
e2 = -Is the law gives Is (r + 1/(beta + 1)), and with the base open just (beta + 1) times as much.

Both junctions bring their series resistance along, so that they are straight at large drive. Field effect, the square
law of H. Shichman and D. A. Hodges in one expression that covers cut-off, constant current and the ohmic region::

    Id = k (max(Vgs - Vt, 0)² - max(Vgd - Vt, 0)²)

Swapping collector and emitter, or drain and source, gives what a part soldered in the wrong way round does. A pnp or
p-channel part is the same with all signs turned. Left out: the Early effect, and the rise of Id with the drain voltage.

For a solver: `bipolar_figures` or `channel_figures` once, then `bipolar_branch` or `channel_branch`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from pedalcalc._base import formula
from pedalcalc._figure import figure, known
from pedalcalc._ranges import TEMPERATURE_RECORD, AnyNumber, Kelvin
from pedalcalc._record import specimen
from pedalcalc._refusal import no_record
from pedalcalc._result import Array, Number, Result, quantity
from pedalcalc.devices import Bjt, Jfet, Mosfet
from pedalcalc.laws import junctions

#: Share of the collector current that the collector junction, not in full reverse, costs in a transistor called saturated.
LOSS_SATURATED = 0.05
#: Transport current [A] below which a bipolar transistor is called cut off.
CURRENT_CUT_OFF = 1e-8


@dataclass(frozen=True, slots=True, eq=False)
class BipolarBranch(Result):
    """Currents into the three terminals of a bipolar transistor, which sum to zero, and their slopes.

    The slopes are taken against the base-emitter and the base-collector voltage; those of the emitter current follow.
    """

    current_base: Number = quantity("A", "base current")
    current_collector: Number = quantity("A", "collector current")
    current_emitter: Number = quantity("A", "emitter current")
    transconductance: Number = quantity("S", "collector current against base-emitter voltage")
    transconductance_reverse: Number = quantity("S", "collector current against base-collector voltage")
    conductance_base_emitter: Number = quantity("S", "base current against base-emitter voltage")
    conductance_base_collector: Number = quantity("S", "base current against base-collector voltage")
    region: Any = quantity("text", "region")


@dataclass(frozen=True, slots=True, eq=False)
class ChannelBranch(Result):
    """Current into the drain of a field-effect transistor (out of its source), and its slopes against the three voltages.

    `conductance_source` counts how the current falls when the source is lifted: it is the sum of the other two.
    """

    current_drain: Number = quantity("A", "drain current")
    transconductance: Number = quantity("S", "drain current against gate voltage")
    conductance_drain: Number = quantity("S", "drain current against drain voltage")
    conductance_source: Number = quantity("S", "drain current against falling source voltage")
    transconductance_zero_bias: Number = quantity("S", "transconductance with gate and source joined")
    region: Any = quantity("text", "region")


class BipolarFigures(NamedTuple):
    """One bipolar transistor at one temperature; `sign` is -1 for a pnp, `back` is r of the collector junction."""

    junction: junctions.Figures
    gain: Array
    back: Array
    sign: float


class ChannelFigures(NamedTuple):
    """One field-effect transistor: k [A/V²], cut-off or threshold voltage [V] in n-channel signs, sign -1 for p."""

    strength: Array
    threshold: Array
    sign: float


def leakage(record: Bjt, temperature: Array) -> Array:
    """Return the collector-base leakage Icbo [A]; only germanium's is worth counting."""
    at_300k = figure(record, "current_collector_base_leakage")
    if np.all(temperature == TEMPERATURE_RECORD):
        return at_300k + 0.0 * temperature
    step = known(record, "temperature_doubling", "another temperature than 300 K")
    return np.asarray(at_300k * np.exp2((temperature - TEMPERATURE_RECORD) / step))


def bipolar_figures(record: Bjt, temperature: Array) -> BipolarFigures:
    """Return the numbers of a specimen at a checked temperature."""
    junction = junctions.figures(record, temperature)
    gain, back = figure(record, "current_gain"), 1 / figure(record, "current_gain_reverse")
    if record.material == "germanium":
        back = np.maximum(back, leakage(record, temperature) / junction.saturation - 1 / (gain + 1))
    return BipolarFigures(junction, gain, back, 1.0 if record.polarity == "npn" else -1.0)


def bipolar_branch(
    base_emitter: Array, base_collector: Array, law: BipolarFigures
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Return Ib and Ic [A] into the terminals, then dIb/dVbe, dIb/dVbc, dIc/dVbe and dIc/dVbc [S]."""
    e1, g1 = junctions.branch(law.sign * base_emitter, law.junction)
    e2, g2 = junctions.branch(law.sign * base_collector, law.junction)
    ib, ic = e1 / law.gain + law.back * e2, e1 - (1 + law.back) * e2
    return law.sign * ib, law.sign * ic, g1 / law.gain, law.back * g2, g1, -(1 + law.back) * g2


def loss(back: Array, gain: Array) -> Array:
    """Return what an ampere of e2 + Is costs, by `saturates`: what the collector and, amplified, the base lose."""
    amplified = np.where(np.isinf(gain), 0.0, (1 - LOSS_SATURATED) * gain)
    return np.asarray(1 + back + amplified * back)


def saturates(e1: Array, e2: Array, back: Array, gain: Array, i_s: Array) -> Any:
    """Return where the collector current falls short of what it would be with the collector junction in full reverse.

    At the same base current that is e1 + beta r (e2 + Is) + (1 + r) Is. In silicon Is is nothing; germanium's leakage
    saturates a transistor with the base open, where e2 is never above 0.
    """
    with np.errstate(over="ignore"):
        return (e2 + i_s) * loss(back, gain) > LOSS_SATURATED * (e1 + (1 + back) * i_s)


def channel_figures(record: Jfet | Mosfet) -> ChannelFigures:
    """Return the numbers of a specimen; a MOSFET without K takes it from its on-resistance."""
    sign = 1.0 if record.polarity == "n" else -1.0
    if isinstance(record, Jfet):
        off = sign * figure(record, "voltage_gate_source_off")
        return ChannelFigures(figure(record, "current_drain_zero_bias") / off**2, off, sign)
    threshold = figure(record, "voltage_threshold")
    strength = figure(record, "transconductance_parameter")
    if np.all(np.isnan(strength)):
        on = known(record, "resistance_on", "its channel (or K)") * (figure(record, "voltage_gate_on") - threshold)
        strength = 1 / (2 * on)
    return ChannelFigures(strength, threshold, sign)


def channel_of(fet: Any) -> ChannelFigures:
    """Return the law of one JFET or MOSFET in n-channel signs; refuse a type, and what is neither."""
    if not isinstance(fet, (Jfet, Mosfet)):
        raise no_record("fet", fet, Jfet, Mosfet)
    return channel_figures(specimen("fet", fet, type(fet)))


def channel_branch(gate_source: Array, gate_drain: Array, law: ChannelFigures) -> tuple[Array, Array, Array]:
    """Return Id [A] into the drain, then dId/dVgs and -dId/dVgd [S]; both are at least 0."""
    source_end = np.maximum(law.sign * gate_source - law.threshold, 0.0)
    drain_end = np.maximum(law.sign * gate_drain - law.threshold, 0.0)
    return (
        law.sign * law.strength * (source_end - drain_end) * (source_end + drain_end),
        2 * law.strength * source_end,
        2 * law.strength * drain_end,
    )


@formula
def bipolar(
    *,
    voltage_base: AnyNumber,
    voltage_collector: AnyNumber,
    voltage_emitter: AnyNumber,
    transistor: Bjt,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> BipolarBranch:
    """Find the currents of a bipolar transistor, with their slopes, from its terminal voltages.

    Parameters
    ----------
    voltage_base : array_like
        Base to ground [V], any sign.
    voltage_collector : array_like
        Collector to ground [V], any sign.
    voltage_emitter : array_like
        Emitter to ground [V], any sign.
    transistor : Bjt
        One part (`devices.typical` makes one of a type), npn or pnp.
    temperature : array_like
        Absolute temperature of the junctions [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    BipolarBranch
        Currents into base, collector and emitter [A] (out of them negative, as a pnp's collector current), slopes [S],
        and `region`: active, saturated, reverse, or cut off.

    Raises
    ------
    ValueError
        If an argument is outside its range, or the record lacks what another temperature needs.
    TypeError
        If `transistor` is not a bipolar record, or is a type.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    With e1 and e2 the junction law of Vbe and Vbc: Ic = e1 - (1 + r) e2, Ib = e1/beta + r e2,
    r = 1/beta_reverse, in germanium Icbo/Is - 1/(beta + 1) where that is more: Icbo flows with the emitter open,
    (beta + 1) Icbo with the base open. Saturated: the collector current is 5 % or more below that of a collector
    junction in full reverse at the same base current.
    `transconductance_reverse` is negative. The Early effect is left out.

    References
    ----------
    EBERS-MOLL, the two junctions and the transport current; DERIVED, the slopes.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> part = replace(devices.typical(devices.BJT_2N3904), current_gain=150.0)
    >>> active = bipolar(voltage_base=1.65, voltage_collector=5.0, voltage_emitter=1.0, transistor=part)
    >>> print(f"{active.current_collector * 1e3:.2f} mA, {active.transconductance * 1e3:.0f} mS, {active.region}")
    0.92 mA, 36 mS, active

    The same part with collector and emitter swapped:

    >>> swapped = bipolar(voltage_base=1.65, voltage_collector=1.0, voltage_emitter=5.0, transistor=part)
    >>> print(f"gain {-swapped.current_emitter / swapped.current_base + 0.0:.1f}, {swapped.region}")
    gain -4.0, reverse
    """
    across, back = voltage_base - voltage_emitter, voltage_base - voltage_collector
    law = bipolar_figures(specimen("transistor", transistor, Bjt), temperature)
    ib, ic, b_be, b_bc, c_be, c_bc = bipolar_branch(across, back, law)
    e1, e2 = (junctions.branch(law.sign * volts, law.junction)[0] for volts in (across, back))
    region = np.full(np.shape(ib), "active", dtype="<U9")
    region[np.maximum(e1, e2) < CURRENT_CUT_OFF] = "cut off"
    region[(e2 > e1) & (e2 >= CURRENT_CUT_OFF)] = "reverse"
    taken = saturates(e1, e2, law.back, law.gain, law.junction.saturation)
    saturated = (e1 >= e2) & (e1 >= CURRENT_CUT_OFF) & taken
    region[saturated] = "saturated"
    region[np.isnan(ib)] = "unknown"
    return BipolarBranch(
        current_base=ib + 0.0,
        current_collector=ic + 0.0,
        current_emitter=0.0 - (ib + ic),
        transconductance=c_be,
        transconductance_reverse=c_bc + 0.0,
        conductance_base_emitter=b_be,
        conductance_base_collector=b_bc,
        region=region,
    )


@formula
def channel(
    *, voltage_gate: AnyNumber, voltage_drain: AnyNumber, voltage_source_pin: AnyNumber, fet: Jfet | Mosfet
) -> ChannelBranch:
    """Find the drain current of a field-effect transistor, with its slopes, from its terminal voltages.

    Parameters
    ----------
    voltage_gate : array_like
        Gate to ground [V], any sign.
    voltage_drain : array_like
        Drain to ground [V], any sign.
    voltage_source_pin : array_like
        Source to ground [V], any sign.
    fet : Jfet or Mosfet
        One part (`devices.typical` makes one of a type), n- or p-channel.

    Returns
    -------
    ChannelBranch
        Current into the drain [A] (negative in a p-channel, and where drain and source are swapped), slopes [S], and
        `region`: constant current, ohmic, or cut off.

    Raises
    ------
    ValueError
        If a voltage is infinite, or a MOSFET has neither K nor an on-resistance.
    TypeError
        If `fet` is not such a record, or is a type.

    Notes
    -----
    Id = k (max(Vgs - Vt, 0)² - max(Vgd - Vt, 0)²), k = IDSS/VGS(off)² of a JFET, K of a MOSFET or from its
    on-resistance 1/(2 Ron (Von - Vth)). The gate takes no current here: a JFET's gate junction and a
    MOSFET's body diode are branches of their own (`junction`). No law for the temperature is in common use; IDSS and
    VGS(off) move against each other.

    References
    ----------
    FLOYD-DEVICES, ch. 7, the square law; DERIVED, one expression for all regions and its slopes.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> part = replace(devices.typical(devices.JFET_2N5457), current_drain_zero_bias=3e-3, voltage_gate_source_off=-1.8)
    >>> point = channel(voltage_gate=0.0, voltage_drain=5.0, voltage_source_pin=0.6, fet=part)
    >>> print(f"{point.current_drain * 1e3:.3f} mA, {point.transconductance * 1e3:.2f} mS, {point.region}")
    1.333 mA, 2.22 mS, constant current
    """
    law = channel_of(fet)
    current, at_source, at_drain = channel_branch(voltage_gate - voltage_source_pin, voltage_gate - voltage_drain, law)
    zero_bias = 2 * law.strength * np.maximum(-law.threshold, 0.0)
    region = np.full(np.shape(current), "ohmic", dtype="<U16")
    region[(at_drain == 0) | (at_source == 0)] = "constant current"
    region[(at_drain == 0) & (at_source == 0)] = "cut off"
    region[np.isnan(current)] = "unknown"
    return ChannelBranch(
        current_drain=current + 0.0,
        transconductance=at_source - at_drain,
        conductance_drain=at_drain,
        conductance_source=at_source,
        transconductance_zero_bias=zero_bias,
        region=region,
    )
