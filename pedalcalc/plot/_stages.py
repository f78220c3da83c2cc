"""How each textbook stage is drawn: one function a stage, which adds to a drawing.

Each takes the drawing, the schemdraw elements and `text`, a function from a part's name to its label.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Text = Callable[[str], str]
WIDE = 2.6  # length of a part that lies
TALL = 2.1  # of one that stands


def indicator_led(d: Any, e: Any, text: Text) -> None:
    """Draw supply, series resistor and LED."""
    d += e.Dot(open=True).label(text("supply"), "left")
    d += e.ResistorIEC().right().length(WIDE).label(text("R"), "top")
    d += e.LED().down().length(TALL).label(text("LED"), "top")
    d += e.Ground()


def low_pass(d: Any, e: Any, text: Text) -> None:
    """Draw a series resistor and a capacitor to ground."""
    d += e.Dot(open=True).label(text("in"), "left")
    d += e.ResistorIEC().right().length(WIDE).label(text("R"), "top")
    d += e.Dot()
    d.push()
    d += e.Capacitor().down().length(TALL).label(text("C"), "bottom")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(1.4)
    d += e.Dot(open=True).label(text("out"), "right")


def high_pass(d: Any, e: Any, text: Text) -> None:
    """Draw a series capacitor and a resistor to ground."""
    d += e.Dot(open=True).label(text("in"), "left")
    d += e.Capacitor().right().length(WIDE).label(text("C"), "top")
    d += e.Dot()
    d.push()
    d += e.ResistorIEC().down().length(TALL).label(text("R"), "bottom")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(1.4)
    d += e.Dot(open=True).label(text("out"), "right")


def divider(d: Any, e: Any, text: Text) -> None:
    """Draw a loaded divider."""
    d += e.Dot(open=True).label(text("supply"), "left")
    d += e.Line().right().length(1)
    d += e.ResistorIEC().down().length(TALL).label(text("R upper"), "top")
    d += e.Dot()
    d.push()
    d += e.ResistorIEC().down().length(TALL).label(text("R lower"), "top")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(1.8)
    d += e.Dot().label(text("out"), "top")
    d += e.ResistorIEC().down().length(TALL).label(text("load"), "bottom")
    d += e.Ground()


def detector(d: Any, e: Any, text: Text) -> None:
    """Draw rectifier, attack resistance, hold capacitor and release resistance."""
    d += e.Dot(open=True).label(text("signal"), "left")
    d += e.Diode().right().length(2.2).label(text("rectifier"), "top")
    d += e.ResistorIEC().right().length(WIDE).label(text("R attack"), "top")
    d += e.Dot()
    d.push()
    d += e.Capacitor().down().length(TALL).label(text("C hold"), "top")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(2.2)
    d += e.Dot()
    d.push()
    d += e.ResistorIEC().down().length(TALL).label(text("R release"), "bottom")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(1.6)
    d += e.Dot(open=True).label(text("held"), "right")


def coupler(d: Any, e: Any, text: Text) -> None:
    """Draw LED and cell facing each other in one light-tight sleeve."""
    d += e.Dot(open=True).label(text("drive"), "left")
    d += e.ResistorIEC().right().length(WIDE).label(text("R"), "top")
    d += (lamp := e.LED().down().length(TALL).label(text("LED"), "top"))
    d += e.Ground()
    x, y = lamp.start
    d += (cell := e.ResistorIEC().at((x + 2.2, y)).down().length(TALL).label(text("cell"), "bottom"))
    for end, name in ((cell.start, "a"), (cell.end, "b")):
        d += e.Line().at(end).right().length(2.2)
        d += e.Dot(open=True).label(text(name), "right")
    d += e.Rect(corner1=(x - 1.3, y - 0.35), corner2=(x + 3.5, y - TALL + 0.35)).at((0, 0)).theta(0).linestyle("--")
    d += e.Label().at((x + 1.1, y + 0.25)).theta(0).label(text("sleeve"), "center")


def cell_shunt(d: Any, e: Any, text: Text) -> None:
    """Draw the cell from the signal to ground, after a source resistance."""
    d += e.Dot(open=True).label(text("in"), "left")
    d += e.ResistorIEC().right().length(WIDE).label(text("R source"), "top")
    d += e.Dot()
    d.push()
    d += e.PhotoresistorIEC().down().length(TALL).label(text("cell"), "top")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(2)
    d += e.Dot()
    d.push()
    d += e.ResistorIEC().down().length(TALL).label(text("load"), "bottom")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(1.2)
    d += e.Dot(open=True).label(text("out"), "right")


def cell_series(d: Any, e: Any, text: Text) -> None:
    """Draw the cell in the signal path, with a resistance to ground after it."""
    d += e.Dot(open=True).label(text("in"), "left")
    d += e.PhotoresistorIEC().right().length(WIDE).label(text("cell"), "bottom")
    d += e.Dot()
    d.push()
    d += e.ResistorIEC().down().length(TALL).label(text("load"), "bottom")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(1.4)
    d += e.Dot(open=True).label(text("out"), "right")


def cell_feedback(d: Any, e: Any, text: Text) -> None:
    """Draw an inverting amplifier with the cell across its feedback resistor."""
    d += (amplifier := e.Opamp())
    d += e.Line().at(amplifier.in2).left().length(0.6)
    d += e.Ground().label(text("reference"), "left")
    d += e.Line().at(amplifier.in1).left().length(0.6)
    d += (joint := e.Dot())
    d += e.ResistorIEC().left().length(WIDE).label(text("R in"), "top")
    d += e.Dot(open=True).label(text("in"), "left")
    d += e.Line().at(joint.center).up().length(2.0)
    d += (corner := e.Dot())
    d += e.ResistorIEC().right().tox(amplifier.out).label(text("R feedback"), "bottom")
    d += (far := e.Dot())
    d += e.Line().at(corner.center).up().length(1.5)
    d += e.PhotoresistorIEC().right().tox(amplifier.out).label(text("cell"), "bottom")
    d += e.Line().down().toy(amplifier.out)
    d += e.Line().at(far.center).length(0)
    d += e.Dot().at(amplifier.out)
    d += e.Line().right().length(1.2)
    d += e.Dot(open=True).label(text("out"), "right")


def compressor(d: Any, e: Any, text: Text) -> None:
    """Draw the block chain of a compressor whose side-chain listens to the output."""
    upper = ("input", "gain cell", "make-up")
    lower = ("LED drive", "attack, hold, release", "rectifier", "threshold")
    d += e.Dot(open=True).label(text("in"), "left")
    boxes = {}
    for name in upper:
        d += e.Arrow().right().length(0.9)
        d += (box := _block(e, _wide(text(name)), 1.1).anchor("W").label(text(name), "center"))
        boxes[name] = box
        d.move_from(box.E)
    d += e.Line().right().length(1.5)
    d += (tap := e.Dot())
    d += e.Arrow().right().length(1.1)
    d += e.Label().label(text("out"), "right")
    low = -2.9
    d += e.Line().at(tap.center).down().length(-low)
    x = tap.center[0] - 0.6
    d += e.Arrow().left().length(0.6)
    for name in reversed(lower):
        width = _wide(text(name))
        d += (box := _block(e, width, 1.1).at((x, low)).anchor("E").label(text(name), "center"))
        boxes[name] = box
        x -= width + 0.6
        if name != lower[0]:
            d += e.Arrow().at(box.W).left().length(0.6)
    lamp, cell = boxes["LED drive"], boxes["gain cell"]
    d += e.Line().at(lamp.N).up().length(0.6).linestyle("--")
    d += e.Line().tox(cell.S).linestyle("--")
    d += e.Arrow().up().toy(cell.S).linestyle("--").label(text("light"), "bottom")


def _wide(words: str) -> float:
    """Return a width in which these words stand with room to spare; a letter takes up to a quarter of a unit."""
    return max(2.1, 0.25 * max(map(len, words.split("\n"))) + 0.6)


def _block(e: Any, width: float, height: float) -> Any:
    """Return an empty box with anchors on its four sides."""
    box = e.Rect(corner1=(0, 0), corner2=(width, height))
    box.anchors |= {
        "W": (0, height / 2),
        "E": (width, height / 2),
        "N": (width / 2, height),
        "S": (width / 2, 0),
        "center": (width / 2, height / 2),
    }
    return box.theta(0)


def supply_filter(d: Any, e: Any, text: Text) -> None:
    """Draw a series diode, a resistor and the filter capacitor behind it."""
    d += e.Dot(open=True).label(text("adaptor"), "left")
    d += e.Schottky().right().length(2.2).label(text("diode"), "top")
    d += e.ResistorIEC().right().length(WIDE).label(text("R"), "top")
    d += e.Dot()
    d.push()
    d += e.Capacitor2(polar=True).down().length(TALL).label(text("C"), "bottom")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(1.4)
    d += e.Dot(open=True).label(text("rail"), "right")


def half_supply(d: Any, e: Any, text: Text) -> None:
    """Draw the divider for half the supply with its capacitor."""
    d += e.Dot(open=True).label(text("supply"), "left")
    d += e.Line().right().length(1)
    d += e.ResistorIEC().down().length(TALL).label(text("R upper"), "top")
    d += e.Dot()
    d.push()
    d += e.ResistorIEC().down().length(TALL).label(text("R lower"), "top")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(2)
    d += e.Dot()
    d.push()
    d += e.Capacitor2(polar=True).down().length(TALL).label(text("C"), "bottom")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(1.4)
    d += e.Dot(open=True).label(text("reference"), "right")


def pump(d: Any, e: Any, text: Text) -> None:
    """Draw a charge pump that doubles through two diodes."""
    d += (chip := _block(e, max(2.4, _wide(text("switcher"))), 2.2).label(text("switcher"), "center"))
    d += e.Line().at((0, 1.1)).left().length(0.9)
    d += (feed := e.Dot())
    d += e.Line().left().length(0.7)
    d += e.Dot(open=True).label(text("supply"), "left")
    d += e.Line().at(feed.center).up().length(2.8)
    d += e.Line().right().length(2.6)
    d += e.Schottky().right().length(2.4).label(text("D1"), "top")
    d += (joint := e.Dot())
    d += e.Schottky().right().length(2.4).label(text("D2"), "top")
    d += e.Dot()
    d.push()
    d += e.Capacitor2(polar=True).down().length(TALL).label(text("C reservoir"), "bottom")
    d += e.Ground()
    d.pop()
    d += e.Line().right().length(1.4)
    d += e.Dot(open=True).label(text("out"), "right")
    d += e.Capacitor2(polar=True).at(joint.center).down().toy(chip.E).label(text("C flying"), "top")
    d += e.Line().left().tox(chip.E)
    d += e.Line().at(chip.S).down().length(0.5)
    d += e.Ground()


def rectifier(d: Any, e: Any, text: Text) -> None:
    """Draw threshold, gain and inverter as blocks, and a diode for each half-wave."""
    d += e.Dot(open=True).label(text("in"), "left")
    for name in ("threshold", "gain"):
        d += e.Arrow().right().length(0.7)
        d += (box := _block(e, _wide(text(name)), 1.1).anchor("W").label(text(name), "center"))
        d.move_from(box.E)
    d += e.Line().right().length(0.6)
    d += (tap := e.Dot())
    d += e.Line().right().length(0.5)
    width = _wide(text("inverter"))
    d += e.Line().right().length(width)
    d += e.Diode().right().length(2.0).label(text("D upright"), "top")
    d += (joint := e.Dot())
    d += e.Line().at(tap.center).down().length(1.9)
    d += e.Arrow().right().length(0.5)
    d += (turned := _block(e, width, 1.1).anchor("W").label(text("inverter"), "center"))
    d += e.Diode().at(turned.E).right().length(2.0).label(text("D inverted"), "bottom")
    d += e.Line().up().toy(joint.center)
    d += e.Line().at(joint.center).right().length(0.8)
    d += e.Dot(open=True).label(text("out"), "right")


def hold_and_drive(d: Any, e: Any, text: Text) -> None:
    """Draw what fills and empties the hold capacitor, the buffer that reads it, and the coupler's LED."""
    d += e.Dot(open=True).label(text("rectified"), "left")
    d += e.ResistorIEC().right().length(WIDE).label(text("R attack"), "top")
    d += (held := e.Dot())
    d += (hold := e.Capacitor().down().length(TALL).label(text("C hold"), "top"))
    d += e.Line().at(held.center).right().length(2.2)
    d += (second := e.Dot())
    d += (empties := e.ResistorIEC().down().length(TALL).label(text("R release"), "bottom"))
    d += e.Arrow().at(second.center).right().length(2.4)
    d += (buffer := _block(e, _wide(text("buffer")), 1.1).anchor("W").label(text("buffer"), "center"))
    d += e.ResistorIEC().at(buffer.E).right().length(2.2).label(text("R LED"), "top")
    d += e.LED().down().length(TALL).label(text("LED"), "top")
    d += e.Line().left().tox(hold.end)
    for end in (hold.end, empties.end):
        d += e.Dot().at(end)
    d += e.Line().at(hold.end).left().length(0.8)
    d += e.Dot(open=True).label(text("reference"), "left")
