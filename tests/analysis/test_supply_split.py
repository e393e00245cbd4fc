"""What bursts took, from published examples and closed forms; several amplifiers; uncertainty."""

from __future__ import annotations

import numpy as np
import pytest

from analysis import Channel, SupplySplit, measure_burst, split_supply
from tests.analysis.making import Floats, white

STEP_S = 0.001
SPANS = ((1.0, 1.8), (3.0, 3.8), (5.0, 5.8))


def bursts_of(channels: tuple[Channel, ...], rows: Floats) -> list[tuple[str, object]]:
    found: list[tuple[str, object]] = []
    for at, channel in enumerate(channels):
        rest = 0.0
        for span in SPANS:
            falls = channel.role_kind in ("supply", "supply-amp")
            found.append((channel.name, measure_burst(rows[:, at], STEP_S, span, rest, falls=falls)))
            rest = span[1] + 0.2
    return found


def split(
    values: dict[str, tuple[float, float]], noise: float = 0.0, seed: int = 0, **facts: float
) -> list[SupplySplit]:
    """Each role's value at rest and in a burst."""
    place = np.arange(7000) * STEP_S
    playing = np.any([(place >= start) & (place < end) for start, end in SPANS], axis=0)
    channels = tuple(
        Channel(role, role, "A" if role.startswith("current") else "V", "DC", **facts)  # type: ignore[arg-type]
        for role in values
    )
    rows = np.stack([np.where(playing, loaded, rest) for rest, loaded in values.values()], axis=1)
    rows += white(seed, noise, *rows.shape)
    return list(split_supply(channels, rows, STEP_S, bursts_of(channels, rows)))  # type: ignore[arg-type]


def parts(one: SupplySplit) -> dict[str, float]:
    return {part.where: part.volts for part in one.parts}


def test_a_corroded_joint_before_a_starter() -> None:
    """OpenStax College Physics chapter 21: 12.0 V, 0.0100 Ω, motor 0.0500 Ω, corroded joint 0.0900 Ω: 80.0 A, 4.00 V
    at the motor. So the battery keeps 11.2 V and the joint takes 7.20 V."""
    (one,) = split({"supply": (12.0, 11.2), "supply-amp": (12.0, 4.00), "current": (0.0, 80.0)})
    assert parts(one) == pytest.approx({"battery": 0.8, "wiring": 7.2})
    amplifier, current = one.bursts[0].amplifier, one.bursts[0].current
    assert amplifier is not None
    assert current is not None
    assert (amplifier.loaded, current.loaded) == pytest.approx((4.0, 80.0))
    assert one.parts[1].volts / current.change == pytest.approx(0.0900)


def test_every_amplifier_has_its_own_split() -> None:
    found = split(
        {
            "supply": (12.6, 12.1),
            "supply-amp@front": (12.6, 11.9),
            "supply-amp@rear": (12.5, 11.2),
            "drop-positive@rear": (0.0, 0.5),
            "drop-ground@front": (0.0, 0.15),
        }
    )
    assert [(one.point, one.channel) for one in found] == [("front", "supply-amp@front"), ("rear", "supply-amp@rear")]
    assert parts(found[0]) == pytest.approx({"battery": 0.5, "ground": 0.15, "positive": 0.05})
    assert parts(found[1]) == pytest.approx({"battery": 0.5, "positive": 0.5, "ground": 0.3})


def test_one_point_alone_is_no_split() -> None:
    assert split({"supply": (12.6, 12.1)}) == []
    assert split({"supply-amp": (12.6, 12.1)}) == []


def test_a_zero_that_is_off_cancels_and_a_scale_does_not() -> None:
    (one,) = split(
        {"supply": (12.6, 12.1), "supply-amp": (12.6, 11.4), "drop-positive": (0.3, 0.7), "drop-ground": (-0.2, 0.1)},
        offset_uncertainty=0.5,
        scale_uncertainty=0.01,
    )
    assert parts(one) == pytest.approx({"battery": 0.5, "positive": 0.4, "ground": 0.3})
    by_name = {part.where: part.uncertainty for part in one.parts}
    assert by_name == pytest.approx({"battery": 0.005, "positive": 0.004, "ground": 0.003}, rel=1e-6)
    assert one.remainder is not None
    assert one.remainder.uncertainty == pytest.approx(0.01 * np.sqrt(0.5**2 + 1.2**2 + 0.4**2 + 0.3**2), rel=1e-6)
    assert one.bursts[0].battery is not None
    assert one.bursts[0].battery.loaded_uncertainty == pytest.approx(np.hypot(0.5, 0.121), rel=1e-6)


def test_stated_uncertainty_covers_the_truth() -> None:
    """Of each burst and of their mean; k = 2 is about 95 of 100."""
    single, mean, remainders = [], [], []
    truth = {"battery": 0.5, "positive": 0.4, "ground": 0.3}
    values = {
        "supply": (12.6, 12.1),
        "supply-amp": (12.6, 11.4),
        "drop-positive": (0.0, 0.4),
        "drop-ground": (0.0, 0.3),
    }
    for seed in range(80):
        (one,) = split(values, 0.03, seed)
        for where, volts in truth.items():
            mean += [abs(p.volts - volts) <= (p.uncertainty or 0) for p in one.parts if p.where == where]
            for burst in one.bursts:
                part = burst.part(where)  # type: ignore[arg-type]
                assert part is not None
                single.append(abs(part.volts - volts) <= (part.uncertainty or 0))
                # 30 mV on 490 and 400 means of a millisecond each
                assert part.uncertainty is not None
                assert part.uncertainty < 2 * 2 * 0.03 * np.sqrt(1 / 490 + 1 / 400)
        assert one.remainder is not None
        remainders.append(one.remainder.within)
    for hits in (single, mean, remainders):
        assert 0.9 <= np.mean(np.array(hits, float)) <= 1


@pytest.mark.parametrize("lost", (0, 2))
def test_a_burst_with_a_gap_in_its_rest_is_left_out(lost: int) -> None:
    place = np.arange(7000) * STEP_S
    playing = np.any([(place >= start) & (place < end) for start, end in SPANS], axis=0)
    channels = (Channel("supply", "supply", "V", "DC"), Channel("amp", "supply-amp", "V", "DC"))
    rows = np.stack([np.where(playing, 12.1, 12.6), np.where(playing, 11.4, 12.6)], axis=1)
    start = SPANS[lost][0]
    rows[(place > start - 1) & (place < start), 1] = np.nan
    (one,) = split_supply(channels, rows, STEP_S, bursts_of(channels, rows))  # type: ignore[arg-type]
    assert [burst.start_s for burst in one.bursts] == [span[0] for at, span in enumerate(SPANS) if at != lost]
    assert parts(one) == pytest.approx({"battery": 0.5, "wiring": 0.7})


def test_two_channels_of_one_role_are_no_split() -> None:
    """Nobody knows which of them to take."""
    channels = tuple(Channel(name, "drop-ground", "V", "DC") for name in ("first", "second"))
    rows = np.zeros((7000, 2))
    assert split_supply(channels, rows, STEP_S, bursts_of(channels, rows)) == ()  # type: ignore[arg-type]
