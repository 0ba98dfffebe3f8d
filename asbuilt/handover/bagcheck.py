"""Checking a bag against BagIt 1.0 (RFC 8493), and 0.97 where it differs, without ever stopping early.

Whatever is broken, everything that can still be checked is checked, and each file that is
damaged, missing or not listed is named.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from unicodedata import normalize

from asbuilt.handover.bag import DECLARATION, WORKERS, tag_manifest
from asbuilt.handover.bagnames import name_notes
from asbuilt.handover.findings import DAMAGED, MISSING, NOTE, UNEXPECTED, Finding
from asbuilt.handover.shelf import Shelf, hashes_of, read
from asbuilt.handover.signing import SIGNATURE_NAME

MANIFEST = re.compile(r"(tag)?manifest-([A-Za-z0-9]+)\.txt")
OUTSIDE = re.compile(r"^(/|~|[A-Za-z]:)|(^|[/\\])\.\.([/\\]|$)")
MOST_TAG_BYTES = 1 << 28


@dataclass(slots=True, kw_only=True)
class Manifest:
    """One manifest as read: file name -> digest, and what of its lines is only worth saying."""

    name: str
    algorithm: str
    is_tag: bool
    entries: dict[str, str] = field(default_factory=dict)
    notes: set[str] = field(default_factory=set)


def check_bag(
    shelf: Shelf, progress: Callable[[int], object] = lambda byte_count: None, strict_tags: bool = False
) -> list[Finding]:
    """Everything that is wrong with a bag.

    Parameters
    ----------
    shelf : Shelf
    progress : callable
        Told the bytes of every file that was read.
    strict_tags : bool
        Also hold the tag files to how this package writes them, byte for byte, so that a
        change that the format itself would overlook is found.
    """
    return list(_Check(shelf, progress, strict_tags).run())


class _Check:
    def __init__(self, shelf: Shelf, progress: Callable[[int], object], strict_tags: bool) -> None:
        self.shelf, self.progress, self.strict_tags = shelf, progress, strict_tags
        self.names = set(shelf.names())
        self.version, self.encoding = (1, 0), "utf-8"

    def run(self) -> Iterator[Finding]:
        yield from self._declaration()
        manifests = []
        for name in sorted(self.names):
            if MANIFEST.fullmatch(name):
                manifest, findings = self._manifest(name)
                manifests.append(manifest)
                yield from findings
        if not any(not m.is_tag for m in manifests):
            yield Finding(state=MISSING, name="manifest-*.txt", text="there is no list of the payload's hashes")
        if not self.shelf.has_folder("data"):
            yield Finding(state=MISSING, name="data", text="there is no payload")
        fetched, findings = self._fetch(manifests)
        yield from findings
        yield from self._completeness(manifests, fetched)
        yield from self._hashes(manifests)
        yield from self._info()
        yield from name_notes(self.names)
        if self.strict_tags:
            yield from self._as_written(manifests)

    def _declaration(self) -> Iterator[Finding]:
        """bagit.txt: two lines, nothing else."""
        if "bagit.txt" not in self.names:
            yield Finding(state=MISSING, name="bagit.txt", text="the bag's declaration is not there")
            return
        try:
            data = read(self.shelf, "bagit.txt", MOST_TAG_BYTES)
            text = data.decode("utf-8")
        except (OSError, UnicodeDecodeError):
            yield Finding(state=DAMAGED, name="bagit.txt", text="it cannot be read as UTF-8 text")
            return
        found = re.fullmatch(
            r"BagIt-Version: (\d+)\.(\d+)(?:\r\n|\n|\r)Tag-File-Character-Encoding: (\S+)(?:\r\n|\n|\r)?", text
        )
        if found is None:
            yield Finding(state=DAMAGED, name="bagit.txt", text="it is not the two lines of a bag's declaration")
            return
        self.version = (int(found[1]), int(found[2]))
        try:
            "".encode(found[3])
            self.encoding = found[3]
        except LookupError:
            yield Finding(state=DAMAGED, name="bagit.txt", text=f"it names an unknown encoding, {found[3]}")

    def _text(self, name: str) -> tuple[str, list[Finding]]:
        """A tag file's text, as far as it is text, and what is wrong with it."""
        try:
            data = read(self.shelf, name, MOST_TAG_BYTES)
        except OSError as error:
            return "", [Finding(state=DAMAGED, name=name, text=f"it cannot be read: {error}")]
        try:
            return data.decode(self.encoding).removeprefix("\ufeff"), []
        except UnicodeDecodeError:
            damaged = Finding(state=DAMAGED, name=name, text="it is not text in the encoding that bagit.txt names")
            return data.decode(self.encoding, "replace"), [damaged]

    def _manifest(self, name: str) -> tuple[Manifest, list[Finding]]:
        is_tag, algorithm = MANIFEST.fullmatch(name).groups()
        manifest = Manifest(name=name, algorithm=algorithm.lower(), is_tag=bool(is_tag))
        text, findings = self._text(name)
        if manifest.algorithm not in hashlib.algorithms_available:
            text_ = f"its algorithm {manifest.algorithm} is not known here"
            findings.append(Finding(state=DAMAGED, name=name, text=text_))
        for number, line in enumerate(re.split(r"\r\n|\n|\r", text), 1):
            fault = self._entry(manifest, line)
            if fault:
                findings.append(Finding(state=DAMAGED, name=name, text=f"line {number}: {fault}"))
        findings += [Finding(state=NOTE, name=name, text=note) for note in sorted(manifest.notes)]
        return manifest, findings

    def _entry(self, manifest: Manifest, line: str) -> str:
        """Take in one line of a manifest; what is wrong with it, or nothing."""
        if not line.strip():
            return ""
        found = re.fullmatch(r"([0-9A-Fa-f]+)[ \t]+(\*?)(.+)", line)
        if found is None:
            return "it is not a hash and a path"
        digest, star, path = found.groups()
        if star and self.version >= (1, 0):
            path = star + path
        elif star:
            manifest.notes.add("it has the stars of md5sum before its paths")
        path = _decoded(path) if self.version >= (1, 0) else path
        plain = re.sub(r"^(\./)+", "", path)
        if OUTSIDE.search(path):
            return f"{path} lies outside the bag"
        if manifest.is_tag == plain.startswith("data/"):
            return f"{path} does not belong into this list"
        if plain != path:
            manifest.notes.add("it has ./ before its paths")
        found_as = self._on_shelf(plain)
        if found_as != plain:
            manifest.notes.add("it writes accented letters otherwise than the names of the files do")
        plain = found_as
        if plain in manifest.entries:
            if self.version < (1, 0) and manifest.entries[plain] == digest.lower():
                manifest.notes.add(f"it lists {path} twice")
                return ""
            return f"{path} is listed twice"
        manifest.entries[plain] = digest.lower()
        return ""

    def _on_shelf(self, name: str) -> str:
        """The name as the file system has it: some turn accented letters into two characters."""
        if name in self.names:
            return name
        return next((n for form in ("NFC", "NFD") if (n := normalize(form, name)) in self.names), name)

    def _fetch(self, manifests: Sequence[Manifest]) -> tuple[set[str], list[Finding]]:
        """Files that fetch.txt says are still to be fetched."""
        if "fetch.txt" not in self.names:
            return set(), []
        text, findings = self._text("fetch.txt")
        listed = {n for m in manifests if not m.is_tag for n in m.entries}
        waiting: set[str] = set()
        for number, line in enumerate(re.split(r"\r\n|\n|\r", text), 1):
            if not line.strip():
                continue
            found = re.fullmatch(r"(\S+)[ \t]+(\d+|-)[ \t]+(.+)", line)
            path = _decoded(found[3]) if found else ""
            if found is None or OUTSIDE.search(path) or path not in listed:
                findings.append(
                    Finding(state=DAMAGED, name="fetch.txt", text=f"line {number} names no file that is listed")
                )
            else:
                waiting.add(path)
        return waiting, findings

    def _completeness(self, manifests: Sequence[Manifest], fetched: set[str]) -> Iterator[Finding]:
        payload = {n for n in self.names if n.startswith("data/")}
        lists = [m for m in manifests if not m.is_tag]
        for manifest in manifests:
            for name in sorted(set(manifest.entries) - self.names):
                why = "it is still to be fetched" if name in fetched else f"it is listed in {manifest.name}"
                yield Finding(state=MISSING, name=name, text=why)
        everywhere = self.version >= (1, 0)
        for name in sorted(payload):
            without = [m.name for m in lists if name not in m.entries]
            if lists and (without if everywhere else len(without) == len(lists)):
                yield Finding(state=UNEXPECTED, name=name, text=f"it is not listed in {', '.join(without)}")
        for manifest in manifests:
            if manifest.is_tag:
                for other in lists:
                    if other.name not in manifest.entries:
                        yield Finding(state=NOTE, name=other.name, text=f"it is not listed in {manifest.name}")

    def _hashes(self, manifests: Sequence[Manifest]) -> Iterator[Finding]:
        wanted: dict[str, list[Manifest]] = {}
        for manifest in manifests:
            if manifest.algorithm in hashlib.algorithms_available:
                for name in manifest.entries:
                    if name in self.names:
                        wanted.setdefault(name, []).append(manifest)
        with ThreadPoolExecutor(WORKERS) as pool:
            for findings in pool.map(lambda item: self._hash(*item), sorted(wanted.items(), key=lambda i: i[0])):
                yield from findings

    def _hash(self, name: str, manifests: Sequence[Manifest]) -> list[Finding]:
        try:
            found = hashes_of(self.shelf, name, sorted({m.algorithm for m in manifests}))
        except OSError as error:
            return [Finding(state=DAMAGED, name=name, text=f"it cannot be read: {error}")]
        self.progress(self.shelf.size(name))
        return [
            Finding(state=DAMAGED, name=name, text=f"its content is not what {m.name} lists{_or_list(m)}")
            for m in manifests
            if m.entries[name] != found[m.algorithm]
        ]

    def _info(self) -> Iterator[Finding]:
        """Payload-Oxum of bag-info.txt against what is there."""
        if "bag-info.txt" not in self.names:
            return
        text, findings = self._text("bag-info.txt")
        yield from findings
        labels: Counter[str] = Counter()
        for number, line in enumerate(re.split(r"\r\n|\n|\r", text), 1):
            if not line.strip() or line[0] in " \t":
                continue
            found = re.fullmatch(r"([^:\s](?:[^:]*[^:\s])?)(\s*):(\s?)(.*)", line)
            if found is None or (self.version >= (1, 0) and (found[2] or not found[3])):
                text_ = f"line {number} is not a label, a colon, a space and a value"
                yield Finding(state=DAMAGED, name="bag-info.txt", text=text_)
                continue
            labels[found[1].lower()] += 1
            if found[1].lower() == "payload-oxum":
                yield from self._oxum(found[4].strip())
        if labels["payload-oxum"] > 1:
            yield Finding(state=DAMAGED, name="bag-info.txt", text="Payload-Oxum is given more than once")

    def _oxum(self, value: str) -> Iterator[Finding]:
        payload = [n for n in self.names if n.startswith("data/")]
        there = f"{sum(self.shelf.size(n) for n in payload)}.{len(payload)}"
        if value != there:
            text = f"Payload-Oxum (bytes.files) is {value}, but {there} is there"
            yield Finding(state=DAMAGED, name="bag-info.txt", text=text)

    def _as_written(self, manifests: Sequence[Manifest]) -> Iterator[Finding]:
        wanted = {m.name: tag_manifest(m.entries) for m in manifests if m.is_tag} | {"bagit.txt": DECLARATION}
        for name, text in wanted.items():
            if name in self.names and self._text(name)[0] != text:
                yield Finding(state=DAMAGED, name=name, text="it is not as it was written")
        listed = {n for m in manifests for n in m.entries} | {m.name for m in manifests} | {SIGNATURE_NAME}
        for name in sorted(n for n in self.names - listed if not n.startswith("data/")):
            yield Finding(state=UNEXPECTED, name=name, text="no list of this package names it")


def _decoded(path: str) -> str:
    return re.sub("%(0[AD]|25)", lambda m: {"0A": "\n", "0D": "\r", "25": "%"}[m[1].upper()], path, flags=re.I)


def _or_list(manifest: Manifest) -> str:
    """Nothing vouches for the tag manifest itself."""
    return ", or that list is damaged" if manifest.is_tag else ""
