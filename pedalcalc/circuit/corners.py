"""Which parts set which corner: poles and zeros of a board from input to output, each with its sensitivities."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._arguments import is_a, one_number
from pedalcalc._base import search
from pedalcalc._result import Caution, Result, quantity
from pedalcalc.board import Board
from pedalcalc.circuit import _answers, _pencil
from pedalcalc.circuit.elements import GENERATOR
from pedalcalc.circuit.signals import RESISTANCE_GENERATOR, RESISTANCE_LOAD, signal_of
from pedalcalc.values import write_value

#: Poles and zeros within this ratio are one group, which moves as a whole: alone they have no sensitivity worth telling.
CLOSE = 1.15
#: What a group of as many poles as zeros may do to the response and is still hidden: half a decibel (common practice).
CANCELS = 10 ** (0.5 / 20)
#: Share of a change below which a part is not named in the text.
NAMED = 0.05
#: What is slower than this [1/s] stands still.
SLOWEST = 1e-9
UNSTABLE = "unstable"
Group = tuple[list[int], list[int]]  # indices of poles and of zeros


@dataclass(frozen=True, slots=True, eq=False)
class Corner(Result):
    """One corner, or a group that lies together, with what sets it.

    `sensitivities` are d ln f / d ln value by part: -1 says that 1 % more makes it 1 % lower. A resistor's holds what it does
    to the operating point, too. Others are told with what of them counts: `Q1 gm` (its slopes at this point), `U1 cell`,
    `IC1 unit 1 gain-bandwidth`. `quality` is Q of two that belong together, NaN for one.
    """

    frequency: float = quantity("Hz", "frequency")
    kind: str = quantity("text", "pole or zero")
    effect: str = quantity("text", "what it does")
    set_by: str = quantity("text", "set by")
    count: int = quantity("1", "how many lie there")
    quality: float = quantity("1", "quality of a pair")
    sensitivities: Mapping[str, float] = quantity("records", "sensitivity by part")


@dataclass(frozen=True, slots=True, eq=False)
class Corners(Result):
    """All corners between two frequencies, from low to high; `hidden` pairs of pole and zero undo each other."""

    corners: tuple[Corner, ...] = quantity("records", "corners")
    hidden: int = quantity("1", "pairs that undo each other")
    net_in: str = quantity("text", "net that the generator drives")
    net_out: str = quantity("text", "net that is listened to")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@search
def corners(
    board: Board,
    *,
    frequency_from: float = 0.1,
    frequency_to: float = 1e6,
    net_in: str = "",
    net_out: str = "",
    resistance_generator: float = RESISTANCE_GENERATOR,
    resistance_load: float = RESISTANCE_LOAD,
    values: Mapping[str, Any] | None = None,
    faults: Mapping[str, str] | None = None,
    bridges: Mapping[tuple[str, str], Any] | None = None,
) -> Corners:
    """Find the corners of a board from its input to its output, and which parts set each of them.

    Parameters
    ----------
    board : Board
        The build under its conditions: supply, switch, plugs, controls (`pedalcalc.board.assemble`).
    frequency_from : float
        Lowest frequency that is told [Hz], at least 0; 0.1 Hz if not given.
    frequency_to : float
        Highest frequency that is told [Hz], above 0; 1 MHz if not given.
    net_in : str, optional
        Net that the generator drives; the tip of the input jack where not named.
    net_out : str, optional
        Net that is listened to; the tip of the output jack where not named.
    resistance_generator : float
        Resistance of the generator [Ω], at least 0; 10 kΩ, a guitar, if not given.
    resistance_load : float
        What follows the output [Ω], 0 to inf; 1 MΩ, the next input, if not given.
    values : mapping, optional
        Other values or specimens of parts by reference, as in `operating_point`, of one unit.
    faults : mapping, optional
        What is wrong with parts by reference, as in `operating_point`.
    bridges : mapping, optional
        Ohms from net to net, as in `operating_point`.

    Returns
    -------
    Corners
        Poles and zeros with their sensitivities; an unstable pole is a caution. None, and a caution, where the output follows
        an op-amp beyond its input range.

    Raises
    ------
    ValueError
        If a value is out of range or of several units, a name is not known, or nothing passes from input to output.
    RuntimeError
        If there is no operating point.

    Notes
    -----
    The s at which G + s E is singular, with each op-amp's pole as one more unknown; zeros with drive and output as one more
    row and column. Sensitivities by left and right invariant subspaces of a group. The series resistance of capacitors is
    left out here (`response` has it); leakage, a pump's mean and a coupler's cell are as in `response`. Leakage is held where a
    capacitor changes.

    One unit at a time: corners have no names, and which poles and zeros lie together, cross or undo each other differs from
    unit to unit, so that no band could be told of one.

    References
    ----------
    DERIVED, the pencil and the derivative of a group of its roots; PRACTICE, generator and load, what counts as close.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from pedalcalc.board import assemble
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'X1,connector,battery clip,,,,"plus: rail, minus: ground",\\n'
    ...     'C1,film capacitor,22n,,5%,,"1: in, 2: out",\\n'
    ...     'R1,resistor,1M,,1%,,"1: out, 2: ground",\\n'
    ... )
    >>> found = corners(assemble(path, supply="9V"), net_in="in", net_out="out", resistance_load=float("inf"))
    >>> [f"{one.kind} at {one.frequency:.2f} Hz: {one.set_by}" for one in found.corners]
    ['pole at 7.16 Hz: C1 −1.00, R1 −0.99']
    """
    is_a("board", board, Board)
    low = one_number("frequency_from", frequency_from, "to look from", least=0)
    high = one_number("frequency_to", frequency_to, "to look to", above=0)
    signal = signal_of(
        board, net_in=net_in, net_out=net_out, resistance_generator=resistance_generator,
        resistance_load=resistance_load, values=values, faults=faults, bridges=bridges,
    )  # fmt: skip
    if signal.units > 1:
        raise ValueError(
            f"values: corners are those of one unit, got arrays of {signal.units}: which of them lie together or undo each other "
            "differs from unit to unit; ask for each unit, or take the band of `response`"
        )
    drive = signal.rod(GENERATOR)
    assert drive is not None
    cautions = _answers.still(signal)
    if wild := _answers.wild(
        _answers.unpredictable(signal, np.array([1j * _pencil.CENTRE]), signal.net_out), signal.net_out
    ):
        return Corners(corners=(), hidden=0, net_in=signal.net_in, net_out=signal.net_out, cautions=cautions + wild)
    pencil = _pencil.pencil_of(signal, drive)
    if not pencil.read.any():
        raise ValueError(f"net_out: {signal.net_out!r} is held by ground or a supply; nothing passes to it")
    if not pencil.factor.shape[1]:
        return Corners(corners=(), hidden=0, net_in=signal.net_in, net_out=signal.net_out, cautions=cautions)
    poles, zeros = _pencil.poles(pencil), _pencil.zeros(pencil)
    parameters = _pencil.parameters_of(signal)
    found, hidden = [], 0
    for group in _groups(poles.values, zeros.values):
        some, gone = _uncancelled(poles.values, zeros.values, *group)
        hidden += gone
        for one in some:
            hertz = _speed(poles.values[one[0]], zeros.values[one[1]]) / (2 * np.pi)
            unstable = _pencil.grows(poles.values[one[0]]).any()
            if not (low <= hertz <= high or unstable):
                continue
            size = len(one[0]) - len(one[1])
            moved: Any = sum(
                sign * len(which) * _pencil.moved_by(roots, np.array(which), parameters)
                for roots, which, sign in ((poles, one[0], 1.0), (zeros, one[1], -1.0))
                if which
            )
            told = {name: float(part) for name, part in zip(parameters.names, moved / size, strict=True)}
            found.append(_corner(poles.values, zeros.values, one, told))
    found.sort(key=lambda one: one.frequency)
    cautions += _runaways(poles.values)
    return Corners(corners=tuple(found), hidden=hidden, net_in=signal.net_in, net_out=signal.net_out, cautions=cautions)


def _groups(poles: Any, zeros: Any) -> list[Group]:
    """Return the indices of poles and of zeros that lie together; an unstable pole stays with its like."""
    roots = [
        (s, kind, k)
        for kind, values in enumerate((poles, zeros))
        for k, s in enumerate(values)
        if SLOWEST < abs(s) < np.inf
    ]
    roots.sort(key=lambda root: abs(root[0]))
    groups: list[list[tuple[complex, int, int]]] = []
    for root in roots:
        for group in groups:
            if any(_close(root[0], other[0]) and _grows(root) == _grows(other) for other in group):
                group.append(root)
                break
        else:
            groups.append([root])
    return [([k for _, kind, k in group if kind == 0], [k for _, kind, k in group if kind == 1]) for group in groups]


def _close(one: complex, other: complex) -> bool:
    """Tell whether two roots lie together, or one by the conjugate of the other."""
    reach = (CLOSE - 1) * min(abs(one), abs(other))
    conjugate = min(abs(one.imag - other.imag), abs(one.imag + other.imag))
    pair = one.imag != 0 and one == other.conjugate()
    return bool(pair or np.hypot(one.real - other.real, conjugate) <= reach)


def _grows(root: tuple[complex, int, int]) -> bool:
    s, kind, _ = root
    return kind == 0 and bool(_pencil.grows(s))


def _uncancelled(poles: Any, zeros: Any, some: list[int], others: list[int]) -> tuple[list[Group], int]:
    """Return what is told of a group, and how many pairs of it undo each other.

    Of more poles than zeros, or the reverse, the surplus is told as one, since what all of them move is its corner; of
    as many the pairs that stay apart by more than what may be hidden.
    """
    if len(some) != len(others):
        return [(some, others)], min(len(some), len(others))
    pairs = len(some)
    if np.abs(np.log(np.abs(poles[some])).sum() - np.log(np.abs(zeros[others])).sum()) <= np.log(CANCELS):
        return [], pairs
    some, others = list(some), list(others)
    for _ in range(pairs):
        nearest, pole, zero = min(
            (abs(np.log(abs(poles[one]) / abs(zeros[other]))), one, other) for one in some for other in others
        )
        if nearest > np.log(CANCELS) or _twin(poles[some], poles[pole]) or _twin(zeros[others], zeros[zero]):
            break
        some.remove(pole)
        others.remove(zero)
    return [(some, []), ([], others)] if some else [], pairs - len(some)


def _twin(values: Any, one: complex) -> bool:
    """Tell whether a root has a double, so that neither moves alone."""
    return bool((np.abs(values - one) < 1e-3 * abs(one)).sum() > 1)


def _speed(some: Any, others: Any) -> float:
    """Return the size [1/s] of what poles have over zeros, or zeros over poles: their mean by ratio."""
    logs = np.log(np.abs(some)).sum() - np.log(np.abs(others)).sum()
    return float(np.exp(logs / (len(some) - len(others))))


def _corner(poles: Any, zeros: Any, group: Group, told: Mapping[str, float]) -> Corner:
    """Return one corner: the surplus of a group's poles over its zeros, or of its zeros over its poles."""
    some, others = poles[group[0]], zeros[group[1]]
    size = len(some) - len(others)
    kind, count = "pole" if size > 0 else "zero", abs(size)
    speed = _speed(some, others)
    inside = [np.delete(values, which) for values, which in ((poles, group[0]), (zeros, group[1]))]
    slope = int((np.abs(inside[1]) < speed).sum()) - int((np.abs(inside[0]) < speed).sum())
    if kind == "pole":
        effect = "lows fall away below it" if slope > 0 else "highs fall away above it"
    else:
        effect = "the fall ends above it" if slope < 0 else "the response rises above it"
    if _pencil.grows(some).any():
        effect = UNSTABLE
    quality = np.nan
    if count == 2 and not (len(some) and len(others)):
        pair = some if size > 0 else others
        quality = float(np.abs(np.divide(speed, pair.sum().real))) if pair.sum().real else np.inf
    shown = sorted(((name, one) for name, one in told.items() if abs(one) >= NAMED), key=lambda pair: -abs(pair[1]))
    if np.isnan(list(told.values())).any():
        return Corner(
            frequency=speed / (2 * np.pi),
            kind=kind,
            effect=effect,
            set_by="cannot be told apart from others",
            count=count,
            quality=quality,
            sensitivities={},
        )
    text = ", ".join(f"{name} {'−' if one < 0 else '+'}{abs(one):.2f}" for name, one in shown)
    return Corner(
        frequency=speed / (2 * np.pi),
        kind=kind,
        effect=effect,
        set_by=text,
        count=count,
        quality=quality,
        sensitivities=dict(told),
    )


def _runaways(values: Any) -> tuple[Caution, ...]:
    """Return a caution for each unstable pole."""
    told = []
    for s in values[_pencil.grows(values) & (values.imag >= 0)]:
        hertz = abs(s) / (2 * np.pi)
        what = "oscillates" if s.imag > 1e-9 * abs(s) else "runs away from this operating point"
        told.append(
            Caution(
                f"the board {what} at about {write_value(hertz, unit='Hz', digits=2)}",
                "look for feedback from the output to an earlier stage, and at the supply's filters",
                float(s.real), 0.0, "1/s",
            )
        )  # fmt: skip
    return tuple(told)
