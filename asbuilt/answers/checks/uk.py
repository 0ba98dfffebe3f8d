"""The second profile: zones for concealed cables and heights, as in England and Wales."""

from __future__ import annotations

from collections.abc import Iterator

from asbuilt.answers import wording
from asbuilt.answers.checks.rule import (
    CANNOT_TELL,
    CODE,
    DOES_NOT,
    MEETS,
    RESULTS,
    Figure,
    Figures,
    Finding,
    Rule,
    at_least,
    at_most,
)
from asbuilt.answers.checks.site import FaceRun, Site, Spot, finding
from asbuilt.answers.things import far_link
from asbuilt.record.kinds import KINDS

ACCESSORIES = ("device box", "junction box", "panel")


def zones(site: Site, figures: Figures) -> Iterator[Finding]:
    """Shallow cables against the zones in which one expects them, and residual-current protection."""
    for run in site.runs:
        if run.item.kind != "cable" or run.face.face.kind != "wall":
            continue
        judged = [(*_zone(site, run, spot, figures), spot) for spot in run.spots]
        judged.sort(key=lambda j: RESULTS.index(j[0]))
        result, text, spot = judged[0]
        yield finding("uk-zones", result, site.of_item(run.item.id, spot, run.face.face.id), text)


def _zone(site: Site, run: FaceRun, spot: Spot, figures: Figures) -> tuple[str, str]:
    covering_m = run.face.covering_m
    if not spot.measured:
        return CANNOT_TELL, "depth not measured: only the usual depth of its kind is at hand"
    front_m = float(spot.point_m[2]) + covering_m - run.radius_m
    sigma_m = float(spot.sigma_m[2])
    deep = at_least(front_m, sigma_m, figures["deep"])
    text = f"{site.measure(max(front_m, 0.0), sigma_m)} behind the finished face"
    if deep == MEETS:
        return MEETS, f"{text}, figure {site.length(figures['deep'])}"
    zone = _in_zone(site, run, spot, figures)
    if zone is None or (zone and not _has_rcd(site, run)):
        why = "perhaps in a zone" if zone is None else "in a zone; 30 mA residual-current protection not on record"
        return CANNOT_TELL, f"{text}, {why}"
    if zone:
        return MEETS, f"{text}, in a zone and behind a residual-current device"
    return (DOES_NOT if deep == DOES_NOT else CANNOT_TELL), f"{text}, in no zone"


def _has_rcd(site: Site, run: FaceRun) -> bool:
    circuit = site.wiring.circuits.get(run.item.circuit_id or "")
    return circuit is not None and "rcd" in circuit.protection.lower().replace("rcbo", "rcd")


def _in_zone(site: Site, run: FaceRun, spot: Spot, figures: Figures) -> bool | None:
    """Within the band under the ceiling or beside a corner, or in line with an accessory."""
    face, band_m = run.face.face, figures["band"]
    x, z = (float(v) for v in spot.point_m[:2])
    sx, sz = (float(v) for v in spot.sigma_m[:2])
    results = [at_most(face.height_m - z, sz, band_m)]
    results += [at_most(d, sx, band_m) for d in (x, face.length_m - x)]
    for half_w, half_h, dx, dz, sigma_x, sigma_z in _accessories(site, run, spot, figures):
        results += [at_most(dx, (sigma_x**2 + sx**2) ** 0.5, half_w), at_most(dz, (sigma_z**2 + sz**2) ** 0.5, half_h)]
    if MEETS in results:
        return True
    return None if CANNOT_TELL in results else False


def _accessories(site: Site, run: FaceRun, spot: Spot, figures: Figures) -> Iterator[tuple[float, ...]]:
    face = run.face.face
    x, z = spot.point_m[:2]
    for item, at in site.on_face(face.id, *ACCESSORIES):
        yield *_half(item), abs(x - at.point_m[0]), abs(z - at.point_m[1]), at.sigma_m[0], at.sigma_m[1]
    far = run.face.far
    thickness_m = face.stud_depth_m + run.face.covering_m + (site.view.covering_m(far.id) if far else 0.0)
    if far is None or thickness_m > figures["thin"] + 1e-9:
        return
    total_m, shift_m = far_link(face, far)
    for item, at in site.on_face(far.id, *ACCESSORIES):
        there_x, there_z = total_m - at.point_m[0], at.point_m[1] - shift_m
        yield *_half(item), abs(x - there_x), abs(z - there_z), at.sigma_m[0], at.sigma_m[1]


def _half(item) -> tuple[float, float]:
    kind = KINDS[item.kind]
    return (item.width_m or kind.width_m) / 2, (item.height_m or kind.height_m) / 2


def heights(site: Site, figures: Figures) -> Iterator[Finding]:
    """Heights of sockets and switches above the finished floor."""
    for box in site.wiring.boxes.values():
        yield from _height(site, box.id, "uk-heights", figures)


def board_height(site: Site, figures: Figures) -> Iterator[Finding]:
    """Height of a consumer unit's switches above the finished floor; taken at its middle."""
    for item in site.wiring.items.values():
        if item.kind == "panel":
            yield from _height(site, item.id, "uk-board-height", figures)


def _height(site: Site, item_id: str, rule_id: str, figures: Figures) -> Iterator[Finding]:
    known = site.spot_of(item_id)
    if known is None:
        yield finding(rule_id, CANNOT_TELL, site.of_item(item_id), "its height is not on record")
        return
    face_id, spot = known
    if site.view.faces[face_id].kind != "wall":
        return
    floor_m = site.view.face(face_id).room.finished_floor_thickness_m or 0.0
    height_m, sigma_m = float(spot.point_m[1]) - floor_m, float(spot.sigma_m[1])
    results = (at_least(height_m, sigma_m, figures["lowest"]), at_most(height_m, sigma_m, figures["highest"]))
    result = min(results, key=RESULTS.index)
    span = f"{site.length(figures['lowest'])} to {site.length(figures['highest'])}"
    text = f"{wording.length(height_m, site.unit, sigma_m)} up ({wording.error(sigma_m, site.unit)}), figure {span}"
    yield finding(rule_id, result, site.of_item(item_id), text)


_ZONES_SOURCE = "two pages quoting the guide to the regulation; not read at the standard itself"

RULES = (
    Rule(
        id="uk-zones", title="Cables in zones", standing=CODE, clause="BS 7671 522.6.202", edition="18th edition",
        source=_ZONES_SOURCE, compares="cables less than 50 mm deep with the zones, and residual-current protection",
        figures=(
            Figure(name="deep", value=0.050, unit="m", text="50 mm from the surface"),
            Figure(name="band", value=0.150, unit="m", text="150 mm from the top of the wall or from a corner"),
            Figure(name="thin", value=0.100, unit="m", text="walls up to 100 mm: zones reach through"),
        ),
        regions=("uk",), find=zones,
    ),
    Rule(
        id="uk-heights", title="Heights of sockets and switches", standing=CODE, clause="Approved Document M",
        edition="dwellings", source="a warranty provider's and a training page",
        compares="the height of sockets and switches above the finished floor",
        figures=(
            Figure(name="lowest", value=0.450, unit="m", text="450 mm"),
            Figure(name="highest", value=1.200, unit="m", text="1200 mm"),
        ),
        regions=("uk",), needs="dwelling", find=heights,
    ),
    Rule(
        id="uk-board-height", title="Height of a consumer unit", standing=CODE, clause="Approved Document M",
        edition="dwellings", source="a warranty provider's and a training page",
        compares="the height of a consumer unit's switches above the finished floor",
        figures=(
            Figure(name="lowest", value=1.350, unit="m", text="1350 mm"),
            Figure(name="highest", value=1.450, unit="m", text="1450 mm"),
        ),
        regions=("uk",), needs="dwelling", find=board_height,
    ),
)  # fmt: skip
