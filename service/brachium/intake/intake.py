"""The way in, as one object."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.intake import change, receive, transaction

if TYPE_CHECKING:
    from brachium.intake.desk import Desk
    from brachium.intake.receipt import Receipt
    from brachium.intake.transaction import Transacted


class Intake:
    """Everything that can be done with an exam; every method answers with a receipt.

    ``raw`` is the exam as JSON in UTF-8, ``expected`` the version that the sender has seen,
    ``request`` what the audit calls the request. Only the store can raise; a bad exam is a result.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def receive(self, raw: bytes, request: str = "") -> Receipt:
        """Take a new exam in."""
        return receive.receive(self.desk.serving(request), raw)

    def dry_run(self, raw: bytes) -> Receipt:
        """Say what would become of an exam; nothing is stored."""
        return receive.dry_run(self.desk, raw)

    def correct(
        self, exam_id: str, raw: bytes, reason: str, expected: int | None, request: str = ""
    ) -> Receipt:
        """Replace the content of a stored exam by a new version."""
        return change.correct(self.desk.serving(request), exam_id, raw, reason, expected)

    def close(self, exam_id: str, expected: int | None, request: str = "") -> Receipt:
        """Make a draft final."""
        return change.close(self.desk.serving(request), exam_id, expected)

    def withdraw(
        self, exam_id: str, reason: str, expected: int | None, request: str = ""
    ) -> Receipt:
        """Enter a whole exam in error."""
        return change.withdraw(self.desk.serving(request), exam_id, reason, expected)

    def transact(self, bundle: dict[str, Any], base: str, request: str = "") -> Transacted:
        """Process a FHIR transaction, parsed with fractions as ``Decimal``.

        ``base`` is the public address of the FHIR interface.
        """
        return transaction.transact(self.desk.serving(request), bundle, base)
