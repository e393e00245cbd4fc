"""Ways to tamper with a report, its job or its bundle, each with what a check must call it and what it may add."""

from __future__ import annotations

import base64
import hashlib
import json
import random
import re
import shutil
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pypdf
from pypdf import generic

from report import ReportError, Verification, check_bundle, check_report
from report._sealing import seal_words, typeset_sealed
from tests.report.sealed_jobs import Sealed

ATTACHMENT = "humproof-digests.json"


@dataclass(frozen=True)
class Named:
    """What a check must say: of these kinds at least one problem each, and of no others but `perhaps`."""

    kinds: frozenset[str]
    #: which words the first of them must have
    words: str = ""
    perhaps: frozenset[str] = frozenset()
    #: a refusal with these words will do instead
    refusal: str = ""


Tampering = Callable[[random.Random, Sealed, Sealed], Named]
_FOLLOWING = frozenset({"number differs", "not recomputed"})


def _flip(path: Path, chance: random.Random, first: int = 0) -> None:
    data = bytearray(path.read_bytes())
    data[chance.randrange(first, len(data))] ^= 1 << chance.randrange(8)
    path.write_bytes(data)


def _kinds(*kinds: str) -> frozenset[str]:
    return frozenset(kinds)


def flipped_bit(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    path = chance.choice(sorted((job.folder / "recordings").iterdir()))
    _flip(path, chance)
    return Named(_kinds("recording changed"), f"{path}: ", _FOLLOWING)


def changed_byte_of_the_job(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    path = job.folder / "job.toml"
    data = bytearray(path.read_bytes())
    place = chance.randrange(len(data))
    data[place] = chance.choice([byte for byte in range(32, 127) if byte != data[place]])
    path.write_bytes(data)
    return Named(_kinds("job changed"), f"{path}: ", _FOLLOWING)


def changed_byte_of_the_wiring(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    path = job.folder / "wiring.toml"
    _flip(path, chance)
    return Named(_kinds("wiring changed"), f"{path}: ", _FOLLOWING)


def swapped_recordings(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    one, two = chance.sample(sorted((job.folder / "recordings").iterdir()), 2)
    spare = job.folder / "spare"
    one.rename(spare)
    two.rename(one)
    spare.rename(two)
    return Named(_kinds("recording swapped"), f"{min(one, two)}: ", _FOLLOWING)


def recording_of_another_job(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    name = chance.choice(sorted(path.name for path in (job.folder / "recordings").iterdir()))
    shutil.copy(other.folder / "recordings" / name, job.folder / "recordings" / name)
    return Named(_kinds("recording changed"), name, _FOLLOWING)


def missing_recording(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    path = chance.choice(sorted((job.folder / "recordings").iterdir()))
    path.unlink()
    return Named(_kinds("recording missing"), f"{path}: ")


def report_of_another_job(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    shutil.copy(other.pdf, job.pdf)
    return Named(_kinds("another job"), f"{job.folder / 'job.toml'}: ")


def wrong_key(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    shutil.copy(other.public, job.public)
    return Named(_kinds("another key"), f"{job.pdf}: ")


def saved_anew(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    writer = pypdf.PdfWriter(clone_from=str(job.pdf))
    if chance.random() < 0.5:
        writer.compress_identical_objects()
    writer.write(job.pdf)
    return Named(_kinds("saved anew"), f"{job.pdf}: ")


def one_byte_of_the_pdf(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    _flip(job.pdf, chance, 8)
    both = _kinds("saved anew", "attachment changed", "pages changed", "signature broken", "not issued")
    return Named(_kinds("PDF changed"), f"{job.pdf}: ", both | _FOLLOWING, refusal=f"{job.pdf}: ")


def cut_short(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    data = job.pdf.read_bytes()
    job.pdf.write_bytes(data[: chance.randrange(20, len(data) - 6)])
    return Named(frozenset(), refusal=f"{job.pdf}: is cut short")


def changed_page(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """A page's drawing is changed, and the file made to look as if it had been issued like that."""
    writer = pypdf.PdfWriter(clone_from=str(job.pdf))
    page = chance.choice(writer.pages)
    more = generic.DecodedStreamObject()
    more.set_data(page.get_contents().get_data() + b"\n0 0 1 rg 99 99 9 9 re f")
    page[generic.NameObject("/Contents")] = writer._add_object(more)
    writer.write(job.pdf)
    job.pdf.write_bytes(as_if_issued(job.pdf.read_bytes()))
    return Named(_kinds("pages changed", "PDF changed"), f"{job.pdf}: ")


def changed_attachment(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """One number printed otherwise; whoever did it did not know of the digests."""

    def change(seal: dict[str, Any]) -> None:
        number = chance.choice(seal["numbers"])
        number["printed"] = number["printed"].translate(str.maketrans("0123456789", "1234567890"))

    change_attachment(job.pdf, change)
    return Named(_kinds("attachment changed", "saved anew", "signature broken", "number differs"), f"{job.pdf}: ")


def clever_attachment(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """A number in full is changed by somebody who makes every digest fit, and takes the signature out."""

    def change(seal: dict[str, Any]) -> None:
        number = chance.choice([one for one in seal["numbers"] if one["value"]])
        number["value"] *= 1.01

    make_fit(job.pdf, change)
    named = "number differs", "not issued", "not signed"
    return Named(_kinds(*named), f"{job.pdf}: ")


def numbers_left_out(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """One number, all of a source or the whole list is taken out, every digest fits, and nothing tells of the issue."""
    (job.folder / "reports.toml").unlink()

    def change(seal: dict[str, Any]) -> None:
        one = chance.choice(seal["numbers"])
        left = [number for number in seal["numbers"] if number["source"] != one["source"]]
        seal["numbers"] = chance.choice([[number for number in seal["numbers"] if number != one], left, []])

    make_fit(job.pdf, change)
    return Named(_kinds("number missing", "not signed"), "the report's list leaves ")


def recording_left_out(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """A recording is taken out of the list, with all numbers and comparisons that come of it; again everything fits."""
    (job.folder / "reports.toml").unlink()

    def change(seal: dict[str, Any]) -> None:
        file = chance.choice(seal["recordings"])["file"]
        seal["recordings"] = [one for one in seal["recordings"] if one["file"] != file]
        seal["numbers"] = [one for one in seal["numbers"] if file not in one["source"]]
        sheets = [one for one in seal["sheets"] if file not in one["sides"].values()]
        seal["sheets"] = [one | {"floor": None if one["floor"] == file else one["floor"]} for one in sheets]

    make_fit(job.pdf, change)
    perhaps = _kinds("number differs", "number missing", "not recomputed")
    return Named(_kinds("attachment changed", "not signed"), f"{job.folder / 'job.toml'}: ", perhaps)


def wiring_left_out(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """The wiring is taken out, with its digest; the file still lies there."""
    (job.folder / "reports.toml").unlink()

    def change(seal: dict[str, Any]) -> None:
        seal["numbers"] = [one for one in seal["numbers"] if not one["source"].startswith("wiring.toml")]
        seal["wiring_sha256"] = None

    make_fit(job.pdf, change)
    return Named(_kinds("wiring changed", "not signed"), f"{job.folder / 'wiring.toml'}: ")


def number_redrawn(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """One number is drawn otherwise on the pages and nothing else; all digests fit, and nothing tells of the issue."""
    (job.folder / "reports.toml").unlink()
    redraw(job, lambda data: _redrawn(data, chance))
    return Named(_kinds("number not listed", "not signed"), f"{job.pdf}: page ")


_DRAWN = re.compile(
    r"\d[\d.]*(?=\s±\s\d)|(?<=\d\s±\s)\d[\d.]*|(?<=zero\s±\s)\d[\d.]*|(?<=scale\s±\s)\d[\d.]*|(?<=[+−])\d+\.\d(?=\sdB)"
)


def _redrawn(data: dict[str, Any], chance: random.Random) -> None:
    """One digit of one number, wherever it is printed, so that it is none of the others."""
    texts = set(_texts(data))
    old = new = chance.choice(sorted(text for text in texts if _DRAWN.search(text)))
    while new in texts:
        number = chance.choice(list(_DRAWN.finditer(old)))
        place = chance.choice([at for at in range(*number.span()) if old[at] != "."])
        new = f"{old[:place]}{(int(old[place]) + chance.randint(1, 9)) % 10}{old[place + 1 :]}"
    _exchange(data, old, new)


def _texts(thing: Any) -> Iterator[str]:
    """All but what is only read aloud."""
    parts = [one for key, one in thing.items() if key != "alt"] if isinstance(thing, dict) else thing
    for one in parts if isinstance(parts, list) else ():
        if isinstance(one, str):
            yield one
        yield from _texts(one)


def _exchange(thing: Any, old: str, new: str) -> None:
    """Every place where a text stands."""
    for key in list(thing) if isinstance(thing, dict) else range(len(thing)) if isinstance(thing, list) else ():
        if thing[key] == old:
            thing[key] = new
        _exchange(thing[key], old, new)


def signature_taken_out(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    change_attachment(job.pdf, lambda seal: None, signed=False)
    return Named(_kinds("signature broken", "saved anew"), f"{job.pdf}: ")


def signed_by_another(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """The other shop's signature is put in place of the right one."""
    foreign = pypdf.PdfReader(str(other.pdf)).attachments["humproof-signature.json"][0]
    change_attachment(job.pdf, lambda seal: None, signature=foreign)
    return Named(_kinds("signature broken", "saved anew"), f"{job.pdf}: ")


def changed_member(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """A file of the bundle is another one, the bundle packed anew."""
    names = zipfile.ZipFile(job.bundle).namelist()
    name = chance.choice([name for name in names if name not in ("SHA256SUMS", "report.pdf")])

    def change(data: bytes) -> bytes:
        return data + b"\n" if name.endswith(".toml") else data[:-9] + bytes([data[-9] ^ 4]) + data[-8:]

    repack(job.bundle, {name: change})
    perhaps = _kinds("job changed", "wiring changed", "recording changed", "not issued") | _FOLLOWING
    return Named(_kinds("bundle changed"), f"{job.bundle}: '{name}' was changed", perhaps)


def missing_member(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    names = [name for name in zipfile.ZipFile(job.bundle).namelist() if name not in ("SHA256SUMS", "report.pdf")]
    name = chance.choice(names)
    repack(job.bundle, {name: lambda data: None})
    return Named(_kinds("bundle changed"), f"{job.bundle}: '{name}' is missing", _kinds("recording missing"))


def flipped_bit_of_the_bundle(chance: random.Random, job: Sealed, other: Sealed) -> Named:
    """Within the packed bytes of a file of the bundle."""
    with zipfile.ZipFile(job.bundle) as packed:
        info = chance.choice(packed.infolist())
    data = bytearray(job.bundle.read_bytes())
    start = info.header_offset + 30 + int.from_bytes(data[info.header_offset + 26 :][:2], "little")
    start += int.from_bytes(data[info.header_offset + 28 :][:2], "little")
    data[start + chance.randrange(info.compress_size)] ^= 1 << chance.randrange(8)
    job.bundle.write_bytes(data)
    words = f"{job.bundle}: '{info.filename}' is damaged"
    return Named(_kinds("bundle changed"), words, _kinds("not issued"), refusal=words)


#: of the report in its folder, then of the bundle
TAMPERINGS: dict[Tampering, bool] = {
    flipped_bit: False,
    changed_byte_of_the_job: False,
    changed_byte_of_the_wiring: False,
    swapped_recordings: False,
    recording_of_another_job: False,
    missing_recording: False,
    report_of_another_job: False,
    wrong_key: False,
    saved_anew: False,
    one_byte_of_the_pdf: False,
    cut_short: False,
    changed_page: False,
    changed_attachment: False,
    clever_attachment: False,
    numbers_left_out: False,
    recording_left_out: False,
    wiring_left_out: False,
    number_redrawn: False,
    signature_taken_out: False,
    signed_by_another: False,
    changed_member: True,
    missing_member: True,
    flipped_bit_of_the_bundle: True,
}


def tampered(seed: int, job: Sealed, other: Sealed, place: Path) -> tuple[str, Named, Verification | str]:
    """Copy a job, tamper with the copy by a seed, check it: what was done, what must be said, what was said."""
    chance = random.Random(seed)
    how = list(TAMPERINGS)[seed % len(TAMPERINGS)]
    own = copied(job, place)
    named = how(chance, own, other)
    key = own.public if how not in (report_of_another_job,) else None
    try:
        found = check_bundle(own.bundle, key) if TAMPERINGS[how] else check_report(own.pdf, key=key)
    except ReportError as error:
        return how.__name__, named, str(error)
    return how.__name__, named, found


def check_named(how: str, named: Named, found: Verification | str) -> None:
    """What was said is what must be said, and nothing that is not so."""
    if isinstance(found, str):
        assert named.refusal, (how, found)
        assert found.startswith(named.refusal), (how, found)
        return
    told = [(one.kind, one.text) for one in found.problems]
    kinds = {kind for kind, _ in told}
    assert named.kinds, (how, told)
    assert kinds >= named.kinds, (how, told)
    assert kinds <= named.kinds | named.perhaps, (how, told)
    assert any(kind in named.kinds and named.words in text for kind, text in told), (how, told)
    assert all("\n" not in text for _, text in told), (how, told)


def copied(job: Sealed, place: Path) -> Sealed:
    folder = place / job.folder.name
    shutil.copytree(job.folder, folder)
    return Sealed(folder, Path(shutil.copy(job.bundle, place)), Path(shutil.copy(job.public, place)), job.report)


# ---------------------------------------------------------------- tools


def seal_digest(seal: dict[str, Any]) -> str:
    """The digest of a seal over itself, as docs/proof.md describes it."""
    rest = {key: value for key, value in seal.items() if key != "seal_sha256"}
    return hashlib.sha256(json.dumps(rest, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def as_if_issued(pdf: bytes) -> bytes:
    """A PDF with a fitting digest of itself, as docs/proof.md describes it."""
    bare = re.sub(rb"% humproof: SHA-256 of this file without this line: [0-9a-f]{64}\n", b"", pdf)
    head, mark, end = bare.rpartition(b"startxref")
    line = b"% humproof: SHA-256 of this file without this line: " + hashlib.sha256(bare).hexdigest().encode() + b"\n"
    return head + line + mark + end


def change_attachment(
    pdf: Path, change: Callable[[dict[str, Any]], None], *, signed: bool = True, signature: bytes | None = None
) -> None:
    """Write the PDF anew with another attachment and everything else as it was."""
    attached = pypdf.PdfReader(str(pdf)).attachments
    seal = json.loads(attached[ATTACHMENT][0])
    old = json.dumps(seal)
    change(seal)
    data = attached[ATTACHMENT][0] if json.dumps(seal) == old else json.dumps(seal, ensure_ascii=False).encode()
    writer = pypdf.PdfWriter(clone_from=str(pdf))
    names = writer._root_object["/Names"]
    names[generic.NameObject("/EmbeddedFiles")] = generic.DictionaryObject(
        {generic.NameObject("/Names"): generic.ArrayObject()}
    )
    writer.add_attachment(ATTACHMENT, data)
    if signed:
        writer.add_attachment("humproof-signature.json", signature or attached["humproof-signature.json"][0])
    writer.write(pdf)


def make_fit(pdf: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """Change the attachment as somebody does who knows all digests, and takes the signature out."""

    def fitting(seal: dict[str, Any]) -> None:
        change(seal)
        seal["signed_by"] = None
        seal["seal_sha256"] = seal_digest(seal)

    change_attachment(pdf, fitting, signed=False)
    pdf.write_bytes(as_if_issued(pdf.read_bytes()))


def redraw(job: Sealed, change: Callable[[dict[str, Any]], None]) -> None:
    """Typeset a report's pages anew with other data, and seal them with its true numbers, unsigned."""
    report = job.report
    assert report.sealed
    data = json.loads(json.dumps(report.data))
    change(data)
    seal = report.sealed.seal.model_copy(update={"signed_by": None})
    files = {name: content for name, content in report.files.items() if name not in report.sealed.files}
    job.pdf.write_bytes(typeset_sealed(data | seal_words(seal), files, seal, None)[0])


def repack(bundle: Path, changes: dict[str, Callable[[bytes], bytes | None]]) -> None:
    """Pack a bundle anew; a change that gives None leaves the file out."""
    with zipfile.ZipFile(bundle) as old:
        files = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(bundle, "w") as new:
        for name, data in files.items():
            kept = changes[name](data) if name in changes else data
            if kept is not None:
                new.writestr(name, kept)


def signature_of(pdf: Path) -> tuple[bytes, bytes, str]:
    """What was signed, the raw signature, and the public key in PEM form."""
    attached = pypdf.PdfReader(str(pdf)).attachments
    facts = json.loads(attached["humproof-signature.json"][0])
    return attached[ATTACHMENT][0], base64.b64decode(facts["signature"]), facts["public_key"]
