"""What a line of the parts list means: from the text of a type to its record, from its pins to their roles.

One search serves all: `find_device` reads ``TL072``, ``tl072cp``, ``1N 4148``, ``blue LED``, ``7660`` and gives the
record. A text that fits none or several is refused with what it may have meant. The records are the tables of
`pedalcalc.devices`; a builder's own tables are handed in beside them.

How the pins of a part are called in a list:

- resistors, film and ceramic capacitors, inductors, links, photocells: two names of any kind;
- diodes, LEDs: ``anode``, ``cathode``; electrolytics, batteries: ``plus``, ``minus``;
- transistors: by role (``drain``, ``gate``, ``source``), or by number where all makers agree;
- integrated circuits: by number, all of them;
- regulators: ``input``, ``ground`` or ``adjust``, ``output``, or by number, 1 to 3 from the left, the flat side towards you;
- potentiometers and trimmers: ``1``, ``2``, ``3`` from the anticlockwise end, seen from the shaft;
- couplers: ``LED anode``, ``LED cathode``, ``cell a``, ``cell b``;
- jacks: ``tip``, ``ring``, ``sleeve``, and ``tip switch``, ``ring switch`` for contacts that a plug opens;
- barrel connectors: ``centre``, ``outer``, and ``outer switch``, which a plug opens;
- switches: ``pole 1 common``, ``pole 1 effect``, ``pole 1 bypass``, and so on for each pole.
"""

from pedalcalc.catalogue._find import KINDS, find_device
from pedalcalc.catalogue._resolve import PinRole, ResolvedPart, resolve_parts

__all__ = ["KINDS", "PinRole", "ResolvedPart", "find_device", "resolve_parts"]
