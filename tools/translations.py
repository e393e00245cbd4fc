"""Collects every text of the screens for Qt Linguist: `python tools/translations.py de.ts`, translate, `lrelease`.

Texts are those that `gui._words.tr` is given as they are written, and the data that the screens translate when they
show it: titles, tips, hints. What is translated already in that file is kept.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

ROOT = Path(__file__).resolve().parents[1]
#: classes whose texts are shown, by the file that lists them
_DATA = {"_actions.py": ("Action", "PictureKey"), "_sheets.py": ("SheetFacts",), "_vehicle_model.py": ("Field",)}
CONTEXT = "humproof"


def texts(path: Path) -> Iterator[tuple[str, int]]:
    """Texts of one file with their lines."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            if node.func.id == "tr":
                yield from _constants(node.args[:1])
            elif node.func.id in _DATA.get(path.name, ()):
                yield from _constants(node.args)


def _constants(nodes: list[ast.expr]) -> Iterator[tuple[str, int]]:
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value:
            yield node.value, node.lineno


def _kept(target: Path) -> dict[str, str]:
    """What is translated already."""
    if not target.exists():
        return {}
    messages = ElementTree.parse(target).iter("message")
    return {one.findtext("source") or "": one.findtext("translation") or "" for one in messages}


def main(target: Path) -> None:
    """Write the file."""
    kept, root = _kept(target), ElementTree.Element("TS", version="2.1", language=target.stem)
    context, done = ElementTree.SubElement(root, "context"), set[str]()
    ElementTree.SubElement(context, "name").text = CONTEXT
    for path in sorted((ROOT / "gui").glob("*.py")):
        for text, line in texts(path):
            if text in done:
                continue
            done.add(text)
            message = ElementTree.SubElement(context, "message")
            ElementTree.SubElement(message, "location", filename=f"gui/{path.name}", line=str(line))
            ElementTree.SubElement(message, "source").text = text
            told = ElementTree.SubElement(message, "translation")
            told.text = kept.get(text, "")
            if not told.text:
                told.set("type", "unfinished")
    ElementTree.indent(root)
    ElementTree.ElementTree(root).write(target, encoding="utf-8", xml_declaration=True)
    print(f"{target}: {len(done)} texts")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("name the file to write, such as de.ts")
    main(Path(sys.argv[1]))
