"""One ZIP file with everything that a second shop needs: job, wiring, recordings, report, and how to check them."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from job import Job
from report._composed import ComposedReport
from report._digests import sha256
from report._errors import ReportError
from report._numbers_told import WIRING
from report._revision import ISSUED
from report._sealing import Sealed
from report._signature import SIGNATURE
from report._unpack import SUMS, unpack
from report._verification import Problem, Verification
from report._verify import Progress, check_report
from report._words import DIGEST_SENTENCE

REPORT = "report.pdf"
_README, _PUBLIC, _RAW = "README.txt", "public-key.pem", "signature.bin"
_BLOCK_BYTES = 1 << 20
_TEXT = f"""A bundle made by humproof: one vehicle's visit, so that anybody can check what the report says.

What is in it
  {REPORT}           the report
  job.toml             the job: order, vehicle, recordings with their SHA-256 digests, answers
  {WIRING}          the supply wiring as taken down (when there is one)
  {ISSUED}         the reports that were issued for this job
  recordings/          the sealed recordings: HDF5 files with raw samples, calibration, conditions
  humproof-*.json      what is attached inside the report too: digests and every number; the signature, if signed
  {SUMS}           SHA-256 of every file

How to check
  With humproof:           humproof verify THIS-FILE.zip
                           It compares all digests and recomputes every number from the raw samples.
  Files, on any computer:  unpack, stand in the folder, then: sha256sum -c {SUMS}   (macOS: shasum -a 256 -c {SUMS})
  Attachment of the PDF:   pdfdetach -saveall {REPORT}
  Signature, if signed:    openssl pkeyutl -verify -pubin -inkey {_PUBLIC} -rawin -in humproof-digests.json \\
                             -sigfile {_RAW}
                           The key's fingerprint, to be compared with what the shop gave you by another way:
                           openssl pkey -pubin -in {_PUBLIC} -outform DER | sha256sum

What that proves
  {DIGEST_SENTENCE}
"""


def check_bundle_target(target: Path) -> None:
    """Refuse early, and never write over what is not a ZIP file."""
    if target.is_dir():
        raise ReportError(f"{target}: is a folder; give the name of a ZIP file")
    if not target.parent.is_dir():
        raise ReportError(f"{target}: there is no folder {target.parent} to put it in")
    if target.exists() and not zipfile.is_zipfile(target):
        raise ReportError(f"{target}: exists and is not a ZIP file; it is left alone, choose another name")


def write_bundle(
    report: ComposedReport, target: Path, progress: Callable[[float], None] = lambda fraction: None
) -> Path:
    """Put a report that was written, and all that it was made from, into a ZIP file.

    Raises
    ------
    ReportError
        When a file was changed since the report was made, or the bundle cannot be written; nothing is half-written.
    """
    check_bundle_target(target)
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with part.open("w+b") as file:
            _fill(file, report, progress)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, target)
    except OSError as error:
        raise ReportError(
            f"{error.filename or target}: the bundle cannot be written: {error.strerror}; what stood there still stands"
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    progress(1.0)
    return target


def _fill(file: Any, report: ComposedReport, progress: Callable[[float], None]) -> None:
    assert report.sealed is not None
    when = report.sealed.seal.issued_utc.timetuple()[:6]
    sums: dict[str, str] = {}
    with zipfile.ZipFile(file, "w") as made:
        for name, data in _small(report, report.sealed):
            sums[name] = sha256(data)
            made.writestr(_entry(name, when, zipfile.ZIP_DEFLATED), data)
        entries = report.job.facts.recordings
        for index, entry in enumerate(entries):
            progress(index / len(entries))
            # They are packed already.
            with made.open(_entry(entry.file, when, zipfile.ZIP_STORED), "w", force_zip64=True) as member:
                sums[entry.file] = _copy(report.job.path(entry), member)
        made.writestr(_entry(SUMS, when, zipfile.ZIP_DEFLATED), _sums_text(sums))
    _check_unchanged(report.job, report.sealed, sums)


def _sums_text(sums: dict[str, str]) -> str:
    return "".join(f"{digest}  {name}\n" for name, digest in sums.items())


def _small(report: ComposedReport, sealed: Sealed) -> Iterator[tuple[str, bytes]]:
    yield _README, _TEXT.encode()
    yield REPORT, report.pdf
    for name in ("job.toml", WIRING, ISSUED):
        path = report.job.folder / name
        if path.is_file():
            yield name, path.read_bytes()
    yield from sealed.files.items()
    if sealed.signature:
        facts = json.loads(sealed.files[SIGNATURE])
        yield _PUBLIC, facts["public_key"].encode()
        yield _RAW, base64.b64decode(facts["signature"])


def _entry(name: str, when: tuple[int, ...], packing: int) -> zipfile.ZipInfo:
    year, *rest = when
    entry = zipfile.ZipInfo(name, (max(year, 1980), *rest))  # type: ignore[arg-type]
    entry.compress_type, entry.external_attr = packing, 0o100644 << 16
    return entry


def _copy(path: Path, member: Any) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(_BLOCK_BYTES):
            digest.update(block)
            member.write(block)
    return digest.hexdigest()


def _check_unchanged(job: Job, sealed: Sealed, sums: dict[str, str]) -> None:
    seal = sealed.seal
    wanted = {entry.file: entry.sha256 for entry in seal.recordings} | {"job.toml": seal.job_sha256}
    if seal.wiring_sha256:
        wanted[WIRING] = seal.wiring_sha256
    for name, digest in wanted.items():
        if sums.get(name) != digest:
            raise ReportError(f"{job.folder / name}: was changed since the report was made; make it again")


def check_bundle(
    bundle: Path, key: Path | None = None, progress: Progress = lambda fraction, text: None
) -> Verification:
    """Unpack a bundle into a temporary folder and check the report in it, its files, and every number.

    Raises
    ------
    ReportError
        When it is no bundle, is damaged, could do harm when unpacked, or has no report that can be read.
    """
    with tempfile.TemporaryDirectory(prefix="humproof-") as name:
        folder = Path(name).resolve()
        progress(0.0, "unpacking")
        members, problems = unpack(bundle, folder)
        if not (folder / REPORT).is_file():
            damaged = next((one.text for one in problems if f"'{REPORT}'" in one.text), None)
            raise ReportError(damaged or f"{bundle}: is not a bundle of humproof: there is no {REPORT}")
        try:
            found = check_report(folder / REPORT, folder, key, lambda part, text: progress(0.1 + 0.9 * part, text))
        except ReportError as error:
            raise ReportError(_named(str(error), folder, bundle)) from error
        return _of_bundle(found, bundle, folder, members, problems)


def _of_bundle(
    found: Verification, bundle: Path, folder: Path, members: tuple[str, ...], problems: list[Problem]
) -> Verification:
    """The same result in the words of the bundle; what could not be unpacked is told once."""
    lost = {str(folder / name) for name in found.files.recordings if name not in members}
    own = [
        Problem(one.kind, _named(one.text, folder, bundle))
        for one in found.problems
        if not (problems and one.kind == "recording missing" and one.text.partition(": ")[0] in lost)
    ]
    return Verification(
        target=bundle,
        seal=found.seal,
        files=found.files,
        recomputed=found.recomputed,
        problems=(*problems, *own),
        notes=tuple(_named(text, folder, bundle) for text in found.notes),
        fingerprint=found.fingerprint,
        members=len(members),
    )


def _named(text: str, folder: Path, bundle: Path) -> str:
    """Nobody knows the temporary folder: its files are those of the bundle."""
    return text.replace(f"{folder}{os.sep}", f"{bundle}: ").replace(str(folder), str(bundle))
