"""A bundle as a file: a ZIP whose bytes depend on nothing but what is in it, and that is opened with suspicion.

It comes from somebody else's computer: names are looked at before anything is read, every part is read no further than
its manifest says and no further than what is allowed, and its checksum must be right.
"""

from __future__ import annotations

import hashlib
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO

import msgspec

from imufeedback.bundle.manifest import BundleFile, Manifest, from_json, to_json
from imufeedback.errors import BadFile, UsageError
from imufeedback.record.files import part_file, shown
from imufeedback.records import Json

MANIFEST = "manifest.json"
REFERENCE = "reference.json"
ALLOWED = re.compile(
    r"manifest\.json|reference\.json|drills/[a-z0-9][a-z0-9-]{0,80}\.toml|recordings/[0-9a-f]{16}\.mcap"
)
"""Nothing else is opened: no other folder, no way out of one."""
PARTS_MAX = 64
SMALL_MAX, RECORDING_MAX, ALL_MAX = 2 << 20, 512 << 20, 1 << 30
"""Bytes of a text, of a recording, and of all together. Chosen: an hour with three sensors is 62 MB."""
CHUNK = 1 << 20
_HINT = "ask for the file again"
_EPOCH = (1980, 1, 1, 0, 0, 0)
"""The first time that a ZIP can state."""


def recording_name(sha256: str) -> str:
    """A recording's name in a bundle: it says nothing about its player."""
    return f"recordings/{sha256[:16]}.mcap"


def sha256_of(path: Path) -> str:
    """Of a file. Raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def write(
    out: Path, manifest: Manifest, parts: Mapping[str, bytes | Path], unknown: Mapping[str, Json], *, overwrite: bool
) -> None:
    """Write a bundle. Raises CannotWrite; UsageError for what is too much for one."""
    named: list[BundleFile] = []
    for name, data in sorted(parts.items()):
        size = len(data) if isinstance(data, bytes) else data.stat().st_size
        digest = hashlib.sha256(data).hexdigest() if isinstance(data, bytes) else sha256_of(data)
        named.append(BundleFile(name, size, digest))
    _check_sizes([(one.name, one.size) for one in named], UsageError, shown(out))
    manifest = msgspec.structs.replace(manifest, parts=tuple(named))
    with (
        part_file(out, ".zip", overwrite=overwrite) as part,
        zipfile.ZipFile(part, "w", zipfile.ZIP_STORED) as archive,
    ):
        for name, data in [(MANIFEST, to_json(manifest, unknown)), *sorted(parts.items())]:
            _put(archive, name, data)


def _put(archive: zipfile.ZipFile, name: str, data: bytes | Path) -> None:
    info = zipfile.ZipInfo(name, _EPOCH)
    info.create_system, info.external_attr = 3, 0o600 << 16
    if isinstance(data, bytes):
        archive.writestr(info, data)
        return
    info.file_size = data.stat().st_size
    with data.open("rb") as source, archive.open(info, "w") as entry:
        while chunk := source.read(CHUNK):
            entry.write(chunk)


class Opened:
    """A bundle that was looked through; close it, or use `with`. Raises BadFile for what cannot be trusted."""

    def __init__(self, path: Path) -> None:
        self._where = shown(path)
        try:
            self._zip = zipfile.ZipFile(path)
        except (OSError, zipfile.BadZipFile, ValueError, NotImplementedError) as error:
            raise BadFile(f"it is no bundle ({error})", where=self._where, hint=_HINT) from None
        try:
            entries = self._zip.infolist()
            self._check_names(entries)
            _check_sizes([(one.filename, one.file_size) for one in entries], BadFile, self._where)
            self.manifest, self.raw = from_json(self._bytes(MANIFEST, SMALL_MAX), self._where)
            self._check_parts({one.filename: one.file_size for one in entries})
        except BaseException:
            self._zip.close()
            raise

    def __enter__(self) -> Opened:
        return self

    def __exit__(self, *_: object) -> None:
        self._zip.close()

    def text(self, part: BundleFile) -> bytes:
        """A small part. Raises BadFile when it is not what the manifest says."""
        return b"".join(self._pieces(part))

    def verify(self) -> None:
        """Look through all parts, so that nothing is taken of a bundle that is wrong further on. Raises BadFile."""
        for part in self.manifest.parts:
            for _ in self._pieces(part):
                pass

    def copy(self, part: BundleFile, out: Path) -> None:
        """A part as a file. Raises BadFile, CannotWrite; what is wrong is not left there."""
        with part_file(out, out.suffix) as temporary, temporary.open("wb") as file:
            for piece in self._pieces(part):
                file.write(piece)

    def _pieces(self, part: BundleFile) -> Iterator[bytes]:
        """Its bytes, no more than it says; the checksum is looked at behind the last one."""
        digest, done = hashlib.sha256(), 0
        with self._entry(part.name) as entry:
            while piece := self._read(entry, CHUNK):
                done += len(piece)
                if done > part.size:
                    raise BadFile(f"{part.name} is larger than it says", where=self._where, hint=_HINT)
                digest.update(piece)
                yield piece
        if digest.hexdigest() != part.sha256:
            raise BadFile(f"{part.name} was damaged on its way", where=self._where, hint=_HINT)

    def _bytes(self, name: str, most: int) -> bytes:
        with self._entry(name) as entry:
            data = self._read(entry, min(most, SMALL_MAX) + 1)
        if len(data) > min(most, SMALL_MAX):
            raise BadFile(f"{name} is larger than it says", where=self._where, hint=_HINT)
        return data

    def _entry(self, name: str) -> IO[bytes]:
        try:
            return self._zip.open(name)
        except (KeyError, OSError, RuntimeError, zipfile.BadZipFile, NotImplementedError) as error:
            raise BadFile(f"{name} cannot be opened ({error})", where=self._where, hint=_HINT) from None

    def _read(self, entry: IO[bytes], size: int) -> bytes:
        try:
            return entry.read(size)
        except (OSError, EOFError, zlib.error, zipfile.BadZipFile) as error:
            raise BadFile(f"it is damaged ({error})", where=self._where, hint=_HINT) from None

    def _check_names(self, entries: list[zipfile.ZipInfo]) -> None:
        names = [one.filename for one in entries]
        if MANIFEST not in names:
            raise BadFile("it is no bundle (it has no manifest)", where=self._where, hint=_HINT)
        odd = next((one for one in names if not ALLOWED.fullmatch(one)), None)
        if odd is not None:
            raise BadFile(f"it holds {odd[:80]!r}, which no bundle has", where=self._where, hint="do not use it")
        if len(set(names)) < len(names) or len(names) > PARTS_MAX:
            raise BadFile("it holds a part twice, or too many", where=self._where, hint="do not use it")

    def _check_parts(self, sizes: Mapping[str, int]) -> None:
        named = {one.name: one.size for one in self.manifest.parts}
        if {name: size for name, size in sizes.items() if name != MANIFEST} != named:
            raise BadFile("its parts are not those of its manifest", where=self._where, hint=_HINT)


def _check_sizes(sizes: list[tuple[str, int]], kind: type[BadFile] | type[UsageError], where: str) -> None:
    for name, size in sizes:
        most = RECORDING_MAX if name.endswith(".mcap") else SMALL_MAX
        if size > most:
            raise kind(f"{name} has {size >> 20} MB, allowed are {most >> 20}", where=where, hint="hand over less")
    if sum(size for _, size in sizes) > ALL_MAX or len(sizes) > PARTS_MAX:
        raise kind("it is too much for one bundle", where=where, hint="hand over fewer recordings")
