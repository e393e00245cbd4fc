"""The report as one HTML file: the same words, numbers and drawings as the PDF; nothing is loaded, nothing runs.

Every text goes through `_text`; drawings are embedded as pictures, in which nothing can run either.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Callable, Mapping, Sequence
from html import escape
from importlib import resources
from string import Template
from typing import Any

from report._fonts import one_line_end

_TEMPLATE = "page.html"
_SIMULATED = '<div class="simulated" role="note">SIMULATED: made by a simulation, not measured on a vehicle</div>'
#: how the PDF looks and what it carries: not said to the reader
_NOT_SHOWN = frozenset(
    {"attachment", "attachments", "author", "coded", "document_title", "footer", "issued", "lang", "paper", "scope"}
) | {"simulated", "title", "number", "headline", "counts", "missing", "job_sha256", "wiring_sha256"}
#: the parts in their order and what they are called; what is not named here follows before the method
_BEFORE = {
    "numbers": "",
    "numbers_caption": "",
    "front_picture": "",
    "glance": "At a glance",
    "texts": "The order",
    "identity": "The job",
    "sheets": "",
    "in_short": "Further recordings in short",
    "unpaired": "",
    "rule": "Rule of the verdicts",
    "limits_rule": "",
    "ledgers": "Ledger of the noise",
    "cause": "Cause",
    "wiring": "Supply wiring",
    "work": "Work done and parts",
    "not_tested": "Not tested",
    "could_return": "What could bring it back",
}
_AFTER = {
    "method": "Method: what was recorded, in order",
    "readings": "Readings and answers, as entered by the technician",
    "conditions": "Conditions",
    "condition_list": "Conditions",
    "instruments": "Instruments (numbers name the recordings)",
    "warnings": "Warnings of the analysis (numbers name the recordings)",
    "cautions": "Cautions",
    "annex": "Recordings and digests",
    "digest_sentence": "",
    "revision": "",
    "signature": "",
}
#: a shape for each mark of the glance, as in the PDF
_SHAPES = {"good": "✔", "open": "○", "bad": "✖"}
#: parts whose words need no name before them
_SILENT = frozenset(
    {
        "note",
        "sentence",
        "stated",
        "words",
        "text",
        "key",
        "notes",
        "table",
        "tables",
        "picture",
        "pictures",
        "drawings",
    }
)
_FINDINGS_NOTE = (
    "In brackets: the limit of that rule. Calculated from the wiring as taken down, under the conditions of the "
    "drawing."
)
#: HTML living standard, 13.2.3.5: no controls but white space, no surrogates, no noncharacters
_FORBIDDEN = re.compile(
    "[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff"
    + "".join(chr(plane << 16 | 0xFFFE) + chr(plane << 16 | 0xFFFF) for plane in range(1, 17))
    + "]"
)
Files = Mapping[str, str | bytes]


def html_page(data: Mapping[str, Any], files: Files) -> str:
    """The page of `page_data` and its drawings by file name.

    Parts that are known stand in their own form; what else the data holds follows as lists and tables.
    """
    page = _Page(data, files)
    template = Template(resources.files("report").joinpath(_TEMPLATE).read_text(encoding="utf-8"))
    return template.substitute(
        lang=_text(data.get("lang", "en")),
        title=_text(_one_line(data["title"])),
        simulated=_SIMULATED if data.get("simulated") else "",
        body="\n".join(page.parts()),
        footer=_text(_one_line(data.get("footer", ""))),
    )


class _Page:
    def __init__(self, data: Mapping[str, Any], files: Files) -> None:
        self._data, self._files = data, files
        self._forms: dict[str, Callable[[Any], str]] = {
            "annex": self._annex,
            "condition_list": _pairs,
            "conditions": _conditions,
            "digest_sentence": lambda text: "",
            "glance": _glance,
            "identity": _pairs,
            "letterhead": lambda own: "",
            "numbers": self._numbers,
            "numbers_caption": _small,
            "revision": lambda told: _paragraph(told["text"]),
            "sheets": lambda sheets: "".join(map(self._sheet, sheets)),
            "texts": _pairs,
            "wiring": self._wiring,
        }

    def parts(self) -> list[str]:
        """The body, part by part."""
        known = {*_NOT_SHOWN, *_BEFORE, *_AFTER, "letterhead"}
        rest = {key: key for key in self._data if key not in known}
        names = _BEFORE | rest | _AFTER
        return [self._front(), *(part for key, heading in names.items() if (part := self._part(key, heading)))]

    def _part(self, key: str, heading: str) -> str:
        value = self._data.get(key)
        body = self._forms.get(key, self._any)(value) if value else ""
        return f"<section>{_tag('h2', _heading(heading)) if heading else ''}{body}</section>" if body else ""

    def _front(self) -> str:
        data = self._data
        told = [*data.get("counts", ()), *data.get("missing", ())]
        head = (
            f'<p class="small">Vehicle sound system: measurement before and after work</p>{_tag("h1", data["title"])}'
        )
        job = f'<p class="small" dir="auto">Job {_text(data["number"])}</p>' if data.get("number") else ""
        words = f'<p class="headline" dir="auto">{_text(data["headline"])}</p>' + "".join(map(_paragraph, told))
        return f'<header>{self._letterhead()}{head}{job}</header><div class="result">{words}</div>'

    def _letterhead(self) -> str:
        own = self._data.get("letterhead") or {}
        logo, lines = own.get("logo"), own.get("lines") or ()
        drawn = f'<img src="{self._address(logo["file"])}" alt="{_text(logo.get("alt", ""))}">' if logo else ""
        words = "".join(f"<br>{_text(line)}" for line in lines)
        named = f'<p dir="auto"><b>{_text(own.get("name", ""))}</b>{words}</p>' if own.get("name") or lines else ""
        return f'<div class="letterhead">{drawn}{named}</div>' if drawn or named else ""

    # ------------------------------------------------------------ forms

    def _sheet(self, sheet: Mapping[str, Any]) -> str:
        told = [_tag("h2", sheet["heading"])]
        if sheet.get("mismatches"):
            no_claim = "<p><b>Not comparable: the figures below stand side by side without a claim.</b></p>"
            told.append(f'<div class="boxed">{no_claim}{_bullets(sheet["mismatches"])}</div>')
        elif sheet.get("verdict"):
            told.append(f'<p class="small">Verdict of the pair: {_text(sheet["verdict"])}</p>')
        told.append(_figures(sheet) if sheet["rows"] else "<p>No figure can be stated.</p>")
        told.append(f'<div class="pictures">{"".join(map(self._picture, sheet.get("pictures", ())))}</div>')
        known = {"heading", "mismatches", "verdict", "rows", "sides", "pictures"}
        more = {key: value for key, value in sheet.items() if key not in known and value}
        return f"<section>{''.join(told)}{self._any(more) if more else ''}</section>"

    def _numbers(self, numbers: Sequence[Mapping[str, Any]]) -> str:
        return f'<div class="pictures">{"".join(map(self._tile, numbers))}</div>'

    def _tile(self, one: Mapping[str, Any]) -> str:
        verdict = f" <span>{_text(one['verdict'])}</span>" if one.get("verdict") else ""
        drawn = self._picture(one["picture"] | {"wide": False}) if one.get("picture") else ""
        words = f'<p dir="auto">{_text(one["what"])}</p><p class="big">{_text(one["big"])}{verdict}</p>'
        return f'<div class="tile">{words}{_small(one["small"])}{drawn}</div>'

    def _wiring(self, wiring: Mapping[str, Any]) -> str:
        told = dict(wiring)
        findings, assumed = told.pop("findings", None), told.pop("assumed", None)
        first = _small("Invented for a simulation.") if told.pop("simulated", False) else ""
        broken = (
            self._any(findings) + _small(_FINDINGS_NOTE)
            if findings and findings["rows"]
            else _small("No rule is broken.")
        )
        guessed = _small("Not taken down, so assumed:") + self._any(assumed) if assumed else ""
        return first + self._any(told) + broken + guessed

    def _picture(self, one: Mapping[str, Any]) -> str:
        title, caption = str(one.get("title", "")), str(one.get("caption", ""))
        words = _text(one.get("alt") or ". ".join(part for part in (title, caption) if part))
        wide = one.get("wide", True)
        image = f'<img src="{self._address(one["file"])}" alt="{words}">'
        shown = _scroll(image, title or "Picture") if wide else image
        named = f"<b dir=auto>{_text(title)}</b>" if title else ""
        told = f"<figcaption>{named}{_text(caption)}</figcaption>" if title or caption else ""
        return f"<figure{' class=wide' if wide else ''}>{shown}{told}</figure>"

    def _address(self, file: str) -> str:
        return _data_address(file, self._files[file])

    def _annex(self, rows: Sequence[Mapping[str, Any]]) -> str:
        items = [_recording(row) for row in rows]
        for file, key in (("job.toml", "job_sha256"), ("wiring.toml", "wiring_sha256")):
            items += [f"<li><b>{file}</b>{_digest(self._data[key])}</li>"] if self._data.get(key) else []
        return _paragraph(self._data.get("digest_sentence", "")) + f"<ul>{''.join(items)}</ul>"

    def _any(self, value: Any) -> str:
        """Whatever it is, so that nothing of the PDF is missing here."""
        if isinstance(value, Mapping):
            return self._mapping(value)
        if isinstance(value, (list, tuple)):
            return self._sequence(value)
        return "" if value in (None, "") or isinstance(value, bool) else _paragraph(value)

    def _mapping(self, value: Mapping[str, Any]) -> str:
        if value.get("file") in self._files:
            return self._picture(value)
        if isinstance(value.get("rows"), (list, tuple)) and "heads" in value:
            return self._table(value)
        return "".join(self._member(key, one) for key, one in value.items())

    def _member(self, key: str, value: Any) -> str:
        body = self._any(value)
        if not body or key in _SILENT:
            return body
        if isinstance(value, str):
            return _pairs([(_heading(key), value)])
        # A table says in its first head what it is about.
        return body if isinstance(value, Mapping) and "heads" in value else f"<h3>{_text(_heading(key))}</h3>{body}"

    def _table(self, value: Mapping[str, Any]) -> str:
        heads = [str(head) for head in value["heads"]]
        head = "".join(f'<th scope="col">{_text(one)}</th>' for one in heads)
        body = "".join(_plain_row(row) for row in value["rows"])
        more = {key: one for key, one in value.items() if key not in ("rows", "heads", "columns") and one}
        table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        return (self._mapping(more) if more else "") + _scroll(table, heads[0] if heads else "Table")

    def _sequence(self, value: Sequence[Any]) -> str:
        if value and all(isinstance(one, str) for one in value):
            return _bullets(value)
        if value and all(isinstance(one, Mapping) and one.get("file") in self._files for one in value):
            return f'<div class="pictures">{"".join(map(self._picture, value))}</div>'
        return "".join(self._any(one) for one in value)


# ---------------------------------------------------------------- pieces


def _text(value: Any) -> str:
    """Any text, for between tags and within quoted attributes; what HTML cannot hold stands by its code."""
    told = _FORBIDDEN.sub(lambda found: f"[U+{ord(found[0]):04X}]", one_line_end(str(value)))
    return escape(told, quote=True)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _heading(key: str) -> str:
    words = key.replace("_", " ")
    return words[:1].upper() + words[1:]


def _tag(name: str, text: str) -> str:
    return f"<{name} dir=auto>{_text(text)}</{name}>"


def _paragraph(text: Any) -> str:
    # Each text takes its direction from its own first letter and cannot turn what stands beside it.
    return f'<p class="typed" dir="auto">{_text(text)}</p>'


def _small(text: str) -> str:
    return f'<p class="small" dir="auto">{_text(text)}</p>' if text else ""


def _bullets(texts: Sequence[Any]) -> str:
    return f"<ul>{''.join(f'<li class=typed dir=auto>{_text(text)}</li>' for text in texts)}</ul>"


def _pairs(rows: Sequence[Sequence[str]]) -> str:
    told = (f"<dt>{_text(name)}</dt><dd class=typed dir=auto>{_text(words)}</dd>" for name, words in rows)
    return f"<dl>{''.join(told)}</dl>"


def _glance(rows: Sequence[Mapping[str, str]]) -> str:
    told = (
        f"<dt>{_SHAPES[row['mark']]} {_text(row['what'])}</dt><dd dir=auto>{_text(row['words'])}</dd>" for row in rows
    )
    return f'<dl class="glance">{"".join(told)}</dl>'


def _scroll(table: str, name: str) -> str:
    return f'<div class="scroll" tabindex="0" role="group" aria-label="{_text(name)}">{table}</div>'


def _figures(sheet: Mapping[str, Any]) -> str:
    """Roles are said again because phones show the rows as cards, which would take them away."""
    compared = len(sheet["sides"]) > 1
    heads = [*sheet["sides"], *(("Change", "Verdict") if compared else ())]
    first = "Figure (± expanded uncertainty, k = 2)"
    head = "".join(f'<th scope="col" role="columnheader">{_text(one)}</th>' for one in (first, *heads))
    body = "".join(_figure_row(row, heads, compared) for row in sheet["rows"])
    named = f'class="figures" role="table" aria-label="{_text(sheet["heading"])}"'
    return (
        f'<table {named}><thead role="rowgroup"><tr role="row">{head}</tr></thead>'
        f'<tbody role="rowgroup">{body}</tbody></table>'
    )


def _figure_row(row: Mapping[str, Any], heads: Sequence[str], compared: bool) -> str:
    limit = f", limit {row['limit']}" if row.get("limit") else ""
    detail = f'<span class="detail">{_text(row["detail"] + limit)}</span>'
    what = f'<th scope="row" role="rowheader"><span class="what">{_text(row["what"])}</span>{detail}</th>'
    values = list(row["values"])
    if compared:
        ratio = f' <span class="detail">{_text(row["change_db"])}</span>' if row.get("change_db") else ""
        values.append(row["change"])
    cells = [_number(value, head) for value, head in zip(values, heads, strict=False)]
    if compared:
        cells[-1] = cells[-1].replace("</td>", f"{ratio}</td>")
        kind = "improved" if row["verdict"] == "improved" else "worse" if row["verdict"] == "worse" else ""
        cells.append(
            f'<td role="cell" class="verdict {kind}" data-head="{_text(heads[-1])}">{_text(row["verdict"])}</td>'
        )
    return f'<tr role="row">{what}{"".join(cells)}</tr>'


def _number(value: str, head: str) -> str:
    return f'<td role="cell" class="number" data-head="{_text(head)}">{_text(value)}</td>'


def _conditions(tables: Sequence[Mapping[str, Any]]) -> str:
    return "".join(map(_condition_table, tables))


def _condition_table(facts: Mapping[str, Any]) -> str:
    head = "".join(f'<th scope="col">{_text(one)}</th>' for one in ("Condition", *facts["heads"]))
    body = "".join(
        f'<tr><th scope="row">{_text(row["label"])}</th>'
        + "".join(f'<td colspan="{int(one["span"])}" dir="auto">{_text(one["text"])}</td>' for one in row["cells"])
        + "</tr>"
        for row in facts["rows"]
    )
    return _scroll(f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>", "Conditions")


def _plain_row(row: Sequence[Any]) -> str:
    first, *others = [one.get("text", "") if isinstance(one, Mapping) else one for one in row]
    cells = "".join(f'<td dir="auto">{_text(one)}</td>' for one in others)
    return f'<tr><th scope="row" dir="auto">{_text(first)}</th>{cells}</tr>'


def _recording(row: Mapping[str, Any]) -> str:
    facts = ", ".join(str(row[key]) for key in ("state", "step", "start", "extent") if row.get(key))
    simulated = ", SIMULATED" if row.get("simulated") else ""
    note = f". {_text(row['note'])}" if row.get("note") else ""
    return (
        f"<li dir=auto><b>{_text(row['file'])}</b>: {_text(facts)} (UTC){simulated}{note}{_digest(row['sha256'])}</li>"
    )


def _digest(digest: str) -> str:
    return f'<span class="digest">SHA-256 {_text(digest)}</span>'


def _data_address(name: str, content: str | bytes) -> str:
    kinds = {"svg": "image/svg+xml", "png": "image/png", "jpg": "image/jpeg", "jpeg": "image/jpeg"}
    kind = kinds.get(name.rpartition(".")[2].lower(), "image/png")
    data = content.encode() if isinstance(content, str) else content
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"
