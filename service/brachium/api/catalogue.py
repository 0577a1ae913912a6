"""Everything that can be recorded, told from the tables: what a clinic app builds its form from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import orjson

from brachium.coding.jsontext import fragment

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from typing import Protocol, TypeVar

    from brachium.tables.gather import Tables
    from brachium.tables.rows import (
        Grade,
        Limit,
        Method,
        MotionRow,
        SignRow,
        Site,
        StrengthRow,
        Unit,
    )

    class _Ordered(Protocol):
        @property
        def order(self) -> int: ...

    Row = TypeVar("Row", bound=_Ordered)


def catalogue(tables: Tables) -> bytes:
    """Return the catalogue as JSON: joints with their four parts, then the shared vocabularies."""
    found = {
        "edition": tables.edition,
        "digest": tables.digest,
        "joints": [_joint(tables, name) for name in _names(tables.joints)],
        "digits": [_named(row.digit, row.label) for row in _sorted(tables.digits.values())],
        "signs": [_sign(row) for row in _sorted(tables.signs.values())],
        "scales": [_scale(name, grades) for name, grades in sorted(tables.scales.items())],
        "options": _options(tables),
        "methods": [_method(row) for row in _sorted(tables.methods.values())],
        "units": [_unit(row) for row in tables.units.values()],
    }
    return orjson.dumps(found, default=fragment)


def _sorted(rows: Iterable[Row]) -> list[Row]:
    return sorted(rows, key=lambda row: row.order)


def _names(rows: Mapping[str, Row]) -> list[str]:
    return sorted(rows, key=lambda name: rows[name].order)


def _named(word: str, label: str) -> dict[str, Any]:
    return {"word": word, "label": label}


def _joint(tables: Tables, name: str) -> dict[str, Any]:
    joint = tables.joints[name]
    motions = [row for (owner, _), row in tables.motions.items() if owner == name]
    tests = [row for (owner, _), row in tables.strength.items() if owner == name]
    sites = _sorted(row for row in tables.sites.values() if row.joint == name)
    return {
        "joint": name,
        "label": joint.label,
        "region": joint.region,
        "digits": list(joint.digits),
        "motions": [_motion(tables, row) for row in _sorted(motions)],
        "inspection": [_site(row) for row in sites if row.part == "inspection"],
        "palpation": [_site(row) for row in sites if row.part == "palpation"],
        "strength": [_test(tables, row) for row in _sorted(tests)],
        "source": joint.source,
    }


def _motion(tables: Tables, row: MotionRow) -> dict[str, Any]:
    return {
        "motion": row.motion,
        "label": row.label,
        "measure": row.measure,
        "scale": row.scale or None,
        "units": list(row.units),
        "modes": list(row.modes),
        "armPositions": list(row.arm_positions),
        "digits": list(row.digits),
        "limits": _limits(tables, row.joint, row.motion),
        "source": row.source,
    }


def _test(tables: Tables, row: StrengthRow) -> dict[str, Any]:
    return {
        "test": row.test,
        "label": row.label,
        "measure": row.measure,
        "scale": row.scale or None,
        "units": list(row.units),
        "digits": list(row.digits),
        "limits": _limits(tables, row.joint, row.test),
        "source": row.source,
    }


def _limits(tables: Tables, joint: str, item: str) -> list[dict[str, Any]]:
    return [_limit(row) for row in tables.limits.get((joint, item), ())]


def _limit(row: Limit) -> dict[str, Any]:
    return {
        "direction": row.direction or None,
        "armPosition": row.arm_position or None,
        "digit": row.digit or None,
        "sex": row.sex or None,
        "ageFrom": row.age_from,
        "ageBelow": row.age_below,
        "warnAbove": row.warn_above,
        "refuseAbove": row.refuse_above,
        "unit": row.unit,
        "source": row.source,
        "evidence": row.evidence,
    }


def _site(row: Site) -> dict[str, Any]:
    return {
        "site": row.site,
        "label": row.label,
        "digits": list(row.digits),
        "signs": list(row.signs),
        "source": row.source,
    }


def _sign(row: SignRow) -> dict[str, Any]:
    return {
        "part": row.part,
        "sign": row.sign,
        "label": row.label,
        "rated": row.rated,
        "paired": row.paired,
        "source": row.source,
    }


def _scale(name: str, grades: Mapping[str, Grade]) -> dict[str, Any]:
    rows = _sorted(grades.values())
    return {
        "scale": name,
        "grades": [
            {
                "grade": row.grade,
                "label": row.label,
                "step": row.step,
                "normal": row.normal,
                "source": row.source,
            }
            for row in rows
        ],
    }


def _options(tables: Tables) -> dict[str, list[dict[str, Any]]]:
    kinds: dict[str, list[dict[str, Any]]] = {}
    for row in _sorted(tables.options.values()):
        kinds.setdefault(row.kind, []).append(_named(row.option, row.label))
    return kinds


def _method(row: Method) -> dict[str, Any]:
    return {
        "method": row.method,
        "label": row.label,
        "kinds": list(row.kinds),
        "measures": list(row.measures),
        "default": row.default,
        "source": row.source,
    }


def _unit(row: Unit) -> dict[str, Any]:
    return {
        "unit": row.unit,
        "ucum": row.ucum,
        "label": row.label,
        "dimension": row.dimension,
        "entered": row.entered,
        "source": row.source,
    }
