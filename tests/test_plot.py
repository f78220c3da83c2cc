"""Pictures: axes labelled from metadata, told apart in grey."""

from __future__ import annotations

import dataclasses
import re
import subprocess
import sys
from dataclasses import dataclass
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from pedalcalc import compressor, devices, plot
from pedalcalc._result import Result, quantity
from pedalcalc.plot._screen import Screen
from pedalcalc.plot._sketch import STAGES
from pedalcalc.plot._style import _on_paper, thinned


@dataclass(frozen=True, slots=True, eq=False)
class Sweep(Result):
    voltage: np.ndarray = quantity("V", "supply voltage")
    current: np.ndarray = quantity("A", "LED current")
    current_worst: np.ndarray = quantity("A", "highest current")
    power: np.ndarray = quantity("W", "power")


SWEEP = Sweep(np.linspace(0, 9, 10), np.linspace(0, 0.009, 10), np.linspace(0, 0.012, 10), np.linspace(0, 0.08, 10))
AXES = {"caption_across": "time", "unit_across": "s", "caption": "voltage", "unit": "V"}
STEP = compressor.step_response(compressor.example(), level_low_dbv=-30.0, level_high_dbv=-10.0)
TIMING = compressor.measure_step(
    STEP.time,
    level_dbv=STEP.level_out_dbv,
    time_up=STEP.time_up,
    time_down=STEP.time_down,
    definition=compressor.SETTLE_2DB,
)
CURVE = compressor.static_curve(np.linspace(-60.0, 0.0, 61), compressor=compressor.example())
T = np.linspace(0.0, 1.0, 20)
CALLS = {
    "bands": {"tracks": {"decay": (T * 0.5, T, T * 2)}, "across": T, **AXES},
    "curve": {"result": SWEEP, "across": "voltage", "up": "current"},
    "lines": {"tracks": {"decay": T}, "across": T, **AXES},
    "response": {"tracks": {"flat": (1 + T, T)}, "band": (T - 1, T + 1)},
    "sketch": {"stage": "low-pass", "labels": {"R": "R1 4.7 kΩ"}},
    "rail_diagram": {"rails": {"label": 9.0, "swing": (1.5, 7.0)}, "voltage_idle": 4.5},
    "static_curve": {
        "curve": CURVE,
        "features": compressor.curve_features(CURVE.level_in_dbv, level_out_dbv=CURVE.level_out_dbv),
    },
    "step_response": {"step": STEP, "timing": TIMING},
}


def words_of(picture):
    axes = picture.axes[0]
    return axes.get_xlabel(), axes.get_ylabel()


def test_axes_are_labelled_from_the_fields():
    picture = plot.curve(SWEEP, across="voltage", up=["current", "current_worst"], title="LED")
    assert words_of(picture) == ("Supply voltage", "Current")
    picture.draw_without_rendering()
    assert "mA" in picture.axes[0].get_yticklabels()[2].get_text()
    assert [text.get_text() for text in picture.legends[0].get_texts()] == ["LED current", "highest current"]


def test_units_without_prefixes_stand_in_the_label():
    axes = {"caption_across": "time", "unit_across": "s", "caption": "gain", "unit": "dB"}
    assert words_of(plot.lines({"": T}, across=T, **axes)) == ("Time", "Gain [dB]")


def test_lines_differ_in_colour_and_in_dash():
    tracks = {str(k): T + k for k in range(7)}
    lines = plot.lines(tracks, across=T, **AXES).axes[0].lines
    assert len({line.get_color() for line in lines}) == 7
    assert len({str(line.get_linestyle()) + str(line._unscaled_dash_pattern) for line in lines}) == 7


def test_ohms_and_hertz_over_decades_are_logarithmic():
    f = np.geomspace(10.0, 1e5, 50)
    axes = {"caption_across": "frequency", "unit_across": "Hz", "caption": "gain", "unit": "dB"}
    picture = plot.lines({"": -f}, across=f, **axes)
    assert (picture.axes[0].get_xscale(), picture.axes[0].get_yscale()) == ("log", "linear")
    assert plot.lines({"": -f}, across=f, scale_across="linear", **axes).axes[0].get_xscale() == "linear"


def test_bands_shade_between_their_edges():
    picture = plot.bands({"a": (T, T + 1, T + 2), "b": (T + 3, T + 4, T + 5)}, across=T, **AXES)
    assert len(picture.axes[0].collections) == 2


def test_marks_and_words():
    marks = {"here": (4.5, 0.0045), "there": (9.0, 0.009)}
    picture = plot.curve(SWEEP, across="voltage", up="current", marks=marks, title="LED")
    assert [text.get_text() for text in picture.legends[0].get_texts()] == ["here", "there"]
    dots = picture.axes[0].lines[1:]
    assert [(*line.get_xdata(), *line.get_ydata()) for line in dots] == list(marks.values())
    assert dots[0].get_marker() != dots[1].get_marker()


@pytest.mark.parametrize("names", [["a"], ["a", "b"], [f"a curve with a long name, {k}" for k in range(5)]])
def test_legends_and_marks_stand_above_the_axes(names):
    tracks = {name: T + k for k, name in enumerate(names)}
    picture = plot.lines(tracks, across=T, title="A title", marks={"here": (0.5, 0.5)}, **AXES)
    picture.draw_without_rendering()
    top = picture.axes[0].get_window_extent().y1
    strip = picture.legends[0].get_window_extent()
    assert strip.y0 >= top and strip.x1 <= picture.bbox.x1 + 1 and strip.y1 <= picture.bbox.y1 + 1
    assert picture.legends[0].get_title().get_text() == "A title"
    assert not picture.axes[0].texts and picture.axes[0].get_legend() is None


def test_a_title_alone_stands_over_the_axes():
    assert plot.lines({"": T}, across=T, title="A title", **AXES).axes[0].get_title(loc="left") == "A title"


@pytest.mark.parametrize("name", ["", "a"])
def test_a_long_title_is_parted_where_the_picture_ends(name):
    title = "a title that is far too long for a picture of half a line"
    drawing = plot.lines({name: T}, across=T, title=title, **AXES)._repr_svg_()
    words = re.findall(r">([^<>]+)<", drawing[drawing.index("</metadata>") :])
    lines = [text for text in words if len(text) > 3 and text in title]
    assert " ".join(lines) == title and max(map(len, lines)) < 48


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: plot.curve(SWEEP, across="volts", up="current"), "'volts' is not a field of Sweep"),
        (
            lambda: plot.curve(SWEEP, across="voltage", up=["current", "power"]),
            "up must name fields that share one unit, got A, W",
        ),
        (lambda: plot.curve(SWEEP, across="voltage", up="current", scale_up="log"), "scale_up cannot be log"),
        (lambda: plot.curve(SWEEP, across="voltage", up="current", scale_up="cubic"), "scale_up must be one of"),
        (lambda: plot.curve({}, across="voltage", up="current"), "at least one result"),
        (lambda: plot.lines({}, across=T, **AXES), "at least one line"),
        (lambda: plot.lines({"a": T[:3]}, across=T, **AXES), r"'a' has shape \(3,\)"),
        (lambda: plot.rail_diagram({}), "at least one bar"),
        (lambda: plot.rail_diagram({"a": (1.0, 2.0, 3.0)}), "'a' must be one voltage or"),
        (lambda: plot.sketch("phaser"), "stage must be one of"),
        (lambda: plot.sketch("low-pass", labels={"L": "1 H"}), "'L' is not a part of low-pass"),
    ],
)
def test_what_cannot_be_drawn_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_a_scalar_field_is_no_line():
    with pytest.raises(ValueError, match="must hold one row of numbers"):
        plot.curve(compressor.example(), across="voltage_rail", up="gain_makeup")
    with pytest.raises(TypeError, match="result must be a result"):
        plot.curve(3.0, across="a", up="b")
    with pytest.raises(TypeError, match="up must be one field where several results are drawn, got current, power"):
        plot.curve({"a": SWEEP}, across="voltage", up=["current", "power"])


def test_pictures_are_the_same_twice_and_keep_their_words():
    first, second = (plot.curve(SWEEP, across="voltage", up="current")._repr_svg_() for _ in range(2))
    assert first == second
    assert first.startswith("<svg") and ">Supply voltage</text>" in first
    assert plot.curve(SWEEP, across="voltage", up="current")._repr_png_().startswith(b"\x89PNG")


def test_no_global_plotting_state_is_touched():
    code = (
        "import matplotlib, numpy as np\n"
        "before = {name: matplotlib.rcParams[name] for name in matplotlib.rcParams if name != 'backend'}\n"
        "from pedalcalc import plot\n"
        "t = np.arange(3.0)\n"
        "plot.lines({'a': t}, across=t, caption_across='t', unit_across='s', caption='v', unit='V')._repr_svg_()\n"
        "assert before == {name: matplotlib.rcParams[name] for name in before}\n"
        "import sys\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)


def test_rails_are_drawn_to_scale():
    axes = plot.rail_diagram({"label": 9.0, "swing": (7.0, 1.5), "minus": -8.0}).axes[0]
    assert [(bar.get_x(), bar.get_width()) for bar in axes.patches] == [(0.0, 9.0), (1.5, 5.5), (-8.0, 8.0)]
    assert [text.get_text() for text in axes.texts] == ["9.00 V", "5.50 V", "1.50", "7.00", "−8.00 V"]


def test_words_beside_rails_lie_clear_of_one_another():
    names = [
        "supply",
        "behind the protection diode",
        "behind the supply filter",
        "usable swing about the idle voltage of all",
    ]
    small = _on_paper(plot.rail_diagram(dict.fromkeys(names, 9.0)))
    small.draw_without_rendering()
    boxes = [label.get_window_extent() for label in small.axes[0].get_yticklabels()]
    assert all(upper.y0 >= lower.y1 for upper, lower in pairwise(boxes))


def test_step_marks_what_was_measured():
    picture = plot.step_response(STEP, timing=TIMING)
    for axes, time in zip(picture.axes, (TIMING.time_attack, TIMING.time_release), strict=True):
        dashed = [
            line for line in axes.lines if len(line.get_xdata()) == 2 and line.get_xdata()[0] == line.get_xdata()[1]
        ]
        assert [line.get_xdata()[0] for line in dashed] == [time]
    said = f"attack {1e3 * TIMING.time_attack:.1f} ms; release {1e3 * TIMING.time_release:.0f} ms"
    assert picture.caption.startswith(f"{said} (settling within ±2 dB; 20 dB step")
    flat = compressor.response.level_response(
        compressor.example(), time=[0.0], level_in_dbv=[-20.0], duration=0.1, frequency=1000.0
    )
    with pytest.raises(ValueError, match="step must step up and then down"):
        plot.step_response(flat)


def timed(**changed):
    """Return a step's picture with some of what was measured on it changed."""
    return plot.step_response(STEP, timing=dataclasses.replace(TIMING, **changed))


def test_step_says_why_there_is_no_time():
    moving = timed(settled_attack=False)
    assert STEP.time_down - STEP.time_up == pytest.approx(0.4)
    assert moving.caption.startswith("attack: not settled within 400 ms; release ")
    flat = timed(level_out_high_dbv=TIMING.level_out_low_dbv + TIMING.level_step_db - 0.4)
    assert flat.caption.startswith("attack: hardly any compression to time; ")
    little = timed(level_out_high_dbv=TIMING.level_out_low_dbv + TIMING.level_step_db - 1.3)
    assert little.caption.startswith("attack: 1.3 dB of change stay within ±2 dB; ")
    for picture, short in ((moving, "not settled"), (flat, "hardly any compression"), (little, "stays within ±2 dB")):
        assert picture.axes[0].get_title(loc="right").startswith(short)
        dashed = [line for line in picture.axes[0].lines if len(line.get_xdata()) == 2 and line.get_visible()]
        assert [line for line in dashed if line.get_xdata()[0] == line.get_xdata()[1]] == []
        picture.draw_without_rendering()
        left, right = (picture.axes[0]._left_title, picture.axes[0]._right_title)
        assert left.get_window_extent().x1 < right.get_window_extent().x0


def test_static_curve_shows_a_latching_circuit():
    latching = dataclasses.replace(
        compressor.example(), placement="series", gain_sidechain=60.0, resistance_output=10e3, gain_makeup=10.0
    )
    curve = compressor.static_curve(np.linspace(-70.0, 0.0, 141), compressor=latching)
    assert np.any(np.abs(curve.level_out_falling_dbv - curve.level_out_dbv) > 1.0), "the case does not latch"
    picture = plot.static_curve(curve)
    assert "latches" in picture.caption
    low, high = picture.axes[0].get_ylim()
    for line in picture.curves:
        y = line.get_ydata()[np.isfinite(line.get_ydata())]
        assert low <= y.min() and y.max() <= high, "a branch leaves the picture"
    features = compressor.curve_features(curve.level_in_dbv, level_out_dbv=curve.level_out_dbv)
    told = plot.static_curve(curve, features=features).caption
    assert "its gain rises by" in told and "latches" in told and "ratio" not in told
    assert "latches" not in plot.static_curve(CURVE).caption


def test_thinning_keeps_every_peak():
    x = np.linspace(1.0, 2.0, 50_000)
    y = np.where(np.arange(x.size) == 31_234, 5.0, np.sin(40 * x))
    for log in (False, True):
        thin_x, thin_y = thinned(x, y, log=log)
        assert thin_x.size <= 800 and thin_y.max() == 5.0
        assert thin_y.min() == y.min() and np.all(np.diff(thin_x) >= 0)


@pytest.mark.parametrize("stage", list(STAGES))
def test_sketches_hold_their_words(stage):
    named = {name: f"part {k}" for k, name in enumerate(STAGES[stage][1])}
    drawing = ElementTree.fromstring(plot.sketch(stage, labels=named).svg)
    words = [part.text for part in drawing.iter("{http://www.w3.org/2000/svg}tspan") if part.text != "+"]
    assert sorted(words) == sorted(named.values())
    left, _, width, _ = map(float, drawing.get("viewBox").split())
    for text in drawing.iter("{http://www.w3.org/2000/svg}text"):
        assert left <= float(text.get("x")) <= left + width


PINOUTS = {name: getattr(devices, name) for name in devices.__all__ if name.startswith("PINOUT_")}


@pytest.mark.parametrize("name", [name for name in PINOUTS if not re.search("JACK|SWITCH|BARREL", name)])
def test_outlines_name_every_lead_within_the_frame(name):
    order = PINOUTS[name]
    drawing = ElementTree.fromstring(plot.sketch({"Q9 & friends": order}).svg)
    told = [text.text or "" for text in drawing.iter("{http://www.w3.org/2000/svg}text")]
    words = " ".join(told)
    for entry in order.entries:
        assert entry.pin in words.split() or entry.role in words or entry.pin in words, entry
    assert "Q9 & friends" in told
    assert " ".join(order.view.split()[:2]) in words


def test_a_chip_is_counted_anticlockwise_from_its_notch():
    drawing = ElementTree.fromstring(plot.sketch({"IC1": devices.PINOUT_DIP8_DUAL}).svg)
    at = {
        text.text: (float(text.get("x")), float(text.get("y")))
        for text in drawing.iter("{http://www.w3.org/2000/svg}text")
    }
    below, above = [at[str(pin)] for pin in (1, 2, 3, 4)], [at[str(pin)] for pin in (8, 7, 6, 5)]
    assert [x for x, _ in below] == sorted(x for x, _ in below) == [x for x, _ in above]
    assert all(low[1] > high[1] for low, high in zip(below, above, strict=True))


def test_names_of_a_chips_pins_lie_clear_of_the_words_below():
    drawing = ElementTree.fromstring(plot.sketch({"IC1": devices.CONVERTER_1044S.pinouts[0]}).svg)
    svg = "{http://www.w3.org/2000/svg}"
    (moved,) = (
        group
        for group in drawing.iter(f"{svg}g")
        if "," in group.get("transform", "") and group.find(f"{svg}path") is not None
    )
    down = float(moved.get("transform").rstrip(")").rpartition(",")[2])
    names = {id(text) for text in moved.iter(f"{svg}text")}
    lowest = max(down + float(text.get("y")) for text in moved.iter(f"{svg}text"))
    held = min(
        float(text.get("y"))
        for text in drawing.iter(f"{svg}text")
        if id(text) not in names and text.get("font-size") == "9"
    )
    assert held - lowest >= 11


def test_rows_of_leads_are_drawings_that_a_page_may_part():
    """Every order of pins there is, at the width of a page: no row is taller than a fifth of its 263 mm."""
    orders = [order for name, order in PINOUTS.items() if not re.search("JACK|SWITCH|BARREL", name)]
    drawn = plot.sketch({str(place): order for place, order in enumerate(orders)})
    assert len(orders) > 15 and len(drawn.more) > 3
    assert drawn._repr_svg_() is None and drawn._repr_html_().count("<figure>") == 1 + len(drawn.more)
    seen = []
    for row in map(ElementTree.fromstring, (drawn.svg, *drawn.more)):
        wide, high = (float(row.get(side).removesuffix("pt")) for side in ("width", "height"))
        # a page prints letters of 9 points at 7, and no drawing wider than its text
        assert high * min(7 / 9, 176 / (wide / 72 * 25.4)) / 72 * 25.4 < 0.2 * 263
        lines = [(float(text.get("y")), text) for text in row.iter("{http://www.w3.org/2000/svg}text")]
        assert max(y for y, _ in lines) < high
        seen += [text.text for _, text in lines if text.get("font-size") == "12"]
    assert sorted(seen, key=int) == [
        str(place) for place in range(len(orders))
    ]  # in another order where that saves a row


def test_leads_are_of_orders_of_pins():
    with pytest.raises(TypeError, match="stage: Q1 must be a Pinout"):
        plot.sketch({"Q1": devices.JFET_2N5457})
    with pytest.raises(ValueError, match="at least one order of pins"):
        plot.sketch({})


def test_sketch_symbols_reach_the_page_as_they_are():
    assert "47k &lt; 1M" in plot.sketch("divider", labels={"load": "47k < 1M"}).svg


def test_long_labels_stand_in_two_lines_name_over_value():
    drawing = ElementTree.fromstring(plot.sketch("detector", labels={"R attack": "R14 4.70 kΩ", "C hold": "C2"}).svg)
    words = [part.text for part in drawing.iter("{http://www.w3.org/2000/svg}tspan")]
    assert words[words.index("R14") + 1] == "4.70 kΩ" and "C2" in words


def test_words_of_a_block_stand_inside_it():
    """A letter of DejaVu Sans at 12 points is at most about 7.6 points wide on average, as for the frame."""
    drawing = ElementTree.fromstring(plot.sketch("compressor", labels={"threshold": "threshold control"}).svg)
    lines = [re.findall(r"[-\d.]+,[-\d.]+", part.get("d")) for part in drawing.iter("{http://www.w3.org/2000/svg}path")]
    boxes = [[*zip(*(map(float, point.split(",")) for point in line), strict=True)] for line in lines if len(line) == 5]
    inside = 0
    for words in drawing.iter("{http://www.w3.org/2000/svg}text"):
        middle = float(words.get("x"))
        height = float(words.get("y")) + 12 * (len(words) + 1) / 2
        for x, y in boxes:
            if min(x) < middle < max(x) and min(y) < height < max(y):
                inside += 1
                assert all(min(x) < middle - 3.8 * len(part.text) for part in words), words[0].text
    assert inside == 7


def moving_line():
    """Return a picture with one line that moves, and that line."""
    picture = plot.lines({"": T}, across=T, scale_across="linear", scale_up="linear", **AXES)
    picture.axes[0].set(xlim=(0.0, 1.0), ylim=(0.0, 3.0))
    line = picture.axes[0].lines[0]
    picture.moving = (line,)
    return picture, line


def test_screen_draws_a_ground_once_for_each_set_of_limits(monkeypatch):
    picture, line = moving_line()
    screen = Screen(100)
    seen = {1.0: screen.png(picture)}
    drawn = []
    draw = FigureCanvasAgg.draw
    monkeypatch.setattr(FigureCanvasAgg, "draw", lambda canvas: (drawn.append(1), draw(canvas))[1])
    for high in (1.0, 2.0, 1.0, 3.0, 2.0, 1.0):
        picture.axes[0].set_xlim(0.0, high)
        line.set_ydata(high * T)
        image = screen.png(picture)
        assert image == seen.setdefault(high, image)
    assert len(drawn) == 2, "limits seen before are not drawn again"
    fresh, line = moving_line()
    fresh.axes[0].set_xlim(0.0, 2.0)
    line.set_ydata(2.0 * T)
    assert Screen(100).png(fresh) == seen[2.0]


def test_screen_forgets_the_ground_not_seen_for_longest(monkeypatch):
    monkeypatch.setattr("pedalcalc.plot._screen.MOST_GROUNDS", 2)
    picture, _ = moving_line()
    screen = Screen(100)
    for high in (1.0, 2.0, 1.0, 3.0):
        picture.axes[0].set_xlim(0.0, high)
        screen.png(picture)
    assert [key[0][0] for key in screen._grounds] == [(0.0, 1.0), (0.0, 3.0)]


def test_a_flat_response_looks_flat_and_its_lines_differ_in_grey():
    hertz = np.geomspace(10.0, 1e4, 20)
    picture = plot.response({"one": (hertz, np.zeros(20)), "other": (hertz, np.full(20, 0.1))})
    bottom, top = picture.axes[0].get_ylim()
    assert top - bottom >= 12.0
    first, second = (line._dash_pattern for line in picture.axes[0].lines)
    assert first != second
    deep = plot.response({"one": (hertz, np.zeros(20)), "off": (hertz, np.full(20, -140.0))}).axes[0].get_ylim()
    assert deep[1] - deep[0] == pytest.approx(50.0)
    with pytest.raises(ValueError, match="not over the frequencies"):
        plot.response({"one": (hertz, hertz), "other": (hertz * 2, hertz)})
    with pytest.raises(ValueError, match="at least one line"):
        plot.response({})


@pytest.mark.parametrize(
    "text", ["R&D", "a<b>c", '"q"', "R1 & co 4.7 kΩ", "5 $ and 6 $", "&amp;", "<script>x</script>", "]]>"]
)
def test_labels_of_a_sketch_are_shown_as_they_stand(text):
    svg = plot.sketch("low-pass", labels={"R": text})._repr_svg_()
    shown = " ".join(found.text for found in ElementTree.fromstring(svg).iter() if found.text and found.text.strip())
    assert text.replace(" ", "") in shown.replace(" ", "")
    assert "<script" not in svg


def test_a_label_of_what_cannot_be_seen_is_a_sign_that_can():
    assert "\N{REPLACEMENT CHARACTER}" in plot.sketch("low-pass", labels={"R": "R1\x00"})._repr_svg_()


def test_curves_of_many_units_are_refused():
    units = dataclasses.replace(compressor.example(), resistance_led=np.array([2.2e3, 4.7e3]))
    with pytest.raises(ValueError, match="one unit to be drawn, got one of 2 units"):
        plot.static_curve(compressor.static_curve(np.linspace(-30.0, 0.0, 7), compressor=units))


def test_a_line_that_lies_below_the_picture_is_named_so():
    hertz = np.geomspace(10, 10e3, 9)
    tracks = {"shut": (hertz, np.full(9, -400.0)), "open": (hertz, np.linspace(0, 15, 9))}
    texts = plot.response(tracks).legends[0].get_texts()
    assert [text.get_text() for text in texts] == ["shut (below)", "open"]
