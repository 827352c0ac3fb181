"""The test panel: what was measured on it and what that comes to."""
