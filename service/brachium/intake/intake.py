"""The way in, as one object."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.intake import change, filled, receive, transaction
from brachium.intake.stamping import stamped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brachium.exam.findings import Identifier
    from brachium.intake.desk import Desk
    from brachium.intake.filled import Filled
    from brachium.intake.receipt import Receipt
    from brachium.intake.transaction import Transacted
    from brachium.records import Occasion

Json = dict[str, Any]


class Intake:
    """Everything that can be done with an exam; every method answers with a receipt.

    ``raw`` is the exam as JSON in UTF-8, ``expected`` the version that the sender has seen,
    ``occasion`` who asked, for the audit. Only the store can raise; a bad exam is a result.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def receive(self, raw: bytes, occasion: Occasion | None = None) -> Receipt:
        """Take a new exam in."""
        return stamped(self.desk.serving(occasion), lambda desk: receive.receive(desk, raw))

    def dry_run(self, raw: bytes) -> Receipt:
        """Say what would become of an exam; nothing is stored."""
        return receive.dry_run(self.desk, raw)

    def correct(
        self,
        exam_id: str,
        raw: bytes,
        reason: str,
        expected: int | None,
        occasion: Occasion | None = None,
    ) -> Receipt:
        """Replace the content of a stored exam by a new version."""
        return stamped(
            self.desk.serving(occasion),
            lambda desk: change.correct(desk, exam_id, raw, reason, expected),
        )

    def close(
        self, exam_id: str, expected: int | None, occasion: Occasion | None = None
    ) -> Receipt:
        """Make a draft final."""
        return stamped(
            self.desk.serving(occasion), lambda desk: change.close(desk, exam_id, expected)
        )

    def withdraw(
        self, exam_id: str, reason: str, expected: int | None, occasion: Occasion | None = None
    ) -> Receipt:
        """Enter a whole exam in error."""
        return stamped(
            self.desk.serving(occasion),
            lambda desk: change.withdraw(desk, exam_id, reason, expected),
        )

    def transact(self, bundle: Json, base: str, occasion: Occasion | None = None) -> Transacted:
        """Process a FHIR transaction, parsed with fractions as ``Decimal``.

        ``base`` is the public address of the FHIR interface.
        """
        return stamped(
            self.desk.serving(occasion), lambda desk: transaction.transact(desk, bundle, base)
        )

    def create_form(
        self,
        resource: Json,
        condition: Sequence[Identifier] | None,
        occasion: Occasion | None = None,
    ) -> Filled:
        """Take a filled-in form in as a new exam, unless the condition finds one."""
        return stamped(
            self.desk.serving(occasion), lambda desk: filled.create(desk, resource, condition)
        )

    def update_form(
        self,
        form_id: str,
        resource: Json,
        expected: int | None,
        occasion: Occasion | None = None,
    ) -> Filled:
        """Correct or withdraw the exam of a stored form."""
        return stamped(
            self.desk.serving(occasion),
            lambda desk: filled.update(desk, form_id, resource, expected),
        )

    def put_form(
        self,
        condition: Sequence[Identifier],
        resource: Json,
        expected: int | None,
        occasion: Occasion | None = None,
    ) -> Filled:
        """Update the form that the condition finds, or create it."""
        return stamped(
            self.desk.serving(occasion),
            lambda desk: filled.put(desk, condition, resource, expected),
        )

    def extract(self, resource: Json) -> Receipt:
        """Say what a filled-in form would become; nothing is stored."""
        return filled.extracted(self.desk, resource)
