"""The shape of the database, as named steps that are only ever added to.

A released step is never changed: stores of every earlier version are opened by running the steps that they lack. What
can be made again from the rest (entries, leftovers, the search index) is marked *derived*.
"""

from __future__ import annotations

from pathlib import Path

from fieldnote.errors import StoreFault
from fieldnote.store.database import Database, Migrations
from fieldnote.store.identity import new_id, now

steps = Migrations("fieldnote")


def migrate(db: Database, path: Path) -> bool:
    """Run the steps that the database lacks; gives whether there were any.

    Raises:
        StoreFault: the database holds something else, or was written by a newer version.

    """
    refuse_what_is_not_ours(db, path)
    if not steps.pending(db):
        return False
    steps.apply(db)
    return True


def refuse_what_is_not_ours(db: Database, path: Path) -> None:
    """Say so, before anything is written, where the file is another program's or a newer version's."""
    ours = {step.name for step in steps.applied(db)}
    newer = sorted(ours - set(STEP_NAMES))
    if newer:
        raise StoreFault(
            f"a newer version of fieldnote keeps these jobs (it knows {newer[0]!r})",
            where=str(path),
            do="Update fieldnote on this machine. Nothing was changed.",
        )
    if not ours and db.table_names():
        raise StoreFault(
            "this database belongs to another program",
            where=str(path),
            do="Set FIELDNOTE_HOME to another folder. Nothing was changed.",
        )


@steps()
def m001_jobs_words_entries(db: Database) -> None:
    """Jobs, sound, what was heard, what it meant, and what people changed."""
    db.executescript(_M001)
    db.table("machine").insert({"id": new_id("m"), "made_at": now()})


_M001 = """
CREATE TABLE write_lock (unused INTEGER);

-- One row: which store this is. It marks who made a change when stores meet.
CREATE TABLE machine (id TEXT PRIMARY KEY, made_at TEXT NOT NULL);

-- `opened` is the job as it was opened and never changes; the other columns are derived from it and from the changes.
CREATE TABLE job (
  id TEXT PRIMARY KEY,
  created_at TEXT NOT NULL,
  opened TEXT NOT NULL,
  name TEXT NOT NULL,
  status TEXT NOT NULL,
  closed_at TEXT,
  pack TEXT NOT NULL,
  intake TEXT NOT NULL
);
CREATE INDEX job_by_name ON job (name COLLATE NOCASE);
CREATE INDEX job_by_time ON job (created_at);

-- Sound as given, in the folder sound/, by the hash of its bytes. `let_go_at`: deleted on purpose, and when.
CREATE TABLE sound (
  sha256 TEXT PRIMARY KEY,
  path TEXT NOT NULL,
  bytes INTEGER NOT NULL,
  let_go_at TEXT
);

CREATE TABLE clip (
  id TEXT PRIMARY KEY,
  job_id TEXT NOT NULL REFERENCES job (id),
  sha256 TEXT NOT NULL REFERENCES sound (sha256),
  source TEXT NOT NULL,
  duration_s REAL NOT NULL,
  rate_hz INTEGER NOT NULL,
  channels INTEGER NOT NULL,
  started_at TEXT,
  order_key TEXT NOT NULL,
  UNIQUE (job_id, sha256)
);
CREATE INDEX clip_by_sound ON clip (sha256);

-- A clip heard once by one engine, or a text read in (then clip_id is empty). `done`: to its end.
CREATE TABLE hearing (
  id TEXT PRIMARY KEY,
  job_id TEXT NOT NULL REFERENCES job (id),
  clip_id TEXT REFERENCES clip (id),
  source TEXT NOT NULL,
  engine TEXT NOT NULL,
  person TEXT,
  at TEXT NOT NULL,
  machine TEXT NOT NULL,
  heard_to_s REAL NOT NULL DEFAULT 0,
  done INTEGER NOT NULL DEFAULT 0,
  current INTEGER NOT NULL DEFAULT 1  -- derived: the newest finished hearing of its clip
);
CREATE INDEX hearing_by_job ON hearing (job_id);
CREATE INDEX hearing_by_clip ON hearing (clip_id);

CREATE TABLE engine_settings (id TEXT PRIMARY KEY, body TEXT NOT NULL);

CREATE TABLE utterance (
  hearing_id TEXT NOT NULL REFERENCES hearing (id),
  id TEXT NOT NULL,
  job_id TEXT NOT NULL REFERENCES job (id),
  order_key TEXT NOT NULL,
  text TEXT NOT NULL,
  from_s REAL,
  to_s REAL,
  confidence REAL,
  words TEXT,
  alternatives TEXT,
  engine TEXT NOT NULL,
  settings_id TEXT NOT NULL REFERENCES engine_settings (id),
  PRIMARY KEY (hearing_id, id)
);
CREATE INDEX utterance_by_job ON utterance (job_id, order_key);

-- How the entries of a job were last made. `words_hash`: of what they were made from.
CREATE TABLE extraction (
  job_id TEXT PRIMARY KEY REFERENCES job (id),
  pack TEXT NOT NULL,
  pack_hash TEXT NOT NULL,
  extractor TEXT NOT NULL,
  made_at TEXT NOT NULL,
  words_hash TEXT NOT NULL,
  utterances INTEGER NOT NULL
);

-- Derived. The entries in force, people's changes among them. `as_said`: the entry before those changes.
CREATE TABLE entry (
  job_id TEXT NOT NULL REFERENCES job (id),
  id TEXT NOT NULL,
  position INTEGER NOT NULL,
  kind TEXT NOT NULL,
  place TEXT, part TEXT, side TEXT, state TEXT,
  present INTEGER NOT NULL, certainty TEXT NOT NULL, stage TEXT NOT NULL,
  method TEXT, material TEXT, item INTEGER,
  quote TEXT NOT NULL,
  what TEXT, value TEXT, unit TEXT,
  more TEXT NOT NULL,
  added INTEGER NOT NULL DEFAULT 0,
  as_said TEXT,
  PRIMARY KEY (job_id, id)
);
CREATE INDEX entry_by_state ON entry (kind, state, place, part);

-- Derived. Entries that a person took out.
CREATE TABLE entry_taken_out (
  job_id TEXT NOT NULL REFERENCES job (id),
  id TEXT NOT NULL,
  position INTEGER NOT NULL,
  as_said TEXT NOT NULL,
  PRIMARY KEY (job_id, id)
);

-- Derived. Words that no rule took.
CREATE TABLE leftover (
  job_id TEXT NOT NULL REFERENCES job (id),
  position INTEGER NOT NULL,
  utterance_id TEXT NOT NULL,
  start INTEGER NOT NULL,
  "end" INTEGER NOT NULL,
  text TEXT NOT NULL,
  PRIMARY KEY (job_id, position)
);

-- Every change that a person made, to an entry or (entry_id = job_id) to the job itself. Only ever added to.
CREATE TABLE edit (
  id TEXT PRIMARY KEY,
  job_id TEXT NOT NULL REFERENCES job (id),
  entry_id TEXT NOT NULL,
  action TEXT NOT NULL CHECK (action IN ('set', 'remove', 'add', 'undo')),
  field TEXT,
  before TEXT,
  after TEXT,
  person TEXT NOT NULL,
  at TEXT NOT NULL,
  quote TEXT NOT NULL,
  machine TEXT NOT NULL,
  turn INTEGER NOT NULL,
  follows TEXT NOT NULL
);
CREATE INDEX edit_by_job ON edit (job_id, turn);
CREATE TRIGGER edit_is_never_changed BEFORE UPDATE ON edit
BEGIN SELECT RAISE(ABORT, 'edits are only ever added'); END;
CREATE TRIGGER edit_is_never_deleted BEFORE DELETE ON edit
BEGIN SELECT RAISE(ABORT, 'edits are only ever added'); END;

-- Write-ups as they were handed out.
CREATE TABLE version (
  id TEXT PRIMARY KEY,
  job_id TEXT NOT NULL REFERENCES job (id),
  number INTEGER NOT NULL,
  hash TEXT NOT NULL,
  made_at TEXT NOT NULL,
  person TEXT NOT NULL,
  narrative TEXT NOT NULL
);
CREATE INDEX version_by_job ON version (job_id, number);
CREATE TRIGGER version_is_never_changed BEFORE UPDATE ON version
BEGIN SELECT RAISE(ABORT, 'frozen write-ups are never changed'); END;
CREATE TRIGGER version_is_never_deleted BEFORE DELETE ON version
BEGIN SELECT RAISE(ABORT, 'frozen write-ups are never changed'); END;
"""


@steps()
def m002_search(db: Database) -> None:
    """A full-text index over jobs; its row numbers are times, so that the newest come out first without sorting."""
    db.executescript(_M002)


_M002 = """
-- Derived. `moment`: microseconds since 1970 at which the job was opened, made unique; the row number in the index.
CREATE TABLE search_row (moment INTEGER PRIMARY KEY, job_id TEXT NOT NULL UNIQUE REFERENCES job (id));
CREATE VIRTUAL TABLE search USING fts5 (
  name, vehicle, words, findings, dates,
  tokenize = 'porter unicode61 remove_diacritics 2', prefix = '1 2 3'
);
"""


@steps()
def m003_rates(db: Database) -> None:
    """What closed jobs taught, kept by its id, with what it was learned from."""
    db.executescript(_M003)


_M003 = """
-- Derived. `learned_from`: which state of which jobs, and by which leak map.
CREATE TABLE rates (
  id TEXT NOT NULL,
  pack TEXT NOT NULL,
  learned_from TEXT NOT NULL,
  made_at TEXT NOT NULL,
  body TEXT NOT NULL,
  PRIMARY KEY (id, pack)
);
CREATE INDEX rates_by_state ON rates (pack, learned_from);
"""


@steps()
def m004_photos(db: Database) -> None:
    """Pictures of a job and of its entries."""
    db.executescript(_M004)


_M004 = """
-- Pictures without position or notes of the camera, in the folder photo/, by the hash of their bytes. `deleted_at`: the
-- picture was deleted on purpose, and when; the row stays.
CREATE TABLE photo (
  id TEXT PRIMARY KEY,
  job_id TEXT NOT NULL REFERENCES job (id),
  entry_id TEXT,
  kind TEXT NOT NULL CHECK (kind IN ('place', 'close-up', 'before', 'after')),
  sha256 TEXT NOT NULL,
  path TEXT NOT NULL,
  bytes INTEGER NOT NULL,
  width INTEGER NOT NULL,
  height INTEGER NOT NULL,
  added_at TEXT NOT NULL,
  person TEXT NOT NULL,
  machine TEXT NOT NULL,
  deleted_at TEXT,
  UNIQUE (job_id, sha256)
);
CREATE INDEX photo_by_job ON photo (job_id, added_at);
CREATE INDEX photo_by_hash ON photo (sha256);
"""


@steps()
def m005_summaries(db: Database) -> None:
    """A summary of every job, from which many jobs together are reckoned; those of the jobs that are there fall due."""
    db.executescript(_M005)


_M005 = """
-- Derived. One job as many jobs together see it, packed (fieldnote/patterns/packing.py). `made_with`: by which rules.
CREATE TABLE summary (
  job_id TEXT PRIMARY KEY REFERENCES job (id),
  pack TEXT NOT NULL,
  made_with TEXT NOT NULL,
  head BLOB NOT NULL,
  leaks BLOB NOT NULL,
  signs BLOB NOT NULL,
  checks BLOB NOT NULL
);
CREATE INDEX summary_by_making ON summary (pack, made_with);

-- Jobs whose summary is missing or older than they are. A change marks its job here in its own transaction.
CREATE TABLE summary_due (job_id TEXT PRIMARY KEY REFERENCES job (id)) WITHOUT ROWID;
INSERT INTO summary_due SELECT id FROM job;

-- Words of the summaries by their codes.
CREATE TABLE summary_word (code INTEGER PRIMARY KEY, word TEXT NOT NULL UNIQUE);
"""


@steps()
def m006_lessons(db: Database) -> None:
    """What closed jobs taught, job by job and added up, in place of what was learned from all of them at a time."""
    db.executescript(_M006)


_M006 = """
DROP TABLE rates;

-- Derived. What one job teaches: which sources it cured (a list as JSON), whose vehicle it is, and whether that came
-- back, which withdraws it. `families`: the vehicle's family, then with its build month.
CREATE TABLE lesson (
  job_id TEXT PRIMARY KEY REFERENCES job (id),
  pack TEXT NOT NULL,
  opened_s REAL,
  closed_s REAL,
  vehicle TEXT,
  families TEXT NOT NULL,
  sources TEXT NOT NULL,
  withdrawn INTEGER NOT NULL
);
CREATE INDEX lesson_by_vehicle ON lesson (vehicle, pack);

-- Jobs whose lesson is missing or older than they are. A change marks its job here in its own transaction.
CREATE TABLE lesson_due (job_id TEXT PRIMARY KEY REFERENCES job (id)) WITHOUT ROWID;
INSERT INTO lesson_due SELECT id FROM job;

-- Derived. Lessons added up: by source for all jobs, for a family and for a vehicle, in whole parts of a job.
CREATE TABLE lesson_count (
  pack TEXT NOT NULL,
  kind TEXT NOT NULL,
  key TEXT NOT NULL,
  source TEXT NOT NULL,
  units INTEGER NOT NULL,
  PRIMARY KEY (pack, kind, key, source)
) WITHOUT ROWID;

-- Derived. Which lessons those are. `made_with`: by which rules; `mark`: the marks of all, each once.
CREATE TABLE lesson_sum (
  pack TEXT PRIMARY KEY,
  made_with TEXT NOT NULL,
  taught INTEGER NOT NULL,
  withdrawn INTEGER NOT NULL,
  mark TEXT NOT NULL
);
"""


@steps()
def m007_claim_lines(db: Database) -> None:
    """What each job lacks, who pays and what they answered, for finding jobs by it in a list."""
    db.executescript(_M007)


_M007 = """
-- Derived. A job without a row, or whose row was made by other rules, is looked at when somebody asks. `lacks`: ids of
-- what is missing, each between spaces.
CREATE TABLE claim_line (
  job_id TEXT PRIMARY KEY REFERENCES job (id),
  made_with TEXT NOT NULL,
  payer TEXT NOT NULL,
  outcome TEXT NOT NULL,
  lacks TEXT NOT NULL
) WITHOUT ROWID;

-- Whatever changes a job takes its row away, in the same transaction.
CREATE TRIGGER claim_line_of_job AFTER UPDATE ON job
BEGIN DELETE FROM claim_line WHERE job_id = new.id; END;
CREATE TRIGGER claim_line_of_extraction AFTER INSERT ON extraction
BEGIN DELETE FROM claim_line WHERE job_id = new.job_id; END;
CREATE TRIGGER claim_line_of_edit AFTER INSERT ON edit
BEGIN DELETE FROM claim_line WHERE job_id = new.job_id; END;
CREATE TRIGGER claim_line_of_new_photo AFTER INSERT ON photo
BEGIN DELETE FROM claim_line WHERE job_id = new.job_id; END;
CREATE TRIGGER claim_line_of_photo AFTER UPDATE ON photo
BEGIN DELETE FROM claim_line WHERE job_id = new.job_id; END;
CREATE TRIGGER claim_line_of_version AFTER INSERT ON version
BEGIN DELETE FROM claim_line WHERE job_id = new.job_id; END;
"""

STEP_NAMES = tuple(
    step.__name__
    for step in (
        m001_jobs_words_entries,
        m002_search,
        m003_rates,
        m004_photos,
        m005_summaries,
        m006_lessons,
        m007_claim_lines,
    )
)
"""Every step that this version knows, oldest first."""
