"""An index of a cloud's chunks: which box each fills, kept aside so that a second run reads only a few.

It is a help, never a source: it is believed only while the file's size, time and SHA-256 of header and table
of chunks are those it was made from, and every chunk read with it must fill exactly the box it states. One
line of JSON, then the boxes as little-endian 32-bit integers.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.formats.las_box import BoxWatch
from accuracy.formats.las_header import LasHeader
from accuracy.formats.laz import Chunk

FORMAT, VERSION = "accuracy-chunk-index", 1
SUFFIX = ".chunks"
_LONGEST_LINE = 4096
_BLOCK = 1 << 20


@dataclass(frozen=True)
class Identity:
    """What an index must agree with before it is believed."""

    size_bytes: int
    mtime_ns: int
    sha256: str  # of everything before the points, and of the table of chunks
    chunks: int


@dataclass(frozen=True, eq=False)
class ChunkIndex:
    """Boxes of the chunks, and what the pass that made them found.

    Attributes
    ----------
    boxes : ndarray of int32, shape (n, 4)
        Least x, least y, largest x, largest y of each chunk, stored integers.
    points_outside, largest_outside : int, float
        Points outside the header's box, and the largest distance in stored units.
    """

    boxes: NDArray[np.int32]
    points_outside: int
    largest_outside: float


@dataclass(frozen=True, eq=False)
class KnownBoxes:
    """Boxes of chunks that are known before the chunks are read.

    Attributes
    ----------
    boxes : ndarray of int32, shape (n, 4)
        As in `ChunkIndex`.
    source : str
        Who says so, for people.
    index : ChunkIndex or None
        The index they come from; its boxes are exact, all others may be wider than the points.
    """

    boxes: NDArray[np.int32]
    source: str
    index: ChunkIndex | None = None

    def agree(self, stated: NDArray[np.int32], found: NDArray[np.int32]) -> bool:
        """Whether chunks that were read fill the boxes stated for them."""
        if self.index is not None:
            return bool(np.array_equal(stated, found))
        return bool((found[:, :2] >= stated[:, :2]).all() and (found[:, 2:] <= stated[:, 2:]).all())


class IndexKeeper:
    """Looks for the index of one file, and keeps a new one after a complete pass.

    Attributes
    ----------
    known : KnownBoxes or None
        What a sound index says.
    notes : list of str
        Why an index that is there is not used.
    """

    def __init__(self, folder: Path | None, header: LasHeader, chunks: tuple[Chunk, ...]) -> None:
        self.known: KnownBoxes | None = None
        self.notes: list[str] = []
        self._header, self._chunks = header, chunks
        self._path: Path | None = None
        if folder is None or len(chunks) < 2:
            return
        self._path = index_path(folder, header.path)
        self._identity = identify(header.path, header, chunks)
        index, why_not = load(self._path, self._identity)
        if index is not None:
            self.known = KnownBoxes(index.boxes, "the index of an earlier run", index)
        if why_not is not None:
            self.notes.append(f"{header.path.name}: its index {why_not}; it is made again")

    def keep(self, boxes: NDArray[np.int32], watch: BoxWatch) -> list[str]:
        """Save the boxes of all chunks; give what there is to say."""
        if self._path is None:
            return []
        name = self._header.path.name
        if identify(self._header.path, self._header, self._chunks) != self._identity:
            return [f"{name}: no index is kept, the file changed while it was read"]
        index = ChunkIndex(boxes, watch.points, watch.largest)
        problem = save(self._path, self._identity, index)
        return [f"{name}: its index cannot be written ({problem})"] if problem else []


def identify(path: Path, header: LasHeader, chunks: tuple[Chunk, ...]) -> Identity:
    """Read what tells this state of the file from any other, short of reading its points.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    state = path.stat()
    digest = hashlib.sha256()
    with path.open("rb") as file:
        left = header.points_offset
        while left > 0 and (block := file.read(min(left, _BLOCK))):
            digest.update(block)
            left -= len(block)
    table = np.array([(c.start, c.size_bytes, c.points) for c in chunks], dtype="<i8")
    digest.update(table.tobytes())
    return Identity(state.st_size, state.st_mtime_ns, digest.hexdigest(), len(chunks))


def index_path(folder: Path, path: Path) -> Path:
    """Give the index's own file: files of one name in different folders are kept apart."""
    where = hashlib.sha256(path.absolute().as_posix().encode("utf-8")).hexdigest()[:12]
    return folder / f"{path.name}-{where}{SUFFIX}"


def load(path: Path, identity: Identity) -> tuple[ChunkIndex | None, str | None]:
    """Read an index.

    Returns
    -------
    index : ChunkIndex or None
    why_not : str or None
        Why one that is there is not used; None where there is none, or it is used.
    """
    try:
        with path.open("rb") as file:
            line = file.readline(_LONGEST_LINE)
            payload = file.read(identity.chunks * 16 + 1)
    except FileNotFoundError:
        return None, None
    except OSError as error:
        return None, f"cannot be read ({error.strerror or error})"
    try:
        head = json.loads(line)
        if head["format"] != FORMAT or head["version"] != VERSION:
            return None, "is of another version"
        if head["identity"] != asdict(identity):
            return None, "is out of date: the file has changed"
        if hashlib.sha256(_body(head, payload)).hexdigest() != head["sha256"]:
            return None, "is damaged"
        boxes = np.frombuffer(payload, dtype="<i4").reshape(identity.chunks, 4)
        outside, largest = int(head["points_outside"]), float(head["largest_outside"])
    except (ValueError, KeyError, TypeError):
        return None, "is damaged"
    return ChunkIndex(boxes.astype(np.int32), outside, largest), None


def save(path: Path, identity: Identity, index: ChunkIndex) -> str | None:
    """Write an index aside and move it in; give what prevented it, or None."""
    payload = index.boxes.astype("<i4").tobytes()
    head = {
        "format": FORMAT,
        "version": VERSION,
        "identity": asdict(identity),
        "points_outside": index.points_outside,
        "largest_outside": index.largest_outside,
    }
    head["sha256"] = hashlib.sha256(_body(head, payload)).hexdigest()
    aside: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix="~", delete=False) as file:
            aside = Path(file.name)
            file.write(json.dumps(head).encode("ascii") + b"\n" + payload)
        os.replace(aside, path)  # noqa: PTH105 (Path.replace is the same call; this one says atomic)
    except OSError as error:
        return error.strerror or str(error)
    finally:
        if aside is not None:
            with suppress(OSError):
                aside.unlink(missing_ok=True)
    return None


def _body(head: dict[str, object], payload: bytes) -> bytes:
    """Everything the checksum covers."""
    told = {key: value for key, value in head.items() if key != "sha256"}
    return json.dumps(told, sort_keys=True).encode("ascii") + payload
