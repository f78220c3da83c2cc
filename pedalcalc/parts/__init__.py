"""The parts list of a build: what is on the board, what to look for, what to fit first.

A build's ``parts.csv`` is a table that any spreadsheet can write, one part a row::

    reference,kind,value,fitted,tolerance,rating,connections,note
    R1,resistor,4k7,,1%,0.25 W,"1: supply, 2: half supply",
    R2,resistor,10k,12k,1%,0.25 W,"1: half supply, 2: ground",no 10k left
    VR1,potentiometer,100k log,,20%,,"1: ground, 2: output, 3: level",
    IC1,integrated circuit,TL072,,,36 V,"1: out, 2: out, 3: in, 4: ground, 5: not connected, ...",
    B1,battery,9 V alkaline,,,,"plus: battery plus, minus: battery minus",
    J1,connector,2.1 mm barrel,,,,"centre: ground, outer: supply in, outer switch: battery plus",
    S1,switch,DPDT footswitch,,,,"pole 1 common: jack, pole 1 effect: in, pole 1 bypass: link, ...",

- ``reference``: the name on the board, once in the list.
- ``kind``: a full word of `KINDS`, or one that lists use for it (``zener diode``, ``LED``, ``electrolytic``). What no
  other kind covers (a power amplifier, a delay or logic chip, a module) is ``other``: it is left out of what is computed, and
  the nets that it may sway get no number. Its pins may have any names.
- ``value``: ``4k7``, ``100n`` for parts that have one, with the law of a control behind it
  (``100k log``, ``22k lin``, ``50k reverse log``), else the type (``TL072``). A capacitor's volts may stand behind its
  value instead of in the rating (``47u/16V``).
- ``fitted``: what the builder really fits, written like the value; empty where that is the listed part.
  What is fitted is what is computed.
- ``tolerance``: ``5%``, ``+80/-20%`` or empty.
- ``rating``: volts, watts or amperes (``25 V``, ``1/4 W``), several with commas between, or empty. Where it is lower
  than the limit that the tables have for the listed type, it is the limit.
- ``connections``: pairs ``pin: net`` with commas between, or empty. Nets have speaking names; a pin that is left open
  goes to ``not connected``. A potentiometer's pins are 1, 2, 3 from the anticlockwise end, seen from the shaft; the
  contacts of switches and jacks are named by pole and state (``pole 1 common``, ``tip switch``), see
  `pedalcalc.catalogue`.
- ``note``: any text.

The columns may stand in any order; commas or semicolons part them (the first line
decides). Where semicolons do, as spreadsheets write them in countries of the decimal comma, ``4,7k`` is read as well; where
commas do, the decimal mark is the point. UTF-8 with or without a byte-order mark and any line ending are read;
lines without content are skipped. Upper and lower case count in values and
nets, not in column names and kinds. A list without the column ``fitted`` is read as well.
Nothing else is guessed: a doubtful cell is refused with its line and column.
"""

from pedalcalc._part_value import LAWS
from pedalcalc.parts._fitting import fitting_order, marking_text
from pedalcalc.parts._list import (
    COLUMNS,
    FITTING_STEPS,
    KINDS,
    NOT_CONNECTED,
    OTHER,
    Connection,
    Part,
    read_parts,
)

__all__ = [
    "COLUMNS",
    "FITTING_STEPS",
    "KINDS",
    "LAWS",
    "NOT_CONNECTED",
    "OTHER",
    "Connection",
    "Part",
    "fitting_order",
    "marking_text",
    "read_parts",
]
