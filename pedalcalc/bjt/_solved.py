"""Checks, exact solve and fields of one bipolar transistor, shared by the bias functions."""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc._figure import figure
from pedalcalc._junction import BOLTZMANN, CHARGE
from pedalcalc._record import specimen
from pedalcalc.bjt import _drop, _junctions
from pedalcalc.bjt._points import Array, below, bjt_fields, limited
from pedalcalc.devices import Bjt
from pedalcalc.laws import junctions
from pedalcalc.laws.transistors import CURRENT_CUT_OFF, LOSS_SATURATED, BipolarFigures, bipolar_figures, loss, saturates


def law(transistor: Any, kelvin: Array) -> tuple[BipolarFigures, Array, bool]:
    """Return the law of one transistor, kT/q of its small signals, and whether its base-emitter drop is constant."""
    part = specimen("transistor", transistor, Bjt)
    n = figure(part, "ideality")
    constant = bool(np.any(n == 0))
    if not constant:
        numbers = bipolar_figures(part, kelvin)
        return numbers, numbers.junction.slope, False
    if not np.all(n == 0):
        raise ValueError(f"ideality of {part.name!r} must be 0 for all units or for none")
    # Without a saturation current there is no leakage to count against it.
    back, sign = 1 / figure(part, "current_gain_reverse"), 1.0 if part.polarity == "npn" else -1.0
    numbers = BipolarFigures(junctions.figures(part, kelvin), figure(part, "current_gain"), back, sign)
    return numbers, np.asarray(BOLTZMANN / CHARGE * kelvin), True


def solved(
    vbb: Array,
    r_b: Array,
    vcc: Array,
    r_c: Array,
    vee: Array,
    r_e: Array,
    transistor: Bjt,
    kelvin: Array,
    *,
    follower: Any,
    offset: Array,
    shift: Array | None = None,
    supply: Array | None = None,
) -> dict[str, Any]:
    """Solve and turn into fields; `shift` undoes the trick of `collector_feedback_bias`."""
    numbers, slope, constant = law(transistor, kelvin)
    beta, junction, r = numbers.gain, numbers.junction, numbers.back
    limited(r_b, r_e, beta)
    i_s, vt, series = junction.saturation, junction.slope, junction.resistance
    if constant:
        found = _drop.solve(vbb, r_b, vcc, r_c, vee, r_e, beta, r, junction.knee, series)
    else:
        found = _junctions.solve(vbb, r_b, vcc, r_c, vee, r_e, beta, r, i_s, vt, series)
    off = below(found.transport, CURRENT_CUT_OFF)
    saturated: Any = False
    if np.any(found.transport_reverse > -(1 - LOSS_SATURATED) * i_s):
        saturated = ~off & saturates(found.transport, found.transport_reverse, r, beta, i_s)
    # The collector-emitter voltage at which the law calls this current saturated: where the swing ends.
    e1 = np.maximum(found.transport, CURRENT_CUT_OFF)
    e2 = (e1 + (1 + r) * i_s) * (LOSS_SATURATED / loss(r, beta)) - i_s
    v_sat = vt * np.log((e1 + i_s) / (e2 + i_s))
    if np.any(series):
        v_sat = v_sat + (e1 - e2) * series
    v_b, v_c, v_e, top = found.voltage_base, found.voltage_collector, found.voltage_emitter, vcc
    if shift is not None and supply is not None:
        carried = np.where(
            np.isinf(shift),
            supply + found.voltage_emitter,
            found.current_emitter * np.where(np.isinf(shift), 0.0, shift),
        )
        up = supply - carried
        v_b, v_c, v_e, top, vee, offset = v_b + up, v_c + up, v_e + up, supply, np.asarray(0.0), supply
    return bjt_fields(
        voltage_base=v_b,
        voltage_collector=v_c,
        voltage_emitter=v_e,
        current_base=found.current_base,
        current_collector=found.current_collector,
        current_emitter=found.current_emitter,
        current_supply=found.current_emitter,
        current_transport=_followed(found.transport + i_s, series, slope),
        current_gain=beta,
        voltage_base_emitter=found.voltage_base_emitter,
        voltage_thermal=slope,
        voltage_collector_supply=top,
        voltage_emitter_supply=vee,
        voltage_saturation=v_sat,
        off=off,
        saturated=saturated,
        follower=follower,
        polarity=transistor.polarity,
        offset=offset,
        transistor=transistor,
    )


def _followed(transport: Array, series: Array, vt: Array) -> Array:
    """Return the current whose share of VT is the transconductance at the pins, behind a series resistance."""
    return np.asarray(transport / (1 + transport * series / vt)) if np.any(series) else transport
