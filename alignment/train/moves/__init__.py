"""Which bolt ends to move."""
