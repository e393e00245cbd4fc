"""From a reckoned wiring to what is drawn and told of it. Runs in the background; knows no Qt."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.wiring import (
    Alternator,
    Amplifier,
    Battery,
    Block,
    Box,
    ChassisReturn,
    Conductor,
    Element,
    Fuse,
    Joint,
    OtherLoad,
    Port,
    drawing_of,
)
from gui._load import Report
from gui._wiring_details import facts_of, worst_share
from gui._wiring_draft import Data, Draft, data_of
from gui._wiring_edits import FOUND, LEFT, points_in, rows_in
from gui._wiring_fields import FIELDS, NO, POINTS, UNSAID, YES, text_of
from gui._wiring_model import (
    BothShown,
    Choice,
    Details,
    FieldShown,
    FindingShown,
    Part,
    WiringScreen,
)
from gui._wiring_reckon import Figures, Reckoned, reckon
from gui._wiring_table import differences_table
from gui._wiring_words import (
    KINDS,
    amps,
    case_words,
    celsius,
    findings_words,
    milliohm,
    outcome_words,
    percent,
    volts,
    watts,
)
from gui._words import tr
from job import NO_BREAK, WiringState, plain

_METALS = {"copper": "Cu", "aluminium": "Al"}
_SEVERITIES = ("danger", "fault", "note")
#: what is assumed where the file does not say it, by table: these make a figure less sure
_ASSUMABLE = {
    "battery": ("resistance_mohm",),
    "alternator": ("volts",),
    "conductor": ("material",),
    "joint": ("resistance_mohm",),
    "fuse": ("resistance_mohm",),
    "chassis": ("resistance_mohm",),
    "amplifier": ("efficiency",),
    "load": (),
    "block": ("terminals",),
}
#: warmer than this a cable's temperature is worth a word in the drawing
_WARM_C = 45.0


def build_screen(draft: Draft, state: WiringState, choice: Choice, us: bool, report: Report) -> WiringScreen:
    """One state."""
    report(0.0, tr("reckoning the wiring"))
    return screen_of(reckon(draft, state, choice), us=us)


def build_both(draft: Draft, choice: Choice, us: bool, report: Report) -> BothShown:
    """As found and as left."""
    report(0.0, tr("reckoning the wiring as found"))
    found = reckon(draft, FOUND, choice)
    report(0.5, tr("reckoning the wiring as left"))
    left = reckon(draft, LEFT, choice)
    return BothShown(screen_of(found, us=us), screen_of(left, us=us), differences_table(found, left))


def screen_of(reckoned: Reckoned, *, us: bool) -> WiringScreen:
    """Everything that is shown of one state."""
    return _Builder(reckoned, us).screen()


class _Builder:
    def __init__(self, reckoned: Reckoned, us: bool) -> None:
        self.reckoned, self.system, self.figures, self.us = reckoned, reckoned.system, reckoned.figures, us
        self.data: Data = data_of(reckoned.draft.file)
        self.rows = {row["name"]: (place[0], row) for place, row in rows_in(self.data, reckoned.state)}
        self.points = tuple(points_in(self.data, reckoned.state))
        self.findings = tuple(self._findings())
        things: tuple[Element | Port | Block, ...] = (*self.system.ports, *self.system.elements, *self.system.blocks)
        self.things = {one.name: one for one in things}

    def screen(self) -> WiringScreen:
        drawing = drawing_of(self.system)
        tone, lines = self._lines()
        parts = tuple(self._part(box) for box in drawing.boxes)
        return WiringScreen(
            state=self.reckoned.state,
            title=self.system.name,
            simulated=self.system.simulated,
            system=self.system,
            drawing=drawing,
            parts=parts,
            details={part.name: self._details(part) for part in parts},
            tone=tone,
            lines=lines,
            caption=self._caption(),
            findings=self.findings,
            assumed=self.reckoned.assumed,
            trouble=self.reckoned.trouble,
            blamed=self.reckoned.blamed,
            whole=self._whole(),
        )

    def _whole(self) -> Details:
        """What can be said of the system itself."""
        own = tuple(one for one in self.findings if not one.part)
        fields = tuple(self._fields("system", self.data["system"]))
        hint = tr("Choose a part in the drawing: click it, or walk with the arrow keys; Enter goes to its fields.")
        facts = self._demand() if self.figures else ()
        return Details("", "system", tr("the whole system"), "", "system", facts, own, fields, (hint,), ())

    def _demand(self) -> tuple[tuple[str, str], ...]:
        assert self.figures is not None
        one = self.figures.demand
        asked = tr("{watts}, with other loads {amps} at {volts}", watts=watts(one.total_w), amps=amps(one.total_a),
                   volts=plain(one.volts, "V", 3))  # fmt: skip
        let = (
            tr("nothing lies in its way") if one.fused_a is None else f"{amps(one.fused_a)}, {watts(one.fused_w or 0)}"
        )
        return (tr("Rated power asks"), asked), (tr("Fuses let through"), let)

    # ------------------------------------------------------------ the whole

    def _lines(self) -> tuple[str, tuple[str, ...]]:
        figures = self.figures
        if figures is None:
            words = tr("Nothing can be reckoned yet: {why}", why=self.reckoned.trouble)
            return "doubt", (words,)
        tone, outcome = outcome_words(figures.solution, figures.largest, figures.influence.bottleneck)
        found = findings_words(figures.findings)
        if any(one.severity == "danger" for one in figures.findings):
            tone = "bad"
        elif tone == "good" and any(one.must_go for one in figures.findings):
            tone = "doubt"
        return tone, (outcome, tr("Findings: {found}.", found=found) if found else tr("No findings."))

    def _caption(self) -> str:
        if self.figures is None:
            return tr("no figures yet")
        solution = self.figures.solution
        if solution.converged:
            return case_words(solution.case)
        return tr("{case}: figures where the supply gives way", case=case_words(solution.case))

    def _findings(self) -> Iterator[FindingShown]:
        names = {one.name for one in (*self.system.ports, *self.system.elements, *self.system.blocks)}
        for one in self.figures.findings if self.figures else ():
            part = one.element if one.element in names else ""
            yield FindingShown(one.severity, part, one.text, _beyond(one.text, one.remedy), one.source)

    # ------------------------------------------------------------ one part

    def _part(self, box: Box) -> Part:
        thing, own = self.things[box.name], [one for one in self.findings if one.part == box.name]
        gravest = next((kind for kind in _SEVERITIES if any(one.severity == kind for one in own)), "")
        share = worst_share(self.figures, box.name)[0] if self.figures else None
        size, figures = self._size(thing), self._figures(thing)
        assumed = self._is_assumed(box)
        thick, runs = self._thickness(thing)
        title = self._title(box, thing)
        spoken = self._spoken(box, size, figures, share, own, assumed)
        return Part(box, title, size, figures, share, thick, runs, gravest, len(own), assumed, spoken)

    @staticmethod
    def _title(box: Box, thing: object) -> str:
        return box.name.removeprefix(f"{thing.block}: ") if isinstance(thing, Joint) and thing.block else box.name

    def _size(self, thing: object) -> str:
        if isinstance(thing, Conductor):
            runs = f"{thing.runs}× " if thing.runs > 1 else ""
            metal = _METALS.get(thing.material.name, "CCA")
            if thing.size.family == "mm²" and metal == "Cu":
                metal = ""
            return f"{runs}{_printed(thing.size.label)} {metal}".strip()
        if isinstance(thing, Fuse):
            return plain(thing.rated_a, "A", 4)
        if isinstance(thing, (Joint, ChassisReturn)):
            return milliohm(thing.ohm)
        if isinstance(thing, Block):
            return f"{self._used(thing)}/{thing.ways}"
        if isinstance(thing, Amplifier):
            return watts(thing.rated_w)
        if isinstance(thing, Battery):
            return plain(thing.capacity_ah, "Ah", 3)
        return plain(thing.rated_a, "A", 3) if isinstance(thing, Alternator) else ""

    def _used(self, block: Block) -> int:
        """Terminals that are taken: parallel runs have one each."""
        names = {one.name.removeprefix(f"{block.name}: ") for one in self.system.joints if one.block == block.name}
        runs = {one.name: one.runs for one in self.system.conductors}
        return sum(runs.get(name, 1) for name in names)

    def _figures(self, thing: object) -> str:
        figures = self.figures
        if figures is None:
            return ""
        if isinstance(thing, (Conductor, Joint, Fuse, ChassisReturn)):
            return self._flow(figures, thing)
        if isinstance(thing, Amplifier):
            point = next(one for one in figures.solution.amplifiers if one.name == thing.name)
            return f"{plain(point.volts, 'V', 3)}  {amps(point.amps)}  {watts(point.power_w)}"
        if isinstance(thing, OtherLoad):
            across = figures.solution.volts[thing.positive] - figures.solution.volts[thing.negative]
            return f"{plain(across, 'V', 3)}  {amps(thing.amps)}"
        source = next((one for one in figures.solution.sources if one.name == getattr(thing, "name", "")), None)
        if source is None:
            return tr("off") if isinstance(thing, Alternator) else ""
        return f"{plain(source.volts, 'V', 3)}  {source.amps:.0f}{NO_BREAK}A".replace("-", "−")

    def _flow(self, figures: Figures, thing: Conductor | Joint | Fuse | ChassisReturn) -> str:
        point = figures.solution.elements[thing.name]
        texts = [amps(point.amps)]
        if not isinstance(thing, Joint):
            texts.append(volts(point.volts))
        if isinstance(thing, Conductor) and point.celsius >= _WARM_C:
            texts.append(celsius(point.celsius, us=self.us).replace(NO_BREAK, ""))
        return "  ".join(texts)

    @staticmethod
    def _thickness(thing: object) -> tuple[float, int]:
        if isinstance(thing, Conductor):
            return thickness(thing.size.area_mm2 * thing.runs), thing.runs
        return 0.0, 1

    def _is_assumed(self, box: Box) -> bool:
        if box.kind == "terminal":
            return True
        table, row = self.rows.get(box.name, ("", {}))
        return any(row.get(key) is None for key in _ASSUMABLE.get(table, ()))

    def _spoken(
        self, box: Box, size: str, figures: str, share: float | None, own: list[FindingShown], assumed: bool
    ) -> str:
        units = {"joint": " mΩ", "terminal": " mΩ", "chassis": " mΩ", "block": f" {tr('ways taken')}"}
        parts = [box.name, tr(KINDS[box.kind]), f"{size}{units.get(box.kind, '')}", figures.replace("  ", ", ")]
        if share is not None and share >= 0.005:
            parts.append(tr("{share} of the loss", share=percent(share)))
        if assumed:
            parts.append(tr("partly assumed"))
        counts = [(sum(one.severity == kind for one in own), kind) for kind in _SEVERITIES]
        parts += [f"{count} {tr(kind)}" for count, kind in counts if count]
        return ", ".join(part for part in parts if part.strip())

    # ------------------------------------------------------------ its details

    def _details(self, part: Part) -> Details:
        thing = self.things[part.name]
        entry = thing.block if isinstance(thing, Joint) and thing.block else part.name
        table, row = self.rows[entry]
        facts = self._block_facts(thing) if isinstance(thing, Block) else facts_of(self.reckoned, thing, us=self.us)
        return Details(
            name=part.name,
            kind=part.box.kind,
            words=self._words(part, thing),
            entry=entry,
            table=table,
            facts=facts,
            findings=tuple(one for one in self.findings if one.part == part.name),
            fields=tuple(self._fields(table, row)),
            remarks=tuple(self._remarks(part, thing, table, row)),
            deeds=_deeds(part.box.kind),
        )

    def _words(self, part: Part, thing: object) -> str:
        kind = tr(KINDS[part.box.kind])
        return f"{kind}, {thing.kind}" if isinstance(thing, (Joint, Fuse)) else kind

    def _block_facts(self, block: Block) -> tuple[tuple[str, str], ...]:
        facts = [(tr("Terminals taken"), f"{self._used(block)} {tr('of')} {block.ways}")]
        if self.figures is not None:
            own = [one for one in self.system.joints if one.block == block.name]
            through = sum(abs(self.figures.solution.elements[one.name].amps) for one in own) / 2
            facts.append((tr("Passes"), plain(through, "A", 3)))
        return tuple(facts)

    def _fields(self, table: str, row: Data) -> Iterator[FieldShown]:
        for one in FIELDS[table]:
            choices: tuple[str, ...] = one.choices
            if one.key in POINTS:
                choices = self.points
            elif one.way == "flag":
                choices = (UNSAID, YES, NO)
            hint = tr(one.hint) + (f" ({one.unit})" if one.unit and one.unit not in one.hint else "")
            title = f"{tr(one.title)} {one.unit}".strip()
            closed = one.way == "flag" or (bool(one.choices) and one.must)
            yield FieldShown(one.key, title, text_of(one, row), hint.strip(), choices, closed)

    def _remarks(self, part: Part, thing: object, table: str, row: Data) -> Iterator[str]:
        if isinstance(thing, Joint) and thing.block:
            yield tr(
                "A terminal of '{block}': what is changed here is changed for all its terminals.", block=thing.block
            )
        state = row.get("state")
        if self.reckoned.state == LEFT and state is None:
            yield tr("There as found too: what you change here is changed as left only; the system as found stays.")
        elif self.reckoned.state == FOUND and state is None and any(r.get("state") for _, r in self.rows.values()):
            yield tr("There as left too: what you correct here is corrected for both.")
        missing = [
            key.replace("_mohm", "").replace("_", " ") for key in _ASSUMABLE.get(table, ()) if row.get(key) is None
        ]
        if missing and part.box.kind != "terminal":
            yield tr("~ Assumed, because the file does not say it: {what}.", what=", ".join(missing))


def thickness(area_mm2: float) -> float:
    """Pixels of a line for the metal of a conductor: the same scale in every drawing."""
    return min(8.0, 1.0 + 0.62 * float(area_mm2) ** 0.5)


def _beyond(text: str, remedy: str) -> str:
    """What a remedy says beyond the text, which ends with its beginning: the caution of what is dangerous."""
    told = next(count for count in range(len(remedy), -1, -1) if text.endswith(remedy[:count]))
    return remedy[told:].strip()


def _printed(label: str) -> str:
    """A size as short as a drawing needs it: of a gauge the number."""
    return label.removesuffix(" SAE").removesuffix(" AWG").replace(" ", NO_BREAK)


def _deeds(kind: str) -> tuple[str, ...]:
    """What can be done to a part, by the names of actions."""
    if kind == "conductor":
        return ("wiring-run", "wiring-split", "wiring-fuse", "wiring-joint", "wiring-remove")
    if kind in ("fuse", "joint", "chassis"):
        return ("wiring-fuse", "wiring-joint", "wiring-remove")
    return () if kind == "terminal" else ("wiring-remove",)
