"""Every rule of rules.py, first on a planted offence, then on the code."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from tests.architecture import rules

FILES = rules.python_files()
NAMES = [str(path.relative_to(rules.PACKAGE)) for path in FILES]
PURE_FILES = [path for path in FILES if path.relative_to(rules.PACKAGE).parts[0] in rules.PURE]
SKIPPED_FOLDERS = {"__pycache__", "dist", "build", "node_modules"}


def tracked() -> list[Path]:
    """The files of the project: what git knows or would add, or all files where there is no git."""
    git = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    answer = subprocess.run(git, cwd=rules.ROOT, capture_output=True, text=True, check=False)
    if answer.returncode == 0 and answer.stdout:
        return [
            path for name in answer.stdout.split("\0")[:-1] if (path := rules.ROOT / name).is_file()
        ]
    return [
        path
        for path in rules.ROOT.rglob("*")
        if path.is_file()
        and not {part for part in path.relative_to(rules.ROOT).parts if _is_product(part)}
    ]


def _is_product(part: str) -> bool:
    return part in SKIPPED_FOLDERS or part.endswith(".egg-info") or part.startswith(".venv")


def test_the_package_is_found():
    assert len(FILES) > 20


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_modules_and_functions_keep_under_their_ceilings(path):
    assert rules.long_parts(path.read_text(encoding="utf-8")) == []


def test_ceilings_bite():
    function = "def f():\n" + "    pass\n" * rules.FUNCTION_LINES
    assert rules.long_parts(function) == ["f has 51 lines"]
    assert rules.long_parts("x = 1\n" * 401) == ["module has 401 lines"]
    assert rules.long_parts("def f():\n" + "    pass\n" * 49) == []


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_only_settings_reads_the_environment(path):
    found = rules.reads_environment(path.read_text(encoding="utf-8"))
    assert found == [] or path == rules.PACKAGE / "settings.py"


@pytest.mark.parametrize(
    "source",
    [
        "import os\nx = os.environ['A']",
        "import os\nx = os.getenv('A')",
        "from os import environ",
        "from os import getenv as g",
    ],
)
def test_the_environment_rule_bites(source):
    assert rules.reads_environment(source)


def test_there_are_pure_modules():
    assert {path.relative_to(rules.PACKAGE).parts[0] for path in PURE_FILES} == set(rules.PURE)


@pytest.mark.parametrize("path", PURE_FILES, ids=lambda path: path.stem)
def test_pure_layers_use_no_clock_chance_or_files(path):
    assert rules.impurities(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "source",
    [
        "from datetime import datetime\nx = datetime.now()",
        "import datetime\nx = datetime.datetime.now(tz=datetime.UTC)",
        "from datetime import date\nx = date.today()",
        "import time",
        "from time import monotonic",
        "import random",
        "import uuid\nx = uuid.uuid4()",
        "from uuid import uuid4",
        "import os",
        "from pathlib import Path",
        "x = open('a')",
        "def f(p):\n    return p.read_text()",
    ],
)
def test_the_purity_rule_bites(source):
    assert rules.impurities(source)


def test_the_purity_rule_lets_pure_code_pass():
    source = (
        "import uuid\nfrom datetime import datetime\nx = uuid.uuid5(N, datetime.fromisoformat(t))"
    )
    assert rules.impurities(source) == []


@pytest.fixture(scope="module")
def words() -> set[str]:
    found = rules.anatomy(rules.ROOT / "mappings")
    assert len(found) > 60
    return found


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_no_anatomy_in_code(path, words):
    assert rules.anatomy_strings(path.read_text(encoding="utf-8"), words) == []


@pytest.mark.parametrize(
    "source",
    [
        "x = 'shoulder'",
        "if joint == 'elbow':\n    pass",
        "match motion:\n    case 'flexion':\n        pass",
        "x = {'tenderness': 1}",
        "x = f'shoulder {side}'",
        "x = 'horizontal-adduction'",
        "x = 'the finger-pip joint'",
        "X = ('little', 'ring')",
    ],
)
def test_the_anatomy_rule_bites(source, words):
    assert rules.anatomy_strings(source, words)


def test_the_anatomy_rule_lets_docstrings_and_other_meanings_pass(words):
    source = '"""An elbow."""\nx = {"extension": []}\ny = "flexion is positive on this axis"'
    assert rules.anatomy_strings(source, words) == []


def test_every_other_meaning_is_still_needed(words):
    assert set(rules.OTHER_MEANING) <= words


def test_no_module_is_named_after_nothing():
    assert rules.nameless([path.relative_to(rules.ROOT) for path in tracked()]) == []
    assert rules.nameless([Path("service/brachium/utils.py"), Path("tests/core/test_a.py")])


def test_the_top_level_holds_only_what_belongs_there():
    assert rules.strangers({path.relative_to(rules.ROOT).parts[0] for path in tracked()}) == set()
    assert rules.strangers({"setup.cfg", ".ci", "service"}) == {"setup.cfg"}


def test_no_word_tells_how_the_project_came_about():
    offences = {}
    for path in tracked():
        found = rules.forbidden_words(path.read_text(encoding="utf-8", errors="replace"))
        if found:
            offences[str(path.relative_to(rules.ROOT))] = found
    assert offences == {}


@pytest.mark.parametrize(
    "text",
    [
        "see the trans" + "cript",
        "as the seed " + "document says",
        "open('/wo" + "rk/data')",
        "/ro" + "ot/.cache/x",
        "the sess" + "ion called a tool",
        "fixes iss" + "ue 12",
        "as told in #" + "7",
    ],
)
def test_the_word_rule_bites(text):
    assert rules.forbidden_words(text)


def test_the_word_rule_lets_ordinary_text_pass():
    text = "patchwork/ and a curl session\nOperationOutcome.issue.severity\n#303030, 150&#176;"
    assert rules.forbidden_words(text) == []
