"""The digest of a record: SHA-256 over its canonical JSON.

Canonical is what ``json.dumps(record, sort_keys=True, separators=(",", ":"), ensure_ascii=False)`` gives for
the record without ``run.digest``, as UTF-8: keys in order of their code points, no blanks, each number as the
shortest decimal that means it. So neither layout nor the order of keys counts, every value does.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any


def canonical_json(data: Mapping[str, Any]) -> bytes:
    """Write a record without its own digest in the one way that counts."""
    run = data.get("run")
    if isinstance(run, Mapping):
        data = {**data, "run": {key: value for key, value in run.items() if key != "digest"}}
    text = json.dumps(
        data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    return text.encode("utf-8", "surrogatepass")


def digest_of(data: Mapping[str, Any]) -> str:
    """Give the digest of a record as it stands in ``run.digest``: 64 hexadecimal digits.

    Examples
    --------
    >>> digest_of({"b": 1, "a": 2.5}) == digest_of({"a": 2.5, "b": 1})
    True
    """
    return hashlib.sha256(canonical_json(data)).hexdigest()
