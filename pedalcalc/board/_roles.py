"""Which reference does what on the boards of the two builds; a build with other references replaces entries."""

from __future__ import annotations

#: Roles of the optical compressor's parts: ``OPTICAL_ROLES | {"arm": "R21"}`` moves one.
OPTICAL_ROLES = {
    # supply, doubler, half supply
    "protection": "D1", "filter in": "R1", "reservoir": "C5", "converter": "IC1", "pump diode in": "D2",
    "pump diode out": "D3", "flying": "C6", "pump output": "C7", "filter out": "R2", "rail capacitor": "C8",
    "divider top": "R3", "divider bottom": "R4", "divider capacitor": "C9",
    # op-amps and signal path
    "signal": "IC2", "side-chain": "IC3", "reference": "IC4", "input pull-down": "R5", "input": "C1", "bias": "R6",
    "arm": "R7", "make-up feedback": "R8", "make-up ground": "R9", "output": "C3", "level": "VR4",
    "output pull-down": "R18",
    # side-chain and coupler
    "threshold": "VR1", "side-chain feedback": "R10", "side-chain ground": "R11", "inverter in": "R12",
    "inverter feedback": "R13", "rectifier": "D4", "rectifier inverted": "D5", "attack stop": "R14", "attack": "VR2",
    "hold": "C2", "release stop": "R15", "release": "VR3", "lamp resistor": "R16", "coupler": "U1",
    # indicator
    "indicator": "D6", "indicator resistor": "R17",
}  # fmt: skip

#: Roles of the JFET booster's parts.
BOOSTER_ROLES = {
    "protection": "D1", "filter": "R1", "filter capacitor": "C4", "gate": "R3", "drain": "R4", "source": "R5",
    "emitter": "R6", "JFET": "Q1", "follower": "Q2", "input": "C1", "bypass": "C2", "output": "C3",
    "input pull-down": "R2", "output pull-down": "R8", "level": "VR1", "indicator": "D2", "indicator resistor": "R7",
}  # fmt: skip
