"""How the whole suite is spread over the processor's cores, and what its tests recorded."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Iterator

import pytest
from xdist.scheduler import LoadScopeScheduling

#: Files whose tests share one process: a notebook is run once, and its page read by all.
PRINTED = ("tests/browser/test_paper.py", "tests/test_notebooks.py", "tests/test_lessons_own_sound.py")
#: A folder whose other tests share one process: they share one lab and one browser.
TOGETHER = "tests/browser/"
#: What takes longest, in the order in which it is begun, so that no core is left alone with a long end.
FIRST = (
    TOGETHER,
    *PRINTED,
    *("tests/test_worksheets.py", "tests/test_compressor_oracle.py", "tests/test_explore.py"),
)
#: Run by hand, on a quiet machine.
collect_ignore = ["tests/benchmarks"]
MOST = 4  # processes: each of them collects all tests anew

# Seventy processes import the package, and three all tests: they are compiled once, whatever the shell says of bytecode.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
# nbformat's checks of a schema read a grammar of addresses when they are imported, for 0.8 s of a processor and for no notebook.
sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Take a process more than there are cores for the whole suite, since one waits for a browser for a third of its time.

    What is named on the command line runs in this process.
    """
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if config.args_source is not pytest.Config.ArgsSource.TESTPATHS or cores == 1:
        return 0
    return min(cores + 1, MOST)


def pytest_configure(config: pytest.Config) -> None:
    """Leave each process one thread for matrices: more than there are cores would wait for each other."""
    if config.option.dist != "no":
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the processes inherit it, and numpy reads it there


class ByFile(LoadScopeScheduling):
    """Give a process one file after the other, since the tests of a file share what they prepare."""

    def _split_scope(self, nodeid: str) -> str:
        if nodeid.startswith(PRINTED):
            return "printed pages"
        return TOGETHER if nodeid.startswith(TOGETHER) else nodeid.partition("::")[0]


def pytest_xdist_make_scheduler(config: pytest.Config, log) -> ByFile | None:
    return ByFile(config, log) if config.option.dist == "loadfile" else None


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[None]:
    """Look for no garbage while tests are collected, nor ever again among what collecting them leaves.

    Half a million objects stand until the end; to go through them again and again took a quarter of the collection's time.
    """
    gc.disable()
    try:
        return (yield)
    finally:
        gc.collect()
        gc.freeze()
        gc.enable()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Put what takes longest first, in every process alike."""
    if hasattr(config, "workerinput"):
        order = [*enumerate(FIRST), (len(FIRST), "")]
        items.sort(key=lambda item: next(place for place, start in order if item.nodeid.startswith(start)))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Say what tests recorded: a process without a screen of its own cannot print it."""
    recorded = [
        (report.nodeid, report.user_properties)
        for report in terminalreporter.getreports("passed")
        if report.user_properties
    ]
    if recorded and config.option.dist != "no":
        terminalreporter.section("recorded")
        for nodeid, properties in recorded:
            terminalreporter.line(f"{nodeid}: {', '.join(f'{name} {value}' for name, value in properties)}")
