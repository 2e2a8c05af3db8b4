"""Who may sign in: people, their invitations and where they are signed in, in ``people.db`` beside the jobs.

Kept apart from the jobs, so that no backup, bundle or export of jobs carries it. Of a passphrase its Argon2 hash is
kept, of an invitation and of a sign-in (both are random) the SHA-256 of what the person holds.
"""

from __future__ import annotations

import hashlib
import secrets
import sqlite3
import threading
import time
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fieldnote.errors import Clash, NotFound, StoreFault, UserMistake
from fieldnote.settings import SignInSettings
from fieldnote.store.faults import plain_faults
from fieldnote.web.roles import ROLES, Person, role_names

FILE_NAME = "people.db"
LONGEST_NAME = 60
_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Crockford's base 32: without I, L, O and U, which are misread (from memory)."""
_MISREAD = str.maketrans("OIL", "011")
_CODE_LENGTH = 12
_SEEN_EVERY_S = 60.0
_SCHEMA = """
CREATE TABLE person (
  id TEXT PRIMARY KEY, key TEXT NOT NULL UNIQUE, name TEXT NOT NULL, roles TEXT NOT NULL, secret TEXT,
  made_at REAL NOT NULL
);
CREATE TABLE invite (
  hash TEXT PRIMARY KEY, person_id TEXT NOT NULL UNIQUE REFERENCES person (id) ON DELETE CASCADE,
  expires_at REAL NOT NULL
);
CREATE TABLE session (
  hash TEXT PRIMARY KEY, person_id TEXT NOT NULL REFERENCES person (id) ON DELETE CASCADE,
  began_at REAL NOT NULL, seen_at REAL NOT NULL, device TEXT NOT NULL
);
CREATE INDEX session_of_person ON session (person_id);
CREATE TABLE kept (name TEXT PRIMARY KEY, value BLOB NOT NULL);
PRAGMA user_version = 1;
"""


@dataclass(frozen=True, slots=True)
class Session:
    """One sign-in: on which device, when it began, and when it was last used (seconds since 1970)."""

    id: str
    device: str
    began_at: float
    seen_at: float


@dataclass(frozen=True, slots=True)
class Known:
    """A person with what ``fieldnote people list`` shows."""

    person: Person
    joined: bool
    invited_until: float | None
    sessions: tuple[Session, ...]


class People:
    """The people of one data folder. May be used from several threads and processes.

    Every method raises ``StoreFault`` where the file cannot be used.
    """

    def __init__(self, home: Path, settings: SignInSettings, *, clock: Callable[[], float] = time.time) -> None:
        self.path = home / FILE_NAME
        self._settings = settings
        self._clock = clock
        self._turn = threading.RLock()
        self._db: sqlite3.Connection | None = None

    def close(self) -> None:
        """Close the file."""
        with self._turn:
            if self._db is not None:
                self._db.close()
                self._db = None

    # ---- invitations ----------------------------------------------------------------------------------------

    def invite(self, name: str, roles: Iterable[str]) -> str:
        """A one-time code with which a person takes a passphrase. Whoever is known already gets these roles, and the
        code lets them take a new passphrase; an earlier code of theirs is void.

        Raises:
            UserMistake: the name is empty or too long, or there is no such role.

        """  # fmt: skip
        name, named = tidy(name), checked_roles(roles)
        code = "".join(secrets.choice(_ALPHABET) for _ in range(_CODE_LENGTH))
        until = self._clock() + self._settings.invite_hours * 3600
        with self._atomic() as db:
            row = db.execute("SELECT id FROM person WHERE key = ?", [key_of(name)]).fetchone()
            id = row[0] if row else secrets.token_hex(8)
            if row:
                db.execute("UPDATE person SET roles = ?, name = ? WHERE id = ?", [" ".join(named), name, id])
            else:
                db.execute(
                    "INSERT INTO person (id, key, name, roles, made_at) VALUES (?, ?, ?, ?, ?)",
                    [id, key_of(name), name, " ".join(named), self._clock()],
                )
            db.execute("DELETE FROM invite WHERE person_id = ?", [id])
            db.execute("INSERT INTO invite VALUES (?, ?, ?)", [_hash(code), id, until])
        return "-".join(code[n : n + 4] for n in range(0, _CODE_LENGTH, 4))

    def invited(self, code: str) -> Person | None:
        """Whom a code invites; None where it is unknown, used up or too old."""
        with self._reading() as db:
            row = db.execute(
                "SELECT p.id, p.name, p.roles FROM invite i JOIN person p ON p.id = i.person_id"
                " WHERE i.hash = ? AND i.expires_at > ?",
                [_hash(bare(code)), self._clock()],
            ).fetchone()
        return _person(row) if row else None

    def join(self, code: str, secret: str) -> Person:
        """Use a code up: from now on the person signs in with the passphrase of which ``secret`` is kept. Wherever they
        were signed in before, they are signed out.

        Raises:
            NotFound: the code is unknown, used up or too old.

        """  # fmt: skip
        with self._atomic() as db:
            person = self.invited(code)
            if person is None:
                raise NotFound("this code does not hold (any more)", where="code", do="Ask for a new one.")
            db.execute("DELETE FROM invite WHERE person_id = ?", [person.id])
            db.execute("UPDATE person SET secret = ? WHERE id = ?", [secret, person.id])
            db.execute("DELETE FROM session WHERE person_id = ?", [person.id])
        return person

    # ---- people ---------------------------------------------------------------------------------------------

    def secret_of(self, name: str) -> tuple[Person | None, str | None]:
        """The person of this name and what is kept of their passphrase."""
        with self._reading() as db:
            row = db.execute("SELECT id, name, roles, secret FROM person WHERE key = ?", [key_of(name)]).fetchone()
        return (_person(row[:3]), row[3]) if row else (None, None)

    def change_secret(self, person: Person, secret: str, *, keep: str) -> None:
        """Keep another passphrase; the person stays signed in only where they did this (``keep``: the token)."""
        with self._atomic() as db:
            db.execute("UPDATE person SET secret = ? WHERE id = ?", [secret, person.id])
            db.execute("DELETE FROM session WHERE person_id = ? AND hash != ?", [person.id, _hash(keep)])

    def all(self) -> list[Known]:
        """Everyone, by name."""
        with self._reading() as db:
            rows = db.execute(
                "SELECT p.id, p.name, p.roles, p.secret IS NOT NULL, i.expires_at FROM person p"
                " LEFT JOIN invite i ON i.person_id = p.id ORDER BY p.key"
            ).fetchall()
            return [Known(_person(row[:3]), bool(row[3]), row[4], self._sessions(db, row[0])) for row in rows]

    def find(self, name: str) -> Person:
        """The person of this name.

        Raises:
            NotFound: nobody has it.

        """
        person, _ = self.secret_of(name)
        if person is None:
            raise NotFound("nobody of this name is known", where=name, do="`fieldnote people list` names everyone.")
        return person

    def remove(self, name: str) -> Person:
        """Let somebody sign in no more; they are signed out at once. What they did stays under their name."""
        with self._atomic() as db:
            person = self.find(name)
            db.execute("DELETE FROM person WHERE id = ?", [person.id])
        return person

    def give_roles(self, name: str, roles: Iterable[str]) -> Person:
        """Give a person these roles and no others; it holds from their next request on."""
        named = checked_roles(roles)
        with self._atomic() as db:
            person = self.find(name)
            db.execute("UPDATE person SET roles = ? WHERE id = ?", [" ".join(named), person.id])
        return self.find(name)

    def rename(self, name: str, new: str) -> Person:
        """Give a person another name. What was kept under the old one stays under it.

        Raises:
            Clash: somebody else has it.

        """
        new = tidy(new)
        with self._atomic() as db:
            person = self.find(name)
            taken, _ = self.secret_of(new)
            if taken is not None and taken.id != person.id:
                raise Clash("somebody has this name already", where=new, do="Take another.")
            db.execute("UPDATE person SET name = ?, key = ? WHERE id = ?", [new, key_of(new), person.id])
        return self.find(new)

    # ---- being signed in ------------------------------------------------------------------------------------

    def begin(self, person: Person, device: str) -> str:
        """Sign a person in on a device: the token that its browser holds."""
        token, now = secrets.token_urlsafe(32), self._clock()
        with self._atomic() as db:
            self._drop_old(db)
            db.execute("INSERT INTO session VALUES (?, ?, ?, ?, ?)", [_hash(token), person.id, now, now, device[:60]])
        return token

    def signed_in(self, token: str) -> Person | None:
        """Who holds a token; None where it ended, by sign-out, by time, or because it never was."""
        if not token:
            return None
        now = self._clock()
        with self._reading() as db:
            row = db.execute(
                "SELECT p.id, p.name, p.roles, s.began_at, s.seen_at FROM session s JOIN person p ON p.id = s.person_id"
                " WHERE s.hash = ?",
                [_hash(token)],
            ).fetchone()
        if row is None or row[3] <= self._oldest(now) or row[4] <= self._last_used(now):
            return None
        if now - row[4] > _SEEN_EVERY_S:
            with self._atomic() as db:
                db.execute("UPDATE session SET seen_at = ? WHERE hash = ?", [now, _hash(token)])
        return _person(row[:3])

    def sessions(self, person: Person) -> tuple[Session, ...]:
        """Where a person is signed in, the latest first."""
        with self._reading() as db:
            return self._sessions(db, person.id)

    def end(self, token: str) -> None:
        """Sign out where this token is held."""
        with self._atomic() as db:
            db.execute("DELETE FROM session WHERE hash = ?", [_hash(token)])

    def end_all(self, person: Person, *, but: str = "") -> int:
        """Sign a person out everywhere, except where the token ``but`` is held: in how many places."""
        with self._atomic() as db:
            done = db.execute("DELETE FROM session WHERE person_id = ? AND hash != ?", [person.id, _hash(but)])
            return done.rowcount

    def id_of(self, token: str) -> str:
        """The id of the session that a token belongs to."""
        return _hash(token)

    def _sessions(self, db: sqlite3.Connection, person_id: str) -> tuple[Session, ...]:
        now = self._clock()
        rows = db.execute(
            "SELECT hash, device, began_at, seen_at FROM session"
            " WHERE person_id = ? AND began_at > ? AND seen_at > ? ORDER BY seen_at DESC",
            [person_id, self._oldest(now), self._last_used(now)],
        ).fetchall()
        return tuple(Session(*row) for row in rows)

    def _drop_old(self, db: sqlite3.Connection) -> None:
        now = self._clock()
        db.execute("DELETE FROM session WHERE began_at <= ? OR seen_at <= ?", [self._oldest(now), self._last_used(now)])

    def _oldest(self, now: float) -> float:
        return now - self._settings.longest_days * 86_400

    def _last_used(self, now: float) -> float:
        return now - self._settings.idle_hours * 3600

    # ---- what the server keeps ------------------------------------------------------------------------------

    def secret(self) -> bytes:
        """32 random bytes, made once: with them the server marks its forms, and knows them again after a restart."""
        with self._atomic() as db:
            db.execute("INSERT OR IGNORE INTO kept VALUES ('secret', ?)", [secrets.token_bytes(32)])
            return bytes(db.execute("SELECT value FROM kept WHERE name = 'secret'").fetchone()[0])

    @property
    def address(self) -> str:
        """Where the pages were last served (``https://shop-pc.local:8460``); "" where they never were."""
        with self._reading() as db:
            row = db.execute("SELECT value FROM kept WHERE name = 'address'").fetchone()
        return str(row[0]) if row else ""

    @address.setter
    def address(self, url: str) -> None:
        with self._atomic() as db:
            db.execute("INSERT OR REPLACE INTO kept VALUES ('address', ?)", [url])

    # ---- the file -------------------------------------------------------------------------------------------

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._turn, plain_faults(self.path):
            yield self._opened()

    @contextmanager
    def _atomic(self) -> Iterator[sqlite3.Connection]:
        with self._turn, plain_faults(self.path):
            db = self._opened()
            if db.in_transaction:
                yield db
                return
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
            except BaseException:
                db.execute("ROLLBACK")
                raise
            db.execute("COMMIT")

    def _opened(self) -> sqlite3.Connection:
        if self._db is None:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            if not self.path.exists():
                self.path.touch(mode=0o600)  # for the owner alone, before anything is in it
            db = sqlite3.connect(self.path, isolation_level=None, check_same_thread=False, timeout=10)
            try:
                db.execute("PRAGMA foreign_keys = ON")
                db.execute("PRAGMA synchronous = FULL")
                db.execute("BEGIN IMMEDIATE")
                version = db.execute("PRAGMA user_version").fetchone()[0]
                if version == 0:
                    for statement in _SCHEMA.split(";"):
                        db.execute(statement)
                db.execute("COMMIT")
                if version > 1:
                    raise StoreFault(
                        "a newer fieldnote wrote who may sign in", where=str(self.path), do="Install that version."
                    )
            except BaseException:
                db.close()
                raise
            self._db = db
        return self._db


def bare(code: str) -> str:
    """A code as it was made, however it was typed: small letters, spaces, O for 0, I and L for 1."""
    return "".join(c for c in code.upper() if c.isascii() and c.isalnum()).translate(_MISREAD)


def tidy(name: str) -> str:
    """A name without spaces around it.

    Raises:
        UserMistake: nothing is left, or it is too long.

    """
    tidied = " ".join(unicodedata.normalize("NFC", name).split())
    if not tidied or len(tidied) > LONGEST_NAME or not tidied.isprintable():
        raise UserMistake(
            "this cannot be a person's name",
            where=tidied[:LONGEST_NAME] or "name",
            do=f"Take 1 to {LONGEST_NAME} characters.",
        )
    return tidied


def key_of(name: str) -> str:
    """What makes two spellings one name: case and width do not count."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def checked_roles(roles: Iterable[str]) -> list[str]:
    """Roles in their order.

    Raises:
        UserMistake: none is given, or there is no such role.

    """
    given = set(roles)
    for role in sorted(given - set(ROLES)):
        raise UserMistake(f"no role {role!r}", where="role", do=f"Roles are: {', '.join(ROLES)}.")
    if not given:
        raise UserMistake("no role is given", where="role", do=f"Roles are: {', '.join(ROLES)}.")
    return role_names(given)


def _person(row: Iterable[str]) -> Person:
    id, name, roles = row
    return Person(id, name, frozenset(roles.split()))


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


__all__ = ["FILE_NAME", "LONGEST_NAME", "Known", "People", "Session", "bare", "key_of", "tidy"]
