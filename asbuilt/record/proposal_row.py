"""What the pictures themselves propose, kept apart from the items until a person confirms it."""

from __future__ import annotations

from dataclasses import dataclass, field

from asbuilt.record.field_checks import finite, need, slug

PROPOSED, ACCEPTED, REJECTED = "proposed", "accepted", "rejected"
STATES = (PROPOSED, ACCEPTED, REJECTED, "joined")


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A box or a run that the pictures seem to show; never a fact of the record.

    ``points_m`` are (offset, height, depth) on the face: one for a box, the run from end to end
    otherwise. ``sigma_m`` is one sigma of offset and height, ``sigma_depth_m`` of depth.
    ``picture_ids`` are the pictures that show it best. Accepted, it names the item made of it;
    joined, the proposal it became part of.
    """

    id: str
    face_id: str
    kind: str
    points_m: tuple[tuple[float, ...], ...]
    sigma_m: float
    sigma_depth_m: float
    picture_ids: tuple[str, ...]
    strength: float  # 0 to 1: how much of it the pictures agree on
    gangs: int | None = None
    width_m: float | None = None
    height_m: float | None = None
    radius_m: float | None = None
    sheath: str = ""  # white, yellow, orange, black, grey, blue, red or unsure
    comes_from: str = ""
    goes_to: str = ""
    state: str = PROPOSED
    item_id: str | None = None
    joined_to: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        slug(self)
        finite(self, "sigma_m", "sigma_depth_m", "strength", "width_m", "height_m", "radius_m")
        need(self.state in STATES, f"proposal {self.id}: state {self.state!r} is not one of {STATES}")
        need(self.sigma_m > 0 and self.sigma_depth_m > 0, f"proposal {self.id}: sigmas must be more than 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposalRun:
    """What was looked at when a face was last searched; ``id`` is the face's."""

    id: str
    created_at: str
    input_hash: str
    report: dict = field(default_factory=dict)
