#!/usr/bin/env python3
"""Fail when the suite skipped a test for a reason that the allow-list does not hold.

usage: skips.py JUNIT_XML ALLOW_LIST. Each line of the list is a regular expression that must match
the whole "test: reason" of a skip; empty lines and lines that start with # do not count.
"""

import re
import sys
import xml.etree.ElementTree as ET
from pathlib import Path


def main(report: str, allow_list: str) -> int:
    """Print what was skipped without leave; return 1 when there is any."""
    lines = Path(allow_list).read_text(encoding="utf-8").splitlines()
    allowed = [re.compile(line) for line in lines if line.strip() and not line.startswith("#")]
    cases = ET.parse(report).iter("testcase")
    skips = [
        f"{case.get('classname')}.{case.get('name')}: {skip.get('message')}"
        for case in cases
        for skip in case.findall("skipped")
    ]
    bad = [skip for skip in skips if not any(pattern.fullmatch(skip) for pattern in allowed)]
    for skip in bad:
        print(f"skipped without leave: {skip}", file=sys.stderr)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
