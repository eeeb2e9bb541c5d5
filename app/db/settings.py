"""The names under which the program itself keeps something among the room's settings, where more than one room reads them."""

# Before the mark of a browser that was signed out; the value is when.
SIGNED_OUT = "signed out "
# The folder on another disk to which each backup is copied too, how it stands (domain/backups.py), since when, and in words
# of the disk why a copy failed.
SECOND_PLACE = "second-place"
SECOND_STATE = "second-place-state"
SECOND_SINCE = "second-place-since"
# By which mark this room's folder in a second place is called.
ROOM_MARK = "room-mark"
# Why the last backup that was tried was not made; not there after one that was.
BACKUP_FAILED = "last-backup-failed"
# In how many places log and room differed in the last backup.
LAST_DIFFERENCES = "last-backup-differences"
# Before a worker's id: the marks of the texts from which their name was taken, and of those that were left.
NAME_TEXTS = "name-texts "
# Which serials were given out since a backup that was put back, and are not here: prefix, digits, after which, up to which.
PASSED_OVER = "passed-over"
