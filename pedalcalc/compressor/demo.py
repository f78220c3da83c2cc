"""A compressor to try things on."""

from __future__ import annotations

from pedalcalc._base import search
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.devices import COUPLER_GREEN_GAP_GL5528, typical


@search
def example() -> Compressor:
    """Return an invented compressor of textbook stages, to try the functions on.

    A shunt cell of a green LED and a CdS cell behind 47 kΩ, make-up of 4, and a full-wave side-chain that
    listens to the output, holds its peak and drives the LED through a buffer.

    Returns
    -------
    Compressor
        The circuit; change any part of it with ``dataclasses.replace``.

    References
    ----------
    PRACTICE

    Examples
    --------
    >>> import dataclasses
    >>> faster = dataclasses.replace(example(), resistance_attack=1e3)
    >>> faster.placement
    'shunt'
    """
    return Compressor(
        placement="shunt",
        resistance_input=47e3,
        resistance_output=1e6,
        gain_makeup=4.0,
        sense="after",
        gain_sidechain=10.0,
        voltage_rail=7.0,
        rectifier="full",
        voltage_diode=0.0,
        drive="buffered",
        resistance_attack=4.7e3,
        resistance_release=220e3,
        capacitance_hold=1e-6,
        current_leakage=0.0,
        voltage_base_emitter=0.6,
        resistance_led=4.7e3,
        coupler=typical(COUPLER_GREEN_GAP_GL5528),
        illuminance_ambient=0.0,
    )
