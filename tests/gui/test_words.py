"""Texts for the user go through one function, which Qt's translator is given to."""

import ast

import pytest

from gui import _words
from gui._words import tr, use_translator
from tests.support import ROOT


@pytest.fixture
def backwards(monkeypatch):
    """A language in which every text is said backwards, but for what is put into it."""
    monkeypatch.setattr(_words, "_translate", _words._translate)
    asked = []

    def translate(context: str, text: str) -> str:
        asked.append((context, text))
        return {"{count} gaps": "Lücken: {count}"}.get(text, text[::-1])

    use_translator(translate)
    return asked


def test_facts_are_put_in_after_translating(backwards):
    assert tr("{count} gaps", count=3) == "Lücken: 3"
    assert tr("Record") == "droceR"
    assert backwards == [("humproof", "{count} gaps"), ("humproof", "Record")]


def test_without_a_translator_texts_stay_as_they_are_written():
    assert tr("100 % {braces}") == "100 % {braces}"
    assert tr("{text} of {what}", text="one", what="{two}") == "one of {two}"


def test_no_text_is_put_together_before_it_is_translated():
    """An f-string inside `tr` could never be found in a list of translations."""
    wrong = []
    for path in (ROOT / "gui").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            named = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "tr"
            if named and isinstance(node.args[0], ast.JoinedStr | ast.BinOp):
                wrong.append(f"{path.name}:{node.lineno}")
    assert not wrong
