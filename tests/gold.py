"""Example files that are kept in the project and rebuilt by a test: ``reports/`` and ``checkpoints/``.

Text is kept to the byte. Records depend in their last digits on the processor; page, PDF and GeoPackage on the
releases of the libraries that draw, set and store them; `comparable` says what of them must stay.

``python tests/gold.py --write`` rebuilds them after a wanted change; read the difference before committing.
"""

from __future__ import annotations

import json
import re
import sqlite3
import sys
import tempfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

from accuracy.result import Run

ROOT = Path(__file__).resolve().parents[1]

#: What differs between identical runs, put aside in the kept example.
RUN_LEFT_OUT = "left out of this example: it differs from run to run and holds paths of the machine"

#: What the views of the example print of the run.
RUN_IN_VIEWS = Run("of today", "of today", {}, "of today", "of today", "one time", "another", {})


def demo_files() -> dict[str, bytes]:
    """Give the demo's result as kept in ``reports/demo`` and its table as kept in ``checkpoints``."""
    from accuracy.job import load_job
    from accuracy.pipeline import verify
    from accuracy.reports import render_all
    from accuracy.simulation.demo import build_demo

    with tempfile.TemporaryDirectory() as folder:
        demo = build_demo(Path(folder) / "site")
        result = verify(load_job(demo.job))
        files = render_all(replace(result, run=RUN_IN_VIEWS))
        job = demo.job.read_bytes()
        table = (demo.folder / "checkpoints" / "site.csv").read_bytes()
    record = json.loads(files["result.json"])
    record["run"] = RUN_LEFT_OUT
    files["result.json"] = (json.dumps(record, ensure_ascii=False, indent=1) + "\n").encode()
    kept = {f"reports/demo/{name}": content for name, content in files.items()}
    return {**kept, "reports/demo/job.toml": job, **table_files(table)}


#: Decimals in records: linear algebra differs in the last bits from one processor to another.
DECIMALS = 9


def comparable(name: str, content: bytes) -> object:
    """Give what must be the same in a kept file and in one made today, on any processor."""
    if name.endswith(".json"):
        record = json.loads(content)
        if isinstance(record.get("run"), dict):
            record["run"].pop("digest", None)
        return _rounded(record)
    if name.endswith(".gpkg"):
        with closing(sqlite3.connect(":memory:")) as connection:
            connection.deserialize(content)
            text = "\n".join(connection.iterdump())
        drawn = r"(\"residual_vectors\" VALUES\(\d+,)X'[0-9A-F]*'"  # from other columns
        text = re.sub(drawn, r"\1", text)
        return re.sub(r"-?\d+\.\d{10,}(e-\d+)?", lambda m: f"{float(m[0]):.{DECIMALS}f}", text)
    if name.endswith(".pdf"):  # its text is tested in tests/reports/test_pdf.py
        return re.findall(rb"<pdfaid:[^<]*|<dc:title>.*?</dc:title>|<xmp:CreateDate>[^<]*", content)
    if name.endswith(".html"):
        return re.sub(r"<svg.*?</svg>", "<svg>", content.decode("utf-8"), flags=re.S)
    return content


def _rounded(value: Any) -> Any:
    """Round every float in a record to `DECIMALS`."""
    if isinstance(value, dict):
        return {key: _rounded(its) for key, its in value.items()}
    if isinstance(value, list):
        return [_rounded(its) for its in value]
    return round(value, DECIMALS) + 0.0 if isinstance(value, float) else value


def table_files(table: bytes) -> dict[str, bytes]:
    """Give the demo's table in the other forms that crews hand in; see ``checkpoints/README.md``."""
    rows = [line.split(",") for line in table.decode("utf-8").splitlines() if line]
    points = [row[:4] for row in rows[1:9]]
    foot = 0.3048
    comma = "\r\n".join(
        ";".join([row[0], *(value.replace(".", ",") for value in row[1:])]) for row in points
    )
    forms = {
        "pnezd.txt": "".join(f"{p},{n},{e},{z},check\n" for p, e, n, z in points),
        "decimal-comma.csv": "\ufeffPoint;East;North;Elevation\r\n" + comma + "\r\n",
        "blanks.txt": "# invented points\n"
        + "".join(f"{p:<6}{e:>14}{n:>15}{z:>11}\n" for p, e, n, z in points),
        "feet.csv": "id,easting_ft,northing_ft,height_ft\n"
        + "".join(
            f"{p},{float(e) / foot:.5f},{float(n) / foot:.5f},{float(z) / foot:.5f}\n"
            for p, e, n, z in points
        ),
    }
    kept = {f"checkpoints/{name}": text.encode("utf-8") for name, text in forms.items()}
    return {"checkpoints/site.csv": table, **kept}


def main() -> int:
    """Rebuild the kept files."""
    if sys.argv[1:] != ["--write"]:
        sys.stderr.write(f"{__doc__}\n")
        return 2
    for name, content in demo_files().items():
        path = ROOT / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return 0


if __name__ == "__main__":
    sys.exit(main())
