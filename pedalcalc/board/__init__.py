"""A build from its own list: parts with records and nets, what it is fed from, where its controls stand.

`assemble` reads the list once; everything that a sheet prints is asked of the board: ``build.resistance("R7")``,
``build.device("IC2")``, ``build.control("VR3")``. Readings of the builder's own parts are fitted on the way, so that a
measured coupler, JFET, LED or transistor takes the place of its class. `changed` is the same board with other parts,
`compared` tells in words where what is fitted departs from the list.

The two whole circuits here, `doubled_supply` with `optical_compressor`, and `jfet_booster`, are found by their roles: a
mapping such as ``{"arm": "R7", ...}`` says which reference does what (`OPTICAL_ROLES`, `BOOSTER_ROLES`).

Readings name what was read as in `pedalcalc.readings`; a file for one part holds, by kind of part:

- coupler: ``LED current`` and ``LDR resistance`` in pairs, or ``LDR resistance`` alone with the condition ``dark``; times
  as ``LDR fall time`` in s with the condition ``2 mA off, to 47k`` and ``LDR rise time`` with ``2 mA on, to 1k``;
- indicator: ``LED current`` and ``LED voltage`` in pairs, or in place of the current ``resistor voltage`` with the resistor
  in series as condition of both (``470 Ω``);
- JFET: ``source voltage`` with the resistor at the source as condition (``470 Ω``), gate to ground, drain to the supply;
- transistor: ``collector current`` and ``base current`` in pairs, and for germanium ``leakage`` with the base open.
"""

from pedalcalc.board._booster import Booster, jfet_booster
from pedalcalc.board._compared import Difference, compared
from pedalcalc.board._core import BATTERY_USED, Board, Control, assemble, changed
from pedalcalc.board._design import DesignPart, OpticalDesign, Target, optical_design
from pedalcalc.board._optical import OpticalBuild, optical_compressor
from pedalcalc.board._own import OwnPart, own_part
from pedalcalc.board._roles import BOOSTER_ROLES, OPTICAL_ROLES
from pedalcalc.board._rows import FIRST_POWER, Consumer, PowerStep, TestPoint, Thump
from pedalcalc.board._supply import DoubledSupply, doubled_supply
from pedalcalc.board._timing import OpticalTiming, optical_timing
from pedalcalc.board._untold import Untold

__all__ = [
    "BATTERY_USED",
    "BOOSTER_ROLES",
    "FIRST_POWER",
    "OPTICAL_ROLES",
    "Board",
    "Booster",
    "Consumer",
    "Control",
    "DesignPart",
    "Difference",
    "DoubledSupply",
    "OpticalBuild",
    "OpticalDesign",
    "OpticalTiming",
    "OwnPart",
    "PowerStep",
    "Target",
    "TestPoint",
    "Thump",
    "Untold",
    "assemble",
    "changed",
    "compared",
    "doubled_supply",
    "jfet_booster",
    "optical_compressor",
    "optical_design",
    "optical_timing",
    "own_part",
]
