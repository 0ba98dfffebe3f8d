"""What BagIt 1.0 (RFC 8493) asks of a bag, rule by rule, on small bags made here."""

from __future__ import annotations

import hashlib
from pathlib import Path

import bagit
import pytest

from asbuilt.handover.bagcheck import check_bag
from asbuilt.handover.findings import NOTE
from asbuilt.handover.shelf import shelf_of

HELLO, BYE = b"hello\n", b"bye\n"
SHA, MD5 = hashlib.sha512(HELLO).hexdigest(), hashlib.md5(HELLO).hexdigest()
BYE_MD5 = hashlib.md5(BYE).hexdigest()
BYE_SHA = hashlib.sha512(BYE).hexdigest()
BAGIT_10 = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
BAGIT_097 = BAGIT_10.replace(b"1.0", b"0.97")


def _bag(**changes) -> dict[str, bytes | None]:
    """A good bag with one file; keyword names use __ for / and _dot_ for a dot."""
    files: dict[str, bytes | None] = {
        "bagit.txt": BAGIT_10,
        "manifest-sha512.txt": f"{SHA}  data/hello.txt\n".encode(),
        "data/hello.txt": HELLO,
    }
    return files | changes


GOOD = {
    "plain": _bag(),
    "upper case hash": _bag(**{"manifest-sha512.txt": f"{SHA.upper()}  data/hello.txt\n".encode()}),
    "one space": _bag(**{"manifest-sha512.txt": f"{SHA} data/hello.txt\n".encode()}),
    "no last line break": _bag(**{"manifest-sha512.txt": f"{SHA}  data/hello.txt".encode()}),
    "windows line breaks": _bag(**{"bagit.txt": BAGIT_10.replace(b"\n", b"\r\n"),
                                   "manifest-sha512.txt": f"{SHA}  data/hello.txt\r\n".encode()}),
    "two manifests": _bag(**{"manifest-md5.txt": f"{MD5}  data/hello.txt\n".encode()}),
    "a file of its own beside the payload": _bag(**{"notes/mine.txt": b"x"}),
    "right oxum": _bag(**{"bag-info.txt": b"Payload-Oxum: 6.1\n"}),
    "folded and repeated labels": _bag(**{"bag-info.txt": b"Contact-Name: A\nContact-Name: B\nNote: long\n  and on\n"}),
    "a value with colons": _bag(**{"bag-info.txt": b"Link: urn:x:y\n"}),
    "tag manifest": _bag(**{"tagmanifest-sha512.txt":
                            f"{hashlib.sha512(BAGIT_10).hexdigest()}  bagit.txt\n".encode()
                            + f"{hashlib.sha512(f'{SHA}  data/hello.txt{chr(10)}'.encode()).hexdigest()}"
                              "  manifest-sha512.txt\n".encode()}),
    "0.97 star before the path": _bag(**{"bagit.txt": BAGIT_097,
                                         "manifest-sha512.txt": f"{SHA} *data/hello.txt\n".encode()}),
    "0.97 each file in some manifest": _bag(**{"bagit.txt": BAGIT_097, "data/bye.txt": BYE,
                                               "manifest-sha256.txt":
                                               f"{hashlib.sha256(BYE).hexdigest()} data/bye.txt\n".encode()}),
    "path with ./": _bag(**{"manifest-sha512.txt": f"{SHA}  ./data/hello.txt\n".encode()}),
    "utf-16 tag files": _bag(**{"bagit.txt": BAGIT_10.replace(b"UTF-8", b"UTF-16"),
                                "manifest-sha512.txt": f"{SHA}  data/hello.txt\n".encode("utf-16")}),
}  # fmt: skip
BAD = {
    "no bagit.txt": ("bagit.txt", _bag(**{"bagit.txt": None})),
    "bagit.txt with a byte order mark": ("bagit.txt", _bag(**{"bagit.txt": b"\xef\xbb\xbf" + BAGIT_10})),
    "bagit.txt with a third line": ("bagit.txt", _bag(**{"bagit.txt": BAGIT_10 + b"More: x\n"})),
    "bagit.txt with spaces before the colon": ("bagit.txt", _bag(**{"bagit.txt": BAGIT_10.replace(b":", b" :")})),
    "bagit.txt in the wrong order": ("bagit.txt", _bag(**{"bagit.txt": b"\n".join(BAGIT_10.split(b"\n")[1::-1])})),
    "version with one number": ("bagit.txt", _bag(**{"bagit.txt": BAGIT_10.replace(b"1.0", b"1")})),
    "unknown encoding": ("bagit.txt", _bag(**{"bagit.txt": BAGIT_10.replace(b"UTF-8", b"WTF-9")})),
    "no manifest": ("manifest-*.txt", _bag(**{"manifest-sha512.txt": None})),
    "no payload folder": ("data", _bag(**{"data/hello.txt": None, "manifest-sha512.txt": b""})),
    "a listed file is missing": ("data/bye.txt", _bag(**{"manifest-sha512.txt":
                                 f"{SHA}  data/hello.txt\n{BYE_SHA}  data/bye.txt\n".encode()})),
    "a file is not listed": ("data/bye.txt", _bag(**{"data/bye.txt": BYE})),
    "a file is in one of two manifests": ("data/bye.txt", _bag(**{"data/bye.txt": BYE, "manifest-md5.txt":
                                          f"{MD5} data/hello.txt\n{BYE_MD5} data/bye.txt\n".encode()})),
    "changed content": ("data/hello.txt", _bag(**{"data/hello.txt": b"hullo\n"})),
    "wrong in the second manifest": ("data/hello.txt", _bag(**{"manifest-md5.txt":
                                     f"{'0' * 32} data/hello.txt\n".encode()})),
    "listed twice": ("manifest-sha512.txt", _bag(**{"manifest-sha512.txt": f"{SHA}  data/hello.txt\n".encode() * 2})),
    "outside the bag": ("manifest-sha512.txt", _bag(**{"manifest-sha512.txt":
                        f"{SHA}  data/hello.txt\n{SHA}  data/../../hello.txt\n".encode()})),
    "absolute path": ("manifest-sha512.txt", _bag(**{"manifest-sha512.txt":
                      f"{SHA}  data/hello.txt\n{SHA}  /etc/hostname\n".encode()})),
    "home path": ("manifest-sha512.txt", _bag(**{"manifest-sha512.txt":
                  f"{SHA}  data/hello.txt\n{SHA}  ~/hello.txt\n".encode()})),
    "tag file in the payload's manifest": ("manifest-sha512.txt", _bag(**{"manifest-sha512.txt":
                                           f"{SHA}  data/hello.txt\n{SHA}  bagit.txt\n".encode()})),
    "no hash": ("manifest-sha512.txt", _bag(**{"manifest-sha512.txt": f"{SHA}  data/hello.txt\nwhat\n".encode()})),
    "unknown algorithm": ("manifest-sha513.txt", _bag(**{"manifest-sha513.txt": f"{SHA}  data/hello.txt\n".encode()})),
    "changed tag file": ("bagit.txt", _bag(**{"tagmanifest-sha512.txt": f"{SHA}  bagit.txt\n".encode()})),
    "wrong oxum": ("bag-info.txt", _bag(**{"bag-info.txt": b"Payload-Oxum: 7.1\n"})),
    "oxum twice": ("bag-info.txt", _bag(**{"bag-info.txt": b"Payload-Oxum: 6.1\nPayload-Oxum: 6.1\n"})),
    "label without a space after the colon": ("bag-info.txt", _bag(**{"bag-info.txt": b"Contact-Name:A\n"})),
    "label with a space before the colon": ("bag-info.txt", _bag(**{"bag-info.txt": b"Contact-Name : A\n"})),
    "to be fetched": ("data/bye.txt", _bag(**{"fetch.txt": b"https://example.org/bye.txt 4 data/bye.txt\n",
                      "manifest-sha512.txt": f"{SHA}  data/hello.txt\n{BYE_SHA}  data/bye.txt\n".encode()})),
    "fetch names what is not listed": ("fetch.txt", _bag(**{"fetch.txt": b"https://example.org/x 4 data/x.txt\n"})),
}  # fmt: skip
# Where the bagit library accepts what the RFC forbids.
LIBRARY_ACCEPTS = {
    "bagit.txt with a third line", "bagit.txt with spaces before the colon", "bagit.txt in the wrong order",
    "version with one number", "no hash", "unknown algorithm", "oxum twice",
    "label without a space after the colon", "label with a space before the colon",
    "a file is in one of two manifests", "fetch names what is not listed",
}  # fmt: skip


def _write(folder: Path, files: dict[str, bytes | None]) -> Path:
    for name, data in files.items():
        if data is not None:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(data)
    return folder


def _library_says(folder: Path) -> bool:
    try:
        bagit.Bag(str(folder)).validate()
        return True
    except Exception:
        return False


@pytest.mark.parametrize("name", GOOD)
def test_good_bags_pass(name, tmp_path):
    folder = _write(tmp_path / "bag", GOOD[name])
    assert [f for f in check_bag(shelf_of(folder)) if f.state != NOTE] == []
    assert _library_says(folder)


@pytest.mark.parametrize("name", BAD)
def test_bad_bags_are_named(name, tmp_path):
    culprit, files = BAD[name]
    folder = _write(tmp_path / "bag", files)
    found = [f for f in check_bag(shelf_of(folder)) if f.state != NOTE]
    assert culprit in {f.name for f in found}
    assert _library_says(folder) == (name in LIBRARY_ACCEPTS)


def test_letters_with_accents_are_found_in_either_form(tmp_path):
    """macOS turns ü into u and two dots when it copies."""
    composed, taken_apart = "T\u00fcr.txt", "Tu\u0308r.txt"
    files = _bag(**{"manifest-sha512.txt": f"{SHA}  data/{composed}\n".encode(), f"data/{taken_apart}": HELLO,
                    "data/hello.txt": None})  # fmt: skip
    assert {f.state for f in check_bag(shelf_of(_write(tmp_path / "bag", files)))} == {NOTE}
