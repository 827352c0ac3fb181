"""What changed between two surveys of one machine, and over many."""
