"""Burst figures of circuits that ngspice solved, against closed forms of the circuit and ngspice's own measurements."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis import Analysis, Channel, Subject, analyse
from tests.analysis.making import cut, white
from tests.analysis.supply_circuit import NODES, Circuit, Floats, solve

RATE_HZ = 4000.0
CHANNELS = tuple(Channel(name, name, "A" if name == "current" else "V", "DC", scale_uncertainty=0) for name in NODES)


def analysed(
    rows: Floats, circuit: Circuit, *, told: bool = True, channels: tuple[Channel, ...] = CHANNELS
) -> Analysis:
    spans = tuple((start, start + circuit.length_s) for start in circuit.starts_s) if told else ()
    tones = (circuit.tone_hz or None,) * len(spans)
    return analyse(
        Subject(channels, RATE_HZ, len(rows), lambda: cut(rows, 4096), burst_spans_s=spans, burst_tones_hz=tones)
    )


def value(found: Analysis, channel: str, quantity: str) -> tuple[float, float]:
    figure = found.figure(channel, quantity)
    assert figure is not None, (channel, quantity, found.warnings)
    assert figure.uncertainty is not None, (channel, quantity)
    return figure.value, figure.uncertainty


def close(found: Analysis, channel: str, quantity: str, truth: float, share: float = 0.01) -> None:
    """Within 1 % or the stated uncertainty, which itself must be no excuse."""
    got, uncertainty = value(found, channel, quantity)
    assert abs(got - truth) <= max(share * abs(truth), uncertainty), (channel, quantity, got, uncertainty, truth)
    assert uncertainty <= 0.05 * abs(truth), (channel, quantity, got, uncertainty, truth)


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory) -> tuple[Circuit, Floats, dict[str, float]]:
    """An even current, with alternator ripple on top; ngspice takes the means itself."""
    means = tuple(
        f"{name}{point} AVG {node} from={first} to={last}"
        for point, node in (("b", "v(bat)"), ("a", "vamp"), ("p", "vpositive"), ("g", "v(an)"))
        for name, first, last in (
            ("before", 0.5, 0.99),
            ("loaded", 1.75, 2.499),
            ("lowest", 2.49, 2.5),
            ("after", 2.595, 2.605),
        )
    )
    circuit = Circuit(ripple_v=0.03, measures=means)
    rows, measured = solve(circuit, tmp_path_factory.mktemp("steady"), RATE_HZ)
    return circuit, rows, measured


@pytest.fixture(scope="module")
def tone(tmp_path_factory: pytest.TempPathFactory) -> tuple[Circuit, Floats]:
    """A rectified tone of 50 Hz; the alternator's ripple lies at no multiple of it."""
    circuit = Circuit(ripple_v=0.04, tone_hz=50.0, tau_s=0.2, r1_ohm=0.005)
    return circuit, solve(circuit, tmp_path_factory.mktemp("tone"), RATE_HZ)[0]


def test_losses_sag_and_recovery_are_those_that_ngspice_measures(
    steady: tuple[Circuit, Floats, dict[str, float]],
) -> None:
    circuit, rows, measured = steady
    found = analysed(rows, circuit)
    for point, where in (("b", "battery"), ("p", "positive"), ("g", "ground")):
        truth = abs(measured[f"before{point}"] - measured[f"loaded{point}"])
        close(found, "supply-amp", f"loss_{where}", truth, share=0.002)
    for point, channel in (("b", "supply"), ("a", "supply-amp")):
        close(found, channel, "sag", measured[f"before{point}"] - measured[f"lowest{point}"])
        close(found, channel, "unrecovered", measured[f"before{point}"] - measured[f"after{point}"])


def test_parts_add_up_and_the_remainder_says_so(steady: tuple[Circuit, Floats, dict[str, float]]) -> None:
    circuit, rows, _ = steady
    found = analysed(rows, circuit)
    assert found.supply is not None
    (split,) = found.supply.splits
    assert len(split.bursts) == 2
    assert split.remainder is not None
    assert split.remainder.within
    assert abs(split.remainder.volts) < 1e-6
    for burst in split.bursts:
        assert burst.amplifier is not None
        assert sum(part.volts for part in burst.parts) == pytest.approx(burst.amplifier.change, abs=1e-6)
        assert burst.current is not None
        assert burst.current.change == pytest.approx(circuit.burst_a, rel=1e-3)


def test_a_lead_in_the_wrong_place_shows_in_the_remainder(steady: tuple[Circuit, Floats, dict[str, float]]) -> None:
    """The ground clip sat at a joint of 2 mΩ past the post: 104 mV are unaccounted for."""
    circuit, rows, _ = steady
    rows = rows.copy()
    rows[:, NODES.index("drop-ground")] -= 0.002 * rows[:, NODES.index("current")]
    found = analysed(rows, circuit)
    assert found.supply is not None
    left = found.supply.splits[0].remainder
    assert left is not None
    assert left.within is False
    assert left.volts == pytest.approx(0.002 * circuit.burst_a, rel=1e-3)
    assert any("unexplained" in warning and "check where each clip sat" in warning for warning in found.warnings)


@pytest.mark.parametrize(
    "without, parts",
    (
        ("drop-ground", {"battery": "measured", "positive": "measured", "ground": "by difference"}),
        ("drop-positive", {"battery": "measured", "positive": "by difference", "ground": "measured"}),
        ("supply", {"battery": "by difference", "positive": "measured", "ground": "measured"}),
        ("drops", {"battery": "measured", "wiring": "by difference"}),
        ("supply-amp", {"battery": "measured", "positive": "measured", "ground": "measured"}),
    ),
)
def test_what_was_not_recorded_is_the_difference(
    steady: tuple[Circuit, Floats, dict[str, float]], without: str, parts: dict[str, str]
) -> None:
    circuit, rows, _ = steady
    gone = ("drop-positive", "drop-ground") if without == "drops" else (without,)
    keep = [at for at, name in enumerate(NODES) if name not in gone]
    found = analysed(rows[:, keep], circuit, channels=tuple(CHANNELS[at] for at in keep))
    assert found.supply is not None
    (split,) = found.supply.splits
    assert {part.where: part.how for part in split.parts} == parts
    assert split.remainder is None
    amps = circuit.burst_a
    truth = {
        "positive": circuit.positive_ohm * amps,
        "ground": circuit.ground_ohm * amps,
        "wiring": (circuit.positive_ohm + circuit.ground_ohm) * amps,
    }
    for part in split.parts:
        if part.where in truth:
            assert part.volts == pytest.approx(truth[part.where], rel=1e-3)


def relaxed(circuit: Circuit, after_s: float) -> float:
    """R0 + R1 (1 - exp(-t/tau)): the step response of the circuit, by definition."""
    return circuit.r0_ohm + circuit.r1_ohm * (1 - math.exp(-after_s / circuit.tau_s))


@pytest.mark.parametrize("told", (True, False))
def test_source_resistance_by_window(steady: tuple[Circuit, Floats, dict[str, float]], told: bool) -> None:
    circuit, rows, _ = steady
    found = analysed(rows, circuit, told=told)
    wires = circuit.positive_ohm + circuit.ground_ohm
    for channel, more in (("supply", 0.0), ("supply-amp", wires)):
        figures = [f for f in found.figures if (f.channel, f.quantity) == (channel, "source_resistance")]
        assert [figure.window_s for figure in figures] == [0.1, 0.5, 1.0]
        for figure in figures:
            assert figure.window_s is not None
            assert figure.value == pytest.approx(relaxed(circuit, figure.window_s) + more, rel=0.01)
            assert figure.uncertainty is not None
            assert 0 < figure.uncertainty < 0.05 * figure.value
        assert figures[0].value < figures[1].value < figures[2].value


@pytest.mark.parametrize("which", ("steady", "tone"))
def test_battery_model(which: str, request: pytest.FixtureRequest) -> None:
    circuit, rows = request.getfixturevalue(which)[:2]
    found = analysed(rows + white(1, 0.002, *rows.shape), circuit)
    for quantity, truth in (
        ("battery_r0", circuit.r0_ohm),
        ("battery_r1", circuit.r1_ohm),
        ("battery_tau", circuit.tau_s),
    ):
        close(found, "supply", quantity, truth)


def impedance(circuit: Circuit, hz: float) -> complex:
    return circuit.r0_ohm + circuit.r1_ohm / (1 + 2j * np.pi * hz * circuit.tau_s)


def rectified_rms(circuit: Circuit, more_ohm: float = 0.0, below_hz: float = RATE_HZ / 2) -> float:
    """|sin| = 2/pi - 4/pi sum cos(2 k w t) / (4 k^2 - 1): each term through the circuit's impedance."""
    orders = np.arange(1, int(below_hz / (2 * circuit.tone_hz)))
    amps = circuit.burst_a * 4 / np.pi / (4 * orders**2 - 1)
    volts = [a * abs(impedance(circuit, 2 * k * circuit.tone_hz) + more_ohm) for k, a in zip(orders, amps, strict=True)]
    return float(np.sqrt(np.sum(np.square(volts)) / 2))


@pytest.mark.parametrize("told", (True, False))
def test_ripple_of_the_tone_and_of_the_alternator(tone: tuple[Circuit, Floats], told: bool) -> None:
    """The tone is told by the stimulus, or read as half of what the current swings at."""
    circuit, rows = tone
    found = analysed(rows, circuit, told=told)
    wires = circuit.positive_ohm + circuit.ground_ohm
    for channel, more in (("supply", 0.0), ("supply-amp", wires)):
        close(found, channel, "ripple_tone_rms", rectified_rms(circuit, more))
        close(found, channel, "ripple_rest_rms", circuit.ripple_v / math.sqrt(2))
    assert found.supply is not None
    for one in found.supply.rail_ripple:
        assert one.tone_hz == pytest.approx(circuit.tone_hz, rel=1e-3)
        assert one.rest_line_hz == pytest.approx(circuit.ripple_hz, abs=2)
        assert one.before_rms == pytest.approx(circuit.ripple_v / math.sqrt(2), rel=0.01)


def test_loss_and_resistance_hold_for_a_rectified_tone(tone: tuple[Circuit, Floats]) -> None:
    circuit, rows = tone
    found = analysed(rows, circuit)
    mean = 2 / np.pi * circuit.burst_a
    close(found, "supply-amp", "loss_positive", circuit.positive_ohm * mean)
    close(found, "supply-amp", "loss_ground", circuit.ground_ohm * mean)
    for figure in found.figures:
        if (figure.channel, figure.quantity) == ("supply", "source_resistance"):
            assert figure.window_s is not None
            assert figure.value == pytest.approx(relaxed(circuit, figure.window_s), rel=0.01)


def test_the_current_is_asked_for(steady: tuple[Circuit, Floats, dict[str, float]]) -> None:
    circuit, rows, _ = steady
    found = analysed(rows[:, :4], circuit, channels=CHANNELS[:4])
    assert found.figure("supply", "source_resistance") is None
    assert found.figure("supply", "battery_r0") is None
    assert any("the supply current was not recorded; add a DC clamp" in warning for warning in found.warnings)


@pytest.mark.parametrize("name", ("supply", "current"))
def test_nothing_from_an_ac_coupled_channel(steady: tuple[Circuit, Floats, dict[str, float]], name: str) -> None:
    circuit, rows, _ = steady
    channels = tuple(
        Channel(one.name, one.role, one.unit, "AC" if one.name == name else "DC", scale_uncertainty=0)
        for one in CHANNELS
    )
    found = analysed(rows, circuit, channels=channels)
    assert found.figure("supply", "source_resistance") is None
    assert found.figure("supply", "battery_r0") is None
    if name == "current":
        assert any("nobody said that the current is DC-coupled" in warning for warning in found.warnings)
