"""Read a CSV file that a spreadsheet wrote, with errors that name line and column."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

T = TypeVar("T")


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


def read_rows(path: str | Path, *, columns: tuple[str, ...], optional: tuple[str, ...] = ()) -> list[Row]:
    """Return the rows of a file that has these columns, in any order and any case of letters.

    Those that are `optional` may be missing and are then read as empty. See `read_table` for the rest.
    """
    path = Path(path)

    def check(line: int, names: list[str]) -> list[str]:
        names = [name.casefold() for name in names]
        _check_header(path, line, names, columns, optional)
        return names

    names, rows = _read(path, check, f"; its first line names the columns: {','.join(columns)}")
    absent = dict.fromkeys((name for name in optional if name not in names), "")
    if absent:
        for row in rows:
            row.cells.update(absent)
    return rows


def read_table(path: str | Path) -> tuple[list[str], list[Row]]:
    """Return the names of the columns and the rows of a file.

    Commas or semicolons part the cells; the first line decides. UTF-8 with or without a
    byte-order mark and every kind of line ending are read. Rows without any content are skipped.
    """
    path = Path(path)

    def check(line: int, names: list[str]) -> list[str]:
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"{path.name}, line {line}: column {name} stands there twice")
        return names

    return _read(path, check, "")


def _read(path: Path, check: Callable[[int, list[str]], list[str]], hint: str) -> tuple[list[str], list[Row]]:
    text = _decode(path)
    header = next((line for line in text.splitlines() if line.strip()), "")
    if not header:
        raise ValueError(f"{path.name} is empty{hint}")
    if "\t" in header:
        raise ValueError(f"{path.name}, line 1: tabs part the columns; save with commas or semicolons")
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=";" if header.count(";") > header.count(",") else ",", strict=True
    )
    lines = _lines(path, reader)
    names = check(*next(lines))
    rows = []
    for number, cells in lines:
        if len(cells) != len(names):
            place = names[len(cells)] if len(cells) < len(names) else f"after {names[-1]}"
            raise ValueError(
                f"{path.name}, line {number}, column {place}: the line has {len(cells)} cells, the header {len(names)}; "
                "a cell that holds a separator is put in double quotes"
            )
        rows.append(Row(path, number, dict(zip(names, cells, strict=True))))
    return names, rows


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
    data = path.read_bytes()
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
