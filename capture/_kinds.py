"""The kinds of source there are, and the way from what a person typed to a source."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pydantic import ValidationError

from analysis import WrongUseError
from capture._kind import Asked, Settings, SourceKind
from capture._oscilloscope import OSCILLOSCOPE
from capture._replay import REPLAY
from capture._serial_port import SERIAL_PORT
from capture._simulated import SIMULATED_VEHICLE
from capture._sound_card import SOUND_CARD
from capture._source import Source
from capture._standard_input import STANDARD_INPUT

#: in the order in which they are listed
KINDS: tuple[SourceKind, ...] = (SOUND_CARD, OSCILLOSCOPE, SERIAL_PORT, STANDARD_INPUT, REPLAY, SIMULATED_VEHICLE)


def make_sources(texts: Sequence[str], asked: Asked, settings: Mapping[str, str]) -> tuple[Source, ...]:
    """Sources as typed, `KIND` or `KIND:TARGET`; a setting goes to each kind that has it.

    Raises
    ------
    WrongUseError
        Unknown kind, missing target, a setting that none of them has or whose value it does not take.
    """
    chosen = [_chosen(text) for text in texts]
    for name in settings:
        if not any(name in kind.settings.model_fields for kind, _ in chosen):
            raise WrongUseError(f"--setting {name}=...: {_known_settings([kind for kind, _ in chosen])}")
    return tuple(kind.make(target, asked, _settings(kind, settings)) for kind, target in chosen)


def _chosen(text: str) -> tuple[SourceKind, str]:
    name, _, target = text.partition(":")
    kind = next((kind for kind in KINDS if kind.name == name), None)
    if kind is None or (kind.needs_target and not target) or (target and not kind.target):
        raise WrongUseError(f"--source {text}: use one of {', '.join(map(_form, KINDS))}; see: humproof sources")
    return kind, target


def _form(kind: SourceKind) -> str:
    if not kind.target:
        return kind.name
    return f"{kind.name}:{kind.target}" if kind.needs_target else f"{kind.name}[:{kind.target}]"


def _settings(kind: SourceKind, given: Mapping[str, str]) -> Settings:
    own = {name: text for name, text in given.items() if name in kind.settings.model_fields}
    try:
        return kind.settings.model_validate(own)
    except ValidationError as error:
        first = error.errors()[0]
        name = ".".join(str(part) for part in first["loc"][:1])
        wrong = f"--setting {name}={own.get(name, '')}: {first['msg']}"
        raise WrongUseError(f"{wrong}; {_known_settings([kind])}") from error


def _known_settings(kinds: Sequence[SourceKind]) -> str:
    known = {name: field.description for kind in kinds for name, field in kind.settings.model_fields.items()}
    if not known:
        return f"{', '.join(kind.name for kind in kinds)} has no settings"
    return "known are " + "; ".join(f"{name} ({description})" for name, description in known.items())
