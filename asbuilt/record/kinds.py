"""The kinds of item a record knows, and what is usual for each.

Usual sizes and depths are common practice unless a source is named; they are only used
while nothing better was measured, and an answer says so. Depths are a share of the stud
depth (0 stud face, 1 back of the cavity) or a distance from the stud face.
"""

from __future__ import annotations

from dataclasses import dataclass

from asbuilt.errors import RecordError
from asbuilt.sources import Sourced


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of item.

    ``depth_share`` times the stud depth plus ``depth_shift_m`` is its usual depth;
    ``sigma_depth_share`` times the stud depth its one-sigma spread (at least 5 mm).
    What is ``stapled`` lies nearer the face where it is fixed to the side of a stud.
    Cable goes into a box at ``entry_m`` behind the stud face.
    ``hazard`` is none, live, wet, gas or specialist.
    """

    name: str
    is_run: bool
    depth_share: float
    depth_shift_m: float = 0.0
    sigma_depth_share: float = 0.25
    radius_m: float = 0.006
    width_m: float = 0.0
    height_m: float = 0.0
    hazard: str = "none"
    stapled: bool = False
    entry_m: float | None = None


# Cable is bored through the middle of the studs, or stapled to one's side somewhere between there and this distance
# from its edge (common practice, no source); seldom nearer to either edge than this.
EDGE_RULE_M = Sourced(
    value=1.25 * 0.0254, unit="m", source="NFPA 70 (2020) 300.4(A)(1) and (D): 1-1/4 in from the nearest stud edge"
)
NEAR_STUD_M = 0.05  # of a stud's side lies what is stapled to it (common practice, no source)
LEAST_SIGMA_DEPTH_M = 0.005
# Beside a box cable is on its way from where it enters to where it is secured: within 8 in (NFPA 70 (2020) 314.17(B)(2)
# exception, boxes without clamps).
SECURED_M = 8 * 0.0254


def usual_depth(
    kind: Kind, stud_depth_m: float, at_stud: bool = False, box: tuple[Kind, float] | None = None
) -> tuple[float, float]:
    """Where things of a kind usually lie from the stud face, and one sigma of that [m].

    Parameters
    ----------
    at_stud : bool
        Whether it lies so near a stud that it may be stapled to it.
    box : (Kind, float), optional
        The box that it may go into there, and how far it is from its outline [m].
    """
    usual_m = kind.depth_share * stud_depth_m + kind.depth_shift_m
    if kind.stapled and at_stud:
        usual_m = min(usual_m, (float(EDGE_RULE_M) + kind.radius_m + usual_m) / 2)
    if kind.stapled and box is not None:
        into, away_m = box
        share = max(1 - away_m / SECURED_M, 0.0)
        usual_m += share * (min(into.entry_m, usual_m) - usual_m)
    return usual_m, max(LEAST_SIGMA_DEPTH_M, kind.sigma_depth_share * stud_depth_m)


def _kinds(*kinds: Kind) -> dict[str, Kind]:
    return {kind.name: kind for kind in kinds}


# Common practice, no source: boxes set proud of the studs by the board; single-gang box 2-1/4 x 3-3/4 in. Cable
# enters by the rear of a device box's end (3 in deep), in the middle of a panel's depth (3-3/4 in).
KINDS: dict[str, Kind] = _kinds(
    Kind(name="device box", is_run=False, depth_share=0, depth_shift_m=-0.0127, sigma_depth_share=0.06,
         width_m=0.057, height_m=0.095, hazard="live", entry_m=0.044),
    Kind(name="junction box", is_run=False, depth_share=0, depth_shift_m=-0.0127, sigma_depth_share=0.06,
         width_m=0.102, height_m=0.102, hazard="live", entry_m=0.028),
    Kind(name="panel", is_run=False, depth_share=0, depth_shift_m=-0.006, sigma_depth_share=0.08,
         width_m=0.368, height_m=0.762, hazard="live", entry_m=0.0415),
    Kind(name="cable", is_run=True, depth_share=0.5, sigma_depth_share=0.15, radius_m=0.006, hazard="live",
         stapled=True),
    Kind(name="low voltage cable", is_run=True, depth_share=0.5, sigma_depth_share=0.15, radius_m=0.004, stapled=True),
    Kind(name="conduit", is_run=True, depth_share=0.5, radius_m=0.012, hazard="live"),
    Kind(name="conduit end", is_run=False, depth_share=0.5, width_m=0.03, height_m=0.03, hazard="live"),
    Kind(name="coil", is_run=False, depth_share=0.2, sigma_depth_share=0.4, width_m=0.25, height_m=0.25, hazard="live"),
    Kind(name="pipe", is_run=True, depth_share=0.5, radius_m=0.011, hazard="wet"),
    Kind(name="drain", is_run=True, depth_share=0.5, sigma_depth_share=0.15, radius_m=0.030, hazard="wet"),
    Kind(name="gas pipe", is_run=True, depth_share=0.5, radius_m=0.013, hazard="gas"),
    Kind(name="sprinkler pipe", is_run=True, depth_share=0.5, radius_m=0.016, hazard="specialist"),
    Kind(name="radiant tubing", is_run=True, depth_share=0.5, radius_m=0.008, hazard="specialist"),
    Kind(name="tendon", is_run=True, depth_share=0.5, radius_m=0.01, hazard="specialist"),
    Kind(name="shear panel", is_run=False, depth_share=0, width_m=1.2, height_m=2.4, hazard="specialist"),
    Kind(name="duct", is_run=True, depth_share=0.5, radius_m=0.05, hazard="none"),
    Kind(name="blocking", is_run=False, depth_share=0, width_m=0.368, height_m=0.0889, hazard="none"),
    Kind(name="nail plate", is_run=False, depth_share=0, width_m=0.038, height_m=0.127, hazard="none"),
    Kind(name="staple", is_run=False, depth_share=0.5, width_m=0.02, height_m=0.01),
    Kind(name="stub", is_run=False, depth_share=0.5, width_m=0.03, height_m=0.03, hazard="wet"),
    Kind(name="other", is_run=False, depth_share=0.5, width_m=0.05, height_m=0.05, hazard="none"),
)  # fmt: skip

ALIASES = {"box": "device box", "receptacle": "device box", "switch": "device box", "wire": "cable",
           "low voltage": "low voltage cable", "service loop": "coil"}  # fmt: skip


def kind_named(name: str) -> Kind:
    """The kind called ``name`` or one of its everyday names.

    Raises
    ------
    RecordError
        If there is none; the text lists the kinds.
    """
    key = name.strip().lower()
    key = ALIASES.get(key, key)
    if key not in KINDS:
        raise RecordError(f"{name!r} is not a kind of item; use one of: {', '.join(KINDS)}")
    return KINDS[key]
