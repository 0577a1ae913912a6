"""Carrying one job out, file by file.

A file holds a run of what the job goes through. It is noted, with the place behind it, when it is
on the disk under its name. Whoever goes on after a crash begins at the last place noted and writes
the same file again, because the snapshot is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from brachium.bulk.folders import Folders, Writing
from brachium.bulk.limiting import Limiting
from brachium.bulk.lines import Shape, line, unreadable
from brachium.bulk.provenances import Provenances
from brachium.bulk.steps import PAGE, Filters, Place, Step, Walk
from brachium.bulk.wanted import PROVENANCE, Associated, Wanted

if TYPE_CHECKING:
    from brachium.problems import Problem
    from brachium.records import StoredResource
    from brachium.store.jobs import Job, JobBook, OutputFile
    from brachium.store.port import Store

OUTCOME = "OperationOutcome"


class Sizes(NamedTuple):
    """When a file is full: at ``most`` lines, or at ``fair`` lines once it has ``large`` bytes.

    Few large files, not thousands of small ones (Bulk Data Access 2.0, server documentation).
    """

    fair: int = 50_000
    most: int = 200_000
    large: int = 100_000_000

    def full(self, count: int, size: int) -> bool:
        """Tell whether nothing more goes into a file."""
        return count >= self.most or (count >= self.fair and size >= self.large)


class Stopped(Exception):
    """The service ends, or the job was deleted: nothing more is to be done now."""


@dataclass(frozen=True)
class Tools:
    """What jobs are carried out with.

    ``outcome`` makes an OperationOutcome of a problem; within ``serving`` the store holds what
    belongs to an Organization, by its id, and nothing else.
    """

    store: Store
    jobs: JobBook
    folders: Folders
    filters: Filters
    shape: Shape
    outcome: Callable[[Problem], bytes]
    serving: Callable[[str], AbstractContextManager[object]]
    stopping: Callable[[], bool] = lambda: False
    sizes: Sizes = field(default_factory=Sizes)


class Carrying:
    """One job on its way."""

    def __init__(self, tools: Tools, job: Job) -> None:
        self._tools = tools
        self._job = job
        self._wanted = Wanted.read(job.wanted)
        self._walk = Walk(tools.store, tools.jobs, tools.filters, self._wanted, job.at, job.id)

    @property
    def organization(self) -> str:
        """The id of the Organization that the client of the job belongs to, or empty."""
        return self._wanted.organization

    def carry_out(self) -> None:
        """Write every file that is not there yet; raises :class:`Stopped`."""
        if not self._job.place:
            self._begin()
        files = len(self._tools.jobs.files(self._job.id))
        start = Place.read(self._job.place)
        for number in range(start.type, len(self._wanted.types)):
            place = start if number == start.type else Place(number)
            for written, behind in self._files(place, files):
                self._note(behind, written)
                files += len(written)

    def _begin(self) -> None:
        """Find out whose records are wanted, and tell what was ignored."""
        if self._wanted.limited:
            Limiting(self._tools.store, self._tools.jobs, self._job, self._wanted).note()
        if self._wanted.outcomes:
            with self._writing("error", OUTCOME, 0) as file:
                file.add([one.encode() + b"\n" for one in self._wanted.outcomes])
                self._note(Place(), [file.finished()])

    def _files(self, place: Place, number: int) -> Iterator[tuple[list[OutputFile], Place]]:
        """Yield the files of a type, each with what was wrong in it, and the place behind them."""
        kind = self._wanted.types[place.type]
        steps = self._steps(place)
        step = next(steps, None)
        while step is not None:
            errors: list[bytes] = []
            with self._writing("output", kind, number) as file:
                while step is not None:
                    file.add(self._lines(kind, step.rows, errors))
                    behind = step.behind
                    step = next(steps, None)
                    if self._tools.sizes.full(file.count, file.size):
                        break
                written = [file.finished()] if file.count else []
            written += self._told(errors, number + len(written))
            number += len(written)
            yield written, behind

    def _steps(self, place: Place) -> Iterator[Step]:
        size = min(PAGE, self._tools.sizes.most)
        for step in self._walk.of_type(place, size):
            if self._tools.stopping():
                raise Stopped
            yield step

    def _lines(self, kind: str, rows: Iterable[StoredResource], errors: list[bytes]) -> list[bytes]:
        elements, shape = self._wanted.elements_of(kind), self._tools.shape
        lines = []
        for row in self._belonging(kind, rows):
            text = line(row, elements, shape)
            if text is None:
                errors.append(self._tools.outcome(unreadable(row)))
            else:
                lines.append(text)
        return lines

    def _belonging(self, kind: str, rows: Iterable[StoredResource]) -> Iterable[StoredResource]:
        if kind != PROVENANCE or self._wanted.associated is Associated.NONE:
            return rows
        return filter(Provenances(self._tools.jobs, self._wanted, self._job.at).wants, rows)

    def _told(self, errors: list[bytes], number: int) -> list[OutputFile]:
        if not errors:
            return []
        with self._writing("error", OUTCOME, number) as file:
            file.add([one + b"\n" for one in errors])
            return [file.finished()]

    def _writing(self, kind: str, of: str, number: int) -> Writing:
        name = f"{number + 1:05}.{of}.ndjson"
        return Writing(self._tools.folders.of(self._job.id) / name, kind, of)

    def _note(self, place: Place, files: list[OutputFile]) -> None:
        if not self._tools.jobs.advance(self._job.id, place.text, files):
            self._tools.folders.remove(self._job.id)
            raise Stopped
