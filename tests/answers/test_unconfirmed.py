"""What pictures propose is mentioned beside an answer, and never part of it until it is accepted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.answers.behind import behind
from asbuilt.answers.drill import drill
from asbuilt.answers.text import behind_text, drill_text
from asbuilt.record import Face, Item, Placement, Position, Record, Sighting, Solution, now
from asbuilt.record.joint import pack
from asbuilt.record.proposal_row import Proposal
from asbuilt.steps import coverage, propose_confirm
from tests.truth import truth_record

WHERE = {"face_id": "street", "offset_m": 1.5, "height_m": 1.2}


def _run(number: int, *points: tuple[float, float, float]) -> Proposal:
    return Proposal(
        id=f"street-run-{number}", face_id="street", kind="cable", points_m=points, sigma_m=0.003, sigma_depth_m=0.01,
        picture_ids=(), strength=0.5, radius_m=0.005, sheath="yellow",
    )  # fmt: skip


@pytest.fixture
def record(tmp_path):
    with truth_record(tmp_path / "r") as record:
        coverage.run(record)
        ids = _solved(record)
        far = _run(2, (5.9, 0.3, 0.05), (6.0, 0.3, 0.05))
        near = _run(1, (1.5, 1.0, 0.05), (1.5, 1.25, 0.05), (1.5, 1.5, 0.05))
        record.put(*(replace(p, picture_ids=tuple(ids)) for p in (near, far)))
        yield record


def _solved(record: Record) -> list[str]:
    """Let one solution, nearly exact, have placed all pictures; their ids."""
    placed = record.all(Placement, status="placed")
    lenses = sorted({p.lens_id for p in placed})
    first_lens, first_face = 6 * len(placed), 6 * len(placed) + 7 * len(lenses)
    faces = [f.id for f in record.all(Face)]
    count = first_face + 6 * len(faces)
    report = {
        "lens_column": {lens: first_lens + 7 * k for k, lens in enumerate(lenses)},
        "face_column": {face: first_face + 6 * k for k, face in enumerate(faces)},
    }
    covariance = pack(np.eye(count) * 1e-12)
    record.put(Solution(id="truth", created_at=now(), report=report, joint_covariance=covariance, param_count=count))
    record.put(*(replace(p, solution_id="truth", params_idx=6 * k) for k, p in enumerate(placed)))
    return [p.id for p in placed]


def test_a_proposal_near_the_hole_is_mentioned_but_changes_no_outcome(record):
    answer = drill(record, **WHERE, bit_m=0.006, depth_m=0.08)
    assert [u.id for u in answer.unconfirmed] == ["street-run-1"]
    assert not any("street-run" in t.name for t in answer.things)
    assert "NOT CONFIRMED" in drill_text(answer)
    assert answer.to_json()["unconfirmed"][0]["sheath"] == "yellow"
    propose_confirm.reject(record, "street-run-1")
    without = drill(record, **WHERE, bit_m=0.006, depth_m=0.08)
    assert (without.outcome, without.things) == (answer.outcome, answer.things)
    assert without.unconfirmed == ()
    assert "NOT CONFIRMED" not in drill_text(without)


def test_behind_mentions_it_too(record):
    answer = behind(record, "street", 1.5)
    assert [u.id for u in answer.unconfirmed] == ["street-run-1"]
    assert "NOT CONFIRMED" in behind_text(answer)
    assert behind(record, "street", 4.0).unconfirmed == ()


def test_accepted_it_is_an_item_where_it_was_proposed_and_counts(record):
    before = drill(record, **WHERE, bit_m=0.006, depth_m=0.08)
    numbers = propose_confirm.accept(record, "street-run-1")
    proposal = record.get(Proposal, "street-run-1")
    positions = record.all(Position, item_id=proposal.item_id)
    assert proposal.state == "accepted"
    assert {(round(p.offset_m, 2), round(p.height_m, 2)) for p in positions} == {(1.5, 1.0), (1.5, 1.25), (1.5, 1.5)}
    after = drill(record, **WHERE, bit_m=0.006, depth_m=0.08)
    assert (before.outcome, after.outcome) != ("hit expected", before.outcome)
    assert after.unconfirmed == () and any(t.item_id == proposal.item_id for t in after.things)
    propose_confirm.undo(record, numbers)
    assert record.get(Proposal, "street-run-1").state == "proposed"
    assert record.find(Item, proposal.item_id) is None
    assert record.all(Sighting, target_id=proposal.item_id) == []


def test_two_runs_become_one_at_their_near_ends_and_that_can_be_taken_back(record):
    numbers = propose_confirm.join(record, "street-run-2", "street-run-1")
    joined = record.get(Proposal, "street-run-2")
    assert len(joined.points_m) == 5
    assert record.get(Proposal, "street-run-1").state == "joined"
    assert joined.points_m[0] == (6.0, 0.3, 0.05)
    propose_confirm.undo(record, numbers)
    assert len(record.get(Proposal, "street-run-2").points_m) == 2
    assert record.get(Proposal, "street-run-1").state == "proposed"


def test_moving_shifts_every_point(record):
    numbers = propose_confirm.move(record, "street-run-1", 0.02, -0.01)
    assert record.get(Proposal, "street-run-1").points_m[0] == pytest.approx((1.52, 0.99, 0.05))
    propose_confirm.undo(record, numbers)
    assert record.get(Proposal, "street-run-1").points_m[0] == (1.5, 1.0, 0.05)
