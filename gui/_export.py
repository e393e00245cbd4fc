"""The data behind a picture or a table as CSV text: every value, nothing thinned."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from itertools import zip_longest

import numpy as np
import numpy.typing as npt

from gui._screen import Group, PictureData, Screen, Table

Floats = npt.NDArray[np.float64]


def picture_csv(screen: Screen, picture: PictureData, group: Group) -> str:
    """Two columns per curve; shorter curves end with empty cells, a missing value is an empty cell too."""
    heads: list[str] = []
    columns: list[Floats] = []
    for curve in group.curves:
        names, values = curve.table()
        heads += names
        columns += list(values.T)
    rows = zip_longest(*([_cell(value) for value in column] for column in columns), fillvalue="")
    return _csv([_origin(screen), f"# {picture.title}: {group.label}", *_comments(group)], heads, rows)


def table_csv(screen: Screen, table: Table) -> str:
    """A table as it stands on the screen."""
    rows = ([cell.text for cell in row] for row in table.rows)
    return _csv([_origin(screen), f"# {screen.headline.text}", "# uncertainties: k = 2"], table.heads, rows)


def _origin(screen: Screen) -> str:
    simulated = "SIMULATED DATA, not measured on a vehicle; " if screen.simulated else ""
    choice = screen.choices[screen.chosen] if screen.choices else ""
    return f"# {simulated}humproof, job: {screen.title}, {choice}"


def _comments(group: Group) -> list[str]:
    return [f"# {text}" for text in (*group.cautions, *group.notes)]


def _cell(value: float) -> str:
    return f"{value:.9g}" if np.isfinite(value) else ""


def _csv(comments: list[str], heads: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    text = io.StringIO()
    text.writelines(comment.replace("\n", " ") + "\n" for comment in comments)
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows(rows)
    return text.getvalue()
