"""Knobs: what a potentiometer does where its shaft stands.

    clockwise lug ──┬── (1 − f) R ── wiper ── f R ──┬── counter-clockwise lug      f share of the track below the wiper

The law of the track comes with a `devices.Taper` record. Letters such as A and B are not standardised: makers have
swapped them. A meter between the counter-clockwise lug and the wiper at half rotation settles it in a minute, and
`dataclasses.replace` puts what it read into the record. A rotation is 0 fully counter-clockwise, 1 fully clockwise.
"""

from pedalcalc.controls.knob import (
    LevelControl,
    Potentiometer,
    level_control,
    potentiometer,
    rheostat_resistance,
    rotation_for,
)

__all__ = [
    "LevelControl",
    "Potentiometer",
    "level_control",
    "potentiometer",
    "rheostat_resistance",
    "rotation_for",
]
