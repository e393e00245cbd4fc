"""The supply sheet's snapshots without Qt: traces, split, figures, bursts over each other, logs, the wiring."""

from pathlib import Path

import numpy as np
import pytest

from gui._load import Library, Loaded, open_views
from gui._supply_axis import clock_step, clock_text
from gui._supply_build import build_supply
from gui._supply_bursts import overlay_picture
from gui._supply_choices import burst_advice, lengths_of, nothing_yet, supply_takes
from gui._supply_curves import predicted_curves
from gui._supply_log import build_log, clock, limit_of
from gui._supply_model import Band, WiringAsked
from gui._supply_wiring import build_wiring, typed_reading
from job import Job
from tests.gui import _jobs, _supply_jobs

FAULT_OHM = 0.008


def quiet(fraction: float, doing: str) -> None:
    """Nobody waits."""


def load(job: Job, index: int = 0) -> Loaded:
    return Library().one(job, job.facts.recordings[index], quiet)


@pytest.fixture(scope="module")
def wired(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Loaded]:
    job = _supply_jobs.wired_job(tmp_path_factory.mktemp("wired") / "job", fault_ohm=FAULT_OHM)
    return job.folder, load(job)


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Loaded:
    return load(_supply_jobs.log_job(tmp_path_factory.mktemp("log") / "job"))


# ---------------------------------------------------------------- which recordings


def test_bursts_come_first_then_logs_and_no_floor(tmp_path):
    job = _supply_jobs.add_log(_jobs.empty_job(tmp_path / "job"), hours=0.1)
    job = _jobs.add(job, "as left", _jobs.volts(2, sag=0.5, whine=1e-5), _jobs.info())
    job = _jobs.add(job, "as found", _jobs.volts(1, sag=1.5, whine=1e-3), _jobs.info())
    floor = np.random.default_rng(3).standard_normal((_jobs.FRAMES, 3)) * 1e-3
    job = _jobs.add(job, "instrument floor", floor, _jobs.info())
    opened = open_views(job.folder)
    takes = supply_takes(opened, lengths_of(opened, {}, quiet))
    states = [choice.label.partition(":")[0] for choice in takes.choices]
    assert states == ["as found", "as left", "as found"]
    assert "log of 6 min 00 s" in takes.choices[2].label
    assert takes.has_bursts


def test_without_recordings_it_says_what_to_record_first(empty_job):
    opened = open_views(empty_job)
    advice = nothing_yet(opened, supply_takes(opened, {}))
    assert advice is not None
    assert dict(advice.facts) == {"state": "as found", "step": "baseline", "signal": "bursts"}
    assert advice.order == burst_advice("").order


# ---------------------------------------------------------------- one recording


def test_rows_bursts_and_split_are_those_of_the_network(wired):
    folder, loaded = wired
    screen = build_supply(loaded)
    assert [(row.name, row.channels) for row in screen.rows] == [
        ("supply volts", ("battery", "amplifier")),
        ("drops", ("plus", "minus")),
        ("current", ("clamp",)),
    ]
    rate = _supply_jobs.BURST_RATE_HZ
    assert [(span.start_s, span.end_s) for span in screen.bursts] == [
        (first / rate, (first + length) / rate) for first, length in _supply_jobs.BURST_SPANS
    ]
    idle, full = (_supply_jobs.operating_point(folder, FAULT_OHM, level) for level in (0.0, 1.0))
    split = screen.splits[0]
    taken = np.abs(full - idle)
    expected = dict(zip(("battery", "positive", "ground"), (taken[0], taken[2], taken[3]), strict=True))
    for part in split.parts[:3]:
        assert part.volts == pytest.approx(expected[part.kind], abs=2e-3), part
    # The bar adds up to what the amplifier's terminals lost, whatever is left over.
    assert sum(part.volts for part in split.parts) == pytest.approx(split.total)
    assert split.total == pytest.approx(taken[1], abs=2e-3)
    assert not split.shaky


def test_figures_stand_with_unit_and_uncertainty_and_what_is_missing_with_its_reason(wired):
    screen = build_supply(wired[1])
    assert screen.figures is not None
    rows = {row[0].text: row[1:] for row in screen.figures.rows}
    assert "±" in rows["sag under test bursts"][0].text
    assert rows["sag under test bursts"][0].text.endswith("mV")
    resistance = next(cells for name, cells in rows.items() if name.startswith("source resistance"))
    # 5 mΩ as described, and the rest of the battery's own model; read from a step in the current.
    idle, full = (_supply_jobs.operating_point(wired[0], FAULT_OHM, level) for level in (0.0, 1.0))
    ohm = (idle[0] - full[0]) / (full[4] - idle[4])
    assert float(resistance[0].text.split("\u00a0")[0]) == pytest.approx(1e3 * ohm, rel=0.02)
    assert any(name.startswith("ripple, rectified tone, 100\u00a0Hz to") for name in rows)
    assert {one.name for one in screen.refused} >= {"ripple", "battery model"}


def test_an_ac_coupled_recording_is_refused_with_the_reason(tmp_path):
    loaded = load(_supply_jobs.wired_job(tmp_path / "job", coupling="AC"))
    screen = build_supply(loaded)
    assert screen.splits == ()
    assert "not known to be DC-coupled: battery and amplifier supply" in screen.split_note
    assert screen.cautions == (
        "AC-coupled, so only ripple is drawn, no volts and no sag: battery, amplifier supply, "
        "drop, positive side, drop, ground side, supply current",
    )
    assert build_log(loaded, 11.0, quiet) == ()
    assert "DC-coupled" in build_wiring(tmp_path / "job", loaded, WiringAsked()).headline


def test_gaps_and_clipping_are_told(faulty_job):
    opened = open_views(faulty_job)
    screen = build_supply(Library().one(opened.job, opened.job.facts.recordings[0], quiet))
    assert screen.cautions[0] == "1 gap, 62.5 ms missing in all"


# ---------------------------------------------------------------- bursts over each other


def test_bursts_are_laid_over_each_other_from_their_start(wired):
    loaded = wired[1]
    stack = next(one for one in build_supply(loaded).stacks if one.channel == "amplifier")
    assert stack.values.shape[0] == 4
    assert stack.time_s[0] == pytest.approx(-0.0995)
    trace = loaded.study.analysis.trace
    column = int(np.flatnonzero(np.isclose(stack.time_s, 0.1005))[0])
    for number, (first, _) in enumerate(_supply_jobs.BURST_SPANS):
        at = round((first / _supply_jobs.BURST_RATE_HZ + 0.1) / trace.step_s)
        assert stack.values[number, column] == trace.values[at, 1]
    every, mean, picked = overlay_picture((stack,), 3).groups[0].curves
    assert np.array_equal(picked.points(0, 1, 100).line, stack.values[2], equal_nan=True)
    told = mean.points(0, 1, 100)
    assert told.uncertain
    assert told.line[column] == pytest.approx(stack.values[:, column].mean())
    spread = stack.values[:, column].std(ddof=1)
    assert told.high[column] - told.low[column] == pytest.approx(4 * spread)
    # All bursts as one line that is broken between them, none drawn twice.
    points = every.points(0, 1, 100)
    assert np.count_nonzero(np.isfinite(points.line)) == np.count_nonzero(np.isfinite(stack.values))
    assert every.table()[1].shape == (len(stack.time_s), 5)


def test_two_bursts_have_no_spread(found_job):
    opened = open_views(found_job)
    screen = build_supply(Library().one(opened.job, opened.job.facts.recordings[0], quiet))
    group = overlay_picture(screen.stacks, None).groups[0]
    assert group.curves[1].points(0, 1, 100).low is None
    assert any("two bursts only" in note for note in group.notes)


# ---------------------------------------------------------------- logs


def test_a_log_tells_events_time_worst_minute_and_histogram(log):
    screen = build_supply(log)
    assert screen.is_log
    assert screen.bursts == (), "loads that come and go in a log are no test bursts"
    assert screen.figures is None
    (told,) = build_log(log, 11.0, quiet)
    assert [(event.start_s, event.length_s) for event in told.events] == [
        (pytest.approx(start), pytest.approx(length)) for start, length, _ in _supply_jobs.DIPS
    ]
    assert [row[2].text for row in told.table.rows] == ["10.6\u00a0V", "10.2\u00a0V", "10.9\u00a0V"]
    assert [row[0].text for row in told.table.rows] == ["0:30:00.00", "1:30:00.50", "2:30:00.00"]
    assert told.headline.startswith("172.50\u00a0±\u00a00.14\u00a0s under 11\u00a0V in 4 h 00 min, 3 events")
    assert told.worst_s == (9_000.0, 9_060.0)
    assert sum(bar.seconds for bar in told.histogram) == pytest.approx(4 * 3600)
    assert sum(bar.seconds for bar in told.histogram if bar.under) == pytest.approx(172.5)


def test_another_limit_counts_anew_over_the_whole_file(log):
    volts = np.round(_supply_jobs.log_volts()[:, 0], 3)
    heard: list[float] = []
    (told,) = build_log(log, 12.6, lambda fraction, doing: heard.append(fraction))
    assert float(told.headline.split("\u00a0")[0]) == pytest.approx(np.count_nonzero(volts < 12.6) / 10, abs=60)
    assert told.limit_v == 12.6
    assert heard


@pytest.mark.parametrize("text, volts", [("11", 11.0), ("10,5 V", 10.5), (" 22.0V", 22.0)])
def test_a_limit_as_typed(text, volts):
    assert limit_of(text) == volts


@pytest.mark.parametrize("text", ["", "eleven", "0", "-3", "1e9", "nan"])
def test_what_is_no_limit_is_refused_with_the_remedy(text):
    with pytest.raises(ValueError, match=r"write volts between 1 and 60, as 11\.0"):
        limit_of(text)


def test_a_clip_in_the_air_states_no_time_under_voltage(tmp_path):
    job = _jobs.empty_job(tmp_path / "job")
    facts = _jobs.info(channels=(_jobs.channel("battery", "supply", 1e-3),))
    loaded = load(_jobs.add(job, "as found", np.full((16_077, 1), 0.2), facts))
    (told,) = build_log(loaded, 11.0, quiet)
    assert told.tone == "doubt"
    assert "clip that hangs in the air" in told.headline


# ---------------------------------------------------------------- the wiring


def test_the_fault_is_found_predicted_and_asked_for(wired):
    folder, loaded = wired
    shown = build_wiring(folder, loaded, WiringAsked())
    assert shown.tone == "bad"
    assert not shown.where_open
    bands = {band.channel: band for band in shown.bands}
    good = _supply_jobs.operating_point(folder, 0.0, 1.0)
    for channel, expected in zip(("battery", "amplifier", "plus", "minus", "clamp"), good, strict=True):
        assert bands[channel].value == pytest.approx(expected, rel=0.02, abs=2e-3), channel
    words = {row[0].text: row[4].text for row in shown.readings.rows}
    assert words["battery\u00a0+ : amplifier\u00a0+"] == "EXCEEDS"
    assert words["amplifier\u00a0- : battery\u00a0-"] == "within"
    assert float(shown.stretches.rows[0][1].text.split()[0]) == pytest.approx(1e3 * FAULT_OHM, abs=0.3)
    assert (shown.probe.start, shown.probe.end) == ("block", "amplifier +")
    assert shown.powers[0].name == "bass can make"


def test_a_typed_reading_takes_part_and_a_wrong_one_is_handed_back(wired):
    folder, loaded = wired
    current = _supply_jobs.operating_point(folder, FAULT_OHM, 1.0)[4]
    text = f"block:amplifier + {1e3 * FAULT_OHM * current + 4:.0f} mV"
    shown = build_wiring(folder, loaded, WiringAsked(typed=(text, "nowhere:block 0.3")))
    assert shown.asked.typed == (text,)
    assert shown.wrong is not None
    assert shown.wrong[0] == "nowhere:block 0.3"
    assert "no point 'nowhere'" in shown.wrong[1]
    assert "block : amplifier\u00a0+" in [row[0].text for row in shown.readings.rows]


@pytest.mark.parametrize(
    "typed, understood",
    [
        ("A:B 0.43", "A:B=0.43"),
        ("battery +:block 430 mV", "battery +:block=430 mV"),
        ("A : B=0,5 V", "A : B=0.5 V"),
        ("bass 98A", "bass=98A"),
        ("A:B 0.4 +-0.01", "A:B=0.4 +-0.01"),
        ("no number", "no number"),
    ],
)
def test_readings_as_people_type_them(typed, understood):
    assert typed_reading(typed) == understood


def test_refusals_are_said_in_plain_words(wired, found_job, tmp_path):
    folder, loaded = wired
    opened = open_views(found_job)
    bare = Library().one(opened.job, opened.job.facts.recordings[0], quiet)
    assert build_wiring(found_job, bare, WiringAsked()).missing
    text = (folder / "wiring.toml").read_text(encoding="utf-8")
    second = text[text.index("[[amplifier]]") : text.index('[[conductor]]\nname = "ground cable"')]
    second = second.replace('"bass"', '"shelf"')
    (tmp_path / "wiring.toml").write_text(text + second, encoding="utf-8")
    shown = build_wiring(tmp_path, loaded, WiringAsked())
    assert shown.where_open
    assert "at which amplifier" in shown.headline
    assert shown.bands == ()
    chosen = build_wiring(tmp_path, loaded, WiringAsked(where="bass", playing="bass"))
    assert len(chosen.bands) == 5
    collapsed = build_wiring(tmp_path, loaded, WiringAsked(where="gone", level=1.0, typed=("block:amplifier + 0.3",)))
    assert collapsed.asked.where == ""


def test_the_prediction_is_drawn_during_bursts_only(wired):
    screen = build_supply(wired[1])
    (curve,) = predicted_curves(screen.rows[0], {"amplifier": Band("amplifier", 12.3, 0.3)}, screen.bursts)
    points = curve.points(0.0, 11.5, 600)
    assert np.all(np.diff(points.x) >= 0), "columns are sought in rising order"
    drawn = points.x[np.isfinite(points.line)]
    inside = np.zeros(len(drawn), bool)
    for span in screen.bursts:
        inside |= (drawn >= span.start_s) & (drawn <= span.end_s)
    assert inside.all()
    assert np.nanmax(points.high) == pytest.approx(12.6)
    assert not np.isfinite(curve.points(1.6, 3.0, 100).line).any()


# ---------------------------------------------------------------- time as a clock


@pytest.mark.parametrize(
    "span, room, step", [(14_400, 6, 3600), (3600, 6, 600), (60, 6, 10), (5, 6, 1), (2, 6, 0.5), (0.011, 6, 0.002)]
)
def test_ticks_of_a_clock_stand_at_round_times(span, room, step):
    found = clock_step(span, room)
    assert found == pytest.approx(step)
    assert span / found <= room + 1e-9


def test_times_as_they_are_written():
    assert clock_text(3_750.0, 30.0) == "1:02:30"
    assert clock_text(59.95, 0.05) == "0:00:59.95"
    assert clock(3_599.999) == "1:00:00.00"
