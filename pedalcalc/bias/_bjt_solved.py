"""Checks, exact solve and fields of one bipolar transistor, shared by the bias functions."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc.bias import _junctions
from pedalcalc.bias._points import Array, below, bjt_fields, checked_gain, law, limited
from pedalcalc.devices import Bjt
from pedalcalc.laws._check import checked_temperature
from pedalcalc.laws.transistors import CURRENT_CUT_OFF, LOSS_SATURATED, loss


def solved(
    vbb: Array,
    r_b: Array,
    vcc: Array,
    r_c: Array,
    vee: Array,
    r_e: Array,
    current_gain: ArrayLike,
    transistor: Bjt,
    temperature: ArrayLike,
    *,
    follower: bool,
    offset: Array,
    shift: Array | None = None,
    supply: Array | None = None,
) -> dict[str, Any]:
    """Solve and turn into fields; `shift` undoes the trick of `bjt_collector_feedback`."""
    beta, t = checked_gain(current_gain), checked_temperature(temperature)
    numbers = law(transistor, t)
    limited(r_b, r_e, beta)
    junction, r = numbers.junction, numbers.back
    i_s, vt, series = junction.saturation, junction.slope, junction.resistance
    found = _junctions.solve(vbb, r_b, vcc, r_c, vee, r_e, beta, r, i_s, vt, series)
    off = below(found.transport, CURRENT_CUT_OFF)
    taken = loss(r, beta)
    saturated: Any = False
    if np.any(found.transport_reverse > 0):
        saturated = ~off & (found.transport_reverse * taken > LOSS_SATURATED * found.transport)
    # The collector-emitter voltage at which the law calls this current saturated: where the swing ends.
    e1 = np.maximum(found.transport, CURRENT_CUT_OFF)
    e2 = e1 * (LOSS_SATURATED / taken)
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
        current_transport=_followed(found.transport + i_s, series, vt),
        current_gain=beta,
        voltage_base_emitter=found.voltage_base_emitter,
        voltage_thermal=vt,
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
