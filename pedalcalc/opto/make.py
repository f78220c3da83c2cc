"""A coupler made of one's own lamp and cell."""

from __future__ import annotations

import numpy as np

from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero
from pedalcalc._record import specimen
from pedalcalc._result import warn_outside_model
from pedalcalc.devices import Coupler, Ldr, Led


@formula
def make_coupler(led: Led, *, cell: Ldr, distance: AboveZero, diameter_lamp: AboveZero) -> Coupler:
    """Put a lamp in front of a photocell, and return the coupler that they make.

    The inverse-square law of a point source. A 5 mm LED a few millimetres from a cell is no point: take the light as
    good to a factor of two or three, and measure the coupler with `fit_coupler`.

    Parameters
    ----------
    led : Led
        One lamp of known light (`devices.typical` makes one of a type).
    cell : Ldr
        One cell.
    distance : array_like
        Distance from lamp to cell [m], above 0.
    diameter_lamp : array_like
        Diameter of the lamp's bright face [m], above 0.

    Returns
    -------
    Coupler
        Record with the light that reaches the cell at the current for which the lamp's light is stated.

    Raises
    ------
    ValueError
        If a length is not positive, or the record does not know the lamp's light.
    TypeError
        If `led` or `cell` is another record, or a type.

    Warns
    -----
    ModelRangeWarning
        If the distance is under five lamp diameters.

    Notes
    -----
    E = I_v / d^2, with the cell square to the beam and smaller than it.

    References
    ----------
    MEMORY: definitions of candela and lux. PRACTICE: five diameters.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> lamp, cell = devices.typical(devices.LED_GREEN_INGAN), devices.typical(devices.LDR_GL5528)
    >>> own = make_coupler(lamp, cell=cell, distance=0.03, diameter_lamp=0.005)
    >>> f"{own.illuminance_reference:.0f} lx at {1e3 * own.current_reference:.0f} mA"
    '5000 lx at 20 mA'
    """
    specimen("led", led, Led)
    specimen("cell", cell, Ldr)
    intensity = np.asarray(led.luminous_intensity, float)
    if np.all(np.isnan(intensity)):
        raise ValueError(f"led must be a lamp whose luminous_intensity is known, which that of {led.name!r} is not")
    if np.any(distance < 5 * diameter_lamp):
        warn_outside_model(
            "distance is under five lamp diameters: the inverse-square law is good to a factor of two or three there"
        )
    return Coupler(
        name=f"{led.name} on {cell.name}",
        origin=f"inverse-square law; lamp: {led.origin}; cell: {cell.origin}",
        led=led,
        cell=cell,
        illuminance_reference=intensity / distance**2 + 0 * diameter_lamp,
        current_reference=led.current_for_light,
        light_exponent=led.light_exponent,
    )
