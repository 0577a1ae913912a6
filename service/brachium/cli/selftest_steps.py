"""The steps of the acceptance run: each asks a service something and says what has to hold.

The run leaves one withdrawn exam behind, of a patient and under an identifier that nobody else
has. Nothing here knows the inside of the service: it speaks to any address through HTTP.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import httpx

Json: TypeAlias = Any

_JSON = {"Content-Type": "application/json"}
_FHIR = {"Accept": "application/fhir+json"}


@dataclass(frozen=True, slots=True)
class Seen:
    """What one step expected, and what it saw; both in words for a table."""

    step: str
    expected: str
    seen: str

    @property
    def held(self) -> bool:
        """Tell whether the service did what was expected."""
        return self.expected == self.seen


@dataclass(slots=True)
class Run:
    """One run against one service: ``exam`` is the exam to post, ``client`` knows the address.

    ``posted`` is the answer to the first post and ``first`` the report as it was then.
    """

    client: httpx.Client
    exam: Json
    posted: Json = field(default_factory=dict)
    first: bytes = b""

    def post(self, exam: Json, query: str = "") -> httpx.Response:
        """Post an exam."""
        return self.client.post(f"/exams{query}", json=exam, headers=_JSON)

    def get(self, address: str) -> httpx.Response:
        """Read from the service, whatever address it has told."""
        return self.client.get(address, headers=_FHIR)

    @property
    def itself(self) -> str:
        """The path of the posted exam."""
        return f"/exams/{self.posted['id']}"

    @property
    def report(self) -> str:
        """The path of its DiagnosticReport."""
        link: str = self.posted["links"]["report"]
        return link[link.index("/fhir/") :]

    def corrected(self, note: str) -> Json:
        """The exam with a note, and the reason of the change."""
        return {"reason": "Acceptance run: a note added.", "exam": {**self.exam, "note": note}}

    def patient(self) -> str:
        """The id of the patient, found by identifier."""
        by = self.exam["patient"]["identifier"]
        query = {"identifier": f"{by['system']}|{by['value']}"}
        found = self.client.get("/fhir/Patient", params=query, headers=_FHIR).json()
        return str(found["entry"][0]["resource"]["id"])

    def observations(self) -> list[Json]:
        """Every Observation of the patient, page after page."""
        found, address = [], f"/fhir/Observation?patient={self.patient()}&_count=50"
        while address:
            page = self.get(address).json()
            found += [
                entry["resource"]
                for entry in page.get("entry", ())
                if entry["search"]["mode"] == "match"
            ]
            links = {link["relation"]: link["url"] for link in page["link"]}
            following = links.get("next", "")
            address = following[following.index("/fhir/") :] if following else ""
        return found


Step: TypeAlias = Callable[[Run], Iterator[Seen]]


def _status(step: str, expected: int, answer: httpx.Response) -> Seen:
    return Seen(step, str(expected), str(answer.status_code))


def alive(run: Run) -> Iterator[Seen]:
    """The service is ready and says what it is."""
    yield _status("it is ready", 200, run.get("/ready"))
    said = run.get("/fhir/metadata").json()
    yield Seen("it speaks FHIR", "4.0.1", str(said.get("fhirVersion")))


def asked_first(run: Run) -> Iterator[Seen]:
    """A dry run stores nothing, and a wrong exam is refused with the place."""
    yield _status("a dry run is answered", 200, run.post(run.exam, "?dry-run=true"))
    finding = {**run.exam["findings"][0], "side": "neither"}
    answer = run.post({**run.exam, "findings": [finding]})
    yield _status("a wrong side is refused", 422, answer)
    places = [problem["pointer"] for problem in answer.json()["problems"]]
    yield Seen("... with its place", "/findings/0/side", ", ".join(places))


def posted(run: Run) -> Iterator[Seen]:
    """The exam is stored, the repeat finds it, and other content under its name is refused."""
    answer = run.post(run.exam)
    run.posted = answer.json()
    yield _status("the exam is stored", 201, answer)
    again = run.post(run.exam)
    yield _status("the same again is taken as a repeat", 200, again)
    location = answer.headers["Location"]
    yield Seen("... at the same address", location, again.headers.get("Location", ""))
    other = {**run.exam, "note": "Something else."}
    yield _status("other content under its name is refused", 409, run.post(other))


def read_back(run: Run) -> Iterator[Seen]:
    """What was stored is found by search and comes in every bundle."""
    for kind in ("collection", "transaction", "document"):
        answer = run.get(f"{run.itself}/bundle?type={kind}")
        yield Seen(f"there is a {kind} bundle", kind, str(answer.json().get("type")))
    bundle = run.get(f"{run.itself}/bundle?type=collection").json()
    kinds = [entry["resource"]["resourceType"] for entry in bundle["entry"]]
    expected = str(kinds.count("Observation"))
    yield Seen("search finds each Observation", expected, str(len(run.observations())))
    run.first = run.get(run.report).content


def corrected(run: Run) -> Iterator[Seen]:
    """A correction makes a version, once; who has not seen the newest version is refused."""
    change = run.corrected("Read again.")
    put = run.client.put(run.itself, json=change, headers={"If-Match": 'W/"1"'})
    yield _status("a correction is taken", 200, put)
    yield Seen("... as version 2", 'W/"2"', put.headers.get("ETag", ""))
    again = run.client.put(run.itself, json=change, headers={"If-Match": 'W/"1"'})
    yield Seen("its repeat is recognised", 'W/"2"', again.headers.get("ETag", ""))
    late = run.corrected("Another note.")
    stale = run.client.put(run.itself, json=late, headers={"If-Match": 'W/"1"'})
    yield _status("a change of an old version is refused", 412, stale)
    old = run.get(f"{run.report}/_history/1").content
    yield Seen("the first version reads as it did", "the same", _same(old, run.first))


def withdrawn(run: Run) -> Iterator[Seen]:
    """A withdrawal leaves everything readable as entered in error."""
    reason, path = {"reason": "Acceptance run: over."}, f"{run.itself}/withdrawal"
    taken = run.client.post(path, json=reason, headers={"If-Match": 'W/"2"'})
    yield _status("the withdrawal is taken", 200, taken)
    again = run.client.post(path, json=reason, headers={"If-Match": 'W/"2"'})
    yield Seen("its repeat is recognised", 'W/"3"', again.headers.get("ETag", ""))
    yield Seen("... and makes no version", "3", str(_versions(run)))
    yield _status("the first content does not bring it back", 409, run.post(run.exam))
    statuses = {one["status"] for one in run.observations()}
    yield Seen("every Observation says so", "entered-in-error", ", ".join(sorted(statuses)))
    report = run.report.removeprefix("/fhir/")
    told = run.get(f"/fhir/Provenance?target={report}").json()
    yield Seen("Provenance tells of each version", "3", str(told.get("total")))


STEPS: tuple[Step, ...] = (alive, asked_first, posted, read_back, corrected, withdrawn)


def _versions(run: Run) -> int:
    return len(run.get(f"{run.itself}/versions").json()["versions"])


def _same(one: bytes, other: bytes) -> str:
    return "the same" if one == other else "different"
