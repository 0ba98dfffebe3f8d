"""Sheath colour against the stated circuit: a hint where they disagree, silence where they do not."""

from __future__ import annotations

import pytest

from asbuilt.answers.sheath_hint import disagreement, size_hint
from asbuilt.record import Circuit


def _circuit(cable: str = "", amps: float | None = None) -> Circuit:
    return Circuit(id="c", number="2", name="bench", cable=cable, amps=amps)


@pytest.mark.parametrize(
    ("sheath", "cable", "amps", "disagrees"),
    [
        ("yellow", "12/2 yellow", 20, False),
        ("white", "12/2", 20, True),
        ("white", "", 20, True),
        ("white", "14-2", 15, False),
        ("orange", "10/2 orange", 30, False),
        ("black", "6 AWG black", 50, False),
        ("unsure", "12/2", 20, False),
        ("grey", "12/2", 20, False),
        ("yellow", "", None, False),
    ],
)
def test_disagreement_is_shown(sheath, cable, amps, disagrees):
    words = disagreement(sheath, _circuit(cable, amps))
    assert bool(words) == disagrees
    assert not disagrees or ("often" in words and "Read the print" in words)


def test_a_colour_is_called_a_hint():
    assert "not proof" in size_hint("yellow")
    assert size_hint("unsure") == ""
