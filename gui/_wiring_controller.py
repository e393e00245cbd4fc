"""What happens when something is asked of the wiring sheet. Knows no Qt.

The file on disk is the truth; what is tried out without saving is a second text beside it. Both kinds of change go
through the visit, so that Ctrl+Z takes them back in the order in which they were made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from analysis import HumproofError
from analysis.wiring import Change
from gui._asker import Asker
from gui._load import OpenedJob
from gui._visit import Visit
from gui._wiring_add import Where, deed_of
from gui._wiring_build import build_both, build_screen
from gui._wiring_draft import (
    WIRING_FILE,
    Draft,
    Edit,
    StaleFileError,
    drafted,
    edited,
    file_of,
    lines_around,
    read_draft,
    save_draft,
    standing_text,
    take_away,
    written,
)
from gui._wiring_edits import FOUND, LEFT, set_keys, set_system
from gui._wiring_fields import Keys, field_of, keys_of
from gui._wiring_model import BothShown, Choice, Details, PlanShown, WiringScreen
from gui._wiring_reckon import plan, usable
from gui._wiring_start import AnswerError, first_description, questions
from gui._wiring_takeover import take_over
from gui._words import tr
from job import WiringState, read_wiring_file, with_parts

BOTH = "both"
#: kinds of changes in the visit: saved ones, and those that are only tried
SAVED, TRIED = "wiring", "wiring tried"


class WiringView(Protocol):
    """What the controller asks of the sheet; no setter calls back."""

    def show_start(self, us: bool) -> None: ...
    def show_answer_error(self, key: str, sentence: str) -> None: ...
    def show_screen(self, screen: WiringScreen, selected: str) -> None: ...
    def show_both(self, both: BothShown) -> None: ...
    def show_selected(self, details: Details | None, errors: dict[str, tuple[str, str]]) -> None: ...
    def show_usable(self, text: str) -> None: ...
    def show_plan(self, plan: PlanShown | None) -> None: ...
    def show_plan_busy(self, fraction: float, doing: str) -> None: ...
    def show_plan_trouble(self, sentence: str) -> None: ...
    def show_trying(self, trying: bool, changed: bool) -> None: ...
    def show_state(self, state: str, choice: Choice) -> None: ...
    def show_trouble(self, sentence: str, lines: str, *, readable: bool) -> None: ...
    def show_busy(self, busy: bool) -> None: ...
    def show_note(self, text: str) -> None: ...
    def show_message(self, text: str) -> None: ...
    def to_field(self, key: str) -> None: ...


@dataclass(frozen=True, slots=True)
class Askers:
    """Threads for the drawing, for the usable power, and for the changes."""

    quick: Asker
    usable: Asker
    plan: Asker


class WiringController:
    """Holds what stands on disk, what is tried, and which part is looked at."""

    def __init__(self, view: WiringView, visit: Visit, askers: Askers, us: Callable[[], bool]) -> None:
        self._view, self._visit, self._askers, self._us = view, visit, askers, us
        self._folder: Path | None = None
        self._seen = False
        #: what the visit tells is this controller's own doing, which goes on by itself
        self._quiet = False
        self._forget()

    def _forget(self) -> None:
        self.base: Draft | None = None
        self.tried: Draft | None = None
        self.trying = False
        #: another program wrote into the file while something was tried
        self._overtaken = False
        #: one sentence where what stands on disk cannot be read
        self.trouble = ""
        self.state: str = FOUND
        self.choice = Choice()
        self.selected = ""
        self.screen: WiringScreen | None = None
        self.both: BothShown | None = None
        self.plan: PlanShown | None = None
        #: by part, then by field: what could not be taken, with its sentence
        self._errors: dict[str, dict[str, tuple[str, str]]] = {}
        self._shown: object = None
        #: field of the part that is looked at to which the keyboard goes when the next answer has come
        self._next: tuple[str, str] | None = None

    # ------------------------------------------------------------ the job

    @property
    def path(self) -> Path:
        """Where the wiring file of the job stands."""
        assert self._folder is not None
        return self._folder / WIRING_FILE

    @property
    def current(self) -> Draft | None:
        """What is drawn: the draft that is tried, else what stands on disk."""
        return self.tried if self.trying and self.tried else self.base

    def put(self, opened: OpenedJob | None) -> None:
        """Another job, or the same one says something else."""
        folder = opened.job.folder if opened else None
        if folder != self._folder:
            for asker in (self._askers.quick, self._askers.usable, self._askers.plan):
                asker.cancel()
            self._forget()
            self._folder, self._seen = folder, False
        if folder is not None and self._seen and not self._quiet:
            self.look()

    def entered(self) -> None:
        """Somebody looks."""
        self._seen = True
        if self._folder is not None:
            self.look()

    def look(self) -> None:
        """See what stands on disk, and show it where it is not what is shown."""
        if self._folder is None or not self._seen:
            return
        there = standing_text(self.path)
        if self.base is None or there != self.base.text or self.trouble:
            self._read()
        self._show()

    def _read(self) -> None:
        try:
            draft = read_draft(self.path)
        except HumproofError as error:
            self.trouble = str(error)
            return
        self.trouble = ""
        if draft is None or self.base is None or draft.text != self.base.text:
            had = self.base is not None
            self._overtaken = self._overtaken or self.changed
            self._rest_on(draft)
            if had:
                # What others wrote cannot be taken back here.
                self._visit.forget(SAVED)

    def _rest_on(self, draft: Draft | None) -> None:
        """Something else stands on disk; what is tried follows it where nothing was tried yet."""
        if not self.changed:
            self.tried = draft if self.trying else None
        self.base = draft
        if draft is None:
            self.tried, self.trying = None, False

    def _show(self) -> None:
        if self.base is None and not self.trouble:
            self._shown = None
            self._view.show_start(self._us())
            return
        lines = lines_around(self.path, self.trouble)
        self._view.show_trouble(self.trouble, lines, readable=self.base is not None)
        draft = self.current
        if draft is None:
            return
        self._view.show_state(self.state, self.choice)
        self._view.show_trying(self.trying, self.changed)
        key = (draft.text, self.state, self.choice, self._us())
        if key != self._shown:
            self._shown = key
            self._ask(draft)

    @property
    def changed(self) -> bool:
        """Whether something is tried that is not saved."""
        return self.tried is not None and self.base is not None and self.tried.text != self.base.text

    def _ask(self, draft: Draft) -> None:
        choice, us = self.choice, self._us()
        self._view.show_busy(True)
        self._askers.usable.cancel()
        self._view.show_usable("")
        if self.state == BOTH:
            self._askers.quick.ask(lambda report: build_both(draft, choice, us, report), self._did_both, self._failed)
            return
        state = self._single
        self._askers.quick.ask(lambda report: build_screen(draft, state, choice, us, report), self._did, self._failed)
        self._askers.usable.ask(
            lambda report: usable(draft, state, choice, report), self._view.show_usable, lambda sentence: None
        )

    @property
    def _single(self) -> WiringState:
        return LEFT if self.state == LEFT else FOUND

    def _did(self, screen: WiringScreen) -> None:
        if self.plan is not None and self.plan.before != screen.system:
            self.plan = None
            self._view.show_plan(None)
        self.screen = screen
        if self.selected not in screen.details:
            self.selected = screen.blamed if screen.blamed in screen.details else ""
        self._view.show_busy(False)
        self._view.show_screen(screen, self.selected)
        self._view.show_selected(self._details(self.selected), self._errors.get(self.selected, {}))
        if self._next and self._next[0] == self.selected:
            self._view.to_field(self._next[1])
        self._next = None

    def _did_both(self, both: BothShown) -> None:
        self.both = both
        self._view.show_busy(False)
        self._view.show_both(both)

    def _failed(self, sentence: str) -> None:
        self._shown = None
        self._view.show_busy(False)
        self._view.show_message(sentence)

    # ------------------------------------------------------------ looking

    def select(self, name: str) -> None:
        """Look at a part."""
        if self.screen is not None and (name in self.screen.details or not name) and name != self.selected:
            self.selected = name
            self._view.show_selected(self._details(name), self._errors.get(name, {}))

    def choose_state(self, state: str) -> None:
        """As found, as left, or both beside each other."""
        if state != self.state:
            self.state = state
            self._again()

    def choose_case(self, choice: Choice) -> None:
        """Engine and power of which figures are told."""
        if choice != self.choice:
            self.choice = choice
            self._again()

    def units_changed(self) -> None:
        """Metric or US."""
        self._again()

    def _again(self) -> None:
        if self._seen and self._folder is not None:
            self._show()

    # ------------------------------------------------------------ changing

    def commit(self, name: str, key: str, text: str) -> bool:
        """A field of a part was left; tells whether it is taken. What cannot be taken stays there with its sentence."""
        details = self._details(name)
        if details is None:
            return True
        field = field_of(details.table, key)
        shown = next(one.text for one in details.fields if one.key == key)
        errors = self._errors.setdefault(name, {})
        if text == shown and key not in errors:
            return True
        errors.pop(key, None)
        if text == shown:
            self._view.show_selected(details, errors)
            return True
        try:
            keys = keys_of(field, text, self._row(details), us=self._us())
            of = details.entry or tr("the system")
            words = tr("{field} of '{name}'", field=tr(field.title).lower(), name=of)
            renamed = keys["name"] if key == "name" and name else ""
            self._do(words, set_keys(details.entry, keys, self._single) if name else set_system(keys))
        except (ValueError, HumproofError) as error:
            errors[key] = (text, str(error))
            self._view.show_selected(details, errors)
            return False
        if renamed and self.selected == name:
            self.selected = str(renamed)
        self._view.show_note(tr("saved: {what}", what=words) if not self.trying else tr("tried: {what}", what=words))
        self._again()
        return True

    def _details(self, name: str) -> Details | None:
        """Of a part, or of the whole."""
        if self.screen is None:
            return None
        return self.screen.details.get(name) if name else self.screen.whole

    def _row(self, details: Details) -> Keys:
        """What the file says of the entry that is edited."""
        assert self.current is not None
        if not details.entry:
            row: Keys = self.current.file.system.model_dump(exclude_unset=True, exclude_none=True)
            return row
        for _, entry in self.current.file.entries():
            if entry.name == details.entry and entry.state in (None, self._single):
                row = entry.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
                return row
        return {}

    @property
    def unsaved(self) -> bool:
        """Whether a field holds what could not be taken."""
        return any(self._errors.values())

    def do(self, name: str) -> None:
        """Add to the wiring or take out of it, by the name of an action."""
        if self.state == BOTH:
            self._view.show_message(tr("Choose as found or as left first: a change belongs to one of them."))
            return
        if self.screen is None or self.current is None:
            return
        details = self.screen.details.get(self.selected)
        where = Where(
            details.entry if details else "",
            details.table if details else "",
            self.screen.system,
            self._single,
            self._us(),
        )
        before = set(self._names())
        try:
            deed = deed_of(name, where)
            self._do(deed.words, deed.edit)
        except (ValueError, HumproofError) as error:
            self._view.show_message(str(error))
            return
        new = [one for one in self._names(deed.table) if one not in before] if deed.table else []
        if new:
            self.selected, self._next = new[0], (new[0], "name")
        self._view.show_note(
            tr("saved: {what}", what=deed.words) if not self.trying else tr("tried: {what}", what=deed.words)
        )
        self._again()

    def _names(self, table: str = "") -> list[str]:
        assert self.current is not None
        return [entry.name for place, entry in self.current.file.entries() if not table or place[0] == table]

    def _do(self, words: str, edit: Edit) -> None:
        """Change what is drawn; raises `ValueError` or `HumproofError`, and everything is then as it was."""
        if self.trouble:
            raise ValueError(tr("Nothing can be changed until the file can be read: {why}", why=self.trouble))
        draft = self.current
        assert draft is not None
        changed = edited(draft, edit, self.path)
        if changed.text != draft.text:
            self._become(words, changed)

    def _become(self, words: str, changed: Draft) -> None:
        if self.trying:
            before, after = self.current, changed
            self.tried = changed
            self._remember(TRIED, tr("try {what}", what=words), lambda: self._try(before), lambda: self._try(after))
        else:
            self._save(words, changed)

    def _try(self, draft: Draft | None) -> None:
        self.tried, self.trying = draft, True
        self._again()

    def _save(self, words: str, changed: Draft) -> None:
        """Write it, and let the visit remember how to take it back."""
        old = self.base.text if self.base else None
        self._write(old, changed.text)
        self.base, self.trouble = changed, ""
        path = self.path
        back = lambda: self._put_back(path, changed.text, old)  # noqa: E731
        again = lambda: self._put_back(path, old, changed.text)  # noqa: E731
        self._remember(SAVED, tr("wiring: {what}", what=words), back, again)

    def _remember(self, kind: str, words: str, back: Callable[[], None], again: Callable[[], None]) -> None:
        self._quiet = True
        try:
            self._visit.did(kind, words, back, again)
        finally:
            self._quiet = False

    def _write(self, believed: str | None, text: str) -> None:
        try:
            save_draft(self.path, text, believed)
        except StaleFileError:
            self._read()
            self._again()
            raise

    def _put_back(self, path: Path, believed: str | None, text: str | None) -> None:
        """Undo or do again: the text that stood there before, or no file."""
        if self._folder is None or path != self.path:
            return
        if text is not None:
            self._write(believed, text)
            self._rest_on(drafted(text, path))
        elif standing_text(path) == believed:
            take_away(path)
            self._rest_on(None)
        else:
            raise StaleFileError(tr("{file}: was changed by another program meanwhile and stays", file=path))
        self._errors = {}

    # ------------------------------------------------------------ trying without saving

    def want_try(self, wanted: bool) -> None:
        """Begin to try things out without saving, or put away what was tried."""
        if wanted and not self.trying:
            self.trying, self.tried, self._overtaken = True, self.base, False
        elif not wanted and self.trying:
            self.trying, self.tried = False, None
            self._errors = {}
            self._visit.forget(TRIED)
        self._again()

    def keep_tried(self) -> None:
        """Save what was tried as one change."""
        tried = self.tried
        if not self.changed or tried is None:
            self.want_try(False)
            return
        if self._overtaken:
            words = "{file}: was changed by another program while you tried: put away what was tried to see it"
            self._view.show_message(tr(words, file=self.path))
            return
        try:
            self._save(tr("keep what was tried"), tried)
        except HumproofError as error:
            self._view.show_message(str(error))
            return
        self._view.show_note(tr("saved: what was tried"))
        self.want_try(False)

    # ------------------------------------------------------------ the cheapest changes

    def ask_plan(self) -> None:
        """Look for them; it takes a while."""
        draft, state = self.current, self._single
        if draft is None or self.trouble:
            return
        self._view.show_plan_busy(0.0, tr("looking for the cheapest changes"))
        self._askers.plan.ask(
            lambda report: plan(draft, state, report),
            self._planned,
            self._view.show_plan_trouble,
            self._view.show_plan_busy,
        )

    def stop_plan(self) -> None:
        """Nobody waits for it any more."""
        self._askers.plan.cancel()
        self._view.show_plan(self.plan)

    def _planned(self, found: PlanShown) -> None:
        self.plan = found
        self._view.show_plan(found)

    def take_over(self, chosen: Iterable[Change]) -> None:
        """Enter the chosen changes as the system as left, and look at it."""
        own = tuple(chosen)
        if self.plan is None or not own:
            self._view.show_message(tr("Choose at least one change first."))
            return
        words = tr("{count} changes taken over as left", count=len(own))
        try:
            self._do(words, take_over(own, self.plan.before, self.plan.after))
        except (ValueError, HumproofError) as error:
            self._view.show_message(str(error))
            return
        self._view.show_note(tr("saved: {what}", what=words) if not self.trying else tr("tried: {what}", what=words))
        self.state = LEFT
        self._again()

    # ------------------------------------------------------------ beginning

    def begin(self, answers: dict[str, str]) -> None:
        """Make a first description of the answers."""
        us = self._us()
        try:
            file = file_of(first_description(answers, us=us))
            self._start(tr("take the wiring down"), written(file, "", self.path))
        except AnswerError as error:
            self._view.show_answer_error(error.key, str(error))
        except (ValueError, HumproofError) as error:
            self._view.show_answer_error("", str(error))

    def begin_with(self, file: Path) -> None:
        """Take another wiring file as this job's, or lay a parts list over what is there."""
        try:
            if file.suffix.lower() == ".csv":
                self._lay_parts(file)
            else:
                read_wiring_file(file)
                self._start(tr("take {file}", file=file.name), drafted(file.read_text(encoding="utf-8"), self.path))
        except (OSError, ValueError, HumproofError) as error:
            self._view.show_message(str(error))

    def _lay_parts(self, file: Path) -> None:
        draft = self.current
        if draft is None:
            words = "{file}: is a parts list: make a first description, then lay it over that"
            raise ValueError(tr(words, file=file.name))
        changed = written(with_parts(draft.file, file), draft.text, self.path)
        self._become(tr("lay {file} over it", file=file.name), changed)
        self._again()

    def _start(self, words: str, draft: Draft) -> None:
        if self.trouble:
            raise ValueError(self.trouble)
        self._save(words, draft)
        self._view.show_note(tr("saved: {what}", what=words))
        self._again()


def usual_answers(*, us: bool) -> dict[str, str]:
    """What stands in the form at first."""
    return {one.key: one.usual for one in questions(us=us)}
