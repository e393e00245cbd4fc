"""Folded tones told from true ones: the published arithmetic, whole recordings, and what must stay open."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from analysis import Analysis, AnalysisError, Channel, FoldedLine, Folding, Line, possible_hz, shown_hz, unfold
from tests.analysis.making import analysis_of, sine, white

Floats = npt.NDArray[np.float64]
SIGNAL = Channel("s", "signal", "V", "AC")


def recorded(rate_hz: float, *tones: tuple[float, float], seconds: float = 3.0, channel: Channel = SIGNAL) -> Analysis:
    """Tones (Hz, rms) as a converter without any filter takes them, in a little noise."""
    frames = round(seconds * rate_hz)
    clean = sum(sine(hz, rms, rate_hz, frames, phase=hz) for hz, rms in tones)
    return analysis_of(clean + white(round(rate_hz), 1e-4, frames), rate_hz, channel)


def near(found: Folding, recording: str, frequency_hz: float) -> FoldedLine:
    (line,) = [
        each for each in found.lines if each.recording == recording and abs(each.frequency_hz - frequency_hz) < 2
    ]
    return line


# f_alias = |f - fs round(f / fs)|; the worked numbers of a trade-practice note: 52.3 kHz at 48, 44.1 and 96 kHz.
@pytest.mark.parametrize("rate_hz, shown", ((48_000.0, 4300.0), (44_100.0, 8200.0), (96_000.0, 43_700.0)))
def test_where_a_tone_shows(rate_hz: float, shown: float) -> None:
    assert shown_hz(52_300.0, rate_hz) == pytest.approx(shown)
    # A sampled cosine of one is the sampled cosine of the other.
    rows = np.arange(100) / rate_hz
    np.testing.assert_allclose(np.cos(2 * np.pi * 52_300 * rows), np.cos(2 * np.pi * shown * rows), atol=1e-9)


def test_every_frequency_that_may_show_there_and_no_other() -> None:
    found = possible_hz(4300.0, 48_000.0, 200_000.0)
    assert found == (4300, 43_700, 52_300, 91_700, 100_300, 139_700, 148_300, 187_700, 196_300)
    assert all(shown_hz(each, 48_000.0) == pytest.approx(4300.0) for each in found)
    assert possible_hz(4300.0, 48_000.0, 4300.0) == (4300,)
    assert possible_hz(0.0, 1000.0, 2500.0) == (0, 1000, 2000)


# ------------------------------------------------------------------ whole recordings


def test_true_and_folded_lines_of_two_recordings() -> None:
    """A true 1 kHz whine, and a converter at 52.3 kHz that shows at 4.3 and at 8.2 kHz."""
    tones = ((1000.3, 0.01), (52_300.0, 0.005))
    found = unfold(recorded(48_000.0, *tones), recorded(44_100.0, *tones), top_hz=200_000.0)
    for recording in ("first", "second"):
        whine = near(found, recording, 1000.3)
        assert whine.verdict == "true"
        assert [origin.frequency_hz for origin in whine.origins] == pytest.approx([1000.3], abs=0.1)
    for recording, shown in (("first", 4300.0), ("second", 8200.0)):
        folded = near(found, recording, shown)
        assert folded.verdict == "folded"
        (origin,) = folded.origins
        assert origin.frequency_hz == pytest.approx(52_300.0, abs=origin.uncertainty_hz)
        assert origin.uncertainty_hz < 6
        assert not origin.as_shown
        assert folded.rms == pytest.approx(0.005, rel=0.02)
    assert near(found, "first", 4300.0).origins[0].partner_hz == pytest.approx(8200.0, abs=0.5)
    assert len(found.lines) == 4
    assert found.warnings == ()
    assert found.with_verdict("folded") == tuple(line for line in found.lines if line.verdict == "folded")


def test_a_line_that_only_the_higher_rate_reaches() -> None:
    """30 kHz is true at 96 kHz and folded at 48 kHz."""
    found = unfold(recorded(48_000.0, (30_000.0, 0.01)), recorded(96_000.0, (30_000.0, 0.01)), top_hz=60_000.0)
    assert near(found, "first", 18_000.0).verdict == "folded"
    assert near(found, "second", 30_000.0).verdict == "true"
    assert near(found, "first", 18_000.0).origins[0].frequency_hz == pytest.approx(30_000, abs=5)


def test_rates_in_a_simple_ratio_leave_lines_ambiguous() -> None:
    """91.7 kHz shows at 4.3 kHz at both 48 and 96 kHz, exactly as a true 4.3 kHz does."""
    analyses = recorded(48_000.0, (91_700.0, 0.01)), recorded(96_000.0, (91_700.0, 0.01))
    found = unfold(*analyses, top_hz=120_000.0)
    line = near(found, "first", 4300.0)
    assert line.verdict == "ambiguous"
    assert [round(origin.frequency_hz, -1) for origin in line.origins] == [4300, 91_700, 100_300]
    assert any("may be true or folded (from 4300" in text and "third sample rate" in text for text in found.warnings)
    # Below a lower top there is but one way to read it: as far as was asked, it is true.
    assert near(unfold(*analyses, top_hz=50_000.0), "first", 4300.0).verdict == "true"


def test_a_line_without_partner_is_not_told() -> None:
    found = unfold(recorded(48_000.0, (1000.0, 0.01), (4300.0, 0.01)), recorded(44_100.0, (1000.0, 0.01)))
    assert near(found, "first", 4300.0).verdict == "not told"
    assert near(found, "first", 4300.0).origins == ()
    assert any("1 line of one recording have no partner" in text for text in found.warnings)


@pytest.mark.parametrize("seed", range(20))
def test_random_converters_are_named(seed: int) -> None:
    """The truth is always among the candidates, and what lies above half of both rates is never called true."""
    dice = np.random.default_rng(seed)
    truth = float(dice.uniform(30_000, 400_000))
    rates = (48_000.0, 44_100.0)
    shown = [shown_hz(truth, rate) for rate in rates]
    if min(shown) < 100 or any(abs(place - rate / 2) < 100 for place, rate in zip(shown, rates, strict=True)):
        pytest.skip("folds onto an end of the spectrum, where no line is told from its mirror image")
    found = unfold(*(made(rate, (place, 0.1)) for place, rate in zip(shown, rates, strict=True)))
    for line in found.lines:
        assert line.verdict in ("folded", "ambiguous")
        assert any(abs(each.frequency_hz - truth) <= each.uncertainty_hz for each in line.origins)


# ------------------------------------------------------------------ given lines


def made(rate_hz: float, *lines: tuple[float, float], channel: Channel = SIGNAL, **facts: Any) -> Analysis:
    """An analysis with lines at (Hz, uncertainty in Hz)."""
    own = {"cause": None, "order": None, "wandered": False, **facts}
    told = tuple(
        Line(channel.name, hz, spread, 0.01, "V", 0.0, lowest_hz=hz - 1, highest_hz=hz + 1, **own)
        for hz, spread in lines
    )
    return Analysis(rate_hz, 1, (channel,), None, None, None, (), told, (), (), ())  # type: ignore[arg-type]


def test_uncertainty_of_the_rate_grows_with_the_folds() -> None:
    """4300 Hz of 48 kHz folded ten times: 100 ppm of 484.3 kHz is 48 Hz."""
    truth = 10 * 48_000 + 4300.0
    partner = shown_hz(truth, 44_100.0) + 60
    pair = made(48_000.0, (4300.0, 0.01)), made(44_100.0, (partner, 0.01))
    near_enough = unfold(*pair)
    assert any(abs(each.frequency_hz - truth) < 60 for each in near_enough.lines[0].origins)
    assert not any(
        abs(each.frequency_hz - truth) < 60 for each in unfold(*pair, rate_uncertainty=1e-6).lines[0].origins
    )


def test_a_noise_that_drifted_between_is_met_by_the_stated_drift() -> None:
    pair = made(48_000.0, (1000.0, 0.01)), made(44_100.0, (1002.0, 0.01))
    assert unfold(*pair, top_hz=20_000.0).lines[0].verdict == "not told"
    assert unfold(*pair, top_hz=20_000.0, drift=0.002).lines[0].verdict == "true"
    wandering = tuple(made(a.rate_hz, (a.lines[0].frequency_hz, 1.0), wandered=True) for a in pair)
    assert unfold(*wandering, top_hz=20_000.0).lines[0].verdict == "true"


def test_the_same_rate_tells_nothing() -> None:
    with pytest.raises(AnalysisError, match=r"both .* made at 48000 samples a second.* for example 44100"):
        unfold(made(48_000.0, (1000.0, 0.1)), made(48_000.0, (1000.0, 0.1)))
    with pytest.raises(AnalysisError, match="for example 48000"):
        unfold(made(44_100.0), made(44_100.0))


def test_channels_are_paired_by_role_or_by_name() -> None:
    first, bare = Channel("a", "signal@rear", "V"), Channel("s")
    found = unfold(
        made(48_000.0, (1000.0, 0.1), channel=first), made(44_100.0, (1000.0, 0.1), channel=Channel("b", first.role))
    )
    assert [line.channel for line in found.lines] == ["a", "b"]
    assert unfold(made(48_000.0, channel=bare), made(44_100.0, channel=bare)).lines == ()
    with pytest.raises(AnalysisError, match="no channel is connected to the same point in both recordings"):
        unfold(made(48_000.0, channel=first), made(44_100.0, channel=bare))
