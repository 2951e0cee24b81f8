"""Point clouds in LAS and LAZ files, version 1.0 to 1.4, point formats 0 to 10.

A file is opened by its header and read in batches, so that memory does not grow with the file. Points far
from every place are thrown out as stored integers, before anything is computed from them. Where an index
made by an earlier run, or the hierarchy of a COPC file, tells where chunks lie, only the chunks that matter
are read.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.findings import Finding
from accuracy.formats import PointBatch, SurfaceInfo
from accuracy.formats.chunk_index import IndexKeeper, KnownBoxes
from accuracy.formats.copc import incomplete, info_record, node_boxes
from accuracy.formats.las_box import BoxWatch, HeaderBox
from accuracy.formats.las_crs import crs_evidence
from accuracy.formats.las_header import LasHeader, read_header, read_records
from accuracy.formats.las_search import (
    LARGEST_CHUNK_POINTS,
    Everything,
    Records,
    Sieve,
    Wanted,
    chunks_of,
    holdable,
    read_exactly,
)
from accuracy.formats.laz import LAYERS_POINT, Chunk, Compression, read_compression
from accuracy.formats.places import Places
from accuracy.formats.sidecar import sidecar_evidence

#: Field of `PointBatch` -> layer of LAZ 1.4 that holds it.
LAYER_OF = {
    "z": 1,
    "classification": 2,
    "withheld": 4,
    "synthetic": 4,
    "overlap": 4,
    "scan_angle_deg": 16,
    "point_source_id": 64,
    "gps_time": 128,
    "return_number": 0,  # always comes along with x and y
    "number_of_returns": 0,
}
SCANNED = tuple(LAYER_OF)
#: Points of a batch of `LasCloud.scan`: they and what is computed of them stay in the processor's cache.
SCAN_POINTS = 1 << 16
#: What points look like, read by `LasCloud.near` where it is asked for -> its layer.
EXTRA_LAYERS = {"intensity": 8, "colour": 256}
#: Point format -> where red, green, blue stand in a record.
COLOUR_AT = {2: 20, 3: 28, 5: 28, 7: 30, 8: 30, 10: 30}


def open_las(path: Path, index_folder: Path | None = None) -> LasCloud:
    """Open a LAS or LAZ file: header, records and, if compressed, the table of chunks; no points.

    Parameters
    ----------
    index_folder : Path, optional
        Where indexes of chunks are kept and looked for; None keeps none.

    Raises
    ------
    FormatError
        The file is missing, is no LAS file of a kind read here, or ends before its last point.
    """
    with opened(path) as file:
        header, findings = read_header(file, path)
        records, record_findings = read_records(file, header)
        evidence, crs_findings = crs_evidence(records, header)
        findings += record_findings + crs_findings
        compression = None
        if header.compressed:
            compression, more = read_compression(file, header, records)
            findings += more
        box = HeaderBox(header, _first_point(file, header))
        findings += box.findings()
    copc = info_record(records) if header.compressed else None
    kind = (", LAZ" if copc is None else ", COPC") if header.compressed else ""
    info = SurfaceInfo(
        path=path,
        kind="point-cloud",
        format=f"LAS 1.{header.minor_version}, point format {header.point_format}{kind}",
        size_bytes=header.size_bytes,
        bounds=(*header.minimum[:2], *header.maximum[:2]),
        crs_evidence=(*evidence, *sidecar_evidence(path)),
        findings=findings,
        points=header.points,
        decimals=decimals_of(header.scale[2]),
        bounds_believed=box.problem is None,
    )
    return LasCloud(info, header, compression, box, copc=copc, index_folder=index_folder)


def decimals_of(scale: float) -> int:
    """Count the decimals of numbers stored with this scale.

    A scale that is a short decimal gives its own (0.001: 3, 0.00025: 5); any other is rounded up to whole
    decimals (0.00139: 3).
    """
    needed = max(0, math.ceil(-math.log10(scale) - 1e-9))
    exponent = Decimal(repr(scale)).normalize().as_tuple().exponent
    own = max(0, -exponent) if isinstance(exponent, int) else needed
    return own if own <= needed + 2 else needed


class LasCloud:
    """A LAS or LAZ file, opened by its header; implements `accuracy.formats.PointSurface`.

    Attributes
    ----------
    info : SurfaceInfo
        What the header says. ``info.bounds`` is the box as written, believable or not.
    grid : StoredGrid
        Scale and offset of stored coordinates.
    reading_findings : list of Finding
        What the last complete pass through `near` found in the points; renewed by each pass.
    notes : list of str
        How the last pass was read: with an index, on one core; for the record of the run.
    on_read : callable or None
        Told, while reading, how many points were looked at, and of how many.
    extras : tuple of str
        What `near` gives besides: names in `EXTRA_LAYERS`.
    """

    def __init__(
        self,
        info: SurfaceInfo,
        header: LasHeader,
        compression: Compression | None,
        box: HeaderBox,
        *,
        copc: bytes | None = None,
        index_folder: Path | None = None,
    ) -> None:
        self.info = info
        self.grid = header.grid
        self.reading_findings: list[Finding] = []
        self.notes: list[str] = []
        self.on_read: Callable[[int, int], None] | None = None
        self.index_folder = index_folder
        self.extras: tuple[str, ...] = ()
        self._copc = copc
        self._header = header
        self._compression = compression
        self._box = box
        self._dtype: np.dtype[np.void] = point_dtype(header.point_format, header.record_length)

    def meets(self, x: NDArray[np.float64], y: NDArray[np.float64], radius: float) -> bool:
        """Tell whether a point within `radius` of any place may be in the file, by its header alone."""
        return bool(self._header.points) and self._box.meets(x, y, radius)

    def near(
        self, x: NDArray[np.float64], y: NDArray[np.float64], radius: float
    ) -> Iterator[PointBatch]:
        """Yield every point within `radius` (stored units, horizontally) of any place (x, y).

        Points up to a few stored units farther away come along. Nothing is read if the header's box of
        points misses all discs, unless that box cannot be believed. Where an index or the hierarchy of a
        COPC file tells which chunks matter, only these are read.

        Raises
        ------
        FormatError
            While reading: points that cannot be decompressed, or that are fewer than promised.
        """
        self.reading_findings, self.notes = [], []
        header = self._header
        x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        if not self.meets(x, y, radius):
            return
        places = Places(x, y, radius, header.scale[:2], header.offset[:2])
        layers = LAYERS_POINT
        for name in self.extras:
            layers |= EXTRA_LAYERS[name]
        sieve = self._sieve(places, layers)
        chunks = chunks_of(header, self._compression)
        with opened(header.path) as file:
            known = self._octree(file) if self._copc is not None else None
            if known is not None:
                found = self._only_needed(file, sieve, places, chunks, known)
                if found is not None:
                    yield from found
                    return
            keeper = IndexKeeper(self.index_folder, header, chunks)
            self.notes += keeper.notes
            if keeper.known is not None:
                found = self._only_needed(file, sieve, places, chunks, keeper.known)
                if found is not None:
                    yield from found
                    return
            yield from self._whole(file, sieve, chunks, keeper)

    def scan(self, fields: Sequence[str] = SCANNED) -> Iterator[PointBatch]:
        """Yield all points in file order and bounded memory.

        Parameters
        ----------
        fields : sequence of str
            Fields of `PointBatch` that are wanted besides x and y; others come back empty (length 0),
            and are not decompressed where the format allows that.

        Raises
        ------
        FormatError
            While reading: points that cannot be decompressed, or that are fewer than promised.
        """
        self.reading_findings, self.notes = [], []
        if not self._header.points:
            return
        layers = 0
        for name in fields:
            layers |= LAYER_OF[name]
        sieve = self._sieve(Everything(), layers)
        chunks = chunks_of(self._header, self._compression)
        keeper = IndexKeeper(None, self._header, chunks)
        with opened(self._header.path) as file:
            yield from self._whole(file, sieve, chunks, keeper, fields, SCAN_POINTS)

    def _sieve(self, wanted: Wanted, layers: int) -> Sieve:
        return Sieve(self._header, self._compression, self._box, self._dtype, wanted, layers)

    def _whole(
        self,
        file: BinaryIO,
        sieve: Sieve,
        chunks: tuple[Chunk, ...],
        keeper: IndexKeeper,
        fields: Sequence[str] = SCANNED,
        most: int | None = None,
    ) -> Iterator[PointBatch]:
        """Pass through all points once, in batches of `most` points."""
        watch = BoxWatch(self._box)
        boxes = []
        done = 0
        held = holdable(self._header, self._compression)
        if not held:
            self.notes.append(
                f"{self.info.path.name}: compressed in chunks of more than {LARGEST_CHUNK_POINTS} points; "
                "read on one core"
            )
        passes = sieve.sift(file, chunks) if held else sieve.sift_stream(file)
        for sifted in passes:
            watch.add(sifted.watch.points, sifted.watch.largest)
            boxes.append(sifted.boxes)
            done += sifted.points
            self._tell(done, self._header.points)
            size = most or len(sifted.records)
            for start in range(0, len(sifted.records), size or 1):
                yield self._batch(sifted.records[start : start + size], fields)
        self.reading_findings += watch.findings()
        if held:
            self.notes += keeper.keep(np.concatenate(boxes), watch)

    def _only_needed(
        self,
        file: BinaryIO,
        sieve: Sieve,
        places: Places,
        chunks: tuple[Chunk, ...],
        known: KnownBoxes,
    ) -> list[PointBatch] | None:
        """Read the chunks whose known box meets a disc; None if a box proves wrong or nothing is saved."""
        needed = np.flatnonzero(places.meets(known.boxes))
        if needed.size == len(chunks) or not holdable(self._header, self._compression):
            return None
        watch = BoxWatch(self._box)
        batches = []
        done = 0
        total = sum(chunks[i].points for i in needed.tolist())
        start = 0
        for sifted in sieve.sift(file, [chunks[i] for i in needed.tolist()], known=True):
            stated = known.boxes[needed[start : start + len(sifted.boxes)]]
            start += len(sifted.boxes)
            if not known.agree(stated, sifted.boxes):
                self._distrust(known)
                return None
            watch.add(sifted.watch.points, sifted.watch.largest)
            done += sifted.points
            self._tell(done, total)
            if len(sifted.records):
                batches.append(self._batch(sifted.records, SCANNED))
        if known.index is not None:
            watch = BoxWatch(self._box)
            watch.add(known.index.points_outside, known.index.largest_outside)
        self.reading_findings += watch.findings()
        self.notes.append(
            f"{self.info.path.name}: {needed.size} of {len(chunks)} chunks were read, chosen by "
            f"{known.source}"
        )
        return batches

    def _octree(self, file: BinaryIO) -> KnownBoxes | None:
        """Take the boxes of the chunks from the hierarchy of a COPC file."""
        assert self._copc is not None
        assert self._compression is not None
        boxes, findings = node_boxes(file, self._header, self._copc, self._compression)
        self.reading_findings += findings
        return None if boxes is None else KnownBoxes(boxes, "the file's hierarchy")

    def _distrust(self, known: KnownBoxes) -> None:
        name = self.info.path.name
        if known.index is not None:
            self.notes.append(f"{name}: the index does not fit the points; it is made again")
        else:
            self.reading_findings.append(
                incomplete(self._header, "points lie outside the node that holds them")
            )

    def _tell(self, done: int, total: int) -> None:
        if self.on_read is not None:
            self.on_read(done, total)

    def _batch(self, records: Records, fields: Sequence[str]) -> PointBatch:
        """Interpret records; fields that were not asked for stay empty."""
        none = records[:0]

        def of(name: str) -> Records:
            return records if name in fields else none

        names = records.dtype.names or ()
        stored_flags = records["flags"].copy()
        flags = {
            name: stored_flags if name in fields else stored_flags[:0]
            for name in ("withheld", "synthetic", "overlap")
        }
        old = "class_and_flags" in names  # point formats 0 to 5: five bits of class, three flags
        if old:
            classification = of("classification")["flags"] & 0x1F
            bits = {"synthetic": 0x20, "withheld": 0x80, "overlap": 0}
        else:
            classification = of("classification")["classification"]
            bits = {"synthetic": 0x01, "withheld": 0x04, "overlap": 0x08}
        angle = of("scan_angle_deg")["scan_angle"].astype(np.float32)
        if not old:
            angle *= np.float32(0.006)
        timed = of("gps_time")
        bits_of_return, largest = (3, 0x07) if old else (4, 0x0F)
        stored_returns = records["returns"].copy()
        returns = (stored_returns if "return_number" in fields else stored_returns[:0]) & largest
        count = stored_returns if "number_of_returns" in fields else stored_returns[:0]
        count = (count >> bits_of_return) & largest
        return PointBatch(
            grid=self.grid,
            x=records["x"].astype(np.int64),
            y=records["y"].astype(np.int64),
            z=of("z")["z"].astype(np.int64),
            classification=classification.astype(np.uint8, copy=True),
            withheld=(flags["withheld"] & bits["withheld"]) != 0,
            synthetic=(flags["synthetic"] & bits["synthetic"]) != 0,
            overlap=(flags["overlap"] & bits["overlap"]) != 0,
            point_source_id=of("point_source_id")["point_source_id"].astype(np.uint16),
            gps_time=(
                timed["gps_time"].astype(np.float64)
                if "gps_time" in names
                else np.full(len(timed), np.nan)
            ),
            scan_angle_deg=angle,
            return_number=returns.astype(np.uint8, copy=False),
            number_of_returns=count.astype(np.uint8, copy=False),
            intensity=records["intensity"].copy() if "intensity" in self.extras else None,
            colour=records["colour"].copy()
            if "colour" in self.extras and "colour" in names
            else None,
        )


@contextmanager
def opened(path: Path) -> Iterator[BinaryIO]:
    """Open a file for reading; what the system refuses becomes one `FormatError`."""
    try:
        with path.open("rb") as file:
            yield file
    except FileNotFoundError as error:
        raise FormatError(
            "file not found", where=str(path), remedy="check the path in the job file"
        ) from error
    except OSError as error:
        raise FormatError(
            f"cannot be read: {error.strerror or error}",
            where=str(path),
            remedy="check that it is a file, that you may read it and that the disk is sound",
        ) from error


def _first_point(file: BinaryIO, header: LasHeader) -> tuple[int, int] | None:
    """Read stored x and y of the first point, which chunks keep uncompressed at their beginning."""
    if not header.points:
        return None
    start = header.points_offset + (8 if header.compressed else 0)
    x, y = struct.unpack("<ii", read_exactly(file, start, 8, header))
    return x, y


def point_dtype(point_format: int, record_length: int) -> np.dtype[np.void]:
    """Lay out the fields read here; all else, extra bytes included, is stepped over."""
    fields: dict[str, tuple[str, int]] = {"x": ("<i4", 0), "y": ("<i4", 4), "z": ("<i4", 8)}
    fields["intensity"] = ("<u2", 12)
    fields["returns"] = ("u1", 14)
    if point_format <= 5:
        fields |= {
            "class_and_flags": ("u1", 15),
            "scan_angle": ("i1", 16),
            "point_source_id": ("<u2", 18),
        }
        fields["flags"] = fields["class_and_flags"]
        if point_format in (1, 3, 4, 5):
            fields["gps_time"] = ("<f8", 20)
    else:
        fields |= {
            "flags": ("u1", 15),
            "classification": ("u1", 16),
            "scan_angle": ("<i2", 18),
            "point_source_id": ("<u2", 20),
            "gps_time": ("<f8", 22),
        }
    if point_format in COLOUR_AT:
        fields["colour"] = ("(3,)<u2", COLOUR_AT[point_format])
    return np.dtype(
        {
            "names": list(fields),
            "formats": [kind for kind, _ in fields.values()],
            "offsets": [at for _, at in fields.values()],
            "itemsize": record_length,
        }
    )
