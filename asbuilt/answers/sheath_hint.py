"""What a cable's sheath colour hints of its size, against what the circuit is stated to be.

The colours are a habit of makers since about 2001, not a rule: a hint to look again, no proof.
"""

from __future__ import annotations

from asbuilt.record import Circuit

# Sheath colour: usual size and the most such a cable is usually protected at (common practice, no source).
USUAL = {
    "white": ("14 AWG", 15.0),
    "yellow": ("12 AWG", 20.0),
    "orange": ("10 AWG", 30.0),
    "black": ("8 or 6 AWG", 60.0),
}
SIZES = {"14": "white", "12": "yellow", "10": "orange", "8": "black", "6": "black"}


def size_hint(sheath: str) -> str:
    """The size that a sheath colour hints at, in words; empty where it hints at none."""
    return f"{sheath} sheath is often {USUAL[sheath][0]}: a hint, not proof" if sheath in USUAL else ""


def disagreement(sheath: str, circuit: Circuit) -> str:
    """How a sheath colour disagrees with a stated circuit, in words; empty where it does not, or cannot be told."""
    if sheath not in USUAL:
        return ""
    size, most_a = USUAL[sheath]
    stated = circuit.cable.split("/")[0].split("-")[0].strip().split(" ")[0]
    if stated in SIZES and SIZES[stated] != sheath:
        return (
            f"{sheath} sheath is often {size}, but circuit {circuit.number} is stated as {circuit.cable}. "
            "Read the print on the cable, or look again at which circuit it is."
        )
    if circuit.amps is not None and circuit.amps > most_a:
        return (
            f"{sheath} sheath is often {size}, usually on {most_a:g} A or less, but circuit {circuit.number} "
            f"is stated as {circuit.amps:g} A. Read the print on the cable."
        )
    return ""
