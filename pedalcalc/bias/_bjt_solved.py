"""Checks, exact solve and fields of one bipolar transistor, shared by the bias functions."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import is_a, numeric
from pedalcalc.bias import _junctions
from pedalcalc.bias._points import (
    CURRENT_CUT_OFF,
    Array,
    below,
    bjt_fields,
    checked_gain,
    checked_temperature,
    law,
    limited,
)
from pedalcalc.devices import Bjt


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
    voltage_saturation: ArrayLike,
    *,
    follower: bool,
    offset: Array,
    shift: Array | None = None,
    supply: Array | None = None,
) -> dict[str, Any]:
    """Solve and turn into fields; `shift` undoes the trick of `bjt_collector_feedback`."""
    beta, t = checked_gain(current_gain), checked_temperature(temperature)
    v_sat = numeric("voltage_saturation", voltage_saturation, least=0)
    is_a("transistor", transistor, Bjt)
    limited(r_b, r_e)
    i_s, r, vt = law(transistor, t)
    found = _junctions.solve(vbb, r_b, vcc, r_c, vee, r_e, beta, r, i_s, vt)
    off = below(found.transport, CURRENT_CUT_OFF)
    saturated: Any = False
    e1, e2 = found.transport, found.transport_reverse
    if np.any(e2 > -0.95 * i_s):
        # Collector current falls short of what it would be with the collector junction in full reverse, by 5 %.
        leak = np.where(np.isinf(beta), 0.0, beta) * r
        saturated = ~off & ((leak + 1 + r) * (e2 + i_s) > 0.05 * (e1 + leak * (e2 + i_s) + (1 + r) * i_s))
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
