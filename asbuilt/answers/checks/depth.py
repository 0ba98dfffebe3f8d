"""Rules on how near a run lies to the edge of the wood, where nails and screws come in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from asbuilt.answers.checks.rule import (
    CANNOT_TELL,
    CODE,
    MEETS,
    RESULTS,
    Figure,
    Figures,
    Finding,
    Rule,
    at_least,
)
from asbuilt.answers.checks.site import FaceRun, Site, Spot, finding
from asbuilt.record import Hole

HOLE_NEAR_M = 0.05  # a described hole this near a crossing is the one passed (common practice, no source)
CABLES = ("cable", "low voltage cable")
# Conduits are spared by the clause; other pipe is iron or steel or it is not, which a run does not say.
PIPES = ("pipe", "drain", "gas pipe", "sprinkler pipe")


def edge_bored(site: Site, figures: Figures) -> Iterator[Finding]:
    """Cables through bored holes: the hole's edge against the nearest edge of the stud or plate."""
    for run in _runs(site, CABLES):
        spots = [spot for _, spot in run.crossings()] + list(run.plates())
        yield from _worst_of(site, run, "edge-bored", spots, lambda s, run=run: _bored(site, run, s, figures))


def edge_parallel(site: Site, figures: Figures) -> Iterator[Finding]:
    """Cables along a stud: the cable's surface against the nearest edge of the stud."""
    for run in _runs(site, CABLES):
        spots = list(run.beside_studs())
        yield from _worst_of(site, run, "edge-parallel", spots, lambda s, run=run: _along(site, run, s, figures))


def pipe_edge(site: Site, figures: Figures) -> Iterator[Finding]:
    """Pipes through studs and plates: the pipe against the nearest edge of the wood."""
    for run in _runs(site, PIPES):
        spots = [spot for _, spot in run.crossings()] + list(run.plates())
        yield from _worst_of(site, run, "pipe-edge", spots, lambda s, run=run: _along(site, run, s, figures))


def _runs(site: Site, kinds: Iterable[str]) -> Iterator[FaceRun]:
    yield from (run for run in site.runs if run.item.kind in kinds and run.face.face.kind == "wall")


def _worst_of(
    site: Site, run: FaceRun, rule_id: str, spots: list[Spot], judge: Callable[[Spot], tuple[str, str]]
) -> Iterator[Finding]:
    """One finding for a run on a face: that of its worst place, with how many there are of each result."""
    judged = [(*judge(spot), spot) for spot in spots]
    if not judged:
        return
    judged.sort(key=lambda j: (RESULTS.index(j[0]), j[2].sigma_m[2]))
    result, text, spot = judged[0]
    same = sum(j[0] == result for j in judged)
    count = f" ({same} of {len(judged)} places)" if len(judged) > 1 else ""
    yield finding(rule_id, result, site.of_item(run.item.id, spot, run.face.face.id), text + count)


def _bored(site: Site, run: FaceRun, spot: Spot, figures: Figures) -> tuple[str, str]:
    hole, what = _hole_at(site, run, spot), "the hole's edge"
    if hole is not None and hole.depth_m is not None:
        result, text = _edge(site, run, hole.depth_m, hole.sigma_m, hole.size_m / 2, figures["least"], what)
        return _with_plate(site, run, spot, result, text)
    radius_m = hole.size_m / 2 if hole is not None else run.radius_m
    depth_m, sigma_m = float(spot.point_m[2]), float(spot.sigma_m[2])
    result, text = _edge(site, run, depth_m, sigma_m, radius_m, figures["least"], what)
    if hole is None and result == MEETS:  # no hole is smaller than its cable, but it may be larger
        wide_m = max(run.radius_m, figures["hole"] / 2)
        result, text = _edge(site, run, depth_m, sigma_m, wide_m, figures["least"], what)
        result = MEETS if result == MEETS else CANNOT_TELL
        text += f", taking a {site.length(2 * wide_m)} hole"
    return _unmeasured(*_with_plate(site, run, spot, result, text), spot)


def _along(site: Site, run: FaceRun, spot: Spot, figures: Figures) -> tuple[str, str]:
    depth_m, sigma_m = float(spot.point_m[2]), float(spot.sigma_m[2])
    result, text = _edge(site, run, depth_m, sigma_m, run.radius_m, figures["least"], "its surface")
    return _unmeasured(*_with_plate(site, run, spot, result, text), spot)


def _edge(
    site: Site, run: FaceRun, depth_m: float, sigma_m: float, radius_m: float, least_m: float, what: str
) -> tuple[str, str]:
    """The nearer of the two edges of the wood against the figure."""
    front_m, back_m = depth_m - radius_m, run.face.face.stud_depth_m - depth_m - radius_m
    near_m, side = min((front_m, "near"), (back_m, "far"))
    result = at_least(near_m, sigma_m, least_m)
    measure = site.measure(near_m, sigma_m)
    return result, f"{what} {measure} from the {side} edge of the wood, figure {site.length(least_m)}"


def _with_plate(site: Site, run: FaceRun, spot: Spot, result: str, text: str) -> tuple[str, str]:
    if result == MEETS:
        return result, text
    covered = site.plate_over(run.face.face.id, spot)
    if covered:
        return MEETS, f"{text}; a nail plate covers it"
    if covered is None:
        return CANNOT_TELL, f"{text}; a nail plate may cover it"
    return result, text


def _unmeasured(result: str, text: str, spot: Spot) -> tuple[str, str]:
    """A depth that is only usual proves nothing, whatever its spread."""
    if spot.measured or (result == MEETS and "nail plate" in text):
        return result, text
    return CANNOT_TELL, "depth not measured: only the usual depth of its kind is at hand"


def _hole_at(site: Site, run: FaceRun, spot: Spot) -> Hole | None:
    """The described hole that a run passes at a place."""
    best, best_m = None, HOLE_NEAR_M
    for hole in site.wiring.holes:
        if hole.face_id == run.face.face.id and hole.kind == "bored":
            away_m = max(abs(hole.offset_m - spot.point_m[0]), abs(hole.height_m - spot.point_m[1]))
            if away_m < best_m:
                best, best_m = hole, away_m
    return best


_LEAST_M = 1.25 * 0.0254
_QUOTED = "trade press quoting the clause; not read at the standard itself"

RULES = (
    Rule(
        id="edge-bored", title="Bored hole to the edge of the wood", standing=CODE, clause="NFPA 70 300.4(A)(1)",
        edition="2020", source=_QUOTED,
        compares="the edge of a hole that a cable passes with the nearest edge of the wood, or a steel plate over it",
        figures=(
            Figure(name="least", value=_LEAST_M, unit="m", text="1-1/4 in (32 mm) from the edge"),
            Figure(name="hole", value=0.75 * 0.0254, unit="m",
                   text="hole taken where none is on record (common practice, no source)"),
        ),
        regions=("us",), find=edge_bored,
    ),
    Rule(
        id="edge-parallel", title="Cable along framing to its edge", standing=CODE, clause="NFPA 70 300.4(D)",
        edition="2020", source=_QUOTED,
        compares="the surface of a cable along a stud with the nearest edge of the stud, or a steel plate over it",
        figures=(Figure(name="least", value=_LEAST_M, unit="m", text="1-1/4 in (32 mm) from the edge"),),
        regions=("us",), find=edge_parallel,
    ),
    Rule(
        id="pipe-edge", title="Pipe through framing to its edge", standing=CODE, clause="IRC P2603.2.1", edition="2018",
        source="a study page on the clause; others name 1-1/2 in (IPC and IMC 305.5, as quoted by a city)",
        compares="a pipe with the nearest edge of the stud or plate it passes, or a shield plate over it",
        figures=(Figure(name="least", value=_LEAST_M, unit="m", text="1-1/4 in; 1-1/2 in under IPC 305.5"),),
        regions=("us",), find=pipe_edge,
    ),
)  # fmt: skip
