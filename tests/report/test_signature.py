"""The shop's key: what it signs another program confirms, and what cannot be used is refused in one line."""

from __future__ import annotations

import hashlib
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from report import ReportError, check_report, make_key, public_path, read_report_digests, read_signer
from report._signature import check_signature, read_public_fingerprint
from tests.report.sealed_jobs import Sealed, shared_jobs
from tests.report.tampering import signature_of
from tests.support import call_humproof


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Sealed:
    return shared_jobs(tmp_path_factory)[0]


def _openssl(*arguments: str | Path) -> subprocess.CompletedProcess[bytes]:
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    return subprocess.run(["openssl", *map(str, arguments)], capture_output=True, check=False)


def test_openssl_confirms_the_signature_and_the_fingerprint(job: Sealed, tmp_path: Path) -> None:
    """RFC 8032 as OpenSSL has it, on what any program finds attached."""
    signed, signature, public = signature_of(job.pdf)
    for name, data in (("signed", signed), ("signature", signature), ("public", public.encode())):
        (tmp_path / name).write_bytes(data)
    check = ["pkeyutl", "-verify", "-pubin", "-inkey", tmp_path / "public", "-rawin", "-in", tmp_path / "signed"]
    assert _openssl(*check, "-sigfile", tmp_path / "signature").returncode == 0
    (tmp_path / "signed").write_bytes(signed[:-2] + b" \n")
    assert _openssl(*check, "-sigfile", tmp_path / "signature").returncode != 0
    der = _openssl("pkey", "-pubin", "-in", job.public, "-outform", "DER").stdout
    assert (
        hashlib.sha256(der).hexdigest() == read_report_digests(job.pdf).signed_by == read_public_fingerprint(job.public)
    )


def test_the_vector_of_rfc_8032() -> None:
    """Section 7.1, TEST 2: one byte signed, as an attachment of ours would carry it."""
    import base64
    import json

    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from report._signature import Signer

    key = Ed25519PrivateKey.from_private_bytes(
        bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
    )
    made = Signer(key).sign(b"\x72", "name")
    wanted = (
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
    )
    assert base64.b64decode(json.loads(made)["signature"]).hex() == wanted
    assert check_signature(b"\x72", made, "name") == Signer(key).fingerprint
    with pytest.raises(ReportError, match="does not belong"):
        check_signature(b"\x73", made, "name")


def test_openssl_makes_keys_that_can_be_used(tmp_path: Path) -> None:
    key = tmp_path / "shop.key"
    assert _openssl("genpkey", "-algorithm", "ed25519", "-out", key).returncode == 0
    assert len(read_signer(key, tmp_path / "job").fingerprint) == 64


def test_the_fingerprint_is_printed_and_told(job: Sealed) -> None:
    import pypdf

    from report import grouped

    fingerprint = read_public_fingerprint(job.public)
    pages = "".join(page.extract_text() for page in pypdf.PdfReader(job.pdf).pages)
    assert "".join(grouped(fingerprint).split()) in "".join(pages.split())
    assert "does not prove who that was" in " ".join(pages.split())
    assert any(grouped(fingerprint) in note for note in check_report(job.pdf).notes)


def test_keys_are_locked_private_and_never_written_over(tmp_path: Path) -> None:
    key = tmp_path / "shop.key"
    fingerprint = make_key(key, "pass ß")
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert b"ENCRYPTED" in key.read_bytes()
    assert read_signer(key, tmp_path / "job", lambda: "pass ß").fingerprint == fingerprint
    old = key.read_bytes()
    with pytest.raises(ReportError, match="never written over"):
        make_key(key)
    assert key.read_bytes() == old
    key.unlink()
    with pytest.raises(ReportError, match="never written over"):
        make_key(key)
    assert not key.exists()


def test_a_key_that_others_may_read_is_warned_of(tmp_path: Path) -> None:
    key = tmp_path / "shop.key"
    make_key(key)
    assert read_signer(key, tmp_path / "job").warnings == ()
    key.chmod(0o644)
    [warning] = read_signer(key, tmp_path / "job").warnings
    assert warning.startswith(f"{key}: ")
    assert "chmod 600" in warning


def test_keys_that_cannot_be_used_are_refused(job: Sealed, tmp_path: Path) -> None:
    locked, text = tmp_path / "locked", tmp_path / "text"
    make_key(locked, "right")
    text.write_text("no key")
    inside = Path(shutil.copytree(job.folder, tmp_path / "job")) / "inside.key"
    shutil.copy(locked, inside)
    rsa = tmp_path / "rsa"
    _openssl("genpkey", "-algorithm", "x25519", "-out", rsa)
    cases = [
        (lambda: read_signer(locked, job.folder, lambda: "wrong"), f"{locked}: .*password is wrong"),
        (lambda: read_signer(locked, job.folder), f"{locked}: .*password is wrong"),
        (lambda: read_signer(text, job.folder), f"{text}: is not a private key"),
        (lambda: read_signer(public_path(locked), job.folder), "is not a private key"),
        (lambda: read_signer(inside, inside.parent), "lies in the job"),
        (lambda: read_signer(tmp_path / "none", job.folder), "no such key file"),
        (lambda: read_signer(rsa, job.folder), "another kind than Ed25519"),
        (lambda: read_public_fingerprint(locked), "is a private key; give the public one"),
        (lambda: read_public_fingerprint(text), "is not a public key"),
    ]
    for call, words in cases:
        with pytest.raises(ReportError, match=words) as caught:
            call()
        assert "\n" not in str(caught.value)


def test_no_key_is_made_within_a_job(job: Sealed) -> None:
    for place in (job.folder / "shop.key", job.folder / "recordings" / "shop.key"):
        with pytest.raises(ReportError, match="lies in the job, which is handed on; keep the key elsewhere"):
            make_key(place, "")
        assert not place.exists()


def test_the_commands(job: Sealed, tmp_path: Path) -> None:
    key = tmp_path / "shop.key"
    password = {"HUMPROOF_KEY_PASSWORD": "right"}
    made = call_humproof("report", "--new-key", key, env=password)
    assert made.returncode == 0, made.stderr
    assert "fingerprint" in made.stdout
    refused = call_humproof("report", job.folder, "-o", tmp_path / "x.pdf", "--sign", key)
    assert refused.returncode == 1
    assert "password is wrong" in refused.stderr
    refused = call_humproof("report", job.folder, "-o", tmp_path / "x.html", "--sign", key, env=password)
    assert refused.returncode == 1
    assert "only a PDF can be signed" in refused.stderr
    assert not list(tmp_path.glob("x.*"))
