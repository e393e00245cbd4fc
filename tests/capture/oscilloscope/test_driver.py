"""Driver descriptions: what is wrong is told with the line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from capture import SourceError
from capture._oscilloscope._driver import fill
from capture._oscilloscope._driver_file import parse_driver, read_driver, shipped_drivers
from tests.support import ROOT

SHIPPED = (ROOT / "capture" / "drivers" / "scpi-1999-digitizer.toml").read_text(encoding="utf-8")
GUIDE = (ROOT / "capture" / "driver-description.md").read_text(encoding="utf-8")


def test_shipped_ones_are_right() -> None:
    assert "scpi-1999-digitizer" in shipped_drivers()
    for name in shipped_drivers():
        assert read_driver(name).commands.arm


def _changed(old: str, new: str) -> tuple[str, int]:
    """The shipped text with one place changed, and the line of it."""
    assert SHIPPED.count(old) == 1, old
    return SHIPPED.replace(old, new), SHIPPED[: SHIPPED.index(old)].count("\n") + 1


@pytest.mark.parametrize(
    "old,new,words",
    [
        (
            "\nfetch =",
            "\nfetsh =",
            "'commands.fetsh' is not a known key (did you mean 'fetch'?); known here are identify,",
        ),
        (
            "\n[read_back]",
            "\n[readback]",
            "'readback' is not a known key (did you mean 'read_back'?); known here are fo",
        ),
        ("\nsample =", "\nsampel =", "'data.sampel' is not a known key (did you mean 'sample'?)"),
        (
            'interval = { query = "SENSe:S',
            'interval = { querry = "SENSe:S',
            "'read_back.interval.querry' is not a known key (did you mean 'query'?); known here are value,",
        ),
        ('\nsample = "float32"', '\nsample = "float16"', "'data.sample': Input should be 'int8'"),
        ('"ABORt"', '"ABORt {chanel}"', "'{chanel}' is not known in a command; known are {channel}, {range}"),
        ('"ABORt"', '"ABORt {channel:03}"', "'{channel:03}' is not known in a command"),
        ('"ABORt"', '"ABORt {"', "braces stand in pairs"),
        ('\nway = "answer"', '\nway = "poll"', 'for way = "poll" give either mask or text'),
        ("\nincrement = 1", "\nincrement = { field = 2 }", "a field needs a query"),
        ("\nincrement = 1", "\nincrement = { value = 2, per_range = 3 }", "give one of: a number"),
        ("\nversion = 1", "\nversion = 2", "'version': Input should be 1"),
        ("\nrange_is_limit = true", "\nlowest = 5", "give both lowest and highest"),
    ],
)
def test_the_line_is_named(old: str, new: str, words: str) -> None:
    text, line = _changed(old, new)
    with pytest.raises(SourceError) as caught:
        parse_driver(text, "mine.toml")
    said = str(caught.value)
    assert words in said
    assert "\n" not in said
    number = int(re.match(r"mine\.toml: line (\d+): ", said)[1])  # type: ignore[index]
    table = text.rindex("\n[", 0, text.index(new) + 2) if "[" in text[: text.index(new)] else 0
    # The key's own line; where the fault is the table's, its header.
    assert number in (line + old.startswith("\n"), text[: table + 1].count("\n") + 1)


@pytest.mark.parametrize("key,table", [("fetch", "[commands]"), ("arm", "[commands]"), ("sample", "[data]")])
def test_a_missing_key_is_named_at_its_table(key: str, table: str) -> None:
    text = re.sub(rf"(?m)^{key} = .*\n", "", SHIPPED)
    with pytest.raises(SourceError) as caught:
        parse_driver(text, "mine.toml")
    line = text[: text.index(table)].count("\n") + 1
    assert str(caught.value) == f"mine.toml: line {line}: '{table[1:-1]}.{key}' is missing"


def test_a_rate_must_be_known_somehow() -> None:
    text = re.sub(r"(?m)^(rate|interval) = .*\n", "", SHIPPED)
    with pytest.raises(SourceError, match=r"read_back\.rate or read_back\.interval is needed"):
        parse_driver(text, "mine.toml")


def test_files_that_are_none(tmp_path: Path) -> None:
    for data, words in ((b"\xff\xfe", "not UTF-8"), (b"a = ", "is not valid TOML"), (b"#" * 2_000_000, "larger")):
        path = tmp_path / "mine.toml"
        path.write_bytes(data)
        with pytest.raises(SourceError, match=words):
            read_driver(str(path))
    with pytest.raises(SourceError, match="shipped are scpi-1999-digitizer"):
        read_driver(str(tmp_path / "nothing.toml"))


def test_commands_are_filled_in() -> None:
    assert fill(["A{channel}:B {range}", "C {rate}", "D"], {"channel": "2", "range": "0.5"}) == ["A2:B 0.5", "D"]


def test_every_key_stands_in_the_guide() -> None:
    driver = parse_driver(SHIPPED, "shipped")
    for table in (driver.limits, driver.commands, driver.read_back, driver.completion, driver.data, driver.scaling):
        for key in type(table).model_fields:
            assert f"`{key}`" in GUIDE or f"`{key} = " in GUIDE or f"{{ {key} = " in GUIDE, key
