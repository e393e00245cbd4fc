"""The first pass over a table: every cell of every signal is a number or says that there is none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from capture._foreign._text_axis import AxisReader
from capture._foreign._text_cells import CAUSES, EMPTY, OVERLOAD, BadCell, numbers
from capture._foreign._text_columns import MOST_CHANNELS, Column, Plan
from capture._foreign._text_dialect import Table
from capture._foreign._text_refusal import Trouble, counted, listed, shown
from capture._foreign._text_rows import Rows


@dataclass(slots=True)
class _Found:
    """What a column held."""

    numbers: int = 0
    counts: dict[int, int] = field(default_factory=lambda: {EMPTY: 0, OVERLOAD: 0})


class Survey:
    """Goes through all rows once: every cell of every signal must be a number or say that there is none."""

    def __init__(self, plan: Plan, table: Table) -> None:
        self._plan = plan
        self._decimal = table.dialect.decimal
        self._first_line = table.first_line
        self._roles = {column.index: column.role for column in plan.columns}
        self.found = {column.index: _Found() for column in plan.columns}
        self.axis = AxisReader(plan.axis, self._decimal)
        self.rows = 0

    def update(self, rows: Rows) -> None:
        """Check some rows; raises Trouble with line and column."""
        self.axis.study(rows)
        for column in self._plan.columns:
            if self._roles[column.index] in ("signal", "empty"):
                self._look(column, rows)
        self.rows += len(rows.lines)

    def _look(self, column: Column, rows: Rows) -> None:
        cells = rows.columns[column.index]
        found = self.found[column.index]
        try:
            _, kinds = numbers(cells, self._decimal)
        except BadCell as bad:
            self._bad(column, rows, bad)
            return
        absent = {kind: 0 if kinds is None else int((kinds == kind).sum()) for kind in CAUSES}
        found.numbers += len(cells) - sum(absent.values())
        found.counts = {kind: found.counts[kind] + absent[kind] for kind in CAUSES}
        if found.numbers:
            self._roles[column.index] = "signal"

    def _bad(self, column: Column, rows: Rows, bad: BadCell) -> None:
        """Words in a column that held nothing so far are words; among numbers they are an error."""
        if self._roles[column.index] == "empty":
            self._roles[column.index] = "words"
            return
        raise Trouble(
            f"line {rows.lines[bad.index]}, {column.place}",
            f"{shown(bad.cell)} is not a number",
            "correct the cell, or empty it so that it becomes a gap",
        )

    def settled(self) -> Plan:
        """The plan with the roles that the whole file bears out; raises Trouble when no signal is left."""
        for index, role in self._roles.items():
            if role == "signal" and not self.found[index].numbers:
                self._roles[index] = "empty"
        plan = self._plan.with_roles(self._roles)
        if not plan.signals:
            words = [f"'{column.name}'" for column in plan.columns if column.role == "words"]
            what = f"; these hold words or something else than numbers: {listed(words)}" if words else ""
            remedy = "export at least one channel beside the time"
            raise Trouble(f"line {self._first_line}", f"there is no column of samples{what}", remedy)
        if len(plan.signals) > MOST_CHANNELS:
            what = f"the table has {len(plan.signals)} channels, and a recording holds at most {MOST_CHANNELS}"
            raise Trouble(f"line {self._first_line}", what, "export fewer columns")
        return plan

    def warnings(self, plan: Plan) -> Iterator[str]:
        """What was left out, and how many cells hold no value."""
        roles = {
            "words": "they hold words",
            "unused": "they count rows or repeat the time",
            "empty": "they hold no value",
        }
        for role, why in roles.items():
            left = [f"'{c.name}'" for c in plan.columns if c.role == role and (c.named or role != "empty")]
            if left:
                yield f"columns left out because {why}: {listed(left)}"
        for kind, cause in CAUSES.items():
            cells = {c.name: self.found[c.index].counts[kind] for c in plan.signals}
            total = sum(cells.values())
            if total:
                each = [f"{count} in '{name}'" for name, count in cells.items() if count]
                yield f"gaps: {counted(total, 'cell')} without a value ({cause}): {listed(each)}"
        if self.axis.midnights:
            yield f"the time of day passes midnight (times: {self.axis.midnights}); days were added"
