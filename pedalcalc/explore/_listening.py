"""The listening panel: a sound as played and through the compressor, of the very values that the sliders show."""

from __future__ import annotations

import base64
import dataclasses
import io as memory
import os
import warnings
from collections.abc import Mapping
from functools import partial
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import devices
from pedalcalc._arguments import is_a, one_number
from pedalcalc._base import io
from pedalcalc._number_text import MINUS, number_text
from pedalcalc._result import Caution, ModelRangeWarning
from pedalcalc.compressor import Compressor, plucked_string, render
from pedalcalc.compressor.playing import Rendered, sketch
from pedalcalc.compressor.sound import read_wav
from pedalcalc.explore._compressor import FIELDS, sidechain_sliders, timing_sliders
from pedalcalc.explore._panel import ALONE, WIDE, Panel
from pedalcalc.explore._slider import Slider, choice, slider, with_own
from pedalcalc.explore._words import EDGE
from pedalcalc.plot._sound import sound_picture
from pedalcalc.plot._style import Picture
from pedalcalc.report._boxes import caution_sentences

Array = NDArray[np.float64]

RATE = 48_000
STRING, CHORD = "three plucked notes", "a strummed chord"
EXCERPT = 10.0  # seconds of a file of one's own, so that the picture still follows the sliders
LOUDEST = 0.25  # of full scale, for what is played in the page
NOT_LOUD = "Turn the volume right down before you press play, headphones off; then raise it slowly."
# The mark follows the player's own clock while it runs, and where it is set by hand.
FOLLOW = (
    "const mark=this.closest('.pedalcalc-player').querySelector('.pedalcalc-mark');const at=()=>{{"
    "mark.style.display='block';mark.style.left=({left:.1f}+{wide:.1f}*this.currentTime/{length:.6g})+'px';"
    "if(!this.paused)requestAnimationFrame(at)}};at()"
)


@dataclasses.dataclass(frozen=True, eq=False)
class Source:
    """A sound in fractions of full scale, and what to call it."""

    name: str
    signal: Array
    sample_rate: float
    cautions: tuple[Caution, ...] = ()


@dataclasses.dataclass
class Heard:
    """What was rendered to be heard last, in volts."""

    signal: Array
    processed: Array
    sample_rate: float


class Listening(Panel):
    """A panel with a player: `play` puts the sound of the values shown into `player` and starts it.

    `same_loudness` brings what comes through the compressor to the average level of what was played. Sliders of the panel that
    it follows move those of the same names here; what comes out is worked out when it is asked for. The picture is a quick
    pass over the sound (`sketch`); what is played is rendered in full.
    """

    def __init__(self, sliders: Mapping[str, Slider], compressor: Compressor, follows: Panel | None) -> None:
        import ipywidgets

        self._picture, self._fill = sound_picture()
        self._built = compressor
        self._parts = tuple(name for name in sliders if name in FIELDS)
        self._heard: Heard | None = None
        self._waits = False  # with its picture until a sound is asked for
        self._playing = ""
        super().__init__(self._sketched, sliders)
        self.player = ipywidgets.HTML(layout=ipywidgets.Layout(width=f"{WIDE}px", height="58px"))
        self.same_loudness = ipywidgets.Checkbox(description="same loudness", indent=False)
        self.same_loudness.layout.width = "auto"
        self.play_buttons = {
            words: ipywidgets.Button(description=words, icon="play", layout=ipywidgets.Layout(width="auto"))
            for words in ("as played", "through the compressor")
        }
        for words, button in self.play_buttons.items():
            button.on_click(lambda _, words=words: self.play(words))
        self.same_loudness.observe(lambda _: self.play(self._playing) if self._playing else None, "value")
        *rows, buttons, image, shown = self._box.children
        buttons.children = (*buttons.children, *self.play_buttons.values(), self.same_loudness)
        self._box.children = (*rows, buttons, image, self.player, shown)
        self._silence()
        self._shared: tuple[str, ...] = ()
        if follows is not None:
            self._join(follows)

    def circuit(self) -> Compressor:
        """Return the circuit that the sliders show."""
        return dataclasses.replace(self._built, **{name: self.sliders[name].value for name in self._parts})

    def play(self, words: str) -> None:
        """Put the sound "as played" or "through the compressor" into the player and start it."""
        if self._waits:
            self._update()
        if self._figure is None:  # it could not be rendered, and the words under the picture say why
            return
        if self._heard is None:
            source, signal = self._played()
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", ModelRangeWarning)  # it stands under the picture
                done = render(signal, sample_rate=source.sample_rate, compressor=self.circuit())
            self._heard = Heard(signal, done.signal, source.sample_rate)
            self._show(self._told(source, signal, done), self._notes)  # what is heard, where the sketch was coarse
        signal, processed, told = self._heard.signal, self._heard.processed, words
        if self.same_loudness.value and np.any(processed):
            ratio = float(np.sqrt(np.mean(signal**2) / np.mean(processed**2)))
            processed = processed * ratio
            told += f", {20 * np.log10(ratio):+.1f} dB".replace("-", MINUS) if words != "as played" else ""
        largest = max(float(np.max(np.abs(signal))), float(np.max(np.abs(processed)))) or 1.0
        chosen = signal if words == "as played" else processed
        self._playing = words
        self.player.value = self._player_html(told, wav_bytes(LOUDEST / largest * chosen, self._heard.sample_rate))

    def _played(self) -> tuple[Source, Array]:
        """Return the sound chosen, and its samples in volts."""
        values = self.values()
        source: Source = values["source"]
        return source, np.sqrt(2) * 10 ** (values["level_full_scale_dbv"] / 20) * source.signal

    def _sketched(self, **_: Any) -> Picture:
        self._silence()
        source, signal = self._played()
        done = sketch(signal, sample_rate=source.sample_rate, compressor=self.circuit())
        self._waits = False
        return self._told(source, signal, done)

    def _told(self, source: Source, signal: Array, done: Rendered) -> Picture:
        """Return the picture with one rendering of the sound, and its figures in words."""
        self._fill(signal, done.signal, done.gain_db, source.sample_rate)
        means = [_average(one) for one in (signal, done.signal)]
        most, least = (number_text(gain, "dB") for gain in (done.gain_db.max(), done.gain_db.min()))
        self._picture.caption = (
            f"gain {f'{most} to {least}' if most != least else f'{most} throughout, no compression to hear'}; "
            f"average level {means[0]} as played, {means[1]} through the compressor "
            f"({source.name}; rms of all {number_text(signal.size / source.sample_rate, 's', 2)})"
        )
        self._picture.cautions = caution_sentences(source.cautions, done)
        return self._picture

    def _silence(self) -> None:
        """Empty the player: what it held belongs to other values."""
        self._heard, self._playing = None, ""
        if hasattr(self, "player"):
            self.player.value = self._player_html("", b"")

    def _join(self, leader: Panel) -> None:
        """Begin where the sliders of another panel stand, and follow them from then on."""
        self._shared = tuple(name for name in self.sliders if name in leader.sliders)
        for name in self._shared:
            leader.sliders[name].observe(lambda _: self._follow_alone(leader), "index")
        if any(self.sliders[name].value != leader.sliders[name].value for name in self._shared):
            self._follow(leader)
            self._update()

    def _follow_alone(self, leader: Panel) -> None:
        with ALONE:
            self._follow(leader)

    def _follow(self, leader: Panel) -> None:
        """Take over where the sliders of another panel stand, and wait with the sound until it is asked for."""
        self._quiet = True
        for name in self._shared:
            mine, theirs = self.sliders[name], leader.sliders[name]
            if mine.options != theirs.options:
                mine.options = theirs.options
            mine.index = theirs.index
        self._quiet = False
        self._note = ""
        self._write_readouts()
        self._silence()
        self._waits = True
        source, signal = self._played()
        self._fill(signal, None, None, source.sample_rate)
        self._picture.caption = "press play: the sliders were moved elsewhere, and their sound is not worked out yet"
        self._picture.cautions = ()
        self._show(self._picture, ())

    def _player_html(self, words: str, sound: bytes) -> str:
        player = ""
        if sound and self._heard is not None:
            figure, axes = self._picture, self._picture.axes
            places = [one.get_position() for one in axes]
            width, height = (100 * size for size in figure.get_size_inches())
            mark = FOLLOW.format(
                left=width * places[0].x0,
                wide=width * places[0].width,
                length=self._heard.signal.size / self._heard.sample_rate,
            )
            player = (
                f'<div class="pedalcalc-mark" style="position:absolute;display:none;width:2px;background:#222;opacity:0.6;'
                f"pointer-events:none;bottom:calc(100% + {height * places[1].y0:.0f}px);"
                f'height:{height * (places[0].y1 - places[1].y0):.0f}px"></div>'
                f'<div style="display:flex;align-items:center;gap:0.8em"><strong>{escape(words)}</strong>'
                f'<audio controls autoplay style="height:32px;flex:1" onplay="{mark}" onseeked="{mark}" '
                f'src="data:audio/wav;base64,{base64.b64encode(sound).decode()}"></audio></div>'
            )
        return (
            f'<div class="pedalcalc-player" style="position:relative;line-height:1.35">{player}'
            f'<div style="{EDGE}">{NOT_LOUD}</div></div>'
        )


@io
def listening(
    compressor: Compressor,
    *,
    path: str | os.PathLike[str] | None = None,
    channel: int | None = None,
    level_full_scale_dbv: float = -9.0,
    couplers: Mapping[str, devices.Coupler] | None = None,
    controls: Mapping[str, Slider] | None = None,
    follows: Panel | None = None,
) -> Panel:
    """Hear a sound as played and through the compressor, at the same loudness on request.

    Two buttons play what the sliders show; the level before and after and the gain are drawn, and a mark moves along them.

    Parameters
    ----------
    compressor : Compressor
        The circuit at the start.
    path : path, optional
        A recording of one's own beside the three plucked notes and the chord that are always there: a WAV file of
        at least 16 kHz, of which the first 10 s are played (`compressor.render_file` takes the whole).
    channel : int, optional
        Which channel to take of a file that has several [1], 0 for the left.
    level_full_scale_dbv : float, default -9
        Level at the pedal's input of a sine that just fills the file [dBV], -60 to 20: the maximum level that the maker
        of the interface states, if the pedal is fed as loud as it was recorded. The built-in sounds fill theirs; -9 dBV, half a volt of peak, is a loud guitar.
    couplers : mapping of str to Coupler, optional
        Couplers to choose from, by name; the LED and cell pairs of `devices` where not given.
    controls : mapping of str to Slider, optional
        Sliders of one's own for fields of the circuit, as for `step_response`.
    follows : Panel, optional
        A panel of the same circuit, such as that of `step_response`: its sliders move those here.

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    ValueError
        If it is no WAV file, has several channels and none was chosen, or a rate under 16 kHz; if the level is out of range,
        or a control is no field of the circuit.

    Notes
    -----
    What is heard is scaled to a quarter of full scale at its loudest, both sounds by the same factor. With "same loudness" what
    comes through the compressor is brought to the same rms of the whole first.

    References
    ----------
    PRACTICE : sounds are compared at the same level, since the louder of two is taken for the better.

    Examples
    --------
    >>> from pedalcalc import compressor, explore
    >>> heard = explore.listening(compressor.example())
    >>> list(heard.sliders)[-2:], list(heard.play_buttons)
    (['source', 'level_full_scale_dbv'], ['as played', 'through the compressor'])
    """
    is_a("compressor", compressor, Compressor)
    level = one_number("level_full_scale_dbv", level_full_scale_dbv, "", least=-60.0, most=20.0)
    if channel is not None:
        one_number("channel", channel, "", least=0, most=64)
    if follows is not None:
        is_a("follows", follows, Panel)
    sources = {"plucked": _plucked(), "chord": _chord()}
    chosen = "plucked"
    if path is not None:
        chosen = "own"
        sources[chosen] = _own(Path(path), channel)
    named = {source.name: source for source in sources.values()}
    sliders = {
        **with_own({**timing_sliders(compressor), **sidechain_sliders(compressor, couplers)}, controls, FIELDS),
        "source": choice(sources[chosen].name, options=named, caption="sound"),
        "level_full_scale_dbv": slider(
            level, low=-60.0, high=20.0, unit="dBV", caption="full scale of the sound", scale="linear", steps=80
        ),
    }
    return Listening(sliders, compressor, follows)


def wav_bytes(signal: Array, sample_rate: float) -> bytes:
    """Return a signal in fractions of full scale as a WAV file of 16 bits."""
    from scipy.io import wavfile

    file = memory.BytesIO()
    wavfile.write(file, round(sample_rate), np.round(32767 * signal).astype(np.int16))
    return file.getvalue()


def _average(signal: Array) -> str:
    power = float(np.mean(signal**2))
    return number_text(10 * np.log10(power), "dBV") if power else "silence"


def _plucked() -> Source:
    make = partial(plucked_string, duration=2.0, sample_rate=RATE)
    notes = make([110.0, 164.8, 220.0], time_start=[0.05, 0.6, 1.15], voltage_peak=1.0)
    return Source(STRING, notes / np.max(np.abs(notes)), RATE)


def _chord() -> Source:
    strum = 0.05 + 0.02 * np.arange(5)  # A major over an open A string, a fiftieth of a second from string to string
    notes = plucked_string(
        [110.0, 164.8, 220.0, 277.2, 329.6], time_start=strum, voltage_peak=1.0, duration=2.0, sample_rate=RATE
    )
    return Source(CHORD, notes / np.max(np.abs(notes)), RATE)


def _own(path: Path, channel: int | None) -> Source:
    recording = read_wav(path, channel=channel)
    if recording.sample_rate < 16_000:
        raise ValueError(f"sample rate of {path} must be at least 16 kHz, got {recording.sample_rate:g} Hz")
    length = round(EXCERPT * recording.sample_rate)
    name = path.name if recording.signal.size <= length else f"{path.name}, first {EXCERPT:g} s"
    return Source(name, recording.signal[:length], recording.sample_rate, recording.cautions)
