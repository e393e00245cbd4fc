"""From the world to a sealed recording file: sources, recorder, importers, the file itself.

Importing this package opens no device; each source's library is loaded when that source is used.
"""

from capture._errors import ImportRefused, RecordingError, SourceError
from capture._file import (
    Recording,
    RecordingWriter,
    file_sha256,
    is_recording,
    recover_recording,
    scaled,
    verify_recording,
)
from capture._foreign import ForeignChannel, ForeignFile
from capture._model import (
    Block,
    Calibration,
    Conditions,
    Ended,
    Gap,
    Item,
    Mark,
    RecordedChannel,
    RecordingInfo,
    SourceFacts,
)

__all__ = [
    "Block",
    "Calibration",
    "Conditions",
    "Ended",
    "ForeignChannel",
    "ForeignFile",
    "Gap",
    "ImportRefused",
    "Item",
    "Mark",
    "RecordedChannel",
    "Recording",
    "RecordingError",
    "RecordingInfo",
    "RecordingWriter",
    "SourceError",
    "SourceFacts",
    "file_sha256",
    "is_recording",
    "recover_recording",
    "scaled",
    "verify_recording",
]
