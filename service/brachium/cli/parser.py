"""Arguments and exit codes; the work is done in the modules beside this one."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from importlib import metadata
from pathlib import Path

from pydantic import TypeAdapter

from brachium.cli import (
    audit,
    clients,
    copies,
    demo,
    explain,
    export,
    offline,
    sbom,
    selftest,
    serve,
)
from brachium.cli.shown import USAGE, complain
from brachium.exam.findings import Moment
from brachium.problems import BrokenSettings, BrokenTables
from brachium.settings import Settings, read_settings
from brachium.store.port import StoreUnavailable

EXIT_CODES = """\
exit codes:
  0  done; for check: the exam is accepted; for demo and selftest: all was as it should be
  1  the exam is refused, the tables have faults, an example or the service misbehaved, a client
     is not registered or is so already, a copy is damaged or would overwrite something
  2  the command cannot be understood or its input cannot be read; a setting, the tables or the
     address stop the work before it begins
"""


class _Commands:
    """Adds commands that all explain the same exit codes."""

    def __init__(self, top: argparse.ArgumentParser) -> None:
        self._made = top.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def add(
        self, name: str, words: str, run: Callable[[argparse.Namespace, Settings], int]
    ) -> argparse.ArgumentParser:
        made = self._made.add_parser(
            name,
            help=words,
            description=words,
            epilog=EXIT_CODES,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        made.set_defaults(run=run)
        return made


def parser() -> argparse.ArgumentParser:
    """Return the parser of every command."""
    top = argparse.ArgumentParser(
        prog="brachium",
        description="Checks arm examination findings and hands them over as coded FHIR R4.",
        epilog=EXIT_CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    version = f"brachium {metadata.version('brachium')}"
    top.add_argument("--version", action="version", version=version)
    commands = _Commands(top)
    _add_serve(commands)
    _add_demo(commands)
    _add_exam_commands(commands)
    _add_tables(commands)
    _add_selftest(commands)
    made = commands.add(
        "export", "Write a flat table, or every resource that is stored.", export.run
    )
    export.add_arguments(made)
    made = commands.add("backup", "Copy the database, also while the service runs.", copies.backup)
    copies.add_arguments(made)
    made = commands.add("restore", "Put a copy back where no database is.", copies.restore)
    copies.add_arguments(made)
    commands.add("sbom", "List what the service is made of (CycloneDX).", sbom.run)
    made = commands.add(
        "audit", "Show and verify the audit trail: head, checkpoint, verify.", audit.run
    )
    audit.add_arguments(made)
    made = commands.add("clients", "Say who may log in: add, list, revoke, keys.", clients.run)
    clients.add_arguments(made)
    return top


def _add_serve(commands: _Commands) -> None:
    made = commands.add("serve", "Run the service.", serve.run)
    made.add_argument("--host", help="address to listen on (default 127.0.0.1)")
    made.add_argument("--port", type=_port, help="port to listen on (default 8321)")
    made.add_argument("--database", type=Path, help="SQLite file (default brachium.sqlite3)")
    made.add_argument("--tables", type=_folder, help="folder of tables to use")


def _add_demo(commands: _Commands) -> None:
    made = commands.add(
        "demo", "Start the service, post every example, tell what came of it.", demo.run
    )
    made.add_argument("--out", type=Path, default=Path("brachium-demo"), help="folder for bundles")
    made.add_argument("--port", type=_port, help="port of the service (default: a free one)")


def _add_exam_commands(commands: _Commands) -> None:
    check = commands.add("check", "Say whether an exam would be accepted.", offline.check)
    bundle = commands.add("bundle", "Write the coded bundle of an exam.", offline.bundle)
    chain = commands.add(
        "explain", "Tell how a finding was judged, and with which sources.", explain.run
    )
    for made in (check, bundle, chain):
        made.add_argument("file", metavar="FILE", help="exam as JSON; - reads standard input")
    chain.add_argument("key", metavar="KEY", help="key of the finding")
    bundle.add_argument(
        "--type", choices=("collection", "transaction", "document"), default="collection"
    )
    bundle.add_argument(
        "--issued",
        metavar="INSTANT",
        type=_instant,
        help="time of recording, with offset (default: the time of the exam, so that the same "
        "exam always gives the same bytes)",
    )


def _add_tables(commands: _Commands) -> None:
    made = commands.add("tables", "List every fault of the tables.", offline.check_tables)
    made.add_argument("action", choices=("check",))
    made.add_argument("directory", metavar="DIR", nargs="?", type=_folder)


def _add_selftest(commands: _Commands) -> None:
    made = commands.add(
        "selftest",
        "Try a running service out: post an exam, repeat, correct, withdraw and read it back. It "
        "leaves one withdrawn exam there, under a name that nobody else has.",
        selftest.run,
    )
    made.add_argument("url", metavar="URL", help="public base address of the service")
    made.add_argument("--token", type=Path, metavar="FILE", help="file with an access token")


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 65535):
        raise argparse.ArgumentTypeError("must be a whole number from 1 to 65535")
    return int(text)


def _instant(text: str) -> str:
    try:
        return TypeAdapter(Moment).validate_python(datetime.fromisoformat(text) and text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            "must be a time with seconds and offset, such as 2026-03-02T10:15:00+01:00"
        ) from None


def _folder(text: str) -> Path:
    path = Path(text)
    if not path.is_dir():
        raise argparse.ArgumentTypeError("must be an existing folder")
    return path


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; argparse itself leaves with 2."""
    asked = parser().parse_args(arguments)
    try:
        run: Callable[[argparse.Namespace, Settings], int] = asked.run
        return run(asked, settings(asked))
    except (BrokenSettings, BrokenTables, StoreUnavailable) as fault:
        complain(str(fault))
        return USAGE
    except BrokenPipeError:
        return USAGE


def settings(asked: argparse.Namespace) -> Settings:
    """Return the settings of the environment with those of the command line over them.

    A host or port of the command line moves the public base along, unless a site has set that.
    """
    found = read_settings()
    given = {
        name: value
        for name in ("host", "port", "database", "tables")
        if (value := getattr(asked, name, None)) is not None
    }
    changed = replace(found, **given)
    if found.public_base == Settings().public_base:
        base = serve.address(changed.host, changed.port, tls=changed.tls)
        changed = replace(changed, public_base=base)
    return changed
