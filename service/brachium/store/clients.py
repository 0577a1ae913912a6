"""The book of clients in the SQLite file; several processes may share it."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from brachium.records import AuditEntry, Client
from brachium.store.book import LiveToken, NewToken, Spent

if TYPE_CHECKING:
    from brachium.store.chain import Chain
    from brachium.store.commits import SharedCommits
    from brachium.store.connections import Readers

TABLES = """
CREATE TABLE client (
  id TEXT PRIMARY KEY,
  name TEXT NOT NULL,
  role TEXT NOT NULL,
  scopes TEXT NOT NULL,
  organization TEXT NOT NULL,
  keys BLOB NOT NULL,
  keys_at TEXT NOT NULL,
  added TEXT NOT NULL,
  revoked TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE spent_assertion (
  client TEXT NOT NULL REFERENCES client,
  jti TEXT NOT NULL,
  until INTEGER NOT NULL,
  PRIMARY KEY (client, jti)
) STRICT, WITHOUT ROWID;
CREATE INDEX spent_assertion_until ON spent_assertion (until);

CREATE TABLE access_token (
  digest BLOB PRIMARY KEY,
  client TEXT NOT NULL REFERENCES client,
  name TEXT NOT NULL,
  scopes TEXT NOT NULL,
  expires INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX access_token_expires ON access_token (expires);
"""

# seconds for which an expired token is still told from an unknown one
_REMEMBERED = 86_400
_COLUMNS = "id, name, role, scopes, organization, keys, keys_at, added, revoked"


class SqliteClients:
    """Implements :class:`brachium.store.book.ClientBook`, which says what each method promises."""

    def __init__(self, commits: SharedCommits, readers: Readers, chain: Chain) -> None:
        self._commits = commits
        self._chain = chain
        self._readers = readers
        self._protected = False

    def protected(self) -> bool:
        """Tell whether any client was ever registered, revoked ones too."""
        # clients are never deleted, so what was so once stays so
        if not self._protected:
            with self._readers.lent() as db:
                self._protected = db.execute("SELECT 1 FROM client LIMIT 1").fetchone() is not None
        return self._protected

    def add(self, client: Client) -> bool:
        """Register a client; false when the id is taken, revoked ones included."""
        values = (
            *(client.id, client.name, client.role, client.scopes, client.organization),
            *(client.keys, client.keys_at, client.added, client.revoked),
        )

        def task(db: sqlite3.Connection) -> bool:
            marks = ", ".join("?" * len(values))
            done = db.execute(
                f"INSERT INTO client ({_COLUMNS}) VALUES ({marks}) ON CONFLICT DO NOTHING",  # noqa: S608 - our own words
                values,
            )
            if done.rowcount == 1:
                self._note(db, client.added, client.id, "client added")
            return done.rowcount == 1

        return self._commits.run(task)

    def _note(self, db: sqlite3.Connection, at: str, client_id: str, what: str) -> None:
        entry = AuditEntry(at, "configure", "done", client=client_id, reason=what)
        self._chain.append(db, entry)

    def find(self, client_id: str) -> Client | None:
        """Return a client, revoked or not."""
        with self._readers.lent() as db:
            row = db.execute(
                f"SELECT {_COLUMNS} FROM client WHERE id = ?",  # noqa: S608 - our own words
                (client_id,),
            ).fetchone()
        return Client(*row) if row else None

    def all(self) -> tuple[Client, ...]:
        """Return every client, revoked ones too, in the order of their ids."""
        with self._readers.lent() as db:
            rows = db.execute(f"SELECT {_COLUMNS} FROM client ORDER BY id").fetchall()  # noqa: S608 - our own words
        return tuple(Client(*row) for row in rows)

    def revoke(self, client_id: str, at: str) -> bool:
        """Revoke a client: from now on it gets no token and those it has are dead."""
        return self._change("revoked = ?", (at,), client_id, at, "client revoked")

    def rekey(self, client_id: str, keys: bytes, keys_at: str, at: str) -> bool:
        """Replace the keys of a client that is not revoked; one of the two is empty."""
        values = (keys, keys_at)
        return self._change("keys = ?, keys_at = ?", values, client_id, at, "keys replaced")

    def _change(
        self, members: str, values: tuple[object, ...], client_id: str, at: str, what: str
    ) -> bool:
        text = f"UPDATE client SET {members} WHERE id = ? AND revoked = ''"  # noqa: S608 - our own words

        def task(db: sqlite3.Connection) -> bool:
            changed = db.execute(text, (*values, client_id)).rowcount == 1
            if changed:
                self._note(db, at, client_id, what)
            return changed

        return self._commits.run(task)

    def spend(self, spent: Spent, now: int, token: NewToken | None) -> bool:
        """Use an assertion and keep the token given for it, in one transaction."""

        def task(db: sqlite3.Connection) -> bool:
            return _spend(db, spent, now, token)

        return self._commits.run(task)

    def token(self, digest: bytes) -> LiveToken | None:
        """Return the token with this digest, unless it is unknown or its client revoked."""
        with self._readers.lent() as db:
            row = db.execute(
                "SELECT client.id, role, organization, token.name, token.scopes, expires "
                "FROM access_token AS token JOIN client ON client.id = token.client "
                "WHERE digest = ? AND revoked = ''",
                (digest,),
            ).fetchone()
        return LiveToken(*row) if row else None


def _spend(db: sqlite3.Connection, spent: Spent, now: int, token: NewToken | None) -> bool:
    db.execute("DELETE FROM spent_assertion WHERE until < ?", (now,))
    db.execute("DELETE FROM access_token WHERE expires < ?", (now - _REMEMBERED,))
    fresh = db.execute(
        "INSERT INTO spent_assertion (client, jti, until) "
        "SELECT id, ?, ? FROM client WHERE id = ? AND revoked = '' ON CONFLICT DO NOTHING",
        (spent.jti, spent.until, spent.client),
    )
    if fresh.rowcount != 1:
        return False
    if token is not None:
        db.execute(
            "INSERT INTO access_token (digest, client, name, scopes, expires) "
            "VALUES (?, ?, ?, ?, ?)",
            (token.digest, spent.client, token.name, token.scopes, token.expires),
        )
    return True
