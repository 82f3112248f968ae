"""Phrases that may not come back, over every text that a user sees.

Each was on a page, in a report or in an error before, and reads as no colleague would say it; what
stands there instead is the trade's word.
"""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "sensory"
GONE = (
    "which batch waits for what",
    "does the batch still match the reference",
    "what is served to whom",
    "what is asked, and with which risks",
    "take it along",
    "which decision hangs on it",
    r"\bhangs on\b",
    "this session cannot tell(?!\\.)",  # the finding itself ends with it
    "what this session cannot tell",
    r"assessors who notice is a d-prime",
    r"\bthings? to mend\b",
    r"errors? to mend\b",
    "kept as you type",
    "somebody who left",
    "to take a row out",
    "six more rows",
    r"^moved: ",
    "does not tell the samples apart",
    r"\brepeats \w+ poorly",
    "lies below error",
    r"\bblind reference\b",
    "all answered with yes",
    "ballots then:",
    r"left out: \d+ ballots?\b",
    "batches that set what is usual",
    "batches that stand out",
    "nothing holds these letters",
    "waits for decision; it is held",
    r"\bgive it up\b",
    "counts to pin to the wall",
    "stop undecided after",
    r"\bseat them\b",
    "put this plan on record",
    "anything you noticed",
    "it has not been tasted to an end",
    "its tastings are over by the plan",
    "who has not signed in",
    "made of the same",
    r"is it balanced\?",
    "misses one of the risks by a step",
    "as scored, nothing taken off",
    r"\bis given as\b",
    r"\bp_holm\b",
    r"\bp_false_discovery\b",
)
# Where a phrase may stand: names of samples and columns, which are data and no sentence.
NAMES = {"blind reference", "p_holm", "p_false_discovery"}
WHOLE = re.compile(r"^[a-z_ ]*(p_holm|p_false_discovery)[a-z_ ]*$")


def texts_of(tree: ast.AST) -> Iterator[str]:
    """Strings of a module that are no docstring."""
    nodes = list(ast.walk(tree))
    docstrings = {
        id(node.body[0].value)
        for node in nodes
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef))
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    loose = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    unseen = docstrings | loose
    for node in nodes:
        if isinstance(node, ast.JoinedStr):
            parts = (part.value if isinstance(part, ast.Constant) else "7" for part in node.values)
            yield "".join(map(str, parts))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from () if id(node) in unseen else (node.value,)


def seen_texts() -> Iterator[tuple[str, str]]:
    """Each text that a user sees, with the file that it stands in."""
    for path in sorted(PACKAGE.rglob("*.py")):
        for text in texts_of(ast.parse(path.read_text(encoding="utf-8"))):
            yield path.name, text
    files = [*PACKAGE.rglob("*.typ"), *PACKAGE.rglob("*.js"), ROOT / "README.md"]
    for path in files:
        for line in path.read_text(encoding="utf-8").splitlines():
            yield path.name, line
    for path in sorted((PACKAGE / "base" / "texts").glob("*.json")):
        for text in json.loads(path.read_text(encoding="utf-8")).values():
            yield path.name, str(text)


ANY = re.compile("|".join(f"(?:{phrase})" for phrase in GONE))


def gone_in(text: str) -> str:
    """The first phrase of the list that a text has; empty for none."""
    if text in NAMES or WHOLE.match(text):
        return ""
    phrase = ANY.search(" ".join(text.casefold().split()))
    return phrase.group() if phrase else ""


def test_no_phrase_comes_back():
    back = [
        f"{name}: {text!r} has {gone}" for name, text in seen_texts() if (gone := gone_in(text))
    ]
    assert not back, "\n".join(back)


@pytest.mark.parametrize(
    "text",
    [
        "Moved: new press in cooked by +1.15",
        "6 things to mend, 2 remarks",
        "2.38 beyond the blind reference",
        "What this session cannot tell",
        "Which decision hangs on it?",
        "The agreed limit is given as",
    ],
)
def test_a_phrase_would_be_seen(text):
    assert gone_in(text)
    assert text in set(texts_of(ast.parse(f"st.markdown({text!r})")))


def test_docstrings_and_names_are_no_texts_of_a_user():
    module = '"""Hangs on."""\ndef f():\n    """Things to mend."""\n    return f"{x} batches"\n'
    assert set(texts_of(ast.parse(module))) == {"7 batches", " batches"}
    assert not gone_in("blind reference")
    assert not gone_in("Inconclusive: this session cannot tell.")
