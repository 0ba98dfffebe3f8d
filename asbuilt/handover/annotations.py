"""Sightings as W3C Web Annotations: what is to be seen where in which picture."""

from __future__ import annotations

import math
import uuid
from collections.abc import Iterator

from asbuilt.record import Item, Media, Picture, Record, ReferencePoint, Sighting

CONTEXT = "http://www.w3.org/ns/anno.jsonld"
FRAGMENTS = "http://www.w3.org/TR/media-frags/"
NAMESPACE = uuid.UUID("6b9d1f0a-51c5-5f0e-9a55-0d0a2b8d3c11")  # any fixed one: makes ids that stay the same
LEAST_HALF_PX = 4  # a rectangle that a viewer can show


def annotation_page(record: Record, folder: str) -> dict:
    """All sightings of a record as one annotation page.

    Parameters
    ----------
    folder : str
        Where the originals lie, seen from the page: prefix of their paths.
    """
    items = {i.id: i for i in record.all(Item)}
    points = {p.id: p for p in record.all(ReferencePoint)}
    pictures = {p.id: p for p in record.all(Picture)}
    media = {m.id: m for m in record.all(Media)}
    name = record.building.name
    found = []
    for s in record.all(Sighting):
        picture, about = pictures[s.picture_id], (items.get(s.target_id), points.get(s.target_id))
        found.append({"id": _urn(f"{name}/{s.id}")} | _annotation(s, *about, picture, media[picture.media_id], folder))
    return {
        "@context": CONTEXT,
        "id": _urn(name),
        "type": "AnnotationPage",
        "items": found,
    }


def _annotation(sighting: Sighting, item: Item | None, point: ReferencePoint | None, picture, original, folder) -> dict:
    found = {
        "type": "Annotation",
        "motivation": "identifying",
        "body": list(_bodies(sighting, item, point)),
        "target": {
            "source": folder + original.path,
            "type": "Image" if original.kind == "photo" else "Video",
            "selector": _selectors(sighting, picture),
        },
    }
    if sighting.author:
        found["creator"] = {"type": "Person", "name": sighting.author}
    return found


def _bodies(sighting: Sighting, item: Item | None, point: ReferencePoint | None) -> Iterator[dict]:
    if sighting.target == "item" and item is not None:
        words = f"{item.kind}: {item.label}" if item.label else item.kind
    else:
        words = f"reference point {point.label or point.id}" if point is not None else "reference point"
    yield {"type": "TextualBody", "value": words, "format": "text/plain", "purpose": "identifying"}
    yield {"type": "TextualBody", "value": sighting.target_id, "format": "text/plain", "purpose": "linking"}
    if sighting.place:
        yield {"type": "TextualBody", "value": sighting.place, "format": "text/plain", "purpose": "tagging"}


def _selectors(sighting: Sighting, picture: Picture) -> list[dict]:
    """A rectangle that every viewer knows, then the exact spot as a circle of its error at 95 %."""
    half = max(LEAST_HALF_PX, math.ceil(2 * sighting.sigma_px))
    left, top = max(round(sighting.x_px) - half, 0), max(round(sighting.y_px) - half, 0)
    time = "" if picture.pts_s is None else f"t={picture.pts_s:.6f}"
    area = f"xywh=pixel:{left},{top},{2 * half},{2 * half}"
    rectangle = {"type": "FragmentSelector", "conformsTo": FRAGMENTS, "value": f"{time}&{area}" if time else area}
    circle = {
        "type": "SvgSelector",
        "value": f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {picture.width_px} {picture.height_px}">'
        f'<circle cx="{sighting.x_px}" cy="{sighting.y_px}" r="{1.96 * sighting.sigma_px:.3f}"/></svg>',
    }
    if time:
        circle = {"type": "FragmentSelector", "conformsTo": FRAGMENTS, "value": time, "refinedBy": circle}
    return [rectangle, circle]


def _urn(text: str) -> str:
    return f"urn:uuid:{uuid.uuid5(NAMESPACE, text)}"
