"""Plain words for what the analysis names in short, and the sentences that stand in every report."""

from __future__ import annotations

from analysis import Channel
from job import quantity_words

PLACES = {
    "supply": "at the battery posts",
    "supply-amp": "at the amplifier's supply terminals",
    "drop-positive": "along the positive side of the supply path",
    "drop-ground": "along the ground side of the supply path",
    "ground-offset": "between the grounds of two devices",
    "signal": "at the amplifier's input",
    "speaker": "at the amplifier's output",
    "current": "in the supply lead",
    "tacho": "at the engine speed pickup",
}

STATED_NOTHING = "not stated"

RULE = (
    "Improved or worse is said only where the change is larger than its own expanded uncertainty (k = 2, "
    "about 95 % coverage); a smaller change reads \u201cno change shown\u201d, and noise that does not stand "
    "out from the instrument's own is said to be below its floor."
)

DIGEST_SENTENCE = (
    "A matching SHA-256 digest proves that a file is, byte for byte, the one this report was made from; it "
    "does not prove when, by whom or how honestly the recording was made. To check: humproof verify with "
    "this PDF beside the recordings, or any program that prints SHA-256."
)

#: what shows nothing at either end of a text; the separators U+001C to U+001F are printed by their codes
_BLANKS = "".join(char for char in map(chr, range(0x3001)) if char.isspace() and not "\x1c" <= char <= "\x1f")
SCOPE = "Relates only to this vehicle as tested."


def trimmed(text: str) -> str:
    """A typed text without the blanks around it."""
    return text.strip(_BLANKS)


def place(channel: Channel) -> str:
    """Where a channel was connected: "at the amplifier's input (rear)"; its name when it has no role."""
    point = channel.role.partition("@")[2]
    words = PLACES.get(channel.role_kind)
    if words is None:
        return f"on channel {channel.name}"
    return f"{words} ({point})" if point else words


def quantity(name: str) -> str:
    """What a figure is, in words that begin a line."""
    words = quantity_words(name)
    return words[0].upper() + words[1:]


def quantity_at(name: str, channel: Channel) -> str:
    """The subject of a sentence: "Noise (A-weighted) at the amplifier's input"."""
    head, _, tail = quantity(name).partition(", ")
    return f"{head} ({tail}) {place(channel)}" if tail else f"{head} {place(channel)}"
