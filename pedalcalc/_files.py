"""Write a file so that it appears whole or not at all, and leave nothing behind."""

from __future__ import annotations

import contextlib
import glob
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

try:
    import fcntl
except ImportError:  # not on Windows, where a file that is open cannot be removed anyway
    fcntl = None  # type: ignore[assignment]


@contextlib.contextmanager
def whole_file(target: Path, *, moved: bool = True) -> Iterator[tuple[BinaryIO, Path]]:
    """Yield a file beside `target` and its path; it is moved there if all went well, and removed else.

    With `moved` false it is left to the caller to give it its name. Its mode is that of any new file. What a killed
    run left behind for the same target goes.
    """
    _clear_leftovers(target)
    path, handle = _held(target)
    try:
        with os.fdopen(handle, "w+b") as file:
            yield file, path
            file.flush()
            os.fsync(file.fileno())
            if moved and fcntl is not None:
                path.replace(target)  # while it is held; where there are no locks no open file can be moved
        if moved and fcntl is None:
            path.replace(target)
    finally:
        path.unlink(missing_ok=True)


def _held(target: Path) -> tuple[Path, int]:
    """Return a new file beside `target` and a handle that holds it, so that no other run clears it away."""
    while True:
        path = _beside(target)
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR | getattr(os, "O_BINARY", 0), 0o666)
        if fcntl is not None:
            with contextlib.suppress(OSError):  # a file system without locks
                fcntl.flock(handle, fcntl.LOCK_EX)
            if not path.exists():  # a run that began at the same moment took it for a leftover
                os.close(handle)
                continue
        return path, handle


def refuse_unwritable(name: str, target: Path) -> None:
    """Refuse a path where no file can be put, naming the argument, before anything is computed for it."""
    if target.is_dir():
        raise IsADirectoryError(f"{name} must be the path of a file, but {target} is a folder")
    if not target.parent.is_dir():
        raise FileNotFoundError(f"{name} must lie in a folder that is there, but there is no {target.parent}")
    if target.exists() and not os.access(target, os.W_OK):
        raise PermissionError(f"{name} must be a file that may be written, but {target} is write-protected")
    trial = _beside(target)
    try:
        os.close(os.open(trial, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    except OSError as reason:
        words = f"{name} must lie in a folder that may be written, but {target.parent} may not: {reason.strerror}"
        raise type(reason)(words) from None
    trial.unlink(missing_ok=True)


def _beside(target: Path) -> Path:
    return target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")


def _clear_leftovers(target: Path) -> None:
    """Remove the unfinished files of runs that were killed: those that nobody holds."""
    for left in target.parent.glob(f".{glob.escape(target.name)}.{'[0-9a-f]' * 8}.part"):
        with contextlib.suppress(OSError):
            if fcntl is None:
                left.unlink()
            else:
                with left.open("rb") as file:
                    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    left.unlink()
