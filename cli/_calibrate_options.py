"""The options of calibrate, in groups that check themselves: meter, divider or probe, what is kept."""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli import _options as options

if TYPE_CHECKING:
    from analysis import Factor
    from capture import InputFacts, MeterFacts


@dataclasses.dataclass(frozen=True, kw_only=True)
class MeterOptions:
    """What the known volts were read with."""

    meter: Annotated[str, typer.Option("--meter", help="The meter: type and serial or shop number.")]
    meter_uncertainty: Annotated[
        float, typer.Option("--meter-uncertainty", metavar="SHARE", help="As its maker states it: 0.01 is 1 %.")
    ]
    meter_uncertainty_kind: Annotated[
        str, typer.Option("--meter-uncertainty-kind", help="limit (a maker's plus-or-minus) or expanded (k = 2).")
    ] = "limit"
    meter_kind: Annotated[str, typer.Option("--meter-kind", help="true-rms or averaging.")] = "true-rms"
    meter_ranges_differ: Annotated[
        bool, typer.Option("--meter-ranges-differ", help="The levels were read in different ranges of the meter.")
    ] = False

    def facts(self) -> MeterFacts:
        """The meter, checked; raises `WrongUseError`."""
        from capture import MeterFacts

        _one_of("--meter-uncertainty-kind", self.meter_uncertainty_kind, ("limit", "expanded"))
        _one_of("--meter-kind", self.meter_kind, ("true-rms", "averaging"))
        _share("--meter-uncertainty", self.meter_uncertainty)
        return MeterFacts.model_validate(
            {
                "name": self.meter,
                "kind": self.meter_kind,
                "uncertainty": self.meter_uncertainty,
                "uncertainty_kind": self.meter_uncertainty_kind,
                "one_range": not self.meter_ranges_differ,
            }
        )


@dataclasses.dataclass(frozen=True, kw_only=True)
class ProbeOptions:
    """A divider, probe or clamp that will stand before the input, but did not while it was calibrated."""

    divider: Annotated[
        str | None,
        typer.Option(
            "--divider", metavar="R1:R2", help="Ohms from tip to input and from there to ground: 19k:1k. Only when the "
            "meter read the volts at the input itself, without it."
        ),
    ] = None  # fmt: skip
    divider_tolerance: Annotated[
        float | None, typer.Option("--divider-tolerance", metavar="SHARE", help="Of each resistor: 0.01 is 1 %.")
    ] = None
    input_ohms: Annotated[
        str | None,
        typer.Option("--input-ohms", metavar="R", help="The input's own resistance, which loads R2: 10k; or inf."),
    ] = None
    input_ohms_tolerance: Annotated[
        float, typer.Option("--input-ohms-tolerance", metavar="SHARE", help="How far that may be off.")
    ] = 0.2
    factor: Annotated[
        float | None, typer.Option("--factor", metavar="X", help="Of a probe (10) or a clamp (100 amperes a volt).")
    ] = None
    factor_uncertainty: Annotated[
        float | None, typer.Option("--factor-uncertainty", metavar="SHARE", help="Its limit: 0.02 is 2 %.")
    ] = None
    unit: Annotated[str, typer.Option("--unit", help="V, or A behind a clamp.")] = "V"

    def given(self) -> Factor | None:
        """The divider or probe; None when there is none; raises `WrongUseError`."""
        from analysis import WrongUseError

        _one_of("--unit", self.unit, ("V", "A"))
        if self.unit == "A" and self.factor is None:
            raise WrongUseError("--unit A: give the clamp's amperes a volt with --factor")
        if self.divider is not None and self.factor is not None:
            raise WrongUseError("--divider and --factor: give one of them")
        if self.divider is not None:
            return self._divider(self.divider)
        return None if self.factor is None else self._factor(self.factor)

    def _divider(self, text: str) -> Factor:
        from analysis import WrongUseError, resistor_divider

        upper, colon, lower = text.partition(":")
        if not colon:
            raise WrongUseError(f"--divider {text}: write it as R1:R2 in ohms, such as 19k:1k")
        if self.divider_tolerance is None or self.input_ohms is None:
            raise WrongUseError(
                "--divider: give --divider-tolerance (0.01 for 1 % resistors) and --input-ohms: a line input of some "
                "10 kilohms loads the divider; inf for an input that draws nothing"
            )
        tolerance = _share("--divider-tolerance", self.divider_tolerance)
        loose = _share("--input-ohms-tolerance", self.input_ohms_tolerance)
        loading = _ohms("--input-ohms", self.input_ohms, endless=True)
        return resistor_divider(_ohms("--divider", upper), _ohms("--divider", lower), tolerance, loading, loose)

    def _factor(self, ratio: float) -> Factor:
        from analysis import Factor, WrongUseError

        if not 0 < abs(ratio) < 1e9:
            raise WrongUseError(f"--factor {ratio:g}: give what one volt at the input stands for, such as 10")
        if self.factor_uncertainty is None:
            raise WrongUseError("--factor: give --factor-uncertainty too, such as 0.02 for a 2 % probe")
        share = _share("--factor-uncertainty", self.factor_uncertainty)
        return Factor(ratio, share / math.sqrt(3), f"factor {ratio:g}")


@dataclasses.dataclass(frozen=True, kw_only=True)
class KeepOptions:
    """What is kept beside the figures."""

    temperature: options.Temperature = None
    valid_days: Annotated[
        int, typer.Option("--valid-days", min=1, max=3650, help="After so many days every use warns.")
    ] = 365
    gain: Annotated[
        str | None, typer.Option("--gain", help="Where the input's gain stands, in words: nobody else can read it.")
    ] = None
    device: Annotated[
        str | None,
        typer.Option("--device", metavar="KIND:HOST API/NAME", help="What recorded a WAV or text file, as --source."),
    ] = None
    replace: Annotated[bool, typer.Option("--replace", help="Put it in place of a stored one of that name.")] = False

    def wired(self, read: InputFacts) -> InputFacts:
        """The input, with what the user knows of it and the files do not; raises `WrongUseError` where they differ."""
        from analysis import WrongUseError

        gain = read.settings.get("gain")
        if self.gain and gain and gain != self.gain:
            raise WrongUseError(f"--gain {self.gain}: the recordings were made at gain '{gain}'")
        if self.device and read.source_kind:
            raise WrongUseError(f"--device {self.device}: the recordings say themselves: {read.words}")
        told: dict[str, Any] = {"settings": read.settings | ({"gain": self.gain} if self.gain else {})}
        if self.device:
            kind, _, name = self.device.partition(":")
            api, _, rest = name.rpartition("/")
            told |= {"source_kind": kind, "host_api": api, "name": rest}
        return read.model_copy(update=told)


def _one_of(option: str, text: str, known: tuple[str, ...]) -> None:
    from analysis import WrongUseError

    if text not in known:
        raise WrongUseError(f"{option} {text}: use {' or '.join(known)}")


def _share(option: str, share: float) -> float:
    from analysis import WrongUseError

    if not 0 < share < 1:
        raise WrongUseError(f"{option} {share:g}: give a share such as 0.01 for one per cent")
    return share


def _ohms(option: str, text: str, *, endless: bool = False) -> float:
    from analysis import WrongUseError

    number, power = text.strip(), 1.0
    if number[-1:] in ("k", "M"):
        number, power = number[:-1], {"k": 1e3, "M": 1e6}[number[-1]]
    try:
        ohms = float(number) * power
    except ValueError:
        ohms = 0.0
    if not ohms > 0 or (math.isinf(ohms) and not endless):
        raise WrongUseError(f"{option} {text}: '{text}' are no ohms: write 1000, 19k or 1M")
    return ohms
