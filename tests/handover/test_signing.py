"""A signed package tells whose it is, and that nothing in it was changed since."""

from __future__ import annotations

import stat
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import bagit
import numpy as np
import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.handover.errors import PackageError
from asbuilt.handover.opening import open_package
from asbuilt.handover.package import hand_over
from asbuilt.handover.signing import Signer, new_key, read_public_key
from asbuilt.handover.verify import verify
from asbuilt.record import Record
from tests.handover.conftest import WITHOUT_PICTURES


@pytest.fixture
def key(tmp_path) -> Path:
    new_key(tmp_path / "my.key")
    return tmp_path / "my.key"


@pytest.fixture(params=["signed", "signed.zip"])
def signed(request, record_folder, key, tmp_path) -> Path:
    with Record.open(record_folder) as record:
        hand_over(record, tmp_path / request.param, replace(WITHOUT_PICTURES, sign=Signer(key, "Ada Builder")))
    return tmp_path / request.param


def _public(key: Path) -> bytes:
    return read_public_key(f"{key}.pub")


def test_a_good_signature_is_told_from_one_by_somebody_else(signed, key, tmp_path):
    report = verify(signed, public_key=_public(key))
    assert report.faults == ()
    assert "signed by Ada Builder" in report.findings[0].text and "as it should be" in report.findings[0].text
    assert "not checked" in verify(signed).findings[0].text
    new_key(tmp_path / "other.key")
    (fault,) = verify(signed, public_key=_public(tmp_path / "other.key")).faults
    assert (fault.name, "not the key that was given" in fault.text) == ("signature.txt", True)


def test_a_package_that_should_be_signed_and_is_not_is_named(packages, key):
    (fault,) = verify(packages["folder"], public_key=_public(key)).faults
    assert (fault.state, fault.name) == ("missing", "signature.txt")


def test_whoever_changes_a_file_and_all_lists_cannot_sign_again(signed, key):
    if signed.is_file():
        pytest.skip("the folder shows it")
    (signed / "data" / "README.txt").write_text("All of this is quite harmless.\n")
    bag = bagit.Bag(str(signed))
    bag.save(manifests=True)  # a thorough forger: every list is right again
    faults = verify(signed, public_key=_public(key)).faults
    assert "signature.txt" in {f.name for f in faults}


@pytest.mark.parametrize("label", [b"public key: ", b"signature: "])
def test_padding_in_the_middle_is_no_signature(signed, key, label):
    if signed.is_file():
        pytest.skip("the folder shows it")
    path = signed / "signature.txt"
    data = bytearray(path.read_bytes())
    data[data.index(label) + len(label) + 41] = ord("=")
    path.write_bytes(data)
    (fault,) = [f for f in verify(signed, public_key=_public(key)).faults if f.name == "signature.txt"]
    assert "not a signature" in fault.text


def test_each_flipped_byte_of_the_signature_is_found(signed, key):
    if signed.is_file():
        pytest.skip("the folder shows it")
    rng = np.random.default_rng(7)
    path = signed / "signature.txt"
    whole = path.read_bytes()
    for at in rng.choice(len(whole), 40, replace=False):
        data = bytearray(whole)
        data[at] ^= int(rng.integers(1, 256))
        path.write_bytes(data)
        assert "signature.txt" in {f.name for f in verify(signed, public_key=_public(key)).faults}, int(at)
    path.write_bytes(whole)
    assert verify(signed, public_key=_public(key)).faults == ()


def test_a_signed_package_is_a_bag_and_opens(signed, tmp_path):
    assert open_package(signed, tmp_path / "again").faults == ()
    folder = signed
    if signed.is_file():
        with zipfile.ZipFile(signed) as archive:
            archive.extractall(tmp_path / "unpacked")
        (folder,) = (tmp_path / "unpacked").iterdir()
    bagit.Bag(str(folder)).validate()


def test_keys_are_private_and_never_overwritten(key):
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    with pytest.raises(PackageError, match="never overwritten"):
        new_key(key)


def test_a_locked_key_needs_its_pass_phrase(tmp_path, monkeypatch):
    monkeypatch.setenv("ASBUILT_KEY_PASSPHRASE", "correct horse")
    new_key(tmp_path / "locked.key")
    Signer(tmp_path / "locked.key", "x")
    for phrase in ("", "wrong"):
        monkeypatch.setenv("ASBUILT_KEY_PASSPHRASE", phrase)
        with pytest.raises(PackageError, match="is it locked"):
            Signer(tmp_path / "locked.key", "x")


def test_without_the_means_to_check_nothing_is_called_good(signed, key, monkeypatch):
    public = _public(key)
    monkeypatch.setitem(sys.modules, "cryptography.hazmat.primitives", None)
    (note,) = verify(signed).findings
    assert note.state == "note" and "not checked" in note.text and "pip install" in note.text
    assert [f.name for f in verify(signed, public_key=public).faults] == ["signature.txt"]


def test_what_is_no_key_is_refused_in_words(key, tmp_path):
    (tmp_path / "letter.txt").write_text("dear\nme\n")
    for path in (key, tmp_path / "letter.txt", tmp_path / "nowhere"):
        with pytest.raises(PackageError, match="no public key"):
            read_public_key(path)
    with pytest.raises(PackageError, match="cannot read the private key"):
        Signer(tmp_path / "letter.txt", "x")


def test_the_commands_sign_and_check(record, tmp_path, monkeypatch):
    monkeypatch.setenv("ASBUILT_AUTHOR", "Ada Builder")
    run = CliRunner().invoke(main, ["key", str(tmp_path / "k")])
    assert run.exit_code == 0 and "keep it to yourself" in run.output
    without = [word for part in ("viewer", "binder", "drawings") for word in ("--without", part)]
    command = ["handover", str(record.folder), str(tmp_path / "p.zip"), "--sign", str(tmp_path / "k"), *without]
    run = CliRunner().invoke(main, command)
    assert run.exit_code == 0, run.output
    run = CliRunner().invoke(main, ["verify", str(tmp_path / "p.zip"), "--key", str(tmp_path / "k.pub")])
    assert run.exit_code == 0 and "signed by Ada Builder" in run.output and run.output.rstrip().endswith("whole")
