"""Whether a folder lies on a network share, read off the list of what is mounted, or off the form of its path."""

from __future__ import annotations

import re
from pathlib import PurePosixPath

# SQLite, "Write-Ahead Logging": all who use a database are on one computer, and it does not work over a network file system;
# "How To Corrupt An SQLite Database File", 2.1: locks over a network often do not hold. The names are those of Linux's mounts;
# folders that a virtual machine is lent by its host are of this kind, too.
SHARES = frozenset({
    "nfs", "nfs4", "cifs", "smb2", "smb3", "smbfs", "ncpfs", "afs", "afpfs", "9p", "virtiofs", "vboxsf", "ceph", "davfs",
    "fuse.sshfs", "fuse.davfs", "fuse.davfs2", "fuse.rclone", "fuse.s3fs", "fuse.glusterfs", "fuse.smbnetfs", "fuse.gvfsd-fuse",
    "fuse.curlftpfs", "fuse.vmhgfs-fuse",
})  # fmt: skip
# Another computer's folder as Windows names it: by two strokes, with or without the mark of a long path before it.
_UNC = re.compile(r"[\\/]{2}(?:[?.][\\/]UNC[\\/])?[^\\/?.][^\\/]*[\\/][^\\/]+", re.IGNORECASE)
_ESCAPED = re.compile(r"\\([0-7]{3})")


def share_of(path: str, mounts: str) -> str:
    """The kind of network share on which an absolute path lies, by the text of `/proc/self/mounts` (proc(5), fstab(5)); empty
    for none. The innermost mount counts, and of several at one place the last.
    """
    lines = (line.split(" ") for line in mounts.splitlines())
    at = [(PurePosixPath(_plain(parts[1])), parts[2]) for parts in lines if len(parts) > 2]
    mine = PurePosixPath(path)
    around = [
        (len(at[place][0].parts), place, at[place][1]) for place in range(len(at)) if mine.is_relative_to(at[place][0])
    ]
    kind = max(around, default=(0, 0, ""))[2]
    return kind if kind in SHARES else ""


def is_unc(path: str) -> bool:
    """Whether a path of Windows names a folder of another computer. A letter that stands for one does not show it."""
    return _UNC.match(path) is not None


def _plain(text: str) -> str:
    """A mount's place with its spaces, tabs, line breaks and strokes as they are; the text has them as octal numbers."""
    return _ESCAPED.sub(lambda match: chr(int(match[1], 8)), text)
