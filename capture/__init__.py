"""From the world to a sealed recording file: sources, recorder, importers, the file itself.

Importing this package opens no device; each source's library is loaded when that source is used.
"""

from capture._bring_in import foreign_blocks, foreign_frames, foreign_info, import_foreign
from capture._calibration import (
    CalibrationError,
    InputFacts,
    LevelFacts,
    MeterFacts,
    StoredCalibration,
    calibration_of,
    calibration_warnings,
    channel_warnings,
    with_floor,
)
from capture._calibration_evidence import Evidence, read_evidence, same_input
from capture._calibration_store import (
    calibration_names,
    calibration_path,
    calibrations_folder,
    load_calibration,
    save_calibration,
)
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
from capture._oscilloscope import OscilloscopeSettings, OscilloscopeSource, ReplayedWire
from capture._player import Player, playing_rate
from capture._recorder import Companion, RecordingOutcome, RecordingProgress, RecordingThread
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
from capture._sample_player import SamplePlayer
from capture._serial_port import SerialPortSource, SerialSettings
from capture._several import split_wishes
from capture._signal_file import export_test_signal, load_stimulus
from capture._simulated import COUNTER_MODULUS, SimulatedVehicleSource, simulated_losses
from capture._simulated_system import (
    LIBRARY_VAN,
    SYSTEM_RANGES,
    TAPS,
    FaultyVehicle,
    OperatingPoint,
    SystemModel,
    answers,
    picture,
    random_vehicle,
)
from capture._software import software_chain, version
from capture._sound_card import SoundCardSource
from capture._sound_devices import SoundCard, look_again, sound_cards
from capture._source import Prepared, Running, Source, SourceDescription
from capture._standard_input import StandardInputSettings, StandardInputSource
from capture._stimulus import Stimulus
from capture._test_signals import SHAPES, SPEAKER_CAUTIONS, SignalBurst, TestSignal, make_test_signal
from capture._together import RecordTogether, Track, TrackOutcome, coarse_offset
from capture._toml_file import read_toml, replace_file, toml_line
from capture._vehicle import LIBRARY_VAN_FOUND, LIBRARY_VAN_LEFT, VehicleModel, true_values

__all__ = [
    "COUNTER_MODULUS",
    "KINDS",
    "LIBRARY_VAN",
    "LIBRARY_VAN_FOUND",
    "LIBRARY_VAN_LEFT",
    "SHAPES",
    "SPEAKER_CAUTIONS",
    "SYSTEM_RANGES",
    "TAPS",
    "Asked",
    "Block",
    "Calibration",
    "CalibrationError",
    "ChannelWishes",
    "Companion",
    "Conditions",
    "Ended",
    "Evidence",
    "FaultyVehicle",
    "ForeignChannel",
    "ForeignFile",
    "Found",
    "Gap",
    "ImportRefused",
    "InputFacts",
    "Item",
    "LevelFacts",
    "Mark",
    "MeterFacts",
    "OperatingPoint",
    "OscilloscopeSettings",
    "OscilloscopeSource",
    "Player",
    "Prepared",
    "RecordTogether",
    "RecordedChannel",
    "Recording",
    "RecordingError",
    "RecordingInfo",
    "RecordingOutcome",
    "RecordingProgress",
    "RecordingThread",
    "RecordingWriter",
    "ReplaySource",
    "ReplayedWire",
    "Running",
    "SamplePlayer",
    "SerialPortSource",
    "SerialSettings",
    "Settings",
    "SignalBurst",
    "SimulatedVehicleSource",
    "SoundCard",
    "SoundCardSource",
    "Source",
    "SourceDescription",
    "SourceError",
    "SourceFacts",
    "SourceKind",
    "StandardInputSettings",
    "StandardInputSource",
    "Stimulus",
    "StoredCalibration",
    "SystemModel",
    "TestSignal",
    "Track",
    "TrackOutcome",
    "VehicleModel",
    "answers",
    "apply_wishes",
    "calibration_names",
    "calibration_of",
    "calibration_path",
    "calibration_warnings",
    "calibrations_folder",
    "channel_warnings",
    "coarse_offset",
    "export_test_signal",
    "file_sha256",
    "foreign_blocks",
    "foreign_frames",
    "foreign_info",
    "import_foreign",
    "is_recording",
    "load_calibration",
    "load_stimulus",
    "look_again",
    "make_sources",
    "make_test_signal",
    "open_foreign",
    "parse_wishes",
    "picture",
    "playing_rate",
    "random_vehicle",
    "read_evidence",
    "read_toml",
    "recover_recording",
    "replace_file",
    "same_input",
    "save_calibration",
    "scaled",
    "simulated_losses",
    "software_chain",
    "sound_cards",
    "split_wishes",
    "toml_line",
    "true_values",
    "verify_recording",
    "version",
    "with_floor",
]
