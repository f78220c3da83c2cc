"""What footswitch and jack wiring do to the electrics: indicator, battery jack, pull-downs, thumps.

::

    indicator grounded by the footswitch      indicator fed by the footswitch
    +V --R--|>|--o/ o-- 0V                    +V --o/ o--R--|>|-- 0V

    pull-downs at both ends of a bypassed circuit
    in --+--C--[ DC inside ]--C--+-- out
         Rpd                     Rpd
         0V                      0V

The footswitch is the usual 3PDT: two poles for the signal, one for the
indicator. Contacts are ideal. A coupling capacitor leaks like a resistor of
its DC voltage over its leakage current.
"""

from pedalcalc.switching.states import CurrentStates, IndicatorStates, current_states, indicator_states
from pedalcalc.switching.thump import IndicatorThump, PulldownThump, indicator_thump, pulldown_for_step, pulldown_thump

__all__ = [
    "CurrentStates",
    "IndicatorStates",
    "IndicatorThump",
    "PulldownThump",
    "current_states",
    "indicator_states",
    "indicator_thump",
    "pulldown_for_step",
    "pulldown_thump",
]
