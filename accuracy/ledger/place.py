"""Whether a file lies on a network share, where SQLite's write-ahead log does not work."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path, PurePath, PurePosixPath

#: Types of file systems that other machines share (names as Linux lists them; from memory).
_SHARED = frozenset(
    {
        "9p",
        "afs",
        "beegfs",
        "ceph",
        "cifs",
        "davfs",
        "fuse.ceph",
        "fuse.cephfs",
        "fuse.davfs",
        "fuse.davfs2",
        "fuse.glusterfs",
        "fuse.gvfsd-fuse",
        "fuse.mergerfs",
        "fuse.rclone",
        "fuse.s3fs",
        "fuse.sshfs",
        "fuse.vmhgfs-fuse",
        "gfs2",
        "glusterfs",
        "gpfs",
        "lustre",
        "ncpfs",
        "nfs",
        "nfs4",
        "ocfs2",
        "orangefs",
        "prl_fs",
        "smb2",
        "smb3",
        "smbfs",
        "vboxsf",
        "virtiofs",
    }
)

#: Value of GetDriveTypeW for a network drive (Windows API; from memory).
_DRIVE_REMOTE = 4


def network_share(path: Path) -> str | None:
    """Say in words on what kind of network share a path lies; None on a local disk, or where nothing tells."""
    real = Path(os.path.realpath(path))
    if sys.platform == "win32":
        return windows_share(real, _drive_type(real))
    try:
        mounts = Path("/proc/self/mounts").read_text("utf-8", errors="surrogateescape")
    except OSError:
        return None
    return mounted_share(PurePosixPath(real), mounts)


def mounted_share(path: PurePosixPath, mounts: str) -> str | None:
    """Read a table of mounts (``device place type options ...``): the last of the longest places counts."""
    best, kind = -1, ""
    for line in mounts.splitlines():
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        place = re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), fields[1])
        if path.is_relative_to(place) and len(place) >= best:
            best, kind = len(place), fields[2]
    return kind if kind in _SHARED else None


def windows_share(path: PurePath, drive_type: int) -> str | None:
    r"""Tell a network drive by its type, or a path of the form ``\\server\share``."""
    drive = path.drive
    is_unc = drive.startswith("\\\\") and not drive.startswith(("\\\\?\\", "\\\\.\\"))
    if is_unc or drive.upper().startswith("\\\\?\\UNC\\"):
        return f"network share {drive}"
    return f"network drive {drive}" if drive_type == _DRIVE_REMOTE else None


def _drive_type(path: PurePath) -> int:
    import ctypes

    windll = getattr(ctypes, "windll", None)  # on Windows only
    return 0 if windll is None else int(windll.kernel32.GetDriveTypeW(path.anchor))
