"""Random keys, clicks, sheets, sizes, jobs and undoing: the window survives them and leaves nothing behind."""

from tests.gui._monkey import play


def test_200_random_actions(qtbot, tmp_path, whole_job, faulty_job, empty_job, monkeypatch):
    play(qtbot, tmp_path, [whole_job, faulty_job, empty_job], 200, monkeypatch)
