"""Which tables exist, where their files lie, and how each is keyed and sorted."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import brachium
from brachium.tables import (
    change_rows,
    computation_rows,
    protocol_rows,
    ratio_rows,
    rows,
    strength_rows,
)


@dataclass(frozen=True, slots=True)
class Table:
    """One table: ``path`` below the directory, ``key`` its unique columns, ``sort`` its order."""

    name: str
    path: str
    row: type
    key: tuple[str, ...]
    sort: tuple[str, ...]


def _table(path: str, row: type, key: str, sort: str = "") -> Table:
    name = Path(path).stem
    return Table(name, path, row, tuple(key.split()), tuple((sort or key).split()))


TABLES = (
    _table("sources.csv", rows.Source, "key"),
    _table("model/joints.csv", rows.Joint, "joint", "order"),
    _table("model/digits.csv", rows.Digit, "digit", "order"),
    _table("model/motions.csv", rows.MotionRow, "joint motion", "joint order"),
    _table(
        "model/limits.csv",
        rows.Limit,
        "joint item direction arm_position digit sex age_from",
    ),
    _table("model/sites.csv", rows.Site, "joint part site", "joint part order"),
    _table("model/signs.csv", rows.SignRow, "part sign", "part order"),
    _table("model/strength.csv", rows.StrengthRow, "joint test", "joint order"),
    _table("model/scales.csv", rows.Grade, "scale grade", "scale order"),
    _table("model/options.csv", rows.Option, "kind option", "kind order"),
    _table("model/methods.csv", rows.Method, "method", "order"),
    _table("model/units.csv", rows.Unit, "unit"),
    _table("model/qualifiers.csv", rows.Qualifier, "qualifier"),
    _table("codes/systems.csv", rows.System, "system"),
    _table("codes/codes.csv", rows.Code, "system code"),
    _table("codes/loinc_axes.csv", rows.LoincAxes, "loinc"),
    _table("codes/maps.csv", rows.Map, "concept side system code"),
    _table("codes/structures.csv", rows.Structure, "structure"),
    _table(
        "reference/ranges.csv",
        rows.Range,
        "joint motion arm_position statistic mode sex age_from age_to source evidence",
    ),
    _table(
        "reference/errors.csv",
        rows.MeasurementError,
        "joint motion mode methods situation source",
    ),
    _table(
        "reference/changes.csv", change_rows.Detectable, "measure item sex age_from trials source"
    ),
    _table("reference/computations.csv", computation_rows.Computation, "computation"),
    _table("reference/axes.csv", computation_rows.Axis, "joint first"),
    _table("reference/windows.csv", computation_rows.Window, "window"),
    _table("reference/chains.csv", computation_rows.Chain, "computation chain"),
    _table("reference/bands.csv", computation_rows.Band, "computation chain scheme rank"),
    _table("reference/reaches.csv", computation_rows.Reach, "computation"),
    _table("reference/ratios.csv", ratio_rows.Ratio, "computation mode"),
    _table(
        "reference/ratio_levels.csv",
        ratio_rows.RatioLevel,
        "computation grade",
        "computation percent",
    ),
    _table("reference/norm_sets.csv", strength_rows.NormSet, "norm_set"),
    _table(
        "reference/force_norms.csv",
        strength_rows.Norm,
        "norm_set joint test sex age_from side",
    ),
    _table(
        "reference/force_percentiles.csv",
        strength_rows.PercentileRow,
        "norm_set joint test sex age_from side",
    ),
    _table(
        "reference/cutoffs.csv",
        strength_rows.Cutoff,
        "computation joint test sex age_from direction unit",
    ),
    _table("reference/dominance.csv", strength_rows.Dominance, "joint test dominant"),
    _table("reference/unfit.csv", strength_rows.Unfit, "kind item"),
    _table("reference/scores.csv", strength_rows.Score, "computation"),
    _table("reference/score_items.csv", strength_rows.ScoreItem, "computation order"),
    _table("reference/score_points.csv", strength_rows.ScorePoint, "computation order rank"),
    _table("reference/suppliers.csv", strength_rows.Supplier, "supplier", "order"),
    _table(
        "reference/innervation.csv",
        strength_rows.Innervation,
        "joint test scheme supplier main",
        "joint test scheme supplier",
    ),
    _table("reference/innervation_notes.csv", strength_rows.InnervationNote, "joint test"),
    _table(
        "reference/protocols.csv", protocol_rows.Protocol, "protocol joint part", "protocol order"
    ),
    _table("reference/prompts.csv", protocol_rows.PromptRow, "prompt", "order"),
    _table(
        "reference/triggers.csv",
        protocol_rows.Trigger,
        "prompt group kind joints items sites mode",
        "prompt group kind items",
    ),
)


def default_directory() -> Path:
    """Return the tables inside the installed package, or those of the checkout around it."""
    package = Path(brachium.__file__).resolve().parent
    inside = package / "mappings"
    return inside if inside.is_dir() else package.parents[1] / "mappings"


def edition(directory: Path) -> str:
    """Return the edition that the tables name themselves by (file EDITION), or empty."""
    file = directory / "EDITION"
    return file.read_text(encoding="utf-8").strip() if file.is_file() else ""


def digest(directory: Path, overlay: Path | None) -> str:
    """Return the SHA-256, in hex, over every table file of both directories."""
    total = hashlib.sha256()
    for root in (directory, overlay):
        for table in TABLES if root else ():
            file = root / table.path if root else None
            if file and file.is_file():
                content = file.read_bytes()
                total.update(f"{table.path} {len(content)}\n".encode())
                total.update(content)
    return total.hexdigest()
