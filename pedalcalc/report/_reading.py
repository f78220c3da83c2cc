"""One value with its spread, and the notebook display of any result."""

from __future__ import annotations

import math
import sys
from typing import Any

from pedalcalc._arguments import one_number, words
from pedalcalc._base import io
from pedalcalc._number_text import number_text, range_text, spread_reading
from pedalcalc._result import Result
from pedalcalc.report._boxes import Box, caution_box
from pedalcalc.report._errors import shorten_errors, shorten_warnings
from pedalcalc.report._table import Table, table


@io
def reading(value: float, *, unit: str, spread: float = math.nan, spread_factor: float = math.nan) -> str:
    """Write one value with how far off it may be.

    Parameters
    ----------
    value : float
        The value in the SI unit named beside it [SI]; may be infinite.
    unit : str
        Its SI unit.
    spread : float, optional
        Half-width of the band, in the unit of the value [SI]: written ``±``, with two digits.
    spread_factor : float, optional
        Factor either way, for what is known to a factor only [1], at least 1: written as the range it leaves.

    Returns
    -------
    str
        Such as ``"4.70 kΩ ± 0.24 kΩ"`` or ``"59 to 240 ms"``.

    Raises
    ------
    ValueError
        If the spread is negative, the factor is below 1, or both are given.

    References
    ----------
    PRACTICE : a spread gets two digits, and its value stops at the same decimal.

    Examples
    --------
    >>> from pedalcalc import report
    >>> report.reading(4700.0, unit="Ω", spread=240.0)
    '4.70 kΩ ± 0.24 kΩ'
    >>> report.reading(0.118, unit="s", spread_factor=2.0)
    '59 to 240 ms'
    """
    words("unit", unit)
    value = one_number("value", value, "", unknown=True, infinity=True)
    spread = one_number("spread", spread, "", unknown=True, least=0.0)
    factor = one_number("spread_factor", spread_factor, "", unknown=True, least=1.0, infinity=True)
    if not math.isnan(spread) and not math.isnan(factor):
        raise ValueError(f"spread and spread_factor cannot both be given, got {spread:g} and {factor:g}")
    if not math.isnan(factor):
        return range_text(value, unit, factor)
    return number_text(value, unit) if math.isnan(spread) else spread_reading(value, spread, unit)


def display_in_notebook() -> None:
    """Let a running IPython show every result as its table and every refusal in a line; does nothing elsewhere."""
    ipython = sys.modules.get("IPython")
    shell = ipython.get_ipython() if ipython is not None else None
    formatters = getattr(getattr(shell, "display_formatter", None), "formatters", {})
    for mime, method in (
        ("text/html", "_repr_html_"),
        ("text/markdown", "_repr_markdown_"),
    ):
        if mime in formatters:
            formatters[mime].for_type(Result, lambda result, method=method: getattr(_shown(result), method)())
    if hasattr(shell, "set_custom_exc"):
        shorten_errors(shell)
        shorten_warnings()
    if "text/plain" in formatters:
        formatters["text/plain"].for_type(Result, lambda result, printer, _cycle: printer.text(str(_shown(result))))


def _shown(result: Any) -> Table | Box:
    from pedalcalc._result import Caution

    return caution_box((result,)) if isinstance(result, Caution) else table(result)
