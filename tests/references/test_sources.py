"""Where the printed values of the tests come from: each has a kind, none an address of a copy."""

import json
import re
from collections import Counter

import pytest

from .not_offered import NOT_OFFERED
from .readers import HERE, KINDS

TESTS = HERE.parent
PUBLISHED = sorted(HERE.glob("published*.json"))
MADE = {"independent.json": "make_independent.py", "ratings.json": "ratings.R"}
REPOSITORY = TESTS.parent
WRITTEN = {".py", ".json", ".R", ".txt", ".csv", ".md"}
TEXTS = [
    *sorted(REPOSITORY.glob("*.md")),
    *sorted(
        path
        for folder in ("demo_data", "sensory", "tests")
        for path in (REPOSITORY / folder).rglob("*")
        if path.suffix in WRITTEN and "__pycache__" not in path.parts
    ),
]

# Words that name a copy, a pupil's work, somebody's page or an encyclopaedia instead of what is
# printed there, put together so that this file does not hold them.
NAMED = tuple(
    first + second
    for first, second in (
        ("scr", "ibd"),
        ("aj", "docs"),
        ("gar", "ant.ru"),
        ("5y", "1.org"),
        ("123", "dok"),
        ("issu", "hub"),
        ("ask", "filo"),
        ("ques", "ba"),
        ("rpu", "bs"),
        ("stack", "exchange"),
        ("stack", "overflow"),
        ("beb", "ac"),
        ("nemo", "tron"),
        ("wiki", "pedia"),
        ("owi", "ki"),
        ("wiek", "voet"),
        ("wing", "feet"),
        ("blo", "gspot"),
        ("blo", "g entry"),
        ("word", "press"),
        ("portal", "action"),
        ("course", "hero"),
        ("che", "gg"),
        ("stu", "docu"),
        ("slide", "share"),
        ("doc", "player"),
        ("aca", "demia.edu"),
        ("research", "gate"),
        ("class ", "notes"),
        ("class ", "report"),
        ("student ", "lab"),
        ("lecture ", "slides"),
        ("home", "work"),
    )
)
COPIES = re.compile("|".join(NAMED), re.IGNORECASE)
ADDRESS = re.compile(r"https?://|\bwww\.", re.IGNORECASE)


def parts(path):
    held = json.loads(path.read_text(encoding="utf-8"))
    return {name: rows for name, rows in held.items() if isinstance(rows, list)}


def every_entry():
    return [
        pytest.param(path.name, entry, id=f"{path.stem}-{entry['id']}")
        for path in PUBLISHED
        for rows in parts(path).values()
        for entry in rows
    ]


@pytest.mark.parametrize(("name", "entry"), every_entry())
def test_each_value_has_a_source_of_a_kind(name, entry):
    assert entry["source"].strip(), name
    assert entry["seen"] in KINDS[entry["kind"]]
    recalled = "memory" in entry["source"]
    assert recalled == (entry["kind"] == "memory")
    assert ("of this project" in entry["source"]) <= (entry["kind"] == "own")
    assert not ADDRESS.search(json.dumps(entry))


def copies_in(text):
    """The copies that a text names; the pattern is slow, so its letters are sought first."""
    letters = text.casefold()
    if not any(all(part in letters for part in name.split(".")) for name in NAMED):
        return []
    return COPIES.findall(text)


def test_no_text_of_the_repository_names_a_copy():
    named = {path: copies_in(path.read_text(encoding="utf-8")) for path in TEXTS}
    assert len(named) > 800
    assert not {path: copies for path, copies in named.items() if copies}


def test_the_pattern_finds_what_it_looks_for():
    for first, second in (("https://www.Scr", "ibd.com/document/1"), ("en.wiki", "pedia.org")):
        assert copies_in(first + second)
    assert copies_in(f"read at 5Y{'1'}.ORG")
    assert not copies_in("Dunnett (1955), JASA 50, guaranteed to be read in the journal")


@pytest.mark.parametrize(
    "path",
    [path for path in TEXTS if path.suffix == ".py" and TESTS in path.parents],
    ids=lambda path: path.relative_to(TESTS).as_posix(),
)
def test_notes_of_this_project_are_marked_as_no_outside_check(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    for place, line in enumerate(lines):
        if re.search(r"#.*\b(?:design|trade) notes\b", line):
            assert "no outside" in " ".join(lines[place : place + 3]), f"{path.name}:{place + 1}"


@pytest.mark.parametrize("name", MADE)
def test_computed_values_name_the_program_that_made_them(name):
    held = json.loads((HERE / name).read_text(encoding="utf-8"))
    assert (HERE / MADE[name]).is_file()
    if "made" in held:
        assert held["made"]["R"]
        assert held["made"]["packages"]
    else:
        assert all(entry["source"] and entry["version"] for entry in held["values"])


def test_each_published_value_is_named_in_a_test():
    """Those of the two files of outside checks are accounted for in test_outside_checks."""
    code = "\n".join(
        path.read_text(encoding="utf-8")
        for path in TESTS.rglob("*.py")
        if path.name not in ("test_sources.py", "not_offered.py")
    )
    older = [path for path in PUBLISHED if path.stem not in OUTSIDE]
    named = {
        entry["id"]: entry["id"] in code or entry["id"] in RANGES
        for path in older
        for rows in parts(path).values()
        for entry in rows
    }
    assert {name for name, there in named.items() if not there} == NOT_OFFERED.keys()


def test_what_the_values_come_from(capsys):
    for path in PUBLISHED:
        kinds = Counter(entry["kind"] for rows in parts(path).values() for entry in rows)
        assert kinds.keys() <= KINDS.keys()
        text = ", ".join(f"{number} {kind}" for kind, number in kinds.most_common())
        if path.stem not in OUTSIDE:
            names = {entry["id"] for entry in parts(path)["values"] + parts(path).get("tables", [])}
            left = len(names & NOT_OFFERED.keys())
            text = f"{len(names) - left} compared, {left} not offered; {text}"
        with capsys.disabled():
            print(f"\n{path.name}: {text}")


# Counted in test_outside_checks.
OUTSIDE = ("published_checks", "published_more")
# Walked as ranges, and the misprints as a whole, in tests/choices/test_published.py.
RANGES = {f"pv{number:03}" for number in (*range(1, 31), *range(60, 67))}
