"""The house rules as functions: each takes source text and returns what breaks the rule.

They live apart from the tests so that every rule can be shown to bite on a planted offence before
it is trusted with the real code.
"""

from __future__ import annotations

import ast
import csv
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "service" / "brachium"
MODULE_LINES = 400
FUNCTION_LINES = 50
TOP_LEVEL = {"pyproject.toml", "README.md", "DEVELOPERS.md", "service", "mappings", "tests"}
TOP_LEVEL |= {"examples"}
NAMELESS = {"utils", "util", "core", "common", "helpers", "helper", "misc"}
PURE = ("exam", "assess", "coding", "flat", "formats", "security")

CLOCK = {"now", "today", "utcnow", "time", "time_ns", "monotonic", "perf_counter", "localtime"}
CHANCE = {"uuid1", "uuid4", "uuid6", "uuid7", "urandom", "token_hex", "token_bytes", "randint"}
FILES = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "unlink", "mkdir"}
IMPURE_MODULES = {"time", "random", "secrets", "os", "pathlib", "socket", "sqlite3", "httpx"}
IMPURE_MODULES |= {"logging", "subprocess", "threading", "asyncio", "tempfile", "shutil"}

# Joints, sites and every hyphenated word are looked for inside longer texts too. A short word such
# as "flexion" must be the whole string: prose may use it, a decision may not.
WORD_COLUMNS = {
    "joints.csv": "joint",
    "digits.csv": "digit",
    "motions.csv": "motion",
    "sites.csv": "site",
    "signs.csv": "sign",
    "strength.csv": "test",
}
# Words of the tables that mean something else in the code, each with that meaning.
OTHER_MEANING = {
    "extension": "the member of every FHIR element that carries extensions",
    "index": "a position in a list, and a database index",
}
EVERYDAY = {"hand", "index", "middle", "ring", "little", "thumb", "extension"}

# Split, so that this file does not hold what it forbids.
FORBIDDEN = {
    "how the project was made": re.compile("trans" + "cript|seed " + "document", re.IGNORECASE),
    "a path of one machine": re.compile("/(?:wo" + "rk|fa" + "rm)/|/ro" + "ot/|/tmp/" + "venv"),
    "the making of it": re.compile(r"\bsess" + r"ion\b.*\b(?:tool|agent)\b", re.IGNORECASE),
    "an issue's number": re.compile(
        r"\bissues?" + r"\s+#?\d+|(?<![&\w])#" + r"\d{1,4}\b(?![0-9a-fA-F])"
    ),
}


def python_files(folder: Path = PACKAGE) -> list[Path]:
    """Every Python file below ``folder``, sorted."""
    return sorted(path for path in folder.rglob("*.py") if "__pycache__" not in path.parts)


def long_parts(source: str) -> list[str]:
    """The module if it is over its ceiling, and every function that is."""
    found = []
    lines = len(source.splitlines())
    if lines > MODULE_LINES:
        found.append(f"module has {lines} lines")
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            if length > FUNCTION_LINES:
                found.append(f"{node.name} has {length} lines")
    return found


def reads_environment(source: str) -> list[str]:
    """Places that read environment variables, by whatever road."""
    found = []
    for node in ast.walk(ast.parse(source)):
        name = node.attr if isinstance(node, ast.Attribute) else None
        name = node.name if isinstance(node, ast.alias) else name
        if name in {"environ", "environb", "getenv", "putenv"}:
            found.append(f"{name} at line {getattr(node, 'lineno', '?')}")
    return found


def impurities(source: str) -> list[str]:
    """Clock, chance and files: what a pure module must be handed instead of taking."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import | ast.ImportFrom):
            found += [f"imports {name}" for name in _imported(node)]
        elif isinstance(node, ast.Call):
            called = node.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            if name in CLOCK | CHANCE | FILES:
                found.append(f"calls {name} at line {node.lineno}")
    return found


def _imported(node: ast.Import | ast.ImportFrom) -> Iterator[str]:
    if isinstance(node, ast.Import):
        modules = [alias.name for alias in node.names]
    else:
        modules = [node.module or ""] if not node.level else []
        if modules == ["uuid"]:
            yield from (alias.name for alias in node.names if alias.name in CHANCE)
    yield from (module for module in modules if module.split(".")[0] in IMPURE_MODULES)


def anatomy(mappings: Path) -> set[str]:
    """Every joint, digit, motion, site, sign and strength test that the tables name."""
    words = set()
    for name, column in WORD_COLUMNS.items():
        with (mappings / "model" / name).open(encoding="utf-8", newline="") as lines:
            rows = csv.DictReader(line for line in lines if not line.startswith("#"))
            words |= {row[column] for row in rows}
    return words - {""}


def anatomy_strings(source: str, words: set[str]) -> list[str]:
    """String constants (docstrings aside) that decide something about a part of the body."""
    tree = ast.parse(source)
    docstrings = set(_docstrings(tree))
    inside = {word for word in words if "-" in word or word not in EVERYDAY} - set(_motions(words))
    found = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
            continue
        if node in docstrings:
            continue
        text = node.value.lower()
        tokens = set(re.split(r"[^a-z0-9-]+", text))
        hits = ({text} & words | tokens & inside) - set(OTHER_MEANING)
        found += [f"{hit!r} at line {node.lineno}" for hit in sorted(hits)]
    return found


def _motions(words: set[str]) -> Iterator[str]:
    """Single words for movements and signs, which running text may use."""
    return (word for word in words if "-" not in word and word.endswith(("ion", "ing", "ness")))


def _docstrings(tree: ast.Module) -> Iterator[ast.Constant]:
    owners = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef
    for node in ast.walk(tree):
        body = node.body if isinstance(node, owners) else []
        if body and isinstance(body[0], ast.Expr) and isinstance(body[0].value, ast.Constant):
            yield body[0].value


def forbidden_words(text: str) -> list[str]:
    """Lines that speak of how the project came about or of one machine's folders."""
    return [
        f"line {number}: {meaning}"
        for number, line in enumerate(text.splitlines(), 1)
        for meaning, pattern in FORBIDDEN.items()
        if pattern.search(line)
    ]


def nameless(paths: list[Path]) -> list[str]:
    """Modules and packages whose name says nothing about what is in them."""
    return [str(path) for path in paths if NAMELESS & {path.stem, path.parent.name}]


def strangers(top_level: set[str]) -> set[str]:
    """Names at the top of the tree that do not belong there."""
    return {name for name in top_level if name not in TOP_LEVEL and not name.startswith(".")}
