"""Which SQLite do the books use? The one place where it is chosen.

Debian 12's SQLite 3.40.1 and every other version from 3.7.0 to 3.51.2 can corrupt a WAL file when two connections
write and checkpoint at the same instant (sqlite.org/wal.html, WAL-reset bug; fixed in 3.51.3). The `pysqlite3` wheel
carries a newer one and takes the standard module's name. Where no such wheel exists, the standard module is used
and, below 3.51.3, with the DELETE journal and EXTRA sync instead of WAL.
"""

from __future__ import annotations

import sys

WAL_IS_SAFE_FROM = (3, 51, 3)


def use_newest_sqlite() -> None:
    """Let ``import sqlite3`` find the wheel's module, where it exists."""
    try:
        import pysqlite3
        import pysqlite3.dbapi2
    except ImportError:
        return
    sys.modules["sqlite3"] = pysqlite3
    sys.modules["sqlite3.dbapi2"] = pysqlite3.dbapi2


def pragmas_for_version(version: tuple[int, int, int]) -> str:
    """The start-up pragmas that never lose an acknowledged commit with this SQLite version."""
    journal = (
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
        if version >= WAL_IS_SAFE_FROM
        else "PRAGMA journal_mode=DELETE; PRAGMA synchronous=EXTRA;"
    )
    return f"{journal} PRAGMA foreign_keys=ON; PRAGMA busy_timeout=20000;"
