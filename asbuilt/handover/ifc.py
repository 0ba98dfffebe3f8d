"""The record as a building model (IFC4): walls, studs, openings, boards, boxes, cable, pipe, circuits.

An extra: it needs the package ifcopenshell. Every thing carries where and how well it was
measured in a property set of its own, because the model by itself looks more certain than
any measurement is.
"""

from __future__ import annotations

import tempfile
import uuid
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from asbuilt.answers.coverage import coverage_of
from asbuilt.answers.things import Thing
from asbuilt.answers.view import FaceView, View, view_of
from asbuilt.answers.wording import COVER_95
from asbuilt.handover.errors import PackageError
from asbuilt.record import Record
from asbuilt.record.wiring import Device

NEEDED = "the building model needs the package 'ifcopenshell'; install it with: pip install 'asbuilt[ifc]'"
CAUTION = "Evidence for looking, not permission to drill. What is not in this model may still be in the wall."
# Kind of item -> IFC class and its predefined type; USERDEFINED ones carry the kind as their object type.
CLASSES = {
    "cable": ("IfcCableSegment", "CABLESEGMENT"), "low voltage cable": ("IfcCableSegment", "CABLESEGMENT"),
    "coil": ("IfcCableSegment", "USERDEFINED"), "conduit": ("IfcCableCarrierSegment", "CONDUITSEGMENT"),
    "conduit end": ("IfcCableCarrierSegment", "USERDEFINED"), "pipe": ("IfcPipeSegment", "RIGIDSEGMENT"),
    "drain": ("IfcPipeSegment", "RIGIDSEGMENT"), "gas pipe": ("IfcPipeSegment", "RIGIDSEGMENT"),
    "sprinkler pipe": ("IfcPipeSegment", "RIGIDSEGMENT"), "radiant tubing": ("IfcPipeSegment", "FLEXIBLESEGMENT"),
    "stub": ("IfcPipeSegment", "USERDEFINED"), "duct": ("IfcDuctSegment", "RIGIDSEGMENT"),
    "device box": ("IfcOutlet", "POWEROUTLET"), "junction box": ("IfcJunctionBox", "POWER"),
    "panel": ("IfcElectricDistributionBoard", "DISTRIBUTIONBOARD"), "blocking": ("IfcMember", "USERDEFINED"),
    "nail plate": ("IfcPlate", "USERDEFINED"), "shear panel": ("IfcPlate", "SHEET"),
}  # fmt: skip
PROXY = ("IfcBuildingElementProxy", "USERDEFINED")
DATA_DEVICES = ("data", "jack", "network", "phone")
LEAST_LENGTH_M = 0.02  # of a run that was marked in one place only
NAMESPACE = uuid.UUID("0f1e0a7a-7f4b-5d07-9d0b-6a3b8a5a9c55")  # any fixed one: makes ids that stay the same


def ifc_model(record: Record) -> bytes:
    """The model as an IFC4 file.

    Raises
    ------
    PackageError
        If ifcopenshell is not installed.
    """
    model = _Model(record)
    model.build()
    with tempfile.TemporaryDirectory(prefix="asbuilt-") as scratch:
        path = Path(scratch) / "model.ifc"
        model.file.write(str(path))
        return path.read_bytes()


class _Model:
    def __init__(self, record: Record) -> None:
        try:
            import ifcopenshell
            import ifcopenshell.api.aggregate
            import ifcopenshell.api.context
            import ifcopenshell.api.feature
            import ifcopenshell.api.geometry
            import ifcopenshell.api.pset
            import ifcopenshell.api.root
            import ifcopenshell.api.spatial
            import ifcopenshell.api.system
            import ifcopenshell.api.unit
            import ifcopenshell.guid
        except ImportError as error:
            raise PackageError(NEEDED) from error
        self.api, self.guid = ifcopenshell.api, ifcopenshell.guid
        self.file = ifcopenshell.file(schema="IFC4")
        self.record, self.view = record, view_of(record)
        self.body = None
        self.storey = None

    def build(self) -> None:
        """Everything, from the project down."""
        name = self.view.building.name
        project = self.entity("IfcProject", "project", name)
        self.api.unit.assign_unit(self.file, length={"is_metric": True, "raw": "METERS"})
        whole = self.api.context.add_context(self.file, context_type="Model")
        self.body = self.api.context.add_context(self.file, context_type="Model", context_identifier="Body",
                                                 target_view="MODEL_VIEW", parent=whole)  # fmt: skip
        site, building = self.entity("IfcSite", "site", name), self.entity("IfcBuilding", "building", name)
        building.Description = CAUTION
        self.storey = self.entity("IfcBuildingStorey", "storey", "Floor")
        for whole_, part in ((project, site), (site, building), (building, self.storey)):
            self.api.aggregate.assign_object(self.file, products=[part], relating_object=whole_)
        made = {}
        walls: set[str] = set()
        for face_id in self.view.faces:
            face = self.view.face(face_id)
            if face.far is None or face.far.id not in walls:  # one wall for its two faces
                self.wall(face)
                walls.add(face_id)
            for thing in self.view.things_on(face_id):
                if not thing.on_far_face and thing.item.id not in made:
                    made[thing.item.id] = self.thing(face, thing)
        self.circuits(made)

    def entity(self, ifc_class: str, key: str, name: str, predefined: str | None = None):
        """An entity whose id is the same every time the model is made."""
        found = self.api.root.create_entity(self.file, ifc_class=ifc_class, name=name, predefined_type=predefined)
        own = uuid.uuid5(NAMESPACE, f"{self.view.building.name}/{ifc_class}/{key}")
        found.GlobalId = self.guid.compress(own.hex)
        return found

    def put(self, product, representation, matrix: np.ndarray) -> None:
        """Give a product its shape and place, on the storey."""
        self.api.geometry.assign_representation(self.file, product=product, representation=representation)
        self.api.geometry.edit_object_placement(self.file, product=product, matrix=matrix)

    def box(self, width_m: float, thickness_m: float, height_m: float):
        """A box from the origin: x to the right, y into the wall, z up."""
        return self.api.geometry.add_wall_representation(self.file, context=self.body, length=width_m,
                                                         height=height_m, thickness=thickness_m)  # fmt: skip

    def wall(self, face: FaceView) -> None:
        """The wall of a face with its openings, studs and coverage."""
        own = face.face
        ifc_class, kind = {"wall": ("IfcWall", "ELEMENTEDWALL"), "ceiling": ("IfcCovering", "CEILING"),
                           "floor": ("IfcCovering", "FLOORING")}[own.kind]  # fmt: skip
        wall = self.entity(ifc_class, own.id, own.title, kind)
        self.put(wall, self.box(own.length_m, own.stud_depth_m, own.height_m), _placed(self.view, own.id, 0, 0, 0))
        self.api.spatial.assign_container(self.file, products=[wall], relating_structure=self.storey)
        well, poor, missing = coverage_of(self.record, own.id).shares()
        self.pset(wall, "Asbuilt_Coverage", {"Face": own.id, "WellRecorded": well, "PoorlyRecorded": poor,
                                             "NotRecorded": missing, "Caution": CAUTION})  # fmt: skip
        for o in face.openings:
            opening = self.entity("IfcOpeningElement", o.id, o.kind, "OPENING")
            self.put(opening, self.box(o.right_m - o.left_m, own.stud_depth_m, o.top_m - o.bottom_m),
                     _placed(self.view, own.id, o.left_m, 0, o.bottom_m))  # fmt: skip
            self.api.feature.add_feature(self.file, feature=opening, element=wall)
        for number, stud in enumerate(face.studs, start=1):
            top_m = stud.top_m if stud.top_m is not None else own.height_m
            member = self.entity("IfcMember", f"{own.id}/{number}", f"stud {number}", "STUD")
            self.put(member, self.box(stud.width_m, own.stud_depth_m, top_m - stud.bottom_m),
                     _placed(self.view, own.id, stud.center_m - stud.width_m / 2, 0, stud.bottom_m))  # fmt: skip
            self.api.spatial.assign_container(self.file, products=[member], relating_structure=self.storey)
            self.pset(member, "Asbuilt_Measured", {"Offset": self.length(stud.center_m), "Source": stud.source,
                                                   "OffsetError95": self.length(COVER_95 * stud.sigma_m)})  # fmt: skip

    def thing(self, face: FaceView, thing: Thing):
        """One item with its shape and how it was measured."""
        ifc_class, kind = self.class_of(thing)
        product = self.entity(ifc_class, thing.item.id, thing.item.label or thing.kind.name, kind)
        if kind == "USERDEFINED":
            product.ObjectType = thing.kind.name
        if thing.block is None:
            self.put(product, self.swept(thing), _placed(self.view, face.face.id, 0, 0, 0))
        else:
            (x, z, y), b = thing.block.center_m, thing.block
            self.put(product, self.box(2 * b.half_width_m, max(b.thickness_m, 0.001), 2 * b.half_height_m),
                     _placed(self.view, face.face.id, x - b.half_width_m, y, z - b.half_height_m))  # fmt: skip
        self.api.spatial.assign_container(self.file, products=[product], relating_structure=self.storey)
        self.pset(product, "Asbuilt_Measured", self.measured(face, thing))
        return product

    def class_of(self, thing: Thing) -> tuple[str, str]:
        ifc_class, kind = CLASSES.get(thing.kind.name, PROXY)
        devices = self.record.all(Device, item_id=thing.item.id) if thing.kind.name == "device box" else []
        if any(word in d.kind.lower() for d in devices for word in DATA_DEVICES):
            kind = "DATAOUTLET"
        return ifc_class, kind

    def swept(self, thing: Thing):
        """A run as a disk swept along the places at which it was marked."""
        points = np.array([s.point_m for s in thing.spots])[:, [0, 2, 1]]
        if len(points) == 1 or np.ptp(points, axis=0).max() < 1e-6:
            points = points[:1] + np.array([[0, 0, -0.5], [0, 0, 0.5]]) * LEAST_LENGTH_M
        moved = np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-6
        points = points[np.concatenate([[True], moved])]
        line = self.file.createIfcPolyline([self.file.createIfcCartesianPoint(p.tolist()) for p in points])
        disk = self.file.createIfcSweptDiskSolid(line, float(thing.radius_m))
        return self.file.createIfcShapeRepresentation(self.body, "Body", "AdvancedSweptSolid", [disk])

    def measured(self, face: FaceView, thing: Thing) -> dict:
        """Where a thing was measured: its first place, all its errors, how, and on whose word."""
        spot = thing.spots[0]
        error = COVER_95 * np.sqrt(np.max([np.diag(s.cov) for s in thing.spots], axis=0))
        x, z, y = (float(v) for v in spot.point_m)
        circuit = f"{thing.circuit.number} {thing.circuit.name}" if thing.circuit else ""
        return {
            "Face": face.face.id, "Item": thing.item.id, "Kind": thing.kind.name, "Circuit": circuit,
            "Cable": thing.item.cable, "Offset": self.length(x), "Height": self.length(z),
            "DepthFromStudFace": self.length(y), "OffsetError95": self.length(error[0]),
            "HeightError95": self.length(error[1]), "DepthError95": self.length(error[2]),
            "Method": " and ".join(sorted({p.method for p in thing.positions})),
            "Pictures": max(p.picture_count for p in thing.positions), "PlacesMarked": len(thing.spots),
            "State": thing.item.state,
        }  # fmt: skip

    def length(self, value_m: float):
        """A number that says it is a length [m]."""
        return self.file.createIfcLengthMeasure(float(value_m))

    def pset(self, product, name: str, properties: dict) -> None:
        found = self.api.pset.add_pset(self.file, product=product, name=name)
        self.api.pset.edit_pset(self.file, pset=found, properties={k: v for k, v in properties.items() if v != ""})

    def circuits(self, made: dict) -> None:
        """Circuits as systems of the things on them."""
        for circuit in self.view.circuits.values():
            found = self.api.system.add_system(self.file, ifc_class="IfcDistributionCircuit")
            found.Name, found.LongName = circuit.number, f"{circuit.number} {circuit.name}"
            found.PredefinedType = "ELECTRICAL"
            found.GlobalId = self.guid.compress(uuid.uuid5(NAMESPACE, f"circuit/{circuit.id}").hex)
            if products := list(_on(circuit.id, self.view, made)):
                self.api.system.assign_system(self.file, products=products, system=found)


def _on(circuit_id: str, view: View, made: dict) -> Iterable:
    ids = {t.item.id for f in view.faces for t in view.things_on(f) if t.circuit and t.circuit.id == circuit_id}
    return (product for item_id, product in made.items() if item_id in ids and product.is_a("IfcDistributionElement"))


def _placed(view: View, face_id: str, x_m: float, y_m: float, z_m: float) -> np.ndarray:
    """The placement of something whose origin lies at a place of a face, shape (4, 4)."""
    pose = view.poses[face_id]
    matrix = np.eye(4)
    matrix[:3, :3] = pose.rotation
    matrix[:3, 3] = pose.apply(np.array([[x_m, y_m, z_m]], dtype=float))[0]
    return matrix
