"""Three palettes of our own and the contrast they must reach (WCAG 2.2, 1.4.3 and 1.4.11)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours as "#rrggbb", named by what they are for."""

    name: str
    #: ground of the window, of panels lying on it, and of what is pressed or selected
    ground: str
    sheet: str
    raised: str
    #: text, text of less weight, hair lines, frame of what can be pressed, frame of what has the keyboard
    ink: str
    quiet: str
    hair: str
    frame: str
    focus: str
    #: curves
    found: str
    left: str
    floor: str
    #: verdicts and notes, as text on ground, sheet and raised
    good: str
    bad: str
    doubt: str
    #: the mark of simulated data: its ground and its text
    simulated: str
    on_simulated: str

    def tone(self, name: str) -> str:
        """The colour of a cell's or headline's tone."""
        return {"good": self.good, "bad": self.bad, "doubt": self.doubt, "quiet": self.quiet}.get(name, self.ink)

    def state(self, name: str) -> str:
        """The colour of a curve by the state of its recording."""
        return {"as found": self.found, "as left": self.left, "difference": self.ink, "picked out": self.ink}.get(
            name, self.floor
        )


LIGHT = Palette(
    name="light",
    ground="#e9e4d6",
    sheet="#fbf9f2",
    raised="#f3eddc",
    ink="#191510",
    quiet="#554d40",
    hair="#cfc7b3",
    frame="#7d735f",
    focus="#0b5f8a",
    found="#b23a00",
    left="#00568f",
    floor="#5d5a52",
    good="#0a5c3a",
    bad="#a3122b",
    doubt="#7a4a00",
    simulated="#5b2a86",
    on_simulated="#ffffff",
)

DARK = Palette(
    name="dark",
    ground="#14130f",
    sheet="#1e1c17",
    raised="#2b2820",
    ink="#f4efe2",
    quiet="#c3bba8",
    hair="#3d392f",
    frame="#8d8470",
    focus="#7cc7f0",
    found="#ff9d5c",
    left="#74bdf2",
    floor="#b9b3a4",
    good="#7ddba6",
    bad="#ff9aa6",
    doubt="#f0c264",
    simulated="#d6b3f7",
    on_simulated="#22103a",
)

#: for strong sun and weak eyes: texts reach 7 : 1 (WCAG 2.2, 1.4.6), frames are as dark as the text
HIGH_CONTRAST = Palette(
    name="high contrast",
    ground="#ffffff",
    sheet="#ffffff",
    raised="#ffffff",
    ink="#000000",
    quiet="#2b2b2b",
    hair="#b4b4b4",
    frame="#000000",
    focus="#0033a0",
    found="#8a2b00",
    left="#0040a8",
    floor="#3a3a3a",
    good="#00451f",
    bad="#8a0014",
    doubt="#5a3600",
    simulated="#3d0a66",
    on_simulated="#ffffff",
)

#: by the names that the settings know
PALETTES = {palette.name: palette for palette in (LIGHT, DARK, HIGH_CONTRAST)}

#: dash patterns in pen widths by state and by how many curves of that state there are; none is a whole line
_DASHES: dict[str, tuple[tuple[float, ...], ...]] = {
    "as found": ((5, 2.5), (5, 2, 1, 2), (2, 2), (1, 2)),
    "as left": ((), (6, 2), (3, 1.2), (6, 1.5, 1, 1.5)),
    "difference": ((),),
    "picked out": ((),),
}
_FLOOR_DASHES: tuple[tuple[float, ...], ...] = ((1, 2), (1, 4))


def dashes(state: str, style: int) -> tuple[float, ...]:
    """How a curve is dashed: neither state nor tap point rests on colour alone."""
    patterns = _DASHES.get(state, _FLOOR_DASHES)
    return patterns[style % len(patterns)]


#: foreground, ground: text that must reach 4.5 : 1
TEXT_PAIRS = (
    *((text, ground) for text in ("ink", "quiet", "good", "bad", "doubt") for ground in ("ground", "sheet", "raised")),
    ("on_simulated", "simulated"),
)
#: foreground, ground: shapes that must reach 3 : 1
SHAPE_PAIRS = (
    *((shape, ground) for shape in ("frame", "focus") for ground in ("ground", "sheet", "raised")),
    *((curve, "sheet") for curve in ("found", "left", "floor")),
)


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    high, low = sorted((luminance(first), luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb", 0 to 1 (WCAG 2.2, definition of relative luminance)."""
    parts = (int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5))
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
