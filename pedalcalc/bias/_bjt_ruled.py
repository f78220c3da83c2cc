"""The constant base-emitter drop between three resistors, shared by the rule functions."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import numeric, one_of
from pedalcalc.bias._junctions import closed
from pedalcalc.bias._points import Array, bjt_fields, checked_gain, limited


def by_convention(current_gain: ArrayLike, convention: str) -> tuple[Array, Array, Array]:
    """Return beta, IE/IB and IC/IE."""
    beta = checked_gain(current_gain)
    if one_of("convention", convention, ("beta plus one", "beta")) == "beta":
        return beta, beta, np.ones_like(beta)
    return beta, beta + 1, 1 / (1 + 1 / beta)


def drops(voltage_base_emitter: ArrayLike, voltage_thermal: ArrayLike) -> tuple[Array, Array]:
    return (
        numeric("voltage_base_emitter", voltage_base_emitter, least=0),
        numeric("voltage_thermal", voltage_thermal, above=0),
    )


def emitter_current(drive: Array, r_b: Array, r_e: Array, b: Array) -> tuple[Array, Any]:
    """Return IE of drive = IE (Rb/b + Re), and where there is none."""
    off = (drive <= 0) | np.isinf(r_e) | np.isinf(r_b)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(off, 0.0 * np.abs(drive), drive / (closed(r_b) / b + closed(r_e))), off


def ruled(
    vbb: Array,
    r_b: Array,
    vcc: Array,
    r_c: Array,
    vee: Array,
    r_e: Array,
    current_gain: ArrayLike,
    voltage_base_emitter: ArrayLike,
    voltage_saturation: ArrayLike,
    voltage_thermal: ArrayLike,
    convention: str,
    polarity: str,
    *,
    offset: Array,
) -> dict[str, Any]:
    """Solve the loops with a constant drop; where the collector bottoms, both loops together."""
    beta, b, alpha = by_convention(current_gain, convention)
    drop, v_t = drops(voltage_base_emitter, voltage_thermal)
    v_sat = numeric("voltage_saturation", voltage_saturation, least=0)
    limited(r_b, r_e, beta)
    ie, off = emitter_current(vbb - vee - drop, r_b, r_e, b)
    ib, ic = ie / b, ie * alpha
    rb, rc, re = closed(r_b), closed(r_c), closed(r_e)
    v_c, v_e = vcc - ic * rc, vee + ie * re
    saturated = np.asarray(~off & (v_c - v_e < v_sat))
    if saturated.any():
        if np.any(saturated & (rb * rc + re * (rb + rc) == 0)):
            raise ValueError(
                "resistance_collector must be above 0 where the transistor saturates: nothing limits the current"
            )
        base, collector = vbb - vee - drop, vcc - vee - v_sat
        with np.errstate(divide="ignore", invalid="ignore"):
            forced = (base * rc + collector * rb) / (rb * rc + re * (rb + rc))
            # Nothing but the emitter resistor in both loops: base and collector share its drop.
            forced_c = np.where(rc > 0, (collector - forced * re) / rc, forced - (base - forced * re) / rb)
        ie = np.where(saturated, forced, ie)
        ic = np.where(saturated, np.where(np.isinf(r_c), 0.0, forced_c), ic)
        ib = np.where(saturated, ie - ic, ib)
        v_e = vee + ie * re
        v_c = np.where(saturated, v_e + v_sat, v_c)
    v_e = np.where(off & np.isinf(r_e), vbb, v_e)
    v_b = np.where(off, np.where(np.isinf(r_b), vee, vbb), v_e + drop)
    return bjt_fields(
        voltage_base=v_b,
        voltage_collector=v_c,
        voltage_emitter=v_e,
        current_base=ib,
        current_collector=ic,
        current_emitter=ie,
        current_supply=ib + ic,
        current_transport=ic,
        current_gain=b * alpha,
        voltage_base_emitter=np.where(off, v_b - v_e, drop),
        voltage_thermal=v_t,
        voltage_collector_supply=vcc,
        voltage_emitter_supply=vee,
        voltage_saturation=v_sat,
        off=off,
        saturated=saturated,
        follower=False,
        polarity=polarity,
        offset=offset,
    )
