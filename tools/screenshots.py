"""Every sheet at two sizes, light and dark, with the sample job, an empty one and a faulty one: make screenshots

All go into build/screenshots, to be looked at; a chosen few, packed, into docs/screens, for the README.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from gui._grab_sheets import Shot, grab_sheets  # noqa: E402
from gui._sheets import SHEETS  # noqa: E402
from sample_data import copy_sample_job  # noqa: E402
from tests.gui import _jobs  # noqa: E402

SIZES, LOOKS = ((1366, 768), (1920, 1080)), ("light", "dark")
#: of the sample job, at the smaller size: what the README shows
CHOSEN = (*((sheet.name, "light") for sheet in SHEETS), ("compare", "dark"))
MOST_BYTES = 250_000


def main() -> None:
    """Draw them all."""
    begun = time.monotonic()
    target = ROOT / "build" / "screenshots"
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir(parents=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        copy_sample_job(folder / "library van")
        _jobs.empty_job(folder / "empty job")
        _jobs.faulty_job(folder / "faulty job")
        # Each in a process of its own; the sample job takes longest and begins.
        with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
            jobs = sorted(folder.iterdir(), reverse=True)
            list(pool.map(grab_sheets, jobs, [shots(target, job.name.split()[0]) for job in jobs]))
    for sheet, look in CHOSEN:
        pack(target / file_name("library", sheet, SIZES[0], look), ROOT / "docs" / "screens")
    print(f"{len(list(target.iterdir()))} pictures in {target.relative_to(ROOT)}, {time.monotonic() - begun:.0f} s")


def shots(target: Path, job: str) -> list[Shot]:
    """Look by look: dressing a window anew takes longest."""
    return [
        Shot(target / file_name(job, sheet.name, size, look), sheet.name, size, look)
        for look in LOOKS
        for size in SIZES
        for sheet in SHEETS
    ]


def file_name(job: str, sheet: str, size: tuple[int, int], look: str) -> str:
    """Sorted by sheet, since a sheet is looked at as a whole."""
    return f"{sheet}-{job}-{size[0]}-{look}.png"


def pack(picture: Path, folder: Path) -> None:
    """With 256 colours a screen looks the same and takes a quarter."""
    sheet, _, _, look = picture.stem.split("-")
    folder.mkdir(parents=True, exist_ok=True)
    name = folder / (f"{sheet}.png" if look == "light" else f"{sheet}-{look}.png")
    with Image.open(picture) as image:
        image.convert("RGB").quantize(256, dither=Image.Dither.NONE).save(name, optimize=True)
    if name.stat().st_size > MOST_BYTES:
        raise SystemExit(f"{name}: larger than {MOST_BYTES} bytes")


if __name__ == "__main__":
    main()
