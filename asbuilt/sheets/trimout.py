"""The trim-out sheet on paper: a line for each box, to be ticked while walking round the room."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Flowable, PageBreak, Spacer

from asbuilt.answers.trimout import RoomTrim, TrimBox, count_text, where_text
from asbuilt.sheets.flow import HEAD, SIDE_PT, SMALL, TickBox, flowed_pdf, ruled_table, strong, words
from asbuilt.sheets.paper import PAPERS_PT, PROVE

HEADS = ("No.", "Board", "Trim", "Box and place", "Gangs and devices", "Cables in it", "Switches", "Finish and notes")
SHARES = (0.035, 0.045, 0.045, 0.22, 0.14, 0.235, 0.13, 0.15)


def trimout_pdf(rooms: Sequence[RoomTrim], building: str, unit: str, printed_on: str, paper: str = "letter") -> bytes:
    """The sheet as PDF, landscape, each room from a new page.

    Parameters
    ----------
    rooms : sequence of RoomTrim
    building : str
    unit : str
        Of the lengths shown.
    printed_on : str
    paper : str
        letter or a4.
    """
    size_pt = PAPERS_PT[paper][::-1]
    story: list[Flowable] = []
    for room in rooms:
        if story:
            story.append(PageBreak())
        story += _room(room, building, unit, size_pt[0] - 2 * SIDE_PT)
    story = story or [words("No box is on record yet.")]
    return flowed_pdf(story, size_pt, f"Trim-out, {building}", f"{building}, trim-out, printed {printed_on}. {PROVE}")


def _room(room: RoomTrim, building: str, unit: str, width_pt: float) -> list[Flowable]:
    rows = [[strong(head, style=SMALL) for head in HEADS]] + [_row(box, unit) for box in room.boxes]
    counted = f"{count_text(room)}. Boxes counted after board: ________   missing: ________________"
    return [
        words(f"{room.room}: trim-out", HEAD), words(counted), Spacer(0, 4),
        ruled_table(rows, [share * width_pt for share in SHARES]),
        Spacer(0, 4), words("In one walk from the first face clockwise, each face from its left end. Board: the box is "
                            "open in the board. Trim: device and cover are on.", SMALL),
    ]  # fmt: skip


def _row(box: TrimBox, unit: str) -> list:
    circuits = f"circuit {', '.join(box.circuits)}" if box.circuits else "no circuit on record"
    gangs = f"{box.gangs} gang" if box.gangs else "gangs not recorded"
    seen = [words("seen", SMALL)] if box.seen_after_board else []
    return [
        words(str(box.number)), [TickBox(), *seen], TickBox(),
        [strong(box.name), words(where_text(box, unit), SMALL), words(circuits, SMALL)],
        [words(gangs, SMALL), *(words(d) for d in box.devices)],
        [words(c.text, SMALL) for c in box.cables] or words("no cable on record", SMALL),
        [words(w, SMALL) for w in box.works] or "",
        [words(box.finish, SMALL), *(words(n, SMALL) for n in box.notes)],
    ]  # fmt: skip
