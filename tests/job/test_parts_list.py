"""The parts list: out to a spreadsheet and back, the same to the last field; what is wrong has its row."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from job import JobError, WiringFile, parts_list, read_wiring_file, with_parts
from sample_data import SAMPLE_JOB

SAMPLE = SAMPLE_JOB / "wiring.toml"
HEADER = "name,kind,type,size,material,length,runs,from,to,rating_a"
SEMI, TABS = HEADER.replace(",", ";"), HEADER.replace(",", "\t")


@pytest.fixture(scope="module")
def sample() -> WiringFile:
    return read_wiring_file(SAMPLE)


def laid(sample: WiringFile, folder: Path, text: str, encoding: str = "utf-8") -> WiringFile:
    path = folder / "parts.csv"
    path.write_bytes(text.encode(encoding))
    return with_parts(sample, path)


def without_parts(file: WiringFile) -> WiringFile:
    return file.model_copy(update={"conductor": (), "fuse": (), "joint": ()})


def test_out_and_back_changes_nothing(sample: WiringFile, tmp_path: Path) -> None:
    text = parts_list(sample)
    assert laid(sample, tmp_path, text) == sample


def test_into_an_empty_file_and_out_again_is_the_same_list(sample: WiringFile, tmp_path: Path) -> None:
    text = parts_list(sample)
    again = laid(without_parts(sample), tmp_path, text)
    assert parts_list(again) == text
    assert [one.name for one in again.conductor] == [one.name for one in sample.conductor]


def test_names_lengths_and_sizes_of_every_kind_come_back(sample: WiringFile, tmp_path: Path) -> None:
    """What a spreadsheet would take for a formula, quotes, separators, feet, strands, odd decimals."""
    odd = sample.conductor[0].model_copy(
        update={
            "name": '=SUM("a,b;c")', "start": "-x", "end": "+ post é", "awg": "4/0", "strand": "AWG",
            "length_m": None, "length_ft": 0.1 + 0.2, "strand_count": 49, "strand_diameter_mm": 0.65,
        }
    )  # fmt: skip
    file = sample.model_copy(update={"conductor": (odd,)})
    text = parts_list(file)
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in csv.reader(text.splitlines()) for cell in row)
    back = laid(without_parts(sample), tmp_path, text).conductor[0]
    for key in ("name", "start", "end", "awg", "strand", "length_ft", "strand_count", "strand_diameter_mm", "material"):
        assert getattr(back, key) == getattr(odd, key), key


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        (f"{HEADER}\nfeed,conductor,,25 mm2,copper,3.2 m,2,a,b,\nmain,fuse,blade,,,,,b,c,7.5\n", "utf-8"),
        (f"{HEADER}\nfeed,conductor,,25 mm²,copper,3.2,2,a,b,\n\nmain,fuse,blade,,,,,b,c,7.5\n", "utf-8-sig"),
        (f"{HEADER}\nfeed,conductor,,25 MM2,Copper,\"3,2 m\",2,a,b,\nmain,fuse,blade,,,,,b,c,\"7,5\"\n", "utf-8"),
        (f"{SEMI};;\nfeed;conductor;;25 mm2;copper;3,2 m;2;a;b;\nmain;fuse;blade;;;;;b;c;7,5;;\n", "utf-8-sig"),
        (f"{TABS.title()}\r\nfeed\tconductor\t\t25 mm2\tcopper\t3.2 m\t2\ta\tb\t\r\n"
         "main\tfuse\tblade\t\t\t\t\tb\tc\t7.5\r\n", "utf-8"),
    ],
)  # fmt: skip
def test_separators_decimal_commas_and_marks_of_spreadsheets(
    sample: WiringFile, tmp_path: Path, text: str, encoding: str
) -> None:
    file = laid(without_parts(sample), tmp_path, text, encoding)
    (feed,), (main,) = file.conductor, file.fuse
    assert (feed.mm2, feed.length_m, feed.runs, feed.start, feed.end) == (25, 3.2, 2, "a", "b")
    assert (main.rated_a, main.kind) == (7.5, "blade")


def test_a_row_changes_what_its_cells_say_and_no_more(sample: WiringFile, tmp_path: Path) -> None:
    text = "name,kind,state,size,length\nmain run,conductor,as found,50 mm2,\nnew lead,conductor,,4 AWG,2 ft\n"
    with pytest.raises(JobError, match=r"parts\.csv: row 3: 'new lead': from: is missing"):
        laid(sample, tmp_path, text)
    file = laid(sample, tmp_path, text[: text.index("new lead")])
    was = next(one for one in sample.conductor if one.name == "main run" and one.state == "as found")
    now = next(one for one in file.conductor if one.name == "main run" and one.state == "as found")
    assert (now.mm2, now.awg, now.strand) == (50, None, None)
    assert (now.length_m, now.start, now.end, now.material) == (was.length_m, was.start, was.end, was.material)
    assert len(file.conductor) == len(sample.conductor)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "row 1: column 'name' is missing"),
        ("name,size\n", "row 1: column 'kind' is missing"),
        ("name,kind,lenght\n", "row 1: column 'lenght' is not known (did you mean 'length'?)"),
        ("name,kind,name\n", "row 1: two columns have one name"),
        (f"{HEADER}\na,conductor,,4 AWG,tin,1 m,1,p,q,\n", "row 2: 'a': material: 'tin' is not known"),
        (f"{HEADER}\na,conductor,,4 AWG,copper,-1 m,1,p,q,\n", "row 2: 'a': length_m: -1 m is out of reason"),
        (f"{HEADER}\na,conductor,,4 AWG,copper,far,1,p,q,\n", "row 2: 'a': length: 'far' is not understood: write 3"),
        (f"{HEADER}\na,conductor,,thick,copper,1 m,1,p,q,\n", "row 2: 'a': size: 'thick' is not understood"),
        (f"{HEADER}\na,conductor,,44 AWG,copper,1 m,1,p,q,\n", "row 2: 'a': gauge '44' is not known"),
        (f"{HEADER}\na,conductor,,4 AWG,copper,1 m,two,p,q,\n", "row 2: 'a': runs: 'two' is no whole number"),
        (f"{HEADER}\n\na,fuse,blade,,,,,p,q,0\n", "row 3: 'a': rated_a: 0 A is out of reason"),
        (f"{HEADER}\na,fuse,blade,,,,,p,q,\n", "row 2: 'a': rated_a: is missing"),
        (f"{HEADER}\na,fuse,blade,,,,,p,q,many\n", "row 2: 'a': rating_a: 'many' is no number"),
        (f"{HEADER}\na,bolt,,,,,,p,q,\n", "row 2: 'a': kind 'bolt' is not known: use one of conductor, fuse, joint"),
        (f"{HEADER}\na,joint,glued,,,,,p,q,\n", "row 2: 'a': kind: joint kind 'glued' is not known"),
        (f"{HEADER}\n,joint,bolted,,,,,p,q,\n", "row 2: name: is empty"),
        (f"{HEADER}\na,joint,bolted,,,,,p,q,,9,9\n", "row 2: has 12 cells for 10 columns"),
        (f"{HEADER}\nmain fuse,joint,bolted,,,,,p,q,\n", "row 2: "),
        (f'{HEADER}\n"a,joint\n', "is no CSV"),
        ("\0\0\0", "holds zero bytes"),
        (f"{HEADER}\n" + "x" * 2_000_001, "is larger than"),
    ],
)  # fmt: skip
def test_what_is_wrong_has_its_row_and_remedy(sample: WiringFile, tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(JobError) as caught:
        laid(sample, tmp_path, text)
    assert f"parts.csv: {words}" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_bytes_that_are_no_text(sample: WiringFile, tmp_path: Path) -> None:
    with pytest.raises(JobError, match="is not UTF-8 text"):
        laid(sample, tmp_path, "name,kind\né,joint\n", "latin-1")
