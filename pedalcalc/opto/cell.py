"""Settled law of one photocell, and the light that reaches it."""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import ModelRangeWarning, Number, formula, numeric
from pedalcalc.devices import Ldr
from pedalcalc.devices._record import specimen
from pedalcalc.laws._check import TEMPERATURE_RECORD
from pedalcalc.laws.cells import CellFigures, cell_figures, layer, light_for


def _figures(cell: Ldr) -> CellFigures:
    """Return the numbers of one cell at 300 K, or refuse a type."""
    return cell_figures(specimen("cell", cell, Ldr), np.asarray(TEMPERATURE_RECORD))


def _law(cell: Ldr) -> tuple[NDArray[np.float64], ...]:
    """Return R10, gamma, dark conductance and floor of one cell."""
    return _figures(cell)[:4]


@formula
def cell_conductance(illuminance: ArrayLike, *, cell: Ldr) -> Number:
    """Return the conductance at which a cell settles in steady light.

    Light adds a power of itself to the dark conductance. The floor resistance
    stands in series with this conductance and is not part of it.

    Parameters
    ----------
    illuminance : array_like
        Steady light on the cell [lx], at least 0.
    cell : Ldr
        The cell.

    Returns
    -------
    float or ndarray
        Settled conductance of the photo layer [S], of the shape of `illuminance`.

    Raises
    ------
    ValueError
        If the light is negative or infinite.

    Notes
    -----
    g = 1/R_d + (E / 10 lx)^gamma / R_10. Makers measure gamma between 10 and
    100 lx only; slopes of 0.53 to 0.62 were seen on unmarked cells between 1
    and 100 lx.

    References
    ----------
    CDS-RESIN and LDR-232-3816 (definitions of R10 and gamma); the power law from MEMORY.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> f"{1e3 * cell_conductance(1000.0, cell=devices.LDR_NORP12):.3f} mS"
    '2.501 mS'
    """
    return layer(numeric("illuminance", illuminance, least=0), _figures(cell))[0][()]


@formula
def cell_resistance(illuminance: ArrayLike, *, cell: Ldr) -> Number:
    """Return the resistance at which a cell settles in steady light.

    Parameters
    ----------
    illuminance : array_like
        Steady light on the cell [lx], at least 0; 0 gives the dark resistance.
    cell : Ldr
        The cell.

    Returns
    -------
    float or ndarray
        Settled resistance of the whole cell [Ω], of the shape of `illuminance`;
        infinite in the dark where the record's dark resistance is.

    Raises
    ------
    ValueError
        If the light is negative or infinite.

    Notes
    -----
    R = 1 / (1/R_d + (E / 10 lx)^gamma / R_10) + R_floor.

    References
    ----------
    CDS-RESIN and LDR-232-3816 (definitions of R10 and gamma); floor from MEMORY.

    Examples
    --------
    The two levels of the sheet:

    >>> from pedalcalc import devices
    >>> [f"{cell_resistance(light, cell=devices.LDR_NORP12):.0f}" for light in (10.0, 1000.0)]
    ['8920', '400']
    """
    conductance = cell_conductance(illuminance, cell=cell)
    with np.errstate(divide="ignore"):
        return (1 / np.asarray(conductance) + numeric("resistance_floor", cell.resistance_floor, least=0))[()]


@formula
def cell_illuminance(resistance_cell: ArrayLike, *, cell: Ldr) -> Number:
    """Return the steady light in which a cell settles at a wanted resistance.

    The inverse of `cell_resistance`.

    Parameters
    ----------
    resistance_cell : array_like
        Wanted resistance [Ω], at least 0; may be infinite.
    cell : Ldr
        The cell.

    Returns
    -------
    float or ndarray
        Light on the cell [lx]: 0 where even the dark cell is no higher, infinite
        where no light takes the cell that low (at or below its floor).

    Raises
    ------
    ValueError
        If the resistance is negative.

    References
    ----------
    DERIVED, the inverse of the law of `cell_resistance`.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> f"{cell_illuminance(1000.0, cell=devices.LDR_NORP12):.0f} lx"
    '257 lx'
    """
    wanted = numeric("resistance_cell", resistance_cell, least=0, infinity=True)
    return light_for(wanted, _figures(cell))[()]


@formula
def gamma_between(
    *,
    resistance_dim: ArrayLike,
    resistance_bright: ArrayLike,
    illuminance_dim: ArrayLike,
    illuminance_bright: ArrayLike,
) -> Number:
    """Return the slope of a cell's law from its resistance in two lights.

    Parameters
    ----------
    resistance_dim : array_like
        Resistance in the weaker light [Ω], above 0.
    resistance_bright : array_like
        Resistance in the stronger light [Ω], above 0 and not above `resistance_dim`.
    illuminance_dim : array_like
        The weaker light [lx], above 0.
    illuminance_bright : array_like
        The stronger light [lx], above `illuminance_dim`.

    Returns
    -------
    float or ndarray
        Slope gamma [1], of the broadcast shape.

    Raises
    ------
    ValueError
        If a value is not positive, the lights are not in order, or the
        resistance rises with light.

    Notes
    -----
    gamma = log(R_dim / R_bright) / log(E_bright / E_dim). Makers take 10 and 100 lx.

    References
    ----------
    CDS-RESIN (definition of gamma); LDR-232-3816 for the example.

    Examples
    --------
    >>> f"{gamma_between(resistance_dim=9e3, resistance_bright=400.0, illuminance_dim=10.0, illuminance_bright=1000.0):.3f}"
    '0.676'
    """
    dim = numeric("illuminance_dim", illuminance_dim, above=0)
    bright = numeric("illuminance_bright", illuminance_bright, above=0)
    high = numeric("resistance_dim", resistance_dim, above=0)
    low = numeric("resistance_bright", resistance_bright, above=0)
    if np.any(bright <= dim):
        raise ValueError("illuminance_bright must be above illuminance_dim")
    if np.any(low > high):
        raise ValueError("resistance_bright must be at most resistance_dim: a photocell conducts better in more light")
    return (np.log(high / low) / np.log(bright / dim))[()]


@formula
def illuminance_at_distance(luminous_intensity: ArrayLike, *, distance: ArrayLike, diameter_lamp: ArrayLike) -> Number:
    """Return the light that a lamp throws straight ahead on a small cell.

    The inverse-square law of a point source. A 5 mm LED a few millimetres from
    a cell is no point: take the figure as good to a factor of two or three.

    Parameters
    ----------
    luminous_intensity : array_like
        Luminous intensity in the direction of the cell [cd], at least 0.
    distance : array_like
        Distance from lamp to cell [m], above 0.
    diameter_lamp : array_like
        Diameter of the lamp's bright face [m], above 0.

    Returns
    -------
    float or ndarray
        Light on the cell [lx].

    Raises
    ------
    ValueError
        If intensity is negative or a length not positive.

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
    >>> f"{illuminance_at_distance(0.1, distance=0.1, diameter_lamp=0.005):.0f} lx"
    '10 lx'
    """
    intensity = numeric("luminous_intensity", luminous_intensity, least=0)
    away = numeric("distance", distance, above=0)
    diameter = numeric("diameter_lamp", diameter_lamp, above=0)
    if np.any(away < 5 * diameter):
        warnings.warn(
            "distance is under five lamp diameters: the inverse-square law is good to a factor of two or three there",
            ModelRangeWarning,
            stacklevel=2,
        )
    return (intensity / away**2 + 0 * diameter)[()]
