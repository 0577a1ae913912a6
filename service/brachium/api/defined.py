"""Who makes definitions: one line for each maker."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from brachium.api import device, operation_definitions, search_definitions, terminology
from brachium.api.definitions import Definitions, Maker, Material
from brachium.coding.questionnaire import questionnaire
from brachium.profiles.artifacts import artifacts

if TYPE_CHECKING:
    from brachium.api.groups import Groups


def _questionnaires(material: Material) -> Iterator[Mapping[str, Any]]:
    yield questionnaire(material.tables, material.canonical, material.model)


def _artifacts(material: Material) -> Iterator[Mapping[str, Any]]:
    return artifacts(material.tables, material.canonical, material.version)


MAKERS: tuple[Maker, ...] = (
    _questionnaires,
    terminology.resources,
    device.resources,
    search_definitions.resources,
    operation_definitions.resources,
    _artifacts,
)


def definitions(material: Material, groups: Groups | None = None) -> Definitions:
    """Make every definition; ``groups`` are looked up when they are asked for."""
    return Definitions((body for maker in MAKERS for body in maker(material)), groups)
