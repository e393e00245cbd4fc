"""How a visit stands: which sheets are done, and what a proof still lacks. Knows no Qt; reads only what is opened.

Nothing is analysed here: the headers of the recordings, job.toml and the dates of files must do.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from gui._load import FLOOR, FOUND, LEFT, OpenedJob
from gui._pairing import Take, differences, partner_of, takes_of, to_be_repeated
from gui._sheets import SHEETS, Missing, SheetStanding, VisitStanding
from gui._words import counted, tr

WIRING_FILE, REPORT_FILE = "wiring.toml", "report.pdf"
_SUPPLY_KINDS = frozenset({"supply", "supply-amp", "drop-positive", "drop-ground"})
_NOISE_KINDS = frozenset({"signal", "speaker"})


def visit_standing(opened: OpenedJob | None) -> VisitStanding:
    """Of the job on the bench; without one everything is open and nothing is missing."""
    if opened is None:
        return VisitStanding({one.name: SheetStanding("open", tr("no job is open")) for one in SHEETS}, ())
    facts = _Facts(opened, takes_of(opened))
    sheets = {
        "vehicle": _vehicle(facts),
        "wiring": _wiring(facts),
        "supply": _supply(facts),
        "noise": _noise(facts),
        "compare": _compare(facts),
        "report": _report(facts),
    }
    return VisitStanding(sheets, tuple(_missing(facts)))


@dataclass(frozen=True, slots=True)
class _Facts:
    opened: OpenedJob
    takes: tuple[Take, ...]

    def of(self, state: str, kinds: frozenset[str] = frozenset(), *, bursts: bool | None = None) -> list[Take]:
        """Takes of a state, with a channel of these roles, with or without bursts."""
        return [
            take
            for take in self.takes
            if take.state == state
            and (not kinds or take.kinds & kinds)
            and (bursts is None or take.has_bursts is bursts)
        ]

    @property
    def damage(self) -> tuple[str, ...]:
        """What is wrong with recordings of the job."""
        return (*self.opened.problems, *self.opened.changed)

    def has(self, name: str) -> bool:
        """Whether a file is in the job's folder."""
        try:
            return (self.opened.job.folder / name).is_file()
        except OSError:
            return False


# ---------------------------------------------------------------- how each sheet stands


def _vehicle(facts: _Facts) -> SheetStanding:
    visit, vehicle = facts.opened.job.facts.visit, facts.opened.job.facts.vehicle
    if not visit.complaint.strip():
        return SheetStanding("open", tr("the complaint is not written down"))
    if not (vehicle.kind.strip() or vehicle.description.strip()):
        return SheetStanding("open", tr("it does not say which vehicle it is"))
    if facts.of(LEFT) and not visit.done.strip():
        return SheetStanding("in doubt", tr("recorded as left, but what was done is not written down"))
    return SheetStanding("done", tr("vehicle and complaint are written down"))


def _wiring(facts: _Facts) -> SheetStanding:
    if facts.has(WIRING_FILE):
        return SheetStanding("done", tr("the supply wiring is described; its sheet tells what is wrong with it"))
    return SheetStanding("open", tr("the supply wiring is not described"))


def _supply(facts: _Facts) -> SheetStanding:
    return _recorded(facts, _SUPPLY_KINDS, True, tr("no test bursts were recorded yet"))


def _noise(facts: _Facts) -> SheetStanding:
    if not facts.of(FOUND, _NOISE_KINDS, bursts=False):
        return SheetStanding("open", tr("the noise was not recorded yet, as found"))
    shaky = _shaky(facts)
    if shaky:
        return shaky
    if _cause_told(facts) or _gone_back_gone(facts):
        return SheetStanding("done", tr("recorded, and the cause was tried out both ways"))
    return SheetStanding("in doubt", tr("recorded, but no cause is proven"))


def _compare(facts: _Facts) -> SheetStanding:
    wanted = to_be_repeated(facts.takes)
    partners = [(take, partner_of(take, facts.takes)) for take in wanted]
    there = [(take, partner) for take, partner in partners if partner]
    if not there:
        return SheetStanding("open", tr("nothing was recorded both as found and as left yet"))
    different = [text for take, partner in there for text in differences(take, partner)]
    if different:
        return SheetStanding("in doubt", different[0])
    if len(there) < len(partners):
        return SheetStanding("in doubt", _still_without(partners))
    shaky = _shaky(facts)
    if shaky:
        return shaky
    if not facts.of(FLOOR):
        return SheetStanding("in doubt", tr("without the instrument's own floor"))
    return SheetStanding("done", tr("recorded as found and as left, under the same conditions"))


def _still_without(partners: list[tuple[Take, Take | None]]) -> str:
    lonely = next(take for take, partner in partners if partner is None)
    return tr("not yet taken as left: {what}", what=lonely.words)


def _report(facts: _Facts) -> SheetStanding:
    if not facts.has(REPORT_FILE):
        return SheetStanding("open", tr("not made yet"))
    if _report_is_old(facts):
        return SheetStanding("in doubt", tr("the job was changed since it was made"))
    return SheetStanding("done", tr("made, and the job has not changed since"))


def _recorded(facts: _Facts, kinds: frozenset[str], bursts: bool, nothing: str) -> SheetStanding:
    """Of what is to be there before and after."""
    found, left = (facts.of(state, kinds, bursts=bursts) for state in (FOUND, LEFT))
    if not found and not left:
        return SheetStanding("open", nothing)
    if not found:
        return SheetStanding("in doubt", tr("recorded as left only: no change can be shown"))
    shaky = _shaky(facts)
    if shaky:
        return shaky
    if not left:
        return SheetStanding("open", tr("recorded as found; not yet as left"))
    different = [text for take in to_be_repeated(found) for text in _differing(take, facts)]
    if different:
        return SheetStanding("in doubt", different[0])
    return SheetStanding("done", tr("recorded as found and as left"))


def _differing(take: Take, facts: _Facts) -> list[str]:
    partner = partner_of(take, facts.takes)
    return differences(take, partner) if partner else []


def _shaky(facts: _Facts) -> SheetStanding | None:
    """In doubt where a file of the job is damaged or is another one than was entered: nobody knows which it was."""
    if facts.damage:
        words = tr("{count} of the job cannot be trusted", count=counted(len(facts.damage), tr("recording")))
        return SheetStanding("in doubt", words)
    return None


# ---------------------------------------------------------------- what is missing


def _missing(facts: _Facts) -> Iterator[Missing]:
    """The most important first: what comes first in a visit, and what cannot be caught up on later."""
    yield from _damaged(facts)
    yield from _of_the_vehicle(facts)
    yield from _as_found(facts)
    yield from _of_the_floor(facts)
    yield from _unproven(facts)
    yield from _as_left(facts)
    yield from _of_the_papers(facts)


def _damaged(facts: _Facts) -> Iterator[Missing]:
    for problem in facts.damage:
        yield Missing(problem, "compare", "reload", tr("Read again"))


def _of_the_vehicle(facts: _Facts) -> Iterator[Missing]:
    visit, vehicle = facts.opened.job.facts.visit, facts.opened.job.facts.vehicle
    if not visit.complaint.strip():
        yield _written(tr("The complaint is not written down"), "visit.complaint")
    if not (vehicle.kind.strip() or vehicle.description.strip()):
        yield _written(tr("It does not say which vehicle it is"), "vehicle.kind")


def _written(text: str, field: str) -> Missing:
    return Missing(text, "vehicle", "edit-field", tr("Write it down"), (("field", field),))


def _as_found(facts: _Facts) -> Iterator[Missing]:
    noise = facts.of(FOUND, _NOISE_KINDS, bursts=False)
    if not any(take.is_baseline for take in noise):
        before = facts.of(LEFT, _NOISE_KINDS, bursts=False)
        late = tr("; what was recorded as left has nothing to be set against") if before else ""
        yield _record(tr("No baseline as found yet{late}", late=late), "noise", FOUND, "baseline")
    if not facts.of(FOUND, _SUPPLY_KINDS, bursts=True):
        text = tr("Test bursts are not recorded yet, as found")
        yield _record(text, "supply", FOUND, "baseline", (("signal", "bursts"),))


def _of_the_floor(facts: _Facts) -> Iterator[Missing]:
    if not facts.of(FLOOR):
        text = tr("No floor recording: what the instrument shows by itself, inputs shorted at the clips")
        yield _record(text, "noise", FLOOR, "inputs shorted at the clips")


def _unproven(facts: _Facts) -> Iterator[Missing]:
    if facts.of(FOUND, _NOISE_KINDS, bursts=False) and not (_cause_told(facts) or _gone_back_gone(facts)):
        text = tr("No cause is proven: the noise has to go with a step, come back without it, and go again")
        yield Missing(text, "noise", "go-noise", tr("Next step"))


def _as_left(facts: _Facts) -> Iterator[Missing]:
    for take in to_be_repeated(facts.takes):
        sheet, partner = "supply" if take.has_bursts else "noise", partner_of(take, facts.takes)
        if partner is None:
            text = tr("Not yet taken as left: {what}", what=take.words)
            yield _record(text, sheet, LEFT, take.step, take.conditions)
        for text in differences(take, partner) if partner else ():
            yield _record(text, sheet, LEFT, take.step, take.conditions, tr("Record it again"))


def _record(
    text: str, sheet: str, state: str, step: str, more: tuple[tuple[str, str], ...] = (), words: str = ""
) -> Missing:
    facts = (("state", state), ("step", step), *more)
    return Missing(text, sheet, "record", words or tr("Record it"), facts)


def _of_the_papers(facts: _Facts) -> Iterator[Missing]:
    if not facts.has(WIRING_FILE):
        yield Missing(tr("The supply wiring is not described"), "wiring", "go-wiring", tr("Describe it"))
    visit = facts.opened.job.facts.visit
    if facts.of(LEFT) and not visit.done.strip():
        yield _written(tr("What was done is not written down"), "visit.done")
    if not facts.has(REPORT_FILE):
        yield Missing(tr("The report is not made yet"), "report", "go-report", tr("Go there"))
    elif _report_is_old(facts):
        yield Missing(tr("The report is older than the job"), "report", "go-report", tr("Go there"))


# ---------------------------------------------------------------- facts


def _cause_told(facts: _Facts) -> bool:
    outcome = facts.opened.job.facts.outcome
    return bool(outcome.cause and outcome.how_it_was_proven.strip())


def _gone_back_gone(facts: _Facts) -> bool:
    """Baseline, a step, baseline and the same step again, in this order in time: what a proof needs to rest on.

    Whether the noise went and came is the diagnosis's to say; here only that it was tried.
    """
    takes = sorted(facts.of(FOUND, _NOISE_KINDS, bursts=False), key=lambda take: take.start_utc)
    steps = {take.step_slug for take in takes if not take.is_baseline}
    return any(_turns([take for take in takes if take.is_baseline or take.step_slug == step]) >= 4 for step in steps)


def _turns(takes: list[Take]) -> int:
    """How often baseline and step took turns, from the first baseline on."""
    kinds = [take.is_baseline for take in takes]
    kinds = kinds[kinds.index(True) :] if True in kinds else []
    return sum(index == 0 or kinds[index - 1] != kind for index, kind in enumerate(kinds))


def _report_is_old(facts: _Facts) -> bool:
    job = facts.opened.job
    try:
        made = (job.folder / REPORT_FILE).stat().st_mtime_ns
        others = [job.file, job.folder / WIRING_FILE]
        return any(path.stat().st_mtime_ns > made for path in others if path.exists())
    except OSError:
        return False
