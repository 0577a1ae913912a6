"""The folders of export jobs: files appear whole, under names that say nothing about a person."""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from brachium.store.jobs import OutputFile

_PART = ".part"


class Folders:
    """A folder with one folder for each job; nobody but the service may look into them."""

    def __init__(self, top: Path) -> None:
        self._top = top

    def made(self) -> Path:
        """Return the top folder, made if it is not there."""
        self._top.mkdir(mode=0o700, parents=True, exist_ok=True)
        return self._top

    def of(self, job: str) -> Path:
        """Return the folder of a job, made if it is not there."""
        folder = self.made() / job
        folder.mkdir(mode=0o700, exist_ok=True)
        return folder

    def file(self, job: str, name: str) -> Path:
        """Return where a finished file is."""
        return self._top / job / name

    def remove(self, job: str) -> None:
        """Remove everything of a job; whoever reads a file just then reads it to its end."""
        shutil.rmtree(self._top / job, ignore_errors=True)

    def strangers(self, known: Iterable[str]) -> list[str]:
        """Return the folders of jobs that are not known any more."""
        if not self._top.is_dir():
            return []
        names = set(known)
        return [one.name for one in self._top.iterdir() if one.is_dir() and one.name not in names]


@dataclass(slots=True)
class Writing:
    """A file on its way: it gets its name when it is whole and on the disk."""

    path: Path
    kind: str
    type: str
    count: int = 0
    size: int = 0
    _digest: hashlib._Hash = field(default_factory=hashlib.sha256)
    _file: IO[bytes] | None = None

    def __enter__(self) -> Writing:
        descriptor = os.open(self._part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        self._file = os.fdopen(descriptor, "wb")
        return self

    def __exit__(
        self,
        *_: object,
    ) -> None:
        if self._file is not None:
            with suppress(OSError):
                self._file.close()
        with suppress(OSError):
            self._part.unlink(missing_ok=True)

    @property
    def _part(self) -> Path:
        return self.path.with_name(self.path.name + _PART)

    def add(self, lines: list[bytes]) -> None:
        """Write whole lines."""
        text = b"".join(lines)
        if self._file is None:
            raise ValueError("the file is not open")
        self._file.write(text)
        self._digest.update(text)
        self.size += len(text)
        self.count += len(lines)

    def finished(self) -> OutputFile:
        """Put the file on the disk under its name."""
        if self._file is None:
            raise ValueError("the file is not open")
        self._file.flush()
        os.fsync(self._file.fileno())
        self._file.close()
        self._part.replace(self.path)
        digest = self._digest.hexdigest()
        return OutputFile(self.kind, self.type, self.path.name, self.count, self.size, digest)
