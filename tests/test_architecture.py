"""The floors, and the habits that a reader relies on, held over the syntax trees."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from sensory.catalogue.tests import TESTS

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "sensory"

# Rooms of sensory/ by floor, lowest first. Imports go to a lower floor only.
ROOMS = (
    ("base",),
    ("models",),
    ("choices", "ratings"),
    ("evidence",),
    ("catalogue",),
    ("serving",),
    ("sessions",),
    ("panel", "release"),
    ("store",),
    ("report",),
    ("screens",),
)
FLOORS = {room: floor for floor, rooms in enumerate(ROOMS) for room in rooms}
FRONT = len(ROOMS)  # app.py

# Inside a folder a file may import those that stand before it.
ORDER = {
    "base": """
        version errors checks standards records languages plain record_checks findings spelling
        arrays results shown
    """,
    "models": """
        binomial links likelihood stages beta_moments beta_binomial signal two_rates clustered
        graded ranks rank_closure arrangements eliminated crossed mixed mean_squares
        unweighted pair_scatter roots studentized multiplicity pooling steadiness
        consistency charts run_lengths change_points confidence_sequence paired equivalence
        known_error distance_order joint_dprime spent_looks threshold nested_lots lot_pairs
        agreement area
        line_crossing censored_times
        dprime_line random_consumers random_lines true_spread typical_size ticks
    """,
    "choices": """
        two_by_two a_not_a same_different sureness sureness_by_assessor advice protocols counts
        verdicts risks counted_pairs forced_choice dprime teeth size retests two_stage sequential
        replicates replicate_gain plans session_finding
    """,
    "ratings": """
        flags frames names rank_ballots rank_pairs ranking tables fitting variance contrasts scaling
        performance intraclass reversal least profile scatter profile_plan map_ballots sample_map
        control interaction ticked scorecard_notes scorecard drift spikes recipes
    """,
    "evidence": """
        cause_columns cause_candidates cause_search cause_fit cause_doubts cause_tables causes
        session_rows planned_looks combined_words combined lots_by_choice lots_plan
        ring_test ascending thresholds
        grading_rule graders shelf_life
        shelf_rows shelf_scores shelf_choices shelf_intervals shelf_consumers shelf_plan
        carried_limit consumer_rows consumer_fit consumer_limit history_limit
    """,
    "catalogue": """
        columns column_table choice_ballot scales attributes training question outcome_words
        outcome choices_read outcome_json typed_lists typed_margins defects kind_parts kind
        grading_truth rising frames graded_read graded yes_no_read yes_no panel_read ballot_row
        choice_cells code_columns choice_columns cells checking forced_choice profile_figures
        controlled_read controlled ranked_read ranked rated_read rated ticked_read ticked
        threshold_read threshold grading_known grading_read grading outcome_of tests
    """,
    "serving": """
        chance codes squares blocks dealing rules layout balance plan planning lines ballot_line
        cups
    """,
    "sessions": """
        sheets plain_columns files file_kinds file_roles file_sheets file_shape file_import
        study_file lines outcomes reading serving care session missing trained afterwards
        allergens attempts booth_ballots served_beside_plan template outcome_names signing
        sitting store soundness search staff samples workflow open_points replaced spellings
        booth_plans booth_places booth_sittings booth_training booth_answers booths
        exclusions minors
        reactions servings served headline in_short finding learned filling live_board steps
        checklist copies regulars storage_file tick_file
    """,
    "panel": """
        screening_rules scale_rule screening training_rule assessors series series_plan
        series_sheets register invitation series_booth
        sensitivity history line_graders steadiness attention months qualification feedback
        letters candidate_words vocabulary_desk training_spread training
        training_desk prepared_panel training_month panel_month
    """,
    "release": """
        batch_rows batches signals agreed_looks batch_records defect_months defect_rates plant
        characteristic references reference_state rule disposition_table batch_parts tasted
        disposition batch_file studies product_desk file_shapes plant_desk complaint_desk
        batch_questions trend_words known_shifts trend_lines charted trend choice_trend
        trend_marks batch_trend batch_causes cause_desk evidence_desk limit_desk month
        tasting_outcomes reference_desk known_before tastings smelling threshold_sessions
        study_kinds panel_studies storage_studies storage_sessions limit_studies lot_studies
        all_studies study_rows study_desk batch_desk second_person signal_desk day look_up
        new_sessions prepared_ballots prepared_gradings prepared_year
    """,
    "store": """
        migrations.versions.v0001_first_tables migrations.versions.v0002_names_outside
        migrations.versions.v0003_serving migrations.versions.v0004_products_and_batches tables
        nouns journal connections backup versions people rows seats register checking
        archive_form reads action repository archive study_archive daily
        migrations.versions.v0005_outcomes migrations.versions.v0006_complaints
        migrations.versions.v0007_staff migrations.versions.v0008_sent_ballots_stand
        migrations.versions.v0009_booths_and_checks migrations.versions.v0010_studies
        migrations.versions.v0011_turns
    """,
    "report": """
        words trade_words guides sheets workbooks figure_parts help_figures figures
        trend_drawn trend_figures month_figures outcome_figures rating_figures
        training_figures panel_figures
        plan_figures evidence_figures limit_figures
        study_figures shelf_figures
        ticked_figures result_tables plots
        session_pictures documents serving_sheets batch_documents month_documents
        panel_month_documents feedback_sheets letters series_papers
        study_documents printed
    """,
}

# Libraries that live on one floor only. Everything else that is not the standard library
# is listed in MAY_USE.
HOMES = {
    "sqlalchemy": {"store"},
    "alembic": {"store"},
    "streamlit": {"screens", "app"},
    "typst": {"report"},
    "vl_convert": {"report"},
    "starlette": {"screens"},
    "argon2": {"screens"},
    "platformdirs": {"screens"},
}
MAY_USE = {
    "base": {"numpy", "cattrs", "pandas"},  # pandas in a signature only
    "models": {"numpy", "scipy"},
    "choices": {"numpy", "scipy", "pandas", "pingouin"},
    "ratings": {"numpy", "scipy", "pandas", "pingouin"},
    "evidence": {"numpy", "scipy", "pandas"},
    "catalogue": {"numpy", "scipy", "pandas", "cattrs"},
    "serving": {"numpy"},
    "sessions": {"numpy", "pandas", "openpyxl"},
    "panel": {"numpy", "pandas"},
    "release": {"numpy", "scipy", "pandas"},
    "store": {"sqlalchemy", "alembic"},
    "report": {"numpy", "pandas", "openpyxl", "typst", "vl_convert", "segno"},
    "screens": {"numpy", "pandas", "streamlit", "starlette", "argon2", "platformdirs"},
    "app": {"streamlit"},
}

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "sensory", "app.py", "tests"}
TOP_LEVEL |= {"demo_data", ".ci", ".gitignore", ".streamlit"}

MOST_LINES_OF_A_FILE = 400
MOST_LINES_OF_A_BODY = 50

# Spellings of one idea that are not ours, as they are found elsewhere.
OTHER_SPELLINGS = {
    "correct": "n_correct num_correct ncorrect correct_count corrects n_right successes",
    "trials": "n_trials num_trials ntrials trial_count n_obs nobs sample_size",
    "alpha": "sig sig_level significance significance_level alpha_level siglevel",
    "beta": "beta_level type_2 type_ii",
    "pd_limit": "limit_pd pd_lim pdlimit pd_max max_pd pd0 limit_of_pd",
    "level": "conf conf_level confidence confidence_level ci ci_level clevel",
    "p": "p_value pvalue p_val pval",
    "se": "std_err stderr std_error standard_error",
    "low": "ci_low conf_low lower_ci ci_lower lower_limit low_limit",
    "high": "ci_high conf_high upper_ci ci_upper upper_limit high_limit",
    "assessor": "assessor_id panelist panellist judge taster",
}
OURS = {other: ours for ours, others in OTHER_SPELLINGS.items() for other in others.split()}


@dataclass(frozen=True)
class Module:
    """A source file: its dotted name, its room (folder or single module) and its tree."""

    path: Path
    name: str
    room: str
    text: str

    @property
    def tree(self) -> ast.Module:
        return parsed(self.text)

    @property
    def nodes(self) -> tuple[ast.AST, ...]:
        return walked(self.text)

    @property
    def package(self) -> list[str]:
        parts = self.name.split(".")
        return parts if self.path.name == "__init__.py" else parts[:-1]


@cache
def parsed(text: str) -> ast.Module:
    return ast.parse(text)


@cache
def walked(text: str) -> tuple[ast.AST, ...]:
    """Every node of a source; a dozen checks look at all of them."""
    return tuple(ast.walk(parsed(text)))


def module_of(path: Path) -> Module:
    parts = path.relative_to(ROOT).with_suffix("").parts
    parts = parts[:-1] if parts[-1] == "__init__" else parts
    room = parts[1] if parts[0] == "sensory" and len(parts) > 1 else parts[0]
    return Module(path, ".".join(parts), room, path.read_text(encoding="utf-8"))


SOURCES = [module_of(path) for path in sorted([*PACKAGE.rglob("*.py"), ROOT / "app.py"])]
FACE = next(module for module in SOURCES if module.name == "sensory")
SHOWN = next(module for module in SOURCES if module.name == "sensory.base.shown")
INSIDE = [module for module in SOURCES if module.name.startswith("sensory.")]
NAMES = {module.name for module in SOURCES}


def each_of(modules: list[Module]) -> Callable[[Callable[[Module], None]], Callable[[], None]]:
    """One test that holds a habit in every module and lists all that break it.

    A test of its own for each would be 4,500 of them, which take longer to start than to run.
    """

    def over_all(check: Callable[[Module], None]) -> Callable[[], None]:
        def test() -> None:
            broken = []
            for module in modules:
                try:
                    check(module)
                except AssertionError as fault:
                    broken.append(f"{module.name}: {fault}")
            assert not broken, "\n".join(broken)

        test.__doc__ = check.__doc__
        return test

    return over_all


each_source, each_inside = each_of(SOURCES), each_of(INSIDE)


def imports(module: Module) -> Iterator[tuple[int, str]]:
    """Line and dotted name of everything imported, at any depth of the code.

    ``from .a import b`` gives the module ``a.b`` where there is one, else ``a``.
    """
    for node in module.nodes:
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            start = module.package[: len(module.package) - node.level + 1] if node.level else []
            origin = ".".join([*start, *(node.module.split(".") if node.module else [])])
            for alias in node.names:
                deeper = f"{origin}.{alias.name}"
                yield node.lineno, deeper if deeper in NAMES else origin


def own(module: Module) -> Iterator[tuple[int, str]]:
    return ((line, name) for line, name in imports(module) if name.split(".")[0] == "sensory")


def room_of(name: str) -> str:
    return name.split(".")[1]


def floor_of(module: Module) -> int:
    return FRONT if module.name == "app" else FLOORS[module.room]


# Floors.


@each_inside
def test_every_module_stands_on_a_floor(module):
    assert module.room in FLOORS, f"{module.room} has no floor: give it one in FLOORS"


@each_inside
def test_nothing_inside_imports_the_public_face(module):
    for node in module.nodes:
        if isinstance(node, ast.Import):
            bare = any(alias.name == "sensory" for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            start = module.package[: len(module.package) - node.level + 1] if node.level else []
            bare = [*start, *(node.module or "").split(".")] in (["sensory", ""], ["sensory"])
        else:
            continue
        assert not bare, f"{module.name}, line {node.lineno}: import from where it is defined"


@each_of([*INSIDE, module_of(ROOT / "app.py")])
def test_imports_point_to_a_lower_floor(module):
    wrong = [
        f"line {line}: {name}"
        for line, name in own(module)
        if name != "sensory"
        and room_of(name) != module.room
        and FLOORS[room_of(name)] >= floor_of(module)
    ]
    assert not wrong


@pytest.mark.parametrize("rooms", [rooms for rooms in ROOMS if len(rooms) > 1], ids=str)
def test_rooms_of_one_floor_do_not_know_each_other(rooms):
    for module in INSIDE:
        if module.room in rooms:
            others = set(rooms) - {module.room}
            assert not others & {room_of(name) for _, name in own(module)}, module.name


def test_root_holds_the_public_face_only():
    loose = {path.name for path in PACKAGE.iterdir() if path.is_file()}
    assert loose == {"__init__.py", "py.typed"}


def test_no_rings():
    graph = {module.name: {name for _, name in own(module)} for module in SOURCES}
    graph["sensory"] = set()  # the public face: its names load when first used
    done: set[str] = set()

    def walk(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, " -> ".join([*path[path.index(name) :], name])
        if name in done:
            return
        for other in sorted(graph.get(name, ())):
            walk(other, (*path, name))
        done.add(name)

    for name in sorted(graph):
        walk(name, ())


@pytest.mark.parametrize("folder", ORDER)
def test_files_of_a_folder_import_only_those_before_them(folder):
    order = ORDER[folder].split()
    for module in INSIDE:
        if module.room != folder or module.path.name == "__init__.py":
            continue
        own_name = module.name.removeprefix(f"sensory.{folder}.")
        assert own_name in order, f"{own_name} has no place in the order of {folder}: give it one"
        for line, name in own(module):
            if room_of(name) == folder:
                other = name.removeprefix(f"sensory.{folder}").strip(".")
                assert other in order[: order.index(own_name)], f"{module.name}, {line}: {name}"


def test_every_room_has_an_order():
    assert set(ORDER) | {"screens"} == {module.room for module in INSIDE}


def test_order_names_no_file_that_is_gone():
    for folder, order in ORDER.items():
        paths = (PACKAGE / folder).rglob("*.py")
        there = {
            ".".join(path.relative_to(PACKAGE / folder).with_suffix("").parts) for path in paths
        }
        assert set(order.split()) <= there, folder


# Libraries.


@each_source
def test_libraries_live_on_their_floor(module):
    for line, name in imports(module):
        library = name.split(".")[0]
        if library == "sensory" or library in sys.stdlib_module_names:
            continue
        place = f"{module.name}, line {line}: {name}"
        assert module.room in HOMES.get(library, {module.room}), place
        assert library in MAY_USE.get(module.room, set()), place


@each_source
def test_imports_are_statements(module):
    """Else the floors could be left by a text.

    The public face loads its names late, and a result its pictures and tables.
    """
    loaders = {"import_module", "__import__", "exec", "eval"}
    used = {
        getattr(node.func, "attr", getattr(node.func, "id", ""))
        for node in module.nodes
        if isinstance(node, ast.Call)
    }
    allowed = {"import_module"} if module in (FACE, SHOWN) else set()
    assert used & loaders <= allowed


def test_results_load_no_other_file_than_their_pictures():
    calls = [node for node in SHOWN.nodes if isinstance(node, ast.Call)]
    loads = [call for call in calls if getattr(call.func, "id", "") == "import_module"]
    assert {ast.unparse(argument) for call in loads for argument in call.args} == {"_DRAWS"}
    assert '_DRAWS = "sensory.report.plots"' in SHOWN.text
    guarded = [node for node in SHOWN.tree.body if isinstance(node, ast.If)]
    assert [ast.unparse(node) for node in guarded] == ["if TYPE_CHECKING:\n    import pandas as pd"]
    named = [name for _, name in imports(SHOWN)]
    assert named.count("pandas") == 1


def test_public_face_lists_each_name_once_and_truly():
    typed = {
        alias.asname: node.module
        for node in FACE.nodes
        if isinstance(node, ast.ImportFrom) and node.level
        for alias in node.names
        if alias.asname != "__version__"
    }
    import sensory

    assert typed == sensory._HOME
    with pytest.raises(AttributeError, match="has no attribute 'cordial'"):
        _ = sensory.cordial


# Size and manners.


@each_source
def test_file_is_no_drawer(module):
    assert len(module.text.splitlines()) <= MOST_LINES_OF_A_FILE


@each_source
def test_function_bodies_are_short(module):
    long = []
    for node in module.nodes:
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            body = node.body[1:] if ast.get_docstring(node) is not None else node.body
            lines = node.end_lineno - body[0].lineno + 1 if body else 0
            if lines > MOST_LINES_OF_A_BODY:
                long.append(f"{node.name}: {lines} lines")
    assert not long


@each_source
def test_no_assert_statements(module):
    lines = [node.lineno for node in module.nodes if isinstance(node, ast.Assert)]
    assert not lines


@each_source
def test_no_silent_except(module):
    for node in module.nodes:
        if isinstance(node, ast.ExceptHandler):
            assert node.type is not None, f"line {node.lineno}: a bare except"
            only = node.body[0] if len(node.body) == 1 else None
            assert not isinstance(only, ast.Pass), f"line {node.lineno}: an error is swallowed"


@each_source
def test_no_star_imports(module):
    for node in module.nodes:
        if isinstance(node, ast.ImportFrom):
            assert "*" not in {alias.name for alias in node.names}, f"line {node.lineno}"


@each_source
def test_every_module_says_what_it_is_for(module):
    assert ast.get_docstring(module.tree)


def defined_names(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
            yield node.name
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id


def arguments(tree: ast.Module) -> Iterator[str]:
    """Names of arguments, and of the fields of classes, which are arguments as well."""
    for node in ast.walk(tree):
        if isinstance(node, ast.arguments):
            given = [*node.posonlyargs, *node.args, *node.kwonlyargs, node.vararg, node.kwarg]
            yield from (argument.arg for argument in given if argument)
        elif isinstance(node, ast.ClassDef):
            for line in node.body:
                if isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name):
                    yield line.target.id


@each_source
def test_locals_carry_the_noun_of_what_they_hold(module):
    stored = {
        node.id
        for node in module.nodes
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
    }
    assert not stored & {"one", "ones", "found", "said"}


@each_source
def test_no_name_begins_like_a_test(module):
    assert not [name for name in defined_names(module.tree) if name.startswith("test_")]


@each_source
def test_one_spelling_for_each_idea(module):
    wrong = {name: OURS[name] for name in arguments(module.tree) if name in OURS}
    assert not wrong, "not ours, and ours"


@each_source
def test_no_word_of_an_idea_is_hidden_in_a_longer_argument(module):
    """``alpha_level`` or ``max_trials``: the idea goes by its own name, or by another word."""
    ideas = re.compile(r"(^|_)(alpha|beta|trials|confidence|significance)(_|$)")
    wrong = [name for name in arguments(module.tree) if ideas.search(name)]
    assert set(wrong) <= {"alpha", "beta", "trials"}


@each_source
def test_columns_are_not_spelled_in_other_ways(module):
    said = {
        node.value
        for node in module.nodes
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    assert not said & set(OURS)


# Tests are data.


def squeezed(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.casefold())


TEST_WORDS = {squeezed(text) for kind in TESTS.values() for text in (kind.key, kind.name)}


def names_a_test(node: ast.AST) -> bool:
    """Whether an operand is a test's key, name or constant, alone or in a list of them."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return squeezed(node.value) in TEST_WORDS
    if isinstance(node, (ast.Tuple, ast.List, ast.Set)):
        return any(map(names_a_test, node.elts))
    if isinstance(node, ast.Dict):
        return any(names_a_test(key) for key in node.keys if key is not None)
    if isinstance(node, ast.Call):
        return any(map(names_a_test, node.args))
    if isinstance(node, ast.Attribute) and node.attr in ("key", "name"):
        return names_a_test(node.value)
    named = getattr(node, "attr", getattr(node, "id", ""))
    return named in TESTS


def asks_for_a_type(node: ast.AST) -> bool:
    """Whether a call asks what class of test is in hand."""
    if not (isinstance(node, ast.Call) and getattr(node.func, "id", "") == "isinstance"):
        return False
    named = {getattr(part, "id", getattr(part, "attr", "")) for part in ast.walk(node.args[1])}
    return bool(named & {"TestKind", "CheckedBallots"})


def branches_on_a_test(tree: ast.Module) -> Iterator[int]:
    """Lines that ask which test is in hand."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare):
            asks = any(map(names_a_test, [node.left, *node.comparators]))
        elif isinstance(node, ast.MatchValue):
            asks = names_a_test(node.value)
        elif isinstance(node, ast.Dict):
            asks = names_a_test(node)
        else:
            asks = asks_for_a_type(node)
        if asks:
            yield node.lineno


@each_of(
    [
        module
        for module in SOURCES
        if module.name not in ("sensory", "sensory.choices.protocols", "sensory.catalogue.tests")
    ]
)
def test_nobody_asks_which_test_it_is(module):
    assert not list(branches_on_a_test(module.tree))


@pytest.mark.parametrize(
    "code",
    [
        "if protocol == 'TRIANGLE': pass",
        "if protocol.key != 'duo-trio': pass",
        "if protocol is TRIANGLE: pass",
        "if protocol is protocols.TETRAD: pass",
        "if key in ('PAIRED', 'THREE_AFC'): pass",
        "x = 1 if 'two-out-of-five' == name else 2",
        "match key:\n    case 'TETRAD': pass",
        "match protocol:\n    case protocols.TETRAD: pass",
        "rule = {'TRIANGLE': 1}[key]",
        "rule = {protocols.TRIANGLE: 1}[protocol]",
        "if protocol.key.startswith('T') and key == find('triangle'): pass",
        "if rule.test == PROFILE.key: pass",
        "if question.protocol in (rated.PROFILE.key, 'DIFFERENCE_FROM_CONTROL'): pass",
        "readers = {'A_NOT_A': read}",
        "if isinstance(find_kind(key), TestKind): pass",
        "if isinstance(test, (TestKind, str)): pass",
    ],
)
def test_branches_on_a_test_would_be_seen(code):
    assert list(branches_on_a_test(ast.parse(code)))


@pytest.mark.parametrize(
    "code",
    [
        "Question(protocol='TRIANGLE')",
        "if one.protocol is not other.protocol: pass",
        "x == 'A'",
        "if find_kind(key).protocol: pass",
        "isinstance(text, str)",
    ],
)
def test_other_code_is_not_taken_for_such_a_branch(code):
    assert not list(branches_on_a_test(ast.parse(code)))


# The floors would be seen to be broken.


@pytest.mark.parametrize(
    ("code", "found"),
    [
        ("from ..base.errors import Fault", "sensory.base.errors"),
        ("from . import session", "sensory.sessions.session"),
        ("from .files import read_cells", "sensory.sessions.files"),
        ("from ..models import links", "sensory.models.links"),
        ("from ..choices import protocols", "sensory.choices.protocols"),
        ("import sensory.store.tables", "sensory.store.tables"),
        ("def f():\n    from ..store import tables", "sensory.store.tables"),
        ("class A:\n    def f(self):\n        import sqlalchemy.orm", "sqlalchemy.orm"),
        ("if True:\n    from streamlit import title", "streamlit"),
    ],
)
def test_imports_are_seen_at_any_depth(code, found):
    module = Module(
        PACKAGE / "sessions" / "invented.py", "sensory.sessions.invented", "sessions", code
    )
    assert [name for _, name in imports(module)] == [found]


# The top level.


def test_top_level_holds_only_what_belongs_there():
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    there = {name.split("/")[0] for name in listed.stdout.split("\0") if name}
    assert "sensory" in there
    assert there <= TOP_LEVEL
