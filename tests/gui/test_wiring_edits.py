"""Fields, edits, take-over and the first description: from rows to rows. No Qt."""

from pathlib import Path

import pytest

from analysis.wiring import cheapest_changes, drawing_of, find_faults, solve
from gui._wiring_add import DEEDS, Where, deed_of
from gui._wiring_draft import Draft, data_of, drafted, edited, file_of, written
from gui._wiring_edits import (
    FOUND,
    LEFT,
    insert_before,
    one_more_run,
    place_of,
    points_in,
    remove,
    row_of,
    rows_in,
    set_keys,
    split_at_block,
)
from gui._wiring_fields import FIELDS, field_of, keys_of, text_of
from gui._wiring_reckon import system_of
from gui._wiring_start import BODY, CABLE, AnswerError, first_description, questions
from gui._wiring_takeover import take_over
from job import WiringFile, bundled_prices
from sample_data import SAMPLE_JOB
from tests.gui._wirings import SMALL

PATH = Path("wiring.toml")
SAMPLE = drafted((SAMPLE_JOB / "wiring.toml").read_text(encoding="utf-8"), PATH)
SMALL_DRAFT = drafted(SMALL, PATH)


def _row(draft: Draft, name: str, state=FOUND):
    return row_of(data_of(draft.file), name, state)


def _system(draft: Draft, state=FOUND):
    return system_of(draft, state).system


# ---------------------------------------------------------------- fields


@pytest.mark.parametrize(
    "key, typed, row, us, keys",
    [
        ("size", "1/0", {"awg": "4"}, False, {"awg": "1/0", "mm2": None}),
        ("size", "2", {"awg": "4"}, False, {"awg": "2", "mm2": None}),
        ("size", "2", {"mm2": 16}, True, {"awg": None, "mm2": 2, "strand": None}),
        ("size", "2", {}, True, {"awg": "2", "mm2": None}),
        ("size", "2,5 mm2", {"awg": "4"}, True, {"awg": None, "mm2": 2.5, "strand": None}),
        ("size", "25 mm²", {"awg": "4", "strand": "SAE"}, False, {"awg": None, "mm2": 25, "strand": None}),
        ("size", "4 awg", {"mm2": 25}, False, {"awg": "4", "mm2": None}),
        ("length", "3,2", {"length_m": 1}, True, {"length_m": 3.2, "length_ft": None}),
        ("length", "12", {"length_ft": 1}, False, {"length_m": None, "length_ft": 12}),
        ("length", "12'", {"length_m": 1}, False, {"length_m": None, "length_ft": 12}),
        ("length", "80 cm", {"length_ft": 1}, True, {"length_m": 0.8, "length_ft": None}),
        ("strands", "49 x 0.65 mm", {}, False, {"strand_count": 49, "strand_diameter_mm": 0.65}),
        ("strands", "", {"strand_count": 49}, False, {"strand_count": None, "strand_diameter_mm": None}),
        ("runs", "2", {}, False, {"runs": 2}),
        ("engine_space", "yes", {}, False, {"engine_space": True}),
        ("engine_space", "not stated", {"engine_space": True}, False, {"engine_space": None}),
        ("material", " copper ", {}, False, {"material": "copper"}),
        ("insulation_c", "105 °C", {}, False, {"insulation_c": 105}),
    ],
)
def test_what_is_typed_becomes_keys_in_the_unit_that_the_file_has(key, typed, row, us, keys):
    assert keys_of(field_of("conductor", key), typed, row, us=us) == keys


@pytest.mark.parametrize(
    "table, key, typed, remedy",
    [
        ("conductor", "size", "thick", "4 AWG, 1/0 AWG or 25 mm²"),
        ("conductor", "length", "long", "3.2 m or 10 ft"),
        ("conductor", "length", "", "cannot be empty"),
        ("conductor", "runs", "1.5", "such as 3"),
        ("conductor", "strands", "many", "49 x 0.65 mm"),
        ("fuse", "rated_a", "forty", "such as 3.5"),
        ("joint", "takes_aluminium", "perhaps", "yes, no or not stated"),
        ("amplifier", "fuses_a", "30, x", "such as 3.5"),
    ],
)
def test_what_cannot_be_is_said_with_the_remedy(table, key, typed, remedy):
    with pytest.raises(ValueError, match=remedy) as caught:
        keys_of(field_of(table, key), typed, {})
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("draft", [SAMPLE, SMALL_DRAFT])
def test_what_a_field_shows_is_read_back_as_what_the_file_says(draft):
    for _, entry in draft.file.entries():
        row = entry.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
        for field in FIELDS[entry.table]:
            shown = text_of(field, row)
            if not shown:
                continue
            keys = {key: value for key, value in keys_of(field, shown, row).items() if value is not None}
            assert {key: row[key] for key in keys} == keys, (entry.name, field.key)


def test_every_key_of_the_file_has_a_field():
    tables = {name: info for name, info in WiringFile.model_fields.items() if name in FIELDS and name != "system"}
    together = {"awg": "size", "mm2": "size", "length_m": "length", "length_ft": "length", "distance_m": "distance"}
    together |= {"distance_in": "distance", "strand_count": "strands", "strand_diameter_mm": "strands"}
    together |= {"smallest_awg": "smallest", "smallest_mm2": "smallest"}
    for table, info in tables.items():
        entry = info.annotation.__args__[0]
        keys = {field.alias or name for name, field in entry.model_fields.items()} - {"state"}
        assert {together.get(key, key) for key in keys} == {one.key for one in FIELDS[table]}, table


# ---------------------------------------------------------------- edits


def test_an_edit_leaves_remarks_and_everything_else_to_the_letter():
    changed = edited(SMALL_DRAFT, set_keys("main run", {"mm2": 25}, FOUND), PATH)
    before, after = SMALL.splitlines(), changed.text.splitlines()
    assert [(was, now) for was, now in zip(before, after, strict=True) if was != now] == [("mm2 = 16", "mm2 = 25")]


def test_what_is_changed_as_left_stands_twice_and_as_found_stays():
    changed = edited(SMALL_DRAFT, set_keys("main run", {"mm2": 50}, LEFT), PATH)
    assert _row(changed, "main run", FOUND)["mm2"] == 16
    assert _row(changed, "main run", LEFT)["mm2"] == 50
    assert _system(changed, FOUND) == _system(SMALL_DRAFT)
    again = edited(changed, set_keys("main run", {"mm2": 70}, LEFT), PATH)
    assert len(again.file.conductor) == 3, "it is split only once"
    assert drawing_of(_system(again, LEFT)) == drawing_of(_system(SMALL_DRAFT)), "nothing moves in the drawing"
    assert "red, grommet" in again.text, "the remark stays with what was found"
    words = edited(SMALL_DRAFT, set_keys("main run", {"note": "red"}, LEFT), PATH)
    assert len(words.file.conductor) == 2, "a note changes nothing in the system"


def test_a_correction_as_found_holds_for_both():
    changed = edited(SAMPLE, set_keys("desk ground", {"length_m": 3}, FOUND), PATH)
    assert _row(changed, "desk ground", FOUND)["length_m"] == _row(changed, "desk ground", LEFT)["length_m"] == 3


@pytest.mark.parametrize("state", [FOUND, LEFT])
@pytest.mark.parametrize("name, table", [("main run", "conductor"), ("main fuse", "fuse"), ("body stud", "joint")])
def test_a_part_put_before_another_carries_its_current(state, name, table):
    changed = edited(SAMPLE, insert_before(name, "fuse", {"name": "new", "kind": "blade", "rated_a": 50}, state), PATH)
    solved = solve(_system(changed, state))
    assert abs(solved.elements["new"].amps) == pytest.approx(abs(solved.elements[name].amps), rel=1e-6)
    other = LEFT if state == FOUND else FOUND
    if state == LEFT:
        assert _system(changed, other) == _system(SAMPLE, other)


def test_a_fuse_is_put_where_the_current_comes_from():
    changed = edited(SMALL_DRAFT, insert_before("main run", "joint", {"name": "j", "kind": "crimped"}, FOUND), PATH)
    assert _row(changed, "j") | {"from": "fuse out"} == _row(changed, "j")
    assert _row(changed, "main run")["from"] == _row(changed, "j")["to"]


def test_a_split_cable_is_as_long_as_before_and_the_block_lies_between():
    changed = edited(SMALL_DRAFT, split_at_block("main run", "set-screw", 4, FOUND), PATH)
    own = [one for one in changed.file.conductor if one.name.startswith("main run")]
    assert sum(one.metres for one in own) == pytest.approx(4.5)
    solved = solve(_system(changed))
    first, rest = (abs(solved.elements[one.name].amps) for one in own)
    assert first == pytest.approx(rest)
    assert changed.file.block[0].point == own[0].end == own[1].start


def test_one_more_run_halves_the_resistance():
    changed = edited(SMALL_DRAFT, one_more_run("main run", FOUND), PATH)
    was, now = (
        next(one for one in _system(draft).conductors if one.name == "main run") for draft in (SMALL_DRAFT, changed)
    )
    assert now.ohm_at_20_c == pytest.approx(was.ohm_at_20_c / 2)


@pytest.mark.parametrize("state", [FOUND, LEFT])
def test_any_part_of_the_sample_can_be_taken_out(state):
    """What was in line is joined, a ring is opened, a load goes with its leads: the rest can still be solved."""
    for _, row in list(rows_in(data_of(SAMPLE.file), state)):
        if row["name"] == "starter battery":
            continue
        changed = edited(SAMPLE, remove(row["name"], state), PATH)
        with pytest.raises(ValueError, match="is not there"):
            place_of(data_of(changed.file), row["name"], state)
        system = _system(changed, state)
        solve(system)
        if state == LEFT:
            assert _system(changed, FOUND) == _system(SAMPLE, FOUND), row["name"]


def test_an_amplifier_goes_with_its_leads():
    changed = edited(SAMPLE, remove("awning amplifier", FOUND), PATH)
    gone = {row["name"] for _, row in rows_in(data_of(SAMPLE.file), FOUND)}
    gone -= {row["name"] for _, row in rows_in(data_of(changed.file), FOUND)}
    assert gone == {"awning amplifier", "awning lead", "awning ground"}


def test_taking_out_what_the_file_needs_is_refused_in_one_sentence():
    for name in ("battery", "amplifier"):
        with pytest.raises(ValueError, match=f"no {name} as found"):
            edited(SMALL_DRAFT, remove(name, FOUND), PATH)


def test_two_parts_cannot_have_one_name():
    with pytest.raises(ValueError, match="has the name of a") as caught:
        edited(SMALL_DRAFT, set_keys("main run", {"name": "main fuse"}, FOUND), PATH)
    assert "line" not in str(caught.value), "a draft has no lines that anybody could look up"


def test_what_the_file_model_refuses_names_the_key():
    with pytest.raises(ValueError, match="length m: 900 m is out of reason"):
        edited(SMALL_DRAFT, set_keys("main run", {"length_m": 900}, FOUND), PATH)
    with pytest.raises(ValueError, match="let in"):
        edited(SMALL_DRAFT, set_keys("amplifier", {"rated_w": 5000}, FOUND), PATH)


# ---------------------------------------------------------------- adding


@pytest.mark.parametrize("us", [False, True])
@pytest.mark.parametrize("state", [FOUND, LEFT])
@pytest.mark.parametrize("name", DEEDS)
def test_every_deed_can_be_done_and_solved(name, state, us):
    draft = SAMPLE
    part, table = ("main run", "conductor")
    deed = deed_of(name, Where(part, table, _system(draft, state), state, us))
    changed = edited(draft, deed.edit, PATH)
    assert changed.text != draft.text
    solve(_system(changed, state))
    assert not deed.table or len(getattr(changed.file, deed.table)) > len(getattr(draft.file, deed.table))
    again = (
        edited(changed, deed_of(name, Where(part, table, _system(changed, state), state, us)).edit, PATH)
        if name != ("wiring-remove")
        else changed
    )
    assert again.file.states()


def test_a_deed_without_its_part_says_what_to_choose():
    for name, words in (("wiring-run", "Choose a part"), ("wiring-remove", "Choose a part")):
        with pytest.raises(ValueError, match=words):
            deed_of(name, Where("", "", _system(SAMPLE), FOUND, False))
    with pytest.raises(ValueError, match="is no cable"):
        deed_of("wiring-split", Where("main fuse", "fuse", _system(SAMPLE), FOUND, False))
    with pytest.raises(ValueError, match="has no way in front"):
        deed_of("wiring-fuse", Where("bass amplifier", "amplifier", _system(SAMPLE), FOUND, False))


def test_the_fuse_proposed_for_a_cable_is_no_larger_than_the_cable_may_carry():
    system = _system(SAMPLE)
    cable = next(one for one in system.conductors if one.name == "corner lead")
    assert Where("corner lead", "conductor", system, FOUND, False).rating() <= cable.ampacity_a


# ---------------------------------------------------------------- the cheapest changes


@pytest.fixture(scope="module")
def thin() -> tuple[Draft, object]:
    """A wiring that needs several kinds of changes, and the plan for it."""
    text = SMALL.replace("mm2 = 16", "mm2 = 4").replace('kind = "bolted"', 'kind = "through washers"')
    draft = drafted(text.replace("distance_m = 0.2", "distance_m = 0.2"), PATH)
    return draft, cheapest_changes(_system(draft), bundled_prices())


def test_all_changes_taken_over_make_the_system_of_the_plan(thin):
    draft, plan = thin
    assert plan.solved
    assert len(plan.changes) >= 2
    changed = edited(draft, take_over(plan.changes, _system(draft), plan.system), PATH)
    assert _system(changed, FOUND) == _system(draft, FOUND), "as found stays"
    left = _system(changed, LEFT)
    assert not [one for one in find_faults(left) if one.must_go]
    planned, entered = solve(plan.system), solve(left)
    assert entered.delivered_w == pytest.approx(planned.delivered_w, rel=1e-3)
    for one in plan.system.conductors:
        assert next(other for other in left.conductors if other.name == one.name).size == one.size


def test_a_chosen_change_is_taken_over_alone(thin):
    draft, plan = thin
    joint = next(one for one in plan.changes if one.action == "make joint anew")
    changed = edited(draft, take_over([joint], _system(draft), plan.system), PATH)
    assert _row(changed, "body stud", LEFT)["kind"] == "bolted"
    assert _row(changed, "body stud", FOUND)["kind"] == "through washers"
    assert len(changed.file.joint) == 2
    assert changed.file.conductor == draft.file.conductor


# ---------------------------------------------------------------- the first description


@pytest.mark.parametrize("us", [False, True])
@pytest.mark.parametrize("back", [BODY, CABLE])
@pytest.mark.parametrize("count", ["1", "5"])
def test_usual_answers_make_a_wiring_that_can_be_solved(us, back, count):
    answers = {one.key: one.usual for one in questions(us=us)} | {"count": count, "back": back}
    draft = written(file_of(first_description(answers, us=us)), "", PATH)
    system = _system(draft)
    assert len(system.amplifiers) == int(count)
    assert solve(system).delivered_w > 0
    assert ("awg" in draft.text) is us


def test_without_fuse_and_alternator():
    answers = {one.key: one.usual for one in questions(us=False)} | {"fuse": "", "alternator": ""}
    system = _system(written(file_of(first_description(answers, us=False)), "", PATH))
    assert not system.fuses
    assert not system.alternators
    assert any(one.severity == "danger" for one in find_faults(system)), "no fuse is a danger"


@pytest.mark.parametrize(
    "key, answer", [("count", "0"), ("count", "13"), ("count", "x"), ("size", "thick"), ("power", ""), ("system", " ")]
)
def test_an_answer_that_cannot_be_is_named(key, answer):
    answers = {one.key: one.usual for one in questions(us=False)} | {key: answer}
    with pytest.raises(AnswerError) as caught:
        first_description(answers, us=False)
    assert caught.value.key == key


def test_points_are_told_once():
    points = points_in(data_of(SAMPLE.file), FOUND)
    assert len(points) == len(set(points))
    assert "load floor block" not in points
    assert "block" in points
