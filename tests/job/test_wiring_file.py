"""Wiring files: what is wrong is named with line, entry and remedy; what is right becomes a system in SI units."""

from __future__ import annotations

import math
from dataclasses import fields
from pathlib import Path

import pytest

from analysis.wiring import Limits, joint_kind, size_of_awg, solve
from job import JobError, read_wiring_file, wiring_study, wiring_system, write_wiring_file
from job._wiring_model import LimitsEntry
from sample_data import SAMPLE_JOB

GOOD = """# taken down in the rain
format = "humproof-wiring"
version = 1

[system]
name = "bench"

[[battery]]
name = "battery"
positive = "b+"
negative = "b-"
chemistry = "AGM"
capacity_ah = 70
rest_volts = 12.8

[[fuse]]
name = "main fuse"
from = "b+"
to = "f"
kind = "blade"
rated_a = 30
distance_in = 12

[[conductor]]
name = "feed"
from = "f"
to = "block"
awg = "4"  # printed on it
length_ft = 10
runs = 2

[[block]]
name = "star"
point = "block"
ways = 4
terminals = "set-screw"

[[conductor]]
name = "lead"
from = "block"
to = "a+"
mm2 = 10
strand_count = 80
strand_diameter_mm = 0.3
material = "CCA"
length_m = 2
insulation_c = 75

[[joint]]
name = "bolt"
from = "a-"
to = "b-"
kind = "bolted"
resistance_mohm = 0.4

[[amplifier]]
name = "amp"
positive = "a+"
negative = "a-"
rated_w = 100
class = "D"
fuses_a = [15]
"""


def write(folder: Path, text: str | bytes) -> Path:
    path = folder / "wiring.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def refusal(path: Path) -> str:
    with pytest.raises(JobError) as caught:
        wiring_study(path)
    text = str(caught.value)
    assert text.startswith(f"{path}: ")
    assert "\n" not in text
    return text


def line_of(text: str, part: str) -> int:
    return text[: text.index(part)].count("\n") + 1


def test_what_was_written_becomes_si_units(tmp_path: Path) -> None:
    made = wiring_system(read_wiring_file(write(tmp_path, GOOD)))
    feed, lead = made.system.conductors
    assert feed.length_m == pytest.approx(3.048)  # 10 ft of 0.3048 m, by definition of the foot
    assert feed.size == size_of_awg("4", "SAE")
    # 80 strands of 0.3 mm are 5.65 mm², whatever is printed on them
    assert lead.size.area_mm2 == pytest.approx(80 * math.pi * 0.15**2)
    assert lead.material.name == "copper-clad aluminium 10 %"
    (fuse,) = made.system.fuses
    assert fuse.from_source_m == pytest.approx(0.3048)
    assert made.system.joints[0].ohm == pytest.approx(0.4e-3)
    assert made.system.batteries[0].open_volts == 12.8
    assert made.system.amplifiers[0].efficiency == 0.80


def test_every_cable_end_at_a_block_gets_a_terminal_of_its_own(tmp_path: Path) -> None:
    made = wiring_system(read_wiring_file(write(tmp_path, GOOD)))
    terminals = {joint.name: joint for joint in made.system.joints if joint.block}
    assert set(terminals) == {"star: feed", "star: lead"}
    kind = joint_kind("set-screw")
    assert terminals["star: feed"].ohm == pytest.approx(kind.ohm / 2)  # two runs, two terminals in parallel
    assert terminals["star: lead"].ohm == kind.ohm
    solution = solve(made.system)
    assert solution.elements["star: feed"].amps == pytest.approx(solution.elements["lead"].amps)
    assert solution.elements["star: lead"].amps > 0
    assert made.places["star: lead"] == ("conductor", 1)


def test_what_is_assumed_is_told_with_the_entries(tmp_path: Path) -> None:
    made = wiring_system(read_wiring_file(write(tmp_path, GOOD)))
    told = "\n".join(made.assumed)
    for words in (
        "AGM battery of 70 Ah", "blade fuse of 30 A", "SAE's areas", "copper (feed)", "poorer kind (lead)",
        "insulation of 105 °C (feed)", "terminal 'set-screw' 0.3 milliohm", "not regulated (amp)",
        "efficiency 0.8, class D (amp)", "rated at 14.4 V (amp)", "air of 30 °C",
    ):  # fmt: skip
        assert words in told, words
    assert "bolt" not in told  # its resistance was stated
    assert "at rest" not in told


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        ("rated_a = 30", "rated_a = 0", "rated_a", "of 'main fuse': 0 A is out of reason: write more than 0"),
        ("rated_a = 30", "rated_a = -5", "rated_a", "of 'main fuse': -5 A is out of reason"),
        ("rated_a = 30", "rated_a = nan", "rated_a", "finite number"),
        ("length_m = 2", "length_m = -2", "length_m", "of 'lead': -2 m is out of reason: write more than 0"),
        ("length_m = 2", "length_m = 2000", "length_m", "at most 200 m"),
        ("length_m = 2", 'length_m = "2"', "length_m", "of 'lead': Input should be a valid number"),
        ("length_m = 2\n", "", "[[conductor]]\nname = \"lead\"", "of 'lead': has no length: give length_m"),
        ("length_m = 2", "length_m = 2\nlength_ft = 6", "[[conductor]]\nname = \"lead\"", "has two lengths"),
        ('awg = "4"', 'awg = "4"\nmm2 = 25', "[[conductor]]\nname = \"feed\"", "of 'feed': has two sizes, awg and mm2"),
        ('awg = "4"', "", "[[conductor]]\nname = \"feed\"", "of 'feed': has no size: give awg"),
        ('awg = "4"', 'awg = "4x"', "[[conductor]]\nname = \"feed\"", "gauge '4x' is not known: write 40 to 1"),
        ('awg = "4"', "awg = 3", "[[conductor]]\nname = \"feed\"", "no SAE cable of gauge '3'"),
        ("strand_count = 80\n", "", "[[conductor]]\nname = \"lead\"", "give both or neither"),
        ("strand_diameter_mm = 0.3", "strand_diameter_mm = 0.0001", "[[conductor]]\nname = \"lead\"", "is no cable"),
        ('material = "CCA"', 'material = "tin"', "material", "of 'lead': 'tin' is not known: use one of copper, alum"),
        ('"AGM"', '"nuclear"', "chemistry", "of 'battery': battery chemistry 'nuclear' is not known: write one of"),
        ("rest_volts = 12.8", "charge_percent = 2", "[[battery]]", "state of charge 0.02 of a AGM battery"),
        ('kind = "bolted"', 'kind = "glued"', 'kind = "bolted"', "joint kind 'glued' is not known: write one of"),
        ("ways = 4", "ways = 0", "ways", "of 'star': 0 is out of reason: write 1 or more"),
        ("runs = 2", "runs = 2.5", "runs", "of 'feed'"),
        ("rated_w = 100", "rated_w = 1000", "[[amplifier]]", "its own fuses (15 A) let in 216 W: write the continuous"),
        ('class = "D"', 'class = "D"\nefficiency = 1.2', "fuses_a", "no amplifier gives more than it takes"),
        ('class = "D"', 'class = "G"', "class", "of 'amp'"),
        ('class = "D"\n', "", "[[amplifier]]", "'amplifier.1.class' of 'amp' is missing"),
        ("resistance_mohm = 0.4", "resistence_mohm = 0.4", "resistance_mohm", "did you mean 'resistance_mohm'?"),
        ('from = "a-"', 'form = "a-"', 'from = "a-"', "did you mean 'from'?"),
        ('name = "lead"', 'name = "feed"', 'name = "lead"', "conductor 'feed' has the name of a conductor"),
        ('name = "star"', 'name = "amp"', 'name = "amp"', "amplifier 'amp' has the name of a block that is there"),
        ('to = "f"', 'to = "b+"', 'to = "f"', "of 'main fuse': begins and ends at 'b+': give it two different points"),
        ('name = "bolt"', 'name = ""', 'name = "bolt"', "is empty"),
        ("version = 1", "version = 2", "version", "version 2 is not known"),
        ('"humproof-wiring"', '"humproof-job"', "format", "'humproof-wiring'"),
        ('name = "bench"', 'name = "bench"\n[limits]\nground_drpo = 0.1', "[[battery]]", "did you mean 'ground_drop'?"),
        # what only the solver sees: islands, short circuits, loops
        ('to = "a+"', 'to = "a1+"', "[[amplifier]]", "'amp' hangs on 'a+', to which nothing leads from battery"),
        ('from = "a-"', 'from = "a+"', "[[battery]]", "'battery' is short-circuited through main fuse - "),
    ],
)  # fmt: skip
def test_what_is_wrong_has_its_line_entry_and_remedy(tmp_path: Path, old: str, new: str, at: str, words: str) -> None:
    assert old in GOOD
    text = refusal(write(tmp_path, GOOD.replace(old, new, 1)))
    assert words in text
    expected = line_of(GOOD, at)
    assert f"line {expected}: " in text, (expected, text)


def test_a_state_without_a_battery_or_an_amplifier(tmp_path: Path) -> None:
    for table, words in (("battery", "no battery as left"), ("amplifier", "no amplifier as left")):
        head = f"[[{table}]]"
        text = refusal(write(tmp_path, GOOD.replace(head, f'{head}\nstate = "as found"')))
        assert words in text
        assert f"describe at least one as [[{table}]]" in text


def test_two_blocks_at_one_point(tmp_path: Path) -> None:
    second = '\n[[block]]\nname = "moon"\npoint = "block"\nways = 2\nterminals = "bolted"\n'
    assert "two blocks stand at 'block'" in refusal(write(tmp_path, GOOD + second))


def test_a_name_may_come_back_in_the_other_state(tmp_path: Path) -> None:
    head = '[[joint]]\nname = "bolt"\nfrom = "a-"\nto = "b-"\nkind = "bolted"\n'
    changed = (
        GOOD.replace(head, f'{head}state = "as left"\n') + "\n" + head + 'state = "as found"\nresistance_mohm = 9\n'
    )
    file = read_wiring_file(write(tmp_path, changed))
    assert file.states() == ("as found", "as left")
    assert wiring_system(file, "as found").system.joints[0].ohm == pytest.approx(9e-3)
    assert wiring_system(file, "as left").system.joints[0].ohm == pytest.approx(0.4e-3)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "line 1: 'format' is missing"),
        (b"\xff\xfe\x00", "is not UTF-8 text"),
        (b"\x00" * 100, "is not valid TOML"),
        (b"[" * 5000, "is not valid TOML"),
        (b"x = " + b"[" * 50_000, "is nested too deeply"),
        (b"x = 1\n", "line 1: 'x' is not a known key"),
        (b"#" * 3_000_000, "larger than"),
        (GOOD.replace("= 30", "= = 30").encode(), f"line {line_of(GOOD, 'rated_a')}"),
    ],
)
def test_hostile_bytes_are_refused_in_one_line(tmp_path: Path, data: bytes, words: str) -> None:
    assert words in refusal(write(tmp_path, data))


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    assert "cannot be read" in refusal(tmp_path / "nowhere.toml")


def test_writing_gives_the_same_file_and_keeps_comments(tmp_path: Path) -> None:
    path = write(tmp_path, GOOD)
    file = read_wiring_file(path)
    write_wiring_file(path, file)
    assert path.read_text(encoding="utf-8") == GOOD
    thicker = file.conductor[0].model_copy(update={"awg": "2", "runs": 1})
    more = file.conductor[1].model_copy(update={"name": "another lead", "length_m": 0.5})
    changed = file.model_copy(update={"conductor": (thicker, file.conductor[1], more), "amplifier": file.amplifier})
    write_wiring_file(path, changed)
    text = path.read_text(encoding="utf-8")
    assert read_wiring_file(path) == changed
    assert "# taken down in the rain" in text
    assert 'awg = "2"  # printed on it' in text
    assert text.index("[[block]]") < text.index('name = "lead"') < text.index('name = "another lead"')
    write_wiring_file(tmp_path / "new.toml", changed)
    assert read_wiring_file(tmp_path / "new.toml") == changed
    assert sorted(item.name for item in tmp_path.iterdir()) == ["new.toml", "wiring.toml"]


def test_a_file_of_somebody_else_is_not_overwritten(tmp_path: Path) -> None:
    file = read_wiring_file(write(tmp_path, GOOD))
    other = tmp_path / "letter.txt"
    other.write_text("dear customer")
    with pytest.raises(JobError, match="choose another name"):
        write_wiring_file(other, file)
    assert other.read_text() == "dear customer"


def test_a_file_that_cannot_be_replaced_stands_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, GOOD)
    file = read_wiring_file(path)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(JobError, match="No space left"):
        write_wiring_file(path, file.model_copy(update={"joint": ()}))
    assert path.read_text(encoding="utf-8") == GOOD
    assert [item.name for item in tmp_path.iterdir()] == ["wiring.toml"]


def test_the_limits_of_a_file_are_those_of_the_analysis(tmp_path: Path) -> None:
    assert list(LimitsEntry.model_fields) == [one.name for one in fields(Limits)]
    file = read_wiring_file(write(tmp_path, GOOD + "\n[limits]\nground_drop = 0.1\n"))
    limits = file.limits.limits()
    assert (limits.ground_drop.value, limits.positive_drop) == (0.1, Limits().positive_drop)
    assert "wiring file" in limits.ground_drop.source


def test_the_specification_shows_a_file_that_is_one(tmp_path: Path) -> None:
    """The example in docs/wiring-file.md is read and solved as it stands."""
    page = (SAMPLE_JOB.parents[1] / "docs" / "wiring-file.md").read_text(encoding="utf-8")
    example = page.split("```toml\n")[1].split("```")[0]
    study = wiring_study(write(tmp_path, example))
    assert study.main.converged
