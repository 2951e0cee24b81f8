from __future__ import annotations

from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest

from accuracy.ledger.place import mounted_share, network_share, windows_share

#: The form of the table is that of proc(5), its spaces written as octal numbers.
MOUNTS = """\
/dev/sda1 / ext4 rw 0 0
server:/export /srv/jobs nfs4 rw 0 0
/dev/sdb1 /srv/jobs/local ext4 rw 0 0
//office/maps /mnt/our\\040maps cifs rw 0 0
crew@host:/data /home/o/host fuse.sshfs rw 0 0
tmpfs /tmp tmpfs rw 0 0
broken
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/o/site", None),
        ("/srv/jobs", "nfs4"),
        ("/srv/jobs/site/x", "nfs4"),
        ("/srv/jobs/local/x", None),
        ("/srv/jobsite", None),
        ("/mnt/our maps/2026", "cifs"),
        ("/home/o/host/x", "fuse.sshfs"),
        ("/tmp", None),
    ],
)
def test_the_longest_mount_decides(path: str, kind: str | None) -> None:
    """A disk mounted inside a share is local, and names are compared by whole parts."""
    assert mounted_share(PurePosixPath(path), MOUNTS) == kind


def test_the_last_of_two_mounts_on_one_place_counts() -> None:
    """A share mounted over a local folder hides it."""
    assert mounted_share(PurePosixPath("/tmp/x"), MOUNTS + "s:/ /tmp nfs rw 0 0\n") == "nfs"


@pytest.mark.parametrize(
    ("path", "drive_type", "is_share"),
    [
        ("C:\\jobs\\site", 3, False),
        ("Z:\\jobs", 4, True),
        ("\\\\server\\maps\\site", 1, True),
        ("\\\\?\\UNC\\server\\maps\\site", 1, True),
        ("\\\\?\\C:\\jobs", 3, False),
    ],
)
def test_windows_shares_are_known_by_path_or_drive(
    path: str, drive_type: int, is_share: bool
) -> None:
    """UNC paths in both spellings, and drives that the system calls remote."""
    assert (windows_share(PureWindowsPath(path), drive_type) is not None) == is_share


def test_the_folder_of_this_test_is_no_share(tmp_path: Path) -> None:
    """On this machine the question has an answer, and it is no."""
    assert network_share(tmp_path) is None
