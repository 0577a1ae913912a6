"""The report in words: a conclusion, and a narrative that is clinically safe alone (OBS-18).

The narrative is XHTML within the limits of FHIR R4 narrative 2.4.0: block elements and lists only,
every text escaped.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from brachium.coding.derived import Compared
from brachium.coding.frame import Frame
from brachium.coding.observation import Said
from brachium.coding.templates import Template
from brachium.exam.findings import Finding, Motion, Strength

_OUTSIDE = {
    "L": "below the reference used",
    "H": "above the reference used",
    "A": "abnormal",
}
_FIELD = "\x1f"  # cannot occur in a note (see the shape of notes)
# characters that notes may hold and XML 1.0 may not
_NOT_XML = str.maketrans({"\ufffe": "\ufffd", "\uffff": "\ufffd"})


def line(said: Said) -> str:
    """Return one finding in words, its note included."""
    finding = said.leaf.finding
    text = f"{said.template.text}: {said.words}"
    if said.interpretation in _OUTSIDE:
        text += f", {_OUTSIDE[said.interpretation]}"
    if isinstance(finding, Motion | Strength) and finding.limited_by:
        text += f"; limited by {', '.join(finding.limited_by).replace('-', ' ')}"
    return text if finding.note is None else f"{text}. Note: {finding.note}"


def conclusion(
    said: Sequence[Said], compared: Sequence[Compared], skipped: Sequence[str], frame: Frame
) -> str:
    """Return what stands out, in plain sentences; no diagnosis."""
    if frame.stamp.report_status == "entered-in-error":
        return f"This examination was withdrawn and must not be used. Reason: {frame.stamp.reason}"
    absent = [s for s in said if s.leaf.finding.absent is not None]
    out = [s for s in said if s.interpretation in _OUTSIDE]
    overall = [s for s in said if s.leaf.finding.kind == "part" and s not in absent]
    sentences = [f"Examination of the arms with {len(said)} findings."]
    sentences += [f"{s.template.text}: {s.words}, {_OUTSIDE[s.interpretation or '']}." for s in out]
    sentences += [f"{c.text}." for c in compared if c.flagged]
    if not out and not any(c.flagged for c in compared):
        sentences.append(
            "Nothing stands out against the references used; a finding without a reference was "
            "not judged."
        )
    sentences += [f"{s.template.text}: {s.words}." for s in (*overall, *absent)]
    sentences += [f"{text}." for text in skipped]
    return " ".join(sentences)


def narrative(
    said: Sequence[Said], compared: Sequence[Compared], skipped: Sequence[str], frame: Frame
) -> str:
    """Return the div of the report: every finding by joint, then what was not examined."""
    stamp = frame.stamp
    blocks = ["<p>Examination of the arms</p>"]
    if stamp.report_status == "entered-in-error":
        blocks.append(f"<p>Withdrawn, must not be used. Reason: {_plain(stamp.reason)}</p>")
    elif stamp.reason:
        blocks.append(f"<p>Changed ({stamp.report_status}). Reason: {_plain(stamp.reason)}</p>")
    groups: dict[str, list[str]] = {}
    for one in said:
        groups.setdefault(one.leaf.finding.joint, []).append(line(one))
    for other in compared:
        groups.setdefault(other.joint, []).append(other.text)
    blocks.extend(_listed(lines) for lines in groups.values())
    if skipped:
        blocks.append(_listed(skipped))
    if frame.exam.note is not None:
        blocks.append(f"<p>Note: {_plain(frame.exam.note)}</p>")
    return f'<div xmlns="http://www.w3.org/1999/xhtml">{"".join(blocks)}</div>'


def not_examined(finding: Finding, template: Template) -> str:
    """Return an entry that has no Observation in words: "Right elbow ...: not examined"."""
    note = "" if finding.note is None else f". Note: {finding.note}"
    return f"{template.text}: {template.absence}{note}"


def _plain(text: str) -> str:
    return escape(text.translate(_NOT_XML))


def _listed(lines: Sequence[str]) -> str:
    # one call for the whole list: escaping every line by itself costs more than writing it
    items = _plain(_FIELD.join(lines)).replace(_FIELD, "</li><li>")
    return f"<ul><li>{items}</li></ul>"
