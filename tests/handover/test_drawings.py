"""The DXF drawings: without a fault, to size, and with every thing of the record in them."""

from __future__ import annotations

import io
import re

import ezdxf
import numpy as np
import pytest
from ezdxf import recover

from asbuilt.answers.view import view_of
from asbuilt.handover.drawings import BUILDING_NAME, drawings
from asbuilt.record import Face, Record
from asbuilt.sheets.dxf import LAYERS, PEN_LAYERS
from tests.truth import truth_record

INCH_M = 0.0254


@pytest.fixture(scope="module")
def made(record_folder):
    """The drawings of the sample by name."""
    with Record.open(record_folder) as record:
        return dict(drawings(record))


def _opened(data: bytes):
    return ezdxf.read(io.StringIO(data.decode("utf-8")))


def _xdata(entity) -> dict[str, str]:
    if not entity.has_xdata("ASBUILT"):
        return {}
    return dict(tag.value.split("=", 1) for tag in entity.get_xdata("ASBUILT") if tag.code == 1000)


def test_no_drawing_has_a_fault(made, record_folder):
    with Record.open(record_folder) as record:
        assert set(made) == {f"{f.id}.dxf" for f in record.all(Face)} | {BUILDING_NAME}
    for name, data in made.items():
        document, auditor = recover.read(io.BytesIO(data))
        assert not auditor.has_errors and not auditor.has_fixes, name
        assert len(document.audit().errors) == 0, name
        assert document.units == ezdxf.units.IN


def test_every_thing_of_a_face_is_in_its_drawing_and_in_the_building(made, record_folder):
    with Record.open(record_folder) as record:
        view = view_of(record)
        everything = set()
        for face_id in view.faces:
            own = {t.item.id for t in view.things_on(face_id)}
            drawn = {_xdata(e).get("id") for e in _opened(made[f"{face_id}.dxf"]).modelspace()} - {None}
            assert own <= drawn
            everything |= {t.item.id for t in view.things_on(face_id) if not t.on_far_face}
        ids = [_xdata(e)["id"] for e in _opened(made[BUILDING_NAME]).modelspace()]
        assert set(ids) == everything | set(view.faces)
        assert len(everything) > 30


def test_boxes_and_walls_have_their_size_and_place(made, record_folder):
    with Record.open(record_folder) as record:
        view = view_of(record)
        for face_id, face in view.faces.items():
            space = _opened(made[f"{face_id}.dxf"]).modelspace()
            outlines = [_extent(e) for e in space.query("LWPOLYLINE[layer=='A-WALL-FULL']")]
            wanted = np.array([0, 0, face.length_m, face.height_m]) / INCH_M
            assert any(np.allclose(o, wanted, atol=1e-6) for o in outlines)
            for thing in view.things_on(face_id):
                if thing.block is None or thing.on_far_face or thing.kind.name not in ("device box", "panel"):
                    continue
                boxes = [_extent(e) for e in space.query("LWPOLYLINE") if _xdata(e).get("id") == thing.item.id]
                x, z = thing.block.center_m[:2]
                w, h = thing.block.half_width_m, thing.block.half_height_m
                assert any(np.allclose(b, np.array([x - w, z - h, x + w, z + h]) / INCH_M, atol=1e-6) for b in boxes)


def _extent(entity) -> np.ndarray:
    points = np.array([p[:2] for p in entity.get_points()])
    return np.concatenate([points.min(axis=0), points.max(axis=0)])


def test_things_stand_where_they_are_in_the_building(made, record_folder):
    with Record.open(record_folder) as record:
        view = view_of(record)
        found = {_xdata(e)["id"]: np.array([v.dxf.location for v in e.vertices]) * INCH_M
                 for e in _opened(made[BUILDING_NAME]).modelspace()}  # fmt: skip
        for face_id in view.faces:
            pose = view.poses[face_id]
            for thing in view.things_on(face_id):
                if thing.block is None and not thing.on_far_face:
                    spots = np.array([s.point_m for s in thing.spots])[:, [0, 2, 1]]
                    assert np.allclose(found[thing.item.id], pose.apply(spots), atol=1e-9)


def test_layers_are_named_by_discipline_and_described(made):
    for name, data in made.items():
        document = _opened(data)
        used = {e.dxf.layer for e in document.modelspace()}
        assert used <= {layer.dxf.name for layer in document.layers}
        for layer in used:
            assert re.fullmatch(r"[AEFMPS]-[A-Z]{4}(-[A-Z]{4}){0,2}", layer), (name, layer)
            assert document.layers.get(layer).description
    assert {"E-POWR", "P-PIPE", "E-POWR-ERRB", "A-ANNO-NREC"} <= {
        e.dxf.layer for data in made.values() for e in _opened(data).modelspace()
    }


def test_every_layer_of_an_elevation_has_a_discipline(record_folder):
    from asbuilt.sheets.elevation import elevation_sheet
    from asbuilt.sheets.pens import PENS

    with Record.open(record_folder) as record:
        for face in record.all(Face):
            assert set(elevation_sheet(record, face.id).layers()) <= set(LAYERS) | {"picture"}
    assert set(PEN_LAYERS) <= set(PENS)


def test_a_metric_record_is_drawn_in_millimetres(tmp_path):
    with truth_record(tmp_path / "record", pictures=False) as record:
        record.db.execute("UPDATE buildings SET unit = 'mm'")
        face = record.all(Face)[0]
        document = _opened(dict(drawings(record))[f"{face.id}.dxf"])
    assert document.units == ezdxf.units.MM
    widest = max(_extent(e)[2] for e in document.modelspace().query("LWPOLYLINE[layer=='A-WALL-FULL']"))
    assert widest == pytest.approx(face.length_m * 1000, abs=1e-6)
