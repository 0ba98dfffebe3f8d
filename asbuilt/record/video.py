"""Decoding video: frames with their exact presentation times, turned as displayed.

Header counts, durations and rates are never trusted; what decodes is what there is. Times
are seconds from the container's own start, as a player shows them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import av
import cv2
import numpy as np
from av.sidedata.sidedata import Type as SideData
from av.video.reformatter import ColorRange

from asbuilt.errors import MediaError

# Beyond this distance jumping to a key frame beats decoding what lies between; phones write a
# key frame every one or two seconds. Common practice, no source.
SEEK_GAP_S = 10.0
# Two times closer than this are the same frame: the fastest phone video has 960 frames a second.
SAME_FRAME_S = 0.0005
# The longest stretch of damaged packets that is skipped before a file counts as ended.
MAX_BAD_PACKETS = 2000
# Major brands of files that hold stills in the same boxes (ISO/IEC 23008-12, AVIF).
STILL_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif", b"avis")


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """How stored pixels become displayed ones: first stretched, then turned or mirrored.

    ``matrix`` is the 2x2 (a, b, c, d) of the display matrix, in whole numbers: a stored
    point (x, y) is shown at (a x + c y, b x + d y), then shifted to the origin. The order is
    that of the track header of the ISO base media file format (ISO/IEC 14496-12, 8.3.2).
    """

    matrix: tuple[int, int, int, int] = (1, 0, 0, 1)
    pixel_aspect: float = 1.0

    def shown_size(self, width_px: int, height_px: int) -> tuple[int, int]:
        """Width and height as displayed [px]."""
        width_px = round(width_px * self.pixel_aspect)
        return (height_px, width_px) if self.matrix[0] == 0 else (width_px, height_px)

    def apply(self, image: np.ndarray) -> np.ndarray:
        """Stored pixels (H, W, ...) as displayed."""
        if self.pixel_aspect != 1.0:
            size = (round(image.shape[1] * self.pixel_aspect), image.shape[0])
            image = cv2.resize(image, size, interpolation=cv2.INTER_LINEAR)
        a, b, c, d = self.matrix
        if a == 0:
            image = image.swapaxes(0, 1)
        if a + c < 0:  # shown x falls
            image = image[:, ::-1]
        if b + d < 0:  # shown y falls
            image = image[::-1]
        return np.ascontiguousarray(image)


def display_of(frame: av.VideoFrame, pixel_aspect: float) -> Display:
    """What a frame carries on how its pixels are to be shown; turns by a free angle count as none."""
    matrix = (1, 0, 0, 1)
    data = frame.side_data.get(SideData.DISPLAYMATRIX)
    if data is not None:
        full = np.frombuffer(bytes(data), np.int32) / 65536  # 16.16 fixed point
        found = tuple(round(v) for v in (full[0], full[1], full[3], full[4]))
        if sorted(map(abs, found)) == [0, 0, 1, 1] and abs(found[0]) == abs(found[3]):
            matrix = found
    return Display(matrix=matrix, pixel_aspect=pixel_aspect)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One decoded frame with its exact time; pixels are only converted when asked for.

    ``lost_before`` counts the packets since the frame before it that could not be decoded.
    """

    time_s: float
    stored: av.VideoFrame
    display: Display
    lost_before: int = 0

    @property
    def shown_size(self) -> tuple[int, int]:
        """Width and height as displayed [px]."""
        return self.display.shown_size(self.stored.width, self.stored.height)

    @property
    def luma_range(self) -> tuple[float, float]:
        """Luma of black and of white, of 255: video mostly leaves room at both ends."""
        kind = self.stored.format.name
        limited = kind.startswith(("yuv", "nv")) and not kind.startswith("yuvj")
        full = self.stored.color_range == ColorRange.JPEG or not limited
        return (0.0, 255.0) if full else (16.0, 235.0)  # ITU-R BT.709-6, 3.4

    def luma(self) -> np.ndarray:
        """Luma as stored, not turned: (H, W) uint8, a view into the frame where its format allows."""
        kind = self.stored.format
        if not kind.name.startswith(("yuv", "nv12", "nv21", "gray")) or kind.is_bit_stream:
            return self.stored.to_ndarray(format="gray")
        plane, bits = self.stored.planes[0], kind.components[0].bits
        if kind.name in ("yuyv422", "yvyu422", "yuv411p") or bits > 16 or kind.is_big_endian:
            return self.stored.to_ndarray(format="gray")
        wide = np.frombuffer(plane, np.uint8 if bits == 8 else np.uint16)
        per_row = plane.line_size // wide.itemsize
        rows = wide[: per_row * self.stored.height].reshape(self.stored.height, per_row)[:, : self.stored.width]
        return rows if bits == 8 else cv2.convertScaleAbs(rows, alpha=0.5 ** (bits - 8))

    def bgr(self) -> np.ndarray:
        """Pixels as displayed: (H, W, 3) BGR uint8."""
        return self.display.apply(self.stored.to_ndarray(format="bgr24"))


def container_format(path: str | Path) -> str | None:
    """Which kind of video container a file is by its first bytes, whatever its name; None: none.

    Only these are given to the demuxers: others, such as playlists, can name further files or
    addresses to open.
    """
    with open(path, "rb") as stream:
        head = stream.read(200)
    if head[4:8] in (b"ftyp", b"styp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"):
        return None if head[4:8] == b"ftyp" and head[8:12] in STILL_BRANDS else "mov"
    if head[:4] == b"RIFF" and head[8:12] == b"AVI ":
        return "avi"
    if head[:4] == b"\x1a\x45\xdf\xa3":
        return "matroska"
    if head[:4] == b"\x00\x00\x01\xba":
        return "mpeg"
    if len(head) > 196 and (head[0] == head[188] == 0x47 or head[4] == head[196] == 0x47):
        return "mpegts"
    return None


@contextmanager
def open_video(path: str | Path, name: str) -> Iterator[tuple[av.container.InputContainer, av.VideoStream]]:
    """Open a video and its first picture stream, with frame threads; ``name`` is what errors call it.

    Raises
    ------
    MediaError
        If it is no video.
    """
    try:
        kind = container_format(path)
        if kind is None:
            raise MediaError(f"{name} is not a video; give an MP4, MOV, MKV, AVI or MTS file")
        container = av.open(
            str(Path(path).resolve()), format=kind, options={"protocol_whitelist": "file"}, metadata_errors="replace"
        )
    except (av.error.FFmpegError, OSError) as error:
        raise MediaError(f"{name} cannot be opened as a video: {error.strerror or error}") from error
    with container:
        streams = [s for s in container.streams.video if s.codec_context is not None]
        if not streams:
            raise MediaError(f"{name} has no pictures in it, only sound or data")
        stream = streams[0]
        stream.thread_type = "AUTO"
        yield container, stream


def start_of(container: av.container.InputContainer) -> float:
    """The presentation time that a player shows as zero [s]."""
    return container.start_time / av.time_base if container.start_time is not None else 0.0


def decode_frames(container: av.container.InputContainer, stream: av.VideoStream, start_s: float) -> Iterator[Frame]:
    """Every frame that decodes, in rising time order from where the container stands.

    Damaged packets are passed over. A frame without a time follows its forerunner by the
    usual step; a frame that does not come later than its forerunner is left out.
    """
    display: Display | None = None
    last_s, step_s, bad = None, 1.0 / float(stream.average_rate or 30), 0  # bad: packets since the last frame
    pixel_aspect = float(stream.sample_aspect_ratio or stream.codec_context.sample_aspect_ratio or 1)
    for packet in _packets(container, stream):
        try:
            frames = packet.decode()
        except av.error.FFmpegError:
            bad += 1
            if bad > MAX_BAD_PACKETS:
                return
            continue
        for frame in frames:
            if frame.pts is None:
                time_s = 0.0 if last_s is None else last_s + step_s
            else:
                time_s = float(frame.pts * frame.time_base) - start_s
            if last_s is not None and time_s <= last_s:
                continue
            last_s, lost, bad = time_s, bad, 0
            # Of one stream all frames are shown the same way. Asking each would also keep each alive
            # until the garbage collector comes by: reading side data makes a reference cycle.
            display = display or display_of(frame, pixel_aspect)
            yield Frame(time_s=time_s, stored=frame, display=display, lost_before=lost)


def frames_at(path: str | Path, name: str, times_s: Sequence[float], start_s: float) -> Iterator[Frame]:
    """The frame nearest each time, in one pass.

    Parameters
    ----------
    times_s : sequence of float
        Rising [s].
    start_s : float
        What :func:`start_of` gave when the video was taken in [s].

    Yields
    ------
    Frame
        One for each wanted time.

    Raises
    ------
    MediaError
        If the video cannot be opened or nothing of it decodes.
    """
    with open_video(path, name) as (container, stream):
        reader = _Reader(container, stream, start_s)
        for time_s in times_s:
            found = reader.nearest(time_s)
            if found is None:
                raise MediaError(f"{name}: nothing of the video can be decoded")
            yield found


def key_frames_near(path: str | Path, name: str, times_s: Sequence[float], start_s: float) -> Iterator[Frame]:
    """The key frame before or at each time, each once: found by the index, decoded without any other frame.

    Raises
    ------
    MediaError
        If the video cannot be opened.
    """
    with open_video(path, name) as (container, stream):
        stream.thread_type = "SLICE"  # frame threads would wait for more frames
        seen = set()
        for time_s in times_s:
            try:
                container.seek(int((time_s + start_s) / float(stream.time_base)), stream=stream, backward=True)
                packet = next((p for p in container.demux(stream) if p.is_keyframe), None)
                if packet is None or packet.pts is None or packet.pts in seen:
                    continue
                seen.add(packet.pts)
                frames = [*packet.decode(), *stream.codec_context.decode(None)]
            except av.error.FFmpegError:
                continue
            for frame in frames[:1]:
                if frame.pts is not None:
                    found_s = float(frame.pts * stream.time_base) - start_s
                    yield Frame(time_s=found_s, stored=frame, display=display_of(frame, 1.0))


class _Reader:
    """Walks forward through a video, jumping over long gaps; remembers the last two frames."""

    def __init__(self, container, stream, start_s: float) -> None:
        self.container, self.stream, self.start_s = container, stream, start_s
        self.before: Frame | None = None
        self.after: Frame | None = None
        self.frames = decode_frames(container, stream, start_s)

    def nearest(self, time_s: float) -> Frame | None:
        here_s = self.after.time_s if self.after else 0.0
        if time_s - here_s > SEEK_GAP_S:
            self._jump(time_s)
        while self.after is None or self.after.time_s < time_s:
            found = next(self.frames, None)
            if found is None:
                break
            self.before, self.after = self.after, found
        both = [f for f in (self.before, self.after) if f is not None]
        return min(both, key=lambda f: abs(f.time_s - time_s), default=None)

    def _jump(self, time_s: float) -> None:
        target = int((time_s + self.start_s) / float(self.stream.time_base))
        try:
            self.container.seek(target, stream=self.stream, backward=True)
            frames = decode_frames(self.container, self.stream, self.start_s)
            first = next(frames, None)
            if first is not None and first.time_s <= time_s and first.stored.pts is not None:
                self.before, self.after = self.after, first
                self.frames = frames
                return
        except av.error.FFmpegError:
            pass
        # The index led nowhere useful: begin again and decode everything up to there.
        self.container.seek(0, backward=True, any_frame=False)
        self.before = self.after = None
        self.frames = decode_frames(self.container, self.stream, self.start_s)


def _packets(container, stream) -> Iterator[av.Packet]:
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except (StopIteration, av.error.FFmpegError):
            return
        yield packet
