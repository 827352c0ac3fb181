"""What to look at before a bolt is touched."""
