"""The recording file: write, read, recover, verify. `recording-file.md` of `capture` is its specification."""

from capture._recording._layout import READ_ROWS, file_sha256, is_recording, scaled
from capture._recording._reader import Recording, verify_recording
from capture._recording._recover import recover_recording
from capture._recording._writer import RecordingWriter

__all__ = [
    "READ_ROWS",
    "Recording",
    "RecordingWriter",
    "file_sha256",
    "is_recording",
    "recover_recording",
    "scaled",
    "verify_recording",
]
