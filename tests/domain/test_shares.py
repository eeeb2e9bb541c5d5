"""Which folders lie on a network share: by the lists that computers write of what they have mounted, and by paths of Windows."""

from __future__ import annotations

import pytest

from app.domain.shares import is_unc, share_of

# In the form of proc(5) and fstab(5); the lines are made up after real ones.
MOUNTS = r"""
sysfs /sys sysfs rw,nosuid,nodev,noexec,relatime 0 0
/dev/sda2 / ext4 rw,relatime 0 0
tmpfs /run tmpfs rw,nosuid,nodev,size=800000k,mode=755 0 0
systemd-1 /net autofs rw,relatime,fd=42,pgrp=1,timeout=0 0 0
store.example.org:/export/herbarium /net/herbarium nfs4 rw,relatime,vers=4.2,hard,proto=tcp 0 0
//office/rooms /mnt/our\040rooms cifs rw,relatime,vers=3.1.1,username=room 0 0
/dev/sdb1 /mnt/our\040rooms/disk xfs rw,relatime 0 0
hedda@store:/rooms /home/hedda/rooms fuse.sshfs rw,nosuid,nodev,user_id=1000 0 0
C:\134 /mnt/c 9p rw,noatime,aname=drvfs;path=C:\;uid=1000,trans=fd 0 0
lent /mnt/lent virtiofs rw,relatime 0 0
/dev/fuse /run/user/1000/doc fuse.portal rw,nosuid,nodev 0 0
/dev/sdc1 /mnt/twice ext4 rw 0 0
store:/b /mnt/twice nfs rw 0 0
store:/c /mnt/back nfs rw 0 0
/dev/sdd1 /mnt/back btrfs rw 0 0
cut short
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/srv/blotter", ""),
        ("/", ""),
        ("/net", ""),
        ("/net/other", ""),
        ("/net/herbarium", "nfs4"),
        ("/net/herbarium/blotter/blotter.sqlite3", "nfs4"),
        # A name that only begins the same is another folder.
        ("/net/herbarium-2/blotter", ""),
        ("/mnt/our rooms/blotter", "cifs"),
        # A disk of this computer that is mounted within a share is none.
        ("/mnt/our rooms/disk/blotter", ""),
        ("/home/hedda/rooms", "fuse.sshfs"),
        ("/home/hedda", ""),
        ("/mnt/c/blotter", "9p"),
        ("/mnt/lent/blotter", "virtiofs"),
        ("/run/user/1000/doc/x", ""),
        # Of two at one place the last covers the other.
        ("/mnt/twice/blotter", "nfs"),
        ("/mnt/back/blotter", ""),
    ],
)
def test_the_innermost_mount_says_whether_it_is_a_share(path: str, kind: str) -> None:
    assert share_of(path, MOUNTS) == kind


def test_where_nothing_is_told_nothing_is_said() -> None:
    assert share_of("/srv/blotter", "") == ""


@pytest.mark.parametrize(
    ("path", "is_share"),
    [
        (r"\\store\rooms\blotter", True),
        (r"\\store\rooms", True),
        ("//store/rooms/blotter", True),
        (r"\\?\UNC\store\rooms\blotter", True),
        (r"\\192.0.2.7\rooms\blotter", True),
        (r"C:\blotter\room", False),
        (r"\\?\C:\blotter\room", False),
        (r"\\.\C:\blotter", False),
        (r"\blotter\room", False),
        ("room", False),
    ],
)
def test_a_path_of_windows_names_another_computer_by_two_strokes(path: str, is_share: bool) -> None:
    assert is_unc(path) == is_share
