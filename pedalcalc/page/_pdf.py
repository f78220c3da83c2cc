"""Print a page to PDF with a browser of this computer."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from pedalcalc._arguments import file_path, one_number
from pedalcalc._files import refuse_unwritable
from pedalcalc.page._file import PageError, replace_file

BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "msedge",
    "microsoft-edge",
)
BROWSER_FLAGS = [
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
]


def _is_root() -> bool:
    """Tell whether this is root, for whom these browsers have no sandbox and do not start with one."""
    return hasattr(os, "geteuid") and os.geteuid() == 0


def write_pdf(page: str | os.PathLike[str], *, time_limit: float = 120.0) -> Path:
    """Print a page to PDF beside it with a Chromium-like browser of this computer.

    Parameters
    ----------
    page : path
        HTML page written by `write_page`.
    time_limit : float, default 120
        Longest time the browser may take, above 0 [s].

    Returns
    -------
    pathlib.Path
        The PDF written.

    Raises
    ------
    FileNotFoundError
        If there is no such page.
    PageError
        If no such browser is found, or it writes nothing.

    """
    limit = one_number("time_limit", time_limit, "", above=0.0)
    source = file_path("page", page)
    if not source.is_file():
        raise FileNotFoundError(f"there is no page {page}")
    browser = next(filter(None, map(shutil.which, BROWSERS)), None)
    if browser is None:
        raise PageError(f"no Chromium, Chrome or Edge found; open {source} in any browser and print it from there")
    target = source.with_suffix(".pdf")
    refuse_unwritable("page", target)
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "page.pdf"
        command = [
            browser,
            *BROWSER_FLAGS,
            *(["--no-sandbox"] if _is_root() else []),
            f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={made}",
            source.resolve().as_uri(),
        ]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=limit, check=False)
        except subprocess.TimeoutExpired as error:
            raise PageError(f"the browser took longer than {limit:g} s to print {source}") from error
        if not made.is_file():
            raise PageError(f"the browser wrote no PDF of {source}: {done.stderr.strip()[-500:]}")
        replace_file(target, made.read_bytes())
    return target
