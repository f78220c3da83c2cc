"""What kind of part a record is, in words."""

from __future__ import annotations

from typing import Any

WORDS = {
    "Bjt": "bipolar transistor", "Capacitor": "capacitor", "Converter": "charge-pump converter", "Coupler": "coupler",
    "Diode": "diode", "Jfet": "JFET", "Led": "LED", "Mosfet": "MOSFET", "OpAmp": "op-amp", "Regulator": "voltage regulator",
}  # fmt: skip
POLARITIES = {"npn": "NPN ", "pnp": "PNP ", "n": "N-channel ", "p": "P-channel "}


def kind_word(kind: type) -> str:
    """Return what a class of records is called."""
    return WORDS.get(kind.__name__, kind.__name__)


def kind_words(record: Any) -> str:
    """Return what kind and polarity a record is of, as `an NPN bipolar transistor`."""
    words = POLARITIES.get(getattr(record, "polarity", ""), "") + kind_word(type(record))
    return f"{'an' if words.startswith(('N', 'L', 'o')) else 'a'} {words}"
