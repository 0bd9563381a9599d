"""The tables of the readings file, its versions, and who may open it."""

import apsw

from steadybead_domain.ports import StoreError

APPLICATION_ID = 0x53_74_62_64  # "Stbd"

_JOURNAL = """
CREATE TABLE meta (key TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE channel (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE,
  quantity TEXT NOT NULL DEFAULT '',
  unit TEXT NOT NULL DEFAULT ''
);
CREATE TABLE journal (
  seq INTEGER PRIMARY KEY,
  received INTEGER NOT NULL,
  n INTEGER NOT NULL,
  data BLOB NOT NULL
);
INSERT INTO meta VALUES ('merged', 0), ('released', 0), ('trimmed', 0);
"""

_PACKED = """
CREATE TABLE window (
  channel INTEGER NOT NULL,
  window INTEGER NOT NULL,
  part INTEGER NOT NULL,
  upto INTEGER NOT NULL,
  chunk INTEGER,
  count INTEGER NOT NULL,
  n INTEGER NOT NULL,
  low REAL,
  high REAL,
  total BLOB NOT NULL,
  worst INTEGER NOT NULL,
  leaf BLOB NOT NULL,
  PRIMARY KEY (channel, window, part)
) WITHOUT ROWID;
CREATE TABLE chunk (id INTEGER PRIMARY KEY, data BLOB NOT NULL);
CREATE TABLE rollup (
  channel INTEGER NOT NULL,
  hours INTEGER NOT NULL,
  number INTEGER NOT NULL,
  count INTEGER NOT NULL,
  n INTEGER NOT NULL,
  low REAL,
  high REAL,
  total BLOB NOT NULL,
  worst INTEGER NOT NULL,
  PRIMARY KEY (channel, hours, number)
) WITHOUT ROWID;
CREATE TABLE newest (channel INTEGER PRIMARY KEY, data BLOB NOT NULL);
CREATE TABLE kept (
  channel INTEGER NOT NULL,
  window INTEGER NOT NULL,
  PRIMARY KEY (channel, window)
) WITHOUT ROWID;
INSERT INTO meta VALUES ('forgotten', -9223372036854775807);
"""

_STEPS = (_JOURNAL, _PACKED)  # step i leads from version i to version i + 1
VERSION = len(_STEPS)


def identify(connection: apsw.Connection) -> int:
    """Give the version of a readings file; raise StoreError if it is another's, or newer."""
    application = connection.pragma("application_id")
    if application != APPLICATION_ID:
        raise StoreError(
            f"{connection.db_filename('main')} is no readings file of ours (application id"
            f" {application}): move it away, or name another data folder"
        )
    version = int(connection.pragma("user_version"))
    if version > VERSION:
        raise StoreError(
            f"{connection.db_filename('main')} was written by a newer Steadybead (form {version},"
            f" this one knows {VERSION}): update Steadybead; the file was not touched"
        )
    return version


def upgrade(connection: apsw.Connection, version: int) -> None:
    """Lead a file of an older version to this one, all of it or nothing; 0 is an empty file."""
    if version == VERSION:
        return
    with connection:
        for step in _STEPS[version:]:
            connection.execute(step)
        connection.pragma("application_id", APPLICATION_ID)
        connection.pragma("user_version", VERSION)
