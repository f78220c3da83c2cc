"""From a key, or the mouse, to the picture of every panel, in a real browser of 1366 by 768."""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path
from xml.etree import ElementTree

MEASURED = Path(__file__).parents[1] / "browser" / "panel_times.py"
BUDGETS = {"beside": "100 ms", "drag": "200 ms"}


def rows() -> list[tuple[str, float, str]]:
    """Return claim, measured figure and budget."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "times.xml"
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-n",
            "0",
            "-q",
            "-o",
            "junit_family=xunit1",
            f"--junitxml={report}",
            str(MEASURED),
        ]
        done = subprocess.run(command, check=False, timeout=900, capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(f"panels were not timed:\n{done.stdout[-2000:]}")
        cases = list(ElementTree.parse(report).iter("testcase"))
    return [
        (
            f"{name_of(case)}: {measured.get('name')}, ms",
            float(measured.get("value", "")),
            budget(measured.get("name", "")),
        )
        for case in cases
        for measured in case.iter("property")
    ]


def name_of(case: ElementTree.Element) -> str:
    """Return the panel's name, which stands in brackets behind the test's."""
    return re.sub(r".*\[(.*)\]", r"\1", case.get("name", ""))


def budget(claim: str) -> str:
    """Return what is allowed: 150 ms at any place of the sliders unless the claim says otherwise."""
    return f"at most {next((most for word, most in BUDGETS.items() if word in claim), '150 ms')}"
