"""The cell resistance of a coupler with what it may be instead, measured or not."""

from __future__ import annotations

from pedalcalc._arguments import is_a
from pedalcalc._base import formula
from pedalcalc._ranges import AnyNumber, AtLeastOne
from pedalcalc.devices import Coupler
from pedalcalc.opto.band import LIGHT_FACTOR_UNMEASURED, CouplerBand, class_band
from pedalcalc.opto.fits import CouplerFit, fitted_band


@formula
def coupler_band(
    current: AnyNumber, *, coupler: Coupler | CouplerFit, light_factor: AtLeastOne = LIGHT_FACTOR_UNMEASURED
) -> CouplerBand:
    """Return the cell resistance of a coupler with its band: of one that nobody measured, or of your own fit.

    Of a coupler that nobody measured everything unknown is put at its worst at once: light at the reference current and
    its growth with current, resistance at 10 lx, slope and floor. A fit brings its own 95 % band.

    Parameters
    ----------
    current : array_like
        LED current [A]; for a fit above 0.
    coupler : Coupler or CouplerFit
        The coupler, a type or one part, or the result of `fit_coupler`.
    light_factor : array_like
        The light may be this many times more or less [1], at least 1; a fit knows its light and ignores this.

    Returns
    -------
    CouplerBand
        Lowest, typical (or fitted) and highest settled resistance; a single reading scatters more.

    Raises
    ------
    ValueError
        If `light_factor` is under 1, or the current of a fit not above 0.
    TypeError
        If `coupler` is neither a coupler nor a fit of one.

    Notes
    -----
    Unmeasured: the light exponent is taken as good to 0.15, the floor to a factor of three; dark
    resistance stays as in the record. Where the record gives no range at 10 lx or of the slope, three to
    one and 0.1 either way are taken, as on most sheets. Fitted: the factor that holds 95 of 100
    of the couplers drawn that may have given the readings, see `fit_coupler`.

    References
    ----------
    CDS-RESIN, CDS-METAL (ranges and slope tolerance); PRACTICE: light good to a factor of three;
    MEMORY: floor, and light exponents of 0.85 to 1.3 by kind of LED; DERIVED for a fit.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> band = coupler_band(0.001, coupler=devices.COUPLER_GREEN_GAP_GL5528)
    >>> [f"{r / 1e3:.1f} kΩ" for r in (band.resistance_low, band.resistance_cell, band.resistance_high)]
    ['1.9 kΩ', '7.2 kΩ', '22.0 kΩ']
    """
    if isinstance(coupler, CouplerFit):
        return fitted_band(current, coupler_fit=coupler)
    return class_band(current, coupler=is_a("coupler", coupler, Coupler), factor=light_factor)
