"""What stands in place of a circuit's own numbers where a part of another kind does not let them be computed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import TypeVar

from pedalcalc._refusal import OtherKind, Unsolved
from pedalcalc._result import Caution

T = TypeVar("T")


@dataclass(frozen=True, slots=True, eq=False)
class Untold:
    """Why the functions of one circuit tell nothing of a board; false, and shows itself as one sentence.

    It is no `Result`, of which a notebook makes a table.

    ``built = Untold.unless(lambda: jfet_booster(build, ...))`` is what is found, or this; ``built and report.table(built.jfet)``
    the table, or the sentence in its place.
    """

    reason: str
    cautions: tuple[Caution, ...]

    @classmethod
    def unless(cls, found: Callable[[], T], *refusals: type[Exception]) -> T | Untold:
        """Return what is found, or this and a caution where a part is of another kind, nothing settles, or it is refused so."""
        told: tuple[type[Exception], ...] = (OtherKind, Unsolved, *refusals)
        try:
            return found()
        except told as reason:
            other, nan = isinstance(reason, OtherKind), float("nan")
            what = (
                f"what is special to this circuit is left out here, and what holds for any is kept, because of {reason}"
            )
            action = "the board was laid out for that: fit it before power" if other else "look there first"
            return cls(reason=str(reason), cautions=(Caution(what, action, nan, nan, ""),))

    def __bool__(self) -> bool:
        return False

    def _repr_html_(self) -> str:
        return f"<p>{escape(str(self))}</p>"

    def __str__(self) -> str:
        return f"Not computed: {self.reason}."

    __repr__ = __str__
