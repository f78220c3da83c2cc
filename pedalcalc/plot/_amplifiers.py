"""How the stages of a transistor or an op-amp are drawn: one function a stage, as in `_stages.py`."""

from __future__ import annotations

from typing import Any

from pedalcalc.plot._stages import TALL, WIDE, Text


def bias_bjt(d: Any, e: Any, text: Text) -> None:
    """Draw a transistor stage with a base divider, collector and emitter resistors."""
    d += (transistor := e.BjtNpn(circle=True).right())
    d += e.Line().at(transistor.base).left().length(2.2)
    d += (base := e.Dot())
    d.push()
    d += e.ResistorIEC().up().length(WIDE).label(text("R upper"), "top")
    d += (upper := e.Dot())
    d.pop()
    d += e.ResistorIEC().at(base.center).down().length(TALL).label(text("R lower"), "top")
    d += e.Ground()
    d += e.Capacitor().at(base.center).left().length(1.8).label(text("C in"), "top")
    d += e.Dot(open=True).label(text("in"), "left")
    d += e.Line().at(upper.center).right().tox(transistor.collector)
    d += (top := e.Dot())
    d += e.ResistorIEC().down().toy(transistor.collector).label(text("R collector"), "bottom")
    d += e.Line().at(top.center).up().length(0.4)
    d += e.Dot(open=True).label(text("supply"), "top")
    d += e.Dot().at(transistor.collector)
    d += e.Line().right().length(1.6)
    d += e.Capacitor().right().length(1.8).label(text("C out"), "bottom")
    d += e.Dot(open=True).label(text("out"), "right")
    d += e.ResistorIEC().at(transistor.emitter).down().toy(base.center[1] - TALL).label(text("R emitter"), "bottom")
    d += e.Ground()


def _jfet(d: Any, e: Any, text: Text) -> tuple[Any, Any]:
    """Draw a JFET with gate resistor, input capacitor and drain resistor; return it and its gate node."""
    # The arrow of an n-channel gate points at the channel; schemdraw 0.23 draws it the other way, so it is drawn here.
    d += (transistor := e.JFet(circle=True).theta(0).reverse())
    gate_x, gate_y = transistor.gate
    d += e.Arrow().at((gate_x - 0.05, gate_y)).to((gate_x + 0.32, gate_y))
    d += e.Line().at(transistor.gate).left().length(1.6)
    d += (gate := e.Dot())
    d += e.ResistorIEC().down().length(TALL).label(text("R gate"), "top")
    d += e.Ground()
    d += e.Capacitor().at(gate.center).left().length(1.8).label(text("C in"), "top")
    d += e.Dot(open=True).label(text("in"), "left")
    d += e.ResistorIEC().at(transistor.drain).up().length(TALL).label(text("R drain"), "bottom")
    d += e.Dot().at(transistor.drain)
    return transistor, gate


def bias_jfet(d: Any, e: Any, text: Text) -> None:
    """Draw a JFET stage that biases itself through its source resistor."""
    transistor, gate = _jfet(d, e, text)
    x, y = transistor.drain
    d += e.Dot(open=True).at((x, y + TALL)).label(text("supply"), "top")
    d += e.Line().at(transistor.drain).right().length(1.6)
    d += e.Capacitor().right().length(1.8).label(text("C out"), "bottom")
    d += e.Dot(open=True).label(text("out"), "right")
    d += e.ResistorIEC().at(transistor.source).down().toy(gate.center[1] - TALL).label(text("R source"), "bottom")
    d += e.Ground()


def jfet_follower(d: Any, e: Any, text: Text) -> None:
    """Draw a bypassed JFET stage whose drain feeds an emitter follower straight."""
    transistor, gate = _jfet(d, e, text)
    x, y = transistor.drain
    bottom = gate.center[1] - TALL
    d += e.Dot().at((x, y + TALL))
    d += e.Line().up().length(0.4)
    d += e.Dot(open=True).label(text("supply"), "top")
    d += e.ResistorIEC().at(transistor.source).down().toy(bottom).label(text("R source"), "top")
    d += e.Ground()
    d += e.Dot().at(transistor.source)
    d += e.Line().right().length(1.7)
    d += e.Capacitor2(polar=True).down().toy(bottom).label(text("C bypass"), "bottom")
    d += e.Ground()
    d += e.Line().at(transistor.drain).right().length(4.2)
    d += (follower := e.BjtNpn(circle=True).anchor("base").right())
    d += e.Line().at((x, y + TALL)).right().tox(follower.collector)
    d += e.Line().down().toy(follower.collector)
    d += e.Line().at(follower.emitter).down().length(0.5)
    d += (emitter := e.Dot())
    d += e.ResistorIEC().down().toy(bottom).label(text("R emitter"), "bottom")
    d += e.Ground()
    d += e.Line().at(emitter.center).right().length(0.8)
    d += e.Capacitor().right().length(1.6).label(text("C out"), "top")
    d += e.Dot(open=True).label(text("out"), "right")


def op_amp_follower(d: Any, e: Any, text: Text) -> None:
    """Draw a follower with its input capacitor, pull-down and bias resistor."""
    d += e.Dot(open=True).label(text("in"), "left")
    d += e.Line().right().length(1.2)
    d += (first := e.Dot())
    d += e.Capacitor().right().length(2.2).label(text("C in"), "top")
    d += (second := e.Dot())
    d += e.Line().right().length(1.6)
    d += (amplifier := e.Opamp().anchor("in2").right().flip())
    d += e.Label().at(amplifier.center).label(text("op-amp"), "center")
    d += e.Line().at(amplifier.in1).left().length(0.4)
    d += e.Line().down().length(1.3)
    d += e.Line().right().tox(amplifier.out)
    d += e.Line().up().toy(amplifier.out)
    d += e.Dot()
    d += e.Line().right().length(1.0)
    d += e.Dot(open=True).label(text("out"), "right")
    d += e.ResistorIEC().at(first.center).down().length(TALL).label(text("R pull-down"), "top")
    d += e.Ground()
    d += e.ResistorIEC().at(second.center).down().length(TALL).label(text("R bias"), "top")
    d += e.Dot(open=True).label(text("reference"), "bottom")


def op_amp_gain(d: Any, e: Any, text: Text) -> None:
    """Draw an amplifier that does not invert, its two resistors, and the capacitor at its output."""
    d += e.Dot(open=True).label(text("in"), "left")
    d += e.Line().right().length(1.8)
    d += (amplifier := e.Opamp().anchor("in2").right().flip())
    d += e.Label().at(amplifier.center).label(text("op-amp"), "center")
    d += e.Line().at(amplifier.in1).left().length(0.6)
    d += e.Line().down().length(1.4)
    d += (joint := e.Dot())
    d += e.ResistorIEC().right().tox(amplifier.out[0] + 0.6).label(text("R feedback"), "top")
    d += e.Line().up().toy(amplifier.out)
    d += (far := e.Dot())
    d += e.Line().at(amplifier.out).right().tox(far.center)
    d += e.ResistorIEC().at(joint.center).down().length(TALL).label(text("R ground"), "top")
    d += e.Dot(open=True).label(text("reference"), "bottom")
    d += e.Capacitor().at(far.center).right().length(2.2).label(text("C out"), "top")
    d += e.Dot(open=True).label(text("out"), "right")
