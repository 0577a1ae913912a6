"""What code.text and bodySite.text say: every text names the side in words (OBS-05, OBS-06)."""

from __future__ import annotations

from decimal import Decimal

from brachium.coding.jsontext import number
from brachium.tables.concepts import in_text
from brachium.tables.load import Tables
from brachium.tables.rows import MotionRow, SignRow, StrengthRow

SIDES = {"left": "left", "right": "right", "both": "right and left"}
_REASONS = {
    "not-tested": "not tested",
    "declined": "declined",
    "not-applicable": "not applicable",
    "not-examined": "not examined",
}
_ENDS = {
    "short-of-straight": "degrees short of straight",
    "beyond-straight": "degrees beyond straight",
}


def capital(text: str) -> str:
    """Return ``text`` with a capital first letter."""
    return text[:1].upper() + text[1:]


def place(tables: Tables, joint: str, part: str, site: str, digit: str) -> str:
    """Return a body site without its side: "middle finger PIP joint", "clavicle"."""
    finger = in_text(tables.digits[digit].label) if digit else ""
    if site:
        row = tables.sites[joint, part, site]
        own = "" if finger and is_whole_digit(row.structure) else in_text(row.label)
        return " ".join(word for word in (finger, own) if word)
    named = tables.joints[joint]
    if not finger:
        return in_text(named.label)
    return f"{finger} {in_text(named.label)}" if named.digits else finger


def is_whole_digit(structure: str) -> bool:
    """Tell whether a site is the digit itself: its row then names no structure of its own."""
    return not structure


def motion(tables: Tables, row: MotionRow, mode: str, digit: str, arm: str, side: str) -> str:
    """Return the text of a motion, without its result."""
    where = place(tables, row.joint, "", "", digit)
    if row.measure == "end":
        text = f"{side} {where}, end of {mode} {row.phrase}"
    else:
        named = f"{where} {row.phrase}" if digit else in_text(row.label)
        text = f"{side} {named}, {mode}" + (" range of motion" if row.measure == "angle" else "")
    if arm:
        text += f", {in_text(tables.options['arm-position', arm].label)}"
    return capital(text)


def strength(tables: Tables, row: StrengthRow, digit: str, side: str) -> str:
    """Return the text of a strength test, without its result."""
    where = place(tables, row.joint, "", "", digit)
    named = f"{where} {row.phrase}" if digit else in_text(row.label)
    scale = f", {row.scale.split('-')[0].upper()} scale" if row.scale else ""
    return capital(f"{side} {named} strength{scale}")


def sign(row: SignRow, where: str) -> str:
    """Return the text of a sign at a place that already names its side."""
    return capital(row.phrase.replace("{site}", where))


def end(name: str, magnitude: Decimal) -> str:
    """Return an end of extension in words: "20 degrees short of straight"."""
    return f"{number(magnitude)} {_ENDS[name]}" if magnitude and name in _ENDS else "straight"


def absence(reason: str, because: str, tables: Tables) -> str:
    """Return why there is no result: "not tested (pain)"; nothing for an empty reason."""
    if not reason:
        return ""
    text = _REASONS[reason]
    return f"{text} ({in_text(tables.options['limiter', because].label)})" if because else text


def best_of(count: int) -> str:
    """Return how the value of several trials was chosen."""
    return "one trial" if count == 1 else f"best of {count} trials"
