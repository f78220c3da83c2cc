"""Current budget: who draws what, and what one adaptor for several pedals must deliver."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._arguments import fit_together, is_a, numeric
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AtLeastZero
from pedalcalc._result import Caution, Number, Result, caution_above, quantity
from pedalcalc._units import listed
from pedalcalc.devices import Spread

__all__ = ["CurrentBudget", "DaisyChain", "Draw", "current_budget", "daisy_chain"]


@dataclass(frozen=True, slots=True, eq=False)
class Draw(Result):
    """One consumer of a build: an op-amp, a stage, the indicator, the converter's own need."""

    name: str = quantity("text", "consumer")
    current_draw: Spread = quantity("A", "current")


@dataclass(frozen=True, slots=True, eq=False)
class CurrentBudget(Result):
    """Sum of all consumers of a build."""

    current_min: Number = quantity("A", "least current")
    current_typical: Number = quantity("A", "typical current")
    current_max: Number = quantity("A", "largest current")
    draws: tuple[Draw, ...] = quantity("records", "consumers")


@formula
def current_budget(draws: tuple[Draw, ...]) -> CurrentBudget:
    """Add up what a build draws.

    Parameters
    ----------
    draws : tuple of Draw
        Consumers, each with its lowest, typical and highest current (numbers
        or arrays; NaN where a sheet gives none, which leaves that sum unknown).

    Returns
    -------
    CurrentBudget
        Least, typical and largest current [A], and the consumers as given.

    Raises
    ------
    TypeError
        If a consumer is not a `Draw`.
    ValueError
        If a current is negative or out of order, with the consumer's name.

    Notes
    -----
    The largest sum takes all at their worst at once.

    References
    ----------
    DERIVED: Kirchhoff's current law.

    Examples
    --------
    >>> from pedalcalc.devices import Spread
    >>> whole = current_budget((
    ...     Draw("two op-amps", Spread(2.0e-3, 2.8e-3, 5.0e-3)),
    ...     Draw("indicator LED", Spread(1.5e-3, 2.0e-3, 2.4e-3)),
    ... ))
    >>> print(f"{whole.current_typical:.4f}, {whole.current_max:.4f}")
    0.0048, 0.0074
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
    return CurrentBudget(current_min=sums[0][()], current_typical=sums[1][()], current_max=sums[2][()], draws=draws)


@dataclass(frozen=True, slots=True, eq=False)
class DaisyChain(Result):
    """Several builds on one adaptor."""

    current_typical: Number = quantity("A", "typical current of all")
    current_max: Number = quantity("A", "largest current of all")
    current_wanted: Number = quantity("A", "rated current to look for, a quarter in reserve")
    current_margin: Number = quantity("A", "rated current left over at the worst")
    voltage_ground: Number = quantity("V", "voltage along the shared return at the worst")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def daisy_chain(
    *, budgets: tuple[CurrentBudget, ...], current_available: AboveZero, resistance_lead: AtLeastZero
) -> DaisyChain:
    """Find what one adaptor must deliver to several builds on one lead.

    Parameters
    ----------
    budgets : tuple of CurrentBudget
        Budget of each build (`current_budget`).
    current_available : array_like
        Rated current of the adaptor [A], above 0.
    resistance_lead : array_like
        Resistance of the return that all share [Ω], at least 0; a fraction of an ohm.

    Returns
    -------
    DaisyChain
        Sums [A], rating to look for [A], margin [A], voltage along the shared
        return [V] and cautions.

    Raises
    ------
    TypeError
        If a budget is not a `CurrentBudget`.
    ValueError
        If a value is out of range.

    Notes
    -----
    The voltage along the shared return is common to all: what one build draws
    in pulses (a charge pump, a digital clock) the others get as ripple on their
    ground. A build with the plus at ground must not share the chain.

    References
    ----------
    DERIVED; PRACTICE for the reserve of a quarter.

    Examples
    --------
    >>> from pedalcalc.devices import Spread
    >>> one = current_budget((Draw("everything", Spread(5e-3, 8e-3, 12e-3)),))
    >>> both = daisy_chain(budgets=(one, one), current_available=0.3, resistance_lead=0.2)
    >>> print(f"{both.current_max:g}, {both.current_wanted:g}")
    0.024, 0.03
    """
    if not isinstance(budgets, tuple):
        raise TypeError(f"budgets must be a tuple of CurrentBudget records, not {type(budgets).__name__}")
    available, lead = current_available, resistance_lead
    typical = np.zeros(())
    most = np.zeros(())
    for budget in budgets:
        is_a("budgets", budget, CurrentBudget)
        typical = np.asarray(typical + budget.current_typical)
        most = np.asarray(most + budget.current_max)
    fit_together(budgets=most, current_available=available, resistance_lead=lead)
    cautions = caution_above(
        "the builds together can draw more than the adaptor is rated for",
        "use an adaptor of a higher rated current, or two",
        most,
        available,
        "A",
    )
    return DaisyChain(
        current_typical=typical[()],
        current_max=most[()],
        current_wanted=(1.25 * most)[()],
        current_margin=(available - most)[()],
        voltage_ground=(most * lead)[()],
        cautions=cautions,
    )
