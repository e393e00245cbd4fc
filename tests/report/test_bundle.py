"""The bundle: everything recomputed from the ZIP alone, and what could do harm is refused."""

from __future__ import annotations

import dataclasses
import json
import shutil
import stat
import subprocess
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from job import open_job
from report import ReportError, check_bundle, numbers_json, write_bundle
from tests.report.sealed_jobs import Sealed, shared_jobs
from tests.support import call_humproof, run_humproof


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Sealed:
    return shared_jobs(tmp_path_factory)[0]


def test_another_shop_recomputes_the_same_bytes_from_the_zip_alone(job: Sealed, tmp_path: Path) -> None:
    """The job's folder is out of reach; the program runs in a process and a folder of its own."""
    bundle = Path(shutil.copy(job.bundle, tmp_path / "van.zip"))
    done = run_humproof("verify", bundle, "--json", cwd=tmp_path, env={"HOME": str(tmp_path)})
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["problems"] == []
    assert told["numbers"]["recomputed"] == told["numbers"]["listed"] > 100
    assert str(job.folder) not in done.stdout
    found = check_bundle(bundle, job.public)
    now = {one.key: one for one in found.recomputed.numbers}
    listed = json.dumps(numbers_json(found.seal.numbers))
    assert json.dumps(numbers_json([now[one.key] for one in found.seal.numbers])) == listed


FOUND, LEFT, FLOOR = (f"recordings/{name}.h5" for name in ("001-as-found", "002-as-left", "003-instrument-floor"))


@pytest.mark.parametrize(
    "command",
    [
        *(("analyse", name) for name in (FOUND, LEFT, FLOOR)),
        ("compare", FOUND, LEFT),
        ("compare", FOUND, LEFT, "--floor", FLOOR),
        ("wiring", "wiring.toml"),
        ("diagnose", "."),
    ],
    ids=" ".join,
)
def test_the_unpacked_zip_gives_every_command_the_same_bytes(
    command: tuple[str, ...], job: Sealed, tmp_path: Path
) -> None:
    """Another folder, and a home with nothing in it: no setting, nothing kept of what was worked out before."""
    out, home = tmp_path / "out", tmp_path / "home"
    home.mkdir()
    with zipfile.ZipFile(job.bundle) as packed:
        packed.extractall(out)
    empty = {"HOME": str(home)} | {f"XDG_{name}_HOME": str(home / name) for name in ("CACHE", "CONFIG", "DATA")}
    own = call_humproof(*command, "--json", cwd=job.folder, check=True).stdout
    theirs = call_humproof(*command, "--json", cwd=out, env=empty, check=True).stdout
    assert own == theirs
    assert len(json.loads(own)) >= 3


def test_any_computer_can_compare_the_digests(job: Sealed, tmp_path: Path) -> None:
    if shutil.which("sha256sum") is None:
        pytest.skip("sha256sum is not installed")
    with zipfile.ZipFile(job.bundle) as packed:
        packed.extractall(tmp_path)
        names = set(packed.namelist())
    checked = subprocess.run(
        ["sha256sum", "-c", "--strict", "SHA256SUMS"], cwd=tmp_path, capture_output=True, text=True
    )
    assert checked.returncode == 0, checked.stdout
    assert checked.stdout.count(": OK") == len(names) - 1
    readme = (tmp_path / "README.txt").read_text(encoding="utf-8")
    for name in ("humproof verify", "SHA256SUMS", "job.toml", "openssl"):
        assert name in readme
    if shutil.which("openssl"):
        line = " ".join(readme.partition("openssl pkeyutl")[2].split("\n\n")[0].split("The key's")[0].split())
        command = ["openssl", "pkeyutl", *line.replace("\\", " ").split()]
        assert subprocess.run(command, cwd=tmp_path, capture_output=True).returncode == 0


def _packed(path: Path, *members: tuple[str | zipfile.ZipInfo, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in members:
            made.writestr(name, data)
    return path


def _link(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.create_system, info.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    return info


@pytest.mark.parametrize(
    "make, words",
    [
        (lambda path: _packed(path, ("../out.txt", b"x")), "has a file with the name '../out.txt'"),
        (lambda path: _packed(path, ("a/../../out.txt", b"x")), "has a file with the name"),
        (lambda path: _packed(path, ("/out.txt", b"x")), "has a file with the name"),
        (lambda path: _packed(path, ("a\\..\\out.txt", b"x")), "has a file with the name"),
        (lambda path: _packed(path, ("C:out.txt", b"x")), "has a file with the name"),
        (lambda path: _packed(path, ("a\x1b[2J", b"x")), "has a file with the name"),
        (lambda path: _packed(path, (_link("report.pdf"), b"/etc/hostname")), "no plain file"),
        (lambda path: _packed(path, ("A.txt", b"x"), ("a.TXT", b"y")), "names a file twice"),
        (lambda path: _packed(path, *((f"{index}", b"") for index in range(10_001))), "more than 10000 files"),
        (lambda path: _packed(path, ("report.pdf", bytes(40_000_000))), "would grow to 40000000 bytes"),
        (lambda path: _packed(path, ("else.txt", b"x")), "is not a bundle of humproof"),
        (lambda path: path.write_bytes(b"PK\x03\x04 and nothing more") and path, "is not a ZIP file"),
        (lambda path: path.with_name("none.zip"), "there is no such file"),
    ],
)
def test_what_could_do_harm_is_refused(make: Callable[[Path], Path], words: str, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    path = make(tmp_path / "in" / "made.zip")
    with pytest.raises(ReportError) as caught:
        check_bundle(path)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert not list(tmp_path.rglob("out.txt"))


def test_a_file_that_lies_in_the_way_of_others_is_damage(job: Sealed, tmp_path: Path) -> None:
    path = _packed(tmp_path / "made.zip", ("report.pdf", b"x"), ("report.pdf/a", b"y"))
    with pytest.raises(ReportError, match=r"made\.zip: "):
        check_bundle(path)


def test_nothing_is_written_over_that_is_no_bundle(job: Sealed, tmp_path: Path) -> None:
    (tmp_path / "text.zip").write_text("mine")
    for target, words in ((tmp_path / "text.zip", "not a ZIP file"), (tmp_path, "is a folder")):
        done = call_humproof("report", job.folder, "-o", tmp_path / "x.pdf", "--bundle", target)
        assert done.returncode == 1
        assert words in done.stderr
    assert (tmp_path / "text.zip").read_text() == "mine"
    assert not (tmp_path / "x.pdf").exists()


def test_a_file_that_changed_meanwhile_is_not_bundled(job: Sealed, tmp_path: Path) -> None:
    own = Path(shutil.copytree(job.folder, tmp_path / "job"))
    report = dataclasses.replace(job.report, job=open_job(own))
    with (own / "recordings" / "002-as-left.h5").open("ab") as file:
        file.write(b"x")
    with pytest.raises(ReportError, match=r"002-as-left\.h5: was changed since the report was made"):
        write_bundle(report, tmp_path / "van.zip")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job"]
