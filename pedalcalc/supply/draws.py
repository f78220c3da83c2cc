"""Current budget: who draws what, and what one adaptor must deliver to one build or several."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import Caution, Number, Result, caution_above, fit_together, formula, is_a, numeric, quantity
from pedalcalc._ranges import AboveZero, AtLeastZero
from pedalcalc._units import listed
from pedalcalc.devices import Spread

__all__ = ["CurrentBudget", "Draw", "current_budget"]


@dataclass(frozen=True, slots=True, eq=False)
class Draw(Result):
    """One consumer of a build: an op-amp, a stage, the indicator, the converter's own need."""

    name: str = quantity("text", "consumer")
    current_draw: Spread = quantity("A", "current")


@dataclass(frozen=True, slots=True, eq=False)
class CurrentBudget(Result):
    """What all consumers on one adaptor draw, and what it must deliver."""

    current_min: Number = quantity("A", "least current")
    current_typical: Number = quantity("A", "typical current")
    current_max: Number = quantity("A", "largest current")
    current_wanted: Number = quantity("A", "rated current to look for, a quarter in reserve")
    current_margin: Number = quantity("A", "rated current left over at the worst")
    voltage_ground: Number = quantity("V", "voltage along the shared return at the worst")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def current_budget(
    draws: tuple[Draw, ...], *, current_available: AboveZero, resistance_lead: AtLeastZero
) -> CurrentBudget:
    """Add up what a build draws, or several on one lead, and find what their adaptor must deliver.

    Parameters
    ----------
    draws : tuple of Draw
        Consumers, each with its lowest, typical and highest current (numbers
        or arrays; NaN where a sheet gives none, which leaves that sum unknown). Those of several builds are
        joined, ``draws * 5`` for five alike.
    current_available : array_like
        Rated current of the adaptor [A], above 0.
    resistance_lead : array_like
        Resistance of the return that all share [Ω], at least 0; a fraction of an ohm.

    Returns
    -------
    CurrentBudget
        Least, typical and largest current [A], rating to look for [A], margin [A], voltage along the shared
        return [V] and cautions.

    Raises
    ------
    TypeError
        If a consumer is not a `Draw`.
    ValueError
        If a current is negative or out of order, with the consumer's name, or a value is out of range.

    Notes
    -----
    The largest sum takes all at their worst at once.

    The voltage along the shared return is common to all: what one build draws
    in pulses (a charge pump, a digital clock) the others get as ripple on their
    ground. A build with the plus at ground must not share the chain.

    References
    ----------
    DERIVED: Kirchhoff's current law; PRACTICE for the reserve of a quarter.

    Examples
    --------
    >>> from pedalcalc.devices import Spread
    >>> draws = (
    ...     Draw("two op-amps", Spread(2.0e-3, 2.8e-3, 5.0e-3)),
    ...     Draw("indicator LED", Spread(1.5e-3, 2.0e-3, 2.4e-3)),
    ... )
    >>> five = current_budget(draws * 5, current_available=0.3, resistance_lead=0.2)
    >>> print(f"{five.current_typical:.3f}, {five.current_max:.3f}, {five.current_wanted:.3f}")
    0.024, 0.037, 0.046
    """
    if not isinstance(draws, tuple):
        raise TypeError(f"draws must be a tuple of Draw records, not {type(draws).__name__}")
    sums = [np.zeros(()), np.zeros(()), np.zeros(())]
    for draw in draws:
        is_a("draws", draw, Draw)
        low, typical, high = (
            numeric(f"draws: current of {draw.name}", current, least=0)
            for current in is_a(draw.name, draw.current_draw, Spread)
        )
        if np.any(low > typical) or np.any(typical > high) or np.any(low > high):
            three = listed("current", (float(np.ravel(part)[0]) for part in (low, typical, high)))
            raise ValueError(f"draws: current of {draw.name} must rise from lowest to highest, got {three}")
        sums = [np.asarray(total + current) for total, current in zip(sums, (low, typical, high), strict=True)]
    low, typical, most = sums
    available, lead = current_available, resistance_lead
    fit_together(draws=most, current_available=available, resistance_lead=lead)
    cautions = caution_above(
        "all together can draw more than the adaptor is rated for",
        "use an adaptor of a higher rated current, or two",
        most,
        available,
        "A",
    )
    return CurrentBudget(
        current_min=low[()],
        current_typical=typical[()],
        current_max=most[()],
        current_wanted=(1.25 * most)[()],
        current_margin=(available - most)[()],
        voltage_ground=(most * lead)[()],
        cautions=cautions,
    )
