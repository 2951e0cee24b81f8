"""A GeoKey directory as stored in LAS records and TIFF tags alike: resolved, not interpreted.

References
----------
OGC GeoTIFF 1.1 (19-008r4), "GeoKey directory" (from memory).
"""

from __future__ import annotations

import struct

from accuracy.formats import GeoKeyValue

#: Numbers of the three records, the same as LAS record ids and as TIFF tags.
DIRECTORY, DOUBLES, TEXTS = 34735, 34736, 34737


def resolve_geokeys(
    directory: bytes, doubles: bytes, texts: bytes
) -> tuple[dict[int, GeoKeyValue], str | None, tuple[str, ...]]:
    """Resolve a GeoKey directory.

    Returns
    -------
    keys : dict
        Key id to value; several doubles of one key as text, separated by blanks.
    problem : str or None
        Why nothing could be read.
    notes : tuple of str
        Keys that had to be left out, with the reason.
    """
    if len(directory) < 8:
        return {}, f"the GeoKey directory has {len(directory)} bytes, fewer than its own header", ()
    version, _, _, count = struct.unpack_from("<4H", directory)
    if version != 1:
        what = "is zeroed" if not any(directory) else f"has version {version} instead of 1"
        return {}, f"the GeoKey directory {what}", ()
    present = (len(directory) - 8) // 8
    keys: dict[int, GeoKeyValue] = {}
    notes: list[str] = []
    if count > present:
        notes.append(f"the GeoKey directory promises {count} keys and holds {present}")
    zeroed = 0
    for number in range(min(count, present)):
        key, location, length, value = struct.unpack_from("<4H", directory, 8 + 8 * number)
        if key == 0:  # no key has id 0
            zeroed += 1
            continue
        found: GeoKeyValue | None = None
        if location == 0:
            found = value
        elif location == DOUBLES and length and 8 * (value + length) <= len(doubles):
            numbers = struct.unpack_from(f"<{length}d", doubles, 8 * value)
            found = numbers[0] if length == 1 else " ".join(map(repr, numbers))
        elif location == TEXTS and value + length <= len(texts):
            found = (
                texts[value : value + length].decode("latin-1").split("\0")[0].strip("|").strip()
            )
        elif location == DIRECTORY and length and 2 * (value + length) <= len(directory):
            shorts = struct.unpack_from(f"<{length}H", directory, 2 * value)
            found = shorts[0] if length == 1 else " ".join(map(str, shorts))
        if found is None:
            notes.append(f"the value of GeoKey {key} lies outside record {location}; key left out")
        elif key in keys and keys[key] != found:
            notes.append(f"GeoKey {key} stands twice with different values; the first is kept")
        else:
            keys[key] = found
    if zeroed:
        notes.append(f"{zeroed} of {count} GeoKeys are zeroed")
    return keys, None if keys else "the GeoKey directory holds no keys", tuple(notes)
