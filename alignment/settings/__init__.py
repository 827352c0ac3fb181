"""Guides, dies and gaps against their nominal values."""
