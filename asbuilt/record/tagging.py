"""From clicks in pictures to items and sightings, checked against the record."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from asbuilt.errors import AsbuiltError, SightingError
from asbuilt.record.kinds import kind_named
from asbuilt.record.pixels import ensure_frames, photo_id
from asbuilt.record.store import Record
from asbuilt.record.types import Circuit, Item, Media, Picture, Sighting

# Our choice: no video that a wall is filmed with has its frames further apart.
FARTHEST_FRAME_S = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Click:
    """One spot of one item in one picture, as clicked; ``where`` names the entry in an error."""

    where: str
    file: str
    time_s: float | None
    x_px: float
    y_px: float
    kind: str
    thing: str
    place: str
    circuit: str | None = None
    label: str = ""
    order_idx: int = 0

    def refuse(self, text: str) -> SightingError:
        """The error that names this entry."""
        return SightingError(f"{self.where}: {text}")


@dataclass(frozen=True, slots=True, kw_only=True)
class ClicksReport:
    """What came of a list of clicks."""

    items_added: int = 0
    items_changed: int = 0
    sightings_added: int = 0
    sightings_changed: int = 0
    same_count: int = 0
    picture_count: int = 0


def add_clicks(record: Record, clicks: Iterable[Click]) -> ClicksReport:
    """Turn clicks into items and sightings; all of them or none.

    Raises
    ------
    SightingError
        If a picture, kind or circuit is not known, a pixel lies outside its picture, or two
        entries contradict each other.
    """
    clicks = list(clicks)
    with record.transaction():
        items = _items(record, clicks)
        _check_places(record, clicks)
        pictures = _pictures(record, clicks)
        sightings = _sightings(record, clicks, pictures)
        items_before = {item.id: item for item in record.all(Item)}
        seen_before = {sighting.id: sighting for sighting in record.all(Sighting)}
        record.put(*items.values(), *sightings.values())
    return ClicksReport(
        items_added=len(items.keys() - items_before.keys()),
        items_changed=sum(items_before.get(i, item) != item for i, item in items.items()),
        sightings_added=len(sightings.keys() - seen_before.keys()),
        sightings_changed=sum(seen_before.get(i, s) != s for i, s in sightings.items()),
        same_count=sum(seen_before.get(i) == s for i, s in sightings.items()),
        picture_count=len({s.picture_id for s in sightings.values()}),
    )


def _items(record: Record, clicks: list[Click]) -> dict[str, Item]:
    """The items that the clicks name, with what the record already knew of them."""
    circuits = record.all(Circuit)
    said: dict[str, Click] = {}
    items: dict[str, Item] = {}
    for click in clicks:
        first = said.setdefault(click.thing, click)
        if (click.kind, click.circuit, click.label) != (first.kind, first.circuit, first.label):
            raise click.refuse(f"kind, circuit or label of {click.thing!r} differ from what {first.where} says")
        if click.thing not in items:
            items[click.thing] = _item(record.find(Item, click.thing), click, circuits)
    return items


def _item(before: Item | None, click: Click, circuits: list[Circuit]) -> Item:
    try:
        kind = kind_named(click.kind).name
        item = before or Item(id=click.thing, kind=kind)
    except AsbuiltError as error:
        raise click.refuse(str(error)) from None
    return replace(
        item,
        kind=kind,
        label=click.label or item.label,
        circuit_id=_circuit(click, circuits) if click.circuit else item.circuit_id,
    )


def _circuit(click: Click, circuits: list[Circuit]) -> str:
    """Id of the circuit that a click names, by its id or by its number where only one has it."""
    wanted = click.circuit.replace(" ", "")
    found = [c.id for c in circuits if c.id == wanted] or [
        c.id for c in circuits if c.number.replace(" ", "") == wanted
    ]
    if len(found) == 1:
        return found[0]
    if found:
        raise click.refuse(f"circuit {click.circuit!r} is in several panels; write its id: {', '.join(found)}")
    known = ", ".join(c.number for c in circuits) or "there is none yet"
    raise click.refuse(f"there is no circuit {click.circuit!r}; known: {known}")


def _check_places(record: Record, clicks: list[Click]) -> None:
    """A place belongs to one thing and has one order along it."""
    owners = {s.place: s.target_id for s in record.all(Sighting) if s.place}
    first: dict[str, Click] = {}
    for click in clicks:
        owner = owners.setdefault(click.place, click.thing)
        if owner != click.thing:
            raise click.refuse(f"place {click.place!r} is a spot of {owner!r} already, not of {click.thing!r}")
        before = first.setdefault(click.place, click)
        if before.order_idx != click.order_idx:
            raise click.refuse(f"order is {click.order_idx} here and {before.order_idx} in {before.where}")


def _pictures(record: Record, clicks: list[Click]) -> list[Picture]:
    """The picture of every click; frames of a video not kept before are kept now."""
    stored = record.all(Media)
    chosen: list[Picture | None] = []
    wanted: dict[str, list[tuple[int, Click]]] = {}
    for idx, click in enumerate(clicks):
        picture = record.find(Picture, click.file) if click.time_s is None else None
        media = None if picture else _media(stored, click)
        _check_pixel(click, picture or media)
        if media is not None and click.time_s is None:
            picture = record.find(Picture, photo_id(media.id))
            if picture is None:
                raise click.refuse(f"{click.file} could not be taken in as a picture; add it again")
        chosen.append(picture)
        if picture is None:
            wanted.setdefault(media.id, []).append((idx, click))
    for media_id, group in wanted.items():
        frames = _frames(record, record.get(Media, media_id), [click for _, click in group])
        for (idx, _), frame in zip(group, frames, strict=True):
            chosen[idx] = frame
    return chosen


def _media(stored: list[Media], click: Click) -> Media:
    kind = "photo" if click.time_s is None else "video"
    name = Path(click.file).name
    found = [m for m in stored if m.kind == kind and (m.name == name or m.id == click.file)]
    if len(found) == 1:
        return found[0]
    if found:
        ids = ", ".join(photo_id(m.id) if kind == "photo" else m.id for m in found)
        raise click.refuse(f"{len(found)} files are named {name}; write the id instead: {ids}")
    near = difflib.get_close_matches(name, [m.name for m in stored if m.kind == kind], n=1)
    hint = f", or did you mean {near[0]}?" if near else ""
    raise click.refuse(f"there is no {kind} {name} in the record; add it first{hint}")


def _check_pixel(click: Click, shown: Picture | Media) -> None:
    inside = -0.5 <= click.x_px < shown.width_px - 0.5 and -0.5 <= click.y_px < shown.height_px - 0.5
    if not inside:
        raise click.refuse(
            f"pixel ({click.x_px:g}, {click.y_px:g}) is outside {click.file}, which is "
            f"{shown.width_px} x {shown.height_px} as displayed"
        )


def _frames(record: Record, media: Media, clicks: list[Click]) -> list[Picture]:
    try:
        frames = ensure_frames(record, media, [click.time_s for click in clicks])
    except AsbuiltError as error:
        raise clicks[0].refuse(str(error)) from error
    for click, frame in zip(clicks, frames, strict=True):
        if abs(frame.pts_s - click.time_s) > FARTHEST_FRAME_S:
            raise click.refuse(
                f"{media.name} has no frame at {click.time_s:g} s; the nearest is at {frame.pts_s:.3f} s"
            )
    return frames


def _sightings(record: Record, clicks: list[Click], pictures: list[Picture]) -> dict[str, Sighting]:
    sightings: dict[str, Sighting] = {}
    for click, picture in zip(clicks, pictures, strict=True):
        sighting_id = f"{click.place}@{picture.id}"
        if sighting_id in sightings:
            raise click.refuse(f"place {click.place!r} is clicked twice in one picture")
        before = record.find(Sighting, sighting_id)
        sightings[sighting_id] = Sighting(
            id=sighting_id,
            target_id=click.thing,
            picture_id=picture.id,
            place=click.place,
            order_idx=click.order_idx,
            x_px=click.x_px,
            y_px=click.y_px,
            author=before.author if before else record.author,
        )
    return sightings
