"""The whole sheet of a build from its list alone: everything that a notebook prints, section by section."""

from pedalcalc.sheet._section import Section
from pedalcalc.sheet.build import Sheet, build_sheet

__all__ = ["Section", "Sheet", "build_sheet"]
