"""Signing a package with a key of one's own, so that whoever holds the public key knows whose it is.

Ed25519 over the tag manifest, which lists the hash of the manifest, which lists the hash of
every file: one signature vouches for all. The key files are plain text and small enough to
be written down; no certificate, no service.
"""

from __future__ import annotations

import base64
import os
import re
from dataclasses import dataclass
from pathlib import Path

from asbuilt.handover.errors import PackageError
from asbuilt.record import now

SIGNATURE_NAME = "signature.txt"
SIGNED_NAME = "tagmanifest-sha512.txt"
HEADER = "asbuilt signature, version 1"
PUBLIC_HEADER = "asbuilt public key, version 1"
PASSPHRASE_VARIABLE = "ASBUILT_KEY_PASSPHRASE"
NEEDED = "signing needs the package 'cryptography'; install it with: pip install 'asbuilt[sign]'"


class SigningUnavailableError(PackageError):
    """What signing needs is not installed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """What a signature file says."""

    signer: str
    signed_at: str
    public_key: bytes
    signature: bytes

    @property
    def key_words(self) -> str:
        """The public key in short, for people to compare."""
        return short_key(self.public_key)


def _ed25519():
    try:
        from cryptography.hazmat.primitives import serialization
        from cryptography.hazmat.primitives.asymmetric import ed25519
    except ImportError as error:
        raise SigningUnavailableError(NEEDED) from error
    return serialization, ed25519


def short_key(public_key: bytes) -> str:
    """The first 20 hex digits of a public key in groups."""
    return " ".join(public_key.hex()[i : i + 4] for i in range(0, 20, 4))


def new_key(path: str | Path) -> bytes:
    """Make a key: the private one at ``path``, the public one beside it, ending in .pub.

    With a pass phrase in ASBUILT_KEY_PASSPHRASE the private key is locked with it.

    Returns
    -------
    bytes
        The public key.

    Raises
    ------
    PackageError
        If one of the two files is there already or cannot be written.
    """
    serialization, ed25519 = _ed25519()
    path = Path(path)
    public_path = path.with_name(f"{path.name}.pub")
    for there in (path, public_path):
        if there.exists():
            raise PackageError(f"{there} is there already; a key is never overwritten")
    key = ed25519.Ed25519PrivateKey.generate()
    phrase = os.environ.get(PASSPHRASE_VARIABLE, "").encode()
    lock = serialization.BestAvailableEncryption(phrase) if phrase else serialization.NoEncryption()
    private = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, lock)
    public = key.public_key().public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as stream:
            stream.write(private)
        public_path.write_text(f"{PUBLIC_HEADER}\n{base64.b64encode(public).decode()}\n", "utf-8")
    except OSError as error:
        raise PackageError(f"cannot write the key {path}: {error.strerror or error}") from error
    return public


def read_public_key(path: str | Path) -> bytes:
    """A public key from its file.

    Raises
    ------
    PackageError
        If it is none.
    """
    try:
        header, text = Path(path).read_text("utf-8").splitlines()[:2]
        key = base64.b64decode(text, validate=True)
    except (OSError, ValueError) as error:
        raise PackageError(f"{path} is no public key; name the file that ends in .pub") from error
    if header != PUBLIC_HEADER or len(key) != 32:
        raise PackageError(f"{path} is no public key; name the file that ends in .pub")
    return key


class Signer:
    """Signs with the private key in a file.

    Raises
    ------
    PackageError
        If there is no key or it is locked.
    """

    def __init__(self, path: str | Path, name: str) -> None:
        serialization, ed25519 = _ed25519()
        phrase = os.environ.get(PASSPHRASE_VARIABLE, "").encode()
        try:
            key = serialization.load_pem_private_key(Path(path).read_bytes(), phrase or None)
        except (OSError, ValueError, TypeError) as error:
            hint = f"; is it locked? put its pass phrase into {PASSPHRASE_VARIABLE}"
            raise PackageError(f"cannot read the private key {path}{hint}") from error
        if not isinstance(key, ed25519.Ed25519PrivateKey):
            raise PackageError(f"{path} is a key of another kind; make one with: asbuilt key")
        self.key, self.name = key, " ".join(name.split())
        self.public = key.public_key().public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)

    def __call__(self, tag_manifest: bytes) -> bytes:
        """The signature file for a tag manifest."""
        at = now()
        signature = self.key.sign(_message(self.name, at, tag_manifest))
        lines = (HEADER, f"signed: {SIGNED_NAME}", f"by: {self.name}", f"at: {at}",
                 f"public key: {base64.b64encode(self.public).decode()}",
                 f"signature: {base64.b64encode(signature).decode()}")  # fmt: skip
        return ("\n".join(lines) + "\n").encode()


def _message(name: str, at: str, tag_manifest: bytes) -> bytes:
    """What is signed: who and when, then the list itself."""
    return f"{HEADER}\n{name}\n{at}\n".encode() + tag_manifest


def read_signature(data: bytes) -> Signature:
    """A signature file as read.

    Raises
    ------
    PackageError
        If it is none.
    """
    pattern = (
        rf"{re.escape(HEADER)}\nsigned: {re.escape(SIGNED_NAME)}\nby: (.*)\nat: (.*)\n"
        r"public key: ([A-Za-z0-9+/]{43}=)\nsignature: ([A-Za-z0-9+/]{86}==)\n"
    )
    found = re.fullmatch(pattern, data.decode("utf-8", "replace"))
    if found is None:
        raise PackageError("it is not a signature as it was written")
    public, signature = (base64.b64decode(found[n]) for n in (3, 4))
    if base64.b64encode(public).decode() != found[3] or base64.b64encode(signature).decode() != found[4]:
        raise PackageError("it is not a signature as it was written")
    return Signature(signer=found[1], signed_at=found[2], public_key=public, signature=signature)


def is_good(signature: Signature, tag_manifest: bytes) -> bool:
    """Whether a signature is that of its own public key over a tag manifest."""
    _, ed25519 = _ed25519()
    from cryptography.exceptions import InvalidSignature

    key = ed25519.Ed25519PublicKey.from_public_bytes(signature.public_key)
    try:
        key.verify(signature.signature, _message(signature.signer, signature.signed_at, tag_manifest))
    except InvalidSignature:
        return False
    return True
