"""Every official example of our types to the judge, the biggest too: takes a minute.

``python -m tests.profiles.everything`` prints what was found by code, and the slowest ones.
"""

from __future__ import annotations

import time
from collections import Counter

from tests.profiles.judged import R4, judged
from tests.profiles.official import folder

from brachium.formats.incoming import parse


def main() -> None:
    """Judge and print."""
    said: Counter[str] = Counter()
    took = []
    for path in sorted(folder().glob("*.json")):
        resource = parse(path.read_bytes())
        for profile in ("", f"{R4}/{path.name.partition('-')[0]}"):
            begin = time.perf_counter()
            said.update({f"{one.severity.value} {one.code}" for one in judged(resource, profile)})
            took.append((time.perf_counter() - begin, path.name))
    for code, number in said.most_common():
        print(f"{number:5} {code}")
    for seconds, name in sorted(took, reverse=True)[:5]:
        print(f"{seconds:6.2f} s {name}")


if __name__ == "__main__":
    main()
