"""Files to checked records: find, read, check, and tell what was left out and why."""
