"""What the printable page and its PDF share."""

from __future__ import annotations

from pathlib import Path

from pedalcalc._files import whole_file


class PageError(RuntimeError):
    """A page could not be made; the message says which cell, and why."""


def replace_file(target: Path, content: bytes) -> None:
    """Write a file so that it appears whole or not at all."""
    with whole_file(target) as (file, _):
        file.write(content)
