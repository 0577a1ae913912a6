"""The child of the crash test: adds exams without end and tells each one that is stored.

Four threads write, so that commits are shared; every fifth exam is corrected at once.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path

from tests.store.exams import following, large, opened, own

THREADS = 4


def tell(exam):
    # one system call, so that lines of several threads never mix
    sys.stdout.write(f"{exam.id} {exam.version} {len(exam.resources)}\n")
    sys.stdout.flush()


def write(store, run, thread):
    for number in range(1_000_000):
        exam = large(f"EX-{run}-{thread}-{number}", 12 + number % 40)
        store.add(exam, None)
        tell(exam)
        if number % 5 == 0:
            changed = own(exam.value, "1", b'{"n":2}', 2)
            second = following(exam, (*exam.resources[:2], changed))
            store.add(second, 1)
            tell(second)


def main():
    store = opened(Path(sys.argv[1]))
    threads = [
        threading.Thread(target=write, args=(store, sys.argv[2], number))
        for number in range(THREADS)
    ]
    for one in threads:
        one.start()


if __name__ == "__main__":
    main()
