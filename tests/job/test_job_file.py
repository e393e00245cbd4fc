"""job.toml: what is wrong is named with its line; what is right survives writing, comments and all."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from job import Entry, JobError, Visit, open_job, save_job

DIGEST = "ab" * 32
GOOD = f"""# our own remark
format = "humproof-job"
version = 1

[visit]
number = "17"
opened = 2026-03-02  # a Monday
complaint = "whines"

[[recordings]]
file = "recordings/001-as-found-baseline.h5"
state = "as found"
sha256 = "{DIGEST}"

[[recordings]]
file = "recordings/002-as-left-baseline.h5"
state = "as left"
sha256 = "{DIGEST}"
"""


def write(folder: Path, text: str | bytes) -> Path:
    folder.mkdir(exist_ok=True)
    data = text.encode() if isinstance(text, str) else text
    (folder / "job.toml").write_bytes(data)
    return folder


def test_reads_what_is_right(tmp_path: Path) -> None:
    job = open_job(write(tmp_path / "job", GOOD))
    assert job.facts.visit == Visit(number="17", opened=date(2026, 3, 2), complaint="whines")
    assert [entry.state for entry in job.facts.recordings] == ["as found", "as left"]
    assert job.entries("as left")[0].file.endswith("002-as-left-baseline.h5")


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('state = "as left"', 'state = "afterwards"', 17, "recordings.2.state"),
        ('complaint = "whines"', 'complain = "whines"', 8, "is not a known key (did you mean 'complaint'?)"),
        ("version = 1", "version = 2", 3, "version 2 is not known"),
        (f'sha256 = "{DIGEST}"', 'sha256 = "abc"', 13, "recordings.1.sha256"),
        ("recordings/002-as-left-baseline.h5", "../../elsewhere.h5", 16, "does not lie in the job folder"),
        ('format = "humproof-job"', 'format = "other"', 2, "format"),
        ('number = "17"', "number = 17", 6, "visit.number"),
    ],
)
def test_names_the_line_of_what_is_wrong(tmp_path: Path, old: str, new: str, line: int, words: str) -> None:
    folder = write(tmp_path / "job", GOOD.replace(old, new, 1))
    with pytest.raises(JobError) as caught:
        open_job(folder)
    text = str(caught.value)
    assert words in text
    assert f"line {line}:" in text
    assert "\n" not in text
    assert "job.toml" in text


def test_syntax_error_has_its_line(tmp_path: Path) -> None:
    with pytest.raises(JobError, match=r"job\.toml: is not valid TOML.*line 6"):
        open_job(write(tmp_path / "job", GOOD.replace('number = "17"', "number = = 17")))


@pytest.mark.parametrize("data", [b"\xff\xfe\x00", b"", b"\x00" * 100, b"x = 1\n" * 10, b"[" * 5000])
def test_hostile_bytes_are_refused_in_one_line(tmp_path: Path, data: bytes) -> None:
    with pytest.raises(JobError) as caught:
        open_job(write(tmp_path / "job", data))
    assert "\n" not in str(caught.value)


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="larger than"):
        open_job(write(tmp_path / "job", b"#" * 5_000_000))


def test_writing_keeps_comments_and_everything_else(tmp_path: Path) -> None:
    job = open_job(write(tmp_path / "job", GOOD))
    more = Entry(file="recordings/003.h5", state="instrument floor", sha256=DIGEST, note="q")
    facts = job.facts.model_copy(update={"recordings": (*job.facts.recordings, more)})
    save_job(type(job)(job.folder, facts))
    text = job.file.read_text()
    assert "# our own remark" in text
    assert "# a Monday" in text
    assert open_job(job.folder).facts == facts
    assert [path.name for path in job.folder.iterdir()] == ["job.toml"]


def test_text_of_any_kind_comes_back_as_typed(tmp_path: Path) -> None:
    odd = 'quotes " and \\ back\nnew line\ttab \u2028 \u202e rtl 🚐 #hash [table] ='
    job = open_job(write(tmp_path / "job", GOOD))
    facts = job.facts.model_copy(update={"visit": Visit(complaint=odd, number="../../17")})
    save_job(type(job)(job.folder, facts))
    assert open_job(job.folder).facts.visit.complaint == odd


def test_a_file_that_cannot_be_replaced_stands_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = open_job(write(tmp_path / "job", GOOD))

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(JobError, match=r"No space left.*the old file stands"):
        save_job(job)
    assert job.file.read_text() == GOOD
    assert [path.name for path in job.folder.iterdir()] == ["job.toml"]
