"""What is asked of a player, and a device that is being opened. Knows no Qt."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Protocol

from gui._listening import Stretches


class PlayerLike(Protocol):
    """What is asked of a `capture.SamplePlayer`."""

    loop: bool
    rate_hz: float

    def prepare(self) -> None: ...
    def start(self) -> None: ...
    def stop(self) -> None: ...
    def close(self) -> None: ...
    def choose(self, index: int) -> None: ...
    def set_gain(self, gain: float) -> None: ...
    @property
    def place_s(self) -> float: ...
    @property
    def done(self) -> bool: ...


#: told the stretches and the gain
MakePlayer = Callable[[Stretches, float], PlayerLike]


class Opening:
    """A device that is being opened in the background; where nobody wants it any more it is closed again."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._given_up = False
        self.player: PlayerLike | None = None

    def opened(self, player: PlayerLike) -> None:
        """It is open now; called in the background."""
        with self._lock:
            self.player = player
            given_up = self._given_up
        if given_up:
            player.close()

    def give_up(self) -> None:
        """Nobody wants it any more."""
        with self._lock:
            self._given_up, player = True, self.player
        if player is not None:
            player.close()
