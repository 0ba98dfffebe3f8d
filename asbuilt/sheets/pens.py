"""The pens of every sheet, in one table: how a line looks on screen and on paper.

A meaning is never carried by colour alone: each kind of run has its own width and dash, and
a label beside it. Widths are of the printed line, whatever the scale of the drawing.
Our own choice, tried in grey and under simulated colour blindness; no source.
"""

from __future__ import annotations

from dataclasses import dataclass

INK = "#1d2a38"
SOFT_INK = "#566473"
PAPER = "#fffefb"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """Stroke colour, width [mm on paper] and dash [mm on paper]; fill colour and how solid it is."""

    stroke: str | None = None
    width_mm: float = 0.0
    dash_mm: tuple[float, ...] = ()
    fill: str | None = None
    fill_share: float = 1.0
    bold: bool = False
    halo: bool = False  # text: a rim of paper round the letters


PENS: dict[str, Pen] = {
    # The frame
    "outline": Pen(stroke=INK, width_mm=0.6),
    "floor": Pen(stroke=INK, width_mm=0.9),
    "bay": Pen(fill=PAPER),
    "stud": Pen(stroke="#8a7a5c", width_mm=0.25, fill="#eadfc6"),
    "stud expected": Pen(stroke="#8a7a5c", width_mm=0.25, dash_mm=(1.2, 0.8), fill="#f3ecdc"),
    "plate": Pen(stroke="#8a7a5c", width_mm=0.25, fill="#e0d3b5"),
    "centre line": Pen(stroke="#6d5f43", width_mm=0.18, dash_mm=(3.0, 0.8, 0.6, 0.8)),
    "opening": Pen(stroke=INK, width_mm=0.45, fill="#ffffff"),
    "opening cross": Pen(stroke="#8794a1", width_mm=0.18),
    # Not recorded: hatched, named, and never plain paper
    "not recorded": Pen(fill="#d3d8de", fill_share=0.55),
    "not recorded hatch": Pen(stroke="#5b6670", width_mm=0.24),
    "not recorded edge": Pen(stroke="#3c4650", width_mm=0.35, dash_mm=(1.6, 0.9)),
    "seen but poor": Pen(fill="#eef0f2", fill_share=0.6),
    "seen but poor hatch": Pen(stroke="#7b8894", width_mm=0.2, dash_mm=(0.3, 1.4)),
    # Items
    "band": Pen(fill="#1d2a38", fill_share=0.13),
    "band unsure": Pen(fill="#1d2a38", fill_share=0.06),
    "run unsure": Pen(stroke="#0b5c8f", width_mm=0.3, dash_mm=(0.9, 0.9)),
    "run far": Pen(stroke="#566473", width_mm=0.5, dash_mm=(1.4, 1.0)),
    "box far": Pen(stroke="#566473", width_mm=0.35, dash_mm=(1.0, 0.7), fill="#ffffff", fill_share=0.5),
    "box": Pen(stroke=INK, width_mm=0.5, fill="#cfe3f2"),
    "box panel": Pen(stroke=INK, width_mm=0.7, fill="#c3ccd6"),
    "box plain": Pen(stroke=INK, width_mm=0.35, dash_mm=(1.0, 0.6), fill="#ffffff", fill_share=0.7),
    "blocking": Pen(stroke="#8a7a5c", width_mm=0.35, fill="#eadfc6"),
    "nail plate": Pen(stroke=INK, width_mm=0.35, fill="#9aa5b0"),
    "gang line": Pen(stroke=INK, width_mm=0.25),
    "run cable": Pen(stroke="#0b5c8f", width_mm=0.75),
    "run low voltage cable": Pen(stroke="#6b3f86", width_mm=0.5, dash_mm=(2.2, 0.9, 0.5, 0.9)),
    "run conduit": Pen(stroke="#0b5c8f", width_mm=1.1, dash_mm=(4.0, 1.2)),
    "run pipe": Pen(stroke="#1f6f54", width_mm=1.3),
    "run drain": Pen(stroke="#1f6f54", width_mm=2.2),
    "run gas pipe": Pen(stroke="#a4460b", width_mm=1.3, dash_mm=(5.0, 1.0, 1.0, 1.0)),
    "run special": Pen(stroke="#a4460b", width_mm=1.3, dash_mm=(1.6, 0.8)),
    "run duct": Pen(stroke="#566473", width_mm=2.6, dash_mm=(3.0, 1.0)),
    "run core": Pen(stroke="#ffffff", width_mm=0.5),
    "arrow": Pen(stroke=INK, width_mm=0.2, fill=INK),
    "coil": Pen(stroke="#0b5c8f", width_mm=0.5),
    "marker": Pen(stroke="#566473", width_mm=0.3, fill="#ffffff"),
    "marker fill": Pen(fill="#566473"),
    # Tags and words
    "tag": Pen(stroke=INK, width_mm=0.3, fill=PAPER),
    "tag leader": Pen(stroke=INK, width_mm=0.2),
    "text": Pen(fill=INK, halo=True),
    "text plain": Pen(fill=INK),
    "text bold": Pen(fill=INK, bold=True),
    "text soft": Pen(fill=SOFT_INK, halo=True),
    "text tag": Pen(fill=INK, bold=True),
    # The plan
    "plan wall": Pen(stroke=INK, width_mm=0.35, fill="#c9bea3"),
    "plan sight": Pen(stroke="#566473", width_mm=0.2),
    "plan eye": Pen(fill="#566473"),
    # The tape and the title block
    "tape": Pen(stroke=INK, width_mm=0.3, fill="#f7e9b0"),
    "tape mark": Pen(stroke=INK, width_mm=0.2),
    "tape mark long": Pen(stroke=INK, width_mm=0.35),
    "grid": Pen(stroke="#c9cfd5", width_mm=0.15),
    "frame": Pen(stroke=INK, width_mm=0.5, fill=PAPER),
    "rule": Pen(stroke=INK, width_mm=0.25),
    "question": Pen(stroke="#b0122b", width_mm=0.6),
}
