"""One wall face drawn square-on and to scale, as a person standing in the room sees it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date as calendar_date

from shapely.geometry.base import BaseGeometry

from asbuilt.answers.things import Thing
from asbuilt.answers.view import view_of
from asbuilt.record import Face, Marker, Opening, Record, Room
from asbuilt.record.frames import studs_of
from asbuilt.sheets.drawing import Circle, Drawing, Group, Part, Raster, Rect, Text
from asbuilt.sheets.framing import bay_numbers, face_ground, framing, openings_drawn, outline
from asbuilt.sheets.hatch import area_words, hatched
from asbuilt.sheets.items import box_shape
from asbuilt.sheets.labels import LabelSpace
from asbuilt.sheets.recorded import unseen_areas
from asbuilt.sheets.rulers import TAPE_WIDTH_M, heights, tape
from asbuilt.sheets.runs import run_shape
from asbuilt.sheets.tags import block_runs, tags
from asbuilt.sheets.things import FAR_LAYER, layer_of
from asbuilt.sheets.titleblock import BLOCK_HEIGHT_M, Words, title_block
from asbuilt.units import format_length

MARGIN_M = 0.14
HEIGHTS_M = 0.42  # room for the heights at the left
BAYS_BELOW_M, TAPE_BELOW_M, BLOCK_BELOW_M = 0.11, 0.22, 0.46
ITEM_LAYERS = (FAR_LAYER, "plumbing", "power", "low voltage", "special", "other")


def elevation_sheet(
    record: Record,
    face_id: str,
    picture_layer: str | None = None,
    *,
    unit: str | None = None,
    with_title_block: bool = True,
    drawn_on: str | None = None,
) -> Drawing:
    """Draw a face to scale with everything the record knows about it.

    Parameters
    ----------
    record : Record
    face_id : str
    picture_layer : str, optional
        Address or data URI of a picture of the face from corner to corner, laid beneath.
    unit : str, optional
        in, ft, mm or m; the building's own if left out.
    with_title_block : bool
        Add the strip with title, datum and legend.
    drawn_on : str, optional
        Date in the title block; today if left out.

    Returns
    -------
    Drawing
        Layers: ground, picture, heights, studs, openings, coverage, far side,
        plumbing, power, low voltage, special, other, markers, outline, bays, tape, title block.

    Raises
    ------
    NotInRecordError
        If there is no such face.
    """
    face = record.get(Face, face_id)
    unit = unit or record.building.unit
    studs, openings = studs_of(record, face_id), record.all(Opening, face_id=face_id)
    things = view_of(record).things_on(face_id)
    parts: list[Part] = [face_ground(face), *_picture(face, picture_layer)]
    parts += [heights(face.height_m, 0.0, unit, face.length_m)]
    parts += [framing(face, studs, openings), openings_drawn(openings, unit)]
    missing, poor = unseen_areas(record, face)
    parts += [hatched(poor, "seen but poor", "coverage"), hatched(missing, "not recorded", "coverage")]
    space = LabelSpace((0.0, 0.0, face.length_m, face.height_m))
    markers = [m for m in record.all(Marker, face_id=face_id) if m.offset_m is not None and m.height_m is not None]
    for marker in markers:
        space.block(_marker_box(marker))
    parts += _items(things, face, space)
    parts += [Group(parts=tuple(map(_marker, markers)), layer="markers", title="Marker sheets"), outline(face)]
    block_runs(things, space)
    parts += [
        area_words(missing, "not recorded", "coverage", space),
        area_words(poor, "seen but poor", "coverage", space),
    ]
    parts += [bay_numbers(studs, -BAYS_BELOW_M), tape(face.length_m, -TAPE_BELOW_M, unit)]
    bottom_m = -TAPE_BELOW_M - TAPE_WIDTH_M
    if with_title_block:
        words = _words(record, face, unit, drawn_on or calendar_date.today().isoformat())
        parts.append(title_block(words, things, max(face.length_m, 5.0), -BLOCK_BELOW_M, not missing.is_empty))
        bottom_m = -BLOCK_BELOW_M - BLOCK_HEIGHT_M
    return Drawing(
        left_m=-HEIGHTS_M, bottom_m=bottom_m - MARGIN_M / 2, top_m=face.height_m + MARGIN_M,
        right_m=(max(face.length_m, 5.0) if with_title_block else face.length_m) + MARGIN_M,
        title=f"{face.title}, seen from inside the room", description=_spoken(face, things, missing, unit),
        parts=tuple(parts),
    )  # fmt: skip


def _picture(face: Face, source: str | None) -> list[Part]:
    if source is None:
        return []
    whole = Raster(left_m=0, bottom_m=0, width_m=face.length_m, height_m=face.height_m, source=source)
    return [Group(parts=(whole,), layer="picture")]


def _items(things: Sequence[Thing], face: Face, space: LabelSpace) -> list[Part]:
    """A group per layer: runs under boxes, tags above all."""
    groups: list[Part] = []
    for layer in (ITEM_LAYERS[0], "studs", *ITEM_LAYERS[1:]):
        mine = [t for t in things if layer_of(t) == layer]
        shapes = [run_shape(t, face) for t in mine if t.block is None] + [
            box_shape(t) for t in mine if t.block is not None
        ]
        if shapes:
            groups.append(Group(parts=tuple(shapes), layer=layer))
    tagged = tags([t for t in things if layer_of(t) != "studs"], space)
    for layer in ITEM_LAYERS:
        mine = tuple(group for thing, group in tagged if layer_of(thing) == layer)
        if mine:
            groups.append(Group(parts=mine, layer=layer))
    return groups


def _marker_box(marker: Marker) -> tuple[float, float, float, float]:
    half_m = marker.size_m / 2
    return (marker.offset_m - half_m, marker.height_m - half_m, marker.offset_m + half_m, marker.height_m + half_m)


def _marker(marker: Marker) -> Group:
    x, z, half_m = marker.offset_m, marker.height_m, marker.size_m / 2
    return Group(
        parts=(
            Rect(left_m=x - half_m, bottom_m=z - half_m, width_m=2 * half_m, height_m=2 * half_m, pen="marker"),
            Circle(center_m=(x, z), radius_m=0.008, pen="marker fill"),
            Text(
                at_m=(x, z + half_m * 0.3), text=str(marker.id), size_m=half_m * 0.75, pen="text plain", anchor="middle"
            ),
        ),
        key=f"marker-{marker.id}",
        title=f"marker sheet {marker.id}",
    )


def _words(record: Record, face: Face, unit: str, drawn_on: str) -> Words:
    covered = f"Covered {face.cover_up_date}" if face.cover_up_date else "Not covered yet"
    rows = (
        "Seen from inside. Offsets from the left end, heights from the datum floor.",
        f"{format_length(face.length_m, unit)} long, {format_length(face.height_m, unit)} high. To scale.",
        f"{covered}. Drawn {drawn_on}.",
    )
    return Words(building=record.building.name, room=record.get(Room, face.room_id).name, face=face.title, rows=rows)


def _spoken(face: Face, things: Sequence[Thing], missing: BaseGeometry, unit: str) -> str:
    """The drawing in words, for people who do not see it."""
    length, height = format_length(face.length_m, unit), format_length(face.height_m, unit)
    share = missing.area / (face.length_m * face.height_m)
    text = f"{length} long, {height} high, {len(things)} items recorded."
    return text + (f" Not recorded: {share:.0%} of the face." if share >= 0.005 else "")
