"""What the builder's own meter should read at each net that is worth a probe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import is_a, one_number, whole_number
from pedalcalc._base import search
from pedalcalc._meter import doubt, loading
from pedalcalc._refusal import Unsolved
from pedalcalc.bench._rows import Expected, ExpectedReading
from pedalcalc.bench.places import fed_net, places, probe_of
from pedalcalc.board import Board
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.operating import all_solved, solved_board, told
from pedalcalc.circuit.probed import probed
from pedalcalc.circuit.restless import swinging
from pedalcalc.parts import NOT_CONNECTED, OTHER
from pedalcalc.tolerance.bands import MOST, band_ends
from pedalcalc.tolerance.draws import drawn_units
from pedalcalc.values import write_value

Array = NDArray[np.float64]

#: Volts that a meter may pull a net down before it is put into the circuit and solved again.
PULLED = 0.5e-3
ENGAGED, BYPASSED, BOTH = "engaged", "bypassed", "both"
CURRENT = "supply current"
#: What pulls at the pins of a part that nothing here computes [Ω]: some ten milliamperes from nine volts (common practice).
SWAY = 1e3
SWINGS = "swings by itself: the meter goes to and fro, or shows some mean"


@search
def expected_readings(
    board: Board,
    *,
    count: int = 400,
    seed: int = 1,
    coverage: float = 0.99,
    reels: Sequence[Sequence[str]] = (),
    values: Mapping[str, Any] | None = None,
) -> Expected:
    """Tell what the builder's meter should read at each net, engaged and bypassed, and where to put the probe.

    Parameters
    ----------
    board : Board
        The build under its conditions, with the builder's meter; whether it is bypassed does not matter here.
    count : int
        Units to draw [1], a whole number, at least 20.
    seed : int
        Start of the random numbers [1], a whole number, at least 0.
    coverage : float
        Share of the units that a band holds [1], above 0 and below 1.
    reels : sequence of sequence of str, optional
        References of parts from one reel or bag, as in `pedalcalc.tolerance.bands`.
    values : mapping, optional
        Other values for parts by reference, as in `pedalcalc.circuit.operating_point`; ``"supply"`` is the voltage of
        the source. One number each.

    Returns
    -------
    Expected
        One row for each net, from the supply through the signal path; two where the footswitch changes it.

    Raises
    ------
    ValueError
        If an argument is out of range or a reference is not on the board.
    RuntimeError
        If the board, or more than half of the drawn units, has no operating point.

    Notes
    -----
    Bands as in `pedalcalc.tolerance.bands`, on to which the meter's own doubt is put at either end. Where the meter would
    pull a net by more than half a millivolt it becomes part of the circuit, which is solved again. Nets joined by metal
    while the build is engaged stand once. Nets that swing by themselves, as an oscillator's do, have no
    number, nor have those that a part of the kind ``other`` can move out of their bands by 1 kΩ from one of its pins to
    ground or to the supply. The range is the smallest that holds the reading, 2 V or more.

    References
    ----------
    JCGM-101, propagation of distributions; PRACTICE, ranges of a meter, black lead on ground.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from pedalcalc.board import assemble
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'X1,connector,battery clip,,,,"plus: rail, minus: ground",\\n'
    ...     'R1,resistor,1M,,1%,,"1: rail, 2: half",\\n'
    ...     'R2,resistor,1M,,1%,,"1: half, 2: ground",\\n'
    ... )
    >>> half = expected_readings(assemble(path, supply="9V")).rows[-1]  # 4.5 V but for the meter's 10 MΩ
    >>> print(f"{half.probe}: {half.reading_low:.2f} to {half.reading_high:.2f} V")
    R1, the end away from rail: 4.21 to 4.37 V
    """
    is_a("board", board, Board)
    number, start = whole_number("count", count, least=20, most=MOST), whole_number("seed", seed, most=MOST)
    inside = one_number("coverage", coverage, "", above=0, below=1)
    units = drawn_units(board, count=number, seed=start, reels=reels)
    given = board.by_reference("values", values, "values by reference", "supply")
    fixed = {name: value for name, value in given.items() if name != "supply"}
    units = {name: value for name, value in units.items() if name not in fixed}
    switched = any(part.part.kind == "switch" for part in board.parts)
    states = [ENGAGED, BYPASSED] if switched else [ENGAGED]
    seen = {state: BoardState(replace(board, bypassed=state == BYPASSED), units, given) for state in states}
    first = seen[ENGAGED]
    if first.found.units > 1:
        raise ValueError(f"values must be one number or one part for each reference, got arrays of {first.found.units}")
    order = places(first.board, first.found)
    rows: list[ExpectedReading] = []
    for net in order:
        told_rows = [_row(seen[state], net, state if switched else BOTH, inside) for state in states]
        rows += _once(told_rows, board)
    source = fed_net(first.found)
    root = first.found.metal.root
    source = next((net for net in order if root(net)[0] == root(source)[0]), source)  # as its row calls it
    current = [_current(seen[state], state if switched else BOTH, inside) for state in states]
    after = sum(row.place == order[0] for row in rows)
    rows[after:after] = _once(current, board)
    usual = first.usual.get(source, np.nan)
    return Expected(
        rows=tuple(rows),
        voltage_supply=float(usual),
        place_supply=source,
        meter_text=str(board.meter.name),
        count=number,
        coverage=inside,
    )


@dataclass
class BoardState:
    """A board in one state of the footswitch, its usual unit and those drawn."""

    board: Board
    units: Mapping[str, Any]
    given: Mapping[str, Any]

    def __post_init__(self) -> None:
        self.found, self.system, self.nominal = solved_board(self.board, values=self.given)
        all_solved(self.nominal)
        named = told(self.found, self.system, self.nominal)
        self.usual = named["voltages"]
        self.floating, self.unpredictable = named["floating"], named["unpredictable"]
        self.current = named["current_supply"]
        self.swings = swinging(self.found, self.system, self.nominal)
        self.drawn, self.good = self._drawn()
        self.swayed = self._swayed()
        if self.good.sum() < len(self.good) / 2:
            raise Unsolved(
                f"only {int(self.good.sum())} of {len(self.good)} units were solved: see what the nominal board says"
            )

    def _drawn(self) -> tuple[dict[str, Any], Any]:
        found, self.equations, self.solved = solved_board(
            self.board, values={**self.units, **self.given}, start=self.nominal.voltages
        )
        named = told(found, self.equations, self.solved)
        count = len(self.solved.good)
        volts = {net: np.broadcast_to(np.asarray(one, float), (count,)) for net, one in named["voltages"].items()}
        current = np.broadcast_to(np.asarray(named["current_supply"], float), (count,))
        return volts | {CURRENT: current}, self.solved.good

    def _swayed(self) -> dict[str, str]:
        """Return the nets that a part which nothing here computes can move out of their bands, with its name.

        Each of its pins is pulled by `SWAY` to ground and to the supply, one at a time; where its own volts are unknown they stay so.
        """
        swayed: dict[str, str] = {}
        for one in self.board.parts:
            if one.part.kind != OTHER:
                continue
            ends = dict.fromkeys(pin.net for pin in one.pins if pin.net not in (GROUND, NOT_CONNECTED))
            swayed |= {net: one.part.label for net in ends if np.isnan(self.usual.get(net, np.nan))}
            for net in ends:
                for rail in {GROUND, fed_net(self.found) or GROUND} - {net}:
                    pulled = solved_board(self.board, values=self.given, bridges={(net, rail): SWAY})
                    seen = told(*pulled)["voltages"] if pulled[2].good.all() else {}
                    swayed |= {
                        other: one.part.label for other in self.usual if self._moved(other, seen.get(other, np.nan))
                    }
        return swayed

    def _moved(self, net: str, volts: Any) -> bool:
        """Tell whether a net that has a number stands outside its band with other volts, or has none any more."""
        usual, after = self.usual[net], float(np.asarray(volts, float).flat[0])
        if np.isnan(usual):
            return False
        kept = self.drawn[net][self.good]
        kept = kept[~np.isnan(kept)]
        low, high = (min(kept.min(), usual), max(kept.max(), usual)) if len(kept) else (usual, usual)
        off = doubt(usual, self.board.meter)
        return not low - off <= after <= high + off

    def loaded(self, net: str) -> tuple[float, Array]:
        """Return the usual reading and those of the drawn units with the meter on the net."""
        usual, drawn, good = self.usual[net], self.drawn[net], self.good
        ohms = loading(usual, self.board.meter)
        alone, held = probed(self.system, self.nominal, net, ohms)
        if not held[0]:
            raise Unsolved(f"no stable operating point was found for this board with the meter on {net!r}")
        if np.isnan(alone[0]):
            return float(alone[0]), np.zeros(0)
        if abs(alone[0] - usual) > PULLED:
            usual = alone[0]
            drawn, good = probed(self.equations, self.solved, net, ohms)
        return float(usual), np.asarray(drawn[good & ~np.isnan(drawn)])


def _row(state: BoardState, net: str, word: str, inside: float) -> ExpectedReading:
    """Return what the meter reads on a net."""
    probe = probe_of(state.board, net)
    why = ""
    if net in state.swayed:
        why = f"not computed: {state.swayed[net]} may hold it, and nothing here knows how"
    elif net in state.floating:
        why = "floating: nothing holds it, so the reading tells nothing"
    elif net in state.unpredictable or np.isnan(state.usual.get(net, np.nan)):
        why = "not predictable: it follows an op-amp whose inputs are beyond their range"
    elif net in state.swings:
        why = SWINGS
    if why:
        return _untold(net, probe, word, "V", why)
    usual, drawn = state.loaded(net)
    if len(drawn) < len(state.good) / 2:
        why = "not predictable: in many units it follows an op-amp whose inputs are beyond their range"
        return _untold(net, probe, word, "V", why)
    return _banded(state, net, probe, word, usual, drawn, inside, "V")


def _untold(place: str, probe: str, word: str, unit: str, why: str) -> ExpectedReading:
    """Return a row without a number, and why it has none."""
    nan = float("nan")
    return ExpectedReading(
        place=place,
        probe=probe,
        state=word,
        reading_low=nan,
        reading_typical=nan,
        reading_high=nan,
        unit=unit,
        note=why,
    )


def _current(state: BoardState, word: str, inside: float) -> ExpectedReading:
    drawn = state.drawn[CURRENT][state.good]
    where = "in the supply lead, meter in series"
    if others := [one.part.reference for one in state.board.parts if one.part.kind == OTHER]:
        known = write_value(float(state.current), unit="A", digits=2)
        return _untold(
            CURRENT, where, word, "A", f"{known}, {' and '.join(others)} on top: see the sheet of what is not computed"
        )
    if state.swings:
        about = write_value(float(state.current), unit="A", digits=2)
        return _untold(CURRENT, where, word, "A", f"to and fro about {about}: the board swings by itself")
    return _banded(state, CURRENT, where, word, float(state.current), drawn, inside, "A")


def _banded(
    state: BoardState, place: str, probe: str, word: str, usual: float, drawn: Array, inside: float, unit: str
) -> ExpectedReading:
    low, high, _ = band_ends(drawn, inside)
    meter = state.board.meter
    low, high = min(low, usual), max(high, usual)
    low, high = low - doubt(low, meter, unit), high + doubt(high, meter, unit)
    return ExpectedReading(
        place=place,
        probe=probe,
        state=word,
        reading_low=low,
        reading_typical=usual,
        reading_high=high,
        unit=unit,
        note="",
    )


def _once(rows: list[ExpectedReading], board: Board) -> list[ExpectedReading]:
    """Return one row where the meter cannot tell engaged from bypassed, else both."""
    if len(rows) == 1:
        return rows
    engaged, bypassed = rows
    if np.isnan(engaged.reading_typical) or np.isnan(bypassed.reading_typical):
        alike = engaged.note == bypassed.note
    else:
        off = doubt(engaged.reading_typical, board.meter, engaged.unit)
        alike = all(
            abs(getattr(engaged, end) - getattr(bypassed, end)) <= off
            for end in ("reading_low", "reading_typical", "reading_high")
        )
    return [replace(engaged, state=BOTH)] if alike else rows
