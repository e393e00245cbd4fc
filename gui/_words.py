"""The words on the screens: trade terms for quantities, tap points, states and verdicts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analysis import Figure
from gui._format import si

#: how Qt Linguist knows every text of this program
CONTEXT = "humproof"


def _as_written(context: str, text: str) -> str:
    return text


_translate: Callable[[str, str], str] = _as_written


def tr(text: str, /, **facts: object) -> str:
    """A text for the user in the user's language; `tr("{count} gaps", count=3)` puts facts in after translating."""
    found = _translate(CONTEXT, text)
    return found.format(**facts) if facts else found


def use_translator(translate: Callable[[str, str], str]) -> None:
    """Ask this (Qt's own, once there is an application) for every text; without one texts stay as they are written."""
    global _translate
    _translate = translate


@dataclass(frozen=True, slots=True)
class Mark:
    """How a verdict looks beside its words: a sign (never colour alone) and a tone of the palette."""

    sign: str
    tone: str


VERDICTS = {
    "improved": Mark("✔", "good"),
    "worse": Mark("✖", "bad"),
    "no change shown": Mark("=", "plain"),
    "below the instrument's floor": Mark("▁", "good"),
    "not comparable": Mark("≠", "doubt"),
}


def unbroken(words: str) -> str:
    """The same words with hyphens (U+2011) at which no line is broken."""
    return words.replace("-", "\u2011")


def figure_details(figure: Figure | None) -> str:
    """Band, averages and reference of a figure, for the tip beside a table row."""
    if figure is None:
        return ""
    parts = []
    if figure.band_hz:
        parts.append(f"{si(figure.band_hz[0], 'Hz', 3)} to {si(figure.band_hz[1], 'Hz', 3)}")
    if figure.averages:
        parts.append(f"{figure.averages} averages")
    if figure.reference:
        parts.append(f"referred to {si(figure.reference, 'V', 4)} rms")
    return ", ".join(parts)


def counted(number: int, noun: str) -> str:
    """ "1 gap", "2 gaps"."""
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def thinning_words(thinned: int, decades: bool, how: str = "") -> str:
    """How many values one drawn point stands for, and which of them it shows; `how` says it for a "{count}"."""
    if how and thinned > 1:
        return how.format(count=counted(thinned, "line"))
    if thinned <= 1:
        return "every line shown" if decades else "every sample shown"
    if decades:
        return f"thinned: the highest of up to {counted(thinned, 'line')} per point"
    return f"thinned: lowest to highest and mean of {counted(thinned, 'sample')} per point"
