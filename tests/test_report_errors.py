"""What a notebook says of a slip: one line with the builder's own name, and a page that still fails."""

from __future__ import annotations

import re

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from pedalcalc import page

START = "from pedalcalc import devices, led, readings, report, rc, supply, values"
OWN = 'attack, peak, count = "27kk", "-2 V", 0\ndrawer = [("5k,2", "1m")]\nhold, below, file = "220n", "-4.7k", "none.csv"'
OWN += '\nbox = ["100x"]\nlabel, battery, op_amp, adaptor, diode, red = "9V", "9V", "TL072", 9, "1N 5817", "red LED"'
SLIPS = {
    'values.read_value(attack, unit="Ω")': "ValueError: attack = '27kk': text '27kk' is not a value: two letters",
    'rc.corner_frequency(resistance=1e3, capacitance=values.read_value(peak, unit="V"))': (
        "ValueError: capacitance must be at least 0 and finite, got -2"
    ),
    "led.series_resistor(values.read_value(below, unit='V'), voltage_forward=2.0, current_wanted=1e-3)": (
        "ValueError: below = '-4.7k': voltage_supply must be at least 0 and finite, got -4.7 kV"
    ),
    "led.series_resistor(values.read_value(peak, unit='V'), voltage_forward=2.0, current_wanted=1e-3)": (
        "ValueError: peak = '-2 V': voltage_supply must be"
    ),
    '[values.read_value(text, unit="Ω") for text in drawer[0]]': "ValueError: in drawer: text '5k,2' is not a value",
    'values.nearest_value(5.0, stock="E13")': "ValueError: stock must be one of E3, E6",
    "devices.LED_BLU": "there are LED_BLUE",
    "hald": "NameError: name 'hald' is not defined; run all cells from the top: Run > Run All Cells",
    'assert count, "nothing was counted"': "AssertionError: nothing was counted",
    "readings.read_readings(file)": "FileNotFoundError: file = 'none.csv': path must be the path of a file that is there, not 'none.csv'",
    "values.nearest_value(1e-7, stock=box)": "ValueError: in box: stock must be a series such as 'E12' or values of parts: text '100x'",
    "battery.voltage_fresh_max": (
        "AttributeError: battery = '9V': a part's record must stand here, not text; write devices.BATTERY_9V_ALKALINE or "
    ),
    "adaptor.voltage_rated": "adaptor = 9: a part's record must stand here, not a number; write devices.ADAPTOR_",
    "lamp = devices.typical(red)": "red = 'red LED': record must be a Device record, not str: 'red LED'; write devices.LED_RED_",
    "devices.typical(op_amp)": (
        "TypeError: op_amp = 'TL072': record must be a Device record, not str: 'TL072'; write devices.OPAMP_TL072 without quotes"
    ),
    "supply.battery_life(current_load=0.01, voltage_end=7.0, battery=battery)": (
        "TypeError: battery must be a Battery record, not str: '9V'; write devices.BATTERY_9V_ALKALINE or "
    ),
    "supply.series_diode(voltage_supply=9.0, current_load=0.01, diode=diode)": "; write devices.DIODE_1N5817 without quotes",
    "led.operating_point(9.0, resistanc=3)": "operating_point has no argument 'resistanc'; is resistance meant?",
}
FAR = "supply.battery_life(current_load=1.5, voltage_end=5.0, battery=devices.BATTERY_9V_ALKALINE).hours_life;"
LEFT = ("1 / 0", "first, second = [1]", "battery.weight", "[].voltage_fresh_max")


@pytest.fixture(scope="module")
def ran():
    """Run every slip in one kernel and give the cells by their source."""
    from jupyter_client.kernelspec import KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient

    book = new_notebook(cells=[new_code_cell(source) for source in (START, OWN, *SLIPS, *LEFT, FAR)])
    specs = KernelSpecManager(kernel_dirs=[], ensure_native_kernel=True)
    manager = AsyncKernelManager(kernel_name="python3", kernel_spec_manager=specs)
    NotebookClient(book, km=manager, timeout=60, allow_errors=True, shutdown_kernel="immediate").execute(
        cleanup_kc=True
    )
    return {cell.source: cell.outputs for cell in book.cells}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_told_in_one_line(ran, slip):
    (output,) = ran[slip]
    assert output.output_type == "error"
    (line,) = output.traceback
    assert "\n" not in line
    assert SLIPS[slip] in line
    assert line == f"{output.ename}: {output.evalue}"


def test_a_value_beyond_a_model_is_told_without_a_place_in_the_code(ran):
    """Of 1.5 A a small battery's law says too much; the line is the sentence, with no path and no line of code."""
    (output,) = [one for one in ran[FAR] if one.output_type == "stream"]
    assert re.fullmatch(r"Model range: 9 V alkaline[^\n/]*gives less charge than this law says\n", output.text)


@pytest.mark.parametrize("source", LEFT)
def test_what_is_no_slip_of_a_builder_keeps_its_traceback(ran, source):
    (output,) = ran[source]
    assert len(output.traceback) > 1 and "line 1" in "\n".join(output.traceback)


def test_the_page_command_fails_as_loudly(tmp_path):
    book = new_notebook(cells=[new_code_cell(source) for source in (START, OWN, next(iter(SLIPS)))])
    nbformat.write(book, tmp_path / "slip.ipynb")
    with pytest.raises(page.PageError, match=r"^attack = '27kk': text [^\n]*\n\(in .*, code cell 3 .*, ValueError\)"):
        page.write_page(tmp_path / "slip.ipynb")
    assert not (tmp_path / "slip.html").exists()
