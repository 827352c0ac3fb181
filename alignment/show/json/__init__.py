"""Results as plain numbers and texts for other programs."""
