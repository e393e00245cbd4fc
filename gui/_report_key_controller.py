"""The shop's key on the report sheet: chosen, opened, made, put away. Knows no Qt; passwords are never kept."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from gui._asker import Asker
from gui._report_model import KeyShown, locked_key, no_key, open_key
from gui._words import tr
from report import ReportError, Signer, check_key_place, make_key, public_path, read_signer

if TYPE_CHECKING:
    from gui._settings import SettingsFile


class KeyView(Protocol):
    """What the controller asks of the sheet; no setter calls back."""

    def show_key(self, key: KeyShown) -> None: ...
    def ask_password(self, path: Path, trouble: str) -> None: ...
    def ask_new_password(self, path: Path) -> None: ...
    def show_key_made(self, path: Path, public: Path) -> None: ...
    def show_trouble(self, sentence: str) -> None: ...


class KeyController:
    """`changed` is told when documents are to be signed otherwise than before."""

    def __init__(self, view: KeyView, asker: Asker, settings: SettingsFile, changed: Callable[[], object]) -> None:
        self._view, self._asker, self._settings, self._changed = view, asker, settings, changed
        self._folder: Path | None = None
        self.signer: Signer | None = None
        #: a remembered key is tried once without a password: it may need none
        self._tried = False
        #: what waits for the key to be open
        self._then: Callable[[], object] | None = None

    @property
    def path(self) -> Path | None:
        """The chosen key's file."""
        kept = self._settings.settings.report_key
        return Path(kept) if kept else None

    @property
    def locked(self) -> bool:
        """A key is chosen, but nobody opened it yet."""
        return self.path is not None and self.signer is None

    def put(self, folder: Path | None) -> None:
        """Another job: the key must not lie in it."""
        if folder != self._folder:
            self._folder, self._tried, self._then = folder, self.signer is not None, None
            self._asker.cancel()
            self._leave_job(folder)
        self._show()

    def _leave_job(self, folder: Path | None) -> None:
        path = self.path
        if folder is None or path is None or self.signer is None:
            return
        try:
            check_key_place(path, folder)
        except ReportError as error:
            self.signer = None
            self._view.show_trouble(str(error))

    def _show(self) -> None:
        path = self.path
        if path is None:
            self._view.show_key(no_key())
        else:
            self._view.show_key(open_key(path, self.signer) if self.signer else locked_key(path))

    # ------------------------------------------------------------ before pages are drawn, before they are saved

    def when_tried(self, then: Callable[[], object]) -> None:
        """Go on once a remembered key that needs no password is open; at once where there is nothing to open."""
        path, folder = self.path, self._folder
        if self._tried or path is None or folder is None:
            then()
            return
        self._tried = True

        def tried(signer: Signer | None) -> None:
            self.signer = signer
            self._show()
            then()

        def failed(sentence: str) -> None:
            self._view.show_trouble(sentence)
            then()

        self._asker.ask(lambda tell: opened(path, folder, None), tried, failed)

    def when_open(self, then: Callable[[], object]) -> None:
        """Go on once the chosen key is open, asking for its password if need be; at once without a key."""
        if self.locked:
            self._then = then
            self.open()
        else:
            then()

    # ------------------------------------------------------------ what the user asks for

    def choose(self, path: Path) -> None:
        """Sign with this key from now on."""
        self._open(path, None)

    def open(self) -> None:
        """Open the chosen key."""
        if self.path is not None:
            self._open(self.path, None)

    def unlock(self, path: Path, password: str) -> None:
        """The password was typed."""
        self._open(path, password)

    def not_unlocked(self) -> None:
        """The password was not typed: what waited for it is not done."""
        if self._then is not None:
            self._then = None
            self._view.show_trouble(
                tr("Nothing was saved: the key is not open. To save without a signature choose “Do not sign” first.")
            )

    def _open(self, path: Path, password: str | None) -> None:
        folder = self._folder
        if folder is None:
            return

        def done(signer: Signer | None) -> None:
            if signer is None:
                self._view.ask_password(path, "")
            else:
                self._take(path, signer)

        def failed(sentence: str) -> None:
            if password is None:
                self._then = None
                self._view.show_trouble(sentence)
            else:
                self._view.ask_password(path, sentence)

        self._tried = True
        self._asker.ask(lambda tell: opened(path, folder, password), done, failed)

    def _take(self, path: Path, signer: Signer) -> None:
        self.signer = signer
        self._settings.change(report_key=str(path.absolute()))
        self._show()
        self._changed()
        then, self._then = self._then, None
        if then:
            then()

    def choose_new(self, path: Path) -> None:
        """A key is to be made there: its password is asked for, unless it could not be used there."""
        if self._folder is None:
            return
        try:
            check_key_place(path, self._folder)
        except ReportError as error:
            self._view.show_trouble(str(error))
        else:
            self._view.ask_new_password(path)

    def make(self, path: Path, password: str) -> None:
        """Make a key, and sign with it from now on."""
        folder = self._folder
        if folder is None:
            return

        def work(tell: object) -> Signer | None:
            check_key_place(path, folder)
            make_key(path, password)
            return opened(path, folder, password)

        def done(signer: Signer) -> None:
            self._view.show_key_made(path, public_path(path))
            self._take(path, signer)

        self._asker.ask(work, done, self._view.show_trouble)

    def put_away(self) -> None:
        """Do not sign any more."""
        self._asker.cancel()
        before, self.signer, self._then = self.signer, None, None
        self._settings.change(report_key="")
        self._show()
        if before is not None:
            self._changed()


def opened(path: Path, folder: Path, password: str | None) -> Signer | None:
    """The key; None where it is locked and no password was given. Raises `ReportError` as `read_signer` does."""
    asked = []

    def tell() -> str:
        asked.append(True)
        return password or ""

    try:
        return read_signer(path, folder, tell)
    except ReportError:
        if asked and password is None:
            return None
        raise
