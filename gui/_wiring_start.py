"""A first description from a few answers: battery, fuse, main cable, block, amplifiers, and the way back. No Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from gui._wiring_draft import Data
from gui._wiring_fields import WiringField, keys_of, number_of
from gui._words import tr

MOST_AMPLIFIERS = 12
BODY, CABLE = "vehicle body", "cable to the battery"


@dataclass(frozen=True, slots=True)
class Question:
    """One line of the form; `usual` stands in it at first."""

    key: str
    title: str
    hint: str
    usual: str = ""
    choices: tuple[str, ...] = ()


def questions(*, us: bool) -> tuple[Question, ...]:
    """What is asked, in the units that the user chose."""
    main, long, lead, far = ("4 AWG", "16 ft", "8 AWG", "8 in") if us else ("25 mm²", "5 m", "10 mm²", "0.2 m")
    return (
        Question("system", "System", "what it is called", tr("Sound system")),
        Question("chemistry", "Battery", "its chemistry", "AGM", ("flooded", "AGM", "lithium iron")),
        Question("capacity", "Capacity", "Ah, on its label", "70 Ah"),
        Question("alternator", "Alternator", "A, on its label; empty: none", "90 A"),
        Question("fuse", "Main fuse", "A; empty: none is there", "80 A"),
        Question("distance", "Fuse from battery", "cable between them", far),
        Question("size", "Main cable", "as printed on it: 4 AWG, 25 mm²", main),
        Question("material", "Its metal", "aluminium is lighter and greyer", "copper", ("copper", "aluminium", "CCA")),
        Question("length", "Its length", "one way: 5 m, 16 ft", long),
        Question("count", "Amplifiers", f"how many, 1 to {MOST_AMPLIFIERS}", "1"),
        Question("power", "Power of each", "W, all its channels together", "400 W"),
        Question("class", "Class", "D runs cool, AB has large fins", "D", ("D", "AB")),
        Question("lead", "Cable to each", "behind the block", lead),
        Question("back", "Ground", "how the current comes back", BODY, (BODY, CABLE)),
    )


def first_description(answers: dict[str, str], *, us: bool) -> Data:
    """The rows of a first wiring file; raises `ValueError` that names the question, `key: sentence`."""
    return _Maker(answers, us).data()


class AnswerError(ValueError):
    """An answer that cannot be; `key` is its question's."""

    def __init__(self, key: str, sentence: str) -> None:
        super().__init__(sentence)
        self.key = key


class _Maker:
    def __init__(self, answers: dict[str, str], us: bool) -> None:
        self.said, self.us = answers, us
        self.titles = {one.key: tr(one.title) for one in questions(us=us)}
        self.rows: Data = {}

    def data(self) -> Data:
        """Everything in the order in which the current flows."""
        self._sources()
        self._positive()
        count = self._count()
        for number in range(1, count + 1):
            self._amplifier(number, count)
        self._back(count)
        head: dict[str, Any] = {"format": "humproof-wiring", "version": 1, "system": {"name": self._text("system")}}
        return head | self.rows

    # ------------------------------------------------------------ answers

    def _text(self, key: str) -> str:
        text = " ".join(self.said.get(key, "").split())
        if not text:
            raise AnswerError(key, tr("{field}: cannot be empty", field=self.titles[key]))
        return text

    def _number(self, key: str, unit: str, *, whole: bool = False) -> float | int:
        try:
            value = number_of(self._text(key), self.titles[key], unit, whole=whole)
        except AnswerError:
            raise
        except ValueError as error:
            raise AnswerError(key, str(error)) from error
        return int(value) if value.is_integer() else value

    def _keys(self, key: str, way: Any) -> dict[str, Any]:
        field = WiringField(key, self.titles[key], way, must=True)
        try:
            keys = keys_of(field, self._text(key), {}, us=self.us)
        except AnswerError:
            raise
        except ValueError as error:
            raise AnswerError(key, str(error)) from error
        return {key: value for key, value in keys.items() if value is not None}

    def _count(self) -> int:
        count = int(self._number("count", "", whole=True))
        if not 1 <= count <= MOST_AMPLIFIERS:
            words = tr("{field}: write a number from 1 to {most}", field=self.titles["count"], most=MOST_AMPLIFIERS)
            raise AnswerError("count", words)
        return count

    # ------------------------------------------------------------ rows

    def _add(self, table: str, **row: Any) -> None:
        self.rows.setdefault(table, []).append({key.rstrip("_"): value for key, value in row.items()})

    def _sources(self) -> None:
        self._add(
            "battery",
            name=tr("battery"),
            positive="battery +",
            negative="battery -",
            chemistry=self._text("chemistry"),
            capacity_ah=self._number("capacity", "Ah"),
        )
        if self.said.get("alternator", "").strip():
            rated = self._number("alternator", "A")
            self._add("alternator", name=tr("alternator"), positive="alternator +", negative="engine", rated_a=rated)
            cable = {"mm2": 25} if not self.us else {"awg": "4"}
            self._add("fuse", name=tr("charging fuse"), from_="battery +", to="charging fuse out", kind="high-current",
                      rated_a=_next_rating(rated), distance_m=0.2)  # fmt: skip
            self._add("conductor", name=tr("charging lead"), from_="charging fuse out", to="alternator +", **cable,
                      material="copper", length_m=1.5, engine_space=True)  # fmt: skip
            self._add("conductor", name=tr("engine strap"), from_="engine", to="battery -", **cable,
                      material="copper", length_m=0.6, engine_space=True)  # fmt: skip

    def _positive(self) -> None:
        start = "battery +"
        if self.said.get("fuse", "").strip():
            far = self._keys("distance", "distance")
            rated = self._number("fuse", "A")
            self._add(
                "fuse", name=tr("main fuse"), from_=start, to="fuse out", kind="high-current", rated_a=rated, **far
            )
            start = "fuse out"
        size, long = self._keys("size", "size"), self._keys("length", "length")
        end = "block" if self._count() > 1 else "amplifier +"
        material = self._text("material")
        self._add("conductor", name=tr("main cable"), from_=start, to=end, **size, material=material, **long)

    def _amplifier(self, number: int, count: int) -> None:
        name = tr("amplifier") if count == 1 else f"{tr('amplifier')} {number}"
        plus, minus = f"{name} +", f"{name} -"
        if count == 1:
            plus, minus = "amplifier +", "amplifier -"
        else:
            lead = self._keys("lead", "size")
            short = {"length_ft": 3} if self.us else {"length_m": 1}
            self._add("conductor", name=f"{name} {tr('lead')}", from_="block", to=plus, **lead, **short)
            self._add("conductor", name=f"{name} {tr('ground')}", from_=minus, to="ground block", **lead, **short)
        watts = self._number("power", "W")
        self._add("amplifier", name=name, positive=plus, negative=minus, rated_w=watts, class_=self._text("class"))

    def _back(self, count: int) -> None:
        if count > 1:
            for name, point in ((tr("block"), "block"), (tr("ground block"), "ground block")):
                self._add("block", name=name, point=point, ways=count + 1, terminals="set-screw")
        start = "ground block" if count > 1 else "amplifier -"
        size, material = self._keys("size", "size"), self._text("material")
        if self._text("back") in (CABLE, tr(CABLE)):
            self._add("conductor", name=tr("ground cable"), from_=start, to="battery -", **size, material=material,
                      **self._keys("length", "length"))  # fmt: skip
            return
        short = {"length_ft": 2} if self.us else {"length_m": 0.5}
        self._add("conductor", name=tr("ground run"), from_=start, to="body lug", **size, material=material, **short)
        self._add("joint", name=tr("body stud"), from_="body lug", to="body rear", kind="bolted")
        self._add("chassis", name=tr("body"), from_="body rear", to="body front")
        self._add("conductor", name=tr("battery strap"), from_="body front", to="battery -", **size,
                  material="copper", **short, engine_space=True)  # fmt: skip


def _next_rating(amps: float) -> float:
    ratings = (60, 80, 100, 125, 150, 175, 200, 225, 250, 300, 350, 400)
    return next((one for one in ratings if one >= 1.25 * amps), ratings[-1])
