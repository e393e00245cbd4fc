"""Palettes, ticks, keys and the rule that Qt comes through one file."""

import ast
import math

import pytest

from gui._actions import ACTIONS, PICTURE_KEYS
from gui._palette import DARK, HIGH_CONTRAST, LIGHT, SHAPE_PAIRS, TEXT_PAIRS, Palette, contrast, luminance
from gui._ticks import decade_ticks, tick_text
from tests.support import ROOT

PALETTES = pytest.mark.parametrize("palette", [LIGHT, DARK, HIGH_CONTRAST], ids=lambda palette: palette.name)


def test_contrast_is_the_standards():
    """Values from the definitions of WCAG 2.2: 21 for black on white; 4.54 is what #767676 on white is known for."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)
    assert luminance("#ff0000") == pytest.approx(0.2126)


@PALETTES
@pytest.mark.parametrize("text, ground", TEXT_PAIRS)
def test_text_can_be_read(palette: Palette, text: str, ground: str):
    found = contrast(getattr(palette, text), getattr(palette, ground))
    assert found >= 4.5, f"{palette.name}: {text} on {ground} reaches {found:.2f}"


@pytest.mark.parametrize("text, ground", TEXT_PAIRS)
def test_high_contrast_is_higher(text: str, ground: str):
    """7 : 1 is what WCAG 2.2, 1.4.6 (contrast, enhanced) asks for."""
    assert contrast(getattr(HIGH_CONTRAST, text), getattr(HIGH_CONTRAST, ground)) >= 7.0


@PALETTES
@pytest.mark.parametrize("shape, ground", SHAPE_PAIRS)
def test_shapes_can_be_seen(palette: Palette, shape: str, ground: str):
    found = contrast(getattr(palette, shape), getattr(palette, ground))
    assert found >= 3.0, f"{palette.name}: {shape} on {ground} reaches {found:.2f}"


@PALETTES
def test_selected_text_and_signs_can_be_read(palette: Palette):
    assert contrast(palette.ink, palette.hair) >= 4.5
    for tone in ("good", "bad", "doubt", "plain"):
        assert contrast(palette.sheet, palette.tone(tone)) >= 4.5


#: linear RGB as a person sees it who lacks one kind of cone (Viénot, Brettel and Mollon 1999, simplified as
#: "the missing cone's channel takes the value of its neighbour": red for protan, green for deutan)
_SEEN = {
    "protan": ((0.0, 1.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "deutan": ((1.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
}


@PALETTES
@pytest.mark.parametrize("kind", _SEEN)
def test_before_and_after_differ_without_red_or_green_cones(palette: Palette, kind: str):
    found, left = (_seen(colour, kind) for colour in (palette.found, palette.left))
    assert math.dist(found, left) > 0.2


def _seen(colour: str, kind: str) -> list[float]:
    linear = [(int(colour[start : start + 2], 16) / 255) ** 2.2 for start in (1, 3, 5)]
    return [sum(share * part for share, part in zip(row, linear, strict=True)) for row in _SEEN[kind]]


def test_every_key_does_one_thing():
    keys = [action.keys for action in ACTIONS]
    assert len(keys) == len(set(keys))
    assert len({key.key for key in PICTURE_KEYS}) == len(PICTURE_KEYS)
    assert all(action.text and action.tip and action.keys for action in ACTIONS)
    for menu in {action.menu for action in ACTIONS}:
        letters = [action.text[action.text.index("&") + 1].lower() for action in ACTIONS if action.menu == menu]
        assert len(letters) == len(set(letters)), f"menu {menu} has a letter twice: {letters}"


def test_qt_comes_through_one_file():
    users = {
        path.name
        for path in (ROOT / "gui").glob("*.py")
        for name in _imported(path.read_text(encoding="utf-8"))
        if name.partition(".")[0] in ("PyQt6", "pyqtgraph")
    }
    assert users == {"_qt.py"}


def _imported(source: str) -> set[str]:
    nodes = list(ast.walk(ast.parse(source)))
    names = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    return names | {node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)}


@pytest.mark.parametrize(
    "low, high, room", [(0.7, 4.4, 8), (-8.2, -2.9, 4), (2.0, 2.9, 9), (3.3010, 3.3014, 6), (-3, 6, 3)]
)
def test_ticks_lie_in_view_and_never_crowd(low, high, room):
    labelled, bare = decade_ticks(low, high, room)
    assert 1 <= len(labelled) <= room + 2
    assert all(low <= tick <= high for tick in (*labelled, *bare))
    assert not set(labelled) & set(bare)


@pytest.mark.parametrize("low, high", [(1.0, 1.0), (2.0, 1.0), (0.0, math.inf), (math.nan, 1.0)])
def test_no_view_has_no_ticks(low, high):
    assert decade_ticks(low, high, 5) == ([], [])


@pytest.mark.parametrize(
    "tick, unit, text",
    [
        (2.0, "Hz", "100 Hz"),
        (math.log10(2_000), "Hz", "2 kHz"),
        (-5.0, "V", "10 µV"),
        (-6.0, "FS", "10⁻⁶ FS"),
        (math.log10(1_002.5), "Hz", "1.0025 kHz"),
    ],
)
def test_every_tick_has_its_unit(tick, unit, text):
    assert tick_text(tick, unit) == text
