"""Which score note each played note was: live and over a whole take."""
