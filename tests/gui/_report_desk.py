"""A report controller without Qt: its view, its askers, a visit that tells it of changes; and quick documents."""

import struct
import zlib
from pathlib import Path

import pytest

from gui._load import Library, open_views
from gui._report_controller import ReportAskers, ReportController
from gui._settings import SettingsFile
from gui._visit import Visit
from job import open_job
from report import PLAIN_PAPER, ComposedReport, Paper, Signer
from report._composed import stamps_of
from tests.gui._askers import ByHand, Notes


class Desk:
    """A report controller, its view and its four askers; a visit that tells it of changes."""

    def __init__(self, folder: Path) -> None:
        self.view, self.composer, self.painter, self.writer, self.opener = Notes(), *(ByHand() for _ in range(4))
        self.settings = SettingsFile(folder / "window.json")
        askers = ReportAskers(self.composer, self.painter, self.writer, self.opener)
        self.controller = ReportController(self.view, askers, Library(), self.settings)
        self.visit = Visit()
        self.visit.watch(self.controller.put)

    def open(self, folder: Path) -> None:
        self.visit.put(open_views(folder))

    def draw(self, folder: Path) -> "Desk":
        """Open a job and draw its pages."""
        self.open(folder)
        self.controller.entered()
        self.composer.finish()
        return self

    def change(self, complaint: str) -> None:
        facts = self.visit.job.facts
        facts = facts.model_copy(update={"visit": facts.visit.model_copy(update={"complaint": complaint})})
        self.visit.change("change the complaint", facts)


def png(width: int = 83, height: int = 117) -> bytes:
    """A grey page (PNG specification, 3rd edition: signature, header, data, end)."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress((b"\0" + b"\xc0" * width) * height)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def quick_document(
    folder: Path, progress=None, study=None, signer: Signer | None = None, paper: Paper = PLAIN_PAPER
) -> ComposedReport:
    """A document of one dot that tells its complaint, paper and signer: composed at once."""
    job = open_job(folder)
    words = (job.facts.visit.complaint, paper.size, paper.units, signer.fingerprint if signer else "unsigned")
    return ComposedReport(job, f"%PDF-{' '.join(words)}".encode(), "", (), False, stamps_of(job), {}, {})


def make_quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Use such documents, for whatever is not about the pages."""
    monkeypatch.setattr("gui._report_compose.compose_report", quick_document)
    monkeypatch.setattr("report._composed.typeset_pictures", lambda data, files, dots: (png(),))
