"""A sound card without hardware: a private PulseAudio daemon's null sink, played to and recorded from."""

import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import soundfile
from numpy.typing import NDArray

_START_TIMEOUT_S = 15.0

_DAEMON_CONF = """\
default-sample-format = float32le
default-sample-rate = {rate_hz}
alternate-sample-rate = {rate_hz}
default-sample-channels = 2
flat-volumes = no
realtime-scheduling = no
high-priority = no
"""

# norewinds: else an idle sink works two seconds ahead, and whoever then records loses the start of a sound.
_SCRIPT = """\
load-module module-native-protocol-unix auth-anonymous=1 socket={socket}
load-module module-null-sink sink_name=null format=float32le rate={rate_hz} channels=2 norewinds=1
set-default-sink null
set-default-source null.monitor
"""

_ASOUNDRC = """\
pcm.!default { type pulse }
ctl.!default { type pulse }
pcm.pulse { type pulse }
ctl.pulse { type pulse }
"""


class NullSink:
    """A loopback sound card for subprocesses: what one plays to its default device, another records from it.

    96 kHz, float32, two channels, never clipped and, at that rate, bit for bit. A context manager; the daemon
    has a home, a configuration and a socket of its own and does not touch the sound server of the desktop.
    """

    rate_hz = 96_000
    """Rate of the sink; other rates are resampled by the daemon."""

    device = "pulse"
    """Name under which PortAudio lists it (host API ``ALSA``); it is the default device too."""

    def __init__(self) -> None:
        self._folder = Path()
        self._daemon: subprocess.Popen[bytes] | None = None

    @property
    def variables(self) -> dict[str, str]:
        """What the sink adds to an environment."""
        home = str(self._folder)
        return {
            "HOME": home,
            "XDG_CONFIG_HOME": f"{home}/.config",
            "XDG_RUNTIME_DIR": home,
            "PULSE_RUNTIME_PATH": f"{home}/pulse",
            "PULSE_STATE_PATH": f"{home}/state",
            "PULSE_SERVER": f"unix:{self._socket}",
        }

    @property
    def environment(self) -> dict[str, str]:
        """A whole environment for a subprocess that is to play to the sink or record from it."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("PULSE_", "DBUS_"))}
        return {**kept, **self.variables}

    def play(self, sound: Path | NDArray[Any], rate_hz: int = rate_hz) -> None:
        """Play a sound file, or an array of shape (frames,) or (frames, channels), to its end."""
        with self.start_playing(sound, rate_hz) as player:
            _, errors = player.communicate()
        if player.returncode != 0:
            raise RuntimeError(f"paplay ended with exit code {player.returncode}: {errors.decode().strip()}")

    def start_playing(self, sound: Path | NDArray[Any], rate_hz: int = rate_hz) -> subprocess.Popen[bytes]:
        """Start playing and return the player; terminate it to stop early. ``rate_hz`` is for arrays."""
        path = sound if isinstance(sound, Path) else self._write(sound, rate_hz)
        command = ["paplay", "--device=null", str(path)]
        return subprocess.Popen(command, env=self.environment, stderr=subprocess.PIPE)

    def wait_until_recorded(self, timeout_s: float = 15.0) -> None:
        """Return once some program records from the sink, so that what is played next is heard whole."""
        deadline = time.monotonic() + timeout_s
        while not self._ask("list", "short", "source-outputs"):
            if time.monotonic() > deadline:
                raise TimeoutError(f"nobody recorded from the null sink within {timeout_s} s")
            time.sleep(0.05)

    def kill(self) -> None:
        """Take the sound card away without warning, as when its plug is pulled."""
        if self._daemon is not None:
            self._daemon.kill()
            self._daemon.wait()

    def __enter__(self) -> Self:
        # Not under pytest's own folders: a socket's path may not be longer than about 100 characters.
        self._folder = Path(tempfile.mkdtemp(prefix="null-sink-"))
        try:
            self._write_configuration()
            self._start_daemon()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the daemon and remove its folder; harmless when both are gone."""
        if self._daemon is not None:
            self._daemon.terminate()
            self._daemon.wait()
        shutil.rmtree(self._folder, ignore_errors=True)

    @property
    def _socket(self) -> Path:
        return self._folder / "native"

    @property
    def _log(self) -> Path:
        return self._folder / "daemon.log"

    def _write_configuration(self) -> None:
        pulse = self._folder / ".config" / "pulse"
        pulse.mkdir(parents=True)
        (pulse / "daemon.conf").write_text(_DAEMON_CONF.format(rate_hz=self.rate_hz))
        script = _SCRIPT.format(rate_hz=self.rate_hz, socket=self._socket)
        (self._folder / "script.pa").write_text(script)
        (self._folder / ".asoundrc").write_text(_ASOUNDRC)

    def _start_daemon(self) -> None:
        options = ["--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--log-target=stderr"]
        command = ["pulseaudio", "-n", *options, "-F", str(self._folder / "script.pa")]
        without_server = {k: v for k, v in self.environment.items() if k != "PULSE_SERVER"}
        with self._log.open("wb") as log:
            self._daemon = subprocess.Popen(command, env=without_server, stdin=subprocess.DEVNULL, stderr=log)
        self._wait_until_it_answers(self._daemon)

    def _wait_until_it_answers(self, daemon: subprocess.Popen[bytes]) -> None:
        deadline = time.monotonic() + _START_TIMEOUT_S
        # Ready once the sink's monitor is the source that a recording program gets.
        while self._ask("get-default-source") != "null.monitor":
            if daemon.poll() is not None or time.monotonic() > deadline:
                raise RuntimeError(f"pulseaudio did not start: {self._log.read_text().strip()}")
            time.sleep(0.05)

    def _ask(self, *question: str) -> str:
        """The daemon's answer, empty while it gives none."""
        command = ["pactl", *question]
        asked = subprocess.run(command, env=self.environment, capture_output=True, text=True, check=False)
        return asked.stdout.strip()

    def _write(self, samples: NDArray[Any], rate_hz: int) -> Path:
        handle, name = tempfile.mkstemp(suffix=".wav", dir=self._folder)
        os.close(handle)
        soundfile.write(name, np.asarray(samples, np.float32), rate_hz, subtype="FLOAT")
        return Path(name)
