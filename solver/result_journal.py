"""A file that on the disk is always what it was at its last commit, whenever the process is killed.

HDF5 brings its metadata to the disk in dozens of separate writes; a kill between two of them leaves a file that nobody
can open. Here new room is written at once, since nothing committed points to it, and pages that were committed are held
in memory. A commit writes them to a journal beside the file, gives that its name by a rename, writes them into the file
and deletes the journal. A journal that is found later is written into the file once more: the kill fell in between.
"""

from __future__ import annotations

import fcntl
import os
import struct
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

PAGE = 512
_MAGIC = b"swirlwright journal 1\n"
_HEAD = struct.Struct("<qq")  # number of the page, bytes in it


def journal_path(path: Path) -> Path:
    """Where the journal of a file stands between two commits' halves."""
    return path.with_name(path.name + ".journal")


def recover(path: Path) -> None:
    """Finish the commit in which a process was killed, if there is such a journal beside the file.

    Raises
    ------
    BlockingIOError
        If another process is writing the file.
    OSError
        If it cannot be written.
    """
    if journal_path(path).exists() and path.exists():
        with suppress(FileNotFoundError):
            JournaledFile(path).close()


class FileGone(OSError):
    """The file under this name is not the one that was opened."""


class JournaledFile:
    """A file object for h5py's driver of that name, locked against other processes.

    Parameters
    ----------
    path : Path
        A file that is there.

    Raises
    ------
    BlockingIOError
        If another process has it open.
    """

    def __init__(self, path: Path):
        self.path = path
        self.handle = os.open(path, os.O_RDWR)
        try:
            fcntl.flock(self.handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            self._take_journal()
        except BaseException:
            os.close(self.handle)
            raise
        self._at, self._end = 0, os.fstat(self.handle).st_size
        self._committed = -(-self._end // PAGE)  # pages
        self._held: dict[int, bytearray] = {}
        self._failure: BaseException | None = None

    # What h5py asks of a file object -------------------------------------------------------------------------------

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        self._at = offset + {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._end}[whence]
        return self._at

    def tell(self) -> int:
        return self._at

    def readinto(self, buffer: memoryview) -> int:
        target = memoryview(buffer).cast("B")
        data = os.pread(self.handle, len(target), self._at)
        # HDF5 may read what it has allocated and not yet written.
        target[:] = data.ljust(len(target), b"\0")
        for number in range(self._at // PAGE, -(-(self._at + len(target)) // PAGE)):
            if (page := self._held.get(number)) is not None:
                begin, end = max(self._at, number * PAGE), min(self._at + len(target), (number + 1) * PAGE)
                target[begin - self._at : end - self._at] = page[begin - number * PAGE : end - number * PAGE]
        self._at += len(target)
        return len(target)

    def read(self, size: int = -1) -> bytes:
        found = bytearray(max(0, self._end - self._at) if size < 0 else size)
        self.readinto(memoryview(found))
        return bytes(found)

    def write(self, data: bytes | memoryview) -> int:
        # Not raised here, where HDF5 swallows it now and then, but at the commit. What HDF5 still has to say to a file
        # that was given up goes nowhere.
        if self.handle >= 0 and self._failure is None:
            try:
                self._write(memoryview(data).cast("B"))
            except BaseException as error:
                self._failure = error
        return len(data)

    def truncate(self, size: int | None = None) -> int:
        # Only in name: what was committed may reach further, and room beyond is harmless.
        self._end = self._at if size is None else size
        return self._end

    def flush(self) -> None:
        """Nothing: HDF5 asks for it after each of its own flushes, which are no commits."""

    # What the writer of results asks -------------------------------------------------------------------------------

    @property
    def is_open(self) -> bool:
        return self.handle >= 0

    @property
    def size(self) -> int:
        """Bytes of the file as HDF5 sees it."""
        return self._end

    def commit(self) -> None:
        """Make what was written the state of the file; to be called when HDF5 has flushed.

        Raises
        ------
        OSError
            If the journal cannot be written, or a write before failed; the file stays as at the last commit then.
        """
        if self._failure is not None:
            raise self._failure
        try:
            self._refuse_if_gone()
            if self._held:
                self._write_journal()
                self._apply(self._held.items())
                os.unlink(journal_path(self.path))
        except BaseException as error:
            self._failure = error
            raise
        self._held = {}
        self._committed = max(self._committed, -(-self._end // PAGE))

    def trim(self) -> None:
        """Cut off what lies beyond the end; only after a commit."""
        os.ftruncate(self.handle, self._end)
        self._committed = -(-self._end // PAGE)

    def to_disk(self) -> None:
        os.fsync(self.handle)

    def close(self) -> None:
        """Close without a commit; harmless when it is closed."""
        if self.handle >= 0:
            os.close(self.handle)
            self.handle = -1

    # The rest ------------------------------------------------------------------------------------------------------

    def _write(self, data: memoryview) -> None:
        begin, end, border = self._at, self._at + len(data), self._committed * PAGE
        for number in range(begin // PAGE, -(-min(end, border) // PAGE)):
            page = self._page(number)
            first, last = max(begin, number * PAGE), min(end, (number + 1) * PAGE)
            page[first - number * PAGE : last - number * PAGE] = data[first - begin : last - begin]
        if end > border:
            first = max(begin, border)
            _write_at(self.handle, data[first - begin :], first)
        self._at, self._end = end, max(self._end, end)

    def _page(self, number: int) -> bytearray:
        if number not in self._held:
            self._held[number] = bytearray(os.pread(self.handle, PAGE, number * PAGE).ljust(PAGE, b"\0"))
        return self._held[number]

    def _write_journal(self) -> None:
        target = journal_path(self.path)
        part = target.with_name(target.name + ".part")
        try:
            with open(part, "wb") as file:
                file.write(_MAGIC + b"".join(_HEAD.pack(n, len(page)) + page for n, page in self._held.items()))
            os.replace(part, target)
        finally:
            part.unlink(missing_ok=True)

    def _refuse_if_gone(self) -> None:
        """What is written to a file that was deleted or replaced meanwhile is lost without a word otherwise."""
        try:
            is_there = os.path.samestat(os.stat(self.path), os.fstat(self.handle))
        except FileNotFoundError:
            is_there = False
        if not is_there:
            raise FileGone(f"{self.path}: was deleted, moved or replaced while a run was writing it")

    def _apply(self, pages: Iterable[tuple[int, bytes | bytearray]]) -> None:
        for number, page in pages:
            _write_at(self.handle, memoryview(page), number * PAGE)

    def _take_journal(self) -> None:
        """Write a journal that a killed process has left into the file."""
        target = journal_path(self.path)
        if not target.exists():
            return
        text = target.read_bytes()
        if text.startswith(_MAGIC):
            at, pages = len(_MAGIC), []
            while at < len(text):
                number, length = _HEAD.unpack_from(text, at)
                at += _HEAD.size
                pages.append((number, text[at : at + length]))
                at += length
            self._apply(pages)
        os.unlink(target)


def _write_at(handle: int, data: memoryview, offset: int) -> None:
    """Write all of it: the system may take less at a time."""
    while len(data):
        done = os.pwrite(handle, data, offset)
        data, offset = data[done:], offset + done
