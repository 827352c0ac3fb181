"""Results shown to people and to programs."""
