"""The lessons on sound with a builder's own files: a stereo take to hear, and a recording to measure."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import nbformat
import numpy as np
from scipy.io import wavfile
from scipy.signal import resample_poly

from pedalcalc import compressor, page
from tests.conftest import ROOT


def edited(name, folder, **parameters):
    """Write a copy of a lesson with some of its parameters changed, run it, and return its page."""
    notebook = nbformat.read(ROOT / "notebooks" / f"{name}.ipynb", as_version=4)
    cell = next(cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", []))
    for key, value in parameters.items():
        cell.source, changed = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value!r}", cell.source)
        assert changed == 1, key
    nbformat.write(notebook, folder / f"{name}.ipynb")
    return page.write_page(folder / f"{name}.ipynb").read_text(encoding="utf-8")


def _plain(text):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text))).strip()


def _row_of_a_table(text, title, first):
    """Return what a page tells of a row by the words of its heads, with what it says once for all rows."""
    table = next(one for one in text.split('<div class="pedalcalc-table">')[1:] if title in _plain(one))
    above, table = table[: table.index("</table>")].split("<table", 1)
    alike = _plain(above).partition("In every row: ")[2]
    told = dict(re.findall(r"([^;]+?) ([\d.]+ \w+)(?:; |$)", alike))
    rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL) for row in table.split("<tr>")[1:]]
    heads, *rows = [[_plain(cell) for cell in row] for row in rows]
    return told | dict(zip(heads, next(row for row in rows if row[0] == first), strict=True))


def test_a_take_of_ones_own_is_heard_and_written_whole(tmp_path):
    rate = 44_100
    time = np.arange(12 * rate) / rate
    note = 0.5 * np.sin(2 * np.pi * 196 * time) * np.exp(-0.5 * (time % 3))
    both = np.stack([np.zeros_like(note), note], axis=1)
    wavfile.write(tmp_path / "take.wav", rate, np.round(32767 * both).astype(np.int16))
    text = _plain(edited("attack-and-release", tmp_path, my_wav="take.wav", my_wav_channel=1, full_scale_dbv=-3.0))
    assert "take.wav, first 10 s" in text and "full scale of the sound −3.0 dBV" in text
    assert "Your recording through the compressor" in text
    found, written = wavfile.read(tmp_path / "through-the-compressor.wav")
    assert found == rate and written.size == time.size and np.max(np.abs(written)) > 1000


def test_a_recording_of_ones_own_is_read(tmp_path, page_of):
    """A take with delay, gain, noise, the other polarity and another rate, of a circuit with half the release resistor."""
    text = page_of(ROOT / "notebooks" / "measure-your-own.ipynb").read_text(encoding="utf-8")
    assert "DEMONSTRATION, rendered and not recorded; settling within" in _plain(text)
    rate, tones = wavfile.read(ROOT / "notebooks" / "test-tones.wav")
    built = replace(compressor.example(), resistance_release=110e3)
    built = replace(built, gain_sidechain=compressor.gain_for_threshold(-25.0, compressor=built))
    volts = np.sqrt(2) * 10 ** (-10 / 20) / 0.7 * tones / 32768
    out = compressor.render(volts, sample_rate=rate, compressor=built).signal
    late = np.concatenate([np.zeros(30_000), -0.3 * out / np.max(np.abs(out)), np.zeros(20_000)])
    late = resample_poly(late, 147, 160) + np.random.default_rng(7).normal(0, 1e-4, -(-late.size * 147 // 160))
    wavfile.write(tmp_path / "my pedal.wav", 44_100, late.astype(np.float32))
    text = edited("measure-your-own", tmp_path, my_recording="my pedal.wav")
    assert "recorded: my pedal.wav; settling within" in text and "DEMONSTRATION" not in text
    heads = ("attack", "attack, model", "release", "release, model", "reduction", "reduction, model")
    told = _row_of_a_table(text, "recorded: my pedal.wav; settling within", "1.00 kHz")
    attack, attack_model, release, release_model, reduction, reduction_model = (
        float(re.fullmatch(r"([\d.]+) (?:ms|dB)", told[head])[1]) for head in heads
    )
    truth = compressor.attack_release(built, definition=compressor.SETTLE_2DB)
    assert abs(release / 1e3 - truth.time_release) < 0.03 * truth.time_release < 0.3 * release_model / 1e3
    assert abs(attack / 1e3 - truth.time_attack) < 0.05 * truth.time_attack and attack_model > 0
    assert abs(reduction - reduction_model) < 0.5
