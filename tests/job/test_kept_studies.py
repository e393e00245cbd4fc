"""Kept studies: equal to fresh ones in every field and bit, never believed when damaged, never needed."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import os
import pickle
import shutil
import types
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from capture import Conditions, RecordedChannel, RecordingInfo, RecordingWriter, SourceFacts, file_sha256
from job import (
    Job,
    Study,
    _kept_studies,
    add_recording,
    damage_of,
    new_recording_path,
    open_or_create_job,
    study_file,
    study_json,
    study_kept,
    study_recording,
    verify_job,
)
from job._plain_form import NoPlainFormError, from_plain_bytes, plain_bytes
from sample_data import SAMPLE_JOB

SAMPLES = sorted((SAMPLE_JOB / "recordings").glob("*.h5"))
RATE_HZ = 4000.0
code_digest = _kept_studies._code.__wrapped__


def info_of(roles: list[str], conditions: Conditions) -> RecordingInfo:
    return RecordingInfo(
        start_utc=datetime(2026, 3, 2, 9, 30, 15, 250_001, tzinfo=UTC),
        rate_hz=RATE_HZ,
        channels=tuple(
            RecordedChannel(name=f"{place} – “Ω”", role=role, unit="V", coupling="DC")
            for place, role in enumerate(roles)
        ),
        source=SourceFacts(kind="test", name="numbers", settings={"gain": "3"}),
        software="tests",
        simulated=False,
        conditions=conditions,
        warnings=("clock not known",),
    )


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Each test begins with nothing kept, and none minds that somebody edits the code meanwhile."""
    place = tmp_path / "kept"
    monkeypatch.setattr(_kept_studies, "_code", lambda: "c" * 64)
    monkeypatch.setenv("HUMPROOF_KEPT_STUDIES", str(place))
    return place


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Some of everything, quickly studied."""
    path, random = tmp_path_factory.mktemp("small") / "small.h5", np.random.default_rng(8)
    samples = np.column_stack([random.normal(0, 0.01, 3000), 12.6 + random.normal(0, 0.01, 3000)])
    with RecordingWriter(path, info_of(["signal", "supply"], Conditions(engine_rpm=1500.0)), "<f8") as writer:
        writer.write(samples)
        writer.mark("burst 40 Hz", 1000, 1000)
    return path


@pytest.fixture(scope="module")
def fresh(small: Path) -> Study:
    return study_recording(small)


def other_bytes(place: Path) -> Path:
    """A recording of the same length that holds something else."""
    with RecordingWriter(place, info_of(["signal", "supply"], Conditions(engine_rpm=1600.0)), "<f8") as writer:
        writer.write(np.zeros((3000, 2)))
        writer.mark("burst 40 Hz", 1000, 1000)
    return place


def only(folder: Path, ending: str = ".study") -> Path:
    (path,) = folder.glob(f"*{ending}")
    return path


def assert_same(one: Any, other: Any) -> None:
    """The same types, values and bits all the way down, and arrays that lie in memory the same way."""
    assert type(one) is type(other)
    if isinstance(one, np.ndarray):
        assert (one.dtype, one.shape) == (other.dtype, other.shape)
        assert one.tobytes() == other.tobytes()
        assert order(one) == order(other)
    elif dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name))
    elif isinstance(one, Mapping):
        assert list(one) == list(other)
        for key in one:
            assert_same(one[key], other[key])
    elif isinstance(one, tuple):
        assert len(one) == len(other)
        for own, others in zip(one, other, strict=True):
            assert_same(own, others)
    elif isinstance(one, float):
        assert one.hex() == other.hex()
    else:
        assert one == other


def order(array: npt.NDArray[Any]) -> list[int]:
    """Its axes by how they lie in memory, those of one entry aside."""
    return sorted((axis for axis in range(array.ndim) if array.shape[axis] > 1), key=lambda axis: array.strides[axis])


def kept_and_fresh(path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Study, Study]:
    """What comes out of the folder, and what the samples give."""
    fresh = study_kept(path)
    with monkeypatch.context() as patch:
        patch.setattr(_kept_studies, "study_recording", lambda *facts: pytest.fail("analysed again"))
        return study_kept(path), fresh


# ---------------------------------------------------------------- equal to what the samples give


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_kept_study_equals_a_fresh_one(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert_same(*kept_and_fresh(path, monkeypatch))


ROLES = ("signal", "supply", "supply-amp@rear", "drop-ground", "current", "speaker", "")


def pulses(rows: int) -> npt.NDArray[np.float64]:
    """36 a turn at 1500 rpm."""
    return np.where(np.sin(2 * np.pi * 900 * np.arange(rows) / RATE_HZ + 0.4) > 0, 0.5, -0.5)


@st.composite
def odd_recordings(draw: st.DrawFn) -> tuple[RecordingInfo, npt.NDArray[np.float64], int, bool]:
    """Facts, samples, rows missing behind them, and whether a test burst is marked."""
    rows = draw(st.sampled_from((1, 3, 700, 5_001, 12_000)))
    roles = draw(st.lists(st.sampled_from(ROLES), min_size=1, max_size=3))
    random = np.random.default_rng(draw(st.integers(0, 9)))
    samples = random.normal(0, draw(st.sampled_from((0.0, 1e-6, 0.3))), (rows, len(roles)))
    samples += draw(st.sampled_from((0.0, 12.5))) + np.sin(np.arange(rows) / 3.7)[:, None] * draw(st.floats(0, 1))
    if draw(st.booleans()):
        samples[:: draw(st.sampled_from((1, 2, 611)))] = np.nan
    conditions = Conditions(
        engine_rpm=draw(st.sampled_from((None, 0.0, 1432.5))), full_level_v=draw(st.sampled_from((None, 2.0)))
    )
    if draw(st.booleans()):
        roles, samples = [*roles, "tacho"], np.column_stack([samples, pulses(rows)])
        conditions = conditions.model_copy(update={"tacho_wheel": draw(st.sampled_from(("36", "60-2", None)))})
    return info_of(roles, conditions), samples, draw(st.sampled_from((0, 0, 500))), draw(st.booleans())


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(odd=odd_recordings())
def test_odd_recordings_come_back_as_they_are(
    odd: tuple[RecordingInfo, npt.NDArray[np.float64], int, bool],
    tmp_path_factory: pytest.TempPathFactory,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    path = tmp_path_factory.mktemp("odd") / "odd.h5"
    info, samples, missing, burst = odd
    with RecordingWriter(path, info, "<f8") as writer:
        writer.write(samples)
        writer.gap(missing, "unplugged")
        if burst:
            writer.mark("burst 40 Hz", 0, len(samples) // 2)
        writer.write(samples[::-1])
    assert_same(*kept_and_fresh(path, monkeypatch))


def test_the_place_is_the_one_asked_for(small: Path, fresh: Study, tmp_path: Path) -> None:
    study_kept(small)
    again = study_kept(Path(shutil.copy(small, tmp_path / "moved.h5")))
    assert again.path == tmp_path / "moved.h5"
    assert_same(dataclasses.replace(again, path=small), fresh)


# ---------------------------------------------------------------- whatever is not as it was written is made anew


def spoilt(data: bytes) -> Iterator[tuple[str, bytes]]:
    """Damage of many kinds."""
    random = np.random.default_rng(3)
    for place in random.integers(0, len(data), 20).tolist():
        yield f"bit at {place}", data[:place] + bytes([data[place] ^ 1 << int(random.integers(8))]) + data[place + 1 :]
    yield from ((f"cut to {size}", data[:size]) for size in (0, 1, 31, 32, 33, len(data) // 2, len(data) - 1))
    yield "longer", data + b"\0"
    yield from ((name, resealed(body)) for name, body in (("nothing", b""), ("text", b"{}"), ("pickle", pickled())))


def resealed(body: bytes) -> bytes:
    return hashlib.sha256(body).digest() + body


def pickled() -> bytes:
    """An array of objects, which reading would have to unpickle."""
    file = io.BytesIO()
    np.savez(file, np.array([_Trap()], object))
    return file.getvalue()


class _Trap:
    def __reduce__(self) -> tuple[Any, tuple[str]]:
        return pytest.fail, ("unpickled",)


def test_the_trap_would_spring() -> None:
    with pytest.raises(pytest.fail.Exception):
        pickle.loads(pickle.dumps(_Trap()))


def readable(data: bytes) -> bool:
    try:
        from_plain_bytes(_kept_studies._KeptStudy, data)
    except NoPlainFormError:
        return False
    return True


def test_damage_is_found(small: Path, folder: Path) -> None:
    study_kept(small)
    data = only(folder).read_bytes()
    assert readable(data)
    for name, damaged in spoilt(data):
        assert not readable(damaged), name


def test_what_is_damaged_is_made_anew_and_replaced(small: Path, fresh: Study, folder: Path) -> None:
    study_kept(small)
    good = only(folder).read_bytes()
    only(folder).write_bytes(good[:-7])
    assert_same(study_kept(small), fresh)
    assert only(folder).read_bytes() == good


def facts_changed(data: bytes, **changes: Any) -> bytes:
    """The same study with other facts, sealed as if it were one of ours."""
    with np.load(io.BytesIO(data[32:])) as file:
        facts, *arrays = (file[name] for name in file.files)
    plain = json.loads(facts.tobytes())
    plain |= changes
    out = io.BytesIO()
    np.savez(out, np.frombuffer(json.dumps(plain).encode(), np.uint8), *arrays)
    return resealed(out.getvalue())


@pytest.mark.parametrize(
    "changes",
    [
        {"frames": "many"},
        {"frames": True},
        {"frames": 1.5},
        {"marks": [{"first": 0, "text": "burst"}]},
        {"marks": [{"first": 0, "text": "burst", "length": 1, "more": 1}]},
        {"speed": []},
        {"info": {"rate_hz": -1}},
        {"analysis": None},
        {"__class__": "os.system"},
        {"sha256": "0" * 64},
        {"code": "0" * 64},
    ],
    ids=str,
)
def test_facts_of_other_kinds_are_dropped(small: Path, changes: dict[str, Any], fresh: Study, folder: Path) -> None:
    study_kept(small)
    path = only(folder)
    path.write_bytes(facts_changed(path.read_bytes(), **changes))
    assert _kept_studies._take(_kept_studies._KeptStudy, fresh.sha256) is None
    path.write_bytes(facts_changed(path.read_bytes()))


def test_facts_that_nobody_changed_are_taken(small: Path, fresh: Study, folder: Path) -> None:
    study_kept(small)
    only(folder).write_bytes(facts_changed(only(folder).read_bytes()))
    assert _kept_studies._take(_kept_studies._KeptStudy, fresh.sha256) is not None


def test_a_study_of_another_recording_is_not_taken_for_this_one(small: Path, folder: Path) -> None:
    study_kept(small)
    other = hashlib.sha256(b"other").hexdigest()
    path = only(folder)
    shutil.copy(path, folder / path.name.replace(path.name[:64], other))
    assert _kept_studies._take(_kept_studies._KeptStudy, other) is None


def test_the_digest_of_the_code_follows_every_file_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("__init__.py", "inner/_sums.py"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("one = 1")
    monkeypatch.setattr(_kept_studies, "analysis", types.SimpleNamespace(__file__=str(tmp_path / "__init__.py")))
    monkeypatch.setattr(_kept_studies, "_LOADED", float("inf"))
    first = code_digest()
    assert code_digest() == first != ""
    (tmp_path / "inner" / "_sums.py").write_text("one = 2")
    assert code_digest() not in (first, "")
    monkeypatch.setattr(_kept_studies, "_LOADED", (tmp_path / "inner" / "_sums.py").stat().st_mtime - 1)
    assert code_digest() == ""


def test_without_the_source_files_nothing_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_kept_studies, "analysis", types.SimpleNamespace(__file__=str(tmp_path / "__init__.pyc")))
    monkeypatch.setattr(_kept_studies, "_LOADED", float("inf"))
    assert code_digest() == ""


def test_other_code_analyses_anew(small: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    study_kept(small)
    anew = []
    monkeypatch.setattr(_kept_studies, "study_recording", lambda *facts: anew.append(1) or study_recording(*facts))
    study_kept(small)
    assert anew == []
    monkeypatch.setattr(_kept_studies, "_code", lambda: "f" * 64)
    study_kept(small)
    assert anew == [1]


def test_changed_bytes_are_analysed_anew_whatever_their_date(small: Path, fresh: Study, tmp_path: Path) -> None:
    """The same name, length and date: only the digest tells."""
    path = other_bytes(tmp_path / "one.h5")
    first = study_kept(path)
    stamp = path.stat()
    path.write_bytes(small.read_bytes())
    assert path.stat().st_size == stamp.st_size
    os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    again = study_kept(path)
    assert again.sha256 != first.sha256
    assert_same(dataclasses.replace(again, path=small), fresh)


def test_what_changes_while_it_is_analysed_is_not_kept(
    small: Path, tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = Path(shutil.copy(small, tmp_path / "one.h5"))

    def meddling(*facts: Any) -> Study:
        os.replace(other_bytes(tmp_path / "two.h5"), path)
        return study_recording(*facts)

    monkeypatch.setattr(_kept_studies, "study_recording", meddling)
    study_kept(path)
    assert not folder.exists()


def counted(monkeypatch: pytest.MonkeyPatch, settled_s: float) -> list[Path]:
    """Which files are hashed, where those that were written to so long ago count as settled."""
    hashed: list[Path] = []
    monkeypatch.setattr(_kept_studies, "_SETTLED_NS", round(settled_s * 1e9))
    monkeypatch.setattr(
        _kept_studies, "file_sha256", lambda path, *facts: hashed.append(path) or file_sha256(path, *facts)
    )
    return hashed


@pytest.mark.parametrize(("settled_s", "times"), ((0.0, 1), (1e6, 2)))
def test_a_file_that_lay_still_is_hashed_once(
    small: Path, fresh: Study, settled_s: float, times: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The times of a file that was written to just now tell nothing: a second change may bear the same."""
    hashed = counted(monkeypatch, settled_s)
    assert_same(study_kept(small), fresh)
    assert hashed == [small] * times


def test_a_change_is_seen_though_size_and_time_stay(
    small: Path, tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = Path(shutil.copy(small, tmp_path / "one.h5"))
    before = path.stat()

    def meddling(*facts: Any) -> Study:
        study = study_recording(path, lambda part: None, lambda read: "")
        while path.stat().st_ctime_ns == before.st_ctime_ns:
            path.write_bytes(path.read_bytes()[:-1] + b"x")
            os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
        return dataclasses.replace(study, sha256=facts[2](path))

    hashed = counted(monkeypatch, 0.0)
    monkeypatch.setattr(_kept_studies, "study_recording", meddling)
    study = study_kept(path)
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)
    assert hashed == [path, path]
    assert study.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert not folder.exists()


def test_hashing_tells_how_far_it_is(tmp_path: Path) -> None:
    path, told = tmp_path / "big", list[float]()
    path.write_bytes(bytes(range(256)) * 20_000 + b"end")
    assert file_sha256(path, told.append) == hashlib.sha256(path.read_bytes()).hexdigest()
    assert told == sorted(told)
    assert len(told) == 5
    assert told[-1] == 1.0
    (tmp_path / "empty").touch()
    assert file_sha256(tmp_path / "empty", told.append) == hashlib.sha256().hexdigest()


def test_a_study_tells_how_far_it_is(small: Path) -> None:
    for _ in range(2):
        told: list[float] = []
        study_kept(small, told.append)
        assert told == sorted(told)
        assert told[-1] == 1.0


# ---------------------------------------------------------------- never needed


def test_it_can_be_turned_off(small: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HUMPROOF_NO_KEPT_STUDIES", "1")
    study_kept(small)
    assert not folder.exists()


def test_code_that_cannot_be_told_keeps_nothing(small: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_kept_studies, "_code", lambda: "")
    study_kept(small)
    assert not folder.exists()


def test_a_folder_that_cannot_be_is_no_fault(small: Path, fresh: Study, folder: Path) -> None:
    folder.write_text("in the way")
    assert_same(study_kept(small), fresh)


def test_a_disk_that_takes_no_more_leaves_nothing_half_written(
    small: Path, fresh: Study, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*facts: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(_kept_studies.os, "replace", full)
    assert_same(study_kept(small), fresh)
    assert list(folder.iterdir()) == []


def test_where_nothing_can_be_written_what_is_kept_still_counts(
    small: Path, fresh: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    study_kept(small)

    def refused(*facts: Any) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(_kept_studies.os, "utime", refused)
    monkeypatch.setattr(_kept_studies, "study_recording", lambda *facts: pytest.fail("analysed again"))
    assert_same(study_kept(small), fresh)


def test_what_was_not_used_for_longest_goes_first(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder.mkdir()
    names = [f"{place:064x}-{0:016x}.study" for place in range(4)]
    for place, name in enumerate(names):
        (folder / name).write_bytes(bytes(1000))
        os.utime(folder / name, (place + 1, place + 1))
    (folder / "holiday.jpg").write_bytes(bytes(5000))
    os.utime(folder / "holiday.jpg", (0, 0))
    monkeypatch.setattr(_kept_studies, "MOST_BYTES", 3000)
    _kept_studies._make_room(folder, 900)
    assert sorted(path.name for path in folder.iterdir()) == sorted([*names[2:], "holiday.jpg"])


def test_use_makes_a_study_young_again(small: Path, folder: Path) -> None:
    study_kept(small)
    os.utime(only(folder), (1, 1))
    study_kept(small)
    assert only(folder).stat().st_mtime > 1


# ---------------------------------------------------------------- who uses them


def test_the_commands_tell_the_same_from_what_was_kept(small: Path, folder: Path) -> None:
    first, second = (json.dumps(study_json(study_file(small))) for _ in range(2))
    assert only(folder).is_file()
    assert first == second == json.dumps(study_json(study_recording(small)))


def test_a_file_of_others_is_not_kept(tmp_path: Path, folder: Path) -> None:
    (tmp_path / "log.csv").write_text("".join(f"{place / 100:.2f},{np.sin(place):.4f}\n" for place in range(400)))
    study_file(tmp_path / "log.csv")
    assert not folder.exists()


@pytest.fixture
def job(small: Path, tmp_path: Path) -> Job:
    """A job of that one recording."""
    begun = open_or_create_job(tmp_path / "job")
    path = Path(shutil.copy(small, new_recording_path(begun, "as found", "baseline")))
    return add_recording(begun, path, "as found")


def test_a_seal_is_recomputed_once_and_every_change_is_found(
    job: Job, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (entry,) = job.facts.recordings
    assert damage_of(job, entry) == []
    with monkeypatch.context() as patch:
        patch.setattr(_kept_studies, "damaged_recordings", lambda job: pytest.fail("recomputed"))
        assert damage_of(job, entry) == []
    data = bytearray(job.path(entry).read_bytes())
    data[len(data) // 2] ^= 4
    job.path(entry).write_bytes(data)
    assert len(damage_of(job, entry)) == 1
    job.path(entry).unlink()
    assert "is missing" in damage_of(job, entry)[0]
    assert len(list(folder.glob("*.seal"))) == 1


def test_a_sealed_recording_in_the_place_of_another_is_found(job: Job) -> None:
    other = other_bytes(new_recording_path(job, "as left", "baseline"))
    job = add_recording(job, other, "as left")
    first, second = job.facts.recordings
    assert damage_of(job, first) == damage_of(job, second) == []
    shutil.copy(other, job.path(first))
    assert "is not the file that was entered" in damage_of(job, first)[0]


def test_a_report_uses_what_was_kept_and_its_check_never_does(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    from report import check_report, make_report

    make_report(job.folder)
    with monkeypatch.context() as patch:
        for name in ("study_recording", "damaged_recordings"):
            patch.setattr(_kept_studies, name, lambda *facts: pytest.fail("read the samples again"))
        pdf = make_report(job.folder)
    for name in ("_take", "_keep"):
        monkeypatch.setattr(_kept_studies, name, lambda *facts: pytest.fail("looked at what was kept"))
    assert verify_job(job) == []
    checked = check_report(pdf)
    assert checked.recomputed.numbers
    assert not checked.problems
    job.file.write_text(job.file.read_text() + "# by hand\n")
    by_sheet = check_report(pdf)
    assert by_sheet.recomputed.numbers
    assert {problem.kind for problem in by_sheet.problems} == {"job changed"}


# ---------------------------------------------------------------- what has no plain form


@dataclasses.dataclass(frozen=True, slots=True)
class _Plain:
    number: float
    told: bool | None
    pair: tuple[int, str]


@dataclasses.dataclass(frozen=True, slots=True)
class _Grid:
    values: npt.NDArray[np.float64]


@pytest.mark.parametrize("turned", (False, True))
def test_arrays_lie_in_memory_as_they_did(turned: bool) -> None:
    """Sums round by the order in which they are taken."""
    values = np.arange(15.0).reshape(3, 5)[:, ::2]
    grid = _Grid(values.T if turned else values)
    assert_same(from_plain_bytes(_Grid, plain_bytes(grid)), grid)


def test_values_that_do_not_fit_their_hints_are_not_written() -> None:
    good = _Plain(-0.0, None, (1, "\ud800 “a”"))
    assert repr(from_plain_bytes(_Plain, plain_bytes(good))) == repr(good)
    for bad in (
        _Plain(True, None, (1, "")),
        _Plain(np.float64(1), None, (1, "")),
        _Plain(1.0, 1, (1, "")),  # type: ignore[arg-type]
        _Plain(1.0, None, (1, "", 2)),  # type: ignore[arg-type]
        _Plain(1.0, None, [1, ""]),  # type: ignore[arg-type]
    ):
        with pytest.raises(NoPlainFormError, match="belong"):
            plain_bytes(bad)
