"""Warnings are worded for paper and screens; here the command's own option is named beside the remedy."""

from __future__ import annotations

#: a remedy's words, and the option that carries it out
_OPTIONS = (
    ("DC-coupled", "--coupling N=DC"),
    ("what it is clipped to", "--channel N=ROLE"),
    ("supply-amp@NAME", "--channel 1=supply-amp@NAME"),
    ("exclusive mode", "--setting exclusive=yes"),
    ("without the full level", "--full-level V"),
    ("give the rate", "--rate HZ"),
    ('on its "own battery"', '--laptop-supply "own battery"'),
)


def with_option(text: str) -> str:
    """The same line, with the option in brackets where there is one."""
    option = next((option for words, option in _OPTIONS if words in text), "")
    return f"{text} ({option})" if option else text
