"""The building model: valid IFC4, with everything of the record in it, where it was measured."""

from __future__ import annotations

import sys

import ifcopenshell
import ifcopenshell.util.element
import ifcopenshell.util.placement
import ifcopenshell.validate
import numpy as np
import pytest

from asbuilt.answers.view import view_of
from asbuilt.handover.errors import PackageError
from asbuilt.handover.ifc import CLASSES, ifc_model
from asbuilt.record import Circuit, Face, Opening, Record, Room
from asbuilt.record.kinds import KINDS


@pytest.fixture(scope="module")
def model(record_folder):
    with Record.open(record_folder) as record:
        return ifcopenshell.file.from_string(ifc_model(record).decode())


def test_the_model_is_valid_ifc4(model):
    logger = ifcopenshell.validate.json_logger()
    ifcopenshell.validate.validate(model, logger, express_rules=True)
    assert logger.statements == []
    assert model.schema == "IFC4"


def test_counts_equal_the_record(model, record_folder):
    with Record.open(record_folder) as record:
        view = view_of(record)
        things = {t.item.id: t for f in view.faces for t in view.things_on(f) if not t.on_far_face}
        studs = sum(len(view.face(f).studs) for f in view.faces)
        assert len(model.by_type("IfcWall")) == len(record.all(Face))
        assert len(model.by_type("IfcOpeningElement")) == len(record.all(Opening))
        assert len([m for m in model.by_type("IfcMember") if m.PredefinedType == "STUD"]) == studs
        assert len(model.by_type("IfcDistributionCircuit")) == len(record.all(Circuit))
        wanted: dict[tuple[str, str], int] = {}
        for thing in things.values():
            key = CLASSES.get(thing.kind.name, ("IfcBuildingElementProxy", "USERDEFINED"))
            wanted[key] = wanted.get(key, 0) + 1
        for (ifc_class, kind), count in wanted.items():
            found = [e for e in model.by_type(ifc_class) if e.PredefinedType == kind]
            found = [e for e in found if "Asbuilt_Measured" in ifcopenshell.util.element.get_psets(e)]
            assert len(found) == count, (ifc_class, kind)
        measured = [e for e in model.by_type("IfcElement") if "Item" in _measured(e)]
        assert {_measured(e)["Item"] for e in measured} == set(things)


def _measured(element) -> dict:
    return ifcopenshell.util.element.get_psets(element).get("Asbuilt_Measured", {})


def test_things_stand_where_they_were_measured(model, record_folder):
    with Record.open(record_folder) as record:
        view = view_of(record)
        found = {_measured(e)["Item"]: e for e in model.by_type("IfcElement") if "Item" in _measured(e)}
        for face_id in view.faces:
            pose = view.poses[face_id]
            for thing in view.things_on(face_id):
                element = found[thing.item.id]
                told = _measured(element)
                x, z, y = thing.spots[0].point_m
                assert np.allclose([told["Offset"], told["Height"], told["DepthFromStudFace"]], [x, z, y], atol=1e-9)
                assert told["OffsetError95"] > 0 and told["Method"]
                matrix = ifcopenshell.util.placement.get_local_placement(element.ObjectPlacement)
                if thing.block is not None:
                    b = thing.block
                    corner = [b.center_m[0] - b.half_width_m, b.center_m[2], b.center_m[1] - b.half_height_m]
                    assert np.allclose(matrix[:3, 3], pose.apply(np.array([corner]))[0], atol=1e-6)
                else:
                    (disk,) = element.Representation.Representations[0].Items
                    points = np.array([p.Coordinates for p in disk.Directrix.Points])
                    spots = np.array([s.point_m for s in thing.spots])[:, [0, 2, 1]]
                    assert np.allclose(points[0], spots[0], atol=1e-6) or len(spots) == 1
                    assert disk.Radius == pytest.approx(thing.radius_m)


def test_circuits_hold_what_is_on_them(model, record_folder):
    with Record.open(record_folder) as record:
        view = view_of(record)
        for circuit in record.all(Circuit):
            (system,) = [s for s in model.by_type("IfcDistributionCircuit") if s.Name == circuit.number]
            held = {_measured(o)["Item"] for rel in system.IsGroupedBy for o in rel.RelatedObjects}
            things = [t for f in view.faces for t in view.things_on(f)]
            wanted = {t.item.id for t in things if t.circuit and t.circuit.id == circuit.id}
            assert held == wanted


def test_a_partition_is_one_wall(tmp_path):
    with Record.create(tmp_path / "record", "House") as record:
        record.put(Room(id="r", name="Room"), Room(id="s", name="Other room"))
        record.put(Face(id="a", room_id="r", title="A", length_m=3, height_m=2.5, far_face_id="b"),
                   Face(id="b", room_id="s", title="B", length_m=3, height_m=2.5))  # fmt: skip
        model = ifcopenshell.file.from_string(ifc_model(record).decode())
    assert [w.Name for w in model.by_type("IfcWall")] == ["A"]


def test_the_same_record_gives_the_same_ids(model, record_folder):
    with Record.open(record_folder) as record:
        again = ifcopenshell.file.from_string(ifc_model(record).decode())
    ids = [{e.GlobalId for e in m.by_type("IfcElement")} for m in (model, again)]
    assert ids[0] == ids[1] and len(ids[0]) > 80


def test_every_kind_has_its_class():
    assert set(CLASSES) <= set(KINDS)


def test_without_the_extra_it_says_what_to_install(record_folder, monkeypatch):
    monkeypatch.setitem(sys.modules, "ifcopenshell", None)
    with Record.open(record_folder) as record, pytest.raises(PackageError, match="pip install"):
        ifc_model(record)
