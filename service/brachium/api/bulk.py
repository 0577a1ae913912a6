"""Everything at once: the operations of Bulk Data Access 2.0."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from brachium.api.answers import header
from brachium.api.bulk_asked import Asked
from brachium.api.bulk_faults import ExportFailed, PolledTooFast, TooManyJobs
from brachium.api.bulk_files import file_response
from brachium.api.bulk_filters import TypeFilters
from brachium.api.bulk_posted import Pair, pairs_of_parameters
from brachium.api.bulk_status import Polls, complete, in_progress
from brachium.api.faults import BadParameter, NotFound
from brachium.api.fhir_requests import known, permit_chains
from brachium.api.login_faults import Forbidden
from brachium.api.permits import permit_scopes
from brachium.api.requests import fhir_object, only_parameters
from brachium.api.whose import whose
from brachium.bulk.wanted import TYPES, Level, Wanted
from brachium.security.scopes import Scope
from brachium.store.criteria import Criterion, Is, Search
from brachium.store.jobs import Job, JobState

if TYPE_CHECKING:
    from brachium.api.service import Service
    from brachium.bulk import Bulk
    from brachium.security.caller import Caller
    from brachium.store.jobs import OutputFile

JOBS = "/fhir/$export-jobs"
_READING = "rs"


class BulkExport:
    """Begins exports, tells how far they are, and hands their files out."""

    def __init__(
        self, service: Service, bulk: Bulk, filters: TypeFilters, begun: Callable[[], None]
    ) -> None:
        self._service = service
        self._bulk = bulk
        self._filters = filters
        self._begun = begun
        self._polls = Polls()

    async def system(self, request: Request) -> Response:
        """Begin an export of everything that is stored."""
        return await self._begin(request, Level.SYSTEM)

    async def patients(self, request: Request) -> Response:
        """Begin an export of the records of all patients, or of those that are named."""
        return await self._begin(request, Level.PATIENT)

    async def group(self, request: Request, group_id: str) -> Response:
        """Begin an export of the records of the patients of a group."""
        return await self._begin(request, Level.GROUP, known(group_id))

    async def status(self, request: Request, job_id: str) -> Response:
        """Tell how far an export is; when it is done, where its files are."""
        only_parameters(request)
        job = await self._job(request, job_id)
        if self._polls.too_fast(job.id):
            raise PolledTooFast
        if job.state is JobState.RUNNING:
            return in_progress(job, self._bulk.clock())
        if job.state is JobState.FAILED:
            raise ExportFailed
        files = await self._service.work.run(partial(self._bulk.jobs.files, job.id))
        address = f"{self._service.settings.public_base}{JOBS}/{job.id}"
        return complete(request, job, files, address, guarded=request.scope["protected"])

    async def delete(self, request: Request, job_id: str) -> Response:
        """Delete an export and its files, whether it is done or not."""
        only_parameters(request)
        job = await self._job(request, job_id)
        await self._service.work.write(partial(self._bulk.delete, job))
        return Response(status_code=202)

    async def file(self, request: Request, job_id: str, file_name: str) -> Response:
        """Return a file of an export, whole or in part; what an address gives never changes."""
        only_parameters(request)
        job = await self._job(request, job_id)
        found = await self._service.work.run(partial(self._bulk.file, job, file_name))
        if found is None:
            raise NotFound
        file, path = found
        self._permit_file(request, file)
        return await file_response(request, self._service.work, file, path)

    def _permit_file(self, request: Request, file: OutputFile) -> None:
        if file.type in TYPES:
            _permit(request, (file.type,))

    async def _job(self, request: Request, job_id: str) -> Job:
        """Return a job of the caller; 404 for one of another client, or past its expiry."""
        caller: Caller = request.scope["caller"]
        task = partial(self._bulk.find, job_id, caller.client)
        job = await self._service.work.run(task)
        if job is None:
            raise NotFound
        return job

    async def _begin(self, request: Request, level: Level, group: str = "") -> Response:
        posted = request.method == "POST"
        pairs = await _posted(request) if posted else request.query_params.multi_items()
        asked = self._asked(request, level, posted=posted)
        # a chained filter may look a patient up
        await self._service.work.run(partial(asked.take, pairs))
        caller: Caller = request.scope["caller"]
        if asked.explicit:
            _permit(request, asked.types)
        wanted = asked.wanted(lambda kind: not _missing(caller, kind), group)
        wanted = replace(wanted, organization=whose())
        if not (wanted.types or asked.explicit):
            raise Forbidden(str(Scope("*", _READING)))
        await self._service.work.run(partial(self._check, wanted))
        task = partial(self._bulk.begin, caller.client, self._address(request), wanted)
        job = await self._service.work.write(task)
        if job is None:
            raise TooManyJobs
        self._begun()
        place = f"{self._service.settings.public_base}{JOBS}/{job.id}"
        return Response(status_code=202, headers={"Content-Location": place})

    def _asked(self, request: Request, level: Level, *, posted: bool) -> Asked:
        preferred = (header(request.scope, b"prefer") or "").lower().replace(" ", "")

        def search(kind: str, query: str) -> None:
            permit_chains(request, self._filters.query(kind, query))

        lenient = "handling=lenient" in preferred
        return Asked(level, posted, lenient, self._service.settings.canonical, search)

    def _address(self, request: Request) -> str:
        query = request.scope["query_string"].decode("latin-1")
        path = f"{self._service.settings.public_base}{request.scope['path']}"
        return f"{path}?{query}" if query else path

    def _check(self, wanted: Wanted) -> None:
        """Refuse a group that is not there, and patients that are not there or not of the group."""
        store = self._service.store
        if wanted.group and store.read("Organization", wanted.group) is None:
            raise NotFound
        for one in wanted.patients:
            if store.read("Patient", one) is None or not self._is_of(one, wanted.group):
                raise BadParameter(parameter="patient", allowed="patients that the export is about")

    def _is_of(self, patient: str, group: str) -> bool:
        if not group:
            return True
        by = Criterion(("performer",), (Is(f"Organization/{group}"),))
        about = Criterion(("patient",), (Is(f"Patient/{patient}"),))
        search = Search("DiagnosticReport", (about, by))
        return bool(self._service.store.search(search, 1, total=False).rows)


async def _posted(request: Request) -> list[Pair]:
    only_parameters(request)
    try:
        return pairs_of_parameters(await fhir_object(request))
    except ValueError as refused:
        raise BadParameter(parameter="Parameters", allowed=str(refused)) from None


def _missing(caller: Caller, kind: str) -> tuple[Scope, ...]:
    return caller.scopes.missing([Scope(kind, _READING)])


def _permit(request: Request, kinds: Iterable[str]) -> None:
    """Refuse types that the token does not cover (SMART App Launch 2.2, backend services)."""
    permit_scopes(request.scope, (Scope(kind, _READING) for kind in kinds))
