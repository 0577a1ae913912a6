"""Requests that look like FHIR and are wrong somewhere: ``python -m tests.fuzz.fuzzing 20000``.

Deterministic for a seed. Nothing of them may make the service fail, and whatever is refused is
refused in an OperationOutcome with at least one error (matrix ERR-01, EXM-17).
"""

from __future__ import annotations

import json
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any, NamedTuple

from tests.api.serving import Serving, raw_example

JSON = "application/fhir+json"
Json = Any

JUNK_TEXT = (
    "", " ", "\x00", "\u0000a", "a" * 5000, "é\u202e", "'; --", "../../etc", "%00", "$", "|", "\\",
    ",", "||", "|,|", "http://[", "urn:uuid:x", "Patient/", "/Patient", "_history", "NaN", "-0",
    "1e400", "0x1F", "true", "null", "{}", "\ud83d\ude00", "2026-02-30", "2026-13", "24:00",
    "ge", "gege2026", "9999-12-31", "0000-01-01", "2026-03-02T10:15:00+99:00", "lt", "ap1e9",
)  # fmt: skip
JUNK: tuple[Json, ...] = (
    *JUNK_TEXT, None, True, False, 0, -1, 10**30, 1.5, 1e300, [], {}, [[]], [None], {"": ""},
    {"resourceType": "Bundle"}, [{"resourceType": 7}], {"reference": "#x"}, {"coding": 5},
)  # fmt: skip
DATES = ("2026-03-02", "ge2026", "lt2026-03-02T10:15:00Z", "sa2026-03", "ne2026-03-02", "ap2026")
TOKENS = ("final", "http://loinc.org|41311-2", "|final", "http://loinc.org|", "a\\,b", "a,b", "x|y")
NUMBERS = ("150||deg", "lt160", "ge1.50|http://unitsofmeasure.org|deg", "5,6", "eq1e2")
FITTING = {"date": DATES, "token": TOKENS, "quantity": NUMBERS}
MODIFIERS = ("", "", "", ":not", ":missing", ":exact", ":in", ":Patient", ":identifier", ":", ".id")
RESULTS = ("_count", "_sort", "_include", "_revinclude", "_summary", "_elements", "_total")
RESULTS += ("_format", "_pretty", "_page", "_since", "_at", "_type", "_lastUpdated", "_id", "_tag")
HEADERS = {
    "Accept": ("*/*", JSON, "application/fhir+xml", "text/html", "", ";q=x", "a/b;q=2", "*"),
    "Prefer": (
        "return=minimal",
        "handling=strict",
        "return=OperationOutcome",
        "respond-async",
        "=",
    ),
    "If-Match": ('W/"1"', '"x"', "*", "", "W/1", 'W/"99999999999999999999"'),
    "If-None-Match": ('W/"1"', "*", ""),
    "If-None-Exist": ("identifier=a|b", "", "foo=bar", "identifier=", "%zz"),
    "If-Modified-Since": ("yesterday", "Mon, 02 Mar 2026 09:15:00 GMT", ""),
    "Content-Type": (JSON, JSON, "application/json", "text/plain", ""),
}


class Call(NamedTuple):
    """One request."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes = b""


class Known(NamedTuple):
    """What there is to be got wrong."""

    statement: Json
    bodies: tuple[Json, ...]
    ids: tuple[str, ...]
    names: tuple[str, ...]

    @property
    def types(self) -> tuple[str, ...]:
        return (*(one["type"] for one in self.statement["rest"][0]["resource"]), "Medication", "x")

    def parameters(self, kind: str) -> dict[str, str]:
        """The type of every search parameter of a resource type by its name."""
        rows = self.statement["rest"][0]["resource"]
        found = next((row for row in rows if row["type"] == kind), {})
        return {one["name"]: one["type"] for one in found.get("searchParam", ())} or {
            "_id": "token"
        }


def known(service: Serving) -> Known:
    """Fill the service with some exams and learn its words."""
    for name in ("hyperextending-elbow", "draft", "thumb-base-pain"):
        assert service.post("/exams", raw_example(name)).is_success
    first = service.get("/fhir/DiagnosticReport").json()["entry"][0]["resource"]
    everything = service.get("/fhir/Observation?_count=20").json()
    exam = service.post("/exams", raw_example("draft")).json()["id"]
    kinds = ("collection", "transaction", "document")
    bundles = [service.get(f"/exams/{exam}/bundle?type={kind}").json() for kind in kinds]
    examples = Path(__file__).resolve().parents[2] / "examples"
    responses = [json.loads(path.read_text()) for path in examples.glob("responses/*.json")]
    found = [first, *(entry["resource"] for entry in everything["entry"])]
    names = tuple(f"{one['resourceType']}/{one['id']}" for one in found)
    ids = tuple(one["id"] for one in found)
    bodies = (*bundles, *responses, first, everything["entry"][0]["resource"], everything)
    return Known(service.get("/fhir/metadata").json(), bodies, ids, names)


def calls(known: Known, seed: int) -> Iterator[Call]:
    """Yield requests without end."""
    chance = random.Random(seed)
    kinds: list[Callable[[Known, random.Random], Call]] = [searched, written, read, operated]
    while True:
        call = chance.choices(kinds, weights=(5, 4, 2, 2))[0](known, chance)
        extra = chance.sample(sorted(HEADERS), k=chance.choice((0, 0, 1, 2)))
        yield call._replace(
            headers={**call.headers, **{n: chance.choice(HEADERS[n]) for n in extra}}
        )


def searched(known: Known, chance: random.Random) -> Call:
    kind = chance.choice(known.types)
    pairs = []
    for _ in range(chance.randint(0, 4)):
        kinds = known.parameters(kind)
        others = (*RESULTS, chance.choice(JUNK_TEXT))
        name = chance.choice(tuple(kinds) if chance.random() < 0.7 else others)
        any_pool = chance.choice((DATES, TOKENS, NUMBERS, JUNK_TEXT, known.ids, ("Patient/x", "5")))
        fits = FITTING.get(kinds.get(name, ""), known.names)
        pool = fits if chance.random() < 0.7 else any_pool
        pairs.append(f"{name}{chance.choice(MODIFIERS)}={_escaped(chance.choice(pool), chance)}")
    query = "&".join(pairs)
    if chance.random() < 0.2:
        form = {"Content-Type": "application/x-www-form-urlencoded"}
        return Call("POST", f"/fhir/{kind}/_search", form, query.encode("utf-8", "replace"))
    name = chance.choice(known.names)
    where = chance.choice((kind, kind, kind, f"{kind}/_history", f"{name}/_history", "_history"))
    return Call("GET", _path(f"/fhir/{where}?{query}"), {})


def _escaped(text: str, chance: random.Random) -> str:
    if chance.random() < 0.3:
        return text
    from urllib.parse import quote

    return quote(text.encode("utf-8", "surrogatepass"))


def _path(text: str) -> str:
    """What a client can put on the wire: no control characters and nothing outside ASCII."""
    return "".join(c if "!" <= c <= "~" else f"%{ord(c) & 0xFF:02X}" for c in text)


def written(known: Known, chance: random.Random) -> Call:
    body = mutated(chance.choice(known.bodies), chance)
    kind = body.get("resourceType", "x") if isinstance(body, dict) else "x"
    kind = kind if isinstance(kind, str) and kind.isalpha() else "x"
    identity = chance.choice((*known.ids, "new", "%00"))
    method, path = chance.choice(
        (
            ("POST", "/fhir"),
            ("POST", "/fhir"),
            ("POST", f"/fhir/{kind}"),
            ("PUT", f"/fhir/{kind}/{identity}"),
            ("PUT", f"/fhir/{kind}?identifier=a|b"),
            ("POST", f"/fhir/{kind}/$validate"),
            ("PATCH", f"/fhir/{kind}/{identity}"),
        )
    )
    return Call(method, path, {"Content-Type": JSON}, _text(body, chance))


def _text(body: Json, chance: random.Random) -> bytes:
    text = json.dumps(body).encode()
    if chance.random() < 0.05:
        cut = chance.randrange(len(text))
        return text[:cut] + bytes([chance.randrange(256)]) + text[cut + 1 :]
    return text


def mutated(body: Json, chance: random.Random) -> Json:
    """A body wrong in one to three places; sometimes it is left as it is."""
    body = deepcopy(body)
    for _ in range(chance.choice((0, 1, 1, 1, 2, 3))):
        holder, name = chance.choice(list(_places(body)) or [(None, None)])
        if holder is None:
            return chance.choice(JUNK)
        _twist(holder, name, chance)
    return body


def _twist(holder: Json, name: Json, chance: random.Random) -> None:
    way = chance.randrange(5)
    if way == 0:
        del holder[name]
    elif way == 1 and isinstance(holder, list):
        holder.insert(name, deepcopy(holder[name]))
    elif way == 2 and isinstance(holder, dict):
        holder[chance.choice(JUNK_TEXT) or "extra"] = chance.choice(JUNK)
    elif way == 3 and isinstance(holder, dict):
        other = chance.choice(list(holder))
        holder[name], holder[other] = holder[other], holder[name]
    else:
        holder[name] = chance.choice(JUNK)


def _places(value: Json) -> Iterator[tuple[Json, Json]]:
    parts = enumerate(value) if isinstance(value, list) else ()
    parts = value.items() if isinstance(value, dict) else parts
    for name, part in parts:
        yield value, name
        yield from _places(part)


def read(known: Known, chance: random.Random) -> Call:
    name = f"{chance.choice(known.types)}/{chance.choice((*known.ids, *JUNK_TEXT))}"
    name = chance.choice((name, chance.choice(known.names)))
    version = chance.choice(
        ("", "/_history/1", "/_history/0", "/_history/x", "/_history/9999999999")
    )
    method = chance.choice(("GET", "GET", "GET", "HEAD", "DELETE", "OPTIONS", "TRACE"))
    return Call(method, _path(f"/fhir/{name}{version}"), {})


def operated(known: Known, chance: random.Random) -> Call:
    names = [
        "$validate",
        "$everything",
        "$document",
        "$lookup",
        "$expand",
        "$translate",
        "$extract",
    ]
    names += ["$validate-code", "$lastn", "$export", "$nothing"]
    kind = chance.choice((*known.types, "CodeSystem", "ValueSet", "ConceptMap"))
    level = chance.choice(("", f"/{kind}", f"/{kind}", f"/{chance.choice(known.names)}"))
    query = "&".join(
        f"{chance.choice(('code', 'system', 'url', 'filter', 'count', '_since', '_type', 'max'))}"
        f"={_escaped(chance.choice((*JUNK_TEXT, *TOKENS)), chance)}"
        for _ in range(chance.randint(0, 3))
    )
    path = _path(f"/fhir{level}/{chance.choice(names)}?{query}")
    if chance.random() < 0.5:
        return Call("GET", path, {})
    body = {"resourceType": "Parameters", "parameter": [{"name": "url", "valueUri": "x"}]}
    return Call("POST", path, {"Content-Type": JSON}, _text(mutated(body, chance), chance))


def complaint(call: Call, answer: Any) -> str:
    """What is wrong with an answer, empty when nothing is."""
    if answer.status_code >= 500:
        return f"status {answer.status_code}"
    # a client takes the dots out of a path, so that some of these lead out of /fhir
    elsewhere = not answer.url.path.startswith("/fhir/")
    if answer.status_code < 400 or call.method == "HEAD" or elsewhere:
        return ""
    try:
        body = json.loads(answer.content)
    except ValueError:
        return "no JSON"
    if body.get("resourceType") != "OperationOutcome":
        return "no OperationOutcome"
    errors = [one for one in body["issue"] if one["severity"] in ("error", "fatal")]
    return "" if errors else "no error in the OperationOutcome"


def fuzzed(service: Serving, count: int, seed: int) -> tuple[Counter[int], list[tuple[str, Call]]]:
    """Send ``count`` requests; return how often each status came, and every complaint."""
    statuses: Counter[int] = Counter()
    wrong = []
    stream = calls(known(service), seed)
    for _ in range(count):
        call = next(stream)
        headers = {n: v for n, v in call.headers.items() if v.isascii()}
        answer = service.ask(call.method, call.path, headers=headers, content=call.body)
        statuses[answer.status_code] += 1
        if found := complaint(call, answer):
            wrong.append((found, call))
    return statuses, wrong


def main() -> int:
    """Run as a command: number of requests, then the seed."""
    count, seed = (int(one) for one in (*sys.argv[1:], "20000", "1")[:2])
    with tempfile.TemporaryDirectory() as folder, Serving(Path(folder) / "f.sqlite3") as service:
        statuses, wrong = fuzzed(service, count, seed)
    for why, call in wrong[:20]:
        sys.stdout.write(
            f"{why}: {call.method} {call.path[:300]} {call.headers} {call.body[:300]!r}\n"
        )
    sys.stdout.write(f"{count} requests, {len(wrong)} wrong; {dict(sorted(statuses.items()))}\n")
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main())
