"""Nets that are one: what links, plugs, switches and ideal sources join, with the volts between them."""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc.board.sockets import GROUND

__all__ = ["GROUND", "Joints"]


class Joints:
    """Groups of nets whose voltages differ by known volts only; the group of `ground` stands at 0 V."""

    def __init__(self) -> None:
        self._above: dict[str, tuple[str, Any]] = {}

    def root(self, net: str) -> tuple[str, Any]:
        """Return the net that stands for the group of `net`, and how far above it `net` lies [V]."""
        offset: Any = 0.0
        while net in self._above:
            net, more = self._above[net]
            offset = offset + more
        return net, offset

    def join(self, net: str, other: str, *, volts: Any = 0.0, who: str = "") -> None:
        """Put `net` the given volts above `other`."""
        (first, above_first), (second, above_second) = self.root(net), self.root(other)
        step = volts + above_second - above_first  # of `first` above `second`
        if first == second:
            if np.any(np.asarray(step) != 0):
                raise ValueError(f"{who or net}: {net!r} and {other!r} are joined already; that shorts the supply")
            return
        if first == GROUND:
            self._above[second] = (first, -step)
        else:
            self._above[first] = (second, step)
