"""Proposing: what it refuses, and that decisions outlive a second look."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.errors import RecordError
from asbuilt.geometry.rectify import Patch
from asbuilt.imaging.boxes import Mouth
from asbuilt.imaging.run_lines import CABLE_M, DRAIN_M, Run
from asbuilt.imaging.sweep import Rectified
from asbuilt.imaging.uprights import Upright
from asbuilt.record import Face, Marker, Record, Room, Stud, now
from asbuilt.record.proposal_row import Proposal, ProposalRun
from asbuilt.steps import propose
from asbuilt.steps.propose_face import Seen, against_stud, between_studs
from asbuilt.steps.propose_list import proposals_of

ROOM = Room(id="shed", name="Shed")
FACE = Face(id="north", room_id="shed", title="North face", length_m=4.0, height_m=2.4)


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "r", name="Shed") as record:
        record.put(ROOM, FACE)
        yield record


def _run(name: str, height_m: float) -> Proposal:
    line = tuple((x, height_m, 0.05) for x in np.linspace(0.5, 1.5, 12).tolist())
    return Proposal(id=name, face_id="north", kind="cable", points_m=line, sigma_m=0.003, sigma_depth_m=0.01,
                    picture_ids=(), strength=0.5, sheath="white")  # fmt: skip


def test_nothing_placed_is_said_with_what_to_do(record):
    with pytest.raises(RecordError, match="asbuilt place"):
        propose.run(record)


def test_what_was_rejected_is_not_proposed_again_and_measured_studs_are_replaced(record):
    done = ProposalRun(id="north", created_at=now(), input_hash="1")
    stud = Stud(id="north-seen-01", face_id="north", center_m=0.4, sigma_m=0.002, source="measured")
    taped = Stud(id="t", face_id="north", center_m=2.0, sigma_m=0.001)
    record.put(taped)
    propose.write(record, FACE, [stud], [_run("north-run-1", 1.0), _run("north-run-2", 2.0)], done)
    record.put(replace(record.get(Proposal, "north-run-1"), state="rejected"))
    moved = replace(stud, center_m=0.41)
    propose.write(record, FACE, [moved], [_run("north-run-1", 1.01), _run("north-run-2", 2.0)], done)
    waiting = record.all(Proposal, state="proposed")
    assert [round(p.points_m[0][1], 2) for p in waiting] == [2.0]
    assert record.get(Proposal, "north-run-1").state == "rejected"
    assert {s.id: s.center_m for s in record.all(Stud)} == {"t": 2.0, "north-seen-01": 0.41}


def test_no_drain_ends_in_a_device_box():
    patch = Patch(left_m=0.0, top_m=2.4, px_m=0.0025, rows=960, cols=1600)
    seen = Seen(face=FACE, patch=patch, views=[], openings=[], markers=[])
    heights = np.linspace(2.3, 1.3, 40)
    line = np.stack([np.full(40, 1.5), heights, np.full(40, 0.07)], axis=1)
    run = Run(points_m=line, sheath="white", strength=0.5, sigma_depth_m=0.01, radius_m=DRAIN_M / 2)

    def kinds(mouths):
        return [(p.kind, p.radius_m) for p in proposals_of(seen, [], mouths, [run], []) if p.sheath]

    box = Mouth(x_m=1.5, y_m=1.15, width_m=0.057, height_m=0.095, gangs=1, misfit=0.2, view_count=5, picture_ids=("1",))
    assert kinds([]) == [("drain", DRAIN_M / 2)]
    assert kinds([box]) == [("cable", CABLE_M / 2)]


def test_neither_a_printed_sheet_nor_a_stud_s_side_tells_what_is_between_studs():
    px, stud = 0.0025, Upright(center_m=1.0, scatter_m=0.001, width_m=0.0381, bottom_m=0.0, top_m=2.4, view_count=5,
                               strength=1.0)  # fmt: skip
    patch = Patch(left_m=0.0, top_m=2.4, px_m=px, rows=960, cols=1600)
    sheet = Marker(id=5, face_id="north", offset_m=1.6, height_m=1.2, size_m=0.15)
    colors = np.full((960, 1600, 3), 120, np.uint8)
    view = Rectified(picture_id="1", row=0, col=0, colors=colors, within=np.ones((960, 1600), bool),
                     foot_px=(2.0 / px, 480), distance_m=2.0, sigma_m=0.001)  # fmt: skip
    seen = Seen(face=replace(FACE, stud_depth_m=0.14), patch=patch, views=[view], openings=[], markers=[sheet])
    show = between_studs(seen, view, [stud])

    def shown(offset_m: float) -> bool:
        return bool(show[480, round(offset_m / px)])

    # Seen from a metre to its right, a side 0.14 m deep shows 0.14 / (2 + 0.14) of that metre wide: similar triangles.
    assert [shown(x) for x in (0.97, 1.0, 1.03, 1.06, 1.11)] == [True, False, False, False, True]
    assert [shown(x) for x in (1.45, 1.55, 1.65, 1.80)] == [True, False, False, True]


def test_a_panel_reaches_to_its_studs_and_one_nailed_to_nothing_is_left_out():
    panel = Mouth(x_m=1.42, y_m=1.0, width_m=0.33, height_m=0.76, gangs=None, misfit=0.0, view_count=5,
                  picture_ids=("1",))  # fmt: skip
    studs = [
        Upright(center_m=c, scatter_m=0.001, width_m=0.0381, bottom_m=0.0, top_m=2.4, view_count=9, strength=1.6)
        for c in (1.2192, 1.6256)
    ]
    held = against_stud(panel, studs, 2.4)
    assert held.x_m - held.width_m / 2 == pytest.approx(1.2192 + 0.01905)
    assert held.x_m + held.width_m / 2 == pytest.approx(1.6256 - 0.01905)
    assert against_stud(panel, [], 2.4) is None
