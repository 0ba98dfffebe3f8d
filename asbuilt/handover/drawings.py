"""Drawings for CAD programs: an elevation of every face, and all of them standing in the building."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from asbuilt.answers.things import Thing
from asbuilt.answers.view import View, view_of
from asbuilt.record import Record
from asbuilt.sheets.dxf import LAYERS, OTHER, dxf, label, new_document, per_m, saved, use_layer
from asbuilt.sheets.elevation import elevation_sheet
from asbuilt.sheets.things import describe, layer_of

BUILDING_NAME = "building-3d.dxf"


def drawings(record: Record) -> Iterator[tuple[str, bytes]]:
    """File names with their DXF: one for each face, then the building."""
    unit = record.building.unit
    for face_id in view_of(record).faces:
        yield f"{face_id}.dxf", dxf(elevation_sheet(record, face_id), unit)
    yield BUILDING_NAME, building_dxf(record)


def building_dxf(record: Record) -> bytes:
    """Faces, runs and boxes where they are in the building, as 3D polylines."""
    view, unit = view_of(record), record.building.unit
    document = new_document(unit)
    space, scale = document.modelspace(), per_m(unit)
    for face_id, face in view.faces.items():
        corners = np.array([[0, 0, 0], [face.length_m, 0, 0], [face.length_m, 0, face.height_m], [0, 0, face.height_m]])
        entity = space.add_polyline3d(_placed(view, face_id, corners) * scale, close=True,
                                      dxfattribs={"layer": use_layer(document, *LAYERS["outline"])})  # fmt: skip
        label(entity, face_id, face.title)
        for thing in view.things_on(face_id):
            if not thing.on_far_face:
                layer = use_layer(document, *LAYERS.get(layer_of(thing), OTHER))
                points = _placed(view, face_id, _points(thing)) * scale
                entity = space.add_polyline3d(points, close=thing.block is not None, dxfattribs={"layer": layer})
                label(entity, thing.item.id, describe(thing))
    return saved(document)


def _points(thing: Thing) -> np.ndarray:
    """The measured line of a run, or the front of a box, as (offset, depth, height), shape (N, 3) [m]."""
    if thing.block is None:
        points = np.array([s.point_m for s in thing.spots])
        if len(points) == 1:  # a line needs two points
            points = np.repeat(points, 2, axis=0)
        return points[:, [0, 2, 1]]
    (x, z, y), b = thing.block.center_m, thing.block
    w, h = b.half_width_m, b.half_height_m
    return np.array([[x - w, y, z - h], [x + w, y, z - h], [x + w, y, z + h], [x - w, y, z + h]])


def _placed(view: View, face_id: str, points_face: np.ndarray) -> np.ndarray:
    return view.poses[face_id].apply(points_face.astype(float))
