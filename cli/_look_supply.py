"""The supply of a recording on the terminal: what every burst took, and what a long log went through."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from analysis import BurstSplit, Minute, Supply, SupplySplit, Tap, Undervoltage

_BURSTS_SHOWN = 12
_EVENTS_SHOWN = 10
_HISTOGRAM_CELL_V = 0.5
_BAR = 30


def show_supply(supply: Supply, console: Console) -> None:
    """Tables that are readable in 90 columns; nothing where nothing was found."""
    for split in supply.splits:
        _show_split(split, console)
    for under in supply.undervoltage:
        _show_undervoltage(under, console)


def _show_split(split: SupplySplit, console: Console) -> None:
    from rich.table import Table

    at = f" at {split.point}" if split.point else ""
    title = f"what each burst took from the amplifier{at}, mean of its last half (k = 2)"
    heads = "burst", "battery V", "amplifier V", "battery mV", "positive mV", "ground mV", "left mV"
    table = Table(*heads, title=title, title_justify="left")
    for burst in split.bursts[:_BURSTS_SHOWN]:
        table.add_row(f"{burst.start_s:.2f} s", _fall(burst.battery), _fall(burst.amplifier), *_shares(burst))
    console.print(table)
    if len(split.bursts) > _BURSTS_SHOWN:
        console.print(f"  and {len(split.bursts) - _BURSTS_SHOWN} more bursts (--json has all)", highlight=False)
    if split.remainder and split.remainder.within is not None:
        verdict = "is within" if split.remainder.within else "EXCEEDS"
        text = f"  over all bursts, what battery and both sides leave over {verdict} its uncertainty"
        console.print(text, highlight=False)


def _fall(tap: Tap | None) -> str:
    from job import fixed

    return "" if tap is None else f"{fixed(tap.before, 2)} to {fixed(tap.loaded, 2)}"


def _shares(burst: BurstSplit) -> list[str]:
    """Battery, positive, ground, left over; where nothing tells the two sides apart, both in the place of one."""
    texts = {part.where: _millivolts(part.volts, part.uncertainty) for part in burst.parts}
    if "wiring" in texts:
        return [texts.get("battery", ""), f"both {texts['wiring']}", "", ""]
    left = burst.remainder
    rest = "" if left is None else _millivolts(left.volts, left.uncertainty)
    return [texts.get("battery", ""), texts.get("positive", ""), texts.get("ground", ""), rest]


def _millivolts(volts: float, uncertainty: float | None) -> str:
    from job import Measure, with_uncertainty

    return with_uncertainty(volts, uncertainty, Measure(1e-3, ""))


def _show_undervoltage(under: Undervoltage, console: Console) -> None:
    """Events wherever there are some; histogram and worst minute of a log that lasts longer than a minute."""
    from rich.table import Table

    from job import plain

    if under.event_count:
        title = f"{under.channel}: events under {under.limit_v:g} V (shop limit): {under.event_count}"
        table = Table("start", "length", "lowest 10 ms mean", "cut short", title=title, title_justify="left")
        for event in sorted(under.events, key=lambda event: event.lowest)[:_EVENTS_SHOWN]:
            cut = ", ".join(word for word in (event.began, event.ended) if word)
            table.add_row(_clock(event.start_s), plain(event.length_s, "s"), plain(event.lowest, "V"), cut)
        console.print(table)
    if under.known_s + under.unknown_s > 60:
        _show_log(under, console)


def _show_log(under: Undervoltage, console: Console) -> None:
    from rich.table import Table

    from job import plain

    table = Table("volts", "time", "", title=f"{under.channel}: how long at which volts", title_justify="left")
    rows = _coarse(under)
    most = max((time for _, time in rows), default=0.0)
    for low, time in rows:
        bar = "#" * max(round(_BAR * time / most), 1)
        table.add_row(f"{low:g} to {low + _HISTOGRAM_CELL_V:g}", plain(time, "s"), bar)
    console.print(table)
    for name, minute in (("lowest mean", under.worst_mean), ("lowest dip", under.worst_dip)):
        if minute is not None:
            console.print(f"  minute with the {name}: {_minute(minute)}", highlight=False)


def _minute(minute: Minute) -> str:
    from job import plain

    return f"from {_clock(minute.start_s)}, mean {plain(minute.mean, 'V')}, lowest {plain(minute.lowest, 'V')}"


def _coarse(under: Undervoltage) -> list[tuple[float, float]]:
    """Lower edge and time of every half volt in which the supply was."""
    from analysis import BIN_V

    size = round(_HISTOGRAM_CELL_V / BIN_V)
    times = under.histogram_s.reshape(-1, size).sum(axis=1)
    return [(at * _HISTOGRAM_CELL_V, float(time)) for at, time in enumerate(times) if time]


def _clock(seconds: float) -> str:
    """h:mm:ss and hundredths, counted from the recording's start."""
    minutes, rest = divmod(round(seconds, 2), 60)
    hours, minutes = divmod(int(minutes), 60)
    return f"{hours}:{minutes:02d}:{rest:05.2f}"
