"""A private JupyterLab and a Chromium, both with nothing of the user's in them."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from tests.conftest import ROOT

BROWSERS = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--js-flags=--no-turbofan",  # no page lives long enough to earn what optimizing its scripts costs
]
# No pop-ups, and every cell stays in the page.
SETTINGS = {
    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
    "notebook-extension/tracker": {"windowingMode": "none"},
}
WINDOW = {"width": 1366, "height": 768}  # a small laptop's; the lab's own bars leave 647 of the height
STEP = 30_000  # longest time for any one step in the browser, in milliseconds
LOOK = 50  # milliseconds from one look at the page to the next: each frame would cost half of what the page itself does
RAIL = (
    "board.doubled_supply(board.assemble('notebooks/builds/optical-compressor/parts.csv', supply='9V'), "
    "roles=board.OPTICAL_ROLES).rail"
)
# What failed in the notebook shown, as the lab holds it: it draws an error and a warning alike.
ERRORS = """() => window.jupyterapp.shell.currentWidget.content.widgets
    .filter(cell => cell.model.type === 'code').flatMap(cell => cell.model.outputs.toJSON())
    .filter(output => output.output_type === 'error').map(output => output.traceback.join('\\n'))"""
READY = """path => {
    const widget = window.jupyterapp?.shell.currentWidget;
    return widget?.context?.path === path && widget.sessionContext?.session?.kernel?.status === 'idle';
}"""
DONE = """() => {
    const cells = [...window.jupyterapp.shell.currentWidget.content.widgets].filter(cell => cell.model.type === 'code');
    const asked = cells.some(cell => cell.promptNode?.textContent.includes('*') || cell.model.executionState === 'running');
    const stopped = cells.some(({model: {outputs}}) => [...Array(outputs.length).keys()].some(
        place => outputs.get(place).type === 'error'));
    return !asked && (stopped || cells.at(-1).model.executionCount !== null);
}"""
# Open a notebook, or bring it to the front.
SHOW = "path => window.jupyterapp.commands.execute('docmanager:open', {path}).then(() => null)"
EXPLORERS = {
    "step": "explore.step_response(compressor.example())",
    "static": "explore.static_curve(compressor.example())",
    "listening": "explore.listening(compressor.example())",
    "led": "explore.indicator_led(devices.LED_GREEN_GAP, voltage_supply=9.0, resistance=2200.0)",
    "detector": "explore.detector(resistance_attack=10e3, resistance_release=220e3, capacitance_hold=1e-6, "
    "frequency=82.4, voltage_peak=1.0, rectifier='full')",
    "JFET": "explore.jfet_bias(voltage_supply=9.0, resistance_drain=4.7e3, resistance_source_pin=1e3, "
    "current_drain_zero_bias=3e-3, voltage_gate_source_off=-1.8)",
    "BJT": "explore.bjt_bias(devices.BJT_BC549B, voltage_supply=9.0, resistance_top=68e3, resistance_bottom=15e3, "
    "resistance_collector=4.7e3, resistance_emitter=1e3, current_gain=290.0)",
    "battery": "explore.battery_discharge(devices.BATTERY_9V_ALKALINE, current_load=0.010, voltage_end=7.0)",
    "pump": f"explore.charge_pump({RAIL}, voltage_supply=9.0, current_load=0.005)",
    "budget": f"explore.voltage_budget({RAIL}, voltage_supply=9.0, current_load=0.006, current_direct=0.002, "
    "voltage_peak=1.0)",
    "coupler": "explore.coupler_curve(devices.COUPLER_GREEN_GAP_GL5528, current=0.001)",
}


def find_browser():
    """Return a Chromium; without one skip and say so, but fail where a robot builds."""
    found = next((path for path in BROWSERS if os.access(path, os.X_OK)), shutil.which("chromium"))
    if found is None:
        reason = f"no Chromium at {', '.join(BROWSERS)}"
        if os.environ.get("CI"):
            pytest.fail(f"{reason}; in CI the browser tests must run")
        pytest.skip(reason)
    return found


@pytest.fixture(scope="session")
def browser():
    """Start one Chromium for all tests."""
    path = find_browser()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=FLAGS, timeout=STEP)
        yield started
        started.close()


@pytest.fixture(scope="session")
def worksheets(tmp_path_factory):
    """Copy the notebooks, since a lab saves what it runs, and add one with all explorers."""
    folder = tmp_path_factory.mktemp("worksheets")
    shutil.copytree(ROOT / "notebooks", folder / "notebooks", dirs_exist_ok=True)
    kernel = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    cells = [
        new_markdown_cell("# Explorers"),
        new_code_cell("from pedalcalc import board, compressor, devices, explore"),
        *map(new_code_cell, EXPLORERS.values()),
    ]
    nbformat.write(new_notebook(cells=cells, metadata=kernel), folder / "explorers.ipynb")
    return folder


@pytest.fixture(scope="session")
def lab(worksheets, tmp_path_factory):
    """Start a JupyterLab on a free port with folders of its own; end it by its process."""
    find_browser()
    folder = tmp_path_factory.mktemp("lab")
    for name, value in SETTINGS.items():
        file = folder / "settings/@jupyterlab" / f"{name}.jupyterlab-settings"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(value), encoding="utf-8")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    token = secrets.token_hex(16)
    own = {
        "JUPYTERLAB_SETTINGS_DIR": "settings",
        "JUPYTERLAB_WORKSPACES_DIR": "workspaces",
        "JUPYTER_CONFIG_DIR": "config",
        "JUPYTER_RUNTIME_DIR": "runtime",
        "IPYTHONDIR": "ipython",
    }
    environment = {**os.environ, **{name: str(folder / place) for name, place in own.items()}}
    command = [
        *(sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1", f"--port={port}"),
        *("--ServerApp.port_retries=0", f"--IdentityProvider.token={token}", f"--ServerApp.root_dir={worksheets}"),
        *("--LabApp.expose_app_in_browser=True", "--LabApp.news_url=None"),
    ]
    with (folder / "lab.log").open("w") as log:
        process = subprocess.Popen(command, env=environment, stdout=log, stderr=subprocess.STDOUT)
    url, deadline = f"http://127.0.0.1:{port}", time.monotonic() + 90
    try:
        while True:
            try:
                with urllib.request.urlopen(f"{url}/api/status?token={token}", timeout=2):
                    break
            except (OSError, urllib.error.URLError):
                assert process.poll() is None, (folder / "lab.log").read_text()
                assert time.monotonic() < deadline, (folder / "lab.log").read_text()
                time.sleep(0.1)
        yield url, token
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(20)


def until(page, condition, arg=None, timeout=STEP):
    """Wait until a condition holds in the page."""
    page.wait_for_function(condition, arg=arg, timeout=timeout, polling=LOOK)


def run_all(page):
    """Run all cells of the notebook shown by the menu, as the first line of every lesson says."""
    page.evaluate(
        "window.jupyterapp.commands.execute('notebook:clear-all-cell-outputs')"
    )  # to tell it from the last run
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
    until(page, DONE, timeout=4 * STEP)


@pytest.fixture(scope="session")
def desk(lab, browser):
    """Give the one page of a whole lab in which all notebooks are opened, its start page first."""
    url, token = lab
    page = browser.new_page(viewport=WINDOW)
    page.set_default_timeout(STEP)
    page.goto(f"{url}/lab/tree/notebooks/start-here.ipynb?reset&token={token}")
    until(page, READY, "notebooks/start-here.ipynb", timeout=2 * STEP)
    yield page
    page.close()


@pytest.fixture(scope="session")
def explorers(desk):
    """Run the notebook with all explorers and return a function that gives one of its panels by name."""

    def panel_of(name):
        desk.evaluate(f"({SHOW})('explorers.ipynb')")
        return desk.locator(".jp-NotebookPanel:visible .pedalcalc-panel").nth([*EXPLORERS].index(name))

    desk.evaluate(f"({SHOW})('explorers.ipynb')")
    until(desk, READY, "explorers.ipynb", timeout=2 * STEP)
    run_all(desk)
    assert desk.evaluate(ERRORS) == []
    assert desk.locator(".jp-NotebookPanel:visible .pedalcalc-panel").count() == len(EXPLORERS)
    return panel_of
