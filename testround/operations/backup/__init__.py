"""A copy of everything that is kept, in one file: the rows of one moment, and the files that they name.

`archive` is the file itself and its checksums, `rows` turns rows into lines and back, `files` copies what the rows
name, `making` and `restoring` are the two commands.
"""

from testround.operations.backup.archive import Damaged as Damaged
from testround.operations.backup.making import Made as Made
from testround.operations.backup.making import NotMade as NotMade
from testround.operations.backup.making import backup_make as backup_make
from testround.operations.backup.restoring import NotRestored as NotRestored
from testround.operations.backup.restoring import Restored as Restored
from testround.operations.backup.restoring import backup_restore as backup_restore
