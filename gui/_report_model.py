"""What the report sheet shows, and the sums behind its zoom. Knows no Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from gui._settings import ReportKind
from gui._words import tr
from report import Issue, LeftOut, Paper, ReportDigests, Signer, grouped, printable, shop_file_place

#: dots per inch of the screen that a page may be shown at
SMALLEST, LARGEST = 30.0, 400.0
STEP = 1.25
#: what all pages together may take as pictures
MOST_PIXELS = 150e6

Inches = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Pages:
    """The pages as PNG pictures, all at the same resolution."""

    pictures: tuple[bytes, ...]
    dots_per_inch: float


@dataclass(frozen=True, slots=True)
class ReportScreen:
    """Everything that is shown of one document."""

    pages: Pages
    headline: str
    left_out: tuple[str, ...]
    issued: IssuedShown
    shop: ShopShown


@dataclass(frozen=True, slots=True)
class IssuedShown:
    """Which revision the pages are, and what was issued before, the newest first."""

    revision: str
    rows: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ShopShown:
    """What the shop's file says, for the first entries of the choosers, and why it is not used."""

    size: str
    units: str
    where: str
    trouble: str


@dataclass(frozen=True, slots=True)
class KeyShown:
    """Whether and with which key reports are signed."""

    text: str
    #: in groups of eight; empty where no key is open
    fingerprint: str = ""
    warnings: tuple[str, ...] = ()
    #: a key is chosen, but not open yet
    locked: bool = False
    chosen: bool = True


@dataclass(frozen=True, slots=True)
class SaveKind:
    """One form in which a report is saved; `suffix` is empty for a folder."""

    name: ReportKind
    words: str
    suffix: str
    tip: str


def save_kinds() -> tuple[SaveKind, ...]:
    """All of them, in the user's language."""
    return (
        SaveKind("pdf", tr("PDF"), ".pdf", tr("The document for the customer")),
        SaveKind("html", tr("Web page"), ".html", tr("One file for sending by message; it cannot be signed")),
        SaveKind("csv", tr("Table of figures"), ".csv", tr("All figures for a spreadsheet")),
        SaveKind("clips", tr("Clips to listen to"), "", tr("Before and after at one gain, into a folder")),
        SaveKind("bundle", tr("Bundle to check"), ".zip", tr("Job, recordings and report in one ZIP file")),
    )


def kind_named(name: str) -> SaveKind:
    """The kind of that name."""
    return next(kind for kind in save_kinds() if kind.name == name)


def size_words(size: str) -> str:
    """A sheet of paper."""
    return {"a4": tr("A4"), "letter": tr("US Letter")}[size]


def units_words(units: str) -> str:
    """As the preferences call them."""
    return {"metric": tr("metric: mm², m, °C"), "us": tr("US: AWG, ft, °F")}[units]


def shop_shown(shop: Paper, trouble: str) -> ShopShown:
    """What the shop's file gives to the choosers."""
    place = shop_file_place()
    if trouble:
        where = ""
    elif place.is_file():
        where = tr("Letterhead, limits and the rest: {place}", place=place)
    else:
        where = tr("There is no file of the shop (letterhead, limits) yet; its place is {place}", place=place)
    why = tr("! The shop's file is not used: {why}", why=trouble) if trouble else ""
    return ShopShown(size_words(shop.size), units_words(shop.units), where, why)


def issued_shown(seal: ReportDigests | None, issued: Sequence[Issue]) -> IssuedShown:
    """Words on a document's revision, and a row for each that was issued."""
    return IssuedShown(_revision(seal, issued), tuple(map(_issue, reversed(issued))))


def _revision(seal: ReportDigests | None, issued: Sequence[Issue]) -> str:
    if seal is None:
        return ""
    old, number = seal.replaces, seal.revision
    if any(one.revision == number for one in issued):
        text = tr("Revision {number}, as it was issued: nothing has changed since.", number=number)
    elif old is None:
        return tr("Revision {number}: none was issued before.", number=number)
    else:
        text = tr("Revision {number}: not issued yet.", number=number)
    if old is None:
        return text
    when = f"{old.issued_utc:%Y-%m-%d %H:%M}"
    return " ".join((text, tr("It takes the place of revision {old} of {when} UTC.", old=old.revision, when=when)))


def _issue(one: Issue) -> str:
    when = f"{one.issued_utc:%Y-%m-%d %H:%M}"
    text = tr("Revision {number}, {when} UTC", number=one.revision, when=when)
    signed = tr("signed, key {beginning} …", beginning=one.signed_by[:8]) if one.signed_by else tr("not signed")
    return f"{text}\n{printable(one.file)}\n{signed}"


def no_key() -> KeyShown:
    """Reports are not signed."""
    return KeyShown(tr("Reports are not signed: no key is chosen."), chosen=False)


def locked_key(path: Path) -> KeyShown:
    """A key that nobody opened yet."""
    return KeyShown(tr("! Not signed yet: the key {path} is not open.", path=path), locked=True)


def open_key(path: Path, signer: Signer) -> KeyShown:
    """A key that signs."""
    text = tr("Reports are signed with {path}", path=path)
    return KeyShown(text, grouped(signer.fingerprint), signer.warnings)


def left_out_text(one: LeftOut) -> str:
    """What, why, and what helps, each on a line of its own."""
    lines = [one.what, tr("because: {why}", why=one.why)]
    return "\n".join([*lines, tr("to mend it: {remedy}", remedy=one.remedy)] if one.remedy else lines)


def fitting_width(sizes: Sequence[Inches], room: float, margin: float) -> float:
    """Dots per inch at which the widest page takes the room between two margins, in pixels."""
    widest = max((width for width, _ in sizes), default=8.27)
    return _within((room - 2 * margin) / max(widest, 0.01))


def fitting_page(sizes: Sequence[Inches], room: tuple[float, float], margin: float) -> float:
    """Dots per inch at which any page is seen whole."""
    highest = max((height for _, height in sizes), default=11.69)
    return min(fitting_width(sizes, room[0], margin), _within((room[1] - 2 * margin) / max(highest, 0.01)))


def zoomed(dots_per_inch: float, direction: int) -> float:
    """One step nearer (1) or farther (-1)."""
    return _within(dots_per_inch * STEP**direction)


def _within(dots_per_inch: float) -> float:
    return min(max(dots_per_inch, SMALLEST), LARGEST)


def drawn_at(dots_per_inch: float, sizes: Sequence[Inches]) -> float:
    """The resolution to draw pages at, in whole dots: many large pages are drawn coarser, lest they fill the memory."""
    area = sum(width * height for width, height in sizes)
    most = (MOST_PIXELS / area) ** 0.5 if area else dots_per_inch
    return float(round(max(min(dots_per_inch, most), SMALLEST)))
