"""How an importer says no: one line with the file, the place, what is wrong there and the remedy."""

from __future__ import annotations

from pathlib import Path

from capture._errors import ImportRefused


class Trouble(Exception):
    """Something wrong at a place of a foreign file; the door adds the file's name and turns it into ImportRefused."""

    def __init__(self, place: str, what: str, remedy: str) -> None:
        super().__init__(place, what, remedy)
        self.place, self.what, self.remedy = place, what, remedy

    def refused(self, path: Path) -> ImportRefused:
        """The error that the user sees."""
        return refusal(path, self.place, self.what, self.remedy)


def refusal(path: Path, place: str, what: str, remedy: str) -> ImportRefused:
    """An ImportRefused that reads "FILE: PLACE: WHAT; REMEDY", on one line whatever the parts hold."""
    parts = ": ".join(part for part in (str(path), place, what) if part)
    return ImportRefused(one_line(f"{parts}; {remedy}", 2000))


def one_line(text: str, limit: int) -> str:
    """`text` without line ends and control characters, cut to `limit` characters."""
    clean = "".join(letter if letter.isprintable() else " " for letter in text[: limit + 1])
    return clean if len(clean) <= limit else clean[: limit - 1] + "…"


def shown(cell: str) -> str:
    """A cell as quoted in a message."""
    return f"'{one_line(cell.strip(), 40)}'"


def counted(number: int, noun: str) -> str:
    """ "1 row", "2 rows"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def listed(names: list[str]) -> str:
    """Names in a sentence; a long list is cut and says how many follow."""
    more = f" and {len(names) - 8} more" if len(names) > 8 else ""
    return ", ".join(names[:8]) + more
