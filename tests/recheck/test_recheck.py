from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jobs import plane_checkpoints, write_job, write_plane_cloud, write_points_table

from accuracy.cli import run
from accuracy.cli.editions import with_editions
from accuracy.digest import digest_of
from accuracy.errors import ResultError, UsageError
from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.recheck import Recheck, recheck
from accuracy.reports import render_kinds
from accuracy.result import read_result
from accuracy.simulation.demo import build_demo

Data = dict[str, Any]


@pytest.fixture(scope="module")
def handed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the demo with its result: record and pictures alone."""
    folder = tmp_path_factory.mktemp("handed") / "site"
    job = build_demo(folder).job
    for name, content in render_kinds(verify(load_job(job)), ["json"]).items():
        path = folder / "job.accuracy" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


@pytest.fixture
def site(handed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(handed, tmp_path / "site"))


def record(site: Path) -> Path:
    return site / "job.accuracy" / "result.json"


def codes(found: Recheck, severity: str = "blocking") -> set[str]:
    return {f.code for f in found.findings if f.severity.value == severity}


def change(site: Path, edit: Callable[[Data], object], *, forge: bool) -> Recheck:
    """Edit the record; a forger writes a new digest, too."""
    data = json.loads(record(site).read_text("utf-8"))
    edit(data)
    if forge:
        data["run"]["digest"] = digest_of(data)
    record(site).write_text(json.dumps(data, ensure_ascii=False, indent=1), "utf-8")
    return recheck(record(site))


def test_an_untouched_handover_is_sound(handed: Path) -> None:
    """The demo as verified, with passes, fails and no statement: nothing is found; every file is the same."""
    found = recheck(record(handed))
    assert found.findings == ()
    assert found.sound
    assert {file.state for file in found.files} == {"same"}
    assert found.claims == 4
    assert found.figures > 100


def test_claims_of_the_command_line_and_on_flight_lines(tmp_path: Path) -> None:
    """Documents added by ``--under`` and verdicts on flight lines belong to it; a changed class shows."""
    job = build_demo(tmp_path / "site").job
    job.write_text(job.read_text("utf-8") + "\n[lines]\n", "utf-8")
    result = verify(with_editions(load_job(job), ("asprs-2014,nssda-1998",)))
    assert len(result.line_verdicts) == 2  # the job's document and one of those added
    (content,) = (c for n, c in render_kinds(result, ["json"]).items() if n == "result.json")
    record(tmp_path / "site").parent.mkdir(exist_ok=True)
    record(tmp_path / "site").write_bytes(content)
    found = recheck(record(tmp_path / "site"))
    assert [f for f in found.findings if f.code != "recheck-picture"] == []
    assert found.claims == sum(len(d.claims) for d in result.datasets) > 4

    def soften(data: Data) -> None:
        data["job"]["command_line"]["claim"][0]["vertical_class_cm"] = 9.0

    assert "recheck-verdict" in codes(change(tmp_path / "site", soften, forge=True))


def test_the_readme_shows_real_output(handed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every line of the example in the README is a line of the demo's recheck, but for the digest."""
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
    shown = readme.partition("<!-- from accuracy recheck, compared by a test -->\n```\n")[
        2
    ].partition("```")[0]
    assert run(["recheck", str(handed / "job.accuracy")]) == 0
    real = capsys.readouterr().out.splitlines()
    lines = shown.splitlines()
    assert len(lines) == len(real) == 7
    for line, other in zip(lines, real, strict=True):
        assert line == other or (line.endswith(" ...") and other.startswith(line[:-3]))


def test_layout_and_order_of_keys_do_not_count(site: Path) -> None:
    """Canonical JSON: written anew without blanks and with keys sorted, the digest holds."""
    data = json.loads(record(site).read_text("utf-8"))
    record(site).write_text(json.dumps(data, sort_keys=True, separators=(",", ":")), "utf-8")
    assert recheck(record(site)).findings == ()


def test_the_digest_by_hand() -> None:
    """SHA-256 of the canonical text written out by hand, by the standard library alone."""
    import hashlib

    data = {"run": {"digest": "x", "b": "ä"}, "a": [1, 0.1, None, True]}
    text = '{"a":[1,0.1,null,true],"run":{"b":"ä"}}'
    assert digest_of(data) == hashlib.sha256(text.encode("utf-8")).hexdigest()


def test_reading_and_writing_again_launders_nothing(site: Path) -> None:
    """A changed record that this tool reads and writes keeps the digest that it came with."""
    change(site, lambda data: data["job"]["job"].update(title="Another"), forge=False)
    record(site).write_text(read_result(record(site)).to_json(), "utf-8")
    assert "recheck-digest" in codes(recheck(record(site)))


def first(data: Data) -> Data:
    row: Data = next(r for r in data["datasets"][0]["residuals"] if r["used"])
    return row


EDITS: dict[str, tuple[Callable[[Data], object], str | None]] = {
    "a residual": (lambda d: first(d)["residual"].update(up_m=0.001), "recheck-figures"),
    "a residual with its position": (
        lambda d: (
            first(d)["measured"].update(up_m=first(d)["surveyed"]["up_m"]),
            first(d)["residual"].update(up_m=0.0),
        ),
        "recheck-figures",
    ),
    "a figure": (
        lambda d: d["datasets"][0]["figures"][3].update(
            value=d["datasets"][0]["figures"][3]["value"] - 1e-6
        ),
        "recheck-figures",
    ),
    "a figure taken away": (lambda d: d["datasets"][0]["figures"].pop(), "recheck-figures"),
    "a verdict": (
        lambda d: [
            c.update(verdict="passes")
            for s in d["datasets"]
            for c in s["claims"]
            if c["verdict"] == "fails"
        ],
        "recheck-verdict",
    ),
    "the whole verdict": (lambda d: d.update(verdict="passes"), "recheck-verdict"),
    "a limit": (
        lambda d: d["datasets"][0]["claims"][0]["checks"][0].update(limit=1.0),
        "recheck-verdict",
    ),
    "a class in claim and job": (
        lambda d: [
            next(c for c in d["job"]["claim"] if c["standard"] == "asprs-2024").update(
                vertical_class_cm=99.0
            ),
        ],
        "recheck-verdict",
    ),
    "a claim taken away": (lambda d: d["datasets"][0]["claims"].pop(), "recheck-verdict"),
    "a point no longer used": (lambda d: first(d).update(used=False), "recheck-figures"),
    "a point made control": (
        lambda d: first(d).update(role="control", used=False),
        "recheck-figures",
    ),
    "a point excluded in the job": (
        lambda d: d["job"]["checkpoints"]["exclude"].append({"id": first(d)["id"], "reason": "x"}),
        "recheck-figures",
    ),
    "survey accuracy": (lambda d: first(d).update(survey_rmse_v_m=0.5), "recheck-figures"),
    "cover": (lambda d: first(d).update(cover="vegetated"), "recheck-figures"),
    "a finding taken away": (lambda d: d["findings"].pop(), None),
    "the title": (lambda d: d["job"]["job"].update(title="Another"), None),
    "the statement": (
        lambda d: d["datasets"][0]["claims"][0].update(statement="All is well."),
        None,
    ),
    "the hash of a tile": (
        lambda d: next(i for i in d["inputs"] if i["role"] == "deliverable").update(
            sha256="0" * 64
        ),
        "recheck-file-differs",
    ),
}


@pytest.mark.parametrize("name", EDITS)
def test_every_change_shows_in_the_digest(site: Path, name: str) -> None:
    """Whatever is changed, the record is not as it was written."""
    assert "recheck-digest" in codes(change(site, EDITS[name][0], forge=False))


@pytest.mark.parametrize("name", [name for name, (_, code) in EDITS.items() if code])
def test_a_new_digest_does_not_hide_what_must_follow(site: Path, name: str) -> None:
    """A forger who writes a new digest is caught by what no longer follows from the residuals."""
    edit, code = EDITS[name]
    found = change(site, edit, forge=True)
    assert "recheck-digest" not in codes(found)
    assert code in codes(found)


def test_a_finding_that_blocks_a_statement(tmp_path: Path) -> None:
    """No statement for want of a reference system: sound; without the finding, it does not follow."""
    write_plane_cloud(tmp_path / "a.laz", wkt=None)
    write_points_table(tmp_path / "points.csv", plane_checkpoints())
    job = write_job(
        tmp_path,
        datasets=[
            {"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": "EPSG:6342+5703"}
        ],
        claims=[{"dataset": "cloud", "standard": "asprs-2014", "vertical_class_cm": 5.0}],
    )
    result = verify(load_job(job))
    assert result.verdict == "no-statement"
    record(tmp_path).parent.mkdir()
    record(tmp_path).write_text(result.to_json(), "utf-8")
    assert recheck(record(tmp_path)).sound
    found = change(
        tmp_path,
        lambda d: d.update(findings=[f for f in d["findings"] if f["severity"] != "blocking"]),
        forge=True,
    )
    assert "recheck-verdict" in codes(found)


def test_no_digest_and_keys_that_stand_twice(site: Path) -> None:
    """Taking the digest away, or hiding a value behind a second key, is found."""
    found = change(site, lambda data: data["run"].pop("digest"), forge=False)
    assert "states no digest" in next(f.message for f in found.findings)
    text = record(site).read_text("utf-8")
    record(site).write_text(text.replace('"verdict"', '"verdict": "passes", "verdict"', 1), "utf-8")
    assert any("stand twice" in f.message for f in recheck(record(site)).findings)


def test_delivered_files(site: Path, tmp_path: Path) -> None:
    """Changed by one byte, missing, renamed, never tested: each is told, each by its name."""
    handover = tmp_path / "handover"
    (handover / "cloud").mkdir(parents=True)
    for name in ("cloud/tile_west.laz", "cloud/tile_east.laz", "dem.tif", "measured.csv"):
        shutil.copy(site / name, handover / name)
    shutil.copy(site / "measured_evening.csv", handover / "targets-evening.csv")
    (handover / "list of points.csv").write_text("id,x,y\n", "utf-8")
    found = recheck(record(site), handover)
    assert codes(found) == set()
    assert codes(found, "note") == {"recheck-file-missing", "recheck-file-renamed"}  # job, base ...
    (handover / "dem.tif").unlink()
    content = bytearray((handover / "cloud" / "tile_west.laz").read_bytes())
    content[-1] ^= 1
    (handover / "cloud" / "tile_west.laz").write_bytes(content)
    (handover / "cloud" / "tile_north.laz").write_bytes(b"LASF")
    found = recheck(record(site), handover)
    told = {f.code: f.message for f in found.findings if f.severity.value == "blocking"}
    assert "cloud/tile_west.laz" in told["recheck-file-differs"]
    assert "dem.tif" in told["recheck-file-missing"]
    assert "cloud/tile_north.laz" in told["recheck-file-extra"]
    assert not found.sound


def test_a_changed_picture(site: Path) -> None:
    """The relief beside the record: another one is told, a missing one is a warning."""
    picture = site / "job.accuracy" / "relief-1.png"
    picture.write_bytes(picture.read_bytes() + b"x")
    assert codes(recheck(record(site))) == {"recheck-picture"}
    picture.unlink()
    assert codes(recheck(record(site)), "warning") == {"recheck-picture"}


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make two pairs of keys with the library itself."""
    from cryptography.hazmat.primitives import serialization as s
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    folder = tmp_path_factory.mktemp("keys")
    for name in ("one", "two"):
        private = Ed25519PrivateKey.generate()
        (folder / f"{name}.pem").write_bytes(
            private.private_bytes(s.Encoding.PEM, s.PrivateFormat.PKCS8, s.NoEncryption())
        )
        (folder / f"{name}-public.pem").write_bytes(
            private.public_key().public_bytes(s.Encoding.PEM, s.PublicFormat.SubjectPublicKeyInfo)
        )
    return folder


def test_signatures(site: Path, keys: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Signed by one: good by its key, bad by another's, bad for a changed record, missing is told."""
    folder = str(site / "job.accuracy")
    public = keys / "one-public.pem"
    assert codes(recheck(record(site), key=public)) == {"recheck-signature"}
    assert run(["sign", folder, "--key", str(keys / "one.pem")]) == 0
    assert (site / "job.accuracy" / "result.json.sig").stat().st_size == 64
    assert recheck(record(site), key=public).sound
    assert "not checked" in (recheck(record(site)).signed or "")
    assert codes(recheck(record(site), key=keys / "two-public.pem")) == {"recheck-signature"}
    assert run(["recheck", folder, "--key", str(public)]) == 0
    assert "by the key" in capsys.readouterr().out
    found = change(site, lambda data: data["job"]["job"].update(title="Another"), forge=True)
    assert codes(found) == set(), "a forger without a key: the digest alone cannot tell"
    assert codes(recheck(record(site), key=public)) == {"recheck-signature"}


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed")
def test_openssl_checks_the_signature_too(site: Path, keys: Path) -> None:
    """The signature is that of RFC 8032 over the file, as an independent program sees it."""
    assert run(["sign", str(site / "job.accuracy"), "--key", str(keys / "one.pem")]) == 0
    files = [
        "-inkey",
        keys / "one-public.pem",
        "-sigfile",
        f"{record(site)}.sig",
        "-in",
        record(site),
    ]
    done = subprocess.run(
        ["openssl", "pkeyutl", "-verify", "-rawin", "-pubin", *files],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_what_cannot_be_used(site: Path, keys: Path, tmp_path: Path) -> None:
    """Wrong keys, a private key in the place of a public one, no folder, no result: errors of ours."""
    with pytest.raises(UsageError, match="private key"):
        recheck(record(site), key=keys / "one.pem")
    (tmp_path / "junk").write_bytes(b"junk")
    with pytest.raises(UsageError, match="no public key"):
        recheck(record(site), key=tmp_path / "junk")
    with pytest.raises(UsageError, match="not a folder"):
        recheck(record(site), tmp_path / "none")
    with pytest.raises(ResultError, match="not JSON"):
        recheck(tmp_path / "junk")
    assert run(["sign", str(site / "job.accuracy"), "--key", str(tmp_path / "junk")]) == 2
    change(site, lambda data: data.update(verdict="passes"), forge=False)
    assert run(["sign", str(site / "job.accuracy"), "--key", str(keys / "one.pem")]) == 2
    assert run(["recheck", str(site / "job.accuracy"), "-q"]) == 1
