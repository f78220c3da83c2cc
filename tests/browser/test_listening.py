"""The listening panel in a real browser: it plays, says what it plays, and its mark moves with the sound."""

from __future__ import annotations

import numpy as np
import pytest

from tests.browser.conftest import until
from tests.browser.playing import TALLEST, picture_of, press, red_of, wait_for_words
from tests.browser.twins import back_to_start, made_here
from tests.test_listening import heard

EACH = 7  # one sample in so many is handed over
DECODED = f"""async audio => {{
    const bytes = await (await fetch(audio.src)).arrayBuffer();
    const sound = await new OfflineAudioContext(1, 1, 48000).decodeAudioData(bytes);
    return {{length: sound.duration, samples: Array.from(sound.getChannelData(0).filter((_, k) => k % {EACH} === 0))}};
}}"""


def rms(samples):
    return float(np.sqrt(np.mean(np.square(samples))))


def test_it_plays_what_it_says(explorers, record_property):
    here, panel = made_here("listening"), explorers("listening")
    wait_for_words(panel, here)
    panel.get_by_text("Turn the volume right down", exact=False).wait_for()
    found = {}
    for words in ("as played", "through the compressor"):
        audio = press(panel, words)
        here.play(words)
        decoded = audio.evaluate(DECODED)
        wanted, rate, _ = heard(here)
        assert decoded["length"] == pytest.approx(wanted.size / rate, abs=1e-3)
        assert np.corrcoef(decoded["samples"], wanted[::EACH])[0, 1] > 0.9999
        found[words] = rms(decoded["samples"])
        sent = audio.evaluate("audio => audio.src").partition("base64,")[2]
        assert sent == here.player.value.partition("base64,")[2].partition('"')[0]
    assert found["through the compressor"] > found["as played"]
    panel.get_by_label("same loudness").check()
    panel.locator(".pedalcalc-player strong").filter(has_text="dB").wait_for()
    matched = rms(panel.locator("audio").evaluate(DECODED)["samples"])
    press(panel, "as played")
    assert matched == pytest.approx(rms(panel.locator("audio").evaluate(DECODED)["samples"]), rel=1e-2)
    record_property("heard_rms", str(found))
    assert panel.bounding_box()["height"] <= TALLEST
    assert red_of(panel.page) == []
    panel.get_by_label("same loudness").uncheck()


def test_the_mark_runs_along_the_gain(explorers):
    panel = explorers("listening")
    page = panel.page
    press(panel, "through the compressor")
    mark, image = panel.locator(".pedalcalc-mark"), panel.locator("img").bounding_box()
    mark.wait_for(state="visible")
    first = mark.bounding_box()
    until(page, "audio => audio.ended", panel.locator("audio").element_handle())
    last = mark.bounding_box()
    assert last["x"] > first["x"] + 100
    assert image["x"] < first["x"] and last["x"] < image["x"] + image["width"]
    assert image["y"] <= first["y"] and first["y"] + first["height"] <= image["y"] + image["height"]
    assert first["height"] > 100
    back_to_start(panel, made_here("listening"))


def plays_what_the_panel_above_shows(page):
    """Turn a part in the upper panel, press play below: the circuit is the same, and the gain is drawn for it."""
    panels = page.locator(".jp-NotebookPanel:visible .pedalcalc-panel")
    above, below = (panels.filter(has_text=words) for words in ("level step", "as played"))
    below.get_by_role("status").filter(has_text="attack resistance 4.70 kΩ").wait_for()
    waiting = picture_of(below)
    typed = above.get_by_role("textbox").first
    typed.fill("33k")
    typed.press("Enter")
    below.get_by_role("status").filter(has_text="attack resistance 33.0 kΩ").wait_for()
    below.get_by_text("press play: the sliders were moved elsewhere", exact=False).wait_for()
    assert below.locator("audio").count() == 0
    press(below, "through the compressor")
    below.get_by_text("average level", exact=False).wait_for()
    assert picture_of(below) != waiting
    below.get_by_role("slider").first.focus()
    below.get_by_role("slider").first.press("ArrowRight")
    below.get_by_role("status").filter(has_text="attack resistance 39.0 kΩ").wait_for()
    assert below.locator("audio").count() == 0, "a sound of other values is still in the player"
    above.get_by_role("button", name="Back to start").click()
    below.get_by_role("status").filter(has_text="attack resistance 4.70 kΩ").wait_for()
    assert below.bounding_box()["height"] <= TALLEST
    assert red_of(page) == []
