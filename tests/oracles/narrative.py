"""The XHTML that FHIR allows in a narrative (R4 narrative 2.4.0, rules txt-1 and txt-2)."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

_XHTML = "{http://www.w3.org/1999/xhtml}"
_ELEMENT_NAMES = """
div a abbr acronym address b bdo big blockquote br caption cite code col colgroup dd del dfn dl dt
em h1 h2 h3 h4 h5 h6 hr i img ins kbd li ol p pre q samp small span strong sub sup table tbody td
tfoot th thead tr tt ul var
"""
_ATTRIBUTE_NAMES = """
abbr accesskey align alt axis border cellpadding cellspacing char charoff charset cite class
colspan compact coords dir frame headers height href hreflang hspace id lang longdesc name nowrap
rel rev rowspan rules scope shape span src start style summary tabindex title type valign value
vspace width
"""
_ELEMENTS = frozenset(_ELEMENT_NAMES.split())
_ATTRIBUTES = frozenset(_ATTRIBUTE_NAMES.split())
_SCHEMES = re.compile(r"^(https?:|mailto:|#|urn:|data:image/|[A-Za-z]+/|[^:]*$)", re.IGNORECASE)


def html_faults(text: str) -> list[str]:
    """Return what is wrong with the text of a ``div``; an empty list means nothing is."""
    if "<!" in text or "<?" in text:
        return ["markup declarations and processing instructions are not allowed"]
    try:
        root = ET.fromstring(text)  # noqa: S314 - declarations, hence entities, are refused above
    except ET.ParseError as error:
        return [f"not well-formed XML: {error}"]
    faults = [] if root.tag == f"{_XHTML}div" else ["the root must be a div of the XHTML namespace"]
    for element in root.iter():
        faults += _element_faults(element)
    if not "".join(root.itertext()).strip() and root.find(f".//{_XHTML}img") is None:
        faults.append("no content (txt-2)")
    return faults


def _element_faults(element: ET.Element) -> list[str]:
    name = element.tag.removeprefix(_XHTML)
    faults = [] if name in _ELEMENTS else [f"element {name} is not allowed (txt-1)"]
    for attribute, value in element.attrib.items():
        if attribute not in _ATTRIBUTES and not attribute.endswith("}lang"):
            faults.append(f"attribute {attribute} is not allowed (txt-1)")
        elif attribute in {"href", "src"} and not _SCHEMES.match(value.strip()):
            faults.append(f"attribute {attribute} points to a forbidden scheme (txt-1)")
    return faults
