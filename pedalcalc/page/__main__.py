"""Command line of the printable page."""

from __future__ import annotations

import argparse
import signal
import sys
from typing import Any

from pedalcalc.page import PageError, write_page
from pedalcalc.page._pdf import write_pdf
from pedalcalc.page._write import PAPERS


def main(arguments: list[str] | None = None) -> int:
    """Write the page of each notebook named, and say where it is."""
    parser = argparse.ArgumentParser(
        prog="python -m pedalcalc.page",
        description="Run a notebook, or read a parts list, and write its page to print beside it.",
    )
    parser.add_argument("notebook", nargs="+", help="notebook to run, or parts.csv; it is not changed")
    parser.add_argument(
        "--pdf", action="store_true", help="print it to PDF too, with a Chromium-like browser of this computer"
    )
    parser.add_argument("--paper", choices=tuple(PAPERS), default="A4", help="what is printed on (A4)")
    parser.add_argument(
        "--time-limit", type=float, default=120.0, metavar="SECONDS", help="longest time for any one cell (120)"
    )
    chosen = parser.parse_args(arguments)
    for notebook in chosen.notebook:
        try:
            page = write_page(notebook, time_limit=chosen.time_limit, paper=chosen.paper)
            print(f"page written: {page}")
            if chosen.pdf:
                print(f"PDF written: {write_pdf(page, time_limit=chosen.time_limit)}")
        except (PageError, OSError, ValueError) as error:
            print(f"error: {error}", file=sys.stderr)
            return 1
    return 0


def _stopped(number: int, _frame: Any) -> None:
    """Leave as any error does, so that kernel, browser and unfinished files go."""
    sys.exit(128 + number)


if __name__ == "__main__":
    # What reads a notebook would read a grammar of addresses first, for 0.8 s of a processor; no notebook is checked for them.
    sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]
    signal.signal(signal.SIGTERM, _stopped)
    sys.exit(main())
