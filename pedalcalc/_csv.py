"""Read a CSV file that a spreadsheet wrote, with errors that name line and column; write cells that it takes as text."""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

T = TypeVar("T")

#: What a spreadsheet takes for the beginning of a formula.
FORMULA = ("=", "+", "-", "@")


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a file: where it stands and what its cells hold, stripped of spaces."""

    path: Path
    line: int
    cells: dict[str, str]

    def error(self, column: str, reason: object) -> ValueError:
        """Return the error that names file, line and column."""
        return ValueError(f"{self.path.name}, line {self.line}, column {column}: {reason}")

    def read(self, column: str, reader: Callable[[str], T]) -> T:
        """Return what `reader` makes of a cell; its ValueError gets file, line and column."""
        try:
            return reader(self.cells[column])
        except ValueError as reason:
            raise self.error(column, reason) from None


def each_row(path: str | Path, *, columns: tuple[str, ...], optional: tuple[str, ...] = ()) -> Iterator[Row]:
    """Yield the rows of a file that has these columns, one by one.

    Those that are `optional` may be missing and are then read as empty. See `read_table` for the rest.
    """
    path = Path(path)
    lines = _open(path, f"; its first line names the columns: {','.join(columns)}")
    number, names = next(lines)
    names = [name.casefold() for name in names]
    _check_header(path, number, names, columns, optional)
    absent = dict.fromkeys((name for name in optional if name not in names), "")
    for row in _rows(path, names, lines):
        row.cells.update(absent)
        yield row


def read_table(path: str | Path) -> tuple[list[str], list[Row]]:
    """Return the names of the columns and the rows of a file.

    Commas or semicolons part the cells; the first line decides. UTF-8 with or without a
    byte-order mark and every kind of line ending are read. Rows without any content are skipped.
    """
    path = Path(path)
    lines = _open(path, "")
    number, names = next(lines)
    for name in names:
        if names.count(name) > 1:
            raise ValueError(f"{path.name}, line {number}: column {name} stands there twice")
    return names, list(_rows(path, names, lines))


def _open(path: Path, hint: str) -> Iterator[tuple[int, list[str]]]:
    """Return the lines with content, the header first."""
    text = _decode(path)
    header = _header(text)
    if not header:
        raise ValueError(f"{path.name} is empty{hint}")
    if "\t" in header:
        raise ValueError(f"{path.name}, line 1: tabs part the columns; save with commas or semicolons")
    delimiter = _separator(header)
    return _lines(path, csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))


def parted_by(path: str | Path) -> str:
    """Return what parts the cells of a file: a comma or a semicolon."""
    return _separator(_header(_decode(Path(path))))


def _header(text: str) -> str:
    return next((line for line in io.StringIO(text, newline=None) if line.strip()), "")


def _separator(header: str) -> str:
    return ";" if header.count(";") > header.count(",") else ","


def _rows(path: Path, names: list[str], lines: Iterator[tuple[int, list[str]]]) -> Iterator[Row]:
    """Yield the lines below the header, as many cells in each as there are names."""
    for number, cells in lines:
        if len(cells) > len(names) and not any(cells[len(names) :]):
            cells = cells[: len(names)]  # as spreadsheets leave them
        if len(cells) != len(names):
            place = names[len(cells)] if len(cells) < len(names) else f"after {names[-1]}"
            raise ValueError(
                f"{path.name}, line {number}, column {place}: the line has {len(cells)} cells, the header {len(names)}; "
                "a cell that holds a separator is put in double quotes"
            )
        whole = "".join(cells)
        if not whole.isprintable():
            _refuse_unprintable(path, number, names, cells)
        if "'" in whole:
            cells = [_plain(cell) for cell in cells]
        yield Row(path, number, dict(zip(names, cells, strict=True)))


def _refuse_unprintable(path: Path, number: int, names: list[str], cells: list[str]) -> None:
    """Refuse control and invisible characters; line ends and all kinds of spaces are none."""
    for name, cell in zip(names, cells, strict=True):
        for sign in cell:
            if not sign.isprintable() and sign not in "\r\n" and unicodedata.category(sign) != "Zs":
                raise ValueError(
                    f"{path.name}, line {number}, column {name}: it holds a character that cannot be seen, "
                    f"U+{ord(sign):04X} ({unicodedata.name(sign, 'control character').lower()}); type the cell again"
                )


def written(text: str) -> str:
    """Return a text as it may stand in a cell: an apostrophe in front where a spreadsheet would take it for a formula."""
    return f"'{text}" if text.lstrip("'").startswith(FORMULA) else text


def _plain(cell: str) -> str:
    """Return a cell without the apostrophe that keeps it from being taken for a formula."""
    return cell[1:] if cell.startswith("'") and cell.lstrip("'").startswith(FORMULA) else cell


def _lines(path: Path, reader: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and stripped cells of every row with content."""
    line = 0
    try:
        for cells in reader:
            first, line = line + 1, reader.line_num  # type: ignore[attr-defined]
            stripped = [cell.strip() for cell in cells]
            if any(stripped):
                yield first, stripped
    except csv.Error as reason:
        raise ValueError(f"{path.name}, line {line + 1}: {reason}") from None


def _decode(path: Path) -> str:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise FileNotFoundError(f"there is no file {path}") from None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as reason:
        line = data.count(b"\n", 0, reason.start) + 1
        raise ValueError(f"{path.name}, line {line}: the text is not UTF-8; save the table as 'CSV UTF-8'") from None


def _check_header(path: Path, line: int, names: list[str], columns: tuple[str, ...], optional: tuple[str, ...]) -> None:
    where = f"{path.name}, line {line}"
    allowed = f"the columns are {', '.join(columns)}"
    for name in columns:
        if name not in (*names, *optional):
            raise ValueError(f"{where}: column {name} is missing; {allowed}")
    for name in names:
        if name not in columns:
            raise ValueError(f"{where}: column {name or '(without a name)'} is not known; {allowed}")
        if names.count(name) > 1:
            raise ValueError(f"{where}: column {name} stands there twice")
