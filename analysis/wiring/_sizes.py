"""Conductor sizes: AWG by its definition, SAE areas, metric cable, counted strands; and what a size costs in volts."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from analysis._errors import AnalysisError
from analysis.wiring._materials import COPPER, REFERENCE_C, Material

MM2_PER_CIRCULAR_MIL = 5.067075e-4
#: strands run longer than the cable: NEC chapter 9 table 8, as transcribed, has 1.02 times the solid wire's resistance
STRANDING = 1.02
#: gauges as numbers: 1/0 is 0, 2/0 is -1, ...
_LARGEST, _SMALLEST = -3, 40
#: SAE areas in circular mil, smaller than AWG's, as transcribed in a boat-cable catalogue (delzer.com)
SAE_CIRCULAR_MIL = {
    18: 1537, 16: 2336, 14: 3702, 12: 5833, 10: 9343, 8: 14810, 6: 24538, 4: 37360, 2: 62450, 1: 77790,
    0: 98980, -1: 125100, -2: 158600, -3: 205500,
}  # fmt: skip
#: largest resistance of fine-stranded plain copper at 20 °C, ohm per km by nominal mm²: IEC 60228 class 5, as
#: transcribed at mycableengineering.com and uecables.com
CLASS_5_OHM_PER_KM = {
    0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21, 25.0: 0.780,
    35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206, 120.0: 0.161, 150.0: 0.129, 185.0: 0.106, 240.0: 0.0801,
}  # fmt: skip
_CLASS_5_AREAS = np.array(list(CLASS_5_OHM_PER_KM))
_CLASS_5_LOG_AREA = np.log(_CLASS_5_AREAS)
_CLASS_5_LOG_PRODUCT = np.log(np.array(list(CLASS_5_OHM_PER_KM.values())) * _CLASS_5_AREAS)
#: nobody sells cable outside these
_LEAST_MM2, _MOST_MM2 = 0.01, 2000.0
#: as near as this, an area counts as the gauge's own
_SAME_AREA = 0.02


@dataclass(frozen=True, slots=True)
class Size:
    """A conductor's cross-section: what is written on it, and the area of its metal."""

    label: str
    area_mm2: float
    #: its resistance over that of a solid bar of this area: 1 for a wire, 1.02 for strands, some 1.1 for a cable sold
    #: by its nominal mm², of which the standard asks a resistance and not an area
    lay: float = STRANDING
    #: in which series it is made: "SAE", "AWG", "mm²", or "" when the metal was measured
    family: str = ""

    def ohm_per_m(self, material: Material = COPPER, celsius: float = 20.0) -> float:
        """Resistance of one metre at a temperature."""
        return self.lay * material.resistivity_at(celsius) / (self.area_mm2 * 1e-6)

    @property
    def heating_area_mm2(self) -> float:
        """Area of the stranded AWG conductor that grows as warm: same resistance, never more metal than this one."""
        return self.area_mm2 * min(1.0, STRANDING / self.lay)


def gauge_number(text: str) -> int:
    """The number of a gauge as people write it: "4", "4 AWG", "1/0", "00"; raises `AnalysisError`."""
    word = re.sub(r"\s*(awg|sae|ga|gauge)?\s*$", "", text.strip().lower())
    if aught := re.fullmatch(r"([1-4])/0", word):
        return 1 - int(aught[1])
    if re.fullmatch(r"0{1,4}", word):
        return 1 - len(word)
    if re.fullmatch(r"\d{1,2}", word) and 1 <= int(word) <= _SMALLEST:
        return int(word)
    raise AnalysisError(f"gauge '{text}' is not known: write 40 to 1, 1/0, 2/0, 3/0 or 4/0, or give the area in mm²")


def gauge_text(gauge: int) -> str:
    """A gauge number as the trade writes it: -3 is "4/0"."""
    return str(gauge) if gauge > 0 else f"{1 - gauge}/0"


def awg_diameter_mm(gauge: int) -> float:
    """Diameter of a solid wire, d = 0.005 in x 92^((36 - n) / 39) (ASTM B258); not rounded."""
    return float(25.4 * 0.005 * 92 ** ((36 - gauge) / 39))


def awg_printed_diameter_in(gauge: int) -> float:
    """The same as ASTM B258 prints it, in inch: to 0.0001 in, in at most four figures."""
    return round(awg_diameter_mm(gauge) / 25.4, 4)


def awg_area_mm2(gauge: int) -> float:
    """Area of a solid wire of a gauge, mm²."""
    return float(awg_diameter_mm(gauge) ** 2 * math.pi / 4)


def sae_area_mm2(gauge: int) -> float:
    """Area of vehicle cable of a gauge, mm²."""
    return SAE_CIRCULAR_MIL[gauge] * MM2_PER_CIRCULAR_MIL


def size_of_awg(text: str, strand: str = "SAE") -> Size:
    """A conductor of a gauge; `strand` says whether it has SAE's area (vehicle cable), AWG's, or is a solid wire.

    Raises `AnalysisError` for a gauge that is none, or that SAE does not have.
    """
    gauge = gauge_number(text)
    name = gauge_text(gauge)
    if strand == "AWG":
        return Size(f"{name} AWG", awg_area_mm2(gauge), family="AWG")
    if strand == "solid":
        return Size(f"{name} AWG solid", awg_area_mm2(gauge), lay=1.0, family="AWG")
    if strand != "SAE":
        raise AnalysisError(f"strand '{strand}' is not known: write SAE, AWG or solid")
    if gauge not in SAE_CIRCULAR_MIL:
        raise AnalysisError(f"there is no SAE cable of gauge '{text}': use strand = \"AWG\", or give the area in mm²")
    return Size(f"{name} SAE", sae_area_mm2(gauge), family="SAE")


def size_of_mm2(area_mm2: float) -> Size:
    """A fine-stranded cable marked with a nominal area.

    IEC 60228 limits the resistance of class 5, not its area: a cable marked with one of the standard's sizes counts
    with that largest resistance (other metals: in proportion to their resistivity). Between the sizes resistance times
    area is interpolated, beyond them it stays, so that more mm² never means more ohm. Where the metal itself was
    measured, take `size_of_metal` or `size_of_strands`.
    """
    _refuse_area(area_mm2, "mm²")
    product = math.exp(float(np.interp(math.log(area_mm2), _CLASS_5_LOG_AREA, _CLASS_5_LOG_PRODUCT)))
    # ohm/km x mm² is 1e-9 ohm m
    return Size(f"{area_mm2:g} mm²", area_mm2, product * 1e-9 / COPPER.resistivity_ohm_m, "mm²")


def size_of_metal(area_mm2: float, label: str | None = None) -> Size:
    """A stranded conductor of which the metal's own area is known: rho x 1.02 / A."""
    _refuse_area(area_mm2, "mm² of metal")
    return Size(label or f"{area_mm2:.3g} mm² of metal", area_mm2)


def size_of_strands(count: int, diameter_mm: float) -> Size:
    """A conductor by counting its strands and measuring one of them bare, mm: what a false gauge cannot hide."""
    if count < 1 or not 0.01 <= diameter_mm <= 20:
        raise AnalysisError(f"{count} strands of {diameter_mm:g} mm is no cable: count them, measure one bare")
    area = count * math.pi / 4 * diameter_mm**2
    _refuse_area(area, f"mm² ({count} strands of {diameter_mm:g} mm)")
    return Size(f"{count} × {diameter_mm:g} mm", area, STRANDING if count > 1 else 1.0)


def _refuse_area(area_mm2: float, unit: str) -> None:
    if not _LEAST_MM2 <= area_mm2 <= _MOST_MM2:  # not of a number, too
        raise AnalysisError(f"{area_mm2:g} {unit} is no cable: give its metal, {_LEAST_MM2} to {_MOST_MM2:g} mm²")


#: the sizes that can be bought, thin to thick
LADDERS: dict[str, tuple[Size, ...]] = {
    "SAE": tuple(size_of_awg(gauge_text(gauge), "SAE") for gauge in SAE_CIRCULAR_MIL),
    "AWG": tuple(size_of_awg(gauge_text(gauge), "AWG") for gauge in SAE_CIRCULAR_MIL),
    "mm²": tuple(size_of_mm2(area) for area in CLASS_5_OHM_PER_KM),
}


def next_sizes(size: Size) -> tuple[Size, ...]:
    """The sizes of the same series that have less resistance, thin to thick; vehicle cable's for measured metal."""
    ladder = LADDERS.get(size.family, LADDERS["SAE"])
    return tuple(one for one in ladder if one.ohm_per_m() < size.ohm_per_m() * (1 - 1e-9))


def nearest_awg(area_mm2: float) -> str:
    """A metal area in gauges: "4 AWG", "4 SAE" (as vehicle cable has it), or "between 6 and 4 AWG"."""
    _refuse_area(area_mm2, "mm²")
    for text, area_of in (("AWG", awg_area_mm2), ("SAE", sae_area_mm2)):
        for gauge in SAE_CIRCULAR_MIL:
            if abs(area_mm2 / area_of(gauge) - 1) <= _SAME_AREA:
                return f"{gauge_text(gauge)} {text}"
    gauges = [_SMALLEST, 30, 28, 26, 24, 22, 20, *SAE_CIRCULAR_MIL]
    thinner = [gauge for gauge in gauges if awg_area_mm2(gauge) < area_mm2]
    if not thinner:
        return f"thinner than {_SMALLEST} AWG"
    if thinner[-1] == _LARGEST:
        return f"thicker than {gauge_text(_LARGEST)} AWG"
    return f"between {gauge_text(thinner[-1])} and {gauge_text(gauges[len(thinner)])} AWG"


def voltage_drop(
    amps: float, length_m: float, size: Size, material: Material = COPPER, celsius: float = REFERENCE_C
) -> float:
    """Volts lost along `length_m` of conductor; for a circuit give the way there and back."""
    return amps * length_m * size.ohm_per_m(material, celsius)


def least_area_for(
    amps: float,
    length_m: float,
    drop_v: float,
    material: Material = COPPER,
    celsius: float = REFERENCE_C,
    *,
    lay: float = STRANDING,
) -> float:
    """The metal area, mm², that loses no more than `drop_v` along `length_m`: A = lay rho I L / E."""
    if not drop_v > 0:
        raise AnalysisError(f"a drop of {drop_v:g} V needs a cable of no resistance: allow more than 0 V")
    return lay * material.resistivity_at(celsius) * amps * length_m / drop_v * 1e6


def smallest_size_for(
    amps: float,
    length_m: float,
    drop_v: float,
    family: str = "SAE",
    material: Material = COPPER,
    celsius: float = REFERENCE_C,
) -> Size | None:
    """The thinnest size of a series that loses no more than `drop_v`; None when even the thickest loses more."""
    fitting = (one for one in LADDERS[family] if voltage_drop(amps, length_m, one, material, celsius) <= drop_v)
    return next(fitting, None)
