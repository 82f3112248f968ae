"""README.md: its length, pictures and links. Its examples and commands are run elsewhere."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
LINKS = re.findall(r"\[`?([^\]`]+)`?\]\(([^)#]+)[^)]*\)", README)


def test_readme_and_notes_for_contributors_are_short():
    assert len(README.split()) <= 900
    assert len((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()) <= 150


@pytest.mark.parametrize("name", ["finding", "trend"])
def test_pictures_are_png_of_less_than_150_kib(name):
    assert f"(demo_data/pictures/{name}.png)" in README
    picture = (ROOT / "demo_data" / "pictures" / f"{name}.png").read_bytes()
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    assert len(picture) < 150 * 1024


@pytest.mark.parametrize(("name", "path"), LINKS)
def test_each_link_leads_to_a_file_and_a_docstring(name, path):
    text = (ROOT / path).read_bytes()
    if path.endswith(".py"):
        defined = {
            node.name: ast.get_docstring(node)
            for node in ast.parse(text).body
            if isinstance(node, (ast.FunctionDef, ast.ClassDef))
        }
        assert defined[name]


def test_two_commands_stand_under_their_headings():
    for heading in ("## Start", "## Test"):
        part = README.split(f"{heading}\n")[1].split("\n## ")[0]
        assert part.count("```sh\npython3 -m venv .venv && .venv/bin/pip install -c ") == 1
