"""What may a disk hold after the power is cut? SQLite's own writes, replayed onto a disk that keeps what it likes.

Every write, sync, truncation and unlinking of the real SQLite is logged by a file system of ours (an apsw VFS). For a
cut after any step the files are built as a disk might hold them: what was synced is there; what was not is there or not
at random, in any order, and torn at the borders of sectors; a file that was unlinked may be there still until its
folder was synced. Then the books are opened from what is left, and what was acknowledged is looked for.

Not simulated: a disk that says it has synced and has not.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import apsw

SECTOR = 512


@dataclass
class Step:
    """One thing that SQLite asked of the disk, or ``ack`` for one that was said to be stored."""

    verb: str
    name: str = ""
    offset: int = 0
    data: bytes = b""


@dataclass
class Disk:
    """The log of all that was asked."""

    steps: list[Step] = field(default_factory=list)

    def note(self, verb: str, name: str = "", offset: int = 0, data: bytes = b"") -> None:
        self.steps.append(Step(verb, name, offset, data))


def make_vfs(disk: Disk, name: str) -> apsw.VFS:
    """The system's own file system, with everything that changes a file noted."""

    class LoggedFile(apsw.VFSFile):
        def __init__(self, filename: Any, flags: list[int]) -> None:
            super().__init__("", filename, flags)
            self.kind = Path(filename.filename() if hasattr(filename, "filename") else filename).name

        def xWrite(self, data: bytes, offset: int) -> None:  # noqa: N802
            disk.note("write", self.kind, offset, bytes(data))
            super().xWrite(data, offset)

        def xTruncate(self, size: int) -> None:  # noqa: N802
            disk.note("truncate", self.kind, size)
            super().xTruncate(size)

        def xSync(self, flags: int) -> None:  # noqa: N802
            disk.note("sync", self.kind)
            super().xSync(flags)

    class LoggedFiles(apsw.VFS):
        def __init__(self) -> None:
            super().__init__(name, "")

        def xOpen(self, filename: Any, flags: list[int]) -> LoggedFile:  # noqa: N802
            return LoggedFile(filename, flags)

        def xDelete(self, filename: str, sync_folder: bool) -> None:  # noqa: N802
            disk.note("unlink", Path(filename).name)
            super().xDelete(filename, sync_folder)
            if sync_folder:
                disk.note("sync folder")

    return LoggedFiles()


def write_notes(folder: Path, pragmas: str, notes: int, acknowledge_first: bool = False) -> Disk:
    """Write so many notes, one commit each, under these pragmas; each is acknowledged after its commit.

    `acknowledge_first` is a planted fault: the answer goes out before the commit.
    """
    disk = Disk()
    logged = make_vfs(disk, "logged")
    books = apsw.Connection(str(folder / "books.sqlite3"), vfs="logged")
    if "WAL" in pragmas:
        # A write-ahead log needs shared memory, which a file system in Python does not give; held by one alone it needs
        # none. With the other journals this would keep the journal instead of unlinking it.
        books.execute("PRAGMA locking_mode=EXCLUSIVE").fetchall()
    # A pragma that answers stops the ones behind it until its answer is taken.
    books.execute(pragmas).fetchall()
    # The log flows back into the books every few commits, so that the power is cut then too.
    books.execute("PRAGMA wal_autocheckpoint=10").fetchall()
    books.execute("CREATE TABLE IF NOT EXISTS note (id INTEGER PRIMARY KEY, body TEXT NOT NULL)")
    books.execute("CREATE INDEX IF NOT EXISTS note_body ON note (body)")
    disk.note("begun")
    for number in range(1, notes + 1):
        books.execute("BEGIN IMMEDIATE")
        books.execute("INSERT INTO note VALUES (?, ?)", (number, f"note {number} " * 20))
        if acknowledge_first:
            disk.note("ack", offset=number)
        books.execute("COMMIT")
        if not acknowledge_first:
            disk.note("ack", offset=number)
    # Closing would tidy up: the power is cut before that.
    disk.note("end")
    books.close()
    logged.unregister()
    disk.steps = disk.steps[: next(at for at, step in enumerate(disk.steps) if step.verb == "end")]
    return disk


@dataclass
class Held:
    """One file on the disk: what is surely there, and what was written since and may be there or not."""

    sure: bytearray = field(default_factory=bytearray)
    loose: list[Step] = field(default_factory=list)


def cut_power(disk: Disk, at: int, dice: random.Random) -> dict[str, bytes]:
    """The files as the disk may hold them when the power is cut after so many steps."""
    files: dict[str, Held] = {}
    gone: dict[str, Held] = {}
    for step in disk.steps[:at]:
        if step.verb == "begun":
            # What was made before lies on the disk since long.
            for held in files.values():
                _settle(held)
            gone.clear()
        elif step.verb in ("write", "truncate"):
            files.setdefault(step.name, Held()).loose.append(step)
        elif step.verb == "sync" and step.name in files:
            _settle(files[step.name])
            # A synced file has its name on the disk, and every unlinking before it is there too: as ext4 orders it.
            gone.clear()
        elif step.verb == "unlink" and step.name in files:
            gone[step.name] = files.pop(step.name)
        elif step.verb == "sync folder":
            gone.clear()
    for name, held in gone.items():
        if name not in files and dice.random() < 0.5:
            files[name] = held
    return {name: bytes(_scatter(held, dice)) for name, held in files.items()}


def _settle(held: Held) -> None:
    for loose in held.loose:
        _apply(held.sure, loose)
    held.loose.clear()


def _scatter(held: Held, dice: random.Random) -> bytearray:
    """What was synced, with some of what was not: each sector of each write kept or lost, in any order."""
    content = bytearray(held.sure)
    parts = [part for step in held.loose for part in _tear(step)]
    dice.shuffle(parts)
    share = dice.choice((0.0, 0.5, 0.9, 1.0))
    for part in parts:
        if dice.random() < share:
            _apply(content, part)
    return content


def _tear(step: Step) -> Iterator[Step]:
    if step.verb == "truncate":
        yield step
        return
    start = 0
    while start < len(step.data):
        end = start + SECTOR - (step.offset + start) % SECTOR
        yield Step("write", step.name, step.offset + start, step.data[start:end])
        start = end


def _apply(content: bytearray, step: Step) -> None:
    if step.verb == "truncate":
        del content[step.offset :]
        return
    if len(content) < step.offset:
        content.extend(bytes(step.offset - len(content)))
    content[step.offset : step.offset + len(step.data)] = step.data


@dataclass
class Verdict:
    """Over all cuts: how many were opened, after how many acknowledged notes were lost, and how many were unsound."""

    cuts: int = 0
    lost: int = 0
    most_lost: int = 0
    unsound: int = 0


def judge_cuts(disk: Disk, folder: Path, seed: int, each: int = 1) -> Verdict:
    """Cut the power after every step, `each` times with other dice, and open what is left with plain SQLite."""
    dice = random.Random(seed)
    begun = next(at for at, step in enumerate(disk.steps) if step.verb == "begun")
    verdict = Verdict()
    for at in range(begun + 1, len(disk.steps) + 1):
        acknowledged = max((step.offset for step in disk.steps[:at] if step.verb == "ack"), default=0)
        for _ in range(each):
            _judge_one(cut_power(disk, at, dice), folder, acknowledged, verdict)
    return verdict


def _judge_one(files: dict[str, bytes], folder: Path, acknowledged: int, verdict: Verdict) -> None:
    for old in folder.iterdir():
        old.unlink()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    verdict.cuts += 1
    try:
        books = apsw.Connection(str(folder / "books.sqlite3"))
        sound = books.execute("PRAGMA integrity_check").get == "ok"
        held = {number for (number,) in books.execute("SELECT id FROM note")}
        books.close()
    except apsw.Error:
        sound, held = False, set()
    if not sound:
        verdict.unsound += 1
    missing = set(range(1, acknowledged + 1)) - held
    verdict.lost += bool(missing)
    verdict.most_lost = max(verdict.most_lost, len(missing))
