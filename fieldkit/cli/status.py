"""Exit statuses of every command."""

OK, BROKEN, MISTAKE, STOPPED = 0, 1, 2, 130
