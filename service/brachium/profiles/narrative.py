"""Which XHTML a narrative may hold (FHIR R4 narrative 2.4.0; rules txt-1 and txt-2)."""

from __future__ import annotations

import re
from html import unescape
from xml.etree import ElementTree as ET

_XHTML = "{http://www.w3.org/1999/xhtml}"
_PHRASES = "a abbr acronym b bdo big br cite code dfn em i img kbd q samp small span strong sub sup"
_BLOCKS = "address blockquote del div hr ins p pre tt var h1 h2 h3 h4 h5 h6 dl dt dd ol ul li"
_TABLES = "caption col colgroup table tbody td tfoot th thead tr"
_ELEMENTS = frozenset(f"{_PHRASES} {_BLOCKS} {_TABLES}".split())
_LINKS = "accesskey charset coords href hreflang name rel rev shape tabindex type"
_IMAGES = "alt height hspace longdesc src vspace width"
_CELLS = "abbr axis char charoff colspan headers nowrap rowspan scope span valign"
_FRAMES = "align border cellpadding cellspacing frame rules summary"
_ALWAYS = "cite class compact dir id lang start style title value"
_ATTRIBUTES = frozenset(f"{_LINKS} {_IMAGES} {_CELLS} {_FRAMES} {_ALWAYS}".split())
# a scheme that is known to be harmless, or none: no colon before the first slash
_HARMLESS = re.compile(r"https?:|mailto:|#|urn:|data:image/|[^:/]*/|[^:]*\Z", re.IGNORECASE)
_ENTITY = re.compile(r"&(?!amp;|lt;|gt;|quot;|apos;|#)([A-Za-z0-9]{1,32};)")


def is_allowed(text: object) -> bool:
    """Tell whether the text of a ``div`` is what R4 allows, and says something."""
    if not isinstance(text, str) or "<!" in text or "<?" in text:
        return False
    try:
        # declarations, hence entities of its own, are refused above
        root = ET.fromstring(_ENTITY.sub(lambda one: unescape(one[0]), text))  # noqa: S314
    except ET.ParseError:
        return False
    if root.tag != f"{_XHTML}div" or not all(_is_element_allowed(one) for one in root.iter()):
        return False
    return bool("".join(root.itertext()).strip()) or root.find(f".//{_XHTML}img") is not None


def _is_element_allowed(element: ET.Element) -> bool:
    if element.tag.removeprefix(_XHTML) not in _ELEMENTS:
        return False
    return all(_is_attribute_allowed(name, value) for name, value in element.attrib.items())


def _is_attribute_allowed(name: str, value: str) -> bool:
    if name in ("href", "src"):
        return _HARMLESS.match(value.strip()) is not None
    return name in _ATTRIBUTES or name.endswith("}lang")
