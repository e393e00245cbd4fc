"""Units as text files print them: of channels, of time, of rates; and names with a unit behind."""

from __future__ import annotations

import re

_PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3}
#: exactly as written: "mV" is a thousandth, and "MV" is nothing that we would guess at
_SYMBOLS = {prefix + unit: (unit, factor) for prefix, factor in _PREFIXES.items() for unit in ("V", "A")} | {
    "FS": ("FS", 1.0)
}
_WORDS = {
    **dict.fromkeys(("volt", "volts"), ("V", 1.0)),
    **dict.fromkeys(("millivolt", "millivolts"), ("V", 1e-3)),
    **dict.fromkeys(("microvolt", "microvolts"), ("V", 1e-6)),
    **dict.fromkeys(("amp", "amps", "ampere", "amperes", "ampère", "ampères"), ("A", 1.0)),
    **dict.fromkeys(("milliamp", "milliamps", "milliampere", "milliamperes"), ("A", 1e-3)),
}
_TIMES = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sekunde", "sekunden"), 1.0),
    **dict.fromkeys(("seconde", "secondes", "segundo", "segundos", "secondo", "secondi"), 1.0),
    **dict.fromkeys(("ms", "msec", "msecs", "millisecond", "milliseconds", "millisekunden"), 1e-3),
    **dict.fromkeys(("us", "µs", "μs", "usec", "µsec", "microsecond", "microseconds"), 1e-6),
    **dict.fromkeys(("ns", "nsec", "nanosecond", "nanoseconds"), 1e-9),
    **dict.fromkeys(("ps", "picosecond", "picoseconds"), 1e-12),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten"), 60.0),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "stunden"), 3600.0),
}
_RATE_PREFIXES = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}
_RATES = {
    prefix + unit: factor
    for prefix, factor in _RATE_PREFIXES.items()
    for unit in ("hz", "s/s", "sa/s", "sps", "samples/s", "samples/sec", "samples/second")
} | {"hertz": 1.0, "1/s": 1.0, "/s": 1.0}

_BRACKETED = re.compile(r"\s*[(\[{<]\s*([^()\[\]{}<>]*?)\s*[)\]}>]\s*")
_BRACKET_BEHIND = re.compile(r"(.*?)[\s_]*[(\[{]\s*([^()\[\]{}]*?)\s*[)\]}]\s*", re.DOTALL)
_SLASH_BEHIND = re.compile(r"(.*\S)\s*/\s*([^\s/]+)\s*", re.DOTALL)
_LINE_BEHIND = re.compile(r"(.*[^_])_([^\W\d_]{2,})", re.DOTALL)


def channel_unit(text: str) -> tuple[str, float] | None:
    """("V", 0.001) for "mV" and so on; None for a unit that is neither volts, amperes nor full scale."""
    return _SYMBOLS.get(text) or _WORDS.get(text.lower())


def time_unit(text: str) -> float | None:
    """Seconds in a unit of time; None when it is none."""
    return _TIMES.get(text.lower())


def rate_unit(text: str) -> float | None:
    """Hertz in a unit of rate; None when it is none. "mHz" is millihertz, "MHz" and "MS/s" are 10^6."""
    return 1e-3 if text == "mHz" else _RATES.get(text.lower())


def is_known_unit(text: str) -> bool:
    """Whether any of the three tables has it."""
    return channel_unit(text) is not None or time_unit(text) is not None


def is_counter_unit(text: str) -> bool:
    """Whether a unit says that a column only counts rows."""
    return text.lower() in ("sequence", "samples", "sample", "pts", "points", "counts", "#")


def bare_unit(cell: str) -> tuple[str, bool]:
    """A units-row cell without its brackets, and whether it had some."""
    match = _BRACKETED.fullmatch(cell)
    return (match[1], True) if match else (cell.strip(), False)


def name_and_unit(text: str) -> tuple[str, str]:
    """Split "Time (ms)", "CH1[V]", "U/V" or "supply_mV"; the unit is empty when there is none.

    Brackets always hold a unit; behind a slash or an underscore only a known unit counts, and "_A" never does
    (channel A is no ampere).
    """
    if match := _BRACKET_BEHIND.fullmatch(text):
        return match[1].strip(), match[2]
    for pattern in (_SLASH_BEHIND, _LINE_BEHIND):
        match = pattern.fullmatch(text.strip())
        if match and is_known_unit(match[2]):
            return match[1].strip(), match[2]
    return text.strip(), ""
