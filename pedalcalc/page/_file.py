"""Write a file so that it appears whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


class PageError(RuntimeError):
    """A page could not be made; the message says which cell, and why."""


def replace_file(target: Path, content: bytes) -> None:
    """Write a file so that it appears whole or not at all."""
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.stem}-", suffix=target.suffix)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(name).chmod(0o644)
        Path(name).replace(target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
