"""A shop's own Ed25519 key (RFC 8032): made once, kept outside every job, signs the attachment of its reports."""

from __future__ import annotations

import base64
import os
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from report._digests import sha256
from report._errors import ReportError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

SIGNATURE = "humproof-signature.json"
SIGNED = (
    "The signature proves that whoever holds the shop's private key signed the attachment, which holds all digests and "
    "numbers above and a digest of these pages; it does not prove who that was, nor when, nor that the readings were "
    "taken honestly. Compare the fingerprint with one that the shop gave you by another way."
)
NOT_SIGNED = "This report is not signed."
_LARGEST_KEY_BYTES = 100_000
#: asks for the key's password, and gets it as text
Password = Callable[[], str]


class Signature(BaseModel):
    """What is attached beside the seal."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    format: Literal["humproof-signature"] = "humproof-signature"
    version: Literal[1] = 1
    algorithm: Literal["Ed25519"] = "Ed25519"
    signed_file: str = Field(max_length=200)
    public_key: str = Field(max_length=10_000)
    fingerprint: str = Field(pattern="^[0-9a-f]{64}$")
    signature: str = Field(pattern="^[A-Za-z0-9+/]{86}==$")


@dataclass(frozen=True, slots=True)
class Signer:
    """A private key, ready to sign."""

    key: Ed25519PrivateKey
    #: what a person should know of the key's file
    warnings: tuple[str, ...] = ()

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the public key in DER form."""
        return fingerprint_of(self.key.public_key())

    def sign(self, data: bytes, name: str) -> bytes:
        """The attachment with the signature over another attachment's bytes."""
        public = self.key.public_key()
        made = Signature(
            signed_file=name,
            public_key=_pem(public).decode(),
            fingerprint=self.fingerprint,
            signature=base64.b64encode(self.key.sign(data)).decode(),
        )
        return made.model_dump_json(indent=1).encode() + b"\n"


def grouped(fingerprint: str) -> str:
    """A fingerprint in groups of eight, to be read aloud."""
    return " ".join(fingerprint[start : start + 8] for start in range(0, len(fingerprint), 8))


def fingerprint_of(key: Ed25519PublicKey) -> str:
    """SHA-256 of the public key's DER form, as `openssl pkey -pubin -outform DER | sha256sum` gives it."""
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    return sha256(key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo))


def _pem(key: Ed25519PublicKey) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


def public_path(path: Path) -> Path:
    """Where the public key of a key file stands."""
    return path.with_name(path.name + ".pub")


def make_key(path: Path, password: str = "") -> str:
    """Make a key file that only its owner may read, and its public key beside it; returns the fingerprint.

    Raises
    ------
    ReportError
        When either file is there already or cannot be written (a key is never written over), or would lie in a job.
    """
    _check_no_job(path)
    from cryptography.hazmat.primitives import serialization as as_file
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    key = Ed25519PrivateKey.generate()
    lock = as_file.BestAvailableEncryption(password.encode()) if password else as_file.NoEncryption()
    private = key.private_bytes(as_file.Encoding.PEM, as_file.PrivateFormat.PKCS8, lock)
    if public_path(path).exists():
        raise ReportError(f"{public_path(path)}: is there already; a key is never written over: choose another name")
    _write_new(path, private, 0o600)
    try:
        _write_new(public_path(path), _pem(key.public_key()), 0o644)
    except ReportError:
        path.unlink()
        raise
    return fingerprint_of(key.public_key())


def _write_new(path: Path, data: bytes, mode: int) -> None:
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
    except FileExistsError as error:
        raise ReportError(f"{path}: is there already; a key is never written over: choose another name") from error
    except OSError as error:
        raise ReportError(f"{path}: the key cannot be written: {error.strerror}") from error


def check_key_place(path: Path, job_folder: Path) -> None:
    """Refuse a key that lies, or would lie, in a job's folder: raises `ReportError`."""
    if job_folder.resolve() in path.resolve().parents:
        raise ReportError(f"{path}: lies in the job, which is handed on; keep the key elsewhere")


def _check_no_job(path: Path) -> None:
    """Refuse a place within any job, whichever it is."""
    for folder in path.resolve().parents:
        if (folder / "job.toml").is_file():
            check_key_place(path, folder)


def read_signer(path: Path, job_folder: Path, password: Password = lambda: "") -> Signer:
    """Read the shop's private key.

    Parameters
    ----------
    job_folder
        The key must not lie in it: job folders are handed on.
    password
        Asked only when the file is locked with one.

    Raises
    ------
    ReportError
        When it is missing, no Ed25519 key, lies in the job, or the password is wrong.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    check_key_place(path, job_folder)
    data = _read(path)
    locked = b"BEGIN ENCRYPTED PRIVATE KEY" in data
    try:
        key = load_pem_private_key(data, password().encode() if locked else None)
    # The library raises many kinds of error; which one it was helps nobody.
    except Exception as error:
        remedy = "its password is wrong" if locked else "make one with: humproof report --new-key FILE"
        raise ReportError(f"{path}: is not a private key that can be used: {remedy}") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise ReportError(f"{path}: is a key of another kind than Ed25519: make one with: humproof report --new-key")
    return Signer(key, tuple(_too_open(path)))


def _too_open(path: Path) -> list[str]:
    if os.name != "posix" or not path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        return []
    return [f"{path}: others on this computer may read this private key; take that from them: chmod 600 {path}"]


def _read(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise ReportError(f"{path}: there is no such key file")
        with path.open("rb") as file:
            return file.read(_LARGEST_KEY_BYTES)
    except OSError as error:
        raise ReportError(f"{path}: cannot be read: {error.strerror}") from error


def read_public_fingerprint(path: Path) -> str:
    """The fingerprint of a public key file; raises `ReportError`."""
    data = _read(path)
    if b"PRIVATE KEY" in data:
        raise ReportError(f"{path}: is a private key; give the public one, {public_path(path).name}")
    return fingerprint_of(_public(data, str(path)))


def _public(data: bytes, name: str) -> Ed25519PublicKey:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    try:
        key: Any = load_pem_public_key(data)
    except Exception as error:
        raise ReportError(f"{name}: is not a public key in PEM form") from error
    if not isinstance(key, Ed25519PublicKey):
        raise ReportError(f"{name}: is a public key of another kind than Ed25519")
    return key


def check_signature(signed: bytes, attached: bytes, name: str) -> str:
    """The fingerprint of the key that signed these bytes.

    Raises
    ------
    ReportError
        When the signature is damaged, or is not over these bytes.
    """
    from cryptography.exceptions import InvalidSignature

    try:
        found = Signature.model_validate_json(attached)
    except ValidationError as error:
        raise ReportError(f"{name}: the signature inside is damaged") from error
    key = _public(found.public_key.encode(), f"{name}: the signature's key")
    try:
        key.verify(base64.b64decode(found.signature), signed)
    except InvalidSignature as error:
        raise ReportError(f"{name}: the signature does not belong to what is attached: one of both changed") from error
    return fingerprint_of(key)
