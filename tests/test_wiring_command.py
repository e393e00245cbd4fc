"""humproof wiring as a technician meets it, on the library van with the classic faults together."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from analysis.wiring import Prices
from job import CAUTIONS, WIRING_CAUTIONS, WiringState, WiringStudy, bundled_prices, wiring_study
from sample_data import SAMPLE_JOB
from tests.support import ROOT, call_humproof

SAMPLE = SAMPLE_JOB / "wiring.toml"
DESIGNED = ["converged", "conductors", "amplifiers", "findings", "bottleneck", "largest_deliverable_w", "changes"]
EIGHTY = {"COLUMNS": "80"}


@pytest.fixture(scope="module", autouse=True)
def _sample_reckoned_once() -> Iterator[None]:
    """What is asked of the sample more than once is reckoned once; everything around it runs each time."""
    kept: dict[tuple[object, ...], WiringStudy] = {}

    def study(file: Path, state: WiringState, prices: Prices | None, **options: Any) -> WiringStudy:
        if (file, prices, options["parts"]) != (SAMPLE, None, None):
            return wiring_study(file, state, prices, **options)
        asked = (state, *sorted(options.items()))
        if asked not in kept:
            kept[asked] = wiring_study(file, state, prices, **options)
        return kept[asked]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("job.wiring_study", study)
        yield


@pytest.fixture(scope="module")
def found() -> dict[str, Any]:
    result: dict[str, Any] = json.loads(call_humproof("wiring", SAMPLE, "--json", check=True).stdout)
    return result


def refused(code: int, *arguments: object) -> str:
    done = call_humproof("wiring", *arguments)
    assert done.returncode == code, (done.returncode, done.stderr)
    assert done.stdout == ""
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    assert "fault of the program itself" not in lines[0]
    return lines[0]


def rules(result: dict[str, Any], *severities: str) -> set[tuple[str, str]]:
    return {(one["rule"], one["element"]) for one in result["findings"] if one["severity"] in severities}


def test_the_json_is_the_designed_one(found: dict[str, Any]) -> None:
    assert list(found)[: len(DESIGNED)] == DESIGNED
    assert {"name", "current_a", "resistance_ohm", "drop_v", "ampacity_a", "fuse_a"} <= set(found["conductors"][0])
    assert {"name", "volts", "amps", "power_w", "volts_uncertainty"} <= set(found["amplifiers"][0])
    assert {"severity", "element", "rule", "text", "figure", "limit", "unit", "remedy", "source"} == set(
        found["findings"][0]
    )
    assert found["simulated"] is True
    assert found["state"] == "as found"
    assert {(one["power"], one["engine"]) for one in found["cases"]} == {
        (power, engine) for power in (1, 1 / 3, 1 / 8) for engine in ("off", "running")
    }


def test_the_figures_obey_ohm_and_add_up(found: dict[str, Any]) -> None:
    for one in [*found["conductors"], *found["elements"]]:
        assert one["drop_v"] == pytest.approx(one["current_a"] * one["resistance_ohm"], rel=1e-9)
    currents = {one["name"]: one["current_a"] for one in found["conductors"]}
    leads = ("bass lead", "shelf lead", "corner lead", "awning lead", "desk lead")
    assert currents["main run"] == pytest.approx(sum(currents[name] for name in leads), rel=1e-6)
    for one in found["amplifiers"]:
        assert one["power_w"] == pytest.approx(one["volts"] * one["amps"], rel=1e-9)
        # by Tellegen's theorem the parts of the drop are all of it
        assert sum(one["drop_v"].values()) == pytest.approx(one["source_volts"] - one["volts"], abs=1e-6)


def test_each_classic_fault_is_named(found: dict[str, Any]) -> None:
    """The faults that were put into the sample, each under its rule at its element."""
    named = rules(found, "danger", "fault")
    assert {
        ("fuse below demand", "main fuse"),
        ("conductor over ampacity", "main run"),
        ("fuse above conductor", "main run"),
        ("one run split many ways", "main run"),
        ("thick fed through thin", "main run"),
        ("joint through washers", "body stud"),
        ("fuse too far from battery", "main fuse"),
        ("aluminium in copper terminal", "load floor block: main run"),
        ("ground thinner than positive", "ground run"),
        ("supply collapses", "Mobile library van, reading-hour sound system"),
    } <= named
    assert found["converged"] is False
    assert found["bottleneck"] == "main run"
    asked = sum(one["asked_w"] for one in found["amplifiers"])
    # "amplifiers asking several times what the run can carry"
    assert found["largest_deliverable_w"] < asked / 3


def test_the_changes_solve_them_all(found: dict[str, Any]) -> None:
    assert found["plan"]["solved"] is True
    assert [one for one in found["plan"]["findings_left"] if one["severity"] != "note"] == []
    assert found["plan"]["cost"] == pytest.approx(sum(one["cost"] for one in found["changes"]), abs=0.01)
    assert {"body stud", "main run", "main fuse"} <= {one["element"] for one in found["changes"]}
    assert "invented" in found["plan"]["prices_source"]


def test_as_left_nothing_dangerous_or_faulty_stands_any_more() -> None:
    left = json.loads(call_humproof("wiring", SAMPLE, "--as-left", "--no-changes", "--json", check=True).stdout)
    assert rules(left, "danger", "fault") == set()
    assert left["converged"] is True
    assert left["state"] == "as left"
    assert (left["changes"], left["plan"]) == ([], None)
    assert all(case["converged"] for case in left["cases"])
    assert all(0.01 < one["volts_uncertainty"] < 1 for one in left["amplifiers"])
    assert all(one["drop_uncertainty"] > 0 for one in left["conductors"])


@pytest.mark.parametrize("options", [("--no-changes",), ("--as-left", "--no-changes"), ("--both",)])
def test_it_is_readable_in_80_columns(options: tuple[str, ...]) -> None:
    done = call_humproof("wiring", SAMPLE, *options, env=EIGHTY, check=True)
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert "…" not in done.stdout
    assert lines[0].startswith("Mobile library van, reading-hour sound system")
    assert "SIMULATED" in " ".join(lines[:2])
    flat = " ".join(done.stdout.split())
    assert "reading corner amplifier" in flat
    assert "battery strap" in flat
    assert "16 mm² Cu" in flat or "--as-left" in options
    # what a cell says is whole: figures with their decimals, and no row without its name
    assert all(caution.split(":")[0] in flat for caution in WIRING_CAUTIONS)


def test_text_tells_what_was_found(found: dict[str, Any]) -> None:
    shown = call_humproof("wiring", SAMPLE, env=EIGHTY, check=True).stdout
    assert max(map(len, shown.splitlines())) <= 80
    flat = " ".join(shown.split())
    assert "COLLAPSES at" in flat
    most, doubt = found["largest_deliverable_w"], found["largest_deliverable_uncertainty_w"]
    assert f"at most {most:.0f} ± {doubt:.0f} W (k = 2) can be delivered" in flat
    assert shown.index("DANGER") < shown.index("FAULT") < shown.index("NOTE") < shown.index("Cheapest changes found")
    for one in found["findings"]:
        assert " ".join(one["text"].split()).replace("- ", "-") in flat.replace("- ", "-")
    assert found["plan"]["text"] in flat
    assert "assumed: " in shown


def test_side_by_side() -> None:
    both = json.loads(call_humproof("wiring", SAMPLE, "--both", "--json", check=True).stdout)
    assert list(both) == ["as_found", "as_left", "differences"]
    was, now, change = both["as_found"], both["as_left"], both["differences"]
    assert change["largest_deliverable_w"] == pytest.approx(now["largest_deliverable_w"] - was["largest_deliverable_w"])
    volts = [{one["name"]: one["volts"] for one in side["amplifiers"]} for side in (was, now)]
    for one in change["amplifiers"]:
        assert one["volts"] == pytest.approx(volts[1][one["name"]] - volts[0][one["name"]])
        assert one["volts"] > 3
    assert "ground cable" in change["conductors_added"]
    assert len(change["findings_gone"]) >= 20
    assert change["findings_new"] == []


def test_engine_and_power_are_chosen() -> None:
    options = ("--engine", "idle", "--power", "eighth", "--no-changes", "--as-left", "--json")
    told = json.loads(call_humproof("wiring", SAMPLE, *options, check=True).stdout)
    assert told["case"] == {"power": 1 / 8, "engine": "idle", "demand": 1.0}
    # an eighth of 600 W, class D of constant efficiency 0.8
    assert told["amplifiers"][0]["power_w"] == pytest.approx(600 / 8 / 0.8)


def test_parts_go_out_and_come_back(tmp_path: Path, found: dict[str, Any]) -> None:
    parts, again = tmp_path / "parts.csv", tmp_path / "again.toml"
    call_humproof("wiring", SAMPLE, "--no-changes", "--parts-out", parts, "--save", again, check=True)
    assert parts.read_bytes().startswith(b"\xef\xbb\xbfname,kind,type,size")
    told = json.loads(call_humproof("wiring", again, "--parts", parts, "--no-changes", "--json", check=True).stdout)
    assert told["conductors"] == found["conductors"]
    thick = tmp_path / "thick.csv"
    thick.write_text("name;kind;size;material;state\nmain run;conductor;50 mm2;copper;as found\n")
    told = json.loads(
        call_humproof("wiring", SAMPLE, "--parts", thick, "--save", again, "--no-changes", "--json", check=True).stdout
    )
    run = next(one for one in told["conductors"] if one["name"] == "main run")
    assert (run["size"], run["material"], run["length_m"]) == ("50 mm²", "copper", 4.8)
    assert told["largest_deliverable_w"] > found["largest_deliverable_w"]
    assert "mm2 = 50" in again.read_text(encoding="utf-8")
    assert "# The supply wiring of the mobile library van" not in again.read_text(encoding="utf-8")


def test_a_price_list_of_your_own(tmp_path: Path) -> None:
    """On the small system of the specification: its stud stands on washers."""
    small, own = tmp_path / "small.toml", tmp_path / "own.toml"
    page = (ROOT / "docs" / "wiring-file.md").read_text(encoding="utf-8")
    small.write_text(page.split("```toml\n")[1].split("```")[0], encoding="utf-8")
    text = (ROOT / "job" / "prices.toml").read_text(encoding="utf-8")
    own.write_text(text.replace("invented default prices", "our list").replace("joint = 7", "joint = 70"))
    told = json.loads(call_humproof("wiring", small, "--prices", own, "--json", check=True).stdout)
    assert told["plan"]["prices_source"] == "our list"
    assert next(one for one in told["changes"] if one["action"] == "make joint anew")["cost"] == 70
    own.write_text(text.replace("joint = 7", "joint = -7"))
    assert "own.toml: line " in refused(1, small, "--prices", own)
    own.write_text(text.replace('awg = "8"', 'awg = "7"'))
    assert "no SAE cable of gauge '7'" in refused(1, small, "--prices", own)


def test_the_price_list_that_comes_along_is_the_invented_one() -> None:
    assert bundled_prices() == Prices()


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("nowhere.toml",), 1, "nowhere.toml: cannot be read"),
        ((SAMPLE, "--engine", "steam"), 2, "--engine steam: use one of off, idle, running"),
        ((SAMPLE, "--power", "half"), 2, "--power half: use one of rated, third, eighth"),
        ((SAMPLE, "--both", "--as-left"), 2, "leave --as-left out"),
        ((SAMPLE, "--prices", "nowhere.toml"), 1, "nowhere.toml: cannot be read"),
        ((SAMPLE, "--parts", "nowhere.csv"), 1, "nowhere.csv: cannot be read"),
        ((), 2, "Missing argument"),
    ],
)  # fmt: skip
def test_wrong_use_is_one_line(arguments: tuple[object, ...], code: int, words: str) -> None:
    assert words in refused(code, *arguments)


def test_a_file_without_states_has_nothing_as_left(tmp_path: Path) -> None:
    path = tmp_path / "one.toml"
    parts = SAMPLE.read_text(encoding="utf-8").split("\n\n")
    kept = [part.replace('\nstate = "as found"', "") for part in parts if 'state = "as left"' not in part]
    path.write_text("\n\n".join(kept), encoding="utf-8")
    assert 'mark what was changed with state = "as left"' in refused(1, path, "--as-left")
    path.write_text(path.read_text(encoding="utf-8").replace("rated_a = 40", "rated_a = 0"), encoding="utf-8")
    line = refused(1, path)
    assert "one.toml: line " in line
    assert "of 'main fuse': 0 A is out of reason: write more than 0" in line


def test_an_engine_that_runs_needs_an_alternator(tmp_path: Path) -> None:
    path = tmp_path / "none.toml"
    text = SAMPLE.read_text(encoding="utf-8")
    begin, end = text.index("[[alternator]]"), text.index("# ---", text.index("[[alternator]]"))
    rest = text[:begin] + text[end:]
    path.write_text(rest[: rest.index("# ------------------------------------------------------------------ charging")])
    assert "describes no alternator as found" in refused(1, path, "--engine", "idle")
    assert (
        json.loads(call_humproof("wiring", path, "--no-changes", "--json", check=True).stdout)["case"]["engine"]
        == "off"
    )


def test_the_cautions_are_those_for_wires_and_fuses() -> None:
    assert len(WIRING_CAUTIONS) == 4
    assert set(WIRING_CAUTIONS) < set(CAUTIONS)


def test_readings_tell_which_joint_is_bad_and_where_to_probe(tmp_path: Path) -> None:
    """Three readings of the van as left; 0.65 V where a tenth of that is to be expected."""
    typed = [
        part
        for reading in ("battery +:main fuse in=0.011", "battery +:block=0.65", "bass -:battery -=0.065")
        for part in ("--reading", reading)
    ]
    options = ("--as-left", "--no-changes", "--engine", "off", "--power", "third")
    told = json.loads(call_humproof("wiring", SAMPLE, *options, *typed, "--json").stdout)["measured"]
    assert told["fault_shown"] is True
    assert told["suspects"][0]["excess"]["low"] > 2e-3
    assert told["suspects"][0]["element"] in {"load floor block: main run", "main fuse", "main run"}
    shown = call_humproof("wiring", SAMPLE, *options, *typed, env=EIGHTY)
    assert shown.returncode == 0
    assert "measure next" in shown.stdout
