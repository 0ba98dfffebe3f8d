"""Numeric rooms with truth, no rendering: everything the measurement core takes in, from a seed.

>>> room = simulate(7)
>>> room.tracks.xy_px, room.marker_sightings.corners_px, room.item_clicks.picture  # doctest: +SKIP

Everything is in metres, pixels and radians; pixel (0, 0) is the centre of the top-left pixel.
The same seed and options give the same room on every run.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.rooms.blunders import Blunder, plant
from tests.rooms.building import SimFace, make_faces
from tests.rooms.contents import (
    Markers,
    References,
    Spots,
    make_items,
    make_markers,
    make_references,
    make_texture,
)
from tests.rooms.observe import (
    MarkerSightings,
    PointSightings,
    TrackSightings,
    click,
    see_markers,
    track_texture,
)
from tests.rooms.walk import Pictures, SimLens, join_pictures, make_lens, stills, walk


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How to make a room; the defaults give a normal one.

    Parameters
    ----------
    faces : int or None
        2 to 5; drawn from the seed if None.
    clips : int
        Walks past all the faces, each with its own lens drawn (a sheet can move between them).
    frames_per_s : float
        Kept frames.
    markers_per_face : int or None
        About one for every 7 ft if None.
    items_per_face, references_per_face, stills_per_face : int
    clicks_per_item : int
        Frames of the walk in which an item is clicked; stills get one click each besides.
    pictures_per_reference : int
        Frames of the walk in which a taped mark is clicked.
    texture_per_m2 : float
        Density of spots a tracker can hold.
    tracks_at_once : int
    mean_track_life : float
        [frames]
    marker_spread_sigma_px : float
        Spread between lenses of how far marker corners are found too far out (see ``see_markers``).
        On rendered walks, edges located in gamma-coded and in linear light gave -0.5 and +0.3 px.
    click_sigma_px : float
    gaps : bool
        A blurred and a dark stretch, and single shakes.
    blunders : tuple of str
        Out of ``blunders.BLUNDERS``, each done once, to different sheets.
    """

    faces: int | None = None
    clips: int = 1
    frames_per_s: float = 3.5
    markers_per_face: int | None = None
    items_per_face: int = 30
    references_per_face: int = 6
    stills_per_face: int = 1
    clicks_per_item: int = 5
    pictures_per_reference: int = 2
    texture_per_m2: float = 60.0
    tracks_at_once: int = 250
    mean_track_life: float = 14.0
    marker_spread_sigma_px: float = 0.0
    click_sigma_px: float = 1.5
    gaps: bool = True
    blunders: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimRoom:
    """A room, its pictures and all that was seen in them.

    Fields named ``taped_``, ``nominal_`` or ``prior_``, and the sightings, are what the
    measurement may use. Poses, places and lenses are the truth it is judged by.
    """

    seed: int
    options: Options
    faces: tuple[SimFace, ...]
    closed: bool
    lenses: tuple[SimLens, ...]
    pictures: Pictures
    markers: Markers
    references: References
    items: Spots
    texture: Spots
    tracks: TrackSightings
    marker_sightings: MarkerSightings
    item_clicks: PointSightings
    still_item_clicks: PointSightings
    reference_clicks: PointSightings
    still_reference_clicks: PointSightings
    blunders: tuple[Blunder, ...]


def simulate(seed: int, options: Options | None = None) -> SimRoom:
    """A whole room from a seed."""
    options = options or Options()
    streams = (np.random.default_rng([seed, k]) for k in range(100))
    faces, closed = make_faces(next(streams), options.faces)
    rng = next(streams)
    lenses = tuple(make_lens(1920, 1080, rng) for _ in range(options.clips)) + (make_lens(3000, 2250, rng),)
    rng = next(streams)
    parts = [walk(faces, closed, c, c, options.frames_per_s, options.gaps, rng) for c in range(options.clips)]
    pictures = join_pictures([*parts, stills(faces, closed, options.stills_per_face, options.clips, next(streams))])
    markers = make_markers(faces, options.markers_per_face, options.clips, next(streams))
    markers, blunders = plant(markers, options.blunders, next(streams))
    references = make_references(faces, options.references_per_face, next(streams))
    items = make_items(faces, options.items_per_face, next(streams))
    texture = make_texture(faces, options.texture_per_m2, next(streams))
    spread_px = np.random.default_rng([seed, 100]).normal(0, 1, len(lenses)) * options.marker_spread_sigma_px
    frames = np.flatnonzero((pictures.clip >= 0) & pictures.usable)
    photos = np.flatnonzero(pictures.clip < 0)

    def clicks(spots: Spots, among: np.ndarray, per_spot: int) -> PointSightings:
        return click(faces, pictures, lenses, spots, among, per_spot, options.click_sigma_px, next(streams))

    return SimRoom(
        seed=seed,
        options=options,
        faces=faces,
        closed=closed,
        lenses=lenses,
        pictures=pictures,
        markers=markers,
        references=references,
        items=items,
        texture=texture,
        tracks=track_texture(
            faces, pictures, lenses, texture, options.tracks_at_once, options.mean_track_life, next(streams)
        ),
        marker_sightings=see_markers(faces, pictures, lenses, markers, spread_px, next(streams)),
        item_clicks=clicks(items, frames, options.clicks_per_item),
        still_item_clicks=clicks(items, photos, len(photos)),
        reference_clicks=clicks(references.spots, frames, options.pictures_per_reference),
        still_reference_clicks=clicks(references.spots, photos, len(photos)),
        blunders=blunders,
    )
