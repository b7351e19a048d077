"""Work that follows a submission: a row in the same transaction, run after commit."""
