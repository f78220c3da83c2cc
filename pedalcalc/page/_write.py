"""Run a notebook, or read a parts list, and write the page to print beside it; both are left as they are."""

from __future__ import annotations

import asyncio
import atexit
import datetime
import os
import signal
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pedalcalc import __version__
from pedalcalc._arguments import file_path, one_number, one_of
from pedalcalc._base import io
from pedalcalc._files import refuse_unwritable
from pedalcalc._screen_text import build_name, page_together
from pedalcalc.page._asked import asked
from pedalcalc.page._file import PageError, replace_file

# How the title of the notebook that a builder copies begins; a copy's page is called as its folder.
COPIED = "# Your build"
# What a client stumbles over when its kernel, or its connection to it, is gone: it takes both for there (`assert`).
LOST = (RuntimeError, AssertionError, asyncio.CancelledError)
# The same while a signal takes them away beside what is under way.
STOPPED = (*LOST, AttributeError)
# Papers to print on: margins, with which one that is lower by 18 mm and wider by 6 holds about as much as A4, and how high a row of
# the bench card is against A4's, so that its two pages stay two.
PAPERS = {"A4": ("15mm 15mm 19mm 18mm", 1.0), "letter": ("9mm 15mm 13mm 18mm", 0.97)}
# What a page shows of an output that comes in several forms, best first; never the live widget.
FORMS = ["image/svg+xml", "text/html", "image/png", "text/markdown", "text/plain"]


@io
def write_page(
    notebook: str | os.PathLike[str],
    *,
    page: str | os.PathLike[str] | None = None,
    time_limit: float = 120.0,
    paper: str = "A4",
) -> Path:
    """Run a notebook, or make the sheet of a parts list, and write it as one HTML file to print that needs no network.

    Parameters
    ----------
    notebook : path
        Notebook to run, or a parts list (``.csv``), whose sheet is made with all answers found from it
        (`pedalcalc.sheet.build_sheet`); it is not changed.
    page : path, optional
        Where to write; beside the notebook or list, with the ending ``.html``, where not given.
    time_limit : float, default 120
        Longest time for any one cell, above 0 [s].
    paper : str, default "A4"
        What it is printed on: A4 or letter.

    Returns
    -------
    pathlib.Path
        The page written.

    Raises
    ------
    FileNotFoundError
        If there is no such notebook, or no folder for the page.
    OSError
        If the page cannot be written there; the notebook is not run then.
    PageError
        If a cell fails or runs too long, the notebook cannot be read, or the notebook kernel is not installed.
    ValueError
        If the time limit or the paper is none, or a parts list cannot be read or computed with, with file, line and part.

    Notes
    -----
    A kernel that hangs or is lost is ended and the run repeated once. The page appears whole or not at all.

    References
    ----------
    PRACTICE : a worksheet is taken to the bench on paper.

    Examples
    --------
    >>> from pedalcalc import page
    >>> page.write_page("no-such-notebook.ipynb")
    Traceback (most recent call last):
    FileNotFoundError: there is no notebook no-such-notebook.ipynb
    """
    limit = one_number("time_limit", time_limit, "", above=0.0)
    one_of("paper", paper, tuple(PAPERS))
    source = file_path("notebook", notebook)
    if not source.is_file():
        raise FileNotFoundError(f"there is no {'list' if source.suffix == '.csv' else 'notebook'} {notebook}")
    target = source.with_suffix(".html") if page is None else file_path("page", page)
    refuse_unwritable("page", target)
    ran = _of_list(source) if source.suffix == ".csv" else _named(_executed(source, limit), source)
    text = _rendered(ran, source, paper)
    replace_file(target, text.encode("utf-8"))
    return target


def _of_list(source: Path) -> Any:
    """Return the sheet of a parts list as a notebook that has been run."""
    try:
        import nbformat.v4
    except ImportError as error:
        raise PageError(f"writing a page needs {error.name}; install pedalcalc[lab]") from error
    from pedalcalc.sheet import build_sheet

    made = build_sheet(source)
    shown = [*(section._repr_html_() for section in made.sections.values()), made.card._repr_html_()]
    cells = [nbformat.v4.new_markdown_cell(f"# {build_name(source.parent)}: its sheet from its parts list")]  # type: ignore[no-untyped-call]
    for html in shown:
        output = nbformat.v4.new_output("display_data", {"text/html": html})  # type: ignore[no-untyped-call]
        cells.append(nbformat.v4.new_code_cell(outputs=[output]))  # type: ignore[no-untyped-call]
    return nbformat.v4.new_notebook(cells=cells)  # type: ignore[no-untyped-call]


def _named(notebook: Any, source: Path) -> Any:
    """Return the notebook with the name of its folder in its title, where the builder left that as it was copied."""
    first = notebook.cells[0] if notebook.cells else None
    if first is not None and first.cell_type == "markdown" and first.source.startswith(COPIED):
        first.source = f"# {build_name(source.parent)}{first.source.removeprefix(COPIED)}"
    return notebook


def _executed(source: Path, limit: float) -> Any:
    """Return the notebook with its outputs, run by this very Python."""
    try:
        import nbclient.exceptions
        import nbformat
        from jupyter_client.kernelspec import KernelSpecManager, NoSuchKernel
        from jupyter_client.manager import AsyncKernelManager
    except ImportError as error:
        raise PageError(f"running a notebook needs {error.name}; install pedalcalc[lab]") from error

    for attempt in (1, 2):
        try:
            notebook = nbformat.read(source, as_version=4)  # type: ignore[no-untyped-call]
        except Exception as error:
            raise PageError(
                f"{source} cannot be read as a notebook: copy it anew, or save it again in the lab"
            ) from error
        _check_language(notebook, source)
        # No kernel folders are searched: the kernel is always this Python, the one pedalcalc is installed in.
        specs = KernelSpecManager(kernel_dirs=[], ensure_native_kernel=True)
        manager = AsyncKernelManager(kernel_name="python3", kernel_spec_manager=specs)
        places = {"metadata": {"path": str(source.parent.resolve())}}
        client = nbclient.NotebookClient(
            notebook,
            km=manager,
            timeout_func=lambda _: limit,
            startup_timeout=60,
            shutdown_kernel="immediate",
            resources=places,
        )
        # What the kernel process itself writes is kept, and told only if it dies.
        with tempfile.TemporaryFile() as said, _left_as_before(client):
            try:
                return client.execute(stderr=said, cleanup_kc=True)
            except nbclient.exceptions.CellTimeoutError as error:
                if attempt == 2:
                    words = " ".join(str(error).split())[:300]
                    raise PageError(f"{source}: a cell took longer than {limit:g} s, twice: {words}") from error
            except nbclient.exceptions.CellExecutionError as error:
                where = _failing_cell(notebook)
                # The reason first: it is what the builder can act on.
                raise PageError(f"{error.evalue}\n(in {source}, {where}, {error.ename})") from error
            except (NoSuchKernel, ModuleNotFoundError) as error:
                raise PageError(f"the notebook kernel is not installed ({error}); install pedalcalc[lab]") from error
            except STOPPED as error:
                if _was_stopped(client):
                    raise PageError(f"{source}: the run was told to stop") from None
                if not isinstance(error, LOST):
                    raise
                if attempt == 2:
                    words = str(error) or "its connection was gone"
                    raise PageError(f"{source}: the kernel did not answer, twice: {words}{_tail(said)}") from error
    raise AssertionError("not reached")


@contextmanager
def _left_as_before(client: Any) -> Iterator[None]:
    """Give what this process does on a signal, or at its end, back to it; a client takes both over, and may leave its own."""
    ours = threading.current_thread() is threading.main_thread()
    kept = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM) if ours}
    try:
        yield
    finally:
        atexit.unregister(client._cleanup_kernel)
        cleaning = getattr(client, "_async_cleanup_kernel_future", None)
        if cleaning is not None and cleaning.done() and not cleaning.cancelled():
            cleaning.exception()  # else it is told at the end of the process, after the one sentence that counts
        for number, handler in kept.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)


def _was_stopped(client: Any) -> bool:
    """Tell whether a signal ended the run; the client then ends its kernel itself, and stumbles over that."""
    return getattr(client, "_async_cleanup_kernel_future", None) is not None


def _tail(said: Any) -> str:
    said.seek(0)
    words = said.read().decode("utf-8", "replace").strip()
    return f"; it said: {words[-300:]}" if words else ""


def _check_language(notebook: Any, source: Path) -> None:
    language = notebook.metadata.get("kernelspec", {}).get("language", "python")
    if language != "python":
        raise PageError(f"{source} is written in {language}; only Python notebooks can be run")


def _failing_cell(notebook: Any) -> str:
    """Return the number and first line of the cell that holds an error."""
    codes = [cell for cell in notebook.cells if cell.cell_type == "code"]
    for number, cell in enumerate(codes, 1):
        if any(output.output_type == "error" for output in cell.get("outputs", [])):
            return f"code cell {number} ({cell.source.strip().splitlines()[0]!r})"
    return "a cell"


def _rendered(notebook: Any, source: Path, paper: str) -> str:
    try:
        from nbconvert import HTMLExporter
        from traitlets.config import Config
    except ImportError as error:
        raise PageError(f"writing a page needs {error.name}; install pedalcalc[lab]") from error

    for cell in notebook.cells:
        if cell.cell_type == "code" and "parameters" in cell.metadata.get("tags", []):
            cell.metadata["asked"] = asked(cell.source)
    template = Path(__file__).parent / "template"
    config = Config()
    config.NbConvertBase.display_data_priority = FORMS
    exporter = HTMLExporter(  # type: ignore[no-untyped-call]
        config=config,
        template_name=template.name,
        extra_template_basedirs=[str(template.parent)],
        exclude_input=True,
        exclude_output_prompt=True,
    )
    exporter.embed_images = True
    resources = {
        "metadata": {"name": source.stem, "path": str(source.parent.resolve())},
        "page_title": _title(notebook, source),
        "page_notebook": source.name,
        "page_version": __version__,
        "page_date": datetime.date.today().isoformat(),
        "page_foot": _css_string(f"{_title(notebook, source)}, {datetime.date.today().isoformat()}"),
        "page_paper": paper,
        "page_margin": PAPERS[paper][0],
        "page_rows": PAPERS[paper][1],
        "page_of_a_build": (source.parent / "parts.csv").is_file(),
    }
    return page_together(str(exporter.from_notebook_node(notebook, resources=resources)[0]))


def _css_string(text: str) -> str:
    """Return text as a string of a style sheet, whatever stands in it."""
    return '"' + "".join(c if c.isalnum() or c in " .,:-" else f"\\{ord(c):x} " for c in text) + '"'


def _title(notebook: Any, source: Path) -> str:
    for cell in notebook.cells:
        for line in cell.source.splitlines() if cell.cell_type == "markdown" else ():
            if line.startswith("# "):
                return str(line[2:].strip())
    return source.stem
