"""From the world to a sealed recording file: sources, recorder, importers, the file itself.

Importing this package opens no device; each source's library is loaded when that source is used.
"""

from capture._bring_in import foreign_blocks, foreign_frames, foreign_info, import_foreign
from capture._channels import ChannelWishes, apply_wishes, parse_wishes
from capture._errors import ImportRefused, RecordingError, SourceError
from capture._foreign import ForeignChannel, ForeignFile, open_foreign
from capture._kind import Asked, Found, Settings, SourceKind
from capture._kinds import KINDS, make_sources
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
from capture._recorder import RecordingOutcome, RecordingProgress, RecordingThread
from capture._recording import (
    Recording,
    RecordingWriter,
    file_sha256,
    is_recording,
    recover_recording,
    scaled,
    verify_recording,
)
from capture._replay import ReplaySource
from capture._simulated import SimulatedVehicleSource
from capture._software import software_chain, version
from capture._sound_card import SoundCard, SoundCardSource, sound_cards
from capture._source import Source, SourceDescription
from capture._vehicle import LIBRARY_VAN_FOUND, LIBRARY_VAN_LEFT, VehicleModel, true_values

__all__ = [
    "KINDS",
    "LIBRARY_VAN_FOUND",
    "LIBRARY_VAN_LEFT",
    "Asked",
    "Block",
    "Calibration",
    "ChannelWishes",
    "Conditions",
    "Ended",
    "ForeignChannel",
    "ForeignFile",
    "Found",
    "Gap",
    "ImportRefused",
    "Item",
    "Mark",
    "RecordedChannel",
    "Recording",
    "RecordingError",
    "RecordingInfo",
    "RecordingOutcome",
    "RecordingProgress",
    "RecordingThread",
    "RecordingWriter",
    "ReplaySource",
    "Settings",
    "SimulatedVehicleSource",
    "SoundCard",
    "SoundCardSource",
    "Source",
    "SourceDescription",
    "SourceError",
    "SourceFacts",
    "SourceKind",
    "VehicleModel",
    "apply_wishes",
    "file_sha256",
    "foreign_blocks",
    "foreign_frames",
    "foreign_info",
    "import_foreign",
    "is_recording",
    "make_sources",
    "open_foreign",
    "parse_wishes",
    "recover_recording",
    "scaled",
    "software_chain",
    "sound_cards",
    "true_values",
    "verify_recording",
    "version",
]
