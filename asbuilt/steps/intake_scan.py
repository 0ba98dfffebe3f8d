"""Scanning a clip into the record, whatever its decoder does on the way.

Where a decoder dies or hangs for the first time, the clip is halted: what was found is kept, and
the next run goes on from there. Where it does so again, that stretch is left out, listed as film
that was not looked at, and scanning goes on behind it.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

from tqdm import tqdm

from asbuilt.errors import MediaError
from asbuilt.record.media import media_path
from asbuilt.record.pixels import frame_id
from asbuilt.record.store import Record
from asbuilt.record.types import HALTED, SCANNING, Media, Picture, Placement, Sighting
from asbuilt.steps.filing import BY_HAND
from asbuilt.steps.scanner import Scanner

COMMIT_EVERY_S = 0.5
# A clip of which less than this share of the stated length decodes is reported as cut off.
WHOLE_SHARE = 0.9
FIRST_LOOK = "first look"  # what a frame is kept for until the clip is scanned
# A decoder that gives up again before having got this much further does so at the same place. Decoders
# work some frames ahead, and how far it had got is told ten times a second. Chosen by us.
SAME_PLACE_S = 5.0
# How much is left out at such a place, twice as much each time that it was not enough: a phone writes
# a key frame every one or two seconds. Chosen by us.
LEFT_OUT_S, MOST_LEAPS = 4.0, 12


def scan_clip(record: Record, scanner: Scanner, media: Media, progress: bool) -> Media:
    """Scan a clip from where it was left, or from its start; its row when done or halted.

    Raises
    ------
    MediaError
        If its original is missing.
    """
    path, leaps = media_path(record, media), 0
    with tqdm(desc=media.name, unit="s", disable=None if progress else True, bar_format=_bar_format()) as bar:
        bar.update(round(media.meta.get("kept_to_s", 0.0), 1))
        while True:
            run = _Pass(record, media)
            try:
                run.scan(scanner, path, bar)
                return run.media
            except MediaError as error:
                media, before = run.halt(error), media.meta.get("halted")
            if before is None or media.meta["halted"]["at_s"] > before["at_s"] + SAME_PLACE_S:
                return media
            media = _leap(record, media, LEFT_OUT_S * 2**leaps)
            leaps += 1
            if leaps == MOST_LEAPS:
                return _end(record, _with_meta(media, left_out=_to_the_end(media)))


class _Pass:
    """One go of the scanning process along a clip: what it decides, written twice a second."""

    def __init__(self, record: Record, media: Media) -> None:
        self.record, self.media = record, _forget_after(media, media.meta.get("kept_to_s"))
        self.decided: list[dict] = []
        self.written = time.monotonic()
        self.reached_s: float | None = None
        self.stated_s = media.meta.get("stated_s")

    def scan(self, scanner: Scanner, path: Path, bar: tqdm) -> None:
        """Go to the end of the clip.

        Raises
        ------
        MediaError
            If its decoder gives up.
        """
        meta = self.media.meta
        kept_to_s, not_before_s = meta.get("kept_to_s"), _behind_left_out(meta)
        resume_at_s = None if not_before_s is not None and (kept_to_s or 0.0) < not_before_s else kept_to_s
        for event in scanner.scan(path, self.media.name, meta["start_s"], resume_at_s, not_before_s):
            if self.reached_s is None and resume_at_s is None and not_before_s is not None:
                self._landed(event)
            if event["frame_count"]:
                self.reached_s = event["at_s"]
            self.decided += event["decided"]
            self.stated_s = event["length_s"]
            if event.get("done"):
                self._write()
                self.media = _end(self.record, _ended(self.media, event))
            elif time.monotonic() - self.written > COMMIT_EVERY_S:
                self._write()
            bar.total = event["length_s"]
            bar.update(round(event["at_s"], 1) - bar.n)

    def halt(self, error: MediaError) -> Media:
        """Note where the decoder gave up, and why."""
        meta = self.media.meta
        known = (self.reached_s, meta.get("kept_to_s"), _behind_left_out(meta), meta.get("halted", {}).get("at_s"))
        at_s = max((t for t in known if t is not None), default=0.0)
        reason = " ".join(str(error).removeprefix(self.media.name).split()).lstrip(": ")
        self.media = _with_meta(self.media, halted={"at_s": at_s, "reason": reason})
        self._write(HALTED)
        return self.media

    def _landed(self, event: dict) -> None:
        """The stretch left out ends where the first frame behind it is."""
        *earlier, last = self.media.meta["left_out"]
        to_s = max(event["at_s"], last["to_s"]) if event["frame_count"] else None
        self.media = _with_meta(self.media, left_out=[*earlier, last | {"to_s": to_s}])

    def _write(self, state: str = SCANNING) -> None:
        kept = [picture_of(self.media, d) for d in self.decided if d["type"] == "kept"]
        dropped = [{k: v for k, v in d.items() if k != "type"} for d in self.decided if d["type"] == "dropped"]
        dropped = [*self.media.meta.get("dropped", ()), *dropped]
        media = _with_meta(self.media, dropped=dropped, stated_s=self.stated_s)
        if kept:
            media = _with_meta(media, kept_to_s=kept[-1].pts_s)
        self.media = replace(media, state=state)
        with self.record.transaction():
            self.record.put(*(p for p in map(self._beside, kept) if p is not None), self.media)
        self.decided, self.written = [], time.monotonic()

    def _beside(self, kept: Picture) -> Picture | None:
        """A frame to keep, together with what is known of it already; None where it stays as it is."""
        known = self.record.find(Picture, kept.id)
        if known is None:
            return kept
        if known.kept_for != FIRST_LOOK:
            return None
        measured = {"sharpness": kept.sharpness, "light": kept.light, "flags": kept.flags}
        return replace(known, kept_for=kept.kept_for, **measured)


def picture_of(media: Media, kept: dict, kept_for: str = "coverage") -> Picture:
    """The row of a frame that the scanning process tells of."""
    return Picture(
        id=frame_id(media, kept["time_s"]),
        media_id=media.id,
        kind="frame",
        pts_s=kept["time_s"],
        width_px=media.width_px,
        height_px=media.height_px,
        taken_at=media.taken_at,
        stage=media.meta["stage"],
        sharpness=kept["sharpness"],
        light=kept["light"],
        flags=tuple(kept["flags"]),
        kept_for=kept_for,
    )


def _behind_left_out(meta: dict) -> float | None:
    """Where scanning goes on behind what was left out last."""
    left_out = meta.get("left_out", ())
    return left_out[-1]["sought_s"] if left_out else None


def _leap(record: Record, media: Media, by_s: float) -> Media:
    """Leave out what follows the last kept frame, up to well behind where the decoder gave up."""
    meta = media.meta
    from_s, sought_s = meta.get("kept_to_s", 0.0), meta["halted"]["at_s"] + by_s
    # Of those that end later nothing was kept since: they are part of this one.
    parts = [s for s in meta.get("left_out", ()) if s["to_s"] > from_s]
    earlier = [s for s in meta.get("left_out", ()) if s["to_s"] <= from_s]
    from_s = min([from_s, *(s["from_s"] for s in parts)])
    stretch = {"from_s": from_s, "to_s": sought_s, "sought_s": sought_s, "reason": meta["halted"]["reason"]}
    halted = meta["halted"] | {"at_s": sought_s}
    media = replace(_with_meta(media, left_out=[*earlier, stretch], halted=halted), state=SCANNING)
    record.put(media)
    return media


def _to_the_end(media: Media) -> list[dict]:
    *earlier, last = media.meta["left_out"]
    return [*earlier, last | {"to_s": None}]


def _ended(media: Media, event: dict) -> Media:
    """What is known of a clip after its last frame."""
    stated_s, reached_s = event["length_s"], event["at_s"]
    if not event["frame_count"]:  # nothing follows what was left out
        return _with_meta(media, length_s=media.meta.get("kept_to_s", 0.0))
    media = _with_meta(media, length_s=reached_s)
    if stated_s is None or reached_s >= WHOLE_SHARE * stated_s - 1:
        return media
    return _with_meta(media, trouble=f"only {reached_s:.1f} s of the {stated_s:.1f} s it states could be decoded")


def _end(record: Record, media: Media) -> Media:
    """The clip is done: the first look has served."""
    meta = {key: value for key, value in media.meta.items() if key != "halted"}
    media = replace(media, meta=meta, state="done")
    with record.transaction():
        record.put(media)
        end_first_look(record, media)
    return media


def end_first_look(record: Record, media: Media) -> None:
    """Take out the frames of the first look that nobody used; the scan has chosen better ones."""
    for picture in record.all(Picture, media_id=media.id, kept_for=FIRST_LOOK):
        sighted = record.all(Sighting, picture_id=picture.id)
        if not sighted and picture.filed_by != BY_HAND and record.find(Placement, picture.id) is None:
            record.clear(Picture, id=picture.id)


def _forget_after(media: Media, time_s: float | None) -> Media:
    # What lay behind the last kept frame is looked at again and would be listed twice.
    dropped = [d for d in media.meta.get("dropped", ()) if time_s is not None and d["to_s"] <= time_s]
    return _with_meta(media, dropped=dropped)


def _with_meta(media: Media, **more) -> Media:
    return replace(media, meta=dict(media.meta) | more)


def _bar_format() -> str:
    return "{l_bar}{bar}| {n_fmt}/{total_fmt} s [{elapsed}<{remaining}]"
