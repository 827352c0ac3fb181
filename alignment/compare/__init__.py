"""Two surveys of one machine, and many."""
