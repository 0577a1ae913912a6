"""``brachium explain``: the whole chain behind one finding, to read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.cli.offline import effective, read
from brachium.cli.shown import FAULTY, OK, USAGE, complain, lines, show
from brachium.formats.lossless import parse, write
from brachium.intake.receive import dry_run
from brachium.wiring import tools

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable, Iterator

    from brachium.settings import Settings

Json = dict[str, Any]


def run(asked: argparse.Namespace, settings: Settings) -> int:
    """Explain one finding of an exam that would be accepted."""
    raw = read(asked.file, settings.max_body)
    if raw is None:
        return USAGE
    made = tools(settings, lambda: effective(raw))
    receipt = dry_run(made.bench, raw)
    if receipt.exam is None:
        for line in lines(receipt.problems):
            complain(line)
        return FAULTY
    chain = made.framer.explained(receipt.exam, receipt.resources, asked.key)
    if chain is None:
        complain("the exam has no finding with this key")
        return USAGE
    for line in told(parse(chain)):
        show(line)
    return OK


def told(chain: Json) -> Iterator[str]:
    """Yield an explanation line by line."""
    yield f"Posted: {write(chain['posted']).decode()}"
    yield from _listed("Rules that looked at it", map(_rule, chain["rules"]))
    yield from _listed("Problems", (one["message"] for one in chain["problems"]))
    if "caution" in chain:
        yield chain["caution"]
    for side in chain["sides"]:
        yield ""
        yield f"{side['key']} ({side['side']})"
        yield from _side(side)


def _rule(rule: Json) -> str:
    return f"{rule['code']}: {rule['title']} [{rule['source']}]"


def _side(side: Json) -> Iterator[str]:
    yield f"  Judgement: {_judged(side['judgement']) if side['judgement'] else 'none'}"
    fits = [one for one in side["published"] if one["fits"]]
    rest = [one for one in side["published"] if not one["fits"]]
    yield from _listed("  Published values that fit", map(_published, fits))
    yield from _listed("  Published values that do not fit", map(_published, rest))
    if side["measurementError"]:
        error = side["measurementError"]
        yield (
            f"  Measurement error of the reference: {error['value']} {error['unit']}, "
            f"{error['situation']} ({error['source']}, evidence: {error['evidence']})"
        )
    yield from _listed("  Measurement errors at hand", map(_error, side["measurementErrors"]))
    yield from _listed("  Went into", map(_judged, side["usedIn"]))
    yield from _listed("  Codes", map(_code, side["codes"]))


def _error(one: Json) -> str:
    value = "decides nothing" if one["value"] is None else f"{one['value']} {one['unit']}"
    printed = f"; printed {one['statistic']} {one['printed']}" if one["printed"] else ""
    note = f"; {one['note']}" if one["note"] else ""
    by = " and ".join(one["methods"]) or "any method"
    return f"{value}: {by}, {one['situation']} ({one['source']}, {one['evidence']}{printed}{note})"


def _listed(title: str, some: Iterable[str]) -> Iterator[str]:
    found = list(some)
    yield f"{title}: {'' if found else 'none'}".rstrip()
    indent = " " * (len(title) - len(title.lstrip()) + 2)
    yield from (f"{indent}- {one}" for one in found)


def _judged(entry: Json) -> str:
    said = entry.get("interpretation")
    code = f" ({said})" if said else ""
    basis = f"rule {entry['rule']}/{entry['ruleVersion']}; evidence: {entry['evidence']}"
    where = f"; sources: {', '.join(entry['sources'])}" if entry["sources"] else ""
    text = f"; {entry['reference']}" if "reference" in entry else ""
    return f"{entry['sentence']}{code} [{basis}{where}]{text}"


def _published(row: Json) -> str:
    spread = "" if row["sd"] is None else f", SD {row['sd']}"
    count = "" if row["n"] is None else f", n {row['n']}"
    whose = f"{row['mode']}, sex {row['sex']}, ages {row['ageFrom']} to {row['ageTo']}"
    basis = f"{row['source']}, evidence: {row['evidence']}"
    why = f": {'; '.join(row['against'])}" if row["against"] else ""
    return f"{row['statistic']} {row['value']} deg{spread}{count} ({whose}; {basis}){why}"


def _code(row: Json) -> str:
    checked = {"yes": "verified", "no": "not verified"}.get(row["verified"], "unknown here")
    return f"{row['system']}|{row['code']} {row['display']} [{checked}; {row['source']}]"
