"""Any result, or a list of them, as a table."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

import numpy as np

from pedalcalc._arguments import list_of, table_of, whole_number, words
from pedalcalc._base import io
from pedalcalc._number_text import cell_text, range_text
from pedalcalc._result import Caution, Result
from pedalcalc._screen_text import html_text, markdown_text, plain_text
from pedalcalc._units import told
from pedalcalc.devices import Spread
from pedalcalc.report._block import SAME, Block, html_of, is_narrow, markdown_of, plain_of

LONGEST = 24
ALIKE = 3  # rows; a column that says the same in all of them is said once
WIDEST = 8
#: Last words of the heads over the ends and the middle of a spread: a value without a spread stands once under all of them.
ENDS = {"least", "lowest"}, {"most", "highest"}
INSIDE = {"typical", "usual"}.union(*ENDS)


@dataclasses.dataclass(frozen=True)
class Table:
    """What `table` returns: shows itself in a notebook, in Markdown and as plain text."""

    title: str
    blocks: tuple[Block, ...]
    cautions: tuple[Caution, ...] = ()

    def _repr_html_(self) -> str:
        from pedalcalc.report._boxes import caution_box

        parts = [f'<p style="break-after:avoid"><strong>{html_text(self.title)}</strong></p>'] if self.title else []
        parts += [html_of(block) for block in self.blocks]
        parts += [caution_box(self.cautions)._repr_html_()] if self.cautions else []
        narrow = len(self.blocks) == 1 and is_narrow(self.blocks[0]) and not self.cautions
        return f'<div class="pedalcalc-table{" narrow" if narrow else ""}">{"".join(parts)}</div>'

    def _repr_markdown_(self) -> str:
        from pedalcalc.report._boxes import caution_box

        parts = [f"**{markdown_text(self.title)}**"] if self.title else []
        parts += [markdown_of(block) for block in self.blocks]
        parts += [caution_box(self.cautions)._repr_markdown_()] if self.cautions else []
        return "\n\n".join(parts)

    def __str__(self) -> str:
        from pedalcalc.report._boxes import caution_box

        parts = [plain_text(self.title)] if self.title else []
        parts += [plain_of(block) for block in self.blocks]
        parts += [str(caution_box(self.cautions))] if self.cautions else []
        return "\n\n".join(parts)

    __repr__ = __str__


@io
def table(
    results: Any,
    *,
    columns: Sequence[str] | Mapping[str, str] | None = None,
    labels: Sequence[str] | None = None,
    units: Mapping[str, str] | None = None,
    digits: int = 3,
    spread_factors: Mapping[str, float] | None = None,
    blanks: Sequence[str] = (),
    title: str = "",
) -> Table:
    """Lay out any result, or a list of results, as a table with engineering units.

    A result of single values becomes one line for each field; array fields become
    rows; results inside a result become tables of their own. A list of results
    (or of plain dictionaries) becomes one row each, turned upright where it would be too wide for paper.

    Parameters
    ----------
    results : Result, or sequence or mapping of results or dictionaries
        What to show. A mapping gives its keys as the row labels.
    columns : sequence of str, or mapping of str to str, optional
        Field names to show, in this order; a mapping renames them. A field of a result inside is written ``"point.current"``.
    labels : sequence of str, optional
        One label for each row.
    units : mapping of str to str, optional
        Unit of each column of dictionaries, ``%`` for a share to be shown in percent; results bring their own.
    digits : int, default 3
        Significant digits, at least 1 [1].
    spread_factors : mapping of str to float, optional
        Fields that rest on an unmeasured part, with the factor either way: printed as the range it leaves.
    blanks : sequence of str, optional
        Heads of empty columns to write into by hand.
    title : str, optional
        Line above the table.

    Returns
    -------
    Table
        Object that shows itself in a notebook, as Markdown and as text.

    Raises
    ------
    ValueError
        If a column is not a field of the results, or labels do not match the rows.
    TypeError
        If `results` is neither a result nor a list of results or dictionaries.

    References
    ----------
    PRACTICE : three significant digits, prefixes in steps of a thousand.

    Examples
    --------
    >>> from pedalcalc import report
    >>> print(report.table([{"part": "R1", "power": 0.0123}], units={"power": "W"}))
    part  power
    ----  -------
    R1    12.3 mW
    """
    digits = whole_number("digits", digits, least=1)
    factors = table_of("spread_factors", spread_factors, "factors by field")
    style = _Style(digits, dict(factors), dict(table_of("units", units, "units by field")))
    blanks = list_of("blanks", blanks, "heads of columns", str)
    words("title", title)
    if labels is not None:
        labels = list_of("labels", labels, "labels, one a row")
    if not (columns is None or isinstance(columns, (str, Mapping))):
        columns = list_of("columns", columns, "names of fields", str)
    if isinstance(results, Result):
        blocks, found = _single(results, columns, labels, blanks, style)
    elif isinstance(results, Mapping) and all(isinstance(part, (Result, Mapping)) for part in results.values()):
        labels = list(results) if labels is None else labels
        blocks, found = _many(list(results.values()), columns, labels, blanks, style)
    elif isinstance(results, Sequence) and not isinstance(results, str):
        blocks, found = _many(list(results), columns, labels, blanks, style)
    else:
        raise TypeError(f"results must be a result or a list of results or dictionaries, not {told(results)}")
    return Table(title, blocks, found)


@dataclasses.dataclass(frozen=True)
class _Style:
    digits: int
    factors: dict[str, float]
    units: dict[str, str]

    def text(self, name: str, value: Any, unit: str) -> str:
        factor = self.factors.get(name)
        return cell_text(value, unit, self.digits) if factor is None else range_text(float(value), unit, factor)


@dataclasses.dataclass(frozen=True)
class _Field:
    name: str
    value: Any
    unit: str
    caption: str


def _fields(record: Any, style: _Style, prefix: str = "") -> list[_Field]:
    """Return the fields of a result or dictionary, results inside flattened by dotted name."""
    if isinstance(record, Mapping):
        return [_Field(str(key), part, style.units.get(str(key), ""), str(key)) for key, part in record.items()]
    if not isinstance(record, Result) or not dataclasses.is_dataclass(record):
        raise TypeError(f"results must be results or dictionaries, but one is {told(record)}")
    found = []
    for field in dataclasses.fields(record):
        value = getattr(record, field.name)
        unit = "%" if field.metadata.get("percent") else str(field.metadata.get("unit", ""))
        caption = str(field.metadata.get("caption", field.name.replace("_", " ")))
        if unit == "cautions":
            continue
        if isinstance(value, Result) and unit != "record":
            inner = _fields(value, style, f"{prefix}{field.name}.")
            found += [dataclasses.replace(part, caption=f"{caption}: {part.caption}") for part in inner]
        else:
            found.append(_Field(prefix + field.name, value, unit, caption))
    return found


def _picked(fields: list[_Field], columns: Sequence[str] | Mapping[str, str] | None) -> list[_Field]:
    if columns is None:
        return fields
    if isinstance(columns, str):
        columns = [columns]
    known = {field.name: field for field in fields}
    for name in columns:
        if name not in known:
            raise ValueError(f"columns: {name!r} is not a field here; there are {', '.join(known)}")
    if isinstance(columns, Mapping):
        return [dataclasses.replace(known[name], caption=caption) for name, caption in columns.items()]
    return [known[name] for name in columns]


def _single(
    result: Result,
    columns: Sequence[str] | Mapping[str, str] | None,
    labels: Sequence[str] | None,
    blanks: tuple[str, ...],
    style: _Style,
) -> tuple[tuple[Block, ...], tuple[Caution, ...]]:
    fields = _picked(_fields(result, style), columns)
    lists = [field for field in fields if _is_list_of_results(field.value)]
    arrays = [field for field in fields if _is_array(field.value) and field not in lists]
    scalars = [field for field in fields if field not in lists and field not in arrays]
    blocks = []
    if scalars:
        rows = tuple(
            (part.caption, style.text(part.name, part.value, part.unit), *("" for _ in blanks)) for part in scalars
        )
        blocks.append(Block("", ("", "", *blanks) if blanks else (), rows, frozenset({0})))
    shapes = dict.fromkeys(np.shape(part.value) for part in arrays)
    for shape in shapes:
        group = [part for part in arrays if np.shape(part.value) == shape]
        blocks.append(_array_block(group, labels, blanks, style))
    for part in lists:
        inner, _ = _many(list(part.value), None, None, (), style)
        blocks += [dataclasses.replace(block, title=part.caption) for block in inner]
    return tuple(blocks), collect_cautions(result)


def _is_list_of_results(value: Any) -> bool:
    is_list = isinstance(value, (tuple, list)) and not isinstance(value, Spread)
    return is_list and bool(value) and all(isinstance(part, (Result, Mapping)) for part in value)


def _is_array(value: Any) -> bool:
    is_list = isinstance(value, (tuple, list)) and not isinstance(value, Spread)
    return (isinstance(value, np.ndarray) and value.ndim > 0) or (is_list and len(value) > 0)


def _array_block(group: list[_Field], labels: Sequence[str] | None, blanks: tuple[str, ...], style: _Style) -> Block:
    """Return one row for each element; long arrays show their first and last rows."""
    shape = np.shape(group[0].value)
    columns = [list(np.asarray(part.value, dtype=object).reshape(-1)) for part in group]
    count = len(columns[0])
    if len(shape) > 1:
        names = [", ".join(str(i) for i in index) for index in np.ndindex(shape)]
    else:
        names = [] if labels is None else _labelled(labels, count)
    alike: list[tuple[str, str]] = []
    if names and len(shape) == 1 and count >= ALIKE:
        texts = [
            {style.text(part.name, value, part.unit) for value in column}
            for part, column in zip(group, columns, strict=True)
        ]
        alike = [(part.caption, next(iter(told))) for part, told in zip(group, texts, strict=True) if len(told) == 1]
        if len(alike) == len(group) and not blanks:
            return Block(f"The same for {', '.join(names)}", (), tuple(alike), frozenset({0}))
        vary = [k for k, told in enumerate(texts) if len(told) > 1]
        group, columns = [group[k] for k in vary], [columns[k] for k in vary]
    head = (*(("",) if names else ()), *(part.caption for part in group), *blanks)
    shown = range(count)
    if count > LONGEST:
        shown = [*range(LONGEST // 2), -1, *range(count - LONGEST // 2 + 1, count)]  # type: ignore[assignment]
    rows = []
    for i in shown:
        cells = [style.text(part.name, column[i], part.unit) for part, column in zip(group, columns, strict=True)]
        row = (*((names[i],) if names else ()), *cells, *("" for _ in blanks))
        rows.append(row if i >= 0 else tuple("⋮" for _ in row))
    title = "In every row: " + "; ".join(f"{caption} {text}" for caption, text in alike) if alike else ""
    if count > LONGEST:
        title = "; ".join(filter(None, (f"{count} rows, the first and the last shown", title)))
    left = {0} if names else set()
    left |= {k + bool(names) for k, part in enumerate(group) if part.unit in {"text", "bool", "record"}}
    return Block(title, head, tuple(rows), frozenset(left))


def _labelled(labels: Sequence[str], count: int) -> list[str]:
    if len(labels) != count:
        raise ValueError(f"labels must be {count}, one for each row, got {len(labels)}")
    return [str(label) for label in labels]


def _many(
    results: list[Any],
    columns: Sequence[str] | Mapping[str, str] | None,
    labels: Sequence[str] | None,
    blanks: tuple[str, ...],
    style: _Style,
) -> tuple[tuple[Block, ...], tuple[Caution, ...]]:
    if not results:
        raise ValueError("results must hold at least one result, got an empty list")
    names = [] if labels is None else _labelled(labels, len(results))
    every = [_picked(_fields(result, style), columns) for result in results]
    captions = dict.fromkeys((field.name, field.caption) for row in every for field in row)
    rows, left = [], set()
    for i, row in enumerate(every):
        known = {field.name: field for field in row}
        cells = []
        for k, (name, _) in enumerate(captions):
            field = known.get(name)
            cells.append("" if field is None else style.text(name, field.value, field.unit))
            if field is not None and (isinstance(field.value, (str, bool)) or field.unit in {"text", "record"}):
                left.add(k + bool(names))
        rows.append((*((names[i],) if names else ()), *cells, *("" for _ in blanks)))
    head = (*(("",) if names else ()), *(caption for _, caption in captions), *blanks)
    left |= {0} if names else set()
    block = _once(_varying(Block("", head, tuple(rows), frozenset(left))))
    head, rows = block.head, list(block.rows)
    if len(head) > WIDEST and len(rows) < len(head):
        block = _upright(block, bool(names))
    return (block,), collect_cautions(results)


def _varying(block: Block) -> Block:
    """Return the block without the columns that say the same in every row; that is said above it."""
    told = [set(column) for column in zip(*block.rows, strict=True)]
    said = [head.rpartition(" ")[2] not in INSIDE for head in block.head]  # an end without its spread says little
    alike = [k for k, texts in enumerate(told) if k and said[k] and len(texts) == 1 and texts != {""}]
    family = [head.partition(",")[0] for head in block.head]  # "release" and "release, model" are there to compare
    parted = {family[k] for k in range(len(family)) if k not in alike}
    alike = [k for k in alike if family[k] not in parted]
    kept = [k for k in range(len(block.head)) if k not in alike]
    if len(block.rows) < ALIKE or not alike or not any(len(told[k]) > 1 for k in kept[1:]):
        return block
    title = "In every row: " + "; ".join(f"{block.head[k]} {block.rows[0][k]}" for k in alike)
    return Block(
        title,
        tuple(block.head[k] for k in kept),
        tuple(tuple(row[k] for k in kept) for row in block.rows),
        frozenset(place for place, k in enumerate(kept) if k in block.left),
    )


def _once(block: Block) -> Block:
    """Return the block with a value without a spread, the same at both ends, shown once in its row; in one column if all are."""
    heads = [caption.rpartition(" ")[2] for caption in block.head]
    spreads = []
    for inside, run in groupby(range(len(heads)), lambda k: heads[k] in INSIDE):
        places = list(run)
        if inside and all(end & {heads[k] for k in places} for end in ENDS):
            spreads.append(places)
    for places in reversed(spreads):
        if all(row[k] == row[places[0]] for row in block.rows for k in places):
            return _once(_one_of(block, places))
    rows = []
    for row in block.rows:
        cells = list(row)
        for first, *others in spreads:
            if row[first] and {row[k] for k in others} == {row[first]}:
                cells[others[0] : others[-1] + 1] = [SAME] * len(others)
        rows.append(tuple(cells))
    return dataclasses.replace(block, rows=tuple(rows))


def _one_of(block: Block, places: list[int]) -> Block:
    """Return the block with the columns of a spread that no row has as one, under the head of its middle or what all share."""
    first, *others = places
    kept = [k for k in range(len(block.head)) if k not in others]
    heads = list(block.head)
    middle = [heads[k] for k in places if heads[k].rpartition(" ")[2] not in set.union(*ENDS)]
    heads[first] = middle[0] if middle else heads[first].rpartition(" ")[0].rstrip(",") or heads[first]
    return Block(
        block.title,
        tuple(heads[k] for k in kept),
        tuple(tuple(row[k] for k in kept) for row in block.rows),
        frozenset(place for place, k in enumerate(kept) if k in block.left),
    )


def _upright(block: Block, named: bool) -> Block:
    """Return the block turned on its side: one line for each field, one column for each row."""
    body = tuple(zip(block.head, *block.rows, strict=True))
    head, rows = (body[0], body[1:]) if named else ((), body)
    return Block(block.title, head, rows, frozenset({0}))


def collect_cautions(thing: Any) -> tuple[Caution, ...]:
    """Return every caution anywhere inside results, lists and mappings, each once."""
    return tuple(dict.fromkeys(_cautions_in(thing)))


def _cautions_in(thing: Any) -> Iterator[Caution]:
    if isinstance(thing, Caution):
        yield thing
    elif isinstance(thing, Result) and dataclasses.is_dataclass(thing):
        for field in dataclasses.fields(thing):
            yield from _cautions_in(getattr(thing, field.name))
    elif isinstance(thing, Mapping):
        for part in thing.values():
            yield from _cautions_in(part)
    elif isinstance(thing, (tuple, list)):
        for part in thing:
            yield from _cautions_in(part)
