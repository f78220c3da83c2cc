"""A voltage budget step by step, for a table or a rail diagram."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import Number, Result, formula, is_a, quantity
from pedalcalc.pump.budget import VoltageBudget

__all__ = ["BudgetStep", "BudgetSteps", "budget_steps"]


@dataclass(frozen=True, slots=True, eq=False)
class BudgetStep(Result):
    """One step of a voltage budget: what it leaves and what it took."""

    name: str = quantity("text", "step")
    voltage_low: Number = quantity("V", "lower end")
    voltage_high: Number = quantity("V", "upper end")
    voltage_drop: Number = quantity("V", "lost in this step")


@dataclass(frozen=True, slots=True, eq=False)
class BudgetSteps(Result):
    """A voltage budget as a list of steps, from socket to swing."""

    steps_budget: tuple[BudgetStep, ...] = quantity("records", "steps")


@formula
def budget_steps(budget: VoltageBudget) -> BudgetSteps:
    """List a voltage budget step by step, for a table or a rail diagram.

    Parameters
    ----------
    budget : VoltageBudget
        Result of `voltage_budget`.

    Returns
    -------
    BudgetSteps
        Steps in order, each with its name, lower and upper end and loss [V].

    Raises
    ------
    TypeError
        If `budget` is not a VoltageBudget.

    Notes
    -----
    A converter's gain is not a loss: the step behind it counts from the loss-free rails.

    References
    ----------
    DERIVED.

    Examples
    --------
    >>> from pedalcalc.pump import example, voltage_budget
    >>> budget = voltage_budget(
    ...     voltage_supply=9.0, current_load=0.006, current_direct=0.002, voltage_peak=2.0, rail=example()
    ... )
    >>> for step in budget_steps(budget).steps_budget:
    ...     print(f"{step.voltage_high - step.voltage_low:.2f} V {step.name}")
    9.00 V supply
    8.78 V behind the protection diode
    8.64 V behind the supply filter
    17.28 V loss-free converter
    16.37 V op-amp rails
    13.37 V op-amp output range
    13.37 V usable swing about the idle voltage
    """
    is_a("budget", budget, VoltageBudget)
    zero = 0 * budget.voltage_supply
    bottom = budget.voltage_negative
    ideal_bottom = np.where(np.asarray(bottom) < 0, -np.asarray(budget.voltage_pin), 0.0)[()]
    pumped = np.any(np.asarray(budget.voltage_ideal) != np.asarray(budget.voltage_pin))
    steps = [
        BudgetStep("supply", zero, budget.voltage_supply, zero),
        BudgetStep(
            "behind the protection diode", zero, budget.voltage_supply - budget.loss_protection, budget.loss_protection
        ),
        BudgetStep("behind the supply filter", zero, budget.voltage_pin, budget.loss_filter),
    ]
    if pumped:
        steps.append(BudgetStep("loss-free converter", ideal_bottom, ideal_bottom + budget.voltage_ideal, zero))
    steps += [
        BudgetStep(
            "op-amp rails",
            bottom,
            budget.voltage_positive,
            budget.loss_diodes + budget.loss_pump + budget.loss_filter_out,
        ),
        BudgetStep(
            "op-amp output range",
            budget.voltage_low,
            budget.voltage_high,
            (budget.voltage_positive - budget.voltage_high) + (budget.voltage_low - bottom),
        ),
        BudgetStep(
            "usable swing about the idle voltage",
            budget.voltage_idle - budget.swing_peak,
            budget.voltage_idle + budget.swing_peak,
            (budget.voltage_high - budget.voltage_low) - budget.voltage_swing,
        ),
    ]
    return BudgetSteps(tuple(steps))
