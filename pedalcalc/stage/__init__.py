"""Small signals: gain and impedances of one-transistor stages, stages in a row, swing and bypass corner.

A bipolar transistor comes as `transconductance` and `resistance_base_emitter`, which `bjt` finds beside the bias point
(an infinite one is a gain without limit), a field-effect transistor as `transconductance`, which `fet` finds.
Resistances that are not there: load, bias and output resistance inf, generator 0.
"""

from pedalcalc.stage._stage import Stage
from pedalcalc.stage.bipolar import common_emitter, emitter_follower
from pedalcalc.stage.chain import Cascade, cascade
from pedalcalc.stage.channel import common_source, source_follower
from pedalcalc.stage.limits import Swing, bypass_corner, swing

__all__ = [
    "Cascade",
    "Stage",
    "Swing",
    "bypass_corner",
    "cascade",
    "common_emitter",
    "common_source",
    "emitter_follower",
    "source_follower",
    "swing",
]
