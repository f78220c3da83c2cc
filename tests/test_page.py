"""The printable page: whole, offline, and clear about what failed."""

from __future__ import annotations

import atexit
import os
import re
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import nbclient
import nbformat
import numpy as np
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from pedalcalc import _files
from pedalcalc.page import PageError, write_page
from pedalcalc.page._asked import asked
from pedalcalc.page._file import replace_file
from pedalcalc.page._pdf import write_pdf

FOLDER = Path(tempfile.mkdtemp(prefix="pedalcalc-page-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
KERNEL = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}


def notebook_at(path, *sources):
    cells = [new_markdown_cell("# Sheet"), *(new_code_cell(source) for source in sources)]
    nbformat.write(new_notebook(cells=cells, metadata=KERNEL), path)
    return path


CALLS = {
    "write_page": {"notebook": notebook_at(FOLDER / "sheet.ipynb", "print(6 * 7)"), "time_limit": 60.0},
}

PANEL = (
    "from pedalcalc import explore, plot, report",
    "report.formula('f_c = 1/(2*pi*R*C)')",
    "report.table([{'point': 'TP1', 'expected': 4.5}], units={'expected': 'V'}, blanks=['read'])",
    "plot.rail_diagram({'label': 9.0, 'swing': (1.5, 7.0)})",
    "plot.sketch('low-pass')",
    "from pedalcalc import devices\nexplore.coupler_curve(devices.COUPLER_GREEN_GAP_GL5528, current=0.001)",
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Return a page with one of everything."""
    return write_page(notebook_at(tmp_path_factory.mktemp("page") / "sheet.ipynb", *PANEL))


def test_page_stands_beside_its_notebook_and_leaves_it_alone(whole):
    notebook = whole.with_suffix(".ipynb")
    assert whole.name == "sheet.html"
    assert all(not cell.get("outputs") for cell in nbformat.read(notebook, as_version=4).cells)
    assert sorted(path.name for path in whole.parent.iterdir()) == ["sheet.html", "sheet.ipynb"]


def test_page_shows_results_and_hides_code(whole):
    text = whole.read_text(encoding="utf-8")
    assert "<title>Sheet</title>" in text
    assert text.count("<figure>") == text.count("<svg") == 3
    assert "<math" in text and "4.50\N{NO-BREAK SPACE}V" in text
    assert "rail_diagram" not in text and "import" not in re.sub("<style>.*?</style>", "", text, flags=re.DOTALL)
    assert "shown: LED current 1.00\N{NO-BREAK SPACE}mA" in text


def test_page_loads_nothing(whole):
    text = whole.read_text(encoding="utf-8")
    assert "<script" not in text and "<link" not in text and "@import" not in text and "url(http" not in text
    loaded = re.findall(r"\b(?:src|href|data)=[\"']([^\"'#][^\"']*)", text)
    assert [target for target in loaded if not target.startswith("data:")] == []


def test_paper_is_a4_or_letter(whole):
    assert "@page { size: A4;" in whole.read_text(encoding="utf-8")
    with pytest.raises(ValueError, match=r"^paper must be"):
        write_page(whole.with_suffix(".ipynb"), paper="A3")


def test_cells_for_the_screen_are_left_off_the_page(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "print('seen')", "print('hidden')")
    notebook = nbformat.read(path, as_version=4)
    notebook.cells.append(nbformat.v4.new_markdown_cell("words hidden"))
    for cell in notebook.cells[-2:]:
        cell.metadata["tags"] = ["screen"]
    given = "from pedalcalc import devices\nresistance_led, lamp = '4k7', devices.LED_BLUE  # or LED_RED\nown = ''"
    notebook.cells.insert(1, new_code_cell(given, metadata={"tags": ["parameters"]}))
    nbformat.write(notebook, path)
    text = write_page(path).read_text(encoding="utf-8")
    assert "seen" in text and "hidden" not in text
    assert ">Asked in the first cell: resistance LED <b>4k7</b>; lamp <b>LED_BLUE</b>.<" in text


def test_what_a_first_cell_asks_is_told_as_one_would_write_it():
    lines = (
        "low, high = -30.0, '9 V'",
        "usual, boost = devices.typical(devices.DIODE_1N5817), True",
        "pairs = [('1k', '2 V'), ('47k', '3 V')]",
        "draws = {'pump': ('4 mA', '5 mA')}",
        "drawer = ['1k', '10k']  # yours",
        "tables, file, channel = [], '', None",
    )
    assert asked("\n".join(lines)) == [
        ("low", "\N{MINUS SIGN}30.0"),
        ("high", "9 V"),
        ("usual", "DIODE_1N5817"),
        ("boost", "yes"),
        ("pairs", "(1k, 2 V), (47k, 3 V)"),
        ("draws", "pump: (4 mA, 5 mA)"),
        ("drawer", "1k, 10k"),
    ]
    assert asked("%matplotlib inline") == []


def test_failing_cell_is_named_and_nothing_is_written(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "x = 1", "x / 0")
    with pytest.raises(PageError, match=r"^division by zero\n\(in .*, code cell 2 \('x / 0'\), ZeroDivisionError\)"):
        write_page(path)
    assert [file.name for file in tmp_path.iterdir()] == ["sheet.ipynb"]


def test_old_page_stays_when_the_new_one_fails(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "1 / 0")
    (tmp_path / "sheet.html").write_text("old", encoding="utf-8")
    with pytest.raises(PageError):
        write_page(path)
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == "old"


def test_slow_cell_is_ended_after_one_more_try(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "open('tries', 'a').write('x')\nimport time; time.sleep(60)")
    with pytest.raises(PageError, match="took longer than 2 s, twice"):
        write_page(path, time_limit=2.0)
    assert (tmp_path / "tries").read_text() == "xx"


def test_dead_kernel_is_tried_once_more_and_told(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "open('tries', 'a').write('x')\nimport os; os._exit(3)")
    with pytest.raises(PageError, match="did not answer, twice"):
        write_page(path)
    assert (tmp_path / "tries").read_text() == "xx"


@pytest.mark.parametrize("lost", [1, 2])
def test_a_lost_connection_to_the_kernel_is_tried_once_more_and_told(tmp_path, monkeypatch, lost):
    """nbclient asserts that its connection is there, which its own cleaning up takes away."""
    tries = []

    async def run(client, *given, **more):
        if not given[1]:  # the first cell
            tries.append(client.km)
            if len(tries) <= lost:
                await client._async_cleanup_kernel()
        return await whole(client, *given, **more)

    whole = nbclient.NotebookClient.async_execute_cell
    monkeypatch.setattr(nbclient.NotebookClient, "async_execute_cell", run)
    path = notebook_at(tmp_path / "sheet.ipynb", "print(6 * 7)")
    if lost == 1:
        assert "42" in write_page(path).read_text(encoding="utf-8")
    else:
        with pytest.raises(PageError, match=r"the kernel did not answer, twice: its connection was gone"):
            write_page(path)
    assert len(tries) == 2 and not any(manager.has_kernel for manager in tries)


def test_a_slip_in_running_is_told_as_it_is_and_not_as_a_lost_kernel(tmp_path, monkeypatch):
    tries = []

    async def run(client, *given, **more):
        tries.append(client.km)
        raise AttributeError("no such name")

    monkeypatch.setattr(nbclient.NotebookClient, "async_execute_cell", run)
    with pytest.raises(AttributeError, match="no such name"):
        write_page(notebook_at(tmp_path / "sheet.ipynb", "1"))
    assert len(tries) == 1 and not tries[0].has_kernel


#: A process of its own: beside a browser the client's loop is not in the main thread, and the signal would end all tests.
STOPPED = """
import os, signal, sys
import nbclient
from pedalcalc.page import PageError, write_page

async def run(client, *given, **more):
    os.kill(os.getpid(), signal.SIGTERM)
    return await whole(client, *given, **more)

path, where = sys.argv[1:]
whole = getattr(nbclient.NotebookClient, where)
setattr(nbclient.NotebookClient, where, run)
try:
    write_page(path)
except PageError as error:
    print(error)
"""


@pytest.mark.parametrize("where", ["async_start_new_kernel", "async_start_new_kernel_client", "async_execute_cell"])
def test_a_run_told_to_stop_at_any_moment_says_so(tmp_path, where):
    """nbclient cleans up beside what is under way: that finds kernel or connection gone, or is called off."""
    path = notebook_at(tmp_path / "sheet.ipynb", SLEEP)
    command = [sys.executable, "-c", STOPPED, str(path), where]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.stdout.endswith("the run was told to stop\n"), done.stderr


def test_signals_are_the_callers_own_again_behind_a_run(tmp_path):
    """asyncio's `remove_signal_handler` leaves the system's habit, not what was there before."""
    before = [signal.signal(signal.SIGTERM, lambda *_: None), signal.getsignal(signal.SIGINT)]
    mine = signal.getsignal(signal.SIGTERM)
    try:
        write_page(notebook_at(tmp_path / "sheet.ipynb", "1"))
        assert [signal.getsignal(signal.SIGTERM), signal.getsignal(signal.SIGINT)] == [mine, before[1]]
    finally:
        signal.signal(signal.SIGTERM, before[0])


def test_what_is_no_notebook_is_refused(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"there is no notebook .*none\.ipynb"):
        write_page(tmp_path / "none.ipynb")
    (tmp_path / "broken.ipynb").write_text("{", encoding="utf-8")
    with pytest.raises(PageError, match=r"cannot be read as a notebook: copy it anew, or save it again in the lab$"):
        write_page(tmp_path / "broken.ipynb")
    other = new_notebook(metadata={"kernelspec": {"name": "ir", "display_name": "R", "language": "R"}})
    nbformat.write(other, tmp_path / "other.ipynb")
    with pytest.raises(PageError, match="only Python"):
        write_page(tmp_path / "other.ipynb")


def test_missing_kernel_is_told(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "ipykernel.kernelspec", None)
    with pytest.raises(PageError, match=r"kernel is not installed .*pedalcalc\[lab\]"):
        write_page(notebook_at(tmp_path / "sheet.ipynb", "1"))


def test_command_writes_and_tells_where(tmp_path):
    notebook = notebook_at(tmp_path / "sheet.ipynb", "print(6 * 7)")
    done = subprocess.run(
        [sys.executable, "-m", "pedalcalc.page", str(notebook)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"page written: {tmp_path / 'sheet.html'}\n"
    assert "42" in (tmp_path / "sheet.html").read_text(encoding="utf-8")


def test_command_fails_in_one_line(tmp_path):
    command = [sys.executable, "-m", "pedalcalc.page", str(tmp_path / "none.ipynb")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 1
    assert done.stderr == f"error: there is no notebook {tmp_path / 'none.ipynb'}\n"


def test_pdf_without_a_browser_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    (tmp_path / "given.html").write_text("<p>page</p>", encoding="utf-8")
    with pytest.raises(PageError, match=r"open .* in any browser and print it"):
        write_pdf(tmp_path / "given.html")
    with pytest.raises(FileNotFoundError, match="there is no page"):
        write_pdf(tmp_path / "none.html")


@pytest.mark.parametrize("place", ["nowhere/page.html", ".", "shut/page.html"])
def test_a_page_that_cannot_be_written_is_refused_before_the_notebook_runs(tmp_path, place, monkeypatch):
    path = notebook_at(tmp_path / "sheet.ipynb", "open('ran', 'w').close()")
    (tmp_path / "shut").write_text("a file where a folder should be", encoding="utf-8")
    with pytest.raises(OSError, match=r"^page must (be the path of a file|lie in a folder that is there)"):
        write_page(path, page=tmp_path / place)
    assert not (tmp_path / "ran").exists()


def test_a_write_protected_place_is_refused_before_the_notebook_runs(tmp_path, monkeypatch):
    path = notebook_at(tmp_path / "sheet.ipynb", "open('ran', 'w').close()")
    (tmp_path / "sheet.html").write_text("old", encoding="utf-8")
    with monkeypatch.context() as patch:  # root may write anywhere, so the answer of the system is put in
        patch.setattr("os.access", lambda *_: False)
        with pytest.raises(PermissionError, match=r"page must be a file that may be written, but .*sheet\.html"):
            write_page(path)

    def refused(*_):
        raise OSError(30, "Read-only file system")

    with monkeypatch.context() as patch:
        patch.setattr("os.open", refused)
        with pytest.raises(
            OSError, match=r"page must lie in a folder that may be written, but .* Read-only file system"
        ):
            write_page(path)
    assert not (tmp_path / "ran").exists()


def test_a_page_has_the_mode_of_any_new_file(tmp_path):
    path = notebook_at(tmp_path / "sheet.ipynb", "1")
    old = os.umask(0o027)
    try:
        page = write_page(path)
    finally:
        os.umask(old)
    assert stat.S_IMODE(page.stat().st_mode) == 0o640


def test_leftovers_of_a_killed_run_go_and_those_of_a_running_one_stay(tmp_path):
    target = tmp_path / "sheet.html"
    code = (
        "import os, pathlib, sys; from pedalcalc._files import whole_file\n"
        "with whole_file(pathlib.Path(sys.argv[1])) as (file, path): print(path.name, flush=True); input()"
    )
    command = [sys.executable, "-c", code, str(target)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as running:
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as killed:
            names = running.stdout.readline().strip(), killed.stdout.readline().strip()
            killed.kill()
        assert {file.name for file in tmp_path.iterdir()} == set(names)
        replace_file(target, b"new")
        assert {file.name for file in tmp_path.iterdir()} == {"sheet.html", names[0]}
        running.communicate("\n", timeout=30)
    assert [file.name for file in tmp_path.iterdir()] == ["sheet.html"]


@pytest.mark.skipif(_files.fcntl is None, reason="no locks here, and an open file cannot be removed")
def test_a_file_cleared_by_a_run_that_begins_at_the_same_moment_is_made_anew(tmp_path, monkeypatch):
    target, held = tmp_path / "sheet.html", []

    def flock(file, how):
        if not held:
            held.extend(tmp_path.glob(".sheet.html.*"))
            held[0].unlink()  # the other run, between making the file and holding it
        return lock(file, how)

    lock = _files.fcntl.flock
    monkeypatch.setattr(_files.fcntl, "flock", flock)
    replace_file(target, b"new")
    assert held and [file.name for file in tmp_path.iterdir()] == ["sheet.html"] and target.read_bytes() == b"new"


def test_runs_at_the_same_moment_leave_one_another_alone(tmp_path):
    code = (
        "import pathlib, sys; from pedalcalc.page._file import replace_file; input()\n"
        "for _ in range(200): replace_file(pathlib.Path(sys.argv[1]), b'whole')"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "sheet.html")]
    runs = [subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(3)]
    for run in runs:
        run.stdin.write("\n")
        run.stdin.flush()
    assert [run.communicate(timeout=100)[1] for run in runs] == [""] * 3
    assert [(file.name, file.read_bytes()) for file in tmp_path.iterdir()] == [("sheet.html", b"whole")]


def test_a_run_that_is_told_to_stop_leaves_nothing_behind(tmp_path):
    notebook = notebook_at(tmp_path / "sheet.ipynb", "open('pid', 'w').write(str(__import__('os').getpid()))", SLEEP)
    folders = {"TMPDIR": tmp_path / "temporary", "JUPYTER_RUNTIME_DIR": tmp_path / "runtime"}
    for folder in folders.values():
        folder.mkdir()
    environment = os.environ | {name: str(folder) for name, folder in folders.items()}
    with subprocess.Popen(
        [sys.executable, "-m", "pedalcalc.page", str(notebook)], env=environment, stderr=subprocess.PIPE
    ) as run:
        _wait_for(lambda: (tmp_path / "pid").exists() and (tmp_path / "pid").read_text())
        run.terminate()
        run.wait(timeout=30)
        said = run.stderr.read().decode()
    assert (run.returncode, said) == (1, f"error: {notebook}: the run was told to stop\n")
    kernel = Path("/proc", (tmp_path / "pid").read_text())
    _wait_for(lambda: not kernel.exists() or "(zombie)" in (kernel / "status").read_text())
    assert sorted(file.name for file in tmp_path.iterdir()) == ["pid", "runtime", "sheet.ipynb", "temporary"]
    assert not [file for folder in folders.values() for file in folder.iterdir()]


SLEEP = "import time; time.sleep(60)"


def _wait_for(condition):
    for _ in range(300):
        if condition():
            return
        time.sleep(0.1)
    raise AssertionError("waited 30 s in vain")


@pytest.mark.parametrize("limit", [0.5, 1.25])
def test_fractional_time_limits_hold(tmp_path, limit):
    path = notebook_at(tmp_path / "sheet.ipynb", SLEEP)
    with pytest.raises(PageError, match=f"a cell took longer than {limit} s, twice"):
        write_page(path, time_limit=limit)


@pytest.mark.parametrize("limit", [0, -1.0, np.nan, np.inf, [1.0, 2.0], "long", None])
def test_impossible_time_limits_are_refused_by_name(tmp_path, limit):
    path = notebook_at(tmp_path / "sheet.ipynb", "1")
    with pytest.raises((ValueError, TypeError), match=r"^time_limit must be"):
        write_page(path, time_limit=limit)


def test_the_browsers_sandbox_stays_on_unless_root(tmp_path, monkeypatch):
    (tmp_path / "given.html").write_text("<p>page</p>", encoding="utf-8")
    seen = []

    def ran(command, **_):
        seen.append(command)
        place = next(word.partition("=")[2] for word in command if word.startswith("--print-to-pdf="))
        Path(place).write_bytes(b"%PDF")
        return subprocess.CompletedProcess(command, 0, "", "")

    monkeypatch.setattr("shutil.which", lambda name: f"/bin/{name}")
    monkeypatch.setattr("subprocess.run", ran)
    for user, off in ((1000, False), (0, True)):
        monkeypatch.setattr("os.geteuid", lambda user=user: user)
        write_pdf(tmp_path / "given.html")
        assert ("--no-sandbox" in seen[-1]) == off


def test_tables_and_text_are_shown_as_they_stand(tmp_path):
    source = (
        "from pedalcalc import report\n"
        "class Text:\n"
        "    def __init__(self, shown): self.shown = shown\n"
        "    def _repr_markdown_(self): return self.shown._repr_markdown_()\n"
        "row = {'point': '<script>x</script> **TP1** [a](http://b) `c` _d_ $e$ & | f', 'expected': 4.5}\n"
        "table = report.table([row], title='<img src=q>')\n"
    )
    path = notebook_at(tmp_path / "sheet.ipynb", source + "table", source + "Text(table)", source + "print(table)")
    text = write_page(path).read_text(encoding="utf-8")
    body = text[text.index('<section class="result">') :]
    assert "<script" not in body and "<img" not in body and "<a " not in body and "<em>" not in body
    assert body.count("&lt;script&gt;x&lt;/script&gt; **TP1** [a](http://b) `c` _d_ $e$ &amp; | f") == 3


def test_a_row_without_a_label_gets_no_line_to_write_on():
    """Of what is told apart by a label only, as one of several choices, the others' labels are empty and not to be written in."""
    style = (Path(_files.__file__).parent / "page/template/page.css").read_text(encoding="utf-8")
    assert "td:empty" in style and style.count("td:empty") == style.count("td:empty:not(:first-child)")
