"""Proposing: what it refuses, and that decisions outlive a second look."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.errors import RecordError
from asbuilt.record import Face, Record, Room, Stud, now
from asbuilt.record.proposal_row import Proposal, ProposalRun
from asbuilt.steps import propose

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
